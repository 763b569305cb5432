//! The verb `calibrate`: from readings to constants, and how good the board then is.

use std::io::Write;
use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};
use icepoint_bench::calibrate::band::by_origin;
use icepoint_bench::calibrate::condition::trimmed;
use icepoint_bench::calibrate::readings::{self, Input, LARGEST_FILE, Readings};
use icepoint_bench::calibrate::{Calibration, CalibrationError, Wishes, checks, significant};
use icepoint_chain::chain::Correction;
use icepoint_chain::file::{ChainFile, Source};
use icepoint_chain::trims::{Moves, called};
use icepoint_chain::{Chain, Model};

use crate::budget::trim;
use crate::calibrate_files::{Place, Written};
use crate::calibrate_json::Printed;
use crate::failure::Failure;
use crate::{Answer, calibrate_files, chain_file, design};

/// Arguments of `calibrate`.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  icepoint calibrate examples/burnout-kiln.toml examples/burnout-kiln-readings.csv --date 2026-11-25
  icepoint calibrate kiln.toml kiln-readings.csv --in-place
  icepoint calibrate kiln.toml kiln-readings.csv --without 7,9

Writes into boards/SERIAL (or --out): NAME.toml, the chain file with the calibration in it, for every other command;
NAME-readings.csv, the raw readings as they are; NAME-certificate.html. Nothing is lost when a board is calibrated again:
other readings and certificates get a number, NAME-readings-2.csv, and the earlier chain file is kept as NAME.toml.1.
Columns of READINGS: docs/calibration.md.

Exit code 1: readings disagree (then nothing is written, but for --keep-all), the misfit is too large to be chance, or the
board does not hold its accuracy after the calibration. Readings that disagree stay in the constants until they are left
out by --without.")]
pub struct CalibrateArguments {
    /// The chain file
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// The readings, CSV
    #[arg(value_name = "READINGS")]
    readings: PathBuf,
    /// Folder to write to; boards/SERIAL if not given
    #[arg(long, value_name = "FOLDER", conflicts_with = "in_place")]
    out: Option<PathBuf>,
    /// Write the calibration into FILE itself
    #[arg(long)]
    in_place: bool,
    /// Serial number of the board
    #[arg(long, value_name = "TEXT")]
    serial: Option<String>,
    /// Date of the calibration, as it is to stand in the certificate
    #[arg(long, value_name = "TEXT")]
    date: Option<String>,
    /// Leave out the readings on these lines
    #[arg(long, value_name = "LINES", value_delimiter = ',')]
    without: Vec<usize>,
    /// Write the calibration though readings disagree; they stay in the constants
    #[arg(long)]
    keep_all: bool,
    /// Constants that the board had while it was read, when FILE has some already
    #[arg(long, value_name = "WHICH")]
    taken_with: Option<TakenWith>,
    /// JSON: one object (docs/json.md)
    #[arg(long)]
    json: bool,
}

/// Constants in the board while it was read.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum TakenWith {
    /// None: offset 0, gain 1
    None,
    /// Those that the chain file has
    Stored,
}

/// Calibrates, writes and prints.
pub fn calibrate(arguments: &CalibrateArguments, out: &mut dyn Write) -> Result<Answer, Failure> {
    let (file, resolved) = chain_file::read(&arguments.file)?;
    let values = icepoint_design::values(&resolved)?;
    let open = !resolved.open.is_empty();
    let chain = resolved.with_values(&values);
    let readings = read(&arguments.readings, &chain, &file)?;
    let wishes = Wishes {
        taken_with: constants(arguments, &chain, &readings)?,
        without: arguments.without.clone(),
        date: arguments.date.clone(),
        serial: arguments.serial.clone(),
    };
    let model = Model::new(chain.as_designed())?;
    let calibration =
        icepoint_bench::calibrate::calibrate(&model, &readings, &wishes).map_err(|error| match error {
            CalibrationError::Refused(refused) => Failure::Refused(refused),
            CalibrationError::Inference(error) => Failure::bad_input(
                "calibration.no_answer",
                error.to_string(),
                Some("look at the readings against `icepoint bench-sheet` of this chain".into()),
            ),
        })?;
    let flagged = calibration.checked.iter().any(|c| c.left_out.flagged);
    let written = if flagged && !arguments.keep_all {
        Written::default()
    } else {
        let chosen = if open { design::chosen_values(&model, &resolved) } else { Vec::new() };
        let place =
            Place { file: &arguments.file, out: arguments.out.as_deref(), in_place: arguments.in_place };
        calibrate_files::write(&place, (&file, &chosen), &model, &readings, &calibration)?
    };
    let accuracy = model.chain().need.accuracy;
    let worst = worst(&calibration);
    if arguments.json {
        let printed = Printed::new(&model, &calibration, &written);
        serde_json::to_writer(&mut *out, &printed).map_err(std::io::Error::from)?;
        writeln!(out)?;
    } else {
        print(&model, &calibration, &written, out)?;
    }
    let yes = !flagged && !calibration.misfit.noticed() && worst <= accuracy;
    Ok(if yes { Answer::Yes } else { Answer::No })
}

