//! The board of the means and those that differ from it in one deviation: what the law of propagation and the quick
//! estimate look at.

use super::study::{Study, WISHES, Work};
use crate::model::{BoardState, Model, ModelError, NearBoard, ReadingNoise, Scratch};

/// A reading rule by its slope about one reading.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Line {
    /// Reading, °C, and the volts that it is read from.
    celsius: f64,
    volts: f64,
    /// K/V.
    slope: f64,
}

impl Line {
    pub(super) fn celsius(&self, volts: f64) -> f64 {
        self.celsius + self.slope * (volts - self.volts)
    }
}

/// No imperfection.
const NONE: usize = usize::MAX;

/// The board of the means, solved at each temperature of the board, and during the calibration.
#[derive(Debug)]
pub(super) struct Near {
    rows: Vec<NearBoard>,
    calibration: Option<NearBoard>,
    /// At each hot temperature, V.
    pub(super) emf: Vec<f64>,
    /// At each grid point for each calibration choice; empty where the rule itself is asked.
    pub(super) lines: Vec<Line>,
    /// The deviation that differs.
    pub(super) moved: usize,
    /// The one that differs during the calibration.
    moved_meanwhile: usize,
}

impl Near {
    /// At a row of the grid or during the calibration.
    pub(super) fn state(
        &mut self,
        model: &Model,
        row: Option<usize>,
        d: &[f64],
        scratch: &mut Scratch,
    ) -> Result<BoardState, ModelError> {
        let (near, moved) = match row {
            Some(row) => (self.rows.get_mut(row), self.moved),
            None => (self.calibration.as_mut(), self.moved_meanwhile),
        };
        let near = near.ok_or_else(|| ModelError::Missing("board of the means".into()))?;
        model.state_near(near, d, moved, &|_| {}, scratch)
    }
}

impl Study<'_> {
    /// Buffers for boards of which each differs from the mean in one deviation, which [`Work::moves`] is told before;
    /// `None` where trims or what a calibration found move more with it.
    ///
    /// # Errors
    /// [`ModelError`] when the circuit can't be solved at the means.
    pub(super) fn work_near_the_mean(&self) -> Result<Option<Work>, ModelError> {
        if self.turned.is_some() || self.model.findings().is_some() {
            return Ok(None);
        }
        let mut work = self.work();
        let mut near = |board: f64, d: &[f64]| self.model.near_board(board, d, &|_| {}, &mut work.scratch);
        let rows = self.board.iter().map(|&board| near(board, &self.mean)).collect::<Result<_, _>>()?;
        let calibration = if self.points.is_empty() {
            None
        } else {
            let mut calibrated = Vec::new();
            self.meanwhile(&self.mean, &mut calibrated);
            Some(near(self.model.chain().plan.board, &calibrated)?)
        };
        let emf = self.ends.iter().map(|end| self.model.hot_emf(end, &self.mean)).collect();
        let lines = Vec::new();
        work.near = Some(Near { rows, calibration, emf, lines, moved: NONE, moved_meanwhile: NONE });
        if self.unlimited {
            let lines = self.lines(&mut work)?;
            if let Some(near) = &mut work.near {
                near.lines = lines;
            }
        }
        Ok(Some(work))
    }

    /// The reading rule at each grid point about the board of the means.
    fn lines(&self, work: &mut Work) -> Result<Vec<Line>, ModelError> {
        /// Reach of the difference quotient, K.
        const EITHER_SIDE: f64 = 0.25;
        let (model, d, points) = (self.model, &self.mean, self.points());
        let corrections = self.corrections(d, work)?;
        let Some(near) = &work.near else { return Ok(Vec::new()) };
        let mut lines = vec![Line::default(); WISHES * points];
        for (row, (near_board, &head)) in near.rows.iter().zip(&self.heads).enumerate() {
            let state = near_board.state();
            for (column, &emf) in near.emf.iter().enumerate() {
                let v = model.thermocouple_volts(emf, head, &state, d);
                let rule = model.rule_volts(&state, state.offset + state.gain * v, d, ReadingNoise::Included);
                for (wish, c) in corrections.iter().enumerate() {
                    let volts = c.offset + c.gain * rule + state.sensed_emf;
                    let celsius = model.rule_celsius(volts);
                    let step = EITHER_SIDE * model.rule_slope(celsius);
                    let slope =
                        0.5 * (model.rule_celsius(volts + step) - model.rule_celsius(volts - step)) / step;
                    lines[wish * points + row * self.hot.len() + column] = Line { celsius, volts, slope };
                }
            }
        }
        Ok(lines)
    }
}

impl Work {
    /// The boards that follow differ from the mean in this deviation alone.
    pub(super) fn moves(&mut self, study: &Study, i: usize) {
        let Some(near) = &mut self.near else { return };
        near.moved = i;
        near.moved_meanwhile = if study.later.contains(&i) || study.occasions.iter().any(|o| o.0 == i) {
            NONE
        } else {
            study.occasions.iter().find(|o| o.1 == i).map_or(i, |o| o.0)
        };
    }
}
