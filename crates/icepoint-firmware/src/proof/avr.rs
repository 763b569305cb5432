//! An 8-bit AVR in an emulator. Target names stand here only as flags for compiler and emulator.

use std::io;
use std::path::Path;

use super::plan::Plan;
use super::{Cycles, Proof, Target, harness, host, run};
use crate::c_source::{code_type, junction_type, result_type};
use crate::firmware::Firmware;
use crate::identifier::capitals;

const NAME: &str = "8-bit AVR";
const FLAGS: &[&str] = &[
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
const FRAME: &str = "
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
fn helper(name: &str) -> bool {
    ["__mul", "__umul", "__udiv", "__div", "__neg", "__ashl", "__lshr", "__ashr", "__tablejump"]
        .iter()
        .any(|p| name.starts_with(p))
}

/// Bytes of flash and of static memory of what belongs to `prefix` in a linked program, by `nm -S`.
pub(super) fn sizes(listing: &str, prefix: &str, helper: &dyn Fn(&str) -> bool) -> (u32, u32) {
    let (mut flash, mut ram) = (0, 0);
    for line in listing.lines() {
        let words: Vec<&str> = line.split_whitespace().collect();
        let [_, size, kind, name] = words[..] else { continue };
        let own = name.strip_prefix(prefix).is_some_and(|rest| rest.starts_with('_'));
        if !(own || helper(name)) {
            continue;
        }
        let size = u32::from_str_radix(size, 16).unwrap_or(0);
        match kind {
            "T" | "t" | "R" | "r" | "W" => flash += size,
            "B" | "b" => ram += size,
            "D" | "d" => {
                ram += size;
                flash += size;
            }
            _ => {}
        }
    }
    (flash, ram)
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
        Some(ended) if ended.good => {
            match run::run(folder, "simavr", &["-m", "atmega328p", "-f", "16000000", "avr.elf"])? {
                None => proof.missing.push(format!("simavr: {NAME} was compiled but not run")),
                Some(ended) => {
                    let text = plain(&ended.text);
                    target.conversions = plan.conversions();
                    let expected = harness::expected(firmware, plan);
                    target.differences.extend(harness::differences(plan, &expected, before(&text)));
                    target.cycles = cycles(&text);
                }
            }
        }
        Some(ended) => target.differences.push(format!("does not compile: {}", host::first(&ended.text))),
        None => {}
    }
    if target.conversions > 0 || !target.differences.is_empty() {
        proof.targets.push(target);
    }
    Ok(())
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
fn before(text: &str) -> &str {
    text.split("cycles").next().unwrap_or(text)
}

/// `cycles`, then least, most, sum and count as hexadecimal words.
fn cycles(text: &str) -> Option<Cycles> {
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
    let p = &firmware.facts.prefix;
    let up = capitals(p);
    let program = &firmware.program;
    let (code, result) = (code_type(program), result_type(program));
    let junction = if junction_type(program).is_some() {
        format!("junctions[{}], ", plan.junctions.len() / 2 - 1)
    } else {
        String::new()
    };
    // Timer 1 counts clock cycles; a read and a store around nothing are taken off.
    format!(
        "{}{FRAME}
static uint16_t timed(uint8_t really, uint32_t input, uint8_t *good)
{{
    {p}_calibration constants = {up}_CALIBRATION_NOMINAL;
    {result} value = 0;
    {p}_state state = 0;
    uint16_t from = TCNT1;
    if (really) {{
        state = {}(({code})input, {junction}&constants, &value);
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
        uint16_t took = (uint16_t)(timed(1, k << {}, &good) - idle);
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
",
        harness::run(firmware, plan),
        harness::entry(firmware),
        program.aligned_bits - 12
    )
}
