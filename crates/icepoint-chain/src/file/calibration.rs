//! `[calibration_plan]`, `[calibration]` and `[budget]`.

use super::given::Given;

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
    /// Volts to subtract from the converter's reading.
    pub offset_volts: Given<f64>,
    /// Factor on what remains.
    pub gain: Given<f64>,
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
