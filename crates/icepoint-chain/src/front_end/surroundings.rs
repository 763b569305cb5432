//! What a front end takes from the rest of the chain file: supplies, the reference, figures of amplifiers and parts.

use std::collections::{BTreeMap, BTreeSet};

use icepoint_sensors::Letter;

use super::blueprint::{GROUND, NEGATIVE, PULL, REFERENCE, SUPPLY};
use super::sensing::{JunctionFigures, PlatinumFigures, ThermistorFigures};
use crate::chain::BrokenSensor;

use super::{AdjustableFigures, AmplifierFigures, PartKind, ResistorFigures};

/// Gain law of an instrumentation amplifier: `1 + constant/R`.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct GainLaw {
    /// Ω.
    pub constant: f64,
    /// Limit of the gain error, relative.
    pub error: f64,
    /// Limit of the gain drift, 1/K.
    pub drift: f64,
    /// Limit of the non-linearity, V at the output.
    pub nonlinearity: f64,
}

impl GainLaw {
    /// Of an amplifier that has none.
    const NONE: Self = Self { constant: 0.0, error: 0.0, drift: 0.0, nonlinearity: 0.0 };
}

/// What a front end takes from the rest of the chain file.
#[derive(Clone, Debug)]
pub struct Surroundings {
    /// Positive supply: V, limit relative.
    pub supply: (f64, f64),
    /// Negative supply: V, limit relative; 0 V when the board has one supply.
    pub negative: (f64, f64),
    /// Voltage reference of the converter, when it has one, on the node `reference`.
    pub reference: Option<PartKind>,
    /// The signal amplifier: record `amplifier`.
    pub amplifier: AmplifierFigures,
    /// Gain of the signal amplifier, if it is an instrumentation amplifier.
    pub gain_law: GainLaw,
    /// Amplifier of buffers and filters: record `buffer`.
    pub buffer: AmplifierFigures,
    /// Records that a circuit asks for by another name than these two.
    pub records: BTreeMap<String, (AmplifierFigures, GainLaw)>,
    /// Figures of resistors but for their value; per designator where it differs.
    pub resistor: ResistorFigures,
    /// Resistors that differ from that.
    pub resistor_for: BTreeMap<String, ResistorFigures>,
    /// Figures of adjustable resistors but for their value.
    pub adjustable: AdjustableFigures,
    /// Adjustable resistors that differ from that.
    pub adjustable_for: BTreeMap<String, AdjustableFigures>,
    /// Tracking inside resistor networks (relative, 1/K), when the user has them.
    pub network: Option<(f64, f64)>,
    /// Resistors that are single parts whatever the circuit says: they track no other.
    pub loose: BTreeSet<String>,
    /// Limit of capacitor values, relative.
    pub capacitor_tolerance: f64,
    /// Capacitors that differ from that.
    pub capacitor_for: BTreeMap<String, f64>,
    /// Temperature coefficient of a capacitor that is bought, 1/K. What it makes over the board's range is in the limits
    /// above.
    pub capacitor_tempco: f64,
    /// Type of the probe, which chooses among taps.
    pub letter: Letter,
    /// Where a broken thermocouple must read: what `pull` stands for.
    pub broken_sensor: BrokenSensor,
    /// Figures of the parts that follow the temperature.
    pub sensing: Sensing,
}

/// Figures of the parts that follow the temperature; a circuit uses those that it has.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sensing {
    /// Of a silicon junction.
    pub junction: JunctionFigures,
    /// Of a thermistor.
    pub thermistor: ThermistorFigures,
    /// Of a platinum resistor.
    pub platinum: PlatinumFigures,
}

impl Default for Sensing {
    /// Generic parts without spread: what stands in a chain whose circuit has none of them.
    fn default() -> Self {
        Self {
            junction: JunctionFigures {
                volts: 0.6,
                amperes: 100e-6,
                spread: 0.0,
                slope_spread: 0.0,
                ideality: 1.0,
                ideality_spread: 0.0,
                series_resistance: 0.0,
                heating: 0.0,
            },
            thermistor: ThermistorFigures {
                r25: 10e3,
                beta: 3950.0,
                tolerance: 0.0,
                beta_tolerance: 0.0,
                heating: 0.0,
            },
            platinum: PlatinumFigures {
                ice_ohms: 100.0,
                class: icepoint_sensors::platinum::Class::B,
                heating: 0.0,
            },
        }
    }
}

impl Surroundings {
    /// Figures of the amplifier that a circuit calls `name`. `amplifier` and `buffer` are the ones that `[front_end]`
    /// names; any other is the record of that name, and for a name that there is not, the signal amplifier.
    pub fn record(&self, name: &str) -> (&AmplifierFigures, &GainLaw) {
        match (self.records.get(name), name) {
            (Some((figures, law)), _) => (figures, law),
            (None, "buffer") => (&self.buffer, &GainLaw::NONE),
            (None, _) => (&self.amplifier, &self.gain_law),
        }
    }

    /// The node that a name of the circuit stands for on this board.
    pub fn node(&self, name: &str) -> String {
        let name = match (name, self.broken_sensor) {
            (PULL, BrokenSensor::Upscale) => SUPPLY,
            (PULL, BrokenSensor::Downscale) => NEGATIVE,
            _ => name,
        };
        match name {
            NEGATIVE if self.negative.0 == 0.0 => GROUND,
            REFERENCE if self.reference.is_none() => SUPPLY,
            name => name,
        }
        .to_owned()
    }

    pub(super) fn resistor(&self, designator: &str, ohms: f64) -> ResistorFigures {
        let mut figures = self.resistor_for.get(designator).unwrap_or(&self.resistor).clone();
        figures.ohms = ohms;
        figures
    }

    pub(super) fn track(&self, designator: &str, ohms: f64) -> AdjustableFigures {
        AdjustableFigures { ohms, ..*self.adjustable_for.get(designator).unwrap_or(&self.adjustable) }
    }

    pub(super) fn capacitor_tolerance(&self, designator: &str) -> f64 {
        *self.capacitor_for.get(designator).unwrap_or(&self.capacitor_tolerance)
    }
}
