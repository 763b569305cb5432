//! The whole answer: values, budget, which limit binds, what upgrades would buy, and whether the need is met.

use icepoint_chain::budget::Budget;
use icepoint_chain::chain::CalibrationWish;
use icepoint_chain::dynamics::Settling;
use icepoint_chain::front_end::Values;
use icepoint_chain::headroom::LimitUse;
use icepoint_chain::overvoltage;
use icepoint_chain::resolve::Resolved;
use icepoint_chain::taps::{self, TapUse};
use icepoint_chain::trims::report::{ROUNDS, WANTED};
use icepoint_chain::trims::{Constants, Report, Trims};
use icepoint_chain::{Model, ModelError};

use crate::compare::Compared;
use crate::levers;
use crate::records::RecordChoice;
use crate::search::{self, Filled, Fits, Selection};
use crate::trims;
use crate::upgrades::{Upgrade, upgrades};

/// A designed board.
#[derive(Debug)]
pub struct Design {
    /// The chain file it answers, with what was left open.
    pub resolved: Resolved,
    /// All values of the front end, by designator, Ω or F.
    pub values: Values,
    /// What was chosen for the open places: one part each, or two in series or in parallel.
    pub fits: Fits,
    /// Place by place what would be ideal, what the choice costs and what would be worth buying; with a drawer only.
    pub places: Vec<Filled>,
    /// The model of the board.
    pub model: Model,
    /// Its budget.
    pub budget: Budget,
    /// How every limit of swing, input range and span is used.
    pub headroom: Vec<LimitUse>,
    /// Step response and settling time.
    pub settling: Settling,
    /// Amplitude of what the mains leaves in the reading where the thermocouple is least sensitive, K.
    pub mains_kelvin: f64,
    /// Limits by how much of them is used; the first binds.
    pub bounds: Vec<Bound>,
    /// The most useful upgrades, best first.
    pub upgrades: Vec<Upgrade>,
    /// Whether the need is met.
    pub verdict: Verdict,
    /// Sets of values judged.
    pub tried: usize,
    /// Every tap with every type that has one; empty for a circuit without taps.
    pub taps: Vec<TapUse>,
    /// Largest voltage between the measuring junction and the board's ground that its clamps withstand, V; `None` for a
    /// board without clamps.
    pub withstands: Option<f64>,
    /// What its adjustable resistors can do, when it has some.
    pub trims: Option<Report>,
    /// The constants that its firmware keeps instead, when that is asked for.
    pub constants: Option<Constants>,
    /// The front ends that it was compared with.
    pub compared: Option<Compared>,
    /// Converters, voltage references and junction sensors that were tried.
    pub records: Vec<RecordChoice>,
}

/// A limit and how much of it is used.
#[derive(Clone, Debug, PartialEq)]
pub struct Bound {
    /// Which limit.
    pub what: String,
    /// Share used: 1 is at the limit.
    pub used: f64,
    /// Figures, in words.
    pub detail: String,
}

/// Whether the need is met.
#[derive(Clone, Debug, PartialEq)]
pub struct Verdict {
    /// Largest 95 % error over the range after the calibration that the owner is willing to do, K.
    pub error_95: f64,
    /// What was asked, K.
    pub accuracy: f64,
    /// Everything that is not met, in words; empty if the need is met.
    pub misses: Vec<String>,
}

impl Verdict {
    /// Whether all is met.
    pub fn met(&self) -> bool {
        self.misses.is_empty()
    }
}

/// Chooses the open values and answers everything about the board. `progress` is told Monte Carlo trials as they are
/// done.
///
/// # Errors
/// [`ModelError`] when no circuit of this topology can be solved with these parts.
pub fn design(resolved: Resolved, progress: &(dyn Fn(u32) + Sync)) -> Result<Design, ModelError> {
    let (resolved, selection) = trims::choose(resolved, search::choose)?;
    answer(resolved, selection, progress)
}

