//! A filled chain file: the user's own text, with only the chosen values put in; and a write that is whole or not
//! at all.

use super::ChainFile;
use crate::quantity::{Toleranced, Unit, format_toleranced};
use std::io::{self, Write};
use std::path::Path;
use toml_edit::{DocumentMut, Item, Table, value};

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
        let front_end = document.entry("front_end").or_insert_with(|| Item::Table(Table::new()));
        if let Some(front_end) = front_end.as_table_like_mut() {
            let values = front_end.entry("values").or_insert_with(|| Item::Table(Table::new()));
            if let Some(values) = values.as_table_like_mut() {
                for part in chosen {
                    put(values, &part.designator, &format_toleranced(part.quantity, part.unit, DIGITS));
                }
            }
        }
        Ok(document.to_string())
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
