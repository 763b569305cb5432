//! The parts of a circuit one by one: values, limits, ties, networks, and what each is joined to.

use super::super::circuit::did_you_mean;
use super::super::given::Span;
use super::super::keys;
use super::super::problem::Problem;
use super::super::walk::Walk;
use super::connections;
use crate::front_end::{Blueprint, PlannedKind, Slot, SlotKind};
use crate::quantity::{Unit, format};
use std::collections::BTreeMap;

/// All that can be said of a circuit without the rest of the file.
pub(in super::super) fn circuit_structure(circuit: &Blueprint, walk: &mut Walk<'_>) {
    for slot in &circuit.slots {
        limits(slot, walk);
        tie(circuit, slot, walk);
    }
    networks(circuit, walk);
    gain_resistors(circuit, walk);
    joined_to_itself(circuit, walk);
    connections::check(circuit, walk);
}

/// The place of a key of a part, or of the part.
pub(super) fn at(walk: &Walk<'_>, designator: &str, key: &str) -> Span {
    let part = format!("circuit.parts.{designator}");
    let of_key = walk.places.get(&format!("{part}.{key}")).map(|place| place.value);
    of_key
        .or_else(|| walk.places.get(&part).map(|place| place.key))
        .or_else(|| walk.places.get("circuit").map(|place| place.key))
        .unwrap_or(Span::new(0, 0))
}

fn shown(value: f64, kind: SlotKind) -> String {
    format(value, if kind == SlotKind::Resistor { Unit::Ohm } else { Unit::Farad }, 4)
}

fn limits(slot: &Slot, walk: &mut Walk<'_>) {
    let name = slot.designator.as_str();
    let ((low, high), kind) = (slot.limits, slot.kind);
    if low > high {
        let (low, high) = (shown(low, kind), shown(high, kind));
        let problem = Problem::new(
            "circuit.limits_reversed",
            format!("{name} may be chosen from {low} down to {high}"),
        )
        .at(at(walk, name, "at_least"), "the smallest value")
        .also(Some(at(walk, name, "at_most")), "the largest value")
        .expected("at_least no larger than at_most")
        .help(format!("at_least = \"{high}\", at_most = \"{low}\""));
        walk.problem(problem);
        return;
    }
    for (key, value) in [("value", slot.given), ("usual", Some(slot.usual))] {
        let Some(value) = value else { continue };
        let written = walk.places.contains_key(&format!("circuit.parts.{name}.{key}"));
        if !written || (low..=high).contains(&value) {
            continue;
        }
        let range = format!("{} to {}", shown(low, kind), shown(high, kind));
        let limit = if value < low { "at_least" } else { "at_most" };
        let limit = walk.places.get(&format!("circuit.parts.{name}.{limit}")).map(|place| place.value);
        // A value beyond limits that nobody wrote is not contradicted by anything.
        if limit.is_none() {
            continue;
        }
        let problem = Problem::new(
            "circuit.value_outside_limits",
            format!("{} is outside of what {name} may be", shown(value, kind)),
        )
        .at(at(walk, name, key), "outside of the limits")
        .also(limit, "the limit")
        .expected(range)
        .help("limits only bind a value that is left open: give the one or the others");
        walk.problem(problem);
    }
}

