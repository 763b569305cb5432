//! Pressure of the standard atmosphere, for the boiling point of water where no barometer is at hand.
//!
//! **Source.** ISO 2533:1975 / ICAO Doc 7488, troposphere (the same as the 1976 US standard): p = 101 325 Pa ·
//! (1 − 0.0065·H/288.15)^(9.80665/(287.05287·0.0065)), H geopotential altitude in m, up to 11 000 m; accepted here from
//! −500 m for the few inhabited hollows.

use crate::out_of_range::{OutOfRange, Quantity};

/// Altitudes accepted, m.
pub const RANGE: (f64, f64) = (-500.0, 11_000.0);
/// Pressure at altitude 0, Pa.
pub const SEA_LEVEL_PASCALS: f64 = 101_325.0;

const LAPSE: f64 = 0.0065; // K/m
const SEA_LEVEL_KELVIN: f64 = 288.15;
const GRAVITY: f64 = 9.80665; // m/s²
const GAS_CONSTANT: f64 = 287.05287; // J/(kg·K)
const EXPONENT: f64 = GRAVITY / (GAS_CONSTANT * LAPSE);

/// Pressure in Pa at a geopotential altitude in m.
///
/// # Errors
/// [`OutOfRange`] outside [`RANGE`].
///
/// ```
/// let pascals = icepoint_sensors::atmosphere::pressure(1000.0)?;
/// assert!((pascals - 89_874.6).abs() < 0.1);
/// # Ok::<(), icepoint_sensors::OutOfRange>(())
/// ```
pub fn pressure(metres: f64) -> Result<f64, OutOfRange> {
    let altitude = OutOfRange::check(Quantity::Metres, metres, RANGE)?;
    Ok(SEA_LEVEL_PASCALS * libm::pow(1.0 - LAPSE * altitude / SEA_LEVEL_KELVIN, EXPONENT))
}

/// Geopotential altitude in m of a pressure in Pa.
///
/// # Errors
/// [`OutOfRange`] outside the pressures of [`RANGE`].
pub fn altitude(pascals: f64) -> Result<f64, OutOfRange> {
    let range = (pressure(RANGE.1)?, pressure(RANGE.0)?);
    let pascals = OutOfRange::check(Quantity::Pascals, pascals, range)?;
    Ok((1.0 - libm::pow(pascals / SEA_LEVEL_PASCALS, 1.0 / EXPONENT)) * SEA_LEVEL_KELVIN / LAPSE)
}
