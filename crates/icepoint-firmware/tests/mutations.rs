//! The proof proves something: one wrong table entry, a swapped sign, an overflow are caught. Every mutant compiles; one
//! that changes no result at all is found out beforehand and not counted.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used, missing_docs)] // helpers of tests fail like tests

mod common;

use std::sync::{Mutex, MutexGuard, OnceLock};

use icepoint_firmware::choice::Effort;
use icepoint_firmware::curve::{Curve, Width};
use icepoint_firmware::firmware::File;
use icepoint_firmware::integer::IntegerProgram;
use icepoint_firmware::proof::plan::Plan;
use icepoint_firmware::proof::{Code, Proof, Scope, prove_code};
use icepoint_firmware::{Firmware, Request, firmware};

/// The kiln with every form that reaches the error; one test at a time puts programs into it.
fn kiln() -> MutexGuard<'static, Firmware> {
    static KILN: OnceLock<Mutex<Firmware>> = OnceLock::new();
    let made = || {
        let request = Request {
            name: Some("kiln".into()),
            error: Some(0.2),
            effort: Effort { all: true },
            ..Request::default()
        };
        Mutex::new(firmware(common::kiln(), &request).expect("firmware"))
    };
    KILN.get_or_init(made).lock().unwrap_or_else(std::sync::PoisonError::into_inner)
}

/// The proof of some source against the firmware's program; a source that doesn't compile proves nothing.
fn proved(f: &Firmware, source: String, scope: Scope) -> Proof {
    let code = Code {
        files: vec![
            File { name: "kiln.h".into(), contents: f.c_header() },
            File { name: "kiln.c".into(), contents: source.clone() },
        ],
    };
    let folder = tempfile::tempdir().expect("a folder");
    let proof = prove_code(f, &code, scope, folder.path()).expect("a proof");
    let told = format!("{proof:?}");
    assert!(!told.contains("does not compile") && !proof.targets.is_empty(), "{told}\n{source}");
    proof
}

/// Replaces what must be there.
fn with(source: &str, from: &str, to: &str) -> String {
    assert!(source.contains(from), "the source has no “{from}”:\n{source}");
    source.replacen(from, to, 1)
}

/// Whether two programs come to the same state and number for every input of the plan.
fn same(plan: &Plan, a: &IntegerProgram, b: &IntegerProgram) -> bool {
    (0..plan.rounds()).all(|round| {
        (0..plan.count).all(|k| {
            let (input, junction) = (plan.input(k), plan.junction(round, k));
            a.evaluate(input, junction, &a.nominal) == b.evaluate(input, junction, &b.nominal)
        })
    })
}

/// Every word of one row, one step up: knot, base, slope, bends.
fn one_up(curve: &Curve, at: usize) -> Vec<(String, Curve)> {
    let mut list = Vec::new();
    for word in 0..3 + curve.form.bends() {
        let mut wrong = curve.clone();
        let row = &mut wrong.rows[at];
        let name = match word {
            // The first knot is 0 and never looked at unless an input lies below it.
            0 if at == 0 => continue,
            0 => {
                row.knot += 1;
                "knot".to_owned()
            }
            1 => {
                row.base += 1;
                "base".to_owned()
            }
            2 => {
                row.slope = row.slope.wrapping_add(1);
                "slope".to_owned()
            }
            _ => {
                row.bends[word - 3] = row.bends[word - 3].wrapping_add(1);
                format!("bend {}", word - 2)
            }
        };
        list.push((name, wrong));
    }
    list
}

