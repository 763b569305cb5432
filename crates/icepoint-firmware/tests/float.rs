//! Floating point beside whole numbers: the same chain, the same states, the error walked here and found again in C.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used, missing_docs)] // helpers of tests fail like tests

mod common;

use icepoint_chain::chain::Correction;
use icepoint_firmware::choice::Effort;
use icepoint_firmware::curve::Form;
use icepoint_firmware::float::{FloatProgram, Kind, Unfit};
use icepoint_firmware::inverse::Inverse;
use icepoint_firmware::proof::{Scope, float_targets};
use icepoint_firmware::states::{State, Thresholds};
use icepoint_firmware::{Firmware, Request, firmware};
use icepoint_sensors::Letter;

fn made(chain: &icepoint_chain::Chain, error: f64) -> Firmware {
    // Chords follow a corner best.
    let degree = if chain.need.board.0 < 0.0 { 1 } else { 2 };
    let request = Request {
        name: Some("t".into()),
        error: Some(error),
        form: Some(Form::Polynomial(degree)),
        effort: Effort { all: false },
        ..Request::default()
    };
    firmware(chain, &request).unwrap_or_else(|e| panic!("{}: {e}", chain.name))
}

/// Printed error of the published polynomials of type N over the kiln's range, K, and what `float` adds at 40 mV: half of
/// its last place is 2 nV, and the coefficients' rounding a few thousandths of a kelvin.
const PUBLISHED_N: f64 = 0.06;
const ROUNDING: f64 = 0.03;

#[test]
fn float_keeps_its_error_and_runs_the_same_bits() {
    let cases = [
        (common::kiln().clone(), 0.1),
        (common::thermistor(), 0.2),
        (common::falling().clone(), 0.1),
        (common::compensated_12_bit(), 0.1),
        (common::example("freezer"), 0.05),
        (common::chain(Letter::R, (0.0, 1600.0), 16), 0.2),
        // Type N's functions meet at 0 °C with a corner.
        (cold(common::kiln().clone()), 0.1),
        (cold(common::thermistor()), 0.2),
        (cold(common::chain(Letter::K, (0.0, 900.0), 16)), 0.1),
    ];
    for (chain, error) in cases {
        let f = made(&chain, error);
        assert!(f.floats.iter().any(|v| v.program.kind == Kind::Fitted), "{}: no float firmware", chain.name);
        for variant in &f.floats {
            println!(
                "{}: {}: {} pieces, {} bytes of tables, {:.4} K",
                chain.name,
                variant.program.kind.name(),
                variant.program.pieces.len(),
                variant.program.table_bytes(),
                variant.walk.error
            );
            let most = match variant.program.kind {
                Kind::Fitted => error,
                Kind::Published => PUBLISHED_N + ROUNDING,
            };
            assert!(variant.walk.error <= most, "{}: {} K", chain.name, variant.walk.error);
            // The same inputs have a temperature as with whole numbers, but for a sum at the very edge.
            let whole = icepoint_firmware::walk::walk(
                &f.program,
                &f.inverse,
                1 << (f.program.aligned_bits - 16),
                &icepoint_firmware::walk::junction_grid(
                    icepoint_firmware::walk::Conversion::junction_range(&f.program),
                    5,
                ),
            );
            assert!(
                whole.states.iter().zip(variant.walk.states).all(|(a, b)| a.abs_diff(b) <= 40),
                "{}: {:?} {:?}",
                chain.name,
                whole.states,
                variant.walk.states
            );
        }
        if common::have("gcc") {
            let (targets, missing) = float_targets(&f, Scope::QUICK).expect("a run");
            assert!(missing.is_empty() && targets.len() == f.floats.len(), "{targets:?} {missing:?}");
            for t in &targets {
                assert!(t.problems.is_empty(), "{}: {t:?}", chain.name);
                assert_eq!(t.same_bits, Some(true), "{}: {t:?}", chain.name);
            }
        }
    }
}

/// A board that may be below 0 °C.
fn cold(mut chain: icepoint_chain::Chain) -> icepoint_chain::Chain {
    chain.name += ", cold board";
    chain.need.board.0 = -25.0;
    chain
}

