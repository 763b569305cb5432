//! Boiling water: its temperature follows from the pressure, and the pressure from a barometer or, much worse, from
//! the altitude.

use icepoint_chain::file::ProbeIn;
use icepoint_chain::imperfection::Distribution::{Normal, OneSided, Rectangular};
use icepoint_chain::imperfection::{Distribution, Source};
use icepoint_chain::quantity::Toleranced;
use icepoint_sensors::{OutOfRange, atmosphere, water};

use super::{Component, Known, Quantity, ReferenceError, Sharing, practice, standard, user};

/// A barometer without a stated tolerance, Pa (common practice, no source).
pub const BAROMETER: f64 = 200.0;
/// A pressure of a weather report, Pa (common practice, no source).
const REPORT: f64 = 100.0;
/// Weather about the standard atmosphere, Pa, one standard deviation (common practice, no source).
const WEATHER: f64 = 1000.0;
/// Knowledge of an altitude, m (common practice, no source).
const ALTITUDE: f64 = 20.0;
/// Air of another temperature than the standard atmosphere's, K (common practice, no source).
const AIR: f64 = 15.0;
/// Share of the saturation pressure (IAPWS R7-97 and R6-95 near 100 °C, from memory).
const EQUATION: f64 = 0.000_3;
/// What a probe in steam may still differ, K (common practice, no source).
const STEAM: f64 = 0.05;
/// Overheating of the liquid without boiling stones, K, one-sided (common practice, no source).
const OVERHEATING: f64 = 0.2;
/// Density of water at 100 °C, kg/m³ (IAPWS-IF97, rounded, from memory).
const DENSITY: f64 = 958.4;
/// m/s².
const GRAVITY: f64 = 9.80665;
/// Standard temperature at sea level, K (ISO 2533).
const SEA_LEVEL_KELVIN: f64 = 288.15;

/// Where the pressure comes from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Pressure {
    /// A barometer on the spot.
    Barometer {
        /// Pa, not reduced to sea level.
        pascals: f64,
        /// Limit, Pa.
        limit: f64,
        /// Whether the owner stated that limit.
        stated: bool,
    },
    /// The altitude in the standard atmosphere, with the pressure reduced to sea level if a weather report told it.
    Altitude {
        /// m.
        metres: f64,
        /// Pa.
        sea_level: Option<Toleranced>,
    },
}

impl Pressure {
    /// A barometer as written, with or without a tolerance.
    pub fn barometer(written: Toleranced) -> Self {
        let stated = written.tolerance.is_some();
        let limit = if stated { written.half_width() } else { BAROMETER };
        Self::Barometer { pascals: written.value, limit, stated }
    }
}

/// Where the probe is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Where {
    /// In the steam above the water.
    Steam,
    /// In the water, this many metres deep.
    Water(f64),
}

impl Where {
    /// From the words of the chain file.
    pub fn new(probe_in: ProbeIn, depth: f64) -> Self {
        match probe_in {
            ProbeIn::Steam => Self::Steam,
            ProbeIn::Water => Self::Water(depth),
        }
    }
}

/// Boiling water.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BoilingWater {
    /// Where the pressure comes from.
    pub pressure: Pressure,
    /// Where the probe is.
    pub place: Where,
}

impl BoilingWater {
    /// Pressure over the water, Pa.
    ///
    /// # Errors
    /// [`OutOfRange`] for an altitude that the standard atmosphere does not reach.
    pub fn pascals(&self) -> Result<f64, OutOfRange> {
        match self.pressure {
            Pressure::Barometer { pascals, .. } => Ok(pascals),
            Pressure::Altitude { metres, sea_level: None } => atmosphere::pressure(metres),
            // The altitude at which the standard atmosphere has the reported pressure counts from there.
            Pressure::Altitude { metres, sea_level: Some(report) } => {
                atmosphere::pressure(metres + atmosphere::altitude(report.value)?)
            }
        }
    }

