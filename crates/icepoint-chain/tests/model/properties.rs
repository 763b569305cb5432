//! Chains nobody thought of: the model answers with a number or a clear error, and small deviations act in proportion.

use crate::bench::{InHand, bench, kiln};
use crate::circuits::count;
use icepoint_chain::budget::{Study, gum};
use icepoint_chain::chain::{CalibrationWish, Chain, ConverterKind, ProbeTolerance, Readout};
use icepoint_chain::{Model, Situation};
use icepoint_sensors::Letter;
use proptest::prelude::*;
use proptest::test_runner::{TestCaseError, TestRunner};
use std::cell::Cell;

#[derive(Clone, Debug)]
struct Any {
    instrumentation: bool,
    letter: usize,
    range: (f64, f64),
    board: (f64, f64),
    scale: Vec<f64>,
    bits: u32,
    readout: usize,
    grounded: bool,
    kelvin: f64,
    pickup: f64,
}

fn any_chain() -> impl Strategy<Value = Any> {
    (
        any::<bool>(),
        0usize..10,
        (0.0..0.9f64, 0.02..1.0f64),
        (-20.0..40.0f64, 0.0..60.0f64),
        prop::collection::vec(-1.0..1.0f64, 11),
        8u32..25,
        0usize..4,
        any::<bool>(),
        (0.0..5.0f64, 0.0..0.05f64),
    )
        .prop_map(
            |(instrumentation, letter, range, board, scale, bits, readout, grounded, (kelvin, pickup))| Any {
                instrumentation,
                letter,
                range,
                board: (board.0, board.0 + board.1),
                scale,
                bits,
                readout,
                grounded,
                kelvin,
                pickup,
            },
        )
}

fn build(any: &Any) -> Chain {
    let chain = if any.instrumentation { kiln() } else { bench() };
    chain.with(|c| {
        let letter = Letter::ALL[any.letter];
        let (low, high) = letter.range();
        c.probe.letter = letter;
        c.probe.tolerance = ProbeTolerance::Kelvin(any.kelvin);
        c.probe.grounded = any.grounded;
        let width = (high - low) * any.range.1;
        let from = low + any.range.0 * (high - low);
        c.need.hot = (from, (from + width).min(high));
        c.need.board = any.board;
        c.need.series_pickup = any.pickup;
        let mut scale = any.scale.iter().cycle();
        for part in &mut c.front_end.parts {
            if let (Some(value), Some(s)) = (part.kind.value(), scale.next()) {
                part.kind.set_value(value * libm::pow(10.0, *s));
            }
        }
        if let ConverterKind::Adc { bits, .. } = &mut c.converter.kind {
            *bits = any.bits;
        }
        c.readout = match any.readout {
            0 => Readout::EmfInverse,
            1 => Readout::Table { segments: 16 },
            2 => Readout::PublishedPolynomial,
            _ => Readout::Line { slope: 10e-3, offset: 0.1 },
        };
        c.plan.at = vec![c.need.hot.0 + 0.1 * width, c.need.hot.0 + 0.9 * (c.need.hot.1 - c.need.hot.0)];
    })
}

const CASES: u32 = 96;
/// Small deviations move the reading by no more than this, K, over which the thermocouple's curve must be straight.
const BENT_OVER: f64 = 3.0;

proptest! {
    #![proptest_config(ProptestConfig { cases: CASES, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn a_number_or_a_clear_error(any in any_chain()) {
        let model = match Model::new(build(&any)) {
            Ok(model) => model,
            Err(error) => {
                let text = error.to_string();
                prop_assert!(text.len() > 20, "says little: {text}");
                return Ok(());
            }
        };
        let need = model.chain().need;
        for hot in [need.hot.0, 0.5 * (need.hot.0 + need.hot.1), need.hot.1] {
            for board in [need.board.0, need.board.1] {
                let situation = Situation::at(model.chain(), hot, board);
                let answer = model.predict(&situation, model.mean_deviations());
                prop_assert!(answer.is_ok_and(|r| r.celsius.is_finite() && r.output_volts.is_finite()));
            }
        }
        prop_assert!(model.headroom().is_ok_and(|uses| uses.iter().all(|u| u.volts.is_finite())));
        prop_assert!(model.open_sensor(need.board.0).is_ok_and(|r| r.celsius.is_finite()));
        let study = Study::over(&model, vec![need.hot.0, need.hot.1], vec![need.board.1]);
        let points = gum::evaluate(&study).unwrap();
        prop_assert!(points.iter().all(|p| p.standard.is_finite() && p.standard >= 0.0 && p.k >= 1.9));
        prop_assert_eq!(points.len(), 2 * CalibrationWish::ALL.len());
    }
}

