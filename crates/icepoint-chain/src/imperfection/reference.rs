//! Supply and voltage reference: initial accuracy, drift, supply and load regulation.
//!
//! A converter that measures against the reference from which the signal is derived cancels it; nothing special is
//! done for that, since the reference is a node of the circuit and the converter divides by it.

use icepoint_circuit::Parameter;

use super::amplifier::supply_change;
use super::{
    Collector, Distribution, Effect, Family, Imperfection, Persistence, Removes, Source, SourceKind,
};
use crate::chain::Chain;
use crate::front_end::PartKind;
use crate::wiring::Wiring;

pub(super) fn add(chain: &Chain, wiring: &Wiring, list: &mut Collector) {
    for part in &chain.front_end.parts {
        let name = part.designator.as_str();
        let Some(slot) = wiring.slot(name, Parameter::Volts) else { continue };
        let mut row =
            |id: &str, label: String, distribution, unit, source: Source, removed_by, scale, per_kelvin| {
                // A supply moves with load and battery: a calibration catches only that day's, and what follows from it.
                let persistence =
                    if id.starts_with("supply") { Persistence::Occasion } else { Persistence::Board };
                list.add(
                    Imperfection {
                        id: format!("{name}.{id}"),
                        label,
                        family: Family::Reference,
                        distribution,
                        unit,
                        source,
                        persistence,
                        removed_by,
                    },
                    Effect::Parameters { slots: vec![(slot, scale)], per_kelvin },
                );
            };
        match part.kind {
            PartKind::Supply { volts, tolerance, .. } => {
                let limit = Distribution::Rectangular(tolerance);
                let source = Source::new(SourceKind::User, "supply in the chain file");
                row("supply", format!("{name} supply"), limit, "1", source, Removes::NOTHING, volts, false);
            }
            PartKind::Reference { volts, tolerance, drift, supply_regulation, load_regulation, .. } => {
                let sheet = || Source::data_sheet("the reference");
                let limit = Distribution::Rectangular(tolerance);
                row(
                    "initial",
                    format!("{name} initial accuracy"),
                    limit,
                    "1",
                    sheet(),
                    Removes::BOTH,
                    volts,
                    false,
                );
                let limit = Distribution::Rectangular(drift);
                row("drift", format!("{name} drift"), limit, "1/K", sheet(), Removes::NOTHING, volts, true);
                let limit = Distribution::Rectangular(supply_regulation * supply_change(chain));
                let label = format!("{name} over the supply's tolerance");
                row("supply_regulation", label, limit, "V", sheet(), Removes::NOTHING, 1.0, false);
                let limit = Distribution::Rectangular(load_regulation * wiring.reference_load(volts));
                let label = format!("{name} under its load");
                row("load_regulation", label, limit, "V", sheet(), Removes::BOTH, 1.0, false);
            }
            _ => {}
        }
    }
}
