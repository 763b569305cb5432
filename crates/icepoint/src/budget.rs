//! The verb `budget`: how far off the reading can be, and why.

use std::io::Write;
use std::path::PathBuf;

use clap::Args;
use icepoint_chain::budget::{Budget, BudgetPoint};
use icepoint_chain::chain::CalibrationWish;
use icepoint_chain::imperfection::{Distribution, Imperfection, Persistence};
use icepoint_chain::{Chain, Model};
use serde::Serialize;

use crate::failure::Failure;
use crate::{Answer, chain_file, progress};

/// Contributions listed for the worst point.
const LISTED: usize = 12;

/// Arguments of `budget`.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  icepoint budget examples/burnout-kiln.toml
  icepoint budget examples/freezer.toml --json > budget.json

Values that the file leaves open are chosen as `icepoint design` would.
Exit code 1: the accuracy asked is not met.")]
pub struct BudgetArguments {
    /// The chain file
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// Monte Carlo trials instead of the file's own number
    #[arg(long, value_name = "COUNT", value_parser = clap::value_parser!(u32).range(100..=100_000_000))]
    trials: Option<u32>,
    /// Seed instead of the file's own
    #[arg(long, value_name = "NUMBER")]
    seed: Option<u64>,
    /// JSON: one object (docs/json.md)
    #[arg(long)]
    json: bool,
}

/// Computes and prints the budget.
pub fn budget(arguments: &BudgetArguments, out: &mut dyn Write) -> Result<Answer, Failure> {
    let (_, mut resolved) = chain_file::read(&arguments.file)?;
    if let Some(trials) = arguments.trials {
        resolved.chain.settings.trials = trials;
    }
    if let Some(seed) = arguments.seed {
        resolved.chain.settings.seed = seed;
    }
    let open = resolved.open.clone();
    let values = icepoint_design::values(&resolved)?;
    let model = Model::new(resolved.with_values(&values))?;
    let bar = progress::trials(model.chain().settings.trials);
    let budget = Budget::new(&model, &|done| bar.inc(u64::from(done)));
    bar.finish_and_clear();
    let budget = budget?;
    let chain = model.chain();
    if arguments.json {
        serde_json::to_writer(&mut *out, &Printed::new(chain, &budget)).map_err(std::io::Error::from)?;
        writeln!(out)?;
    } else {
        print(chain, &budget, &open, out)?;
    }
    let met = budget.error_95(chain.need.calibration) <= chain.need.accuracy;
    Ok(if met { Answer::Yes } else { Answer::No })
}

fn print(chain: &Chain, budget: &Budget, open: &[String], out: &mut dyn Write) -> Result<(), Failure> {
    let need = &chain.need;
    let wish = need.calibration;
    writeln!(
        out,
        "{}: type {}, {} °C to {} °C, board {} °C to {} °C",
        chain.name,
        chain.probe.letter.name(),
        need.hot.0,
        need.hot.1,
        need.board.0,
        need.board.1
    )?;
    if !open.is_empty() {
        writeln!(out, "Values left open are chosen as `icepoint design` would: {}.", open.join(", "))?;
    }
    writeln!(out)?;
    if let Some(findings) = &chain.findings {
        let board = findings.serial.as_ref().map_or("This board".to_owned(), |s| format!("Board {s}"));
        let date = findings.date.as_ref().map_or(String::new(), |d| format!(" on {d}"));
        let error = budget.error_95(wish);
        writeln!(
            out,
            "{board} was calibrated{date}: ±{error:.2} K at 95 %, ±{} K asked.",
            trim(need.accuracy)
        )?;
        writeln!(out, "\nError at 95 % in K, as calibrated:")?;
    } else {
        calibrations(need.accuracy, wish, budget, out)?;
        writeln!(out, "\nError at 95 % in K, {}:", after(wish))?;
    }
    map(budget, wish, out)?;
    if let Some(point) = budget.worst_point(wish) {
        writeln!(out, "\nWhere it comes from at {} °C, board at {} °C:", trim(point.hot), trim(point.board))?;
        contributions(budget, point, out)?;
    }
    writeln!(out, "\n{} simulated boards, seed {}.", budget.trials, budget.seed)?;
    Ok(())
}

/// In words, for a heading.
pub fn after(wish: CalibrationWish) -> &'static str {
    match wish {
        CalibrationWish::None => "as built",
        CalibrationWish::Zero => "after one point",
        CalibrationWish::ZeroAndSpan => "after two points",
    }
}

