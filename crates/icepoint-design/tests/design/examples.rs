//! The three examples as designed: the quick estimate against the simulation, and the kiln's error map and GUM table as
//! text, so that a change in physics becomes a difference that people can read.

use std::fmt::Write as _;

use crate::bench::example;
use icepoint_chain::Model;
use icepoint_chain::budget::{Budget, BudgetPoint, Study, quick_error_95};
use icepoint_chain::chain::CalibrationWish;

/// How far the quick estimate may be from the simulation.
const QUICK: f64 = 0.03;
/// One standard error of a 95 % quantile of 20 000 boards, largest over 55 points, is under one per cent; twice.
const SAMPLING: f64 = 0.012;
const TRIALS: u32 = 20_000;

fn designed(name: &str, trials: u32) -> Model {
    let resolved = example(name).resolved();
    let mut chain = resolved.with_values(&icepoint_design::values(&resolved).unwrap());
    chain.settings.trials = trials;
    Model::new(chain).unwrap()
}

#[test]
fn the_quick_estimate_is_near_the_simulation() {
    for name in ["burnout-kiln.toml", "bench-voltmeter.toml", "freezer.toml"] {
        let model = designed(name, TRIALS);
        let budget = Budget::new(&model, &|_| {}).unwrap();
        for wish in CalibrationWish::ALL {
            let quick = quick_error_95(&Study::new(&model), wish).unwrap();
            let simulated = budget.error_95(wish);
            let off = quick / simulated - 1.0;
            println!(
                "{name}, {}: quick {quick:.4} K, simulated {simulated:.4} K, {:+.2} %",
                wish.name(),
                100.0 * off
            );
            assert!(off.abs() < QUICK + SAMPLING, "{name}, {}: {quick} K and {simulated} K", wish.name());
        }
    }
}

/// Rows: board temperature; columns: hot.
fn map(budget: &Budget, wish: CalibrationWish, cell: impl Fn(&BudgetPoint) -> f64) -> String {
    let mut text = String::from("board \\ hot");
    for hot in &budget.hot {
        write!(text, "{hot:>8.0}").unwrap();
    }
    for (board, row) in budget.board.iter().zip(budget.of(wish).chunks(budget.hot.len())) {
        write!(text, "\n{board:>8.1} °C").unwrap();
        for point in row {
            write!(text, "{:>8.2}", cell(point)).unwrap();
        }
    }
    text + "\n"
}

#[test]
fn error_map_of_the_kiln() {
    let model = designed("burnout-kiln.toml", 5000);
    let budget = Budget::new(&model, &|_| {}).unwrap();
    let mut text = String::new();
    for wish in CalibrationWish::ALL {
        writeln!(text, "95 % error in K, 5000 boards, calibration: {}", wish.name()).unwrap();
        text.push_str(&map(&budget, wish, |p| p.monte_carlo.error_95));
        writeln!(text, "yield {:.1} %\n", 100.0 * budget.yield_after(wish)).unwrap();
    }
    insta::assert_snapshot!(text);
}

#[test]
fn gum_table_of_the_kiln() {
    let model = designed("burnout-kiln.toml", 500);
    let budget = Budget::new(&model, &|_| {}).unwrap();
    let wish = CalibrationWish::ZeroAndSpan;
    let mut text = String::from("expanded uncertainty U (k·u) in K by GUM, zero and span\n");
    text.push_str(&map(&budget, wish, |p| p.gum.expanded()));
    text.push_str("\nreading less truth in mK at the means, without calibration\n");
    text.push_str(&map(&budget, CalibrationWish::None, |p| 1e3 * p.bias()));
    let points = budget.of(wish);
    let last = points.last().unwrap();
    writeln!(text, "\nstandard contributions in K at {:.0} °C, board at {:.0} °C", last.hot, last.board)
        .unwrap();
    let unit = |i: usize| (&budget.imperfections[i].id, budget.imperfections[i].removed_by.name());
    for (i, u) in last.ranked().into_iter().filter(|(_, u)| *u >= 0.005) {
        let (id, removed) = unit(i);
        writeln!(text, "{id:<34}{u:>8.3}   {removed}").unwrap();
    }
    insta::assert_snapshot!(text);
}
