//! `[trims]`: what is turned or stored on each finished board, and the figures of adjustable resistors.

use super::given::Given;
use super::walk::Reader;

/// `[trims]`.
#[derive(Debug, Clone, PartialEq)]
pub struct Trims {
    /// What is adjusted.
    pub means: Given<TrimMeans>,
    /// Designator of what moves the zero: an adjustable resistor, or a resistor that gets one in series.
    pub zero: Option<Given<String>>,
    /// Of what moves the span.
    pub span: Option<Given<String>>,
    /// Tolerance of a track, ratio.
    pub tolerance: Given<f64>,
    /// Its temperature coefficient, ± 1/K.
    pub tempco: Given<f64>,
    /// Smallest step of a setting, share of the track.
    pub resolution: Given<f64>,
    /// How far a setting moves by itself, ± share of the track.
    pub stability: Given<f64>,
    /// Resistance left at the end of the travel, Ω.
    pub end_resistance: Given<f64>,
}

/// What is adjusted on each finished board.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TrimMeans {
    /// Adjustable resistors in the circuit.
    Resistors,
    /// Constants in the firmware.
    Constants,
}

impl TrimMeans {
    /// Every accepted spelling.
    pub const SPELLINGS: &'static [(&'static str, Self)] =
        &[("adjustable resistors", Self::Resistors), ("constants", Self::Constants)];
}

impl Trims {
    pub(super) fn read(mut r: Reader<'_, '_>) -> Option<Self> {
        let means = r.choice("means", TrimMeans::SPELLINGS);
        let (zero, span) = (r.text("zero"), r.text("span"));
        let (tolerance, tempco) = (r.quantity("tolerance"), r.quantity("tempco"));
        let (resolution, stability) = (r.quantity("resolution"), r.quantity("stability"));
        let end_resistance = r.quantity("end_resistance");
        r.finish(&[]);
        Some(Self {
            means: means?,
            zero,
            span,
            tolerance: tolerance?,
            tempco: tempco?,
            resolution: resolution?,
            stability: stability?,
            end_resistance: end_resistance?,
        })
    }
}
