//! Values from the command line or a column on standard input: each keeps its place, so that a wrong one can be
//! pointed at. Quantities are read by [`icepoint_chain::quantity`], as in a chain file.

use std::io::{IsTerminal, Read};
use std::ops::Range;
use std::sync::Arc;

use icepoint_chain::quantity::{self, Unit};
use miette::NamedSource;

use crate::failure::{Failure, Problem};

/// Largest column accepted, bytes: some two million values.
const LARGEST_COLUMN: u64 = 32 << 20;

/// A value and where it stood.
#[derive(Clone, Debug)]
pub struct Given {
    /// SI, °C for temperatures.
    pub value: f64,
    text: Arc<str>,
    name: &'static str,
    span: Range<usize>,
}

impl Given {
    /// A problem that points at this value.
    pub fn problem(&self, code: &'static str, message: String, label: &str, help: Option<String>) -> Problem {
        Problem {
            code,
            message,
            source: Some(Box::new(NamedSource::new(self.name, Arc::clone(&self.text)))),
            span: self.span.clone(),
            label: label.to_owned(),
            help,
        }
    }
}

/// The values to work on.
#[derive(Debug)]
pub struct Values {
    /// In the order given.
    pub given: Vec<Given>,
    /// Whether the answer is a list (several values, or a column) rather than a single one.
    pub list: bool,
}

/// How a kind of value is written.
#[derive(Clone, Copy, Debug)]
pub struct Kind {
    /// The kind of quantity.
    pub unit: Unit,
    /// What a bare number is followed by to become a quantity, such as `°C`; `None`: a unit must be written.
    pub bare: Option<&'static str>,
    /// A value of the size that thermocouples have, for suggestions.
    pub example: &'static str,
}

/// Temperatures: a bare number is in °C.
pub const CELSIUS: Kind = Kind { unit: Unit::Celsius, bare: Some("°C"), example: "650 °C" };
/// Voltages: the unit must be written, since a bare number could be V or mV.
pub const VOLTS: Kind = Kind { unit: Unit::Volt, bare: None, example: "12.345 mV" };

/// Reads the values of the command line or, when there are none or the only one is `-`, of standard input.
///
/// `bare_unit` says what a bare number is in, for columns from a spreadsheet.
pub fn collect(texts: &[String], kind: Kind, bare_unit: Option<&str>) -> Result<Values, Failure> {
    if let Some(unit) = bare_unit {
        // A unit that is wrong is said once, not once a line; what is pointed at is what the user wrote.
        read(&format!("1 {unit}"), kind, None).map_err(|problem| {
            Failure::BadInput(vec![Problem {
                span: 0..unit.len(),
                source: Some(Box::new(NamedSource::new("--unit", unit.into()))),
                ..problem
            }])
        })?;
    }
    let from_standard_input = texts.is_empty() || (texts.len() == 1 && texts[0] == "-");
    if from_standard_input {
        return column(&standard_input(texts.is_empty(), kind)?, kind, bare_unit);
    }
    let (mut given, mut problems) = (Vec::new(), Vec::new());
    for text in texts {
        match one(text, kind, bare_unit, "command line") {
            Ok(value) => given.push(value),
            Err(problem) => problems.push(problem),
        }
    }
    if problems.is_empty() {
        Ok(Values { list: given.len() > 1, given })
    } else {
        Err(Failure::BadInput(problems))
    }
}

/// Reads one value, such as that of an option.
pub fn single(text: &str, kind: Kind, name: &'static str) -> Result<Given, Failure> {
    one(text, kind, None, name).map_err(|problem| Failure::BadInput(vec![problem]))
}

