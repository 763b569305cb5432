//! The program as C99: a header and a source without allocation, without floating point, without any header but
//! `stdint.h` (and, on an 8-bit AVR, the one that reads tables from flash).
//!
//! **Undefined behaviour.** All arithmetic is unsigned, the bends' too (a word is bend + 32768), so a sum that wraps is
//! defined; words of 16 bits are made 32 bits wide before they are multiplied, and the only signed step is the last: a
//! result within its type plus the base. The proof runs the code under the sanitizers all the same.

use std::fmt::Write as _;

use crate::c_inputs::{Inputs, calibration_check};
use crate::curve::{Curve, Form, Width};
use crate::firmware::Facts;
use crate::identifier::capitals;
use crate::integer::IntegerProgram;
use crate::inverse::JunctionInput;
use crate::states::State;

/// Type of the converter's input.
pub(crate) const fn code_type(program: &IntegerProgram) -> &'static str {
    if program.aligned_bits == 16 { "uint16_t" } else { "uint32_t" }
}

/// Type of the result.
pub(crate) const fn result_type(program: &IntegerProgram) -> &'static str {
    if program.wide_result() { "int32_t" } else { "int16_t" }
}

/// Type and meaning of the junction's input of the entry for whole codes; `None` without one.
pub(crate) fn junction_type(program: &IntegerProgram) -> Option<(&'static str, &'static str)> {
    junction_kind(program.junction_input, code_type(program))
}

/// The same for an input and the type of codes.
pub(crate) fn junction_kind(
    input: JunctionInput,
    code: &'static str,
) -> Option<(&'static str, &'static str)> {
    match input {
        JunctionInput::None => None,
        JunctionInput::Temperature => {
            Some(("int16_t", "temperature of the reference junction, 1/256 K from 0 degC"))
        }
        JunctionInput::Divider(_) => {
            Some((code, "code of the reference junction's divider, as the converter gives it"))
        }
    }
}

/// The comment at the head of every generated file.
pub(crate) fn banner(facts: &Facts, file: &str) -> Vec<String> {
    let mut lines = vec![
        format!("{file}: {}", facts.title),
        String::new(),
        format!("Made by icepoint {} from the chain with fingerprint {}.", facts.version, facts.fingerprint),
        "Made, not written: changes are lost when it is made again.".to_owned(),
        String::new(),
    ];
    lines.extend(facts.summary.iter().cloned());
    lines.push(String::new());
    lines.extend(
        [
            "CAUTION: this is a measurement, not a safety cut-out. A cut-out must be independent of it:",
            "own sensor, own circuit, no software. Local codes and licensed practice come first.",
        ]
        .map(str::to_owned),
    );
    lines
}

pub(crate) fn comment(lines: &[String]) -> String {
    let mut out = String::new();
    for (i, line) in lines.iter().enumerate() {
        let start = if i == 0 { "/*" } else { " *" };
        let _ = writeln!(out, "{}", format!("{start} {line}").trim_end());
    }
    out + " */\n"
}

