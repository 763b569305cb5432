//! The schematic with values, and what its test points are.

use std::collections::BTreeMap;

use icepoint_chain::chain::{ConverterKind, JunctionMethod, JunctionSensor};
use icepoint_chain::front_end::PartKind;
use icepoint_chain::quantity::Unit;
use maud::{Markup, html};

use super::words::{quantity, sentence};
use super::{Pictures, Subject};
use crate::page::{self, Column};
use crate::schematic::{self, Words};

pub(super) fn section(s: &Subject<'_>, pictures: &mut Pictures) -> Markup {
    let words = words(s);
    let drawing = schematic::automatic(&s.chain.front_end, &words);
    let title = sentence(&s.chain.front_end.title);
    let description = format!(
        "Values: {}. Test points: {}.",
        words.values.iter().map(|(d, v)| format!("{d} {v}")).collect::<Vec<_>>().join(", "),
        s.chain
            .front_end
            .test_points
            .iter()
            .map(|t| format!("{} {}", t.label, t.what))
            .collect::<Vec<_>>()
            .join(", ")
    );
    let picture = drawing.draw("schematic-figure", &title, &description);
    let resolved = &s.design.resolved;
    let (all, open) = (resolved.blueprint.slots.len(), resolved.open.len() + resolved.open_tracks.len());
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
        (pictures.scrolling("schematic", &caption, &picture))
        (page::table("Test points, measured against ground", &columns, &rows))
    }
}

/// What stands around the circuit and in its texts.
fn words(s: &Subject<'_>) -> Words {
    let sensor = match s.chain.junction.method {
        JunctionMethod::Measured(JunctionSensor::Digital) => Some("digital"),
        JunctionMethod::Measured(JunctionSensor::Thermistor { .. }) => Some("thermistor"),
        JunctionMethod::Measured(JunctionSensor::Platinum { .. }) => Some("Pt100"),
        JunctionMethod::Analog { .. } | JunctionMethod::InCircuit => None,
    };
    let converter = match s.chain.converter.kind {
        ConverterKind::Adc { bits, .. } => Some(format!("{bits} bit")),
        ConverterKind::Voltmeter { .. } => None,
    };
    // Slots that follow another one's value, told where the value itself could be taken for chance.
    let slots = &s.design.resolved.blueprint.slots;
    let equal: Vec<String> = slots
        .iter()
        .filter_map(|slot| {
            let tie = slot.tie.as_ref().filter(|t| t.ratio == 1.0)?;
            Some(format!("{} = {}", slot.designator, tie.to))
        })
        .collect();
    Words {
        values: values(s),
        thermocouple: format!("type {}", s.chain.probe.letter.name()),
        lead: s.chain.lead.as_ref().map(|_| "lead".to_owned()),
        converter,
        sensor: sensor.map(str::to_owned),
        taps: schematic::taps(&s.design.resolved.blueprint, &s.design.resolved.surroundings),
        notes: if equal.is_empty() { Vec::new() } else { vec![format!("Equal: {}", equal.join(", "))] },
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
            PartKind::Adjustable { figures, .. } | PartKind::AdjustableGain { figures, .. } => {
                quantity(figures.ohms, Unit::Ohm, 3)
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
            PartKind::Clamp { .. } => "clamp".to_owned(),
            PartKind::Supply { volts, .. } | PartKind::Reference { volts, .. } => {
                quantity(*volts, Unit::Volt, 4)
            }
        };
        map.insert(part.designator.clone(), text);
    }
    map
}
