//! Which imperfection acts where in the signal's way: sorted once, so that a board is computed without searching.

use crate::imperfection::{Collector, Effect, Persistence, Travel};
use crate::sensing::Figure;
use crate::wiring::Wiring;

/// Deviations of one gain stage, each with whether it counts per kelvin.
#[derive(Clone, Debug, Default)]
pub(super) struct GainDeviations {
    pub(super) resistor: Vec<(usize, bool)>,
    pub(super) own: Vec<(usize, bool)>,
}

/// Deviations of one adjustable resistor.
#[derive(Clone, Debug, Default)]
pub(super) struct AdjustableDeviations {
    /// With whether it counts per kelvin.
    pub(super) track: Vec<(usize, bool)>,
    pub(super) setting: Vec<usize>,
}

/// Which imperfections act how, sorted for speed.
#[derive(Clone, Debug, Default)]
pub(super) struct Acting {
    /// What each deviation alters.
    pub(super) reach: Vec<Reach>,
    pub(super) probe_tolerance: Option<usize>,
    pub(super) probe_drift: Option<usize>,
    pub(super) lead: Option<usize>,
    pub(super) gradient: Option<usize>,
    pub(super) sensor: Vec<usize>,
    pub(super) sensor_drift: Option<usize>,
    pub(super) sensor_bow: Option<usize>,
    pub(super) sensor_ratio: Vec<usize>,
    pub(super) sensor_ratio_drift: Vec<usize>,
    pub(super) sensor_beta: Option<usize>,
    pub(super) sensor_class: Option<usize>,
    pub(super) sensor_fraction: Option<usize>,
    /// Circuit parameter, deviation, scale, per kelvin.
    pub(super) parameters: Vec<(usize, usize, f64, bool)>,
    /// Circuit parameter, deviation, kelvins in which the current doubles.
    pub(super) leakage: Vec<(usize, usize, f64)>,
    /// Deviations of each part that follows the temperature.
    pub(super) parts: Vec<Vec<(usize, Figure)>>,
    pub(super) gain: Vec<GainDeviations>,
    pub(super) adjustable: Vec<AdjustableDeviations>,
    pub(super) converter_volts_board: Vec<usize>,
    pub(super) converter_volts_reading: Vec<usize>,
    pub(super) converter_gain: Option<usize>,
    pub(super) converter_common: Option<usize>,
}

/// What a deviation alters of a board that is solved.
#[derive(Clone, Debug, Default)]
pub(super) struct Reach {
    /// Circuit parameters that it adds to, scale, per kelvin.
    pub(super) parameters: Vec<(usize, f64, bool)>,
    /// Whether parameters depend on it in another way, too.
    pub(super) otherwise: bool,
    /// What the sensor of the reference junction tells.
    pub(super) sensor: bool,
    /// Figures of a part that follows the temperature.
    pub(super) part: bool,
    /// The temperature of the terminals.
    pub(super) terminals: bool,
}

impl Reach {
    fn new(effect: &Effect) -> Self {
        let mut reach = Self::default();
        reach.add(effect);
        reach
    }

    fn add(&mut self, effect: &Effect) {
        match effect {
            Effect::ProbeTolerance
            | Effect::ProbeDrift
            | Effect::Lead
            | Effect::ConverterVolts
            | Effect::ConverterGain
            | Effect::ConverterCommon => {}
            Effect::Sensor
            | Effect::SensorDrift
            | Effect::SensorRatio
            | Effect::SensorRatioDrift
            | Effect::SensorBeta
            | Effect::SensorClass
            | Effect::SensorFraction => self.sensor = true,
            Effect::Gradient => self.terminals = true,
            Effect::Part { .. } => self.part = true,
            Effect::Parameters { slots, per_kelvin } => {
                self.parameters.extend(slots.iter().map(|(slot, scale)| (slot.index(), *scale, *per_kelvin)));
            }
            Effect::SensorBow
            | Effect::Leakage { .. }
            | Effect::Adjustable { .. }
            | Effect::GainResistor { .. }
            | Effect::Gain { .. } => self.otherwise = true,
            Effect::Several(effects) => effects.iter().for_each(|effect| self.add(effect)),
        }
    }

    /// Whether it alters parameters of the circuit by itself.
    pub(super) fn circuit(&self) -> bool {
        self.otherwise || !self.parameters.is_empty()
    }

    /// Whether it alters anything of a board that is solved.
    pub(super) fn anything(&self) -> bool {
        self.circuit() || self.sensor || self.part || self.terminals
    }
}

impl Acting {
    pub(super) fn new(list: &Collector, wiring: &Wiring) -> Self {
        let mut acting = Self {
            gain: vec![GainDeviations::default(); wiring.gain_stages.len()],
            parts: vec![Vec::new(); wiring.sensing.len()],
            adjustable: vec![AdjustableDeviations::default(); wiring.adjustable.len()],
            reach: list.effects.iter().map(Reach::new).collect(),
            ..Self::default()
        };
        for (i, (effect, imperfection)) in list.effects.iter().zip(&list.imperfections).enumerate() {
            acting.place(i, effect, imperfection.persistence);
        }
        acting
    }

    fn place(&mut self, i: usize, effect: &Effect, persistence: Persistence) {
        match effect {
            Effect::ProbeTolerance => self.probe_tolerance = Some(i),
            Effect::ProbeDrift => self.probe_drift = Some(i),
            Effect::Lead => self.lead = Some(i),
            Effect::Gradient => self.gradient = Some(i),
            Effect::Sensor => self.sensor.push(i),
            Effect::SensorDrift => self.sensor_drift = Some(i),
            Effect::SensorBow => self.sensor_bow = Some(i),
            Effect::SensorRatio => self.sensor_ratio.push(i),
            Effect::SensorRatioDrift => self.sensor_ratio_drift.push(i),
            Effect::SensorBeta => self.sensor_beta = Some(i),
            Effect::SensorClass => self.sensor_class = Some(i),
            Effect::SensorFraction => self.sensor_fraction = Some(i),
            Effect::Parameters { slots, per_kelvin } => {
                self.parameters
                    .extend(slots.iter().map(|(slot, scale)| (slot.index(), i, *scale, *per_kelvin)));
            }
            Effect::Part { part, figure } => self.parts[*part].push((i, *figure)),
            Effect::Adjustable { part, travel } => {
                let deviations = &mut self.adjustable[*part];
                match travel {
                    Travel::Track => deviations.track.push((i, false)),
                    Travel::TrackPerKelvin => deviations.track.push((i, true)),
                    Travel::Setting => deviations.setting.push(i),
                }
            }
            Effect::Leakage { slot, doubling } => self.leakage.push((slot.index(), i, *doubling)),
            Effect::GainResistor { amplifiers, per_kelvin } => {
                for &a in amplifiers {
                    self.gain[a].resistor.push((i, *per_kelvin));
                }
            }
            Effect::Gain { amplifier, per_kelvin } => self.gain[*amplifier].own.push((i, *per_kelvin)),
            Effect::ConverterVolts => match persistence {
                Persistence::Reading => self.converter_volts_reading.push(i),
                Persistence::Board | Persistence::Later | Persistence::Occasion => {
                    self.converter_volts_board.push(i)
                }
            },
            Effect::ConverterGain => self.converter_gain = Some(i),
            Effect::ConverterCommon => self.converter_common = Some(i),
            Effect::Several(effects) => effects.iter().for_each(|e| self.place(i, e, persistence)),
        }
    }
}
