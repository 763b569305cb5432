//! From readings at known inputs to the deviations of one board, the constants that mend it, and how good it then is
//! everywhere.
//!
//! | you have | you want | call |
//! |---|---|---|
//! | a file of readings | rows in SI units, or every mistake at its place | [`readings::read`] |
//! | rows and a model | everything: constants, band, flags, the next point | [`calibrate`] |
//! | conditions of your own | a calibrator that is asked many times | [`Calibrator::new`] |
//! | nothing but a model | boards as they may be built, and their readings | [`simulate`] |
//!
//! **Why a prior.** The budget says before any reading how far each part may be off. So one reading is already useful,
//! and many that contradict the budget show that something in it is wrong.
//!
//! **Conventions.** Unknowns in standard uncertainties from their prior means; residual = reading − model.

mod advice;
pub mod band;
pub mod checks;
pub mod columns;
pub mod condition;
pub mod csv_text;
pub mod forward;
pub mod inference;
pub mod known;
pub mod next;
pub mod readings;
mod refusals;
mod row_reference;
mod row_values;
pub mod simulate;
mod trims;

use icepoint_chain::chain::{CalibrationMethod, Correction, Findings, Found, SharedError};
use icepoint_chain::file::{Problem, Refused};
use icepoint_chain::model::{Model, ModelError};
use icepoint_chain::situation::grid;
use nalgebra::DVector;

pub use refusals::significant;
pub use trims::{TrimPoint, TrimPoints};

use advice::cautions;
use band::{BandPoint, Spread, Targets};
use checks::{LeftOut, Misfit, MisfitDraws, Scatter};
use condition::{Condition, InputError};
use forward::{Forward, What};
use inference::{Estimate, Inference, InferenceError, Noise, ReadingVariance};
use next::Candidate;
use readings::Readings;
use refusals::{nonsense, outside, too_many, without};

use crate::references::{Reference, Shared, Takes};

/// Directions that say less than this share of the variance are not written down.
const WRITTEN_SHARE: f64 = 1e-3;
/// Entries below this are not written down.
const WRITTEN_ENTRY: f64 = 1e-4;
/// Further points that are told.
const NEXT_POINTS: usize = 5;

/// Everything that does not depend on what was read: made once, asked for any number of boards.
#[derive(Debug)]
pub struct Calibrator<'m> {
    /// The model seen from the bench.
    pub forward: Forward<'m>,
    /// Noise of the readings.
    pub noise: Noise,
    /// Sensitivities and what follows.
    pub inference: Inference,
    /// Where the board is looked at.
    pub targets: Targets,
    /// What is left there.
    pub spread: Spread,
    /// Misfit that chance gives.
    pub draws: MisfitDraws,
}

/// One board, solved.
#[derive(Clone, Debug)]
pub struct Solved {
    /// The unknowns.
    pub estimate: Estimate,
    /// Deviations in the model's order.
    pub deviations: Vec<f64>,
    /// Constants for the reading rule's own volts.
    pub constants: Correction,
    /// What is left at every target.
    pub band: Vec<BandPoint>,
    /// How the readings fit.
    pub misfit: Misfit,
    /// What had to be made anew for this board: its estimate did not come to rest with the sensitivities at the means.
    pub anew: Option<Box<Anew>>,
}

/// Sensitivities at one board's own estimate, and what follows from them.
#[derive(Clone, Debug)]
pub struct Anew {
    /// Sensitivities and what follows.
    pub inference: Inference,
    /// What is left at the targets.
    pub spread: Spread,
    /// Misfit that chance gives.
    pub draws: MisfitDraws,
}

impl<'m> Calibrator<'m> {
    /// For readings under these conditions, taken with these constants in the board; the band is asked over hot × board,
    /// °C; `extra` is the variance of one reading on top of the model's, V² at the converter.
    ///
    /// # Errors
    /// [`InferenceError`] when the model has no answer.
    pub fn new(
        model: &'m Model,
        constants: Correction,
        conditions: Vec<Condition>,
        (hot, board): (&[f64], &[f64]),
        extra: f64,
    ) -> Result<Self, InferenceError> {
        let forward = Forward::new(model, constants, conditions)?;
        let targets = Targets::new(model, constants, hot, board)?;
        Self::with(forward, targets, extra)
    }

    fn with(forward: Forward<'m>, targets: Targets, extra: f64) -> Result<Self, InferenceError> {
        let noise = Noise::new(&forward, extra)?;
        let inference = Inference::new(&forward, &noise, DVector::zeros(forward.unknowns.len()))?;
        let spread = Spread::new(&forward, &inference, &targets, extra);
        let draws = MisfitDraws::new(&forward, &inference);
        Ok(Self { forward, noise, inference, targets, spread, draws })
    }

