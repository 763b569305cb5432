//! `reading = predict(situation, deviations)`: the only physics of the house.
//!
//! **How it is computed.** The circuit is linear inside its limits, so for one board (its deviations and its
//! temperature) one elimination gives the output as `offset + gain·v` for every thermocouple voltage `v` exactly. The
//! limits are linear too: if they hold at both ends of a range of `v`, they hold in between. Where one is exceeded the
//! operating point is found with clipping outputs instead. `predict`, GUM, worst case and Monte Carlo all go through
//! [`Model::board_state`] and [`Model::celsius`].
//!
//! **Signs.** `v = E(hot) − E(terminals)`: positive when the measuring junction is hotter.
//!
//! **Nominal constants.** The reading rule knows the offset and gain of the chain with every deviation at its mean and
//! the board at 25 °C, as firmware constants would be computed. Everything else is error.

use core::fmt;

use icepoint_circuit::{CircuitError, LimitHit, LimitKind, Netlist, Workspace};
use icepoint_sensors::Letter;
use icepoint_sensors::platinum::Platinum;
use icepoint_sensors::tolerance::{self, ToleranceClass};

use crate::chain::{Chain, Correction, JunctionMethod, JunctionSensor, ProbeTolerance};
use crate::dynamics::Dynamics;
use crate::dynamics::ZERO_CELSIUS;
use crate::findings::BoardFindings;
use crate::front_end::adjustable::MIDDLE;
use crate::imperfection::{self, Collector, Effect, Imperfection, Persistence, SPECIFIED_AT, Travel};
use crate::reading_rule::ReadingRule;
use crate::sensing::{self, Figure, PartDeviations};
use crate::situation::Situation;
use crate::wiring::{CONVERTER_INPUTS, Wiring};

/// Why a chain has no prediction.
#[derive(Clone, Debug, PartialEq)]
pub enum ModelError {
    /// The circuit can't be solved.
    Circuit(CircuitError),
    /// A part lacks a parameter that the model needs.
    Missing(String),
    /// A temperature or voltage is outside the range of a function.
    Range(String),
    /// The output does not depend on the thermocouple.
    Deaf,
}

impl fmt::Display for ModelError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Circuit(error) => error.fmt(f),
            Self::Missing(what) => write!(f, "the circuit has no {what}"),
            Self::Range(text) => f.write_str(text),
            Self::Deaf => f.write_str(
                "the output does not follow the thermocouple: check that a path leads from its terminals to the output",
            ),
        }
    }
}

impl core::error::Error for ModelError {}

impl From<CircuitError> for ModelError {
    fn from(error: CircuitError) -> Self {
        Self::Circuit(error)
    }
}

/// What the chain answers in one situation.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// The temperature read, °C.
    pub celsius: f64,
    /// Voltage at the output node, V.
    pub output_volts: f64,
    /// Voltage of each test point against ground, V.
    pub test_point_volts: Vec<f64>,
    /// Limits that are exceeded; the reading can't be trusted if there is any.
    pub limits: Vec<LimitExceeded>,
}

/// A limit of the circuit or converter that a situation exceeds.
#[derive(Clone, Debug, PartialEq)]
pub struct LimitExceeded {
    /// Which: `A1 output`, `converter`.
    pub what: String,
    /// What is wanted there, V.
    pub volts: f64,
    /// What is allowed, V.
    pub allowed: (f64, f64),
}

impl fmt::Display for LimitExceeded {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (low, high) = self.allowed;
        write!(f, "{} wants {:.3} V, allowed are {low:.3} V to {high:.3} V", self.what, self.volts)
    }
}

/// Deviations of one gain stage, each with whether it counts per kelvin.
#[derive(Clone, Debug, Default)]
struct GainDeviations {
    resistor: Vec<(usize, bool)>,
    own: Vec<(usize, bool)>,
}

/// Deviations of one adjustable resistor.
#[derive(Clone, Debug, Default)]
struct AdjustableDeviations {
    /// With whether it counts per kelvin.
    track: Vec<(usize, bool)>,
    setting: Vec<usize>,
}

