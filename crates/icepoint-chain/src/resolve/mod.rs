//! From the contents of a chain file to a chain with every value known.
//!
//! Values that are still open get the topology's usual ones, so that a budget can be asked for at any time; `design`
//! then looks for better ones.

mod sections;
mod surroundings;

use crate::chain::{BudgetSettings, Chain, Correction};
use crate::drawer::{self, Drawer, FirstTaken, WantedPart};
use crate::file::{self, ChainFile, PartValue, Refused};
use crate::front_end::{Blueprint, ResistorFigures, Slot, SlotKind, Surroundings, Values};
use crate::low_pass::insert::Inserted;
use crate::quantity::series::Series;
use crate::trims::{self, Trims};

use sections::{converter, filter, junction, lead, need, plan, probe, readout};
use surroundings::{reach, stated_tolerance, surroundings};

/// A chain file with its values known, and what is needed to try others.
#[derive(Clone, Debug)]
pub struct Resolved {
    /// The chain with the values given and usual values for those left open.
    pub chain: Chain,
    /// The circuit before its values.
    pub blueprint: Blueprint,
    /// The active low-pass in it, when one is asked for.
    pub low_pass: Option<Inserted>,
    /// What the circuit takes from the file.
    pub surroundings: Surroundings,
    /// Values that the user fixed.
    pub fixed: Values,
    /// Tolerances that the file states for single parts, relative, by designator.
    pub stated: std::collections::BTreeMap<String, f64>,
    /// Designators left open, but for adjustable resistors.
    pub open: Vec<String>,
    /// Adjustable resistors whose track is left open.
    pub open_tracks: Vec<String>,
    /// Series that open resistors are chosen from.
    pub resistor_series: Series,
    /// Series that open capacitors are chosen from.
    pub capacitor_series: Series,
    /// What lies in the drawer, when the file names one: open values are taken from there.
    pub drawer: Option<Drawer>,
    /// With a drawer: what a bought part must take off the error, K; `None`: nothing is bought.
    pub worth_buying: Option<f64>,
    /// Assumptions made here, in words, beside those of the file.
    pub assumptions: Vec<String>,
}

impl Resolved {
    /// The same chain with other values.
    pub fn with_values(&self, values: &Values) -> Chain {
        let mut chain = self.chain.clone();
        chain.front_end = self.blueprint.build(&self.surroundings, values);
        chain
    }
}

/// Fills in what the file leaves to others.
///
/// # Errors
/// [`Refused`] for designators that the topology doesn't have, pointing at each.
pub fn resolve(file: &ChainFile) -> Result<Resolved, Refused> {
    let mut assumptions = Vec::new();
    let Some(blueprint) = file.blueprint().cloned() else {
        let problem = file
            .problem_at("front_end.topology", "front_end.not_named", "no front end is named", "which one?")
            .expected("topology = the name of a front end, or a [circuit] of your own")
            .help("icepoint design compares all that fit, and writes the one that you take into the file");
        return Err(file.refused(vec![problem]));
    };
    let own = blueprint.clone();
    let (blueprint, low_pass) = match file.low_pass() {
        None => (blueprint, None),
        Some(Ok((with_filter, inserted))) => (with_filter, Some(inserted)),
        Some(Err(problem)) => return Err(file.refused(vec![problem])),
    };
    if let Some(gone) = low_pass.as_ref().filter(|l| !l.replaced.is_empty()) {
        assumptions.push(format!(
            "filter.analog: the low-pass asked for takes the place of the front end's own: {}",
            gone.replaced.join(", ")
        ));
    }
    let (blueprint, trims) = trimmed(file, blueprint)?;
    // Values of parts that gave way stay in the file without effect.
    let gone = own.slots.iter().filter(|s| blueprint.slot(&s.designator).is_none());
    let known: Vec<&str> = blueprint.slots.iter().chain(gone).map(|s| s.designator.as_str()).collect();
    let problems = file.unknown_designators(&known);
    if !problems.is_empty() {
        return Err(file.refused(problems));
    }
    let drawer = drawer::of(file)?;
    if let Some(drawer) = &drawer {
        enough_amplifiers(file, &blueprint, drawer)?;
    }
    let mut surroundings = surroundings(file, &blueprint);
    let fixed = fixed(file, &blueprint);
    let tolerance = |slot: &Slot| Some((slot.designator.clone(), stated_tolerance(file, slot)?));
    let stated = blueprint.slots.iter().filter_map(tolerance).collect();
    if let Some(drawer) = &drawer {
        at_hand(file, &blueprint, drawer, (&fixed, &stated), &mut surroundings);
    }
    let open = blueprint
        .slots
        .iter()
        .filter(|slot| slot.tie.is_none() && !fixed.contains_key(&slot.designator))
        .filter(|slot| !blueprint.adjustable().any(|trim| trim == slot.designator))
        .map(|slot| slot.designator.clone())
        .collect();
    let open_tracks = blueprint
        .adjustable()
        .filter(|trim| !fixed.contains_key(*trim) && blueprint.slot(trim).is_some_and(|s| s.tie.is_none()))
        .map(str::to_owned)
        .collect();
    let front_end = blueprint.build(&surroundings, &fixed);
    let chain = Chain {
        name: file.name.value.clone(),
        need: need(file),
        probe: probe(file),
        lead: lead(file, &mut assumptions),
        junction: junction(file),
        front_end,
        converter: converter(file),
        filter: filter(file),
        harmonics: match &*file.need.harmonics {
            file::Harmonics::PublicNetwork => crate::harmonics::public_network(),
            file::Harmonics::None => Vec::new(),
            file::Harmonics::Shares(shares) => crate::harmonics::from_second(shares),
        },
        readout: readout(file),
        trims,
        plan: plan(file, &mut assumptions),
        correction: file.calibration.as_ref().map(|c| Correction { offset: *c.offset_volts, gain: *c.gain }),
        findings: file.calibration.as_ref().and_then(|c| c.findings()),
        settings: BudgetSettings {
            trials: *file.budget.trials,
            seed: *file.budget.seed,
            hot_points: *file.budget.hot_points,
            board_points: *file.budget.board_points,
        },
    };
    Ok(Resolved {
        chain,
        blueprint,
        low_pass,
        surroundings,
        fixed,
        stated,
        open,
        open_tracks,
        resistor_series: *file.parts.resistors.series,
        capacitor_series: *file.parts.capacitors.series,
        drawer,
        worth_buying: file.parts.worth_buying.as_ref().map(|g| g.value),
        assumptions,
    })
}

