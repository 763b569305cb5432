//! The page that says how to call it, what it is worth, and what it can't tell.

use std::fmt::Write as _;

use icepoint_chain::chain::Correction;
use icepoint_chain::quantity;

use crate::c_source::{code_type, junction_type, result_type};
use crate::choice::Smallest;
use crate::firmware::Firmware;
use crate::float::Kind;
use crate::identifier::capitals;
use crate::inverse::JunctionInput;
use crate::states::State;

/// Markdown.
pub fn page(firmware: &Firmware) -> String {
    let mut out = String::new();
    let f = firmware;
    let p = &f.facts.prefix;
    let up = capitals(p);
    let program = &f.program;
    let _ = write!(
        out,
        "# {}: code to temperature\n\n> **Caution.** This is a measurement, not a safety cut-out. A cut-out must be independent of it: own sensor, own\n> circuit, no software. Local codes and licensed practice come first.\n\n",
        f.facts.title
    );
    let _ = write!(
        out,
        "Fingerprint of the chain file: `{}`. Made by icepoint {}.\n\n",
        f.facts.fingerprint, f.facts.version
    );
    calling(&mut out, f, p, &up);
    filter(&mut out, f, p);
    let _ = write!(out, "## States\n\n| number | name | meaning |\n|---:|---|---|\n");
    for state in State::ALL {
        let _ = writeln!(
            out,
            "| {} | `{up}_{}` | {} |",
            state as u8,
            state.name().to_ascii_uppercase(),
            f.facts.meaning(state)
        );
    }
    let _ = write!(
        out,
        "\nIn every state but 0 the result is `{up}_INVALID` ({}), which no temperature of the range has.\n\n",
        program.invalid()
    );
    broken_sensor(&mut out, f);
    let code = f.code_words();
    let _ = write!(
        out,
        "## How good it is\n\n- Largest error against the exact inverse of the chain: **{:.4} K** ({:.4} K wanted), found by walking every input\n  of the converter ({} of them, parts of a code included) at {} inputs of the reference junction; at {:.2} °C or so.\n- Bound for any pair of code and reference-junction input: **{:.4} K** (each part walked on its own, then every sum).\n- The converter's own quantisation is beside it: one code is {} K to {} K. So are the errors of the parts:\n  `icepoint budget` says how much.\n\n",
        f.walk.error,
        f.error,
        1u64 << program.aligned_bits,
        f.junctions().len(),
        worst_celsius(f),
        f.everywhere,
        code.0,
        code.1
    );
    choices(&mut out, f);
    floats(&mut out, f, p);
    calibration(&mut out, f, p, &up);
    out
}

/// Exact temperature at which the walk found its largest error, °C.
pub fn worst_celsius(f: &Firmware) -> f64 {
    let (aligned, junction) = f.walk.at;
    let emf = f.inverse.junction_emf(f64::from(junction)).unwrap_or(0.0);
    f.inverse.celsius(f.inverse.thermocouple_volts(f64::from(aligned)) + emf)
}

fn calling(out: &mut String, f: &Firmware, p: &str, up: &str) {
    let program = &f.program;
    let junction = junction_type(program);
    let argument = if junction.is_some() { "junction, " } else { "" };
    let declared = junction.map_or(String::new(), |(kind, meaning)| {
        format!("{kind} junction = read_junction(); /* {meaning} */\n")
    });
    let _ = write!(
        out,
        "## How to call it\n\n```c\n#include \"{p}.h\"\n\nstatic {p}_calibration constants = {up}_CALIBRATION_NOMINAL; /* or from memory that keeps them */\n\n{} code = read_converter();\n{declared}{} result;\nif ({p}_temperature(code, {argument}&constants, &result) == {up}_IN_RANGE) {{\n    /* result / {} is the temperature in °C */\n}}\n```\n\n",
        code_type(program),
        result_type(program),
        program.unit.per_kelvin()
    );
    let _ = write!(
        out,
        "C99, `stdint.h` only, no allocation, no floating point here, no state of its own. In Rust: `mod {p};`, `core` only, the same\nnumbers. `{p}-vectors.csv` has inputs with their results for a test on the target.\n\n"
    );
}

