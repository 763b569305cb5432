//! The files of a calibration. None takes the place of one that says something else: raw readings and certificates get a
//! number, and a chain file that is replaced is kept beside the new one.

use std::io;
use std::path::{Path, PathBuf};

use icepoint_bench::calibrate::Calibration;
use icepoint_bench::calibrate::readings::Readings;
use icepoint_chain::Model;
use icepoint_chain::file::{Calibrated, ChainFile, ChosenValue, load, write_atomically};

use crate::failure::Failure;

/// Where to write.
pub struct Place<'a> {
    /// The chain file that was read.
    pub file: &'a Path,
    /// The folder that was asked for.
    pub out: Option<&'a Path>,
    /// Whether the chain file itself gets the calibration.
    pub in_place: bool,
}

/// What was written, and what was kept of earlier calibrations.
#[derive(Default)]
pub struct Written {
    /// Raw readings, chain file, certificate.
    pub files: Vec<PathBuf>,
    /// Copies of what was there before.
    pub kept: Vec<PathBuf>,
}

/// Numbers that are tried before something else must be wrong.
const MOST: u32 = 10_000;

/// Writes raw readings, chain file and certificate.
pub fn write(
    place: &Place<'_>,
    (file, chosen): (&ChainFile, &[ChosenValue]),
    model: &Model,
    readings: &Readings,
    calibration: &Calibration,
) -> Result<Written, Failure> {
    let stem = place.file.file_stem().map_or_else(|| "board".into(), |s| s.to_string_lossy().into_owned());
    let serial = calibration.findings.serial.as_deref();
    let folder = match (place.in_place, place.out) {
        (true, _) => place.file.parent().map_or_else(PathBuf::new, Path::to_path_buf),
        (false, Some(out)) => out.to_path_buf(),
        (false, None) => Path::new("boards").join(plain_name(serial.unwrap_or(&stem))),
    };
    let chain_path =
        if place.in_place { place.file.to_path_buf() } else { folder.join(format!("{stem}.toml")) };
    same_board(&chain_path, serial)?;
    let machine = |doing: &str, path: &Path| {
        let doing = format!("{doing} {}", path.display());
        move |error| Failure::Machine { doing, error }
    };
    if !folder.as_os_str().is_empty() {
        std::fs::create_dir_all(&folder).map_err(machine("making the folder", &folder))?;
    }
    let raw = readings.source.text.as_bytes();
    let copy = numbered(&folder, &format!("{stem}-readings"), "csv", raw)
        .map_err(machine("looking into", &folder))?;
    let record = Calibrated {
        correction: calibration.constants,
        findings: calibration.findings.clone(),
        readings: (copy.clone(), readings.fingerprint()),
    };
    let text = file.with_calibration(&record, chosen).map_err(|error| {
        Failure::bad_input("file.not_filled", format!("the chain file can't be filled in: {error}"), None)
    })?;
    let page = icepoint_dossier::certificate::certificate(model, readings, calibration);
    let certificate = numbered(&folder, &format!("{stem}-certificate"), "html", page.as_bytes())
        .map_err(machine("looking into", &folder))?;
    let mut written = Written::default();
    // A file without a calibration loses nothing: only sections are added to it.
    if !place.in_place || file.calibration.is_some() {
        written.kept.extend(keep(&chain_path, text.as_bytes()).map_err(machine("keeping", &chain_path))?);
    }
    for (path, contents) in
        [(folder.join(copy), raw), (chain_path, text.as_bytes()), (folder.join(certificate), page.as_bytes())]
    {
        write_atomically(&path, contents).map_err(machine("writing", &path))?;
        written.files.push(path);
    }
    Ok(written)
}

/// Refuses a chain file that has the calibration of another board.
fn same_board(path: &Path, serial: Option<&str>) -> Result<(), Failure> {
    // What can't be read as a chain file is kept as it is, see `keep`.
    let Ok(there) = load(path) else { return Ok(()) };
    let Some(other) = there.calibration.as_ref().and_then(|c| c.serial.as_ref()) else { return Ok(()) };
    if serial == Some(other.value.as_str()) {
        return Ok(());
    }
    let this = serial.map_or("a board without a serial number".to_owned(), |s| format!("board {s}"));
    Err(Failure::bad_input(
        "calibration.other_board",
        format!(
            "{} has the calibration of board {}, the readings are of {this}",
            path.display(),
            other.value
        ),
        Some(
            "--out with a folder of its own for each board; --serial if the number is wrong or missing"
                .into(),
        ),
    ))
}