/// The circuit with the adjustable resistors that `[trims]` asks for.
fn trimmed(file: &ChainFile, blueprint: Blueprint) -> Result<(Blueprint, Option<Trims>), Refused> {
    let Some(asked) = &file.trims else { return Ok((blueprint, None)) };
    if asked.means.value == file::TrimMeans::Constants {
        return Ok((blueprint, Some(Trims::Constants)));
    }
    let name = |given: &Option<file::Given<String>>| given.as_ref().map(|g| g.value.clone());
    let (zero, span) = (name(&asked.zero), name(&asked.span));
    let original = blueprint;
    let points = file.need.calibration.points();
    let (blueprint, [zero, span]) = trims::insert(&original, zero.as_deref(), span.as_deref(), points)
        .map_err(|(moves, why)| file.refused(vec![file.no_trim(&original, moves, &why)]))?;
    // A front end that says nothing of one of the two can't be adjusted as asked.
    let missing = [(&zero, trims::Moves::Zero, 1), (&span, trims::Moves::Span, 2)];
    if let Some((_, moves, _)) =
        missing.into_iter().find(|(name, _, point)| name.is_none() && points >= *point)
    {
        let why = trims::NoPlace::NotSaid(moves);
        return Err(file.refused(vec![file.no_trim(&original, moves, &why)]));
    }
    Ok((blueprint, Some(Trims::Resistors { zero, span })))
}

/// A drawer that lists amplifiers must have as many as the circuit takes.
fn enough_amplifiers(file: &ChainFile, blueprint: &Blueprint, drawer: &Drawer) -> Result<(), Refused> {
    let mut wanted: std::collections::BTreeMap<&str, (u32, &str)> = std::collections::BTreeMap::new();
    for element in &blueprint.elements {
        let Some((role, _)) = element.kind.record() else { continue };
        let Some(record) = file.record(role) else { continue };
        wanted.entry(record.name.as_str()).or_insert((0, role)).0 += 1;
    }
    let short: Vec<file::Problem> = wanted
        .into_iter()
        .filter(|(name, (pieces, _))| !drawer.amplifier(name).covers(*pieces))
        .map(|(name, (pieces, role))| {
            let there = drawer.amplifier(name);
            file.problem_at(
                &format!("front_end.{role}"),
                "drawer.too_few_amplifiers",
                format!("{} takes {pieces} of the amplifier {name}, and the drawer has {there}", blueprint.id),
                format!("{pieces} of them"),
            )
            .expected(format!("as many in {} as the circuit takes, or a drawer without amplifiers", drawer.name))
            .help(format!("another record, another front end, or {name},amplifier with a count of {pieces} in the drawer"))
        })
        .collect();
    if short.is_empty() { Ok(()) } else { Err(file.refused(short)) }
}

