//! The verb `firmware`: code that turns the converter's code into a temperature, and its proof.

use std::io::Write;
use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};
use icepoint_chain::file::write_atomically;
use icepoint_chain::quantity::Unit as Quantity;
use icepoint_firmware::choice::{Effort, Smallest};
use icepoint_firmware::curve::Form;
use icepoint_firmware::proof::{self, Proof, Scope};
use icepoint_firmware::states::State;
use icepoint_firmware::unit::Unit;
use icepoint_firmware::{Firmware, Refusal, Request};
use serde::Serialize;

use crate::failure::Failure;
use crate::values::{self, Kind};
use crate::{Answer, chain_file};

/// Arguments of `firmware`.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  icepoint firmware examples/burnout-kiln.toml
  icepoint firmware examples/burnout-kiln.toml --error \"0.02 K\" --unit \"0.01 K\" --name kiln
  icepoint firmware kiln.toml --prove

Writes NAME.h and NAME.c (C99), NAME.rs (Rust, core only), NAME-firmware.md, NAME-vectors.csv and, with --prove,
NAME-proof.md. Values that the file leaves open are chosen as `icepoint design` would.
Exit code 1: the proof found a difference, or nothing to run it with.")]
pub struct FirmwareArguments {
    /// The chain file
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// Folder to write to; firmware/NAME if not given
    #[arg(long, value_name = "FOLDER")]
    out: Option<PathBuf>,
    /// Prefix of every name; the chain's name if not given
    #[arg(long, value_name = "NAME")]
    name: Option<String>,
    /// Largest error beyond the converter's own quantisation; 0.02 K to 0.1 K by what a code is worth if not given
    #[arg(long, value_name = "TEMPERATURE")]
    error: Option<String>,
    /// Step of the result, such as "1/16 K" or "0.01 K"; from the error if not given
    #[arg(long, value_name = "STEP")]
    unit: Option<String>,
    /// What is to be small
    #[arg(long, value_enum, default_value = "bytes")]
    smallest: SmallestWord,
    /// Take this linearisation instead of the smallest
    #[arg(long, value_enum)]
    form: Option<FormWord>,
    /// Float code, too: NAME_float.h and NAME_float.c, degrees Celsius in a float (IEEE 754 single)
    #[arg(long)]
    float: bool,
    /// Compile and run it: here, with sanitizers, on an 8-bit AVR and Cortex-M in emulators, as far as installed
    #[arg(long)]
    prove: bool,
    /// JSON: one object (docs/json.md)
    #[arg(long)]
    json: bool,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum SmallestWord {
    Bytes,
    Cycles,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum FormWord {
    Linear,
    Quadratic,
    Cubic,
    Quartic,
    Quotient,
}

impl FormWord {
    const fn form(self) -> Form {
        match self {
            Self::Linear => Form::Polynomial(1),
            Self::Quadratic => Form::Polynomial(2),
            Self::Cubic => Form::Polynomial(3),
            Self::Quartic => Form::Polynomial(4),
            Self::Quotient => Form::Quotient,
        }
    }
}

impl From<Refusal> for Failure {
    fn from(refusal: Refusal) -> Failure {
        Failure::bad_input(refusal.code, refusal.message, Some(refusal.help))
    }
}

/// An error in kelvin.
const ERROR: Kind = Kind { unit: Quantity::Kelvin, bare: Some("K"), example: "0.1 K" };

/// Makes the firmware, writes it and prints what it is worth.
pub fn firmware(arguments: &FirmwareArguments, out: &mut dyn Write) -> Result<Answer, Failure> {
    let error = arguments.error.as_deref().map(|text| values::single(text, ERROR, "--error")).transpose()?;
    let unit = arguments.unit.as_deref().map(Unit::parse).transpose()?;
    let (file, resolved) = chain_file::read(&arguments.file)?;
    let values = icepoint_design::values(&resolved)?;
    let chain = resolved.with_values(&values);
    let request = Request {
        name: arguments.name.clone(),
        error: error.map(|given| given.value),
        unit,
        smallest: match arguments.smallest {
            SmallestWord::Bytes => Smallest::Bytes,
            SmallestWord::Cycles => Smallest::Cycles,
        },
        form: arguments.form.map(FormWord::form),
        effort: Effort { all: true },
        float: arguments.float,
        fingerprint: format!("{:016x}", icepoint_dossier::dossier::fingerprint(&file.source.text)),
    };
    let firmware = icepoint_firmware::firmware(&chain, &request)?;
    let proof = if arguments.prove {
        let doing = || "proving the firmware".to_owned();
        let scope = Scope::ALL;
        Some(proof::prove(&firmware, scope).map_err(|error| Failure::Machine { doing: doing(), error })?)
    } else {
        None
    };
    let written = write(arguments, &firmware, proof.as_ref())?;
    if arguments.json {
        let printed = Printed::new(&firmware, proof.as_ref(), &written);
        serde_json::to_writer(&mut *out, &printed).map_err(std::io::Error::from)?;
        writeln!(out)?;
    } else {
        print(&firmware, proof.as_ref(), &written, out)?;
    }
    Ok(if proof.is_none_or(|p| p.holds()) { Answer::Yes } else { Answer::No })
}

/// Writes all files, each whole or not at all.
fn write(
    arguments: &FirmwareArguments,
    firmware: &Firmware,
    proof: Option<&Proof>,
) -> Result<Vec<PathBuf>, Failure> {
    let stem =
        arguments.file.file_stem().map_or_else(|| "board".into(), |s| s.to_string_lossy().into_owned());
    let folder = arguments.out.clone().unwrap_or_else(|| Path::new("firmware").join(&stem));
    let machine = |doing: &str, path: &Path| {
        let doing = format!("{doing} {}", path.display());
        move |error| Failure::Machine { doing, error }
    };
    std::fs::create_dir_all(&folder).map_err(machine("making the folder", &folder))?;
    let mut files = firmware.files();
    if let Some(proof) = proof {
        files.push(icepoint_firmware::proof::page(firmware, proof));
    }
    let mut written = Vec::new();
    for file in files {
        let path = folder.join(&file.name);
        write_atomically(&path, file.contents.as_bytes()).map_err(machine("writing", &path))?;
        written.push(path);
    }
    Ok(written)
}

fn print(
    firmware: &Firmware,
    proof: Option<&Proof>,
    written: &[PathBuf],
    out: &mut dyn Write,
) -> Result<(), Failure> {
    let f = firmware;
    writeln!(
        out,
        "{}: {} segments, {}",
        f.facts.title,
        f.program.curve.rows.len(),
        f.program.curve.form.name()
    )?;
    writeln!(
        out,
        "Largest error {:.4} K on every code ({:.4} K wanted); at most {:.4} K for any code and reference junction.",
        f.walk.error, f.error, f.everywhere
    )?;
    let code = f.code_words();
    writeln!(out, "One code of the converter is {} K to {} K beside it.\n", code.0, code.1)?;
    writeln!(
        out,
        "  {:20} {:>6} {:>9} {:>11} {:>12} {:>9}",
        "Linearisation", "sum", "segments", "AVR bytes", "AVR cycles", "error"
    )?;
    for c in &f.candidates {
        let bits = format!("{} bit", c.width.bits());
        match &c.program {
            Some(program) => {
                let mark = if *program == f.program { "  <- taken" } else { "" };
                writeln!(
                    out,
                    "  {:20} {bits:>6} {:>9} {:>10}~ {:>11}~ {:>7.4} K{mark}",
                    c.form.name(),
                    program.curve.rows.len(),
                    c.cost.bytes,
                    c.cost.cycles,
                    c.error
                )?;
            }
            None => writeln!(out, "  {:20} {bits:>6} {:>9}", c.form.name(), "does not reach it")?,
        }
    }
    writeln!(out)?;
    for v in &f.floats {
        writeln!(
            out,
            "  {:36} {:>3} polynomials, {:>4} bytes of tables {:>7.4} K",
            v.program.kind.name(),
            v.program.pieces.len(),
            v.program.table_bytes(),
            v.walk.error
        )?;
    }
    if let Some(proof) = proof {
        print_proof(f, proof, out)?;
    }
    if !f.program.thresholds.tells_open() {
        writeln!(
            out,
            "\nCaution, state {}: {}.",
            State::SensorOpen.name(),
            f.facts.meaning(State::SensorOpen)
        )?;
    }
    writeln!(out)?;
    for path in written {
        writeln!(out, "wrote {}", path.display())?;
    }
    writeln!(out, "\nA measurement is not a safety cut-out: that must be independent.")?;
    Ok(())
}

fn print_proof(firmware: &Firmware, proof: &Proof, out: &mut dyn Write) -> Result<(), Failure> {
    writeln!(
        out,
        "\n  {:26} {:>12} {:>11} {:>7} {:>6} {:>20} {:>13}",
        "Proved on", "conversions", "same bits", "flash", "stack", "cycles", "instructions"
    )?;
    for t in &proof.targets {
        let number = |value: Option<String>| value.unwrap_or_default();
        writeln!(
            out,
            "  {:26} {:>12} {:>11} {:>7} {:>6} {:>20} {:>13}",
            t.name,
            t.conversions,
            if t.proven() { "all" } else { "NO" },
            number(t.flash.map(|b| b.to_string())),
            number(t.ram.map(|r| r.1.to_string())),
            number(t.cycles.map(|c| format!("{}..{:.0}..{}", c.least, c.mean, c.most))),
            number(t.instructions.map(|i| format!("{i:.0}")))
        )?;
        for difference in &t.differences {
            writeln!(out, "    {difference}")?;
        }
    }
    let beside = proof::beside_float(firmware, proof);
    if !beside.is_empty() {
        writeln!(
            out,
            "\n  {:38} {:12} {:>7} {:>7} {:>9}",
            "Beside floating point", "on", "flash", "cycles", "error"
        )?;
    }
    for [name, target, flash, cycles, error, _] in beside {
        writeln!(out, "  {name:38} {target:12} {flash:>7} {cycles:>7} {error:>7} K")?;
    }
    for t in &proof.floats {
        for problem in &t.problems {
            writeln!(out, "    {}, {}: {problem}", t.target, t.kind.name())?;
        }
    }
    for missing in &proof.missing {
        writeln!(out, "  not there: {missing}")?;
    }
    Ok(())
}

/// The JSON of firmware; the keys stay stable (`docs/json.md`).
#[derive(Serialize)]
struct Printed<'a> {
    name: &'a str,
    prefix: &'a str,
    error_wanted_kelvin: f64,
    error_kelvin: f64,
    error_bound_kelvin: f64,
    code_kelvin: (f64, f64),
    steps_per_kelvin: u32,
    form: &'static str,
    sum_bits: u32,
    segments: usize,
    table_bytes: usize,
    forms: Vec<PrintedForm>,
    floats: Vec<PrintedFloat>,
    proof: Option<PrintedProof<'a>>,
    files: Vec<String>,
}

#[derive(Serialize)]
struct PrintedForm {
    form: &'static str,
    sum_bits: u32,
    segments: Option<usize>,
    table_bytes: Option<usize>,
    avr_bytes_estimated: Option<u32>,
    avr_cycles_estimated: Option<u32>,
    error_kelvin: Option<f64>,
    taken: bool,
}

#[derive(Serialize)]
struct PrintedFloat {
    polynomials: &'static str,
    pieces: usize,
    table_bytes: usize,
    error_kelvin: f64,
}

#[derive(Serialize)]
struct PrintedFloatTarget<'a> {
    polynomials: &'static str,
    target: &'a str,
    conversions: u64,
    same_bits: Option<bool>,
    error_kelvin: Option<f64>,
    problems: &'a [String],
    flash_bytes: Option<u32>,
    cycles_mean: Option<f64>,
}

