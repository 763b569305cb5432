//! Chains for the tests: the example kiln with its values chosen, and the same front end for any type and converter.

#![allow(dead_code)] // each test program uses some of these

use std::path::PathBuf;
use std::sync::OnceLock;

use icepoint_chain::chain::{
    Chain, ConverterKind, DividerArm, JunctionMethod, JunctionSensor, ProbeTolerance,
};
use icepoint_chain::front_end::Values;
use icepoint_chain::{Model, file, resolve};
use icepoint_firmware::choice::Effort;
use icepoint_firmware::curve::Form;
use icepoint_firmware::{Firmware, Request, firmware};
use icepoint_sensors::Letter;
use icepoint_sensors::platinum::Class;

/// An example chain with the values that `design` would choose.
pub fn example(name: &str) -> Chain {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../examples").join(name);
    let text = std::fs::read_to_string(path.with_extension("toml")).expect("an example");
    let file = file::parse(name, &text).unwrap_or_else(|r| panic!("{name}: {:?}", r.problems));
    let resolved = resolve::resolve(&file).unwrap_or_else(|r| panic!("{name}: {:?}", r.problems));
    let values = icepoint_design::values(&resolved).expect("values");
    resolved.with_values(&values)
}

/// The burn-out kiln, made once.
pub fn kiln() -> &'static Chain {
    static KILN: OnceLock<Chain> = OnceLock::new();
    KILN.get_or_init(|| example("burnout-kiln"))
}

/// The kiln with something else in its file, and the values of the kiln as it is: another board of the same drawing.
pub fn kiln_with(changes: &[(&str, &str)]) -> Chain {
    static VALUES: OnceLock<Values> = OnceLock::new();
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../examples/burnout-kiln.toml");
    let text = std::fs::read_to_string(path).expect("the example");
    let resolved = |text: &str| {
        let file = file::parse("kiln.toml", text).unwrap_or_else(|r| panic!("{:?}", r.problems));
        resolve::resolve(&file).unwrap_or_else(|r| panic!("{:?}", r.problems))
    };
    let values = VALUES.get_or_init(|| icepoint_design::values(&resolved(&text)).expect("values"));
    let mut changed = text.clone();
    for (from, to) in changes {
        assert!(changed.contains(from), "{from} is not in the example");
        changed = changed.replacen(from, to, 1);
    }
    resolved(&changed).with_values(values)
}

/// The whole range of a type that has one temperature for an emf.
pub fn full_range(letter: Letter) -> (f64, f64) {
    let (low, high) = letter.range();
    // Type B: the model's rule needs a rising function, and below 50 °C it is nearly flat or falls.
    (letter.insensitive_below().unwrap_or(low).max(if letter == Letter::B { 50.0 } else { low }), high)
}

/// The kiln's front end behind another type and range, with a converter whose span just holds the range.
pub fn chain(letter: Letter, hot: (f64, f64), bits: u32) -> Chain {
    let mut chain = kiln().clone();
    chain.name = format!("type {} on {bits} bits", letter.name());
    chain.probe.letter = letter;
    chain.probe.tolerance = ProbeTolerance::Exact;
    chain.lead = None;
    chain.need.hot = hot;
    let model = Model::without_dynamics(chain.clone()).expect("a model");
    let (offset, gain) = model.nominal_transfer();
    let output = |hot: f64, board: f64| {
        offset + gain * (letter.emf_and_slope_extended(hot).0 - letter.emf_and_slope_extended(board).0)
    };
    let (low, high) = (output(hot.0, chain.need.board.1), output(hot.1, chain.need.board.0));
    let reference = 1.03 * low.abs().max(high.abs());
    chain.converter.kind = ConverterKind::Adc { bits, reference };
    chain.converter.input.lowest = if low < 0.0 { -1.0 } else { 0.0 };
    chain
}

/// Whether a program can be started; says so loudly if not.
pub fn have(program: &str) -> bool {
    let there = std::process::Command::new(program).arg("--version").output().is_ok();
    if !there {
        eprintln!("SKIPPED: {program} is not installed");
    }
    there
}

/// A board of the model's tests, all values in its file.
pub fn board(name: &str) -> Chain {
    board_in("../icepoint-chain/tests/model/boards", name)
}

/// A board in a folder, all values in its file.
pub fn board_in(folder: &str, name: &str) -> Chain {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join(folder).join(name);
    let text = std::fs::read_to_string(path.with_extension("toml")).expect("a board");
    let file = file::parse(name, &text).unwrap_or_else(|r| panic!("{name}: {:?}", r.problems));
    let resolved = resolve::resolve(&file).unwrap_or_else(|r| panic!("{name}: {:?}", r.problems));
    let values = resolved.fixed.clone();
    resolved.with_values(&values)
}