/// Header.
pub fn header(program: &IntegerProgram, facts: &Facts, filter: &str) -> String {
    let p = &facts.prefix;
    let up = capitals(p);
    let result = result_type(program);
    let code = code_type(program);
    let mut out = comment(&banner(facts, &format!("{p}.h")));
    let _ = write!(out, "#ifndef {up}_H\n#define {up}_H\n\n#include <stdint.h>\n\n");
    let _ = writeln!(
        out,
        "/* What a result is when there is no temperature: no temperature of the range has it. */"
    );
    let _ = writeln!(
        out,
        "#define {up}_INVALID {}",
        if program.wide_result() { "INT32_MIN" } else { "INT16_MIN" }
    );
    let _ = writeln!(out, "/* Steps of the result in one kelvin; 0 is 0 degC. */");
    let _ = writeln!(out, "#define {up}_STEPS_PER_KELVIN {}\n", program.unit.per_kelvin());
    let _ = writeln!(out, "typedef uint8_t {p}_state;\nenum {{");
    for state in State::ALL {
        let comma = if state == State::CalibrationInvalid { "" } else { "," };
        let _ = writeln!(
            out,
            "    {up}_{} = {}{comma} /* {} */",
            state.name().to_ascii_uppercase(),
            state as u8,
            facts.meaning(state)
        );
    }
    let _ = writeln!(out, "}};\n");
    let _ = write!(
        out,
        "/* Constants of one board, for memory that keeps them. */\ntypedef struct {{\n    uint16_t version; /* of this layout: 1 */\n    uint16_t gain;    /* steps of emf over the converter's span, / 256 */\n    int32_t offset;   /* steps of emf */\n    uint16_t check;   /* {p}_calibration_check of the eight bytes before it */\n}} {p}_calibration;\n\n"
    );
    let n = &program.nominal;
    let _ = write!(
        out,
        "/* As designed; one step of emf is {:.4} nV. The check is over bytes as they lie in memory. */
#if defined(__BYTE_ORDER__) && __BYTE_ORDER__ == __ORDER_BIG_ENDIAN__
#define {up}_CALIBRATION_NOMINAL {{ {}u, {}u, {}, 0x{:04x}u }}
#else
#define {up}_CALIBRATION_NOMINAL {{ {}u, {}u, {}, 0x{:04x}u }}
#endif

",
        1e9 / program.steps_per_volt,
        n.version,
        n.gain,
        long(i64::from(n.offset)),
        n.big_endian_check(),
        n.version,
        n.gain,
        long(i64::from(n.offset)),
        n.check
    );
    let _ = writeln!(
        out,
        "/* CRC-16, polynomial 0x1021 from 0xffff, over version, gain and offset as they lie in memory. */"
    );
    let _ = writeln!(out, "uint16_t {p}_calibration_check(const {p}_calibration *calibration);\n");
    let junction = junction_type(program);
    let mut about = vec![
        format!("Temperature for a code of the converter, 0 to {}.", (1u32 << program.bits) - 1),
        "The result is a temperature only when the state is 0; else it is the invalid number.".to_owned(),
    ];
    if let Some((_, meaning)) = junction {
        let (low, high) = program.junction_read().unwrap_or_default();
        about.push(format!("junction: {meaning}, {low} to {high}."));
    }
    out += &comment(&about);
    let parameters = parameters(program, p);
    let _ = writeln!(out, "{p}_state {p}_temperature({code} code{parameters}, {result} *result);");
    if program.bits < program.aligned_bits {
        let divided = match program.junction_input {
            JunctionInput::Divider(_) => "; the junction's code in the same steps",
            _ => "",
        };
        let _ = write!(
            out,
            "\n/* The same for a code in steps of 1/{}, as the filter gives{divided}. */\n{p}_state {p}_temperature_fine({code} code{parameters}, {result} *result);\n",
            1u32 << (program.aligned_bits - program.bits)
        );
    }
    out += filter;
    let _ = write!(out, "\n#endif\n");
    out
}

fn parameters(program: &IntegerProgram, p: &str) -> String {
    let junction = junction_type(program).map_or(String::new(), |(kind, _)| format!(", {kind} junction"));
    format!("{junction}, const {p}_calibration *calibration")
}

/// A signed constant that fits 32 bits, whatever `int` is.
pub(crate) fn long(value: i64) -> String {
    if (-32767..=32767).contains(&value) { value.to_string() } else { format!("{value}L") }
}

/// An unsigned constant.
pub(crate) fn unsigned(value: u32) -> String {
    if value > 65535 { format!("{value}uL") } else { format!("{value}u") }
}

/// Source; `filter` is appended.
pub fn source(program: &IntegerProgram, facts: &Facts, filter: &str) -> String {
    let p = &facts.prefix;
    let up = capitals(p);
    let mut out = comment(&banner(facts, &format!("{p}.c")));
    let _ = write!(
        out,
        "#include \"{p}.h\"\n\n/* Tables stay in flash; an 8-bit AVR reads it by instructions of its own. */\n#if defined(__AVR__)\n#include <avr/pgmspace.h>\n#define {up}_TABLE PROGMEM\n#define {up}_READ(word) pgm_read_word(word)\n#else\n#define {up}_TABLE\n#define {up}_READ(word) (*(word))\n#endif\n\n"
    );
    if let Some(junction) = &program.junction {
        table(
            &mut out,
            p,
            &up,
            "junction",
            &junction.curve,
            "from the reference junction's input to steps of emf",
        );
    }
    table(&mut out, p, &up, "sum", &program.curve, "from steps of emf to temperature");
    curve(&mut out, p, &up, &program.curve);
    out += &calibration_check(p, 8);
    conversion(&mut out, program, facts);
    out += filter;
    out
}

