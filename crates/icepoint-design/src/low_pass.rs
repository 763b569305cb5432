//! Values of the active low-pass that a chain file asks for, and its corner where that is left open.
//!
//! **How.** For a corner, every pair of capacitors of the series that the Q allows gives resistors by formula; their
//! neighbours in the series are tried with the real amplifier. What counts is the largest departure of the whole response
//! from the ideal one up to three times the corner, as a share of the signal, and what tolerances add to it: those of
//! what is bought, or of the tightest part of each value that the drawer has. The best few, on different levels of
//! impedance, are judged by the model with these tolerances: settling, mains residual, error with noise and bias.
//!
//! **An open corner** goes from the slowest that could settle in time upwards. Of those that keep the limits and whose
//! error can't be told apart the quickest wins: a slower one buys nothing.
//!
//! **The front end's own filter** keeps out of the way: its capacitors get smaller until it takes no more than 1 % at the
//! corner.

use core::f64::consts::PI;

use icepoint_chain::front_end::{SlotKind, Values};
use icepoint_chain::low_pass::insert::{FARADS, Inserted, OHMS};
use icepoint_chain::low_pass::{Amplifier, Built, Complex, Form, LowPass, Stage};
use icepoint_chain::resolve::Resolved;
use icepoint_chain::{Model, ModelError};
use rayon::prelude::*;

use crate::candidate::{Assessment, Limits, assess};
use crate::low_pass_ideal;
use crate::search::{Fit, Fits, chain};
use crate::shelf::Shelf;

/// Frequencies at which responses are compared, over the corner.
const COMPARED_AT: [f64; 12] = [0.1, 0.25, 0.4, 0.55, 0.7, 0.85, 1.0, 1.2, 1.5, 1.9, 2.4, 3.0];
/// Largest C1/C2 over the least possible: more only spreads the resistors.
const WIDEST: f64 = 12.0;
/// Candidates of one stage, and of the whole filter at one corner.
const KEPT: usize = 6;
/// Corners tried, per decade of frequency, and decades.
const CORNERS: (i32, i32) = (10, 2);
/// Errors closer than this share are alike.
const ALIKE: f64 = 0.002;
/// How far the frequency or the Q of a pole or pair out of the drawer may be off before tolerances. What preferred values
/// are off by anyway: the nearest of E12 is up to 10 % away, and capacitors of ±10 % move the frequency by 10 % and the Q
/// by √(1.1/0.9), 10.6 %. Values of the series need no such limit: there, neighbours within 7 % are tried, or nothing.
const MOST_OFF: f64 = 0.1;
/// Share of a signal at the corner that the front end's own filter may take.
const OWN_SHARE: f64 = 0.01;

/// A whole filter with its values.
#[derive(Clone, Debug)]
struct Candidate {
    corner: f64,
    stages: Vec<Built>,
    /// Largest departure from the ideal response and what tolerances add, share of the signal.
    departure: f64,
}

