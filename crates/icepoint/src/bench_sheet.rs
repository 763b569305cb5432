//! The verb `bench-sheet`: a page and a CSV to bring a board up with.

use std::io::Write;
use std::path::{Path, PathBuf};

use clap::Args;
use icepoint_bench::sheet::divider::Battery;
use icepoint_bench::sheet::{Expected, LEAST_BOARDS, Setup};
use icepoint_chain::drawer;
use icepoint_chain::file::{ChainFile, bounds, write_atomically};
use icepoint_chain::quantity::{Unit, format};
use icepoint_chain::{Chain, Model};
use icepoint_dossier::bench_sheet::{Made, make};
use serde::Serialize;

use crate::failure::Failure;
use crate::values::{self, Kind};
use crate::{Answer, budget, chain_file};

const CELSIUS: Kind = Kind { unit: Unit::Celsius, bare: Some("°C"), example: "23 °C" };
const VOLTS: Kind = Kind { unit: Unit::Volt, bare: None, example: "1.5 V" };

/// Arguments of `bench-sheet`.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  icepoint bench-sheet examples/burnout-kiln.toml
  icepoint bench-sheet examples/burnout-kiln.toml --board \"31 °C\" --room \"22 °C\"
  icepoint bench-sheet examples/freezer.toml --at \"-78 °C\" --at \"0 °C\" --json

Writes NAME-bench.html, made for paper, and NAME-bench.csv with the same figures and a column for what was measured.
The millivolt source, the voltmeter and other references: [references.NAME] in the chain file (docs/bench-sheet.md).
Do all of it with the probe disconnected: a thermocouple can touch live parts.")]
pub struct BenchSheetArguments {
    /// The chain file
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// Temperature of the board and its terminals now; that of the calibration plan if not given
    #[arg(long, value_name = "TEMPERATURE")]
    board: Option<String>,
    /// Temperature of the source's terminals, for thermocouple wire from there to the board; 23 °C if not given
    #[arg(long, value_name = "TEMPERATURE")]
    room: Option<String>,
    /// A test temperature; may be given several times. Five over the range and those of the plan if not given
    #[arg(long = "at", value_name = "TEMPERATURE")]
    at: Vec<String>,
    /// Voltage of the battery of a source from two resistors; 1.5 V if not given
    #[arg(long, value_name = "VOLTAGE")]
    battery: Option<String>,
    /// Boards to simulate
    #[arg(long, value_name = "COUNT", default_value_t = 20_000, value_parser = clap::value_parser!(u32).range(i64::from(LEAST_BOARDS)..=1_000_000))]
    boards: u32,
    /// Folder to write to; dossier/NAME if not given
    #[arg(long, value_name = "FOLDER")]
    out: Option<PathBuf>,
    /// JSON: one object (docs/json.md)
    #[arg(long)]
    json: bool,
}

/// Computes, writes and prints the sheet.
pub fn bench_sheet(arguments: &BenchSheetArguments, out: &mut dyn Write) -> Result<Answer, Failure> {
    let (file, resolved) = chain_file::read(&arguments.file)?;
    let setup = setup(arguments, &file, &resolved.chain)?;
    let battery = battery(arguments)?;
    let values = icepoint_design::values(&resolved)?;
    let model = Model::new(resolved.with_values(&values))?;
    let drawer = drawer::of(&file)?;
    let made = make(&file, &model, &setup, battery, drawer.as_ref())?;
    let written = write(arguments, &made)?;
    if arguments.json {
        let printed = Printed::new(model.chain(), &made, &written);
        serde_json::to_writer(&mut *out, &printed).map_err(std::io::Error::from)?;
        writeln!(out)?;
    } else {
        print(model.chain(), &made, &resolved.open, &written, out)?;
    }
    Ok(Answer::Yes)
}

fn setup(arguments: &BenchSheetArguments, file: &ChainFile, chain: &Chain) -> Result<Setup, Failure> {
    let mut setup = Setup { boards: arguments.boards, ..Setup::of(file, chain) };
    let (low, high) = bounds_of(bounds::BOARD);
    if let Some(text) = &arguments.board {
        setup.board = option(text, CELSIUS, "--board", (low, high))?;
    }
    if let Some(text) = &arguments.room {
        setup.room = option(text, CELSIUS, "--room", (low, high))?;
    }
    if !arguments.at.is_empty() {
        let range = chain.probe.letter.range();
        let given = arguments.at.iter().map(|text| option(text, CELSIUS, "--at", range));
        setup.at = given.collect::<Result<_, _>>()?;
        setup.at.sort_by(f64::total_cmp);
        setup.at.dedup();
    }
    Ok(setup)
}

fn bounds_of(bound: &bounds::Bound) -> (f64, f64) {
    (bound.low, bound.high)
}

/// The value of an option within its range, or a problem that points at it.
fn option(text: &str, kind: Kind, name: &'static str, (low, high): (f64, f64)) -> Result<f64, Failure> {
    let given = values::single(text, kind, name)?;
    if low <= given.value && given.value <= high {
        return Ok(given.value);
    }
    let range = format!("{} to {}", format(low, kind.unit, 6), format(high, kind.unit, 6));
    let problem = given.problem(
        "bench_sheet.out_of_bounds",
        format!("{text} is not possible as {name}"),
        "outside of what is possible",
        Some(format!("expected {range}")),
    );
    Err(Failure::BadInput(vec![problem]))
}

