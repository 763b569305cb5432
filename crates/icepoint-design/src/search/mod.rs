//! The search over the open places of any front end.
//!
//! It knows slots (kind, limits, ties, role) and what may be put into them; which choice is good the model says. No
//! topology is known by name.

mod fit;
mod judge;
mod moves;
pub(crate) mod offers;
mod places;
mod spend;
mod walk;

pub use fit::{Fit, Fits, Join, Part, chain, reach, unit};
pub use places::{Filled, FilledFrom, Purchase};

use icepoint_chain::ModelError;
use icepoint_chain::front_end::{PlannedKind, Values};
use icepoint_chain::resolve::Resolved;
use rayon::prelude::*;

use crate::low_pass;
use crate::low_pass_ideal;
use crate::preferred::nearest;
use crate::trims;
use judge::{Needed, Noise, judge, judge_needed, values};
use offers::Stock;
use walk::{Judged, Walk, put};

/// Boards judged at most.
const MOST_JUDGED: usize = 2500;
/// Ratios of two places of one role that are judged at once, the nearest first.
const MOST_RATIOS: usize = 160;
/// The same for a look at many front ends out of a series.
const FEW_RATIOS: usize = 48;
/// Pairs that are judged for a place.
const PAIRS: usize = 8;
/// How far the quick estimate may be below the simulation, share: 1.3 % on the examples.
const DOUBT: f64 = 0.02;
/// What two parts instead of one must take off the error, share: they cost room and solder.
const WORTH_TWO: f64 = 0.01;

/// What the search chose.
#[derive(Clone, Debug)]
pub struct Selection {
    /// Every value, the user's own too, Ω or F.
    pub values: Values,
    /// What fills the open places.
    pub fits: Fits,
    /// Parts of the drawer at each open place, for [`look_at`].
    from: Vec<(String, Vec<usize>)>,
    /// Whether the reading of a broken sensor counted; not where no board shows it as it is asked for.
    broken: bool,
    /// Boards judged.
    pub tried: usize,
}

/// Chooses for every open place.
///
/// # Errors
/// [`ModelError`] when no circuit can be solved with what may be put into the places.
pub fn choose(resolved: &Resolved) -> Result<Selection, ModelError> {
    choose_from(resolved, Way::Whole)
}

/// The same with no judgement of a board broken off: what [`choose`] is checked and measured against. Noise stays left out of
/// boards that miss a limit, as there.
///
/// # Errors
/// As [`choose`].
pub fn choose_without_short_cuts(resolved: &Resolved) -> Result<Selection, ModelError> {
    choose_from(resolved, Way::WithoutShortCuts)
}

/// How thoroughly the search goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Way {
    Whole,
    WithoutShortCuts,
    /// From the usual values alone, if that finds a board that keeps its limits and is accurate enough.
    Quickly,
}

/// The same from the usual values alone, for a look at many front ends; from elsewhere too where that finds no board that
/// keeps its limits and is accurate enough.
///
/// # Errors
/// As [`choose`].
pub(crate) fn choose_quickly(resolved: &Resolved) -> Result<Selection, ModelError> {
    choose_from(resolved, Way::Quickly)
}

