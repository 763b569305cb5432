//! `[trims]` against the circuit, the converter and what the owner is willing to do.

use super::super::converter::ConverterKind;
use super::super::given::{Given, Span};
use super::super::keys;
use super::super::need::CalibrationEffort;
use super::super::problem::Problem;
use super::super::similar::nearest;
use super::super::trims::TrimMeans;
use super::super::walk::Walk;
use super::super::{ChainFile, PartValue};
use super::place;
use crate::front_end::{Blueprint, PlannedKind};
use crate::quantity::{Unit, format};
use crate::trims::{Moves, NoPlace, insert};

/// All that can be said before the model is asked.
pub(super) fn check(file: &ChainFile, walk: &mut Walk<'_>) {
    let Some(trims) = &file.trims else { return };
    let header = walk.places.get("trims").map(|place| place.key);
    let at = place(walk, &trims.means, "trims");
    if trims.means.value == TrimMeans::Constants {
        constants(file, at, walk);
        return;
    }
    let Some(blueprint) = file.blueprint() else { return };
    let name = |given: &Option<Given<String>>| given.as_ref().map(|g| g.value.clone());
    let (zero, span) = (name(&trims.zero), name(&trims.span));
    match insert(blueprint, zero.as_deref(), span.as_deref(), points(file)) {
        Err((moves, why)) => {
            let given = if moves == Moves::Zero { &trims.zero } else { &trims.span };
            let key = if moves == Moves::Zero { "circuit.zero" } else { "circuit.span" };
            let span = given.as_ref().and_then(Given::span);
            let span = span.or_else(|| walk.places.get(key).map(|place| place.value)).or(header);
            walk.problem(refusal(blueprint, moves, &why, span));
        }
        Ok((_, [None, None])) => {
            let why = NoPlace::NotSaid(Moves::Zero);
            walk.problem(refusal(
                blueprint,
                Moves::Zero,
                &why,
                header.or_else(|| in_circuit(blueprint, walk)),
            ));
        }
        Ok((_, [zero, span])) => {
            let both = file.need.calibration.value == CalibrationEffort::ZeroAndSpan;
            let missing = [(zero.is_none(), Moves::Zero), (span.is_none(), Moves::Span)];
            match missing.into_iter().find(|(missing, _)| *missing && both) {
                Some((_, moves)) => walk.problem(refusal(blueprint, moves, &NoPlace::NotSaid(moves), header)),
                None => effort(file, span.is_some(), header, walk),
            }
        }
    }
    ends(file, blueprint, walk);
}

/// Points of the calibration that somebody is willing to do; as if both, where there is none: the refusal then tells what
/// could be turned.
fn points(file: &ChainFile) -> usize {
    match file.need.calibration.value {
        CalibrationEffort::None => CalibrationEffort::ZeroAndSpan.points(),
        asked => asked.points(),
    }
}

/// Designators of the adjustable resistors that the board will have.
pub(super) fn tracks(file: &ChainFile) -> Vec<String> {
    let Some(blueprint) = file.blueprint() else { return Vec::new() };
    let name = |given: Option<&Given<String>>| given.map(|g| g.value.clone());
    let (zero, span) = file.trims.as_ref().map_or((None, None), |t| (t.zero.as_ref(), t.span.as_ref()));
    let (zero, span) = (name(zero), name(span));
    let insert = || insert(blueprint, zero.as_deref(), span.as_deref(), points(file)).ok();
    let with = file.trims.as_ref().and_then(|_| insert());
    let blueprint = with.as_ref().map_or(blueprint, |(with, _)| with);
    blueprint.adjustable().map(str::to_owned).collect()
}

/// Place of the first adjustable resistor of the circuit.
fn in_circuit(blueprint: &Blueprint, walk: &Walk<'_>) -> Option<Span> {
    let first = blueprint.adjustable().next()?;
    walk.places.get(&format!("circuit.parts.{first}")).map(|place| place.key)
}

fn constants(file: &ChainFile, at: Span, walk: &mut Walk<'_>) {
    if matches!(file.converter.kind, ConverterKind::Voltmeter(_)) {
        let kind = walk.places.get("converter.kind").map(|place| place.value);
        walk.problem(
            Problem::new("trims.nowhere_to_store", "a voltmeter keeps no constants")
                .at(at, "needs firmware")
                .also(kind, "the voltmeter")
                .expected("means = \"adjustable resistors\", or kind = \"adc\" in [converter]")
                .help("means = \"adjustable resistors\""),
        );
    }
    let Some(trims) = &file.trims else { return };
    for (key, given) in [("zero", &trims.zero), ("span", &trims.span)] {
        let Some(span) = given.as_ref().and_then(Given::span) else { continue };
        walk.problem(
            Problem::new("trims.two_means", format!("constants are stored, and {key} names a part to turn"))
                .at(span, "nobody turns it")
                .also(Some(at), "constants")
                .expected("one of the two")
                .help("means = \"adjustable resistors\", or zero and span left out"),
        );
    }
    if let Some(circuit) = &file.circuit
        && let Some(first) = circuit.adjustable().next()
    {
        let span = walk.places.get(&format!("circuit.parts.{first}")).map(|place| place.key);
        walk.problem(
            Problem::new(
                "trims.two_means",
                format!("constants are stored, and {first} is there to be turned"),
            )
            .at(span.unwrap_or(at), "nobody turns it")
            .also(Some(at), "constants")
            .expected("one of the two")
            .help("means = \"adjustable resistors\", or a fixed resistor in its place"),
        );
    }
}

