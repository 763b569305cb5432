//! A file of readings: one row for each, columns by header.
//!
//! **In, out.** CSV as people and spreadsheets write it in; rows in SI units out, or every problem with its place.
//! **Rules.** A row says what was known (a temperature of the measuring junction, or a voltage put on the terminals),
//! the board's temperature, and what came out (a temperature, a code, or output volts). A unit stands in the header or
//! in the cell; a bare number without either is refused, since a unit that was guessed is an error of a thousand.

use std::collections::{BTreeMap, BTreeSet};

use icepoint_chain::Chain;
use icepoint_chain::chain::ConverterKind;
use icepoint_chain::file::{ChainFile, MOST_PROBLEMS, Problem, Refused, Source, Span};
use icepoint_chain::quantity::{Unit, format, parse, parse_limit};

use super::columns::{Column, Heading, all_names, headings};
use super::csv_text::{Cell, Lines};
use crate::references::{Reference, Takes};
use crate::sheet::Meter;

/// Largest file that is read, bytes: some million rows.
pub const LARGEST_FILE: u64 = 256 << 20;

/// What the board was given.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Input {
    /// Temperature of the measuring junction, °C.
    Temperature(f64),
    /// Voltage at the terminals, V.
    Injected(f64),
}

/// What came out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Answer {
    /// A temperature, °C.
    Celsius(f64),
    /// Code of the converter.
    Code(f64),
    /// Volts at the output.
    Volts(f64),
}

/// One reading.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// Line of the file, from 1.
    pub line: usize,
    /// The row in the text.
    pub span: Span,
    /// What the board was given.
    pub input: Input,
    /// Limit of the reference's error that the row states, K or V.
    pub limit: Option<f64>,
    /// Temperature of the board, °C.
    pub board: f64,
    /// What came out.
    pub answer: Answer,
    /// Place in [`Readings::references`].
    pub reference: usize,
    /// Place in [`Readings::sessions`].
    pub session: usize,
}

/// A file of readings that was taken.
#[derive(Clone, Debug, PartialEq)]
pub struct Readings {
    /// The text and its name.
    pub source: Source,
    /// In the order of the file.
    pub rows: Vec<Row>,
    /// The references in order of appearance: an empty name where none was given, and what it is if its name says so.
    pub references: Vec<(String, Option<Reference>)>,
    /// Names of the occasions.
    pub sessions: Vec<String>,
    /// Serial number of the board, if the file says it.
    pub serial: Option<String>,
    /// Half of the last digit of the readings in °C, K; 0 for codes and volts.
    pub half_digit: f64,
    /// The voltmeter of the bench, if it showed the output of a board that ends in a converter.
    pub meter: Option<Meter>,
    /// What should be known though the file was taken.
    pub cautions: Vec<Problem>,
}

impl Readings {
    /// Fingerprint of the text: FNV-1a, 64 bit (the algorithm is public domain). It tells a changed file, not a forger.
    pub fn fingerprint(&self) -> String {
        let hash = self.source.text.bytes().fold(0xcbf2_9ce4_8422_2325_u64, |hash, byte| {
            (hash ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3)
        });
        format!("fnv1a-64:{hash:016x}")
    }
}

pub(super) struct Reader<'t, 'c> {
    pub(super) chain: &'c Chain,
    pub(super) file: &'c ChainFile,
    headings: Vec<Heading>,
    problems: Vec<Problem>,
    /// Problems beyond those that are kept.
    more: usize,
    buffer: String,
    /// References by the names that rows write, with their places; `None` for one that was refused.
    pub(super) names: BTreeMap<String, Option<usize>>,
    /// References beside which a row states an uncertainty of its own.
    pub(super) overridden: BTreeSet<usize>,
    pub(super) decimals: usize,
    text: &'t str,
}

/// Occasions and references that are told apart.
pub(super) const MOST_NAMES: usize = 500;

