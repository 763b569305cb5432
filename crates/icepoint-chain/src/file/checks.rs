//! Contradictions between sections: each key is possible alone, together they are not.

use super::converter::{ConverterKind, DigitalFilter, Readout};
use super::given::{Given, Span};
use super::probe::{Cable, ProbeTolerance};
use super::problem::Problem;
use super::similar::nearest;
use super::walk::Walk;
use super::{AmplifierKind, ChainFile, Element, Interval, Method, PartValue, Topology};
use crate::quantity::{Unit, format, format_toleranced};
use icepoint_sensors::tolerance;

fn celsius(value: f64) -> String {
    format(value, Unit::Celsius, 6)
}

fn volts(value: f64) -> String {
    format(value, Unit::Volt, 4)
}

/// The span of a value that a check blames; a default can't stand in the file, so the section is blamed then.
fn place<T>(walk: &Walk<'_>, given: &Given<T>, section: &str) -> Span {
    given.span().or_else(|| walk.places.get(section).map(|place| place.key)).unwrap_or(Span::new(0, 0))
}

/// All checks; problems go to the walk, and so do cautions, which are set apart later.
pub(super) fn check(file: &ChainFile, walk: &mut Walk<'_>) {
    temperatures(file, walk);
    probe_tolerance(file, walk);
    lead(file, walk);
    reading_rule(file, walk);
    amplifiers(file, walk);
    converter(file, walk);
    line_against_supply(file, walk);
    filter(file, walk);
    part_values(file, walk);
    calibration(file, walk);
}

fn temperatures(file: &ChainFile, walk: &mut Walk<'_>) {
    let (letter, need) = (&file.probe.letter, &file.need);
    let (low, high) = letter.range();
    let range = format!("type {} is defined from {} to {}", letter.name(), celsius(low), celsius(high));
    let wider = |interval: &Interval| {
        let fits = icepoint_sensors::Letter::ALL
            .iter()
            .filter(|other| other.range().0 <= interval.low && interval.high <= other.range().1)
            .map(|other| other.name())
            .collect::<Vec<_>>();
        if fits.is_empty() {
            "no type reaches that far".to_owned()
        } else {
            format!("a type that reaches: {}", fits.join(", "))
        }
    };
    let mut within = |name: &str, code: &'static str, given: &Given<Interval>, section: &str| {
        if low <= given.low && given.high <= high {
            return;
        }
        let wrong = if given.low < low { given.low } else { given.high };
        let at = place(walk, given, section);
        walk.problem(
            Problem::new(code, format!("{name} goes to {}, and {range}", celsius(wrong)))
                .at(at, format!("beyond type {}", letter.name()))
                .also(letter.span(), "the type")
                .expected(format!("{} to {}", celsius(low), celsius(high)))
                .help(wider(given)),
        );
    };
    within("hot", "range.beyond_type", &need.hot, "need");
    within("board", "range.board_beyond_type", &need.board, "need");
    if let Some(lead) = &file.lead {
        within("head", "range.head_beyond_type", &lead.head, "lead");
    }
    if need.hot.low == need.hot.high {
        let at = place(walk, &need.hot, "need");
        walk.problem(
            Problem::new("range.empty", "hot is a single temperature")
                .at(at, "both ends are the same")
                .expected("a range to measure over")
                .help("[\"20 °C\", \"400 °C\"]"),
        );
    }
}

