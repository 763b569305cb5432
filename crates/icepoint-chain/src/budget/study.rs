//! A board from birth to reading: its deviations, its calibration with what that brings in, and its readings over the
//! grid. GUM, worst case and Monte Carlo all evaluate this one function.

use super::near::Near;
use super::turned::Turned;
use crate::chain::{CalibrationMethod, CalibrationWish, Correction};
use crate::front_end::adjustable::MIDDLE;
use crate::imperfection::{Distribution, Family, Imperfection, Persistence, Removes, Source, SourceKind};
use crate::model::{BoardState, HotEnd, Model, ModelError, ReadingNoise, Scratch};
use crate::situation::{Situation, grid};

/// Number of calibration choices looked at side by side.
pub const WISHES: usize = CalibrationWish::ALL.len();

/// A model over a grid, with the imperfections of its calibration added to its own.
#[derive(Debug)]
pub struct Study<'m> {
    /// The chain's model.
    pub model: &'m Model,
    /// The model's imperfections, then those of the calibration.
    pub imperfections: Vec<Imperfection>,
    /// Degrees of freedom of each.
    pub degrees_of_freedom: Vec<f64>,
    /// Mean of each deviation.
    pub mean: Vec<f64>,
    /// Hot temperatures, °C.
    pub hot: Vec<f64>,
    /// Board temperatures, °C.
    pub board: Vec<f64>,
    pub(super) ends: Vec<HotEnd>,
    pub(super) heads: Vec<f64>,
    pub(super) points: Vec<CalibrationPoint>,
    thermometer: Option<usize>,
    source_gain: Option<usize>,
    source_offset: Option<usize>,
    /// Deviations with another value during the calibration, and where that stands.
    pub(super) occasions: Vec<(usize, usize)>,
    /// Deviations that come after the calibration.
    pub(super) later: Vec<usize>,
    /// What is turned to calibrate the board; without it corrections are numbers.
    pub(super) turned: Option<Turned>,
    /// Where the errors of the readings of a calibration that was done stand.
    readings: std::ops::Range<usize>,
    /// Calibration choices that are looked at.
    wanted: [bool; WISHES],
    /// Whether amplifiers count as if they had no limits, and readings near the mean by the slope of the reading rule.
    pub(super) unlimited: bool,
}

#[derive(Debug)]
pub(super) struct CalibrationPoint {
    pub(super) celsius: f64,
    /// Change of the reading rule's volts per kelvin there.
    pub(super) volts_per_kelvin: f64,
    end: HotEnd,
    reference: Option<usize>,
    pub(super) reading: Option<usize>,
}

impl<'m> Study<'m> {
    /// Over the grid that the chain asks for.
    pub fn new(model: &'m Model) -> Self {
        let chain = model.chain();
        let hot = grid(chain.need.hot, chain.settings.hot_points.max(1));
        let board = grid(chain.need.board, chain.settings.board_points.max(1));
        Self::over(model, hot, board)
    }

    /// Over a grid of one's own, °C.
    pub fn over(model: &'m Model, hot: Vec<f64>, board: Vec<f64>) -> Self {
        Self::of(model, model.imperfections().to_vec(), hot, board)
    }

    /// For quick estimates of boards whose limits are looked at apart, over a grid of one's own, °C: amplifiers count as if
    /// they had no limits, a deviation counts with the slope that the reading rule has at the mean, and of the calibration
    /// choices only none and `wish` are computed, the others read NaN. Imperfections have no names in it.
    pub fn quick(model: &'m Model, hot: Vec<f64>, board: Vec<f64>, wish: CalibrationWish) -> Self {
        let nameless = |i: &Imperfection| Imperfection {
            id: String::new(),
            label: String::new(),
            source: Source::new(i.source.kind, ""),
            ..*i
        };
        let imperfections = model.imperfections().iter().map(nameless).collect();
        let mut study = Self::of(model, imperfections, hot, board);
        study.unlimited = true;
        study.wanted = CalibrationWish::ALL.map(|w| w == CalibrationWish::None || w == wish);
        study
    }

