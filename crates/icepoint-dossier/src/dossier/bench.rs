//! Voltages to expect at every test point, with what the converter reads, for a handful of temperatures.

use icepoint_chain::chain::ConverterKind;
use icepoint_chain::imperfection::SPECIFIED_AT;
use icepoint_chain::{ModelError, Reading, Situation};
use maud::{Markup, html};

use super::Subject;
use super::words::{NBSP, celsius};
use crate::axis::nice_step;
use crate::bench_sheet::Made;
use crate::number::{fixed, plain};
use crate::page::{self, Column};

/// Board temperatures of the bench tables: lowest, 25 °C, highest; without doubles, rising.
pub(super) fn boards(low: f64, high: f64) -> Vec<f64> {
    let mut list = vec![low, SPECIFIED_AT.clamp(low, high), high];
    list.dedup();
    list
}

/// Five temperatures of the measuring junction from the lowest to the highest, the inner ones round.
fn hots((low, high): (f64, f64)) -> Vec<f64> {
    let step = nice_step((high - low) / 20.0);
    let mut list = vec![low];
    for quarter in 1..4 {
        let at = low + 0.25 * f64::from(quarter) * (high - low);
        let round = if step > 0.0 { libm::round(at / step) * step } else { at };
        if list.last().is_some_and(|last| round > *last) && round < high {
            list.push(round);
        }
    }
    if high > low {
        list.push(high);
    }
    list
}

pub(super) fn section(s: &Subject<'_>, sheet: &Made) -> Result<Markup, ModelError> {
    let hots = hots(s.chain.need.hot);
    let (low, high) = s.chain.need.board;
    let rows = boards(low, high)
        .into_iter()
        .map(|board| Row::new(s, board, &hots))
        .collect::<Result<Vec<_>, _>>()?;
    let step = s.chain.converter.step();
    let code = match s.chain.converter.kind {
        ConverterKind::Adc { bits, .. } => {
            format!("What the converter gives: codes of 2{}", superscript(bits))
        }
        ConverterKind::Voltmeter { .. } => {
            format!("What the meter shows: digits of {}{NBSP}mV", plain(1e3 * step))
        }
    };
    let digits = |volts: f64| match s.chain.converter.kind {
        ConverterKind::Adc { .. } => s.chain.converter.code_of(volts),
        ConverterKind::Voltmeter { .. } => volts / step,
    };
    let at_boards = |caption: &str, unit: &str, figure: &dyn Fn(&Row, usize) -> String| {
        let mut columns = vec![Column::words("Board")];
        columns.extend(hots.iter().map(|t| Column::numbers(&celsius(*t), unit)));
        let cells: Vec<Vec<String>> = rows
            .iter()
            .map(|row| {
                std::iter::once(celsius(row.board)).chain((0..hots.len()).map(|i| figure(row, i))).collect()
            })
            .collect();
        page::table(caption, &columns, &cells)
    };
    let exceeded: Vec<String> = rows
        .iter()
        .flat_map(|row| {
            row.readings.iter().zip(&hots).flat_map(move |(r, hot)| {
                r.limits
                    .iter()
                    .map(move |l| format!("{}, board at {}: {l}", celsius(*hot), celsius(row.board)))
            })
        })
        .collect();
    Ok(html! {
        p {
            "A freshly soldered board at " (celsius(sheet.sheet.setup.board)) ", with what 95 and 999 of 1000 healthy boards show, the "
            "voltmeter's and the source's own errors included. The bench sheet beside this page has it all with the order of "
            "work, a place to write and what a wrong figure hints at."
        }
        (sheet.summary)
        p {
            "What a voltmeter shows against ground when every part is at its nominal value and the head of the probe at "
            "its farther end. On the bench a millivolt source at the terminals stands in for the thermocouple; the first "
            "table says what to set. Parts move the others by about their tolerance; a test point that is far off is a "
            "fault."
        }
        (at_boards("Voltage of the thermocouple at the terminals", "mV", &|row, i| fixed(1e3 * row.thermocouple[i], 3)))
        @for row in &rows { (test_points(s, row, &hots)) }
        (at_boards(&code, "", &|row, i| fixed(libm::round(digits(row.readings[i].output_volts)), 0)))
        (at_boards("The reading", "°C", &|row, i| fixed(row.readings[i].celsius, 2)))
        @if !exceeded.is_empty() {
            p { "Beyond a limit, so not to be trusted: " (super::words::minus(&exceeded.join("; "))) "." }
        }
    })
}

/// One board temperature: what the model answers at each hot temperature.
struct Row {
    board: f64,
    /// Voltage of the thermocouple at the terminals, V.
    thermocouple: Vec<f64>,
    readings: Vec<Reading>,
}

impl Row {
    fn new(s: &Subject<'_>, board: f64, hots: &[f64]) -> Result<Self, ModelError> {
        let model = &s.design.model;
        let mean = model.mean_deviations();
        let state = model.board_state(board, mean, &mut model.scratch())?;
        let mut row = Self { board, thermocouple: Vec::new(), readings: Vec::new() };
        for &hot in hots {
            let situation = Situation::at(s.chain, hot, board);
            let emf = model.hot_emf(&model.hot_end(hot), mean);
            row.thermocouple.push(model.thermocouple_volts(emf, situation.head, &state, mean));
            row.readings.push(model.predict(&situation, mean)?);
        }
        Ok(row)
    }
}

fn test_points(s: &Subject<'_>, row: &Row, hots: &[f64]) -> Markup {
    let mut columns = vec![Column::words("Test point"), Column::words("What")];
    columns.extend(hots.iter().map(|t| Column::numbers(&celsius(*t), "V")));
    let cells: Vec<Vec<String>> = s
        .chain
        .front_end
        .test_points
        .iter()
        .enumerate()
        .map(|(i, t)| {
            let volts = row
                .readings
                .iter()
                .map(|r| r.test_point_volts.get(i).map_or(String::new(), |v| fixed(*v, 5)));
            [t.label.clone(), t.what.clone()].into_iter().chain(volts).collect()
        })
        .collect();
    page::table(&format!("Test points, board at {}", celsius(row.board)), &columns, &cells)
}

/// Digits as superscript.
pub(super) fn superscript(value: u32) -> String {
    const DIGITS: [char; 10] = ['⁰', '¹', '²', '³', '⁴', '⁵', '⁶', '⁷', '⁸', '⁹'];
    value.to_string().bytes().filter_map(|b| DIGITS.get(usize::from(b.wrapping_sub(b'0')))).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_handful_of_round_temperatures() {
        assert_eq!(hots((20.0, 1100.0)), [20.0, 300.0, 600.0, 800.0, 1100.0]);
        assert_eq!(hots((-80.0, 30.0)), [-80.0, -50.0, -30.0, 0.0, 30.0]);
        assert_eq!(hots((25.0, 25.0)), [25.0]);
        assert_eq!(boards(5.0, 55.0), [5.0, 25.0, 55.0]);
        assert_eq!(boards(30.0, 30.0), [30.0]);
        assert_eq!(superscript(12), "¹²");
    }
}
