//! Honest intervals: boards are drawn from the prior, read with noise and with the references' errors, calibrated by the
//! real code, and used on another day. How often does the 95 % band hold the truth?

use icepoint_bench::calibrate::Calibrator;
use icepoint_bench::calibrate::checks::LEVEL;
use icepoint_bench::calibrate::simulate::{build, in_use, read};
use icepoint_chain::Model;
use icepoint_chain::budget::monte_carlo::generator;
use icepoint_chain::chain::Correction;

use crate::{condition, example, given};

/// Boards simulated for each chain.
const BOARDS: u32 = 2000;
/// The band must hold the truth in 95 % of cases, give or take this.
const ALLOWED: f64 = 0.015;

struct Seen {
    /// Share of boards inside the band, at each point.
    inside: Vec<f64>,
    /// Half-width predicted, and half of the central 95 % of the simulated errors around their expectation, K.
    widths: Vec<(f64, f64)>,
    /// Share of boards of which the misfit is noticed.
    noticed: f64,
    /// What the report says of boards that are twice as far off.
    told: f64,
}

fn simulate(model: &Model, at: &[(f64, f64)], hot: &[f64], board: &[f64], times: f64) -> Seen {
    let conditions: Vec<_> = at
        .iter()
        .enumerate()
        .map(|(k, &(hot, board))| condition(model, given(model, hot, board), board, 4, 2 + 4 * k))
        .collect();
    let calibrator = Calibrator::new(model, Correction::NONE, conditions, (hot, board), 0.0).unwrap();
    let points = calibrator.targets.points();
    let mut inside = vec![0u32; points];
    let mut errors: Vec<Vec<f64>> = vec![Vec::new(); points];
    let (mut noticed, mut told) = (0, 0.0);
    for n in 0..BOARDS {
        let mut rng = generator(11, n);
        let as_built = build(&calibrator.forward, times, &mut rng);
        let readings = read(&calibrator.forward, &as_built, &calibrator.noise.per_volt, &mut rng).unwrap();
        let means: Vec<f64> = readings.iter().map(|r| r.iter().sum::<f64>() / r.len() as f64).collect();
        let solved = calibrator.solve(&means).unwrap();
        noticed += u32::from(solved.misfit.noticed());
        told = solved.misfit.power;
        let used = in_use(&calibrator.forward, &as_built, solved.constants, (hot, board), &mut rng).unwrap();
        for (p, (band, reading)) in solved.band.iter().zip(&used).enumerate() {
            let error = reading - band.hot - band.bias;
            inside[p] += u32::from(error.abs() <= band.half);
            errors[p].push(error);
        }
    }
    let widths = errors
        .iter_mut()
        .zip(&calibrator.spread.half)
        .map(|(e, &half)| {
            e.sort_by(f64::total_cmp);
            let at = |p: f64| e[(p * (e.len() - 1) as f64).round() as usize];
            (half, 0.5 * (at(0.975) - at(0.025)))
        })
        .collect();
    Seen {
        inside: inside.iter().map(|&n| f64::from(n) / f64::from(BOARDS)).collect(),
        widths,
        noticed: f64::from(noticed) / f64::from(BOARDS),
        told,
    }
}

/// Coverage at single points wanders by half a per cent with 2000 boards; the mean over the points by less.
fn assert_honest(name: &str, at: &[(f64, f64)], hot: &[f64], board: &[f64]) -> Seen {
    let model = example(name);
    let seen = simulate(&model, at, hot, board, 1.0);
    let (low, high) =
        seen.inside.iter().fold((1.0f64, 0.0f64), |(a, b), &share| (a.min(share), b.max(share)));
    println!("{name}: inside the band {:.1} % to {:.1} % of {BOARDS} boards", 100.0 * low, 100.0 * high);
    println!("{name}: misfit noticed though the prior is right: {:.1} %", 100.0 * seen.noticed);
    println!("{name}: predicted and simulated half-widths {:.3?} K", seen.widths);
    assert!((low - 0.95).abs() <= ALLOWED && (high - 0.95).abs() <= ALLOWED, "{name}: {:?}", seen.inside);
    assert!(seen.noticed <= LEVEL + ALLOWED, "{name}: {}", seen.noticed);
    seen
}

const KILN: &[(f64, f64)] = &[(20.0, 23.0), (550.0, 23.0), (1000.0, 23.0)];
const FREEZER: &[(f64, f64)] = &[(-78.0, 23.0), (-40.0, 23.0), (0.0, 23.0)];

/// After three points the predicted band of the kiln and the simulated one agree within a tenth.
#[test]
fn kiln_holds_its_band() {
    let seen = assert_honest("burnout-kiln", KILN, &[150.0, 370.0, 800.0, 1080.0], &[8.0, 40.0, 52.0]);
    for (predicted, simulated) in seen.widths {
        assert!((predicted / simulated - 1.0).abs() < 0.10, "{predicted} against {simulated} K");
    }
}

#[test]
fn bench_voltmeter_holds_its_band() {
    let model = example("bench-voltmeter");
    let (low, high) = model.chain().need.hot;
    let at = |share: f64| low + share * (high - low);
    let (cold, warm) = model.chain().need.board;
    let points: Vec<_> = [0.1, 0.5, 0.9].map(|s| (at(s).round(), 23.0)).to_vec();
    assert_honest(
        "bench-voltmeter",
        &points,
        &[at(0.05), at(0.3), at(0.7)],
        &[cold, 0.5 * (cold + warm), warm],
    );
}

#[test]
fn freezer_holds_its_band() {
    assert_honest("freezer", FREEZER, &[-70.0, -55.0, -20.0], &[12.0, 24.0, 33.0]);
}

/// Boards whose own deviations are twice what the prior says: a redundant set must notice it in most cases, as often as
/// the report says.
#[test]
fn a_prior_too_small_by_two_is_noticed_in_most_cases() {
    for (name, hots) in [
        ("burnout-kiln", [20.0, 300.0, 550.0, 800.0, 1000.0]),
        ("bench-voltmeter", [0.0, 50.0, 100.0, 200.0, 350.0]),
        ("freezer", [-78.0, -60.0, -40.0, -20.0, 0.0]),
    ] {
        let model = example(name);
        let (cold, warm) = model.chain().need.board;
        let boards = [cold + 5.0, 23.0, warm - 5.0];
        let at: Vec<_> = boards.iter().flat_map(|&b| hots.iter().map(move |&h| (h, b))).collect();
        let seen = simulate(&model, &at, &hots[1..2], &boards[..1], 2.0);
        let (noticed, told) = (100.0 * seen.noticed, 100.0 * seen.told);
        println!("{name}: prior too small by two, misfit noticed in {noticed:.1} %, told {told:.1} %");
        assert!(seen.noticed > 0.5, "{name}: {}", seen.noticed);
        // Four standard deviations of a share of 2000 against one of 4000, and the curvature that the linear draws leave out.
        assert!((seen.noticed - seen.told).abs() < 0.06, "{name}: {} {}", seen.noticed, seen.told);
    }
}