fn choose_from(resolved: &Resolved, way: Way) -> Result<Selection, ModelError> {
    // A low-pass that the chain file asks for has a response of its own to hold; its values are chosen for that.
    let asked = resolved;
    let resolved = &low_pass::choose(asked.clone())?;
    let stock = Stock::new(resolved);
    // A drawer is no scale: what is precise in it may be some per cent off the ratio.
    let few = way == Way::Quickly && stock.drawer.is_none();
    let ratios = if few { FEW_RATIOS } else { MOST_RATIOS };
    let mut walk = Walk::new(&stock, MOST_JUDGED, way == Way::WithoutShortCuts, ratios);
    if walk.places.is_empty() {
        let (mut fits, mut from) = (Fits::new(), Vec::new());
        if let Some(drawer) = stock.drawer {
            let mut used = vec![0; drawer.parts.len()];
            spend::spend(&mut stock.clone(), &[], &mut fits, &mut [], &mut used)?;
            low_pass_parts(asked, resolved, &mut fits, &mut from);
        }
        return Ok(Selection { values: values(resolved, &fits), fits, from, broken: true, tried: 0 });
    }
    if let Some(empty) = walk.places.iter().find(|p| p.offers.is_empty()) {
        return Err(ModelError::Range(format!(
            "nothing can be put in {}: no value of the series is within its limits",
            empty.designator
        )));
    }
    // What the drawer has too few of for all places together must be bought for the last of them.
    while let Err(place) = walk.nearest_to(&Values::new()) {
        if walk.places[place].must_buy {
            return Err(ModelError::Range(format!(
                "nothing is left to put in {}",
                walk.places[place].designator
            )));
        }
        stock.add_bought(&mut walk.places[place]);
        walk.places[place].must_buy = true;
    }
    let by_numbers = best_by_numbers(resolved, &walk, ratios)?;
    let mut best = best_of_walks(&mut walk, way, by_numbers.as_ref())?;
    let missing = best.as_ref().filter(|b| b.assessment.shortfall > 0.0);
    if missing.is_some_and(|b| walk.hides_a_break(&b.choice).unwrap_or(false)) {
        // Where no board shows a broken sensor as it is asked for, all else must not be spoilt for a part of that.
        let mut aside = walk.whatever_a_broken_sensor_reads();
        if let Some(other) =
            best_of_walks(&mut aside, way, by_numbers.as_ref())?.filter(|b| b.assessment.shortfall == 0.0)
        {
            best = Some(other);
            walk = aside;
        }
    }
    let Some(best) = best else {
        // The start itself says why.
        let fits = walk.nearest_to(&Values::new()).map(|c| walk.fits(&c)).unwrap_or_default();
        judge(&stock, &fits)?;
        return Err(ModelError::Range("no board could be judged".into()));
    };
    let mut fits = walk.fits(&best.choice);
    let mut used = walk.used(&best.choice);
    let mut from: Vec<Vec<usize>> = (walk.places.iter().zip(&best.choice))
        .map(|(p, at)| p.offers[usize::from(*at)].from_drawer.into_iter().collect())
        .collect();
    let tried = walk.judged();
    if stock.drawer.is_some() {
        let mut shared = stock.clone().counting(walk.broken);
        spend::spend(&mut shared, &walk.places, &mut fits, &mut from, &mut used)?;
        let stock = Stock::holding(resolved, &fits).counting(walk.broken);
        pair_up(&stock, &walk, &mut fits, &mut from, &mut used)?;
        if resolved.worth_buying.is_some() {
            buy(&stock, &walk, &mut fits, &mut from)?;
        }
    }
    let mut from: Vec<(String, Vec<usize>)> =
        walk.places.iter().map(|p| p.designator.clone()).zip(from).collect();
    if stock.drawer.is_some() {
        low_pass_parts(asked, resolved, &mut fits, &mut from);
    }
    Ok(Selection { values: values(resolved, &fits), fits, from, broken: walk.broken, tried })
}

/// Of a board that is adjusted by trims, the values that would be best if it were corrected by numbers: a start from which
/// the middle of the trims is near. From the usual values it is a limit that is far off, and the way to it leads astray.
fn best_by_numbers(
    resolved: &Resolved,
    walk: &Walk<'_>,
    ratios: usize,
) -> Result<Option<Values>, ModelError> {
    if !trims::are_turned(&resolved.chain) {
        return Ok(None);
    }
    let mut untrimmed = resolved.clone();
    untrimmed.chain.trims = None;
    let stock = Stock::new(&untrimmed);
    let mut other = Walk::new(&stock, MOST_JUDGED, false, ratios);
    other.places.clone_from(&walk.places);
    let best = best_of_walks(&mut other, Way::Quickly, None)?;
    Ok(best.map(|best| values(resolved, &other.fits(&best.choice))))
}

