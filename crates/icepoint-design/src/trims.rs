//! Tracks of adjustable resistors: the shortest that lets 99.9 % of boards be adjusted.
//!
//! **How.** Fixed values are chosen with every trim in its middle, for the least error that a two-point correction leaves,
//! among those whose nominal board reads nearly right at the points of the adjustment. What it is still off is given to the
//! resistor that the trim is in series with, as near as the series or what is left in the drawer has it: there is as much
//! way to either side. Sensitivities tell how long each track must be. Then boards are drawn and adjusted with the whole
//! circuit: tracks get longer as long as that lets more boards be adjusted and until enough can be, then shorter as long as
//! enough still can. A longer track than needed costs resolution, tempco and stability.

use icepoint_chain::budget::Study;
use icepoint_chain::chain::Chain;
use icepoint_chain::front_end::adjustable::MIDDLE;
use icepoint_chain::front_end::{AdjustableFigures, Blueprint, PlannedKind, Values};
use icepoint_chain::quantity::{Unit, format as written};
use icepoint_chain::resolve::Resolved;
use icepoint_chain::trims::adjust::Pair;
use icepoint_chain::trims::insert::OHMS;
use icepoint_chain::trims::report::{BOARDS, Reach, WANTED};
use icepoint_chain::trims::{Moves, Trims, tracks};
use icepoint_chain::{Model, ModelError};

use crate::candidate::coarse_study;
use crate::search::{self, Fit, Selection};

/// Looks at what the sensitivities ask for: they are those of the tracks of the look before.
const LOOKS: usize = 3;
/// Moves of the resistors beside the trims for one pair of tracks: zero and span disturb each other.
const CENTRINGS: usize = 6;
/// Parts of such a move that are tried, the largest first: where zero and span move much alike the sensitivities ask for
/// moves over which they do not hold.
const PARTS_OF_A_MOVE: [f64; 4] = [1.0, 0.5, 0.25, 0.125];
/// Longer tracks that are tried at once, for each trim: the next one alone may ask for a resistor that there is not.
const STEPS_AHEAD: usize = 2;
/// Boards drawn where it is soon clear that they can't be adjusted, and the share below which it is.
const FEW: u32 = 2_000;
const FAR_FROM_ENOUGH: f64 = 0.99;
/// A track must be longer than this times what is left at its end.
const LEAST_TRAVEL: f64 = 4.0;

/// What the nominal board may be off at the points of the adjustment, as a share of the accuracy: the trims take it.
const OFF_CENTRE: f64 = 0.5;

/// Whether adjustable resistors put the finished board right.
pub(crate) fn are_turned(chain: &Chain) -> bool {
    matches!(chain.trims, Some(Trims::Resistors { .. }))
}

/// What the nominal board, its trims in their middles, is off beyond that: the sum over the points at which somebody turns
/// one, each over what it may.
///
/// # Errors
/// [`ModelError`] when the circuit can't be solved.
pub(crate) fn off_centre(model: &Model) -> Result<f64, ModelError> {
    let study = coarse_study(model);
    let off = study.errors_at([MIDDLE; 2], &study.mean, &mut study.work())?;
    let may = OFF_CENTRE * model.chain().need.accuracy;
    let points = model.chain().need.calibration.points();
    Ok(off.iter().take(points).map(|kelvin| (kelvin.abs() / may - 1.0).max(0.0)).sum())
}

