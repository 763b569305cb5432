//! The float programs on the same targets: what they cost and how far off they are, measured there.
//!
//! **How.** The generated code prints the bits of every result and they are compared with the exact inverse here, one by
//! one: no hash, because an emulated target's `float` may round otherwise than this machine's. Where its numbers are not
//! the bits that were walked, that is told and not counted as a fault while the error stays.

use std::fmt::Write as _;
use std::io;
use std::path::Path;

use super::{Cycles, Scope, arm, avr, host, run};
use crate::c_source::junction_kind;
use crate::firmware::Firmware;
use crate::float::{FloatProgram, FloatVariant, Kind};
use crate::float_source::{code_type, entry, header, source};
use crate::identifier::capitals;
use crate::states::State;
use crate::walk::{self, Conversion};

/// What one float program came to on one target.
#[derive(Clone, Debug, PartialEq)]
pub struct FloatTarget {
    /// Which polynomials.
    pub kind: Kind,
    /// `8-bit AVR`, `Cortex-M0`, `this machine`.
    pub target: String,
    /// Conversions that were compared with the exact inverse.
    pub conversions: u64,
    /// Largest error found on this target, K.
    pub error: Option<f64>,
    /// Whether every result has the bits that were walked.
    pub same_bits: Option<bool>,
    /// What is wrong: does not compile, a failing state with a number, an error above the walked one.
    pub problems: Vec<String>,
    /// Bytes of flash: code, tables and helpers of the compiler's library.
    pub flash: Option<u32>,
    /// Clock cycles.
    pub cycles: Option<Cycles>,
}

/// Results of a target whose `float` rounds otherwise may be this much farther off, K.
const OTHER_ROUNDING: f64 = 0.01;
/// Sums this near to an end of the range may fall to either side, K.
const EDGE: f64 = 0.01;
/// A failing state as bits: no number of IEEE 754 that a conversion gives.
const FAILING: u32 = 0xff80_0000;
/// The same, and the result was a number.
const WITH_NUMBER: u32 = 0xffc0_0000;

/// Junction input, step of the aligned input.
fn rounds(program: &FloatProgram) -> Vec<(i32, u32)> {
    // 16-bit inputs all; of finer ones every 251st, a prime, so that all low bits occur.
    let step = if program.aligned_bits == 16 { 1 } else { 251 };
    let Some((low, high)) = program.junction_range() else { return vec![(0, step)] };
    let middle = walk::junction_grid(Some((low, high)), 3).get(1).copied().unwrap_or(low);
    vec![(middle, step), (low, 8 * step), (high, 8 * step), (high + 1, 64 * step)]
}

/// Every input of a run.
fn inputs(program: &FloatProgram) -> impl Iterator<Item = (u32, i32)> {
    let top = 1u32 << program.aligned_bits;
    rounds(program)
        .into_iter()
        .flat_map(move |(junction, step)| (0..top).step_by(step as usize).map(move |k| (k, junction)))
}

/// `run()`, which calls `emit(uint32_t)` for each result and once for spoiled constants.
fn harness(program: &FloatProgram, p: &str) -> String {
    let up = capitals(p);
    let code = code_type(program);
    let kind = junction_kind(program.junction_input, code).map(|(kind, _)| kind);
    let mut out = format!(
        "#include \"{p}.h\"

static void emit(uint32_t hash);

static void tell({p}_state state, float value)
{{
    uint32_t bits = 0;
    const uint8_t *byte = (const uint8_t *)&value;
    uint8_t i;
    for (i = 4; i > 0; i--) {{
        bits = (bits << 8) | byte[i - 1];
    }}
    if (state != 0) {{
        bits = (value == {up}_INVALID ? {FAILING}uL : {WITH_NUMBER}uL) | state;
    }}
    emit(bits);
}}

static void run(void)
{{
    {p}_calibration constants = {up}_CALIBRATION_NOMINAL;
    float value = 0;
    uint32_t k;
"
    );
    let name = entry(program, p);
    for (junction, step) in rounds(program) {
        let argument = kind.map_or(String::new(), |k| format!("({k}){junction}L, "));
        let _ = write!(
            out,
            "    for (k = 0; k < {}uL; k += {step}u) {{
        {p}_state state = {name}(({code})k, {argument}&constants, &value);
        tell(state, value);
    }}
",
            1u32 << program.aligned_bits
        );
    }
    let argument = kind.map_or(String::new(), |k| format!("({k}){}L, ", rounds(program)[0].0));
    let _ = write!(
        out,
        "    constants.gain = constants.gain * 2;
    {{
        {p}_state state = {name}(({code}){}uL, {argument}&constants, &value);
        tell(state, value);
    }}
}}
",
        1u32 << (program.aligned_bits - 1)
    );
    out
}

