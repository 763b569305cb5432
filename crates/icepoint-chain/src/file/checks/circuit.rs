//! Front end and circuit against its supply, the converter and the reading rule.

use super::super::converter::{ConverterKind, Readout};
use super::super::given::{Given, Span};
use super::super::problem::Problem;
use super::super::similar::nearest;
use super::super::walk::Walk;
use super::super::{AmplifierKind, ChainFile, Element, Method, Topology};
use super::{celsius, place, volts};
use crate::front_end::REFERENCE;
use crate::quantity::{Unit, format, format_toleranced};

/// Either a built-in circuit or the one in `[circuit]`.
pub(super) fn which(file: &ChainFile, walk: &mut Walk<'_>) {
    let topology = &file.front_end.topology;
    let at = place(walk, topology, "front_end");
    let header = walk.places.get("circuit").map(|place| place.key);
    match (topology.value, header) {
        (Topology::Own, None) => walk.problem(
            Problem::new("circuit.missing", "topology = \"own\", and there is no [circuit]")
                .at(at, "which circuit?")
                .expected("a section [circuit] with its parts")
                .help(format!(
                    "[circuit] with thermocouple, output and [circuit.parts], or {}",
                    super::super::keys::one_of(&built_in())
                )),
        ),
        (Topology::Any, None) => {
            let front_end = &file.front_end;
            let chosen = front_end.values.iter().filter(|(_, given)| given.value.chosen().is_some());
            let values = chosen.map(|(name, given)| (name, given.span()));
            let tolerances = front_end.tolerance.iter().map(|(name, given)| (name, given.span()));
            if let Some((name, span)) = values.chain(tolerances).next() {
                walk.problem(
                    Problem::new(
                        "front_end.values_of_none",
                        format!("{name} has a figure, and no front end is named that it belongs to"),
                    )
                    .at(span.unwrap_or(at), "of which front end?")
                    .also(topology.span(), "none is named")
                    .expected("values and tolerances beside topology = the name of a front end")
                    .help("name the front end, or leave its values out: design compares all that fit"),
                );
            }
        }
        // Compared with the built-in ones; what [front_end] says of parts is about this one.
        (Topology::Any, Some(_)) => {}
        (Topology::BuiltIn(id), Some(header)) => walk.problem(
            Problem::new("circuit.two", format!("the front end is {id}, and there is a [circuit] too"))
                .at(at, "a built-in circuit")
                .also(Some(header), "another one")
                .expected("one circuit")
                .help("topology = \"own\", or comment [circuit] out"),
        ),
        _ => {}
    }
}

/// The user's own circuit against the rest of the file.
pub(super) fn own(file: &ChainFile, walk: &mut Walk<'_>) {
    let Some(circuit) = &file.circuit else { return };
    let at = |walk: &Walk<'_>, designator: &str, key: &str| {
        walk.places.get(&format!("circuit.parts.{designator}.{key}")).map_or(Span::new(0, 0), |p| p.value)
    };
    if matches!(file.converter.kind, ConverterKind::Voltmeter(_)) {
        for element in &circuit.elements {
            let name = &element.designator;
            let Some((key, _)) = element.kind.pins().into_iter().find(|(_, node)| *node == REFERENCE) else {
                continue;
            };
            let kind = walk.places.get("converter.kind").map(|place| place.value);
            let problem = Problem::new("circuit.no_reference", "a voltmeter has no reference to share")
                .at(at(walk, name, key), format!("{name} is on reference"))
                .also(kind, "the voltmeter")
                .expected("reference only with kind = \"adc\" in [converter]")
                .help("\"supply\", or kind = \"adc\"");
            walk.problem(problem);
        }
    }
    for slot in circuit.slots.iter().filter(|slot| slot.given.is_some()) {
        let name = &slot.designator;
        let Some(other) = file.front_end.values.get(name).and_then(Given::span) else { continue };
        let problem =
            Problem::new("circuit.given_twice", format!("{name} has a value in [circuit.parts] and another"))
                .at(other, "the second")
                .also(Some(at(walk, name, "value")), "the first")
                .expected("each value once")
                .help("remove one of the two; `icepoint design` writes its choices into [front_end.values]");
        walk.problem(problem);
    }
}

fn built_in() -> Vec<&'static str> {
    crate::front_end::library::TEXTS.iter().map(|(id, _)| *id).collect()
}

