//! What a calibration left of the spread of the deviations, as the model uses it.
//!
//! **In, out.** [`crate::chain::Findings`] of the chain file in; out of a board drawn from the prior, one drawn from
//! what is known after the calibration. GUM, worst case and Monte Carlo then run as before.
//!
//! **How.** In units of the prior standard uncertainties let `z` be a board as drawn and `g` the directions (orthogonal,
//! |g| ≤ 1). The best linear estimate from the readings leaves `z − Σ g(g·z)` of the board unseen and adds the
//! readings' own errors, `Σ g·√(1 − |g|²)·η` with `η` of standard deviation 1. Both together have the covariance
//! `1 − Σ g·gᵀ` of the posterior, and what the readings could not see keeps its shape: a rectangle stays one.
//! The errors of references and readings, mixed in `η`, count as normal.

use crate::chain::Findings;
use crate::imperfection::{Imperfection, Persistence};
use crate::model::ModelError;

/// Findings in the order of a model's imperfections.
#[derive(Clone, Debug)]
pub struct BoardFindings {
    /// Index of the deviation, its estimate in units of its standard uncertainty.
    estimates: Vec<(usize, f64)>,
    /// Non-zero entries of each direction, and its length.
    directions: Vec<(Vec<(usize, f64)>, f64)>,
}

/// How much longer than 1 a direction may be: the digits that a file keeps.
const ROUNDING: f64 = 1e-3;

impl BoardFindings {
    pub(crate) fn new(findings: &Findings, list: &[Imperfection]) -> Result<Option<Self>, ModelError> {
        if findings.deviations.is_empty() {
            return Ok(None);
        }
        let mut found =
            Self { estimates: Vec::new(), directions: vec![(Vec::new(), 0.0); findings.directions()] };
        for deviation in &findings.deviations {
            let place = list.iter().position(|i| i.id == deviation.id && i.persistence == Persistence::Board);
            let Some(i) = place else {
                return Err(ModelError::Range(format!(
                    "the calibration tells of {}, which this chain has not: the chain file was changed after the board \
                     was calibrated; calibrate it anew",
                    deviation.id
                )));
            };
            found.estimates.push((i, deviation.estimate));
            for ((entries, length), &g) in found.directions.iter_mut().zip(&deviation.directions) {
                entries.push((i, g));
                *length += g * g;
            }
        }
        for (_, length) in &mut found.directions {
            if !length.is_finite() || *length > 1.0 + ROUNDING {
                return Err(ModelError::Range(
                    "the calibration says more of this board than readings can: calibrate it anew".into(),
                ));
            }
            *length = length.min(1.0).sqrt();
        }
        Ok(Some(found))
    }

    /// Number of directions that the readings could see.
    pub fn directions(&self) -> usize {
        self.directions.len()
    }

    /// Best estimate of all deviations, in their own units.
    pub fn best_estimate(&self, list: &[Imperfection]) -> Vec<f64> {
        let mut d: Vec<f64> = list.iter().map(|i| i.distribution.mean()).collect();
        for &(i, estimate) in &self.estimates {
            d[i] += estimate * list[i].distribution.standard();
        }
        d
    }

    /// Turns a board drawn from the prior into one that is drawn from what is known after the calibration; `errors`
    /// are those of the readings, one for each direction, of standard deviation 1.
    pub fn apply(&self, list: &[Imperfection], errors: &[f64], d: &mut [f64]) {
        let z = |i: usize, d: &[f64]| {
            let size = list[i].distribution;
            (d[i] - size.mean()) / size.standard()
        };
        // Orthogonal directions: each can be taken out before the next is looked at.
        for ((entries, length), error) in self.directions.iter().zip(errors) {
            let seen: f64 = entries.iter().map(|&(i, g)| g * z(i, d)).sum();
            let error = (1.0 - length * length).max(0.0).sqrt() * error;
            for &(i, g) in entries {
                d[i] += (error - seen) * g * list[i].distribution.standard();
            }
        }
        for &(i, estimate) in &self.estimates {
            d[i] += estimate * list[i].distribution.standard();
        }
    }
}