/// What the states can't tell of a broken sensor.
fn broken_sensor(out: &mut String, f: &Firmware) {
    if f.inverse.pulsed_detection() {
        let found = match f.open_in_pulse {
            Some(codes) => format!(
                "a code of **{codes}** is a broken sensor,\non every board whose parts are within their limits"
            ),
            None => "nor is one told then on every\nboard whose parts are within their limits".to_owned(),
        };
        let _ = write!(
            out,
            "The detection current flows in pulses, and a reading is taken without it. So look at a code taken at the end of\na pulse, whose current has charged the inputs by then: {found}. Such a code is no reading: keep it from the\nfilter and from the conversion, and take the next reading only after the wait.\n\n"
        );
    }
    if !f.program.thresholds.tells_open() && !f.open_saturates {
        let _ = write!(
            out,
            "**A broken sensor can read as a temperature here.** Where that can hurt someone, watch for it by other means.\n\n"
        );
    }
    if f.program.junction.is_some() {
        let lines: Vec<String> = f.junction_words().iter().map(|l| l.replace("degC", "°C")).collect();
        let _ = write!(out, "{}\n\n", lines.join("\n"));
    }
}

fn filter(out: &mut String, f: &Firmware, p: &str) {
    let _ = write!(out, "## Filter and sampling\n\n{}\n\n", f.schedule());
    if f.filter.is_some() {
        let shift = f.program.alignment();
        let fine = if shift > 0 { "_fine" } else { "" };
        let divided = match f.program.junction_input {
            JunctionInput::Divider(_) if shift > 0 => format!(" with junction << {shift}"),
            _ => String::new(),
        };
        let _ = write!(
            out,
            "```c\nstatic {p}_filter filter; /* all zeros */\n\n{0} fine;\nif ({p}_filter_add(&filter, code, &fine)) {{\n    /* fine goes to {p}_temperature{fine}{divided} */\n}}\n```\n\nA converter that saturates for a part of the window is not seen in its mean: look at the codes, too, if that can happen.\n\n",
            code_type(&f.program)
        );
    }
}

fn choices(out: &mut String, f: &Firmware) {
    let wanted = match f.smallest {
        Smallest::Bytes => "fewest bytes",
        Smallest::Cycles => "fewest cycles",
    };
    let _ = write!(
        out,
        "## Which linearisation ({wanted})\n\n| form | sum | segments | junction's | table bytes | AVR flash, estimated | AVR cycles, estimated | largest error |\n|---|---|---:|---:|---:|---:|---:|---:|\n"
    );
    for c in &f.candidates {
        let width = format!("{} bit", c.width.bits());
        let _ = match &c.program {
            Some(program) => {
                let chosen = *program == f.program;
                let mark = if chosen { "**" } else { "" };
                writeln!(
                    out,
                    "| {mark}{}{mark} | {width} | {} | {} | {} | {} | {} | {:.4} K |",
                    c.form.name(),
                    program.curve.rows.len(),
                    program.junction.as_ref().map_or(0, |j| j.curve.rows.len()),
                    program.table_bytes(),
                    c.cost.bytes,
                    c.cost.cycles,
                    if chosen { f.walk.error } else { c.error }
                )
            }
            None if c.skipped => {
                writeln!(out, "| {} | {width} | | | | more with an empty table | | |", c.form.name())
            }
            None => writeln!(out, "| {} | {width} | | | | does not reach the error | | |", c.form.name()),
        };
    }
    out.push('\n');
}

fn floats(out: &mut String, f: &Firmware, p: &str) {
    let integer = format!("whole numbers, {}", f.program.curve.form.name());
    let _ = write!(
        out,
        "## Beside floating point\n\n| arithmetic | polynomials | table bytes | largest error |\n|---|---:|---:|---:|\n| {integer} | {} | {} | {:.4} K |\n",
        f.program.curve.rows.len(),
        f.program.table_bytes(),
        f.walk.error
    );
    for v in &f.floats {
        let _ = writeln!(
            out,
            "| {} | {} | {} | {:.4} K |",
            v.program.kind.name(),
            v.program.pieces.len(),
            v.program.table_bytes(),
            v.walk.error
        );
    }
    let _ = write!(
        out,
        "\nThe published polynomials are the inverse ones of NIST Monograph 175. Bytes of code and cycles are measured by\n`icepoint firmware FILE --prove`.{}\n\n",
        if f.float_file {
            format!(" The fitted ones are `{p}_float.h` and `{p}_float.c`.")
        } else {
            String::new()
        }
    );
}

