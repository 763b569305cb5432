//! Mains pick-up: in series with the thermocouple, and common to both leads, turned into a difference by mismatch and
//! finite common-mode rejection; both after every filter.
//!
//! What a reading catches is a sine at any phase. The digital filter is judged at the worst line frequency within
//! ±1 % of the nominal one, where a mean over whole periods no longer cancels exactly. The harmonics that the pick-up
//! brings along count together, as one sine of the same power: what is left of them seldom matters.

use super::{
    Collector, Distribution, Effect, Family, Imperfection, Persistence, Removes, Source, SourceKind,
};
use crate::dynamics::MainsResidual;

pub(super) fn add(mains: &MainsResidual, list: &mut Collector) {
    let mut row = |id: &str, label: &str, amplitude: f64, text: &str| {
        list.add(
            Imperfection {
                id: format!("mains.{id}"),
                label: label.into(),
                family: Family::Mains,
                distribution: Distribution::Arcsine(amplitude),
                unit: "V",
                source: Source::new(SourceKind::User, text),
                persistence: Persistence::Reading,
                removed_by: Removes::NOTHING,
            },
            Effect::ConverterVolts,
        );
    };
    row("series", "mains in series with the thermocouple", mains.series_residual, "need.series_pickup");
    row("common", "mains common to both leads", mains.common_residual, "need.common_pickup");
    row("harmonics", "harmonics of the mains, both pick-ups", mains.harmonic_residual, "need.harmonics");
}
