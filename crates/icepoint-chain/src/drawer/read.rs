//! Reading a drawer: its CSV, with every mistake at its row and column.

use std::path::Path;

use super::rows::{Field, rows};
use super::{Count, Drawer, DrawerPart, DrawerTrack};
use crate::file::{ChainFile, Problem, RecordKind, Refused, Source, bounds};
use crate::front_end::SlotKind;
use crate::quantity::{self, Unit, format};

/// Most lines that are read; a drawer with more is another file by mistake.
pub const MOST_ROWS: usize = 20_000;

/// Figures of parts whose line gives none.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Usual {
    /// Resistors: tolerance (relative) and temperature coefficient (1/K).
    pub resistor: (f64, f64),
    /// Capacitors: the same.
    pub capacitor: (f64, f64),
}

/// The drawer that a chain file names, beside that file; `None` if it names none.
///
/// # Errors
/// [`Refused`]: of the chain file when there is no such drawer, of the drawer when it has mistakes.
pub fn of(file: &ChainFile) -> Result<Option<Drawer>, Refused> {
    let Some(named) = &file.parts.drawer else { return Ok(None) };
    let path = Path::new(&file.source.name).parent().unwrap_or(Path::new("")).join(&named.value);
    let missing = |message: String, label: &str| {
        let problem = file
            .problem_at("parts.drawer", "drawer.unreadable", message, label)
            .expected("a CSV file with a column \"value\"; its path counts from the chain file")
            .help("drawer = \"drawer.csv\"");
        file.refused(vec![problem])
    };
    let text = match std::fs::metadata(&path) {
        Ok(m) if m.is_dir() => return Err(missing("the drawer is a directory".into(), "not a file")),
        Ok(m) if m.len() > crate::file::LARGEST_FILE => {
            return Err(missing("the drawer has more than 2 MB".into(), "another file by mistake?"));
        }
        _ => std::fs::read(&path)
            .map_err(|error| missing(format!("the drawer can't be read: {error}"), "no such drawer"))?,
    };
    let Ok(text) = String::from_utf8(text) else {
        return Err(missing("the drawer is not UTF-8 text".into(), "save it again as UTF-8"));
    };
    let parts = &file.parts;
    let usual = Usual {
        resistor: (*parts.resistors.tolerance, *parts.resistors.tempco),
        capacitor: (*parts.capacitors.tolerance, *parts.capacitors.tempco),
    };
    let drawer = parse(&path.display().to_string(), &text, usual)?;
    let known: Vec<&str> = file.amplifiers.keys().map(String::as_str).collect();
    for (name, _) in &drawer.amplifiers {
        if !known.contains(&name.as_str()) {
            let problem = file
                .problem_at(
                    "parts.drawer",
                    "drawer.amplifier_unknown",
                    format!("the drawer has an amplifier \"{name}\" without a record [amplifier.{name}]"),
                    "this drawer",
                )
                .expected(format!("amplifiers that the chain file has a record of: {}", known.join(", ")))
                .help(format!("add [amplifier.{name}] with the figures of its data sheet"));
            return Err(file.refused(vec![problem]));
        }
    }
    for ((kind, name), _) in &drawer.records {
        let known = file.records.iter().filter(|(k, _)| k == kind).map(|(_, name)| name.as_str());
        let known: Vec<&str> = known.collect();
        if !known.contains(&name.as_str()) {
            let (word, section) = (kind.name(), kind.section());
            let problem = file.problem_at(
                "parts.drawer",
                "drawer.record_unknown",
                format!("the drawer has a {word} \"{name}\" without a record [{section}.{name}]"),
                "this drawer",
            );
            let problem = match known.is_empty() {
                true => problem.expected(format!("a section [{section}.{name}] in the chain file")),
                false => problem
                    .expected(format!("a {word} that the chain file has a record of: {}", known.join(", "))),
            };
            let help = format!("add [{section}.{name}] with the figures of its data sheet");
            return Err(file.refused(vec![problem.help(help)]));
        }
    }
    Ok(Some(drawer))
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Column {
    Value,
    Kind,
    Tolerance,
    Tempco,
    Count,
    Note,
}

const COLUMNS: [(&str, Column); 6] = [
    ("value", Column::Value),
    ("kind", Column::Kind),
    ("tolerance", Column::Tolerance),
    ("tempco", Column::Tempco),
    ("count", Column::Count),
    ("note", Column::Note),
];

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Kind {
    Part(SlotKind),
    Track,
    Amplifier,
    Record(RecordKind),
}

const KINDS: [(&str, Kind); 9] = [
    ("resistor", Kind::Part(SlotKind::Resistor)),
    ("capacitor", Kind::Part(SlotKind::Capacitor)),
    ("potentiometer", Kind::Track),
    ("amplifier", Kind::Amplifier),
    ("converter", Kind::Record(RecordKind::Converter)),
    ("reference", Kind::Record(RecordKind::Reference)),
    ("sensor", Kind::Record(RecordKind::Sensor)),
    ("r", Kind::Part(SlotKind::Resistor)),
    ("c", Kind::Part(SlotKind::Capacitor)),
];

/// Reads the text of a drawer; `name` is used in messages.
///
/// # Errors
/// [`Refused`] with every mistake found.
pub fn parse(name: &str, text: &str, usual: Usual) -> Result<Drawer, Refused> {
    let source = Source { name: name.to_owned(), text: text.to_owned() };
    let mut problems = Vec::new();
    let mut lines = rows(text);
    let Some(header) = lines.next() else {
        let problem = Problem::new("drawer.empty", "the drawer is empty")
            .expected("a header such as value,kind,tolerance,tempco,count, then a line for each part");
        return Err(Refused::new(source, vec![problem]));
    };
    let columns = header_columns(&header, &mut problems);
    let mut drawer = Drawer {
        name: name.to_owned(),
        parts: Vec::new(),
        tracks: Vec::new(),
        amplifiers: Vec::new(),
        records: Vec::new(),
    };
    if problems.is_empty() {
        for (i, row) in lines.enumerate() {
            if i == MOST_ROWS {
                problems.push(
                    Problem::new("drawer.too_long", format!("the drawer has more than {MOST_ROWS} lines"))
                        .expected("one line for each value"),
                );
                break;
            }
            row_into(&row, &columns, usual, &mut drawer, &mut problems);
        }
        let lists = [drawer.parts.len(), drawer.tracks.len(), drawer.amplifiers.len(), drawer.records.len()];
        let empty = lists == [0; 4];
        if problems.is_empty() && empty {
            problems.push(
                Problem::new("drawer.empty", "the drawer has a header and no part")
                    .expected("a line for each part, such as 4.7 kΩ,resistor,1 %,50 ppm/K,20"),
            );
        }
    }
    if !problems.is_empty() {
        return Err(Refused::new(source, problems));
    }
    drawer.tidy();
    Ok(drawer)
}

fn header_columns(header: &[Field<'_>], problems: &mut Vec<Problem>) -> Vec<Option<Column>> {
    let names: Vec<&str> = COLUMNS.iter().map(|(name, _)| *name).collect();
    let mut columns: Vec<Option<Column>> = Vec::new();
    for field in header {
        let word = field.text.trim().trim_start_matches('\u{feff}').to_lowercase();
        let found = COLUMNS.iter().find(|(name, _)| *name == word).map(|(_, c)| *c);
        let problem = |code, message: String, label: String| {
            Problem::new(code, message)
                .at(field.span, label)
                .expected(format!("columns: {}", names.join(", ")))
        };
        match found {
            Some(column) if columns.contains(&Some(column)) => {
                let message = format!("the column \"{word}\" is here twice");
                problems.push(problem("drawer.column_twice", message, "the second".into()));
            }
            None => {
                let label = match crate::file::nearest_word(&word, names.iter().copied()) {
                    Some(close) => format!("did you mean {close}?"),
                    None => "not known".into(),
                };
                let shown = quantity::read::shortened(&word);
                problems.push(
                    problem("drawer.unknown_column", format!("there is no column \"{shown}\""), label)
                        .help("the first line names the columns; use note for remarks"),
                );
            }
            Some(_) => {}
        }
        columns.push(found);
    }
    if problems.is_empty() && !columns.contains(&Some(Column::Value)) {
        let span = header.first().map_or(crate::file::Span::new(0, 0), |f| f.span);
        problems.push(
            Problem::new("drawer.no_value_column", "no column says what the parts' values are")
                .at(span, "the header")
                .expected("a column \"value\"")
                .help("value,kind,tolerance,tempco,count"),
        );
    }
    columns
}

fn row_into(
    row: &[Field<'_>],
    columns: &[Option<Column>],
    usual: Usual,
    drawer: &mut Drawer,
    problems: &mut Vec<Problem>,
) {
    let before = problems.len();
    if row.len() > columns.len() {
        let message = format!("{} fields under {} columns", row.len(), columns.len());
        problems.push(
            Problem::new("drawer.fields", message)
                .at(row[columns.len()].span, "one too many")
                .expected("as many fields as the header has columns")
                .help("put quotes around a field with a separator in it"),
        );
        return;
    }
    let cell = |wanted: Column| {
        let at = columns.iter().position(|c| *c == Some(wanted))?;
        row.get(at).filter(|f| !f.text.trim().is_empty())
    };
    let Some(value) = cell(Column::Value) else {
        let span = row.first().map_or(crate::file::Span::new(0, 0), |f| f.span);
        problems.push(
            Problem::new("drawer.no_value", "this line has no value")
                .at(span, "this line")
                .expected("a value such as \"4.7 kΩ\" or \"100 nF\""),
        );
        return;
    };
    let count = if columns.contains(&Some(Column::Count)) {
        cell(Column::Count).map_or(Count::Pieces(0), |field| count(field, problems))
    } else {
        Count::Enough
    };
    let kind = match cell(Column::Kind) {
        Some(field) => kind(field, problems),
        // By the unit, and by the size where only a prefix is written ("4k7", "100n"): what can be neither is refused
        // as a resistance.
        None => {
            let fits = |unit, bound: &bounds::Bound| {
                quantity::parse(&value.text, unit).is_ok_and(|v| bound.allows(v))
            };
            let is_capacitor = fits(Unit::Farad, bounds::CAPACITOR) && !fits(Unit::Ohm, bounds::RESISTOR);
            Some(Kind::Part(if is_capacitor { SlotKind::Capacitor } else { SlotKind::Resistor }))
        }
    };
    let kind = match kind {
        None => return,
        Some(Kind::Amplifier) => {
            drawer.amplifiers.push((value.text.trim().to_owned(), count));
            return;
        }
        Some(Kind::Record(kind)) => {
            drawer.records.push(((kind, value.text.trim().to_owned()), count));
            return;
        }
        Some(Kind::Track) => {
            let ohms = limit(value, Unit::Ohm, bounds::RESISTOR, false, problems);
            let mut of = |column, unit, bound| cell(column).map(|f| limit(f, unit, bound, true, problems));
            let tolerance = of(Column::Tolerance, Unit::Ratio, bounds::TOLERANCE);
            let tempco = of(Column::Tempco, Unit::PerKelvin, bounds::TEMPCO);
            if let Some(ohms) = ohms.filter(|_| problems.len() == before) {
                let (tolerance, tempco) = (tolerance.flatten(), tempco.flatten());
                drawer.tracks.push(DrawerTrack { ohms, tolerance, tempco, count });
            }
            return;
        }
        Some(Kind::Part(kind)) => kind,
    };
    let (unit, bound, (tolerance, tempco)) = match kind {
        SlotKind::Resistor => (Unit::Ohm, bounds::RESISTOR, usual.resistor),
        SlotKind::Capacitor => (Unit::Farad, bounds::CAPACITOR, usual.capacitor),
    };
    let value = limit(value, unit, bound, false, problems);
    let tolerance = cell(Column::Tolerance)
        .map_or(Some(tolerance), |f| limit(f, Unit::Ratio, bounds::TOLERANCE, true, problems));
    let tempco = cell(Column::Tempco)
        .map_or(Some(tempco), |f| limit(f, Unit::PerKelvin, bounds::TEMPCO, true, problems));
    if let (Some(value), Some(tolerance), Some(tempco)) = (value, tolerance, tempco)
        && problems.len() == before
    {
        drawer.parts.push(DrawerPart { kind, value, tolerance, tempco, count });
    }
}

fn kind(field: &Field<'_>, problems: &mut Vec<Problem>) -> Option<Kind> {
    let word = field.text.trim().to_lowercase();
    let found = KINDS.iter().find(|(name, _)| *name == word).map(|(_, kind)| *kind);
    if found.is_none() {
        let names = KINDS.iter().map(|(name, _)| *name).filter(|name| name.len() > 1);
        let label = match crate::file::nearest_word(&word, names) {
            Some(close) => format!("did you mean {close}?"),
            None => "not known".into(),
        };
        let shown = quantity::read::shortened(&word);
        problems.push(
            Problem::new("drawer.unknown_kind", format!("\"{shown}\" is no kind of part"))
                .at(field.span, label)
                .expected("resistor, capacitor, potentiometer, amplifier, converter, reference or sensor"),
        );
    }
    found
}

fn count(field: &Field<'_>, problems: &mut Vec<Problem>) -> Count {
    match field.text.trim().parse::<u32>() {
        Ok(n) => Count::Pieces(n),
        Err(_) => {
            let shown = quantity::read::shortened(field.text.trim());
            problems.push(
                Problem::new("drawer.count", format!("\"{shown}\" is no number of parts"))
                    .at(field.span, "how many?")
                    .expected("a whole number such as 20; 0 for a part that has run out"),
            );
            Count::Pieces(0)
        }
    }
}

fn limit(
    field: &Field<'_>,
    unit: Unit,
    bound: &bounds::Bound,
    is_limit: bool,
    problems: &mut Vec<Problem>,
) -> Option<f64> {
    let read =
        if is_limit { quantity::parse_limit(&field.text, unit) } else { quantity::parse(&field.text, unit) };
    match read {
        Ok(value) if bound.allows(value) => Some(value),
        Ok(value) => {
            problems.push(
                Problem::new(
                    "value.impossible",
                    format!("a {} of {} is not possible", bound.what, format(value, unit, 4)),
                )
                .at(field.span, "not possible")
                .expected(bound.text()),
            );
            None
        }
        Err(error) => {
            let mut problem =
                Problem::new(error.code, error.message).at(field.span, error.label).expected(error.expected);
            problem.help = error.help;
            problems.push(problem);
            None
        }
    }
}