/// The best end of the walks from all starts, `also` from this one; from the first alone where a quick look finds a board
/// that keeps its limits and is accurate enough.
fn best_of_walks(walk: &mut Walk<'_>, way: Way, also: Option<&Values>) -> Result<Option<Judged>, ModelError> {
    let mut best: Option<Judged> = None;
    let accuracy = walk.stock.resolved.chain.need.accuracy;
    let enough =
        |b: &Judged| b.assessment.shortfall == 0.0 && b.assessment.error_95 * (1.0 + DOUBT) <= accuracy;
    for seed in also.cloned().into_iter().chain(starts(&walk.places)) {
        if way == Way::Quickly && best.as_ref().is_some_and(enough) {
            break;
        }
        let Ok(start) = walk.nearest_to(&seed) else { continue };
        let end = walk.from(start)?;
        // An earlier start is nearer to usual values: another must do better, not as well.
        best = match (best, end) {
            (Some(best), Some(end)) if end.beats(&best) => Some(end),
            (best, end) => best.or(end),
        };
    }
    Ok(best)
}

/// The parts of a low-pass whose values were chosen, as parts of the drawer with their own figures. What is tighter than
/// the error of the reading asks for serves the poles, as far as it is left.
fn low_pass_parts(
    asked: &Resolved,
    chosen: &Resolved,
    fits: &mut Fits,
    from: &mut Vec<(String, Vec<usize>)>,
) {
    let stock = Stock::holding(asked, fits);
    let mut used = vec![0u32; stock.drawer.map_or(0, |d| d.parts.len())];
    for (name, parts) in from.iter() {
        let pieces = stock.pieces(name);
        parts.iter().for_each(|part| used[*part] += pieces);
    }
    let places = stock.places().into_iter();
    let places: Vec<_> = places.filter(|p| chosen.fixed.contains_key(&p.designator)).collect();
    // Which part of several of one value it is may be known already.
    let given = |name: &String, fits: &Fits| {
        let fit = fits.get(name)?;
        (0..stock.drawer?.parts.len()).find(|i| stock.at_hand(*i).map(Fit::One).as_ref() == Some(fit))
    };
    for (name, _) in places.iter().flat_map(|place| &place.pieces) {
        given(name, fits).into_iter().for_each(|part| used[part] += 1);
    }
    for place in &places {
        let Some(&first) = chosen.fixed.get(&place.designator) else { continue };
        let mut lines = Vec::new();
        let before: Vec<usize> = place.pieces.iter().filter_map(|(name, _)| given(name, fits)).collect();
        let alike =
            place.pieces.iter().all(|(_, factor)| *factor == 1.0) && before.len() == place.pieces.len();
        let tighter = stock.tightest_for_all(place.kind, first, &used, &before).filter(|_| alike);
        if let Some(tighter) = tighter {
            before.iter().for_each(|line| used[*line] -= 1);
            used[tighter] += place.pieces.len() as u32;
        }
        for (name, factor) in &place.pieces {
            let Some(slot) = asked.blueprint.slot(name) else { continue };
            let value = first * factor;
            let line = tighter.or_else(|| given(name, fits)).or_else(|| {
                let found = stock.of_value(slot.kind, value, &used)?;
                used[found] += 1;
                Some(found)
            });
            let part = line.and_then(|line| stock.at_hand(line)).unwrap_or_else(|| stock.bought(slot, value));
            fits.insert(name.clone(), Fit::One(part));
            lines.push((name.clone(), line));
        }
        // A line counts for all pieces of a place; those on another have an entry of their own.
        let line_of_first = lines.first().and_then(|(_, line)| *line);
        from.push((place.designator.clone(), line_of_first.into_iter().collect()));
        for (name, line) in lines.into_iter().skip(1).filter(|(_, line)| *line != line_of_first) {
            from.push((name, line.into_iter().collect()));
        }
    }
}

