//! From readings to deviations: the best linear estimate, with the budget as the prior.
//!
//! **Method.** With every unknown counted in its standard uncertainty, `y ≈ h(z₀) + H·(z − z₀) + ε`, `cov z = 1`,
//! `cov ε = R` (diagonal). Then `S = H·Hᵀ + R`, the estimate is `z = Hᵀ·S⁻¹·(y − h(z₀) + H·z₀)` and its covariance
//! `1 − Hᵀ·S⁻¹·H` (generalised least squares with prior information; for normal deviations this is the posterior, JCGM
//! 100, H.3 is the case of a flat prior). `h` is asked anew at each estimate until nothing moves; `H` stays unless
//! that does not settle.
//!
//! **Rectangles.** Most limits are rectangles, and no normal posterior is true of them. But the error of a linear
//! estimate is a weighted sum of the independent deviations themselves, `(1 − P·H)·z − P·ε`, `P = Hᵀ·S⁻¹`, whatever their
//! shapes; so the band is that of this sum with every shape kept, and it holds in 95 % of boards. It is not the
//! narrowest band possible: a deviation that the readings push to its limit could be known better than this says.

use icepoint_chain::imperfection::{Family, Imperfection, Persistence};
use icepoint_chain::model::ModelError;
use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

use super::condition::Condition;
use super::forward::Forward;

/// Steps of the iteration with one set of sensitivities.
const STEPS: usize = 30;
/// Change at which an estimate stands, in standard uncertainties.
const STANDS: f64 = 1e-6;
/// Sets of sensitivities that are tried.
const SETS: usize = 4;
/// Directions of which the readings tell less than this share of the variance are not kept.
const LEAST_SHARE: f64 = 1e-6;

/// Variance of one reading, V² at the converter: what averaging takes away, and what it can't.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ReadingVariance {
    /// Noise and pick-up.
    pub averaged: f64,
    /// Quantisation and non-linearity: the same in every repeat.
    pub kept: f64,
    /// The quantisation's part of `kept`.
    pub quantisation: f64,
    /// The converter's parts of `averaged` and of `kept`.
    pub converter: (f64, f64),
}

/// Whether a deviation of the reading stays the same when the reading is repeated.
pub fn stays(imperfection: &Imperfection) -> bool {
    imperfection.id.ends_with("quantisation") || imperfection.id.ends_with("nonlinearity")
}

/// Whether a deviation is the converter's own.
pub fn of_converter(imperfection: &Imperfection) -> bool {
    imperfection.family == Family::Converter
}

impl ReadingVariance {
    /// Of a model's readings.
    pub fn new(list: &[Imperfection]) -> Self {
        let mut v = Self { averaged: 0.0, kept: 0.0, quantisation: 0.0, converter: (0.0, 0.0) };
        for i in list.iter().filter(|i| i.persistence == Persistence::Reading) {
            let variance = i.distribution.standard() * i.distribution.standard();
            if stays(i) {
                v.kept += variance;
            } else {
                v.averaged += variance;
            }
            if i.id.ends_with("quantisation") {
                v.quantisation += variance;
            }
            if of_converter(i) {
                let part = if stays(i) { &mut v.converter.1 } else { &mut v.converter.0 };
                *part += variance;
            }
        }
        v
    }

    /// The same under a condition: a voltmeter at the output sees nothing of the converter's.
    pub fn of(self, condition: &Condition) -> Self {
        if condition.meter.is_none() {
            return self;
        }
        let left = |all: f64, converter: f64| (all - converter).max(0.0);
        Self {
            averaged: left(self.averaged, self.converter.0),
            kept: left(self.kept, self.converter.1),
            quantisation: 0.0,
            converter: (0.0, 0.0),
        }
    }
}

/// The readings' noise: how large, and how much more than the model's.
#[derive(Clone, Debug, PartialEq)]
pub struct Noise {
    /// Variance of each condition's mean, in the square of its unit.
    pub variance: Vec<f64>,
    /// Change of each condition's answer per volt at the converter.
    pub per_volt: Vec<f64>,
    /// Variance of one reading on top of the model's, V² at the converter: 0 unless repeats scatter more than the model
    /// allows.
    pub extra: f64,
}

