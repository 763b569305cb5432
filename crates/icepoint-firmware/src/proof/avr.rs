//! An 8-bit AVR in an emulator. Target names stand here only as flags for compiler and emulator.

use std::io;
use std::path::Path;

use super::plan::Plan;
use super::{Cycles, Proof, Target, harness, host, run};
use crate::c_source::{code_type, junction_type, result_type};
use crate::firmware::Firmware;
use crate::identifier::capitals;

pub(super) const NAME: &str = "8-bit AVR";
pub(super) const FLAGS: &[&str] = &[
    "-std=c99",
    "-Wall",
    "-Wextra",
    "-Wconversion",
    "-pedantic",
    "-Werror",
    "-Os",
    "-mmcu=atmega328p",
    "-DF_CPU=16000000UL",
];

/// Serial output by the converter's own UART, and an end that the emulator sees.
pub(super) const FRAME: &str = "
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>

static void put(char c)
{
    while (!(UCSR0A & (1 << UDRE0))) {
    }
    UDR0 = (uint8_t)c;
}

static void emit(uint32_t hash)
{
    uint8_t i;
    for (i = 0; i < 8; i++) {
        put(\"0123456789abcdef\"[(hash >> 28) & 15u]);
        hash <<= 4;
    }
    put('\\n');
}

static void stop(void)
{
    while (!(UCSR0A & (1 << UDRE0))) {
    }
    cli();
    sleep_enable();
    sleep_cpu();
}
";

/// Functions of the compiler's library that are no part of the start-up.
pub(super) fn helper(name: &str) -> bool {
    [
        "__mul",
        "__umul",
        "__udiv",
        "__div",
        "__neg",
        "__ashl",
        "__lshr",
        "__ashr",
        "__tablejump",
        "__fp_",
        "__float",
    ]
    .iter()
    .any(|p| name.starts_with(p))
        || (name.starts_with("__") && (name.ends_with("sf2") || name.ends_with("sf3")))
}

/// Bytes of flash and of static memory of what belongs to `prefix` in a linked program, by `nm -S`. Symbols of the
/// library may be other names for the same bytes, or lie in each other: every byte counts once.
pub(super) fn sizes(listing: &str, prefix: &str, helper: &dyn Fn(&str) -> bool) -> (u32, u32) {
    let (mut flash, mut ram) = (Vec::new(), Vec::new());
    let mut initial = 0;
    for line in listing.lines() {
        let words: Vec<&str> = line.split_whitespace().collect();
        let [address, size, kind, name] = words[..] else { continue };
        let own = name.strip_prefix(prefix).is_some_and(|rest| rest.starts_with('_'));
        if !(own || helper(name)) {
            continue;
        }
        let number = |text: &str| u32::from_str_radix(text, 16).unwrap_or(0);
        let bytes = (number(address), number(address) + number(size));
        match kind {
            "T" | "t" | "R" | "r" | "W" => flash.push(bytes),
            "B" | "b" => ram.push(bytes),
            "D" | "d" => {
                ram.push(bytes);
                initial += number(size);
            }
            _ => {}
        }
    }
    (covered(flash) + initial, covered(ram))
}

/// Bytes that intervals cover together.
fn covered(mut intervals: Vec<(u32, u32)>) -> u32 {
    intervals.sort_unstable();
    let (mut total, mut reached) = (0, 0);
    for (from, to) in intervals {
        total += to.saturating_sub(from.max(reached));
        reached = reached.max(to);
    }
    total
}

/// A caller that uses one conversion of whole codes and nothing else.
pub(super) fn caller(firmware: &Firmware) -> String {
    let p = &firmware.facts.prefix;
    let program = &firmware.program;
    let junction = junction_type(program).map_or(String::new(), |(kind, _)| format!("({kind})input, "));
    format!(
        "#include \"{p}.h\"\n\nvolatile uint16_t input;\nvolatile {} output;\n{p}_calibration constants;\n\nint main(void)\n{{\n    {} result;\n    if ({p}_temperature(({})input, {junction}&constants, &result) == 0) {{\n        output = result;\n    }}\n    return 0;\n}}\n",
        result_type(program),
        result_type(program),
        code_type(program)
    )
}

/// Stack of the deepest call, from what the compiler says of each function.
pub(super) fn stack(folder: &Path, su: &str, prefix: &str) -> u32 {
    let text = std::fs::read_to_string(folder.join(su)).unwrap_or_default();
    let bytes = |name: &str| {
        text.lines()
            .filter_map(|line| {
                let mut fields = line.split('\t');
                let place = fields.next()?;
                place.ends_with(&format!(":{name}")).then(|| fields.next()?.trim().parse::<u32>().ok())?
            })
            .max()
            .unwrap_or(0)
    };
    let own = |name: &str| bytes(&format!("{prefix}_{name}"));
    own("temperature") + own("temperature_fine") + own("curve").max(own("calibration_check")) + own("part")
}

pub fn prove(firmware: &Firmware, plan: &Plan, folder: &Path, proof: &mut Proof) -> io::Result<()> {
    let Some(compiler) = run::version("avr-gcc")? else {
        proof.missing.push(format!("avr-gcc: {NAME} was not compiled"));
        return Ok(());
    };
    let p = &firmware.facts.prefix;
    let source = format!("{p}.c");
    let mut target = Target::new(NAME, &compiler);
    std::fs::write(folder.join("proof-size.c"), caller(firmware))?;
    let build = |main: &str, elf: &str, more: &[&str]| {
        let arguments: Vec<&str> = FLAGS
            .iter()
            .copied()
            .chain(["-ffunction-sections", "-Wl,--gc-sections"])
            .chain(more.iter().copied())
            .chain(["-o", elf, main, &source])
            .collect();
        run::run(folder, "avr-gcc", &arguments)
    };
    match build("proof-size.c", "size.elf", &["-fstack-usage"])? {
        Some(ended) if ended.good => {
            if let Some(listing) = run::run(folder, "avr-nm", &["-S", "size.elf"])? {
                let (flash, ram) = sizes(&listing.text, p, &helper);
                target.flash = Some(flash);
                let su = ["size.elf-", p, ".su"].concat();
                let su = if folder.join(&su).exists() { su } else { format!("{p}.su") };
                target.ram = Some((ram, stack(folder, &su, p)));
            }
        }
        Some(ended) => target.differences.push(format!("does not compile: {}", host::first(&ended.text))),
        None => {}
    }
    std::fs::write(folder.join("proof-avr.c"), main(firmware, plan))?;
    match build("proof-avr.c", "avr.elf", &[])? {
        Some(ended) if ended.good => match emulate(folder)? {
            None => proof.missing.push(format!("simavr: {NAME} was compiled but not run")),
            Some(text) => {
                target.conversions = plan.conversions();
                let expected = harness::expected(firmware, plan);
                target.differences.extend(harness::differences(plan, &expected, before(&text)));
                target.cycles = cycles(&text);
            }
        },
        Some(ended) => target.differences.push(format!("does not compile: {}", host::first(&ended.text))),
        None => {}
    }
    if target.conversions > 0 || !target.differences.is_empty() {
        proof.targets.push(target);
    }
    Ok(())
}

/// Runs `avr.elf`; `None` if there is no emulator.
pub(super) fn emulate(folder: &Path) -> io::Result<Option<String>> {
    let ended = run::run(folder, "simavr", &["-m", "atmega328p", "-f", "16000000", "avr.elf"])?;
    Ok(ended.map(|ended| plain(&ended.text)))
}

/// Without the emulator's colours.
fn plain(text: &str) -> String {
    let mut out = String::new();
    let mut escaped = false;
    for c in text.chars() {
        match (escaped, c) {
            (false, '\u{1b}') => escaped = true,
            (true, c) if c.is_ascii_alphabetic() => escaped = false,
            (true, _) => {}
            (false, c) => out.push(c),
        }
    }
    out
}

/// The blocks, which end where the cycles begin.
pub(super) fn before(text: &str) -> &str {
    text.split("cycles").next().unwrap_or(text)
}

/// `cycles`, then least, most, sum and count as hexadecimal words.
pub(super) fn cycles(text: &str) -> Option<Cycles> {
    let rest = text.split_once("cycles")?.1;
    let words: Vec<u32> = rest
        .split(|c: char| !c.is_ascii_hexdigit())
        .filter(|w| w.len() == 8)
        .filter_map(|w| u32::from_str_radix(w, 16).ok())
        .collect();
    let [least, most, sum, count, ..] = words[..] else { return None };
    (count > 0).then(|| Cycles { least, mean: f64::from(sum) / f64::from(count), most })
}

fn main(firmware: &Firmware, plan: &Plan) -> String {
    let program = &firmware.program;
    let junction = if junction_type(program).is_some() {
        format!("junctions[{}], ", plan.junctions.len() / 2 - 1)
    } else {
        String::new()
    };
    let timing = Timing {
        prefix: &firmware.facts.prefix,
        entry: &harness::entry(firmware),
        code: code_type(program),
        result: result_type(program),
        junction: &junction,
        shift: program.aligned_bits - 12,
    };
    format!("{}{FRAME}{}", harness::run(firmware, plan), timing.main())
}

/// Bytes of flash and cycles of the firmware's own code on the AVR, without running a plan; `None` without compiler or
/// emulator.
///
/// # Errors
/// When files can't be written or programs can't be started.
pub fn avr_cost(firmware: &Firmware) -> io::Result<Option<(u32, Cycles)>> {
    let folder = tempfile::tempdir()?;
    let folder = folder.path();
    let p = &firmware.facts.prefix;
    let program = &firmware.program;
    let source = format!("{p}.c");
    std::fs::write(folder.join(format!("{p}.h")), firmware.c_header())?;
    std::fs::write(folder.join(&source), firmware.c_source())?;
    std::fs::write(folder.join("proof-size.c"), caller(firmware))?;
    let junction = match (junction_type(program), program.junction.as_ref()) {
        (Some((kind, _)), Some(j)) => format!("({kind}){}L, ", j.range.0 + (j.range.1 - j.range.0) / 2),
        _ => String::new(),
    };
    let timing = Timing {
        prefix: p,
        entry: &harness::entry(firmware),
        code: code_type(program),
        result: result_type(program),
        junction: &junction,
        shift: program.aligned_bits - 12,
    };
    let main = format!("#include \"{p}.h\"\nstatic void run(void)\n{{\n}}\n{FRAME}{}", timing.main());
    std::fs::write(folder.join("proof-avr.c"), main)?;
    for (main, elf) in [("proof-size.c", "size.elf"), ("proof-avr.c", "avr.elf")] {
        let arguments: Vec<&str> = FLAGS
            .iter()
            .copied()
            .chain(["-ffunction-sections", "-Wl,--gc-sections", "-o", elf, main, &source])
            .collect();
        if !run::run(folder, "avr-gcc", &arguments)?.is_some_and(|ended| ended.good) {
            return Ok(None);
        }
    }
    let listing = run::run(folder, "avr-nm", &["-S", "size.elf"])?;
    let text = emulate(folder)?;
    Ok(listing.zip(text).and_then(|(l, t)| Some((sizes(&l.text, p, &helper).0, cycles(&t)?))))
}

/// The main function: `run()`, then the cycles of 4096 conversions by the timer.
pub(super) struct Timing<'a> {
    /// Prefix of the code's names.
    pub prefix: &'a str,
    /// Name of the conversion of aligned inputs.
    pub entry: &'a str,
    /// Type of its input.
    pub code: &'a str,
    /// Type of its result.
    pub result: &'a str,
    /// The junction's argument with its comma.
    pub junction: &'a str,
    /// Bits by which 12-bit numbers are shifted to be aligned inputs.
    pub shift: u32,
}