/// Puts the part that comes nearest to `wanted` into an open place: out of what the others leave in the drawer, or of the
/// series, where there is no drawer, or something may be bought and the drawer has nothing near. Whether that is another than before.
pub(crate) fn refit(resolved: &Resolved, selection: &mut Selection, designator: &str, wanted: f64) -> bool {
    let stock = Stock::holding(resolved, &selection.fits);
    let Some(slot) = resolved.blueprint.slot(designator) else { return false };
    let Some(now) = selection.fits.get(designator).map(Fit::value) else { return false };
    if !(wanted.is_finite() && wanted > 0.0 && resolved.open.iter().any(|open| open == designator)) {
        return false;
    }
    let (part, from) = match stock.drawer {
        None => {
            let value = nearest(resolved.resistor_series, wanted.clamp(slot.limits.0, slot.limits.1));
            (stock.bought(slot, value), Vec::new())
        }
        Some(drawer) => {
            let mut used = vec![0u32; drawer.parts.len()];
            let others = selection.from.iter().filter(|(name, _)| name != designator);
            for (name, from) in others {
                let pieces = stock.pieces(name);
                from.iter().for_each(|part| used[*part] += pieces);
            }
            let off = |value: f64| libm::fabs(libm::log(value / wanted));
            let left =
                stock.nearest_left(slot, wanted, &used).and_then(|at| Some((stock.at_hand(at)?, vec![at])));
            let series = resolved.resistor_series;
            let bought = stock.bought(slot, nearest(series, wanted.clamp(slot.limits.0, slot.limits.1)));
            // Further off than the values of the series lie apart: where something may be bought, this is.
            let far = 0.5 * core::f64::consts::LN_10 / series.count() as f64;
            let bought_before = selection.from.iter().any(|(name, old)| name == designator && old.is_empty());
            let buys = (resolved.worth_buying.is_some() || bought_before)
                && left.as_ref().is_none_or(|(part, _)| off(part.value) > far.max(off(bought.value)));
            let Some((part, from)) = (if buys { Some((bought, Vec::new())) } else { left }) else {
                return false;
            };
            // Two parts that are in the place already may come nearer than any single one.
            if off(now) <= off(part.value) {
                return false;
            }
            (part, from)
        }
    };
    if (part.value / now - 1.0).abs() < 1e-9 {
        return false;
    }
    selection.fits.insert(designator.to_owned(), Fit::One(part));
    selection.values.insert(designator.to_owned(), part.value);
    selection.from.iter_mut().filter(|(name, _)| name == designator).for_each(|(_, old)| *old = from.clone());
    true
}

/// Place by place what would be ideal, what the choice costs and what would be worth buying; nothing without a drawer.
///
/// # Errors
/// [`ModelError`] when the board can't be judged.
pub fn look_at(resolved: &Resolved, selection: &Selection) -> Result<Vec<Filled>, ModelError> {
    let stock = Stock::holding(resolved, &selection.fits).counting(selection.broken);
    let Some(drawer) = stock.drawer else { return Ok(Vec::new()) };
    let places = stock.places();
    let from: Vec<Vec<usize>> = places
        .iter()
        .map(|p| {
            selection
                .from
                .iter()
                .find(|(d, _)| *d == p.designator)
                .map_or(Vec::new(), |(_, from)| from.clone())
        })
        .collect();
    let mut used = vec![0u32; drawer.parts.len()];
    for (place, from) in places.iter().zip(&from) {
        for part in from {
            used[*part] += place.pieces.len() as u32;
        }
    }
    let mut settled = low_pass_ideal::values(resolved, &selection.values);
    // What stands beside a trim has the value from which boards find as much way to either side.
    let beside = trims::beside_trims(resolved).into_iter();
    settled.extend(beside.filter_map(|name| Some((name.clone(), selection.fits.get(&name)?.value()))));
    places::look(&stock, &places, &selection.fits, &from, (&used, &settled))
}

