//! The verb `design`: part values for a chain file, and the dossier of the board.

use std::io::Write;
use std::path::{Path, PathBuf};

use clap::Args;
use icepoint_chain::Model;
use icepoint_chain::file::{ChainFile, ChosenValue, Topology, nearest_word, write_atomically};
use icepoint_chain::front_end::SlotKind;
use icepoint_chain::quantity::{Tolerance, Toleranced, Unit, format};
use icepoint_chain::resolve::{Resolved, resolve};
use icepoint_design::compare::{self, Comparison};
use icepoint_design::search::Fit;
use icepoint_design::{Design, records};
use serde::Serialize;

use crate::failure::Failure;
use crate::{Answer, budget, chain_file, front_ends, places, progress, trims};

/// Arguments of `design`.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  icepoint design examples/burnout-kiln.toml
  icepoint design examples/freezer.toml --out freezer-board
  icepoint design examples/bench-voltmeter.toml --json | jq .values

Writes NAME.html (the dossier), NAME-parts.csv, the bench sheet NAME-bench.html and NAME-bench.csv, the firmware (see
`icepoint firmware`), and NAME.toml, the chain file with its open values filled in.
Exit code 1: the need can't be met with these parts (the best board found is written all the same), or --prove found a
difference or nothing to prove it with.")]
pub struct DesignArguments {
    /// The chain file
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// Folder to write to; dossier/NAME if not given
    #[arg(long, value_name = "FOLDER")]
    out: Option<PathBuf>,
    /// Compile and run the firmware, too: here and in emulators, as far as installed
    #[arg(long)]
    prove: bool,
    /// The dossier's pictures as SVG files of their own, too
    #[arg(long)]
    pictures: bool,
    /// Take this front end, whatever the chain file names (docs/front-ends.md)
    #[arg(long, value_name = "NAME")]
    front_end: Option<String>,
    /// Compare all front ends that fit, also when the chain file names one
    #[arg(long)]
    compare: bool,
    /// JSON: one object (docs/json.md)
    #[arg(long)]
    json: bool,
}

/// Designs the board, writes the dossier and prints the answer.
pub fn design(arguments: &DesignArguments, out: &mut dyn Write) -> Result<Answer, Failure> {
    let file = chain_file::load(&arguments.file)?;
    let comparison = compared(arguments, &file)?;
    if let Some(comparison) = comparison.as_ref().filter(|_| !arguments.json) {
        // The answer to which front end need not wait for all about the one that is taken.
        front_ends::print(&comparison.table, out)?;
        out.flush()?;
    }
    let front_end = comparison.as_ref().map_or_else(|| file.clone(), |comparison| comparison.file(&file));
    if !front_end.records.is_empty() {
        // Whatever is wrong without them is told at its place.
        resolve(&front_end)?;
    }
    let (with_records, records) = records::choose(&front_end)?;
    let (file, mut design) = match &comparison {
        Some(comparison) if with_records.taken.is_empty() => {
            let bar = progress::trials(*file.budget.trials);
            let design = comparison.design(&|done| bar.inc(u64::from(done)));
            bar.finish_and_clear();
            (front_end, design?)
        }
        _ => {
            let mut resolved = resolve(&with_records)?;
            // A design is about all boards that will be built from it, not about one that was calibrated.
            resolved.chain = resolved.chain.as_designed();
            let bar = progress::trials(resolved.chain.settings.trials);
            let design = icepoint_design::design(resolved, &|done| bar.inc(u64::from(done)));
            bar.finish_and_clear();
            let mut design = design?;
            design.compared = comparison.map(|comparison| comparison.table);
            (with_records, design)
        }
    };
    design.records = records;
    let (written, proved) = write(arguments, &file, &design)?;
    if arguments.json {
        serde_json::to_writer(&mut *out, &Printed::new(&design, &written)?).map_err(std::io::Error::from)?;
        writeln!(out)?;
    } else {
        print(&design, &written, out)?;
        if !proved {
            writeln!(
                out,
                "\nThe firmware's proof does not hold: its table is in the dossier and beside it."
            )?;
        }
    }
    Ok(if design.verdict.met() && proved { Answer::Yes } else { Answer::No })
}