/// The same chain with the values of its low-pass chosen: they are no longer open. Unchanged without a low-pass, or when
/// the user gave all of its values.
///
/// # Errors
/// [`ModelError`] when no filter can be built from the series, or the chain can't be solved.
pub(crate) fn choose(resolved: Resolved) -> Result<Resolved, ModelError> {
    let Some(inserted) = resolved.low_pass.clone() else { return Ok(resolved) };
    // A filter of which the user fixed some values is the user's: the others keep their usual ones.
    if low_pass_ideal::chosen(&resolved).is_none() {
        return Ok(resolved);
    }
    let own = own_filter(&resolved);
    let mut quick = resolved.clone();
    fix(&mut quick, &scaled(&resolved, Shelf::bought(&resolved), &own, 0.0));
    let from = |shelf: &Shelf<'_>| -> Vec<Candidate> {
        let corners = corners(&resolved, inserted.plan);
        corners.into_iter().flat_map(|corner| candidates(&resolved, shelf, &inserted, corner)).collect()
    };
    let mut shelf = Shelf::new(&resolved);
    let mut all = from(&shelf);
    if all.is_empty() && shelf.is_drawer() {
        // What the drawer has too little of, or nothing near enough for, is bought, all of it: a filter is chosen as a
        // whole.
        shelf = Shelf::bought(&resolved);
        all = from(&shelf);
    }
    if all.is_empty() {
        return Err(ModelError::Range(
            "no low-pass of this kind can be built from the series within 1 kΩ to 1 MΩ and 1 nF to 4.7 µF"
                .into(),
        ));
    }
    let judged: Vec<(Candidate, Assessment)> = all
        .into_par_iter()
        .map(|candidate| {
            let values = named(&inserted, &candidate);
            let judged = judge(&quick, &shelf, values)?;
            Ok((candidate, judged))
        })
        .collect::<Result<_, ModelError>>()?;
    let Some(best) = best(judged) else { return Ok(resolved) };
    let mut chosen = resolved;
    fix(&mut chosen, &named(&inserted, &best));
    keep_out_of_the_way(&mut chosen, &own, &best)?;
    Ok(chosen)
}

/// Among those that miss least and whose error is alike: the quickest, and on one corner the truest.
fn best(judged: Vec<(Candidate, Assessment)>) -> Option<Candidate> {
    let first = judged.iter().map(|(_, a)| a).min_by(|a, b| a.order(b))?;
    let (shortfall, error) = (first.shortfall, first.error_95 * (1.0 + ALIKE));
    judged
        .into_iter()
        .filter(|(_, a)| a.shortfall <= shortfall && a.error_95 <= error)
        .min_by(|(a, x), (b, y)| {
            b.corner.total_cmp(&a.corner).then(a.departure.total_cmp(&b.departure)).then_with(|| x.order(y))
        })
        .map(|(candidate, _)| candidate)
}

/// Values become the user's, so that no search moves them.
fn fix(resolved: &mut Resolved, values: &Values) {
    resolved.open.retain(|name| !values.contains_key(name));
    resolved.fixed.extend(values.iter().map(|(name, value)| (name.clone(), *value)));
    resolved.chain = resolved.with_values(&resolved.fixed);
}

/// With the real dynamics. Swing is left out: gains are chosen afterwards.
fn judge(resolved: &Resolved, shelf: &Shelf<'_>, values: Values) -> Result<Assessment, ModelError> {
    let need = &resolved.chain.need;
    let fits = fits(resolved, shelf, &values);
    let mut all = resolved.fixed.clone();
    all.extend(values);
    let model = Model::new(chain(resolved, &all, &fits, false))?;
    let mut limits = Limits { margin: f64::INFINITY, missed: 0.0, taps: 0.0 };
    if need.settle_within.is_finite() {
        let settling = model.settling(1.5 * need.settle_within)?;
        limits = limits.and(settling.total().map_or(2.0, |t| t / need.settle_within));
    }
    if need.mains_residual.is_finite() {
        limits = limits.and(model.mains_kelvin() / need.mains_residual);
    }
    // How near it comes to them says nothing yet: the front end's own filter is still to be chosen.
    assess(&model, all, Limits { margin: f64::INFINITY, ..limits })
}

/// What the drawer has for these values, and for those that follow them.
fn fits(resolved: &Resolved, shelf: &Shelf<'_>, values: &Values) -> Fits {
    let slots: Vec<_> =
        resolved.blueprint.slots.iter().filter(|s| values.contains_key(&s.designator)).collect();
    let wanted: Vec<(SlotKind, f64)> = slots.iter().map(|s| (s.kind, values[&s.designator])).collect();
    let parts = slots.iter().zip(shelf.parts(&wanted));
    parts.filter_map(|(slot, part)| Some((slot.designator.clone(), Fit::One(part?)))).collect()
}