/// `STEM.csv`, or `STEM-2.csv` and so on: the first that is free or says the same already.
fn numbered(folder: &Path, stem: &str, extension: &str, contents: &[u8]) -> io::Result<String> {
    let names = (1..=MOST).map(|n| match n {
        1 => format!("{stem}.{extension}"),
        n => format!("{stem}-{n}.{extension}"),
    });
    for name in names {
        if free_or_same(&folder.join(&name), contents)? {
            return Ok(name);
        }
    }
    Err(io::Error::other(format!("{MOST} files of the name {stem} are there already")))
}

/// Copies a file that is to be replaced by other contents to `PATH.1`, or the next number that is free.
fn keep(path: &Path, new: &[u8]) -> io::Result<Option<PathBuf>> {
    if free_or_same(path, new)? {
        return Ok(None);
    }
    let old = std::fs::read(path)?;
    for n in 1..=MOST {
        let mut name = path.as_os_str().to_owned();
        name.push(format!(".{n}"));
        let copy = PathBuf::from(name);
        if free_or_same(&copy, &old)? {
            write_atomically(&copy, &old)?;
            return Ok(Some(copy));
        }
    }
    Err(io::Error::other(format!("{MOST} earlier files are there already")))
}

fn free_or_same(path: &Path, contents: &[u8]) -> io::Result<bool> {
    match std::fs::read(path) {
        Ok(there) => Ok(there == contents),
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(true),
        Err(error) => Err(error),
    }
}

/// A name that any file system takes; two texts never share one: where anything had to be changed, a fingerprint of the
/// text follows (FNV-1a, 32 bit).
fn plain_name(text: &str) -> String {
    /// Longest name; every file system takes four times as many bytes.
    const LONGEST: usize = 60;
    let name: String = text
        .chars()
        .map(|c| if c.is_alphanumeric() || matches!(c, '-' | '_') { c } else { '-' })
        .take(LONGEST)
        .collect();
    if name == text && !name.is_empty() {
        return name;
    }
    let hash = text.bytes().fold(0x811c_9dc5_u32, |h, b| (h ^ u32::from(b)).wrapping_mul(0x0100_0193));
    format!("{name}-{hash:08x}")
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)] // a helper of a test may fail like a test

    use super::*;

    #[test]
    fn different_serial_numbers_get_different_folders() {
        assert_eq!(plain_name("K-007"), "K-007");
        let names: Vec<String> =
            ["A/1", "A-1", "A 1", "A:1", "", "..", "é".repeat(61).as_str(), "é".repeat(62).as_str()]
                .iter()
                .map(|t| plain_name(t))
                .collect();
        for (i, a) in names.iter().enumerate() {
            assert!(!a.contains(['/', '.', ':', ' ']), "{a}");
            assert!(names[..i].iter().all(|b| a != b), "{names:?}");
        }
    }

    #[test]
    fn nothing_takes_the_place_of_something_else() {
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str| folder.path().join(name);
        for (contents, name) in [("a", "r.csv"), ("b", "r-2.csv"), ("a", "r.csv"), ("c", "r-3.csv")] {
            let chosen = numbered(folder.path(), "r", "csv", contents.as_bytes()).unwrap();
            assert_eq!(chosen, name);
            std::fs::write(at(&chosen), contents).unwrap();
        }
        assert_eq!(keep(&at("k.toml"), b"1").unwrap(), None);
        std::fs::write(at("k.toml"), "1").unwrap();
        assert_eq!(keep(&at("k.toml"), b"1").unwrap(), None);
        assert_eq!(keep(&at("k.toml"), b"2").unwrap(), Some(at("k.toml.1")));
        std::fs::write(at("k.toml"), "2").unwrap();
        assert_eq!(keep(&at("k.toml"), b"3").unwrap(), Some(at("k.toml.2")));
        assert_eq!(std::fs::read_to_string(at("k.toml.1")).unwrap(), "1");
    }
}
