//! The parts list: equal parts in one row, the way people order them; and the same as CSV.

use icepoint_chain::chain::{ConverterKind, JunctionMethod, JunctionSensor};
use icepoint_chain::drawer::DrawerPart;
use icepoint_chain::file::{ChainFile, PartValue};
use icepoint_chain::front_end::{AmplifierFigures, Part, PartKind, SlotKind, Stated};
use icepoint_chain::model::probe_limit;
use icepoint_chain::quantity::Unit;
use icepoint_design::{Design, search};
use maud::{Markup, html};

use super::Subject;
use super::words::{NBSP, celsius, plain_kelvin, quantity, sentence};
use crate::page::{self, Column};

/// One row: parts that are ordered as one item.
#[derive(Clone, Debug, PartialEq)]
struct Row {
    designators: Vec<String>,
    what: &'static str,
    value: String,
    tolerance: String,
    tempco: String,
    purposes: Vec<String>,
}

impl Row {
    fn purpose(&self) -> String {
        self.purposes.join("; ")
    }
}

/// The parts list as CSV (RFC 4180): a header, then a row for each kind of part.
#[must_use]
pub fn parts_csv(file: &ChainFile, design: &Design) -> String {
    let mut writer = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(Vec::new());
    let header = ["designators", "count", "part", "value", "tolerance", "temperature coefficient", "purpose"];
    let mut written = writer.write_record(header);
    for row in rows(&Subject::new(file, design)) {
        let plain = |text: &str| text.replace(NBSP, " ");
        let count = row.designators.len().to_string();
        written = written.and_then(|()| {
            writer.write_record([
                row.designators.join(" "),
                count,
                row.what.to_owned(),
                plain(&row.value),
                plain(&row.tolerance),
                plain(&row.tempco),
                plain(&row.purpose()),
            ])
        });
    }
    // Writing into memory can't fail; were it otherwise, an empty list is better than half of one.
    match (written, writer.into_inner()) {
        (Ok(()), Ok(bytes)) => String::from_utf8(bytes).unwrap_or_default(),
        _ => String::new(),
    }
}

pub(super) fn section(s: &Subject<'_>) -> Markup {
    let columns = [
        Column::words("Designators"),
        Column::numbers("Count", ""),
        Column::words("Part"),
        Column::words("Value"),
        Column::words("Tolerance"),
        Column::words("Temperature coefficient"),
        Column::words("Purpose"),
    ];
    let rows = rows(s);
    let cells: Vec<Vec<String>> = rows
        .iter()
        .map(|r| {
            vec![
                r.designators.join(", "),
                r.designators.len().to_string(),
                r.what.to_owned(),
                r.value.clone(),
                r.tolerance.clone(),
                r.tempco.clone(),
                sentence(&r.purpose()),
            ]
        })
        .collect();
    html! {
        (page::table("Everything on the board that the model knows, and the sensor before it", &columns, &cells))
        (records(s))
        p {
            "Not in the model and needed all the same: a ceramic capacitor of 100" (NBSP) "nF from supply to ground "
            "beside each amplifier and the converter, and terminals of the thermocouple's own metals or of copper, both "
            "at the same temperature as the sensor (common practice, no source)."
        }
    }
}

/// Rows in the order of the circuit, equal parts joined at the first of them.
fn rows(s: &Subject<'_>) -> Vec<Row> {
    let mut rows: Vec<Row> = Vec::new();
    for part in &s.chain.front_end.parts {
        let Some(row) = row(s, part) else { continue };
        let same = |r: &&mut Row| {
            (r.what, &r.value, &r.tolerance, &r.tempco) == (row.what, &row.value, &row.tolerance, &row.tempco)
        };
        match rows.iter_mut().find(same) {
            Some(first) => {
                first.designators.extend(row.designators);
                first.purposes.extend(row.purposes);
            }
            None => rows.push(row),
        }
    }
    rows.extend(around(s));
    // Resistors, capacitors, then the rest as they come.
    let order = |r: &Row| match r.what {
        "resistor" => 0,
        "capacitor" => 1,
        _ => 2,
    };
    rows.sort_by_key(order);
    rows
}