/// Which imperfections act how, sorted for speed.
#[derive(Clone, Debug, Default)]
struct Acting {
    probe_tolerance: Option<usize>,
    probe_drift: Option<usize>,
    lead: Option<usize>,
    gradient: Option<usize>,
    sensor: Vec<usize>,
    sensor_drift: Option<usize>,
    sensor_bow: Option<usize>,
    sensor_ratio: Vec<usize>,
    sensor_ratio_drift: Vec<usize>,
    sensor_beta: Option<usize>,
    sensor_class: Option<usize>,
    sensor_fraction: Option<usize>,
    /// Circuit parameter, deviation, scale, per kelvin.
    parameters: Vec<(usize, usize, f64, bool)>,
    /// Circuit parameter, deviation, kelvins in which the current doubles.
    leakage: Vec<(usize, usize, f64)>,
    /// Deviations of each part that follows the temperature.
    parts: Vec<Vec<(usize, Figure)>>,
    gain: Vec<GainDeviations>,
    adjustable: Vec<AdjustableDeviations>,
    converter_volts_board: Vec<usize>,
    converter_volts_reading: Vec<usize>,
    converter_gain: Option<usize>,
    converter_common: Option<usize>,
}

impl Acting {
    fn new(list: &Collector, wiring: &Wiring) -> Self {
        let mut acting = Self {
            gain: vec![GainDeviations::default(); wiring.gain_stages.len()],
            parts: vec![Vec::new(); wiring.sensing.len()],
            adjustable: vec![AdjustableDeviations::default(); wiring.adjustable.len()],
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

/// Buffers of one thread.
#[derive(Debug)]
pub struct Scratch {
    workspace: Workspace,
    values: Vec<f64>,
    x: Vec<f64>,
    dx: Vec<f64>,
    at: Vec<f64>,
    /// Where the adjustable resistors stand, in the order of [`Model::adjustable`].
    settings: Vec<f64>,
}

impl Scratch {
    /// Where the adjustable resistors of the board stand, share of the track each, in the order of
    /// [`Model::adjustable`]; in the middle to begin with. The next board that is solved has these.
    pub fn settings_mut(&mut self) -> &mut [f64] {
        &mut self.settings
    }

    /// Settings of the adjustable resistors, and the circuit parameters.
    pub(crate) fn settings_and_values(&mut self) -> (&[f64], &mut [f64]) {
        (&self.settings, &mut self.values)
    }

    /// Circuit parameters and the last solution.
    pub(crate) fn parts_mut(&mut self) -> (&mut [f64], &mut [f64]) {
        (&mut self.values, &mut self.x)
    }

    /// Circuit parameters and the solution last checked against the limits.
    pub(crate) fn solution(&self) -> (&[f64], &[f64]) {
        (&self.values, &self.at)
    }
}

/// One board at one temperature: its output for any thermocouple voltage, and what its sensor tells.
#[derive(Clone, Copy, Debug)]
pub struct BoardState {
    /// Board temperature, °C.
    pub board: f64,
    /// Output at zero thermocouple voltage, V.
    pub offset: f64,
    /// V/V.
    pub gain: f64,
    /// Mean of the converter's two inputs at zero thermocouple voltage, V, and its change per volt of output; 0 for one
    /// input.
    pub common: (f64, f64),
    /// Reference voltage over its nominal value, at zero thermocouple voltage.
    pub reference: f64,
    /// Emf of the terminals' temperature, V.
    pub terminals_emf: f64,
    /// Terminals' temperature, °C.
    pub terminals: f64,
    /// Emf of the temperature that the reference-junction sensor tells, V; 0 for analog compensation.
    pub sensed_emf: f64,
}

/// A temperature of the measuring junction with the probe's limits there.
#[derive(Clone, Copy, Debug)]
pub struct HotEnd {
    /// °C.
    pub celsius: f64,
    /// Limit of the probe's deviation, K.
    pub limit: f64,
    /// Share of the stated drift.
    pub drift_share: f64,
}

/// Which deviations of the reading itself are applied.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ReadingNoise {
    /// Those in the vector of deviations.
    Included,
    /// None: the mean of many readings.
    LeftOut,
}

/// A chain that can be asked for its readings.
#[derive(Debug)]
pub struct Model {
    chain: Chain,
    wiring: Wiring,
    nominal_values: Vec<f64>,
    rule: ReadingRule,
    imperfections: Vec<Imperfection>,
    /// What each of them alters.
    effects: Vec<Effect>,
    acting: Acting,
    mean: Vec<f64>,
    nominal_offset: f64,
    nominal_gain: f64,
    nominal_reference: f64,
    bow_span: f64,
    dynamics: Option<Dynamics>,
    correction: Correction,
    findings: Option<BoardFindings>,
}

impl Model {
    /// The whole model, noise and mains included.
    ///
    /// # Errors
    /// [`ModelError`] when the circuit can't be solved or the reading rule has no inverse over the range.
    pub fn new(chain: Chain) -> Result<Self, ModelError> {
        Self::build(chain, true)
    }

    /// The static part only: no noise, no mains. For searches that look at thousands of circuits.
    ///
    /// # Errors
    /// As [`Model::new`].
    pub fn without_dynamics(chain: Chain) -> Result<Self, ModelError> {
        Self::build(chain, false)
    }

    fn build(chain: Chain, dynamic: bool) -> Result<Self, ModelError> {
        let wiring = Wiring::new(&chain)?;
        let nominal_values = nominal_values(&wiring)?;
        let rule = ReadingRule::new(&chain)?;
        let mut list = imperfection::collect(&chain, &wiring);
        let dynamics = if dynamic {
            Some(imperfection::collect_dynamic(&chain, &wiring, &nominal_values, &mut list)?)
        } else {
            None
        };
        let acting = Acting::new(&list, &wiring);
        let mean: Vec<f64> = list.imperfections.iter().map(|i| i.distribution.mean()).collect();
        let (low, high) = chain.need.board;
        let bow_span = (low - SPECIFIED_AT).abs().max((high - SPECIFIED_AT).abs()).max(1.0);
        let correction = chain.correction.unwrap_or(Correction::NONE);
        let findings = match &chain.findings {
            Some(findings) => BoardFindings::new(findings, &list.imperfections)?,
            None => None,
        };
        let mut model = Self {
            chain,
            wiring,
            nominal_values,
            rule,
            imperfections: list.imperfections,
            effects: list.effects,
            acting,
            mean,
            nominal_offset: 0.0,
            nominal_gain: 1.0,
            nominal_reference: 1.0,
            bow_span,
            dynamics,
            correction,
            findings,
        };
        let mut scratch = model.scratch();
        let mean = model.mean.clone();
        let state = model.board_state(SPECIFIED_AT, &mean, &mut scratch)?;
        if state.gain.is_nan() || state.gain.abs() <= 1e-12 || !state.offset.is_finite() {
            return Err(ModelError::Deaf);
        }
        model.nominal_reference = state.reference;
        let state = BoardState { reference: 1.0, ..state };
        model.nominal_gain = state.gain;
        // An analog compensation is part of the offset at 25 °C; the rule of a measured junction subtracts it.
        model.nominal_offset = state.offset;
        Ok(model)
    }

    /// The same with noise and mains; itself if it has them. What a search first looked at without them it need not build
    /// anew.
    ///
    /// # Errors
    /// As [`Model::new`].
    pub fn with_dynamics(mut self) -> Result<Self, ModelError> {
        if self.dynamics.is_some() {
            return Ok(self);
        }
        let mut list = Collector { imperfections: self.imperfections, effects: self.effects };
        self.dynamics =
            Some(imperfection::collect_dynamic(&self.chain, &self.wiring, &self.nominal_values, &mut list)?);
        self.acting = Acting::new(&list, &self.wiring);
        self.mean = list.imperfections.iter().map(|i| i.distribution.mean()).collect();
        self.findings = match &self.chain.findings {
            Some(findings) => BoardFindings::new(findings, &list.imperfections)?,
            None => None,
        };
        (self.imperfections, self.effects) = (list.imperfections, list.effects);
        Ok(self)
    }

    /// The chain.
    pub fn chain(&self) -> &Chain {
        &self.chain
    }

    /// All imperfections; deviations are given in this order.
    pub fn imperfections(&self) -> &[Imperfection] {
        &self.imperfections
    }

    /// Mean of every deviation: zero but for what can only go one way.
    pub fn mean_deviations(&self) -> &[f64] {
        &self.mean
    }

    /// Best estimate of every deviation: their means, moved by what a calibration found out about this board.
    pub fn best_estimate(&self) -> Vec<f64> {
        match &self.findings {
            Some(findings) => findings.best_estimate(&self.imperfections),
            None => self.mean.clone(),
        }
    }

    /// What a calibration found out about this board, in the order of the imperfections.
    pub fn findings(&self) -> Option<&BoardFindings> {
        self.findings.as_ref()
    }

    /// Response, noise and mains residual; `None` for a static model.
    pub fn dynamics(&self) -> Option<&Dynamics> {
        self.dynamics.as_ref()
    }

    /// Nominal offset (V) and gain (V/V) between thermocouple and output, board at 25 °C.
    pub fn nominal_transfer(&self) -> (f64, f64) {
        (self.nominal_offset, self.nominal_gain)
    }

    /// Whether a deviation changes what [`Model::board_state`] finds; the others act on the thermocouple's voltage or on
    /// the reading alone.
    pub(crate) fn reaches_circuit(&self, imperfection: usize) -> bool {
        fn reaches(effect: &Effect) -> bool {
            match effect {
                Effect::ProbeTolerance
                | Effect::ProbeDrift
                | Effect::Lead
                | Effect::ConverterVolts
                | Effect::ConverterGain
                | Effect::ConverterCommon => false,
                Effect::Several(effects) => effects.iter().any(reaches),
                _ => true,
            }
        }
        self.effects.get(imperfection).is_none_or(reaches)
    }

    pub(crate) fn wiring(&self) -> &Wiring {
        &self.wiring
    }

    pub(crate) fn nominal_values(&self) -> &[f64] {
        &self.nominal_values
    }

    /// Designators of the adjustable resistors in the order of their settings.
    pub fn adjustable(&self) -> impl Iterator<Item = &str> {
        self.wiring.adjustable.iter().map(|place| place.name.as_str())
    }

    /// Buffers for one thread.
    pub fn scratch(&self) -> Scratch {
        let workspace = self.wiring.circuit.workspace();
        let n = self.wiring.circuit.unknowns();
        Scratch {
            workspace,
            values: self.nominal_values.clone(),
            x: vec![0.0; n],
            dx: vec![0.0; n],
            at: vec![0.0; n],
            settings: vec![MIDDLE; self.wiring.adjustable.len()],
        }
    }

    /// Circuit parameters of one board at one temperature, thermocouple at zero, but for the sensing parts.
    pub(crate) fn fill_values(
        &self,
        board: f64,
        sensed: f64,
        d: &[f64],
        settings: &[f64],
        values: &mut [f64],
    ) {
        values.copy_from_slice(&self.nominal_values);
        let warm = board - SPECIFIED_AT;
        for &(slot, i, scale, per_kelvin) in &self.acting.parameters {
            values[slot] += scale * d[i] * if per_kelvin { warm } else { 1.0 };
        }
        for &(slot, i, doubling) in &self.acting.leakage {
            values[slot] += d[i] * libm::exp2(warm / doubling);
        }
        let sum = |list: &[(usize, bool)]| -> f64 {
            list.iter().map(|&(i, per_kelvin)| d[i] * if per_kelvin { warm } else { 1.0 }).sum()
        };
        let arms = |part: usize| {
            let AdjustableDeviations { track, setting } = &self.acting.adjustable[part];
            let moved: f64 = setting.iter().map(|&i| d[i]).sum();
            self.wiring.adjustable[part].figures.arms(settings[part] + moved, sum(track))
        };
        for (part, place) in self.wiring.adjustable.iter().enumerate() {
            let (first, second) = arms(part);
            for (slot, ohms) in [(place.first, first), (place.second, second)] {
                if let Some(slot) = slot {
                    values[slot.index()] = ohms;
                }
            }
        }
        for (stage, GainDeviations { resistor, own }) in self.wiring.gain_stages.iter().zip(&self.acting.gain)
        {
            let trim = stage.trim.map_or(0.0, |part| arms(part).0);
            let gain = stage
                .resistor
                .as_ref()
                .map_or(1.0, |(_, ohms)| 1.0 + stage.constant / (ohms * (1.0 + sum(resistor)) + trim));
            values[stage.slot.index()] = gain * (1.0 + sum(own));
        }
        if let (Some(slot), JunctionMethod::Analog { slope, at_zero, .. }) =
            (self.wiring.sensor, &self.chain.junction.method)
        {
            let bow = self
                .acting
                .sensor_bow
                .map_or(0.0, |i| d[i] * (warm / self.bow_span) * (warm / self.bow_span));
            values[slot.index()] = at_zero + slope * (sensed + bow);
        }
    }

    /// Solves one board at one temperature. `scratch` keeps its solution for [`Model::output_volts`].
    ///
    /// # Errors
    /// [`ModelError::Circuit`] when deviations make the circuit unsolvable.
    pub fn board_state(
        &self,
        board: f64,
        d: &[f64],
        scratch: &mut Scratch,
    ) -> Result<BoardState, ModelError> {
        let sensed = self.sensed(board, d);
        self.fill_values(board, sensed, d, &scratch.settings, &mut scratch.values);
        self.solved_state(board, sensed, d, scratch)
    }

    /// [`Model::board_state`] of the parameters that `scratch` holds, as if no amplifier had a limit.
    pub(crate) fn solved_state(
        &self,
        board: f64,
        sensed: f64,
        d: &[f64],
        scratch: &mut Scratch,
    ) -> Result<BoardState, ModelError> {
        let letter = self.chain.probe.letter;
        let a = &self.acting;
        let terminals = board + a.gradient.map_or(0.0, |i| d[i]);
        let circuit = &self.wiring.circuit;
        let Scratch { workspace, values, x, .. } = scratch;
        let mut solve = |values: &[f64], x: &mut [f64]| -> Result<(), ModelError> {
            circuit.factor(values, workspace)?;
            circuit.solve(values, workspace, x);
            Ok(())
        };
        if self.wiring.sensing.is_empty() {
            solve(values, x)?;
        } else {
            let deviations = |part| self.part_deviations(part, d);
            sensing::settle(circuit, &self.wiring.sensing, &deviations, sensed, values, x, &mut solve)?;
        }
        circuit.solve_unit(self.wiring.thermocouple, &scratch.workspace, &mut scratch.dx);
        let reference = match (self.wiring.reference, self.chain.converter.kind) {
            (Some(node), crate::chain::ConverterKind::Adc { reference, .. }) => {
                circuit.voltage(&scratch.x, node) / reference
            }
            _ => 1.0,
        };
        let gain = self.wiring.output_volts(&scratch.dx);
        let common_slope = self.wiring.common_volts(&scratch.dx) / gain;
        Ok(BoardState {
            board,
            offset: self.wiring.output_volts(&scratch.x),
            gain,
            common: (
                self.wiring.common_volts(&scratch.x),
                if common_slope.is_finite() { common_slope } else { 0.0 },
            ),
            reference: reference / self.nominal_reference,
            terminals_emf: letter.emf_and_slope_extended(terminals).0,
            terminals,
            sensed_emf: match self.chain.junction.method {
                JunctionMethod::Measured(_) => letter.emf_and_slope_extended(sensed).0,
                JunctionMethod::Analog { .. } | JunctionMethod::InCircuit => 0.0,
            },
        })
    }

    /// What the sensor of the reference junction tells, or for parts of the circuit their surroundings' temperature, °C.
    pub(crate) fn sensed(&self, board: f64, d: &[f64]) -> f64 {
        let (a, warm) = (&self.acting, board - SPECIFIED_AT);
        let shift = a.sensor.iter().map(|&i| d[i]).sum::<f64>() + a.sensor_drift.map_or(0.0, |i| d[i] * warm);
        self.sensor_tells(board + shift, warm, d)
    }

    /// Deviations of a part that follows the temperature.
    pub(crate) fn part_deviations(&self, part: usize, d: &[f64]) -> PartDeviations {
        let mut sum = PartDeviations::default();
        for &(i, figure) in self.acting.parts.get(part).map_or(&[][..], Vec::as_slice) {
            sum.add(figure, d[i]);
        }
        sum
    }

    /// The hot end with what the probe's limits are there.
    pub fn hot_end(&self, hot: f64) -> HotEnd {
        let (low, high) = self.chain.need.hot;
        HotEnd {
            celsius: hot,
            limit: probe_limit(self.chain.probe.letter, self.chain.probe.tolerance, hot),
            drift_share: hot / low.abs().max(high.abs()).max(1.0),
        }
    }

    /// What the reference-junction sensor tells at `celsius` (°C), its own temperature with additive errors in it.
    fn sensor_tells(&self, celsius: f64, warm: f64, d: &[f64]) -> f64 {
        let a = &self.acting;
        let dev = |i: Option<usize>| i.map_or(0.0, |i| d[i]);
        let mut ratio = 1.0
            + a.sensor_ratio.iter().map(|&i| d[i]).sum::<f64>()
            + a.sensor_ratio_drift.iter().map(|&i| d[i] * warm).sum::<f64>();
        // A divider's fraction f = R/(R + D) is off by δ: R seems larger by δ/(f(1 − f)).
        let fraction =
            |ohms: f64, arm: f64| dev(a.sensor_fraction) * (ohms + arm) * (ohms + arm) / (ohms * arm);
        match self.chain.junction.method {
            JunctionMethod::Measured(JunctionSensor::Thermistor { r25, beta: b, divider, .. }) => {
                let nominal = 1.0 / (SPECIFIED_AT + ZERO_CELSIUS);
                let inverse = 1.0 / (celsius + ZERO_CELSIUS);
                // ln(R/R25) of this thermistor, then read back with the nominal beta.
                let mut log = b * (1.0 + dev(a.sensor_beta)) * (inverse - nominal);
                if a.sensor_fraction.is_some() {
                    ratio += fraction(r25 * libm::exp(log), divider.ohms);
                }
                log += libm::log(ratio.max(1e-6));
                1.0 / (nominal + log / b) - ZERO_CELSIUS
            }
            JunctionMethod::Measured(JunctionSensor::Platinum { class, divider }) => {
                let row = class.row();
                let limit = row.fixed + row.per_degree * celsius.abs();
                let celsius = celsius + dev(a.sensor_class) * limit;
                let Ok((ohms, slope)) = Platinum::HUNDRED_OHMS.resistance_and_slope(celsius) else {
                    return celsius;
                };
                ratio += fraction(ohms, divider.ohms);
                Platinum::HUNDRED_OHMS
                    .temperature(ohms * ratio)
                    .unwrap_or(celsius + (ratio - 1.0) * ohms / slope)
            }
            JunctionMethod::Measured(JunctionSensor::Digital)
            | JunctionMethod::Analog { .. }
            | JunctionMethod::InCircuit => celsius,
        }
    }

    /// Emf of the probe's measuring junction against 0 °C, its deviation included, V.
    #[inline]
    pub fn hot_emf(&self, hot: &HotEnd, d: &[f64]) -> f64 {
        let a = &self.acting;
        let mut t = hot.celsius;
        if let Some(i) = a.probe_tolerance {
            t += d[i] * hot.limit;
        }
        if let Some(i) = a.probe_drift {
            t += d[i] * hot.drift_share;
        }
        self.chain.probe.letter.emf_and_slope_extended(t).0
    }

    /// Voltage at the terminals for a hot emf: less the terminals' own, plus the cable's deviation, V. `head` is the
    /// temperature of the probe's head, °C.
    #[inline]
    pub fn thermocouple_volts(&self, hot_emf: f64, head: f64, state: &BoardState, d: &[f64]) -> f64 {
        let mut v = hot_emf - state.terminals_emf;
        if let (Some(i), Some(lead)) = (self.acting.lead, &self.chain.lead) {
            v += d[i] * lead.tolerance * ((head - state.terminals) / lead.full_at).clamp(-1.0, 1.0);
        }
        v
    }

    /// Whether the circuit stays inside its limits for this thermocouple voltage.
    pub fn within_limits(&self, v: f64, scratch: &mut Scratch) -> bool {
        let Scratch { values, x, dx, at, .. } = scratch;
        for ((at, x), dx) in at.iter_mut().zip(x.iter()).zip(dx.iter()) {
            *at = x + v * dx;
        }
        self.wiring.circuit.within_limits(values, at)
    }

    /// Output voltage for a thermocouple voltage. `inside`: limits are known to hold.
    #[inline]
    pub fn output_volts(&self, state: &BoardState, v: f64, inside: bool, scratch: &mut Scratch) -> f64 {
        if inside || self.within_limits(v, scratch) {
            return state.offset + state.gain * v;
        }
        self.clipped(v, scratch).unwrap_or(state.offset + state.gain * v)
    }

    /// Output with clipping amplifiers; `None` if no operating point is found.
    fn clipped(&self, v: f64, scratch: &mut Scratch) -> Option<f64> {
        let slot = self.wiring.thermocouple.index();
        let before = scratch.values[slot];
        scratch.values[slot] = v;
        let point = self.wiring.circuit.operating_point(&scratch.values);
        scratch.values[slot] = before;
        point.ok().map(|p| self.wiring.output_volts(&p.x))
    }

    /// Volts of the reading rule (output volts of a straight line, thermocouple volts of every other rule) for an
    /// output voltage, before any correction.
    #[inline]
    pub fn rule_volts(&self, state: &BoardState, output: f64, d: &[f64], noise: ReadingNoise) -> f64 {
        let (low, high) = self.chain.converter.span();
        self.of_rule(self.converted(state, output, d, noise).clamp(low, high))
    }

    /// [`Model::rule_volts`] of a converter without an end of its span.
    pub(crate) fn unclamped_rule_volts(
        &self,
        state: &BoardState,
        output: f64,
        d: &[f64],
        noise: ReadingNoise,
    ) -> f64 {
        self.of_rule(self.converted(state, output, d, noise))
    }

    fn of_rule(&self, converted: f64) -> f64 {
        let junction = self.rule.adds_junction();
        if junction { (converted - self.nominal_offset) / self.nominal_gain } else { converted }
    }

    /// What the converter makes of an output voltage, V.
    fn converted(&self, state: &BoardState, output: f64, d: &[f64], noise: ReadingNoise) -> f64 {
        let a = &self.acting;
        let mut u = output;
        for &i in &a.converter_volts_board {
            u += d[i];
        }
        if noise == ReadingNoise::Included {
            for &i in &a.converter_volts_reading {
                u += d[i];
            }
        }
        if let Some(i) = a.converter_common {
            let (at_zero, slope) = state.common;
            u += d[i] * (at_zero + slope * (output - state.offset));
        }
        u *= 1.0 + a.converter_gain.map_or(0.0, |i| d[i]);
        u / state.reference
    }

    /// Temperature for the (corrected) volts of the rule, °C.
    #[inline]
    pub fn celsius(&self, state: &BoardState, rule_volts: f64) -> f64 {
        self.rule.celsius(rule_volts + state.sensed_emf)
    }

    /// Volts of the rule that would make it read `celsius` on this board, V.
    pub fn rule_volts_for(&self, state: &BoardState, celsius: f64) -> f64 {
        match self.chain.readout {
            crate::chain::Readout::Line { slope, offset } => offset + slope * celsius,
            _ => self.chain.probe.letter.emf_and_slope_extended(celsius).0 - state.sensed_emf,
        }
    }

    /// Change of the rule's volts with the temperature that it reads, V/K.
    pub fn rule_slope(&self, celsius: f64) -> f64 {
        match self.chain.readout {
            crate::chain::Readout::Line { slope, .. } => slope,
            _ => self.chain.probe.letter.emf_and_slope_extended(celsius).1,
        }
    }

    /// The correction stored in the chain, or none.
    pub fn correction(&self) -> Correction {
        self.correction
    }

    pub(crate) fn demand_deviations(&self, deviations: &[f64]) -> Result<(), ModelError> {
        let (given, needed) = (deviations.len(), self.imperfections.len());
        if given == needed {
            return Ok(());
        }
        Err(ModelError::Missing(format!("deviations for all imperfections: {given} given, {needed} needed")))
    }

    /// The reading of one board in one situation.
    ///
    /// `deviations` is in the order of [`Model::imperfections`], in their units.
    ///
    /// # Errors
    /// [`ModelError`] for deviations of the wrong count, or that make the circuit unsolvable.
    pub fn predict(&self, situation: &Situation, deviations: &[f64]) -> Result<Reading, ModelError> {
        self.demand_deviations(deviations)?;
        let mut scratch = self.scratch();
        let state = self.board_state(situation.board, deviations, &mut scratch)?;
        let emf = self.hot_emf(&self.hot_end(situation.hot), deviations);
        let v = self.thermocouple_volts(emf, situation.head, &state, deviations);
        let inside = self.within_limits(v, &mut scratch);
        let output = self.output_volts(&state, v, inside, &mut scratch);
        let volts = self.rule_volts(&state, output, deviations, ReadingNoise::Included);
        let celsius = self.celsius(&state, self.correction.offset + self.correction.gain * volts);
        let circuit = &self.wiring.circuit;
        let mut limits: Vec<_> =
            circuit.limits(&scratch.values, &scratch.at).into_iter().map(|hit| self.limit(&hit)).collect();
        let (low, high) = self.chain.converter.span();
        if output < low || output > high {
            limits.push(LimitExceeded {
                what: "converter input".into(),
                volts: output,
                allowed: (low, high),
            });
        }
        if let Some(allowed) = self.converter_rails(&scratch.at) {
            for (what, node) in CONVERTER_INPUTS.into_iter().zip([self.wiring.output.0, self.wiring.output.1])
            {
                let volts = circuit.voltage(&scratch.at, node);
                if node != Netlist::GROUND && (volts < allowed.0 || volts > allowed.1) {
                    limits.push(LimitExceeded { what: what.into(), volts, allowed });
                }
            }
        }
        let nodes = &self.wiring.test_nodes;
        let test_point_volts = nodes.iter().map(|n| circuit.voltage(&scratch.at, *n)).collect();
        Ok(Reading { celsius, output_volts: output, test_point_volts, limits })
    }

    fn limit(&self, hit: &LimitHit) -> LimitExceeded {
        LimitExceeded {
            what: format!(
                "{} {}",
                self.wiring.circuit.netlist().element_name(hit.element),
                match hit.kind {
                    LimitKind::OutputLow | LimitKind::OutputHigh => "output",
                    LimitKind::InputPlus => "+ input",
                    LimitKind::InputMinus => "− input",
                }
            ),
            volts: hit.volts,
            allowed: hit.allowed,
        }
    }
}

/// Parameters of the circuit at 25 °C without deviations: parts that follow the temperature at their own currents.
fn nominal_values(wiring: &Wiring) -> Result<Vec<f64>, ModelError> {
    let circuit = &wiring.circuit;
    let mut values = circuit.values();
    if wiring.sensing.is_empty() {
        return Ok(values);
    }
    let (mut workspace, mut x) = (circuit.workspace(), vec![0.0; circuit.unknowns()]);
    // As at the mean of what they may warm themselves.
    let deviations =
        |part: usize| PartDeviations { heating: 0.5 * wiring.sensing[part].heating(), ..Default::default() };
    let mut solve = |values: &[f64], x: &mut [f64]| -> Result<(), ModelError> {
        circuit.factor(values, &mut workspace)?;
        circuit.solve(values, &workspace, x);
        Ok(())
    };
    sensing::settle(circuit, &wiring.sensing, &deviations, SPECIFIED_AT, &mut values, &mut x, &mut solve)?;
    Ok(values)
}

/// Limit of a probe's deviation at a temperature, K. Beyond the range of its class the law of the nearest line goes
/// on: the standard promises nothing there, and the dossier says so.
pub fn probe_limit(letter: Letter, tolerance: ProbeTolerance, celsius: f64) -> f64 {
    match tolerance {
        ProbeTolerance::Exact => 0.0,
        ProbeTolerance::Kelvin(k) => k,
        ProbeTolerance::Class(class) => class_limit(letter, class, celsius),
    }
}

fn class_limit(letter: Letter, class: ToleranceClass, celsius: f64) -> f64 {
    let distance = |(low, high): (f64, f64)| (low - celsius).max(celsius - high).max(0.0);
    tolerance::rows()
        .iter()
        .filter(|row| row.letter == letter && row.class == class)
        .min_by(|a, b| distance(a.celsius).total_cmp(&distance(b.celsius)))
        .map_or(0.0, |row| row.limit.at(celsius))
}
