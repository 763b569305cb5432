//! What the lines of the mains leave in the reading, one by one, in kelvin.
//!
//! The budget counts the fundamental, as the user states it ([`crate::imperfection`]). A picture of the filter wants the
//! harmonics too, each as if the whole series pick-up were on it: nobody states their size, and this is the safe side.

use icepoint_circuit::CircuitError;

use crate::chain::Readout;
use crate::digital::{LINE_FREQUENCY_SPREAD, magnitude};
use crate::model::Model;

/// Points over the hot range at which the sensitivity is looked at, and over the spread of the line frequency.
const STEPS: u32 = 20;

/// A line of the mains and what it leaves.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MainsLine {
    /// Nominal frequency, Hz.
    pub hertz: f64,
    /// |gain| of the analog circuit over its gain at 0 Hz.
    pub analog: f64,
    /// What the digital filter leaves at most within ±1 % of the frequency.
    pub digital: f64,
    /// Amplitude in the reading where the thermocouple is least sensitive, K, with the whole series pick-up on this line.
    pub kelvin: f64,
}

impl Model {
    /// Temperature (°C) and sensitivity (V/K) where the thermocouple is least sensitive, of 21 points over the hot range.
    pub fn least_sensitive(&self) -> (f64, f64) {
        let (low, high) = self.chain().need.hot;
        (0..=STEPS)
            .map(|i| {
                let t = low + (high - low) * f64::from(i) / f64::from(STEPS);
                (t, self.chain().probe.letter.emf_and_slope_extended(t).1)
            })
            .fold((low, f64::INFINITY), |least, at| if at.1 < least.1 { at } else { least })
    }

    /// Volts at the output that make the reading move by one kelvin, where they are fewest, V/K: the slope of a straight
    /// line, else gain times sensitivity.
    pub fn least_output_slope(&self) -> f64 {
        match self.chain().readout {
            Readout::Line { slope, .. } => slope.abs(),
            _ => (self.nominal_transfer().1 * self.least_sensitive().1).abs(),
        }
    }

    /// Amplitude of what the mains leaves in the reading, series and common mode at their worst together, where the
    /// reading is most easily moved, K; 0 for a static model.
    pub fn mains_kelvin(&self) -> f64 {
        self.dynamics().map_or(0.0, |d| (d.series_residual + d.common_residual) / self.least_output_slope())
    }

    /// Lines of the mains at these multiples of its frequency.
    ///
    /// # Errors
    /// [`CircuitError`] when the response can't be computed.
    pub fn mains_lines(&self, multiples: &[u32]) -> Result<Vec<MainsLine>, CircuitError> {
        let need = &self.chain().need;
        // Referred to the thermocouple: what a volt in series with it makes of the reading.
        let slope = self.least_output_slope() / self.nominal_transfer().1.abs();
        let hertz: Vec<f64> = multiples.iter().map(|m| f64::from(*m) * need.mains).collect();
        let digital = |hertz: f64| {
            (0..=STEPS)
                .map(|i| 1.0 + LINE_FREQUENCY_SPREAD * (2.0 * f64::from(i) / f64::from(STEPS) - 1.0))
                .map(|factor| magnitude(self.chain().filter, need.mains, hertz * factor))
                .fold(0.0, f64::max)
        };
        Ok(self
            .response(&hertz)?
            .into_iter()
            .map(|point| {
                let digital = digital(point.hertz);
                let kelvin = 2f64.sqrt() * need.series_pickup * point.analog * digital / slope;
                MainsLine { hertz: point.hertz, analog: point.analog, digital, kelvin }
            })
            .collect())
    }
}