#[derive(Serialize)]
struct PrintedProof<'a> {
    holds: bool,
    targets: Vec<PrintedTarget<'a>>,
    floats: Vec<PrintedFloatTarget<'a>>,
    missing: &'a [String],
}

#[derive(Serialize)]
struct PrintedTarget<'a> {
    target: &'a str,
    compiler: &'a str,
    conversions: u64,
    same_bits: bool,
    differences: &'a [String],
    flash_bytes: Option<u32>,
    static_bytes: Option<u32>,
    stack_bytes: Option<u32>,
    cycles_least: Option<u32>,
    cycles_mean: Option<f64>,
    cycles_most: Option<u32>,
    instructions_mean: Option<f64>,
}

impl<'a> Printed<'a> {
    fn new(f: &'a Firmware, proof: Option<&'a Proof>, written: &[PathBuf]) -> Self {
        Self {
            name: &f.facts.title,
            prefix: &f.facts.prefix,
            error_wanted_kelvin: f.error,
            error_kelvin: f.walk.error,
            error_bound_kelvin: f.everywhere,
            code_kelvin: f.code_kelvin,
            steps_per_kelvin: f.program.unit.per_kelvin(),
            form: f.program.curve.form.name(),
            sum_bits: f.program.curve.width.bits(),
            segments: f.program.curve.rows.len(),
            table_bytes: f.program.table_bytes(),
            forms: f
                .candidates
                .iter()
                .map(|c| {
                    let program = c.program.as_ref();
                    PrintedForm {
                        form: c.form.name(),
                        sum_bits: c.width.bits(),
                        segments: program.map(|p| p.curve.rows.len()),
                        table_bytes: program.map(|p| p.table_bytes()),
                        avr_bytes_estimated: program.map(|_| c.cost.bytes),
                        avr_cycles_estimated: program.map(|_| c.cost.cycles),
                        error_kelvin: program.map(|_| c.error),
                        taken: program == Some(&f.program),
                    }
                })
                .collect(),
            floats: f
                .floats
                .iter()
                .map(|v| PrintedFloat {
                    polynomials: v.program.kind.word(),
                    pieces: v.program.pieces.len(),
                    table_bytes: v.program.table_bytes(),
                    error_kelvin: v.walk.error,
                })
                .collect(),
            proof: proof.map(|p| PrintedProof {
                holds: p.holds(),
                floats: p
                    .floats
                    .iter()
                    .map(|t| PrintedFloatTarget {
                        polynomials: t.kind.word(),
                        target: &t.target,
                        conversions: t.conversions,
                        same_bits: t.same_bits,
                        error_kelvin: t.error,
                        problems: &t.problems,
                        flash_bytes: t.flash,
                        cycles_mean: t.cycles.map(|c| c.mean),
                    })
                    .collect(),
                targets: p
                    .targets
                    .iter()
                    .map(|t| PrintedTarget {
                        target: &t.name,
                        compiler: &t.compiler,
                        conversions: t.conversions,
                        same_bits: t.proven(),
                        differences: &t.differences,
                        flash_bytes: t.flash,
                        static_bytes: t.ram.map(|r| r.0),
                        stack_bytes: t.ram.map(|r| r.1),
                        cycles_least: t.cycles.map(|c| c.least),
                        cycles_mean: t.cycles.map(|c| c.mean),
                        cycles_most: t.cycles.map(|c| c.most),
                        instructions_mean: t.instructions,
                    })
                    .collect(),
                missing: &p.missing,
            }),
            files: written.iter().map(|p| p.display().to_string()).collect(),
        }
    }
}