fn battery(arguments: &BenchSheetArguments) -> Result<Battery, Failure> {
    let Some(text) = &arguments.battery else { return Ok(Battery::USUAL) };
    // Below, a divider's current is lost in the board's own; above, no battery for a thermocouple's input.
    let volts = option(text, VOLTS, "--battery", (0.5, 15.0))?;
    Ok(Battery { volts, ..Battery::USUAL })
}

fn write(arguments: &BenchSheetArguments, made: &Made) -> Result<Vec<PathBuf>, Failure> {
    let stem =
        arguments.file.file_stem().map_or_else(|| "board".into(), |s| s.to_string_lossy().into_owned());
    let folder = arguments.out.clone().unwrap_or_else(|| Path::new("dossier").join(&stem));
    let machine = |doing: &str, path: &Path| {
        let doing = format!("{doing} {}", path.display());
        move |error| Failure::Machine { doing, error }
    };
    std::fs::create_dir_all(&folder).map_err(machine("making the folder", &folder))?;
    let mut written = Vec::new();
    for (ending, contents) in [("html", &made.html), ("csv", &made.csv)] {
        let path = folder.join(format!("{stem}-bench.{ending}"));
        write_atomically(&path, contents.as_bytes()).map_err(machine("writing", &path))?;
        written.push(path);
    }
    Ok(written)
}

fn print(
    chain: &Chain,
    made: &Made,
    open: &[impl AsRef<str>],
    written: &[PathBuf],
    out: &mut dyn Write,
) -> Result<(), Failure> {
    let (sheet, setup) = (&made.sheet, &made.sheet.setup);
    let letter = chain.probe.letter.name();
    writeln!(
        out,
        "{}: type {letter}, board at {} °C, {} simulated boards",
        chain.name,
        budget::trim(setup.board),
        sheet.boards
    )?;
    if !open.is_empty() {
        let names: Vec<&str> = open.iter().map(AsRef::as_ref).collect();
        writeln!(out, "Values left open are chosen as `icepoint design` would: {}.", names.join(", "))?;
    }
    let band = |e: &Expected, digits: usize| {
        // No "-0.00": a rounding to nothing has no sign.
        let [a, b, c] = [e.nominal, e.wide.0, e.wide.1].map(|v| crate::point::zero(v, digits));
        format!("{a:>10.digits$} {b:>10.digits$} to {:<10}", format!("{c:.digits$}"))
    };
    let band = |e: &Expected, digits: usize| band(e, digits).trim_end().to_owned();
    writeln!(out, "\nTerminals shorted, V (999 of 1000 healthy boards):")?;
    for point in &sheet.points {
        writeln!(out, "  {:4} {:<33}  {}", point.label, band(&point.shorted, 4), point.what)?;
    }
    writeln!(out, "  reads {} °C", band(&sheet.shorted, 2))?;
    writeln!(out, "\nMillivolts to set, and the reading in °C (999 of 1000 healthy boards):")?;
    writeln!(out, "{:>9} {:>10} {:>10} {:>10}", "for", "copper", format!("wire {letter}"), "reads")?;
    for i in &sheet.injections {
        writeln!(
            out,
            "{:>6} °C {:>10.3} {:>10.3} {}",
            budget::trim(i.celsius),
            1e3 * i.copper_volts + 0.0,
            1e3 * i.wire_volts + 0.0,
            band(&i.copper, 2)
        )?;
    }
    writeln!(
        out,
        "copper: leads of copper from the source to terminals at {} °C; wire: type {letter} wire from a source at {} °C",
        budget::trim(setup.board),
        budget::trim(setup.room)
    )?;
    match &sheet.open {
        Some(open) => writeln!(out, "\nTerminals open: reads {} °C", band(open, 2))?,
        None => writeln!(out, "\nTerminals open: the inputs float, nothing is defined")?,
    }
    writeln!(out)?;
    for path in written {
        writeln!(out, "wrote {}", path.display())?;
    }
    writeln!(
        out,
        "\nProbe disconnected, plant off: a thermocouple can touch live parts. See the cautions on the page."
    )?;
    Ok(())
}

/// The JSON of a sheet; the keys stay stable (`docs/json.md`).
#[derive(Serialize)]
struct Printed<'a> {
    name: &'a str,
    #[serde(rename = "type")]
    letter: &'static str,
    board_celsius: f64,
    room_celsius: f64,
    boards: u32,
    seed: u64,
    calibrated: bool,
    normal_celsius: f64,
    shorted_reading: PrintedFigure,
    shorted_output_volts: PrintedFigure,
    shorted_code: Option<PrintedFigure>,
    open_reading: Option<PrintedFigure>,
    open_output_volts: Option<PrintedFigure>,
    open_code: Option<PrintedFigure>,
    test_points: Vec<PrintedPoint<'a>>,
    injections: Vec<PrintedInjection<'a>>,
    hints: Vec<PrintedHint<'a>>,
    dividers: Vec<PrintedDivider>,
    files: Vec<String>,
}

