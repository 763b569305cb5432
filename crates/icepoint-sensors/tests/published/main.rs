//! The crate against published figures, a module for each kind of document. Every tolerance is a named constant with its
//! why; compared is the largest error, never the mean.

#![allow(clippy::expect_used, clippy::unwrap_used, clippy::panic, missing_docs)] // a failed expectation is a failed test

mod cables;
mod emf_tables;
mod fixed_points_and_water;
mod inverse_errors;
mod reference_junction;
mod tolerances;
mod wires;