    fn of(model: &'m Model, imperfections: Vec<Imperfection>, hot: Vec<f64>, board: Vec<f64>) -> Self {
        let chain = model.chain();
        let mut study = Self {
            model,
            imperfections,
            degrees_of_freedom: vec![f64::INFINITY; model.imperfections().len()],
            mean: Vec::new(),
            ends: hot.iter().map(|&t| model.hot_end(t)).collect(),
            heads: board.iter().map(|&b| Situation::at(chain, chain.need.hot.1, b).head).collect(),
            hot,
            board,
            points: Vec::new(),
            thermometer: None,
            source_gain: None,
            source_offset: None,
            occasions: Vec::new(),
            later: Vec::new(),
            turned: None,
            readings: 0..0,
            wanted: [true; WISHES],
            unlimited: false,
        };
        if let Some(findings) = model.findings() {
            study.add_findings(findings.directions());
        } else if !chain.plan.at.is_empty() {
            study.add_calibration();
            study.add_occasions();
        }
        study.mean = study.imperfections.iter().map(|i| i.distribution.mean()).collect();
        if !study.points.is_empty() {
            study.turned = Turned::new(&study);
        }
        study
    }

    /// Whether a calibration choice is looked at.
    pub(super) fn wants(&self, wish: usize) -> bool {
        self.wanted.get(wish).copied().unwrap_or(false)
    }

    fn add(
        &mut self,
        id: &str,
        label: String,
        d: Distribution,
        unit: &'static str,
        dof: f64,
    ) -> Option<usize> {
        let source = match self.model.findings() {
            Some(_) => "calibration in the chain file",
            None => "calibration_plan in the chain file",
        };
        let size = d.standard();
        if size.is_nan() || size <= 0.0 {
            return None;
        }
        self.imperfections.push(Imperfection {
            id: format!("calibration.{id}"),
            label,
            family: Family::Calibration,
            distribution: d,
            unit,
            source: Source::new(SourceKind::User, source),
            persistence: Persistence::Board,
            removed_by: Removes::NOTHING,
        });
        self.degrees_of_freedom.push(dof);
        Some(self.imperfections.len() - 1)
    }

    /// Errors of the readings that this board was calibrated with, one for each direction that they could see.
    fn add_findings(&mut self, directions: usize) {
        let first = self.imperfections.len();
        for k in 1..=directions {
            let label = format!("errors of references and readings at the calibration, {k} of {directions}");
            let d = Distribution::Normal(1.0);
            self.add(&format!("readings.{k}"), label, d, "1", f64::INFINITY);
        }
        self.readings = first..self.imperfections.len();
    }

    /// The board's deviations: as drawn, or what a calibration that was done leaves of the draw.
    fn board<'d>(&self, d: &'d [f64], buffer: &'d mut Vec<f64>) -> &'d [f64] {
        let Some(findings) = self.model.findings() else { return d };
        buffer.clear();
        buffer.extend_from_slice(d);
        findings.apply(&self.imperfections, d.get(self.readings.clone()).unwrap_or_default(), buffer);
        buffer
    }

    /// What changes between the calibration and the use of the board.
    fn add_occasions(&mut self) {
        let model = self.model;
        for (i, imperfection) in model.imperfections().iter().enumerate() {
            match imperfection.persistence {
                Persistence::Later => self.later.push(i),
                Persistence::Occasion => {
                    let label = format!("{}, during the calibration", imperfection.label);
                    let (d, unit) = (imperfection.distribution, imperfection.unit);
                    let twin = self.add(&imperfection.id, label, d, unit, f64::INFINITY);
                    self.occasions.extend(twin.map(|twin| (i, twin)));
                }
                Persistence::Board | Persistence::Reading => {}
            }
        }
    }

