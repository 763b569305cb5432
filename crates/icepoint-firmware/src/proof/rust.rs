//! The Rust module on this machine: in a library without `std`, with overflow checks on.

use std::fmt::Write as _;
use std::io;
use std::path::Path;

use super::plan::{BASIS, CHOOSER, PRIME, Plan};
use super::{Proof, Target, harness, host, run};
use crate::firmware::Firmware;
use crate::inverse::JunctionInput;

pub fn prove(firmware: &Firmware, plan: &Plan, folder: &Path, proof: &mut Proof) -> io::Result<()> {
    let Some(compiler) = run::version("rustc")? else {
        proof.missing.push("rustc: the Rust module was not run".to_owned());
        return Ok(());
    };
    let p = &firmware.facts.prefix;
    std::fs::write(folder.join(format!("{p}.rs")), firmware.rust_module())?;
    std::fs::write(folder.join("proof-lib.rs"), format!("#![no_std]\n#![deny(warnings)]\npub mod {p};\n"))?;
    std::fs::write(folder.join("proof-main.rs"), main(firmware, plan))?;
    let mut target = Target::new("this machine, Rust without std", &compiler);
    target.conversions = plan.conversions();
    let options =
        ["--edition", "2021", "-C", "opt-level=2", "-C", "overflow-checks=on", "-C", "debug-assertions=on"];
    let library = ["--crate-type", "rlib", "--crate-name", "without_std", "proof-lib.rs"];
    let program =
        ["-L", ".", "--extern", "without_std=libwithout_std.rlib", "-o", "rust.elf", "proof-main.rs"];
    for own in [library.as_slice(), program.as_slice()] {
        let arguments: Vec<&str> = options.iter().chain(own).copied().collect();
        match run::run(folder, "rustc", &arguments)? {
            Some(ended) if ended.good => {}
            Some(ended) => {
                target.differences.push(format!("does not compile: {}", host::first(&ended.text)));
                proof.targets.push(target);
                return Ok(());
            }
            None => return Ok(()),
        }
    }
    if let Some(ended) = run::run(folder, &folder.join("rust.elf").to_string_lossy(), &[])? {
        target.differences = if ended.good {
            harness::differences(plan, &harness::expected(firmware, plan), &ended.text)
        } else {
            vec![format!("stopped: {}", host::first(&ended.text))]
        };
    }
    proof.targets.push(target);
    Ok(())
}

fn main(firmware: &Firmware, plan: &Plan) -> String {
    let program = &firmware.program;
    let p = &firmware.facts.prefix;
    let code = if program.aligned_bits == 16 { "u16" } else { "u32" };
    let result = if program.wide_result() { "i32" } else { "i16" };
    let fine = program.bits < program.aligned_bits;
    let entry = if fine { "temperature_fine" } else { "temperature" };
    let (kind, argument) = match program.junction_input {
        JunctionInput::None => ("i16", ""),
        JunctionInput::Temperature => ("i16", "junction, "),
        JunctionInput::Divider(_) => (code, "junction, "),
    };
    let junctions: Vec<String> = plan.junctions.iter().map(i32::to_string).collect();
    let input = if plan.stratum == 0 {
        "k".to_owned()
    } else {
        format!("(k << {}) | (k.wrapping_mul({CHOOSER}) >> {})", plan.stratum, 32 - plan.stratum)
    };
    let select = if plan.cycled { "k as usize % JUNCTIONS.len()" } else { "round" };
    let read = if argument.is_empty() {
        String::new()
    } else {
        format!("{}, ", harness::junction_read(firmware, plan))
    };
    let mut whole = if fine {
        format!(
            "    let mut hash = {BASIS}u32;
    for k in 0..={}u32 {{
        hash = hashed(hash, without_std::{p}::temperature(k as {code}, {read}&constants));
    }}
    println!(\"{{hash:08x}}\");
",
            1u32 << program.bits
        )
    } else {
        String::new()
    };
    if let Some(harness::DividerCodes { step, count, code: middle }) = harness::divider_codes(firmware) {
        let _ = write!(
            whole,
            "    let mut hash = {BASIS}u32;
    for k in 0..={count}u32 {{
        hash = hashed(hash, without_std::{p}::temperature({middle}, (k * {step}) as {code}, &constants));
    }}
    println!(\"{{hash:08x}}\");
"
        );
    }
    format!(
        "use without_std::{p}::{{Calibration, State}};

// A compensated chain asks for none.
#[allow(dead_code)]
const JUNCTIONS: [{kind}; {count_junctions}] = [{list}];

fn hashed(hash: u32, outcome: Result<{result}, State>) -> u32 {{
    let (state, value) = match outcome {{
        Ok(value) => (0u8, value),
        Err(state) => (state as u8, {result}::MIN),
    }};
    let step = |hash: u32, byte: u8| (hash ^ u32::from(byte)).wrapping_mul({PRIME});
    value.to_le_bytes().into_iter().fold(step(hash, state), step)
}}

// Nor does it need the junction picked for each conversion.
#[allow(unused_variables)]
fn main() {{
    let mut constants = Calibration::NOMINAL;
    for round in 0..{rounds}usize {{
        let mut hash = {BASIS}u32;
        for k in 0..{count}u32 {{
            let junction = JUNCTIONS[{select}];
            hash = hashed(hash, without_std::{p}::{entry}(({input}) as {code}, {argument}&constants));
            if k & {mask} == {mask} {{
                println!(\"{{hash:08x}}\");
                hash = {BASIS};
            }}
        }}
    }}
    let junction = JUNCTIONS[{middle}];
    constants.gain ^= 1;
    println!(\"{{:08x}}\", hashed({BASIS}, without_std::{p}::{entry}({half}, {argument}&constants)));
    constants.gain ^= 1;
{whole}{filter}}}
",
        filter = filter(firmware, p, code),
        count_junctions = plan.junctions.len(),
        list = junctions.join(", "),
        rounds = plan.rounds(),
        count = plan.count,
        mask = plan.block - 1,
        middle = plan.junctions.len() / 2,
        half = 1u32 << (program.aligned_bits - 1),
    )
}

/// The filter on the same codes as in C.
fn filter(firmware: &Firmware, p: &str, code: &str) -> String {
    if firmware.filter.is_none() {
        return String::new();
    }
    format!(
        "    let mut filter = without_std::{p}::Filter::default();
    let mut hash = {BASIS}u32;
    for k in 0..{count}u32 {{
        if let Some(fine) = filter.add(({input}) as {code}) {{
            for byte in u32::from(fine).to_le_bytes() {{
                hash = (hash ^ u32::from(byte)).wrapping_mul({PRIME});
            }}
        }}
    }}
    println!(\"{{hash:08x}}\");
",
        count = super::plan::filter_codes(firmware),
        input = super::plan::filter_code_text(firmware, "k.wrapping_mul", ""),
    )
}
