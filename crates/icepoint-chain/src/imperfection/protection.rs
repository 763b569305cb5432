//! What guards the input and watches for a broken loop: leakage of clamps, and the detection current.
//!
//! **Leakage** is stated as a largest value at 25 °C and doubles in so many kelvins; it flows from cathode to anode, so
//! its sign is known but for a suppressor near 0 V. What it does follows from the resistances it meets in the circuit.
//! **Detection.** A current that always flows is part of the nominal circuit: through the loop and the resistors of the
//! input it is an offset, of which only its tolerance is not known. A pulsed one is off while a reading is taken; what is
//! left of it after the wait is a residue of the filters.

use icepoint_circuit::{CircuitError, Parameter};

use super::{
    Collector, Distribution, Effect, Family, Imperfection, Persistence, Removes, Source, SourceKind,
};
use crate::chain::Chain;
use crate::front_end::PartKind;
use crate::front_end::sensing::Pulse;
use crate::wiring::Wiring;

pub(super) fn add(chain: &Chain, wiring: &Wiring, list: &mut Collector) {
    for part in &chain.front_end.parts {
        let name = part.designator.as_str();
        let Some(slot) = wiring.slot(name, Parameter::Amperes) else { continue };
        match &part.kind {
            PartKind::Clamp { figures: f, .. } => {
                let distribution = if f.either_way {
                    Distribution::Rectangular(f.leakage)
                } else {
                    Distribution::OneSided(f.leakage)
                };
                list.add(
                    entry(name, "leakage", "leakage at 25 °C", distribution, "A"),
                    Effect::Leakage { slot, doubling: f.doubling },
                );
            }
            PartKind::DetectionCurrent { figures: f, .. } if f.pulse.is_none() => {
                list.add(
                    entry(name, "current", "detection current", Distribution::Rectangular(f.tolerance), "1"),
                    Effect::Parameters { slots: vec![(slot, f.amperes)], per_kelvin: false },
                );
            }
            _ => {}
        }
    }
}

fn entry(name: &str, id: &str, label: &str, distribution: Distribution, unit: &'static str) -> Imperfection {
    Imperfection {
        id: format!("{name}.{id}"),
        label: format!("{name} {label}"),
        family: Family::Protection,
        distribution,
        unit,
        source: Source::data_sheet(name),
        persistence: Persistence::Board,
        removed_by: Removes::ZERO,
    }
}

/// Samples of the step response behind a pulse.
const SAMPLES: usize = 200;

/// What a pulsed detection current leaves at the converter when a reading begins, V: the response to the pulse's
/// beginning less the response to its end.
pub(crate) fn residue(
    wiring: &Wiring,
    values: &[f64],
    slot: icepoint_circuit::ParameterId,
    amperes: f64,
    pulse: Pulse,
) -> Result<f64, CircuitError> {
    let at = |seconds: f64| -> Result<f64, CircuitError> {
        let response = wiring.circuit.step(values, slot, wiring.output, amperes, seconds, SAMPLES)?;
        Ok(response.volts.last().copied().unwrap_or(f64::NAN))
    };
    Ok(at(pulse.on + pulse.wait)? - at(pulse.wait)?)
}

/// Residues of pulsed currents, which need the circuit's response.
pub(super) fn add_residues(
    chain: &Chain,
    wiring: &Wiring,
    values: &[f64],
    list: &mut Collector,
) -> Result<(), CircuitError> {
    for part in &chain.front_end.parts {
        let PartKind::DetectionCurrent { figures: f, .. } = &part.kind else { continue };
        let name = part.designator.as_str();
        let (Some(pulse), Some(slot)) = (f.pulse, wiring.slot(name, Parameter::Amperes)) else { continue };
        // The first conversion after the wait sees most of it; later ones, and a mean, less.
        let volts = residue(wiring, values, slot, f.amperes * (1.0 + f.tolerance), pulse)?;
        let label = "residue of the detection pulse at the converter";
        let mut imperfection = entry(name, "residue", label, Distribution::OneSided(volts), "V");
        imperfection.source = Source::new(SourceKind::Computed, "step response over the pulse and the wait");
        list.add(imperfection, Effect::ConverterVolts);
    }
    Ok(())
}
