//! What a circuit takes from the chain file: supplies, reference, figures of amplifiers and of parts.

use super::sections::sensing;
use crate::file::{self, ChainFile, PartValue};
use crate::front_end::{
    AdjustableFigures, AmplifierFigures, Blueprint, GainLaw, PartKind, ResistorFigures, Slot, SlotKind,
    Stated, Surroundings,
};
use crate::imperfection::SPECIFIED_AT;

/// Farthest that the board gets from the temperature at which parts are specified, K.
pub(super) fn reach(file: &ChainFile) -> f64 {
    let from = |celsius: f64| (celsius - SPECIFIED_AT).abs();
    from(file.need.board.high).max(from(file.need.board.low))
}

pub(super) fn surroundings(file: &ChainFile, blueprint: &Blueprint) -> Surroundings {
    let rail = |t: &crate::quantity::Toleranced| {
        (t.value, if t.value == 0.0 { 0.0 } else { t.half_width() / t.value.abs() })
    };
    let parts = &file.parts;
    let resistor = ResistorFigures {
        ohms: 0.0,
        tolerance: *parts.resistors.tolerance,
        tempco: *parts.resistors.tempco,
        ageing: *parts.resistors.ageing,
        network: None,
    };
    // The capacitor's value over the board's temperatures counts as part of its tolerance.
    let reach = reach(file);
    let drift = *parts.capacitors.tempco * reach;
    let mut resistor_for = std::collections::BTreeMap::new();
    let mut capacitor_for = std::collections::BTreeMap::new();
    let mut adjustable_for = std::collections::BTreeMap::new();
    let adjustable = file.trims.as_ref().map_or_else(AdjustableFigures::default, |t| AdjustableFigures {
        ohms: 0.0,
        tolerance: *t.tolerance,
        tempco: *t.tempco,
        resolution: *t.resolution,
        stability: *t.stability,
        end: *t.end_resistance,
    });
    for slot in &blueprint.slots {
        let name = &slot.designator;
        let own = stated_tolerance(file, slot);
        match slot.kind {
            SlotKind::Resistor if blueprint.adjustable().any(|trim| trim == name) => {
                let tempco = slot.tempco.unwrap_or(adjustable.tempco);
                let tolerance = own.unwrap_or(adjustable.tolerance);
                adjustable_for.insert(name.clone(), AdjustableFigures { tolerance, tempco, ..adjustable });
            }
            SlotKind::Resistor if own.is_some() || slot.tempco.is_some() => {
                let figures = ResistorFigures {
                    tolerance: own.unwrap_or(resistor.tolerance),
                    tempco: slot.tempco.unwrap_or(resistor.tempco),
                    ..resistor.clone()
                };
                resistor_for.insert(name.clone(), figures);
            }
            SlotKind::Capacitor => {
                if let Some(tolerance) = own {
                    capacitor_for.insert(name.clone(), tolerance + drift);
                }
            }
            SlotKind::Resistor => {}
        }
    }
    let reference = match &file.converter.kind {
        file::ConverterKind::Adc(adc) => {
            let (volts, tolerance) = rail(&adc.reference.value);
            Some(PartKind::Reference {
                node: "reference".into(),
                volts,
                tolerance,
                drift: *adc.reference_drift,
                supply_regulation: *adc.reference_supply_regulation,
                load_regulation: *adc.reference_load_regulation,
            })
        }
        file::ConverterKind::Voltmeter(_) => None,
    };
    // An own circuit need not name a signal amplifier: the one that drives the output is it.
    let main = file.record("amplifier").or_else(|| file.output_amplifier());
    let buffer = file.record("buffer").or(main);
    let span = match &file.converter.kind {
        file::ConverterKind::Adc(adc) => adc.reference.value.value,
        file::ConverterKind::Voltmeter(_) => file.supply.positive.value.value,
    };
    let records = blueprint
        .records()
        .into_iter()
        .filter(|(name, _)| !matches!(*name, "amplifier" | "buffer"))
        .filter_map(|(name, _)| file.record(name).map(|a| (name.to_owned(), (figures(a), gain_law(a, span)))))
        .collect();
    Surroundings {
        supply: rail(&file.supply.positive),
        negative: rail(&file.supply.negative),
        reference,
        amplifier: main.map(figures).unwrap_or_default(),
        gain_law: main.map(|m| gain_law(m, span)).unwrap_or_default(),
        buffer: buffer.map(figures).unwrap_or_default(),
        records,
        resistor,
        resistor_for,
        adjustable,
        adjustable_for,
        network: parts.resistors.network.as_ref().map(|n| (*n.tolerance, *n.tempco)),
        loose: std::collections::BTreeSet::new(),
        capacitor_tolerance: *parts.capacitors.tolerance + drift,
        capacitor_for,
        capacitor_tempco: *parts.capacitors.tempco,
        letter: *file.probe.letter,
        broken_sensor: *file.need.broken_sensor,
        sensing: sensing(file),
    }
}

pub(super) fn gain_law(amplifier: &file::Amplifier, span: f64) -> GainLaw {
    match &amplifier.kind {
        file::AmplifierKind::Instrumentation { gain_constant, gain_error, gain_drift, gain_nonlinearity } => {
            GainLaw {
                constant: **gain_constant,
                error: **gain_error,
                drift: **gain_drift,
                nonlinearity: **gain_nonlinearity * span,
            }
        }
        file::AmplifierKind::Operational { .. } => GainLaw::default(),
    }
}

pub(super) fn figures(a: &file::Amplifier) -> AmplifierFigures {
    AmplifierFigures {
        record: a.name.clone(),
        offset: match (&a.offset_max, &a.offset_typical) {
            (Some(max), _) => Stated::Max(max.value),
            (None, Some(typical)) => Stated::Typical(typical.value),
            (None, None) => Stated::Max(0.0),
        },
        offset_drift: Stated::Max(*a.offset_drift_max),
        bias: *a.bias_max,
        // Two independent currents: their difference has √2 of the standard uncertainty of one.
        offset_current: a.offset_current_max.as_ref().map_or(*a.bias_max * 2f64.sqrt(), |g| g.value),
        open_loop_gain: match &a.kind {
            file::AmplifierKind::Operational { open_loop_gain } => **open_loop_gain,
            file::AmplifierKind::Instrumentation { .. } => f64::INFINITY,
        },
        bandwidth: *a.bandwidth,
        cmrr: *a.cmrr,
        psrr: *a.psrr,
        noise: *a.noise,
        corner: *a.corner,
        current_noise: *a.current_noise,
        input_low: *a.input_low,
        input_high: *a.input_high,
        output_low: *a.output_low,
        output_high: *a.output_high,
    }
}

/// The tolerance that the file states for a part: in `[front_end.tolerance]`, beside its value, or in the circuit.
pub(super) fn stated_tolerance(file: &ChainFile, slot: &Slot) -> Option<f64> {
    let name = &slot.designator;
    let beside = file.front_end.values.get(name).and_then(|v| match &v.value {
        PartValue::Chosen { quantity, .. } if quantity.tolerance.is_some() && quantity.value > 0.0 => {
            Some(quantity.half_width() / quantity.value)
        }
        _ => None,
    });
    file.front_end.tolerance.get(name).map(|g| g.value).or(beside).or(slot.tolerance)
}