/// Where walks start: the usual values, and the middles of all limits.
fn starts(places: &[offers::Place]) -> Vec<Values> {
    let middle = |p: &offers::Place| (p.designator.clone(), (p.limits.0 * p.limits.1).sqrt());
    vec![Values::new(), places.iter().map(middle).collect()]
}

/// Two parts of the drawer in place of one, where that takes enough off the error.
fn pair_up(
    stock: &Stock<'_>,
    walk: &Walk<'_>,
    fits: &mut Fits,
    from: &mut [Vec<usize>],
    used: &mut [u32],
) -> Result<(), ModelError> {
    for (place, from) in walk.places.iter().zip(from) {
        // A gain resistor sits on the amplifier's own pins; two of them are no two parts of the circuit's nodes.
        let element = stock.resolved.blueprint.element(&place.designator);
        if element.is_some_and(|e| matches!(e.kind, PlannedKind::GainResistor { .. }))
            || place.pieces.iter().any(|p| p.1 != 1.0)
        {
            continue;
        }
        let Some(fit) = fits.get(&place.designator).copied() else { continue };
        let now = judge(stock, fits)?;
        let (Some(wanted), Some(best)) = places::ideal(stock, place, fits, &fit, &now) else { continue };
        if now.shortfall <= best.shortfall && now.weighed() - best.weighed() < WORTH_TWO * now.weighed() {
            continue;
        }
        let pieces = place.pieces.len() as u32;
        for part in from.iter() {
            used[*part] -= pieces;
        }
        let mut chosen: Option<(Fit, [usize; 2], f64, f64)> = None;
        for (pair, parts) in stock.pairs(place.kind, wanted, pieces, used, PAIRS) {
            // Near to what is wanted may be beyond what the place allows.
            if !place.allows(pair.value()) {
                continue;
            }
            let mut other = fits.clone();
            put(&mut other, place, pair);
            let Ok(then) = judge_needed(stock, &other, Needed::by(&now), Noise::OfAll, stock.broken) else {
                continue;
            };
            let key = (then.shortfall, then.weighed());
            let wins = then.shortfall < now.shortfall * (1.0 - WORTH_TWO)
                || (then.shortfall <= now.shortfall && then.weighed() < now.weighed() * (1.0 - WORTH_TWO));
            if wins && chosen.is_none_or(|(.., s, e)| key < (s, e)) {
                chosen = Some((pair, parts, key.0, key.1));
            }
        }
        if let Some((pair, parts, ..)) = chosen {
            put(fits, place, pair);
            *from = parts.to_vec();
        }
        for part in from.iter() {
            used[*part] += pieces;
        }
    }
    Ok(())
}

/// Buys what takes enough off the error, the most useful part first.
fn buy(
    stock: &Stock<'_>,
    walk: &Walk<'_>,
    fits: &mut Fits,
    from: &mut [Vec<usize>],
) -> Result<(), ModelError> {
    for _ in 0..walk.places.len() {
        let now = judge(stock, fits)?;
        let best = walk
            .places
            .par_iter()
            .enumerate()
            .filter(|(_, place)| !place.must_buy)
            .filter_map(|(i, place)| {
                let fit = fits.get(&place.designator).filter(|_| !from[i].is_empty())?;
                let wanted = places::ideal(stock, place, fits, fit, &now).0.unwrap_or(fit.value());
                places::worth_buying(stock, place, fits, wanted, &now).map(|purchase| (i, purchase))
            })
            .max_by(|a, b| a.1.order(&b.1).then(b.0.cmp(&a.0)));
        let Some((i, purchase)) = best else { return Ok(()) };
        put(fits, &walk.places[i], Fit::One(purchase.part));
        from[i].clear();
    }
    Ok(())
}
