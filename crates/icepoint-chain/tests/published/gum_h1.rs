//! JCGM 100:2008 (GUM), H.1: calibration of an end gauge of 50 mm. Figures from memory; they agree with each other.

use icepoint_chain::budget::gum::combine;
use icepoint_chain::statistics::{coverage_factor, effective_degrees_of_freedom};

use crate::assert_printed;

/// Contribution to the combined standard uncertainty in nm, degrees of freedom (table H.1).
const COMPONENTS: [(f64, f64); 6] = [
    (25.0, 18.0), // length of the standard
    (5.8, 24.0),  // repeated observations of the difference
    (3.9, 5.0),   // comparator, random
    (6.7, 8.0),   // comparator, systematic
    (2.9, 50.0),  // difference of the expansion coefficients
    (16.6, 2.0),  // difference of the temperatures
];

#[test]
fn combined_uncertainty_and_degrees_of_freedom() {
    let (u, dof): (Vec<f64>, Vec<f64>) = COMPONENTS.into_iter().unzip();
    let (combined, effective, k) = combine(&u, &dof);
    assert_printed("u_c, nm", combined, 32.0, 1.0);
    assert_eq!(effective.floor(), 16.0, "effective degrees of freedom, truncated (G.4.2): {effective}");
    // Table G.2: t95 for 16 degrees of freedom.
    assert_printed("t95(16)", k, 2.12, 0.01);
    assert_eq!(effective, effective_degrees_of_freedom(COMPONENTS));
}

#[test]
fn expanded_uncertainty_for_99_per_cent() {
    let dof = effective_degrees_of_freedom(COMPONENTS).floor();
    let t99 = coverage_factor(0.99, dof);
    assert_printed("t99", t99, 2.92, 0.01);
    // H.1.6 multiplies what it has rounded: 2.92 · 32 nm = 93 nm.
    assert_printed("U99, nm", t99 * 32.0, 93.0, 1.0);
}

/// H.1.7: the second-order terms, products of two uncertainties (11.7 nm and 1.7 nm, from memory), make 34 nm of it.
#[test]
fn second_order_term() {
    let (mut u, mut dof): (Vec<f64>, Vec<f64>) = COMPONENTS.into_iter().unzip();
    u.extend([11.7, 1.7]);
    dof.extend([f64::INFINITY; 2]);
    assert_printed("u_c with the second order, nm", combine(&u, &dof).0, 34.0, 1.0);
}

#[test]
fn without_finite_degrees_of_freedom_the_factor_is_that_of_the_normal_distribution() {
    let (u, dof, k) = combine(&[3.0, -4.0], &[f64::INFINITY; 2]);
    assert!((u - 5.0).abs() < 1e-12 && dof.is_infinite());
    assert_printed("t95(∞), table G.2", k, 1.960, 0.001);
}
