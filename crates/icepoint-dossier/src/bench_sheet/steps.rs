//! The steps of bringing a board up, with a place to write at each figure.

use icepoint_bench::sheet::{Expected, Injection, PointExpected};
use icepoint_chain::chain::{ConverterKind, JunctionMethod, Readout};
use maud::{Markup, html};

use super::{NBSP, Subject, celsius, fixed, places, plain, span};
use crate::page::{self, Column};

pub(super) fn order(s: &Subject<'_>) -> Markup {
    let setup = &s.sheet.setup;
    let letter = s.chain.probe.letter.name();
    let rails = s.sheet.points.iter().filter(|p| p.label.starts_with('V')).map(|p| p.label.as_str());
    let rails: Vec<&str> = rails.collect();
    let analog = matches!(s.chain.junction.method, JunctionMethod::Analog { .. });
    html! {
        ol.steps {
            li {
                b { "Look. " } "Polarity of amplifiers and capacitors, solder bridges, resistors of the right decade. Ohmmeter from "
                "each supply to ground: no short."
            }
            li {
                b { "Supplies. " } "Bench supply with its current limited to a few times what the data sheets of the parts add up to. "
                "Switch on and read the current before anything else: if it limits, switch off and look again."
                @if !rails.is_empty() { " Then " (rails.join(", ")) " in the first table." }
            }
            li {
                b { "Terminals shorted. " } "A short piece of copper wire from terminal to terminal, and ten minutes at rest without "
                "draught. Read the temperature of the terminals where the junction's sensor sits: this sheet holds for "
                (celsius(setup.board)) "; if it is more than a kelvin away, print it anew with " code { "--board" } ". "
                @if analog { "Compensation and amplifier output follow the table; " }
                @else { "Pedestal and amplifier output follow the table; " }
                "the board must read its own temperature."
            }
            li {
                b { "Millivolts. " } "Source in the place of the short, positive lead at the terminal of the positive leg of type "
                (letter) ", and the figures of the second table one after the other, each until the reading stands still. Any of "
                "them outside its wider band: the table “When something is off”."
            }
            li {
                b { "Sensor. " } "Source off and away, probe connected with the plant cold: the board must read the temperature of the "
                "room at the probe's tip. Warm the tip with your fingers: it must rise. If it falls, a pair is swapped."
            }
            li {
                b { "Sensor open. " } "One lead out of its terminal: the last table. Whatever acts on this reading must take it for a "
                "broken sensor."
            }
            @if s.adjusting.is_some() {
                li {
                    b { "Adjust. " } "Trims in the order of the table “Adjusting”, each until its test point reads what stands there. Seal "
                    "them only when a second round changes nothing."
                }
            }
            li { b { "Calibrate. " } "With what was written here: " code { "icepoint calibrate" } "." }
        }
    }
}

pub(super) fn shorted(s: &Subject<'_>) -> Markup {
    let reading = &s.sheet.shorted;
    html! {
        (point_table(s, "Voltages against ground, terminals shorted", |p| Some(p.shorted), true))
        (reading_table(s, "Output and reading, terminals shorted", s.sheet.shorted_output, s.sheet.shorted_code, *reading))
    }
}

pub(super) fn injection(s: &Subject<'_>) -> Markup {
    let setup = &s.sheet.setup;
    let letter = s.chain.probe.letter.name();
    html! {
        p {
            "With " b { "copper" } " from the source to the terminals, the metals of type " (letter) " begin at the board's terminals: "
            "set E(T) − E(board), the column “copper”. It holds for terminals at " (celsius(setup.board)) " only: each kelvin that "
            "they are warmer than they were taken to be " (added(s)) ". With " b { "wire of type " (letter) } " (or its extension "
            "cable) from the source to the terminals, the metals begin at the source: set E(T) − E(source), the column “wire”, here "
            "for a source at " (celsius(setup.room)) "; the wire brings the rest, and the board's own junction is tested along. A "
            "source that simulates type " (letter) " and measures its own terminals does this by itself: use wire, set degrees."
        }
        (injection_table(s, true))
        @if matches!(s.chain.readout, Readout::Line { .. }) {
            p {
                "The expected reading is not the temperature set: this board reads by a straight line, and the curve of type "
                (letter) " departs from it."
            }
        }
    }
}

pub(super) fn normal(s: &Subject<'_>) -> Markup {
    let at = s.sheet.normal_celsius;
    let set = s.sheet.injections.iter().find(|i| i.celsius == at).map_or(0.0, |i| i.copper_volts);
    html! {
        p { "Source at " (super::millivolts(set)) " with copper leads, as for " (celsius(at)) "." }
        (point_table(s, &format!("Voltages against ground at {}", celsius(at)), |p| Some(p.normal), true))
    }
}

pub(super) fn open(s: &Subject<'_>) -> Markup {
    html! {
        p {
            "With the probe connected and at rest in the room the board reads the room, within the probe's own tolerance on top of "
            "the bands above. Written down: room " span.write { (NBSP) } " reading " span.write { (NBSP) }
        }
        @if let (Some(reading), Some(output)) = (s.sheet.open, s.sheet.open_output) {
            (point_table(s, "Voltages against ground, terminals open", |p| p.open, true))
            (reading_table(s, "Output and reading, terminals open", output, s.sheet.open_code, reading))
            @if (reading.nominal - s.sheet.shorted.nominal).abs() < 10.0 {
                p {
                    "Mind that this is a temperature like any other: a broken sensor does not show on this board."
                }
            }
        } @else {
            p { "With nothing at its terminals this circuit has no defined state: the inputs float. Don't expect anything." }
        }
    }
}

