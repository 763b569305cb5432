//! Converter or voltmeter: quantisation, offset, gain, integral non-linearity and its own noise.
//!
//! Quantisation is a deviation of half a step either way in place of a staircase, so that the model stays smooth.
//! The non-linearity differs from code to code: a calibration at one code says nothing of another, so it is drawn anew
//! for every reading.

use super::{
    Collector, Distribution, Effect, Family, Imperfection, Persistence, Removes, Source, SourceKind,
};
use crate::chain::{Chain, ConverterKind};

pub(super) fn add(chain: &Chain, list: &mut Collector) {
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
}
