//! The search against looking at everything, the needs that can't be met, and the three examples.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // a helper of a test may fail like a test

mod bench;
mod compare;
mod drawer;
mod examples;
mod exhaustive;
mod low_pass;
mod promises;
mod records;
mod refusals;
mod short_cuts;
mod taps;
mod trims;