fn probe_tolerance(file: &ChainFile, walk: &mut Walk<'_>) {
    let probe = &file.probe;
    let ProbeTolerance::Class(class) = probe.tolerance.value else { return };
    let at = place(walk, &probe.tolerance, "probe");
    let name = class.name();
    let letter = probe.letter.value;
    let Some((low, high)) = tolerance::range(letter, class) else {
        let others: Vec<String> = tolerance::ToleranceClass::ALL
            .iter()
            .filter(|other| tolerance::range(letter, **other).is_some())
            .map(|other| format!("\"{}\"", other.name()))
            .collect();
        walk.problem(
            Problem::new(
                "probe.class_not_defined",
                format!("{name} is not defined for type {}", letter.name()),
            )
            .at(at, format!("not for type {}", letter.name()))
            .also(probe.letter.span(), "the type")
            .expected("a class that the standard has for this type, or a limit of your own")
            .help(format!("{}, or \"±2 K\"", others.join(", "))),
        );
        return;
    };
    let hot = &file.need.hot;
    if hot.low < low || hot.high > high {
        let beyond = match (hot.low < low, hot.high > high) {
            (true, true) => format!("below {} and above {}", celsius(low), celsius(high)),
            (true, false) => format!("below {}", celsius(low)),
            _ => format!("above {}", celsius(high)),
        };
        walk.problem(
            Problem::new(
                "probe.class_beyond_range",
                format!(
                    "{name} is defined for type {} from {} to {}; its rule is carried on {beyond}",
                    letter.name(),
                    celsius(low),
                    celsius(high)
                ),
            )
            .caution()
            .at(at, format!("an assumption {beyond}"))
            .also(hot.span(), "the range asked")
            .help("ask the maker of the probe, and write the limit as \"±2 K\""),
        );
    }
}

fn lead(file: &ChainFile, walk: &mut Walk<'_>) {
    let Some(lead) = &file.lead else { return };
    let Cable::Standard(cable) = lead.cable.value else { return };
    let letter = file.probe.letter.value;
    let at = place(walk, &lead.cable, "lead");
    if cable.letter() != letter {
        let fitting: Vec<String> = icepoint_sensors::cable::iec_rows()
            .iter()
            .filter(|row| row.letter == letter)
            .map(|row| format!("\"{}\"", row.name))
            .collect();
        let help = if fitting.is_empty() { "cable = \"same wire\"".to_owned() } else { fitting.join(" or ") };
        walk.problem(
            Problem::new(
                "lead.cable_for_another_type",
                format!(
                    "{} is for type {}, the probe is type {}",
                    cable.designation(),
                    cable.letter().name(),
                    letter.name()
                ),
            )
            .at(at, format!("for type {}", cable.letter().name()))
            .also(file.probe.letter.span(), "the probe")
            .expected(format!("a cable for type {}", letter.name()))
            .help(help),
        );
        return;
    }
    let (low, high) = cable.celsius();
    let range = format!("{} is stated from {} to {}", cable.name(), celsius(low), celsius(high));
    let mut end = |what: &str, code: &'static str, given: &Given<Interval>, section: &str, help: &str| {
        if low <= given.low && given.high <= high {
            return;
        }
        let wrong = if given.low < low { given.low } else { given.high };
        let at = place(walk, given, section);
        walk.problem(
            Problem::new(
                code,
                format!("the {what} end of the cable may be at {}, and {range}", celsius(wrong)),
            )
            .at(at, "beyond the cable")
            .also(lead.cable.span(), "the cable")
            .expected(format!("{} to {}", celsius(low), celsius(high)))
            .help(help),
        );
    };
    end(
        "hot",
        "lead.head_beyond_cable",
        &lead.head,
        "lead",
        "move the head to a cooler place, or cable = \"same wire\"",
    );
    end(
        "board",
        "lead.board_beyond_cable",
        &file.need.board,
        "need",
        "an extension cable, whose range is wider, or cable = \"same wire\"",
    );
}