fn standard_input(nothing_given: bool, kind: Kind) -> Result<String, Failure> {
    let input = std::io::stdin();
    if nothing_given && input.is_terminal() {
        return Err(Failure::bad_input(
            "values.none",
            "no value given".to_owned(),
            Some(format!(
                "expected {}, one or more, such as \"{}\"; or pipe in a column",
                kind.unit.noun(),
                kind.example
            )),
        ));
    }
    let mut bytes = Vec::new();
    let read = input.lock().take(LARGEST_COLUMN + 1).read_to_end(&mut bytes);
    read.map_err(|error| Failure::Machine { doing: "reading standard input".into(), error })?;
    if bytes.len() as u64 > LARGEST_COLUMN {
        let message = "the column on standard input is longer than 32 MiB".to_owned();
        return Err(Failure::bad_input("values.too_long", message, Some("split it".to_owned())));
    }
    String::from_utf8(bytes).map_err(|error| {
        let line = error.as_bytes()[..error.utf8_error().valid_up_to()]
            .iter()
            .filter(|byte| **byte == b'\n')
            .count()
            + 1;
        Failure::bad_input(
            "values.not_utf8",
            format!("line {line} of standard input is not UTF-8 text"),
            Some(
                "convert it, for example with iconv -t UTF-8; or write degC and uV instead of °C and µV"
                    .to_owned(),
            ),
        )
    })
}

/// One value a line; empty lines and lines that start with # are passed over.
fn column(text: &str, kind: Kind, bare_unit: Option<&str>) -> Result<Values, Failure> {
    let whole: Arc<str> = text.into();
    let (mut given, mut problems) = (Vec::new(), Vec::new());
    let mut start = 0;
    for line in text.split_inclusive('\n') {
        let trimmed = line.trim();
        let at = start + (line.len() - line.trim_start().len());
        start += line.len();
        if trimmed.is_empty() || trimmed.starts_with('#') {
            continue;
        }
        match read(trimmed, kind, bare_unit) {
            Ok(value) => given.push(Given {
                value,
                text: Arc::clone(&whole),
                name: "standard input",
                span: at..at + trimmed.len(),
            }),
            Err(wrong) => problems.push(Problem {
                span: at + wrong.span.start..at + wrong.span.end,
                source: Some(Box::new(NamedSource::new("standard input", Arc::clone(&whole)))),
                ..wrong
            }),
        }
    }
    if !problems.is_empty() {
        return Err(Failure::BadInput(problems));
    }
    if given.is_empty() {
        return Err(Failure::bad_input(
            "values.none",
            "standard input holds no value".to_owned(),
            Some(format!("expected {}, one a line, such as {}", kind.unit.noun(), kind.example)),
        ));
    }
    Ok(Values { given, list: true })
}

fn one(text: &str, kind: Kind, bare_unit: Option<&str>, name: &'static str) -> Result<Given, Problem> {
    let shared: Arc<str> = text.into();
    match read(text, kind, bare_unit) {
        Ok(value) => Ok(Given { value, span: 0..text.len(), text: shared, name }),
        Err(problem) => Err(Problem { source: Some(Box::new(NamedSource::new(name, shared))), ..problem }),
    }
}

/// The value of a text, or a problem whose span is within that text.
fn read(text: &str, kind: Kind, bare_unit: Option<&str>) -> Result<f64, Problem> {
    let bare = bare_unit.or(kind.bare).filter(|_| is_bare_number(text));
    let result = match bare {
        Some(unit) => quantity::parse(&format!("{text} {unit}"), kind.unit),
        None => quantity::parse(text, kind.unit),
    };
    result.map_err(|error| Problem {
        code: error.code,
        message: error.message.to_string(),
        source: None,
        // The unit that we added ourselves is not in the text.
        span: error.span.start.min(text.len())..error.span.end.min(text.len()),
        label: error.label.to_string(),
        help: Some(match error.help {
            // For a voltage it would suggest V, which a thermocouple never gives.
            _ if error.code == "quantity.no_unit" && kind.unit == Unit::Volt => {
                let number = text.trim();
                format!("\"{number} mV\", or --unit mV for all of them")
            }
            Some(help) if help != format!("\"{}\"", kind.unit.example()) => {
                format!("expected {}; try {help}", kind.unit.noun())
            }
            _ => format!("expected {} such as \"{}\"", kind.unit.noun(), kind.example),
        }),
    })
}

fn is_bare_number(text: &str) -> bool {
    let text = text.trim();
    text.chars().any(|c| c.is_ascii_digit())
        && text
            .chars()
            .all(|c| c.is_ascii_digit() || matches!(c, '+' | '-' | '\u{2212}' | '.' | 'e' | 'E' | ' '))
}
