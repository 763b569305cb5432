//! Cortex-M0, M3 and M4 in an emulator. Machine names stand here only as its flags.
//!
//! **Instructions, not cycles.** The emulator is told to take one nanosecond for each instruction, and the SysTick timer
//! counts those; a loop around an empty function of the same shape is taken off. It says nothing of flash wait states.

use std::io;
use std::path::Path;

use super::plan::Plan;
use super::{Proof, Target, avr, harness, host, run};
use crate::c_source::{code_type, junction_type, result_type};
use crate::firmware::Firmware;
use crate::identifier::capitals;

/// Name, compiler flags, emulated machine.
pub(super) const CORES: [(&str, &[&str], &str); 3] = [
    ("Cortex-M0", &["-mthumb", "-mcpu=cortex-m0"], "microbit"),
    ("Cortex-M3", &["-mthumb", "-mcpu=cortex-m3"], "mps2-an385"),
    ("Cortex-M4", &["-mthumb", "-mcpu=cortex-m4"], "mps2-an386"),
];

pub(super) const COMPILER: &str = "arm-none-eabi-gcc";

/// Everything of a plan, then the end.
pub(super) const MAIN: &str = "\nint main(void)\n{\n    run();\n    stop();\n    return 0;\n}\n";

/// Arguments of the compiler.
pub(super) fn arguments<'a>(
    flags: &[&'a str],
    elf: &'a str,
    main: &'a str,
    source: &'a str,
    more: &[&'a str],
) -> Vec<&'a str> {
    host::WARNINGS
        .iter()
        .chain(flags)
        .copied()
        .chain(["-Os", "-ffreestanding", "-nostdlib", "-ffunction-sections", "-fdata-sections"])
        .chain(["-Wl,--gc-sections"])
        .chain(more.iter().copied())
        .chain(["-T", "arm.ld", "-o", elf, main, source, "-lgcc"])
        .collect()
}

pub(super) const LINKER: &str = "MEMORY { FLASH (rx) : ORIGIN = 0x0, LENGTH = 256K
  RAM (rwx) : ORIGIN = 0x20000000, LENGTH = 16K }
SECTIONS {
  .text : { KEEP(*(.vectors)) *(.text*) *(.rodata*) } > FLASH
  .data : { *(.data*) } > RAM
  .bss : { *(.bss*) *(COMMON) } > RAM
  /DISCARD/ : { *(.ARM.exidx*) *(.comment) *(.ARM.attributes) }
}
";