/// A board that compensates with a voltage sensor in its circuit and reads a straight line: 16 bit, type K.
pub fn compensated() -> Chain {
    board("taps")
}

/// The kiln's board, 12 bit, with a thermistor on the converter's second channel.
pub fn thermistor() -> Chain {
    let mut chain = kiln().clone();
    chain.name = "thermistor".into();
    chain.junction.method = JunctionMethod::Measured(JunctionSensor::Thermistor {
        r25: 10_000.0,
        beta: 3950.0,
        tolerance: 0.01,
        beta_tolerance: 0.01,
        divider: DividerArm { ohms: 10_000.0, tolerance: 0.001, tempco: 25e-6 },
    });
    chain
}

/// The same with a platinum resistor of 100 Ω, against a resistor near it: more ohms would leave few codes to a kelvin.
pub fn platinum() -> Chain {
    let mut chain = kiln().clone();
    chain.name = "platinum".into();
    chain.junction.method = JunctionMethod::Measured(JunctionSensor::Platinum {
        class: Class::B,
        divider: DividerArm { ohms: 100.0, tolerance: 0.001, tempco: 25e-6 },
    });
    chain
}

/// Numbers that are the same every time (Knuth's multiplier), in [0, 1).
pub fn random(k: u32) -> f64 {
    f64::from(k.wrapping_add(1).wrapping_mul(2_654_435_761)) / 4_294_967_296.0
}

/// Compiles a firmware's C with a program of the test's own and runs it; what it printed.
pub fn run_c(f: &icepoint_firmware::Firmware, main: &str) -> String {
    let folder = tempfile::tempdir().expect("a folder");
    let p = &f.facts.prefix;
    let write = |name: &str, text: &str| std::fs::write(folder.path().join(name), text).expect("written");
    write(&format!("{p}.h"), &f.c_header());
    write(&format!("{p}.c"), &f.c_source());
    write("test-main.c", &format!("#include \"{p}.h\"\n#include <stdio.h>\n{main}"));
    let built = std::process::Command::new("gcc")
        .args([
            "-std=c99",
            "-Wall",
            "-Wextra",
            "-Wconversion",
            "-pedantic",
            "-Werror",
            "-O2",
            "-o",
            "test.elf",
        ])
        .args(["-fsanitize=undefined,address", "-fno-sanitize-recover=all"])
        .args(["test-main.c", &format!("{p}.c"), "-lm"])
        .current_dir(folder.path())
        .output()
        .expect("gcc");
    assert!(built.status.success(), "{}\n{main}", String::from_utf8_lossy(&built.stderr));
    let ran = std::process::Command::new(folder.path().join("test.elf")).output().expect("the program");
    assert!(ran.status.success(), "{}", String::from_utf8_lossy(&ran.stderr));
    String::from_utf8(ran.stdout).expect("text")
}

/// The compensated board on 12 bits.
pub fn compensated_12_bit() -> Chain {
    let mut chain = compensated();
    chain.name = "compensated, 12 bit".into();
    if let ConverterKind::Adc { reference, .. } = chain.converter.kind {
        chain.converter.kind = ConverterKind::Adc { bits: 12, reference };
    }
    chain
}

/// A board whose output falls with temperature: the kiln's with one inverting stage of an active low-pass.
pub fn falling() -> &'static Chain {
    static FALLING: OnceLock<Chain> = OnceLock::new();
    FALLING.get_or_init(made_falling)
}

fn made_falling() -> Chain {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../examples/burnout-kiln.toml");
    let text = std::fs::read_to_string(path).expect("the example");
    let text = text.replace("name = \"burn-out kiln\"", "name = \"falling\"")
        + "\n[filter.analog]\npoles = 2\nform = \"multiple-feedback\"\nresponse = \"bessel\"\n";
    let file = file::parse("falling.toml", &text).unwrap_or_else(|r| panic!("{:?}", r.problems));
    let resolved = resolve::resolve(&file).unwrap_or_else(|r| panic!("{:?}", r.problems));
    let values = icepoint_design::values(&resolved).expect("values");
    resolved.with_values(&values)
}

/// The firmware of a chain by parabolas, soon made, with names that begin with `t`.
pub fn made(chain: &Chain, error: f64) -> Firmware {
    let request = Request {
        name: Some("t".into()),
        error: Some(error),
        form: Some(Form::Polynomial(2)),
        effort: Effort { all: false },
        ..Request::default()
    };
    firmware(chain, &request).unwrap_or_else(|e| panic!("{}: {e}", chain.name))
}
