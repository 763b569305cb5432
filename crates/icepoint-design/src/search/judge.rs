//! One board on the way of a search, judged by the model as far as it is of interest.

use icepoint_chain::front_end::Values;
use icepoint_chain::resolve::Resolved;
use icepoint_chain::taps;
use icepoint_chain::{Model, ModelError};

use super::fit::{Fits, chain};
use super::offers::Stock;
use crate::candidate::{Assessment, Limits, assess, at_least};
use crate::trims;

/// A board this much worse, share of the error, can't be taken for any of the reasons above and below.
const STILL_OF_INTEREST: f64 = 0.005;
/// Times the time allowed after which nobody looks any longer.
const FAR_TOO_SLOW: f64 = 60.0;

/// How good a board must be for its whole judgement to be of interest.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Needed {
    /// It misses no more than this.
    pub shortfall: f64,
    /// If it misses nothing, its weighed error is no more than this, K.
    pub error: f64,
    /// Where the error was largest in the board that it must match: hot and board temperature, °C.
    pub worst: (f64, f64),
}

impl Needed {
    /// Everything is of interest.
    pub const ALL: Self =
        Self { shortfall: f64::INFINITY, error: f64::INFINITY, worst: (f64::NAN, f64::NAN) };

    /// To be as good as this one, or so little worse that another reason may speak for it.
    pub fn by(a: &Assessment) -> Self {
        // Of two that miss something the one that misses less is better whatever its error.
        let error = if a.shortfall > 0.0 { f64::INFINITY } else { a.weighed() * (1.0 + STILL_OF_INTEREST) };
        Self { shortfall: a.shortfall, error, worst: a.worst }
    }

    pub fn rules_out(&self, found: &Assessment) -> bool {
        found.shortfall > self.shortfall || (found.error_95.is_finite() && found.error_95 > self.error)
    }
}

/// Which boards are judged with their noise: it takes longest, and tells little about one that misses a limit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Noise {
    OfAll,
    OfGoodBoards,
}

/// Judges a board in everything: error with its noise, limits, time to settle, mains residual.
pub(crate) fn judge(stock: &Stock<'_>, fits: &Fits) -> Result<Assessment, ModelError> {
    judge_needed(stock, fits, Needed::ALL, Noise::OfAll, stock.broken)
}

/// [`judge`], but of a board that can't be as good as it must only what that was seen from is told: most of the work is in
/// noise, mains and time, and in the errors all over the range. `broken`: whether the reading of a broken sensor counts.
pub(crate) fn judge_needed(
    stock: &Stock<'_>,
    fits: &Fits,
    needed: Needed,
    noise: Noise,
    broken: bool,
) -> Result<Assessment, ModelError> {
    let resolved = stock.resolved;
    let values = values(resolved, fits);
    let need = resolved.chain.need;
    let mut chain = chain(resolved, &values, fits, true);
    // Trims do what a correction does; adjusting every candidate by them would take four times as long.
    let turned = trims::are_turned(&chain);
    if turned {
        chain.trims = None;
    }
    let model = match stock.usual() {
        Some(usual) => Model::without_dynamics_like(chain, usual)?,
        None => Model::without_dynamics(chain)?,
    };
    let mut limits = Limits::new(&model, broken)?;
    if turned {
        limits.missed += trims::off_centre(&model)?;
    }
    if limits.missed > needed.shortfall {
        return Ok(broken_off(values, limits, f64::INFINITY));
    }
    if needed.error.is_finite() {
        let error = at_least(&model, needed.worst)?;
        if error > needed.error {
            return Ok(broken_off(values, limits, error));
        }
    }
    if !resolved.blueprint.taps.is_empty() {
        limits = limits.and_taps(&taps::other_types(resolved, model.chain())?, need.accuracy);
        if limits.missed > needed.shortfall {
            return Ok(broken_off(values, limits, f64::INFINITY));
        }
    }
    if need.settle_within.is_finite() {
        let mut total = model.quick_settling(1.5 * need.settle_within)?.total();
        if total.is_none() {
            // Far too slow: how far tells the walk which way to go.
            total = model.quick_settling(FAR_TOO_SLOW * need.settle_within)?.total();
        }
        limits = limits.and(total.map_or(1.0 + FAR_TOO_SLOW, |t| t / need.settle_within));
        if limits.missed > needed.shortfall {
            return Ok(broken_off(values, limits, f64::INFINITY));
        }
    }
    if need.mains_residual.is_finite() {
        limits = limits.and(model.mains_kelvin_alone()? / need.mains_residual);
        if limits.missed > needed.shortfall {
            return Ok(broken_off(values, limits, f64::INFINITY));
        }
    }
    if limits.missed > 0.0 && noise == Noise::OfGoodBoards {
        return assess(&model, values, limits);
    }
    assess(&model.with_quick_dynamics()?, values, limits)
}

fn broken_off(values: Values, limits: Limits, error_95: f64) -> Assessment {
    Assessment {
        values,
        error_95,
        as_built_95: f64::INFINITY,
        taps: limits.taps,
        margin: limits.margin,
        shortfall: limits.missed,
        partial: true,
        worst: (f64::NAN, f64::NAN),
    }
}

/// Values of fits, and those that the user fixed.
pub(crate) fn values(resolved: &Resolved, fits: &Fits) -> Values {
    let mut values = resolved.fixed.clone();
    values.extend(fits.iter().map(|(d, fit)| (d.clone(), fit.value())));
    values
}
