//! A piece of copper wire from terminal to terminal: no volts, and next to no ohms.

use icepoint_chain::imperfection::Distribution::Rectangular;
use icepoint_chain::quantity::{Unit, format};

use super::{Component, Known, Quantity, Sharing, practice};

/// Limit of the thermal voltage between two terminals, V: brass or tin at 3 µV/K against copper, a third of a kelvin between
/// them (common practice, no source).
const THERMAL_EMF: f64 = 1e-6;

/// V with its one component.
pub(super) fn known() -> Known {
    let component = Component::new(
        "thermal_emf",
        format!("thermal voltage of the terminals, ±{}", format(THERMAL_EMF, Unit::Volt, 3)),
        Rectangular(THERMAL_EMF),
        practice(),
        Sharing::Setting,
    );
    Known { quantity: Quantity::Volts, nominal: 0.0, components: vec![component] }
}
