//! Wire gauge, loop resistance, suggested upper temperatures.

use icepoint_sensors::Letter::{self, B, C, E, J, K, N, R, S, T};
use icepoint_sensors::wire::{
    Size, WireError, awg_to_millimetres, compensating_sx_ohms_per_metre, loop_ohms_per_metre, rows,
    upper_limit_celsius,
};

#[test]
fn gauge_formula_gives_the_printed_diameters() {
    // The table prints two or three digits; its AWG 34 row is a slip (0.152 for 0.160, see the module).
    const PRINTED_SHARE: f64 = 0.01;
    assert_eq!(rows().len(), 14);
    for row in rows() {
        let ours = awg_to_millimetres(f64::from(row.awg));
        let share = (ours / row.printed_millimetres - 1.0).abs();
        if row.awg == 34 {
            assert!((ours - 0.160).abs() < 5e-4 && share > 0.04);
        } else {
            assert!(share <= PRINTED_SHARE, "AWG {}: {ours}", row.awg);
        }
    }
    // ASTM B258 anchors: AWG 36 is 5 mil; 0000 (n = −3) is 460 mil.
    assert!((awg_to_millimetres(36.0) - 0.127).abs() < 1e-12);
    assert!((awg_to_millimetres(-3.0) - 11.684).abs() < 1e-9);
}

#[test]
fn loop_resistance_as_tabled_and_by_area_between() {
    const FEET_PER_METRE: f64 = 3.280_839_895;
    let per_metre =
        |letter, size| loop_ohms_per_metre(letter, size).unwrap_or_else(|error| panic!("{error}"));
    for row in rows() {
        let size = Size::Awg(f64::from(row.awg));
        for (letter, tabled) in
            [(E, Some(row.e)), (J, Some(row.j)), (K, Some(row.k)), (N, Some(row.n)), (T, row.t)]
        {
            let Some(tabled) = tabled else { continue };
            assert!(
                (per_metre(letter, size) / (tabled * FEET_PER_METRE) - 1.0).abs() < 1e-9,
                "{letter} {}",
                row.awg
            );
        }
        if let Some(tabled) = row.sx {
            let ours = compensating_sx_ohms_per_metre(size).unwrap_or_else(|error| panic!("{error}"));
            assert!((ours / (tabled * FEET_PER_METRE) - 1.0).abs() < 1e-9);
        }
    }
    // R·d² is a constant of the alloys: between rows and past the ends it stays within the table's scatter.
    const SCATTER: f64 = 0.06;
    for letter in [E, J, K, N, T] {
        let product = |d: f64| per_metre(letter, Size::Millimetres(d)) * d * d;
        for d in [0.06, 0.1, 0.18, 0.3, 0.5, 0.7, 1.2, 3.0, 5.0] {
            assert!((product(d) / product(0.5) - 1.0).abs() < SCATTER, "{letter} {d}");
        }
    }
    for letter in [R, S, B, C, Letter::A] {
        assert_eq!(loop_ohms_per_metre(letter, Size::Millimetres(0.5)), Err(WireError::NoFigure(letter)));
    }
    for d in [0.0, -1.0, f64::NAN, 100.0] {
        assert!(matches!(loop_ohms_per_metre(K, Size::Millimetres(d)), Err(WireError::Outside(_))));
    }
}

#[test]
fn suggested_upper_temperatures() {
    for (letter, awg, celsius) in [
        (T, 14, 370.0),
        (T, 30, 150.0),
        (J, 8, 760.0),
        (J, 24, 370.0),
        (E, 20, 540.0),
        (K, 8, 1260.0),
        (K, 30, 760.0),
        (N, 14, 1090.0),
        (R, 24, 1480.0),
        (S, 24, 1480.0),
        (B, 24, 1700.0),
        (C, 24, 2315.0),
    ] {
        assert_eq!(upper_limit_celsius(letter, Size::Awg(f64::from(awg))), Some(celsius), "{letter} {awg}");
    }
    assert_eq!(upper_limit_celsius(K, Size::Awg(6.0)), Some(1260.0), "thicker than tabled: as the thickest");
    assert_eq!(upper_limit_celsius(K, Size::Awg(32.0)), None, "thinner than tabled: no figure");
    assert_eq!(upper_limit_celsius(Letter::A, Size::Awg(20.0)), None);
}
