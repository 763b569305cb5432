//! Columns of a file of readings: their names, their units, and how a header says both.

use icepoint_chain::file::Problem;
use icepoint_chain::quantity::{Unit, parse};

use super::csv_text::Cell;

/// A column that is understood.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Column {
    /// Which reference: readings with the same one share its error.
    Reference,
    /// Known temperature of the measuring junction.
    Temperature,
    /// Voltage put on the terminals.
    Injected,
    /// Temperature of the board.
    Board,
    /// What the board shows as a temperature.
    Reading,
    /// What the converter gives.
    Code,
    /// Voltage at the output.
    Output,
    /// Limit of the reference's error, to both sides.
    Uncertainty,
    /// Number of the repeat.
    Repeat,
    /// Readings taken on one occasion.
    Session,
    /// Serial number of the board.
    Serial,
    /// Words.
    Note,
}

impl Column {
    /// Every column with its names in a header, the first being its own.
    pub const NAMES: &'static [(Self, &'static [&'static str])] = &[
        (Self::Reference, &["reference", "references"]),
        (
            Self::Temperature,
            &["temperature", "known temperature", "reference temperature", "true temperature"],
        ),
        (Self::Injected, &["injected", "millivolts", "source voltage", "input voltage"]),
        (Self::Board, &["board", "board temperature", "ambient"]),
        (Self::Reading, &["reading", "reads", "indication"]),
        (Self::Code, &["code", "count", "counts", "raw"]),
        (Self::Output, &["output", "output voltage", "out"]),
        (Self::Uncertainty, &["uncertainty", "limit", "accuracy"]),
        (Self::Repeat, &["repeat", "repetition", "run"]),
        (Self::Session, &["session", "occasion", "date"]),
        (Self::Serial, &["serial", "serial number"]),
        (Self::Note, &["note", "notes", "remark", "comment"]),
    ];

    /// Its own name.
    pub fn name(self) -> &'static str {
        Self::NAMES.iter().find(|(c, _)| *c == self).map_or("", |(_, names)| names[0])
    }

    /// The unit that its cells carry; `None` for words and plain numbers. The uncertainty's follows what is known.
    pub const fn unit(self) -> Option<Unit> {
        match self {
            Self::Temperature | Self::Board | Self::Reading => Some(Unit::Celsius),
            Self::Injected | Self::Output => Some(Unit::Volt),
            _ => None,
        }
    }
}

/// A column of the file at hand.
#[derive(Clone, Debug)]
pub struct Heading {
    /// Which.
    pub column: Column,
    /// Place in a row.
    pub index: usize,
    /// Unit given in the header, as written: cells without one of their own have it.
    pub unit: Option<String>,
    /// Where the header stands.
    pub span: icepoint_chain::file::Span,
}

/// Name and unit of a header: `temperature (°C)`, `temperature [°C]`, `temperature / °C`.
fn name_and_unit(text: &str) -> (String, Option<&str>) {
    let text = text.trim();
    let (name, unit) = match text.find(['(', '[', '/']) {
        Some(at) if at > 0 => (
            &text[..at],
            Some(text[at + 1..].trim_end_matches([')', ']', ' ']).trim()).filter(|u| !u.is_empty()),
        ),
        _ => (text, None),
    };
    let name = name.replace(['_', '-', '.'], " ");
    (name.split_whitespace().collect::<Vec<_>>().join(" ").to_lowercase(), unit)
}

fn edits(a: &str, b: &str) -> usize {
    let b: Vec<char> = b.chars().collect();
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, x) in a.chars().enumerate() {
        let mut before = row[0];
        row[0] = i + 1;
        for (j, y) in b.iter().enumerate() {
            let change = before + usize::from(x != *y);
            before = row[j + 1];
            row[j + 1] = change.min(row[j] + 1).min(before + 1);
        }
    }
    row.last().copied().unwrap_or(0)
}

/// The words of all columns, for messages.
pub fn all_names() -> String {
    Column::NAMES.iter().map(|(c, _)| c.name()).collect::<Vec<_>>().join(", ")
}

/// Reads the header. Every problem goes to `problems`; unknown columns are refused, since a misspelt one would be
/// overlooked.
pub fn headings(cells: &[Cell<'_>], problems: &mut Vec<Problem>) -> Vec<Heading> {
    let mut found: Vec<Heading> = Vec::new();
    let numbers =
        cells.iter().filter(|c| c.text.starts_with(|c: char| c.is_ascii_digit() || c == '-')).count();
    if numbers * 2 > cells.len() {
        if let (Some(first), Some(last)) = (cells.first(), cells.last()) {
            let span = icepoint_chain::file::Span::new(first.span.start, last.span.end);
            problems.push(
                Problem::new(
                    "readings.no_header",
                    "the first line has numbers where the names of the columns belong",
                )
                .at(span, "expected names")
                .expected(all_names())
                .help("a first line such as: injected (mV), board (°C), reading (°C)"),
            );
        }
        return found;
    }
    for (index, cell) in cells.iter().enumerate() {
        let (name, unit) = name_and_unit(&cell.text);
        if name.is_empty() {
            continue;
        }
        let known = Column::NAMES.iter().find(|(_, names)| names.contains(&name.as_str())).map(|(c, _)| *c);
        let Some(column) = known else {
            let close = Column::NAMES
                .iter()
                .map(|(c, _)| (edits(&name, c.name()), c.name()))
                .min()
                .filter(|(distance, close)| *distance <= close.len().div_ceil(3));
            let problem =
                Problem::new("readings.unknown_column", format!("there is no column \"{}\"", cell.text));
            problems.push(match close {
                Some((_, close)) => problem.at(cell.span, format!("did you mean {close}?")).help(close),
                None => problem
                    .at(cell.span, "not known")
                    .expected(all_names())
                    .help("name it note, or take the column away"),
            });
            continue;
        };
        if let Some(other) = found.iter().find(|h| h.column == column) {
            problems.push(
                Problem::new("readings.column_twice", format!("two columns are {}", column.name()))
                    .at(cell.span, "again here")
                    .also(Some(other.span), "first here")
                    .help("take one of them away, or name it note"),
            );
            continue;
        }
        if let (Some(kind), Some(unit)) = (column.unit(), unit)
            && let Err(error) = parse(&format!("1 {unit}"), kind)
        {
            problems.push(
                Problem::new("readings.unit_of_column", format!("{unit} is no unit for {}", column.name()))
                    .at(cell.span, "this unit")
                    .expected(error.expected)
                    .help(format!("{} ({})", column.name(), if kind == Unit::Volt { "mV" } else { "°C" })),
            );
            continue;
        }
        found.push(Heading { column, index, unit: unit.map(str::to_owned), span: cell.span });
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn headers_as_people_write_them() {
        for text in ["temperature (°C)", "Temperature [°C]", " known_temperature / °C "] {
            let (name, unit) = name_and_unit(text);
            assert_eq!(unit, Some("°C"), "{text}");
            assert!(name.ends_with("temperature"), "{text}: {name}");
        }
        assert_eq!(name_and_unit("injected"), ("injected".into(), None));
    }

    #[test]
    fn a_slip_of_the_pen_is_near_its_word() {
        assert_eq!((edits("redaing", "reading"), edits("board", "board"), edits("", "code")), (2, 0, 4));
    }
}
