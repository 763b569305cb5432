//! What a trim takes away, and what it must not be said to take away.

use crate::bench::{Board, InHand, bench, emf, kiln, slope};
use icepoint_chain::budget::gum;
use icepoint_chain::chain::{CalibrationMethod, CalibrationWish, ProbeTolerance};
use icepoint_chain::front_end::PartKind;

/// What is said to be removed must shrink by at least this at the calibration points and board temperature.
const SHRINKS_BY: f64 = 200.0;
/// What is said to stay must keep at least this share, with the board at the far end of its range.
const STAYS: f64 = 0.3;
/// Contributions that are compared at all, K.
const WORTH_COMPARING: f64 = 1e-4;

/// Contributions `[wish][point][imperfection]`, K.
fn contributions(board: &Board, hot: &[f64], at: f64) -> Vec<Vec<Vec<f64>>> {
    let study = board.study(hot.to_vec(), vec![at]);
    let (_, rows) = gum::contributions(&study).unwrap();
    rows.chunks(hot.len()).map(<[_]>::to_vec).collect()
}

fn boards() -> Vec<Board> {
    let drifting = |c: &mut icepoint_chain::Chain| {
        c.probe.drift = 2.0;
        for part in &mut c.front_end.parts {
            if let PartKind::Resistor { figures, .. } = &mut part.kind {
                figures.ageing = 0.001;
            }
        }
    };
    let warm = |c: &mut icepoint_chain::Chain| {
        c.plan.method = CalibrationMethod::KnownTemperature { accuracy: 0.2 };
    };
    vec![
        kiln().with(drifting).built(),
        bench().with(drifting).built(),
        kiln().with(drifting).with(warm).built(),
    ]
}

/// At the calibration points and board temperature, what a trim is said to remove is gone.
#[test]
fn what_a_trim_removes_is_gone_where_it_was_trimmed() {
    for board in boards() {
        let plan = board.chain().plan.clone();
        let rows = contributions(&board, &plan.at, plan.board);
        let mut gone = 0;
        for (i, imperfection) in board.model.imperfections().iter().enumerate() {
            let claim = imperfection.removed_by;
            // One point: at the first point. Two points: at both.
            let mut places = Vec::new();
            if claim.zero {
                places.extend([(1, 0), (2, 0), (2, 1)]);
            } else if claim.span {
                places.extend([(2, 0), (2, 1)]);
            }
            for (wish, point) in places {
                let (before, after) = (rows[0][point][i].abs(), rows[wish][point][i].abs());
                if before < WORTH_COMPARING {
                    continue;
                }
                gone += 1;
                assert!(
                    after * SHRINKS_BY <= before,
                    "{}: {} said to go with {}; {before:.5} K before, {after:.5} K after {wish} point(s) at {} °C",
                    board.chain().name,
                    imperfection.id,
                    claim.name(),
                    plan.at[point]
                );
            }
        }
        println!("{}: {gone} contributions gone", board.chain().name);
        assert!(gone > 10);
    }
}

/// An offset that is removed by one point is gone at every hot temperature (as far as S is alike), not only there.
#[test]
fn an_offset_is_gone_everywhere_after_one_point() {
    let kiln = kiln().built();
    let hot = [100.0, 600.0, 1100.0];
    let rows = contributions(&kiln, &hot, 23.0);
    let offset = kiln.index("A1.offset");
    for (point, hot) in hot.iter().enumerate() {
        let (before, after) = (rows[0][point][offset].abs(), rows[1][point][offset].abs());
        // 25 µV/√3 over the sensitivity.
        let expected = 25e-6 / 3f64.sqrt() / slope(&kiln, *hot);
        assert!((before / expected - 1.0).abs() < 2e-3, "{hot} °C: {before} K, expected {expected} K");
        assert!(after < 1e-4 * before, "{hot} °C: {after} K left of {before} K");
    }
}