    fn add_calibration(&mut self) {
        let model = self.model;
        let plan = &model.chain().plan;
        if let CalibrationMethod::MillivoltSource { relative, fixed } = plan.method {
            let d = Distribution::Rectangular;
            self.source_gain =
                self.add("source_gain", "millivolt source, gain".into(), d(relative), "1", f64::INFINITY);
            self.source_offset =
                self.add("source_offset", "millivolt source, offset".into(), d(fixed), "V", f64::INFINITY);
            self.thermometer = self.add(
                "thermometer",
                "knowledge of the terminals' temperature during calibration".into(),
                d(plan.thermometer),
                "K",
                f64::INFINITY,
            );
        }
        // One reading's spread, V at the converter; quantisation and non-linearity stay however many are averaged.
        let (mut averaged, mut kept) = (0.0, 0.0);
        for i in model.imperfections().iter().filter(|i| i.persistence == Persistence::Reading) {
            let variance = i.distribution.standard() * i.distribution.standard();
            if i.id.ends_with("quantisation") || i.id.ends_with("nonlinearity") {
                kept += variance;
            } else {
                averaged += variance;
            }
        }
        let readings = f64::from(plan.readings.max(1));
        let spread = (averaged / readings + kept).sqrt();
        let share = if spread > 0.0 { averaged / readings / (spread * spread) } else { 0.0 };
        // Only the averaged part was estimated from readings; Welch–Satterthwaite within this one entry.
        let dof =
            if share > 0.0 && readings > 1.0 { (readings - 1.0) / (share * share) } else { f64::INFINITY };
        for (k, &celsius) in plan.at.iter().take(2).enumerate() {
            let n = k + 1;
            let reference = match plan.method {
                CalibrationMethod::KnownTemperature { accuracy } => self.add(
                    &format!("reference.{n}"),
                    format!("known temperature at {celsius:.0} °C"),
                    Distribution::Rectangular(accuracy),
                    "K",
                    f64::INFINITY,
                ),
                CalibrationMethod::MillivoltSource { .. } => None,
            };
            let label = format!("mean of the readings at {celsius:.0} °C");
            let reading = self.add(&format!("reading.{n}"), label, Distribution::Normal(spread), "V", dof);
            self.points.push(CalibrationPoint {
                celsius,
                volts_per_kelvin: self.model.rule_slope(celsius),
                end: self.model.hot_end(celsius),
                reference,
                reading,
            });
        }
    }

    /// Grid points: board × hot, hot running fastest.
    pub fn points(&self) -> usize {
        self.hot.len() * self.board.len()
    }

    /// Temperatures (hot, board) of a grid point, °C.
    pub fn temperatures(&self, point: usize) -> (f64, f64) {
        (self.hot[point % self.hot.len()], self.board[point / self.hot.len()])
    }

    /// Readings of one board at all grid points for all calibration choices: `out[wish · points + point]`, °C.
    ///
    /// # Errors
    /// [`ModelError`] when the deviations make the circuit unsolvable.
    pub fn readings(&self, d: &[f64], work: &mut Work, out: &mut [f64]) -> Result<(), ModelError> {
        let mut buffer = std::mem::take(&mut work.board);
        let result = self.readings_of(self.board(d, &mut buffer), work, out);
        work.board = buffer;
        result
    }

    fn readings_of(&self, d: &[f64], work: &mut Work, out: &mut [f64]) -> Result<(), ModelError> {
        if self.turned.is_some() {
            return self.readings_turned(d, work, out);
        }
        let corrections = self.corrections(d, work)?;
        self.over_the_grid(d, &corrections, work, out)
    }

    /// Each calibration choice leaves the trims elsewhere, and so is a circuit of its own.
    fn readings_turned(&self, d: &[f64], work: &mut Work, out: &mut [f64]) -> Result<(), ModelError> {
        let stored = self.model.correction();
        for (wish, out) in CalibrationWish::ALL.into_iter().zip(out.chunks_mut(self.points())) {
            if !self.wants(wish.points()) {
                out.fill(f64::NAN);
                continue;
            }
            let adjusted = self.adjusted(wish, d, work)?;
            self.set(adjusted.settings, work.scratch.settings_mut());
            let result = self.over_the_grid(d, &[stored], work, out);
            self.set([MIDDLE; 2], work.scratch.settings_mut());
            result?;
        }
        Ok(())
    }