fn tie(circuit: &Blueprint, slot: &Slot, walk: &mut Walk<'_>) {
    let Some(tie) = &slot.tie else { return };
    let name = slot.designator.as_str();
    let place = at(walk, name, "same_as");
    let written = |walk: &Walk<'_>, key: &str| {
        walk.places.get(&format!("circuit.parts.{name}.{key}")).map(|place| place.value)
    };
    for key in ["value", "at_least", "at_most", "usual"] {
        if let Some(other) = written(walk, key) {
            let problem = Problem::new(
                "circuit.tied_and_given",
                format!("{name} has the value of {}, and {key} too", tie.to),
            )
            .at(other, "one of the two is too much")
            .also(Some(place), "follows from this part")
            .expected(format!("same_as alone, or {key} alone"));
            walk.problem(problem);
        }
    }
    let Some(other) = circuit.slot(&tie.to) else {
        let known: Vec<&str> = circuit
            .slots
            .iter()
            .filter(|s| s.kind == slot.kind && s.designator != name)
            .map(|s| s.designator.as_str())
            .collect();
        let problem =
            Problem::new("circuit.tied_to_unknown", format!("there is no value of {} to take", tie.to))
                .at(place, did_you_mean(&tie.to, &known))
                .expected(format!("the designator of a part with a value: {}", keys::one_of(&known)));
        walk.problem(problem);
        return;
    };
    if other.kind != slot.kind {
        let problem =
            Problem::new("circuit.tied_to_other_kind", "a resistor and a capacitor have no value in common")
                .at(place, format!("{} is of another kind", tie.to))
                .expected("a part of the same kind");
        walk.problem(problem);
        return;
    }
    // Follow the ties; one that comes back has no value. Told at the first of its members in the text.
    let mut seen = vec![name];
    let mut next = other;
    loop {
        if next.designator == name {
            let first = circuit.slots.iter().find(|s| seen.contains(&s.designator.as_str()));
            if first.is_some_and(|s| s.designator == name) {
                let round = format!("{} = {}", seen.join(" = "), name);
                let problem =
                    Problem::new("circuit.tied_in_a_circle", format!("{round}: nobody says how much"))
                        .at(place, "comes back to itself")
                        .expected("one of them with a value, limits, or nothing at all")
                        .help(format!("leave same_as out of {name}"));
                walk.problem(problem);
            }
            return;
        }
        if seen.contains(&next.designator.as_str()) {
            return;
        }
        seen.push(&next.designator);
        match next.tie.as_ref().and_then(|tie| circuit.slot(&tie.to)) {
            Some(slot) => next = slot,
            None => return,
        }
    }
}

fn networks(circuit: &Blueprint, walk: &mut Walk<'_>) {
    let mut members: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
    for slot in &circuit.slots {
        if let Some(network) = &slot.network {
            members.entry(network).or_default().push(&slot.designator);
        }
    }
    let names: Vec<&str> = members.keys().copied().collect();
    for (network, list) in &members {
        let [only] = list[..] else { continue };
        let others: Vec<&str> = names.iter().copied().filter(|name| name != network).collect();
        let close = super::super::similar::nearest(network, others.iter().copied());
        let problem = Problem::new("circuit.network_of_one", format!("{only} is alone in network {network}"))
            .at(
                at(walk, only, "network"),
                match close {
                    Some(close) => format!("did you mean {close}?"),
                    None => "matched with nothing".to_owned(),
                },
            )
            .expected("two resistors or more in each network")
            .help("give its partner the same network, or leave it out");
        walk.problem(problem);
    }
}

fn gain_resistors(circuit: &Blueprint, walk: &mut Walk<'_>) {
    let amplifiers: Vec<&str> = circuit
        .elements
        .iter()
        .filter(|e| matches!(e.kind, PlannedKind::Instrumentation { .. }))
        .map(|e| e.designator.as_str())
        .collect();
    let mut set: BTreeMap<&str, &str> = BTreeMap::new();
    for element in &circuit.elements {
        let (amplifier, trim) = match &element.kind {
            PlannedKind::GainResistor { amplifier } => (amplifier, false),
            PlannedKind::AdjustableGain { amplifier } => (amplifier, true),
            _ => continue,
        };
        let name = element.designator.as_str();
        let place = at(walk, name, "amplifier");
        if !amplifiers.contains(&amplifier.as_str()) {
            let is = circuit.element(amplifier).is_some();
            let mut problem = Problem::new(
                "circuit.gain_of_nothing",
                if is {
                    format!("{amplifier} is no instrumentation amplifier")
                } else {
                    format!("there is no {amplifier} whose gain {name} could set")
                },
            )
            .at(
                place,
                if is { "another kind of part".to_owned() } else { did_you_mean(amplifier, &amplifiers) },
            );
            problem = if amplifiers.is_empty() {
                problem
                    .expected("an instrumentation amplifier in the circuit")
                    .help("kind = \"resistor\" with between = [\"…\", \"…\"] for the gain of an operational amplifier")
            } else {
                problem.expected(keys::one_of(&amplifiers))
            };
            walk.problem(problem);
        } else if trim {
            alone(circuit, name, amplifier, place, walk);
        } else if let Some(first) = set.insert(amplifier, name) {
            let problem = Problem::new(
                "circuit.gain_set_twice",
                format!("{first} and {name} both set the gain of {amplifier}"),
            )
            .at(place, "the second")
            .also(Some(at(walk, first, "amplifier")), "the first")
            .expected("one gain resistor for each instrumentation amplifier");
            walk.problem(problem);
        }
    }
}

