//! The C that runs the generated code over a plan and prints what its blocks come to.

use std::fmt::Write as _;

use super::plan::{BASIS, CHOOSER, PRIME, Plan, filter_code_text, filter_codes};
use crate::c_source::{code_type, junction_type, result_type};
use crate::firmware::Firmware;
use crate::identifier::capitals;
use crate::inverse::JunctionInput;

/// Name of the conversion that takes aligned inputs.
pub fn entry(firmware: &Firmware) -> String {
    let p = &firmware.facts.prefix;
    if firmware.program.bits < firmware.program.aligned_bits {
        format!("{p}_temperature_fine")
    } else {
        format!("{p}_temperature")
    }
}

/// `run()`, which calls `emit(uint32_t)` for each block: every input of the plan, then the spoiled constants once, then
/// every code of a coarser converter by its own entry, and codes of the junction's divider by that entry.
pub fn run(firmware: &Firmware, plan: &Plan) -> String {
    let program = &firmware.program;
    let p = &firmware.facts.prefix;
    let up = capitals(p);
    let (code, result) = (code_type(program), result_type(program));
    let mut out = format!("#include \"{p}.h\"\n\nstatic void emit(uint32_t hash);\n\n");
    let argument = match junction_type(program) {
        None => String::new(),
        Some((kind, _)) => {
            let list: Vec<String> = plan.junctions.iter().map(i32::to_string).collect();
            let _ = writeln!(out, "static const {kind} junctions[] = {{ {} }};", list.join(", "));
            "junction, ".to_owned()
        }
    };
    let declare = junction_type(program)
        .map_or(String::new(), |(kind, _)| format!("{kind} junction = junctions[0];\n"));
    let select = |round: &str| {
        if argument.is_empty() { String::new() } else { format!("junction = junctions[{round}];") }
    };
    let bytes = if program.wide_result() { 4 } else { 2 };
    let input = if plan.stratum == 0 {
        "k".to_owned()
    } else {
        format!("((k << {}) | ((k * {CHOOSER}u) >> {}))", plan.stratum, 32 - plan.stratum)
    };
    let (cycle, per_round) = if plan.cycled {
        (select(&format!("k % {}u", plan.junctions.len())), String::new())
    } else {
        (String::new(), select("round"))
    };
    let name = entry(firmware);
    let _ = write!(
        out,
        "
static uint32_t hashed(uint32_t hash, {p}_state state, {result} value)
{{
    uint8_t i;
    uint32_t bits = (uint32_t)value;
    hash = (uint32_t)((hash ^ state) * {PRIME}uL);
    for (i = 0; i < {bytes}; i++) {{
        hash = (uint32_t)((hash ^ (bits & 0xffu)) * {PRIME}uL);
        bits >>= 8;
    }}
    return hash;
}}

static void run(void)
{{
    {p}_calibration constants = {up}_CALIBRATION_NOMINAL;
    {declare}    {result} value = 0;
    uint8_t round;
    uint32_t k;
    uint32_t hash = {BASIS}uL;
    for (round = 0; round < {rounds}u; round++) {{
        {per_round}
        for (k = 0; k < {count}uL; k++) {{
            {p}_state state;
            {cycle}
            value = 0;
            state = {name}(({code}){input}, {argument}&constants, &value);
            hash = hashed(hash, state, value);
            if ((k & {mask}uL) == {mask}uL) {{
                emit(hash);
                hash = {BASIS}uL;
            }}
        }}
    }}
",
        rounds = plan.rounds(),
        count = plan.count,
        mask = plan.block - 1,
    );
    let middle = plan.junctions.len() / 2;
    let set =
        if argument.is_empty() { String::new() } else { format!("    junction = junctions[{middle}];\n") };
    let _ = write!(
        out,
        "{set}    constants.gain = (uint16_t)(constants.gain ^ 1u);
    value = 0;
    {{
        {p}_state state = {name}(({code}){half}uL, {argument}&constants, &value);
        emit(hashed({BASIS}uL, state, value));
    }}
    constants.gain = (uint16_t)(constants.gain ^ 1u);
",
        half = 1u32 << (program.aligned_bits - 1)
    );
    if program.bits < program.aligned_bits {
        // One beyond the last code, too.
        let read =
            if argument.is_empty() { String::new() } else { format!("{}, ", junction_read(firmware, plan)) };
        let _ = write!(
            out,
            "    hash = {BASIS}uL;
    for (k = 0; k <= {}uL; k++) {{
        {p}_state state;
        value = 0;
        state = {p}_temperature(({code})k, {read}&constants, &value);
        hash = hashed(hash, state, value);
    }}
    emit(hash);
",
            1u32 << program.bits
        );
    }
    if let Some(DividerCodes { step, count, code: middle }) = divider_codes(firmware) {
        let _ = write!(
            out,
            "    hash = {BASIS}uL;
    for (k = 0; k <= {count}uL; k++) {{
        {p}_state state;
        value = 0;
        state = {p}_temperature({middle}u, ({code})(k * {step}uL), &constants, &value);
        hash = hashed(hash, state, value);
    }}
    emit(hash);
"
        );
    }
    if firmware.filter.is_some() {
        let _ = write!(
            out,
            "    {{
        {p}_filter filter = {{ 0 }};
        {code} fine;
        hash = {BASIS}uL;
        for (k = 0; k < {}uL; k++) {{
            if ({p}_filter_add(&filter, ({code})({}), &fine)) {{
                uint32_t bits = fine;
                uint8_t i;
                for (i = 0; i < 4; i++) {{
                    hash = (uint32_t)((hash ^ (bits & 0xffu)) * {PRIME}uL);
                    bits >>= 8;
                }}
            }}
        }}
        emit(hash);
    }}
",
            filter_codes(firmware),
            filter_code_text(firmware, "k *", "uL")
        );
    }
    out + "}\n"
}

