//! Boards near one that is solved: one deviation moved, and of the work only what it reaches done again.

use icepoint_circuit::Nearby;

use super::{BoardState, Model, ModelError, Scratch};
use crate::imperfection::SPECIFIED_AT;
use crate::sensing;

/// A board at one temperature that is solved, from which boards with one deviation moved are.
#[derive(Debug)]
pub(crate) struct NearBoard {
    board: f64,
    /// Its deviations.
    d: Vec<f64>,
    sensed: f64,
    near: Nearby,
    state: BoardState,
}

impl NearBoard {
    /// The board itself.
    pub fn state(&self) -> BoardState {
        self.state
    }
}

impl Model {
    /// Whether a deviation alters the emf of the measuring junction.
    pub(crate) fn reaches_probe(&self, moved: usize) -> bool {
        [self.acting.probe_tolerance, self.acting.probe_drift].contains(&Some(moved))
    }

    /// Solves one board at one temperature to be the start for others, `shape` having been done to the circuit's
    /// parameters.
    ///
    /// # Errors
    /// As [`Model::board_state`].
    pub(crate) fn near_board(
        &self,
        board: f64,
        d: &[f64],
        shape: &dyn Fn(&mut [f64]),
        scratch: &mut Scratch,
    ) -> Result<NearBoard, ModelError> {
        let sensed = self.sensed(board, d);
        self.fill_values(board, sensed, d, &scratch.settings, &mut scratch.values);
        shape(&mut scratch.values);
        let (circuit, source) = (&self.wiring.circuit, self.wiring.thermocouple);
        let (near, state) = if self.wiring.sensing.is_empty() {
            let near = circuit.nearby(&scratch.values, source)?;
            let (solved, response) = near.solution();
            scratch.x.copy_from_slice(solved);
            scratch.dx.copy_from_slice(response);
            let terminals = self.terminals(board, d);
            let (emf, sensed_emf) = (self.emf(terminals), self.sensed_emf(sensed));
            (near, self.state_of(board, terminals, emf, sensed_emf, scratch))
        } else {
            let state = self.solved_state(board, sensed, d, scratch)?;
            (circuit.nearby(&scratch.values, source)?, state)
        };
        Ok(NearBoard { board, d: d.to_vec(), sensed, near, state })
    }

    /// [`Model::board_state`] of deviations that differ in `moved` alone from those of `from`, but for rounding; with the
    /// same `shape` and the adjustable resistors where they stood.
    ///
    /// # Errors
    /// As [`Model::board_state`].
    pub(crate) fn state_near(
        &self,
        from: &mut NearBoard,
        d: &[f64],
        moved: usize,
        shape: &dyn Fn(&mut [f64]),
        scratch: &mut Scratch,
    ) -> Result<BoardState, ModelError> {
        let NearBoard { board, d: before, sensed, near, state } = from;
        let board = *board;
        let still = super::acting::Reach::default();
        let reach = self.acting.reach.get(moved).unwrap_or(&still);
        let tells = if reach.sensor { self.sensed(board, d) } else { *sensed };
        let wiring = &self.wiring;
        let follows = !wiring.sensing.is_empty();
        let Scratch { values, x, dx, settings, .. } = scratch;
        values.copy_from_slice(near.values());
        if reach.circuit() || reach.part || (reach.sensor && (follows || wiring.sensor.is_some())) {
            if reach.otherwise || reach.sensor {
                self.fill_values(board, tells, d, settings, values);
            } else {
                let by = d[moved] - before[moved];
                let warm = board - SPECIFIED_AT;
                for &(slot, scale, per_kelvin) in &reach.parameters {
                    values[slot] += scale * by * if per_kelvin { warm } else { 1.0 };
                }
            }
            shape(values);
            let mut solve = |values: &[f64], x: &mut [f64]| -> Result<(), ModelError> {
                Ok(wiring.circuit.solve_near(near, values, x, dx)?)
            };
            if follows {
                let deviations = |part| self.part_deviations(part, d);
                sensing::settle(&wiring.circuit, &wiring.sensing, &deviations, tells, values, x, &mut solve)?;
            } else {
                solve(values, x)?;
            }
        } else {
            let (solved, response) = near.solution();
            x.copy_from_slice(solved);
            dx.copy_from_slice(response);
        }
        if !reach.anything() {
            return Ok(*state);
        }
        let (terminals, terminals_emf) = if reach.terminals {
            let terminals = self.terminals(board, d);
            (terminals, self.emf(terminals))
        } else {
            (state.terminals, state.terminals_emf)
        };
        let sensed_emf = if reach.sensor { self.sensed_emf(tells) } else { state.sensed_emf };
        Ok(self.state_of(board, terminals, terminals_emf, sensed_emf, scratch))
    }
}