/// Chooses fixed values by `choose`, and tracks that are open; the tracks are then among the fixed values.
///
/// # Errors
/// Those of `choose`, and [`ModelError`] when a drawn board can't be solved.
pub(crate) fn choose(
    resolved: Resolved,
    choose: impl Fn(&Resolved) -> Result<Selection, ModelError>,
) -> Result<(Resolved, Selection), ModelError> {
    let selection = choose(&resolved)?;
    if !are_turned(&resolved.chain) {
        return Ok((resolved, selection));
    }
    let around = &resolved.surroundings;
    let stated =
        |name: &String| around.adjustable_for.get(name).is_some_and(|f| f.differs(&around.adjustable));
    let stated: Vec<String> = resolved.open_tracks.iter().filter(|name| stated(name)).cloned().collect();
    let usual = usual(&resolved);
    let Some(start) = Trial::new(resolved.clone(), selection.clone(), stated, &usual)? else {
        return Ok((resolved, selection));
    };
    let best = start.by_sensitivities()?.longer()?.shorter()?;
    let short = best.reach.reached < WANTED && !best.open().is_empty();
    let said: Vec<String> = best
        .open()
        .iter()
        .map(|(name, _, ohms)| format!("{name} of {}", written(*ohms, Unit::Ohm, 3)))
        .collect();
    let bought: Vec<String> = best.bought();
    let Trial { mut resolved, selection, reach, .. } = best;
    if !bought.is_empty() {
        let text =
            format!("trims: the drawer has no potentiometer left for {}; to be bought", bought.join(" and "));
        resolved.assumptions.push(text);
    }
    if short {
        resolved.assumptions.push(format!(
            "trims: there is no track that lets {} % of boards be adjusted with these resistors beside it; with {} it is {} %",
            100.0 * WANTED,
            said.join(" and "),
            libm::floor(1e4 * reach.reached) / 100.0
        ));
    }
    resolved.chain = resolved.with_values(&selection.values);
    Ok((resolved, selection))
}

/// A board with tracks that are tried.
#[derive(Clone)]
struct Trial {
    resolved: Resolved,
    /// With the resistors beside the trims as they must be for these tracks.
    selection: Selection,
    reach: Reach,
    /// Open trims whose tolerance or temperature coefficient the user states.
    stated: Vec<String>,
}

impl Trial {
    /// The board with these tracks instead of its own, each resistor beside a trim moved so that boards find as much way to
    /// either side; `None` for a board on which nothing is turned.
    fn new(
        mut resolved: Resolved,
        mut selection: Selection,
        stated: Vec<String>,
        tracks: &Values,
    ) -> Result<Option<Self>, ModelError> {
        make_room(&resolved, &mut selection, tracks);
        resolved.fixed.extend(tracks.iter().map(|(name, ohms)| (name.clone(), *ohms)));
        selection.values.extend(tracks.iter().map(|(name, ohms)| (name.clone(), *ohms)));
        if !own_figures(&mut resolved, &selection.values, &stated) {
            return Ok(None);
        }
        for _ in 0..CENTRINGS {
            let model = model_of(&resolved, &selection)?;
            let Some(nominal) = Reach::nominal(&coarse_study(&model))? else { return Ok(None) };
            let now = off(&model)?;
            let mut next = None;
            for part in PARTS_OF_A_MOVE {
                let mut moved = selection.clone();
                if !centre(&resolved, &mut moved, &model, nominal.map(|turn| part * turn)) {
                    break;
                }
                // A board that no longer can be solved is no nearer to its centre.
                if model_of(&resolved, &moved).and_then(|m| off(&m)).is_ok_and(|then| then < now) {
                    next = Some(moved);
                    break;
                }
            }
            let Some(next) = next else { break };
            selection = next;
        }
        let Some(reach) = reach_of(&resolved, &selection)? else { return Ok(None) };
        let first = Self { resolved, selection, reach, stated };
        // Boards need not scatter evenly about the nominal one.
        let mut selection = first.selection.clone();
        let middles = first.reach.turns.map(|(low, high)| 0.5 * (low + high));
        let model = model_of(&first.resolved, &selection)?;
        if first.reach.reached < 1.0
            && centre(&first.resolved, &mut selection, &model, middles)
            && let Some(reach) = reach_of(&first.resolved, &selection)?
            && reach.reached > first.reach.reached
        {
            return Ok(Some(Self { selection, reach, ..first }));
        }
        Ok(Some(first))
    }

    /// The same with other tracks; `None` where no circuit can be solved with them.
    fn with(&self, tracks: &Values) -> Option<Self> {
        let (resolved, selection) = (self.resolved.clone(), self.selection.clone());
        Self::new(resolved, selection, self.stated.clone(), tracks).ok().flatten()
    }