/// Somebody must be willing to turn them.
fn effort(file: &ChainFile, span: bool, header: Option<Span>, walk: &mut Walk<'_>) {
    let wanted = if span { CalibrationEffort::ZeroAndSpan } else { CalibrationEffort::Zero };
    let asked = &file.need.calibration;
    let enough = asked.value == wanted || asked.value == CalibrationEffort::ZeroAndSpan;
    if enough {
        return;
    }
    let at = place(walk, asked, "need");
    let word = if span { "zero and span" } else { "zero" };
    let says = match asked.value {
        CalibrationEffort::None => "none",
        CalibrationEffort::Zero => "zero",
        CalibrationEffort::ZeroAndSpan => "zero and span",
    };
    walk.problem(
        Problem::new(
            "trims.nobody_turns",
            format!("the board has trims for {word}, and calibration is \"{says}\""),
        )
        .at(at, "who turns them?")
        .also(header, "the trims")
        .expected(format!("calibration = \"{word}\" in [need]"))
        .help(format!(
            "calibration = \"{word}\", and a [calibration_plan] with {}",
            if span { "two temperatures" } else { "one temperature" }
        )),
    );
}

/// A track must be longer than what is left at its ends.
fn ends(file: &ChainFile, blueprint: &Blueprint, walk: &mut Walk<'_>) {
    let Some(trims) = &file.trims else { return };
    for slot in blueprint.slots.iter().filter(|s| blueprint.adjustable().any(|trim| trim == s.designator)) {
        let name = &slot.designator;
        let listed = file.front_end.values.get(name).and_then(|given| match given.value {
            PartValue::Chosen { quantity, .. } => Some((quantity.value, given.span())),
            PartValue::Open => None,
        });
        let in_circuit = walk.places.get(&format!("circuit.parts.{name}.value")).map(|place| place.value);
        let Some((ohms, span)) = listed.or(slot.given.map(|ohms| (ohms, in_circuit))) else { continue };
        if ohms > 4.0 * *trims.end_resistance {
            continue;
        }
        walk.problem(
            Problem::new(
                "trims.no_travel",
                format!(
                    "a track of {} with {} left at each end has no travel to speak of",
                    format(ohms, Unit::Ohm, 4),
                    format(*trims.end_resistance, Unit::Ohm, 4)
                ),
            )
            .at(span.unwrap_or(Span::new(0, 0)), "too short")
            .also(trims.end_resistance.span(), "what is left at the end")
            .expected("a track of more than four times its end resistance")
            .help(format!(
                "{name} = \"{}\"",
                format(insert::sold(10.0 * *trims.end_resistance), Unit::Ohm, 3)
            )),
        );
    }
}

fn refusal(blueprint: &Blueprint, moves: Moves, why: &NoPlace, at: Option<Span>) -> Problem {
    let resistors: Vec<&str> = blueprint
        .elements
        .iter()
        .filter(|e| match &e.kind {
            PlannedKind::Adjustable { .. } | PlannedKind::AdjustableGain { .. } => true,
            PlannedKind::Resistor { .. } | PlannedKind::GainResistor { .. } => {
                let name = e.designator.as_str();
                !blueprint
                    .slots
                    .iter()
                    .any(|s| s.tie.as_ref().is_some_and(|tie| s.designator == name || tie.to == name))
            }
            _ => false,
        })
        .map(|e| e.designator.as_str())
        .collect();
    let (code, label) = match why {
        NoPlace::Unknown(name) => (
            "trims.unknown_part",
            match nearest(name, resistors.iter().copied()) {
                Some(close) => format!("did you mean {close}?"),
                None => "not in this circuit".to_owned(),
            },
        ),
        NoPlace::NoResistor(_) => ("trims.no_resistor", "another kind of part".to_owned()),
        NoPlace::Tied(..) => ("trims.tied", "one of a pair".to_owned()),
        NoPlace::Same(_) => ("trims.same_part", "the same part twice".to_owned()),
        NoPlace::NotSaid(_) => ("trims.not_said", "which parts?".to_owned()),
    };
    let problem = Problem::new(code, why.to_string()).expected(format!(
        "the designator of an adjustable resistor, or of a resistor to put one in series with: {}",
        keys::one_of(&resistors)
    ));
    let problem = match why {
        NoPlace::NotSaid(_) => problem.help(format!(
            "{} = \"…\" in [trims], or means = \"constants\" where there is firmware",
            moves.name()
        )),
        NoPlace::Tied(..) => problem.help(format!("another part that moves the {}", moves.name())),
        _ => problem,
    };
    match at {
        Some(span) => problem.at(span, label),
        None => problem,
    }
}

impl ChainFile {
    /// The refusal of a trim that has no place in a circuit.
    pub(crate) fn no_trim(&self, blueprint: &Blueprint, moves: Moves, why: &NoPlace) -> Problem {
        let path = if moves == Moves::Zero { "trims.zero" } else { "trims.span" };
        refusal(blueprint, moves, why, self.place(path))
    }
}
