//! Melting ice: 0 °C, as well as it is made.

use icepoint_chain::file::IceBathMade;
use icepoint_chain::imperfection::Distribution::{OneSided, Rectangular};
use icepoint_sensors::fixed_points::{ICE_POINT_CELSIUS, ICE_POINT_WITHIN_KELVIN, ITS_90};

use super::{Component, Known, Quantity, Sharing, practice, standard, user};

/// A bath that is made with care stays within this, K (ASTM E563, from memory).
const WELL_MADE: f64 = 0.002;
/// What a probe of a few millimetres still loses in it, K (common practice, no source).
const WELL_IMMERSION: f64 = 0.02;
/// Water between pieces of ice that is not yet as cold as they are, K, one-sided (common practice, no source).
const QUICK_WARM: f64 = 0.3;
/// What a probe loses in a mug, K (common practice, no source).
const QUICK_IMMERSION: f64 = 0.05;
/// Freezing-point depression of water, K·kg/mol (any handbook of chemistry; from memory).
const CRYOSCOPIC: f64 = 1.86;
/// Ions of very hard tap water, mol/kg: some 600 mg/l of salts at 30 g/mol of ions (common practice, no source).
const HARD_WATER: f64 = 0.02;
/// From sea level to about 1800 m, Pa.
const LESS_PRESSURE: f64 = 20e3;

/// An ice bath.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct IceBath {
    /// How it is made.
    pub made: IceBathMade,
    /// The owner's own figure, ± K, instead of what is usual.
    pub accuracy: Option<f64>,
}

impl IceBath {
    /// °C with its components.
    pub fn known(&self) -> Known {
        let mut components = vec![Component::new(
            "ice_point",
            "ice point of ITS-90",
            Rectangular(ICE_POINT_WITHIN_KELVIN),
            standard("ITS-90; the ice point within 0.1 mK of 0 °C from memory"),
            Sharing::Reference,
        )];
        let mut add = |id, label: &str, distribution, source, sharing| {
            components.push(Component::new(id, label, distribution, source, sharing));
        };
        if let Some(accuracy) = self.accuracy {
            add(
                "bath",
                "ice bath as its owner knows it",
                Rectangular(accuracy),
                user("chain file"),
                Sharing::Setting,
            );
            return Known { quantity: Quantity::Celsius, nominal: ICE_POINT_CELSIUS, components };
        }
        let per_pascal = ITS_90.iter().find(|p| p.substance == "H2O").map_or(0.0, |p| p.per_pascal);
        add(
            "pressure",
            "pressure of the air, up to 20 kPa below sea level's",
            OneSided(-per_pascal * LESS_PRESSURE),
            standard("ITS-90, table of pressure effects"),
            Sharing::Reference,
        );
        match self.made {
            IceBathMade::Well => {
                add(
                    "bath",
                    "bath of shaved distilled ice, packed wet",
                    Rectangular(WELL_MADE),
                    standard("ASTM E563, ±2 mK, from memory"),
                    Sharing::Setting,
                );
                add(
                    "immersion",
                    "heat conducted along the probe",
                    Rectangular(WELL_IMMERSION),
                    practice(),
                    Sharing::Reference,
                );
            }
            IceBathMade::Quick => {
                add(
                    "salts",
                    "salts of tap water lower the melting point",
                    OneSided(-CRYOSCOPIC * HARD_WATER),
                    standard(
                        "freezing-point depression 1.86 K·kg/mol, handbook value from memory; 0.02 mol/kg of ions",
                    ),
                    Sharing::Reference,
                );
                add(
                    "warm_water",
                    "water between the ice is warmer than the ice",
                    OneSided(QUICK_WARM),
                    practice(),
                    Sharing::Setting,
                );
                add(
                    "immersion",
                    "heat conducted along the probe",
                    Rectangular(QUICK_IMMERSION),
                    practice(),
                    Sharing::Reference,
                );
            }
        }
        Known { quantity: Quantity::Celsius, nominal: ICE_POINT_CELSIUS, components }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quick_bath_is_worse_and_warmer_than_a_good_one() {
        let well = IceBath { made: IceBathMade::Well, accuracy: None }.known();
        let quick = IceBath { made: IceBathMade::Quick, accuracy: None }.known();
        assert!(well.best().abs() < 0.002 && well.expanded_95() < 0.03, "{}", well.expanded_95());
        assert!(quick.best() > 0.1 && quick.best() < 0.2, "{}", quick.best());
        assert!(quick.expanded_95() > 5.0 * well.expanded_95());
        // The truth may be 0 °C itself: the interval must not leave it out.
        assert!(quick.best() - quick.expanded_95() < 0.0);
    }
}