/// What an error calls the circuit.
fn called(file: &ChainFile) -> String {
    match file.front_end.topology.value {
        Topology::BuiltIn(id) => format!("the front end {id}"),
        Topology::Own | Topology::Any => "this circuit".to_owned(),
    }
}

pub(super) fn reading_rule(file: &ChainFile, walk: &mut Walk<'_>) {
    let (topology, method) = (&file.front_end.topology, &file.reference_junction.method);
    // Without a named front end the method itself says which are compared; the rule must go with it all the same.
    let wanted = file.blueprint().map_or(method.value, Method::wanted_by);
    if method.value != wanted {
        let word = wanted.word();
        let other = match wanted {
            Method::Analog | Method::Circuit => "instrumentation",
            Method::Sensor => "single-amplifier",
        };
        let at = place(walk, method, "reference_junction");
        let own = topology.value == Topology::Own;
        let help = match (own, wanted) {
            (false, _) => format!("method = \"{word}\", or topology = \"{other}\""),
            (true, Method::Circuit) => {
                format!("method = \"{word}\", or nothing that follows the temperature in [circuit.parts]")
            }
            (true, Method::Analog) => {
                format!("method = \"{word}\", or no temperature sensor in [circuit.parts]")
            }
            (true, Method::Sensor) => format!(
                "method = \"{word}\", or U1 = {{ kind = \"temperature sensor\", out = \"sensor\" }} in [circuit.parts]"
            ),
        };
        walk.problem(
            Problem::new("front_end.other_method", format!("{} needs method = \"{word}\"", called(file)))
                .at(at, format!("\"{word}\" goes with this {}", if own { "circuit" } else { "front end" }))
                .also(topology.span(), if own { "the circuit" } else { "the front end" })
                .expected(format!("method = \"{word}\""))
                .help(help),
        );
        return;
    }
    let line = matches!(file.readout.value, Readout::Line { .. });
    let at = place(walk, &file.readout, "readout");
    match method.value {
        Method::Analog | Method::Circuit if !line => walk.problem(
            Problem::new(
                "readout.needs_sensor",
                "this rule adds the reference junction itself, and the circuit has added it already",
            )
            .at(at, "would count the reference junction twice")
            .also(method.span(), "compensated in the circuit")
            .expected("rule = \"line\"")
            .help("rule = \"line\" with slope = \"10 mV/K\", or method = \"sensor\""),
        ),
        Method::Sensor if line => walk.problem(
            Problem::new(
                "readout.no_compensation",
                "a straight line leaves the sensor of the reference junction unused",
            )
            .at(at, "does not read the sensor")
            .also(method.span(), "read by a sensor")
            .expected("rule = \"emf inverse\", \"table\" or \"published polynomial\"")
            .help("rule = \"emf inverse\", or method = \"analog\""),
        ),
        _ => {}
    }
    if let Some(Element::Thermistor { divider, .. } | Element::Platinum { divider, .. }) =
        &file.reference_junction.element
        && matches!(file.converter.kind, ConverterKind::Voltmeter(_))
    {
        let at = place(walk, &divider.resistor, "reference_junction");
        walk.problem(
            Problem::new(
                "reference_junction.no_converter",
                "a voltmeter does not read the divider of the sensor",
            )
            .at(at, "fed from the reference of a converter")
            .expected("element = \"digital\", or kind = \"adc\" in [converter]")
            .help("element = \"digital\""),
        );
    }
}

/// A circuit with taps needs one for the probe's type: on another type's it would read wrong without a word.
pub(super) fn tap(file: &ChainFile, walk: &mut Walk<'_>) {
    let Some(blueprint) = file.blueprint() else { return };
    let letter = &file.probe.letter;
    let Some(types) = blueprint.tap_missing(letter.value) else { return };
    let at = place(walk, letter, "probe");
    walk.problem(
        Problem::new(
            "circuit.no_tap",
            format!("{} has no tap for type {}", called(file), letter.value.name()),
        )
        .at(at, "has no tap")
        .also(file.front_end.topology.span(), "the circuit")
        .expected(format!("a type with a tap: {types}"))
        .help(match file.front_end.topology.value {
            Topology::Own => format!("{} = a node in [circuit.taps], or another type", letter.value.name()),
            Topology::BuiltIn(_) | Topology::Any => {
                format!("type = one of {types}, or topology = \"single-amplifier\"")
            }
        }),
    );
}

