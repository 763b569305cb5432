//! What must hold everywhere: round trips, order, slopes, sums, and no panic on any number.

#![allow(clippy::expect_used, clippy::unwrap_used, clippy::panic, missing_docs)] // a failed expectation is a failed test

use icepoint_sensors::platinum::Platinum;
use icepoint_sensors::silicon::SiliconJunction;
use icepoint_sensors::thermistor::{Beta, SteinhartHart};
use icepoint_sensors::tolerance::ToleranceClass;
use icepoint_sensors::wire::{Size, awg_to_millimetres, loop_ohms_per_metre, millimetres_to_awg};
use icepoint_sensors::{Letter, atmosphere, cable::Cable, published_inverse, tolerance, water, wire};
use proptest::prelude::*;

/// Asked of every inverse of a thermocouple where the sensitivity is above 1 µV/K.
const ROUND_TRIP_KELVIN: f64 = 1e-9;
/// Central differences over 2 mK: truncation below 1e-12 V/K, rounding of the emf 1e-15 V / 2 mK.
const DIFFERENCE_STEP: f64 = 1e-3;
const DIFFERENCE_ERROR: f64 = 2e-12;

fn letter() -> impl Strategy<Value = Letter> {
    prop::sample::select(&Letter::ALL[..])
}

fn inside() -> impl Strategy<Value = (Letter, f64)> {
    letter().prop_flat_map(|letter| {
        let (low, high) = letter.range();
        (Just(letter), low..=high)
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 2000, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn temperature_of_emf_is_the_temperature((letter, t) in inside()) {
        let (emf, slope) = letter.emf_and_slope(t).unwrap();
        prop_assume!(slope > 1e-6);
        prop_assert!((letter.temperature(emf).unwrap() - t).abs() < ROUND_TRIP_KELVIN);
    }

    #[test]
    fn emf_of_temperature_is_the_emf((letter, t) in inside(), share in 0.0..1.0f64) {
        let (least, largest) = letter.emf_range();
        let volts = least + (largest - least) * share;
        let _ = t;
        if let Ok(back) = letter.temperature(volts) {
            prop_assert!((letter.emf(back).unwrap() - volts).abs() <= 2e-15);
        }
    }

    #[test]
    fn slope_is_the_difference_quotient((letter, t) in inside()) {
        let (low, high) = letter.range();
        prop_assume!(t > low + DIFFERENCE_STEP && t < high - DIFFERENCE_STEP);
        // Types K and N have a true step of the slope at 0 °C; elsewhere a join's ramp begins or ends within 3e-12 V/K.
        prop_assume!(t.abs() > DIFFERENCE_STEP);
        let above = letter.emf(t + DIFFERENCE_STEP).unwrap();
        let below = letter.emf(t - DIFFERENCE_STEP).unwrap();
        let quotient = (above - below) / ((t + DIFFERENCE_STEP) - (t - DIFFERENCE_STEP));
        let near_join = letter.segments().iter().any(|s| (t - s.celsius.0).abs() < 0.01 || (t - s.celsius.0 - 1.0).abs() < 0.01);
        let allowed = if near_join { 2e-10 } else { DIFFERENCE_ERROR };
        prop_assert!((letter.emf_slope(t).unwrap() - quotient).abs() < allowed, "{} {}", letter, t);
    }

    #[test]
    fn hotter_is_more_volts((letter, t) in inside(), step in 1e-3..50.0f64) {
        prop_assume!(letter != Letter::B || t > 21.021);
        if let Ok(warmer) = letter.emf(t + step) {
            prop_assert!(warmer > letter.emf(t).unwrap());
        }
    }

    #[test]
    fn reference_junction_is_a_sum_in_volts((letter, hot) in inside(), reference in 0.0..60.0f64) {
        let volts = letter.terminal_volts(hot, reference).unwrap();
        // Swapping the junctions swaps the sign; the same temperature at both gives nothing.
        prop_assert_eq!(letter.terminal_volts(reference, hot).unwrap(), -volts);
        prop_assert_eq!(letter.terminal_volts(hot, hot).unwrap(), 0.0);
        prop_assume!(letter.emf_slope(hot).unwrap() > 1e-6);
        prop_assert!((letter.temperature_at(volts, reference).unwrap() - hot).abs() < ROUND_TRIP_KELVIN);
    }

    #[test]
    fn published_inverse_stays_within_its_printed_error((letter, t) in inside()) {
        let emf = letter.emf(t).unwrap();
        // Type A prints no error.
        if let Some((low, high)) = published_inverse::range_for(letter, emf).and_then(|range| range.error_kelvin) {
            let error = published_inverse::temperature(letter, emf).unwrap() - t;
            prop_assert!(error > low - 0.01 && error < high + 0.01, "{} {} {}", letter, t, error);
        }
    }

    #[test]
    fn no_number_panics(bits in any::<u64>(), other in any::<u64>(), letter in letter()) {
        let (x, y) = (f64::from_bits(bits), f64::from_bits(other));
        let _ = (letter.inverse(x), letter.emf(x), letter.emf_and_slope_extended(x), letter.temperature_at(x, y));
        let _ = (published_inverse::temperature(letter, x), wire::upper_limit_celsius(letter, Size::Awg(x)));
        for class in ToleranceClass::ALL {
            let _ = tolerance::limit(letter, class, x).map_err(|error| error.to_string());
        }
        let _ = (loop_ohms_per_metre(letter, Size::Awg(x)), loop_ohms_per_metre(letter, Size::Millimetres(x)));
        let _ = (water::boiling_point(x), water::saturation_pressure(x), atmosphere::pressure(x), atmosphere::altitude(x));
        let _ = Platinum::new(x).map(|p| (p.resistance(y), p.temperature(y)));
        let _ = Beta::new(x, y).map(|b| (b.resistance(x), b.temperature(y)));
        let _ = SteinhartHart::new(x, y, x).map(|s| (s.resistance(25.0), s.temperature(y)));
        let _ = SteinhartHart::from_points([(x, y), (25.0, 1e4), (y, x)]);
        let _ = SiliconJunction::new(x, y).map(|s| (s.voltage(y), s.temperature(x)));
        let _ = (icepoint_sensors::silicon::delta_volts(x, y), icepoint_sensors::silicon::delta_temperature(x, y));
    }

    #[test]
    fn no_text_panics(text in "\\PC{0,20}") {
        let _ = (Letter::parse(&text), ToleranceClass::parse(&text), Cable::parse(&text).map_err(|e| e.to_string()));
        let _ = icepoint_sensors::platinum::Class::parse(&text);
    }

    #[test]
    fn platinum_round_trip(t in -200.0..=850.0f64, ice in 10.0..2000.0f64) {
        let resistor = Platinum::new(ice).unwrap();
        let ohms = resistor.resistance(t).unwrap();
        // 1e-11 K as documented: a rounding of the ratio over its slope.
        prop_assert!((resistor.temperature(ohms).unwrap() - t).abs() < 1e-11);
    }

    #[test]
    fn thermistor_round_trip(t in -80.0..=300.0f64, r25 in 100.0..1e6f64, b in 2000.0..5000.0f64) {
        let beta = Beta::new(r25, b).unwrap();
        let (ohms, slope) = beta.resistance_and_slope(t).unwrap();
        prop_assert!(slope < 0.0);
        prop_assert!((beta.temperature(ohms).unwrap() - t).abs() < 1e-9);
        let nearby = beta.resistance(if t < 0.0 { t + 1e-4 } else { t - 1e-4 }).unwrap();
        let quotient = (nearby - ohms) / if t < 0.0 { 1e-4 } else { -1e-4 };
        prop_assert!((quotient / slope - 1.0).abs() < 1e-4);
    }

    #[test]
    fn steinhart_hart_round_trip(t in -50.0..=150.0f64) {
        let model = SteinhartHart::from_points([(0.0, 32_650.0), (25.0, 10_000.0), (70.0, 1_752.0)]).unwrap();
        let (ohms, slope) = model.resistance_and_slope(t).unwrap();
        prop_assert!((model.temperature(ohms).unwrap() - t).abs() < 1e-9);
        let quotient = (model.resistance(t + 1e-4).unwrap() - model.resistance(t - 1e-4).unwrap()) / 2e-4;
        prop_assert!((quotient / slope - 1.0).abs() < 1e-6);
    }

    #[test]
    fn silicon_round_trip(t in -100.0..=200.0f64, v in 0.3..0.9f64) {
        let junction = SiliconJunction::new(v, 25.0).unwrap();
        let (volts, slope) = junction.voltage_and_slope(t).unwrap();
        prop_assert!(slope < 0.0);
        prop_assert!((junction.temperature(volts).unwrap() - t).abs() < 1e-9);
        if t > -99.0 && t < 199.0 {
            let quotient = (junction.voltage(t + 0.01).unwrap() - junction.voltage(t - 0.01).unwrap()) / 0.02;
            prop_assert!((quotient - slope).abs() < 1e-9);
        }
    }

    #[test]
    fn water_round_trip(t in 0.01..373.9f64, metres in -500.0..11_000.0f64) {
        let back = water::boiling_point(water::saturation_pressure(t).unwrap()).unwrap();
        // IAPWS R7-97: the two equations are exact inverses of each other; near the critical point rounding grows.
        prop_assert!((back - t).abs() < 1e-7, "{} {}", t, back);
        prop_assert!((atmosphere::altitude(atmosphere::pressure(metres).unwrap()).unwrap() - metres).abs() < 1e-6);
    }

    #[test]
    fn thicker_wire_is_less_ohms(awg in 0.0..44.0f64) {
        prop_assert!((millimetres_to_awg(awg_to_millimetres(awg)) - awg).abs() < 1e-9);
        for letter in [Letter::E, Letter::J, Letter::K, Letter::N, Letter::T] {
            let thin = loop_ohms_per_metre(letter, Size::Awg(awg)).unwrap();
            if let Ok(thick) = loop_ohms_per_metre(letter, Size::Awg(awg - 0.5)) {
                prop_assert!(thick < thin);
            }
        }
    }
}
