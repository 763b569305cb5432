//! Fixed points of the temperature scale, to calibrate against.
//!
//! **In, out.** A table: °C and K, and how far pressure and depth move each point. On a bench the ice point and
//! boiling water ([`crate::water`]) are the ones at hand.
//!
//! **Source.** ITS-90 text (CIPM 1989), defining fixed points of the range −38.8344 to 1084.62 °C and table of pressure
//! and depth effects. Ice point: from memory, within about 0.1 mK.

use crate::out_of_range::{OutOfRange, Quantity};

/// How the substance is at its fixed point.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum State {
    /// Solid, liquid and vapour together.
    Triple,
    /// Melting, at 101 325 Pa.
    Melting,
    /// Freezing, at 101 325 Pa.
    Freezing,
}

/// A defining fixed point of ITS-90.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FixedPoint {
    /// Chemical symbol or formula.
    pub substance: &'static str,
    /// State.
    pub state: State,
    /// Temperature, K.
    pub kelvin: f64,
    /// Temperature, °C.
    pub celsius: f64,
    /// Effect of pressure, K/Pa.
    pub per_pascal: f64,
    /// Effect of depth, K per metre of liquid.
    pub per_metre: f64,
}

impl FixedPoint {
    /// Temperature in °C under `pascals` of pressure (Pa; the reference is 101 325 Pa, for a triple point its own vapour
    /// pressure, taken as the same zero) and `metres` below the surface of the liquid.
    ///
    /// # Errors
    /// [`OutOfRange`] unless the pressure lies within 0 to 200 kPa above or below the reference and the depth within
    /// 0 to 2 m: the effects are linear only for small changes.
    pub fn celsius_at(&self, excess_pascals: f64, metres: f64) -> Result<f64, OutOfRange> {
        let excess = OutOfRange::check(Quantity::Pascals, excess_pascals, (-200e3, 200e3))?;
        let depth = OutOfRange::check(Quantity::Metres, metres, (0.0, 2.0))?;
        Ok(self.celsius + self.per_pascal * excess + self.per_metre * depth)
    }
}

/// Melting ice in air-saturated water at 101 325 Pa, °C (from memory: 0.000 °C within about 0.1 mK).
pub const ICE_POINT_CELSIUS: f64 = 0.0;
/// How well [`ICE_POINT_CELSIUS`] is known, K (from memory).
pub const ICE_POINT_WITHIN_KELVIN: f64 = 1e-4;

const fn point(
    substance: &'static str,
    state: State,
    kelvin: f64,
    celsius: f64,
    per_pascal: f64,
    per_metre: f64,
) -> FixedPoint {
    FixedPoint { substance, state, kelvin, celsius, per_pascal, per_metre }
}

/// The points, coldest first.
///
/// ```
/// use icepoint_sensors::fixed_points::ITS_90;
/// let zinc = ITS_90.iter().find(|point| point.substance == "Zn");
/// assert_eq!(zinc.map(|point| point.celsius), Some(419.527));
/// ```
pub static ITS_90: [FixedPoint; 10] = [
    point("Hg", State::Triple, 234.3156, -38.8344, 5.4e-8, 7.1e-3),
    point("H2O", State::Triple, 273.16, 0.01, -7.5e-8, -0.73e-3),
    point("Ga", State::Melting, 302.9146, 29.7646, -2.0e-8, -1.2e-3),
    point("In", State::Freezing, 429.7485, 156.5985, 4.9e-8, 3.3e-3),
    point("Sn", State::Freezing, 505.078, 231.928, 3.3e-8, 2.2e-3),
    point("Zn", State::Freezing, 692.677, 419.527, 4.3e-8, 2.7e-3),
    point("Al", State::Freezing, 933.473, 660.323, 7.0e-8, 1.6e-3),
    point("Ag", State::Freezing, 1234.93, 961.78, 6.0e-8, 5.4e-3),
    point("Au", State::Freezing, 1337.33, 1064.18, 6.1e-8, 10.0e-3),
    point("Cu", State::Freezing, 1357.77, 1084.62, 3.3e-8, 2.6e-3),
];
