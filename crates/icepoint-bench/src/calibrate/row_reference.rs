//! The reference of a row: what its name stands for, and what the row must say beside it.

use icepoint_chain::file::{Problem, Span, nearest_word as nearest, one_slip};

use super::columns::Column;
use super::csv_text::Cell;
use super::readings::{Input, MOST_NAMES, Reader, Readings};
use crate::references::{self, Leads, Quantity, Reference, Takes};

impl Reader<'_, '_> {
    /// Place of the row's reference and what it is; `None` after a problem.
    pub(super) fn reference(
        &mut self,
        cells: &[Cell<'_>],
        readings: &mut Readings,
    ) -> Option<(usize, Option<Reference>)> {
        let cell = self.cell(cells, Column::Reference);
        let written = cell.map_or("", |c| &*c.text);
        if readings.references.len() > MOST_NAMES {
            return None;
        }
        if let Some(place) = self.names.get(written) {
            // A name that was refused is told once, however many rows have it.
            return place.map(|place| (place, readings.references[place].1.clone()));
        }
        let (name, known) = match cell {
            None => (String::new(), None),
            Some(cell) => match references::read(written, self.file) {
                Ok(named) => (named.name, Some(named.reference)),
                // A name of one's own will do where the row itself says what was known.
                Err(problem) if self.own_name(cells, cell, &problem, readings) => (written.to_owned(), None),
                Err(problem) => {
                    let sized = self.cell(cells, Column::Uncertainty).is_some();
                    let mut problem = self.misspelt(written, cell, sized).unwrap_or(*problem);
                    if let Some(at) = &mut problem.at {
                        let start = cell.span.start;
                        at.span = Span::new(start + at.span.start, (start + at.span.end).min(cell.span.end));
                    }
                    self.tell(problem);
                    self.refuse_name(written);
                    return None;
                }
            },
        };
        // The same record in other capitals is the same reference, and shares its error.
        let place = readings.references.iter().position(|(n, _)| *n == name).unwrap_or_else(|| {
            readings.references.push((name, known.clone()));
            readings.references.len() - 1
        });
        self.names.insert(written.to_owned(), Some(place));
        Some((place, known))
    }

    /// Keeps a name that was refused; a file of nothing but wrong names may have a million.
    fn refuse_name(&mut self, name: &str) {
        if self.names.len() < 2 * MOST_NAMES {
            self.names.insert(name.to_owned(), None);
        }
    }

    /// Whether the reference is a name of one's own, of which only the row and the plan say how well it is known.
    fn own_name(
        &mut self,
        cells: &[Cell<'_>],
        cell: &Cell<'_>,
        problem: &Problem,
        readings: &mut Readings,
    ) -> bool {
        let given = self.cell(cells, Column::Temperature).or(self.cell(cells, Column::Injected)).is_some();
        let sized = self.cell(cells, Column::Uncertainty).is_some();
        // “thermometer ±0.5 C” is meant as one that is known here: its name counts as one's own only if the row says all.
        let meant = problem.code != "reference.unknown";
        if !given || (meant && !sized) || self.near(&cell.text, sized).is_some() {
            return false;
        }
        let alike = self.near(&cell.text, false);
        if !self.file.references.is_empty() || alike.is_some() {
            let worth = if sized { "the column uncertainty" } else { "the calibration plan" };
            let but = alike.map_or(String::new(), |word| format!(", and not as {word}"));
            let message = format!(
                "\"{}\" is no record of the chain file: taken as a name of your own{but}, known as well as {worth} says",
                cell.text
            );
            readings.cautions.push(Problem::new("readings.own_name", message).at(cell.span, "first here"));
        }
        true
    }

    /// A row's own uncertainty takes the place of all that a reference is known by: told once for each.
    pub(super) fn told_otherwise(
        &mut self,
        (place, reference): (usize, Option<&Reference>),
        cells: &[Cell<'_>],
        readings: &mut Readings,
    ) {
        let (Some(reference), Some(cell)) = (reference, self.cell(cells, Column::Uncertainty)) else {
            return;
        };
        if !self.overridden.insert(place) {
            return;
        }
        let name = readings.references.get(place).map_or("", |(name, _)| name);
        let message = format!(
            "The column uncertainty takes the place of all that is known of \"{name}\" ({}): certificate, drift, last digit",
            reference.kind()
        );
        readings.cautions.push(
            Problem::new("readings.uncertainty_twice", message)
                .at(cell.span, "first here")
                .help("Leave the cells empty to count with the reference's own record"),
        );
    }

    /// The record or the words that a name was probably meant to be. Where the row states its own uncertainty only a
    /// single letter makes it so: nothing is lost but the record, and the report tells.
    fn near(&self, name: &str, sized: bool) -> Option<&str> {
        let records = self.file.references.keys().map(String::as_str);
        let words = records.chain(references::WORDS.iter().copied());
        let close = if sized { one_slip(name, words) } else { nearest(name, words) };
        // “stirred bath 2” is no slip of “stirred bath”.
        close.filter(|word| !name.to_lowercase().starts_with(&word.to_lowercase()))
    }

    /// A slip of the pen, its place counted from the start of the name.
    fn misspelt(&self, name: &str, cell: &Cell<'_>, sized: bool) -> Option<Problem> {
        let close = self.near(name, sized)?;
        Some(
            Problem::new("readings.misspelt_reference", format!("there is no reference \"{name}\""))
                .at(Span::new(0, cell.span.end - cell.span.start), format!("did you mean {close}?"))
                .expected(
                    "a record of the chain file, words for a reference, or a name of your own unlike these",
                )
                .help(close),
        )
    }

    /// The input of a reference that has one value, such as an ice bath or a short.
    pub(super) fn of_itself(
        &mut self,
        reference: &Reference,
        cells: &[Cell<'_>],
        span: Span,
    ) -> Option<Input> {
        let other = self.cell(cells, Column::Injected).or(self.cell(cells, Column::Temperature));
        if let Some(cell) = other {
            self.tell(
                Problem::new("readings.two_in_row", format!("{} has a value of its own", reference.kind()))
                    .at(cell.span, "and here is another")
                    .help("leave the cell empty, or give the reference another name"),
            );
            return None;
        }
        match reference.known(None) {
            Ok(known) => Some(match known.quantity {
                Quantity::Celsius => Input::Temperature(known.nominal),
                Quantity::Volts => Input::Injected(known.nominal),
            }),
            Err(error) => {
                self.tell(
                    Problem::new("readings.reference", error.to_string())
                        .at(span, "in this row")
                        .help("docs/calibration.md lists the references"),
                );
                None
            }
        }
    }

    /// The input that a reference shows, which must be of its kind.
    pub(super) fn shown(
        &mut self,
        reference: Option<&Reference>,
        column: Column,
        cell: &Cell<'_>,
    ) -> Option<Input> {
        let input = self.input(column, cell)?;
        let Some(reference) = reference else { return Some(input) };
        let (fits, value) = match (reference.takes(), input) {
            (Takes::Volts, Input::Injected(v)) => (true, v),
            (Takes::Celsius, Input::Temperature(t)) => (true, t),
            (_, Input::Injected(v) | Input::Temperature(v)) => (false, v),
        };
        let wire = matches!(reference, Reference::Millivolts(s) if s.leads != Leads::Copper);
        let told = if !fits {
            format!("{} with a value of another kind", reference.kind())
        } else if wire {
            "a source with leads of thermocouple wire: what reaches the terminals depends on its own temperature"
                .to_owned()
        } else {
            match reference.known(Some(value)) {
                Ok(_) => return Some(input),
                Err(error) => error.to_string(),
            }
        };
        self.tell(
            Problem::new("readings.reference", told)
                .at(cell.span, "this value")
                .expected(
                    "temperature for a thermometer or a dry well, injected for a source with copper leads",
                )
                .help("move the value to its own column"),
        );
        None
    }
}
