//! `[circuit]`: a front end as a list of parts and the nodes they join. The user's own circuit and the built-in front
//! ends are both read here.

use super::bounds::{self, Bound};
use super::checks;
use super::given::{Given, Span};
use super::problem::{Problem, Refused, Severity, Source};
use super::similar::nearest;
use super::walk::{Reader, Walk};
use super::{PartValue, Place};
use crate::front_end::sensing::{ClampFigures, DetectionFigures, Pulse};
use crate::front_end::{
    Blueprint, NEGATIVE, PlannedKind, PlannedPart, Ports, SUPPLY, Slot, SlotKind, Tap, TestPoint, Tie,
};
use crate::quantity::Unit;
use icepoint_sensors::Letter;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// Identifier of the user's own circuit.
pub const OWN: &str = "own";

/// Kinds of part, as written.
pub(super) const KINDS: &[(&str, PartWord)] = &[
    ("resistor", PartWord::Resistor),
    ("capacitor", PartWord::Capacitor),
    ("gain resistor", PartWord::GainResistor),
    ("adjustable resistor", PartWord::Adjustable),
    ("operational amplifier", PartWord::Operational),
    ("instrumentation amplifier", PartWord::Instrumentation),
    ("temperature sensor", PartWord::TemperatureSensor),
    ("silicon junction", PartWord::Junction),
    ("thermistor", PartWord::Thermistor),
    ("platinum resistor", PartWord::Platinum),
    ("clamp", PartWord::Clamp),
    ("detection current", PartWord::DetectionCurrent),
];
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum PartWord {
    Resistor,
    Capacitor,
    GainResistor,
    Adjustable,
    Operational,
    Instrumentation,
    TemperatureSensor,
    Junction,
    Thermistor,
    Platinum,
    Clamp,
    DetectionCurrent,
}

/// In which directions a clamp leaks, as written.
pub(super) const LEAKS: &[(&str, bool)] = &[("one way", false), ("either way", true)];

/// Widest limits of an open value that has none: Ω.
const RESISTOR_LIMITS: (f64, f64) = (10.0, 10e6);
/// F.
const CAPACITOR_LIMITS: (f64, f64) = (100e-12, 10e-6);
/// Letters in the name of a node or a designator at most.
const LONGEST_NAME: usize = 40;
/// Designators that the program itself puts on the board.
const RESERVED: &[&str] = &["VS", "VN", "VREF"];

/// Reads the text of a circuit alone: a `[circuit]` section with its parts and test points, and nothing else.
///
/// # Errors
/// [`Refused`] with every problem found; `id` is the name of the text in messages and of the front end.
pub fn read_circuit(id: &str, text: &str) -> Result<Blueprint, Refused> {
    let source = Source { name: id.to_owned(), text: text.to_owned() };
    let (root, errors) = DeTable::parse_recoverable(text);
    let mut walk = Walk::new(&source);
    for error in &errors {
        let problem = super::read::syntax(error, &source);
        walk.problem(problem);
    }
    for (key, _) in root.get_ref() {
        if key.get_ref() != "circuit" {
            let problem = Problem::new("section.unknown", "only [circuit] stands in a circuit of its own")
                .at(key.span().into(), "not part of the circuit")
                .expected("[circuit], [circuit.parts] and [circuit.test_points]");
            walk.problem(problem);
        }
    }
    let blueprint = circuit(&mut walk, root.get_ref());
    if let Some(blueprint) = &blueprint {
        checks::circuit_structure(blueprint, &mut walk);
    }
    let errors: Vec<_> = walk.problems.into_iter().filter(|p| p.severity == Severity::Error).collect();
    match blueprint {
        Some(blueprint) if errors.is_empty() => Ok(Blueprint { id: id.to_owned(), ..blueprint }),
        _ => Err(Refused::new(source, errors)),
    }
}

