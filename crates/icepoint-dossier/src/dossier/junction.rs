//! The reference junction: what one kelvin there is worth in the reading, and where a broken sensor drives it.

use icepoint_chain::ModelError;
use icepoint_chain::chain::{CalibrationWish, JunctionMethod};
use icepoint_chain::imperfection::SPECIFIED_AT;
use maud::{Markup, html};

use super::Subject;
use super::words::{celsius, plain_kelvin, quantity};
use crate::number::fixed;
use crate::page::{self, Column};

pub(super) fn section(s: &Subject<'_>) -> Result<Markup, ModelError> {
    let rows = worth(s);
    let columns = [
        Column::words("Measuring junction"),
        Column::numbers("1 K at the terminals makes", "K in the reading"),
        Column::numbers("Sensor's limit makes", "± K"),
    ];
    let limit = s.chain.junction.accuracy;
    let how = match s.chain.junction.method {
        JunctionMethod::InCircuit => {
            "Parts of the circuit that follow the temperature give the slope of the thermocouple. Their curve differs from \
             that of the emf; the difference is part of the known error."
        }
        JunctionMethod::Measured(_) => {
            "The sensor's reading is turned into volts and added there, so an error of one kelvin at the terminals is \
             not one kelvin in the reading but the ratio of the sensitivities, S(board) / S(hot)."
        }
        JunctionMethod::Analog { .. } => {
            "The sensor's voltage is divided to the slope of the thermocouple and added in the circuit. It follows a \
             straight line while the thermocouple is curved; the difference is part of the known error."
        }
    };
    Ok(html! {
        p { (how) }
        @if !rows.is_empty() {
            (page::table(
                &format!("What an error of the junction sensor (±{}) is worth, as built", plain_kelvin(limit)),
                &columns,
                &rows
            ))
        }
        (broken(s)?)
    })
}

/// Index of the sensor's accuracy among the imperfections.
pub(super) fn accuracy_index(s: &Subject<'_>) -> Option<usize> {
    s.budget.imperfections.iter().position(|i| i.id == "junction.accuracy")
}

fn worth(s: &Subject<'_>) -> Vec<Vec<String>> {
    let Some(index) = accuracy_index(s) else { return Vec::new() };
    let Some(u) = s.budget.imperfections.get(index).map(|i| i.distribution.standard()) else {
        return Vec::new();
    };
    let Some(near) = s.point(CalibrationWish::None, s.chain.need.hot.0, SPECIFIED_AT) else {
        return Vec::new();
    };
    let row: Vec<_> = s.budget.of(CalibrationWish::None).iter().filter(|p| p.board == near.board).collect();
    let last = row.len().saturating_sub(1);
    let mut picked = vec![0, last / 4, last / 2, 3 * last / 4, last];
    picked.dedup();
    picked
        .into_iter()
        .filter_map(|i| row.get(i))
        .filter_map(|p| {
            let c = p.gum.contributions.get(index)? / u;
            Some(vec![
                format!("{}, board at {}", celsius(p.hot), celsius(p.board)),
                fixed(c.abs(), 3),
                fixed((c * s.chain.junction.accuracy).abs(), 2),
            ])
        })
        .collect()
}

fn broken(s: &Subject<'_>) -> Result<Markup, ModelError> {
    let (low, high) = s.chain.need.board;
    let (cold, hot) = s.chain.need.hot;
    let mut rows = Vec::new();
    let (mut above, mut below) = (true, true);
    for board in super::bench::boards(low, high) {
        let reading = s.design.model.open_sensor(board)?;
        above &= reading.celsius > hot;
        below &= reading.celsius < cold;
        let shown = if reading.celsius > hot {
            format!("above {}", celsius(hot))
        } else if reading.celsius < cold {
            format!("below {}", celsius(cold))
        } else {
            celsius(libm::round(reading.celsius))
        };
        rows.push(vec![
            celsius(board),
            quantity(reading.output_volts, icepoint_chain::quantity::Unit::Volt, 4),
            shown,
        ]);
    }
    let columns =
        [Column::words("Board"), Column::words("Output, thermocouple broken"), Column::words("Reading")];
    Ok(html! {
        h3 { "A broken thermocouple" }
        p {
            @if above {
                "With the loop open the reading runs above the range. A controller of a heater then switches off; one of a "
                "cooler would " b { "run without end" } ". Firmware must treat anything above " (celsius(hot))
                " as a fault."
            } @else if below {
                "With the loop open the reading runs below the range. A controller of a cooler then switches off; one of a "
                "heater would " b { "heat without end" } ". Firmware must treat anything below " (celsius(cold))
                " as a fault."
            } @else {
                b { "With the loop open the reading stays within the range" } " at some board temperature: a break can't "
                "be told from a temperature there."
            }
        }
        (page::table("Open sensor", &columns, &rows))
    })
}
