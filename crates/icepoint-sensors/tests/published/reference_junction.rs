//! IEC 60751 platinum, thermistor equations, silicon junction: printed and worked figures.

use icepoint_sensors::platinum::{Class, Element, Platinum};
use icepoint_sensors::silicon;
use icepoint_sensors::thermistor::{Beta, SteinhartHart, SteinhartHartError};

/// Half of the last printed digit of IEC 60751 tables, Ω.
const PRINTED_OHMS: f64 = 0.005 + 1e-9;

#[test]
fn platinum_table_of_iec_60751() {
    let table = [
        (-200.0, 18.52),
        (-100.0, 60.26),
        (-50.0, 80.31),
        (0.0, 100.00),
        (10.0, 103.90),
        (50.0, 119.40),
        (100.0, 138.51),
        (150.0, 157.33),
        (200.0, 175.86),
        (300.0, 212.05),
        (400.0, 247.09),
        (500.0, 280.98),
        (600.0, 313.71),
        (850.0, 390.48),
    ];
    for (celsius, ohms) in table {
        let (ours, slope) = Platinum::HUNDRED_OHMS.resistance_and_slope(celsius).expect("in range");
        assert!((ours - ohms).abs() <= PRINTED_OHMS, "{celsius}: {ours}");
        let thousand = Platinum::THOUSAND_OHMS.resistance(celsius).expect("in range");
        assert!((thousand - 10.0 * ours).abs() < 1e-10);
        if celsius > -200.0 && celsius < 850.0 {
            let back = Platinum::HUNDRED_OHMS.temperature(ohms).expect("in range");
            assert!((back - celsius).abs() <= 1.01 * PRINTED_OHMS / slope, "{celsius}: {back}");
        }
    }
    assert!(Platinum::HUNDRED_OHMS.resistance(850.1).is_err());
    assert!(Platinum::HUNDRED_OHMS.temperature(18.0).is_err());
    assert!(Platinum::new(0.0).is_err() && Platinum::new(f64::NAN).is_err());
}

#[test]
fn alpha_is_the_nominal_one() {
    // α = (R100 − R0)/(100·R0) = 0.003851 /°C, IEC 60751.
    let alpha = (Platinum::HUNDRED_OHMS.resistance(100.0).expect("in range") - 100.0) / 10_000.0;
    assert!((alpha - 0.003851).abs() < 0.5e-6, "{alpha}");
}

#[test]
fn platinum_classes() {
    use Element::{Film, Wire};
    for (class, celsius, limit) in [
        (Class::A, 100.0, 0.35),
        (Class::B, 100.0, 0.80),
        (Class::AA, 100.0, 0.27),
        (Class::B, 200.0, 1.30),
        (Class::A, -100.0, 0.35),
        (Class::C, 100.0, 1.60),
    ] {
        assert!((class.limit(Wire, celsius).expect("in range") - limit).abs() < 1e-12, "{class}");
    }
    assert!(Class::A.limit(Film, -100.0).is_err(), "film elements end at −30 °C");
    assert!(Class::AA.limit(Film, 151.0).is_err());
    assert_eq!(Class::parse("IEC 60751 class aa"), Some(Class::AA));
    assert_eq!(Class::parse("B"), Some(Class::B));
    assert_eq!(Class::parse("D"), None);
}

#[test]
fn beta_worked_figures() {
    // Computed apart from the formula, printed to 0.01 Ω.
    let beta = Beta::new(10_000.0, 3435.0).expect("valid");
    for (celsius, ohms) in [(0.0, 28_704.29), (25.0, 10_000.0), (50.0, 4_101.19), (85.0, 1_451.35)] {
        let ours = beta.resistance(celsius).expect("in range");
        assert!((ours - ohms).abs() <= 0.005 + 1e-9, "{celsius}: {ours}");
    }
    let (ohms, slope) = beta.resistance_and_slope(25.0).expect("in range");
    assert!((slope / ohms + 0.038_642).abs() < 0.5e-6);
    assert!(beta.temperature(-1.0).is_err() && beta.temperature(0.0).is_err());
}

#[test]
fn steinhart_hart_worked_figures() {
    let model =
        SteinhartHart::from_points([(70.0, 1752.0), (0.0, 32_650.0), (25.0, 10_000.0)]).expect("valid");
    let (a, b, c) = model.coefficients();
    // Ten printed digits.
    assert!((a / 1.128_463_854e-3 - 1.0).abs() < 1e-8, "{a:e}");
    assert!((b / 2.342_272_580e-4 - 1.0).abs() < 1e-8, "{b:e}");
    assert!((c / 8.733_951_368e-8 - 1.0).abs() < 1e-7, "{c:e}");
    for (ohms, celsius) in [(19_900.0, 10.0027), (5000.0, 41.5741)] {
        assert!((model.temperature(ohms).expect("in range") - celsius).abs() <= 0.5e-4 + 1e-9);
    }
    for (celsius, ohms) in [(0.0, 32_650.0), (25.0, 10_000.0), (70.0, 1752.0)] {
        assert!((model.resistance(celsius).expect("in range") / ohms - 1.0).abs() < 1e-12);
    }
    assert_eq!(
        SteinhartHart::from_points([(25.0, 1e4), (25.0, 1e4), (70.0, 1752.0)]),
        Err(SteinhartHartError::PointsCoincide)
    );
    assert_eq!(
        SteinhartHart::from_points([(0.0, 1000.0), (25.0, 1100.0), (70.0, 1300.0)]),
        Err(SteinhartHartError::NotFalling),
        "a resistor that rises is no such thermistor"
    );
}

#[test]
fn silicon_worked_figures() {
    // dV/dT = (V − Eg/q − γkT/q)/T at 300 K, mV/K to three decimals.
    for (volts, slope) in [(0.60, -2.275), (0.65, -2.109), (0.70, -1.942)] {
        let ours = silicon::forward_slope(volts, 300.0).expect("in range") * 1e3;
        assert!((ours - slope).abs() <= 0.0005 + 1e-9, "{volts}: {ours}");
    }
    for (ratio, celsius, millivolts) in [(10.0, 25.0, 59.159), (8.0, 25.0, 53.426)] {
        let ours = silicon::delta_volts(ratio, celsius).expect("in range");
        assert!((ours * 1e3 - millivolts).abs() <= 0.0005 + 1e-9, "{ratio}: {ours}");
        assert!((silicon::delta_temperature(ratio, ours).expect("in range") - celsius).abs() < 1e-9);
    }
    assert!(silicon::delta_temperature(1.0, 0.0).is_err(), "equal currents tell nothing");
}
