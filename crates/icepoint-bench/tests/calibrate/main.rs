//! The calibration against boards that are simulated, and against sums that are done another way.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // a helper of a test may fail like a test

mod batch;
mod bench;
mod example_readings;
mod honest;
mod posterior;
mod second_way;
mod shared;
mod trims;
mod voltmeter;

use std::path::Path;

use icepoint_bench::calibrate::condition::Condition;
use icepoint_bench::calibrate::condition::Kind;
use icepoint_bench::calibrate::known;
use icepoint_bench::calibrate::readings::Input;
use icepoint_chain::Model;
use icepoint_chain::file::{ChainFile, Span, load};
use icepoint_chain::resolve::resolve;

/// An example's chain file.
pub fn file(name: &str) -> ChainFile {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples").join(format!("{name}.toml"));
    load(&path).unwrap()
}

/// The model of an example, its open values chosen as `design` does.
pub fn example(name: &str) -> Model {
    let file = file(name);
    let resolved = resolve(&file).unwrap();
    let values = icepoint_design::values(&resolved).unwrap();
    Model::new(resolved.with_values(&values)).unwrap()
}

/// A condition as a row of readings would give it.
pub fn condition(model: &Model, input: Input, board: f64, count: usize, line: usize) -> Condition {
    let mut condition = Condition {
        input,
        errors: Vec::new(),
        source_ohms: None,
        thermometer: None,
        meter: None,
        board,
        kind: Kind::Celsius,
        session: 0,
        mean: 0.0,
        count,
        squares: 0.0,
        half_digit: 0.05,
        lines: (line, line + count - 1),
        reference: String::new(),
        limit: None,
        span: Span::new(0, 0),
    };
    condition.errors = known::errors(model.chain(), &condition).unwrap();
    condition
}

/// Millivolts at the terminals, or the temperature itself, as the chain's plan has it.
pub fn given(model: &Model, hot: f64, board: f64) -> Input {
    let emf = |t: f64| model.chain().probe.letter.emf_and_slope_extended(t).0;
    match model.chain().plan.method {
        icepoint_chain::chain::CalibrationMethod::MillivoltSource { .. } => {
            Input::Injected((1e6 * (emf(hot) - emf(board))).round() * 1e-6)
        }
        icepoint_chain::chain::CalibrationMethod::KnownTemperature { .. } => Input::Temperature(hot),
    }
}