/// What a kelvin at the terminals does at the ends of the test temperatures, in words.
fn added(s: &Subject<'_>) -> String {
    let one = |i: &Injection| {
        let verb = if i.per_kelvin < 0.0 { "takes" } else { "adds" };
        format!("{verb} {}{NBSP}K at {}", plain(i.per_kelvin.abs()), celsius(i.celsius))
    };
    match (s.sheet.injections.first(), s.sheet.injections.last()) {
        (Some(first), Some(last)) if first.celsius < last.celsius => {
            format!("{} and {}", one(first), one(last))
        }
        (Some(only), _) => one(only),
        _ => String::new(),
    }
}

fn numbers(e: &Expected, least: i32, most: i32) -> [String; 4] {
    let places = places(e, least, most);
    [fixed(e.nominal, places), span(e.band, places), span(e.wide, places), span(e.worst, places)]
}

/// A row for each test point, with a place to write unless it is only shown.
pub(super) fn point_table(
    s: &Subject<'_>,
    caption: &str,
    of: impl Fn(&PointExpected) -> Option<Expected>,
    write: bool,
) -> Markup {
    let mut columns = vec![
        Column::words("Point"),
        Column::words("What"),
        Column::numbers("Expected", "V"),
        Column::numbers("95 of 100 boards", "V"),
        Column::numbers("999 of 1000", "V"),
        Column::numbers("Worst case", "V"),
    ];
    if write {
        columns.push(Column::blank("Measured"));
    }
    let rows: Vec<Vec<String>> = s
        .sheet
        .points
        .iter()
        .filter_map(|point| {
            let e = of(point)?;
            Some([point.label.clone(), point.what.clone()].into_iter().chain(numbers(&e, 3, 5)).collect())
        })
        .collect();
    page::table(caption, &columns, &rows)
}

/// Output, the converter's code where there is one, and reading.
fn reading_table(
    s: &Subject<'_>,
    caption: &str,
    output: Expected,
    code: Option<Expected>,
    reading: Expected,
) -> Markup {
    let columns = [
        Column::words("What"),
        Column::words("Unit"),
        Column::numbers("Expected", ""),
        Column::numbers("95 of 100 boards", ""),
        Column::numbers("999 of 1000", ""),
        Column::numbers("Worst case", ""),
        Column::blank("Measured"),
    ];
    let seen = match s.chain.converter.kind {
        ConverterKind::Adc { .. } => "Output, bench voltmeter",
        ConverterKind::Voltmeter { .. } => "Output, its own voltmeter",
    };
    let mut cells = vec![row(seen, "V", numbers(&output, 3, 6))];
    cells.extend(code.map(|c| row("Converter's code", "", codes(&c))));
    cells.push(row("Reading", "°C", numbers(&reading, 1, 2)));
    page::table(caption, &columns, &cells)
}

fn row(what: &str, unit: &str, figures: [String; 4]) -> Vec<String> {
    [what.to_owned(), unit.to_owned()].into_iter().chain(figures).collect()
}

/// Whole codes: the nearest one, and ranges that no healthy code falls out of by rounding.
fn codes(e: &Expected) -> [String; 4] {
    let span =
        |(low, high): (f64, f64)| format!("{} to {}", fixed(libm::floor(low), 0), fixed(libm::ceil(high), 0));
    [fixed(e.nominal, 0), span(e.band), span(e.wide), span(e.worst)]
}

/// What to set and what to read.
pub(super) fn injection_table(s: &Subject<'_>, write: bool) -> Markup {
    let mut columns = vec![
        Column::words("For"),
        Column::numbers("Set, copper", "mV"),
        Column::numbers("Set, wire", "mV"),
        Column::numbers("Output", "V"),
        Column::numbers("Reading", "°C"),
        Column::numbers("95 of 100 boards", "°C"),
        Column::numbers("999 of 1000", "°C"),
    ];
    if write {
        columns.push(Column::blank("Read"));
    }
    let rows: Vec<Vec<String>> = s
        .sheet
        .injections
        .iter()
        .map(|i| {
            let p = places(&i.copper, 1, 2);
            vec![
                celsius(i.celsius),
                fixed(1e3 * i.copper_volts, 3),
                fixed(1e3 * i.wire_volts, 3),
                fixed(i.output.nominal, 4),
                fixed(i.copper.nominal, p),
                span(i.copper.band, p),
                span(i.copper.wide, p),
            ]
        })
        .collect();
    let caption = format!(
        "Board at {}, source at {}, readings with copper leads",
        celsius(s.sheet.setup.board),
        celsius(s.sheet.setup.room)
    );
    html! {
        (page::table(&caption, &columns, &rows))
        @if write { (wire_note(s)) }
    }
}

/// How far the readings with wire differ from those with copper.
fn wire_note(s: &Subject<'_>) -> Markup {
    let wider = s
        .sheet
        .injections
        .iter()
        .map(|i| (i.wire.band.1 - i.wire.band.0) / (i.copper.band.1 - i.copper.band.0))
        .fold(0.0, f64::max);
    let apart =
        s.sheet.injections.iter().map(|i| (i.wire.nominal - i.copper.nominal).abs()).fold(0.0, f64::max);
    html! {
        p {
            "With wire the expected readings are the same"
            @if apart >= 0.005 { " within " (plain(libm::ceil(100.0 * apart) / 100.0)) (NBSP) "K" }
            " and the bands at most " (plain(wider)) " times as wide; the CSV has them, and the worst case."
        }
    }
}