/// What is in the way of a smaller error is named as it is.
#[test]
fn what_float_cannot_do_has_its_reason() {
    let inverse = Inverse::new(common::kiln()).expect("an inverse");
    let thresholds = Thresholds::new(&inverse).expect("thresholds");
    let Err(unfit) = FloatProgram::fitted(&inverse, thresholds, 1e-4).map(|v| v.walk.error) else {
        panic!("a tenth of a millikelvin at 1100 °C in float")
    };
    let Unfit::Rounding(least) = unfit else { panic!("{unfit}") };
    println!("{unfit}");
    // The last place of 1100 °C is 0.00012 K.
    assert!(least > 1e-4 && least < 1e-3, "{unfit}");
    assert!(unfit.to_string().contains("rounding to the 24 bits of a float leaves 0.000"), "{unfit}");
    let finer = FloatProgram::fitted(&inverse, thresholds, 1e-9).map(|v| v.walk.error);
    assert_eq!(finer, Err(Unfit::Pieces));
}

/// Constants that are no numbers read as below; a compiler that takes it that there are none is refused.
#[test]
fn fast_mathematics_is_refused() {
    if !common::have("gcc") {
        return;
    }
    let f = firmware(
        common::kiln(),
        &Request {
            name: Some("t".into()),
            error: Some(0.25),
            form: Some(Form::Polynomial(2)),
            effort: Effort { all: false },
            float: true,
            ..Request::default()
        },
    )
    .expect("firmware");
    let folder = tempfile::tempdir().expect("a folder");
    for file in f.files() {
        std::fs::write(folder.path().join(file.name), file.contents).expect("written");
    }
    for (option, good) in [
        ("-O2", true),
        ("-O3", true),
        ("-ffast-math", false),
        ("-Ofast", false),
        ("-ffinite-math-only", false),
    ] {
        let out = std::process::Command::new("gcc")
            .args([
                "-std=c99",
                "-Wall",
                "-Wextra",
                "-Wundef",
                "-pedantic",
                "-Werror",
                option,
                "-c",
                "t_float.c",
            ])
            .current_dir(folder.path())
            .output()
            .expect("gcc");
        let words = String::from_utf8_lossy(&out.stderr);
        assert_eq!(out.status.success(), good, "{option}: {words}");
        assert_eq!(words.contains("compile without -ffast-math"), !good, "{option}: {words}");
    }
}

#[test]
fn published_polynomials_are_there_for_the_types_that_have_them() {
    let kiln = made(common::kiln(), 0.1);
    assert!(kiln.floats.iter().any(|v| v.program.kind == Kind::Published));
    // None is printed for type C.
    let c = made(&common::chain(Letter::C, (0.0, 2000.0), 16), 0.3);
    assert!(c.floats.iter().all(|v| v.program.kind != Kind::Published));
}

/// The same correction in both arithmetics comes to the same temperatures.
#[test]
fn a_correction_reads_the_same_in_float() {
    let mut corrected = common::kiln().clone();
    corrected.correction = Some(Correction { offset: -15e-6, gain: 1.004 });
    for chain in [common::kiln().clone(), corrected, common::compensated_12_bit()] {
        let f = made(&chain, 0.1);
        let float =
            &f.floats.iter().find(|v| v.program.kind == Kind::Fitted).expect("a float program").program;
        let volts = if f.inverse.line() { f.inverse.nominal_transfer().1 } else { 1.0 };
        let junction = f.junctions()[f.junctions().len() / 2];
        let mut moved = 0.0f64;
        for (offset, gain) in [(0.0, 1.0), (20e-6, 0.998), (-30e-6, 1.002)] {
            let found = Correction { offset: offset * volts, gain };
            let constants = f.constants(found).expect("constants");
            let (g, o) = float.constants(&f.inverse, found);
            let float = FloatProgram { gain: g, offset: o, ..float.clone() };
            for aligned in (8000..60_000).step_by(997) {
                let whole = f.program.evaluate(aligned, junction, &constants);
                let (state, celsius) = float.evaluate(aligned, junction);
                if whole.state != State::InRange || state != State::InRange {
                    continue;
                }
                let whole = f64::from(whole.value) / f64::from(f.program.unit.per_kelvin());
                // Both errors, and half a part in 60000 of the range by the integer gain.
                assert!(
                    (whole - f64::from(celsius)).abs() < 0.1 + 0.1 + 0.02,
                    "{}: {whole} {celsius}",
                    chain.name
                );
                moved = moved.max(
                    (f64::from(celsius) - f64::from(f.floats[0].program.evaluate(aligned, junction).1)).abs(),
                );
            }
        }
        assert!(moved > 0.5, "{}: a correction that moves nothing proves nothing", chain.name);
    }
}
