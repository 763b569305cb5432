//! Readings that can't be used: lines that are not there, circuits at a limit, and what no such board would read.

use icepoint_chain::file::Problem;
use icepoint_chain::model::ModelError;

use super::condition::{self, Condition, Kind};
use super::forward::Forward;
use super::readings::Readings;
use super::{CalibrationError, Calibrator, expected_standard, refuse};

/// Standard uncertainties beyond which a reading is no reading of this board: a unit or a column was mixed up.
const NONSENSE: f64 = 12.0;

/// The readings without some lines.
pub(super) fn without(readings: &Readings, lines: &[usize]) -> Result<Readings, CalibrationError> {
    let mut used = readings.clone();
    if lines.is_empty() {
        return Ok(used);
    }
    used.rows.retain(|row| !lines.contains(&row.line));
    let unknown: Vec<String> = lines
        .iter()
        .filter(|line| readings.rows.iter().all(|row| row.line != **line))
        .map(usize::to_string)
        .collect();
    let mut problems = Vec::new();
    if !unknown.is_empty() {
        problems.push(
            Problem::new("readings.no_such_line", format!("no reading on line {}", unknown.join(", ")))
                .help("lines are counted as an editor does, the header included"),
        );
    }
    if used.rows.is_empty() {
        problems.push(Problem::new("readings.empty", "no reading is left"));
    }
    refuse(readings, problems)?;
    Ok(used)
}

/// Conditions that are solved together: the work grows with their cube.
pub(super) const MOST_CONDITIONS: usize = 2000;

/// More conditions than can be solved, though neighbours were brought together.
pub(super) fn too_many(conditions: &[Condition]) -> Vec<Problem> {
    let Some(first_beyond) = conditions.get(MOST_CONDITIONS) else { return Vec::new() };
    let message = format!(
        "{} different conditions after neighbours were brought together; at most {MOST_CONDITIONS} are solved",
        conditions.len()
    );
    vec![
        Problem::new("readings.too_many_conditions", message)
            .at(first_beyond.span, "one more here")
            .expected("readings at the same input, board temperature, reference and occasion count as one condition")
            .help("fewer different words under reference, session and uncertainty, or a part of the file"),
    ]
}

/// Conditions under which the model's own circuit is at a limit.
pub(super) fn outside(forward: &Forward<'_>) -> Result<Vec<Problem>, ModelError> {
    let mut work = forward.work();
    let mut problems = Vec::new();
    for (k, condition) in forward.conditions.iter().enumerate() {
        if !forward.inside(k, &mut work)? {
            let words = format!("{}: the circuit or the converter is at a limit there", condition.words());
            problems.push(
                Problem::new("readings.beyond_circuit", words)
                    .at(condition.span, "says nothing of the board")
                    .help("take the row away; `icepoint budget` tells which limit of the range binds"),
            );
        }
    }
    Ok(problems)
}

/// Readings that are no readings of such a board.
pub(super) fn nonsense(calibrator: &Calibrator<'_>, means: &[f64]) -> Result<Vec<Problem>, ModelError> {
    let forward = &calibrator.forward;
    let zero = vec![0.0; forward.unknowns.len()];
    let mut work = forward.work();
    let mut problems = Vec::new();
    for (k, condition) in forward.conditions.iter().enumerate() {
        let expected = forward.answer(k, &zero, &mut work)?;
        let standard = expected_standard(&calibrator.inference, k);
        let off = means[k] - expected;
        if off.is_finite() && off.abs() <= NONSENSE * standard {
            continue;
        }
        let unit = match condition.kind {
            Kind::Celsius => "°C",
            other => other.unit(),
        };
        problems.push(
            Problem::new(
                "readings.nonsense",
                format!(
                    "{}: {} {unit} was read, a board of this design gives {} {unit} ± {}",
                    condition.words(),
                    significant(means[k], standard),
                    significant(expected, standard),
                    rounded_up(3.0 * standard),
                ),
            )
            .at(condition.span, "no reading of such a board")
            .expected("readings within what the budget allows, ten times over")
            .help("units or columns mixed up, leads swapped, another board or another chain file?"),
        );
    }
    Ok(problems)
}

/// To one significant digit, never less than it is.
fn rounded_up(value: f64) -> String {
    let decade = libm::pow(10.0, libm::floor(libm::log10(value.max(1e-30))));
    condition::trimmed(decade * libm::ceil(value / decade - 1e-9), 9)
}

/// To a digit below the standard uncertainty.
pub fn significant(value: f64, standard: f64) -> String {
    let places =
        if standard > 0.0 { (1.0 - libm::floor(libm::log10(standard))).clamp(0.0, 9.0) } else { 6.0 };
    condition::trimmed(value, places as usize)
}
