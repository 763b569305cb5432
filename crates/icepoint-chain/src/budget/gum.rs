//! The budget by the law of propagation of uncertainty (JCGM 100:2008).
//!
//! The sensitivity of the reading to each deviation is taken over ± one standard uncertainty, `(f(+u) − f(−u))/2`,
//! as JCGM 100, 5.1.3, note 2, allows: exact for a linear chain, and for a curved one it sees the curvature that
//! matters. The calibration is part of `f`, so the contributions after a trim are what the trim leaves.

use rayon::prelude::*;

use super::study::{Study, WISHES, Work};
use crate::model::ModelError;
use crate::statistics::{COVERAGE, coverage_factor, effective_degrees_of_freedom};

/// Result at one grid point for one calibration choice.
#[derive(Clone, Debug, PartialEq)]
pub struct GumPoint {
    /// Reading with every deviation at its mean, °C.
    pub reading: f64,
    /// Combined standard uncertainty, K.
    pub standard: f64,
    /// Effective degrees of freedom.
    pub degrees_of_freedom: f64,
    /// Coverage factor for 95 %.
    pub k: f64,
    /// Signed contribution of every imperfection of the study, K: its standard uncertainty times the sensitivity.
    pub contributions: Vec<f64>,
}

impl GumPoint {
    /// Expanded uncertainty for 95 %, K.
    pub fn expanded(&self) -> f64 {
        self.k * self.standard
    }
}

/// Signed contributions of standard uncertainties: `[wish · points + point][imperfection]`, and the readings at the
/// means.
///
/// # Errors
/// [`ModelError`] when the circuit can't be solved at a deviation of one standard uncertainty.
pub fn contributions(study: &Study) -> Result<(Vec<f64>, Vec<Vec<f64>>), ModelError> {
    let (centre, columns) = columns(study)?;
    let rows = (0..centre.len()).map(|p| columns.iter().map(|c| c[p]).collect()).collect();
    Ok((centre, rows))
}

/// The same by imperfection: the readings at the means, and `[imperfection][wish · points + point]`.
pub(crate) fn columns(study: &Study) -> Result<(Vec<f64>, Vec<Vec<f64>>), ModelError> {
    let size = WISHES * study.points();
    let mut centre = vec![0.0; size];
    study.readings(&study.mean, &mut study.work(), &mut centre)?;
    let column = |i: usize, work: &mut Work, d: &mut [f64], up: &mut [f64], down: &mut [f64]| {
        let u = study.imperfections[i].distribution.standard();
        work.moves(study, i);
        d.copy_from_slice(&study.mean);
        d[i] = study.mean[i] + u;
        study.readings(d, work, up)?;
        d[i] = study.mean[i] - u;
        study.readings(d, work, down)?;
        Ok(up.iter().zip(down.iter()).map(|(a, b)| 0.5 * (a - b)).collect())
    };
    let (mut up, mut down) = (vec![0.0; size], vec![0.0; size]);
    let all = 0..study.imperfections.len();
    // Near the mean each is soon done, and what is solved for one serves the others.
    let columns: Result<Vec<Vec<f64>>, ModelError> = match study.work_near_the_mean()? {
        Some(mut work) => {
            let mut d = study.mean.clone();
            all.map(|i| column(i, &mut work, &mut d, &mut up, &mut down)).collect()
        }
        None => all
            .into_par_iter()
            // Threads cost more than a few of these.
            .with_min_len(16)
            .map_init(
                || (study.work(), study.mean.clone(), up.clone(), down.clone()),
                |(work, d, up, down), i| column(i, work, d, up, down),
            )
            .collect(),
    };
    Ok((centre, columns?))
}

/// Combines contributions (JCGM 100, 5.1.2 and G.4): standard uncertainty, effective degrees of freedom, factor for
/// 95 %.
pub fn combine(contributions: &[f64], degrees_of_freedom: &[f64]) -> (f64, f64, f64) {
    let standard = contributions.iter().map(|c| c * c).sum::<f64>().sqrt();
    let dof =
        effective_degrees_of_freedom(contributions.iter().copied().zip(degrees_of_freedom.iter().copied()));
    // JCGM 100, G.4.2: truncate to the next lower integer.
    let k = coverage_factor(COVERAGE, if dof.is_finite() { dof.floor() } else { dof });
    (standard, dof, k)
}

/// The whole grid: `[wish · points + point]`.
///
/// # Errors
/// As [`contributions`].
pub fn evaluate(study: &Study) -> Result<Vec<GumPoint>, ModelError> {
    let (centre, rows) = contributions(study)?;
    Ok(centre
        .into_iter()
        .zip(rows)
        .map(|(reading, contributions)| {
            let (standard, degrees_of_freedom, k) = combine(&contributions, &study.degrees_of_freedom);
            GumPoint { reading, standard, degrees_of_freedom, k, contributions }
        })
        .collect())
}
