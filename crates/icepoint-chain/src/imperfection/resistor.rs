//! Resistors: tolerance, temperature coefficient, ageing, and tracking inside a network.
//!
//! Resistors of one network share one deviation and one temperature coefficient within the part's limits; what each
//! adds of its own is the network's tracking figure. Resistors from the reel are independent.

use std::collections::BTreeMap;

use icepoint_circuit::ParameterId;

use super::{
    Collector, Distribution, Effect, Family, Imperfection, Persistence, Removes, Source, SourceKind,
};
use crate::chain::Chain;
use crate::front_end::ResistorFigures;
use crate::wiring::Wiring;

/// What a relative change of one resistor alters.
#[derive(Clone)]
enum Place {
    Slot(ParameterId, f64),
    Gain(usize),
}

fn effect(places: &[Place], per_kelvin: bool) -> Effect {
    let slots: Vec<_> = places
        .iter()
        .filter_map(|p| if let Place::Slot(id, ohms) = p { Some((*id, *ohms)) } else { None })
        .collect();
    let amplifiers: Vec<_> =
        places.iter().filter_map(|p| if let Place::Gain(a) = p { Some(*a) } else { None }).collect();
    match (slots.is_empty(), amplifiers.is_empty()) {
        (_, true) => Effect::Parameters { slots, per_kelvin },
        (true, false) => Effect::GainResistor { amplifiers, per_kelvin },
        (false, false) => Effect::Several(vec![
            Effect::Parameters { slots, per_kelvin },
            Effect::GainResistor { amplifiers, per_kelvin },
        ]),
    }
}

pub(super) fn add(chain: &Chain, wiring: &Wiring, list: &mut Collector) {
    let mut networks: BTreeMap<&str, (Vec<Place>, Vec<&str>, &ResistorFigures)> = BTreeMap::new();
    for part in &chain.front_end.parts {
        let Some(figures) = part.kind.resistor() else { continue };
        let name = part.designator.as_str();
        let place = match wiring.gain_of(name) {
            Some(amplifier) => Place::Gain(amplifier),
            None => match wiring.resistor(name) {
                Some(slot) => Place::Slot(slot, figures.ohms),
                None => continue,
            },
        };
        let own = std::slice::from_ref(&place);
        match &figures.network {
            None => {
                add_limits(list, name, name, own, figures.tolerance, figures.tempco);
            }
            Some(network) => {
                let entry = networks.entry(&network.name).or_insert((Vec::new(), Vec::new(), figures));
                entry.0.push(place.clone());
                entry.1.push(name);
                let label = format!("{name} within network {}", network.name);
                add_limits(list, name, &label, own, network.tolerance, network.tempco);
            }
        }
        add_one(list, format!("{name}.ageing"), format!("{name} over the years"), figures.ageing, "1", {
            effect(own, false)
        });
    }
    for (network, (places, members, figures)) in &networks {
        let label = format!("network {network} ({}) as a whole", members.join(", "));
        add_limits(list, network, &label, places, figures.tolerance, figures.tempco);
    }
}

fn add_limits(list: &mut Collector, id: &str, label: &str, places: &[Place], tolerance: f64, tempco: f64) {
    let text = format!("{label}, tolerance");
    add_one(list, format!("{id}.tolerance"), text, tolerance, "1", effect(places, false));
    let text = format!("{label}, temperature coefficient");
    add_one(list, format!("{id}.tempco"), text, tempco, "1/K", effect(places, true));
}

fn add_one(list: &mut Collector, id: String, label: String, limit: f64, unit: &'static str, effect: Effect) {
    let removed_by = if id.ends_with(".tolerance") { Removes::BOTH } else { Removes::NOTHING };
    let persistence = if id.ends_with(".ageing") { Persistence::Later } else { Persistence::Board };
    list.add(
        Imperfection {
            id,
            label,
            family: Family::Resistor,
            distribution: Distribution::Rectangular(limit),
            unit,
            source: Source::new(SourceKind::DataSheet, "series or data sheet of the resistor"),
            persistence,
            removed_by,
        },
        effect,
    );
}
