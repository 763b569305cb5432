//! The built-in front ends that compensate by parts of the circuit, have taps, or are a converter alone: as files, with
//! their budgets, what a broken thermocouple reads, and what the board's temperature leaves in the reading.

use icepoint_chain::Budget;
use icepoint_chain::chain::{BrokenSensor, CalibrationWish, JunctionMethod};
use icepoint_chain::front_end::library;
use icepoint_chain::taps;
use icepoint_sensors::Letter;

use crate::bench::{InHand, resolved};

const FILES: [&str; 5] = ["diode.toml", "thermistor.toml", "platinum.toml", "taps.toml", "direct.toml"];

#[test]
fn every_built_in_text_is_read() {
    assert_eq!(library::all().len(), library::TEXTS.len());
}

/// The budgets are finite in every point and calibration, and all limits hold at the corners.
#[test]
fn budgets_are_finite_and_the_limits_hold() {
    for name in FILES {
        let board = resolved(name).chain.built();
        let uses = board.model.headroom().unwrap();
        let worst = uses.first().unwrap();
        assert!(worst.relative_margin() > 0.0, "{name}: {worst:?}");
        let budget = Budget::new(&board.model, &|_| ()).unwrap();
        for wish in CalibrationWish::ALL {
            for point in budget.of(wish) {
                let u = point.gum.expanded();
                assert!(u.is_finite() && u > 0.0 && u < 60.0, "{name}: {u} K at {} °C", point.hot);
            }
        }
    }
}

/// Upscale and downscale on every one of them, by the same resistor on the rail that is asked for.
#[test]
fn a_broken_thermocouple_reads_where_it_is_asked_to() {
    for name in FILES {
        for want in [BrokenSensor::Upscale, BrokenSensor::Downscale] {
            let mut file = resolved(name);
            file.surroundings.broken_sensor = want;
            let chain = file.with_values(&file.fixed).with(|c| c.need.broken_sensor = want);
            let short = chain.built().model.open_sensor_shortfall().unwrap();
            assert!(short < 0.0, "{name}, {}: {short} K short", want.name());
        }
    }
}

/// The compensation follows the emf curve: what is left over the board's range is a fraction of a kelvin where nothing
/// at all would leave 15 K.
#[test]
fn compensations_take_the_board_out_of_the_reading() {
    for (name, most) in [("diode.toml", 0.6), ("thermistor.toml", 0.6), ("platinum.toml", 0.6)] {
        let board = resolved(name).chain.built();
        assert!(matches!(board.chain().junction.method, JunctionMethod::InCircuit));
        let error = taps::compensation_error(&board.model).unwrap();
        println!("{name}: {error} K left over 10 °C to 40 °C");
        assert!(error < most, "{name}: {error} K");
    }
}

/// Each tap with each type, against the divider's share by hand.
#[test]
fn taps_with_the_right_and_the_wrong_type() {
    let file = resolved("taps.toml");
    let table = taps::table(&file, &file.chain).unwrap();
    assert_eq!(table.len(), 5 * 7);
    let total = 100e3 + 93.1 + 110.0 + 147.0 + 200.0 + 59.0;
    let below = [("tap_e", 609.1), ("tap_j", 516.0), ("tap_k", 406.0), ("tap_n", 259.0), ("tap_s", 59.0)];
    for row in &table {
        let share = below.iter().find(|(node, _)| *node == row.node).unwrap().1 / total;
        let emf = |t: f64| row.letter.emf_and_slope_extended(t).0;
        let by_hand = [10.0, 40.0f64]
            .into_iter()
            .chain((1..8).map(|i| 10.0 + 3.75 * f64::from(i)))
            .map(|t| (10e-3 * share * (t - 25.0) - (emf(t) - emf(25.0))).abs())
            .fold(0.0, f64::max)
            / row.letter.emf_and_slope_extended(120.0).1;
        // The gradient and the pull-up's current through the divider stay out of the hand's formula.
        assert!((row.error - by_hand).abs() < 0.02 + 0.01 * by_hand, "{row:?}: by hand {by_hand} K");
        if row.is_right() {
            assert!(row.error < 1.0, "{row:?}");
        }
    }
    let of = |node: &str, letter| table.iter().find(|r| r.node == node && r.letter == letter).unwrap().error;
    for row in &table {
        println!("{} with type {}: {:.2} K", row.node, row.letter.name(), row.error);
    }
    assert!(of("tap_s", Letter::K) > 10.0 && of("tap_e", Letter::K) > 4.0);
}

/// A tap takes the place of the negative terminal when the probe is of its type.
#[test]
fn the_probe_chooses_its_tap() {
    let file = resolved("taps.toml");
    assert_eq!(file.chain.front_end.ports.minus, "tap_k");
    let mut other = file.clone();
    other.surroundings.letter = Letter::N;
    assert_eq!(other.with_values(&other.fixed).front_end.ports.minus, "tap_n");
    other.surroundings.letter = Letter::B;
    assert_eq!(other.with_values(&other.fixed).front_end.ports.minus, "tap_k");
}
