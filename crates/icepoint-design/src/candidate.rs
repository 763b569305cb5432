//! One set of values, judged by the model.

use std::cmp::Ordering;

use icepoint_chain::budget::{Study, quick_error_95, quick_errors_95};
use icepoint_chain::chain::Chain;
use icepoint_chain::front_end::Values;
use icepoint_chain::situation::grid;
use icepoint_chain::{Model, ModelError};

/// How a set of values does.
#[derive(Clone, Debug)]
pub struct Assessment {
    /// The values.
    pub values: Values,
    /// Quick estimate of the largest 95 % error over the range after the calibration that the owner is willing to do, K.
    pub error_95: f64,
    /// The same without any calibration, K: what the trim has to take away.
    pub as_built_95: f64,
    /// Smallest margin to a limit of swing, input range or span, over the width allowed; negative outside.
    pub margin: f64,
    /// What is missing: the sum of all excesses, each over what is allowed; 0 if all limits hold.
    pub shortfall: f64,
}

impl Assessment {
    /// Best first: what holds its limits before what doesn't, then by error, then by values so that ties always fall
    /// the same way.
    pub fn order(&self, other: &Self) -> Ordering {
        self.shortfall.total_cmp(&other.shortfall).then(self.error_95.total_cmp(&other.error_95)).then_with(
            || {
                self.values
                    .iter()
                    .map(|v| *v.1)
                    .partial_cmp(other.values.iter().map(|v| *v.1))
                    .unwrap_or(Ordering::Equal)
            },
        )
    }
}

/// Grid of the quick judgement: ends and middle of the board's range; the hot range closely enough to see where a
/// straight line departs most from a curved emf. Hot temperatures cost little, the circuit is solved once for all.
pub(crate) fn coarse_study(model: &Model) -> Study<'_> {
    let need = &model.chain().need;
    let grid = |(a, b): (f64, f64), points| if a == b { vec![a] } else { grid((a, b), points) };
    Study::over(model, grid(need.hot, 9), grid(need.board, 3))
}

/// Quick 95 % error of a chain after the calibration it asks for, K.
///
/// # Errors
/// [`ModelError`] when the chain can't be solved.
pub(crate) fn quick_error(model: &Model) -> Result<f64, ModelError> {
    quick_error_95(&coarse_study(model), model.chain().need.calibration)
}

/// Judges a model; `excess` is what its dynamics already exceed.
pub(crate) fn assess_model(model: &Model, values: Values, excess: f64) -> Result<Assessment, ModelError> {
    let uses = model.headroom()?;
    let margin = uses.first().map_or(f64::INFINITY, |u| u.relative_margin());
    let outside: f64 = uses.iter().map(|u| (-u.relative_margin()).max(0.0)).sum();
    let deaf = open_sensor_shortfall(model)?;
    let errors = quick_errors_95(&coarse_study(model))?;
    let error_95 = errors[model.chain().need.calibration.points()];
    Ok(Assessment { values, error_95, as_built_95: errors[0], margin, shortfall: outside + excess + deaf })
}

/// What a model misses of its limits of swing, input range and span, and of the reading of a broken sensor.
///
/// # Errors
/// [`ModelError`] when the chain can't be solved.
pub(crate) fn limits_missed(model: &Model) -> Result<f64, ModelError> {
    let outside: f64 = model.headroom()?.iter().map(|u| (-u.relative_margin()).max(0.0)).sum();
    Ok(outside + open_sensor_shortfall(model)?)
}

/// A broken thermocouple must drive the reading to the end of the scale that is asked for: what is missing, over the span.
fn open_sensor_shortfall(model: &Model) -> Result<f64, ModelError> {
    let chain: &Chain = model.chain();
    let worst = model.open_sensor_shortfall()?;
    let span = (chain.need.hot.1 - chain.need.hot.0).max(1.0);
    Ok((worst / span).max(0.0))
}