    /// °C with its components.
    ///
    /// # Errors
    /// [`ReferenceError::Range`] for a pressure or altitude outside the published ranges.
    pub fn known(&self) -> Result<Known, ReferenceError> {
        let pascals = self.pascals()?;
        let nominal = water::boiling_point(pascals)?;
        // The slope from the saturation equation itself, over the span that a barometer moves.
        let half = 500.0;
        let slope =
            (water::boiling_point(pascals + half)? - water::boiling_point(pascals - half)?) / (2.0 * half);
        let mut components = Vec::new();
        let mut add = |id, label: String, distribution: Distribution, source: Source, sharing| {
            components.push(Component::new(id, label, distribution, source, sharing));
        };
        match self.pressure {
            Pressure::Barometer { limit, stated, .. } => {
                let source = if stated { user("stated with the pressure") } else { practice() };
                add(
                    "barometer",
                    format!("barometer, ±{:.1} hPa", limit / 100.0),
                    Rectangular(limit * slope),
                    source,
                    Sharing::Setting,
                );
            }
            Pressure::Altitude { metres, sea_level } => {
                let per_metre = (atmosphere::pressure(metres)? - atmosphere::pressure(metres + 10.0)?) / 10.0;
                add(
                    "altitude",
                    format!("altitude, ±{ALTITUDE} m"),
                    Rectangular(ALTITUDE * per_metre * slope),
                    practice(),
                    Sharing::Reference,
                );
                match sea_level {
                    None => add(
                        "weather",
                        format!("weather about the standard atmosphere, {} hPa", WEATHER / 100.0),
                        Normal(WEATHER * slope),
                        practice(),
                        Sharing::Setting,
                    ),
                    Some(report) => {
                        let limit = if report.tolerance.is_some() { report.half_width() } else { REPORT };
                        add(
                            "report",
                            format!("pressure of the weather report, ±{:.1} hPa", limit / 100.0),
                            Rectangular(limit * slope),
                            if report.tolerance.is_some() {
                                user("stated with the pressure")
                            } else {
                                practice()
                            },
                            Sharing::Setting,
                        );
                        // A report may be reduced with the air's own temperature instead of the standard one.
                        let column = report.value - pascals;
                        add(
                            "air_column",
                            format!("air between here and sea level ±{AIR} K from the standard atmosphere"),
                            Rectangular((column * AIR / SEA_LEVEL_KELVIN * slope).abs()),
                            practice(),
                            Sharing::Setting,
                        );
                    }
                }
            }
        }
        add(
            "equation",
            "saturation equation, ±0.03 % of the pressure".to_owned(),
            Rectangular(EQUATION * pascals * slope),
            standard("IAPWS R7-97(2012); its uncertainty from memory"),
            Sharing::Reference,
        );
        match self.place {
            Where::Steam => add(
                "steam",
                "probe in the steam, not at its temperature throughout".to_owned(),
                Rectangular(STEAM),
                practice(),
                Sharing::Reference,
            ),
            Where::Water(depth) => {
                add(
                    "depth",
                    format!("pressure of up to {:.0} cm of water", 100.0 * depth),
                    OneSided(DENSITY * GRAVITY * depth * slope),
                    standard("hydrostatics; density 958.4 kg/m³ at 100 °C from memory"),
                    Sharing::Reference,
                );
                add(
                    "overheating",
                    "water overheats before it boils".to_owned(),
                    OneSided(OVERHEATING),
                    practice(),
                    Sharing::Setting,
                );
            }
        }
        Ok(Known { quantity: Quantity::Celsius, nominal, components })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use icepoint_chain::quantity::Tolerance;

    fn steam(pressure: Pressure) -> Known {
        BoilingWater { pressure, place: Where::Steam }.known().unwrap()
    }

    #[test]
    fn a_barometer_beats_an_altitude() {
        let barometer = steam(Pressure::barometer(Toleranced::exact(95_460.8)));
        let altitude = steam(Pressure::Altitude { metres: 500.0, sea_level: None });
        // ISO 2533: 95 460.8 Pa at 500 m.
        assert!((barometer.nominal - altitude.nominal).abs() < 1e-4);
        assert!(altitude.standard() > 2.0 * barometer.standard());
        // 1 kPa of weather at 0.028 K/hPa.
        assert!((altitude.standard() - 0.29).abs() < 0.02, "{}", altitude.standard());
    }

    #[test]
    fn a_report_of_the_standard_pressure_changes_nothing_but_the_uncertainty() {
        let report = Toleranced { value: 101_325.0, tolerance: Some(Tolerance::Absolute(50.0)) };
        let with = steam(Pressure::Altitude { metres: 1500.0, sea_level: Some(report) });
        let without = steam(Pressure::Altitude { metres: 1500.0, sea_level: None });
        assert!((with.nominal - without.nominal).abs() < 1e-9);
        assert!(with.standard() < without.standard());
    }

    #[test]
    fn ten_centimetres_of_water_are_a_quarter_of_a_kelvin() {
        let pressure = Pressure::barometer(Toleranced::exact(101_325.0));
        let known = BoilingWater { pressure, place: Where::Water(0.1) }.known().unwrap();
        let depth = known.components.iter().find(|c| c.id == "depth").unwrap().distribution.limits().1;
        // Second way: the boiling point under the pressure of the column.
        let under = water::boiling_point(101_325.0 + 958.4 * 9.80665 * 0.1).unwrap();
        assert!((depth - (under - known.nominal)).abs() < 1e-3, "{depth}");
        assert!(known.best() > known.nominal + 0.1);
    }

    #[test]
    fn altitudes_beyond_the_atmosphere_are_refused() {
        let water = BoilingWater {
            pressure: Pressure::Altitude { metres: 20e3, sea_level: None },
            place: Where::Steam,
        };
        assert!(matches!(water.known(), Err(ReferenceError::Range(_))));
    }
}
