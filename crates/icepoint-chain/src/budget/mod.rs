//! How far off the reading can be, and why: worst case, GUM and Monte Carlo side by side over hot × board temperature.

pub mod gum;
pub mod monte_carlo;
pub mod study;
pub mod worst_case;

use crate::chain::CalibrationWish;
use crate::imperfection::{Distribution, Imperfection};
use crate::model::{Model, ModelError};
use crate::statistics::error_95;

pub use gum::GumPoint;
pub use monte_carlo::{MonteCarlo, MonteCarloPoint};
pub use study::{Study, WISHES};
pub use worst_case::WorstCase;

/// The whole budget of a chain.
#[derive(Clone, Debug)]
pub struct Budget {
    /// Hot temperatures of the grid, °C.
    pub hot: Vec<f64>,
    /// Board temperatures of the grid, °C.
    pub board: Vec<f64>,
    /// All imperfections, those of the calibration last; contributions are in this order.
    pub imperfections: Vec<Imperfection>,
    /// Per calibration choice and grid point.
    pub points: Vec<BudgetPoint>,
    /// Share of boards within the accuracy everywhere, per calibration choice.
    pub yields: [f64; WISHES],
    /// Monte Carlo trials behind it.
    pub trials: u32,
    /// Seed of the trials.
    pub seed: u64,
}

/// One grid point after one calibration choice.
#[derive(Clone, Debug)]
pub struct BudgetPoint {
    /// True temperature of the measuring junction, °C.
    pub hot: f64,
    /// Board temperature, °C.
    pub board: f64,
    /// By the law of propagation.
    pub gum: GumPoint,
    /// By simulation.
    pub monte_carlo: MonteCarloPoint,
    /// Extremes.
    pub worst: WorstCase,
}

impl BudgetPoint {
    /// Reading less true temperature with every deviation at its mean, K: the known part of the error.
    pub fn bias(&self) -> f64 {
        self.gum.reading - self.hot
    }

    /// Imperfections by size of their contribution, largest first: index and standard uncertainty in K.
    pub fn ranked(&self) -> Vec<(usize, f64)> {
        let mut list: Vec<_> = self.gum.contributions.iter().map(|c| c.abs()).enumerate().collect();
        list.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
        list
    }
}

impl Budget {
    /// Computes all of it. `progress` is told trials as they are done.
    ///
    /// # Errors
    /// [`ModelError`] when a board that was drawn can't be solved.
    pub fn new(model: &Model, progress: &(dyn Fn(u32) + Sync)) -> Result<Self, ModelError> {
        let study = Study::new(model);
        let chain = model.chain();
        let gum = gum::evaluate(&study)?;
        let worst = worst_case::evaluate(&study, &gum)?;
        let trials = chain.settings.trials.max(1);
        let simulated =
            monte_carlo::evaluate(&study, trials, chain.settings.seed, chain.need.accuracy, progress)?;
        let count = study.points();
        let points = gum
            .into_iter()
            .zip(simulated.points)
            .zip(worst)
            .enumerate()
            .map(|(index, ((gum, monte_carlo), worst))| {
                let (hot, board) = study.temperatures(index % count);
                BudgetPoint { hot, board, gum, monte_carlo, worst }
            })
            .collect();
        Ok(Self {
            hot: study.hot,
            board: study.board,
            imperfections: study.imperfections,
            points,
            yields: simulated.yields,
            trials,
            seed: chain.settings.seed,
        })
    }

    /// The points of one calibration choice, hot running fastest.
    pub fn of(&self, wish: CalibrationWish) -> &[BudgetPoint] {
        let count = self.hot.len() * self.board.len();
        &self.points[wish.points() * count..(wish.points() + 1) * count]
    }

    /// The point with the largest 95 % error after one calibration choice.
    pub fn worst_point(&self, wish: CalibrationWish) -> Option<&BudgetPoint> {
        self.of(wish).iter().max_by(|a, b| a.monte_carlo.error_95.total_cmp(&b.monte_carlo.error_95))
    }

    /// The largest 95 % error over the grid after one calibration choice, K.
    pub fn error_95(&self, wish: CalibrationWish) -> f64 {
        self.worst_point(wish).map_or(f64::NAN, |p| p.monte_carlo.error_95)
    }

    /// Share of boards within the accuracy after one calibration choice.
    pub fn yield_after(&self, wish: CalibrationWish) -> f64 {
        self.yields[wish.points()]
    }
}

/// A quick estimate of the largest 95 % error over a study's grid for every calibration choice, K: GUM contributions,
/// the largest rectangle kept as such. Within some per cent of the simulation at a ten-thousandth of its cost.
///
/// # Errors
/// As [`gum::contributions`].
pub fn quick_errors_95(study: &Study) -> Result<[f64; WISHES], ModelError> {
    let (centre, rows) = gum::contributions(study)?;
    let count = study.points();
    let mut largest = [0.0f64; WISHES];
    for (index, (contributions, reading)) in rows.iter().zip(&centre).enumerate() {
        let bias = reading - study.temperatures(index % count).0;
        let wish = index / count;
        largest[wish] = largest[wish].max(point_error_95(study, contributions, bias));
    }
    Ok(largest)
}

/// [`quick_errors_95`] for one calibration choice, K.
///
/// # Errors
/// As [`gum::contributions`].
pub fn quick_error_95(study: &Study, wish: CalibrationWish) -> Result<f64, ModelError> {
    Ok(quick_errors_95(study)?[wish.points()])
}

fn point_error_95(study: &Study, contributions: &[f64], bias: f64) -> f64 {
    let mut rectangle = 0.0f64;
    let mut variance = 0.0;
    for (c, imperfection) in contributions.iter().zip(&study.imperfections) {
        variance += c * c;
        if matches!(imperfection.distribution, Distribution::Rectangular(_)) {
            rectangle = rectangle.max(c.abs());
        }
    }
    let rest = (variance - rectangle * rectangle).max(0.0).sqrt();
    error_95(bias, rectangle * 3f64.sqrt(), rest)
}
