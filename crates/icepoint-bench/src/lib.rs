//! # On the bench: what to measure, what to turn or store, and what the board is worth afterwards
//!
//! | you have | you want | look in |
//! |---|---|---|
//! | readings at known temperatures or voltages | deviations, constants for the firmware, the band that is left | [`calibrate`] |
//! | ice, boiling water, a certificate, a millivolt source | its value and how well it is known | [`references`] |
//! | a board just soldered | what to measure, with what tolerance | [`sheet`] |
//! | many boards of one design | whether the prediction was honest | [`inventory`] |
//!
//! No physics here: every reading is what [`icepoint_chain::Model`] answers.

mod altered;
pub mod calibrate;
pub mod inventory;
pub mod references;
pub mod sheet;