/// A trim of the gain is in series with a gain resistor, and is the only one.
fn alone(circuit: &Blueprint, name: &str, amplifier: &str, place: Span, walk: &mut Walk<'_>) {
    let of = |kind: &PlannedKind, trim: bool| match kind {
        PlannedKind::GainResistor { amplifier: other } => !trim && other == amplifier,
        PlannedKind::AdjustableGain { amplifier: other } => trim && other == amplifier,
        _ => false,
    };
    let first = circuit.elements.iter().find(|e| of(&e.kind, true)).map(|e| e.designator.as_str());
    if !circuit.elements.iter().any(|e| of(&e.kind, false)) {
        walk.problem(
            Problem::new("circuit.trim_without_gain_resistor", format!("{amplifier} has no gain resistor beside {name}"))
                .at(place, "in series with nothing")
                .expected("a gain resistor for the same amplifier: at the end of its travel the gain would have no limit")
                .help(format!("RG = {{ kind = \"gain resistor\", amplifier = \"{amplifier}\" }}")),
        );
    } else if let Some(first) = first.filter(|first| *first != name) {
        walk.problem(
            Problem::new(
                "circuit.gain_set_twice",
                format!("{first} and {name} both trim the gain of {amplifier}"),
            )
            .at(place, "the second")
            .also(Some(at(walk, first, "amplifier")), "the first")
            .expected("one trim for each instrumentation amplifier"),
        );
    }
}

fn joined_to_itself(circuit: &Blueprint, walk: &mut Walk<'_>) {
    if circuit.ports.plus == circuit.ports.minus {
        let place = walk.places.get("circuit.thermocouple").map_or(Span::new(0, 0), |place| place.value);
        let problem =
            Problem::new("circuit.thermocouple_shorted", "both legs of the thermocouple are on one node")
                .at(place, "shorted")
                .expected("two nodes, the positive leg first")
                .help("thermocouple = [\"tc_plus\", \"tc_minus\"]");
        walk.problem(problem);
    }
    for element in &circuit.elements {
        let name = element.designator.as_str();
        let (key, what, label) = match &element.kind {
            PlannedKind::Resistor { a, b }
            | PlannedKind::Capacitor { a, b }
            | PlannedKind::Adjustable { a, b, .. }
                if a == b =>
            {
                ("between", format!("{name} is between {a} and {a}"), "both ends on the same node")
            }
            PlannedKind::Adjustable { a, b, wiper: Some(wiper) } if wiper == a || wiper == b => {
                ("wiper", format!("the wiper of {name} is on {wiper}, where the track ends"), "leave it out")
            }
            PlannedKind::Operational { plus, minus, .. }
            | PlannedKind::Instrumentation { plus, minus, .. }
                if plus == minus =>
            {
                ("minus", format!("both inputs of {name} are on {plus}"), "sees no difference")
            }
            PlannedKind::Operational { supply, .. } | PlannedKind::Instrumentation { supply, .. }
                if supply.0 == supply.1 =>
            {
                (
                    "supply",
                    format!("both supply pins of {name} are on {}", supply.0),
                    "no voltage to work with",
                )
            }
            _ => continue,
        };
        let problem = Problem::new("circuit.joined_to_itself", what)
            .at(at(walk, name, key), label)
            .expected("two different nodes");
        walk.problem(problem);
    }
}
