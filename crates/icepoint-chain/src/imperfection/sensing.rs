//! Compensation by parts of the circuit: spread of a junction's forward voltage, slope and ideality, of a thermistor's
//! resistance and beta, of a platinum resistor within its class, and how far each warms itself.
//!
//! The slope and bow of the whole network against the emf curve are not deviations but part of the nominal prediction.

use super::{
    Collector, Distribution, Effect, Family, Imperfection, Persistence, Removes, Source, SourceKind,
};
use crate::chain::Chain;
use crate::front_end::PartKind;
use crate::sensing::Figure;
use crate::wiring::Wiring;

pub(super) fn add(chain: &Chain, wiring: &Wiring, list: &mut Collector) {
    for (part, sensing) in wiring.sensing.iter().enumerate() {
        let name = sensing.name.as_str();
        let mut row = |id: &str, label: &str, distribution, unit, source: Source, removed_by, figure| {
            list.add(
                Imperfection {
                    id: format!("{name}.{id}"),
                    label: format!("{name} {label}"),
                    family: Family::Junction,
                    distribution,
                    unit,
                    source,
                    persistence: Persistence::Board,
                    removed_by,
                },
                Effect::Part { part, figure },
            );
        };
        let sheet = || Source::data_sheet(name);
        let limit = Distribution::Rectangular;
        match chain.front_end.part(name).map(|p| &p.kind) {
            Some(PartKind::Junction { figures: f, .. }) => {
                let nothing = Removes::NOTHING;
                row(
                    "forward",
                    "forward voltage",
                    limit(f.spread),
                    "V",
                    sheet(),
                    Removes::ZERO,
                    Figure::Volts,
                );
                row("slope", "slope", limit(f.slope_spread), "1", sheet(), nothing, Figure::Slope);
                let label = "ideality factor";
                row("ideality", label, limit(f.ideality_spread), "1", sheet(), nothing, Figure::Exponent);
            }
            Some(PartKind::Thermistor { figures: f, .. }) => {
                let label = "resistance at 25 °C";
                row("r25", label, limit(f.tolerance), "1", sheet(), Removes::ZERO, Figure::Ratio);
                let nothing = Removes::NOTHING;
                row("beta", "beta", limit(f.beta_tolerance), "1", sheet(), nothing, Figure::Exponent);
            }
            Some(PartKind::Platinum { figures: f, .. }) => {
                let source = Source::new(SourceKind::Standard, format!("IEC 60751 class {}", f.class.name()));
                let unit = "share of the limit";
                row("class", "platinum resistor", limit(1.0), unit, source, Removes::ZERO, Figure::Class);
            }
            _ => {}
        }
        // On the copper of the terminals it is less than in still air; nothing below zero.
        let heating = Distribution::OneSided(sensing.heating());
        row("heating", "warms itself", heating, "K/W", sheet(), Removes::ZERO, Figure::Heating);
    }
}