/// What is said to stay is there after both trims, with the board at the end of its range that is farther from the
/// calibration.
#[test]
fn what_no_trim_removes_stays() {
    for board in boards() {
        let chain = board.chain();
        let (low, high) = chain.need.board;
        let far = if high - chain.plan.board > chain.plan.board - low { high } else { low };
        let hot = [chain.need.hot.0.max(5.0), 0.5 * chain.need.hot.1, chain.need.hot.1];
        let rows = contributions(&board, &hot, far);
        let mut vanished = Vec::new();
        let mut stays = 0;
        for (i, imperfection) in board.model.imperfections().iter().enumerate() {
            if imperfection.removed_by.zero || imperfection.removed_by.span {
                continue;
            }
            let largest = |wish: usize| rows[wish].iter().map(|r| r[i].abs()).fold(0.0, f64::max);
            let before = largest(0);
            if before < WORTH_COMPARING {
                continue;
            }
            stays += 1;
            for wish in [1, 2] {
                let after = largest(wish);
                if after < STAYS * before {
                    vanished.push(format!("{} after {wish}: {before:.4} K to {after:.4} K", imperfection.id));
                }
            }
        }
        println!("{}: {stays} stay", chain.name);
        assert!(stays > 8);
        assert_eq!(vanished, Vec::<String>::new(), "{}", chain.name);
    }
}

/// Two points with a millivolt source on a board with large errors: it then reads the truth at both points to what the
/// source is worth, and the probe, which stayed outside, keeps its deviation.
#[test]
fn after_two_points_the_board_is_right_at_both() {
    const SOURCE_EXACT: f64 = 1e-6;
    let kiln = kiln()
        .with(|c| {
            c.junction.self_heating = 0.0;
            c.plan.at = vec![100.0, 1000.0];
        })
        .built();
    let study = kiln.study(vec![100.0, 1000.0], vec![kiln.chain().plan.board]);
    let mut d = study.mean.clone();
    for (id, value) in
        [("RG.tolerance", 0.008), ("A1.offset", -20e-6), ("VREF.initial", 0.0015), ("converter.gain", -8e-4)]
    {
        d[kiln.index(id)] = value;
    }
    let mut out = vec![0.0; 6];
    study.readings(&d, &mut study.work(), &mut out).unwrap();
    println!("{out:?}");
    assert!((out[1] - 1000.0).abs() > 3.0, "without trim {} °C", out[1]);
    assert!(
        (out[2] - 100.0).abs() < SOURCE_EXACT && (out[3] - 1000.0).abs() > 2.0,
        "one point {:?}",
        &out[2..4]
    );
    assert!(
        (out[4] - 100.0).abs() < SOURCE_EXACT && (out[5] - 1000.0).abs() < SOURCE_EXACT,
        "two {:?}",
        &out[4..6]
    );
    d[kiln.index("probe.tolerance")] = 1.0;
    study.readings(&d, &mut study.work(), &mut out).unwrap();
    assert!((out[5] - 1004.0).abs() < 1e-3, "class 1 at 1000 °C is 4 K: {}", out[5]);
}

