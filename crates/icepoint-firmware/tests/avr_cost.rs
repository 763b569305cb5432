//! The estimate that decides which form is taken, against the compiler's bytes and the emulator's timer: every form that
//! the kiln can have, and chains without a junction input, of 16 and of 24 bits.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used, missing_docs)] // helpers of tests fail like tests

mod common;

use icepoint_firmware::choice::Effort;
use icepoint_firmware::cost::estimate;
use icepoint_firmware::proof::avr_cost;
use icepoint_firmware::{Firmware, Request, firmware};

/// What the estimates may be off by.
const BYTES: f64 = 0.05;
const CYCLES: f64 = 0.08;

fn compare(f: &Firmware, name: &str) -> Vec<String> {
    let (bytes, cycles) = avr_cost(f).expect("a run").expect("a compiler and an emulator");
    let estimated = estimate(&f.program);
    let off = (
        f64::from(estimated.bytes) / f64::from(bytes) - 1.0,
        f64::from(estimated.cycles) / cycles.mean - 1.0,
    );
    println!(
        "{name}: {} bytes estimated, {bytes} measured ({:+.1} %); {} cycles, {:.0} measured ({:+.1} %); {} + {} rows, {} bytes of tables",
        estimated.bytes,
        100.0 * off.0,
        estimated.cycles,
        cycles.mean,
        100.0 * off.1,
        f.program.curve.rows.len(),
        f.program.junction.as_ref().map_or(0, |j| j.curve.rows.len()),
        f.program.table_bytes(),
    );
    let mut wrong = Vec::new();
    if off.0.abs() > BYTES {
        wrong.push(format!("{name}: bytes {:+.1} %", 100.0 * off.0));
    }
    if off.1.abs() > CYCLES {
        wrong.push(format!("{name}: cycles {:+.1} %", 100.0 * off.1));
    }
    wrong
}

#[test]
fn estimates_are_near_what_is_measured() {
    if !(common::have("avr-gcc") && common::have("simavr") && common::have("gcc")) {
        return;
    }
    let mut wrong = Vec::new();
    for (chain, error, all) in [
        (common::kiln().clone(), 0.1, true),
        (common::compensated(), 0.1, false),
        (common::example("freezer"), 0.05, false),
    ] {
        let request = Request {
            name: Some("t".into()),
            error: Some(error),
            effort: Effort { all },
            ..Request::default()
        };
        let mut f = firmware(&chain, &request).unwrap_or_else(|e| panic!("{}: {e}", chain.name));
        for candidate in std::mem::take(&mut f.candidates) {
            let Some(program) = candidate.program else { continue };
            // Only forms compared at a few junction inputs: those that leave a register elsewhere are not of interest.
            if !program.sound(u32::MAX) {
                continue;
            }
            let name =
                format!("{}, {}, {} bit", chain.name, program.curve.form.name(), program.curve.width.bits());
            f.program = program;
            wrong.extend(compare(&f, &name));
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

/// The table of docs/firmware.md: the smallest that is found for the kiln, measured, row by row as it is printed there.
#[test]
fn the_documented_sizes_are_those_of_today() {
    if !(common::have("avr-gcc") && common::have("simavr")) {
        return;
    }
    let documented = include_str!("../../../docs/firmware.md");
    let mut missing = Vec::new();
    for (error, most) in [(0.5, 600), (0.1, 600), (0.02, 1200)] {
        let request = Request {
            name: Some("kiln".into()),
            error: Some(error),
            effort: Effort { all: false },
            ..Request::default()
        };
        let f = firmware(common::kiln(), &request).expect("firmware");
        let (bytes, cycles) = avr_cost(&f).expect("a run").expect("a compiler and an emulator");
        let row = format!(
            "| {error} K | {}, {} bit | {} | {bytes} | {:.0} | {:.3} K | {:.3} K |",
            f.program.curve.form.name(),
            f.program.curve.width.bits(),
            f.program.curve.rows.len(),
            cycles.mean,
            f.walk.error,
            f.everywhere
        );
        println!("{row}");
        assert!(bytes <= most, "{row}");
        if !documented.contains(&row) {
            missing.push(row);
        }
    }
    assert!(missing.is_empty(), "docs/firmware.md has other rows than {missing:#?}");
}
