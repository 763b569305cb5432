//! Checks against published documents, one module each; figures as printed, the source named beside them.
//!
//! `peers/statistics_scipy.py` holds the same documents against SciPy.

#![allow(clippy::unwrap_used, reason = "a failed expectation is a failed test")]

mod ea_4_02_s5;
mod gum_g2;
mod gum_h1;
mod jcgm101_9_2;

/// What a printed figure allows beside half of its last digit: a value on the edge of a digit.
const EDGE: f64 = 1e-3;

/// Fails unless `found` rounds to the printed figure, whose last digit is worth `digit`.
fn assert_printed(what: &str, found: f64, printed: f64, digit: f64) {
    let allowed = (0.5 + EDGE) * digit;
    assert!((found - printed).abs() <= allowed, "{what}: {found}, printed {printed}, allowed ±{allowed}");
}
