//! Place by place: what would be ideal there, what the part chosen costs in kelvin, and what would be worth buying.

use icepoint_chain::ModelError;
use icepoint_chain::drawer::Count;
use icepoint_chain::front_end::{SlotKind, Values};
use rayon::prelude::*;

use super::fit::{Fit, Fits, Part};
use super::judge::{Needed, Noise, judge, judge_needed};
use super::offers::{Place, Stock};
use super::walk::put;
use crate::candidate::Assessment;
use crate::preferred::{between, nearest};

/// A place and what is in it.
#[derive(Clone, Debug, PartialEq)]
pub struct Filled {
    /// Designator, and those that follow it.
    pub designators: Vec<String>,
    /// Resistor or capacitor.
    pub kind: SlotKind,
    /// What is in it.
    pub fit: Fit,
    /// Where it comes from.
    pub origin: FilledFrom,
    /// The value that would be best here with everything else as it is, Ω or F; of a part of a low-pass that which puts its
    /// poles where they belong, with the capacitors that are chosen. `None` where no other value does better, and beside a
    /// trim.
    pub ideal: Option<f64>,
    /// What the chosen value costs against the ideal one, K at 95 %.
    pub costs: f64,
    /// The part of the series that would take most off the error, if any is worth it.
    pub worth_buying: Option<Purchase>,
}

/// Where a part comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FilledFrom {
    /// Out of the drawer, which then still has so many (of the rarer of two parts).
    Drawer {
        /// Left over.
        left: Count,
    },
    /// To be bought because it is worth it.
    Bought,
    /// To be bought because the drawer has nothing for this place.
    NothingThere,
}

/// A part that would be worth buying.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Purchase {
    /// Ω or F, out of the series.
    pub part: Part,
    /// Largest 95 % error with it, K.
    pub error_95: f64,
    /// What it takes off the error, K; where there are taps, with what the types on the others suffer.
    pub saves: f64,
    /// What it takes off what is missed, each limit's excess over what is allowed; 0 where none is missed.
    pub misses_less: f64,
}

impl Purchase {
    /// What it is worth, in words.
    pub fn words(&self) -> String {
        if self.misses_less > 0.0 {
            format!("misses limits by {:.1} % less of what they allow", 100.0 * self.misses_less)
        } else {
            format!("saves {:.2} K", self.saves)
        }
    }

    /// The more useful one is greater: a limit that is kept comes before an error.
    pub(crate) fn order(&self, other: &Self) -> core::cmp::Ordering {
        self.misses_less.total_cmp(&other.misses_less).then(self.saves.total_cmp(&other.saves))
    }
}

/// Steps of the look for the ideal value, in the logarithm.
const STEPS: [f64; 7] = [0.3, 0.1, 0.03, 0.01, 0.003, 0.001, 0.0003];
/// What a bought part must take off the error to be named, share, when the user gives no figure.
const WORTH_NAMING: f64 = 0.01;
/// What a bought part must take off what is missed, share, to be worth it for that.
const LESS_MISSED: f64 = 0.1;
/// Values this near, relative, are the same.
const SAME: f64 = 1e-4;
/// An error less than this share smaller is none.
const NOTHING: f64 = 0.0002;

fn better(a: &Assessment, b: &Assessment) -> bool {
    if a.shortfall > 0.0 || b.shortfall > 0.0 {
        return a.shortfall < b.shortfall || (a.shortfall == b.shortfall && a.weighed() < b.weighed());
    }
    a.weighed() < b.weighed() * (1.0 - NOTHING)
}

/// Looks at every place of a board that is chosen. `used`: pieces of each part of the drawer in it; `settled`: ideal values
/// of parts that are chosen for something else than the error.
pub(crate) fn look(
    stock: &Stock<'_>,
    places: &[Place],
    fits: &Fits,
    from: &[Vec<usize>],
    (used, settled): (&[u32], &Values),
) -> Result<Vec<Filled>, ModelError> {
    let now = judge(stock, fits)?;
    places
        .par_iter()
        .zip(from)
        .map(|(place, parts)| {
            let fit = fits.get(&place.designator).copied().unwrap_or(Fit::One(Part::NONE));
            let (ideal, best, worth_buying) = match settled.get(&place.designator) {
                Some(&value) => {
                    let ideal = Some(value).filter(|v| libm::fabs(v / fit.value() - 1.0) > SAME);
                    let part = Part { value, ..fit.equivalent() };
                    (ideal, judge(stock, &with(place, fits, part)).ok(), None)
                }
                None => {
                    let (ideal, best) = ideal(stock, place, fits, &fit, &now);
                    let wanted = ideal.unwrap_or(fit.value());
                    (ideal, best, worth_buying(stock, place, fits, wanted, &now))
                }
            };
            let costs = best.map_or(0.0, |best| (now.error() - best.error()).max(0.0));
            let left = |&part: &usize| match stock.left(part) {
                Some(Count::Pieces(n)) => {
                    Count::Pieces(n.saturating_sub(used.get(part).copied().unwrap_or(0)))
                }
                _ => Count::Enough,
            };
            let origin = match parts.iter().map(left).min() {
                Some(left) => FilledFrom::Drawer { left },
                None if place.must_buy => FilledFrom::NothingThere,
                None => FilledFrom::Bought,
            };
            Ok(Filled {
                designators: place.pieces.iter().map(|(d, _)| d.clone()).collect(),
                kind: place.kind,
                fit,
                origin,
                ideal,
                costs,
                worth_buying,
            })
        })
        .collect()
}