/// Reads a file of readings.
pub fn read(path: &Path, chain: &Chain, file: &ChainFile) -> Result<Readings, Failure> {
    let machine = |error| Failure::Machine { doing: format!("reading {}", path.display()), error };
    let name = path.display().to_string();
    let size = std::fs::metadata(path).map_err(machine)?.len();
    if size > LARGEST_FILE {
        return Err(Failure::bad_input(
            "readings.too_large",
            format!("{name} has {} MB; at most {} MB are read", size >> 20, LARGEST_FILE >> 20),
            Some("leave out what was taken while the input settled".into()),
        ));
    }
    let bytes = std::fs::read(path).map_err(machine)?;
    let text = String::from_utf8(bytes).map_err(|error| {
        Failure::bad_input(
            "readings.not_utf8",
            format!("{name} is not UTF-8 text: byte {} can't be read", error.utf8_error().valid_up_to() + 1),
            Some("save it as CSV with the encoding UTF-8".into()),
        )
    })?;
    readings::read(Source { name, text }, chain, file).map_err(Failure::Refused)
}

/// Constants that the board had while it was read.
fn constants(
    arguments: &CalibrateArguments,
    chain: &Chain,
    readings: &Readings,
) -> Result<Correction, Failure> {
    let stored = chain.correction.filter(|c| *c != Correction::NONE);
    let degrees = readings.rows.iter().any(|r| matches!(r.answer, readings::Answer::Celsius(_)));
    match (arguments.taken_with, stored) {
        (Some(TakenWith::Stored), Some(stored)) => Ok(stored),
        (None, Some(_)) if degrees => Err(Failure::bad_input(
            "calibration.which_constants",
            "the chain file has constants of a calibration already, and the readings don't say whether the board used them"
                .into(),
            Some("--taken-with stored if it did, --taken-with none if it had offset 0 and gain 1".into()),
        )),
        _ => Ok(Correction::NONE),
    }
}

/// Largest 95 % error over the band, K.
pub fn worst(calibration: &Calibration) -> f64 {
    calibration.band.iter().map(|p| p.error_95).fold(0.0, f64::max)
}

fn print(
    model: &Model,
    calibration: &Calibration,
    written: &Written,
    out: &mut dyn Write,
) -> Result<(), Failure> {
    let chain = model.chain();
    let (all, used) = calibration.counts;
    let serial = calibration.findings.serial.as_ref().map_or(String::new(), |s| format!(", board {s}"));
    let left = if used < all { format!(", {} left out", all - used) } else { String::new() };
    writeln!(
        out,
        "{}{serial}: {used} readings under {} conditions{left}\n",
        chain.name,
        calibration.checked.len()
    )?;
    checks_of(calibration, out)?;
    let worst_before =
        calibration.band.iter().map(|p| p.bias_before.abs() + p.half_before).fold(0.0, f64::max);
    let found = calibration.band.iter().map(|p| p.found.abs()).fold(0.0, f64::max);
    writeln!(
        out,
        "\nAs it was: up to {found:.2} K off by the best estimate; ±{worst_before:.2} K could be expected."
    )?;
    constants_of(model, calibration, out)?;
    writeln!(out, "\nError at 95 % in K with these constants:")?;
    write!(out, "{:>10}", "hot \\ board")?;
    for board in &calibration.board {
        write!(out, "{:>9}", format!("{} °C", trim(*board)))?;
    }
    writeln!(out)?;
    for (column, hot) in calibration.hot.iter().enumerate() {
        write!(out, "{:>11}", format!("{} °C", trim(*hot)))?;
        for row in 0..calibration.board.len() {
            if let Some(p) = calibration.band.get(row * calibration.hot.len() + column) {
                write!(out, "{:>9.2}", p.error_95)?;
            }
        }
        writeln!(out)?;
    }
    let doubtful = calibration.misfit.noticed() || calibration.checked.iter().any(|c| c.left_out.flagged);
    let (point, worst) = calibration
        .band
        .iter()
        .enumerate()
        .max_by(|a, b| a.1.error_95.total_cmp(&b.1.error_95))
        .map_or((0, f64::NAN), |(i, p)| (i, p.error_95));
    writeln!(
        out,
        "Worst ±{worst:.2} K, asked ±{} K: {}.",
        trim(chain.need.accuracy),
        match (worst <= chain.need.accuracy, doubtful) {
            (true, false) => "met",
            (true, true) =>
                "met only if the readings and the design were right, which the checks above doubt",
            (false, _) => "not met",
        }
    )?;
    if let Some(p) = calibration.band.get(point) {
        writeln!(
            out,
            "\nWhat is left at {} °C, board at {} °C (standard uncertainties):",
            trim(p.hot),
            trim(p.board)
        )?;
        for (origin, standard) in by_origin(&calibration.spread, point) {
            writeln!(out, "{standard:>7.3} K  {}", origin.words())?;
        }
    }
    if !calibration.next.is_empty() {
        writeln!(out, "\nA further point that would help most:")?;
        for c in calibration.next.iter().take(3) {
            writeln!(
                out,
                "  {} with the board at {} °C: takes {:.1} % of the variance away",
                given(c.input, c.hot),
                trim(c.board),
                100.0 * c.share
            )?;
        }
    }
    if !calibration.cautions.is_empty() {
        writeln!(out)?;
        for caution in &calibration.cautions {
            writeln!(out, "Mind: {caution}")?;
        }
    }
    writeln!(out)?;
    for path in &written.files {
        writeln!(out, "wrote {}", path.display())?;
    }
    for path in &written.kept {
        writeln!(out, "kept  {} as it was", path.display())?;
    }
    if written.files.is_empty() {
        let lines: Vec<String> = calibration
            .checked
            .iter()
            .filter(|c| c.left_out.flagged)
            .map(|c| c.condition.lines.0.to_string())
            .collect();
        writeln!(
            out,
            "Nothing was written, since readings disagree. Measure them again; or --without {} to leave them out, \
             --keep-all to keep them.",
            lines.join(",")
        )?;
    }
    Ok(())
}