/// Reads a file of readings taken on a board of this chain; `file` has the records of references.
///
/// # Errors
/// [`Refused`] with every problem and its place.
pub fn read(source: Source, chain: &Chain, file: &ChainFile) -> Result<Readings, Box<Refused>> {
    let text = source.text.as_str();
    let mut lines = Lines::new(text);
    let mut cells = Vec::new();
    let mut reader = Reader {
        chain,
        file,
        headings: Vec::new(),
        problems: Vec::new(),
        more: 0,
        buffer: String::new(),
        names: BTreeMap::new(),
        overridden: BTreeSet::new(),
        decimals: 0,
        text,
    };
    let mut readings = Readings {
        source: Source { name: source.name.clone(), text: String::new() },
        rows: Vec::new(),
        references: Vec::new(),
        sessions: Vec::new(),
        serial: None,
        half_digit: 0.0,
        meter: None,
        cautions: Vec::new(),
    };
    let mut repeats: BTreeSet<(u64, u64, usize, usize, String)> = BTreeSet::new();
    match lines.next(&mut cells) {
        None => reader.tell(
            Problem::new("readings.empty", "the file has no readings")
                .expected(format!("a header and a row for each reading; columns: {}", all_names()))
                .help("injected (mV), board (°C), reading (°C)"),
        ),
        Some(Err(problem)) => reader.tell(*problem),
        Some(Ok((_, span))) => {
            reader.headings = headings(&cells, &mut reader.problems);
            reader.columns_needed(span);
        }
    }
    if reader.problems.is_empty() {
        let width = cells.len();
        while let Some(row) = lines.next(&mut cells) {
            match row {
                Err(problem) => reader.tell(*problem),
                Ok((line, span)) => {
                    if !reader.right_width(&cells, width, span, lines.separator()) {
                        continue;
                    }
                    reader.row(line, span, &cells, &mut readings, &mut repeats);
                }
            }
        }
        if readings.rows.is_empty() && reader.problems.is_empty() {
            reader.tell(
                Problem::new("readings.empty", "the file has a header and no readings")
                    .at(Span::new(0, text.lines().next().map_or(0, str::len)), "nothing below")
                    .expected("a row for each reading"),
            );
        }
    }
    let Reader { mut problems, more, decimals, .. } = reader;
    if !problems.is_empty() {
        if more > 0 {
            let rest = format!("and {more} more");
            problems.truncate(MOST_PROBLEMS);
            problems.push(Problem::new("file.many_problems", rest));
        }
        return Err(Box::new(Refused { source, problems }));
    }
    if readings.rows.iter().any(|r| matches!(r.answer, Answer::Celsius(_))) {
        readings.half_digit = 0.5 / libm::pow(10.0, decimals as f64);
    }
    let converter = matches!(chain.converter.kind, ConverterKind::Adc { .. });
    let volts = readings.rows.iter().find(|r| matches!(r.answer, Answer::Volts(_)));
    if let (true, Some(first)) = (converter, volts) {
        let meter = Meter::of_file(file);
        if meter.name.is_empty() {
            let message = format!(
                "No record says which voltmeter showed the output (line {}): taken as a usual one, {} + {}, {}",
                first.line,
                format(meter.relative, Unit::Ratio, 3),
                format(meter.fixed, Unit::Volt, 3),
                format(meter.input_resistance, Unit::Ohm, 3)
            );
            let problem = Problem::new("readings.usual_voltmeter", message).at(first.span, "first here");
            readings.cautions.push(problem.help("State it as a record of kind voltmeter, [references.NAME]"));
        }
        readings.meter = Some(meter);
    }
    readings.source = source;
    Ok(readings)
}

impl Reader<'_, '_> {
    pub(super) fn tell(&mut self, problem: Problem) {
        if self.problems.len() < MOST_PROBLEMS {
            self.problems.push(problem);
        } else {
            self.more += 1;
        }
    }

    fn has(&self, column: Column) -> Option<&Heading> {
        self.headings.iter().find(|h| h.column == column)
    }

    /// Whether the header has what every row needs.
    fn columns_needed(&mut self, header: Span) {
        if !self.problems.is_empty() {
            return;
        }
        let needed: [(&[Column], &str, &str); 3] = [
            (
                &[Column::Temperature, Column::Injected, Column::Reference],
                "what was known: a column temperature (of the measuring junction), injected (voltage at the terminals) or reference (an ice bath)",
                "temperature (°C), or injected (mV)",
            ),
            (&[Column::Board], "the temperature of the board", "board (°C)"),
            (
                &[Column::Reading, Column::Code, Column::Output],
                "what came out: a column reading (a temperature), code (of the converter) or output (volts)",
                "reading (°C), or code, or output (V)",
            ),
        ];
        for (columns, what, help) in needed {
            if columns.iter().all(|&c| self.has(c).is_none()) {
                let names: Vec<_> = columns.iter().map(|c| c.name()).collect();
                self.tell(
                    Problem::new("readings.no_column", format!("no column {}", names.join(" or ")))
                        .at(header, "the columns that are there")
                        .expected(what)
                        .help(help),
                );
            }
        }
    }

