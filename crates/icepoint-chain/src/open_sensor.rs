//! What a broken thermocouple reads, and whether that is the end of the scale that its owner wants.
//!
//! **How.** Both halves of the loop are opened; a detection current that comes in pulses between readings is on, and all is
//! seen when a pulse ends: it has had the pulse's time to charge the input's capacitors, each as large as its tolerance
//! allows. Amplifiers may stand at the ends of their range. A broken thermocouple whose ends still touch, or a short of the cable, reads a
//! temperature like any other: no circuit at the terminals sees that.
//!
//! **Which board.** Behind an open loop a pull-up of many megohms has the bias currents and the leakage against it, whose
//! sign no data sheet tells. So the reading is judged on the board that shows a break worst: every deviation at the end of
//! its limits that drives the reading away from the end of the scale that is asked for
//! ([`Model::open_sensor_shortfall`]). The signs come from the circuit without its limits, as an amplifier at its rail
//! would hide what a current does; each is looked at with the others at their means.
//!
//! **Caution.** Upscale makes a heater's control stop heating, but only while the board itself works. A cut-out must be
//! independent of it: its own sensor, its own switch.

use crate::chain::{BrokenSensor, Readout};
use crate::front_end::sensing::DetectionFigures;
use crate::front_end::{Part, PartKind};
use crate::imperfection::{Persistence, SPECIFIED_AT};
use crate::model::{BoardState, Model, ModelError, Reading, ReadingNoise, Scratch};
use crate::sensing;
use icepoint_circuit::Netlist;

/// Resistance of an opened half of the loop, Ω.
const OPEN: f64 = 1e12;
/// The same while a pulse charges what is on it: both halves at some tenths of a volt take a thousandth of 100 nA, and what
/// all of the current would raise the loop to at last takes fewer of the digits.
const OPEN_TO_A_PULSE: f64 = 1e9;

/// Whether detection currents that come in pulses flow. Those that always flow do in any case.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pulses {
    /// Between readings; what is asked for is at a pulse's end.
    On,
    /// While a reading is taken.
    Off,
}

/// Tolerance of a capacitor, 0 of all else.
fn capacitor_tolerance(part: &Part) -> f64 {
    if let PartKind::Capacitor { tolerance, .. } = part.kind { tolerance } else { 0.0 }
}

/// The thermocouple's loop.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Loop {
    Whole,
    Open,
}

/// A board whose thermocouple is broken.
struct Broken {
    deviations: Vec<f64>,
    /// Each detection current that comes in pulses, A; of the others, what is stated.
    pulses: Vec<f64>,
}

/// What it shows.
struct Shown {
    reading: Reading,
    /// What the converter's code stands for, V at its input.
    counted: f64,
}

impl Model {
    /// Reading with the thermocouple broken: the loop opened at the measuring junction, board at `board` (°C), every
    /// deviation at its mean.
    ///
    /// # Errors
    /// As [`Model::predict`].
    pub fn open_sensor(&self, board: f64) -> Result<Reading, ModelError> {
        Ok(self.seen(board, self.mean_board(Pulses::On), true, &mut self.scratch())?.reading)
    }

    /// The same for one board, its deviations in the order of [`Model::imperfections`]; those of single readings are left
    /// out.
    ///
    /// # Errors
    /// As [`Model::predict`].
    pub fn open_sensor_of(&self, board: f64, deviations: &[f64]) -> Result<Reading, ModelError> {
        self.demand_deviations(deviations)?;
        let at = Broken { deviations: deviations.to_vec(), ..self.mean_board(Pulses::On) };
        Ok(self.seen(board, at, true, &mut self.scratch())?.reading)
    }

    /// The reading on the board that shows a broken thermocouple worst: nearest to the range, or furthest inside it, seen
    /// from the end of the scale that `need.broken_sensor` names.
    ///
    /// # Errors
    /// As [`Model::predict`].
    pub fn open_sensor_at_worst(&self, board: f64) -> Result<Reading, ModelError> {
        self.at_worst(board, true)
    }

    /// `points`: whether what test points read is asked for.
    fn at_worst(&self, board: f64, points: bool) -> Result<Reading, ModelError> {
        let mut scratch = self.scratch();
        let up = self.chain().need.broken_sensor == BrokenSensor::Upscale;
        let mean = self.seen(board, self.mean_board(Pulses::On), points, &mut scratch)?.reading;
        let worst = self.extreme_board(board, !up, Pulses::On, &mut scratch)?;
        let worst = self.seen(board, worst, points, &mut scratch)?.reading;
        Ok(if (worst.celsius > mean.celsius) == up { mean } else { worst })
    }