    /// One board, from the means of its readings under the conditions.
    ///
    /// # Errors
    /// [`InferenceError`] when no deviations explain the readings.
    pub fn solve(&self, means: &[f64]) -> Result<Solved, InferenceError> {
        match self.inference.estimate(&self.forward, means)? {
            Some(estimate) => Ok(self.finish(estimate, None)?),
            None => {
                let (inference, estimate) = Inference::solve(&self.forward, &self.noise, means)?;
                let spread = Spread::new(&self.forward, &inference, &self.targets, self.noise.extra);
                let draws = MisfitDraws::new(&self.forward, &inference);
                Ok(self.finish(estimate, Some(Box::new(Anew { inference, spread, draws })))?)
            }
        }
    }

    /// Sensitivities that this board was solved with.
    pub fn inference_of<'s>(&'s self, solved: &'s Solved) -> &'s Inference {
        solved.anew.as_ref().map_or(&self.inference, |anew| &anew.inference)
    }

    /// What is left of this board.
    pub fn spread_of<'s>(&'s self, solved: &'s Solved) -> &'s Spread {
        solved.anew.as_ref().map_or(&self.spread, |anew| &anew.spread)
    }

    fn finish(&self, estimate: Estimate, anew: Option<Box<Anew>>) -> Result<Solved, ModelError> {
        let (inference, spread, draws) = match &anew {
            Some(anew) => (&anew.inference, &anew.spread, &anew.draws),
            None => (&self.inference, &self.spread, &self.draws),
        };
        let forward = &self.forward;
        let deviations = forward.board_deviations(estimate.z.as_slice());
        let (hot, board) = (&self.targets.hot, &self.targets.board);
        let constants = band::constants(forward.model, &deviations, hot, board)?;
        let band =
            band::band(forward.model, &self.targets, spread, &deviations, forward.constants, constants)?;
        let misfit = checks::misfit(inference, &estimate, draws);
        Ok(Solved { estimate, deviations, constants, band, misfit, anew })
    }
}

/// A condition with what came of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Checked {
    /// The readings, brought together.
    pub condition: Condition,
    /// Mean less what the calibrated model answers, in the condition's unit.
    pub residual: f64,
    /// Mean less what the board would have given with every deviation at its mean.
    pub innovation: f64,
    /// Standard uncertainty of the innovation.
    pub expected: f64,
    /// Against all the others.
    pub left_out: LeftOut,
    /// Standard uncertainty of the mean from noise and last digits.
    pub reading: f64,
    /// Kelvin at the hot end per unit of the condition.
    pub kelvin: f64,
}

/// All that the readings told.
#[derive(Clone, Debug)]
pub struct Calibration {
    /// Conditions with their checks, in the order of the file.
    pub checked: Vec<Checked>,
    /// Constants that the board had while it was read.
    pub taken_with: Correction,
    /// Constants for the firmware.
    pub constants: Correction,
    /// Zero and span trims instead: the two ends of what was given.
    pub trims: Option<TrimPoints>,
    /// What was found out about each deviation.
    pub findings: Findings,
    /// Hot temperatures of the band, °C.
    pub hot: Vec<f64>,
    /// Board temperatures of the band, °C.
    pub board: Vec<f64>,
    /// The band: board × hot, hot running fastest.
    pub band: Vec<BandPoint>,
    /// What it is made of.
    pub spread: Spread,
    /// How the readings fit.
    pub misfit: Misfit,
    /// Repeats, if there are any.
    pub scatter: Option<Scatter>,
    /// Further points, the most helpful first.
    pub next: Vec<Candidate>,
    /// Readings in the file, and of these used.
    pub counts: (usize, usize),
    /// What should be known.
    pub cautions: Vec<String>,
}

/// Why there is no calibration.
#[derive(Debug)]
pub enum CalibrationError {
    /// The readings are refused, with places.
    Refused(Box<Refused>),
    /// The arithmetic has no answer.
    Inference(InferenceError),
}

impl From<InferenceError> for CalibrationError {
    fn from(error: InferenceError) -> Self {
        Self::Inference(error)
    }
}

impl From<ModelError> for CalibrationError {
    fn from(error: ModelError) -> Self {
        Self::Inference(InferenceError::Model(error))
    }
}