/// What the board is worth without, after one and after two points of calibration.
pub fn calibrations(
    accuracy: f64,
    wish: CalibrationWish,
    budget: &Budget,
    out: &mut dyn Write,
) -> Result<(), Failure> {
    writeln!(
        out,
        "{:18} {:>12} {:>12} {:>12} {:>21} {:>20}",
        "calibration",
        "95 % error",
        "GUM, k·u",
        "known part",
        "worst case",
        format!("boards within {} K", trim(accuracy))
    )?;
    for w in CalibrationWish::ALL {
        let Some(point) = budget.worst_point(w) else { continue };
        let mark = if w == wish { " *" } else { "" };
        let worst =
            budget.of(w).iter().fold((0.0f64, 0.0f64), |(a, b), p| (a.min(p.worst.low), b.max(p.worst.high)));
        writeln!(
            out,
            "{:18} {:>10.2} K {:>10.2} K {:>10.2} K {:>21} {:>18.1} %",
            format!("{}{mark}", w.name()),
            point.monte_carlo.error_95,
            point.gum.expanded(),
            // Adding zero turns a rounded −0.00 into 0.00.
            (100.0 * point.bias()).round() / 100.0 + 0.0,
            format!("{:+.1} K to {:+.1} K", worst.0, worst.1),
            100.0 * budget.yield_after(w)
        )?;
    }
    writeln!(out, "* what the owner is willing to do; accuracy asked: ±{} K at 95 %", trim(accuracy))?;
    Ok(())
}

fn map(budget: &Budget, wish: CalibrationWish, out: &mut dyn Write) -> Result<(), Failure> {
    write!(out, "{:>10}", "hot \\ board")?;
    for board in &budget.board {
        write!(out, "{:>9}", format!("{} °C", trim(*board)))?;
    }
    writeln!(out)?;
    let points = budget.of(wish);
    for (column, hot) in budget.hot.iter().enumerate() {
        write!(out, "{:>11}", format!("{} °C", trim(*hot)))?;
        for row in 0..budget.board.len() {
            if let Some(point) = points.get(row * budget.hot.len() + column) {
                write!(out, "{:>9.2}", point.monte_carlo.error_95)?;
            }
        }
        writeln!(out)?;
    }
    Ok(())
}

fn contributions(budget: &Budget, point: &BudgetPoint, out: &mut dyn Write) -> Result<(), Failure> {
    let variance = point.gum.standard * point.gum.standard;
    let listed: Vec<_> = point
        .ranked()
        .into_iter()
        .take(LISTED)
        .filter_map(|(index, u)| Some((budget.imperfections.get(index)?, u)))
        .collect();
    let width = listed.iter().map(|(i, _)| i.id.chars().count()).max().unwrap_or(0).max("imperfection".len());
    writeln!(out, "{:>9} {:>7}  {:width$} what", "standard", "share", "imperfection")?;
    for (imperfection, u) in listed {
        let share = if variance > 0.0 { 100.0 * u * u / variance } else { 0.0 };
        writeln!(out, "{u:>7.3} K {share:>5.1} %  {:width$} {}", imperfection.id, imperfection.label)?;
    }
    writeln!(
        out,
        "{:>7.3} K  together; k = {:.2} gives ±{:.2} K at 95 %, simulation {:+.2} K to {:+.2} K",
        point.gum.standard,
        point.gum.k,
        point.gum.expanded(),
        point.monte_carlo.low,
        point.monte_carlo.high
    )?;
    Ok(())
}

/// A temperature or limit without idle zeros.
pub fn trim(value: f64) -> String {
    let rounded = (value * 100.0).round() / 100.0;
    format!("{rounded}")
}

/// The JSON of a budget; the keys stay stable (`docs/json.md`).
#[derive(Serialize)]
pub struct Printed<'a> {
    name: &'a str,
    #[serde(rename = "type")]
    letter: &'static str,
    accuracy_kelvin: f64,
    calibration: &'static str,
    /// Only for a board that was calibrated: then every calibration choice is this one.
    #[serde(skip_serializing_if = "Option::is_none")]
    calibrated: Option<PrintedBoard<'a>>,
    error_95_kelvin: f64,
    accuracy_met: bool,
    #[serde(rename = "yield")]
    yield_share: f64,
    trials: u32,
    seed: u64,
    grid: Vec<PrintedPoint<'a>>,
    calibrations: Vec<PrintedCalibration<'a>>,
    imperfections: Vec<PrintedImperfection<'a>>,
}

