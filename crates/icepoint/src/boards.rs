//! The verb `boards`: many calibrated boards of one design against the prediction.

use std::io::Write;
use std::path::{Path, PathBuf};

use clap::Args;
use icepoint_bench::inventory::{Batch, BatchError, Verdict, batch};
use icepoint_chain::Chain;
use icepoint_chain::file::write_atomically;
use serde::Serialize;

use crate::budget::trim;
use crate::failure::Failure;
use crate::{Answer, chain_file};

/// Arguments of `boards`.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  icepoint boards boards
  icepoint boards boards --page boards.html

Reads every chain file (.toml) with a calibration in FOLDER and in the folders in it, as `icepoint calibrate` writes them.
Exit code 1: the boards are spread more than predicted.")]
pub struct BoardsArguments {
    /// Folder with the calibrated boards
    #[arg(value_name = "FOLDER")]
    folder: PathBuf,
    /// Write a page with the picture
    #[arg(long, value_name = "FILE")]
    page: Option<PathBuf>,
    /// JSON: one object (docs/json.md)
    #[arg(long)]
    json: bool,
}

/// Brings the boards together and prints.
pub fn boards(arguments: &BoardsArguments, out: &mut dyn Write) -> Result<Answer, Failure> {
    let mut chains: Vec<(String, Chain)> = Vec::new();
    for path in chain_files(&arguments.folder)? {
        let (file, resolved) = chain_file::read(&path)?;
        if file.calibration.as_ref().is_none_or(|c| c.findings().is_none()) {
            continue;
        }
        let values = icepoint_design::values(&resolved)?;
        chains.push((path.display().to_string(), resolved.with_values(&values)));
    }
    let batch = batch(&chains).map_err(|error| refused(error, &arguments.folder))?;
    if let Some(page) = &arguments.page {
        let text = icepoint_dossier::inventory_page::batch_page(&batch);
        write_atomically(page, text.as_bytes())
            .map_err(|error| Failure::Machine { doing: format!("writing {}", page.display()), error })?;
    }
    if arguments.json {
        serde_json::to_writer(&mut *out, &Printed::new(&batch)).map_err(std::io::Error::from)?;
        writeln!(out)?;
    } else {
        print(&batch, out)?;
    }
    Ok(if batch.verdict() == Verdict::TooSmall { Answer::No } else { Answer::Yes })
}

fn refused(error: BatchError, folder: &Path) -> Failure {
    let (code, help) = match &error {
        BatchError::Empty => {
            ("boards.empty", format!("`icepoint calibrate FILE READINGS --out {}/SERIAL`", folder.display()))
        }
        BatchError::NotCalibrated(_) => ("boards.not_calibrated", "calibrate it, or take it out".into()),
        BatchError::OtherDesign(..) => (
            "boards.other_design",
            "one folder for each design; a changed chain file makes another design".into(),
        ),
        BatchError::SameSerial(_) => ("boards.same_serial", "keep one calibration of each board".into()),
        BatchError::Unseen => (
            "boards.unseen",
            "readings at more temperatures, or with a better reference; `icepoint calibrate` tells which point helps most"
                .into(),
        ),
        BatchError::Model(_) => {
            ("chain.no_prediction", "the chain file was changed after the calibration".into())
        }
    };
    Failure::bad_input(code, error.to_string(), Some(help))
}

/// Chain files in a folder and in the folders in it, by name.
fn chain_files(folder: &Path) -> Result<Vec<PathBuf>, Failure> {
    let machine =
        |error| Failure::Machine { doing: format!("reading the folder {}", folder.display()), error };
    let list = |folder: &Path| -> std::io::Result<Vec<PathBuf>> {
        std::fs::read_dir(folder)?.map(|entry| entry.map(|e| e.path())).collect()
    };
    let mut files = Vec::new();
    let is_chain = |p: &Path| p.extension().is_some_and(|e| e.eq_ignore_ascii_case("toml"));
    for path in list(folder).map_err(machine)? {
        if path.is_dir() {
            files.extend(list(&path).map_err(machine)?.into_iter().filter(|p| p.is_file() && is_chain(p)));
        } else if is_chain(&path) {
            files.push(path);
        }
    }
    files.sort();
    Ok(files)
}

