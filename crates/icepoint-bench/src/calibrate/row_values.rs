//! The values of a row: is a board ever as warm, does the thermocouple go so far, was the converter at an end?

use icepoint_chain::chain::ConverterKind;
use icepoint_chain::file::{Problem, bounds};
use icepoint_chain::quantity::Unit;

use super::columns::Column;
use super::csv_text::Cell;
use super::readings::{Answer, Input, Reader};

impl Reader<'_, '_> {
    pub(super) fn board(&mut self, value: f64, cell: &Cell<'_>) -> Option<f64> {
        if bounds::BOARD.allows(value) {
            return Some(value);
        }
        self.tell(
            Problem::new(
                "readings.board_temperature",
                format!("{} as the temperature of the board is not possible", cell.text),
            )
            .at(cell.span, format!("must be {}", bounds::BOARD.text()))
            .help(
                "are two columns swapped? The board's temperature belongs here, not the measuring junction's",
            ),
        );
        None
    }

    pub(super) fn input(&mut self, column: Column, cell: &Cell<'_>) -> Option<Input> {
        let letter = self.chain.probe.letter;
        let (low, high) = letter.range();
        if column == Column::Temperature {
            let value = self.quantity(cell, column, Unit::Celsius, false)?;
            if value < low || value > high {
                self.tell(
                    Problem::new(
                        "readings.beyond_type",
                        format!(
                            "{} is beyond type {}, which goes from {low} °C to {high} °C",
                            cell.text,
                            letter.name()
                        ),
                    )
                    .at(cell.span, "as a temperature")
                    .help("check the unit and the columns"),
                );
                return None;
            }
            return Some(Input::Temperature(value));
        }
        let value = self.quantity(cell, column, Unit::Volt, false)?;
        let emf = |t: f64| letter.emf_and_slope_extended(t).0;
        // The reference junction may be anywhere where a board lives.
        let (least, most) =
            (emf(low) - emf(bounds::BOARD.high.min(high)), emf(high) - emf(bounds::BOARD.low.max(low)));
        if value < least || value > most {
            self.tell(
                Problem::new(
                    "readings.beyond_type",
                    format!(
                        "{} is no voltage of a type {} thermocouple, which gives {:.1} mV to {:.1} mV",
                        cell.text,
                        letter.name(),
                        1e3 * least,
                        1e3 * most
                    ),
                )
                .at(cell.span, "as the voltage at the terminals")
                .help("check the unit: millivolts, not volts"),
            );
            return None;
        }
        Some(Input::Injected(value))
    }

    pub(super) fn answer(&mut self, column: Column, cell: &Cell<'_>) -> Option<Answer> {
        match column {
            Column::Code => self.code(cell),
            Column::Output => {
                let value = self.quantity(cell, column, Unit::Volt, false)?;
                let (low, high) = self.chain.converter.span();
                if value <= low || value >= high {
                    self.clipped(cell, format!("{low} V to {high} V"));
                    return None;
                }
                Some(Answer::Volts(value))
            }
            _ => {
                let value = self.quantity(cell, column, Unit::Celsius, false)?;
                let digits = |text: &str| {
                    text.split('.')
                        .nth(1)
                        .map_or(0, |after| after.bytes().take_while(u8::is_ascii_digit).count())
                };
                self.decimals = self.decimals.max(digits(&cell.text));
                Some(Answer::Celsius(value))
            }
        }
    }

    fn clipped(&mut self, cell: &Cell<'_>, range: String) {
        self.tell(
            Problem::new(
                "readings.clipped",
                format!("{} is at the end of what the converter reads", cell.text),
            )
            .at(cell.span, "clipped: says nothing of the board")
            .expected(format!("a value inside {range}"))
            .help("take the row away, or measure at a point inside the range"),
        );
    }

    fn code(&mut self, cell: &Cell<'_>) -> Option<Answer> {
        let ConverterKind::Adc { bits, .. } = self.chain.converter.kind else {
            self.tell(
                Problem::new("readings.no_codes", "this chain ends in a voltmeter, which has no codes")
                    .at(cell.span, "a code")
                    .help("a column output (V), or reading (°C)"),
            );
            return None;
        };
        let full = libm::pow(2.0, f64::from(bits.min(63)));
        // A mean of codes has digits after the point.
        match cell.text.parse::<f64>() {
            Ok(value) if value.is_finite() && value > 0.0 && value < full - 1.0 => Some(Answer::Code(value)),
            Ok(value) if value.is_finite() && (0.0..full).contains(&value) => {
                self.clipped(cell, format!("1 to {}", full - 2.0));
                None
            }
            _ => {
                let words = format!("{} is no code of a converter of {bits} bit", cell.text);
                let problem = Problem::new("readings.no_code", words)
                    .at(cell.span, "as a code")
                    .expected(format!("a number from 0 to {}", full - 1.0));
                self.tell(match cell.text.replace(',', ".").parse::<f64>() {
                    Ok(value) if cell.text.contains(',') => problem.help(format!("a decimal point: {value}")),
                    _ => problem.help("check the column and the number of bits in the chain file"),
                });
                None
            }
        }
    }
}
