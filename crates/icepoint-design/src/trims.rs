//! Tracks of adjustable resistors: the shortest that lets 99.9 % of boards be adjusted.
//!
//! **How.** Fixed values are chosen with every trim in its middle, for the least error that a two-point correction leaves,
//! among those whose nominal board reads nearly right at the points of the adjustment. What it is still off is given to the
//! resistor that the trim is in series with, as near as the series has it: there is as much way to either side. Sensitivities tell how long each track must be; with the next one
//! that is sold, boards are drawn and adjusted with the whole circuit. Where these fall short the track that ran out
//! becomes one step longer. A longer track than needed costs resolution, tempco and stability.

use icepoint_chain::budget::Study;
use icepoint_chain::chain::Chain;
use icepoint_chain::front_end::adjustable::MIDDLE;
use icepoint_chain::front_end::{Blueprint, PlannedKind};
use icepoint_chain::resolve::Resolved;
use icepoint_chain::trims::report::{Report, Trim, WANTED};
use icepoint_chain::trims::{Trims, tracks};
use icepoint_chain::{Model, ModelError};

use crate::candidate::coarse_study;
use crate::preferred::nearest;
use crate::search::{self, Fit, Part, Selection};

/// Rounds of choosing tracks and the resistors beside them.
const ROUNDS: usize = 8;
/// Boards drawn while tracks are chosen: the share is known to 0.0005.
const BOARDS: u32 = 4_000;
/// Settings nearer to the end than this count as run out.
const AT_THE_END: f64 = 1e-9;

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
    mut resolved: Resolved,
    choose: impl Fn(&Resolved) -> Result<Selection, ModelError>,
) -> Result<(Resolved, Selection), ModelError> {
    let mut selection = choose(&resolved)?;
    if !are_turned(&resolved.chain) {
        return Ok((resolved, selection));
    }
    for round in 0..ROUNDS {
        let chain = search::chain(&resolved, &selection.values, &selection.fits, true);
        let model = Model::without_dynamics(chain)?;
        let study = Study::new(&model);
        let Some(report) = Report::of(&study, BOARDS, model.chain().settings.seed)? else { break };
        let mut changed = false;
        for trim in &report.trims {
            let now = trim.figures.ohms;
            let mut track = now;
            if resolved.open_tracks.contains(&trim.designator) {
                let wanted = wanted(trim, &report, round);
                // Only the first look may make a track shorter: the rest would go to and fro.
                track = if round == 0 { wanted } else { wanted.max(now) };
                changed |= track != now || !resolved.fixed.contains_key(&trim.designator);
                resolved.fixed.insert(trim.designator.clone(), track);
                selection.values.insert(trim.designator.clone(), track);
            }
            changed |= centre(&resolved, &mut selection, trim, track);
        }
        if !changed {
            break;
        }
    }
    resolved.chain = resolved.with_values(&selection.values);
    Ok((resolved, selection))
}

/// Gives what the nominal board is off its middle, and half of what the track grew, to the resistor beside the trim.
fn centre(resolved: &Resolved, selection: &mut Selection, trim: &Trim, track: f64) -> bool {
    // What lies in the drawer was chosen already; the trim makes up for it.
    if resolved.drawer.is_some() {
        return false;
    }
    let Some(name) = beside(&resolved.blueprint, &trim.designator) else { return false };
    let (Some(slot), Some(fit)) = (resolved.blueprint.slot(&name), selection.fits.get(&name).copied()) else {
        return false;
    };
    let now = trim.figures.ohms;
    let ideal = fit.value() + trim.nominal * now - 0.5 * (track - now);
    if !ideal.is_finite() || ideal <= 0.0 {
        return false;
    }
    let value = nearest(resolved.resistor_series, ideal.clamp(slot.limits.0, slot.limits.1));
    if (value / fit.value() - 1.0).abs() < 1e-9 {
        return false;
    }
    selection.fits.insert(name.clone(), Fit::One(Part { value, ..fit.equivalent() }));
    selection.values.insert(name, value);
    true
}

/// The resistor that a trim is in series with: the only other part on one of its nodes.
fn beside(blueprint: &Blueprint, trim: &str) -> Option<String> {
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

/// The track that this trim should have, Ω.
fn wanted(trim: &Trim, report: &Report, round: usize) -> f64 {
    let now = trim.figures.ohms;
    let list = tracks();
    let at_least = |ohms: f64| list.iter().copied().find(|t| *t >= ohms * (1.0 - 1e-9)).unwrap_or(now);
    // The first look leaves out what the nominal board is off: the resistor beside the trim takes that.
    let centre = if round == 0 { trim.nominal } else { 0.0 };
    let reach = (trim.turns.0 - centre).abs().max((trim.turns.1 - centre).abs());
    if round > 0 && report.reached >= WANTED {
        return now;
    }
    // The shortest track of the tolerance, without what is left at its ends.
    let long = at_least(2.0 * reach * now / (1.0 - trim.figures.tolerance) + 2.0 * trim.figures.end);
    let out = trim.settings.0 <= AT_THE_END || trim.settings.1 >= 1.0 - AT_THE_END;
    let largest = report.trims.iter().all(|t| t.turns.1 - t.turns.0 <= trim.turns.1 - trim.turns.0);
    if round > 1 && long <= now && out && largest { at_least(1.001 * now) } else { long }
}