    /// Trims whose tracks are open: designator, which of zero and span it is, and track.
    fn open(&self) -> Vec<(String, usize, f64)> {
        let trims = self.resolved.chain.trims.as_ref();
        let named = [Moves::Zero, Moves::Span].into_iter().enumerate();
        named
            .filter(|(k, _)| self.reach.there[*k])
            .filter_map(|(k, moves)| Some((trims?.designator(moves)?.to_owned(), k)))
            .filter(|(name, _)| self.resolved.open_tracks.contains(name))
            .filter_map(|(name, k)| Some((self.track(&name)?, name, k)))
            .map(|(track, name, k)| (name, k, track))
            .collect()
    }

    fn track(&self, name: &str) -> Option<f64> {
        self.resolved.blueprint.value(name, &self.selection.values)
    }

    /// Tracks that a trim may have, rising: those that the others leave in the drawer, where it lists some; else those that
    /// are sold.
    fn offered(&self, name: &str) -> Vec<f64> {
        let of = |other: &str| self.track(other);
        let others: Vec<f64> =
            self.resolved.blueprint.adjustable().filter(|other| *other != name).filter_map(of).collect();
        offered(&self.resolved, &others)
    }

    /// Open trims that no potentiometer of the drawer is left for, where it lists some.
    fn bought(&self) -> Vec<String> {
        let Some(drawer) = self.resolved.drawer.as_ref().filter(|d| !d.tracks.is_empty()) else {
            return Vec::new();
        };
        let there = |ohms: f64| drawer.track(ohms, 0).is_some();
        self.open().into_iter().filter(|(.., ohms)| !there(*ohms)).map(|(name, ..)| name).collect()
    }

    /// The tracks that the sensitivities ask for, if they reach more boards than those before.
    fn by_sensitivities(self) -> Result<Self, ModelError> {
        let mut best = self;
        // Of what nobody gave a value before, one is written down in any case.
        let usual: Values = best.open().into_iter().map(|(name, _, ohms)| (name, ohms)).collect();
        best.resolved.fixed.extend(usual.clone());
        best.selection.values.extend(usual);
        for _ in 0..LOOKS {
            let asked: Values = (best.open().into_iter())
                .filter_map(|(name, k, now)| {
                    let figures = figures(&best.resolved, &name)?;
                    let (low, high) = best.reach.turns[k];
                    let reach = low.abs().max(high.abs());
                    // The shortest track of the tolerance, without what is left at its ends.
                    let ohms = 2.0 * reach * now / (1.0 - figures.tolerance) + 2.0 * figures.end;
                    best.offered(&name)
                        .into_iter()
                        .find(|track| *track >= ohms * (1.0 - 1e-9))
                        .map(|track| (name, track))
                })
                .collect();
            let Some(next) = best.with(&asked) else { break };
            let same = best.open() == next.open();
            if same || next.reach.reached < best.reach.reached {
                break;
            }
            best = next;
        }
        Ok(best)
    }

    /// Longer tracks as long as they let more boards be adjusted, until enough can be.
    fn longer(self) -> Result<Self, ModelError> {
        let mut best = self;
        while best.reach.reached < WANTED {
            let tries: Vec<Values> = (best.open().into_iter())
                .flat_map(|(name, _, now)| {
                    let longer =
                        best.offered(&name).into_iter().filter(move |track| *track > now * (1.0 + 1e-9));
                    longer.take(STEPS_AHEAD).map(move |track| Values::from([(name.clone(), track)]))
                })
                .collect();
            // The first of equals: a shorter track.
            let next = tries.iter().filter_map(|tracks| best.with(tracks)).fold(
                None,
                |most: Option<Self>, trial| {
                    let more = most.as_ref().is_none_or(|most| trial.reach.reached > most.reach.reached);
                    if more { Some(trial) } else { most }
                },
            );
            match next.filter(|next| next.reach.reached > best.reach.reached) {
                Some(next) => best = next,
                None => break,
            }
        }
        Ok(best)
    }

