//! The worst case: every deviation at the end of its range that hurts most.
//!
//! The sign of each contribution says which end. The reading is then evaluated there with the whole model, not summed
//! from sensitivities, and every deviation is tried at its other end once; what makes the error larger is kept.

use rayon::prelude::*;

use super::gum::GumPoint;
use super::study::{Study, Work};
use crate::model::ModelError;

/// Lowest and highest error at a point, K.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WorstCase {
    /// Lowest reading less true temperature.
    pub low: f64,
    /// Highest.
    pub high: f64,
}

/// The whole grid: `[wish · points + point]`.
///
/// # Errors
/// [`ModelError`] when the circuit can't be solved at a vertex.
pub fn evaluate(study: &Study, gum: &[GumPoint]) -> Result<Vec<WorstCase>, ModelError> {
    let points = study.points();
    gum.par_iter()
        .enumerate()
        .map_init(
            || (study.work(), study.mean.clone()),
            |(work, d), (index, point)| {
                let (wish, at) = (index / points, index % points);
                let low = extreme(study, wish, at, &point.contributions, -1.0, work, d)?;
                let high = extreme(study, wish, at, &point.contributions, 1.0, work, d)?;
                Ok(WorstCase { low, high })
            },
        )
        .collect()
}

fn extreme(
    study: &Study,
    wish: usize,
    point: usize,
    contributions: &[f64],
    direction: f64,
    work: &mut Work,
    d: &mut [f64],
) -> Result<f64, ModelError> {
    let truth = study.temperatures(point).0;
    for ((d, imperfection), c) in d.iter_mut().zip(&study.imperfections).zip(contributions) {
        let (low, high) = imperfection.distribution.limits();
        *d = if c * direction > 0.0 {
            high
        } else if c * direction < 0.0 {
            low
        } else {
            imperfection.distribution.mean()
        };
    }
    let mut worst = study.reading(wish, point, d, work)?;
    for (i, imperfection) in study.imperfections.iter().enumerate() {
        if contributions[i] == 0.0 {
            continue;
        }
        let (low, high) = imperfection.distribution.limits();
        let before = d[i];
        d[i] = if before == high { low } else { high };
        let other = study.reading(wish, point, d, work)?;
        if (other - worst) * direction > 0.0 {
            worst = other;
        } else {
            d[i] = before;
        }
    }
    Ok(worst - truth)
}
