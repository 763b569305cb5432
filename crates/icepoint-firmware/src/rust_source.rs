//! The program as a Rust module that needs `core` only: the same numbers as the C, bit for bit.

use std::fmt::Write as _;

use crate::c_source::{banner, stride};
use crate::curve::{Curve, Form, Width};
use crate::firmware::Facts;
use crate::integer::{IntegerProgram, JunctionCurve};
use crate::inverse::JunctionInput;
use crate::states::State;

fn code_type(program: &IntegerProgram) -> &'static str {
    if program.aligned_bits == 16 { "u16" } else { "u32" }
}

fn result_type(program: &IntegerProgram) -> &'static str {
    if program.wide_result() { "i32" } else { "i16" }
}

fn junction_parameter(program: &IntegerProgram) -> String {
    match program.junction_input {
        JunctionInput::None => String::new(),
        JunctionInput::Temperature => ", junction: i16".to_owned(),
        JunctionInput::Divider(_) => format!(", junction: {}", code_type(program)),
    }
}

/// A variant's name: `SensorOpen`.
fn camel(name: &str) -> String {
    name.split('_')
        .map(|word| {
            let mut chars = word.chars();
            chars.next().map_or(String::new(), |c| c.to_uppercase().chain(chars).collect())
        })
        .collect()
}

/// The module.
pub fn module(program: &IntegerProgram, facts: &Facts) -> String {
    let mut out = String::new();
    for line in banner(facts, &format!("{}.rs", facts.prefix)) {
        let _ = writeln!(out, "{}", format!("//! {line}").trim_end());
    }
    let _ = write!(
        out,
        "//!\n//! Needs `core` only. Put it beside `main.rs` and say `mod {};`.\n\n",
        facts.prefix
    );
    let _ = writeln!(
        out,
        "/// Why there is no temperature.\n#[derive(Clone, Copy, Debug, PartialEq, Eq)]\n#[repr(u8)]\npub enum State {{"
    );
    for state in State::ALL.into_iter().skip(1) {
        let _ = writeln!(
            out,
            "    /// {}.\n    {} = {},",
            sentence(facts.meaning(state)),
            camel(state.name()),
            state as u8
        );
    }
    let n = &program.nominal;
    let _ = write!(
        out,
        "}}

/// Steps of the result in one kelvin; 0 is 0 °C.
pub const STEPS_PER_KELVIN: {result} = {per_kelvin};

/// Constants of one board, for memory that keeps them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(C)]
pub struct Calibration {{
    /// Layout: 1.
    pub version: u16,
    /// Steps of emf over the converter's span, ÷ 256.
    pub gain: u16,
    /// Steps of emf of {step:.4} nV.
    pub offset: i32,
    /// [`Calibration::expected_check`].
    pub check: u16,
}}

impl Calibration {{
    /// As designed.
    pub const NOMINAL: Self = Self {{ version: {}, gain: {}, offset: {}, check: 0x{:04x} }};

    /// CRC-16, polynomial 0x1021 from 0xffff, over version, gain and offset, low bytes first.
    pub const fn expected_check(&self) -> u16 {{
        let [v0, v1] = self.version.to_le_bytes();
        let [g0, g1] = self.gain.to_le_bytes();
        let [o0, o1, o2, o3] = self.offset.to_le_bytes();
        let bytes = [v0, v1, g0, g1, o0, o1, o2, o3];
        let mut check: u16 = 0xffff;
        let mut i = 0;
        while i < 64 {{
            if i % 8 == 0 {{
                check ^= (bytes[i / 8] as u16) << 8;
            }}
            check = if check & 0x8000 != 0 {{ (check << 1) ^ 0x1021 }} else {{ check << 1 }};
            i += 1;
        }}
        check
    }}
}}

",
        n.version,
        n.gain,
        n.offset,
        n.check,
        result = result_type(program),
        per_kelvin = program.unit.per_kelvin(),
        step = 1e9 / program.steps_per_volt,
    );
    if let Some(junction) = &program.junction {
        table(&mut out, "JUNCTION", &junction.curve);
    }
    table(&mut out, "SUM", &program.curve);
    curve(&mut out, &program.curve);
    conversion(&mut out, program);
    out
}

