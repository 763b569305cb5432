//! Adjustable resistors: tolerance and temperature coefficient of the track, the smallest step of the setting, and how
//! far the setting moves by itself.
//!
//! Where the wiper stands is no deviation: whoever adjusts the board chooses it. What is left over between the setting
//! wanted and the one reached, and what moves afterwards, comes after the adjustment.

use super::{Collector, Distribution, Effect, Family, Imperfection, Persistence, Removes, Source, Travel};
use crate::wiring::Wiring;

pub(super) fn add(wiring: &Wiring, list: &mut Collector) {
    for (part, place) in wiring.adjustable.iter().enumerate() {
        let (name, f) = (place.name.as_str(), place.figures);
        let mut row = |id: &str, label: &str, limit: f64, unit, travel, persistence| {
            let removed_by = if travel == Travel::Track { Removes::BOTH } else { Removes::NOTHING };
            list.add(
                Imperfection {
                    id: format!("{name}.{id}"),
                    label: format!("{name} {label}"),
                    family: Family::Resistor,
                    distribution: Distribution::Rectangular(limit),
                    unit,
                    source: Source::data_sheet(name),
                    persistence,
                    removed_by,
                },
                Effect::Adjustable { part, travel },
            );
        };
        let (board, later) = (Persistence::Board, Persistence::Later);
        row("track", "track, tolerance", f.tolerance, "1", Travel::Track, board);
        row("tempco", "track, temperature coefficient", f.tempco, "1/K", Travel::TrackPerKelvin, board);
        // Whoever turns it stops at the nearest of two steps.
        let step = 0.5 * f.resolution;
        row("resolution", "setting, smallest step", step, "share of the track", Travel::Setting, later);
        row(
            "stability",
            "setting, moves by itself",
            f.stability,
            "share of the track",
            Travel::Setting,
            later,
        );
    }
}