/// A name that is not known, with the nearest that is and all that are.
pub fn unknown(code: &'static str, what: &str, found: &str, known: &[impl AsRef<str>]) -> Failure {
    let known: Vec<&str> = known.iter().map(AsRef::as_ref).collect();
    let near = match nearest_word(found, known.iter().copied()) {
        Some(near) => format!("did you mean {near}? There are "),
        None => "one of ".to_owned(),
    };
    let message = format!("there is no {what} \"{found}\"");
    Failure::bad_input(code, message, Some(format!("{near}{}", known.join(", "))))
}

/// The comparison of front ends, when one is asked for or none is named.
fn compared(arguments: &DesignArguments, file: &ChainFile) -> Result<Option<Comparison>, Failure> {
    let open = file.front_end.topology.value == Topology::Any;
    if let Some(id) = &arguments.front_end {
        let known = compare::identifiers(file);
        if !known.contains(id) {
            return Err(unknown("front_end.unknown", "front end", id, &known));
        }
        if !(open || arguments.compare) {
            return Ok(Some(compare::only(file, id)?));
        }
    }
    if !(open || arguments.compare) {
        return Ok(None);
    }
    let mut comparison = compare::compare(file)?;
    if let Some(id) = &arguments.front_end
        && !comparison.take(id)
    {
        let why = comparison.table.left_out.iter().find(|l| l.id == *id).map(|l| l.why.clone());
        return Err(Failure::bad_input(
            "front_end.does_not_fit",
            format!("{id} does not fit this chain"),
            why,
        ));
    }
    Ok(Some(comparison))
}

/// Every value of the front end as the chain file takes it.
fn chosen(design: &Design) -> Vec<ChosenValue> {
    let slots = design.resolved.blueprint.slots.iter();
    let is_ambiguous =
        |kind, value| design.resolved.drawer.as_ref().is_some_and(|d| d.is_ambiguous(kind, value));
    slots
        .filter_map(|slot| {
            let value = *design.values.get(&slot.designator)?;
            // Two parts are written as their value with its limit: a part at hand, which need be in no series.
            let tolerance = match design.fits.get(&slot.designator) {
                Some(fit @ Fit::Two { .. }) => Some(Tolerance::Relative(rounded(fit.equivalent().tolerance))),
                // Of several parts of this value it is the one with this limit.
                Some(Fit::One(part)) if is_ambiguous(slot.kind, part.value) => {
                    Some(Tolerance::Relative(part.tolerance))
                }
                _ => None,
            };
            Some(ChosenValue {
                designator: slot.designator.clone(),
                quantity: Toleranced { value, tolerance },
                unit: unit(slot.kind),
            })
        })
        .collect()
}

/// The same for a board whose values were chosen without the rest of a design.
pub fn chosen_values(model: &Model, resolved: &Resolved) -> Vec<ChosenValue> {
    let front_end = &model.chain().front_end;
    resolved
        .blueprint
        .slots
        .iter()
        // What the circuit itself gives stands there already.
        .filter(|slot| slot.given.is_none())
        .filter_map(|slot| {
            Some(ChosenValue {
                designator: slot.designator.clone(),
                quantity: Toleranced::exact(front_end.value(&slot.designator)?),
                unit: unit(slot.kind),
            })
        })
        .collect()
}

/// Three digits of a limit.
fn rounded(limit: f64) -> f64 {
    format!("{limit:.2e}").parse().unwrap_or(limit)
}

fn unit(kind: SlotKind) -> Unit {
    match kind {
        SlotKind::Resistor => Unit::Ohm,
        SlotKind::Capacitor => Unit::Farad,
    }
}

