//! Reference junctions: errors of the sensor seen through the ratio of sensitivities, thermistor and platinum resistor
//! against their closed forms, and what a network of two resistors cancels.

use crate::bench::{Board, InHand, bench, emf, kiln, slope};
use icepoint_chain::chain::{DividerArm, JunctionMethod, JunctionSensor};
use icepoint_chain::front_end::{Network, PartKind};
use icepoint_sensors::platinum::Class;

/// Two orders of operations.
const ROUNDING_KELVIN: f64 = 2e-6;
/// The bow of two emf curves over half a kelvin, relative to the effect.
const CURVATURE: f64 = 2e-3;

/// One kelvin wrong at the terminals is S(board)/S(hot) kelvin in the reading; style of the figure: 0.71 for type N at
/// 1100 °C and 25 °C.
#[test]
fn sensor_accuracy_counts_by_the_ratio_of_sensitivities() {
    let kiln = kiln().built();
    for (hot, board) in [(1100.0, 25.0), (1100.0, 55.0), (200.0, 5.0)] {
        let expected = 0.5 * slope(&kiln, board) / slope(&kiln, hot);
        let moved = kiln.reads(hot, board, &[("junction.accuracy", 0.5)]) - kiln.reads(hot, board, &[]);
        assert!(
            (moved / expected - 1.0).abs() < CURVATURE,
            "{hot}, {board}: {moved} K, expected {expected} K"
        );
        // Terminals warmer than the sensor: the same with the other sign.
        let gradient = kiln.reads(hot, board, &[("junction.gradient", 0.3)]) - kiln.reads(hot, board, &[]);
        assert!((gradient / (-0.6 * expected) - 1.0).abs() < CURVATURE, "{gradient} K");
    }
    let ratio: f64 = 2.0 * (kiln.reads(1100.0, 25.0, &[("junction.accuracy", 0.5)]) - 1100.0);
    assert!((0.69..0.73).contains(&(ratio - 0.05)), "about 0.71 beside the self-heating: {ratio}");
}

/// Reading of the kiln if its sensor told `told` °C with the board at `at`.
fn if_told(board: &Board, hot: f64, at: f64, told: f64) -> f64 {
    let e = emf(board, hot) - emf(board, at) + emf(board, told);
    board.chain().probe.letter.temperature(e).unwrap()
}

/// The mean of what the other deviations do: self-heating.
const WARMER: f64 = 0.025;

const ARM: DividerArm = DividerArm { ohms: 10e3, tolerance: 0.001, tempco: 25e-6 };

fn with_thermistor() -> Board {
    kiln()
        .with(|c| {
            c.junction.method = JunctionMethod::Measured(JunctionSensor::Thermistor {
                r25: 10e3,
                beta: 3950.0,
                tolerance: 0.01,
                beta_tolerance: 0.005,
                divider: ARM,
            });
        })
        .built()
}

/// `R = R25·exp(β·(1/T − 1/T25))`, read back with nominal figures through the ratio to the fixed resistor.
#[test]
fn thermistor() {
    let kiln = with_thermistor();
    let hot = 800.0;
    for board in [5.0, 25.0, 40.0, 55.0] {
        let kelvin = board + WARMER + 273.15;
        let told = |r25: f64, beta: f64, arm: f64, fraction: f64| {
            let r = r25 * libm::exp(beta * (1.0 / kelvin - 1.0 / 298.15));
            let share = r / (r + arm) + fraction;
            let seen = 10e3 * share / (1.0 - share);
            1.0 / (1.0 / 298.15 + libm::log(seen / 10e3) / 3950.0) - 273.15
        };
        let check = |id: &str, d: f64, told: f64, allowed: f64| {
            let (reads, expected) = (kiln.reads(hot, board, &[(id, d)]), if_told(&kiln, hot, board, told));
            assert!(
                (reads - expected).abs() < allowed,
                "{id}, board {board} °C: {reads}, expected {expected}"
            );
        };
        check("junction.r25", 0.01, told(10.1e3, 3950.0, 10e3, 0.0), ROUNDING_KELVIN);
        check("junction.beta", 0.005, told(10e3, 3950.0 * 1.005, 10e3, 0.0), ROUNDING_KELVIN);
        // The model counts the arm's errors as a change of the thermistor: the arm smaller by so much.
        check("junction.divider", 0.001, told(10e3, 3950.0, 10e3 / 1.001, 0.0), ROUNDING_KELVIN);
        let tempco = 25e-6 * (board - 25.0);
        check(
            "junction.divider_tempco",
            25e-6,
            told(10e3, 3950.0, 10e3 / (1.0 + tempco), 0.0),
            ROUNDING_KELVIN,
        );
        // One of 4096 codes against R/(R + arm), half a code off.
        let half = 0.5 / 4096.0;
        assert_eq!(kiln.limit("junction.quantisation"), half);
        let second_order = 2e-4; // (half/(f·(1 − f)))²·T²/β, f no less than 0.2
        check("junction.quantisation", half, told(10e3, 3950.0, 10e3, half), second_order);
    }
}

