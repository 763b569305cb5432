//! The command line as a user meets it: what it prints, what it refuses and how, kept as snapshots.

#![allow(clippy::expect_used, clippy::unwrap_used, clippy::panic, missing_docs)] // a failed expectation is a failed test

use std::io::Write;
use std::process::{Command, Stdio};

/// Runs the program and writes down what a person would see.
fn session(arguments: &[&str], input: Option<&[u8]>) -> String {
    let mut child = Command::new(env!("CARGO_BIN_EXE_icepoint"))
        .args(arguments)
        .env("NO_COLOR", "1")
        .env("COLUMNS", "100")
        .stdin(if input.is_some() { Stdio::piped() } else { Stdio::null() })
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program starts");
    if let Some(bytes) = input {
        // The program may refuse its options before it reads: then this pipe is broken, and rightly so.
        let _ = child.stdin.take().expect("piped").write_all(bytes);
    }
    let output = child.wait_with_output().expect("the program ends");
    let quoted: Vec<String> = arguments
        .iter()
        .map(|a| if a.contains(' ') { format!("\"{a}\"") } else { (*a).to_owned() })
        .collect();
    let (out, err) = (String::from_utf8(output.stdout), String::from_utf8(output.stderr));
    let code = output.status.code().expect("no signal: nothing panics");
    assert!(
        !out.as_ref().unwrap().contains('\u{1b}') && !err.as_ref().unwrap().contains('\u{1b}'),
        "NO_COLOR"
    );
    format!("$ icepoint {}\n{}{}exit {code}\n", quoted.join(" "), out.unwrap(), err.unwrap())
}

/// Compares with the snapshot of that name; the sessions say themselves what was run.
fn assert_kept(name: &str, sessions: &str) {
    insta::with_settings!({ omit_expression => true }, { insta::assert_snapshot!(name, sessions) });
}

fn sessions(all: &[(&[&str], Option<&[u8]>)]) -> String {
    all.iter().map(|(arguments, input)| session(arguments, *input)).collect::<Vec<_>>().join("\n")
}

#[test]
fn answers() {
    assert_kept(
        "answers",
        &sessions(&[
            (&["emf", "K", "650", "--reference", "22"], None),
            (&["emf", "k", "650"], None),
            (
                &[
                    "emf",
                    "N",
                    "20",
                    "550 °C",
                    "1100",
                    "--tolerance",
                    "IEC 60584-1 class 1",
                    "--reference",
                    "25 °C",
                ],
                None,
            ),
            (&["emf", "T", "-80", "--reference", "-5"], None),
            (&["emf", "S", "1832 °F", "--json"], None),
            (&["emf", "B", "0", "100", "1500", "--json", "--tolerance", "ASTM special"], None),
            (&["emf", "N", "--reference", "55"], Some("# burn-out\n20\n\n 550 °C \r\n1100".as_bytes())),
            (&["temperature", "K", "12.345 mV", "--reference", "22"], None),
            (&["temperature", "R", "5 mV", "10 mV"], None),
            (&["temperature", "T", "-", "--unit", "uV", "--json"], Some(b"-1000\n0\n1000\n")),
        ]),
    );
}

#[test]
fn tables() {
    assert_kept(
        "tables",
        &sessions(&[
            (&["table", "K", "--from", "0", "--to", "100", "--step", "10", "--reference", "25"], None),
            (&["table", "J", "--from", "-210", "--to", "-205", "--step", "0.5"], None),
            (&["table", "B", "--inverse", "--from", "-2 uV", "--to", "30 uV", "--step", "2 uV"], None),
            (&["table", "E", "--from", "10", "--to", "12", "--step", "1", "--csv"], None),
            (&["table", "E", "--from", "10", "--to", "11", "--step", "0.5", "--json"], None),
        ]),
    );
}