impl Timing<'_> {
    pub fn main(&self) -> String {
        let Self { prefix, entry, code, result, junction, shift } = self;
        let up = capitals(prefix);
        // Timer 1 counts clock cycles; a read and a store around nothing are taken off.
        format!(
            "
static uint16_t timed(uint8_t really, uint32_t input, uint8_t *good)
{{
    {prefix}_calibration constants = {up}_CALIBRATION_NOMINAL;
    {result} value = 0;
    {prefix}_state state = 0;
    uint16_t from = TCNT1;
    if (really) {{
        state = {entry}(({code})input, {junction}&constants, &value);
    }}
    {{
        uint16_t to = TCNT1;
        *good = state == 0;
        GPIOR0 = (uint8_t)value;
        return (uint16_t)(to - from);
    }}
}}

int main(void)
{{
    uint32_t k, least = 0xffffffffuL, most = 0, sum = 0, count = 0;
    uint8_t good;
    uint16_t idle;
    UCSR0B = (1 << TXEN0);
    UBRR0 = 0;
    TCCR1B = (1 << CS10);
    run();
    idle = timed(0, 0, &good);
    for (k = 0; k < 4096; k++) {{
        uint16_t took = (uint16_t)(timed(1, k << {shift}, &good) - idle);
        if (good) {{
            least = took < least ? took : least;
            most = took > most ? took : most;
            sum += took;
            count++;
        }}
    }}
    put('c');
    put('y');
    put('c');
    put('l');
    put('e');
    put('s');
    put('\\n');
    emit(least);
    emit(most);
    emit(sum);
    emit(count);
    stop();
    return 0;
}}
"
        )
    }
}