fn given(input: Input, hot: f64) -> String {
    match input {
        Input::Temperature(t) => format!("{} °C", trim(t)),
        Input::Injected(v) => format!("{} mV ({} °C)", trimmed(1e3 * v, 3), trim(hot)),
    }
}

/// Readings, one line for each condition, and what they say together.
fn checks_of(calibration: &Calibration, out: &mut dyn Write) -> Result<(), Failure> {
    const SHOWN: usize = 30;
    let width = calibration.checked.iter().map(|c| c.condition.words().chars().count()).max().unwrap_or(0);
    writeln!(
        out,
        "{:>6} {:width$} {:>6} {:>12} {:>10} {:>22}",
        "line", "given", "count", "mean read", "residual", "from all the others"
    )?;
    for c in calibration.checked.iter().take(SHOWN) {
        let unit = c.condition.kind.unit();
        let digits = |v: f64| significant(v, c.reading);
        writeln!(
            out,
            "{:>6} {:width$} {:>6} {:>12} {:>10} {:>22}{}",
            c.condition.lines.0,
            c.condition.words(),
            c.condition.count,
            digits(c.condition.mean),
            format!("{} {unit}", digits(c.residual)),
            format!(
                "{} ± {} {unit}",
                digits(c.left_out.difference),
                digits(checks::allowed(calibration.checked.len()) * c.left_out.standard)
            ),
            if c.left_out.flagged { "  <- disagrees" } else { "" }
        )?;
    }
    if let more @ 1.. = calibration.checked.len().saturating_sub(SHOWN) {
        writeln!(out, "... and {more} more")?;
    }
    let m = calibration.misfit;
    let words = if m.noticed() {
        if m.probability_of_board < m.probability {
            "this board is farther from the design than the budget allows: a limit in the chain file is too small, or a part is wrong"
        } else {
            "the readings do not fit the design and each other: look for a wrong reference, a wrong limit, a bad contact"
        }
    } else {
        "the readings fit what the budget expects of such a board"
    };
    writeln!(
        out,
        "Misfit {:.1} with {} degree{} of freedom (p = {:.3}; of the board alone p = {:.3}): {words}.",
        m.value,
        m.degrees_of_freedom,
        if m.degrees_of_freedom == 1 { "" } else { "s" },
        m.probability,
        m.probability_of_board
    )?;
    writeln!(
        out,
        "Were the board's own deviations all twice what the chain file allows, readings like these would show it in {:.0} % of \
         boards.",
        100.0 * m.power
    )?;
    if calibration.checked.iter().any(|c| c.left_out.flagged) {
        writeln!(out, "What follows counts with all of these readings, those that disagree included.")?;
    }
    Ok(())
}

fn constants_of(model: &Model, calibration: &Calibration, out: &mut dyn Write) -> Result<(), Failure> {
    let c = calibration.constants;
    match calibration.trims {
        Some(trims) => {
            writeln!(
                out,
                "\nTo correct a reading, volts = {:.6} V + {:.8} · volts read. Or with trims, board at {} °C:",
                c.offset,
                c.gain,
                trim(trims.board)
            )?;
            for (n, (which, p)) in
                [(Moves::Zero, trims.zero), (Moves::Span, trims.span)].into_iter().enumerate()
            {
                let input = match p.input {
                    Input::Temperature(t) => format!("{} °C", trimmed(t, 2)),
                    Input::Injected(v) => format!("{} mV", trimmed(1e3 * v, 4)),
                };
                writeln!(
                    out,
                    "  {}. at {input} turn {} until {} reads {:.5} V (now about {:.5} V)",
                    n + 1,
                    called(model.chain().trims.as_ref(), which),
                    model.chain().front_end.output_point().unwrap_or("the output"),
                    p.volts,
                    p.now
                )?;
            }
            writeln!(out, "  3. both once more: each moves the other a little.")?;
        }
        None => {
            writeln!(
                out,
                "\nConstants for the firmware, corrected = offset + gain · v in the reading rule's own volts:"
            )?;
            writeln!(out, "  offset_volts = {:.6e}", c.offset)?;
            writeln!(out, "  gain         = {:.9}", c.gain)?;
        }
    }
    Ok(())
}