#[test]
fn refusals() {
    assert_kept(
        "refusals",
        &sessions(&[
            (&["emf", "X", "650"], None),
            (&["emf", "K", "65o"], None),
            (&["emf", "K", "650 V", "20", "1e999"], None),
            (&["emf", "K", "NaN"], None),
            (&["emf", "K", "650,5"], None),
            (&["emf", "K", "298 K"], None),
            (&["emf", "K", "1400"], None),
            (&["emf", "A", "2500.1"], None),
            (&["emf", "T", "-300", "500"], None),
            (&["emf", "K", "650", "--reference", "2000"], None),
            (&["emf", "K", "650", "--reference", "warm"], None),
            (&["emf", "K", "650", "--referense", "22"], None),
            (&["emf", "K", "650", "--tolerance", "class 4"], None),
            (&["emf", "J", "100", "--tolerance", "class 3"], None),
            (&["emf", "K", "650", "--unit", "mV"], None),
            (&["emf", "K"], Some(b"")),
            (&["emf", "K"], Some(b"20\n\nthirty\n40 mm\n")),
            (&["emf", "K"], Some(b"20\n\xff\xfe\n")),
            (&["temperature", "K", "12.345"], None),
            (&["temperature", "K", "1 V"], None),
            (&["temperature", "S", "-0.5 mV", "--reference", "25"], None),
            (&["temperature", "B", "-1 uV"], None),
            (&["temperature", "K", "-6.4575 mV"], None),
            (&["table", "K", "--step", "0"], None),
            (&["table", "K", "--from", "100", "--to", "0"], None),
            (&["table", "K", "--from", "-300", "--to", "1373"], None),
            (&["table", "K", "--step", "0.001"], None),
            (&["table", "K", "--step", "10 mV"], None),
            (&["table", "K", "--json", "--csv"], None),
            (&["tabel", "K"], None),
            (&["circuit", "pedestal"], None),
            (&["circuit", "my own bridge"], None),
        ]),
    );
}

/// A front end that is almost called so: which one is meant, and all that there are.
#[test]
fn a_front_end_that_is_not_there_is_told_with_its_neighbours() {
    let file = concat!(env!("CARGO_MANIFEST_DIR"), "/../../examples/burnout-kiln.toml");
    for (name, says) in [
        ("pedestal", "did you mean pedestal-amplifier? There are "),
        ("instrumentatoin", "did you mean instrumentation? There are "),
        ("zzz", "help: one of "),
    ] {
        let said = session(&["design", file, "--front-end", name, "--out", "/nowhere/at/all"], None);
        assert!(said.contains(&format!("there is no front end \"{name}\"")), "{said}");
        assert!(said.contains(says) && said.contains("split-supply-amplifier"), "{said}");
        assert!(said.ends_with("exit 2\n"), "{said}");
    }
}

#[test]
fn bench_sheet_refusals() {
    let file = concat!(env!("CARGO_MANIFEST_DIR"), "/../../examples/freezer.toml");
    for (option, value, says) in [
        ("--board", "warm", "quantity.no_number"),
        ("--board", "300 °C", "bench_sheet.out_of_bounds"),
        ("--room", "-80 °C", "bench_sheet.out_of_bounds"),
        ("--at", "500", "bench_sheet.out_of_bounds"),
        ("--at", "5 mV", "quantity.wrong_unit"),
        ("--battery", "1.5", "quantity.no_unit"),
        ("--battery", "100 V", "bench_sheet.out_of_bounds"),
        ("--boards", "10", "4000"),
    ] {
        let said = session(&["bench-sheet", file, option, value, "--out", "/nowhere/at/all"], None);
        assert!(said.contains(says) && said.ends_with("exit 2\n"), "{option} {value}: {said}");
    }
}