fn table(out: &mut String, p: &str, up: &str, name: &str, curve: &Curve, what: &str) {
    let wide = curve.width == Width::Wide;
    let bends = if curve.form.bends() > 0 { ", bend + 32768" } else { "" };
    let _ = writeln!(
        out,
        "/* {}: knot, {}, slope{bends} */",
        what,
        if wide { "base (low word, high word)" } else { "base" }
    );
    let _ = writeln!(out, "static const uint16_t {p}_{name}[] {up}_TABLE = {{");
    for (i, row) in curve.rows.iter().enumerate() {
        let mut words = vec![u32::from(row.knot), row.base & 0xffff];
        if wide {
            words.push(row.base >> 16);
        }
        words.push(u32::from(row.slope));
        words.extend(row.bends.iter().map(|b| u32::from(*b)));
        let cells: Vec<String> = words.iter().map(|w| format!("{w}u")).collect();
        let comma = if i + 1 == curve.rows.len() { "" } else { "," };
        let _ = writeln!(out, "    {}{comma}", cells.join(", "));
    }
    let _ = write!(out, "}};\n\n");
}

/// Words of one row.
pub(crate) fn stride(curve: &Curve) -> usize {
    3 + usize::from(curve.width == Width::Wide) + curve.form.bends()
}

fn curve(out: &mut String, p: &str, up: &str, curve: &Curve) {
    let wide = curve.width == Width::Wide;
    let word = if wide { "uint32_t" } else { "uint16_t" };
    let stride = stride(curve);
    let slope_at = if wide { 3 } else { 2 };
    let read = |at: usize| if at == 0 { format!("{up}_READ(row)") } else { format!("{up}_READ(row + {at})") };
    if curve.form.bends() > 0 {
        let _ = write!(
            out,
            "/* (w - 32768) * z / 65536 without a sign on the way. */\nstatic uint16_t {p}_part(uint16_t w, uint16_t z)\n{{\n    return (uint16_t)((uint16_t)(((uint32_t)w * z) >> 16) - (z >> 1));\n}}\n\n"
        );
    }
    let _ = writeln!(out, "/* Output of a table at x; row is its last. */");
    let _ = writeln!(out, "static {word} {p}_curve(const uint16_t *row, {word} x)\n{{");
    let _ = writeln!(out, "    {word} u;");
    if curve.form.bends() > 0 {
        let _ = writeln!(out, "    uint16_t z;\n    uint16_t w;");
    }
    if wide {
        let _ = writeln!(out, "    uint32_t slope;");
    }
    let left = if wide { "(uint16_t)(x >> 8)" } else { "x" };
    let _ = writeln!(out, "    while ({left} < {}) {{\n        row -= {stride};\n    }}", read(0));
    if wide {
        let _ = writeln!(out, "    u = x - ((uint32_t){} << 8);", read(0));
    } else {
        let _ = writeln!(out, "    u = (uint16_t)(x - {});", read(0));
    }
    let bends = curve.form.bends();
    let part = format!("{p}_part(w, z)");
    if bends > 0 {
        let lowered = curve.width.fine() as i32 - curve.lift as i32;
        let lifted = match lowered {
            0 => "u".to_owned(),
            1.. => format!("(u >> {lowered})"),
            _ => format!("(u << {})", -lowered),
        };
        let _ = writeln!(out, "    z = (uint16_t){lifted};");
        let _ = writeln!(out, "    w = {};", read(slope_at + bends));
    }
    for k in (1..bends).rev() {
        let _ = writeln!(out, "    w = (uint16_t)({} + {part});", read(slope_at + k));
    }
    let base = if wide { format!("({} | (uint32_t){} << 16)", read(1), read(2)) } else { read(1) };
    if curve.form == Form::Quotient {
        let _ = writeln!(out, "    w = (uint16_t)(32768u + {part});");
        let _ = writeln!(
            out,
            "    return (uint16_t)({base} + (uint16_t)((uint32_t)u * {} / w));\n}}\n",
            read(slope_at)
        );
        return;
    }
    let slope = match bends {
        0 => read(slope_at),
        _ => format!("(uint16_t)({} + {part})", read(slope_at)),
    };
    if wide {
        let _ = writeln!(out, "    slope = {slope};");
        let _ =
            writeln!(out, "    return {base} + (u >> 16) * slope + (((u & 0xffffu) * slope) >> 16);\n}}\n");
    } else {
        let _ =
            writeln!(out, "    return (uint16_t)({base} + (uint16_t)(((uint32_t)u * {slope}) >> 16));\n}}\n");
    }
}