fn sentence(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or(String::new(), |c| c.to_uppercase().chain(chars).collect())
}

fn table(out: &mut String, name: &str, curve: &Curve) {
    let wide = curve.width == Width::Wide;
    let _ = writeln!(out, "static {name}: [[u16; {}]; {}] = [", stride(curve), curve.rows.len());
    for row in &curve.rows {
        let mut words = vec![u32::from(row.knot), row.base & 0xffff];
        if wide {
            words.push(row.base >> 16);
        }
        words.push(u32::from(row.slope));
        words.extend(row.bends.iter().map(|b| u32::from(*b)));
        let cells: Vec<String> = words.iter().map(u32::to_string).collect();
        let _ = writeln!(out, "    [{}],", cells.join(", "));
    }
    let _ = write!(out, "];\n\n");
}

fn curve(out: &mut String, curve: &Curve) {
    let wide = curve.width == Width::Wide;
    let stride = stride(curve);
    let slope_at = if wide { 3 } else { 2 };
    let word = if wide { "u32" } else { "u16" };
    let bends = curve.form.bends();
    let left = if wide { "(x >> 8) as u16" } else { "x" };
    let knot = if wide { "(row[0] as u32) << 8" } else { "row[0]" };
    if bends > 0 {
        let _ = write!(
            out,
            "/// (w − 32768)·z/65536 without a sign on the way.\nconst fn part(w: u16, z: u16) -> u16 {{\n    (((w as u32 * z as u32) >> 16) as u16).wrapping_sub(z >> 1)\n}}\n\n"
        );
    }
    let _ = write!(
        out,
        "/// Output of a table at `x`.\nfn curve(rows: &[[u16; {stride}]], x: {word}) -> {word} {{
    let mut row = &rows[0];
    for next in rows {{
        if next[0] <= {left} {{
            row = next;
        }}
    }}
    let u = x - ({knot});
"
    );
    if bends > 0 {
        let lowered = curve.width.fine() as i32 - curve.lift as i32;
        let lifted = match lowered {
            0 => "u".to_owned(),
            1.. => format!("u >> {lowered}"),
            _ => format!("u << {}", -lowered),
        };
        let _ = writeln!(out, "    let z = ({lifted}) as u16;");
        let _ = writeln!(out, "    let w = row[{}];", slope_at + bends);
        for k in (1..bends).rev() {
            let _ = writeln!(out, "    let w = row[{}].wrapping_add(part(w, z));", slope_at + k);
        }
    }
    let base = if wide { "(row[1] as u32 | (row[2] as u32) << 16)" } else { "row[1]" };
    if curve.form == Form::Quotient {
        let _ = write!(
            out,
            "    let w = 32768u16.wrapping_add(part(w, z));\n    {base} + (u as u32 * row[{slope_at}] as u32 / w as u32) as u16\n}}\n\n"
        );
        return;
    }
    let slope = if bends > 0 {
        format!("row[{slope_at}].wrapping_add(part(w, z))")
    } else {
        format!("row[{slope_at}]")
    };
    let _ = writeln!(out, "    let slope = {slope} as u32;");
    if wide {
        let _ = write!(out, "    {base} + (u >> 16) * slope + (((u & 0xffff) * slope) >> 16)\n}}\n\n");
    } else {
        let _ = write!(out, "    {base} + ((u as u32 * slope) >> 16) as u16\n}}\n\n");
    }
}