/// Writes all files, each whole or not at all; and whether the firmware's proof holds, if it was asked for.
fn write(
    arguments: &DesignArguments,
    file: &ChainFile,
    design: &Design,
) -> Result<(Vec<PathBuf>, bool), Failure> {
    let stem =
        arguments.file.file_stem().map_or_else(|| "board".into(), |s| s.to_string_lossy().into_owned());
    let folder = arguments.out.clone().unwrap_or_else(|| Path::new("dossier").join(&stem));
    let filled = file.filled(&chosen(design)).map_err(|error| {
        Failure::bad_input("file.not_filled", format!("the chain file can't be filled in: {error}"), None)
    })?;
    let firmware = icepoint_dossier::dossier::FirmwarePart::new(file, design, arguments.prove)
        .map_err(|error| Failure::Machine { doing: "proving the firmware".into(), error })?;
    let dossier = icepoint_dossier::dossier::dossier_with(file, design, &firmware)?;
    let machine = |doing: &str, path: &Path| {
        let doing = format!("{doing} {}", path.display());
        move |error| Failure::Machine { doing, error }
    };
    std::fs::create_dir_all(&folder).map_err(machine("making the folder", &folder))?;
    let mut written = Vec::new();
    let mut files = vec![
        (format!("{stem}.html"), dossier.html.as_bytes()),
        (format!("{stem}-parts.csv"), dossier.parts_csv.as_bytes()),
        (format!("{stem}-bench.html"), dossier.bench_html.as_bytes()),
        (format!("{stem}-bench.csv"), dossier.bench_csv.as_bytes()),
        (format!("{stem}.toml"), filled.as_bytes()),
    ];
    files.extend(dossier.firmware.iter().map(|(name, text)| (name.clone(), text.as_bytes())));
    if arguments.pictures {
        files.extend(
            dossier.pictures.iter().map(|(name, svg)| (format!("{stem}-{name}.svg"), svg.as_bytes())),
        );
    }
    for (name, contents) in files {
        let path = folder.join(name);
        write_atomically(&path, contents).map_err(machine("writing", &path))?;
        written.push(path);
    }
    Ok((written, firmware.proof.as_ref().is_none_or(icepoint_firmware::proof::Proof::holds)))
}

fn print(design: &Design, written: &[PathBuf], out: &mut dyn Write) -> Result<(), Failure> {
    let chain = design.model.chain();
    let verdict = &design.verdict;
    front_ends::print_records(&design.records, out)?;
    writeln!(out, "{}: {}", chain.name, chain.front_end.title)?;
    if verdict.met() {
        writeln!(
            out,
            "Meets the need: ±{:.2} K at 95 %, ±{} K asked.\n",
            verdict.error_95,
            budget::trim(verdict.accuracy)
        )?;
    } else {
        writeln!(out, "Does not meet the need:")?;
        for miss in &verdict.misses {
            writeln!(out, "  - {miss}")?;
        }
        writeln!(out, "This is the best that was found.\n")?;
    }
    budget::calibrations(verdict.accuracy, chain.need.calibration, &design.budget, out)?;
    writeln!(out, "\nValues (o: chosen here):")?;
    for slot in &design.resolved.blueprint.slots {
        let Some(value) = design.values.get(&slot.designator).copied() else { continue };
        let open = if is_chosen(design, &slot.designator) { "o" } else { " " };
        writeln!(
            out,
            "  {open} {:4} {:>10}  {}",
            slot.designator,
            format(value, unit(slot.kind), 4),
            slot.purpose
        )?;
    }
    places::print(design, out)?;
    trims::print(design.trims.as_ref(), &design.model, out)?;
    writeln!(out, "\nLimits, by how much of each is used:")?;
    for (i, bound) in design.bounds.iter().take(6).enumerate() {
        let mark = if i == 0 { "  <- binds" } else { "" };
        let used = match bound.used {
            used if used >= 10.0 => format!("{used:>5.0} ×"),
            used => format!("{:>5.1} %", 100.0 * used),
        };
        writeln!(out, "  {used}  {}: {}{mark}", bound.what, bound.detail)?;
    }
    if !design.upgrades.is_empty() {
        writeln!(out, "\nWhat would help most, each alone:")?;
        for upgrade in &design.upgrades {
            writeln!(out, "  from {:.2} K to {:.2} K: {}", upgrade.from, upgrade.to, upgrade.what)?;
        }
    }
    writeln!(out)?;
    for path in written {
        writeln!(out, "wrote {}", path.display())?;
    }
    writeln!(
        out,
        "\nA thermocouple can touch live parts; a measuring board is not a safety cut-out. See the cautions in the dossier."
    )?;
    Ok(())
}

