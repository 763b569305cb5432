//! What the lines of the mains leave in the reading, one by one, in kelvin.
//!
//! The fundamental as the user states it, the harmonics as the chain's content of harmonics says ([`crate::harmonics`]),
//! each through the analog circuit and the digital filter at three line frequencies and at the worst within ±1 %.
//!
//! **In kelvin** means the amplitude in the reading where it is most easily moved ([`Model::least_output_slope`]). Series
//! and common mode of one line add (same phase at worst); lines of different frequency add as the root of the sum of
//! squares.

use icepoint_circuit::CircuitError;

use crate::chain::Readout;
use crate::digital::{self, LINE_FREQUENCY_SPREAD};
use crate::dynamics::{MainsResidual, lines, mains_gains};
use crate::model::Model;

/// Points over the hot range at which the sensitivity is looked at.
const STEPS: u32 = 20;

/// A line of the mains and what it leaves.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MainsLine {
    /// Multiple of the mains frequency; 1 is the fundamental.
    pub multiple: u32,
    /// Nominal frequency, Hz.
    pub hertz: f64,
    /// Size in the pick-up over that of the fundamental.
    pub share: f64,
    /// |gain| of the analog circuit over its gain at 0 Hz.
    pub analog: f64,
    /// What the digital filter leaves with the line at its nominal frequency.
    pub digital_nominal: f64,
    /// What the digital filter leaves at most within ±1 % of the frequency.
    pub digital: f64,
    /// Amplitude in the reading with the mains 1 % low, nominal and 1 % high, K.
    pub at: [f64; 3],
    /// Amplitude in the reading at the worst frequency within ±1 %, K.
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

    /// Amplitude of what the mains leaves in the reading, series and common mode at their worst together and the
    /// harmonics as one sine of their power, where the reading is most easily moved, K; 0 for a static model.
    pub fn mains_kelvin(&self) -> f64 {
        self.dynamics().map_or(0.0, |d| self.residual_kelvin(&d.mains))
    }

    /// [`Model::mains_kelvin`] of a model that is static so far.
    ///
    /// # Errors
    /// [`CircuitError`] when the response can't be computed.
    pub fn mains_kelvin_alone(&self) -> Result<f64, CircuitError> {
        let mains = match self.mains_found().get() {
            Some(mains) => mains,
            None => {
                let mains = MainsResidual::new(self.chain(), self.wiring(), self.nominal_values())?;
                self.mains_found().get_or_init(|| mains)
            }
        };
        Ok(self.residual_kelvin(mains))
    }

    fn residual_kelvin(&self, mains: &MainsResidual) -> f64 {
        (mains.series_residual + mains.common_residual + mains.harmonic_residual) / self.least_output_slope()
    }

    /// The fundamental and every harmonic of the chain's pick-up, rising.
    ///
    /// # Errors
    /// [`CircuitError`] when the response can't be computed.
    pub fn mains_lines(&self) -> Result<Vec<MainsLine>, CircuitError> {
        let (chain, need) = (self.chain(), &self.chain().need);
        let slope = self.least_output_slope();
        let factors = [1.0 - LINE_FREQUENCY_SPREAD, 1.0, 1.0 + LINE_FREQUENCY_SPREAD];
        // Three frequencies for each line, then 0 Hz for the gain that the response is told against.
        let mut hertz: Vec<f64> = lines(chain)
            .flat_map(|(multiple, _)| factors.map(|factor| f64::from(multiple) * need.mains * factor))
            .collect();
        hertz.push(0.0);
        let (series, common) = mains_gains(chain, self.wiring(), self.nominal_values(), &hertz)?;
        let dc = series.last().copied().unwrap_or(1.0);
        let triples = hertz.chunks(3).zip(series.chunks(3)).zip(common.chunks(3));
        Ok(lines(chain)
            .zip(triples)
            .filter_map(|((multiple, share), ((hertz, series), common))| {
                let nominal = *hertz.get(1)?;
                let left = |at: usize, digital: f64| -> Option<f64> {
                    let volts = need.series_pickup * series.get(at)? + need.common_pickup * common.get(at)?;
                    Some(2f64.sqrt() * share * volts * digital / slope)
                };
                let digital_at = |hertz: f64| digital::magnitude(chain.filter, need.mains, hertz);
                let worst = digital::worst_around(chain.filter, need.mains, nominal);
                let at = [
                    left(0, digital_at(*hertz.first()?))?,
                    left(1, digital_at(nominal))?,
                    left(2, digital_at(*hertz.get(2)?))?,
                ];
                Some(MainsLine {
                    multiple,
                    hertz: nominal,
                    share,
                    analog: series.get(1)? / dc,
                    digital_nominal: digital_at(nominal),
                    digital: worst,
                    at,
                    kelvin: at.into_iter().fold(left(1, worst)?, f64::max),
                })
            })
            .collect())
    }
}
