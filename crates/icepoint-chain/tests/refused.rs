//! Chain files that must be refused, each with the message that is kept beside it.
//!
//! `tests/bad/NAME.toml` is refused with exactly the drawing in `tests/bad/NAME.txt`. A file without a kept message,
//! a message without a file, a file that is taken and a message that changed all fail by name. After a change that is
//! meant, `ICEPOINT_KEEP=1 cargo test -p icepoint-chain --test refused` keeps the new messages; read the difference
//! before committing it.

#![allow(clippy::expect_used)] // a helper of a test may fail like a test

use icepoint_chain::file::{Refused, load, parse};
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

/// So that a folder that lost its files can't pass.
const AT_LEAST: usize = 60;

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/bad")
}

fn names(extension: &str) -> BTreeSet<String> {
    let entries = std::fs::read_dir(folder()).expect("tests/bad is there");
    let paths = entries.map(|entry| entry.expect("readable").path());
    let fits = paths.filter(|path| path.extension().is_some_and(|e| e == extension));
    fits.filter_map(|path| Some(path.file_stem()?.to_str()?.to_owned())).collect()
}

/// The refusal of a file, named without its folder so that messages are the same on every machine.
fn refusal(name: &str) -> Result<Refused, String> {
    match load(folder().join(name)) {
        Ok(_) => Err(format!("{name} was taken")),
        Err(mut refused) => {
            refused.source.name = name.to_owned();
            Ok(refused)
        }
    }
}

#[test]
fn every_bad_file_is_refused_with_its_kept_message() {
    let keep = std::env::var_os("ICEPOINT_KEEP").is_some();
    let (files, kept) = (names("toml"), names("txt"));
    let mut wrong = Vec::new();
    for name in &files {
        let refused = match refusal(&format!("{name}.toml")) {
            Ok(refused) => refused,
            Err(taken) => {
                wrong.push(taken);
                continue;
            }
        };
        let drawn = refused.to_string();
        let path = folder().join(format!("{name}.txt"));
        if keep {
            std::fs::write(&path, &drawn).expect("writable");
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

/// The circuit section has files of its own.
#[test]
fn the_circuit_has_its_own_bad_files() {
    let count = names("toml").iter().filter(|name| name.starts_with("circuit-")).count();
    assert!(count >= 45, "only {count}");
}

/// Every problem has a code, says what was expected, and all but those of a whole file point into the text.
#[test]
fn every_problem_points_and_tells_what_was_expected() {
    for name in names("toml") {
        let refused = refusal(&format!("{name}.toml")).expect("refused");
        assert!(!refused.problems.is_empty(), "{name}");
        for problem in &refused.problems {
            assert!(problem.code.contains('.'), "{name}: {}", problem.code);
            let whole_file = problem.code.starts_with("file.") || problem.code == "section.missing";
            assert!(whole_file || problem.at.is_some(), "{name}: {} has no place", problem.code);
            assert!(
                problem.expected.is_some() || problem.help.is_some(),
                "{name}: {} gives no way out",
                problem.code
            );
            for label in problem.at.iter().chain(&problem.also) {
                assert!(label.span.start <= label.span.end, "{name}");
                assert!(label.span.end <= refused.source.text.len(), "{name}");
            }
        }
    }
}

/// The three faces tell the same problems.
#[test]
fn sentences_and_json_agree_with_the_drawing() {
    for name in names("toml") {
        let refused = refusal(&format!("{name}.toml")).expect("refused");
        let (plain, json) = (refused.plain(), refused.json());
        assert_eq!(plain.lines().count(), refused.problems.len(), "{name}: {plain}");
        let listed = json["problems"].as_array().expect("a list");
        assert_eq!(listed.len(), refused.problems.len(), "{name}");
        for (problem, listed) in refused.problems.iter().zip(listed) {
            assert_eq!(listed["code"], problem.code.as_ref(), "{name}");
            assert_eq!(listed["message"], problem.message.as_str(), "{name}");
            if let Some(label) = &problem.at {
                let at = refused.source.locate(label.span.start);
                assert_eq!(
                    (listed["line"].as_u64(), listed["column"].as_u64()),
                    (Some(at.line as u64), Some(at.column as u64))
                );
                assert!(
                    plain.contains(&format!("{name}.toml:{}:{}: ", at.line, at.column)),
                    "{name}: {plain}"
                );
            }
        }
        assert!(
            !plain.contains('\u{1b}') && !refused.to_string().contains('\u{1b}'),
            "{name}: colour without asking"
        );
        assert!(refused.drawn(true).contains("\u{1b}["), "{name}: no colour when asked");
    }
}

#[test]
fn a_missing_file_and_a_directory() {
    let missing = load(folder().join("there-is-no-such-file.toml")).expect_err("refused");
    assert_eq!(missing.problems[0].code, "file.missing");
    let directory = load(folder()).expect_err("refused");
    assert_eq!(directory.problems[0].code, "file.directory");
    let nameless = load("").expect_err("refused");
    assert_eq!(nameless.problems[0].code, "file.missing");
}

/// A line of a megabyte is cut around the place, so that the message still fits a screen.
#[test]
fn a_line_of_a_megabyte() {
    let filler = "x".repeat(1_000_000);
    for text in [
        format!("[need]\naccuracy = \"{filler}\"\n"),
        format!("[need]\n{filler} = 1\n"),
        format!("[need]\nhot = [{}]\n", "\"1 °C\",".repeat(100_000)),
        format!("[need]\nname = \"{filler}"),
        format!("# {filler}\n[need]\naccuracy = \"6 V\" # {filler}\n"),
    ] {
        let refused = parse("long.toml", &text).expect_err("refused");
        let drawn = refused.to_string();
        assert!(drawn.len() < 20_000, "{} bytes of message", drawn.len());
        assert!(drawn.lines().all(|line| line.chars().count() < 1200), "a line that no screen holds");
    }
}

/// Thousands of problems are told as the first fifty, and quickly.
#[test]
fn thousands_of_problems() {
    let keys: String = (0..40_000).map(|i| format!("k{i} = 1\n")).collect();
    let refused = parse("many.toml", &format!("[need]\n{keys}")).expect_err("refused");
    assert_eq!(refused.problems.len(), icepoint_chain::file::MOST_PROBLEMS + 1);
    let last = &refused.problems[icepoint_chain::file::MOST_PROBLEMS];
    assert_eq!(last.code, "file.many_problems");
}

#[test]
fn too_large() {
    let refused = parse("large.toml", &"# \n".repeat(1_000_000)).expect_err("refused");
    assert_eq!(refused.problems[0].code, "file.too_large");
}
