//! A filled chain file: the user's own text, with only the chosen values put in; and a write that is whole or not
//! at all.

use super::records::OF_REFERENCE;
use super::{ChainFile, RecordKind, RecordName, Topology};
use crate::chain::{Correction, Findings};
use crate::quantity::{Toleranced, Unit, format_toleranced};
use std::io::{self, Write};
use std::path::Path;
use toml_edit::{Array, DocumentMut, Item, Table, value};

/// A value that design chose for a part.
#[derive(Debug, Clone, PartialEq)]
pub struct ChosenValue {
    /// Designator of the part, a key of `[front_end.values]`.
    pub designator: String,
    /// The value in SI units.
    pub quantity: Toleranced,
    /// Ω, F or V.
    pub unit: Unit,
}

/// Digits that are written: a series value has three, and the doubles next to it must not show.
const DIGITS: usize = 6;

impl ChainFile {
    /// The text of this file with `chosen` put into `[front_end.values]`: an open value is replaced, a part that was
    /// not listed is added, everything else (order, comments, spacing) stays as it was written.
    ///
    /// # Errors
    /// The message of the TOML editor, which can only be when the text is not the one that was parsed.
    pub fn filled(&self, chosen: &[ChosenValue]) -> Result<String, toml_edit::TomlError> {
        let text = self.source.text.strip_prefix('\u{feff}').unwrap_or(&self.source.text);
        let mut document: DocumentMut = text.parse()?;
        for record in &self.taken {
            put_record(&mut document, record);
        }
        let mut another = !self.taken.is_empty();
        let front_end = document.entry("front_end").or_insert_with(|| Item::Table(Table::new()));
        if let Some(front_end) = front_end.as_table_like_mut() {
            // One that design took is written down with its amplifiers; what the user wrote stays as it is.
            let written = front_end.get("topology").and_then(Item::as_str).map(str::to_owned);
            if let Topology::BuiltIn(id) = self.front_end.topology.value
                && !Topology::SPELLINGS
                    .iter()
                    .any(|(name, t)| Some(*name) == written.as_deref() && *t == Topology::BuiltIn(id))
            {
                put(front_end, "topology", id);
                let records = [("amplifier", &self.front_end.amplifier), ("buffer", &self.front_end.buffer)];
                for (role, record) in records {
                    if let Some(record) = record {
                        put(front_end, role, &record.value);
                    }
                }
                // Values for another circuit are no values for this one.
                front_end.remove("values");
                front_end.remove("tolerance");
                another = true;
            }
            let values = front_end.entry("values").or_insert_with(|| Item::Table(Table::new()));
            if let Some(values) = values.as_table_like_mut() {
                for part in chosen {
                    put(values, &part.designator, &format_toleranced(part.quantity, part.unit, DIGITS));
                }
            }
        }
        if another {
            // It belongs to a board that was built with other parts.
            document.remove("calibration");
        }
        Ok(document.to_string())
    }
}

/// A calibration that is to be written down.
#[derive(Debug, Clone, PartialEq)]
pub struct Calibrated {
    /// Constants for the reading rule's own volts.
    pub correction: Correction,
    /// What was found out about the board, with its serial number and the date.
    pub findings: Findings,
    /// File of the raw readings and its fingerprint.
    pub readings: (String, String),
}

/// Digits of what was found out: more than any reading can tell.
const FOUND: usize = 6;