    /// Shorter tracks as long as enough boards can be adjusted, or no fewer than with the longer ones.
    fn shorter(self) -> Result<Self, ModelError> {
        let mut best = self;
        for (name, _, now) in best.open() {
            let mut shorter: Vec<f64> =
                best.offered(&name).into_iter().filter(|track| *track < now * (1.0 - 1e-9)).collect();
            while let Some(track) = shorter.pop() {
                let enough = best.reach.reached.min(WANTED);
                let travels = figures(&best.resolved, &name).is_some_and(|f| track > LEAST_TRAVEL * f.end);
                let Some(next) = best.with(&Values::from([(name.clone(), track)])).filter(|_| travels) else {
                    break;
                };
                if next.reach.reached < enough {
                    break;
                }
                best = next;
            }
        }
        Ok(best)
    }
}

fn model_of(resolved: &Resolved, selection: &Selection) -> Result<Model, ModelError> {
    Model::without_dynamics(search::chain(resolved, &selection.values, &selection.fits, true))
}

/// By the very boards that the answer will be judged by: noise has a part in what is drawn.
fn reach_of(resolved: &Resolved, selection: &Selection) -> Result<Option<Reach>, ModelError> {
    let model = model_of(resolved, selection)?.with_dynamics()?;
    let (study, seed) = (Study::new(&model), model.chain().settings.seed);
    let few = Reach::of(&study, FEW, seed)?;
    if few.is_some_and(|few| few.reached < FAR_FROM_ENOUGH) {
        Ok(few)
    } else {
        Reach::of(&study, BOARDS, seed)
    }
}

/// Tracks that are left in the drawer beside others, where it lists some; else those that are sold.
fn offered(resolved: &Resolved, others: &[f64]) -> Vec<f64> {
    let Some(drawer) = &resolved.drawer else { return tracks() };
    let taken = |ohms: f64| others.iter().filter(|other| (**other / ohms - 1.0).abs() < 1e-9).count() as u32;
    let mut left: Vec<f64> = drawer.tracks.iter().map(|t| t.ohms).collect();
    left.retain(|ohms| (OHMS.0..=OHMS.1).contains(ohms) && drawer.track(*ohms, taken(*ohms)).is_some());
    left.dedup();
    if left.is_empty() { tracks() } else { left }
}

/// For each open track the one of those offered that is nearest to the usual one.
fn usual(resolved: &Resolved) -> Values {
    let mut others: Vec<f64> = Vec::new();
    let mut found = Values::new();
    for trim in resolved.blueprint.adjustable() {
        let Some(mut ohms) = resolved.blueprint.value(trim, &resolved.fixed) else { continue };
        if resolved.open_tracks.iter().any(|open| open == trim) {
            let off = |track: &f64| libm::fabs(libm::log(*track / ohms));
            let nearest = offered(resolved, &others).into_iter().min_by(|a, b| off(a).total_cmp(&off(b)));
            ohms = nearest.unwrap_or(ohms);
            found.insert(trim.to_owned(), ohms);
        }
        others.push(ohms);
    }
    found
}

/// Gives open tracks the figures of the drawer's potentiometers; whether there are as many as wanted.
fn own_figures(resolved: &mut Resolved, values: &Values, stated: &[String]) -> bool {
    let Some(drawer) = resolved.drawer.as_ref().filter(|d| !d.tracks.is_empty()) else { return true };
    let around = &mut resolved.surroundings;
    let mut taken: Vec<f64> = Vec::new();
    for trim in resolved.blueprint.adjustable() {
        let Some(ohms) = resolved.blueprint.value(trim, values) else { continue };
        let before = taken.iter().filter(|other| **other == ohms).count() as u32;
        taken.push(ohms);
        let open = resolved.open_tracks.iter().any(|name| name == trim);
        let Some(track) = drawer.track(ohms, before).filter(|_| open) else {
            // More than there are, or one that is bought or the user's own.
            if open && drawer.track(ohms, 0).is_some() {
                return false;
            }
            continue;
        };
        if !stated.iter().any(|name| name == trim) {
            let figures = around.adjustable.of(track.tolerance, track.tempco);
            around.adjustable_for.insert(trim.to_owned(), figures);
        }
    }
    true
}

