//! The proof as a page.

use std::fmt::Write as _;

use super::{Cycles, Proof, Target};
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

/// Heads of [`beside_float`].
pub const FLOAT_HEADS: [&str; 6] =
    ["arithmetic", "target", "flash, bytes", "clock cycles, mean", "largest error, K", "conversions"];

/// Whole numbers beside floating point, on the targets whose bytes were counted.
pub fn beside_float(firmware: &Firmware, proof: &Proof) -> Vec<[String; 6]> {
    let number = |bytes: Option<u32>| bytes.map_or(String::new(), |b| b.to_string());
    let mean = |cycles: Option<Cycles>| cycles.map_or(String::new(), |c| format!("{:.0}", c.mean));
    let whole = proof.targets.iter().filter(|t| t.flash.is_some()).map(|t| {
        let name = format!("whole numbers, {}", firmware.program.curve.form.name());
        let error = if t.proven() { format!("{:.4}", firmware.walk.error) } else { "differs".to_owned() };
        [name, t.name.clone(), number(t.flash), mean(t.cycles), error, t.conversions.to_string()]
    });
    let float = proof.floats.iter().filter(|t| t.flash.is_some()).map(|t| {
        let error = t.error.map_or(String::new(), |e| format!("{e:.4}"));
        let name = t.kind.name().to_owned();
        [name, t.target.clone(), number(t.flash), mean(t.cycles), error, t.conversions.to_string()]
    });
    whole.chain(float).collect()
}

/// What [`beside_float`] is, in a paragraph.
pub const ABOUT_FLOAT: &str = "The same chain, converter, states and constants in place; only the arithmetic differs. The \
     error is the largest against the exact inverse, found on the target itself. The published polynomials are the inverse \
     ones of NIST Monograph 175, coefficients as printed; the reference junction has a fitted polynomial in both.";

/// What was compared, in a paragraph.
pub fn what(firmware: &Firmware) -> String {
    let p = &firmware.program;
    let inputs = 1u64 << p.aligned_bits;
    let emulated = if p.aligned_bits == 16 {
        "everywhere"
    } else {
        "on this machine; a stratified million of them in emulators"
    };
    let junctions = match p.junction {
        Some(_) => format!(
            ", at {} inputs of the reference junction and one out of its range",
            firmware.junctions().len()
        ),
        None => String::new(),
    };
    let whole = if p.alignment() > 0 { "; whole codes by their own entry" } else { "" };
    let filter = if firmware.filter.is_some() { "; the filter on thousands of codes" } else { "" };
    format!(
        "Every one of the converter's {inputs} inputs (parts of a code included) {emulated}{junctions}{whole}{filter}; \
         constants with a wrong check value. Each block of 4096 results is hashed (FNV-1a, 32 bit: a single different byte \
         always shows, more escape by chance once in 4·10⁹ blocks) and compared with the program that was walked against \
         the exact inverse of the chain: largest error {:.4} K.",
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
    for t in &proof.floats {
        for problem in &t.problems {
            let _ = writeln!(out, "- {}, {}: {problem}", t.target, t.kind.name());
        }
    }
    for missing in &proof.missing {
        let _ = writeln!(out, "- not there: {missing}");
    }
    let beside = beside_float(firmware, proof);
    if !proof.floats.is_empty() && !beside.is_empty() {
        let _ = writeln!(out, "\n## Beside floating point\n\n{ABOUT_FLOAT}\n");
        let _ = writeln!(out, "| {} |\n|---|---|---:|---:|---:|---:|", FLOAT_HEADS.join(" | "));
        for row in beside {
            let _ = writeln!(out, "| {} |", row.join(" | "));
        }
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
