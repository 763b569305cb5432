//! The signal's way through a board that is solved: probe, cable, terminals, circuit, converter, reading rule.

use icepoint_sensors::Letter;
use icepoint_sensors::platinum::Platinum;
use icepoint_sensors::tolerance::{self, ToleranceClass};

use super::{BoardState, HotEnd, Model, ReadingNoise, Scratch};
use crate::chain::{Correction, JunctionMethod, JunctionSensor, ProbeTolerance};
use crate::dynamics::ZERO_CELSIUS;
use crate::imperfection::SPECIFIED_AT;
use crate::sensing::PartDeviations;

impl Model {
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
        self.of_rule(self.counted_volts(state, output, d, noise))
    }

    /// What the converter's code stands for, V at its input; within its span.
    pub(crate) fn counted_volts(
        &self,
        state: &BoardState,
        output: f64,
        d: &[f64],
        noise: ReadingNoise,
    ) -> f64 {
        let (low, high) = self.chain.converter.span();
        self.converted(state, output, d, noise).clamp(low, high)
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

    /// What the converter makes of an output voltage, V: this is what its span ends.
    pub(crate) fn converted(&self, state: &BoardState, output: f64, d: &[f64], noise: ReadingNoise) -> f64 {
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

    /// Temperature for the (corrected) volts of the rule with those of the measured junction added, °C.
    pub(crate) fn rule_celsius(&self, volts: f64) -> f64 {
        self.rule.celsius(volts)
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
