//! One set of values, judged by the model.

use std::cmp::Ordering;

use icepoint_chain::budget::{QuickWorst, Study, quick_error_95, quick_worst_95};
use icepoint_chain::chain::Chain;
use icepoint_chain::front_end::{Part, PartKind, Values};
use icepoint_chain::situation::grid;
use icepoint_chain::taps::TapUse;
use icepoint_chain::{Model, ModelError};

/// How a set of values does.
#[derive(Clone, Debug)]
pub struct Assessment {
    /// The values.
    pub values: Values,
    /// Quick estimate of the largest 95 % error over the range after the calibration that the owner is willing to do, K; on
    /// the way of a search that of a board which misses a limit lacks noise and mains.
    pub error_95: f64,
    /// The same without any calibration, K: what the trim has to take away.
    pub as_built_95: f64,
    /// Root mean square of what the compensation leaves on the taps of other types, K; 0 without taps.
    pub taps: f64,
    /// Smallest margin to a limit of swing, input range or span, over the width allowed, and half of what is left of the
    /// time to settle and of the mains residual, where they are judged; negative outside.
    pub margin: f64,
    /// What is missing: the sum of all excesses, each over what is allowed; 0 if all limits hold.
    pub shortfall: f64,
    /// Whether the judgement was broken off: `shortfall` and `error_95` are then only what was found so far, and the whole is
    /// not less; but an `error_95` that was not looked at is infinite.
    pub partial: bool,
    /// Where the error is largest: hot and board temperature, °C.
    pub worst: (f64, f64),
}

/// What room to the limits is worth: a board at a limit counts as having this share more error than one with [`ENOUGH`].
const ROOM: f64 = 0.01;
/// Margin beyond which more room is worth nothing: nine tenths of a limit are used.
const ENOUGH: f64 = 0.05;

/// What a kelvin before calibration counts against one after it, where errors are alike.
const TRIM_WEIGHT: f64 = 0.01;

/// An error with what the smallest margin to a limit adds to it where errors are alike.
pub(crate) fn with_room(error: f64, margin: f64) -> f64 {
    error * (1.0 + ROOM * (1.0 - (margin / ENOUGH).clamp(0.0, 1.0)))
}

impl Assessment {
    /// The error by which boards are ordered, K: among boards of alike error the one with room to its limits is better, and
    /// what other types have to suffer on their taps counts as a contribution that is independent.
    pub fn weighed(&self) -> f64 {
        with_room(self.error(), self.margin)
    }

    /// The same with a little of what the calibration takes away, K: a trim hides a gain that is far off, but a trim has an
    /// end.
    pub fn with_calibration(&self) -> f64 {
        self.weighed() + TRIM_WEIGHT * self.as_built_95
    }

    /// The error with what other types have to suffer on their taps, K.
    pub fn error(&self) -> f64 {
        if self.taps > 0.0 { libm::hypot(self.error_95, self.taps) } else { self.error_95 }
    }

    /// Best first: what holds its limits before what doesn't, then by error, then by values so that ties always fall
    /// the same way.
    pub fn order(&self, other: &Self) -> Ordering {
        self.shortfall.total_cmp(&other.shortfall).then(self.weighed().total_cmp(&other.weighed())).then_with(
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
    let (hot, board) = coarse_grid(model);
    Study::over(model, hot, board)
}

fn coarse_grid(model: &Model) -> (Vec<f64>, Vec<f64>) {
    let need = &model.chain().need;
    let grid = |(a, b): (f64, f64), points| if a == b { vec![a] } else { grid((a, b), points) };
    (grid(need.hot, 9), grid(need.board, 3))
}

/// Quick 95 % error of a chain after the calibration it asks for, K.
///
/// # Errors
/// [`ModelError`] when the chain can't be solved.
pub(crate) fn quick_error(model: &Model) -> Result<f64, ModelError> {
    quick_error_95(&coarse_study(model), model.chain().need.calibration)
}

/// Limits of swing, input range and span, and the reading of a broken sensor: what no noise and no mains alters.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Limits {
    /// Smallest margin of a pin over the width allowed.
    pub margin: f64,
    /// What is missing, the sum of all excesses.
    pub missed: f64,
    /// Root mean square of the errors on the taps of other types, K.
    pub taps: f64,
}

impl Limits {
    /// Of a model, with or without its dynamics; `broken`: whether the reading of a broken sensor counts.
    ///
    /// # Errors
    /// [`ModelError`] when the chain can't be solved.
    pub fn new(model: &Model, broken: bool) -> Result<Self, ModelError> {
        let uses = model.headroom()?;
        let margin = uses.iter().map(|u| u.room_at_pin()).fold(f64::INFINITY, f64::min);
        let outside: f64 = uses.iter().map(|u| (-u.relative_margin()).max(0.0)).sum();
        let short = if broken { open_sensor_shortfall(model)? } else { 0.0 };
        Ok(Self { margin, missed: outside + short, taps: 0.0 })
    }

    /// With a limit of which this share is used.
    pub fn and(self, used: f64) -> Self {
        // Of a range one half is on either side of its middle.
        let margin = self.margin.min(0.5 * (1.0 - used));
        Self { margin, missed: self.missed + (used - 1.0).max(0.0), ..self }
    }

    /// With the taps of other types, each a limit of its own.
    pub fn and_taps(self, taps: &[TapUse], accuracy: f64) -> Self {
        let squares: f64 = taps.iter().map(|t| t.error * t.error).sum();
        let taps_of = Self { taps: (squares / taps.len().max(1) as f64).sqrt(), ..self };
        taps.iter().fold(taps_of, |limits, tap| limits.and(tap.used(accuracy)))
    }
}

/// The errors of a model that uses its limits so; amplifiers count as if they had none, as the limits tell how far
/// beyond them it is.
///
/// # Errors
/// [`ModelError`] when the chain can't be solved.
pub(crate) fn assess(model: &Model, values: Values, limits: Limits) -> Result<Assessment, ModelError> {
    let wish = model.chain().need.calibration;
    let (hot, board) = coarse_grid(model);
    let errors = quick_worst_95(&Study::quick(model, hot, board, wish))?;
    let QuickWorst { error_95, hot, board } = errors[wish.points()];
    let Limits { margin, missed, taps } = limits;
    Ok(Assessment {
        values,
        error_95,
        as_built_95: errors[0].error_95,
        taps,
        margin,
        shortfall: missed,
        partial: false,
        worst: (hot, board),
    })
}

/// Error that a model has at least, K, after the calibration that is asked for: that at a single point, without noise and
/// mains if it is a static model. A residue behind a detection pulse has a sign and could make up for
/// other errors; with one there is no bound.
///
/// # Errors
/// [`ModelError`] when the chain can't be solved.
pub(crate) fn at_least(model: &Model, (hot, board): (f64, f64)) -> Result<f64, ModelError> {
    let pulsed =
        |p: &Part| matches!(&p.kind, PartKind::DetectionCurrent { figures, .. } if figures.pulse.is_some());
    if model.chain().front_end.parts.iter().any(pulsed) {
        return Ok(0.0);
    }
    let wish = model.chain().need.calibration;
    quick_error_95(&Study::quick(model, vec![hot], vec![board], wish), wish)
}

/// A broken thermocouple must drive the reading to the end of the scale that is asked for: what is missing, over the span.
fn open_sensor_shortfall(model: &Model) -> Result<f64, ModelError> {
    let chain: &Chain = model.chain();
    let worst = model.open_sensor_shortfall()?;
    let span = (chain.need.hot.1 - chain.need.hot.0).max(1.0);
    Ok((worst / span).max(0.0))
}