/// Step of the gains on the page.
const GAIN_STEP: f64 = 1e-3;

/// An end of a span in whole steps, rounded into the span.
fn inwards(end: f64, step: f64, low: bool) -> f64 {
    let steps = end / step;
    step * if low { libm::ceil(steps) } else { libm::floor(steps) }
}

/// Ends of a span of volts, two significant digits.
fn volts_of(span: (f64, f64)) -> (String, String) {
    let words = |end: f64, low| {
        let step = libm::exp10(libm::floor(libm::log10(end.abs().max(1e-9))) - 1.0);
        quantity::format(inwards(end, step, low), quantity::Unit::Volt, 3)
    };
    (words(span.0, true), words(span.1, false))
}

/// An offset (V at the thermocouple) and a gain, for the example on the page.
const EXAMPLE: (f64, f64) = (10e-6, 1.001);

fn calibration(out: &mut String, f: &Firmware, p: &str, up: &str) {
    let formula = f.formula();
    let step = 1e9 / f.program.steps_per_volt;
    let line = f.inverse.line();
    let volts = if line { "output's voltage" } else { "thermocouple's voltage" };
    let _ = write!(
        out,
        "## Calibrating in place\n\n`{p}_calibration` has a gain and an offset in steps of emf ({step:.4} nV). `icepoint calibrate` finds `v' = a + b·v` for the\n{volts} (a in V, b near 1). Its constants are absolute: they replace those that the chain file may have.\n\n```text\ngain   = round(b · {:.4})\noffset = round({:.1} + b · {:.1} + a · {:.6e} /V)\ncheck  = {p}_calibration_check(&constants)\n```\n\n",
        formula.gain, formula.fixed, formula.scaled, formula.per_volt
    );
    let reach = f.reach();
    let offset = volts_of(reach.offset);
    let _ = write!(
        out,
        "The states are told by codes of the chain as designed. Constants that go further than this bring an end of the range\nasked among them, and it then reads as open, reversed or saturated: a from {} to {} at b = 1, b from {:.3} to {:.3} at\na = 0, less if both are off.\n\n",
        offset.0,
        offset.1,
        inwards(reach.gain.0, GAIN_STEP, true),
        inwards(reach.gain.1, GAIN_STEP, false)
    );
    let offset = if line { EXAMPLE.0 * f.inverse.nominal_transfer().1 } else { EXAMPLE.0 };
    if let Some(c) = f.constants(Correction { offset, gain: EXAMPLE.1 }) {
        let _ = write!(
            out,
            "For example a = {offset:.6e} V and b = {}: gain {}, offset {}, check 0x{:04x} (low bytes first in memory).\n\n",
            EXAMPLE.1, c.gain, c.offset, c.check
        );
    }
    if line {
        let _ = write!(
            out,
            "Constants that were found for the chain's straight line make up for the line's own bend, too, which this code doesn't have:\nthey can be off here by as much as the line is.\n\n"
        );
    }
    let fitted = f.floats.iter().find(|v| v.program.kind == Kind::Fitted);
    if let Some(variant) = fitted.filter(|_| f.float_file) {
        let formula = variant.program.formula(&f.inverse);
        let _ = write!(
            out,
            "The float code's constants, in mV:\n\n```text\ngain   = b · {:.9e}\noffset = {:.6} + b · {:.6} + a · {:.6} /V\ncheck  = {p}_float_calibration_check(&constants)\n```\n\n",
            formula.gain, formula.fixed, formula.scaled, formula.per_volt
        );
    }
    let _ = writeln!(
        out,
        "Keep the struct in memory that lasts, and give its copy to `{p}_temperature`: a copy whose check or version is wrong reads\n`{up}_CALIBRATION_INVALID`. The bound above is for the nominal constants; rounding the gain adds at most half a part in {}.",
        f.program.nominal.gain
    );
}
