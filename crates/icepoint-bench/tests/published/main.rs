//! References and calibration against the documents that they come from.

#![allow(clippy::unwrap_used)] // helpers of tests fail like tests

mod gum_h3;
mod norris;
mod straight_line;

use icepoint_bench::references::{BoilingWater, FixedPointCell, Pressure, Where};
use icepoint_chain::quantity::Toleranced;

/// Boiling point in steam under a barometer, °C.
fn boils_at(pascals: f64) -> f64 {
    let pressure = Pressure::barometer(Toleranced::exact(pascals));
    BoilingWater { pressure, place: Where::Steam }.known().unwrap().nominal
}

/// IAPWS R7-97(2012), table 36: saturation temperature at 0.1 MPa, 372.755919 K.
#[test]
fn saturation_temperature_of_table_36() {
    let worst = (boils_at(1e5) - (372.755_919 - 273.15)).abs();
    // Half of the last printed digit, and the rounding of 273.15.
    assert!(worst <= 0.5e-6 + 1e-9, "{worst}");
}

/// ISO 2533:1975, pressure at altitudes as printed, and the boiling point that follows from it by IAPWS-IF97: an
/// altitude and a barometer that shows the table's pressure must say the same.
#[test]
fn altitudes_of_the_standard_atmosphere() {
    for (metres, pascals) in [
        (0.0, 101_325.0),
        (500.0, 95_460.8),
        (1000.0, 89_874.6),
        (1500.0, 84_556.0),
        (2000.0, 79_495.2),
        (3000.0, 70_108.5),
    ] {
        let pressure = Pressure::Altitude { metres, sea_level: None };
        let known = BoilingWater { pressure, place: Where::Steam }.known().unwrap();
        // Half of the last printed digit of the pressure is 0.05 Pa, at most 2e-5 K.
        assert!((known.nominal - boils_at(pascals)).abs() < 2e-5, "{metres} m");
    }
}

/// ITS-90 (CIPM 1989), table 1: every fixed point from mercury to copper, at no depth.
#[test]
fn fixed_points_of_the_scale() {
    let table = [
        ("Hg", -38.8344),
        ("H2O", 0.01),
        ("Ga", 29.7646),
        ("In", 156.5985),
        ("Sn", 231.928),
        ("Zn", 419.527),
        ("Al", 660.323),
        ("Ag", 961.78),
        ("Au", 1064.18),
        ("Cu", 1084.62),
    ];
    for (substance, celsius) in table {
        let cell = FixedPointCell { substance, accuracy: 0.01, depth: 0.0 };
        assert_eq!(cell.known().unwrap().nominal, celsius, "{substance}");
    }
}