impl ChainFile {
    /// The text of this file with `chosen` in `[front_end.values]` and with `[calibration]` as it is now; a section
    /// that was there is replaced, everything else stays as it was written.
    ///
    /// # Errors
    /// As [`ChainFile::filled`].
    pub fn with_calibration(
        &self,
        calibrated: &Calibrated,
        chosen: &[ChosenValue],
    ) -> Result<String, toml_edit::TomlError> {
        let text = if chosen.is_empty() { self.source.text.clone() } else { self.filled(chosen)? };
        let mut document: DocumentMut = text.strip_prefix('\u{feff}').unwrap_or(&text).parse()?;
        let mut section = Table::new();
        let Calibrated { correction, findings, readings } = calibrated;
        if let Some(date) = &findings.date {
            section.insert("date", value(date.as_str()));
        }
        if let Some(serial) = &findings.serial {
            section.insert("serial", value(serial.as_str()));
        }
        section.insert("offset_volts", number(correction.offset, 9));
        section.insert("gain", number(correction.gain, 9));
        section.insert("readings", value(readings.0.as_str()));
        section.insert("fingerprint", value(readings.1.as_str()));
        if findings.scatter > 0.0 {
            section.insert("scatter_volts", number(findings.scatter, FOUND));
        }
        let mut deviations = Table::new();
        for found in &findings.deviations {
            let mut row = Array::new();
            for &entry in core::iter::once(&found.estimate).chain(&found.directions) {
                row.push(rounded(entry, FOUND));
            }
            deviations.insert(&found.id, value(row));
        }
        deviations.decor_mut().set_prefix(
            "\n# Best estimate, then what each direction that the readings could see has of it; in standard uncertainties.\n",
        );
        section.insert("deviations", Item::Table(deviations));
        if !findings.shared.is_empty() {
            let mut shared = Table::new();
            for error in &findings.shared {
                shared.insert(
                    &error.id,
                    value(error.along.iter().map(|&x| rounded(x, FOUND)).collect::<Array>()),
                );
            }
            shared.decor_mut().set_prefix(
                "\n# What each error of a reference adds along these directions: the same for all boards calibrated with it.\n",
            );
            section.insert("shared", Item::Table(shared));
        }
        let old = document.remove("calibration");
        let prefix = match old.as_ref().and_then(Item::as_table).and_then(|t| t.decor().prefix()) {
            Some(prefix) => prefix.clone(),
            None => "\n# Written by `icepoint calibrate`; docs/calibration.md says how to read it.\n".into(),
        };
        section.decor_mut().set_prefix(prefix);
        document.insert("calibration", Item::Table(section));
        Ok(document.to_string())
    }
}

/// To this many significant digits: the shortest text that reads back as the rounded number.
fn rounded(number: f64, digits: usize) -> f64 {
    format!("{number:.*e}", digits.saturating_sub(1)).parse().unwrap_or(number)
}

fn number(number: f64, digits: usize) -> Item {
    value(rounded(number, digits))
}

/// Copies a record that was taken to its place: what was read as if it stood there does so from now on.
fn put_record(document: &mut DocumentMut, (kind, name): &RecordName) {
    let record = document.get(kind.section()).and_then(|records| records.get(name));
    let Some(record) = record.and_then(Item::as_table_like) else { return };
    let keys: Vec<(String, Item)> = record.iter().map(|(key, item)| (key.to_owned(), item.clone())).collect();
    let place = document.entry(kind.place()).or_insert_with(|| Item::Table(Table::new()));
    let Some(place) = place.as_table_like_mut() else { return };
    if *kind == RecordKind::Reference {
        for key in OF_REFERENCE {
            place.remove(key);
        }
    } else {
        place.clear();
    }
    for (key, item) in keys {
        place.insert(&key, item);
    }
}

/// Replaces the value under a key and keeps the spaces and the comment around it.
fn put(table: &mut dyn toml_edit::TableLike, key: &str, text: &str) {
    match table.get_mut(key).and_then(Item::as_value_mut) {
        Some(old) => {
            let decor = old.decor().clone();
            *old = text.into();
            *old.decor_mut() = decor;
        }
        None => {
            table.insert(key, value(text));
        }
    }
}

/// Writes `contents` to `path` so that there is always either the old file or the whole new one: to a temporary name
/// in the same folder, to the disk, then renamed.
///
/// # Errors
/// Those of the file system; nothing is left behind then.
pub fn write_atomically(path: &Path, contents: &[u8]) -> io::Result<()> {
    let folder = match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    };
    let mut temporary = tempfile::Builder::new().prefix(".icepoint-").suffix(".part").tempfile_in(folder)?;
    temporary.write_all(contents)?;
    keep_permissions(path, temporary.as_file())?;
    temporary.as_file().sync_all()?;
    temporary.persist(path).map_err(|error| error.error)?;
    Ok(())
}

/// A temporary file is private; the result is as readable as the file it replaces, or as any new file.
#[cfg(unix)]
fn keep_permissions(path: &Path, file: &std::fs::File) -> io::Result<()> {
    use std::os::unix::fs::PermissionsExt;
    let permissions = match std::fs::metadata(path) {
        Ok(old) => old.permissions(),
        Err(_) => std::fs::Permissions::from_mode(0o644),
    };
    file.set_permissions(permissions)
}

#[cfg(not(unix))]
fn keep_permissions(_: &Path, _: &std::fs::File) -> io::Result<()> {
    Ok(())
}
