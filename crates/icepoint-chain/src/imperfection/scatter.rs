//! Scatter that the repeats of this board's own calibration showed and the computed noise does not explain.

use super::{
    Collector, Distribution, Effect, Family, Imperfection, Persistence, Removes, Source, SourceKind,
};
use crate::chain::Chain;

pub(super) fn add(chain: &Chain, list: &mut Collector) {
    let scatter = chain.findings.as_ref().map_or(0.0, |f| f.scatter);
    list.add(
        Imperfection {
            id: SCATTER.into(),
            label: "scatter that the repeats showed beyond the model's noise".into(),
            family: Family::Noise,
            distribution: Distribution::Normal(scatter),
            unit: "V",
            source: Source::new(SourceKind::User, "repeated readings of this board's calibration"),
            persistence: Persistence::Reading,
            removed_by: Removes::NOTHING,
        },
        Effect::ConverterVolts,
    );
}

/// Its id, also where a calibration counts with it before it is written.
pub const SCATTER: &str = "noise.scatter";