/// The section `[circuit]`, if its parts can be read.
pub(super) fn circuit<'t>(walk: &mut Walk<'t>, root: &DeTable<'t>) -> Option<Blueprint> {
    let (table, header) = walk.table(root, "circuit", "circuit")?;
    let mut r = walk.reader("circuit", "circuit", Some((table, header)))?;
    let title = r.text("title");
    let thermocouple = r.nodes("thermocouple");
    let output = r.node("output");
    let output_minus = r.node("output_minus");
    let (zero, span) = (r.text("zero"), r.text("span"));
    r.finish(&["parts", "test_points", "taps"]);
    let taps = taps(walk, table);
    let parts = parts(walk, table, header);
    let test_points = test_points(walk, table);
    let (elements, slots): (Vec<PlannedPart>, Vec<_>) = parts?.into_iter().unzip();
    let designators: Vec<&str> = elements.iter().map(|e| e.designator.as_str()).collect();
    for (key, name) in [("zero", &zero), ("span", &span)] {
        let Some(name) = name.as_ref().filter(|name| !designators.contains(&name.value.as_str())) else {
            continue;
        };
        let label = match nearest(&name.value, designators.iter().copied()) {
            Some(close) => format!("did you mean {close}?"),
            None => "not in this circuit".to_owned(),
        };
        let problem = Problem::new(
            "circuit.unknown_part",
            format!("there is no part {} to move the {key}", name.value),
        )
        .expected("the designator of a resistor of this circuit");
        walk.problem(match name.span() {
            Some(span) => problem.at(span, label),
            None => problem,
        });
    }
    let (plus, minus) = thermocouple?.value;
    Some(Blueprint {
        id: OWN.to_owned(),
        title: title.map_or_else(|| "own circuit".to_owned(), |t| t.value),
        slots: slots.into_iter().flatten().collect(),
        elements,
        ports: Ports {
            plus,
            minus,
            output: output?.value,
            output_minus: output_minus.map(|n| n.value),
            reference: None,
        },
        taps: taps?,
        zero: zero.map(|g| g.value),
        span: span.map(|g| g.value),
        test_points: test_points?,
    })
}

/// Entries of a table in the order of the text.
fn in_order<'w, 't>(table: &'w DeTable<'t>) -> Vec<&'w str> {
    let mut keys: Vec<&Spanned<_>> = table.keys().collect();
    keys.sort_by_key(|key| key.span().start);
    keys.into_iter().map(|key| key.get_ref().as_ref()).collect()
}

fn parts<'t>(
    walk: &mut Walk<'t>,
    circuit: &DeTable<'t>,
    header: Span,
) -> Option<Vec<(PlannedPart, Option<Slot>)>> {
    if !circuit.contains_key("parts") {
        walk.problem(
            Problem::new("circuit.no_parts", "the circuit has no parts")
                .at(header, "nothing joins its nodes")
                .expected("a section [circuit.parts] with a line for each part")
                .help("R1 = { kind = \"resistor\", between = [\"tc_plus\", \"out\"], value = \"1 kΩ\" }"),
        );
        return None;
    }
    let (table, _) = walk.table(circuit, "parts", "circuit.parts")?;
    let mut list = Vec::new();
    let mut complete = true;
    for name in in_order(table) {
        let path = format!("circuit.parts.{name}");
        if !designator(walk, table, name) {
            complete = false;
            continue;
        }
        let entry = walk.table(table, name, &path);
        let part = entry
            .and_then(|entry| walk.reader("circuit.parts.*", &path, Some(entry)))
            .and_then(|reader| part(name, reader));
        match part {
            Some(part) => list.push(part),
            None => complete = false,
        }
    }
    complete.then_some(list)
}

