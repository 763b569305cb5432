//! Checks against the outside world: closed forms, printed figures, and two independent computations.

// Tests may stop at once, and compare against the standard library's functions.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::disallowed_methods)]
// Printed figures stand as printed.
#![allow(clippy::approx_constant)]

#[path = "../board/mod.rs"]
mod board;
mod closed_forms;
mod diode_equation;
mod filters;
mod nodal_analysis;
mod thermal_noise;
