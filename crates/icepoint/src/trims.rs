//! What is turned on a finished board, for the terminal and as JSON.

use icepoint_chain::quantity::{Unit, format};
use icepoint_chain::trims::{Report, Step};
use icepoint_chain::{Model, ModelError};
use serde::Serialize;
use std::io::Write;

use crate::failure::Failure;

/// Prints what is turned until what reads what; nothing for a board without adjustable resistors.
pub fn print(report: Option<&Report>, model: &Model, out: &mut dyn Write) -> Result<(), Failure> {
    let Some(report) = report else { return Ok(()) };
    writeln!(
        out,
        "\nTrims: {:.2} % of {} boards drawn can be adjusted, board at {} °C. In this order:",
        (1e4 * report.reached + 1e-9).floor() / 100.0,
        report.boards,
        report.board
    )?;
    for step in report.steps(model)? {
        let with = step.source_volts.map_or_else(
            || format!("the probe at {} °C", step.celsius),
            |volts| format!("{:.3} mV at the terminals ({} °C)", 1e3 * volts, step.celsius),
        );
        writeln!(
            out,
            "  {} ({}): with {with} until {} reads {:.4} V within {} of it, before {:.3} V to {:.3} V; known to {:.2} K",
            step.designator,
            step.moves.name(),
            step.test_point.as_deref().unwrap_or("the output"),
            step.volts,
            format(step.near, Unit::Volt, 2),
            step.before.0,
            step.before.1,
            step.known
        )?;
    }
    match report.rounds {
        _ if report.trims.len() < 2 => {}
        Some(rounds) => {
            writeln!(
                out,
                "  rounds: {rounds}, then no board that was tried is off by more than {:.3} K",
                report.enough
            )?;
        }
        None => writeln!(out, "  the two act too much alike: they can't be adjusted one after the other")?,
    }
    Ok(())
}

/// The JSON of the trims.
#[derive(Serialize)]
pub struct Printed {
    adjustable_share: f64,
    adjustable_share_by_sensitivities: f64,
    boards: u32,
    board_celsius: f64,
    interaction_share: f64,
    rounds: Option<usize>,
    enough_kelvin: f64,
    steps: Vec<PrintedStep>,
}

#[derive(Serialize)]
struct PrintedStep {
    turn: String,
    moves: &'static str,
    track_ohm: Option<f64>,
    travel_kelvin: Option<f64>,
    celsius: f64,
    source_volt: Option<f64>,
    test_point: Option<String>,
    until_volt: f64,
    near_volt: f64,
    before_volt: (f64, f64),
    known_kelvin: f64,
}

impl Printed {
    /// Of a designed board.
    pub fn new(report: &Report, model: &Model) -> Result<Self, ModelError> {
        let printed = |step: Step| {
            let trim = report.trims.iter().find(|t| t.designator == step.designator);
            PrintedStep {
                moves: step.moves.name(),
                track_ohm: trim.map(|t| t.figures.ohms),
                travel_kelvin: trim.map(|t| t.travel),
                celsius: step.celsius,
                source_volt: step.source_volts,
                test_point: step.test_point,
                until_volt: step.volts,
                near_volt: step.near,
                before_volt: step.before,
                known_kelvin: step.known,
                turn: step.designator,
            }
        };
        Ok(Self {
            adjustable_share: report.reached,
            adjustable_share_by_sensitivities: report.by_sensitivities,
            boards: report.boards,
            board_celsius: report.board,
            interaction_share: report.interaction,
            rounds: report.rounds,
            enough_kelvin: report.enough,
            steps: report.steps(model)?.into_iter().map(printed).collect(),
        })
    }
}