impl Noise {
    /// At the means.
    ///
    /// # Errors
    /// [`ModelError`] when the circuit can't be solved.
    pub fn new(forward: &Forward<'_>, extra: f64) -> Result<Self, ModelError> {
        let model = ReadingVariance::new(forward.model.imperfections());
        let z = vec![0.0; forward.unknowns.len()];
        let mut work = forward.work();
        let mut noise = Self { variance: Vec::new(), per_volt: Vec::new(), extra };
        for (k, condition) in forward.conditions.iter().enumerate() {
            let per = forward.per_volt(k, &z, &mut work)?;
            let of_this = model.of(condition);
            let volts = (of_this.averaged + extra) / condition.count as f64 + of_this.kept;
            // Counting codes is the quantisation, which is in `kept`; digits of a display come on top of it.
            let digit = condition.half_digit * condition.half_digit / 3.0;
            noise.variance.push((volts * per * per + digit).max(least(per)));
            noise.per_volt.push(per);
        }
        Ok(noise)
    }
}

/// No reading is better than a nanovolt at the converter: keeps an ideal chain solvable.
fn least(per_volt: f64) -> f64 {
    let volt = 1e-9 * per_volt;
    (volt * volt).max(1e-24)
}

/// Sensitivities and what follows from them, for given conditions: ready for any readings.
#[derive(Clone, Debug)]
pub struct Inference {
    /// `H`: conditions × unknowns, per standard uncertainty.
    pub sensitivities: DMatrix<f64>,
    /// Where they were taken, in standard uncertainties.
    pub around: DVector<f64>,
    /// Cholesky factor of `S`.
    pub spread: Cholesky<f64, Dyn>,
    /// `P = Hᵀ·S⁻¹`: unknowns × conditions.
    pub gain: DMatrix<f64>,
    /// Standard uncertainty of each condition's mean, without references.
    pub reading: DVector<f64>,
    /// Directions of the board's deviations that the readings can see: board unknowns × directions, orthogonal.
    pub directions: DMatrix<f64>,
    /// How many unknowns are the board's.
    pub of_board: usize,
}

/// Why there is no estimate.
#[derive(Clone, Debug, PartialEq)]
pub enum InferenceError {
    /// The model has no answer.
    Model(ModelError),
    /// The conditions contradict each other in the arithmetic: not solvable.
    Singular,
    /// The estimate does not come to rest; conditions × change of the last step.
    Restless,
}

impl From<ModelError> for InferenceError {
    fn from(error: ModelError) -> Self {
        Self::Model(error)
    }
}

impl core::fmt::Display for InferenceError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::Model(error) => error.fmt(f),
            Self::Singular => f.write_str("the readings can't be told apart in the arithmetic"),
            Self::Restless => f.write_str(
                "no deviations of this board explain the readings, however large: the estimate does not come to rest",
            ),
        }
    }
}

impl core::error::Error for InferenceError {}

/// An estimate.
#[derive(Clone, Debug, PartialEq)]
pub struct Estimate {
    /// Every unknown in its standard uncertainty from its prior mean.
    pub z: DVector<f64>,
    /// What the linear problem sees of the readings: mean less what is expected at the prior means.
    pub innovation: DVector<f64>,
    /// Readings less what the estimate answers.
    pub residuals: DVector<f64>,
}

impl Inference {
    /// Takes sensitivities around `around`.
    ///
    /// # Errors
    /// [`InferenceError`] when the model has no answer or the conditions are not solvable.
    pub fn new(forward: &Forward<'_>, noise: &Noise, around: DVector<f64>) -> Result<Self, InferenceError> {
        let (conditions, unknowns) = (forward.conditions.len(), forward.unknowns.len());
        let mut sensitivities = DMatrix::zeros(conditions, unknowns);
        let mut work = forward.work();
        let mut row = vec![0.0; unknowns];
        for k in 0..conditions {
            forward.row(k, around.as_slice(), &mut work, &mut row)?;
            sensitivities.row_mut(k).copy_from_slice(&row);
        }
        Self::from_sensitivities(sensitivities, &noise.variance, around, forward.of_board)
    }