fn conversion(out: &mut String, program: &IntegerProgram, facts: &Facts) {
    let p = &facts.prefix;
    let up = capitals(p);
    let (code, result) = (code_type(program), result_type(program));
    let wide = program.curve.width == Width::Wide;
    let inputs = Inputs {
        prefix: p,
        code,
        bits: program.bits,
        aligned_bits: program.aligned_bits,
        thresholds: &program.thresholds,
        junction_input: program.junction_input,
        junction_range: program.junction.as_ref().map(|j| j.range),
    };
    let fine = program.bits < program.aligned_bits;
    let name = if fine { format!("{p}_temperature_fine") } else { format!("{p}_temperature") };
    let parameters = parameters(program, p);
    let gain = if program.aligned_bits == 24 { "    uint32_t gain;\n" } else { "" };
    let _ = write!(
        out,
        "{p}_state {name}({code} code{parameters}, {result} *result)
{{
    uint32_t x;
{gain}    *result = {up}_INVALID;
    if (calibration->version != 1u || calibration->check != {p}_calibration_check(calibration)) {{
        return {up}_CALIBRATION_INVALID;
    }}
"
    );
    out.push_str(&inputs.guards());
    let product = if program.aligned_bits == 16 {
        "((uint32_t)code * calibration->gain) >> 8"
    } else {
        "((code >> 8) * gain + (((code & 0xffu) * gain) >> 8)) >> 8"
    };
    if program.aligned_bits == 24 {
        let _ = writeln!(out, "    gain = calibration->gain;");
    }
    // Unsigned, so that a sum below zero comes out beyond every table.
    let _ = writeln!(out, "    x = ({product}) + (uint32_t)calibration->offset;");
    if let Some(junction) = &program.junction {
        let last = (junction.curve.rows.len() - 1) * stride(&junction.curve);
        let up_shift = if junction.guard > 0 { format!(" << {}", junction.guard) } else { String::new() };
        let _ = writeln!(
            out,
            "    /* Volts are added to volts: adding degrees would be wrong by many kelvin. */\n    x += (uint32_t){p}_curve({p}_junction + {last}, {}){up_shift};",
            counted(program, junction)
        );
    }
    let last = (program.curve.rows.len() - 1) * stride(&program.curve);
    let input = if wide { "x" } else { "(uint16_t)(x >> 8)" };
    let shifted = if program.guard > 0 { format!(" >> {}", program.guard) } else { String::new() };
    let base = if program.base < 0 {
        format!("- {}", long(-i64::from(program.base)))
    } else {
        format!("+ {}", long(i64::from(program.base)))
    };
    let _ = write!(
        out,
        "    if (x > {}uL) {{
        return (x >> 31) ? {up}_BELOW : {up}_ABOVE;
    }}
    *result = ({result})((int32_t)({p}_curve({p}_sum + {last}, {input}){shifted}) {base});
    return {up}_IN_RANGE;
}}
",
        program.top
    );
    out.push_str(&inputs.of_codes(&name, &parameters, result));
}

fn counted(program: &IntegerProgram, junction: &crate::integer::JunctionCurve) -> String {
    let (low, high) = junction.range;
    let wide = junction.curve.width == Width::Wide;
    let word = if wide { "uint32_t" } else { "uint16_t" };
    let difference = match (program.junction_input, junction.falling) {
        (JunctionInput::Temperature, _) => {
            format!("(uint16_t)((uint16_t)junction - {}u)", low as u16)
        }
        (_, true) => format!("({} - junction)", unsigned(high as u32)),
        (_, false) => format!("(junction - {})", unsigned(low as u32)),
    };
    match junction.shift {
        0 => format!("({word}){difference}"),
        left @ 1.. => format!("({word})(({word}){difference} << {left})"),
        right => format!("({word})({difference} >> {})", -right),
    }
}
