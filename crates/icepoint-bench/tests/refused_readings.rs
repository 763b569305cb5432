//! Files of readings that must be refused, each with the message that is kept beside it.
//!
//! `tests/bad_readings/NAME.csv`, read as readings of the burn-out kiln, is refused with exactly the drawing in
//! `NAME.txt`. After a change that is meant, `ICEPOINT_KEEP=1 cargo test -p icepoint-bench --test refused_readings` keeps
//! the new messages; read the difference before committing it.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // a helper of a test may fail like a test

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use icepoint_bench::calibrate::readings::read;
use icepoint_bench::calibrate::{CalibrationError, Wishes, calibrate};
use icepoint_chain::Model;
use icepoint_chain::chain::Correction;
use icepoint_chain::file::{ChainFile, Refused, Source, load};
use icepoint_chain::resolve::resolve;

/// So that a folder that lost its files can't pass.
const AT_LEAST: usize = 25;

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/bad_readings")
}

fn names(extension: &str) -> BTreeSet<String> {
    let paths = std::fs::read_dir(folder()).unwrap().map(|entry| entry.unwrap().path());
    let fits = paths.filter(|path| path.extension().is_some_and(|e| e == extension));
    fits.map(|path| path.file_stem().unwrap().to_str().unwrap().to_owned()).collect()
}

fn kiln() -> (ChainFile, Model) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/burnout-kiln.toml");
    let file = load(path).unwrap();
    let resolved = resolve(&file).unwrap();
    let values = icepoint_design::values(&resolved).unwrap();
    (file, Model::new(resolved.with_values(&values)).unwrap())
}

fn refusal(name: &str, text: &str, kiln: &(ChainFile, Model)) -> Result<Refused, String> {
    let source = Source { name: format!("{name}.csv"), text: text.to_owned() };
    let readings = match read(source, kiln.1.chain(), &kiln.0) {
        Ok(readings) => readings,
        Err(refused) => return Ok(*refused),
    };
    let wishes = Wishes { taken_with: Correction::NONE, without: Vec::new(), date: None, serial: None };
    match calibrate(&kiln.1, &readings, &wishes) {
        Err(CalibrationError::Refused(refused)) => Ok(*refused),
        Err(other) => Err(format!("{name}: {other}")),
        Ok(_) => Err(format!("{name} was taken")),
    }
}

#[test]
fn every_bad_file_is_refused_with_its_kept_message() {
    let keep = std::env::var_os("ICEPOINT_KEEP").is_some();
    let kiln = kiln();
    let (files, kept) = (names("csv"), names("txt"));
    let mut wrong = Vec::new();
    for name in &files {
        let text = std::fs::read_to_string(folder().join(format!("{name}.csv"))).unwrap();
        let refused = match refusal(name, &text, &kiln) {
            Ok(refused) => refused,
            Err(taken) => {
                wrong.push(taken);
                continue;
            }
        };
        for problem in &refused.problems {
            let empty = problem.code == "readings.empty";
            assert!(empty || problem.at.is_some(), "{name}: {} has no place", problem.code);
            assert!(problem.expected.is_some() || problem.help.is_some(), "{name}: {}", problem.code);
        }
        let drawn = refused.to_string();
        let path = folder().join(format!("{name}.txt"));
        if keep {
            std::fs::write(&path, &drawn).unwrap();
            continue;
        }
        match std::fs::read_to_string(&path) {
            Ok(text) if text == drawn => {}
            Ok(text) => wrong.push(format!("{name}: kept\n{text}\nnow\n{drawn}")),
            Err(_) => wrong.push(format!("{name}: no message is kept; it says\n{drawn}")),
        }
    }
    wrong.extend(kept.difference(&files).map(|name| format!("{name}.txt is kept for no file")));
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(files.len() >= AT_LEAST, "only {} bad files", files.len());
}

/// The example with one byte changed, cut, or doubled: taken or refused, never a panic.
#[test]
fn a_damaged_file_is_taken_or_refused() {
    let kiln = kiln();
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/burnout-kiln-readings.csv");
    let bytes = std::fs::read(path).unwrap();
    let mut taken = 0;
    for at in (0..bytes.len()).step_by(3) {
        for change in [&b""[..], b",", b"\"", b"-", b"9e9", b";\n", "é".as_bytes()] {
            let mut damaged = bytes[..at].to_vec();
            damaged.extend_from_slice(change);
            damaged.extend_from_slice(&bytes[at + 1..]);
            let Ok(text) = String::from_utf8(damaged) else { continue };
            let source = Source { name: "damaged.csv".into(), text };
            if let Ok(readings) = read(source, kiln.1.chain(), &kiln.0) {
                taken += 1;
                // Solving each would take minutes; some must do.
                if taken % 23 == 0 {
                    let wishes =
                        Wishes { taken_with: Correction::NONE, without: vec![5], date: None, serial: None };
                    let _ = calibrate(&kiln.1, &readings, &wishes);
                }
            }
        }
    }
    println!("{taken} damaged files were taken");
    assert!(taken > 0);
}