/// Vector table, start and the emulator's own console.
pub(super) const FRAME: &str = "
int main(void);
void start(void);
void start(void)
{
    (void)main();
    for (;;) {
    }
}
struct vectors {
    uint32_t stack;
    void (*start)(void);
};
__attribute__((section(\".vectors\"), used)) static const struct vectors table = { 0x20003ff0u, start };

static void call(uint32_t operation, const void *block)
{
    register uint32_t r0 __asm__(\"r0\") = operation;
    register const void *r1 __asm__(\"r1\") = block;
    __asm__ volatile(\"bkpt 0xab\" : \"+r\"(r0) : \"r\"(r1) : \"memory\");
}

static void emit(uint32_t hash)
{
    char text[10];
    uint32_t i;
    for (i = 0; i < 8; i++) {
        uint32_t digit = (hash >> 28) & 15u;
        text[i] = (char)(digit < 10 ? '0' + digit : 'a' + digit - 10);
        hash <<= 4;
    }
    text[8] = '\\n';
    text[9] = 0;
    call(4, text);
}

/* What the compiler calls for a struct of zeros. */
void *memset(void *to, int value, unsigned int size);
void *memset(void *to, int value, unsigned int size)
{
    volatile unsigned char *byte = to;
    while (size-- > 0) {
        *byte++ = (unsigned char)value;
    }
    return to;
}

static void stop(void)
{
    call(0x18, (const void *)0x20026);
}
";

pub(super) fn helper(name: &str) -> bool {
    name.starts_with("__aeabi_")
        || name.starts_with("__udiv")
        || name.starts_with("__div")
        || name.starts_with("__gnu_thumb1")
}

pub fn prove(firmware: &Firmware, plan: &Plan, folder: &Path, proof: &mut Proof) -> io::Result<()> {
    let Some(compiler) = run::version(COMPILER)? else {
        proof.missing.push("arm-none-eabi-gcc: no Cortex-M was compiled".to_owned());
        return Ok(());
    };
    let expected = harness::expected(firmware, plan);
    let p = &firmware.facts.prefix;
    let source = format!("{p}.c");
    std::fs::write(folder.join("arm.ld"), LINKER)?;
    std::fs::write(folder.join("proof-size.c"), avr::caller(firmware))?;
    std::fs::write(folder.join("proof-arm.c"), format!("{}{FRAME}{MAIN}", harness::run(firmware, plan)))?;
    std::fs::write(folder.join("proof-count.c"), counting(firmware, plan))?;
    let mut emulator = true;
    for (name, flags, machine) in CORES {
        let mut target = Target::new(name, &compiler);
        let build = |main: &str, elf: &str, more: &[&str]| {
            run::run(folder, COMPILER, &arguments(flags, elf, main, &source, more))
        };
        match build("proof-size.c", "size.elf", &["-fstack-usage", "-Wl,-e,main"])? {
            Some(ended) if ended.good => {
                if let Some(listing) = run::run(folder, "arm-none-eabi-nm", &["-S", "size.elf"])? {
                    let (flash, ram) = avr::sizes(&listing.text, p, &helper);
                    target.flash = Some(flash);
                    let su = format!("size.elf-{p}.su");
                    let su = if folder.join(&su).exists() { su } else { format!("{p}.su") };
                    target.ram = Some((ram, avr::stack(folder, &su, p)));
                }
            }
            Some(ended) => target.differences.push(format!("does not compile: {}", host::first(&ended.text))),
            None => {}
        }
        match build("proof-arm.c", "arm.elf", &["-Wl,-e,start"])? {
            Some(ended) if ended.good && emulator => match emulate(folder, machine, "arm.elf", &[])? {
                None => {
                    proof.missing.push("qemu-system-arm: Cortex-M was compiled but not run".to_owned());
                    emulator = false;
                }
                Some(text) => {
                    target.conversions = plan.conversions();
                    target.differences.extend(harness::differences(plan, &expected, &text));
                }
            },
            Some(ended) if !ended.good => {
                target.differences.push(format!("does not compile: {}", host::first(&ended.text)));
            }
            _ => {}
        }
        if emulator && let Some(ended) = build("proof-count.c", "count.elf", &["-Wl,-e,start"])? {
            if !ended.good {
                target
                    .differences
                    .push(format!("the counting program does not compile: {}", host::first(&ended.text)));
            } else if let Some(text) = emulate(folder, machine, "count.elf", &["-icount", "shift=0"])? {
                target.instructions = instructions(&text);
            }
        }
        if target.conversions > 0 || !target.differences.is_empty() {
            proof.targets.push(target);
        }
    }
    Ok(())
}

pub(super) fn emulate(folder: &Path, machine: &str, elf: &str, more: &[&str]) -> io::Result<Option<String>> {
    let arguments: Vec<&str> = [
        "-M",
        machine,
        "-display",
        "none",
        "-monitor",
        "none",
        "-serial",
        "none",
        "-chardev",
        "stdio,id=out",
        "-semihosting-config",
        "enable=on,target=native,chardev=out",
        "-kernel",
        elf,
    ]
    .into_iter()
    .chain(more.iter().copied())
    .collect();
    Ok(run::run(folder, "qemu-system-arm", &arguments)?.map(|ended| ended.text))
}

/// From the ticks of [`COUNTED`] conversions, of as many calls of an empty function and of [`KNOWN`] instructions.
fn instructions(text: &str) -> Option<f64> {
    let words: Vec<u32> = text.split_whitespace().filter_map(|w| u32::from_str_radix(w, 16).ok()).collect();
    let [really, empty, known, ..] = words[..] else { return None };
    if known == 0 || really <= empty {
        return None;
    }
    let per_tick = KNOWN as f64 / f64::from(known);
    Some(f64::from(really - empty) * per_tick / f64::from(COUNTED))
}

/// Conversions that are counted: as many inputs, evenly spread.
const COUNTED: u32 = 1 << COUNTED_BITS;
const COUNTED_BITS: u32 = 12;
/// Instructions of the loop that tells how many a tick is worth: 1000 rounds of 1000 and the loop's two.
const KNOWN: u32 = 1000 * 1002;

fn counting(firmware: &Firmware, plan: &Plan) -> String {
    let p = &firmware.facts.prefix;
    let up = capitals(p);
    let program = &firmware.program;
    let (code, result) = (code_type(program), result_type(program));
    let kind = junction_type(program).map(|(kind, _)| kind);
    let declared = kind.map_or(String::new(), |k| format!(", {k} junction"));
    let argument =
        kind.map_or(String::new(), |_| format!("{}, ", plan.junctions[plan.junctions.len() / 2 - 1]));
    let unused = kind.map_or(String::new(), |_| "    (void)junction;\n".to_owned());
    let name = harness::entry(firmware);
    format!(
        "#include \"{p}.h\"
{FRAME}
#define CONTROL (*(volatile uint32_t *)0xe000e010)
#define RELOAD (*(volatile uint32_t *)0xe000e014)
#define CURRENT (*(volatile uint32_t *)0xe000e018)

static {p}_calibration constants = {up}_CALIBRATION_NOMINAL;
static volatile {result} kept;

__attribute__((noinline)) static {p}_state empty({code} input{declared}, const {p}_calibration *calibration, {result} *result)
{{
    (void)input;
{unused}    (void)calibration;
    *result = 0;
    __asm__ volatile(\"\");
    return 0;
}}

/* On its own, so that no constant of another function lies behind it, out of reach. */
__attribute__((noinline)) static void known(void)
{{
    uint32_t k = 1000;
    __asm__ volatile(\".syntax unified\\n1:\\n\\t.rept 1000\\n\\tnop\\n\\t.endr\\n\\tsubs %0, %0, #1\\n\\tbeq 2f\\n\\tb 1b\\n2:\" : \"+l\"(k) : : \"cc\");
}}

int main(void)
{{
    uint32_t k, from;
    {result} value;
    RELOAD = 0xffffff;
    CURRENT = 0;
    CONTROL = 5;
    from = CURRENT;
    for (k = 0; k < {COUNTED}; k++) {{
        (void){name}(({code})(k << {shift}), {argument}&constants, &value);
        kept = value;
    }}
    emit((from - CURRENT) & 0xffffffu);
    from = CURRENT;
    for (k = 0; k < {COUNTED}; k++) {{
        (void)empty(({code})(k << {shift}), {argument}&constants, &value);
        kept = value;
    }}
    emit((from - CURRENT) & 0xffffffu);
    from = CURRENT;
    known();
    /* Twice, because the emulator may end before its last line is written. */
    from = (from - CURRENT) & 0xffffffu;
    emit(from);
    emit(from);
    stop();
    return 0;
}}
",
        shift = program.aligned_bits - COUNTED_BITS
    )
}