/// Compares what was printed with the exact inverse.
fn compare(firmware: &Firmware, variant: &FloatVariant, printed: &str, target: &mut FloatTarget) {
    let (program, inverse) = (&variant.program, &firmware.inverse);
    let got: Vec<u32> = printed
        .split(|c: char| !c.is_ascii_hexdigit())
        .filter(|word| word.len() == 8)
        .filter_map(|word| u32::from_str_radix(word, 16).ok())
        .collect();
    let expected = inputs(program).count();
    if got.len() != expected + 1 {
        target.problems.push(format!("{} results expected, {} printed", expected + 1, got.len()));
        return;
    }
    if got[expected] != FAILING | State::CalibrationInvalid as u32 {
        target.problems.push("constants with a wrong check value are not refused".to_owned());
    }
    let (mut same, mut worst) = (true, 0.0f64);
    let mut fault = |text: String| {
        if target.problems.len() < 3 {
            target.problems.push(text);
        }
    };
    for ((aligned, junction), &bits) in inputs(program).zip(&got) {
        let (state, value) = program.evaluate(aligned, junction);
        let exact = || {
            let emf = inverse.junction_emf(f64::from(junction)).unwrap_or(f64::NAN);
            inverse.celsius(inverse.thermocouple_volts(f64::from(aligned)) + emf)
        };
        if bits & WITH_NUMBER == WITH_NUMBER {
            fault(format!("input {aligned}: a failing state with a number"));
            continue;
        }
        let failing = bits & WITH_NUMBER == FAILING;
        let expected = if state == State::InRange { value.to_bits() } else { FAILING | state as u32 };
        same &= bits == expected;
        if failing == (state == State::InRange) || failing && bits != expected {
            let celsius = exact();
            let (low, high) = inverse.hot;
            let edge = (celsius - low).abs().min((celsius - high).abs());
            if edge.is_nan() || edge > EDGE {
                fault(format!("input {aligned}: another state at {celsius:.2} °C"));
            }
        } else if !failing {
            let error = (f64::from(f32::from_bits(bits)) - exact()).abs();
            worst = if error.is_nan() { f64::INFINITY } else { worst.max(error) };
        }
    }
    if worst > variant.walk.error + OTHER_ROUNDING {
        fault(format!("off by {worst:.4} K, walked {:.4} K", variant.walk.error));
    }
    target.conversions = expected as u64;
    target.same_bits = Some(same);
    target.error = Some(worst);
}

/// A caller that uses one conversion of whole codes and nothing else.
fn caller(program: &FloatProgram, p: &str) -> String {
    let code = code_type(program);
    let junction = junction_kind(program.junction_input, code)
        .map_or(String::new(), |(kind, _)| format!("({kind})input, "));
    format!(
        "#include \"{p}.h\"\n\nvolatile uint16_t input;\nvolatile float output;\n{p}_calibration constants;\n\nint main(void)\n{{\n    float result;\n    if ({p}_temperature(({code})input, {junction}&constants, &result) == 0) {{\n        output = result;\n    }}\n    return 0;\n}}\n"
    )
}

/// Runs the float programs of a firmware; what was not there, in words.
///
/// # Errors
/// When files can't be written or programs can't be started.
pub fn float_targets(firmware: &Firmware, scope: Scope) -> io::Result<(Vec<FloatTarget>, Vec<String>)> {
    let (mut targets, mut missing) = (Vec::new(), Vec::new());
    for variant in &firmware.floats {
        let folder = tempfile::tempdir()?;
        let folder = folder.path();
        let facts = firmware.float_facts(variant);
        let p = &facts.prefix;
        let write = |name: &str, text: String| std::fs::write(folder.join(name), text);
        write(&format!("{p}.h"), header(&variant.program, &facts))?;
        write(&format!("{p}.c"), source(&variant.program, &facts))?;
        write("proof-size.c", caller(&variant.program, p))?;
        let run_text = harness(&variant.program, p);
        let new = |name: &str| FloatTarget {
            kind: variant.program.kind,
            target: name.to_owned(),
            conversions: 0,
            error: None,
            same_bits: None,
            problems: Vec::new(),
            flash: None,
            cycles: None,
        };
        let one = One { firmware, variant, folder, p, run_text: &run_text };
        if let Some(target) = one.here(new("this machine"))? {
            targets.push(target);
        } else {
            missing.push("gcc: float was not run on this machine".to_owned());
        }
        if scope.avr {
            targets.extend(one.avr(new(avr::NAME))?);
        }
        if scope.arm {
            for (name, flags, machine) in arm::CORES {
                targets.extend(one.arm(new(name), flags, machine)?);
            }
        }
    }
    missing.dedup();
    Ok((targets, missing))
}