/// What the small deviations were looked at on, so that a check which looks at nothing can't pass.
#[derive(Debug, Default)]
struct Seen {
    boards: Cell<u32>,
    deviations: Cell<u32>,
    /// Those that moved the board into a limit.
    limited: Cell<u32>,
}

/// A tenth of a small deviation has a tenth of the effect, where no limit is touched.
#[test]
fn small_deviations_act_in_proportion() {
    let seen = Seen::default();
    let config = ProptestConfig { cases: CASES, failure_persistence: None, ..ProptestConfig::default() };
    let outcome = TestRunner::new(config)
        .run(&(any_chain(), 0.2..0.8f64), |(any, share)| proportional(&any, share, &seen));
    outcome.unwrap_or_else(|error| panic!("{error}"));
    println!("{seen:?}");
    assert!(seen.boards.get() > CASES / 8 && seen.deviations.get() > 20 * seen.boards.get(), "{seen:?}");
    assert!(seen.limited.get() < seen.deviations.get() / 10, "{seen:?}");
}

fn proportional(any: &Any, share: f64, seen: &Seen) -> Result<(), TestCaseError> {
    const SMALL: f64 = 1e-2; // of each limit
    const ROUNDING: f64 = 3e-7; // K: 1e-9 K of the cubic at each of four readings, and solving
    const CURVATURE: f64 = 2e-2;
    // Values within a quarter of the usual ones: farther away most boards sit at a limit.
    let scale = any.scale.iter().map(|s| 0.1 * s).collect();
    let readout = if any.instrumentation { 0 } else { 3 };
    let Ok(model) = Model::new(build(&Any { readout, scale, grounded: false, ..any.clone() })) else {
        return Ok(());
    };
    let need = model.chain().need;
    let hot = need.hot.0 + share * (need.hot.1 - need.hot.0);
    // Where the curve of the thermocouple itself bends, as type B's does near 21 °C, no model is straight.
    let slope = |celsius: f64| model.chain().probe.letter.emf_slope(celsius).unwrap_or(f64::NAN);
    let bend = |by: f64| (slope(hot + by) / slope(hot) - 1.0).abs();
    if !(bend(BENT_OVER) < 0.5 * CURVATURE && bend(-BENT_OVER) < 0.5 * CURVATURE) {
        return Ok(());
    }
    let situation = Situation::at(model.chain(), hot, need.board.0);
    let mean = model.mean_deviations();
    let centre = model.predict(&situation, mean).unwrap();
    let span = model.chain().converter.span();
    let inside = centre.limits.is_empty()
        && centre.output_volts > span.0 + 0.05
        && centre.output_volts < span.1 - 0.05
        && centre.celsius > need.hot.0
        && centre.celsius < need.hot.1;
    if !inside {
        return Ok(());
    }
    count(&seen.boards);
    for (i, imperfection) in model.imperfections().iter().enumerate() {
        let step = SMALL * imperfection.distribution.limits().1;
        let change = |share: f64| {
            let mut d = mean.to_vec();
            d[i] += share * step;
            let moved = model.predict(&situation, &d).unwrap();
            moved.limits.is_empty().then_some(moved.celsius - centre.celsius)
        };
        // A board next to a limit may be moved into it.
        let (Some(whole), Some(tenth), Some(back)) = (change(1.0), change(0.1), change(-1.0)) else {
            count(&seen.limited);
            continue;
        };
        count(&seen.deviations);
        let (id, scale) = (&imperfection.id, whole.abs().max(back.abs()));
        prop_assert!(scale.is_finite() && tenth.is_finite(), "{id}: {whole:e}, {tenth:e}, {back:e}");
        prop_assert!(
            (whole - 10.0 * tenth).abs() <= CURVATURE * scale + 10.0 * ROUNDING,
            "{id}: {whole:e}, {tenth:e}"
        );
        prop_assert!((whole + back).abs() <= CURVATURE * scale + ROUNDING, "{id}: {whole:e}, {back:e}");
    }
    Ok(())
}
