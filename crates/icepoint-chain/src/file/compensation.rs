//! `[compensation]`: figures of the part of the circuit that follows the temperature of the terminals.

use super::given::Given;
use super::reference_junction::PlatinumClass;
use super::walk::Reader;

/// `[compensation]`; only what the circuit has is used.
#[derive(Debug, Clone, PartialEq)]
pub struct Compensation {
    /// Forward voltage at `forward_current` and 25 °C, V.
    pub forward_voltage: Given<f64>,
    /// A.
    pub forward_current: Given<f64>,
    /// Spread of the forward voltage, ± V.
    pub forward_spread: Given<f64>,
    /// Spread of the slope, ± ratio.
    pub slope_spread: Given<f64>,
    /// Ideality factor.
    pub ideality: Given<f64>,
    /// Its spread, ± ratio.
    pub ideality_spread: Given<f64>,
    /// Ω.
    pub series_resistance: Given<f64>,
    /// Resistance of a thermistor at 25 °C, Ω.
    pub r25: Given<f64>,
    /// Beta, K.
    pub beta: Given<f64>,
    /// Tolerance of `r25`, ratio.
    pub tolerance: Given<f64>,
    /// Tolerance of `beta`, ratio.
    pub beta_tolerance: Given<f64>,
    /// Resistance of platinum at 0 °C, Ω.
    pub ice_resistance: Given<f64>,
    /// Class of IEC 60751.
    pub class: Given<PlatinumClass>,
    /// Thermal resistance to the board, K/W.
    pub heating: Given<f64>,
}

impl Compensation {
    pub(super) fn read(mut r: Reader<'_, '_>) -> Option<Self> {
        let mut q = |name: &str| r.quantity(name);
        let (forward_voltage, forward_current) = (q("forward_voltage"), q("forward_current"));
        let (forward_spread, slope_spread) = (q("forward_spread"), q("slope_spread"));
        let (ideality_spread, series_resistance) = (q("ideality_spread"), q("series_resistance"));
        let (r25, beta) = (q("r25"), q("beta"));
        let (tolerance, beta_tolerance) = (q("tolerance"), q("beta_tolerance"));
        let (ice_resistance, heating) = (q("ice_resistance"), q("heating"));
        let ideality = r.number("ideality");
        let class = r.choice("class", PlatinumClass::SPELLINGS);
        r.finish(&[]);
        Some(Self {
            forward_voltage: forward_voltage?,
            forward_current: forward_current?,
            forward_spread: forward_spread?,
            slope_spread: slope_spread?,
            ideality: ideality?,
            ideality_spread: ideality_spread?,
            series_resistance: series_resistance?,
            r25: r25?,
            beta: beta?,
            tolerance: tolerance?,
            beta_tolerance: beta_tolerance?,
            ice_resistance: ice_resistance?,
            class: class?,
            heating: heating?,
        })
    }
}