/// `R = 100 Ω·(1 + A·t + B·t²)` (IEC 60751), class B ±(0.30 K + 0.005·|t|).
#[test]
fn platinum() {
    let kiln = kiln()
        .with(|c| {
            let divider = DividerArm { ohms: 100.0, ..ARM };
            c.junction.method =
                JunctionMethod::Measured(JunctionSensor::Platinum { class: Class::B, divider });
        })
        .built();
    let (a, b) = (3.9083e-3, -5.775e-7);
    let hot = 800.0;
    for board in [5.0, 25.0, 55.0] {
        let t = board + WARMER;
        let deviation = 0.30 + 0.005 * t;
        let expected = if_told(&kiln, hot, board, t + deviation);
        let reads = kiln.reads(hot, board, &[("junction.class", 1.0)]);
        assert!(
            (reads - expected).abs() < ROUNDING_KELVIN,
            "class, {board} °C: {reads}, expected {expected}"
        );
        let ratio = 100.0 * (1.0 + a * t + b * t * t) * 1.001;
        // The quadratic solved for t.
        let told = (-a + (a * a - 4.0 * b * (1.0 - ratio / 100.0)).sqrt()) / (2.0 * b);
        let reads = kiln.reads(hot, board, &[("junction.divider", 0.001)]);
        let expected = if_told(&kiln, hot, board, told);
        assert!(
            (reads - expected).abs() < ROUNDING_KELVIN,
            "divider, {board} °C: {reads}, expected {expected}"
        );
    }
}

/// R3 and R4 of the bench thermometer in one network: what they share cancels in the gain; what they don't, doesn't.
#[test]
fn a_network_cancels_what_its_resistors_share() {
    // Bias current through R3 ∥ R4 changes with their size: 400 pA·2.7 kΩ·1 % is 1e-8 V at the input, here at zero bias
    // only the finite gain is left.
    const LEFT_KELVIN: f64 = 1e-6;
    let alone = bench().built();
    let network = bench()
        .with(|c| {
            for part in &mut c.front_end.parts {
                if let ("R3" | "R4", PartKind::Resistor { figures, .. }) =
                    (part.designator.as_str(), &mut part.kind)
                {
                    figures.network = Some(Network { name: "RN1".into(), tolerance: 5e-4, tempco: 5e-6 });
                }
            }
        })
        .built();
    let change = |board: &Board, moved: &[(&str, f64)]| {
        board.reads(390.0, 15.0, moved) - board.reads(390.0, 15.0, &[])
    };
    let both = change(&network, &[("RN1.tolerance", 0.01), ("RN1.tempco", 100e-6)]);
    assert!(both.abs() < LEFT_KELVIN, "{both} K from what they share");
    let single = change(&alone, &[("R3.tolerance", 0.01)]);
    // 1 % of 251.85/252.85 of a reading of 400 K with the gain 3.4 % too high.
    assert!((3.7..4.4).contains(&single), "{single} K");
    let tracking = change(&network, &[("R3.tolerance", 5e-4)]);
    assert!((tracking / single - 0.05).abs() < 1e-3, "{tracking} K of tracking");
    // The two shared ones of the separate resistors moved together must do the same as the network's.
    let together = change(&alone, &[("R3.tolerance", 0.01), ("R4.tolerance", 0.01)]);
    let shared = change(&network, &[("RN1.tolerance", 0.01)]);
    assert!((together - shared).abs() < 1e-9, "{together} against {shared}");
}
