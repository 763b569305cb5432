//! # From a temperature to a number on a screen
//!
//! One measuring chain (the term of JCGM 200): junction, lead, reference junction, front-end circuit, converter,
//! reading rule. It answers one thing, and every feature of icepoint asks it that:
//!
//! ```text
//! reading = model.predict(situation, deviations)
//! ```
//!
//! | you have | you want | call |
//! |---|---|---|
//! | a chain file | its checked contents, or all its mistakes at once | [`file::load`] |
//! | contents | a chain with every value known | [`resolve::resolve`] |
//! | a chain | its reading for a board with known deviations | [`Model::predict`] |
//! | a model | how far off it can be, and why | [`Budget::new`] |
//! | a drawer's CSV | its parts | [`drawer::parse`] |
//! | a source or a meter on the bench | the voltages of its test points | [`Model::test_points`], [`Chain::with_source`] |
//! | text such as `4k7` | a number in SI units | [`quantity`] |
//!
//! **Conventions.** Positive emf: measuring junction hotter. Voltages in V, temperatures in °C (ITS-90), differences
//! in K, currents into a pin positive. A deviation of zero is the ideal; limits are half-widths.
//!
//! **Left out.** Inhomogeneous wire, shunting by wet insulation, heat conducted along the probe: faults and
//! installation effects, not imperfections of the board.

pub mod bench;
pub mod budget;
pub mod chain;
pub mod digital;
pub mod drawer;
pub mod dynamics;
pub mod file;
pub mod findings;
pub mod front_end;
pub mod harmonics;
pub mod headroom;
pub mod imperfection;
pub mod low_pass;
pub mod mains_lines;
pub mod model;
mod noise_weights;
pub mod open_sensor;
pub mod overvoltage;
pub mod quantity;
mod reading_rule;
pub mod resolve;
mod sensing;
pub mod situation;
pub mod statistics;
pub mod taps;
pub mod trims;
mod wiring;

pub use budget::Budget;
pub use chain::Chain;
pub use model::{Model, ModelError, Reading};
pub use situation::Situation;