/// The board that was calibrated.
#[derive(Serialize)]
struct PrintedBoard<'a> {
    serial: Option<&'a str>,
    date: Option<&'a str>,
}

#[derive(Serialize)]
struct PrintedCalibration<'a> {
    calibration: &'static str,
    error_95_kelvin: f64,
    #[serde(rename = "yield")]
    yield_share: f64,
    grid: Vec<PrintedPoint<'a>>,
}

#[derive(Serialize)]
struct PrintedPoint<'a> {
    hot_celsius: f64,
    board_celsius: f64,
    reading_celsius: f64,
    gum_95_kelvin: f64,
    gum_standard_kelvin: f64,
    coverage_factor: f64,
    monte_carlo_95_kelvin: [f64; 2],
    monte_carlo_standard_kelvin: f64,
    error_95_kelvin: f64,
    worst_case_kelvin: [f64; 2],
    contributions: Vec<PrintedContribution<'a>>,
}

#[derive(Serialize)]
struct PrintedContribution<'a> {
    id: &'a str,
    standard_kelvin: f64,
}

#[derive(Serialize)]
struct PrintedImperfection<'a> {
    id: &'a str,
    description: &'a str,
    family: &'static str,
    distribution: &'static str,
    size: f64,
    unit: &'static str,
    source: &'a str,
    each_reading: bool,
    removed_by: &'static str,
}

impl<'a> Printed<'a> {
    /// All of it.
    pub fn new(chain: &'a Chain, budget: &'a Budget) -> Self {
        let wish = chain.need.calibration;
        let error = budget.error_95(wish);
        Self {
            name: &chain.name,
            letter: chain.probe.letter.name(),
            accuracy_kelvin: chain.need.accuracy,
            calibration: wish.name(),
            calibrated: chain
                .findings
                .as_ref()
                .map(|f| PrintedBoard { serial: f.serial.as_deref(), date: f.date.as_deref() }),
            error_95_kelvin: error,
            accuracy_met: error <= chain.need.accuracy,
            yield_share: budget.yield_after(wish),
            trials: budget.trials,
            seed: budget.seed,
            grid: points(budget, wish),
            calibrations: CalibrationWish::ALL
                .into_iter()
                .map(|w| PrintedCalibration {
                    calibration: w.name(),
                    error_95_kelvin: budget.error_95(w),
                    yield_share: budget.yield_after(w),
                    grid: points(budget, w),
                })
                .collect(),
            imperfections: budget.imperfections.iter().map(imperfection).collect(),
        }
    }
}

fn points<'a>(budget: &'a Budget, wish: CalibrationWish) -> Vec<PrintedPoint<'a>> {
    budget
        .of(wish)
        .iter()
        .map(|p| PrintedPoint {
            hot_celsius: p.hot,
            board_celsius: p.board,
            reading_celsius: p.gum.reading,
            gum_95_kelvin: p.gum.expanded(),
            gum_standard_kelvin: p.gum.standard,
            coverage_factor: p.gum.k,
            monte_carlo_95_kelvin: [p.monte_carlo.low, p.monte_carlo.high],
            monte_carlo_standard_kelvin: p.monte_carlo.standard,
            error_95_kelvin: p.monte_carlo.error_95,
            worst_case_kelvin: [p.worst.low, p.worst.high],
            contributions: p
                .ranked()
                .into_iter()
                .filter_map(|(i, u)| {
                    Some(PrintedContribution { id: &budget.imperfections.get(i)?.id, standard_kelvin: u })
                })
                .collect(),
        })
        .collect()
}

fn imperfection(i: &Imperfection) -> PrintedImperfection<'_> {
    let size = match i.distribution {
        Distribution::Rectangular(x)
        | Distribution::OneSided(x)
        | Distribution::Normal(x)
        | Distribution::Arcsine(x) => x,
    };
    PrintedImperfection {
        id: &i.id,
        description: &i.label,
        family: i.family.name(),
        distribution: i.distribution.name(),
        size,
        unit: i.unit,
        source: &i.source.text,
        each_reading: i.persistence == Persistence::Reading,
        removed_by: i.removed_by.name(),
    }
}