/// Whether a name can be the designator of a part.
fn designator<'t>(walk: &mut Walk<'t>, table: &DeTable<'t>, name: &str) -> bool {
    let well_formed = name.starts_with(|c: char| c.is_ascii_uppercase())
        && name.chars().all(|c| c.is_ascii_alphanumeric() || c == '_')
        && name.len() <= LONGEST_NAME;
    let span: Span = table.get_key_value(name).map_or(Span::new(0, 0), |(key, _)| key.span().into());
    if well_formed && !RESERVED.contains(&name) {
        return true;
    }
    let shown = crate::quantity::read::shortened(name);
    walk.problem(if well_formed {
        Problem::new("circuit.reserved_designator", format!("{shown} is placed by the program itself"))
            .at(span, "taken")
            .expected("another designator; VS, VN and VREF are the supplies and the converter's reference")
            .help("join the nodes supply, negative and reference instead")
    } else {
        Problem::new("circuit.bad_designator", format!("\"{shown}\" is no designator"))
            .at(span, "name of what?")
            .expected("a capital letter, then letters and digits: R1, C2, A1, U1")
    });
    false
}

fn part(name: &str, mut r: Reader<'_, '_>) -> Option<(PlannedPart, Option<Slot>)> {
    let Some(kind) = r.choice("kind", KINDS) else {
        r.abandon();
        return None;
    };
    let purpose = r.text("purpose");
    let purpose = purpose.map_or_else(String::new, |p| p.value);
    let mut slot = None;
    let planned = match kind.value {
        PartWord::Resistor => {
            let between = r.nodes("between");
            slot = Some(read_slot(name, &purpose, SlotKind::Resistor, true, &mut r));
            between.map(|Given { value: (a, b), .. }| PlannedKind::Resistor { a, b })
        }
        PartWord::Capacitor => {
            let between = r.nodes("between");
            slot = Some(read_slot(name, &purpose, SlotKind::Capacitor, false, &mut r));
            between.map(|Given { value: (a, b), .. }| PlannedKind::Capacitor { a, b })
        }
        PartWord::Adjustable => {
            let amplifier = r.has("amplifier").then(|| r.text("amplifier"));
            if let Some(amplifier) = amplifier {
                slot = Some(read_slot(name, &purpose, SlotKind::Resistor, false, &mut r));
                r.finish(&[]);
                let kind = PlannedKind::AdjustableGain { amplifier: amplifier?.value };
                return Some((PlannedPart { designator: name.to_owned(), purpose, kind }, slot?));
            }
            let between = r.nodes("between");
            let wiper = r.has("wiper").then(|| r.node("wiper"));
            slot = Some(read_slot(name, &purpose, SlotKind::Resistor, false, &mut r));
            match (between, wiper) {
                (_, Some(None)) | (None, _) => None,
                (Some(Given { value: (a, b), .. }), wiper) => {
                    Some(PlannedKind::Adjustable { a, b, wiper: wiper.flatten().map(|w| w.value) })
                }
            }
        }
        PartWord::GainResistor => {
            let amplifier = r.text("amplifier");
            slot = Some(read_slot(name, &purpose, SlotKind::Resistor, false, &mut r));
            amplifier.map(|amplifier| PlannedKind::GainResistor { amplifier: amplifier.value })
        }
        PartWord::Operational => {
            let (plus, minus, out) = (r.node("plus"), r.node("minus"), r.node("out"));
            let (supply, record) = (supply(&mut r), r.text("record"));
            match (plus, minus, out, record) {
                (Some(plus), Some(minus), Some(out), Some(record)) => Some(PlannedKind::Operational {
                    plus: plus.value,
                    minus: minus.value,
                    out: out.value,
                    supply,
                    record: record.value,
                }),
                _ => None,
            }
        }
        PartWord::Instrumentation => {
            let (plus, minus, out) = (r.node("plus"), r.node("minus"), r.node("out"));
            let reference = r.node("reference");
            let (supply, record) = (supply(&mut r), r.text("record"));
            match (plus, minus, reference, out, record) {
                (Some(plus), Some(minus), Some(reference), Some(out), Some(record)) => {
                    Some(PlannedKind::Instrumentation {
                        plus: plus.value,
                        minus: minus.value,
                        reference: reference.value,
                        out: out.value,
                        supply,
                        record: record.value,
                    })
                }
                _ => None,
            }
        }
        PartWord::Junction => match (r.node("anode"), r.node("cathode")) {
            (Some(anode), Some(cathode)) => {
                Some(PlannedKind::Junction { anode: anode.value, cathode: cathode.value })
            }
            _ => None,
        },
        PartWord::Thermistor => {
            let between = r.nodes("between");
            between.map(|Given { value: (a, b), .. }| PlannedKind::Thermistor { a, b })
        }
        PartWord::Platinum => {
            let between = r.nodes("between");
            between.map(|Given { value: (a, b), .. }| PlannedKind::Platinum { a, b })
        }
        PartWord::Clamp => clamp(&mut r),
        PartWord::DetectionCurrent => detection(&mut r),
        PartWord::TemperatureSensor => {
            r.node("out").map(|out| PlannedKind::TemperatureSensor { out: out.value })
        }
    };
    r.finish(&[]);
    let slot = match slot {
        Some(slot) => Some(slot?),
        None => None,
    };
    Some((PlannedPart { designator: name.to_owned(), purpose, kind: planned? }, slot))
}