#[derive(Serialize)]
struct PrintedFigure {
    expected: f64,
    band_95: [f64; 2],
    band_999: [f64; 2],
    worst_case: [f64; 2],
}

impl From<&Expected> for PrintedFigure {
    fn from(e: &Expected) -> Self {
        Self {
            expected: e.nominal,
            band_95: [e.band.0, e.band.1],
            band_999: [e.wide.0, e.wide.1],
            worst_case: [e.worst.0, e.worst.1],
        }
    }
}

#[derive(Serialize)]
struct PrintedPoint<'a> {
    label: &'a str,
    what: &'a str,
    shorted_volts: PrintedFigure,
    normal_volts: PrintedFigure,
    open_volts: Option<PrintedFigure>,
    meter_loading_volts: f64,
    normal_meter_loading_volts: f64,
    open_meter_loading_volts: Option<f64>,
}

#[derive(Serialize)]
struct PrintedInjection<'a> {
    temperature_celsius: f64,
    copper_volts: f64,
    wire_volts: f64,
    output_volts: PrintedFigure,
    code: Option<PrintedFigure>,
    copper_reading_celsius: PrintedFigure,
    wire_reading_celsius: PrintedFigure,
    kelvin_per_kelvin_of_terminals: f64,
    limits: &'a [String],
}

#[derive(Serialize)]
struct PrintedHint<'a> {
    mistake: &'a str,
    reads_celsius: f64,
    instead_of_celsius: f64,
    shows: bool,
}

#[derive(Serialize)]
struct PrintedDivider {
    wished_celsius: f64,
    upper_ohms: f64,
    lower_ohms: f64,
    reversed: bool,
    volts: f64,
    celsius: f64,
    output_resistance_ohms: f64,
    battery_amperes: f64,
    by_tolerance_95_kelvin: f64,
    by_parts_95_kelvin: f64,
    by_output_95_kelvin: f64,
    loading_kelvin: f64,
}

impl<'a> Printed<'a> {
    fn new(chain: &'a Chain, made: &'a Made, written: &[PathBuf]) -> Self {
        let sheet = &made.sheet;
        Self {
            name: &chain.name,
            letter: chain.probe.letter.name(),
            board_celsius: sheet.setup.board,
            room_celsius: sheet.setup.room,
            boards: sheet.boards,
            seed: sheet.setup.seed,
            calibrated: sheet.calibrated,
            normal_celsius: sheet.normal_celsius,
            shorted_reading: (&sheet.shorted).into(),
            shorted_output_volts: (&sheet.shorted_output).into(),
            shorted_code: sheet.shorted_code.as_ref().map(Into::into),
            open_reading: sheet.open.as_ref().map(Into::into),
            open_output_volts: sheet.open_output.as_ref().map(Into::into),
            open_code: sheet.open_code.as_ref().map(Into::into),
            test_points: sheet
                .points
                .iter()
                .map(|p| PrintedPoint {
                    label: &p.label,
                    what: &p.what,
                    shorted_volts: (&p.shorted).into(),
                    normal_volts: (&p.normal).into(),
                    open_volts: p.open.as_ref().map(Into::into),
                    meter_loading_volts: p.loading.shorted,
                    normal_meter_loading_volts: p.loading.normal,
                    open_meter_loading_volts: p.loading.open,
                })
                .collect(),
            injections: sheet
                .injections
                .iter()
                .map(|i| PrintedInjection {
                    temperature_celsius: i.celsius,
                    copper_volts: i.copper_volts,
                    wire_volts: i.wire_volts,
                    output_volts: (&i.output).into(),
                    code: i.code.as_ref().map(Into::into),
                    copper_reading_celsius: (&i.copper).into(),
                    wire_reading_celsius: (&i.wire).into(),
                    kelvin_per_kelvin_of_terminals: i.per_kelvin,
                    limits: &i.limits,
                })
                .collect(),
            hints: sheet
                .hints
                .iter()
                .map(|h| PrintedHint {
                    mistake: &h.mistake,
                    reads_celsius: h.reads,
                    instead_of_celsius: h.instead_of,
                    shows: h.shows,
                })
                .collect(),
            dividers: made
                .dividers
                .iter()
                .map(|d| PrintedDivider {
                    wished_celsius: d.wished,
                    upper_ohms: d.upper.ohms,
                    lower_ohms: d.lower.ohms,
                    reversed: d.reversed,
                    volts: d.volts,
                    celsius: d.celsius,
                    output_resistance_ohms: d.output_resistance,
                    battery_amperes: d.current,
                    by_tolerance_95_kelvin: d.by_tolerance.kelvin,
                    by_parts_95_kelvin: d.by_parts.kelvin,
                    by_output_95_kelvin: d.by_output.kelvin,
                    loading_kelvin: d.loading.0,
                })
                .collect(),
            files: written.iter().map(|p| p.display().to_string()).collect(),
        }
    }
}
