//! The proof: the generated code, compiled and run, comes to the same bits as the program that was walked.
//!
//! **How.** A harness runs the code over a [`Plan`] of inputs and prints one FNV-1a value (32 bit) for each block of
//! results; the same is computed here from the program. FNV-1a maps states one to one for each byte, so a block in
//! which a single byte differs can't come to the same value; one in which more differ does so by chance, once in 4·10⁹
//! blocks. The program itself was compared with the exact inverse
//! at every one of these inputs ([`crate::walk`]), so equal bits are the exact model's bound.
//!
//! **Files.** The harness's own begin with `proof-`, which no chain's prefix can.
//!
//! **Where.** This machine with GCC (warnings are errors) and with its sanitizers for undefined behaviour and
//! addresses, an 8-bit AVR and three Cortex-M in emulators. What is not installed is named in [`Proof::missing`].

mod arm;
mod avr;
mod float;
mod harness;
mod host;
mod page;
pub mod plan;
mod run;
mod rust;

use std::io;
use std::path::Path;

use crate::firmware::{File, Firmware};
pub use avr::avr_cost;
pub use float::{FloatTarget, float_targets};
pub use page::{ABOUT_FLOAT, FLOAT_HEADS, HEADS, beside_float, page, row, what};
use plan::Plan;

/// Clock cycles of conversions.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cycles {
    /// Fewest.
    pub least: u32,
    /// On average over the inputs in range.
    pub mean: f64,
    /// Most.
    pub most: u32,
}

/// What one target came to.
#[derive(Clone, Debug, PartialEq)]
pub struct Target {
    /// `8-bit AVR`, `Cortex-M0`, `this machine, sanitizers`.
    pub name: String,
    /// Compiler, first line of what it says of itself.
    pub compiler: String,
    /// Conversions that were compared.
    pub conversions: u64,
    /// What differs; empty: all bits are the same.
    pub differences: Vec<String>,
    /// Bytes of flash: code, tables and helpers of the compiler's library.
    pub flash: Option<u32>,
    /// Bytes of static memory, and of stack at the deepest.
    pub ram: Option<(u32, u32)>,
    /// Clock cycles.
    pub cycles: Option<Cycles>,
    /// Instructions of a conversion, on average, counted by the emulator.
    pub instructions: Option<f64>,
}

impl Target {
    /// Nothing run yet.
    fn new(name: &str, compiler: &str) -> Self {
        Self {
            name: name.to_owned(),
            compiler: compiler.to_owned(),
            conversions: 0,
            differences: Vec::new(),
            flash: None,
            ram: None,
            cycles: None,
            instructions: None,
        }
    }

    /// Whether all bits are the same.
    pub fn proven(&self) -> bool {
        self.differences.is_empty() && self.conversions > 0
    }
}

/// The whole proof.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Proof {
    /// Targets that were run.
    pub targets: Vec<Target>,
    /// What was not there, in words.
    pub missing: Vec<String>,
    /// The float programs beside it, on the same targets.
    pub floats: Vec<FloatTarget>,
}

impl Proof {
    /// Whether something was run and nothing differs.
    pub fn holds(&self) -> bool {
        !self.targets.is_empty()
            && self.targets.iter().all(Target::proven)
            && self.floats.iter().all(|t| t.problems.is_empty())
    }
}

/// What is to be run.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Scope {
    /// A second run on this machine under the sanitizers.
    pub sanitizers: bool,
    /// The Rust module.
    pub rust: bool,
    /// The 8-bit AVR.
    pub avr: bool,
    /// The three Cortex-M.
    pub arm: bool,
}

impl Scope {
    /// Everything that is installed.
    pub const ALL: Self = Self { avr: true, arm: true, ..Self::HERE };
    /// What this machine runs itself.
    pub const HERE: Self = Self { sanitizers: true, rust: true, ..Self::QUICK };
    /// The C without sanitizers.
    pub const QUICK: Self = Self { sanitizers: false, rust: false, avr: false, arm: false };
}

/// Code under proof: that of the firmware, or (to try the proof itself) something that pretends to be.
#[derive(Clone, Debug)]
pub struct Code {
    /// Header and source.
    pub files: Vec<File>,
}

/// Proves the firmware's own code in a folder of its own.
///
/// # Errors
/// When files can't be written or programs can't be started.
pub fn prove(firmware: &Firmware, scope: Scope) -> io::Result<Proof> {
    let p = &firmware.facts.prefix;
    let code = Code {
        files: vec![
            File { name: format!("{p}.h"), contents: firmware.c_header() },
            File { name: format!("{p}.c"), contents: firmware.c_source() },
        ],
    };
    let folder = tempfile::tempdir()?;
    let mut proof = prove_code(firmware, &code, scope, folder.path())?;
    let (floats, missing) = float_targets(firmware, scope)?;
    proof.floats = floats;
    proof.missing.extend(missing);
    Ok(proof)
}

/// Proves any code that has the firmware's interface.
///
/// # Errors
/// As [`prove`].
pub fn prove_code(firmware: &Firmware, code: &Code, scope: Scope, folder: &Path) -> io::Result<Proof> {
    for file in &code.files {
        std::fs::write(folder.join(&file.name), &file.contents)?;
    }
    let mut proof = Proof::default();
    let whole = Plan::whole(firmware);
    host::prove(firmware, &whole, scope, folder, &mut proof)?;
    if scope.rust {
        rust::prove(firmware, &whole, folder, &mut proof)?;
    }
    let plan = Plan::for_emulators(firmware);
    if scope.avr {
        avr::prove(firmware, &plan, folder, &mut proof)?;
    }
    if scope.arm {
        arm::prove(firmware, &plan, folder, &mut proof)?;
    }
    Ok(proof)
}
