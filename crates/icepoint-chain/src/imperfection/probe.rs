//! Thermocouple: tolerance class and drift.
//!
//! The class limit is correlated over temperature: one thermocouple whose wire runs high does so everywhere, so a
//! single deviation between −1 and 1 scales the whole limit (JCGM 100, F.1.2.3, on effects that are common to all
//! readings). The limit is on the temperature read against a reference junction at 0 °C; near the board's own
//! temperature, where the real deviation vanishes, this overstates it, which is the safe side.

use super::{
    Collector, Distribution, Effect, Family, Imperfection, Persistence, Removes, Source, SourceKind,
};
use crate::chain::{Chain, ProbeTolerance};

pub(super) fn add(chain: &Chain, list: &mut Collector) {
    let probe = &chain.probe;
    let (size, source) = match probe.tolerance {
        ProbeTolerance::Exact => (0.0, SourceKind::User),
        ProbeTolerance::Kelvin(k) => (if k == 0.0 { 0.0 } else { 1.0 }, SourceKind::User),
        ProbeTolerance::Class(_) => (1.0, SourceKind::Standard),
    };
    list.add(
        Imperfection {
            id: "probe.tolerance".into(),
            label: format!("type {} probe, {}", probe.letter.name(), probe.tolerance_text),
            family: Family::Probe,
            // A normal deviation within a certificate's limit: the limit is two standard deviations.
            distribution: if probe.normal {
                Distribution::Normal(0.5 * size)
            } else {
                Distribution::Rectangular(size)
            },
            unit: "share of the limit",
            source: Source::new(source, probe.tolerance_text.clone()),
            persistence: Persistence::Board,
            removed_by: removed(chain),
        },
        Effect::ProbeTolerance,
    );
    list.add(
        Imperfection {
            id: "probe.drift".into(),
            label: "probe drift until the next calibration".into(),
            family: Family::Probe,
            distribution: Distribution::Rectangular(probe.drift),
            unit: "K",
            source: Source::new(SourceKind::User, "probe.drift in the chain file"),
            persistence: Persistence::Later,
            removed_by: Removes::NOTHING,
        },
        Effect::ProbeDrift,
    );
}

/// Only a calibration that heats the probe itself takes its deviation away.
fn removed(chain: &Chain) -> Removes {
    match chain.plan.method {
        crate::chain::CalibrationMethod::KnownTemperature { .. } => Removes::BOTH,
        crate::chain::CalibrationMethod::MillivoltSource { .. } => Removes::NOTHING,
    }
}