fn reading_rule(file: &ChainFile, walk: &mut Walk<'_>) {
    let (topology, method) = (&file.front_end.topology, &file.reference_junction.method);
    let wanted = match topology.value {
        Topology::SingleAmplifier => Method::Analog,
        Topology::Instrumentation => Method::Sensor,
    };
    if method.value != wanted {
        let (word, other) = match wanted {
            Method::Analog => ("analog", "instrumentation"),
            Method::Sensor => ("sensor", "single-amplifier"),
        };
        let at = place(walk, method, "reference_junction");
        walk.problem(
            Problem::new(
                "front_end.other_method",
                format!("the front end {} needs method = \"{word}\"", topology.id()),
            )
            .at(at, format!("\"{word}\" goes with this front end"))
            .also(topology.span(), "the front end")
            .expected(format!("method = \"{word}\""))
            .help(format!("method = \"{word}\", or topology = \"{other}\"")),
        );
        return;
    }
    let line = matches!(file.readout.value, Readout::Line { .. });
    let at = place(walk, &file.readout, "readout");
    match method.value {
        Method::Analog if !line => walk.problem(
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

fn amplifiers(file: &ChainFile, walk: &mut Walk<'_>) {
    let names: Vec<&str> = file.amplifiers.keys().map(String::as_str).collect();
    let front = &file.front_end;
    let mut record = |wanted: &Given<String>, instrumentation: bool, role: &str| {
        let at = place(walk, wanted, "front_end");
        let Some(amplifier) = file.amplifiers.get(&wanted.value) else {
            let close = nearest(wanted, names.iter().copied()).or(names.first().copied());
            let problem = Problem::new(
                "front_end.unknown_amplifier",
                format!("there is no [amplifier.{}]", wanted.value),
            )
            .at(at, "names no record")
            .expected(format!("the NAME of a section [amplifier.NAME]: {}", names.join(", ")));
            walk.problem(match close {
                Some(close) => {
                    problem.help(format!("\"{close}\", or add a section [amplifier.{}]", wanted.value))
                }
                None => problem.help(format!("add a section [amplifier.{}]", wanted.value)),
            });
            return;
        };
        let is = matches!(amplifier.kind, AmplifierKind::Instrumentation { .. });
        if is != instrumentation {
            let word = if instrumentation { "instrumentation" } else { "operational" };
            let kind = walk.places.get(&format!("amplifier.{}.kind", wanted.value)).map(|place| place.value);
            walk.problem(
                Problem::new(
                    "front_end.other_kind",
                    format!("the {role} of {} must be of kind \"{word}\"", front.topology.id()),
                )
                .at(at, format!("{} is another kind", wanted.value))
                .also(kind, "its kind")
                .expected(format!("a record with kind = \"{word}\"")),
            );
        }
    };
    record(&front.amplifier, front.topology.value == Topology::Instrumentation, "amplifier");
    if let Some(buffer) = &front.buffer {
        record(buffer, false, "buffer");
    }
    let (top, bottom) = (file.supply.positive.low(), file.supply.negative.high());
    for amplifier in file.amplifiers.values() {
        let section = format!("amplifier.{}", amplifier.name);
        if let Some(typical) = &amplifier.offset_typical
            && typical.value > amplifier.offset_max.value
        {
            let at = place(walk, typical, &section);
            walk.problem(
                Problem::new(
                    "amplifier.typical_above_max",
                    "the typical offset is larger than the largest one",
                )
                .at(at, "typical")
                .also(amplifier.offset_max.span(), "largest")
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

fn converter(file: &ChainFile, walk: &mut Walk<'_>) {
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
fn line_against_supply(file: &ChainFile, walk: &mut Walk<'_>) {
    let Readout::Line { slope, offset } = &file.readout.value else { return };
    let Some(amplifier) = file.amplifiers.get(&file.front_end.amplifier.value) else { return };
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

fn filter(file: &ChainFile, walk: &mut Walk<'_>) {
    let Some(rate) = &file.filter.sample_rate else { return };
    let at = place(walk, rate, "filter");
    match &file.filter.digital {
        DigitalFilter::Mean { over_periods } => {
            let samples = rate.value * f64::from(over_periods.value) / file.need.mains.value;
            if samples < 2.0 {
                walk.problem(
                    Problem::new(
                        "filter.too_few_samples",
                        format!("a mean of {} samples averages nothing", format(samples, Unit::Count, 3)),
                    )
                    .at(at, "too slow for the mains")
                    .also(file.need.mains.span(), "the mains")
                    .expected("several samples in each mains period")
                    .help(format!(
                        "sample_rate = \"{}\"",
                        format(20.0 * file.need.mains.value, Unit::Hertz, 3)
                    )),
                );
            } else if (samples - libm::round(samples)).abs() > 1e-6 * samples {
                walk.problem(
                    Problem::new(
                        "filter.broken_period",
                        format!(
                            "{} samples are not a whole number of mains periods",
                            format(samples, Unit::Count, 6)
                        ),
                    )
                    .caution()
                    .at(at, "leaves some of the mains")
                    .also(file.need.mains.span(), "the mains")
                    .help(format!(
                        "sample_rate = \"{}\"",
                        format(
                            libm::round(rate.value / file.need.mains.value).max(2.0) * file.need.mains.value,
                            Unit::Hertz,
                            6
                        )
                    )),
                );
            }
        }
        DigitalFilter::FirstOrder { time_constant } if time_constant.value * rate.value < 1.0 => walk
            .problem(
                Problem::new("filter.too_few_samples", "the time constant is shorter than one sample")
                    .at(at, "too slow for the time constant")
                    .also(time_constant.span(), "the time constant")
                    .expected("several samples in each time constant")
                    .help(format!(
                        "sample_rate = \"{}\"",
                        format(10.0 / time_constant.value, Unit::Hertz, 2)
                    )),
            ),
        _ => {}
    }
}

/// A value that was chosen by hand must be one that is sold, unless a tolerance beside it says that it was picked.
fn part_values(file: &ChainFile, walk: &mut Walk<'_>) {
    for (name, given) in &file.front_end.values {
        let PartValue::Chosen { quantity, unit } = &given.value else { continue };
        let series = match unit {
            Unit::Ohm => &file.parts.resistors.series,
            Unit::Farad => &file.parts.capacitors.series,
            _ => continue,
        };
        // 0 Ω is a link, and an own tolerance says that the part is at hand
        if quantity.value == 0.0
            || quantity.tolerance.is_some()
            || file.front_end.tolerance.contains_key(name)
        {
            continue;
        }
        let Some((low, high)) = series.value.neighbours(quantity.value) else { continue };
        if low == high {
            continue;
        }
        let shown = format(quantity.value, *unit, 6);
        let (low, high) = (format(low, *unit, 6), format(high, *unit, 6));
        let near = series.value.nearest(quantity.value).unwrap_or(quantity.value);
        let wider = crate::quantity::series::Series::SPELLINGS
            .iter()
            .find(|(_, other)| *other > series.value && other.contains(quantity.value))
            .map_or_else(
                || format!(", or \"{shown} ± 1 %\" for a part at hand"),
                |(name, _)| format!(", or series = \"{name}\", which has {shown}"),
            );
        let at = place(walk, given, "front_end.values");
        walk.problem(
            Problem::new("value.not_in_series", format!("{shown} is not an {} value", series.name()))
                .at(at, format!("lies between {low} and {high}"))
                .also(series.span(), "the series you asked for")
                .expected(format!("a value of {}", series.name()))
                .help(format!(
                    "{} ({:+.1} %){wider}",
                    format(near, *unit, 6),
                    (near / quantity.value - 1.0) * 100.0
                )),
        );
    }
}

fn calibration(file: &ChainFile, walk: &mut Walk<'_>) {
    let asked = &file.need.calibration;
    let points = asked.points();
    let Some(plan) = &file.calibration_plan else {
        if points > 0 {
            let at = place(walk, asked, "need");
            walk.problem(
                Problem::new("calibration_plan.missing", "a calibration is asked for, and there is no [calibration_plan]")
                    .at(at, "by what means?")
                    .expected("a section [calibration_plan] with the means and the temperatures")
                    .help("[calibration_plan] with method = \"known temperature\", at = [\"0 °C\", \"100 °C\"], bath_accuracy = \"±0.2 K\""),
            );
        }
        return;
    };
    let at = place(walk, &plan.at, "calibration_plan");
    if plan.at.len() < points {
        walk.problem(
            Problem::new(
                "calibration_plan.too_few_points",
                format!("{points} points are asked for, and the plan has {}", plan.at.len()),
            )
            .at(at, format!("{} here", plan.at.len()))
            .also(asked.span(), format!("takes {points}"))
            .expected(format!("at least {points} temperatures"))
            .help("at = [\"20 °C\", \"400 °C\"]"),
        );
    }
    let (low, high) = file.probe.letter.range();
    if plan.at.iter().any(|t| *t < low || *t > high) {
        walk.problem(
            Problem::new(
                "calibration_plan.beyond_type",
                format!(
                    "type {} is defined from {} to {}",
                    file.probe.letter.name(),
                    celsius(low),
                    celsius(high)
                ),
            )
            .at(at, "beyond the type")
            .also(file.probe.letter.span(), "the type")
            .expected(format!("{} to {}", celsius(low), celsius(high))),
        );
    }
}
