//! The search against looking at everything, the needs that can't be met, and the three examples.

mod bench;
mod examples;
mod exhaustive;
mod promises;
mod refusals;