    /// Readings at all grid points with the trims where they stand, for each of the corrections.
    fn over_the_grid(
        &self,
        d: &[f64],
        corrections: &[Correction],
        work: &mut Work,
        out: &mut [f64],
    ) -> Result<(), ModelError> {
        match &work.near {
            Some(near) if !self.model.reaches_probe(near.moved) => work.emf.clone_from(&near.emf),
            _ => {
                work.emf.clear();
                work.emf.extend(self.ends.iter().map(|end| self.model.hot_emf(end, d)));
            }
        }
        let (lowest, highest) =
            work.emf.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), &e| (a.min(e), b.max(e)));
        let points = self.points();
        for (row, (&board, &head)) in self.board.iter().zip(&self.heads).enumerate() {
            let state = match &mut work.near {
                None => self.model.board_state(board, d, &mut work.scratch)?,
                Some(near) => near.state(self.model, Some(row), d, &mut work.scratch)?,
            };
            let volts = |emf: f64| self.model.thermocouple_volts(emf, head, &state, d);
            // Limits are linear in v: inside at both ends is inside in between.
            let inside = self.unlimited
                || self.model.within_limits(volts(lowest), &mut work.scratch)
                    && self.model.within_limits(volts(highest), &mut work.scratch);
            for (column, &emf) in work.emf.iter().enumerate() {
                let output = self.model.output_volts(&state, volts(emf), inside, &mut work.scratch);
                let rule = self.model.rule_volts(&state, output, d, ReadingNoise::Included);
                let point = row * self.hot.len() + column;
                for (wish, c) in corrections.iter().enumerate() {
                    // With trims in the place of numbers there is one correction, whatever the choice.
                    let wanted = corrections.len() < WISHES || self.wanted[wish];
                    let index = wish * points + point;
                    let volts = c.offset + c.gain * rule;
                    out[index] = match &work.near {
                        _ if !wanted => f64::NAN,
                        Some(Near { lines, .. }) if !lines.is_empty() => {
                            lines[index].celsius(volts + state.sensed_emf)
                        }
                        _ => self.model.celsius(&state, volts),
                    };
                }
            }
        }
        Ok(())
    }

    /// Reading of one board at one grid point after one calibration choice, °C.
    ///
    /// # Errors
    /// As [`Study::readings`].
    pub fn reading(&self, wish: usize, point: usize, d: &[f64], work: &mut Work) -> Result<f64, ModelError> {
        let mut buffer = std::mem::take(&mut work.board);
        let result = self.reading_of(wish, point, self.board(d, &mut buffer), work);
        work.board = buffer;
        result
    }

    fn reading_of(&self, wish: usize, point: usize, d: &[f64], work: &mut Work) -> Result<f64, ModelError> {
        let mut correction = self.model.correction();
        let mut settings = [MIDDLE; 2];
        if self.turned.is_some() {
            let wish = CalibrationWish::ALL.get(wish).copied().unwrap_or(CalibrationWish::None);
            settings = self.adjusted(wish, d, work)?.settings;
        } else if wish != 0 {
            correction = self.corrections(d, work)?[wish];
        }
        self.set(settings, work.scratch.settings_mut());
        let result = self.at_point(point, correction, d, work);
        self.set([MIDDLE; 2], work.scratch.settings_mut());
        result
    }

    fn at_point(
        &self,
        point: usize,
        correction: Correction,
        d: &[f64],
        work: &mut Work,
    ) -> Result<f64, ModelError> {
        let (row, column) = (point / self.hot.len(), point % self.hot.len());
        let state = self.model.board_state(self.board[row], d, &mut work.scratch)?;
        let emf = self.model.hot_emf(&self.ends[column], d);
        let v = self.model.thermocouple_volts(emf, self.heads[row], &state, d);
        let output = self.model.output_volts(&state, v, false, &mut work.scratch);
        let rule = self.model.rule_volts(&state, output, d, ReadingNoise::Included);
        Ok(self.model.celsius(&state, correction.offset + correction.gain * rule))
    }

    /// The corrections that this board would get: none, after one point, after two.
    pub(super) fn corrections(&self, d: &[f64], work: &mut Work) -> Result<[Correction; WISHES], ModelError> {
        let stored = self.model.correction();
        let mut corrections = [stored; WISHES];
        if self.points.is_empty() {
            return Ok(corrections);
        }
        let chain = self.model.chain();
        let Work { scratch, calibrated, near, .. } = work;
        self.meanwhile(d, calibrated);
        let d = calibrated.as_slice();
        let state = match near {
            None => self.model.board_state(chain.plan.board, d, scratch)?,
            Some(near) => near.state(self.model, None, d, scratch)?,
        };
        let mut target = [0.0; 2];
        let mut found = [0.0; 2];
        for (k, point) in self.points.iter().enumerate().take(2) {
            target[k] = self.model.rule_volts_for(&state, point.celsius);
            let v = self.applied_volts(point, &state, d);
            let output = self.model.output_volts(&state, v, self.unlimited, scratch);
            let output = output + point.reading.map_or(0.0, |i| d[i]);
            found[k] = self.model.rule_volts(&state, output, d, ReadingNoise::LeftOut);
        }
        corrections[1] = Correction { offset: target[0] - found[0], gain: 1.0 };
        corrections[2] = if self.points.len() < 2 || found[1] == found[0] {
            corrections[1]
        } else {
            let gain = (target[1] - target[0]) / (found[1] - found[0]);
            Correction { offset: target[0] - gain * found[0], gain }
        };
        Ok(corrections)
    }

    /// The constants that one board would get after a calibration choice.
    ///
    /// # Errors
    /// [`ModelError`] when the circuit can't be solved.
    pub fn correction(
        &self,
        wish: CalibrationWish,
        d: &[f64],
        work: &mut Work,
    ) -> Result<Correction, ModelError> {
        Ok(self.corrections(d, work)?[wish.points()])
    }

    /// Whether one board keeps inside the limits of circuit and converter at every grid point; the span of the converter
    /// holds for what it makes of its input, its own errors and the reference's included.
    ///
    /// # Errors
    /// As [`Study::readings`].
    pub fn stays_inside(&self, d: &[f64], work: &mut Work) -> Result<bool, ModelError> {
        let (low, high) = self.model.chain().converter.span();
        for (&board, &head) in self.board.iter().zip(&self.heads) {
            let state = self.model.board_state(board, d, &mut work.scratch)?;
            for end in &self.ends {
                let v = self.model.thermocouple_volts(self.model.hot_emf(end, d), head, &state, d);
                let output = state.offset + state.gain * v;
                let seen = self.model.converted(&state, output, d, ReadingNoise::LeftOut);
                if seen < low || seen > high || !self.model.within_limits(v, &mut work.scratch) {
                    return Ok(false);
                }
            }
        }
        Ok(true)
    }

    /// Deviations while the board is calibrated.
    pub(super) fn meanwhile(&self, d: &[f64], calibrated: &mut Vec<f64>) {
        calibrated.clear();
        calibrated.extend_from_slice(d);
        for &i in &self.later {
            calibrated[i] = 0.0;
        }
        for &(i, twin) in &self.occasions {
            calibrated[i] = d[twin];
        }
    }

    /// Thermocouple voltage that the board really gets at a calibration point, V.
    pub(super) fn applied_volts(&self, point: &CalibrationPoint, state: &BoardState, d: &[f64]) -> f64 {
        let chain = self.model.chain();
        let dev = |i: Option<usize>| i.map_or(0.0, |i| d[i]);
        match chain.plan.method {
            CalibrationMethod::MillivoltSource { .. } => {
                let emf = |t| chain.probe.letter.emf_and_slope_extended(t).0;
                let set = emf(point.celsius) - emf(state.terminals + dev(self.thermometer));
                set * (1.0 + dev(self.source_gain)) + dev(self.source_offset)
            }
            CalibrationMethod::KnownTemperature { .. } => {
                let end = HotEnd { celsius: point.celsius + dev(point.reference), ..point.end };
                let head = Situation::at(chain, point.celsius, state.board).head;
                self.model.thermocouple_volts(self.model.hot_emf(&end, d), head, state, d)
            }
        }
    }

    /// Buffers for one thread.
    pub fn work(&self) -> Work {
        Work {
            scratch: self.model.scratch(),
            emf: Vec::with_capacity(self.hot.len()),
            calibrated: Vec::new(),
            board: Vec::new(),
            near: None,
        }
    }
}

/// Buffers of one thread.
#[derive(Debug)]
pub struct Work {
    pub(super) scratch: Scratch,
    emf: Vec<f64>,
    /// Deviations while the board is calibrated.
    pub(super) calibrated: Vec<f64>,
    /// Deviations of a board that was calibrated.
    board: Vec<f64>,
    /// For boards near the one of the means.
    pub(super) near: Option<Near>,
}
