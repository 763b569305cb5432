//! Boiling water as a calibration point: its temperature from the pressure, and the pressure from the altitude.
//!
//! **Why it matters.** Water boils at 99.974 °C only at 101 325 Pa; at 1000 m of altitude it is 96.65 °C. A barometer
//! reading of the station (not the one reduced to sea level) is good to 0.03 K per hectopascal; the altitude alone
//! leaves the weather in, some ±0.5 K ([`crate::atmosphere`]).
//!
//! **In, out.** K or °C and Pa. Pure water; salt, scale and a bead below the surface raise the boiling point.
//!
//! **Source.** IAPWS R7-97(2012), industrial formulation IAPWS-IF97, region 4, equations 29 to 31; range 273.15 to
//! 647.096 K.

use crate::out_of_range::{OutOfRange, Quantity};
use crate::{ZERO_CELSIUS_IN_KELVIN, atmosphere};

/// Coefficients n1 to n10 of the saturation equation, for MPa and K.
const N: [f64; 10] = [
    0.11670521452767e4,
    -0.72421316703206e6,
    -0.17073846940092e2,
    0.12020824702470e5,
    -0.32325550322333e7,
    0.14915108613530e2,
    -0.48232657361591e4,
    0.40511340542057e6,
    -0.23855557567849,
    0.65017534844798e3,
];

/// Temperatures of the saturation line, K.
pub const RANGE_KELVIN: (f64, f64) = (273.15, 647.096);
/// Pressures of the saturation line, Pa (from the equation at the ends of [`RANGE_KELVIN`]).
pub const RANGE_PASCALS: (f64, f64) = (611.212_677_444, 22.064e6);

/// Saturation pressure in Pa at `celsius` (°C).
///
/// # Errors
/// [`OutOfRange`] outside 0 to 373.946 °C.
pub fn saturation_pressure(celsius: f64) -> Result<f64, OutOfRange> {
    let range = (RANGE_KELVIN.0 - ZERO_CELSIUS_IN_KELVIN, RANGE_KELVIN.1 - ZERO_CELSIUS_IN_KELVIN);
    let kelvin = OutOfRange::check(Quantity::Celsius, celsius, range)? + ZERO_CELSIUS_IN_KELVIN;
    let theta = kelvin + N[8] / (kelvin - N[9]);
    let a = theta * theta + N[0] * theta + N[1];
    let b = N[2] * theta * theta + N[3] * theta + N[4];
    let c = N[5] * theta * theta + N[6] * theta + N[7];
    let root = 2.0 * c / (-b + libm::sqrt(b * b - 4.0 * a * c));
    Ok(root * root * root * root * 1e6)
}

/// Temperature in °C at which water boils under `pascals` (Pa, station pressure).
///
/// # Errors
/// [`OutOfRange`] outside 611.2 Pa to 22.064 MPa.
///
/// ```
/// let sea_level = icepoint_sensors::water::boiling_point(101_325.0)?;
/// assert!((sea_level - 99.974).abs() < 5e-4);
/// # Ok::<(), icepoint_sensors::OutOfRange>(())
/// ```
pub fn boiling_point(pascals: f64) -> Result<f64, OutOfRange> {
    let pascals = OutOfRange::check(Quantity::Pascals, pascals, RANGE_PASCALS)?;
    let beta = libm::sqrt(libm::sqrt(pascals * 1e-6));
    let e = beta * beta + N[2] * beta + N[5];
    let f = N[0] * beta * beta + N[3] * beta + N[6];
    let g = N[1] * beta * beta + N[4] * beta + N[7];
    let d = 2.0 * g / (-f - libm::sqrt(f * f - 4.0 * e * g));
    let sum = N[9] + d;
    Ok((sum - libm::sqrt(sum * sum - 4.0 * (N[8] + N[9] * d))) / 2.0 - ZERO_CELSIUS_IN_KELVIN)
}

/// Temperature in °C at which water boils at an altitude (m, geopotential) in the standard atmosphere.
///
/// Weather moves the true pressure by some ±2 kPa, and so the boiling point by about ±0.5 K (estimate, common practice):
/// prefer a barometer.
///
/// # Errors
/// [`OutOfRange`] outside −500 to 11 000 m.
pub fn boiling_point_at_altitude(metres: f64) -> Result<f64, OutOfRange> {
    boiling_point(atmosphere::pressure(metres)?)
}
