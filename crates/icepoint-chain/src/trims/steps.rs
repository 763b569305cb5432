//! What is done at the bench to adjust a board: what is applied, what is turned, and until what is seen where.

use super::Moves;
use super::report::{Report, Trim};
use crate::budget::study::Study;
use crate::chain::{CalibrationMethod, Readout};
use crate::front_end::adjustable::MIDDLE;
use crate::imperfection::Family;
use crate::model::ModelError;
use crate::statistics::{COVERAGE, coverage_factor};

/// One step of a round.
#[derive(Clone, Debug, PartialEq)]
pub struct Step {
    /// Designator of what is turned.
    pub designator: String,
    /// What it moves.
    pub moves: Moves,
    /// Temperature that the reading must then show, °C.
    pub celsius: f64,
    /// Voltage at the terminals from copper leads of the board's temperature, V; with a millivolt source.
    pub source_volts: Option<f64>,
    /// Test point of the output, if it has one.
    pub test_point: Option<String>,
    /// What it then reads with every other part nominal, V. On a board with a converter it is the reading that counts:
    /// the converter's own errors are then adjusted too, and these volts are off by them.
    pub volts: f64,
    /// How near is near enough, V: the report's `enough`.
    pub near: f64,
    /// What it reads before, of the middle 99.9 % of boards, V.
    pub before: (f64, f64),
    /// How well the adjustment is known, half-width at 95 %, K: source or bath, thermometer, the readings.
    pub known: f64,
}

/// The steps of a round in the order of the report.
///
/// # Errors
/// [`ModelError`] when the circuit can't be solved.
pub fn steps(study: &Study<'_>, report: &Report) -> Result<Vec<Step>, ModelError> {
    let mut list: Vec<&Trim> = report.trims.iter().collect();
    list.sort_by_key(|trim| trim.moves != report.first);
    list.into_iter().map(|trim| step(study, report, trim)).collect()
}

fn step(study: &Study<'_>, report: &Report, trim: &Trim) -> Result<Step, ModelError> {
    let chain = study.model.chain();
    let k = usize::from(trim.moves == Moves::Span);
    let celsius = report.points.get(k).copied().flatten().unwrap_or(f64::NAN);
    let letter = chain.probe.letter;
    let emf = |t: f64| letter.emf_and_slope_extended(t).0;
    let source_volts = match chain.plan.method {
        CalibrationMethod::MillivoltSource { .. } => Some(emf(celsius) - emf(report.board)),
        CalibrationMethod::KnownTemperature { .. } => None,
    };
    let (offset, gain) = study.model.nominal_transfer();
    let (volts, slope) = match chain.readout {
        Readout::Line { slope, offset } => (offset + slope * celsius, slope),
        _ => (
            offset + gain * (emf(celsius) - emf(report.board)),
            gain * letter.emf_and_slope_extended(celsius).1,
        ),
    };
    let ends = [volts + slope * trim.before.0, volts + slope * trim.before.1];
    Ok(Step {
        designator: trim.designator.clone(),
        moves: trim.moves,
        celsius,
        source_volts,
        test_point: chain.front_end.output_point().map(str::to_owned),
        volts,
        near: (report.enough * slope).abs(),
        before: (ends[0].min(ends[1]), ends[0].max(ends[1])),
        known: known(study, k)?,
    })
}

/// Half-width at 95 % of what the calibration itself brings in at a point, K.
fn known(study: &Study<'_>, k: usize) -> Result<f64, ModelError> {
    let mut work = study.work();
    let mut d = study.mean.clone();
    let mut variance = 0.0;
    for (i, imperfection) in study.imperfections.iter().enumerate() {
        if imperfection.family != Family::Calibration {
            continue;
        }
        let u = imperfection.distribution.standard();
        d[i] = study.mean[i] + u;
        let up = study.errors_at([MIDDLE; 2], &d, &mut work)?[k];
        d[i] = study.mean[i] - u;
        let down = study.errors_at([MIDDLE; 2], &d, &mut work)?[k];
        d[i] = study.mean[i];
        variance += (0.5 * (up - down)) * (0.5 * (up - down));
    }
    Ok(coverage_factor(COVERAGE, f64::INFINITY) * variance.sqrt())
}
