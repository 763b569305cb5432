//! Amplifiers: offset and its drift, bias and offset current, finite gain, common-mode and supply rejection, and the
//! gain of instrumentation amplifiers.
//!
//! Bias currents act through the real source resistances, since the circuit is solved with them. Supply rejection is
//! the change of offset over the supply's own tolerance: the product of two deviations, so its limit is formed here.

use icepoint_circuit::Parameter;

use super::{Collector, Distribution, Effect, Family, Imperfection, Persistence, Removes, Source};
use crate::chain::Chain;
use crate::front_end::{AmplifierFigures, PartKind, Stated};
use crate::wiring::Wiring;

fn distribution(stated: Stated) -> Distribution {
    match stated {
        Stated::Max(limit) => Distribution::Rectangular(limit),
        Stated::Typical(typical) => Distribution::Normal(typical),
    }
}

pub(super) fn add(chain: &Chain, wiring: &Wiring, list: &mut Collector) {
    for part in &chain.front_end.parts {
        let name = part.designator.as_str();
        match &part.kind {
            PartKind::Operational { figures, .. } => {
                common(chain, wiring, list, name, figures);
                if let Some(slot) = wiring.slot(name, Parameter::InverseGain) {
                    one(
                        list,
                        name,
                        figures,
                        ("open_loop_gain", "finite open-loop gain"),
                        Distribution::OneSided(1.0 / figures.open_loop_gain),
                        "1",
                        Removes::SPAN,
                        Effect::Parameters { slots: vec![(slot, 1.0)], per_kelvin: false },
                    );
                }
            }
            PartKind::Instrumentation { figures, gain_error, gain_drift, gain_nonlinearity, .. } => {
                common(chain, wiring, list, name, figures);
                let Some(amplifier) = wiring.gain_stage(name) else { continue };
                one(
                    list,
                    name,
                    figures,
                    ("gain_error", "gain error besides its resistor"),
                    Distribution::Rectangular(*gain_error),
                    "1",
                    Removes::BOTH,
                    Effect::Gain { amplifier, per_kelvin: false },
                );
                one(
                    list,
                    name,
                    figures,
                    ("gain_drift", "gain drift besides its resistor"),
                    Distribution::Rectangular(*gain_drift),
                    "1/K",
                    Removes::NOTHING,
                    Effect::Gain { amplifier, per_kelvin: true },
                );
                list.add(
                    Imperfection {
                        id: format!("{name}.gain_nonlinearity"),
                        label: format!("{name} non-linearity, at the converter"),
                        family: Family::Amplifier,
                        distribution: Distribution::Rectangular(*gain_nonlinearity),
                        unit: "V",
                        source: Source::data_sheet(&figures.record),
                        // Its shape is not known: what it is at one voltage says nothing of another.
                        persistence: Persistence::Reading,
                        removed_by: Removes::NOTHING,
                    },
                    Effect::ConverterVolts,
                );
            }
            _ => {}
        }
    }
}

#[allow(clippy::too_many_arguments, reason = "one row of the list, spelled out at each call")]
fn one(
    list: &mut Collector,
    name: &str,
    figures: &AmplifierFigures,
    (id, label): (&str, &str),
    distribution: Distribution,
    unit: &'static str,
    removed_by: Removes,
    effect: Effect,
) {
    list.add(
        Imperfection {
            id: format!("{name}.{id}"),
            label: format!("{name} {label}"),
            family: Family::Amplifier,
            distribution,
            unit,
            source: Source::data_sheet(&figures.record),
            // The supply is one when the board is calibrated and another when it is used.
            persistence: if id == "psrr" { Persistence::Occasion } else { Persistence::Board },
            removed_by,
        },
        effect,
    );
}

fn common(chain: &Chain, wiring: &Wiring, list: &mut Collector, name: &str, figures: &AmplifierFigures) {
    let parameters = |slots: Vec<(Parameter, f64)>, per_kelvin| Effect::Parameters {
        slots: slots.into_iter().filter_map(|(p, scale)| Some((wiring.slot(name, p)?, scale))).collect(),
        per_kelvin,
    };
    let offset = |per_kelvin| parameters(vec![(Parameter::Offset, 1.0)], per_kelvin);
    let bias = |plus: f64, minus: f64| {
        parameters(vec![(Parameter::BiasPlus, plus), (Parameter::BiasMinus, minus)], false)
    };
    let mut row = |id, label, d, unit, removed, effect| {
        one(list, name, figures, (id, label), d, unit, removed, effect);
    };
    row("offset", "offset voltage", distribution(figures.offset), "V", Removes::ZERO, offset(false));
    let drift = distribution(figures.offset_drift);
    row("offset_drift", "offset drift", drift, "V/K", Removes::NOTHING, offset(true));
    let limit = Distribution::Rectangular(figures.bias);
    row("bias", "bias current", limit, "A", Removes::ZERO, bias(1.0, 1.0));
    let limit = Distribution::Rectangular(figures.offset_current);
    row("offset_current", "offset current", limit, "A", Removes::ZERO, bias(0.5, -0.5));
    let limit = Distribution::Rectangular(1.0 / figures.cmrr);
    let cmrr = parameters(vec![(Parameter::InverseCmrr, 1.0)], false);
    row("cmrr", "common-mode rejection", limit, "1", Removes::BOTH, cmrr);
    let limit = Distribution::Rectangular(supply_change(chain) / figures.psrr);
    row("psrr", "supply rejection over the supply's tolerance", limit, "V", Removes::NOTHING, offset(false));
}

/// Largest change of the supply between the rails, V.
pub(super) fn supply_change(chain: &Chain) -> f64 {
    chain
        .front_end
        .parts
        .iter()
        .map(|p| {
            if let PartKind::Supply { volts, tolerance, .. } = p.kind {
                (volts * tolerance).abs()
            } else {
                0.0
            }
        })
        .sum()
}
