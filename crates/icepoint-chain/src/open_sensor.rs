//! What a broken thermocouple reads, and whether that is the end of the scale that its owner wants.
//!
//! **How.** Both halves of the loop are opened; a detection current that is pulsed between readings is on. Amplifiers may
//! stand at the ends of their range. A broken thermocouple whose ends still touch, or a short of the cable, reads a
//! temperature like any other: no circuit at the terminals sees that.
//!
//! **Caution.** Upscale makes a heater's control stop heating, but only while the board itself works. A cut-out must be
//! independent of it: its own sensor, its own switch.

use crate::chain::BrokenSensor;
use crate::imperfection::SPECIFIED_AT;
use crate::model::{Model, ModelError, Reading, ReadingNoise};
use crate::sensing;

/// Resistance of an opened half of the loop, Ω.
const OPEN: f64 = 1e12;

impl Model {
    /// Reading with the thermocouple broken: the loop opened at the measuring junction, board at `board` (°C).
    ///
    /// # Errors
    /// As [`Model::predict`].
    pub fn open_sensor(&self, board: f64) -> Result<Reading, ModelError> {
        let mut scratch = self.scratch();
        let mean = self.mean_deviations();
        let state = self.board_state(board, mean, &mut scratch)?;
        let wiring = self.wiring();
        let circuit = &wiring.circuit;
        let (values, x) = scratch.parts_mut();
        for half in wiring.loop_halves {
            values[half.index()] = OPEN;
        }
        for (slot, figures) in &wiring.detection {
            if figures.pulse.is_some() {
                values[slot.index()] = figures.amperes;
            }
        }
        let mut solve = |values: &[f64], x: &mut [f64]| -> Result<(), ModelError> {
            x.copy_from_slice(&circuit.operating_point(values)?.x);
            Ok(())
        };
        if wiring.sensing.is_empty() {
            solve(values, x)?;
        } else {
            let deviations = |part| self.part_deviations(part, mean);
            let sensed = self.sensed(board, mean);
            sensing::settle(circuit, &wiring.sensing, &deviations, sensed, values, x, &mut solve)?;
        }
        let output = wiring.output_volts(x);
        let volts = self.rule_volts(&state, output, mean, ReadingNoise::LeftOut);
        Ok(Reading {
            celsius: self.celsius(&state, volts),
            output_volts: output,
            test_point_volts: wiring.test_nodes.iter().map(|n| circuit.voltage(x, *n)).collect(),
            limits: Vec::new(),
        })
    }

    /// How far a broken thermocouple stays short of the end of the range that `need.broken_sensor` names, K: the
    /// largest over the ends and the middle of the board's range. At most 0 when it reads beyond that end everywhere.
    ///
    /// # Errors
    /// As [`Model::predict`].
    pub fn open_sensor_shortfall(&self) -> Result<f64, ModelError> {
        let need = &self.chain().need;
        let (low, high) = need.board;
        let mut worst = f64::NEG_INFINITY;
        for board in [low, SPECIFIED_AT.clamp(low, high), high] {
            let celsius = self.open_sensor(board)?.celsius;
            worst = worst.max(match need.broken_sensor {
                BrokenSensor::Upscale => need.hot.1 - celsius,
                BrokenSensor::Downscale => celsius - need.hot.0,
            });
        }
        Ok(worst)
    }
}
