//! The float program as C99: the interface of the integer code, with °C in a `float`. `float` must be IEEE 754 single,
//! which the source asks of the compiler; no header but `stdint.h`.

use std::fmt::Write as _;

use crate::c_inputs::{Inputs, calibration_check};
use crate::c_source::{banner, comment, junction_kind, unsigned};
use crate::calibration::{VERSION, crc16};
use crate::firmware::Facts;
use crate::float::{FloatProgram, INVALID};
use crate::identifier::capitals;
use crate::inverse::JunctionInput;
use crate::states::State;

/// Type of the converter's input.
pub(crate) const fn code_type(program: &FloatProgram) -> &'static str {
    if program.aligned_bits == 16 { "uint16_t" } else { "uint32_t" }
}

/// A number that reads back as the same `float`.
fn number(value: f32) -> String {
    format!("{value:e}f")
}

/// An input of the junction.
fn input_number(program: &FloatProgram, input: i32) -> String {
    match program.junction_input {
        JunctionInput::Temperature => input.to_string(),
        _ => unsigned(input as u32),
    }
}

/// Name of the conversion that takes aligned inputs.
pub(crate) fn entry(program: &FloatProgram, p: &str) -> String {
    if program.bits < program.aligned_bits {
        format!("{p}_temperature_fine")
    } else {
        format!("{p}_temperature")
    }
}

fn parameters(program: &FloatProgram, p: &str) -> String {
    let junction = junction_kind(program.junction_input, code_type(program))
        .map_or(String::new(), |(kind, _)| format!(", {kind} junction"));
    format!("{junction}, const {p}_calibration *calibration")
}

/// Check value of the constants as they lie in memory.
fn check(program: &FloatProgram, big: bool) -> u16 {
    let mut bytes = [0; 10];
    let word = |value: f32| if big { value.to_be_bytes() } else { value.to_le_bytes() };
    bytes[..4].copy_from_slice(&word(program.gain));
    bytes[4..8].copy_from_slice(&word(program.offset));
    bytes[8..].copy_from_slice(&if big { VERSION.to_be_bytes() } else { VERSION.to_le_bytes() });
    crc16(&bytes)
}

/// Header.
pub fn header(program: &FloatProgram, facts: &Facts) -> String {
    let p = &facts.prefix;
    let up = capitals(p);
    let code = code_type(program);
    let mut out = comment(&banner(facts, &format!("{p}.h")));
    let _ = write!(
        out,
        "#ifndef {up}_H\n#define {up}_H\n\n#include <stdint.h>\n\n/* What a result is when there is no temperature: below absolute zero. */\n#define {up}_INVALID ({})\n\ntypedef uint8_t {p}_state;\nenum {{\n",
        number(INVALID)
    );
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
    let _ = write!(
        out,
        "}};

/* Constants of one board, for memory that keeps them. */
typedef struct {{
    float gain;       /* mV for a step of the code as the fine entry takes it */
    float offset;     /* mV at a code of 0 */
    uint16_t version; /* of this layout: {VERSION} */
    uint16_t check;   /* {p}_calibration_check of the ten bytes before it */
}} {p}_calibration;

/* As designed. The check is over bytes as they lie in memory. */
#if defined(__BYTE_ORDER__) && __BYTE_ORDER__ == __ORDER_BIG_ENDIAN__
#define {up}_CALIBRATION_NOMINAL {{ {gain}, {offset}, {VERSION}u, 0x{:04x}u }}
#else
#define {up}_CALIBRATION_NOMINAL {{ {gain}, {offset}, {VERSION}u, 0x{:04x}u }}
#endif

/* CRC-16, polynomial 0x1021 from 0xffff, over gain, offset and version as they lie in memory. */
uint16_t {p}_calibration_check(const {p}_calibration *calibration);

",
        check(program, true),
        check(program, false),
        gain = number(program.gain),
        offset = number(program.offset),
    );
    let mut about = vec![
        format!("Temperature in degC for a code of the converter, 0 to {}.", (1u32 << program.bits) - 1),
        "The result is a temperature only when the state is 0; else it is the invalid number.".to_owned(),
    ];
    if let Some((_, meaning)) = junction_kind(program.junction_input, code) {
        about.push(format!("junction: {meaning}."));
    }
    out += &comment(&about);
    let parameters = parameters(program, p);
    let _ = writeln!(out, "{p}_state {p}_temperature({code} code{parameters}, float *result);");
    if program.bits < program.aligned_bits {
        let _ = write!(
            out,
            "\n/* The same for a code in steps of 1/{}, as the integer firmware's filter gives. */\n{p}_state {p}_temperature_fine({code} code{parameters}, float *result);\n",
            1u32 << (program.aligned_bits - program.bits)
        );
    }
    let _ = write!(out, "\n#endif\n");
    out
}