/// Tolerance (relative) and temperature coefficient (1/K) of a capacitor of which the model has the limit over the board's
/// range, both in one: those of the drawer's line that makes this limit, else what the chain file says of it, or of all.
fn capacitor(s: &Subject<'_>, designator: &str, farads: f64, limit: f64) -> (f64, f64) {
    let reach = search::reach(&s.design.resolved);
    let is_it = |part: &&DrawerPart| {
        (part.value / farads - 1.0).abs() < 1e-9
            && (part.tolerance + part.tempco * reach - limit).abs() < 1e-9
    };
    let drawer = s.design.resolved.drawer.as_ref();
    if let Some(line) = drawer.and_then(|drawer| drawer.of_kind(SlotKind::Capacitor).find(is_it)) {
        return (line.tolerance, line.tempco);
    }
    let given = &s.file.front_end;
    let own = given.tolerance.get(designator).map(|g| g.value);
    let beside = given.values.get(designator).and_then(|v| match &v.value {
        PartValue::Chosen { quantity, .. } if quantity.tolerance.is_some() => {
            Some(quantity.half_width() / quantity.value)
        }
        _ => None,
    });
    let usual = &s.file.parts.capacitors;
    (own.or(beside).unwrap_or(*usual.tolerance), *usual.tempco)
}

fn row(s: &Subject<'_>, part: &Part) -> Option<Row> {
    let single = |what, value: String, tolerance: String, tempco: String| Row {
        designators: vec![part.designator.clone()],
        what,
        value,
        tolerance,
        tempco,
        purposes: vec![part.purpose.clone()],
    };
    let plus_minus =
        |ratio: f64| if ratio > 0.0 { format!("±{}", super::words::ratio(ratio)) } else { String::new() };
    let per_kelvin =
        |x: f64| if x > 0.0 { format!("±{}", quantity(x, Unit::PerKelvin, 3)) } else { String::new() };
    Some(match &part.kind {
        PartKind::Resistor { figures, .. } | PartKind::GainResistor { figures, .. } => {
            let mut row = single(
                "resistor",
                quantity(figures.ohms, Unit::Ohm, 6),
                plus_minus(figures.tolerance),
                per_kelvin(figures.tempco),
            );
            if let Some(network) = &figures.network {
                row.tolerance = format!("{}, in network {}", row.tolerance, network.name);
            }
            row
        }
        PartKind::Capacitor { farads, tolerance, .. } => {
            let (tolerance, tempco) = capacitor(s, &part.designator, *farads, *tolerance);
            // Capacitors are sold by a change over a range; per kelvin it is a per cent figure.
            let tempco =
                if tempco > 0.0 { format!("±{}/K", super::words::ratio(tempco)) } else { String::new() };
            single("capacitor", quantity(*farads, Unit::Farad, 6), plus_minus(tolerance), tempco)
        }
        PartKind::Adjustable { figures, .. } | PartKind::AdjustableGain { figures, .. } => single(
            "adjustable resistor",
            quantity(figures.ohms, Unit::Ohm, 6),
            plus_minus(figures.tolerance),
            per_kelvin(figures.tempco),
        ),
        PartKind::Operational { figures, .. } => single(
            "operational amplifier",
            format!("record “{}”", figures.record),
            String::new(),
            String::new(),
        ),
        PartKind::Instrumentation { figures, .. } => single(
            "instrumentation amplifier",
            format!("record “{}”", figures.record),
            String::new(),
            String::new(),
        ),
        PartKind::Reference { volts, tolerance, drift, .. } => single(
            "voltage reference",
            quantity(*volts, Unit::Volt, 4),
            plus_minus(*tolerance),
            per_kelvin(*drift),
        ),
        PartKind::TemperatureSensor { .. } => {
            let value = match s.chain.junction.method {
                JunctionMethod::Analog { slope, .. } => quantity(slope, Unit::VoltPerKelvin, 3),
                JunctionMethod::Measured(_) | JunctionMethod::InCircuit => String::new(),
            };
            single(
                "temperature sensor",
                value,
                format!("±{}", plain_kelvin(s.chain.junction.accuracy)),
                String::new(),
            )
        }
        PartKind::Junction { figures: f, .. } => single(
            "silicon junction",
            format!("{} at {}", quantity(f.volts, Unit::Volt, 3), quantity(f.amperes, Unit::Ampere, 3)),
            format!("±{}", quantity(f.spread, Unit::Volt, 2)),
            String::new(),
        ),
        PartKind::Thermistor { figures: f, .. } => single(
            "thermistor",
            format!("{}, beta {} K", quantity(f.r25, Unit::Ohm, 3), crate::number::plain(f.beta)),
            plus_minus(f.tolerance),
            String::new(),
        ),
        PartKind::Platinum { figures: f, .. } => single(
            "platinum resistor",
            format!("{} at 0 °C", quantity(f.ice_ohms, Unit::Ohm, 4)),
            format!("class {}", f.class.name()),
            String::new(),
        ),
        PartKind::Clamp { figures: f, .. } => single(
            "clamp",
            format!("leakage {} at most", quantity(f.leakage, Unit::Ampere, 2)),
            String::new(),
            String::new(),
        ),
        PartKind::DetectionCurrent { figures: f, .. } => single(
            "current source",
            quantity(f.amperes, Unit::Ampere, 3),
            plus_minus(f.tolerance),
            String::new(),
        ),
        PartKind::Supply { .. } => return None,
    })
}

