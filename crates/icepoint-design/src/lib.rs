//! # Which part values make the reading best?
//!
//! | you have | you want | call |
//! |---|---|---|
//! | a resolved chain file | the best values for its open places, and the whole answer about them | [`design`] |
//! | a chain file that names no front end | all that fit, beside each other | [`compare::compare`] |
//! | a chain | what better parts would buy | [`upgrades::upgrades`] |
//!
//! The search knows the places of a circuit (kind, limits, ties, role) and what may be put into them, but no circuit by
//! name and nothing of errors: every candidate is judged by the model of `icepoint-chain`, best predicted 95 % error
//! first, among those that keep inside the limits of swing, span, time and mains residual.
//!
//! **Conventions.** Ω and F; shares are of what is allowed, 1 is at the limit.

mod answer;
mod candidate;
pub mod compare;
pub mod levers;
mod low_pass;
mod low_pass_ideal;
mod preferred;
pub mod records;
pub mod search;
mod shelf;
mod trims;
pub mod upgrades;

pub use answer::{Bound, Design, Verdict, design, values};
pub use candidate::Assessment;