/// What is known of a board before upgrades are looked at.
pub(crate) struct Outline {
    pub model: Model,
    pub budget: Budget,
    pub headroom: Vec<LimitUse>,
    pub settling: Settling,
    pub mains_kelvin: f64,
    pub bounds: Vec<Bound>,
    pub verdict: Verdict,
    pub trims: Option<Report>,
    pub constants: Option<Constants>,
    pub taps: Vec<TapUse>,
}

impl Outline {
    /// Smallest margin to a limit over the width allowed; the accuracy and what trims leave are none.
    pub fn margin(&self) -> f64 {
        let limits = self.bounds.iter().filter(|b| !NO_LIMITS.contains(&b.what.as_str()));
        limits.map(|b| 0.5 * (1.0 - b.used)).fold(f64::INFINITY, f64::min)
    }
}

/// Bounds that are no limits of the circuit, by name.
const NO_LIMITS: [&str; 3] = ["accuracy", ADJUSTABLE, ROUNDS_OF_ADJUSTMENT];
const ADJUSTABLE: &str = "adjustable boards";
const ROUNDS_OF_ADJUSTMENT: &str = "rounds of adjustment";

/// Budget, limits and verdict of a board whose values are chosen.
pub(crate) fn outline(resolved: &Resolved, selection: &Selection) -> Result<Outline, ModelError> {
    outline_telling(resolved, selection, &|_| {})
}

fn outline_telling(
    resolved: &Resolved,
    selection: &Selection,
    progress: &(dyn Fn(u32) + Sync),
) -> Result<Outline, ModelError> {
    let model = Model::new(search::chain(resolved, &selection.values, &selection.fits, true))?;
    let budget = Budget::new(&model, progress)?;
    let headroom = model.headroom()?;
    let settling = settling(&model)?;
    let mains_kelvin = model.mains_kelvin();
    let error_95 = budget.error_95(model.chain().need.calibration);
    let short = model.open_sensor_shortfall()?;
    let trims = Report::new(&model)?;
    let stored = matches!(model.chain().trims, Some(Trims::Constants));
    let constants = if stored { Constants::new(&model)? } else { None };
    let mut bounds = bounds(&model, &headroom, &settling, mains_kelvin, error_95, short);
    let taps = taps::table(resolved, model.chain())?;
    bounds.extend(other_types(&taps, &model));
    bounds.extend(adjustable(trims.as_ref(), constants.as_ref()));
    bounds.extend(trims.as_ref().and_then(rounds));
    let why = trims_to_blame(resolved, selection, &bounds, trims.as_ref())?;
    bounds.sort_by(|a, b| b.used.total_cmp(&a.used).then_with(|| a.what.cmp(&b.what)));
    let verdict = verdict(&model, &budget, &bounds, error_95, why.as_deref());
    Ok(Outline { model, budget, headroom, settling, mains_kelvin, bounds, verdict, trims, constants, taps })
}

/// Answers everything about a board whose values are chosen.
pub(crate) fn answer(
    resolved: Resolved,
    selection: Selection,
    progress: &(dyn Fn(u32) + Sync),
) -> Result<Design, ModelError> {
    let Outline { model, budget, headroom, settling, mains_kelvin, bounds, verdict, trims, constants, taps } =
        outline_telling(&resolved, &selection, progress)?;
    let places = search::look_at(&resolved, &selection)?;
    let Selection { values, fits, tried, .. } = selection;
    // Twins too: whoever writes the values down needs all of them.
    let slots = resolved.blueprint.slots.iter();
    let all =
        slots.filter_map(|s| Some((s.designator.clone(), resolved.blueprint.value(&s.designator, &values)?)));
    let values = all.collect();
    let upgrades = upgrades(&model, verdict.error_95)?;
    let withstands = overvoltage::withstood(model.chain())?;
    Ok(Design {
        values,
        fits,
        places,
        budget,
        headroom,
        settling,
        mains_kelvin,
        bounds,
        upgrades,
        verdict,
        tried,
        taps,
        withstands,
        trims,
        constants,
        compared: None,
        records: Vec::new(),
        model,
        resolved,
    })
}