/// The source's own uncertainty: 0.02 % of the emf and 5 µV, and 0.2 K at the terminals through the ratio of
/// sensitivities, with one point at 1000 °C.
#[test]
fn what_the_calibrator_brings_in() {
    let kiln = kiln()
        .with(|c| {
            c.plan.at = vec![1000.0];
            // Large enough to be seen beside the converter's.
            for part in &mut c.front_end.parts {
                if let PartKind::Instrumentation { gain_nonlinearity, .. } = &mut part.kind {
                    *gain_nonlinearity = 1e-3;
                }
            }
        })
        .built();
    let study = kiln.study(vec![1000.0], vec![23.0]);
    let (_, rows) = gum::contributions(&study).unwrap();
    let row = |id: &str| {
        let i = study.imperfections.iter().position(|i| i.id == format!("calibration.{id}")).unwrap();
        rows[CalibrationWish::Zero.points()][i].abs()
    };
    let s = slope(&kiln, 1000.0);
    let root3 = 3f64.sqrt();
    let v = emf(&kiln, 1000.0) - emf(&kiln, 23.0);
    for (id, expected) in [
        ("source_gain", 2e-4 * v / s / root3),
        ("source_offset", 5e-6 / s / root3),
        ("thermometer", 0.2 * slope(&kiln, 23.0) / s / root3),
    ] {
        assert!((row(id) / expected - 1.0).abs() < 2e-3, "{id}: {} K, expected {expected} K", row(id));
    }
    // What averaging 16 readings leaves; quantisation and both non-linearities stay whole.
    let board = |id: &str| kiln.distribution(id).standard();
    let averaged: f64 =
        ["noise.circuit", "converter.noise", "mains.series", "mains.common", "mains.harmonics"]
            .map(|id| board(id) * board(id))
            .iter()
            .sum();
    let kept: f64 = ["converter.quantisation", "converter.nonlinearity", "A1.gain_nonlinearity"]
        .map(|id| board(id) * board(id))
        .iter()
        .sum();
    let gain = kiln.model.nominal_transfer().1;
    let expected = (averaged / 16.0 + kept).sqrt() / gain / s;
    assert!(
        (row("reading.1") / expected - 1.0).abs() < 2e-3,
        "{} K, expected {expected} K",
        row("reading.1")
    );
}

/// A known temperature heats the probe: its deviation at the point goes, and comes back with the class limit.
#[test]
fn a_known_temperature_takes_the_probe_along() {
    let warm = kiln()
        .with(|c| {
            c.plan.method = CalibrationMethod::KnownTemperature { accuracy: 0.2 };
            c.plan.at = vec![1000.0];
        })
        .built();
    assert!(matches!(warm.chain().probe.tolerance, ProbeTolerance::Class(_)));
    let rows = contributions(&warm, &[1000.0, 100.0], 23.0);
    let probe = warm.index("probe.tolerance");
    assert!((rows[0][0][probe].abs() - 4.0 / 3f64.sqrt()).abs() < 1e-2, "{}", rows[0][0][probe]);
    assert!(rows[1][0][probe].abs() < 1e-3, "{}", rows[1][0][probe]);
    // At 100 °C the same volts are taken off, S(1000)/S(100)·4 K less the 1.5 K of the class there.
    let expected = (slope(&warm, 1000.0) / slope(&warm, 100.0) * 4.0 - 1.5) / 3f64.sqrt();
    assert!(
        (rows[1][1][probe].abs() / expected - 1.0).abs() < 0.02,
        "{} K, expected {expected}",
        rows[1][1][probe]
    );
}

/// What has one value when the board is calibrated and another when it is used counts twice after a trim, and what
/// comes later counts as it is: 2 K of drift at the far end stay 2 K.
#[test]
fn occasions_and_later_drift() {
    const NEAR: f64 = 0.02; // sensitivities at 23 °C and at the board temperature looked at differ by less
    let kiln = kiln().with(|c| c.probe.drift = 2.0).built();
    let study = kiln.study(vec![1100.0], vec![23.0]);
    let (_, rows) = gum::contributions(&study).unwrap();
    let at = |id: &str| study.imperfections.iter().position(|i| i.id == id).unwrap();
    let (use_, then) = (at("junction.gradient"), at("calibration.junction.gradient"));
    let expected = 0.3 / 3f64.sqrt() * slope(&kiln, 23.0) / slope(&kiln, 1100.0);
    assert_eq!(rows[0][then], 0.0);
    for wish in [1, 2] {
        assert!(
            (rows[wish][use_] / -expected - 1.0).abs() < NEAR,
            "{} K, expected {expected}",
            rows[wish][use_]
        );
        assert!(
            (rows[wish][then] / expected - 1.0).abs() < NEAR,
            "{} K, expected {expected}",
            rows[wish][then]
        );
        let drift = rows[wish][at("probe.drift")];
        assert!((drift * 3f64.sqrt() - 2.0).abs() < 1e-3, "{drift} K");
    }
}
