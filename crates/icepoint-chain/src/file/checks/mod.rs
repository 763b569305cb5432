//! Contradictions between sections: each key is possible alone, together they are not.

mod circuit;
mod connections;
mod elements;
mod plan;
mod trims;

pub(super) use elements::circuit_structure;

use super::given::{Given, Span};
use super::probe::{Cable, ProbeTolerance};
use super::problem::Problem;
use super::walk::Walk;
use super::{ChainFile, Interval};
use crate::quantity::{Unit, format};
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
    circuit::which(file, walk);
    circuit::own(file, walk);
    circuit::reading_rule(file, walk);
    circuit::tap(file, walk);
    circuit::amplifiers(file, walk);
    circuit::converter(file, walk);
    circuit::line_against_supply(file, walk);
    plan::filter(file, walk);
    plan::low_pass(file, walk);
    plan::part_values(file, walk);
    plan::calibration(file, walk);
    trims::check(file, walk);
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