/// Looks as long as it takes to tell a settling time, up to [`LONGEST_LOOK`] times what is asked.
fn settling(model: &Model) -> Result<Settling, ModelError> {
    const LONGEST_LOOK: f64 = 1000.0;
    let asked = model.chain().need.settle_within;
    let (mut duration, most) =
        if asked.is_finite() { (1.5 * asked, LONGEST_LOOK * asked) } else { (20.0, 20e3) };
    loop {
        let found = model.settling(duration)?;
        if found.analog.is_some() || duration > most {
            return Ok(found);
        }
        duration *= 5.0;
    }
}

/// Values for every slot: the user's own, and for the open ones the best that the search finds.
///
/// # Errors
/// As [`design`].
pub fn values(resolved: &Resolved) -> Result<Values, ModelError> {
    Ok(trims::choose(resolved.clone(), search::choose)?.1.values)
}

/// `short`: how far a broken thermocouple may stay short of the end of the scale that is asked for, K.
fn bounds(
    model: &Model,
    headroom: &[LimitUse],
    settling: &Settling,
    mains: f64,
    error: f64,
    short: f64,
) -> Vec<Bound> {
    let need = &model.chain().need;
    let mut list: Vec<Bound> = headroom
        .iter()
        .map(|u| Bound {
            what: u.what.clone(),
            used: 1.0 - 2.0 * u.relative_margin(),
            detail: format!(
                "{:.3} V of {:.3} V to {:.3} V at {:.0} °C, board at {:.0} °C, every part at its limit",
                u.volts, u.allowed.0, u.allowed.1, u.hot, u.board
            ),
        })
        .collect();
    if need.settle_within.is_finite() {
        let (used, took) = match settling.total() {
            Some(t) => (t / need.settle_within, format!("{t:.2} s")),
            None => (f64::INFINITY, "no end seen".into()),
        };
        let detail =
            format!("{took} of {:.2} s to within {} % of a step", need.settle_within, 100.0 * need.settle_to);
        list.push(Bound { what: "settling time".into(), used, detail });
    }
    if need.mains_residual.is_finite() {
        let detail = format!("{mains:.3} K of {:.3} K", need.mains_residual);
        list.push(Bound { what: "mains residual".into(), used: mains / need.mains_residual, detail });
    }
    if short > 0.0 {
        let detail = format!(
            "open, it may read {short:.0} K short of the end of the range ({}), every part at its limit",
            need.broken_sensor.name()
        );
        let span = (need.hot.1 - need.hot.0).max(1.0);
        list.push(Bound { what: "broken thermocouple".into(), used: 1.0 + short / span, detail });
    }
    let detail = format!("{error:.2} K of {:.2} K at 95 %", need.accuracy);
    list.push(Bound { what: "accuracy".into(), used: error / need.accuracy, detail });
    list
}

/// The taps of types that the board is not designed for: the worst of them, or all that are beyond their limit.
fn other_types(taps: &[TapUse], model: &Model) -> Option<Bound> {
    let accuracy = model.chain().need.accuracy;
    let mut counted: Vec<&TapUse> = taps.iter().filter(|t| t.counts()).collect();
    counted.sort_by(|a, b| b.error.total_cmp(&a.error));
    let worst = counted.first()?;
    let beyond = counted.iter().filter(|t| t.used(accuracy) > 1.0).count();
    let told: Vec<String> = counted
        .iter()
        .take(beyond.max(1))
        .map(|t| format!("{:.2} K for type {} on {}", t.error, t.letter.name(), t.node))
        .collect();
    let (low, high) = model.chain().need.board;
    let detail = format!(
        "{} of {:.2} K, half of the accuracy asked, that the compensation may leave with the board at {low:.0} °C to \
         {high:.0} °C",
        told.join(", "),
        worst.allowed(accuracy)
    );
    Some(Bound { what: "taps of other types".into(), used: worst.used(accuracy), detail })
}