/// What is not part of the circuit's list: junction sensor, converter, probe, cable.
fn around(s: &Subject<'_>) -> Vec<Row> {
    let row = |designator: &str, what, value: String, tolerance: String, purpose: &str| Row {
        designators: vec![designator.to_owned()],
        what,
        value,
        tolerance,
        tempco: String::new(),
        purposes: vec![purpose.to_owned()],
    };
    let accuracy = format!("±{}", plain_kelvin(s.chain.junction.accuracy));
    let purpose = "tells the temperature of the terminals";
    let mut rows = Vec::new();
    if let JunctionMethod::Measured(sensor) = s.chain.junction.method {
        let (value, arm) = match sensor {
            JunctionSensor::Digital => ("digital, gives degrees".to_owned(), None),
            JunctionSensor::Thermistor { r25, beta, divider, .. } => (
                format!(
                    "thermistor {}, beta {}{NBSP}K",
                    quantity(r25, Unit::Ohm, 3),
                    crate::number::plain(beta)
                ),
                Some(divider),
            ),
            JunctionSensor::Platinum { class, divider } => {
                (format!("platinum, 100{NBSP}Ω at 0{NBSP}°C, class {}", class.name()), Some(divider))
            }
        };
        rows.push(row("U1", "temperature sensor", value, accuracy, purpose));
        if let Some(divider) = arm {
            let mut fixed = row(
                "RS",
                "resistor",
                quantity(divider.ohms, Unit::Ohm, 6),
                format!("±{}", super::words::ratio(divider.tolerance)),
                "fixed arm of the sensor's divider",
            );
            fixed.tempco = format!("±{}", quantity(divider.tempco, Unit::PerKelvin, 3));
            rows.push(fixed);
        }
    }
    match s.chain.converter.kind {
        ConverterKind::Adc { bits, .. } => {
            let gain = format!("gain ±{}", super::words::ratio(s.chain.converter.gain_error));
            rows.push(row("ADC", "converter", format!("{bits} bit"), gain, "turns the output into codes"));
        }
        ConverterKind::Voltmeter { .. } => {}
    }
    let probe = &s.chain.probe;
    let junction = if probe.grounded { "grounded" } else { "insulated" };
    let value = format!("type {}, {junction}, {}", probe.letter.name(), probe.tolerance_text);
    let (low, high) = s.chain.need.hot;
    let far = if low.abs() > high.abs() { low } else { high };
    let limit = probe_limit(probe.letter, probe.tolerance, far);
    let limit =
        if limit > 0.0 { format!("±{} at {}", plain_kelvin(limit), celsius(far)) } else { String::new() };
    rows.push(row("TC", "thermocouple", value, limit, "measuring junction"));
    if let (Some(lead), Some(given)) = (&s.chain.lead, &s.file.lead) {
        let limit = if lead.tolerance > 0.0 {
            format!("±{}", quantity(lead.tolerance, Unit::Volt, 3))
        } else {
            String::new()
        };
        let value = format!("{}, {}", lead.name, quantity(*given.length, Unit::Metre, 3));
        rows.push(row("W1", "cable", value, limit, "from the probe's head to the terminals"));
    }
    rows
}