/// Source.
pub fn source(program: &FloatProgram, facts: &Facts) -> String {
    let p = &facts.prefix;
    let up = capitals(p);
    let mut out = comment(&banner(facts, &format!("{p}.c")));
    let _ = write!(
        out,
        "#include \"{p}.h\"

/* A compiler that may take it that nothing is infinite or no number drops the check for constants that are none. */
#if defined(__FAST_MATH__) || (defined(__FINITE_MATH_ONLY__) && __FINITE_MATH_ONLY__ + 0 > 0)
#error \"{p}: compile without -ffast-math, -Ofast and -ffinite-math-only: else constants that are no numbers read as a temperature\"
#endif

/* float must be IEEE 754 single: else this array has a size that no array can have. */
typedef char {p}_float_is_single[sizeof(float) == 4 ? 1 : -1];

/* Tables stay in flash; an 8-bit AVR reads it by instructions of its own. */
#if defined(__AVR__)
#include <avr/pgmspace.h>
#define {up}_TABLE PROGMEM
#define {up}_READ(number) pgm_read_float(number)
#define {up}_COUNT(byte) pgm_read_byte(byte)
#else
#define {up}_TABLE
#define {up}_READ(number) (*(number))
#define {up}_COUNT(byte) (*(byte))
#endif

"
    );
    if let Some(junction) = &program.junction {
        let coefficients = junction.pieces.iter().flat_map(|piece| &piece.coefficients);
        let cells: Vec<String> = coefficients.map(|c| number(*c)).collect();
        let several = if junction.pieces.len() > 1 { ", one piece after the other" } else { "" };
        let _ = write!(
            out,
            "/* mV of the reference junction, highest power first{several} */\nstatic const float {p}_junction[] {up}_TABLE = {{\n    {}\n}};\n\n",
            cells.join(",\n    ")
        );
    }
    let _ = writeln!(
        out,
        "/* degC, highest power of mV first, one piece after the other */\nstatic const float {p}_coefficients[] {up}_TABLE = {{"
    );
    let last = program.pieces.len().saturating_sub(1);
    for (i, piece) in program.pieces.iter().enumerate() {
        let cells: Vec<String> = piece.coefficients.iter().map(|c| number(*c)).collect();
        let _ = writeln!(out, "    {}{}", cells.join(",\n    "), if i < last { "," } else { "" });
    }
    let list = |of: &dyn Fn(usize) -> String| (0..=last).map(of).collect::<Vec<_>>().join(", ");
    let _ = write!(
        out,
        "}};

/* centre of each piece and, of more than one, first emf, mV; the number of its coefficients */
{}static const float {p}_centre[] {up}_TABLE = {{ {} }};
static const uint8_t {p}_count[] {up}_TABLE = {{ {} }};

static float {p}_polynomial(const float *coefficient, uint8_t count, float u)
{{
    float sum = {up}_READ(coefficient);
    while (--count) {{
        coefficient++;
        sum = sum * u + {up}_READ(coefficient);
    }}
    return sum;
}}

{}",
        if last > 0 {
            format!(
                "static const float {p}_from[] {up}_TABLE = {{ {} }};\n",
                list(&|i| number(program.pieces[i].from))
            )
        } else {
            String::new()
        },
        list(&|i| number(program.pieces[i].centre)),
        list(&|i| program.pieces[i].coefficients.len().to_string()),
        calibration_check(p, 10),
    );
    conversion(&mut out, program, p, &up);
    out
}

fn conversion(out: &mut String, program: &FloatProgram, p: &str, up: &str) {
    let code = code_type(program);
    let inputs = Inputs {
        prefix: p,
        code,
        bits: program.bits,
        aligned_bits: program.aligned_bits,
        thresholds: &program.thresholds,
        junction_input: program.junction_input,
        junction_range: program.junction.as_ref().map(|j| j.range),
    };
    let parameters = parameters(program, p);
    let name = entry(program, p);
    let _ = write!(
        out,
        "{p}_state {name}({code} code{parameters}, float *result)
{{
    const float *coefficient = {p}_coefficients;
    uint8_t piece = 0;
    float e;
    *result = {up}_INVALID;
    if (calibration->version != {VERSION}u || calibration->check != {p}_calibration_check(calibration)) {{
        return {up}_CALIBRATION_INVALID;
    }}
"
    );
    out.push_str(&inputs.guards());
    let _ = writeln!(out, "    e = (float)code * calibration->gain + calibration->offset;");
    if let Some(junction) = &program.junction {
        let _ = writeln!(
            out,
            "    /* Volts are added to volts: adding degrees would be wrong by many kelvin. */"
        );
        let mut begins = 0;
        let last = junction.pieces.len().saturating_sub(1);
        for (i, piece) in junction.pieces.iter().enumerate() {
            let at = if begins > 0 { format!(" + {begins}") } else { String::new() };
            let sum = format!(
                "e += {p}_polynomial({p}_junction{at}, {}, ((float)junction - {}) * {});",
                piece.coefficients.len(),
                number(piece.centre),
                number(piece.scale)
            );
            begins += piece.coefficients.len();
            let _ = match junction.pieces.get(i + 1) {
                _ if last == 0 => writeln!(out, "    {sum}"),
                Some(next) => {
                    let until = input_number(program, next.from);
                    let start = if i == 0 { "    " } else { " " };
                    write!(out, "{start}if (junction < {until}) {{\n        {sum}\n    }} else")
                }
                None => writeln!(out, " {{\n        {sum}\n    }}"),
            };
        }
    }
    let last = program.pieces.len().saturating_sub(1);
    let looking = if last > 0 {
        format!(
            "    while (piece < {last}u && e >= {up}_READ({p}_from + piece + 1)) {{
        coefficient += {up}_COUNT({p}_count + piece);
        piece++;
    }}
"
        )
    } else {
        String::new()
    };
    let _ = write!(
        out,
        "    /* What is no number is below every range. */
    if (!(e >= {low})) {{
        return {up}_BELOW;
    }}
    if (e > {high}) {{
        return {up}_ABOVE;
    }}
{looking}    *result = {p}_polynomial(coefficient, {up}_COUNT({p}_count + piece), e - {up}_READ({p}_centre + piece));
    return {up}_IN_RANGE;
}}
",
        low = number(program.range.0),
        high = number(program.range.1),
    );
    out.push_str(&inputs.of_codes(&name, &parameters, "float"));
}