/// Kelvins in which the leakage of a silicon junction doubles (common practice, no source).
const USUAL_DOUBLING: f64 = 10.0;
/// Forward voltage of a silicon clamp, V, and the current that it may carry for long, A (common practice, no source).
const USUAL_CLAMP: (f64, f64) = (0.7, 0.01);
/// Tolerance of a detection current (common practice, no source).
const USUAL_DETECTION: f64 = 0.2;

fn clamp(r: &mut Reader<'_, '_>) -> Option<PlannedKind> {
    let (anode, cathode) = (r.node("anode"), r.node("cathode"));
    let leakage = r.quantity("leakage");
    let doubling = r.quantity("doubling").map_or(USUAL_DOUBLING, |g| g.value);
    let either_way = r.choice("leaks", LEAKS).is_some_and(|g| g.value);
    let volts = r.quantity("forward_voltage").map_or(USUAL_CLAMP.0, |g| g.value);
    let amperes = r.quantity("largest_current").map_or(USUAL_CLAMP.1, |g| g.value);
    let figures = ClampFigures { leakage: leakage?.value, doubling, either_way, volts, amperes };
    Some(PlannedKind::Clamp { anode: anode?.value, cathode: cathode?.value, figures })
}

fn detection(r: &mut Reader<'_, '_>) -> Option<PlannedKind> {
    let (from, to, current) = (r.node("from"), r.node("to"), r.quantity("current"));
    let tolerance = r.quantity("tolerance").map_or(USUAL_DETECTION, |g| g.value);
    let (on, wait) = (r.quantity("pulse"), r.quantity("wait"));
    let pulse = match (on, wait) {
        (Some(on), Some(wait)) => Some(Pulse { on: on.value, wait: wait.value }),
        (Some(alone), None) | (None, Some(alone)) => {
            if let Some(span) = alone.span() {
                r.walk.problem(
                    Problem::new("circuit.half_a_pulse", "a pulse needs its length and the wait behind it")
                        .at(span, "the other one is missing")
                        .expected("both pulse and wait, or neither: then the current always flows")
                        .help("pulse = \"5 ms\", wait = \"50 ms\""),
                );
            }
            return None;
        }
        (None, None) => None,
    };
    let figures = DetectionFigures { amperes: current?.value, tolerance, pulse };
    Some(PlannedKind::DetectionCurrent { from: from?.value, to: to?.value, figures })
}

/// Supply pins: the rails, unless said otherwise.
fn supply(r: &mut Reader<'_, '_>) -> (String, String) {
    r.nodes("supply").map_or_else(|| (SUPPLY.to_owned(), NEGATIVE.to_owned()), |given| given.value)
}