    /// Lowest and highest voltage (V at the converter's input) that its code stands for with the thermocouple broken: of
    /// the mean board, and of those with every deviation at the end of its limits that brings the reading down, or up.
    ///
    /// # Errors
    /// As [`Model::predict`].
    pub fn open_sensor_counted(&self, board: f64, pulses: Pulses) -> Result<(f64, f64), ModelError> {
        let mut scratch = self.scratch();
        let mut range = (f64::INFINITY, f64::NEG_INFINITY);
        let boards = [
            self.mean_board(pulses),
            self.extreme_board(board, false, pulses, &mut scratch)?,
            self.extreme_board(board, true, pulses, &mut scratch)?,
        ];
        for at in boards {
            let counted = self.seen(board, at, false, &mut scratch)?.counted;
            range = (range.0.min(counted), range.1.max(counted));
        }
        Ok(range)
    }

    /// What a board shows when it is looked at: with a current in pulses when one ends, else settled. `points`: whether what
    /// test points read is asked for.
    fn seen(&self, board: f64, at: Broken, points: bool, scratch: &mut Scratch) -> Result<Shown, ModelError> {
        let settled = self.broken(board, &at, scratch)?;
        let detection = &self.wiring().detection;
        let flows =
            detection.iter().zip(&at.pulses).any(|((_, f), amperes)| f.pulse.is_some() && *amperes != 0.0);
        if flows {
            self.at_the_end_of_a_pulse(board, at, settled.reading, points, scratch)
        } else {
            Ok(settled)
        }
    }

    /// What a board shows when a pulse ends, if it would be `settled` at last: on the way there the circuit is taken as
    /// linear.
    fn at_the_end_of_a_pulse(
        &self,
        board: f64,
        at: Broken,
        settled: Reading,
        points: bool,
        scratch: &mut Scratch,
    ) -> Result<Shown, ModelError> {
        let wiring = self.wiring();
        let off = Broken { pulses: self.mean_board(Pulses::Off).pulses, deviations: at.deviations };
        let before = self.broken(board, &off, scratch)?.reading;
        // With all capacitors larger by a factor, everything takes longer by it.
        let slow = 1.0 + self.chain().front_end.parts.iter().map(capacitor_tolerance).fold(0.0, f64::max);
        let (values, _) = scratch.parts_mut();
        for half in wiring.loop_halves {
            values[half.index()] = OPEN_TO_A_PULSE;
        }
        let between = |out, before: f64, settled: f64| -> Result<f64, ModelError> {
            let mut volts = before;
            for ((slot, figures), amperes) in wiring.detection.iter().zip(&at.pulses) {
                let Some(pulse) = figures.pulse else { continue };
                let seconds = pulse.on / slow;
                volts += wiring.circuit.step_end(values, *slot, out, *amperes, seconds)?;
            }
            Ok(volts.clamp(before.min(settled), before.max(settled)))
        };
        let output = between(wiring.output, before.output_volts, settled.output_volts)?;
        let mut at_points = settled.test_point_volts;
        if points {
            let nodes = wiring.test_nodes.iter().zip(&before.test_point_volts);
            for (volts, (node, before)) in at_points.iter_mut().zip(nodes) {
                *volts = between((*node, Netlist::GROUND), *before, *volts)?;
            }
        }
        let state = self.board_state(board, &off.deviations, scratch)?;
        Ok(self.shown(&state, output, at_points, &off.deviations))
    }

    fn shown(&self, state: &BoardState, output: f64, test_point_volts: Vec<f64>, d: &[f64]) -> Shown {
        let volts = self.rule_volts(state, output, d, ReadingNoise::LeftOut);
        let correction = self.correction();
        let celsius = self.celsius(state, correction.offset + correction.gain * volts);
        let reading = Reading { celsius, output_volts: output, test_point_volts, limits: Vec::new() };
        Shown { reading, counted: self.counted_volts(state, output, d, ReadingNoise::LeftOut) }
    }

    /// Whether a detection current comes in pulses, so that readings are taken without it.
    pub fn pulsed_detection(&self) -> bool {
        self.wiring().detection.iter().any(|(_, figures)| figures.pulse.is_some())
    }

    /// What pulsed detection currents add to the volts that the reading rule takes while they flow through a whole loop,
    /// settled, on the mean board, V.
    ///
    /// # Errors
    /// As [`Model::predict`].
    pub fn pulse_shift(&self, board: f64) -> Result<f64, ModelError> {
        let mut scratch = self.scratch();
        let mut volts = |pulses| {
            let at = self.mean_board(pulses);
            self.unlimited(board, Loop::Whole, &at, &mut scratch)
        };
        Ok(volts(Pulses::On)? - volts(Pulses::Off)?)
    }

    /// How far a broken thermocouple may stay short of the end of the range that `need.broken_sensor` names, K: the
    /// largest over the ends and the middle of the board's range, on the board that shows it worst. At most 0 when it reads
    /// beyond that end on every board.
    ///
    /// # Errors
    /// As [`Model::predict`].
    pub fn open_sensor_shortfall(&self) -> Result<f64, ModelError> {
        let need = &self.chain().need;
        let (low, high) = need.board;
        let mut worst = f64::NEG_INFINITY;
        for board in [low, SPECIFIED_AT.clamp(low, high), high] {
            let celsius = self.at_worst(board, false)?.celsius;
            worst = worst.max(match need.broken_sensor {
                BrokenSensor::Upscale => need.hot.1 - celsius,
                BrokenSensor::Downscale => celsius - need.hot.0,
            });
        }
        Ok(worst)
    }

