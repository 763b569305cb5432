//! The JSON that `calibrate` prints.

use icepoint_bench::calibrate::readings::Input;
use icepoint_bench::calibrate::{Calibration, TrimPoint};
use icepoint_chain::Model;
use serde::Serialize;

use crate::calibrate::worst;
use crate::calibrate_files::Written;

/// The JSON of a calibration; the keys stay stable (`docs/json.md`).
#[derive(Serialize)]
pub struct Printed<'a> {
    name: &'a str,
    serial: Option<&'a str>,
    date: Option<&'a str>,
    readings: usize,
    readings_used: usize,
    offset_volts: f64,
    gain: f64,
    trims: Option<PrintedTrims>,
    misfit: f64,
    misfit_degrees_of_freedom: usize,
    misfit_probability: f64,
    board_probability: f64,
    misfit_noticed: bool,
    misfit_power: f64,
    scatter_volts: f64,
    accuracy_kelvin: f64,
    error_95_kelvin: f64,
    accuracy_met: bool,
    conditions: Vec<PrintedCondition>,
    band: Vec<PrintedPoint>,
    next: Vec<PrintedNext>,
    deviations: Vec<PrintedDeviation<'a>>,
    cautions: &'a [String],
    files: Vec<String>,
    kept: Vec<String>,
}

#[derive(Serialize)]
struct PrintedTrims {
    board_celsius: f64,
    zero: PrintedTrim,
    span: PrintedTrim,
}

#[derive(Serialize)]
struct PrintedTrim {
    input_celsius: Option<f64>,
    input_volts: Option<f64>,
    output_volts: f64,
    output_volts_now: f64,
}

impl From<TrimPoint> for PrintedTrim {
    fn from(point: TrimPoint) -> Self {
        Self {
            input_celsius: if let Input::Temperature(t) = point.input { Some(t) } else { None },
            input_volts: if let Input::Injected(v) = point.input { Some(v) } else { None },
            output_volts: point.volts,
            output_volts_now: point.now,
        }
    }
}

#[derive(Serialize)]
struct PrintedCondition {
    lines: [usize; 2],
    count: usize,
    input_celsius: Option<f64>,
    input_volts: Option<f64>,
    board_celsius: f64,
    unit: &'static str,
    mean: f64,
    residual: f64,
    difference_from_others: f64,
    difference_standard: f64,
    disagrees: bool,
}

#[derive(Serialize)]
struct PrintedPoint {
    hot_celsius: f64,
    board_celsius: f64,
    error_found_kelvin: f64,
    error_expected_kelvin: f64,
    half_width_95_kelvin: f64,
    standard_kelvin: f64,
    error_95_kelvin: f64,
    half_width_95_before_kelvin: f64,
}

#[derive(Serialize)]
struct PrintedNext {
    hot_celsius: f64,
    board_celsius: f64,
    input_volts: Option<f64>,
    variance_share: f64,
}

#[derive(Serialize)]
struct PrintedDeviation<'a> {
    id: &'a str,
    estimate: f64,
    directions: &'a [f64],
}

impl<'a> Printed<'a> {
    /// All of it.
    pub fn new(model: &'a Model, c: &'a Calibration, written: &Written) -> Self {
        let error = worst(c);
        let accuracy = model.chain().need.accuracy;
        Self {
            name: &model.chain().name,
            serial: c.findings.serial.as_deref(),
            date: c.findings.date.as_deref(),
            readings: c.counts.0,
            readings_used: c.counts.1,
            offset_volts: c.constants.offset,
            gain: c.constants.gain,
            trims: c.trims.map(|t| PrintedTrims {
                board_celsius: t.board,
                zero: t.zero.into(),
                span: t.span.into(),
            }),
            misfit: c.misfit.value,
            misfit_degrees_of_freedom: c.misfit.degrees_of_freedom,
            misfit_probability: c.misfit.probability,
            board_probability: c.misfit.probability_of_board,
            misfit_noticed: c.misfit.noticed(),
            misfit_power: c.misfit.power,
            scatter_volts: c.findings.scatter,
            accuracy_kelvin: accuracy,
            error_95_kelvin: error,
            accuracy_met: error <= accuracy,
            conditions: c
                .checked
                .iter()
                .map(|k| PrintedCondition {
                    lines: [k.condition.lines.0, k.condition.lines.1],
                    count: k.condition.count,
                    input_celsius: if let Input::Temperature(t) = k.condition.input { Some(t) } else { None },
                    input_volts: if let Input::Injected(v) = k.condition.input { Some(v) } else { None },
                    board_celsius: k.condition.board,
                    unit: k.condition.kind.unit(),
                    mean: k.condition.mean,
                    residual: k.residual,
                    difference_from_others: k.left_out.difference,
                    difference_standard: k.left_out.standard,
                    disagrees: k.left_out.flagged,
                })
                .collect(),
            band: c
                .band
                .iter()
                .map(|p| PrintedPoint {
                    hot_celsius: p.hot,
                    board_celsius: p.board,
                    error_found_kelvin: p.found,
                    error_expected_kelvin: p.bias,
                    half_width_95_kelvin: p.half,
                    standard_kelvin: p.standard,
                    error_95_kelvin: p.error_95,
                    half_width_95_before_kelvin: p.half_before,
                })
                .collect(),
            next: c
                .next
                .iter()
                .map(|n| PrintedNext {
                    hot_celsius: n.hot,
                    board_celsius: n.board,
                    input_volts: if let Input::Injected(v) = n.input { Some(v) } else { None },
                    variance_share: n.share,
                })
                .collect(),
            deviations: c
                .findings
                .deviations
                .iter()
                .map(|d| PrintedDeviation { id: &d.id, estimate: d.estimate, directions: &d.directions })
                .collect(),
            cautions: &c.cautions,
            files: written.files.iter().map(|p| p.display().to_string()).collect(),
            kept: written.kept.iter().map(|p| p.display().to_string()).collect(),
        }
    }
}
