//! The built-in front ends: texts in the language of the chain file's `[circuit]` section, read by the same reader.

use std::sync::OnceLock;

use super::Blueprint;

/// Identifier and text of each, in the order in which messages list them. The text can be pasted into a chain file and
/// altered there.
pub const TEXTS: &[(&str, &str)] = &[
    ("single-amplifier", include_str!("library/single-amplifier.toml")),
    ("instrumentation", include_str!("library/instrumentation.toml")),
    ("instrumentation-compensated", include_str!("library/instrumentation-compensated.toml")),
    ("pedestal-amplifier", include_str!("library/pedestal-amplifier.toml")),
    ("split-supply-amplifier", include_str!("library/split-supply-amplifier.toml")),
    ("split-supply-instrumentation", include_str!("library/split-supply-instrumentation.toml")),
    ("difference-amplifier", include_str!("library/difference-amplifier.toml")),
    ("two-amplifier-instrumentation", include_str!("library/two-amplifier-instrumentation.toml")),
    ("three-amplifier-instrumentation", include_str!("library/three-amplifier-instrumentation.toml")),
    ("diode-compensation", include_str!("library/diode-compensation.toml")),
    ("thermistor-bridge", include_str!("library/thermistor-bridge.toml")),
    ("platinum-bridge", include_str!("library/platinum-bridge.toml")),
    ("single-amplifier-taps", include_str!("library/single-amplifier-taps.toml")),
    ("direct-converter", include_str!("library/direct-converter.toml")),
];

/// All built-in front ends, in the order of [`TEXTS`]. A test reads every text, so none is missing.
pub fn all() -> &'static [Blueprint] {
    static ALL: OnceLock<Vec<Blueprint>> = OnceLock::new();
    ALL.get_or_init(|| {
        TEXTS.iter().filter_map(|(id, text)| crate::file::read_circuit(id, text).ok()).collect()
    })
}

/// The built-in front end of this identifier.
pub fn named(id: &str) -> Option<&'static Blueprint> {
    all().iter().find(|blueprint| blueprint.id == id)
}

/// Its text.
pub fn text(id: &str) -> Option<&'static str> {
    TEXTS.iter().find(|(name, _)| *name == id).map(|(_, text)| *text)
}
