//! The reference junction: what one kelvin there is worth in the reading, and where a broken sensor drives it.

use icepoint_chain::ModelError;
use icepoint_chain::chain::{CalibrationWish, JunctionMethod};
use icepoint_chain::imperfection::SPECIFIED_AT;
use icepoint_chain::overvoltage;
use icepoint_sensors::Letter;
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
        (taps(s))
        (broken(s)?)
        (overvoltage(s)?)
    })
}

/// What each tap does to each type, taps down and types across.
fn taps(s: &Subject<'_>) -> Markup {
    let uses = &s.design.taps;
    let mut letters: Vec<Letter> = Vec::new();
    let mut nodes: Vec<&str> = Vec::new();
    for u in uses {
        if !letters.contains(&u.letter) {
            letters.push(u.letter);
        }
        if !nodes.contains(&u.node.as_str()) {
            nodes.push(&u.node);
        }
    }
    if uses.is_empty() {
        return html! {};
    }
    let heads: Vec<String> = letters.iter().map(|l| format!("Type {}", l.name())).collect();
    let mut columns = vec![Column::words("Tap")];
    columns.extend(heads.iter().map(|head| Column::numbers(head, "K")));
    let rows: Vec<Vec<String>> = nodes
        .iter()
        .map(|node| {
            let mut row = vec![(*node).to_owned()];
            for u in uses.iter().filter(|u| u.node == *node) {
                let mark = match (u.is_right(), u.used(s.chain.need.accuracy) <= 1.0) {
                    (true, true) => " ✓",
                    (true, false) => " ✗",
                    (false, _) => "",
                };
                row.push(format!("{}{mark}", fixed(u.error, 2)));
            }
            row
        })
        .collect();
    let (low, high) = s.chain.need.board;
    html! {
        h3 { "Taps for several types" }
        p {
            "The largest error that the compensation makes with the board from " (celsius(low)) " to " (celsius(high))
            ", against the board at " (celsius(SPECIFIED_AT)) ", in kelvins of the type in use. ✓: the type belongs on that "
            "tap, and the compensation takes no more than half of the accuracy asked of it (of the board's own type: no more "
            "than all); ✗: it belongs there, but the compensation takes more. This board is wired for type " (s.chain.probe.letter.name()) "; another type wants its own gain, too."
        }
        (page::table("Each tap with each type", &columns, &rows))
    }
}

/// What a voltage at the probe that has no business there does to the clamps.
fn overvoltage(s: &Subject<'_>) -> Result<Markup, ModelError> {
    let Some(most) = s.design.withstands else { return Ok(html! {}) };
    let volt = |v: f64, digits| quantity(v, icepoint_chain::quantity::Unit::Volt, digits);
    let columns = [
        Column::words("Clamp"),
        Column::words("Current"),
        Column::words("It may carry"),
        Column::words("Its node"),
    ];
    let ampere = |a: f64| quantity(a, icepoint_chain::quantity::Unit::Ampere, 3);
    let mut tables = Vec::new();
    for volts in [most, -most] {
        let found = overvoltage::at(s.chain, volts)?;
        let rows: Vec<Vec<String>> = found
            .clamps
            .iter()
            .map(|c| vec![c.designator.clone(), ampere(c.amperes), ampere(c.allowed), volt(c.volts, 4)])
            .collect();
        let hottest = found.hottest.map(|(name, watts)| {
            format!("; {name} takes most power, {}", quantity(watts, icepoint_chain::quantity::Unit::Watt, 3))
        });
        let caption = format!("{} at the probe{}", volt(volts, 3), hottest.unwrap_or_default());
        tables.push(page::table(&caption, &columns, &rows));
    }
    let beyond = if most >= overvoltage::MOST { "at least " } else { "" };
    Ok(html! {
        h3 { "A voltage at the probe" }
        p {
            "Between the measuring junction and the board's ground the clamps withstand " (beyond) (volt(most, 3))
            " of either sign for long. The supplies must take the current that the clamps lead into them."
        }
        @for table in &tables { (table) }
        p {
            b { "This is about parts surviving, not about people." }
            " A thermocouple that touches the mains makes everything it is wired to live. Isolation, distances and approvals "
            "are for local codes and licensed practice."
        }
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
    let model = &s.design.model;
    let (mut above, mut below) = (true, true);
    let shown = |reading: f64| {
        if reading > hot {
            format!("above {}", celsius(hot))
        } else if reading < cold {
            format!("below {}", celsius(cold))
        } else {
            celsius(libm::round(reading))
        }
    };
    for board in super::bench::boards(low, high) {
        let (usual, worst) = (model.open_sensor(board)?, model.open_sensor_at_worst(board)?);
        for reading in [&usual, &worst] {
            above &= reading.celsius > hot;
            below &= reading.celsius < cold;
        }
        rows.push(vec![
            celsius(board),
            quantity(usual.output_volts, icepoint_chain::quantity::Unit::Volt, 4),
            shown(usual.celsius),
            quantity(worst.output_volts, icepoint_chain::quantity::Unit::Volt, 4),
            shown(worst.celsius),
        ]);
    }
    let columns = [
        Column::words("Board"),
        Column::words("Output, thermocouple broken"),
        Column::words("Reading"),
        Column::words("Output, worst board"),
        Column::words("Reading"),
    ];
    Ok(html! {
        h3 { "A broken thermocouple" }
        p {
            @if above {
                "With the loop open the reading of every board runs above the range. A controller of a heater then switches off; one of a "
                "cooler would " b { "run without end" } ". Firmware must treat anything above " (celsius(hot))
                " as a fault."
            } @else if below {
                "With the loop open the reading of every board runs below the range. A controller of a cooler then switches off; one of a "
                "heater would " b { "heat without end" } ". Firmware must treat anything below " (celsius(cold))
                " as a fault."
            } @else {
                b { "With the loop open the reading may stay within the range" } " on some board at some temperature: a break can't "
                "be told from a temperature there."
            }
        }
        p {
            "The worst board has every part at the end of its limits that brings a broken thermocouple nearest to the range: "
            "bias currents and leakage flow either way through whatever the loop leaves open."
        }
        (page::table("Open sensor", &columns, &rows))
        p {
            b { "This is no safety cut-out." }
            " It works only while the board itself does. What must switch off in any case needs its own sensor and its own "
            "switch."
        }
    })
}
