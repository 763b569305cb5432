//! How far off the reading can be, and why: worst case, GUM and Monte Carlo side by side over hot × board temperature.

pub mod gum;
pub mod monte_carlo;
mod near;
pub mod study;
mod turned;
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
    Ok(quick_worst_95(study)?.map(|worst| worst.error_95))
}

/// Where the quick estimate is largest.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct QuickWorst {
    /// K.
    pub error_95: f64,
    /// Temperature of the measuring junction, °C.
    pub hot: f64,
    /// Board temperature, °C.
    pub board: f64,
}

/// [`quick_errors_95`] with the grid point of each.
///
/// # Errors
/// As [`gum::contributions`].
pub fn quick_worst_95(study: &Study) -> Result<[QuickWorst; WISHES], ModelError> {
    let (centre, columns) = gum::columns(study)?;
    let count = study.points();
    let (hot, board) = study.temperatures(0);
    let mut largest = [QuickWorst { error_95: 0.0, hot, board }; WISHES];
    for (wish, largest) in largest.iter_mut().enumerate() {
        if !study.wants(wish) {
            largest.error_95 = f64::NAN;
            continue;
        }
        let mut points: Vec<(usize, PointError)> = (0..count)
            .map(|point| {
                let index = wish * count + point;
                let bias = centre[index] - study.temperatures(point).0;
                (point, PointError::new(study, columns.iter().map(|c| c[index]), bias))
            })
            .collect();
        // Most likely the largest first; what can't be larger than one that is known need not be known.
        points.sort_by(|a, b| b.1.at_most().total_cmp(&a.1.at_most()).then(a.0.cmp(&b.0)));
        for (point, found) in points {
            if found.at_most() <= largest.error_95 {
                break;
            }
            let error_95 = error_95(found.bias, found.half, found.sigma);
            if error_95 > largest.error_95 {
                let (hot, board) = study.temperatures(point);
                *largest = QuickWorst { error_95, hot, board };
            }
        }
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

/// What the quick estimate knows of one grid point: bias, half-width of the largest rectangle, standard deviation of the
/// rest, K.
struct PointError {
    bias: f64,
    half: f64,
    sigma: f64,
}

impl PointError {
    fn new(study: &Study, contributions: impl Iterator<Item = f64>, bias: f64) -> Self {
        let mut rectangle = 0.0f64;
        let mut variance = 0.0;
        for (c, imperfection) in contributions.zip(&study.imperfections) {
            variance += c * c;
            if matches!(imperfection.distribution, Distribution::Rectangular(_)) {
                rectangle = rectangle.max(c.abs());
            }
        }
        let rest = (variance - rectangle * rectangle).max(0.0).sqrt();
        Self { bias, half: rectangle * 3f64.sqrt(), sigma: rest }
    }

    /// No 95 % error is larger: the normal part stays within 1.96 σ for 95 %, whatever the rectangle adds. NaN counts as
    /// largest.
    fn at_most(&self) -> f64 {
        let sum = self.bias.abs() + self.half + 1.96 * self.sigma;
        if sum.is_nan() { f64::INFINITY } else { sum }
    }
}