fn print(batch: &Batch, out: &mut dyn Write) -> Result<(), Failure> {
    let width = batch.boards.iter().map(|b| b.serial.chars().count()).max().unwrap_or(0).max(6);
    writeln!(out, "{}: {} boards\n", batch.name, batch.boards.len())?;
    writeln!(
        out,
        "{:width$} {:>12} {:>12} {:>12} {:>22} {:>16}",
        "serial", "date", "offset", "gain", "largest error as built", "p of the design"
    )?;
    for b in &batch.boards {
        let largest = b.as_built.iter().map(|e| e.abs()).fold(0.0, f64::max);
        writeln!(
            out,
            "{:width$} {:>12} {:>12} {:>12.6} {:>22} {:>16.3}",
            b.serial,
            b.date.as_deref().unwrap_or(""),
            format!("{:.2} µV", 1e6 * b.constants.offset),
            b.constants.gain,
            format!("{largest:.2} K"),
            b.probability
        )?;
    }
    writeln!(out, "\nErrors as built in K, board at {} °C: predicted and seen", trim(batch.board))?;
    writeln!(
        out,
        "{:>10} {:>10} {:>12} {:>14} {:>10} {:>10} {:>8}",
        "hot", "expected", "s of boards", "s of estimates", "in common", "mean seen", "s seen"
    )?;
    for a in &batch.at {
        writeln!(
            out,
            "{:>10} {:>10.2} {:>12.2} {:>14.2} {:>10.2} {:>10.2} {:>8}",
            format!("{} °C", trim(a.hot)),
            a.expected,
            a.predicted,
            a.predicted_of_estimates,
            a.common,
            a.mean,
            if a.seen.is_finite() { format!("{:.2}", a.seen) } else { "-".into() }
        )?;
    }
    writeln!(
        out,
        "\nVariance of the boards over the predicted one: {:.2} in {} directions; by chance {:.2} to {:.2}.\n\
         Boards twice as far off would show in {:.0} % of such batches.\n{}",
        batch.spread.ratio,
        batch.directions,
        batch.spread.by_chance.0,
        batch.spread.by_chance.1,
        100.0 * batch.spread.noticed,
        batch.verdict().words()
    )?;
    Ok(())
}

/// The JSON of a batch; the keys stay stable (`docs/json.md`).
#[derive(Serialize)]
struct Printed<'a> {
    name: &'a str,
    board_celsius: f64,
    variance_ratio: f64,
    ratio_by_chance: [f64; 2],
    directions: usize,
    noticed_if_twice_as_far_off: f64,
    shared_errors: &'a [String],
    verdict: &'static str,
    boards: Vec<PrintedBoard<'a>>,
    at: Vec<PrintedAt>,
}

#[derive(Serialize)]
struct PrintedBoard<'a> {
    serial: &'a str,
    date: Option<&'a str>,
    offset_volts: f64,
    gain: f64,
    probability: f64,
    error_as_built_kelvin: &'a [f64],
}

#[derive(Serialize)]
struct PrintedAt {
    hot_celsius: f64,
    expected_kelvin: f64,
    standard_predicted_kelvin: f64,
    standard_visible_kelvin: f64,
    standard_common_kelvin: f64,
    mean_kelvin: f64,
    standard_seen_kelvin: Option<f64>,
}

impl<'a> Printed<'a> {
    fn new(batch: &'a Batch) -> Self {
        Self {
            name: &batch.name,
            board_celsius: batch.board,
            variance_ratio: batch.spread.ratio,
            ratio_by_chance: [batch.spread.by_chance.0, batch.spread.by_chance.1],
            directions: batch.directions,
            noticed_if_twice_as_far_off: batch.spread.noticed,
            shared_errors: &batch.shared,
            verdict: match batch.verdict() {
                Verdict::Honest => "as predicted",
                Verdict::TooSmall => "more than predicted",
                Verdict::Cautious => "less than predicted",
            },
            boards: batch
                .boards
                .iter()
                .map(|b| PrintedBoard {
                    serial: &b.serial,
                    date: b.date.as_deref(),
                    offset_volts: b.constants.offset,
                    gain: b.constants.gain,
                    probability: b.probability,
                    error_as_built_kelvin: &b.as_built,
                })
                .collect(),
            at: batch
                .at
                .iter()
                .map(|a| PrintedAt {
                    hot_celsius: a.hot,
                    expected_kelvin: a.expected,
                    standard_predicted_kelvin: a.predicted,
                    standard_visible_kelvin: a.predicted_of_estimates,
                    standard_common_kelvin: a.common,
                    mean_kelvin: a.mean,
                    standard_seen_kelvin: Some(a.seen).filter(|s| s.is_finite()),
                })
                .collect(),
        }
    }
}