/// What is read of the junction in the middle of the plan: a code of the converter, or a temperature.
pub fn junction_read(firmware: &Firmware, plan: &Plan) -> i32 {
    let middle = plan.junctions[plan.junctions.len() / 2];
    match firmware.program.junction_input {
        JunctionInput::Divider(_) => middle >> firmware.program.alignment(),
        JunctionInput::None | JunctionInput::Temperature => middle,
    }
}

/// Codes of the junction's divider that are run through the entry for whole codes, all at one code of the converter:
/// `k·step` for `k` from 0 to `count`, the last one beyond the converter.
#[derive(Clone, Copy, Debug)]
pub struct DividerCodes {
    pub step: u32,
    pub count: u32,
    pub code: u32,
}

/// `None` where whole codes have no entry of their own, or the junction no divider.
pub fn divider_codes(firmware: &Firmware) -> Option<DividerCodes> {
    const MOST_BITS: u32 = 12;
    let program = &firmware.program;
    let JunctionInput::Divider(_) = program.junction_input else { return None };
    let run = program.bits.min(MOST_BITS);
    (program.alignment() > 0).then(|| DividerCodes {
        step: 1 << (program.bits - run),
        count: 1 << run,
        code: 1 << (program.bits - 1),
    })
}

/// What [`run`] must print.
pub fn expected(firmware: &Firmware, plan: &Plan) -> Vec<u32> {
    use super::plan::{hashed, spoiled};
    let program = &firmware.program;
    let wide = program.wide_result();
    let mut list = plan.expected(program);
    let middle = plan.junctions[plan.junctions.len() / 2];
    let refused = program.evaluate(1 << (program.aligned_bits - 1), middle, &spoiled(&program.nominal));
    list.push(hashed(BASIS, refused, wide));
    if program.bits < program.aligned_bits {
        let read = junction_read(firmware, plan);
        list.push(
            (0..=1 << program.bits)
                .fold(BASIS, |hash, code| hashed(hash, program.whole(code, read, &program.nominal), wide)),
        );
    }
    if let Some(DividerCodes { step, count, code }) = divider_codes(firmware) {
        list.push((0..=count).fold(BASIS, |hash, k| {
            hashed(hash, program.whole(code, (k * step) as i32, &program.nominal), wide)
        }));
    }
    list.extend(super::plan::filter_expected(firmware));
    list
}

/// What differs between the blocks printed (hexadecimal words in a text) and those expected.
pub fn differences(plan: &Plan, expected: &[u32], printed: &str) -> Vec<String> {
    const SHOWN: usize = 3;
    let got: Vec<u32> = printed
        .split(|c: char| !c.is_ascii_hexdigit())
        .filter(|word| word.len() == 8)
        .filter_map(|word| u32::from_str_radix(word, 16).ok())
        .collect();
    if got.len() != expected.len() {
        let tail: String = printed.chars().rev().take(200).collect::<Vec<_>>().into_iter().rev().collect();
        return vec![format!("{} blocks expected, {} printed: {}", expected.len(), got.len(), tail.trim())];
    }
    let blocks = plan.rounds() * (plan.count / plan.block) as usize;
    let differing: Vec<usize> = (0..got.len()).filter(|&i| got[i] != expected[i]).collect();
    let mut list: Vec<String> = differing
        .iter()
        .take(SHOWN)
        .map(|&i| {
            if i < blocks {
                format!("{} come to other results", plan.place(i))
            } else if i == blocks {
                "constants with a wrong check value are not refused".to_owned()
            } else {
                "whole codes, codes of the junction's divider or the filter come to other results".to_owned()
            }
        })
        .collect();
    if differing.len() > SHOWN {
        list.push(format!("and {} more blocks", differing.len() - SHOWN));
    }
    list
}
