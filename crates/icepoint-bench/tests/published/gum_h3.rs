//! JCGM 100:2008 (GUM), H.3: calibration of a thermometer by a straight line, table H.6 and its results, as printed.

use crate::straight_line::line;

/// Readings t in °C and corrections b = known − reading in °C.
const T: [f64; 11] = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511];
const B: [f64; 11] = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160];
const T_0: f64 = 20.0;

/// Half of the last printed digit, and a share of the result for the prior that is not quite flat.
fn printed(ours: f64, theirs: f64, half_digit: f64, what: &str) {
    println!("{what}: {ours:.6}, printed {theirs}");
    assert!(
        (ours - theirs).abs() <= half_digit * 1.02 + 1e-5 * theirs.abs(),
        "{what}: {ours}, printed {theirs}"
    );
}

#[test]
fn thermometer_calibrated_by_a_straight_line() {
    let x: Vec<f64> = T.iter().map(|t| t - T_0).collect();
    let l = line(&x, &B, (3.0, 1.0));
    printed(l.at_zero, -0.1712, 0.5e-4, "y1");
    printed(l.u_at_zero, 0.0029, 0.5e-4, "u(y1)");
    printed(l.slope, 0.00218, 0.5e-5, "y2");
    printed(l.u_slope, 0.00067, 0.5e-5, "u(y2)");
    printed(l.correlation, -0.930, 0.5e-3, "r");
    printed(l.residual, 0.0035, 0.5e-4, "s");
    // H.3.4: the correction predicted at 30 °C.
    let d = 30.0 - T_0;
    let u = (l.u_at_zero * l.u_at_zero
        + d * d * l.u_slope * l.u_slope
        + 2.0 * d * l.correlation * l.u_at_zero * l.u_slope)
        .sqrt();
    printed(l.at_zero + d * l.slope, -0.1494, 0.5e-4, "b(30 °C)");
    printed(u, 0.0041, 0.5e-4, "u(b(30 °C))");
}
