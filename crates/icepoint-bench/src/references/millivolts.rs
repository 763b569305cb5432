//! A source of millivolts at the terminals instead of the probe.
//!
//! **Copper or wire.** With copper, the thermocouple's metals begin at the board: set `E(T) − E(board)`. With wire of the
//! thermocouple's own kind they begin at the source: set `E(T) − E(source)`, and the wire brings the rest. Where board
//! and source are equally warm the two are the same; else a mistake between them is a kelvin for each kelvin.

use icepoint_chain::file::SourceLeads;
use icepoint_chain::imperfection::Distribution::Rectangular;
use icepoint_chain::quantity::{Unit, format};

use super::{Component, Known, Quantity, Sharing, user};

/// What joins the source to the terminals.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Leads {
    /// Copper: the junction of the metals is at the terminals.
    Copper,
    /// Wire of the thermocouple's own kind: the junction is at the source.
    ThermocoupleWire,
}

impl From<SourceLeads> for Leads {
    fn from(leads: SourceLeads) -> Self {
        match leads {
            SourceLeads::Copper => Self::Copper,
            SourceLeads::ThermocoupleWire => Self::ThermocoupleWire,
        }
    }
}

/// A millivolt source.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MillivoltSource {
    /// Limit, share of the voltage.
    pub relative: f64,
    /// Limit of the fixed part, V.
    pub fixed: f64,
    /// One digit, V.
    pub resolution: f64,
    /// Limit of the thermal voltages of clips and contacts, V.
    pub thermal_emf: f64,
    /// What joins it to the terminals.
    pub leads: Leads,
    /// Knowledge of the temperature where copper meets the thermocouple's metals, ± K.
    pub thermometer: f64,
    /// Ω.
    pub output_resistance: f64,
    /// What of it the user stated.
    pub stated: Stated,
}

/// Which figures of a source the user stated; the others are defaults.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Stated {
    /// Its thermometer.
    pub thermometer: bool,
    /// Its resistance.
    pub output_resistance: bool,
}

impl MillivoltSource {
    /// V with its components, for the voltage that is set. The relative part is one deviation at every voltage: its
    /// components at two voltages share their tag and go with the voltage.
    pub fn known(&self, set: f64) -> Known {
        let all = [
            Component::new(
                "gain",
                format!("source, {} of the voltage", format(self.relative, Unit::Ratio, 3)),
                // Signed: below zero the same deviation of the gain acts the other way.
                Rectangular(self.relative * set),
                user("reading_error of the source"),
                Sharing::Reference,
            ),
            Component::new(
                "fixed",
                format!("source, fixed part, {}", format(self.fixed, Unit::Volt, 3)),
                Rectangular(self.fixed),
                user("range_error of the source"),
                Sharing::Reference,
            ),
            Component::new(
                "digit",
                format!("last digit of the source, {}", format(self.resolution, Unit::Volt, 3)),
                Rectangular(0.5 * self.resolution),
                user("resolution of the source"),
                Sharing::Setting,
            ),
            Component::new(
                "thermal_emf",
                format!(
                    "thermal voltages of clips and contacts, ±{}",
                    format(self.thermal_emf, Unit::Volt, 3)
                ),
                Rectangular(self.thermal_emf),
                user("thermal_emf of the source"),
                Sharing::Reference,
            ),
        ];
        let components = all.into_iter().filter(|c| c.distribution.standard() > 0.0).collect();
        Known { quantity: Quantity::Volts, nominal: set, components }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn gain_grows_with_the_voltage_and_keeps_its_sign() {
        let source = MillivoltSource {
            relative: 0.001,
            fixed: 5e-6,
            resolution: 1e-6,
            thermal_emf: 3e-6,
            leads: Leads::Copper,
            thermometer: 0.2,
            output_resistance: 10.0,
            stated: Stated::default(),
        };
        let known = source.known(40e-3);
        assert_eq!(known.components[0].distribution, Rectangular(40e-6));
        assert_eq!(source.known(-40e-3).components[0].distribution, Rectangular(-40e-6));
        let square = |x: f64| x * x;
        let by_hand = ((square(40e-6) + square(5e-6) + square(0.5e-6) + square(3e-6)) / 3.0).sqrt();
        assert!((known.standard() - by_hand).abs() < 1e-15);
        assert_eq!(known.best(), 40e-3);
        let (a, b) =
            (known.components[0].tag("source", 40e-3, 1), known.components[2].tag("source", 40e-3, 1));
        assert_eq!(a, source.known(1e-3).components[0].tag("source", 1e-3, 2));
        assert_ne!(b, source.known(1e-3).components[2].tag("source", 1e-3, 2));
    }
}
