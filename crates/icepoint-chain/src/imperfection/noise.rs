//! Noise: thermal, amplifier voltage and current noise, through the real bandwidth of the analog and digital filters.

use super::{
    Collector, Distribution, Effect, Family, Imperfection, Persistence, Removes, Source, SourceKind,
};
use crate::dynamics::Dynamics;

pub(super) fn add(dynamics: &Dynamics, list: &mut Collector) {
    list.add(
        Imperfection {
            id: "noise.circuit".into(),
            label: "noise of resistors and amplifiers".into(),
            family: Family::Noise,
            distribution: Distribution::Normal(dynamics.noise_rms),
            unit: "V",
            source: Source::new(SourceKind::Computed, "noise analysis of the circuit, 0.01 Hz upward"),
            persistence: Persistence::Reading,
            removed_by: Removes::NOTHING,
        },
        Effect::ConverterVolts,
    );
}
