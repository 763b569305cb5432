//! # From the bead to the terminals
//!
//! What thermocouples, the sensors of their reference junction and the points to calibrate them at do, as published,
//! exact to rounding and without allocation (`no_std`).
//!
//! A thermocouple measures a difference. Every emf here is *against a reference junction at 0 °C*, and the reference
//! junction is added in volts: adding degrees instead reads 16 K high (type N, 1100 °C, board at 55 °C).
//!
//! | you have | you want | call |
//! |---|---|---|
//! | terminal voltage, board temperature | temperature | [`Letter::temperature_at`] |
//! | temperature, board temperature | terminal voltage | [`Letter::terminal_volts`] |
//! | temperature | emf and sensitivity | [`Letter::emf_and_slope`], or [`Letter::emf_and_slope_extended`] in a simulation |
//! | emf | temperature, or why there is none | [`Letter::inverse`] |
//! | a type and a class | how far the probe may be off | [`tolerance::limit`] |
//! | an extension or compensating cable | how far it may be off | [`cable::Cable::parse`] |
//! | a wire | ohms per metre, highest temperature | [`wire::loop_ohms_per_metre`], [`wire::upper_limit_celsius`] |
//! | two cores | which is positive | [`colour::iec`], [`colour::astm`] |
//! | a sensor at the terminals | its temperature | [`platinum::Platinum`], [`thermistor::Beta`], [`thermistor::SteinhartHart`], [`silicon::SiliconJunction`] |
//! | ice, a metal's freezing point | its temperature | [`fixed_points`] |
//! | boiling water and a barometer, or an altitude | its temperature | [`water::boiling_point`], [`water::boiling_point_at_altitude`] |
//! | firmware that uses the approximate inverse | its error | [`published_inverse`] |
//!
//! **Conventions.** An emf is positive when the measuring junction is the hotter one. Temperatures are °C on ITS-90,
//! differences K, voltages V, resistances Ω, pressures Pa; coefficients stay in the unit they are printed in. Nothing
//! here panics; a value outside a range is an [`OutOfRange`] that says the range.
//!
//! **Left out.** Inhomogeneous wire, shunting by wet insulation, drift: faults and imperfections of a measuring chain,
//! not physics of a sensor. Self-heating: of the circuit.
//!
//! ```
//! use icepoint_sensors::Letter;
//! // A type N probe at 1100 °C in a cupboard of 55 °C: volts first, then degrees.
//! let terminals = Letter::N.terminal_volts(1100.0, 55.0)?;
//! let right = Letter::N.temperature_at(terminals, 55.0)?;
//! let adding_degrees = Letter::N.temperature(terminals)? + 55.0;
//! assert!((right - 1100.0).abs() < 1e-9);
//! assert_eq!((adding_degrees - right).round(), 16.0);
//! # Ok::<(), Box<dyn core::error::Error>>(())
//! ```
#![no_std]

pub mod atmosphere;
pub mod cable;
mod coefficients;
pub mod colour;
mod emf;
pub mod fixed_points;
mod inverse;
mod letter;
mod out_of_range;
pub mod platinum;
pub mod published_inverse;
pub mod silicon;
pub mod thermistor;
pub mod tolerance;
pub mod water;
pub mod wire;

pub use emf::Segment;
pub use inverse::{Inverse, InverseError, TYPE_B_MINIMUM_CELSIUS};
pub use letter::{Letter, UnknownLetter};
pub use out_of_range::{OutOfRange, Quantity};

/// 0 °C in K, exactly.
pub const ZERO_CELSIUS_IN_KELVIN: f64 = 273.15;