impl core::fmt::Display for CalibrationError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::Refused(refused) => f.write_str(&refused.plain()),
            Self::Inference(error) => error.fmt(f),
        }
    }
}

impl core::error::Error for CalibrationError {}

/// What the user decides about a calibration.
#[derive(Clone, Debug)]
pub struct Wishes {
    /// Constants that the board had while it was read.
    pub taken_with: Correction,
    /// Lines that are left out.
    pub without: Vec<usize>,
    /// Date, as the user writes dates.
    pub date: Option<String>,
    /// Serial number; the readings' own if they have one.
    pub serial: Option<String>,
}

/// Calibrates a board from its readings. `model` must not have findings of an earlier calibration: its prior is the
/// design's.
///
/// # Errors
/// [`CalibrationError`]: refused readings with their places, or no answer.
pub fn calibrate(
    model: &Model,
    readings: &Readings,
    wishes: &Wishes,
) -> Result<Calibration, CalibrationError> {
    let chain = model.chain();
    let used = without(readings, &wishes.without)?;
    let mut conditions = condition::gather(&used);
    let mut problems = Vec::new();
    for condition in &mut conditions {
        let reference = reference_of(readings, &condition.reference);
        if let Err(problem) = known::tell(chain, reference, condition) {
            problems.push(*problem);
        }
    }
    refuse(readings, problems)?;
    refuse(readings, too_many(&conditions))?;
    let forward = Forward::new(model, wishes.taken_with, conditions)?;
    refuse(readings, outside(&forward)?)?;
    let hot = grid(chain.need.hot, chain.settings.hot_points.max(2));
    let board = grid(chain.need.board, chain.settings.board_points.max(1));
    let targets = Targets::new(model, wishes.taken_with, &hot, &board)?;
    let believed = Noise::new(&forward, 0.0)?;
    let scatter =
        checks::scatter(&forward.conditions, &believed, ReadingVariance::new(model.imperfections()));
    let calibrator = Calibrator::with(forward, targets, scatter.map_or(0.0, |s| s.extra))?;
    let means: Vec<f64> = calibrator.forward.conditions.iter().map(|c| c.mean).collect();
    refuse(readings, nonsense(&calibrator, &means)?)?;
    let solved = calibrator.solve(&means)?;
    let checked = checked(&calibrator, &solved)?;
    let mut next = match like(readings, &calibrator.forward) {
        Some(like) => next::candidates(
            &calibrator.forward,
            calibrator.inference_of(&solved),
            &calibrator.targets,
            &like,
            &|condition: &Condition| -> Option<Vec<InputError>> {
                let mut condition = condition.clone();
                let reference = reference_of(readings, &condition.reference);
                known::tell(chain, reference, &mut condition).ok()?;
                Some(condition.errors)
            },
            &calibrator.noise,
        )?,
        None => Vec::new(),
    };
    next.truncate(NEXT_POINTS);
    let mut findings = findings(&calibrator, &solved);
    findings.date.clone_from(&wishes.date);
    findings.serial = wishes.serial.clone().or_else(|| readings.serial.clone());
    let told: Vec<String> = readings.cautions.iter().map(advice::sentence).collect();
    Ok(Calibration {
        cautions: told.into_iter().chain(cautions(&calibrator, &checked, scatter)?).collect(),
        trims: trims::trims(&calibrator, &solved)?,
        checked,
        taken_with: wishes.taken_with,
        constants: solved.constants,
        findings,
        hot,
        board,
        spread: calibrator.spread_of(&solved).clone(),
        band: solved.band,
        misfit: solved.misfit,
        scatter,
        next,
        counts: (readings.rows.len(), used.rows.len()),
    })
}

/// The condition that a further point is like: the last one with an input that can be set to any value. Ice is always at
/// 0 °C; where nothing else was used, what the plan says.
fn like(readings: &Readings, forward: &Forward<'_>) -> Option<Condition> {
    let settable =
        |c: &&Condition| reference_of(readings, &c.reference).is_none_or(|r| r.takes() != Takes::Nothing);
    let conditions = &forward.conditions;
    if let Some(like) = conditions.iter().rev().find(settable) {
        return Some(like.clone());
    }
    let last = conditions.last()?.clone();
    let input = match forward.model.chain().plan.method {
        CalibrationMethod::MillivoltSource { .. } => readings::Input::Injected(0.0),
        CalibrationMethod::KnownTemperature { .. } => readings::Input::Temperature(0.0),
    };
    Some(Condition { input, reference: String::new(), limit: None, ..last })
}

