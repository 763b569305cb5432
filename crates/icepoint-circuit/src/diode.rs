//! The junction: current, conductance and how both depend on the diode's figures.

use crate::parameter::diode;

/// Boltzmann's constant, J/K: exact, SI Brochure, 9th edition (2019).
pub const BOLTZMANN: f64 = 1.380649e-23;
/// Elementary charge, C: exact, SI Brochure, 9th edition (2019).
pub const ELEMENTARY_CHARGE: f64 = 1.602176634e-19;
/// Temperature at which the saturation current is stated: 25 °C in K.
const STATED_AT: f64 = 298.15;
/// Above this exponent the exponential goes on as its tangent, so that a wild Newton step stays finite; at exponent
/// 80 even a saturation current of 1e-18 A would be 5e16 A.
const TANGENT_ABOVE: f64 = 80.0;

/// A junction at given figures.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Junction {
    /// Saturation current at temperature, A.
    pub saturation: f64,
    /// n·k·T/q, V.
    pub thermal: f64,
}

impl Junction {
    /// The junction at the figures that start at `base`. `None` if one is impossible.
    pub fn new(values: &[f64], base: u32) -> Option<Junction> {
        let at = |p: u32| values[(base + p) as usize];
        let (stated, ideality, kelvin) =
            (at(diode::SATURATION_CURRENT), at(diode::IDEALITY), at(diode::KELVIN));
        if !(stated > 0.0 && ideality > 0.0 && kelvin > 0.0) {
            return None;
        }
        let per_kelvin = ideality * BOLTZMANN / ELEMENTARY_CHARGE;
        let exponent = at(diode::BANDGAP) / per_kelvin * (1.0 / STATED_AT - 1.0 / kelvin)
            + at(diode::EXPONENT) / ideality * libm::log(kelvin / STATED_AT);
        let junction = Junction { saturation: stated * libm::exp(exponent), thermal: per_kelvin * kelvin };
        (junction.saturation > 0.0 && junction.saturation.is_finite()).then_some(junction)
    }

    /// Current (A) and conductance (S) at a junction voltage.
    pub fn current(&self, volts: f64) -> (f64, f64) {
        let exponent = volts / self.thermal;
        if exponent > TANGENT_ABOVE {
            let edge = self.saturation * libm::exp(TANGENT_ABOVE);
            return (edge * (1.0 + exponent - TANGENT_ABOVE) - self.saturation, edge / self.thermal);
        }
        let rise = libm::expm1(exponent);
        (self.saturation * rise, self.saturation * (rise + 1.0) / self.thermal)
    }

    /// A Newton step from `old` to `wanted` shortened where the exponential would run away: upwards the current may
    /// grow only as the linearisation foresaw (Nagel's junction limiting, ERL-M520, 1975; from memory).
    pub fn damped(&self, old: f64, wanted: f64) -> f64 {
        let critical = self.thermal * libm::log(self.thermal / (core::f64::consts::SQRT_2 * self.saturation));
        if wanted <= critical || (wanted - old).abs() <= 2.0 * self.thermal {
            return wanted;
        }
        if old > 0.0 {
            let growth = 1.0 + (wanted - old) / self.thermal;
            if growth > 0.0 { old + self.thermal * libm::log(growth) } else { critical }
        } else {
            self.thermal * libm::log1p(wanted / self.thermal)
        }
    }
}

/// Derivatives of the junction current by its figures at a junction voltage: `(place after base, A per unit)`.
pub(crate) fn derivatives(values: &[f64], base: u32, volts: f64) -> Option<[(u32, f64); 5]> {
    let junction = Junction::new(values, base)?;
    let at = |p: u32| values[(base + p) as usize];
    let (ideality, kelvin) = (at(diode::IDEALITY), at(diode::KELVIN));
    let (current, conductance) = junction.current(volts);
    let ratio = ELEMENTARY_CHARGE / BOLTZMANN;
    let (bandgap, power) = (at(diode::BANDGAP), at(diode::EXPONENT));
    let span = 1.0 / STATED_AT - 1.0 / kelvin;
    let logarithm = libm::log(kelvin / STATED_AT);
    // i = Is·(exp(v/Vt) − 1): d i = i·d ln Is − g·v·d ln Vt.
    let by =
        |saturation_log: f64, thermal_log: f64| current * saturation_log - conductance * volts * thermal_log;
    Some([
        (diode::SATURATION_CURRENT, by(1.0 / at(diode::SATURATION_CURRENT), 0.0)),
        (
            diode::IDEALITY,
            by(-(bandgap * ratio * span + power * logarithm) / (ideality * ideality), 1.0 / ideality),
        ),
        (
            diode::KELVIN,
            by(bandgap * ratio / (ideality * kelvin * kelvin) + power / (ideality * kelvin), 1.0 / kelvin),
        ),
        (diode::BANDGAP, by(ratio * span / ideality, 0.0)),
        (diode::EXPONENT, by(logarithm / ideality, 0.0)),
    ])
}
