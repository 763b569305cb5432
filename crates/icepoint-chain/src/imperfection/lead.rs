//! Extension or compensating cable between the probe's head and the terminals.
//!
//! The standard limits the cable's emf deviation at any temperature of its range, not its course in between. It is
//! taken as proportional to the difference of its end temperatures up to the difference at which it reaches the
//! limit, half of the cable's upper temperature by default (common practice, no source); with both ends alike it is
//! zero, as physics demands.

use super::{
    Collector, Distribution, Effect, Family, Imperfection, Persistence, Removes, Source, SourceKind,
};
use crate::chain::Chain;

pub(super) fn add(chain: &Chain, list: &mut Collector) {
    let Some(lead) = &chain.lead else { return };
    if lead.tolerance == 0.0 {
        return;
    }
    list.add(
        Imperfection {
            id: "lead.tolerance".into(),
            label: format!("cable {}, ±{:.0} µV", lead.name, 1e6 * lead.tolerance),
            family: Family::Lead,
            distribution: Distribution::Rectangular(1.0),
            unit: "share of the limit",
            source: Source::new(SourceKind::Standard, format!("IEC 60584-3, {}", lead.name)),
            persistence: Persistence::Board,
            removed_by: Removes::NOTHING,
        },
        Effect::Lead,
    );
}