/// A fit of another value with the figures of this one, in an otherwise unchanged board.
fn with(place: &Place, fits: &Fits, part: Part) -> Fits {
    let mut other = fits.clone();
    put(&mut other, place, Fit::One(part));
    other
}

/// The value that is best with everything else as it is, by ever smaller steps, and how the board does with it.
pub(crate) fn ideal(
    stock: &Stock<'_>,
    place: &Place,
    fits: &Fits,
    fit: &Fit,
    now: &Assessment,
) -> (Option<f64>, Option<Assessment>) {
    let figures = fit.equivalent();
    let judged = |value: f64, than: &Assessment| {
        let fits = with(place, fits, Part { value, ..figures });
        judge_needed(stock, &fits, Needed::by(than), Noise::OfAll, stock.broken).ok()
    };
    // What was not better than one before is not better than the best so far.
    let mut seen = vec![figures.value];
    let mut best: Option<(f64, Assessment)> = None;
    'steps: for step in STEPS {
        loop {
            let (here, assessment) = best.as_ref().map_or((figures.value, now), |(v, a)| (*v, a));
            let mut values =
                [step, -step].map(|s| (here * libm::exp(s)).clamp(place.limits.0, place.limits.1)).to_vec();
            values.retain(|value| seen.iter().all(|seen| (seen / value - 1.0).abs() > SAME));
            seen.extend(&values);
            let around: Vec<(f64, Assessment)> =
                values.into_iter().filter_map(|value| Some((value, judged(value, assessment)?))).collect();
            let level = |a: &Assessment| {
                !a.partial
                    && a.shortfall <= assessment.shortfall
                    && a.weighed() <= assessment.weighed() * (1.0 + NOTHING)
            };
            // Between two neighbours that are hardly worse a curve that bends upwards is hardly better.
            let flat = around.len() == 2 && around.iter().all(|(_, a)| level(a));
            let next =
                around.into_iter().filter(|(_, a)| better(a, assessment)).min_by(|a, b| a.1.order(&b.1));
            match next {
                Some(next) => best = Some(next),
                None if flat => break 'steps,
                None => break,
            }
        }
    }
    match best {
        Some((value, assessment)) => (Some(value), Some(assessment)),
        None => (None, None),
    }
}

/// The part of the series that takes most off the error, when that is worth naming.
pub(crate) fn worth_buying(
    stock: &Stock<'_>,
    place: &Place,
    fits: &Fits,
    wanted: f64,
    now: &Assessment,
) -> Option<Purchase> {
    let slot = stock.resolved.blueprint.slots.iter().find(|s| s.designator == place.designator)?;
    let series = match place.kind {
        SlotKind::Resistor => stock.resolved.resistor_series,
        SlotKind::Capacitor => stock.resolved.capacitor_series,
    };
    let near = nearest(series, wanted);
    // The nearest and its neighbours: the error need not be symmetric about its best.
    let spread = 1.05 * libm::pow(10.0, 1.0 / series.count() as f64);
    let enough = stock.resolved.worth_buying.unwrap_or(WORTH_NAMING * now.error());
    let error = if now.shortfall > 0.0 { f64::INFINITY } else { now.error() - enough };
    let needed = Needed { shortfall: now.shortfall, error, worst: now.worst };
    between(series, (near / spread).max(place.limits.0), (near * spread).min(place.limits.1))
        .into_iter()
        .filter_map(|value| {
            let part = stock.bought(slot, value);
            let fits = with(place, fits, part);
            let then = judge_needed(stock, &fits, needed, Noise::OfAll, stock.broken).ok()?;
            let saves = now.error() - then.error();
            let misses_less = now.shortfall - then.shortfall;
            let worth = misses_less > LESS_MISSED * now.shortfall || (misses_less >= 0.0 && saves >= enough);
            worth.then_some(Purchase { part, error_95: then.error_95, saves, misses_less })
        })
        .max_by(Purchase::order)
}