/// Amplifier records, one column each: what to look for in a data sheet.
fn records(s: &Subject<'_>) -> Markup {
    let mut seen: Vec<(&str, Vec<&str>, &AmplifierFigures)> = Vec::new();
    for part in &s.chain.front_end.parts {
        let (PartKind::Operational { figures, .. } | PartKind::Instrumentation { figures, .. }) = &part.kind
        else {
            continue;
        };
        match seen.iter_mut().find(|(record, ..)| *record == figures.record) {
            Some((_, designators, _)) => designators.push(&part.designator),
            None => seen.push((&figures.record, vec![&part.designator], figures)),
        }
    }
    let mut columns = vec![Column::words("Figure")];
    columns
        .extend(seen.iter().map(|(record, d, _)| Column::words(&format!("{} (“{record}”)", d.join(", ")))));
    let stated = |x: Stated, unit| match x {
        Stated::Max(v) => format!("≤ {}", quantity(v, unit, 3)),
        Stated::Typical(v) => format!("{} typical", quantity(v, unit, 3)),
    };
    type Pick<'a> = (&'static str, &'a dyn Fn(&AmplifierFigures) -> String);
    let from = |v: f64, inside: &str, outside: &str, rail: &str| match v {
        v if !v.is_finite() => format!("beyond the {rail} rail"),
        0.0 => format!("the {rail} rail"),
        v => format!(
            "{} {} the {rail} rail",
            quantity(v.abs(), Unit::Volt, 3),
            if v > 0.0 { inside } else { outside }
        ),
    };
    let above = |v: f64| from(v, "above", "below", "negative");
    let below = |v: f64| from(v, "below", "above", "positive");
    let lines: [Pick<'_>; 14] = [
        ("Offset", &|f| stated(f.offset, Unit::Volt)),
        ("Offset drift", &|f| format!("{}/K", stated(f.offset_drift, Unit::Volt))),
        ("Bias current", &|f| format!("≤ {}", quantity(f.bias, Unit::Ampere, 3))),
        ("Offset current", &|f| format!("≤ {}", quantity(f.offset_current, Unit::Ampere, 3))),
        ("Open-loop gain", &|f| {
            if f.open_loop_gain.is_finite() {
                format!("≥ {}", quantity(f.open_loop_gain, Unit::Decibel, 4))
            } else {
                "–".into()
            }
        }),
        ("Bandwidth", &|f| quantity(f.bandwidth, Unit::Hertz, 3)),
        ("Common-mode rejection", &|f| format!("≥ {}", quantity(f.cmrr, Unit::Decibel, 4))),
        ("Supply rejection", &|f| format!("≥ {}", quantity(f.psrr, Unit::Decibel, 4))),
        ("Voltage noise", &|f| quantity(f.noise, Unit::VoltPerRootHertz, 3)),
        ("Noise corner", &|f| quantity(f.corner, Unit::Hertz, 3)),
        ("Current noise", &|f| quantity(f.current_noise, Unit::AmperePerRootHertz, 3)),
        ("Input range", &|f| format!("{} to {}", above(f.input_low), below(f.input_high))),
        ("Output low", &|f| above(f.output_low)),
        ("Output high", &|f| below(f.output_high)),
    ];
    let rows: Vec<Vec<String>> = lines
        .iter()
        .map(|(name, pick)| {
            std::iter::once((*name).to_owned())
                .chain(seen.iter().map(|(.., figures)| pick(figures)))
                .collect()
        })
        .collect();
    html! { (page::table("Amplifier records: figures that the part in hand must keep", &columns, &rows)) }
}
