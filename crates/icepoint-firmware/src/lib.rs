//! # From the converter's code to a temperature, in the microcontroller
//!
//! | you have | you want | call |
//! |---|---|---|
//! | a chain with all values | its firmware: header, source, page, vectors | [`firmware::firmware`] |
//! | firmware | its files | [`firmware::Firmware::files`] |
//! | a chain | the exact inverse that firmware must come to | [`inverse::Inverse::new`] |
//! | a function | its best table of integers | [`curve::Maker::within`] |
//!
//! **Conventions.** Temperatures in °C (ITS-90), emf in V against 0 °C; codes are *aligned*: shifted up to fill 16 bits
//! (24 above 16), so that parts of a code which a filter gives have their place.
//!
//! **No physics of its own.** The exact inverse is the model's reading rule with its nominal constants; firmware is
//! measured against it on every code.
//!
//! **Left out.** Reading the converter and the sensor of the junction: that is the microcontroller's own. Cut-outs: a
//! measurement is none.

mod c_inputs;
pub mod c_source;
pub mod calibration;
pub mod choice;
pub mod cost;
pub mod curve;
pub mod filter;
pub mod filter_source;
pub mod firmware;
pub mod float;
pub mod float_source;
pub mod identifier;
pub mod integer;
pub mod inverse;
pub mod minimax;
pub mod page;
pub mod proof;
pub mod refusal;
pub mod rust_source;
pub mod states;
pub mod unit;
pub mod vectors;
pub mod walk;

pub use firmware::{Firmware, Request, firmware};
pub use refusal::Refusal;
