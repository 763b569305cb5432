//! The schematic with values, and what its test points are.

use std::collections::BTreeMap;

use icepoint_chain::chain::{ConverterKind, JunctionMethod, JunctionSensor};
use icepoint_chain::front_end::PartKind;
use icepoint_chain::quantity::Unit;
use maud::{Markup, html};

use super::words::{quantity, sentence};
use super::{Pictures, Subject};
use crate::page::{self, Column};
use crate::schematic::{self, Rails};

pub(super) fn section(s: &Subject<'_>, pictures: &mut Pictures) -> Markup {
    let (values, rails) = (values(s), rails(s));
    let drawing = match s.design.resolved.blueprint.id.as_str() {
        // The drawings are laid out without it.
        _ if s.design.resolved.low_pass.is_some() => None,
        "single-amplifier" => Some(schematic::single_amplifier(&values, &rails)),
        "instrumentation" => Some(schematic::instrumentation(&values, &rails)),
        _ => None,
    };
    let title = sentence(&s.chain.front_end.title);
    let description = format!(
        "Values: {}. Test points: {}.",
        values.iter().map(|(d, v)| format!("{d} {v}")).collect::<Vec<_>>().join(", "),
        s.chain
            .front_end
            .test_points
            .iter()
            .map(|t| format!("{} {}", t.label, t.what))
            .collect::<Vec<_>>()
            .join(", ")
    );
    let picture = drawing.map(|drawing| drawing.draw("schematic-figure", &title, &description));
    let (all, open) = (s.design.resolved.blueprint.slots.len(), s.design.resolved.open.len());
    let caption = if open == all {
        format!("{title}. All {all} resistors and capacitors were left open and chosen.")
    } else {
        format!(
            "{title}. Of {all} resistors and capacitors {open} were left open and chosen; the others are fixed by the file \
             or equal to a twin."
        )
    };
    let columns = [Column::words("Test point"), Column::words("What is seen there")];
    let rows: Vec<Vec<String>> =
        s.chain.front_end.test_points.iter().map(|t| vec![t.label.clone(), t.what.clone()]).collect();
    html! {
        @match &picture {
            Some(picture) => (pictures.scrolling("schematic", &caption, picture)),
            None => { p { (caption) } (joined(s)) }
        }
        (page::table("Test points, measured against ground", &columns, &rows))
    }
}

/// Each part with the nodes it joins, for a circuit that no drawing was laid out for.
fn joined(s: &Subject<'_>) -> Markup {
    let columns = [Column::words("Part"), Column::words("Pins and nodes")];
    let elements = &s.design.resolved.blueprint.elements;
    let rows: Vec<Vec<String>> = elements
        .iter()
        .map(|e| {
            let pins = e.kind.pins();
            let pins = pins.iter().map(|(pin, node)| match *pin {
                "between.0" | "between.1" => (*node).to_owned(),
                "supply.0" => format!("V+ {node}"),
                "supply.1" => format!("V− {node}"),
                pin => format!("{pin} {node}"),
            });
            vec![e.designator.clone(), pins.collect::<Vec<_>>().join(", ")]
        })
        .collect();
    page::table("What each part joins", &columns, &rows)
}

/// Names of the rails with their voltages.
fn rails(s: &Subject<'_>) -> Rails {
    let around = &s.design.resolved.surroundings;
    let volts = |v: f64| quantity(v, Unit::Volt, 4);
    Rails {
        supply: volts(around.supply.0),
        negative: (around.negative.0 != 0.0).then(|| volts(around.negative.0)),
        reference: match around.reference {
            Some(PartKind::Reference { volts: v, .. }) => Some(format!("VREF {}", volts(v))),
            _ => None,
        },
    }
}

/// What stands beside each symbol.
fn values(s: &Subject<'_>) -> BTreeMap<String, String> {
    let mut map = BTreeMap::new();
    for part in &s.chain.front_end.parts {
        let text = match &part.kind {
            PartKind::Resistor { figures, .. } | PartKind::GainResistor { figures, .. } => {
                quantity(figures.ohms, Unit::Ohm, 4)
            }
            PartKind::Capacitor { farads, .. } => quantity(*farads, Unit::Farad, 3),
            PartKind::Operational { figures, .. } | PartKind::Instrumentation { figures, .. } => {
                figures.record.clone()
            }
            PartKind::TemperatureSensor { .. } => match s.chain.junction.method {
                JunctionMethod::Analog { slope, .. } => quantity(slope, Unit::VoltPerKelvin, 3),
                JunctionMethod::Measured(_) | JunctionMethod::InCircuit => continue,
            },
            PartKind::Junction { figures, .. } => quantity(figures.volts, Unit::Volt, 3),
            PartKind::Thermistor { figures, .. } => quantity(figures.r25, Unit::Ohm, 3),
            PartKind::Platinum { figures, .. } => format!("Pt{}", crate::number::plain(figures.ice_ohms)),
            PartKind::DetectionCurrent { figures, .. } => quantity(figures.amperes, Unit::Ampere, 3),
            PartKind::Clamp { .. } => continue,
            PartKind::Supply { .. } | PartKind::Reference { .. } => continue,
        };
        map.insert(part.designator.clone(), text);
    }
    if let JunctionMethod::Measured(sensor) = s.chain.junction.method {
        let text = match sensor {
            JunctionSensor::Digital => "digital",
            JunctionSensor::Thermistor { .. } => "thermistor",
            JunctionSensor::Platinum { .. } => "Pt100",
        };
        map.insert("U1".to_owned(), text.to_owned());
    }
    if let ConverterKind::Adc { bits, .. } = s.chain.converter.kind {
        map.insert("ADC".to_owned(), format!("{bits} bit"));
    }
    map
}
