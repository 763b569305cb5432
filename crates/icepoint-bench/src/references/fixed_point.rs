//! A sealed cell of a fixed point of ITS-90.

use icepoint_chain::imperfection::Distribution::Rectangular;
use icepoint_sensors::fixed_points::{FixedPoint, ITS_90, State};

use super::{Component, Known, Quantity, ReferenceError, Sharing, standard, user};

/// Pressure inside or over a cell against 101 325 Pa, Pa (common practice, no source).
const PRESSURE: f64 = 3e3;

/// A cell.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FixedPointCell {
    /// Symbol of the substance: `Zn`.
    pub substance: &'static str,
    /// How well it realises its point, ± K.
    pub accuracy: f64,
    /// Depth of the probe below the surface, m.
    pub depth: f64,
}

impl FixedPointCell {
    /// The row of ITS-90.
    pub fn point(&self) -> Option<&'static FixedPoint> {
        ITS_90.iter().find(|p| p.substance == self.substance)
    }

    /// °C with its components.
    ///
    /// # Errors
    /// [`ReferenceError::Range`] for a depth of more than 2 m.
    pub fn known(&self) -> Result<Known, ReferenceError> {
        let point = self.point().unwrap_or(&ITS_90[1]);
        let nominal = point.celsius_at(0.0, self.depth)?;
        let mut components = vec![
            Component::new(
                "cell",
                format!("{} cell", self.substance),
                Rectangular(self.accuracy),
                user("cell_accuracy in the chain file"),
                Sharing::Reference,
            ),
            Component::new(
                "depth",
                format!("depth, within half of {:.0} cm", 100.0 * self.depth),
                Rectangular((0.5 * self.depth * point.per_metre).abs()),
                standard("ITS-90, table of pressure and depth effects"),
                Sharing::Reference,
            ),
        ];
        // A triple point brings its own pressure.
        if point.state != State::Triple {
            components.push(Component::new(
                "pressure",
                "pressure over the cell, ±30 hPa",
                Rectangular((PRESSURE * point.per_pascal).abs()),
                standard("ITS-90, table of pressure and depth effects"),
                Sharing::Setting,
            ));
        }
        Ok(Known { quantity: Quantity::Celsius, nominal, components })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn zinc_at_depth() {
        let cell = FixedPointCell { substance: "Zn", accuracy: 0.005, depth: 0.18 };
        let known = cell.known().unwrap();
        // ITS-90: 419.527 °C and 2.7 mK per metre.
        assert!((known.nominal - (419.527 + 2.7e-3 * 0.18)).abs() < 1e-12);
        assert!((known.standard() - 0.005 / 3f64.sqrt()).abs() < 1e-4);
        assert!(FixedPointCell { depth: 3.0, ..cell }.known().is_err());
    }
}
