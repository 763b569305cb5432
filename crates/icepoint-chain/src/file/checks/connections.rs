//! A circuit as a whole: every node joined to something, one driver each, a way for bias currents, feedback, and a
//! path from the thermocouple to the output.

use super::super::given::Span;
use super::super::keys;
use super::super::problem::Problem;
use super::super::similar::nearest;
use super::super::walk::Walk;
use super::elements::at;
use crate::front_end::{Blueprint, GROUND, NEGATIVE, PULL, PlannedKind, PlannedPart, REFERENCE, SUPPLY};
use std::collections::{BTreeMap, BTreeSet};

/// Nodes that the surroundings hold at a voltage.
const HELD: [&str; 5] = [GROUND, SUPPLY, NEGATIVE, REFERENCE, PULL];

/// The circuit with what is asked of it over and over.
struct Graph<'c> {
    circuit: &'c Blueprint,
    /// Node to the pins on it: designator and key.
    pins: BTreeMap<&'c str, Vec<(&'c str, &'static str)>>,
    /// Nodes that a part holds at a voltage: the first pin that does.
    driven: BTreeMap<&'c str, (&'c str, &'static str)>,
}

/// The pin that drives its node, if the part has one.
fn driver(part: &PlannedPart) -> Option<(&str, &'static str)> {
    match &part.kind {
        PlannedKind::Operational { out, .. }
        | PlannedKind::Instrumentation { out, .. }
        | PlannedKind::TemperatureSensor { out } => Some((out, "out")),
        _ => None,
    }
}

pub(super) fn check(circuit: &Blueprint, walk: &mut Walk<'_>) {
    let mut graph = Graph { circuit, pins: BTreeMap::new(), driven: BTreeMap::new() };
    for element in &circuit.elements {
        for (key, node) in element.kind.pins() {
            graph.pins.entry(node).or_default().push((&element.designator, key));
        }
    }
    let before = walk.problems.len();
    one_driver_each(&mut graph, walk);
    rails(&graph, walk);
    ends(&graph, walk);
    points(&graph, walk);
    // What follows from a loose end is no problem of its own.
    if walk.problems.len() > before {
        return;
    }
    bias(&graph, walk);
    feedback(&graph, walk);
    path(&graph, walk);
}

fn one_driver_each(graph: &mut Graph<'_>, walk: &mut Walk<'_>) {
    for element in &graph.circuit.elements {
        let Some((node, key)) = driver(element) else { continue };
        let name = element.designator.as_str();
        let place = at(walk, name, key);
        let (other, first) = match graph.driven.get(node) {
            Some((first, key)) => (Some(at(walk, first, key)), (*first).to_owned()),
            None if HELD.contains(&node) => (None, format!("the node {node} of the board")),
            None => {
                graph.driven.insert(node, (name, key));
                continue;
            }
        };
        let problem = Problem::new("circuit.two_drivers", format!("{first} and {name} both drive {node}"))
            .at(place, "works against the other")
            .also(other, "the other")
            .expected("one output or supply on each node")
            .help("give each output a node of its own, and join them with a resistor if that is meant");
        walk.problem(problem);
    }
}

/// Supply pins are on rails, the positive one first.
fn rails(graph: &Graph<'_>, walk: &mut Walk<'_>) {
    for element in &graph.circuit.elements {
        let (PlannedKind::Operational { supply, .. } | PlannedKind::Instrumentation { supply, .. }) =
            &element.kind
        else {
            continue;
        };
        let name = element.designator.as_str();
        if supply.0 == supply.1 {
            continue;
        }
        for (node, key, wanted) in [
            (&supply.0, "supply.0", "supply, gnd, or an output that feeds it"),
            (&supply.1, "supply.1", "negative, gnd, or an output that feeds it"),
        ] {
            if HELD.contains(&node.as_str()) || graph.driven.contains_key(node.as_str()) {
                continue;
            }
            let problem =
                Problem::new("circuit.supply_not_driven", format!("nothing feeds {name} at {node}"))
                    .at(
                        at(walk, name, key),
                        match nearest(node, HELD) {
                            Some(close) => format!("did you mean {close}?"),
                            None => "not a supply".to_owned(),
                        },
                    )
                    .expected(wanted)
                    .help("supply = [\"supply\", \"negative\"]");
            walk.problem(problem);
        }
        let upside_down = matches!(supply.0.as_str(), NEGATIVE) || supply.1 == SUPPLY;
        if upside_down {
            let problem =
                Problem::new("circuit.supply_reversed", format!("{name} is fed the wrong way round"))
                    .at(at(walk, name, "supply"), "the positive pin comes first")
                    .expected("the positive supply, then the negative one")
                    .help(format!("supply = [\"{}\", \"{}\"]", supply.1, supply.0));
            walk.problem(problem);
        }
    }
}