    fn right_width(&mut self, cells: &[Cell<'_>], width: usize, span: Span, separator: char) -> bool {
        if cells.len() == width {
            return true;
        }
        let problem = Problem::new(
            "readings.row_width",
            format!("{} cells in this row, {width} in the header", cells.len()),
        );
        let digits = |c: &Cell<'_>| !c.text.is_empty() && c.text.bytes().all(|b| b.is_ascii_digit());
        let commas = separator == ','
            && cells.windows(2).any(|w| digits(&w[1]) && w[0].text.ends_with(|c: char| c.is_ascii_digit()));
        self.tell(if cells.len() > width && commas {
            problem
                .at(span, "decimal commas?")
                .expected("a decimal point; the comma separates the cells here")
                .help("write 20.5 for 20,5, or put such cells in quotes and separate by semicolons")
        } else {
            problem.at(span, "this row").help("a separator too many or too few; empty cells keep theirs")
        });
        false
    }

    /// The cell of a column, if it has words.
    pub(super) fn cell<'a, 't>(&self, cells: &'a [Cell<'t>], column: Column) -> Option<&'a Cell<'t>> {
        let index = self.has(column)?.index;
        cells.get(index).filter(|c| !c.text.is_empty())
    }

    /// A quantity, its unit in the cell or in the header.
    pub(super) fn quantity(
        &mut self,
        cell: &Cell<'_>,
        column: Column,
        kind: Unit,
        limit: bool,
    ) -> Option<f64> {
        let unit = self.has(column).and_then(|h| h.unit.clone());
        let number =
            |c: char| c.is_ascii_digit() || matches!(c, '.' | '+' | '-' | '−' | '±' | 'e' | 'E' | ' ');
        let bare = cell.text.chars().all(number);
        let mut buffer = std::mem::take(&mut self.buffer);
        buffer.clear();
        buffer.push_str(&cell.text);
        let comma = cell.text.contains(',') && !cell.text.chars().any(|c| c.is_alphabetic() || c == '°');
        if let (true, Some(unit)) = (bare || comma, &unit) {
            buffer.push(' ');
            buffer.push_str(unit);
        }
        let value = if limit { parse_limit(&buffer, kind) } else { parse(&buffer, kind) };
        self.buffer = buffer;
        match value {
            Ok(value) => Some(value),
            Err(error) => {
                let what = column.name();
                let inside = error.span.end <= cell.text.len() && !error.span.is_empty();
                let span = if inside && self.text.get(cell.span.start..cell.span.end) == Some(&*cell.text) {
                    Span::new(cell.span.start + error.span.start, cell.span.start + error.span.end)
                } else {
                    cell.span
                };
                let mut problem = Problem::new(error.code, format!("{what}: {}", error.message))
                    .at(span, error.label)
                    .expected(error.expected);
                problem.help = match (error.code, bare) {
                    ("quantity.no_unit", true) => {
                        let unit = if kind == Unit::Volt { "mV" } else { kind.symbol() };
                        Some(format!(
                            "the unit in the header, {what} ({unit}), or in the cell: {} {unit}",
                            cell.text
                        ))
                    }
                    _ => error.help,
                };
                self.tell(problem);
                None
            }
        }
    }

