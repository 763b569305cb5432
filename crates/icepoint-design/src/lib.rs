//! # Which part values make the reading best?
//!
//! | you have | you want | call |
//! |---|---|---|
//! | a resolved chain file | the best values for its open places, and the whole answer about them | [`design`] |
//! | a chain | what better parts would buy | [`upgrades::upgrades`] |
//!
//! The search knows where values sit in a topology (how a gain, a pedestal or a pole follows from them), but nothing
//! of errors: every candidate is judged by the model of `icepoint-chain`, best predicted 95 % error first, among those
//! that keep inside the limits of swing, span, time and mains residual.
//!
//! **Conventions.** Ω and F; shares are of what is allowed, 1 is at the limit.

mod answer;
mod candidate;
pub mod compare;
mod filter;
mod instrumentation;
mod low_pass;
mod preferred;
pub mod search;
mod single_amplifier;
pub mod upgrades;

pub use answer::{Bound, Design, Verdict, design, old_values, values};
pub use candidate::Assessment;