/// What the name of a reference stands for.
fn reference_of<'r>(readings: &'r Readings, name: &str) -> Option<&'r Reference> {
    readings.references.iter().find(|(n, _)| n == name).and_then(|(_, reference)| reference.as_ref())
}

fn refuse(readings: &Readings, problems: Vec<Problem>) -> Result<(), CalibrationError> {
    if problems.is_empty() {
        return Ok(());
    }
    Err(CalibrationError::Refused(Box::new(Refused::new(readings.source.clone(), problems))))
}

/// Standard uncertainty of a reading before it is taken.
fn expected_standard(inference: &Inference, k: usize) -> f64 {
    let row = inference.sensitivities.row(k);
    (row.norm_squared() + inference.reading[k] * inference.reading[k]).sqrt()
}

fn checked(calibrator: &Calibrator<'_>, solved: &Solved) -> Result<Vec<Checked>, ModelError> {
    let (inference, estimate) = (calibrator.inference_of(solved), &solved.estimate);
    let left_out = checks::left_out(inference, estimate);
    let forward = &calibrator.forward;
    let letter = forward.model.chain().probe.letter;
    let mut all = Vec::with_capacity(left_out.len());
    for (k, left_out) in left_out.into_iter().enumerate() {
        let condition = forward.conditions[k].clone();
        let kelvin = match condition.kind {
            condition::Kind::Celsius => 1.0,
            _ => {
                let hot = match condition.input {
                    readings::Input::Temperature(t) => t,
                    readings::Input::Injected(v) => {
                        let e = v + letter.emf_and_slope_extended(condition.board).0;
                        letter.temperature(e).unwrap_or(forward.model.chain().need.hot.1)
                    }
                };
                let slope = letter.emf_and_slope_extended(hot).1;
                1.0 / (slope * forward.model.nominal_transfer().1 * calibrator.noise.per_volt[k])
                    .abs()
                    .max(1e-12)
            }
        };
        all.push(Checked {
            residual: estimate.residuals[k],
            innovation: estimate.innovation[k],
            expected: expected_standard(inference, k),
            reading: inference.reading[k],
            left_out,
            kelvin,
            condition,
        });
    }
    Ok(all)
}

/// What an estimate tells of each deviation, as the chain file keeps it.
pub fn findings(calibrator: &Calibrator<'_>, solved: &Solved) -> Findings {
    let (g, estimate) = (&calibrator.inference_of(solved).directions, &solved.estimate);
    let kept: Vec<usize> = (0..g.ncols()).filter(|&c| g.column(c).norm_squared() > WRITTEN_SHARE).collect();
    let list = calibrator.forward.model.imperfections();
    let mut deviations = Vec::new();
    for (u, unknown) in calibrator.forward.unknowns.iter().enumerate() {
        let What::Board(i) = unknown.what else { continue };
        let entries: Vec<f64> = kept.iter().map(|&c| g[(u, c)]).collect();
        let tells = |x: &f64| x.abs() > WRITTEN_ENTRY;
        if tells(&estimate.z[u]) || entries.iter().any(tells) {
            deviations.push(Found { id: list[i].id.clone(), estimate: estimate.z[u], directions: entries });
        }
    }
    let shared = shared(&calibrator.forward, calibrator.inference_of(solved), &kept);
    Findings { serial: None, date: None, deviations, shared, scatter: calibrator.noise.extra.sqrt() }
}

/// What errors of references that outlast the calibration of one board add along each of these directions.
fn shared(forward: &Forward<'_>, inference: &Inference, kept: &[usize]) -> Vec<SharedError> {
    let outlasts = |what: &What| match what {
        // Of a setting and of a reading: gone with the bath, the digit.
        What::Reference(tag) => tag.shared == Shared::Always,
        What::Thermometer(_) => true,
        What::Board(_) | What::Occasion(..) => false,
    };
    let mut shared = Vec::new();
    for (u, unknown) in forward.unknowns.iter().enumerate().filter(|(_, unknown)| outlasts(&unknown.what)) {
        // Estimate of the board for one standard uncertainty of this error alone.
        let moved = inference.gain.rows(0, inference.of_board) * inference.sensitivities.column(u);
        let along: Vec<f64> = kept
            .iter()
            .map(|&c| {
                let g = inference.directions.column(c);
                g.dot(&moved) / g.norm_squared()
            })
            .collect();
        if along.iter().any(|x| x.abs() > WRITTEN_ENTRY) {
            shared.push(SharedError { id: unknown.id.clone(), along });
        }
    }
    shared
}