/// Whether a value was chosen here rather than given.
fn is_chosen(design: &Design, designator: &str) -> bool {
    let resolved = &design.resolved;
    resolved.open_tracks.iter().any(|track| track == designator) || !resolved.fixed.contains_key(designator)
}

/// The JSON of a design; the keys stay stable (`docs/json.md`).
#[derive(Serialize)]
struct Printed<'a> {
    name: &'a str,
    topology: &'a str,
    met: bool,
    misses: &'a [String],
    error_95_kelvin: f64,
    accuracy_kelvin: f64,
    values: Vec<PrintedValue<'a>>,
    limits: Vec<PrintedLimit<'a>>,
    upgrades: Vec<PrintedUpgrade<'a>>,
    settling_seconds: Option<f64>,
    mains_residual_kelvin: f64,
    /// Only for a circuit with taps.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    taps: Vec<PrintedTap<'a>>,
    /// Null for a board without clamps.
    withstands_volts: Option<f64>,
    files: Vec<String>,
    drawer: Vec<places::Printed<'a>>,
    compared: Option<front_ends::Printed<'a>>,
    /// Only where the chain file has records to choose among.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    records: Vec<front_ends::PrintedRecords<'a>>,
    trims: Option<trims::Printed>,
    budget: budget::Printed<'a>,
}

#[derive(Serialize)]
struct PrintedValue<'a> {
    designator: &'a str,
    value: f64,
    unit: &'static str,
    chosen: bool,
    purpose: &'a str,
}

#[derive(Serialize)]
struct PrintedTap<'a> {
    node: &'a str,
    r#type: &'a str,
    right: bool,
    error_kelvin: f64,
}

#[derive(Serialize)]
struct PrintedLimit<'a> {
    limit: &'a str,
    used_share: f64,
    detail: &'a str,
}

#[derive(Serialize)]
struct PrintedUpgrade<'a> {
    upgrade: &'a str,
    from_kelvin: f64,
    to_kelvin: f64,
}

impl<'a> Printed<'a> {
    fn new(design: &'a Design, written: &[PathBuf]) -> Result<Self, Failure> {
        let chain = design.model.chain();
        let trims = design.trims.as_ref().map(|report| trims::Printed::new(report, &design.model));
        Ok(Self {
            name: &chain.name,
            topology: &chain.front_end.id,
            met: design.verdict.met(),
            misses: &design.verdict.misses,
            error_95_kelvin: design.verdict.error_95,
            accuracy_kelvin: design.verdict.accuracy,
            values: design
                .resolved
                .blueprint
                .slots
                .iter()
                .filter_map(|slot| {
                    Some(PrintedValue {
                        designator: &slot.designator,
                        value: *design.values.get(&slot.designator)?,
                        unit: match slot.kind {
                            SlotKind::Resistor => "ohm",
                            SlotKind::Capacitor => "farad",
                        },
                        chosen: is_chosen(design, &slot.designator),
                        purpose: &slot.purpose,
                    })
                })
                .collect(),
            limits: design
                .bounds
                .iter()
                .map(|b| PrintedLimit { limit: &b.what, used_share: b.used, detail: &b.detail })
                .collect(),
            upgrades: design
                .upgrades
                .iter()
                .map(|u| PrintedUpgrade { upgrade: &u.what, from_kelvin: u.from, to_kelvin: u.to })
                .collect(),
            settling_seconds: design.settling.total(),
            mains_residual_kelvin: design.mains_kelvin,
            taps: design
                .taps
                .iter()
                .map(|t| PrintedTap {
                    node: &t.node,
                    r#type: t.letter.name(),
                    right: t.is_right(),
                    error_kelvin: t.error,
                })
                .collect(),
            withstands_volts: design.withstands,
            files: written.iter().map(|p| p.display().to_string()).collect(),
            drawer: places::printed(&design.places),
            compared: design.compared.as_ref().map(front_ends::Printed::new),
            records: front_ends::printed_records(&design.records),
            trims: trims.transpose()?,
            budget: budget::Printed::new(chain, &design.budget),
        })
    }
}
