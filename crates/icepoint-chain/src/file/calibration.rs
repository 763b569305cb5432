//! `[calibration_plan]`, `[calibration]` and `[budget]`.

use super::given::Given;
use super::keys::{CALIBRATIONS, CalibrationWord};
use super::walk::Reader;
use crate::chain::{Findings, Found, SharedError};
use toml::de::DeValue;

/// `[calibration_plan]`: how a finished board would be trimmed, and how well the means are known.
#[derive(Debug, Clone, PartialEq)]
pub struct CalibrationPlan {
    /// The means.
    pub method: CalibrationMethod,
    /// Temperatures (or their equivalent emf), °C, rising.
    pub at: Given<Vec<f64>>,
    /// Temperature of the board meanwhile, °C.
    pub board: Given<f64>,
    /// Knowledge of the temperature of the terminals, ± K.
    pub thermometer: Given<f64>,
    /// Readings averaged at each point.
    pub readings: Given<u32>,
}

/// The means of a calibration.
#[derive(Debug, Clone, PartialEq)]
pub enum CalibrationMethod {
    /// A source of millivolts at the terminals: the probe is not calibrated. ±(reading_error·|v| + range_error).
    MillivoltSource {
        /// Share of the value.
        source_reading_error: Given<f64>,
        /// Fixed part, V.
        source_range_error: Given<f64>,
    },
    /// The probe in a bath or a furnace of known temperature.
    KnownTemperature {
        /// Knowledge of the temperature, ± K.
        bath_accuracy: Given<f64>,
    },
}

/// `[calibration]`: constants found by a calibration; written by `calibrate`.
#[derive(Debug, Clone, PartialEq)]
pub struct Calibration {
    /// Date, as written.
    pub date: Option<Given<String>>,
    /// V, added to the reading rule's own volts after the factor (thermocouple volts, or output volts of a straight line).
    pub offset_volts: Given<f64>,
    /// Factor on the reading rule's own volts.
    pub gain: Given<f64>,
    /// Serial number of the board that was calibrated.
    pub serial: Option<Given<String>>,
    /// File of the raw readings, beside this one.
    pub readings: Option<Given<String>>,
    /// Fingerprint of that file.
    pub fingerprint: Option<Given<String>>,
    /// Scatter of one reading that its repeats showed beyond the model's noise, V at the converter.
    pub scatter_volts: Option<Given<f64>>,
    /// `[calibration.deviations]`: what the readings tell of each deviation.
    pub deviations: Vec<Found>,
    /// `[calibration.shared]`: how far errors of references moved that.
    pub shared: Vec<SharedError>,
}

/// `[budget]`: size of the computation.
#[derive(Debug, Clone, PartialEq)]
pub struct BudgetSettings {
    /// Monte Carlo trials.
    pub trials: Given<u32>,
    /// Seed of the Monte Carlo trials.
    pub seed: Given<u64>,
    /// Grid points over the range of the measuring junction.
    pub hot_points: Given<u32>,
    /// Grid points over the range of the board.
    pub board_points: Given<u32>,
}

impl CalibrationPlan {
    pub(super) fn read(mut r: Reader<'_, '_>) -> Option<Self> {
        let word = r.choice("method", CALIBRATIONS);
        let at = r.list("at");
        let board = r.quantity("board");
        let thermometer = r.quantity("thermometer");
        let readings = r.small_integer("readings");
        let mut method = None;
        match word.map(|word| word.value) {
            Some(CalibrationWord::MillivoltSource) => {
                let reading_error = r.quantity("source_reading_error");
                let range_error = r.quantity("source_range_error");
                if let (Some(source_reading_error), Some(source_range_error)) = (reading_error, range_error) {
                    method =
                        Some(CalibrationMethod::MillivoltSource { source_reading_error, source_range_error });
                }
                r.finish(&[]);
            }
            Some(CalibrationWord::KnownTemperature) => {
                method = r
                    .quantity("bath_accuracy")
                    .map(|bath_accuracy| CalibrationMethod::KnownTemperature { bath_accuracy });
                r.finish(&[]);
            }
            None => r.abandon(),
        }
        Some(Self { method: method?, at: at?, board: board?, thermometer: thermometer?, readings: readings? })
    }
}

impl Calibration {
    pub(super) fn read(mut r: Reader<'_, '_>) -> Option<Self> {
        let date = r.get("date", |walk, key, name, value, _| match value.get_ref() {
            // TOML has dates of its own
            DeValue::Datetime(date) => Some(date.to_string()),
            _ => walk.text(key, name, value),
        });
        let offset_volts = r.number("offset_volts");
        let gain = r.number("gain");
        let serial = r.text("serial");
        let readings = r.text("readings");
        let fingerprint = r.text("fingerprint");
        let scatter_volts = r.number("scatter_volts");
        r.finish(&["deviations", "shared"]);
        Some(Self {
            date,
            offset_volts: offset_volts?,
            gain: gain?,
            serial,
            readings,
            fingerprint,
            scatter_volts,
            deviations: Vec::new(),
            shared: Vec::new(),
        })
    }

    /// `[calibration.deviations]`: the estimate, then the entry in each direction.
    pub(super) fn read_deviations(mut r: Reader<'_, '_>) -> Option<Vec<Found>> {
        let mut found = Vec::new();
        for id in r.names() {
            let numbers = r.get(&id, |walk, key, name, value, _| walk.numbers(key, name, value));
            if let Some((&estimate, directions)) = numbers.as_ref().and_then(|n| n.value.split_first()) {
                found.push(Found { id, estimate, directions: directions.to_vec() });
            }
        }
        r.finish(&[]);
        Some(found)
    }

    /// `[calibration.shared]`: for each error of a reference its part of the estimate along each direction.
    pub(super) fn read_shared(mut r: Reader<'_, '_>) -> Option<Vec<SharedError>> {
        let mut shared = Vec::new();
        for id in r.names() {
            if let Some(along) = r.get(&id, |walk, key, name, value, _| walk.numbers(key, name, value)) {
                shared.push(SharedError { id, along: along.value });
            }
        }
        r.finish(&[]);
        Some(shared)
    }

    /// What the calibration found out about the board; `None` when only constants are written.
    pub fn findings(&self) -> Option<Findings> {
        (!self.deviations.is_empty()).then(|| Findings {
            serial: self.serial.as_ref().map(|s| s.value.clone()),
            date: self.date.as_ref().map(|d| d.value.clone()),
            deviations: self.deviations.clone(),
            shared: self.shared.clone(),
            scatter: self.scatter_volts.as_ref().map_or(0.0, |s| s.value),
        })
    }
}

impl BudgetSettings {
    pub(super) fn read(mut r: Reader<'_, '_>) -> Option<Self> {
        let trials = r.small_integer("trials");
        let seed = r.integer("seed");
        let hot_points = r.small_integer("hot_points");
        let board_points = r.small_integer("board_points");
        r.finish(&[]);
        Some(Self { trials: trials?, seed: seed?, hot_points: hot_points?, board_points: board_points? })
    }
}
