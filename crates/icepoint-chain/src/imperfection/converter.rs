//! Converter or voltmeter: quantisation, offset, gain, integral non-linearity, its own noise, and what two inputs bring:
//! their currents through the real source resistances, and the finite rejection of what they have in common.
//!
//! Quantisation is a deviation of half a step either way in place of a staircase, so that the model stays smooth.
//! The non-linearity differs from code to code: a calibration at one code says nothing of another, so it is drawn anew
//! for every reading.

use icepoint_circuit::Parameter;

use super::{
    Collector, Distribution, Effect, Family, Imperfection, Persistence, Removes, Source, SourceKind,
};
use crate::chain::{Chain, ConverterKind};
use crate::wiring::{CONVERTER_INPUTS, Wiring};

pub(super) fn add(chain: &Chain, wiring: &Wiring, list: &mut Collector) {
    let converter = &chain.converter;
    let device = match converter.kind {
        ConverterKind::Adc { .. } => "converter",
        ConverterKind::Voltmeter { .. } => "voltmeter",
    };
    let sheet = || Source::data_sheet(&format!("the {device}"));
    let mut row = |id: &str, label: &str, distribution, unit, source, persistence, removed_by, effect| {
        list.add(
            Imperfection {
                id: format!("converter.{id}"),
                label: format!("{device} {label}"),
                family: Family::Converter,
                distribution,
                unit,
                source,
                persistence,
                removed_by,
            },
            effect,
        );
    };
    let each = Persistence::Reading;
    let board = Persistence::Board;
    row(
        "quantisation",
        "quantisation",
        Distribution::Rectangular(0.5 * converter.step()),
        "V",
        Source::new(SourceKind::Computed, "half of one step"),
        each,
        Removes::NOTHING,
        Effect::ConverterVolts,
    );
    let limit = Distribution::Rectangular(converter.offset);
    row("offset", "offset", limit, "V", sheet(), board, Removes::ZERO, Effect::ConverterVolts);
    let limit = Distribution::Rectangular(converter.gain_error);
    row("gain", "gain error", limit, "1", sheet(), board, Removes::BOTH, Effect::ConverterGain);
    let limit = Distribution::Rectangular(converter.nonlinearity);
    let volts = || Effect::ConverterVolts;
    row("nonlinearity", "integral non-linearity", limit, "V", sheet(), each, Removes::NOTHING, volts());
    let n = crate::digital::averaged(chain.filter, chain.need.mains).max(1.0);
    let sigma = Distribution::Normal(converter.noise / n.sqrt());
    row("noise", "noise, after averaging", sigma, "V", sheet(), each, Removes::NOTHING, volts());
    let input = &converter.input;
    let inputs = |plus: f64, minus: f64| Effect::Parameters {
        slots: CONVERTER_INPUTS
            .iter()
            .zip([plus, minus])
            .filter_map(|(name, scale)| Some((wiring.slot(name, Parameter::Amperes)?, scale)))
            .collect(),
        per_kelvin: false,
    };
    let limit = Distribution::Rectangular(input.current);
    row("input_current", "input current", limit, "A", sheet(), board, Removes::ZERO, inputs(1.0, 1.0));
    if chain.front_end.ports.output_minus.is_some() {
        let limit = Distribution::Rectangular(input.current_difference);
        let label = "difference of the input currents";
        row("input_difference", label, limit, "A", sheet(), board, Removes::ZERO, inputs(0.5, -0.5));
        let limit = Distribution::Rectangular(1.0 / input.cmrr);
        let common = Effect::ConverterCommon;
        row("cmrr", "common-mode rejection", limit, "V/V", sheet(), board, Removes::BOTH, common);
    }
}