    /// From sensitivities and the variances of the readings.
    ///
    /// # Errors
    /// [`InferenceError::Singular`].
    pub fn from_sensitivities(
        sensitivities: DMatrix<f64>,
        variance: &[f64],
        around: DVector<f64>,
        of_board: usize,
    ) -> Result<Self, InferenceError> {
        let mut spread = &sensitivities * sensitivities.transpose();
        for (k, v) in variance.iter().enumerate() {
            spread[(k, k)] += v;
        }
        let spread = Cholesky::new(spread).ok_or(InferenceError::Singular)?;
        let gain = spread.solve(&sensitivities).transpose();
        let board = sensitivities.columns(0, of_board).into_owned();
        let seen = spread.l().solve_lower_triangular(&board).ok_or(InferenceError::Singular)?;
        Ok(Self {
            directions: directions(&seen),
            sensitivities,
            around,
            spread,
            gain,
            reading: DVector::from_iterator(variance.len(), variance.iter().map(|v| v.sqrt())),
            of_board,
        })
    }

    /// The estimate from the means `y` of the conditions; `None` if it does not come to rest with these sensitivities.
    ///
    /// # Errors
    /// [`ModelError`] when the circuit can't be solved on the way.
    pub fn estimate(&self, forward: &Forward<'_>, y: &[f64]) -> Result<Option<Estimate>, ModelError> {
        let mut work = forward.work();
        let y = DVector::from_column_slice(y);
        let mut z = self.around.clone();
        let mut answers = DVector::zeros(y.len());
        for _ in 0..STEPS {
            for (k, answer) in answers.iter_mut().enumerate() {
                *answer = forward.answer(k, z.as_slice(), &mut work)?;
            }
            let residuals = &y - &answers;
            let innovation = &residuals + &self.sensitivities * &z;
            let next = &self.gain * &innovation;
            let moved = (&next - &z).amax();
            if !moved.is_finite() {
                return Ok(None);
            }
            if moved < STANDS {
                return Ok(Some(Estimate { z: next, innovation, residuals }));
            }
            z = next;
        }
        Ok(None)
    }

    /// Solves, taking the sensitivities anew where the estimate is when it does not come to rest.
    ///
    /// # Errors
    /// [`InferenceError`].
    pub fn solve(
        forward: &Forward<'_>,
        noise: &Noise,
        y: &[f64],
    ) -> Result<(Self, Estimate), InferenceError> {
        let mut around = DVector::zeros(forward.unknowns.len());
        for _ in 0..SETS {
            let inference = Self::new(forward, noise, around.clone())?;
            if let Some(estimate) = inference.estimate(forward, y)? {
                return Ok((inference, estimate));
            }
            // One step with these sensitivities, then others.
            let mut work = forward.work();
            let mut innovation = DVector::zeros(y.len());
            for k in 0..y.len() {
                innovation[k] = y[k] - forward.answer(k, around.as_slice(), &mut work)?;
            }
            innovation += &inference.sensitivities * &around;
            around = &inference.gain * innovation;
            if !around.iter().all(|z| z.is_finite()) {
                return Err(InferenceError::Restless);
            }
        }
        Err(InferenceError::Restless)
    }

    /// `S⁻¹`.
    pub fn precision(&self) -> DMatrix<f64> {
        self.spread.inverse()
    }
}

/// Orthogonal directions `G` with `G·Gᵀ = Bᵀ·B`, the most telling first.
fn directions(seen: &DMatrix<f64>) -> DMatrix<f64> {
    // B·Bᵀ is small: as many rows as conditions.
    let eigen = (seen * seen.transpose()).symmetric_eigen();
    let mut order: Vec<usize> = (0..eigen.eigenvalues.len()).collect();
    order.sort_by(|&a, &b| eigen.eigenvalues[b].total_cmp(&eigen.eigenvalues[a]).then(a.cmp(&b)));
    order.retain(|&i| eigen.eigenvalues[i] > LEAST_SHARE);
    let mut g = DMatrix::zeros(seen.ncols(), order.len());
    for (column, &i) in order.iter().enumerate() {
        let direction = seen.transpose() * eigen.eigenvectors.column(i);
        // The sign of an eigenvector means nothing; the same one every time keeps files the same.
        let largest = direction.iter().copied().fold(0.0f64, |a, b| if b.abs() > a.abs() { b } else { a });
        g.set_column(column, &(direction * if largest < 0.0 { -1.0 } else { 1.0 }));
    }
    g
}