/// The records that the circuit asks for: there, and of the right kind.
fn records(file: &ChainFile, walk: &mut Walk<'_>) {
    let names: Vec<&str> = file.amplifiers.keys().map(String::as_str).collect();
    let front = &file.front_end;
    let record = |walk: &mut Walk<'_>, wanted: &str, at: Span, instrumentation: bool, role: String| {
        let Some(amplifier) = file.amplifiers.get(wanted) else {
            let close = nearest(wanted, names.iter().copied()).or(names.first().copied());
            let problem =
                Problem::new("front_end.unknown_amplifier", format!("there is no [amplifier.{wanted}]"))
                    .at(at, "names no record")
                    .expected(format!("the NAME of a section [amplifier.NAME]: {}", names.join(", ")));
            walk.problem(match close {
                Some(close) => problem.help(format!("\"{close}\", or add a section [amplifier.{wanted}]")),
                None => problem.help(format!("add a section [amplifier.{wanted}]")),
            });
            return;
        };
        let is = matches!(amplifier.kind, AmplifierKind::Instrumentation { .. });
        if is != instrumentation {
            let word = if instrumentation { "instrumentation" } else { "operational" };
            let kind = walk.places.get(&format!("amplifier.{wanted}.kind")).map(|place| place.value);
            walk.problem(
                Problem::new("front_end.other_kind", format!("{role} must be of kind \"{word}\""))
                    .at(at, format!("{wanted} is another kind"))
                    .also(kind, "its kind")
                    .expected(format!("a record with kind = \"{word}\"")),
            );
        }
    };
    let Some(blueprint) = file.blueprint() else { return };
    let mut told: Vec<&str> = Vec::new();
    for element in &blueprint.elements {
        let Some((name, instrumentation)) = element.kind.record() else { continue };
        let by_role = match name {
            "amplifier" => front.amplifier.as_ref(),
            "buffer" => front.buffer.as_ref(),
            _ => None,
        };
        match (by_role, front.topology.value) {
            // One key of [front_end] may serve several parts; it is told once.
            (Some(_), _) if told.contains(&name) => {}
            (Some(given), topology) => {
                told.push(name);
                let at = given.span().unwrap_or(Span::new(0, 0));
                let role = match topology {
                    Topology::BuiltIn(id) => format!("the {name} of {id}"),
                    Topology::Own | Topology::Any => element.designator.clone(),
                };
                record(walk, &given.value, at, instrumentation, role);
            }
            (None, Topology::Own) => {
                let path = format!("circuit.parts.{}.record", element.designator);
                let at = walk.places.get(&path).map_or(Span::new(0, 0), |place| place.value);
                record(walk, name, at, instrumentation, element.designator.clone());
            }
            (None, Topology::BuiltIn(_) | Topology::Any) => {}
        }
    }
}

pub(super) fn amplifiers(file: &ChainFile, walk: &mut Walk<'_>) {
    records(file, walk);
    let (top, bottom) = (file.supply.positive.low(), file.supply.negative.high());
    for amplifier in file.amplifiers.values() {
        let section = format!("amplifier.{}", amplifier.name);
        if let (Some(typical), Some(largest)) = (&amplifier.offset_typical, &amplifier.offset_max)
            && typical.value > largest.value
        {
            let at = place(walk, typical, &section);
            walk.problem(
                Problem::new(
                    "amplifier.typical_above_max",
                    "the typical offset is larger than the largest one",
                )
                .at(at, "typical")
                .also(largest.span(), "largest")
                .expected("offset_typical no larger than offset_max")
                .help("perhaps the two are swapped, or a prefix is wrong"),
            );
        }
        for (what, low, high) in [
            ("input", &amplifier.input_low, &amplifier.input_high),
            ("output", &amplifier.output_low, &amplifier.output_high),
        ] {
            if bottom + low.value < top - high.value {
                continue;
            }
            let at = place(walk, high, &section);
            walk.problem(
                Problem::new(
                    "supply.no_room",
                    format!(
                        "the supply may be only {}, and the {what} of {} needs {} of it as margins",
                        volts(top - bottom),
                        amplifier.name,
                        volts(low.value + high.value)
                    ),
                )
                .at(at, "leaves no voltage to work with")
                .also(low.span(), "the other margin")
                .also(file.supply.positive.span(), "the supply")
                .expected("margins smaller than the supply")
                .help("a higher supply, or an amplifier with smaller margins"),
            );
        }
    }
}

