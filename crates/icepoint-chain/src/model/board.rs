//! One board at one temperature: the parameters of its circuit, and the circuit solved.

use super::acting::{AdjustableDeviations, GainDeviations};
use super::{BoardState, Model, ModelError, Scratch};
use crate::chain::JunctionMethod;
use crate::imperfection::SPECIFIED_AT;
use crate::sensing;

impl Model {
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
        let terminals = self.terminals(board, d);
        Ok(self.state_of(board, terminals, self.emf(terminals), self.sensed_emf(sensed), scratch))
    }

    pub(super) fn terminals(&self, board: f64, d: &[f64]) -> f64 {
        board + self.acting.gradient.map_or(0.0, |i| d[i])
    }

    pub(super) fn emf(&self, celsius: f64) -> f64 {
        self.chain.probe.letter.emf_and_slope_extended(celsius).0
    }

    /// Emf of the temperature that a sensor tells, V; 0 where the circuit compensates.
    pub(super) fn sensed_emf(&self, sensed: f64) -> f64 {
        match self.chain.junction.method {
            JunctionMethod::Measured(_) => self.emf(sensed),
            JunctionMethod::Analog { .. } | JunctionMethod::InCircuit => 0.0,
        }
    }

    /// What the solution that `scratch` holds means.
    pub(super) fn state_of(
        &self,
        board: f64,
        terminals: f64,
        terminals_emf: f64,
        sensed_emf: f64,
        scratch: &Scratch,
    ) -> BoardState {
        let circuit = &self.wiring.circuit;
        let reference = match (self.wiring.reference, self.chain.converter.kind) {
            (Some(node), crate::chain::ConverterKind::Adc { reference, .. }) => {
                circuit.voltage(&scratch.x, node) / reference
            }
            _ => 1.0,
        };
        let gain = self.wiring.output_volts(&scratch.dx);
        let common_slope = self.wiring.common_volts(&scratch.dx) / gain;
        BoardState {
            board,
            offset: self.wiring.output_volts(&scratch.x),
            gain,
            common: (
                self.wiring.common_volts(&scratch.x),
                if common_slope.is_finite() { common_slope } else { 0.0 },
            ),
            reference: reference / self.nominal_reference,
            terminals_emf,
            terminals,
            sensed_emf,
        }
    }
}
