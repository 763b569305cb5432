//! `[parts]`: what the board may be built from.

use super::given::Given;
use crate::quantity::series::Series;

/// `[parts]`.
#[derive(Debug, Clone, PartialEq)]
pub struct Parts {
    /// `resistors = { … }`.
    pub resistors: ResistorParts,
    /// `capacitors = { … }`.
    pub capacitors: CapacitorParts,
    /// `drawer = "drawer.csv"`: kept, not read yet.
    pub drawer: Option<Given<String>>,
}

/// The resistors to choose from.
#[derive(Debug, Clone, PartialEq)]
pub struct ResistorParts {
    /// Series of IEC 60063.
    pub series: Given<Series>,
    /// Tolerance, ratio.
    pub tolerance: Given<f64>,
    /// Temperature coefficient, ± 1/K.
    pub tempco: Given<f64>,
    /// Change over life, ± ratio.
    pub ageing: Given<f64>,
    /// Resistors in one body that follow each other; none when absent.
    pub network: Option<Network>,
}

/// Tracking inside a resistor network.
#[derive(Debug, Clone, PartialEq)]
pub struct Network {
    /// Tolerance of the ratio, ± ratio.
    pub tolerance: Given<f64>,
    /// Temperature coefficient of the ratio, ± 1/K.
    pub tempco: Given<f64>,
}

/// The capacitors to choose from.
#[derive(Debug, Clone, PartialEq)]
pub struct CapacitorParts {
    /// Series of IEC 60063.
    pub series: Given<Series>,
    /// Tolerance, ratio.
    pub tolerance: Given<f64>,
    /// Temperature coefficient, ± 1/K.
    pub tempco: Given<f64>,
}