/// The boards that nothing puts right, against the one of a thousand that may be so.
fn adjustable(trims: Option<&Report>, constants: Option<&Constants>) -> Option<Bound> {
    let per_cent = |share: f64| libm::floor(1e4 * share + 1e-9) / 100.0;
    let (share, how) = match (trims, constants) {
        (Some(report), _) => {
            let names: Vec<&str> = report.trims.iter().map(|t| t.designator.as_str()).collect();
            (
                report.reached,
                format!("of {} boards can be adjusted by {}", report.boards, names.join(" and ")),
            )
        }
        (None, Some(c)) => (
            c.inside,
            format!("of {} boards stay inside of every limit, so that constants can do it", c.boards),
        ),
        (None, None) => return None,
    };
    let detail = format!("{} % {how}; {} % are wanted", per_cent(share), per_cent(WANTED));
    Some(Bound { what: ADJUSTABLE.into(), used: (1.0 - share) / (1.0 - WANTED), detail })
}

/// Zero and span that can't be adjusted one after the other.
fn rounds(report: &Report) -> Option<Bound> {
    if report.trims.len() < 2 || report.rounds.is_some() {
        return None;
    }
    let left = report.left.last().map_or(f64::INFINITY, |left| left[0]);
    let detail = format!(
        "after {ROUNDS} rounds of zero and span up to {left:.2} K are left at one of the points, {:.2} K may be",
        report.enough
    );
    Some(Bound { what: ROUNDS_OF_ADJUSTMENT.into(), used: left / report.enough, detail })
}

/// What the trims have to do with what is missed.
fn trims_to_blame(
    resolved: &Resolved,
    selection: &Selection,
    bounds: &[Bound],
    report: Option<&Report>,
) -> Result<Option<String>, ModelError> {
    let Some(report) = report else { return Ok(None) };
    let missed = |what: &str| bounds.iter().any(|b| b.what == what && b.used > 1.0);
    let reached = !missed(ADJUSTABLE) && !missed(ROUNDS_OF_ADJUSTMENT);
    if reached && !missed("accuracy") {
        return Ok(None);
    }
    let why = levers::why_not(resolved, selection, report, reached)?;
    Ok(why.map(|why| format!("trims: {why}")))
}

fn verdict(model: &Model, budget: &Budget, bounds: &[Bound], error_95: f64, trims: Option<&str>) -> Verdict {
    let need = &model.chain().need;
    let wish = need.calibration;
    let mut misses = Vec::new();
    for bound in bounds.iter().filter(|b| b.used > 1.0) {
        if bound.what != "accuracy" {
            misses.push(format!("{}: {}", bound.what, bound.detail));
            continue;
        }
        let mut text = format!(
            "accuracy: ±{error_95:.2} K at 95 % instead of ±{:.2} K, {:.2} K too much",
            need.accuracy,
            error_95 - need.accuracy
        );
        if let Some(point) = budget.worst_point(wish) {
            text.push_str(&format!(", worst at {:.0} °C with the board at {:.0} °C", point.hot, point.board));
            let largest: Vec<String> = point
                .ranked()
                .into_iter()
                .take(3)
                .filter_map(|(i, u)| budget.imperfections.get(i).map(|x| format!("{} ({u:.2} K)", x.label)))
                .collect();
            text.push_str(&format!("; largest standard contributions: {}", largest.join(", ")));
            if point.bias().abs() > 0.3 * error_95 {
                text.push_str(&format!("; {:+.2} K of it is known error of the reading rule", point.bias()));
            }
        }
        let better =
            CalibrationWish::ALL.into_iter().find(|w| *w > wish && budget.error_95(*w) <= need.accuracy);
        if let Some(better) = better {
            text.push_str(&format!(
                "; calibrating {} would bring it to ±{:.2} K",
                better.name(),
                budget.error_95(better)
            ));
        }
        misses.push(text);
    }
    misses.extend(trims.map(str::to_owned));
    Verdict { error_95, accuracy: need.accuracy, misses }
}