/// The value of a resistor or capacitor: given, or what may be chosen.
fn read_slot(
    name: &str,
    purpose: &str,
    kind: SlotKind,
    may_match: bool,
    r: &mut Reader<'_, '_>,
) -> Option<Slot> {
    let (letter, unit, bound, widest): (char, Unit, &'static Bound, (f64, f64)) = match kind {
        SlotKind::Resistor => ('R', Unit::Ohm, bounds::RESISTOR, RESISTOR_LIMITS),
        SlotKind::Capacitor => ('C', Unit::Farad, bounds::CAPACITOR, CAPACITOR_LIMITS),
    };
    let before = r.walk.problems.len();
    if !name.starts_with(letter) {
        let what = if letter == 'R' { "resistor" } else { "capacitor" };
        let at = r.walk.places.get(&r.path).map_or(Span::new(0, 0), |place| place.key);
        r.walk.problem(
            Problem::new("circuit.designator_of_another_kind", format!("{name} is a {what}"))
                .at(at, format!("a {what} has the letter {letter}"))
                .expected(format!(
                    "a designator that starts with {letter}, so that its values have their unit"
                ))
                .help(format!("{letter}{}", name.trim_start_matches(|c: char| c.is_ascii_alphabetic()))),
        );
    }
    let value = r.get("value", |walk, key, _, value, _| walk.part(key, name, value));
    let mut limit = |key_name: &str| {
        r.get(key_name, |walk, key, key_name, value, _| walk.part_quantity(key, key_name, value, unit, bound))
    };
    let (at_least, at_most, usual) = (limit("at_least"), limit("at_most"), limit("usual"));
    let same_as = r.text("same_as");
    let times = r.number("times");
    let role = r.text("role");
    let network = if may_match { r.text("network") } else { None };
    let tolerance = r.quantity("tolerance");
    let tempco = if kind == SlotKind::Resistor { r.quantity("tempco") } else { None };
    if same_as.is_none()
        && let Some(span) = times.as_ref().and_then(Given::span)
    {
        r.walk.problem(
            Problem::new("circuit.times_of_nothing", format!("{name} is times what?"))
                .at(span, "a factor on the value of no part")
                .expected("times only beside same_as")
                .help("same_as = \"R2\", or value = \"…\" instead"),
        );
    }
    if r.walk.problems.len() > before {
        return None;
    }
    let beside = value.as_ref().and_then(|v| match v.value {
        PartValue::Chosen { quantity, .. } if quantity.tolerance.is_some() && quantity.value > 0.0 => {
            Some(quantity.half_width() / quantity.value)
        }
        _ => None,
    });
    let (low, high) = (at_least.map(|g| g.value), at_most.map(|g| g.value));
    // Who gives one limit beyond the widest of the other side means a decade or two from there.
    let least = low.unwrap_or_else(|| high.map_or(widest.0, |high| widest.0.min(0.01 * high)));
    let most = high.unwrap_or_else(|| low.map_or(widest.1, |low| widest.1.max(100.0 * low)));
    let usual = usual.map_or_else(|| libm::sqrt(least * most), |g| g.value);
    Some(Slot {
        designator: name.to_owned(),
        kind,
        purpose: purpose.to_owned(),
        usual,
        limits: (least, most),
        tie: same_as.map(|to| Tie { to: to.value, ratio: times.map_or(1.0, |g| g.value) }),
        network: network.map(|g| g.value),
        role: role.map(|g| g.value),
        given: value.and_then(|g| g.value.chosen()),
        tolerance: tolerance.map(|g| g.value).or(beside),
        tempco: tempco.map(|g| g.value),
    })
}

/// `[circuit.taps]`: letter of a type to the node that its negative leg goes to.
fn taps<'t>(walk: &mut Walk<'t>, circuit: &DeTable<'t>) -> Option<Vec<Tap>> {
    if !circuit.contains_key("taps") {
        return Some(Vec::new());
    }
    let (table, header) = walk.table(circuit, "taps", "circuit.taps")?;
    let mut r = walk.reader("circuit.taps", "circuit.taps", Some((table, header)))?;
    let mut list = Vec::new();
    for letter in Letter::ALL {
        if !r.has(letter.name()) {
            continue;
        }
        list.push(Tap { letter, node: r.node(letter.name())?.value });
    }
    r.finish(&[]);
    Some(list)
}

