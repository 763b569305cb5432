//! The proof as a page.

use std::fmt::Write as _;

use super::{Proof, Target};
use crate::firmware::{File, Firmware};

/// Heads of [`row`].
pub const HEADS: [&str; 7] = [
    "target",
    "conversions",
    "bits",
    "flash, bytes",
    "static and stack, bytes",
    "clock cycles, least, mean, most",
    "instructions, mean",
];

/// One target as cells.
pub fn row(t: &Target) -> [String; 7] {
    [
        t.name.clone(),
        t.conversions.to_string(),
        if t.proven() { "all the same".to_owned() } else { "DIFFER".to_owned() },
        t.flash.map_or(String::new(), |b| b.to_string()),
        t.ram.map_or(String::new(), |(a, b)| format!("{a} + {b}")),
        t.cycles.map_or(String::new(), |c| format!("{}, {:.0}, {}", c.least, c.mean, c.most)),
        t.instructions.map_or(String::new(), |i| format!("{i:.0}")),
    ]
}

/// What was compared, in a paragraph.
pub fn what(firmware: &Firmware) -> String {
    let p = &firmware.program;
    let inputs = 1u64 << p.aligned_bits;
    let emulated = if p.aligned_bits == 16 {
        "everywhere"
    } else {
        "on this machine; a stratified million of them in emulators"
    };
    format!(
        "Every one of the converter's {inputs} inputs (parts of a code included) {emulated}, at {} inputs of the reference \
         junction, one of them out of range; whole codes by their own entry; constants with a wrong check value. Each block of \
         4096 results is hashed (FNV-1a, 32 bit: a single different byte always shows, more escape by chance once in 4·10⁹ \
         blocks) and compared with the program that was walked against the exact inverse of \
         the chain: largest error {:.4} K.",
        firmware.junctions().len() + usize::from(p.junction.is_some()),
        firmware.walk.error
    )
}

/// Markdown.
pub fn page(firmware: &Firmware, proof: &Proof) -> File {
    let mut out = format!("# Proof of {}\n\n{}\n\n", firmware.facts.title, what(firmware));
    let _ = writeln!(out, "Fingerprint of the chain file: `{}`.\n", firmware.facts.fingerprint);
    let _ = writeln!(out, "| {} |\n|---|---:|---|---:|---:|---:|---:|", HEADS.join(" | "));
    for t in &proof.targets {
        let _ = writeln!(out, "| {} |", row(t).join(" | "));
    }
    out.push('\n');
    for t in &proof.targets {
        for difference in &t.differences {
            let _ = writeln!(out, "- {}: {difference}", t.name);
        }
    }
    for missing in &proof.missing {
        let _ = writeln!(out, "- not there: {missing}");
    }
    let mut compilers: Vec<&str> = proof.targets.iter().map(|t| t.compiler.as_str()).collect();
    compilers.dedup();
    let _ = write!(
        out,
        "\nFlash is code, tables and what they draw from the compiler's library. Cycles are those of a hardware timer inside the\nemulator; instructions are counted by the emulator, a loop around an empty function taken off: no wait states of flash.\nCompilers: {}.\n",
        compilers.join("; ")
    );
    File { name: format!("{}-proof.md", firmware.facts.prefix), contents: out }
}