/// Corners worth a try, Hz: the one that is asked for, else from the slowest that could settle in time upwards.
fn corners(resolved: &Resolved, plan: LowPass) -> Vec<f64> {
    if let Some(corner) = plan.corner {
        return vec![corner];
    }
    let need = &resolved.chain.need;
    let digital = icepoint_chain::digital::settling(resolved.chain.filter, need.mains, need.settle_to);
    let allowed = need.settle_within - digital;
    // The slowest part of the ideal response: its envelope in units of 1/(2π·corner).
    let decay = plan
        .stages()
        .iter()
        .map(|s| s.pole.frequency * s.pole.q.map_or(1.0, |q| if q > 0.5 { 0.5 / q } else { 1.0 }))
        .fold(f64::INFINITY, f64::min);
    let turns = -libm::log(need.settle_to) / decay;
    let slowest = if allowed.is_finite() && allowed > 0.0 { 0.6 * turns / (2.0 * PI * allowed) } else { 0.2 };
    (0..=CORNERS.0 * CORNERS.1)
        .map(|i| slowest * libm::pow(10.0, f64::from(i) / f64::from(CORNERS.0)))
        // Above the mains it would keep nothing out.
        .filter(|f| *f <= need.mains)
        .collect()
}

/// Amplifier of the filter, as far as it moves poles.
fn amplifier(resolved: &Resolved, inserted: &Inserted) -> Amplifier {
    let name = inserted.stages.first().map(|s| s.amplifier.as_str()).unwrap_or_default();
    match resolved.chain.front_end.part(name).map(|p| &p.kind) {
        Some(icepoint_chain::front_end::PartKind::Operational { figures, .. }) => {
            Amplifier { bandwidth: figures.bandwidth, gain: figures.open_loop_gain }
        }
        _ => Amplifier::IDEAL,
    }
}

/// The best values of the whole filter at one corner, truest first.
fn candidates(resolved: &Resolved, shelf: &Shelf<'_>, inserted: &Inserted, corner: f64) -> Vec<Candidate> {
    let real = amplifier(resolved, inserted);
    let mut all: Vec<Vec<Built>> = vec![Vec::new()];
    for parts in &inserted.stages {
        let stages = of_stage(shelf, &parts.stage, corner, real);
        all = all
            .into_iter()
            .flat_map(|before| {
                stages.iter().map(move |stage| before.iter().cloned().chain([stage.clone()]).collect())
            })
            .collect();
    }
    all.retain(|stages| {
        let ohms: Vec<f64> = stages.iter().flat_map(|s| s.ohms.iter().copied()).collect();
        let farads: Vec<f64> = stages.iter().flat_map(|s| s.farads.iter().copied()).collect();
        shelf.covers(&ohms, &farads)
    });
    let ideal = ideal(&inserted.plan);
    let mut all: Vec<Candidate> = all
        .into_iter()
        .map(|stages| {
            let departure = departure(&stages, &ideal, corner, real) + spread(&stages, shelf);
            Candidate { corner, stages, departure }
        })
        .collect();
    all.sort_by(|a, b| a.departure.total_cmp(&b.departure));
    all.truncate(KEPT);
    all
}

/// The ideal response at the frequencies compared.
fn ideal(plan: &LowPass) -> Vec<Complex> {
    let gain = Complex::new(plan.gain(), 0.0);
    COMPARED_AT
        .iter()
        .map(|ratio| plan.stages().iter().fold(gain, |product, stage| product * ideal_stage(stage, *ratio)))
        .collect()
}

/// A stage of gain 1 against the corner.
fn ideal_stage(stage: &Stage, ratio: f64) -> Complex {
    let x = ratio / stage.pole.frequency;
    match stage.pole.q {
        Some(q) => Complex::new(1.0 - x * x, x / q),
        None => Complex::new(1.0, x),
    }
    .recip()
}

/// Largest departure of stages in a row from an ideal response, share of the signal.
fn departure(stages: &[Built], ideal: &[Complex], corner: f64, real: Amplifier) -> f64 {
    COMPARED_AT
        .iter()
        .zip(ideal)
        .map(|(ratio, ideal)| {
            let found = stages
                .iter()
                .fold(Complex::new(1.0, 0.0), |product, s| product * s.response(real, ratio * corner));
            (found - *ideal).magnitude()
        })
        .fold(0.0, f64::max)
}

