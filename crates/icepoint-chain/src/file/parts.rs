//! `[parts]`: what the board may be built from.

use super::given::Given;
use super::walk::Reader;
use crate::quantity::series::Series;

/// `[parts]`.
#[derive(Debug, Clone, PartialEq)]
pub struct Parts {
    /// `resistors = { … }`.
    pub resistors: ResistorParts,
    /// `capacitors = { … }`.
    pub capacitors: CapacitorParts,
    /// `drawer = "drawer.csv"`: path of the drawer, counted from the chain file.
    pub drawer: Option<Given<String>>,
    /// What a part that must be bought has to take off the error, K; without it nothing is bought beside a drawer.
    pub worth_buying: Option<Given<f64>>,
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

impl ResistorParts {
    pub(super) fn read(mut r: Reader<'_, '_>) -> Option<Self> {
        let series = r.choice("series", Series::SPELLINGS);
        let tolerance = r.quantity("tolerance");
        let tempco = r.quantity("tempco");
        let ageing = r.quantity("ageing");
        r.finish(&["network"]);
        Some(Self { series: series?, tolerance: tolerance?, tempco: tempco?, ageing: ageing?, network: None })
    }
}

impl Network {
    pub(super) fn read(mut r: Reader<'_, '_>) -> Option<Self> {
        let tolerance = r.quantity("tolerance");
        let tempco = r.quantity("tempco");
        r.finish(&[]);
        Some(Self { tolerance: tolerance?, tempco: tempco? })
    }
}

impl CapacitorParts {
    pub(super) fn read(mut r: Reader<'_, '_>) -> Option<Self> {
        let series = r.choice("series", Series::SPELLINGS);
        let tolerance = r.quantity("tolerance");
        let tempco = r.quantity("tempco");
        r.finish(&[]);
        Some(Self { series: series?, tolerance: tolerance?, tempco: tempco? })
    }
}
