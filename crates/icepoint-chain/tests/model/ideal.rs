//! The chain with nothing wrong, and the two front ends at their means against the formulas.

use crate::bench::{InHand, bench, corners, emf, kiln, slope};
use crate::hand::{Instrumentation, SingleAmplifier};
use icepoint_chain::situation::grid;

/// Solving a dozen equations in doubles and inverting an emf through a cubic good to 1e-9 K.
const ROUNDING_KELVIN: f64 = 1e-6;
/// Volts at an output of some volts, by a different order of operations.
const ROUNDING_VOLTS: f64 = 1e-11;

#[test]
fn the_ideal_kiln_reads_the_truth_everywhere() {
    // Self-heating can only go one way, so its mean is not zero; the next test has it.
    let kiln = kiln().with(|c| c.junction.self_heating = 0.0).built();
    let need = kiln.chain().need;
    let mut worst = 0.0f64;
    for board in grid(need.board, 11) {
        for hot in grid(need.hot, 41) {
            worst = worst.max((kiln.reads(hot, board, &[]) - hot).abs());
        }
    }
    println!("worst {worst:.2e} K");
    assert!(worst < ROUNDING_KELVIN, "{worst} K");
}

/// The sensor warms itself by 0.025 K on average: S(board)/S(hot) of it is read too much.
#[test]
fn mean_self_heating_is_seen_through_the_ratio_of_sensitivities() {
    const SECOND_ORDER: f64 = 2e-6; // the bow of the emf curve over 0.025 K
    let kiln = kiln().built();
    assert_eq!(kiln.limit("junction.self_heating"), 0.05);
    for (hot, board) in corners(kiln.chain()) {
        let expected = 0.025 * slope(&kiln, board) / slope(&kiln, hot);
        let error = kiln.reads(hot, board, &[]) - hot;
        assert!(
            (error - expected).abs() < SECOND_ORDER,
            "{hot} °C, board {board} °C: {error} K, expected {expected}"
        );
    }
}

#[test]
fn the_kiln_gives_the_voltages_of_the_formula() {
    let kiln = kiln().built();
    let mut hand = Instrumentation::of(kiln.chain());
    // A finite gain of at least 10⁶ lies between 10⁶ and infinity: 1/A is half of 10⁻⁶ on average.
    for a in [&mut hand.a2, &mut hand.a3] {
        a.inverse_gain = 0.5e-6;
    }
    for (hot, board) in corners(kiln.chain()) {
        let answer = kiln.answer(hot, board, &[]);
        let v = emf(&kiln, hot) - emf(&kiln, board);
        let expected = hand.output(v);
        assert!(
            (answer.output_volts - expected).abs() < ROUNDING_VOLTS,
            "{} V, expected {expected}",
            answer.output_volts
        );
        assert_eq!(answer.limits, [], "{hot} °C, board {board} °C");
        let pedestal = answer.test_point_volts[2];
        assert!((pedestal - hand.pedestal()).abs() < ROUNDING_VOLTS, "{pedestal}");
    }
    let (offset, gain) = kiln.model.nominal_transfer();
    let mut loaded = hand.output(1.0) - hand.output(0.0);
    assert!((gain / loaded - 1.0).abs() < 1e-12, "{gain} against {loaded}");
    loaded = hand.output(0.0);
    assert!((offset - loaded).abs() < ROUNDING_VOLTS, "{offset} against {loaded}");
}

/// `G·(v + compensation)` with the loading by the voltmeter: 10 MΩ behind R8, 0.2 %.
#[test]
fn the_bench_thermometer_gives_the_voltages_of_the_formula() {
    let bench = bench().built();
    let mut hand = SingleAmplifier::of(bench.chain());
    hand.a1.inverse_gain = 0.5e-6;
    for (hot, board) in corners(bench.chain()) {
        // The sensor's self-heating of 0.05 K at most is 0.025 K on average.
        let expected = hand.output(emf(&bench, hot) - emf(&bench, board), board + 0.025);
        let volts = bench.answer(hot, board, &[]).output_volts;
        assert!(
            (volts - expected).abs() < ROUNDING_VOLTS,
            "{hot} °C, board {board} °C: {volts} V, expected {expected}"
        );
    }
    // In round figures, as one would on paper: gain 1 + 680/2.7, 200 ppm of load per kΩ.
    let rough = (1.0 + 680e3 / 2.7e3) * 10e6 / (10e6 + 20e3);
    let gain = bench.model.nominal_transfer().1;
    assert!(
        (gain / rough - 1.0).abs() < 3e-4,
        "{gain} against {rough}: only R7 and 1/A are left out on paper"
    );
}