#[test]
fn one_wrong_entry_of_any_table_is_caught() {
    if !common::have("gcc") {
        return;
    }
    let mut f = kiln();
    let chosen = f.program.clone();
    let programs: Vec<IntegerProgram> = f.candidates.iter().filter_map(|c| c.program.clone()).collect();
    assert!(programs.len() >= 7, "{} forms", programs.len());
    let plan = Plan::whole(&f);
    let (mut caught, mut silent) = (0, 0);
    for program in programs {
        f.program = program.clone();
        let name = format!("{}, {} bit", program.curve.form.name(), program.curve.width.bits());
        let good = proved(&f, f.c_source(), Scope::QUICK);
        assert!(good.holds(), "{name}: {good:?}");
        let mut mutants = Vec::new();
        let middle = program.curve.rows.len() / 2;
        for (word, curve) in one_up(&program.curve, middle) {
            mutants.push((format!("sum {word}"), IntegerProgram { curve, ..program.clone() }));
        }
        let junction = program.junction.clone().expect("a junction");
        for (word, curve) in one_up(&junction.curve, junction.curve.rows.len() / 2) {
            let junction = icepoint_firmware::integer::JunctionCurve { curve, ..junction.clone() };
            mutants.push((
                format!("junction {word}"),
                IntegerProgram { junction: Some(junction), ..program.clone() },
            ));
        }
        for (what, mutant) in mutants {
            if same(&plan, &program, &mutant) {
                silent += 1;
                println!("{name}: {what} changes no result");
                continue;
            }
            f.program = mutant;
            let source = f.c_source();
            f.program = program.clone();
            let proof = proved(&f, source, Scope::QUICK);
            assert!(!proof.holds(), "{name}: {what} one step up passes for the code");
            caught += 1;
        }
    }
    f.program = chosen;
    println!("{caught} wrong entries caught, {silent} change nothing");
    assert!(caught > 40 && silent * 4 < caught, "{caught} caught, {silent} silent");
}

#[test]
fn swapped_signs_overflows_and_missing_checks_are_caught() {
    if !common::have("gcc") {
        return;
    }
    let f = kiln();
    let source = f.c_source();
    let good = proved(&f, source.clone(), Scope::HERE);
    assert!(good.holds() && good.targets.len() >= 2, "{good:?}");
    let wide = f.program.curve.width == Width::Wide;
    let part = "(((uint32_t)w * z) >> 16) - (z >> 1)";
    let mut mutants = vec![
        ("sign of the junction", with(&source, "    x += ", "    x -= ")),
        ("junction left out", with(&source, "    x += ", "    x += 0u * ")),
        (
            "sign of the offset",
            with(&source, "+ (uint32_t)calibration->offset", "- (uint32_t)calibration->offset"),
        ),
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
        ("junction's range one step wider", {
            let high = f.program.junction.as_ref().expect("a junction").range.1;
            with(&source, &format!("junction > {high}"), &format!("junction > {}", high + 1))
        }),
        ("whole codes not shifted", with(&source, "(uint16_t)(code << 4)", "(uint16_t)(code << 3)")),
        (
            "highest sum one lower",
            with(&source, &format!("x > {}uL", f.program.top), &format!("x > {}uL", f.program.top - 4096)),
        ),
    ];
    if f.program.curve.form.bends() > 0 {
        mutants.push(("sign of a bend", with(&source, part, "(((uint32_t)w * z) >> 16) + (z >> 1)")));
    }
    if !wide {
        mutants.push((
            "product of 16 bits in the curve",
            with(&source, "((uint32_t)u * ", "(uint32_t)(uint16_t)(u * (uint32_t)"),
        ));
    }
    if let Some(from) = f.program.thresholds.open_from {
        mutants.push((
            "open one step late",
            with(&source, &format!("code >= {from}u"), &format!("code >= {}u", from + 1)),
        ));
    }
    if f.filter.is_some() {
        mutants.push(("a filter that never clears its sum", with(&source, "    filter->sum = 0;\n", "")));
    }
    for (what, mutant) in mutants {
        let scope = Scope { sanitizers: what == "signed overflow", ..Scope::QUICK };
        let proof = proved(&f, mutant, scope);
        let caught: Vec<&str> =
            proof.targets.iter().filter(|t| !t.proven()).map(|t| t.name.as_str()).collect();
        println!("{what}: {caught:?}");
        assert!(!proof.holds(), "“{what}” passes for the code");
    }
}