/// A fixed value that lies in the drawer is that part, with its own figures, unless the file states a tolerance; a single
/// part, in no network.
fn at_hand(
    file: &ChainFile,
    blueprint: &Blueprint,
    drawer: &Drawer,
    (fixed, stated): (&Values, &std::collections::BTreeMap<String, f64>),
    around: &mut Surroundings,
) {
    let reach = reach(file);
    let mut tracks: Vec<f64> = Vec::new();
    for trim in blueprint.adjustable() {
        let Some(&ohms) = fixed.get(trim) else { continue };
        let taken = tracks.iter().filter(|other| **other == ohms).count() as u32;
        let stated = around.adjustable_for.get(trim).is_some_and(|own| own.differs(&around.adjustable));
        if let Some(track) = drawer.track(ohms, taken).filter(|_| !stated) {
            let figures = around.adjustable.of(track.tolerance, track.tempco);
            around.adjustable_for.insert(trim.to_owned(), figures);
        }
        tracks.push(ohms);
    }
    let held: Vec<(&Slot, WantedPart)> = blueprint
        .slots
        .iter()
        // A track is no resistor of the drawer.
        .filter(|slot| blueprint.adjustable().all(|trim| trim != slot.designator))
        .filter_map(|slot| {
            let value = *fixed.get(&slot.designator)?;
            let tolerance = stated.get(&slot.designator).copied();
            Some((slot, WantedPart { kind: slot.kind, value, tolerance }))
        })
        .collect();
    let wanted: Vec<WantedPart> = held.iter().map(|(_, want)| *want).collect();
    let lines = drawer.lines(&wanted, FirstTaken::Tightest);
    for ((slot, want), line) in held.iter().zip(lines) {
        let name = &slot.designator;
        let Some(part) = line.and_then(|i| drawer.parts.get(i)) else { continue };
        if slot.kind == SlotKind::Resistor {
            around.loose.insert(name.clone());
        }
        // Of a part with the tolerance that is stated it is known which one it is.
        let is_it = want.tolerance.is_none_or(|stated| (part.tolerance / stated - 1.0).abs() < 1e-9);
        match slot.kind {
            SlotKind::Resistor if is_it && slot.tempco.is_none() => {
                let (tolerance, tempco) = (part.tolerance, part.tempco);
                let figures = ResistorFigures { tolerance, tempco, ..around.resistor.clone() };
                around.resistor_for.insert(name.clone(), figures);
            }
            SlotKind::Capacitor if is_it => {
                around.capacitor_for.insert(name.clone(), part.tolerance + part.tempco * reach);
            }
            _ => {}
        }
    }
}

/// Values that the user fixed, in the circuit or in `[front_end.values]`, which comes first: `design` writes there.
fn fixed(file: &ChainFile, blueprint: &Blueprint) -> Values {
    let mut fixed = Values::new();
    for slot in &blueprint.slots {
        let wanted = match slot.kind {
            SlotKind::Resistor => crate::quantity::Unit::Ohm,
            SlotKind::Capacitor => crate::quantity::Unit::Farad,
        };
        let listed = match file.front_end.values.get(&slot.designator).map(|given| &given.value) {
            Some(PartValue::Chosen { quantity, unit }) if *unit == wanted => Some(quantity.value),
            _ => None,
        };
        if let Some(value) = listed.or(slot.given) {
            fixed.insert(slot.designator.clone(), value);
        }
    }
    // Whichever leg of a balanced input the user gives, the other follows; through as many ties as there are slots.
    for _ in 0..blueprint.slots.len() {
        let before = fixed.len();
        for slot in &blueprint.slots {
            if let (Some(tie), Some(value)) = (&slot.tie, fixed.get(&slot.designator).copied()) {
                fixed.entry(tie.to.clone()).or_insert(value / tie.ratio);
            }
        }
        if fixed.len() == before {
            break;
        }
    }
    fixed
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::imperfection::Distribution;

    /// A data sheet's typical figure alone is one standard deviation; beside a maximum it changes nothing.
    #[test]
    fn an_offset_known_only_as_typical_is_a_standard_deviation() {
        let text = include_str!("../../../../examples/bench-voltmeter.toml");
        let offset = |text: &str| {
            let chain = resolve(&file::parse("bench.toml", text).unwrap()).unwrap().chain;
            let model = crate::Model::without_dynamics(chain).unwrap();
            model.imperfections().iter().find(|i| i.id == "A1.offset").unwrap().distribution
        };
        assert_eq!(offset(text), Distribution::Rectangular(10e-6));
        let typical = text.replace("offset_max = \"10 µV\"\n", "");
        assert_ne!(typical, text);
        assert_eq!(offset(&typical), Distribution::Normal(2e-6));
    }
}