    fn mean_board(&self, pulses: Pulses) -> Broken {
        let amperes = |figures: &DetectionFigures| match (pulses, figures.pulse) {
            (Pulses::Off, Some(_)) => 0.0,
            _ => figures.amperes,
        };
        let pulses = self.wiring().detection.iter().map(|(_, figures)| amperes(figures)).collect();
        Broken { deviations: self.mean_deviations().to_vec(), pulses }
    }

    /// Opens the loop, if it is to be, and sets pulsed currents, in the circuit's parameters.
    fn break_loop(&self, halves: Loop, pulses: &[f64], values: &mut [f64]) {
        let wiring = self.wiring();
        if halves == Loop::Open {
            for half in wiring.loop_halves {
                values[half.index()] = OPEN;
            }
        }
        for ((slot, figures), amperes) in wiring.detection.iter().zip(pulses) {
            if figures.pulse.is_some() {
                values[slot.index()] = *amperes;
            }
        }
    }

    fn broken(&self, board: f64, at: &Broken, scratch: &mut Scratch) -> Result<Shown, ModelError> {
        let d = &at.deviations;
        let state = self.board_state(board, d, scratch)?;
        let wiring = self.wiring();
        let circuit = &wiring.circuit;
        let (values, x) = scratch.parts_mut();
        self.break_loop(Loop::Open, &at.pulses, values);
        let mut solve = |values: &[f64], x: &mut [f64]| -> Result<(), ModelError> {
            x.copy_from_slice(&circuit.operating_point(values)?.x);
            Ok(())
        };
        if wiring.sensing.is_empty() {
            solve(values, x)?;
        } else {
            let deviations = |part| self.part_deviations(part, d);
            let sensed = self.sensed(board, d);
            sensing::settle(circuit, &wiring.sensing, &deviations, sensed, values, x, &mut solve)?;
        }
        let output = wiring.output_volts(x);
        let points = wiring.test_nodes.iter().map(|n| circuit.voltage(x, *n)).collect();
        Ok(self.shown(&state, output, points, d))
    }

    /// The board on which every deviation is at the end of its limits that brings the reading up, or down.
    fn extreme_board(
        &self,
        board: f64,
        up: bool,
        pulses: Pulses,
        scratch: &mut Scratch,
    ) -> Result<Broken, ModelError> {
        let mut at = self.mean_board(pulses);
        let mut extreme = self.mean_board(pulses);
        let stated = at.pulses.clone();
        let opened = |values: &mut [f64]| self.break_loop(Loop::Open, &stated, values);
        let mut near = self.near_board(board, &at.deviations, &opened, scratch)?;
        let at_mean = self.rises_with(&near.state(), &at.deviations);
        for (i, imperfection) in self.imperfections().iter().enumerate() {
            if imperfection.persistence == Persistence::Reading {
                continue;
            }
            let (low, high) = imperfection.distribution.limits();
            let mean = at.deviations[i];
            at.deviations[i] = high;
            let state = self.state_near(&mut near, &at.deviations, i, &opened, scratch)?;
            let rises = self.rises_with(&state, &at.deviations) > at_mean;
            at.deviations[i] = mean;
            extreme.deviations[i] = if rises == up { high } else { low };
        }
        for (i, (_, figures)) in self.wiring().detection.iter().enumerate() {
            let stated = at.pulses[i];
            let reach = figures.tolerance * stated.abs();
            at.pulses[i] = stated + reach;
            let rises = self.unlimited(board, Loop::Open, &at, scratch)? > at_mean;
            at.pulses[i] = stated;
            extreme.pulses[i] = stated + if rises == up { reach } else { -reach };
        }
        Ok(extreme)
    }

    /// What the reading rises with, as if neither an amplifier nor the converter had a limit, V.
    fn unlimited(
        &self,
        board: f64,
        halves: Loop,
        at: &Broken,
        scratch: &mut Scratch,
    ) -> Result<f64, ModelError> {
        let shape = |values: &mut [f64]| self.break_loop(halves, &at.pulses, values);
        let state = self.near_board(board, &at.deviations, &shape, scratch)?.state();
        Ok(self.rises_with(&state, &at.deviations))
    }

    fn rises_with(&self, state: &BoardState, d: &[f64]) -> f64 {
        let volts = self.unclamped_rule_volts(state, state.offset, d, ReadingNoise::LeftOut);
        match self.chain().readout {
            Readout::Line { slope, .. } => volts * slope.signum(),
            _ => volts + state.sensed_emf,
        }
    }
}
