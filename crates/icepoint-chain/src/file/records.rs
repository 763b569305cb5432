//! Records to choose among: `[converters.NAME]`, `[voltage_references.NAME]` and `[junction_sensors.NAME]`.
//!
//! **What a record is.** A converter or a sensor stands in the place of the whole section `[converter]` or
//! `[reference_junction]`; a voltage reference in the place of the keys of `[converter]` that are about the reference. So
//! each has the keys that it replaces, and no other.
//! **How.** The record's table is put where it belongs, and the file is read again: units, bounds, contradictions with the
//! rest of the file and the size of a converter's LSB are judged as if it had stood there, and errors point at the record.

use super::problem::Problem;
use super::similar::nearest;
use super::{ChainFile, Refused, Source, keys, read};
use std::borrow::Cow;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// What a record is a record of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum RecordKind {
    /// `[converters.NAME]`.
    Converter,
    /// `[voltage_references.NAME]`.
    Reference,
    /// `[junction_sensors.NAME]`.
    Sensor,
}

/// Keys of `[converter]` that a voltage reference replaces.
pub(super) const OF_REFERENCE: [&str; 4] =
    ["reference", "reference_drift", "reference_supply_regulation", "reference_load_regulation"];

impl RecordKind {
    /// In the order in which they are chosen.
    pub const ALL: [Self; 3] = [Self::Converter, Self::Reference, Self::Sensor];

    /// Section of its records.
    pub const fn section(self) -> &'static str {
        match self {
            Self::Converter => "converters",
            Self::Reference => "voltage_references",
            Self::Sensor => "junction_sensors",
        }
    }

    /// Section that a record stands in for, whole or in part.
    pub const fn place(self) -> &'static str {
        match self {
            Self::Converter | Self::Reference => "converter",
            Self::Sensor => "reference_junction",
        }
    }

    /// In words, and as the drawer writes it.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Converter => "converter",
            Self::Reference => "reference",
            Self::Sensor => "sensor",
        }
    }
}

/// A record by kind and name.
pub type RecordName = (RecordKind, String);

/// Most records that are looked at: each costs a search, and a drawer has no more that are worth one.
pub const MOST: usize = 40;

type Root<'t> = DeTable<'t>;

/// The names of all records, in the order of the file.
pub(super) fn names(root: &Root<'_>) -> Vec<RecordName> {
    let mut found = Vec::new();
    for kind in RecordKind::ALL {
        let records = root.get(kind.section()).and_then(|value| value.get_ref().as_table());
        for name in records.into_iter().flat_map(DeTable::keys) {
            found.push((kind, name.get_ref().to_string()));
        }
    }
    found
}

/// The root with a record in its place; what is wrong with the record itself otherwise.
pub(super) fn put<'t>(root: &Root<'t>, (kind, name): &RecordName) -> Result<Root<'t>, Box<Problem>> {
    let section = kind.section();
    let none = || -> Box<Problem> {
        Problem::new("record.unknown", format!("there is no [{section}.{name}]"))
            .expected(format!("the NAME of a section [{section}.NAME]"))
            .into()
    };
    let records = root.get(section).and_then(|value| value.get_ref().as_table()).ok_or_else(none)?;
    let (key, record) = records.get_key_value(name.as_str()).ok_or_else(none)?;
    let Some(table) = record.get_ref().as_table() else {
        return Err(Problem::new("section.not_a_table", format!("{section}.{name} is not a section"))
            .at(record.span().into(), "expected a section")
            .help(format!("a header on its own line: [{section}.{name}]"))
            .into());
    };
    let mut root = root.clone();
    let place = Cow::Borrowed(kind.place());
    let written = root.get_key_value(kind.place()).map(|(k, v)| (k.clone(), v.clone()));
    if *kind != RecordKind::Reference {
        // The header's place is that of the record, where missing keys are told.
        root.remove(kind.place());
        root.insert(Spanned::new(key.span(), place), record.clone());
        return Ok(root);
    }
    for key in table.keys() {
        let word: &str = key.get_ref();
        if !OF_REFERENCE.contains(&word) {
            let label = match nearest(word, OF_REFERENCE) {
                Some(close) => format!("did you mean {close}?"),
                None => "not of a reference".to_owned(),
            };
            let shown = crate::quantity::read::shortened(word);
            return Err(Problem::new("key.unknown", format!("a voltage reference has no {shown}"))
                .at(key.span().into(), label)
                .expected(keys::one_of(&OF_REFERENCE))
                .into());
        }
    }
    if !table.contains_key(OF_REFERENCE[0]) {
        return Err(Problem::new("key.missing", format!("[{section}.{name}] has no reference"))
            .at(key.span().into(), "its voltage is missing")
            .expected("the voltage of the reference")
            .help("reference = \"2.5 V ± 0.2 %\"")
            .into());
    }
    // Without a [converter] the rest of the file says so.
    let Some((header, converter)) = written else { return Ok(root) };
    let Some(converter) = converter.get_ref().as_table() else { return Ok(root) };
    let mut merged = converter.clone();
    for word in OF_REFERENCE {
        merged.remove(word);
    }
    for (word, value) in table {
        merged.insert(word.clone(), value.clone());
    }
    let span = header.span();
    root.remove(kind.place());
    root.insert(header, Spanned::new(span, DeValue::Table(merged)));
    Ok(root)
}

impl ChainFile {
    /// The same file with these records in their places; later ones of a kind take the place of earlier ones, and a
    /// reference goes into the converter that stands before it.
    ///
    /// # Errors
    /// [`Refused`] when a record is not there or contradicts the rest of the file.
    pub fn with_records(&self, records: &[RecordName]) -> Result<Self, Refused> {
        let Source { name, text } = &self.source;
        let file = read::parse_with(name, text, records)?;
        // What was taken for it since it was read.
        let ids: Vec<(String, String)> =
            [("amplifier", &self.front_end.amplifier), ("buffer", &self.front_end.buffer)]
                .into_iter()
                .filter_map(|(role, given)| Some((role.to_owned(), given.as_ref()?.value.clone())))
                .collect();
        if self.front_end.topology.value == file.front_end.topology.value {
            return Ok(file);
        }
        Ok(file.with_front_end(self.front_end.topology.value.id(), &ids))
    }
}