    /// Exactly one of some columns, or a problem.
    fn one_of<'a, 't>(
        &mut self,
        cells: &'a [Cell<'t>],
        columns: &[Column],
        span: Span,
        what: &str,
    ) -> Option<(Column, &'a Cell<'t>)> {
        let given: Vec<_> = columns.iter().filter_map(|&c| Some((c, self.cell(cells, c)?))).collect();
        match given.as_slice() {
            [one] => Some(*one),
            [] => {
                let names: Vec<_> = columns.iter().map(|c| c.name()).collect();
                self.tell(
                    Problem::new("readings.nothing_in_row", format!("this row says nothing of {what}"))
                        .at(span, "empty there")
                        .expected(format!("one of {}", names.join(", ")))
                        .help("fill the cell, or take the row away"),
                );
                None
            }
            [first, second, ..] => {
                self.tell(
                    Problem::new("readings.two_in_row", format!("this row says {what} twice"))
                        .at(second.1.span, second.0.name())
                        .also(Some(first.1.span), first.0.name())
                        .help("leave one of them empty"),
                );
                None
            }
        }
    }

    fn row(
        &mut self,
        line: usize,
        span: Span,
        cells: &[Cell<'_>],
        readings: &mut Readings,
        repeats: &mut BTreeSet<(u64, u64, usize, usize, String)>,
    ) {
        let Some((reference, is)) = self.reference(cells, readings) else { return };
        let itself = is.as_ref().filter(|r| r.takes() == Takes::Nothing);
        let known = match itself {
            Some(_) => None,
            None => self.one_of(cells, &[Column::Temperature, Column::Injected], span, "what was known"),
        };
        let answer =
            self.one_of(cells, &[Column::Reading, Column::Code, Column::Output], span, "what came out");
        let board = match self.cell(cells, Column::Board) {
            Some(cell) => {
                self.quantity(cell, Column::Board, Unit::Celsius, false).and_then(|v| self.board(v, cell))
            }
            None => {
                self.tell(
                    Problem::new(
                        "readings.nothing_in_row",
                        "this row says nothing of the board's temperature",
                    )
                    .at(span, "empty there")
                    .help("fill the cell: the reference junction depends on it"),
                );
                None
            }
        };
        let input = match itself {
            Some(itself) => self.of_itself(itself, cells, span),
            None => known.and_then(|(column, cell)| self.shown(is.as_ref(), column, cell)),
        };
        let limit = match (self.cell(cells, Column::Uncertainty), input) {
            (Some(cell), Some(input)) => {
                let kind = if matches!(input, Input::Temperature(_)) { Unit::Kelvin } else { Unit::Volt };
                self.quantity(cell, Column::Uncertainty, kind, true)
            }
            _ => None,
        };
        if limit.is_some() {
            self.told_otherwise((reference, is.as_ref()), cells, readings);
        }
        let answer = answer.and_then(|(column, cell)| self.answer(column, cell));
        let serial = self.cell(cells, Column::Serial);
        if let Some(cell) = serial {
            match &readings.serial {
                None => readings.serial = Some(cell.text.to_string()),
                Some(first) if *first != cell.text => {
                    let message = format!("readings of two boards, {first} and {}", cell.text);
                    self.tell(
                        Problem::new("readings.two_boards", message)
                            .at(cell.span, "another board")
                            .help("one file for each board"),
                    );
                }
                Some(_) => {}
            }
        }
        let (Some(input), Some(answer), Some(board)) = (input, answer, board) else { return };
        let session =
            place(&mut readings.sessions, self.cell(cells, Column::Session).map_or("", |c| &c.text));
        if readings.sessions.len().max(readings.references.len()) > MOST_NAMES {
            self.tell(
                Problem::new(
                    "readings.too_many_names",
                    format!("more than {MOST_NAMES} occasions or references"),
                )
                .at(span, "one more here")
                .help("session: readings that were taken in one go, such as a day"),
            );
            return;
        }
        if let Some(cell) = self.cell(cells, Column::Repeat) {
            let (Input::Temperature(value) | Input::Injected(value)) = input;
            let key = (value.to_bits(), board.to_bits(), reference, session, cell.text.to_string());
            if !repeats.insert(key) {
                self.tell(
                    Problem::new(
                        "readings.repeat_twice",
                        format!("repeat {} of this point stands twice", cell.text),
                    )
                    .at(cell.span, "again here")
                    .help("take the copy away, or number it anew"),
                );
            }
        }
        readings.rows.push(Row { line, span, input, limit, board, answer, reference, session });
    }
}

/// Place of a name in a list, added if it is new. Beyond what is told apart none is added.
fn place(list: &mut Vec<String>, name: &str) -> usize {
    list.iter().position(|n| n == name).unwrap_or_else(|| {
        if list.len() <= MOST_NAMES {
            list.push(name.to_owned());
        }
        list.len() - 1
    })
}