/// What the nominal board is off at the points of the adjustment, together, K.
fn off(model: &Model) -> Result<f64, ModelError> {
    let study = coarse_study(model);
    let off = study.errors_at([MIDDLE; 2], &study.mean, &mut study.work())?;
    let points = model.chain().need.calibration.points();
    Ok(off.iter().take(points).map(|kelvin| kelvin.abs()).sum())
}

/// Takes what the middles of new tracks have more than those before off the resistors beside them: the board stays about
/// where it was.
fn make_room(resolved: &Resolved, selection: &mut Selection, tracks: &Values) {
    for (trim, ohms) in tracks {
        let Some(before) = resolved.blueprint.value(trim, &selection.values) else { continue };
        let Some(beside) = beside(&resolved.blueprint, trim) else { continue };
        let Some(now) = selection.fits.get(&beside).map(Fit::value) else { continue };
        search::refit(resolved, selection, &beside, now - MIDDLE * (ohms - before));
    }
}

/// Figures of an adjustable resistor.
fn figures(resolved: &Resolved, name: &str) -> Option<AdjustableFigures> {
    let around = &resolved.surroundings;
    resolved.blueprint.slot(name)?;
    Some(*around.adjustable_for.get(name).unwrap_or(&around.adjustable))
}

/// Gives so many turns, share of each track, to the resistors beside the trims; whether one of them is now another.
fn centre(resolved: &Resolved, selection: &mut Selection, model: &Model, turns: Pair) -> bool {
    let chain = model.chain();
    let mut changed = false;
    for (moves, turn) in [Moves::Zero, Moves::Span].into_iter().zip(turns) {
        let trim = chain.trims.as_ref().and_then(|trims| trims.designator(moves));
        let Some((trim, track)) = trim.and_then(|trim| Some((trim, chain.front_end.value(trim)?))) else {
            continue;
        };
        let Some(beside) = beside(&resolved.blueprint, trim) else { continue };
        let Some(now) = selection.fits.get(&beside).map(Fit::value) else { continue };
        changed |= search::refit(resolved, selection, &beside, now + turn * track);
    }
    changed
}

/// The resistors that the trims of a board are in series with.
pub(crate) fn beside_trims(resolved: &Resolved) -> Vec<String> {
    if !are_turned(&resolved.chain) {
        return Vec::new();
    }
    let trims = resolved.chain.trims.as_ref();
    let named = [Moves::Zero, Moves::Span].into_iter().filter_map(|moves| trims?.designator(moves));
    named.filter_map(|trim| beside(&resolved.blueprint, trim)).collect()
}

/// The resistor that a trim is in series with: the only other part on one of its nodes.
pub(crate) fn beside(blueprint: &Blueprint, trim: &str) -> Option<String> {
    match &blueprint.element(trim)?.kind {
        PlannedKind::AdjustableGain { amplifier } => blueprint
            .elements
            .iter()
            .find(|e| matches!(&e.kind, PlannedKind::GainResistor { amplifier: other } if other == amplifier))
            .map(|e| e.designator.clone()),
        PlannedKind::Adjustable { a, b, wiper: None } => [a, b].into_iter().find_map(|node| {
            let on = |e: &&icepoint_chain::front_end::PlannedPart| {
                e.designator != trim && e.kind.pins().iter().any(|(_, other)| other == node)
            };
            let mut others = blueprint.elements.iter().filter(on);
            match (others.next(), others.next()) {
                (Some(one), None) if matches!(one.kind, PlannedKind::Resistor { .. }) => {
                    Some(one.designator.clone())
                }
                _ => None,
            }
        }),
        _ => None,
    }
}
