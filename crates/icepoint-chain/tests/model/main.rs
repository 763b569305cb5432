//! The model against physics written down a second time: closed forms, adjoint sensitivities, sampling theory.
//!
//! `hand` holds the two front ends as formulas, from Kirchhoff's laws and the data-sheet definitions; nothing in it calls
//! the circuit solver or the model. The reference functions come from `icepoint-sensors`, whose tables are checked
//! against the printed ones in that crate.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // a helper of a test may fail like a test

mod adjoint;
mod bench;
mod calibration;
mod circuits;
mod direct_converter;
mod front_ends;
mod hand;
mod ideal;
mod junction_sensors;
mod library_parts;
mod limits;
mod near;
mod one_at_a_time;
mod properties;
mod reading_rules;
mod simulation;
mod temperature_parts;
mod trims;
