//! EA-4/02 M, worked example S5: a type N thermocouple calibrated at 1000 °C against two of type R. Figures from
//! memory; an independent recalculation gives 0.6409 °C and 24.97 µV for the two sums.

use icepoint_chain::budget::gum::combine;
use icepoint_chain::imperfection::Distribution;
use icepoint_sensors::Letter;

use crate::assert_printed;

/// Sensitivity of type R at 1000 °C as the document has it, K/µV.
const C_R: f64 = 0.077;
/// The same of type N, µV/K: at 1000 °C, and at the reference junction.
const C_N: f64 = 38.5;
const C_N_0: f64 = 25.6;

/// °C. Type N has a step in its slope at 0 °C, 26.16 µV/K below and 25.93 µV/K above: an ice bath is on neither side.
const ABOVE_ZERO: f64 = 1e-6;
const EXACT: f64 = f64::INFINITY;

/// Standard uncertainty of a limit, and of a certificate with k = 2.
fn limit(half_width: f64) -> f64 {
    Distribution::Rectangular(half_width).standard()
}

fn certificate(expanded: f64) -> f64 {
    Distribution::Normal(0.5 * expanded).standard()
}

/// The document goes on with what it has rounded: 0.0577 · 0.407 would print as 0.023, 0.058 · 0.407 is its 0.024.
fn rounded(u: f64, printed: f64) -> f64 {
    assert_printed("u", u, printed, 0.001);
    printed
}

/// Contributions to the furnace's temperature, K, with degrees of freedom and as printed.
fn furnace() -> [(f64, f64, f64); 8] {
    [
        (0.10, 9.0, 0.10),                                  // reading of the references, ten readings
        (certificate(0.3), EXACT, 0.15),                    // their calibration
        (certificate(2.0) * C_R, EXACT, 0.077),             // calibration of the voltmeter, µV
        (limit(0.5) * C_R, EXACT, 0.022),                   // its resolution
        (limit(2.0) * C_R, EXACT, 0.089),                   // switches and connections
        (rounded(limit(0.1), 0.058) * 0.407, EXACT, 0.024), // reference junctions
        (limit(0.3), EXACT, 0.173),                         // drift of the references
        (limit(1.0), EXACT, 0.577),                         // gradient in the furnace
    ]
}

/// Contributions to the emf of the type N thermocouple, µV.
fn emf_of_n(furnace_kelvin: f64) -> [(f64, f64, f64); 7] {
    [
        (1.60, 9.0, 1.60),
        (certificate(2.0), EXACT, 1.00),
        (limit(0.5), EXACT, 0.29),
        (limit(2.0), EXACT, 1.15),
        (limit(5.0), EXACT, 2.9), // leads
        // Printed 24.5, while 38.5 · 0.641 is 24.7: one of the two was rounded on the way. Both make 25 in the sum.
        (C_N * furnace_kelvin, EXACT, 24.68),
        (limit(0.1) * C_N_0, EXACT, 1.48),
    ]
}

fn combined(rows: &[(f64, f64, f64)]) -> (f64, f64, f64) {
    let (u, dof): (Vec<f64>, Vec<f64>) = rows.iter().map(|(u, dof, _)| (*u, *dof)).unzip();
    combine(&u, &dof)
}

#[test]
fn every_row_as_printed() {
    for (i, (u, _, printed)) in furnace().into_iter().enumerate() {
        assert_printed(&format!("furnace row {i}, K"), u, printed, 0.001);
    }
    for (i, (u, _, printed)) in emf_of_n(0.641).into_iter().enumerate() {
        assert_printed(&format!("emf row {i}, µV"), u, printed, if i == 4 { 0.1 } else { 0.01 });
    }
}

#[test]
fn furnace_temperature() {
    let (u, dof, _) = combined(&furnace());
    // The document rounds to 0.641 K; the sum of its rows is 0.6405 K, on the edge of that digit.
    assert!((u - 0.641).abs() < 0.001, "{u} K");
    assert!(dof > 1000.0, "one row of ten readings must not spoil the coverage: {dof}");
}

#[test]
fn emf_at_1000_degrees() {
    let (u, _, k) = combined(&emf_of_n(0.641));
    assert_printed("u, µV", u, 25.0, 1.0);
    // EA-4/02 takes k = 2 for 95 %; ours is 1.96, which makes 49 µV of the 50 µV.
    assert_printed("U with k = 2, µV", 2.0 * u, 50.0, 1.0);
    assert_printed("k", k, 1.96, 0.01);
    // 36 248 µV were indicated at 1000.5 °C; brought to 1000.0 °C.
    assert_printed("estimate, µV", 36_248.0 - C_N * 0.5, 36_229.0, 1.0);
}

/// The sensitivities are printed as K/µV to two or three figures; their reciprocals are what the rows use.
#[test]
fn sensitivities_of_the_reference_functions() {
    let per_microvolt = |letter: Letter, celsius: f64| 1e-6 / letter.emf_slope(celsius).unwrap();
    assert_printed("N at 1000 °C", per_microvolt(Letter::N, 1000.0), 0.026, 0.001);
    // 1/0.039 is the 25.6 µV/K of the document; the reference function has 25.93 µV/K just above 0 °C.
    assert_printed("N at 0 °C", per_microvolt(Letter::N, ABOVE_ZERO), 0.039, 0.001);
    assert_printed("R at 0 °C", per_microvolt(Letter::R, 0.0), 0.189, 0.001);
    // 38.5 µV/K is 1/0.026 to three figures; the reference function has 38.61 µV/K.
    assert!((1.0 / per_microvolt(Letter::N, 1000.0) - C_N).abs() < 0.15);
    // The document's 0.077 K/µV for R at 1000 °C is 1.9 % above the reference function's 0.0756 (13.23 µV/K, as the
    // table of type R has it from 995 °C to 1005 °C). Kept as printed in the rows; the difference is 0.0015 K there.
    let r = per_microvolt(Letter::R, 1000.0);
    assert_printed("R at 1000 °C by the reference function", r, 0.0756, 0.0001);
    assert!((r / C_R - 1.0).abs() < 0.02, "{r}");
}

/// With the sensitivities of the reference functions in place of the printed ones the sums stay what they are.
#[test]
fn sums_with_our_own_sensitivities() {
    let slope = |letter: Letter, celsius: f64| 1e6 * letter.emf_slope(celsius).unwrap();
    let (r, r_0) = (slope(Letter::R, 1000.0), slope(Letter::R, 0.0));
    let mut rows = furnace();
    for row in &mut rows[2..5] {
        row.0 *= 1.0 / (r * C_R);
    }
    rows[5].0 = limit(0.1) * r_0 / r;
    let (u, _, _) = combined(&rows);
    assert!((u - 0.641).abs() < 0.001, "{u} K");
    let mut rows = emf_of_n(u);
    rows[5].0 = slope(Letter::N, 1000.0) * u;
    rows[6].0 = slope(Letter::N, ABOVE_ZERO) * limit(0.1);
    assert_printed("u, µV", combined(&rows).0, 25.0, 1.0);
}
