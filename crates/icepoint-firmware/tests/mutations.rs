//! The proof proves something: one wrong table entry, a swapped sign, an overflow are caught.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used, missing_docs)] // helpers of tests fail like tests

mod common;

use icepoint_firmware::choice::Effort;
use icepoint_firmware::firmware::File;
use icepoint_firmware::proof::{Code, Proof, Scope, prove_code};
use icepoint_firmware::{Firmware, Request, firmware};

fn kiln() -> Firmware {
    let request = Request {
        name: Some("kiln".into()),
        error: Some(0.1),
        effort: Effort { all: false },
        ..Request::default()
    };
    firmware(common::kiln(), &request).expect("firmware")
}

fn proved(f: &Firmware, source: String) -> Proof {
    let code = Code {
        files: vec![
            File { name: "kiln.h".into(), contents: f.c_header() },
            File { name: "kiln.c".into(), contents: source },
        ],
    };
    let folder = tempfile::tempdir().expect("a folder");
    prove_code(f, &code, Scope { emulators: false }, folder.path()).expect("a proof")
}

/// Replaces what must be there.
fn with(source: &str, from: &str, to: &str) -> String {
    assert!(source.contains(from), "the source has no “{from}”:\n{source}");
    source.replacen(from, to, 1)
}

#[test]
fn the_code_itself_is_proved_and_its_mutants_are_not() {
    if !common::have("gcc") {
        return;
    }
    let f = kiln();
    let source = f.c_source();
    let good = proved(&f, source.clone());
    assert!(good.holds(), "{good:?}");

    // Every entry of both tables, one step up: knot, base, slope, bend.
    let row = &f.program.curve.rows[f.program.curve.rows.len() / 2];
    let mut mutants = vec![
        (
            "base",
            with(
                &source,
                &format!(" {}u, {}u, {}u", row.knot, row.base, row.slope),
                &format!(" {}u, {}u, {}u", row.knot, row.base + 1, row.slope),
            ),
        ),
        (
            "slope",
            with(
                &source,
                &format!(" {}u, {}u, {}u", row.knot, row.base, row.slope),
                &format!(" {}u, {}u, {}u", row.knot, row.base, row.slope - 8),
            ),
        ),
        (
            "knot",
            with(
                &source,
                &format!(" {}u, {}u, {}u", row.knot, row.base, row.slope),
                &format!(" {}u, {}u, {}u", row.knot + 64, row.base, row.slope),
            ),
        ),
        ("sign of the junction", with(&source, "    x += ", "    x -= ")),
        ("junction left out", with(&source, "    x += ", "    (void)")),
        ("sign of the result's base", {
            let (from, to) = if f.program.base < 0 { (") - ", ") + ") } else { (") + ", ") - ") };
            let at = source.find("*result = (").expect("the result");
            let (head, tail) = source.split_at(at);
            format!("{head}{}", with(tail, from, to))
        }),
        (
            "overflow of the product",
            with(
                &source,
                "((uint32_t)code * calibration->gain)",
                "(uint32_t)(uint16_t)(code * (uint32_t)calibration->gain)",
            ),
        ),
        (
            "signed overflow",
            with(
                &source,
                "((uint32_t)code * calibration->gain)",
                "(uint32_t)((int32_t)code * (int32_t)calibration->gain)",
            ),
        ),
        (
            "check not looked at",
            with(
                &source,
                "calibration->check != kiln_calibration_check(calibration)",
                "calibration->check == 0u",
            ),
        ),
        ("a failing state with a number", with(&source, "*result = KILN_INVALID;", "*result = 0;")),
    ];
    if let Some(from) = f.program.thresholds.open_from {
        mutants.push((
            "open one step late",
            with(&source, &format!("code >= {from}u"), &format!("code >= {}u", from + 1)),
        ));
    }
    for (what, mutant) in mutants {
        let proof = proved(&f, mutant);
        let caught: Vec<&str> =
            proof.targets.iter().filter(|t| !t.proven()).map(|t| t.name.as_str()).collect();
        println!("{what}: {caught:?}");
        assert!(!proof.holds(), "“{what}” passes for the code");
    }
}