/// One program in its folder.
struct One<'a> {
    firmware: &'a Firmware,
    variant: &'a FloatVariant,
    folder: &'a Path,
    p: &'a str,
    run_text: &'a str,
}

impl One<'_> {
    /// Compiles; `None` if the compiler is not there, `false` (and a problem) if it does not compile.
    fn built(
        &self,
        compiler: &str,
        arguments: &[&str],
        target: &mut FloatTarget,
    ) -> io::Result<Option<bool>> {
        Ok(run::run(self.folder, compiler, arguments)?.map(|ended| {
            if !ended.good {
                target.problems.push(format!("does not compile: {}", host::first(&ended.text)));
            }
            ended.good
        }))
    }

    fn here(&self, mut target: FloatTarget) -> io::Result<Option<FloatTarget>> {
        let main = format!("{}\n{}", self.run_text, host::MAIN);
        std::fs::write(self.folder.join("proof-host.c"), main)?;
        let source = format!("{}.c", self.p);
        // Contracted products would round otherwise.
        let flags = ["-O2", "-ffp-contract=off", "-fsanitize=undefined,address", "-fno-sanitize-recover=all"];
        let arguments: Vec<&str> = host::WARNINGS
            .iter()
            .copied()
            .chain(flags)
            .chain(["-o", "host.elf", "proof-host.c", &source])
            .collect();
        let Some(good) = self.built("gcc", &arguments, &mut target)? else { return Ok(None) };
        if good
            && let Some(ended) = run::run(self.folder, &self.folder.join("host.elf").to_string_lossy(), &[])?
        {
            if ended.good {
                compare(self.firmware, self.variant, &ended.text, &mut target);
            } else {
                target.problems.push(format!("stopped: {}", host::first(&ended.text)));
            }
        }
        Ok(Some(target))
    }

    fn avr(&self, mut target: FloatTarget) -> io::Result<Option<FloatTarget>> {
        let source = format!("{}.c", self.p);
        let build = |main: &str, elf: &str, target: &mut FloatTarget| {
            let arguments: Vec<&str> = avr::FLAGS
                .iter()
                .copied()
                .chain(["-ffunction-sections", "-Wl,--gc-sections", "-o", elf, main, &source])
                .collect();
            self.built("avr-gcc", &arguments, target)
        };
        if build("proof-size.c", "size.elf", &mut target)?.is_none() {
            return Ok(None);
        }
        if let Some(listing) = run::run(self.folder, "avr-nm", &["-S", "size.elf"])? {
            target.flash = Some(avr::sizes(&listing.text, self.p, &avr::helper).0);
        }
        let program = &self.variant.program;
        let argument = junction_kind(program.junction_input, code_type(program))
            .map_or(String::new(), |(kind, _)| format!("({kind}){}L, ", rounds(program)[0].0));
        let timing = avr::Timing {
            prefix: self.p,
            entry: &entry(program, self.p),
            code: code_type(program),
            result: "float",
            junction: &argument,
            shift: program.aligned_bits - 12,
        };
        let main = format!("{}{}{}", self.run_text, avr::FRAME, timing.main());
        std::fs::write(self.folder.join("proof-avr.c"), main)?;
        if build("proof-avr.c", "avr.elf", &mut target)? == Some(true)
            && let Some(text) = avr::emulate(self.folder)?
        {
            compare(self.firmware, self.variant, avr::before(&text), &mut target);
            target.cycles = avr::cycles(&text);
        }
        Ok(Some(target))
    }

    fn arm(&self, mut target: FloatTarget, flags: &[&str], machine: &str) -> io::Result<Option<FloatTarget>> {
        std::fs::write(self.folder.join("arm.ld"), arm::LINKER)?;
        std::fs::write(
            self.folder.join("proof-arm.c"),
            format!("{}{}{}", self.run_text, arm::FRAME, arm::MAIN),
        )?;
        let source = format!("{}.c", self.p);
        let size = arm::arguments(flags, "size.elf", "proof-size.c", &source, &["-Wl,-e,main"]);
        if self.built(arm::COMPILER, &size, &mut target)?.is_none() {
            return Ok(None);
        }
        if let Some(listing) = run::run(self.folder, "arm-none-eabi-nm", &["-S", "size.elf"])? {
            target.flash = Some(avr::sizes(&listing.text, self.p, &arm::helper).0);
        }
        let whole = arm::arguments(flags, "arm.elf", "proof-arm.c", &source, &["-Wl,-e,start"]);
        if self.built(arm::COMPILER, &whole, &mut target)? == Some(true)
            && let Some(text) = arm::emulate(self.folder, machine, "arm.elf", &[])?
        {
            compare(self.firmware, self.variant, &text, &mut target);
        }
        Ok(Some(target))
    }
}