/// What tolerances add: the root of the sum of squares over stages of the spreads of frequency and Q and, of parts out of
/// a drawer, of gain: of what is bought the gain's is the same for all values.
fn spread(stages: &[Built], shelf: &Shelf<'_>) -> f64 {
    let all =
        |of: fn(&Built) -> &Vec<f64>| stages.iter().flat_map(|s| of(s).iter().copied()).collect::<Vec<_>>();
    let (ohms, farads) = shelf.limits(&all(|s| &s.ohms), &all(|s| &s.farads));
    let (mut ohms, mut farads) = (ohms.into_iter(), farads.into_iter());
    let squares = stages.iter().map(|stage| {
        let of_ohms: Vec<f64> = ohms.by_ref().take(stage.ohms.len()).collect();
        let of_farads: Vec<f64> = farads.by_ref().take(stage.farads.len()).collect();
        let (frequency, q) = stage.spread_of(&of_ohms, &of_farads);
        let gain = if shelf.is_drawer() { stage.gain_spread(&of_ohms) } else { 0.0 };
        frequency * frequency + q * q + gain * gain
    });
    squares.sum::<f64>().sqrt()
}

/// The truest values of one stage, on different levels of impedance.
fn of_stage(shelf: &Shelf<'_>, stage: &Stage, corner: f64, real: Amplifier) -> Vec<Built> {
    let (low, high) = FARADS;
    let capacitors = shelf.between(SlotKind::Capacitor, low, high);
    let sign = match stage.form {
        Form::SallenKey => 1.0,
        Form::MultipleFeedback => -1.0,
    };
    let ideal: Vec<Complex> = COMPARED_AT.iter().map(|ratio| ideal_stage(stage, *ratio) * sign).collect();
    let mut levels: Vec<(f64, Built)> = Vec::new();
    for second in &capacitors {
        let firsts: Vec<Vec<f64>> = match stage.least_ratio() {
            None => vec![vec![*second]],
            Some(ratio) => capacitors
                .iter()
                .filter(|first| (ratio..=WIDEST * ratio).contains(&(*first / second)))
                .map(|first| vec![*first, *second])
                .collect(),
        };
        let best = firsts
            .into_iter()
            .flat_map(|farads| {
                let ohms = stage.ohms(corner, &farads);
                ohms.into_iter().map(move |ohms| (ohms, farads.clone()))
            })
            .flat_map(|(ohms, farads)| {
                around(shelf, stage, &ohms).into_iter().map(move |ohms| (ohms, farads.clone()))
            })
            .filter(|(ohms, farads)| shelf.covers(ohms, farads))
            .map(|(ohms, farads)| stage.built(ohms, farads))
            .filter(|built| !shelf.is_drawer() || is_near(built, stage, corner, real))
            .map(|built| {
                let alone = core::slice::from_ref(&built);
                let cost = departure(alone, &ideal, corner, real) + spread(alone, shelf);
                (cost, built)
            })
            .min_by(|a, b| a.0.total_cmp(&b.0));
        levels.extend(best);
    }
    levels.sort_by(|a, b| a.0.total_cmp(&b.0));
    levels.into_iter().take(KEPT).map(|(_, built)| built).collect()
}

/// Whether the pole or pair lies where it belongs, but for [`MOST_OFF`].
fn is_near(built: &Built, stage: &Stage, corner: f64, real: Amplifier) -> bool {
    // An amplifier so slow that its own pole can't be told apart: values that are right by themselves.
    let Some(found) = built.pole(real).or_else(|| built.pole(Amplifier::IDEAL)) else { return false };
    let near = |found: f64, wanted: f64| libm::fabs(found / wanted - 1.0) <= MOST_OFF;
    near(found.frequency, corner * stage.pole.frequency)
        && match (found.q, stage.pole.q) {
            (Some(found), Some(wanted)) => near(found, wanted),
            _ => true,
        }
}