fn test_points<'t>(walk: &mut Walk<'t>, circuit: &DeTable<'t>) -> Option<Vec<TestPoint>> {
    if !circuit.contains_key("test_points") {
        return Some(Vec::new());
    }
    let (table, _) = walk.table(circuit, "test_points", "circuit.test_points")?;
    let mut list = Vec::new();
    let mut complete = true;
    for name in in_order(table) {
        let path = format!("circuit.test_points.{name}");
        let entry = walk.table(table, name, &path);
        let reader = entry.and_then(|entry| walk.reader("circuit.test_points.*", &path, Some(entry)));
        let point = reader.and_then(|mut r| {
            let (node, shows) = (r.node("node"), r.text("shows"));
            r.finish(&[]);
            Some(TestPoint { label: name.to_owned(), node: node?.value, what: shows?.value })
        });
        match point {
            Some(point) => list.push(point),
            None => complete = false,
        }
    }
    complete.then_some(list)
}

impl Reader<'_, '_> {
    /// The name of a node.
    fn node(&mut self, name: &str) -> Option<Given<String>> {
        self.get(name, |walk, key, name, value, _| {
            let text = walk.text(key, name, value)?;
            walk.node_name(&text, value.span().into())
        })
    }

    /// The names of two nodes; each has a place of its own, `name.0` and `name.1`.
    fn nodes(&mut self, name: &str) -> Option<Given<(String, String)>> {
        let path = format!("{}.{name}", self.path);
        self.get(name, |walk, key, name, value, _| {
            let span: Span = value.span().into();
            let items = match value.get_ref() {
                DeValue::Array(items) if items.len() == 2 => items,
                other => {
                    walk.wrong_type(key, name, other, span, &format!("{name} = {}", key.example));
                    return None;
                }
            };
            let mut nodes = Vec::new();
            for (i, item) in items.iter().enumerate() {
                let place: Span = item.span().into();
                walk.places.insert(format!("{path}.{i}"), Place { key: place, value: place });
                let text = walk.text(key, name, item)?;
                nodes.push(walk.node_name(&text, place)?);
            }
            let mut nodes = nodes.into_iter();
            Some((nodes.next()?, nodes.next()?))
        })
    }
}

impl Walk<'_> {
    /// A node's name: no spaces, so that it can't be one of the model's own nodes.
    fn node_name(&mut self, text: &str, span: Span) -> Option<String> {
        let fits = !text.is_empty()
            && text.len() <= LONGEST_NAME
            && text.chars().all(|c| c.is_alphanumeric() || matches!(c, '_' | '+' | '-'));
        if fits {
            return Some(text.to_owned());
        }
        let shown = crate::quantity::read::shortened(text);
        self.problem(
            Problem::new("circuit.bad_node", format!("\"{shown}\" is no name of a node"))
                .at(span, "not a name")
                .expected("letters, digits, _, + and -, such as \"tc_plus\"")
                .help(format!("\"{}\"", sound_name(text))),
        );
        None
    }
}

/// The nearest name that would be taken.
fn sound_name(text: &str) -> String {
    let sound: String = text
        .trim()
        .chars()
        .map(|c| if c.is_alphanumeric() || matches!(c, '_' | '+' | '-') { c } else { '_' })
        .take(LONGEST_NAME / 4)
        .collect();
    if sound.is_empty() { "node".to_owned() } else { sound }
}

/// "did you mean R2?", for a name that stands for no part.
pub(super) fn did_you_mean(found: &str, known: &[&str]) -> String {
    match nearest(found, known.iter().copied()) {
        Some(close) => format!("did you mean {close}?"),
        None => "not in this circuit".to_owned(),
    }
}