/// No node with a single pin on it, and the ports on nodes of the circuit.
fn ends(graph: &Graph<'_>, walk: &mut Walk<'_>) {
    let ports = &graph.circuit.ports;
    let known: Vec<&str> =
        graph.pins.keys().copied().chain(HELD).collect::<BTreeSet<_>>().into_iter().collect();
    let mut told = BTreeSet::new();
    for (node, key, what) in [
        (&ports.plus, "thermocouple.0", "the positive leg"),
        (&ports.minus, "thermocouple.1", "the negative leg"),
        (&ports.output, "output", "the output"),
    ]
    .into_iter()
    .chain(ports.output_minus.iter().map(|node| (node, "output_minus", "the second input of the converter")))
    {
        let place = walk.places.get(&format!("circuit.{key}")).map_or(Span::new(0, 0), |place| place.value);
        if key == "output" && HELD.contains(&node.as_str()) {
            let problem =
                Problem::new("circuit.output_held", format!("the output is {node}, which the board holds"))
                    .at(place, "does not follow the thermocouple")
                    .expected("a node of the circuit");
            walk.problem(problem);
            continue;
        }
        // A leg on a held node, or the converter straight at the thermocouple, is a circuit too.
        let other_port = key == "output" && (ports.output == ports.plus || ports.output == ports.minus);
        if graph.pins.contains_key(node.as_str()) || HELD.contains(&node.as_str()) || other_port {
            continue;
        }
        told.insert(node.as_str());
        let close = nearest(node, known.iter().copied());
        let problem =
            Problem::new("circuit.port_on_nothing", format!("no part is on {node}, where {what} is"))
                .at(
                    place,
                    close.map_or_else(|| "joined to nothing".to_owned(), |c| format!("did you mean {c}?")),
                )
                .expected(format!("a node of the circuit: {}", keys::one_of(&known)));
        walk.problem(problem);
    }
    for tap in &graph.circuit.taps {
        if graph.pins.contains_key(tap.node.as_str()) || HELD.contains(&tap.node.as_str()) {
            continue;
        }
        let letter = tap.letter.name();
        let place =
            walk.places.get(&format!("circuit.taps.{letter}")).map_or(Span::new(0, 0), |place| place.value);
        let close = nearest(&tap.node, known.iter().copied());
        let problem = Problem::new(
            "circuit.tap_on_nothing",
            format!("no part is on {}, the tap of type {letter}", tap.node),
        )
        .at(place, close.map_or_else(|| "joined to nothing".to_owned(), |c| format!("did you mean {c}?")))
        .expected(format!("a node of the circuit: {}", keys::one_of(&known)));
        walk.problem(problem);
    }
    for (node, pins) in &graph.pins {
        let [(designator, key)] = pins[..] else { continue };
        // A supply pin that nothing feeds is told as such.
        if key.starts_with("supply") {
            continue;
        }
        let is_port = [&ports.plus, &ports.minus, &ports.output]
            .into_iter()
            .chain(&ports.output_minus)
            .chain(graph.circuit.taps.iter().map(|tap| &tap.node))
            .any(|port| port == node);
        if is_port || HELD.contains(node) {
            continue;
        }
        let others = known.iter().copied().filter(|name| name != node);
        let mut problem =
            Problem::new("circuit.loose_end", format!("{designator} is the only part on {node}"))
                .expected("two parts or more on each node");
        problem = match nearest(node, others) {
            Some(close) => problem.at(at(walk, designator, key), format!("did you mean {close}?")),
            None => problem.at(at(walk, designator, key), "joined to nothing else"),
        };
        walk.problem(problem.help("the name of a node that another part is on, or gnd"));
    }
}