/// Values next to the ideal ones, above and below, all combinations within the limits; matched ones alike.
fn around(shelf: &Shelf<'_>, stage: &Stage, ideal: &[f64]) -> Vec<Vec<f64>> {
    let inverting = stage.form == Form::MultipleFeedback;
    let mut all: Vec<Vec<f64>> = vec![Vec::new()];
    for (index, ohms) in ideal.iter().enumerate() {
        if inverting && index == 1 {
            for values in &mut all {
                values.extend(values.first().copied());
            }
            continue;
        }
        let near = shelf.near(SlotKind::Resistor, *ohms, OHMS);
        all = all
            .into_iter()
            .flat_map(|before| near.iter().map(move |v| before.iter().copied().chain([*v]).collect()))
            .collect();
    }
    all
}

/// Values by designator.
fn named(inserted: &Inserted, candidate: &Candidate) -> Values {
    let mut values = Values::new();
    for (parts, built) in inserted.stages.iter().zip(&candidate.stages) {
        values.extend(parts.ohms.iter().cloned().zip(built.ohms.iter().copied()));
        values.extend(parts.farads.iter().cloned().zip(built.farads.iter().copied()));
    }
    values
}

/// Open capacitors of the front end's own filter with their usual values.
fn own_filter(resolved: &Resolved) -> Vec<(String, f64)> {
    resolved
        .blueprint
        .slots
        .iter()
        .filter(|s| s.role.as_deref() == Some("filter") && s.kind == SlotKind::Capacitor)
        .filter(|s| resolved.open.contains(&s.designator))
        .map(|s| (s.designator.clone(), s.usual))
        .collect()
}

/// These capacitors times `factor`, within their limits.
fn scaled(resolved: &Resolved, mut shelf: Shelf<'_>, own: &[(String, f64)], factor: f64) -> Values {
    own.iter()
        .filter_map(|(name, usual)| {
            let slot = resolved.blueprint.slot(name)?;
            let wanted = (factor * usual).clamp(slot.limits.0, slot.limits.1);
            Some((name.clone(), shelf.take_nearest(slot, wanted)?))
        })
        .collect()
}

/// The largest capacitors of the front end's own filter that leave the response alone; its resistors stay as usual.
fn keep_out_of_the_way(
    resolved: &mut Resolved,
    own: &[(String, f64)],
    best: &Candidate,
) -> Result<(), ModelError> {
    if own.is_empty() {
        return Ok(());
    }
    let alone: f64 =
        best.stages.iter().map(|s| s.response(Amplifier::IDEAL, best.corner).magnitude()).product();
    // The low-pass is fixed by now: what it takes is off the shelf.
    let values_at = |factor: f64| scaled(resolved, Shelf::new(resolved), own, factor);
    let mut chosen = values_at(0.0);
    for factor in [1.0, 0.47, 0.22, 0.1, 0.047, 0.022, 0.01, 0.0047] {
        let values = values_at(factor);
        let mut all = resolved.fixed.clone();
        all.extend(values.clone());
        let model = Model::new(resolved.with_values(&all))?;
        let whole = model.response(&[best.corner])?.first().map_or(0.0, |p| p.analog);
        if whole >= alone * (1.0 - OWN_SHARE) {
            chosen = values;
            break;
        }
    }
    let resistors = resolved.blueprint.slots.iter().filter(|s| {
        s.role.as_deref() == Some("filter")
            && s.kind == SlotKind::Resistor
            && resolved.open.contains(&s.designator)
    });
    let mut shelf = Shelf::new(resolved);
    let resistors: Values =
        resistors.filter_map(|s| Some((s.designator.clone(), shelf.take_nearest(s, s.usual)?))).collect();
    fix(resolved, &chosen);
    fix(resolved, &resistors);
    Ok(())
}

#[cfg(test)]
mod tests;
