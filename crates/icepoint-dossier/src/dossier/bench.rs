//! Voltages to expect at every test point, with what the converter reads, for a handful of temperatures.

use icepoint_chain::chain::ConverterKind;
use icepoint_chain::imperfection::SPECIFIED_AT;
use icepoint_chain::{ModelError, Situation};
use maud::{Markup, html};

use super::Subject;
use super::words::{NBSP, celsius};
use crate::axis::nice_step;
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

pub(super) fn section(s: &Subject<'_>) -> Result<Markup, ModelError> {
    let hots = hots(s.chain.need.hot);
    let (low, high) = s.chain.need.board;
    let mut tables = Vec::new();
    for board in boards(low, high) {
        tables.push(table(s, board, &hots)?);
    }
    Ok(html! {
        p {
            "What a voltmeter shows against ground when every part is at its nominal value and the head of the probe at "
            "its farther end. A thermocouple can be stood in for by a millivolt source at the terminals. Parts of "
            "ordinary tolerance move these by about their tolerance; a test point that is far off is a fault."
        }
        @for table in tables { (table) }
    })
}

fn table(s: &Subject<'_>, board: f64, hots: &[f64]) -> Result<Markup, ModelError> {
    let model = &s.design.model;
    let readings = hots
        .iter()
        .map(|&hot| model.predict(&Situation::at(s.chain, hot, board), model.mean_deviations()))
        .collect::<Result<Vec<_>, _>>()?;
    let mut columns = vec![Column::words("Test point"), Column::words("What")];
    columns.extend(hots.iter().map(|t| Column::numbers(&celsius(*t), "V")));
    let mut rows: Vec<Vec<String>> = s
        .chain
        .front_end
        .test_points
        .iter()
        .enumerate()
        .map(|(i, t)| {
            let volts = readings.iter().map(|r| r.test_point_volts.get(i).map_or(String::new(), |v| fixed(*v, 5)));
            [t.label.clone(), t.what.clone()].into_iter().chain(volts).collect()
        })
        .collect();
    let step = s.chain.converter.step();
    let (name, what): (&str, String) = match s.chain.converter.kind {
        ConverterKind::Adc { bits, .. } => ("ADC", format!("code of 2{}", superscript(bits))),
        ConverterKind::Voltmeter { .. } => ("Meter", format!("digits of {}{NBSP}mV", plain(1e3 * step))),
    };
    rows.push(
        [name.to_owned(), what]
            .into_iter()
            .chain(readings.iter().map(|r| fixed(libm::round(r.output_volts / step), 0)))
            .collect(),
    );
    rows.push(
        ["Reading".to_owned(), "°C".to_owned()].into_iter().chain(readings.iter().map(|r| fixed(r.celsius, 2))).collect(),
    );
    let exceeded: Vec<String> = readings
        .iter()
        .zip(hots)
        .flat_map(|(r, hot)| r.limits.iter().map(move |l| format!("at {}: {l}", celsius(*hot))))
        .collect();
    Ok(html! {
        (page::table(&format!("Board at {}", celsius(board)), &columns, &rows))
        @if !exceeded.is_empty() {
            p { "Beyond a limit, so not to be trusted: " (super::words::minus(&exceeded.join("; "))) "." }
        }
    })
}

/// Digits as superscript.
fn superscript(value: u32) -> String {
    const DIGITS: [char; 10] = ['⁰', '¹', '²', '³', '⁴', '⁵', '⁶', '⁷', '⁸', '⁹'];
    value.to_string().bytes().filter_map(|b| DIGITS.get(usize::from(b.wrapping_sub(b'0')))).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_handful_of_round_temperatures() {
        assert_eq!(hots((20.0, 1100.0)), [20.0, 300.0, 550.0, 850.0, 1100.0]);
        assert_eq!(hots((-80.0, 30.0)), [-80.0, -50.0, -25.0, 5.0, 30.0]);
        assert_eq!(hots((25.0, 25.0)), [25.0]);
        assert_eq!(boards(5.0, 55.0), [5.0, 25.0, 55.0]);
        assert_eq!(boards(30.0, 30.0), [30.0]);
        assert_eq!(superscript(12), "¹²");
    }
}
