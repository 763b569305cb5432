//! `[chain]` and `[need]`: what the measurement is called, and what is asked of it.

use super::given::{Given, Interval};
use super::walk::Reader;
pub use crate::chain::BrokenSensor;

/// `[need]`: range, accuracy, surroundings, and what the owner is willing to do.
#[derive(Debug, Clone, PartialEq)]
pub struct Need {
    /// Temperatures of the measuring junction, °C.
    pub hot: Given<Interval>,
    /// Temperatures of the board, °C.
    pub board: Given<Interval>,
    /// Largest error of the reading accepted at 95 %, K.
    pub accuracy: Given<f64>,
    /// Time in which a step must settle, s; nothing is asked when absent.
    pub settle_within: Option<Given<f64>>,
    /// Remaining share of a step that counts as settled (0.001 is 0.1 %).
    pub settle_to: Given<f64>,
    /// Mains frequency, Hz.
    pub mains: Given<f64>,
    /// Pick-up in series with the thermocouple at the mains frequency, V rms.
    pub series_pickup: Given<f64>,
    /// Pick-up common to both wires at the mains frequency, V rms.
    pub common_pickup: Given<f64>,
    /// Harmonics of the mains in both pick-ups.
    pub harmonics: Given<Harmonics>,
    /// Largest mains residual in the reading, K (peak); nothing is asked when absent.
    pub mains_residual: Option<Given<f64>>,
    /// The calibration that the owner is willing to do.
    pub calibration: Given<CalibrationEffort>,
    /// Where a broken thermocouple must read.
    pub broken_sensor: Given<BrokenSensor>,
}

/// What the pick-up contains beside the mains frequency itself.
#[derive(Debug, Clone, PartialEq)]
pub enum Harmonics {
    /// The compatibility levels of public low-voltage networks.
    PublicNetwork,
    /// Nothing.
    None,
    /// Shares of the fundamental, from the second harmonic on.
    Shares(Vec<f64>),
}

impl Harmonics {
    /// The words for the first two.
    pub(super) const WORDS: [&'static str; 2] = ["IEC 61000-2-2", "none"];
}

/// What the owner is willing to do to each finished board.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum CalibrationEffort {
    /// Nothing.
    None,
    /// One point: the zero is trimmed.
    Zero,
    /// Two points: zero and span are trimmed.
    ZeroAndSpan,
}

impl CalibrationEffort {
    /// Every accepted spelling.
    pub const SPELLINGS: &'static [(&'static str, Self)] =
        &[("none", Self::None), ("zero", Self::Zero), ("zero and span", Self::ZeroAndSpan)];

    /// Number of points it takes.
    pub fn points(self) -> usize {
        match self {
            Self::None => 0,
            Self::Zero => 1,
            Self::ZeroAndSpan => 2,
        }
    }
}

/// Every accepted spelling of [`BrokenSensor`].
pub(super) const BROKEN_SENSOR: &[(&str, BrokenSensor)] =
    &[("upscale", BrokenSensor::Upscale), ("downscale", BrokenSensor::Downscale)];

impl Need {
    pub(super) fn read(mut r: Reader<'_, '_>) -> Option<Self> {
        let hot = r.interval("hot");
        let board = r.interval("board");
        let accuracy = r.quantity("accuracy");
        let settle_within = r.quantity("settle_within");
        let settle_to = r.quantity("settle_to");
        let mains = r.quantity("mains");
        let series_pickup = r.quantity("series_pickup");
        let common_pickup = r.quantity("common_pickup");
        let harmonics = r.get("harmonics", |walk, key, name, value, _| walk.harmonics(key, name, value));
        let mains_residual = r.quantity("mains_residual");
        let calibration = r.choice("calibration", CalibrationEffort::SPELLINGS);
        let broken_sensor = r.choice("broken_sensor", BROKEN_SENSOR);
        r.finish(&[]);
        Some(Self {
            hot: hot?,
            board: board?,
            accuracy: accuracy?,
            settle_within,
            settle_to: settle_to?,
            mains: mains?,
            series_pickup: series_pickup?,
            common_pickup: common_pickup?,
            harmonics: harmonics?,
            mains_residual,
            calibration: calibration?,
            broken_sensor: broken_sensor?,
        })
    }
}