fn points(graph: &Graph<'_>, walk: &mut Walk<'_>) {
    let ports = &graph.circuit.ports;
    let known: BTreeSet<&str> = graph
        .pins
        .keys()
        .copied()
        .chain([ports.plus.as_str(), &ports.minus, &ports.output])
        .chain(HELD)
        .collect();
    for point in &graph.circuit.test_points {
        if known.contains(point.node.as_str()) {
            continue;
        }
        let path = format!("circuit.test_points.{}.node", point.label);
        let place = walk.places.get(&path).map_or(Span::new(0, 0), |place| place.value);
        let close = nearest(&point.node, known.iter().copied());
        let list: Vec<&str> = known.iter().copied().collect();
        let problem = Problem::new("circuit.test_point_on_nothing", format!("no part is on {}", point.node))
            .at(
                place,
                close.map_or_else(|| "not in this circuit".to_owned(), |c| format!("did you mean {c}?")),
            )
            .expected(format!("a node of the circuit: {}", keys::one_of(&list)));
        walk.problem(problem);
    }
}

impl<'c> Graph<'c> {
    fn is_stiff(&self, node: &str) -> bool {
        HELD.contains(&node) || self.driven.contains_key(node)
    }

    /// All nodes reached from `start` over resistors, and capacitors if `dynamic`; a stiff node is reached but not
    /// passed, since nothing that flows into it moves it. `start` itself is passed always.
    fn around(&self, start: &'c str, dynamic: bool, thermocouple: bool) -> BTreeSet<&'c str> {
        let mut reached = BTreeSet::from([start]);
        let mut next = vec![start];
        let ports = &self.circuit.ports;
        while let Some(node) = next.pop() {
            if node != start && self.is_stiff(node) {
                continue;
            }
            let mut far: Vec<&'c str> = Vec::new();
            for element in &self.circuit.elements {
                let mut pairs = element.kind.conducting_pairs();
                if let PlannedKind::Capacitor { a, b } = &element.kind
                    && dynamic
                {
                    pairs.push((a, b));
                }
                for (a, b) in pairs {
                    if a == node {
                        far.push(b);
                    } else if b == node {
                        far.push(a);
                    }
                }
            }
            if thermocouple && node == ports.plus {
                far.push(&ports.minus);
            } else if thermocouple && node == ports.minus {
                far.push(&ports.plus);
            }
            for node in far {
                if reached.insert(node) {
                    next.push(node);
                }
            }
        }
        reached
    }

    /// All nodes that move when one of `start` does: over resistors, capacitors if `dynamic`, and amplifiers.
    fn moved_by(&self, start: &[&'c str], dynamic: bool) -> BTreeSet<&'c str> {
        let mut moved: BTreeSet<&'c str> = BTreeSet::new();
        let mut next: Vec<&'c str> = start.to_vec();
        while let Some(node) = next.pop() {
            if !moved.insert(node) {
                continue;
            }
            let around = self.around(node, dynamic, false);
            for element in &self.circuit.elements {
                let (inputs, out) = match &element.kind {
                    PlannedKind::Operational { plus, minus, out, .. } => (vec![plus, minus], out),
                    PlannedKind::Instrumentation { plus, minus, reference, out, .. } => {
                        (vec![plus, minus, reference], out)
                    }
                    _ => continue,
                };
                if inputs.iter().any(|input| {
                    around.contains(input.as_str()) && (**input == node || !self.is_stiff(input))
                }) {
                    next.push(out);
                }
            }
            moved.extend(around.into_iter().filter(|n| *n == node || !self.is_stiff(n)));
        }
        moved
    }
}

/// Every input and every node between resistors has a way to something that holds a voltage.
fn bias(graph: &Graph<'_>, walk: &mut Walk<'_>) {
    let ports = &graph.circuit.ports;
    let mut settled: BTreeSet<&str> = BTreeSet::new();
    for (node, pins) in &graph.pins {
        if graph.is_stiff(node) || settled.contains(node) {
            continue;
        }
        let around = graph.around(node, false, true);
        let held = around.iter().any(|n| graph.is_stiff(n));
        // The instrument at the output has an input resistance.
        if held || around.contains(ports.output.as_str()) {
            settled.extend(around.into_iter().filter(|n| !graph.is_stiff(n)));
            continue;
        }
        settled.extend(around.iter().copied());
        let Some((designator, key)) = pins.first() else { continue };
        let floats_thermocouple = around.contains(ports.plus.as_str());
        let list: Vec<&str> = around.into_iter().collect();
        let problem = Problem::new(
            "circuit.floating",
            format!("nothing holds {}: direct current has no way out", list.join(", ")),
        )
        .at(at(walk, designator, key), "floats")
        .expected("a resistor from there to gnd, to a supply or to an output")
        .help(if floats_thermocouple {
            "the bias of the thermocouple: R3 = { kind = \"resistor\", between = [\"tc_minus\", \"gnd\"], value = \"10 kΩ\" }"
        } else {
            "a resistor beside the capacitor, or another node for this pin"
        });
        walk.problem(problem);
    }
}

/// An operational amplifier without feedback is a comparator.
fn feedback(graph: &Graph<'_>, walk: &mut Walk<'_>) {
    for element in &graph.circuit.elements {
        let PlannedKind::Operational { plus, minus, out, .. } = &element.kind else { continue };
        let moved = graph.moved_by(&[out], false);
        // A minus input on a node that is held from elsewhere can't be fed back to.
        if moved.contains(minus.as_str()) {
            continue;
        }
        let name = element.designator.as_str();
        let swapped = moved.contains(plus.as_str());
        let problem = Problem::new(
            "circuit.no_feedback",
            if swapped {
                format!("the output of {name} comes back to its plus input only")
            } else {
                format!("the output of {name} does not come back to its minus input")
            },
        )
        .at(at(walk, name, "minus"), if swapped { "plus and minus swapped?" } else { "no feedback" })
        .expected("a path from out to minus, through a resistor or straight")
        .help(if swapped {
            format!("plus = \"{minus}\", minus = \"{plus}\"")
        } else {
            format!("minus = \"{out}\" for a follower, or a resistor between {out} and {minus}")
        });
        walk.problem(problem);
    }
}

/// The thermocouple moves the output.
fn path(graph: &Graph<'_>, walk: &mut Walk<'_>) {
    let ports = &graph.circuit.ports;
    // A leg on a stiff node is held there; the other one moves against it.
    let start: Vec<&str> =
        [ports.plus.as_str(), &ports.minus].into_iter().filter(|leg| !graph.is_stiff(leg)).collect();
    if !start.is_empty() && graph.moved_by(&start, false).contains(ports.output.as_str()) {
        return;
    }
    let place = walk.places.get("circuit.output").map_or(Span::new(0, 0), |place| place.value);
    let thermocouple = walk.places.get("circuit.thermocouple").map(|place| place.value);
    let problem = if start.is_empty() {
        Problem::new(
            "circuit.thermocouple_held",
            "both legs of the thermocouple are held by the board or an output",
        )
        .at(thermocouple.unwrap_or(place), "can't move anything")
        .expected("one leg at least on a node of its own")
    } else {
        Problem::new("circuit.no_path", format!("no path leads from the thermocouple to {}", ports.output))
            .at(place, "does not follow the thermocouple")
            .also(thermocouple, "from here")
            .expected("amplifiers and resistors from the thermocouple to the output")
            .help("follow the signal from node to node: a resistor or an amplifier is missing, or a name is misspelt")
    };
    walk.problem(problem);
}