fn conversion(out: &mut String, program: &IntegerProgram) {
    let (code, result) = (code_type(program), result_type(program));
    let wide = program.curve.width == Width::Wide;
    let t = &program.thresholds;
    let fine = program.bits < program.aligned_bits;
    let name = if fine { "temperature_fine" } else { "temperature" };
    let parameters = format!("{}, calibration: &Calibration", junction_parameter(program));
    let about = if fine {
        format!(
            "Temperature for a code in steps of 1/{}, as the filter gives{}.",
            1u32 << program.alignment(),
            if divided(program).is_empty() { "" } else { "; `junction` in the same steps" }
        )
    } else {
        format!("Temperature for a code of the converter{}.", divided(program))
    };
    let _ = write!(
        out,
        "/// {about}
///
/// # Errors
/// The state, if there is no temperature.
pub fn {name}(code: {code}{parameters}) -> Result<{result}, State> {{
    if calibration.version != 1 || calibration.check != calibration.expected_check() {{
        return Err(State::CalibrationInvalid);
    }}
"
    );
    if let Some(junction) = &program.junction {
        let (low, high) = junction.range;
        let _ = write!(
            out,
            "    if !({low}..={high}).contains(&junction) {{\n        return Err(State::JunctionOutOfRange);\n    }}\n"
        );
    }
    if !(program.aligned_bits == 16 && t.top == 65535) {
        let _ = writeln!(out, "    let code = if code > {0} {{ {0} }} else {{ code }};", t.top);
    }
    if t.falling {
        let _ = writeln!(out, "    let code = {} - code;", t.top);
    }
    for (condition, state) in crate::c_inputs::conditions(t) {
        let condition = condition.replace("uL", "").replace('u', "");
        let _ = write!(
            out,
            "    if {condition} {{\n        return Err(State::{});\n    }}\n",
            camel(state.name())
        );
    }
    let product = if program.aligned_bits == 16 {
        "(code as u32 * calibration.gain as u32) >> 8"
    } else {
        "((code >> 8) * calibration.gain as u32 + (((code & 0xff) * calibration.gain as u32) >> 8)) >> 8"
    };
    let _ = writeln!(out, "    let x = ({product}).wrapping_add(calibration.offset as u32);");
    if let Some(junction) = &program.junction {
        let emf = format!("curve(&JUNCTION, {}) as u32", counted(program, junction));
        // Without a shift the parentheses would be too many, which the compiler tells.
        let emf = if junction.guard > 0 { format!("({emf}) << {}", junction.guard) } else { emf };
        let _ = writeln!(
            out,
            "    // Volts are added to volts: adding degrees would be wrong by many kelvin.\n    let x = x.wrapping_add({emf});"
        );
    }
    let input = if wide { "x" } else { "(x >> 8) as u16" };
    let shifted = if program.guard > 0 { format!(" >> {}", program.guard) } else { String::new() };
    let _ = write!(
        out,
        "    if x > {} {{
        return Err(if x >> 31 == 1 {{ State::Below }} else {{ State::Above }});
    }}
    Ok(((curve(&SUM, {input}){shifted}) as i32 + ({})) as {result})
}}
",
        program.top, program.base
    );
    if fine {
        let codes = (1u32 << program.bits) - 1;
        let shift = program.alignment();
        let junction = match program.junction_input {
            JunctionInput::None => String::new(),
            JunctionInput::Temperature => "junction, ".to_owned(),
            // What is no code becomes an input that is out of every range.
            JunctionInput::Divider(_) => format!(
                "if junction > {codes} {{ {} }} else {{ junction << {shift} }}, ",
                (1u32 << program.aligned_bits) - 1
            ),
        };
        let _ = write!(
            out,
            "
/// Temperature for a code of the converter{}.
///
/// # Errors
/// The state, if there is no temperature.
pub fn temperature(code: {code}{parameters}) -> Result<{result}, State> {{
    temperature_fine((if code > {codes} {{ {codes} }} else {{ code }}) << {shift}, {junction}calibration)
}}
",
            divided(program)
        );
    }
}

/// What the junction's input of the entry for whole codes is, where that wants saying.
fn divided(program: &IntegerProgram) -> &'static str {
    match program.junction_input {
        JunctionInput::Divider(_) => ", `junction` one of the sensor's divider, as the converter gives it",
        JunctionInput::None | JunctionInput::Temperature => "",
    }
}

fn counted(program: &IntegerProgram, junction: &JunctionCurve) -> String {
    let (low, high) = junction.range;
    let word = if junction.curve.width == Width::Wide { "u32" } else { "u16" };
    let difference = match (program.junction_input, junction.falling) {
        (JunctionInput::Temperature, _) => format!("(junction as u16).wrapping_sub({})", low as u16),
        (_, true) => format!("({high} - junction)"),
        (_, false) => format!("(junction - {low})"),
    };
    match junction.shift {
        0 => format!("{difference} as {word}"),
        left @ 1.. => format!("({difference} as {word}) << {left}"),
        right => format!("({difference} >> {}) as {word}", -right),
    }
}