#[test]
fn a_broken_pipe_is_no_panic() {
    // Far more output than a pipe holds, and a reader that leaves at once.
    let mut child = Command::new(env!("CARGO_BIN_EXE_icepoint"))
        .args(["table", "K", "--from", "0", "--to", "1300", "--step", "0.02", "--csv"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program starts");
    drop(child.stdout.take());
    let output = child.wait_with_output().expect("the program ends");
    assert_eq!(output.status.code(), Some(0));
    assert!(output.stderr.is_empty(), "{}", String::from_utf8_lossy(&output.stderr));
}

#[test]
fn a_full_disk_is_the_machines_failure() {
    // /dev/full answers every write with "no space left"; where there is none, nothing can be said.
    let Ok(full) = std::fs::OpenOptions::new().write(true).open("/dev/full") else { return };
    let status = Command::new(env!("CARGO_BIN_EXE_icepoint"))
        .args(["emf", "K", "650"])
        .stdout(full)
        .stderr(Stdio::piped())
        .output()
        .expect("the program starts");
    assert_eq!(status.status.code(), Some(3));
    assert!(String::from_utf8_lossy(&status.stderr).contains("writing the answer"));
}

#[test]
fn help_and_completions_exist_for_every_verb() {
    for verb in ["emf", "temperature", "table", "bench-sheet", "circuit"] {
        let help = session(&[verb, "--help"], None);
        assert!(
            help.contains("Examples:")
                && help.contains(&format!("icepoint {verb}"))
                && help.ends_with("exit 0\n"),
            "{help}"
        );
    }
    for shell in ["bash", "zsh", "fish", "elvish", "powershell"] {
        let script = session(&["completions", shell], None);
        assert!(script.contains("temperature") && script.ends_with("exit 0\n"), "{shell}");
    }
}

/// The text of a front end goes to a file as it is; a name that there is not is told with those that there are.
#[test]
fn front_ends_are_listed_and_printed() {
    let list = session(&["circuit"], None);
    let text = session(&["circuit", "pedestal-amplifier"], None);
    assert!(text.contains("[circuit.parts]") && text.ends_with("exit 0\n"), "{text}");
    for (id, _) in icepoint_chain::front_end::library::TEXTS {
        assert!(list.contains(id), "{list}");
    }
    let refused = session(&["circuit", "no-such"], None);
    assert!(refused.contains("pedestal-amplifier") && refused.ends_with("exit 2\n"), "{refused}");
}

#[test]
fn json_numbers_are_the_numbers() {
    // Type K at 650 °C against 22 °C from the printed table (NIST SRD 60): 27.025 mV − 0.879 mV, each ± half a digit.
    let text = session(&["emf", "K", "650", "--reference", "22", "--json"], None);
    let line = text.lines().nth(1).expect("a line");
    let value: serde_json::Value = serde_json::from_str(line).expect("JSON");
    let emf = value["emf_volts"].as_f64().expect("a number");
    assert!((emf - 26.146e-3).abs() <= 1.0e-6, "{emf}");
    assert!((value["sensitivity_volts_per_kelvin"].as_f64().expect("a number") - 42.25e-6).abs() < 0.01e-6);
    assert_eq!(value["tolerance_kelvin"], 4.875); // IEC 60584-1 class 2: 0.0075·650 °C
    // And back: what one verb prints, the other reads.
    let volts = format!("{emf} V");
    let back = session(&["temperature", "K", &volts, "--reference", "22", "--json"], None);
    let back: serde_json::Value = serde_json::from_str(back.lines().nth(1).expect("a line")).expect("JSON");
    assert!((back["temperature_celsius"].as_f64().expect("a number") - 650.0).abs() < 1e-9);
}

/// Mistakes of a drawer are told once, each at its place, whether a front end is named or all are compared.
#[test]
fn mistakes_of_a_drawer_keep_their_places() {
    let folder = std::env::temp_dir().join(format!("icepoint-drawer-{}", std::process::id()));
    std::fs::create_dir_all(&folder).unwrap();
    let example = concat!(env!("CARGO_MANIFEST_DIR"), "/../../examples/kiln-drawer.toml");
    let named = std::fs::read_to_string(example).unwrap();
    let open: String =
        named.lines().filter(|l| !l.starts_with("topology")).map(|l| format!("{l}\n")).collect();
    assert_ne!(open.lines().count(), named.lines().count());
    let csv = "value,kind,count\n1 kΩ,resistor,ten\n2k2,resitor,4\n-5,resistor,2\n";
    std::fs::write(folder.join("drawer.csv"), csv).unwrap();
    let refused = |text: &str| {
        let path = folder.join("chain.toml");
        std::fs::write(&path, text).unwrap();
        let told = session(&["design", path.to_str().unwrap()], None);
        told.replace(folder.to_str().unwrap(), "FOLDER")
    };
    let (open, named) = (refused(&open), refused(&named));
    std::fs::remove_dir_all(&folder).unwrap();
    assert_eq!(open, named);
    assert_kept("drawer", &open);
}