pub(super) fn converter(file: &ChainFile, walk: &mut Walk<'_>) {
    if file.supply.negative.high() >= file.supply.positive.low() {
        let at = place(walk, &file.supply.negative, "supply");
        walk.problem(
            Problem::new("supply.inverted", "the negative rail is not below the positive one")
                .at(at, "negative rail")
                .also(file.supply.positive.span(), "positive rail")
                .expected("negative below positive"),
        );
    }
    let converter = &file.converter;
    let ConverterKind::Adc(adc) = &converter.kind else { return };
    if adc.reference.value.value > file.supply.positive.value.value {
        let at = place(walk, &adc.reference, "converter");
        walk.problem(
            Problem::new(
                "converter.reference_above_supply",
                format!(
                    "a reference of {} from a supply of {}",
                    volts(adc.reference.value.value),
                    format_toleranced(file.supply.positive.value, Unit::Volt, 4)
                ),
            )
            .at(at, "above the supply")
            .also(file.supply.positive.span(), "the supply")
            .expected("a reference no higher than the supply"),
        );
    }
    if let Some(span) = &converter.span
        && (span.high > adc.reference.value.value || span.low < -adc.reference.value.value)
    {
        let at = place(walk, span, "converter");
        walk.problem(
            Problem::new("converter.span_above_reference", "the span is larger than the reference")
                .at(at, "more than the reference to one side")
                .also(adc.reference.span(), "the reference")
                .expected("a span within plus and minus the reference")
                .help("leave it out: the span is then 0 V to the reference"),
        );
    }
    if let Some(span) = &converter.span
        && span.low == span.high
    {
        let at = place(walk, span, "converter");
        walk.problem(
            Problem::new("range.empty", "span is a single voltage")
                .at(at, "both ends are the same")
                .expected("low, then high"),
        );
    }
}

/// A straight line says itself what voltage is asked of the output.
pub(super) fn line_against_supply(file: &ChainFile, walk: &mut Walk<'_>) {
    let Readout::Line { slope, offset } = &file.readout.value else { return };
    let Some(amplifier) = file.output_amplifier() else { return };
    let at = |t: f64| offset.value + slope.value * t;
    let hot = &file.need.hot;
    let highest = file.supply.positive.low() - amplifier.output_high.value;
    let lowest = file.supply.negative.high() + amplifier.output_low.value;
    if at(hot.high) > highest {
        let fitting = (highest - offset.value) / hot.high;
        let blamed = place(walk, slope, "readout");
        let problem = Problem::new(
            "supply.too_low",
            format!(
                "at {} the output wants {}, the supply allows {}",
                celsius(hot.high),
                volts(at(hot.high)),
                volts(highest)
            ),
        )
        .at(blamed, format!("asks for {}", volts(at(hot.high))))
        .also(file.supply.positive.span(), format!("{} at least", volts(file.supply.positive.low())))
        .also(hot.span(), "the range")
        .expected("an output within the supply and the amplifier's margin");
        walk.problem(if fitting > 0.0 {
            problem.help(format!("a slope of {} fits, or a higher supply", rounded_down(fitting)))
        } else {
            problem.help("a higher supply")
        });
    }
    if at(hot.low) < lowest {
        let blamed = place(walk, slope, "readout");
        let negative = file.supply.negative.span();
        walk.problem(
            Problem::new(
                "supply.no_room_below",
                format!("at {} the output wants {}, the lowest it can give is {}", celsius(hot.low), volts(at(hot.low)), volts(lowest)),
            )
            .at(blamed, format!("asks for {}", volts(at(hot.low))))
            .also(hot.span(), "the range")
            .also(negative, "the negative rail")
            .expected("an output within the supply and the amplifier's margin")
            .help("a negative supply, a line with an offset such as offset = \"0.5 V\", or a range that starts higher"),
        );
    }
    if let Some(span) = &file.converter.span
        && (at(hot.high) > span.high || at(hot.low) < span.low)
    {
        let blamed = place(walk, span, "converter");
        walk.problem(
            Problem::new(
                "readout.beyond_span",
                format!("the output runs from {} to {}", volts(at(hot.low)), volts(at(hot.high))),
            )
            .at(blamed, "does not hold it")
            .also(slope.span(), "the slope")
            .expected("a span that holds the whole output"),
        );
    }
}

/// Two significant digits, never more than the value: "8.1 mV/K".
fn rounded_down(slope: f64) -> String {
    let nearest = format(slope, Unit::VoltPerKelvin, 2);
    match crate::quantity::parse(&nearest, Unit::VoltPerKelvin) {
        Ok(value) if value > slope => format(slope * 0.97, Unit::VoltPerKelvin, 2),
        _ => nearest,
    }
}
