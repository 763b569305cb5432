//! The reference of a row: what its name stands for, and what the row must say beside it.

use icepoint_chain::file::{Problem, Span};

use super::columns::Column;
use super::csv_text::Cell;
use super::readings::{Input, Reader, Readings};
use crate::references::{self, Leads, Reference, Takes};

impl Reader<'_, '_> {
    /// Place of the row's reference and what it is; `None` after a problem.
    pub(super) fn reference(
        &mut self,
        cells: &[Cell<'_>],
        readings: &mut Readings,
    ) -> Option<(usize, Option<Reference>)> {
        let cell = self.cell(cells, Column::Reference);
        let name = cell.map_or("", |c| &*c.text);
        if let Some(place) = readings.references.iter().position(|(n, _)| n == name) {
            return Some((place, readings.references[place].1.clone()));
        }
        let known = match cell {
            None => None,
            Some(cell) => match references::read(name, self.file) {
                Ok(named) => Some(named.reference),
                // A name of one's own will do where the row itself says what was known.
                Err(_)
                    if self
                        .cell(cells, Column::Temperature)
                        .or(self.cell(cells, Column::Injected))
                        .is_some() =>
                {
                    None
                }
                Err(problem) => {
                    let mut problem = *problem;
                    if let Some(at) = &mut problem.at {
                        let start = cell.span.start;
                        at.span = Span::new(start + at.span.start, (start + at.span.end).min(cell.span.end));
                    }
                    self.tell(problem);
                    return None;
                }
            },
        };
        readings.references.push((name.to_owned(), known.clone()));
        Some((readings.references.len() - 1, known))
    }

    /// The input of a reference that has one value, such as an ice bath.
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
            Ok(known) => Some(Input::Temperature(known.nominal)),
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
