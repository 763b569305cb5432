//! From volts to a temperature, as the firmware or the person at the voltmeter does it.
//!
//! The rule knows only the nominal chain: its nominal offset and gain, never the deviations of one board. The exact
//! inverse is found by one Newton step from a table of 4096 chords, which leaves less than 1e-7 K (checked by a test);
//! outside the table's range it goes on along the end chord, so a reading is never undefined, and the limits say
//! that it can't be trusted.

use icepoint_sensors::{Letter, published_inverse};

use crate::chain::{Chain, Readout};
use crate::model::ModelError;

/// Chords of the starting table.
const CHORDS: usize = 4096;
/// How far the table goes beyond the range asked, K; clipped to the range of the reference function.
const BEYOND: f64 = 60.0;
/// Least sensitivity at which an inverse is worth anything, V/K.
const LEAST_SENSITIVITY: f64 = 1e-6;

/// Emf inverse over a range of temperature in which the reference function rises.
#[derive(Clone, Debug)]
pub(crate) struct EmfInverse {
    letter: Letter,
    low: f64,
    inverse_step: f64,
    celsius: Vec<f64>,
}

impl EmfInverse {
    /// `chords` equal steps of emf from `low` to `high`, °C.
    pub fn new(letter: Letter, low: f64, high: f64, chords: usize) -> Result<Self, ModelError> {
        let ends = letter.emf(low).and_then(|a| Ok((a, letter.emf(high)?)));
        let (first, last) = ends.map_err(|e| ModelError::Range(e.to_string()))?;
        let step = (last - first) / chords as f64;
        let mut celsius = Vec::with_capacity(chords + 1);
        // Walk upward: each knot starts from the last and is polished by Newton.
        let mut t = low;
        for i in 0..=chords {
            let target = first + step * i as f64;
            for _ in 0..60 {
                let (e, s) = letter.emf_and_slope_extended(t);
                let change = (target - e) / s.max(LEAST_SENSITIVITY * 1e-3);
                t += change.clamp(-50.0, 50.0);
                if change.abs() < 1e-11 {
                    break;
                }
            }
            celsius.push(t);
        }
        if !(step > 0.0) || celsius.windows(2).any(|w| !(w[1] > w[0])) {
            return Err(ModelError::Range(format!(
                "type {} doesn't rise all the way from {low} °C to {high} °C, so its inverse is ambiguous there",
                letter.name()
            )));
        }
        Ok(Self { letter, low: first, inverse_step: 1.0 / step, celsius })
    }

    /// The chord below an emf, and how far along it.
    #[inline]
    fn chord(&self, emf: f64) -> f64 {
        let x = (emf - self.low) * self.inverse_step;
        let last = self.celsius.len() - 2;
        // `as` saturates, and NaN becomes 0: a wild value ends on an end chord.
        let i = (x.max(0.0) as usize).min(last);
        let (a, b) = (self.celsius[i], self.celsius[i + 1]);
        a + (b - a) * (x - i as f64)
    }

    /// Along the chords only: what a table with linear interpolation reads.
    #[inline]
    pub fn interpolated(&self, emf: f64) -> f64 {
        self.chord(emf)
    }

    /// Exact to 1e-7 K inside the table's range.
    #[inline]
    pub fn exact(&self, emf: f64) -> f64 {
        let x = (emf - self.low) * self.inverse_step;
        let t = self.chord(emf);
        if x < 0.0 || x > (self.celsius.len() - 1) as f64 {
            return t;
        }
        let (e, s) = self.letter.emf_and_slope_extended(t);
        t + (emf - e) / s
    }
}

/// The rule with its tables made.
#[derive(Clone, Debug)]
pub(crate) enum ReadingRule {
    Line { slope: f64, offset: f64 },
    Exact(EmfInverse),
    Table(EmfInverse),
    Polynomial(Letter, EmfInverse),
}

impl ReadingRule {
    pub fn new(chain: &Chain) -> Result<Self, ModelError> {
        let letter = chain.probe.letter;
        let (from, to) = letter.range();
        let (hot_low, hot_high) = chain.need.hot;
        let wide = || {
            let mut low = (hot_low - BEYOND).max(from);
            // Never reach down to where the function turns or lies flat: stop where a kelvin is worth a microvolt.
            while low < hot_low && letter.emf_and_slope_extended(low).1 < LEAST_SENSITIVITY {
                low += 1.0;
            }
            EmfInverse::new(letter, low.min(hot_low), (hot_high + BEYOND).min(to), CHORDS)
        };
        Ok(match chain.readout {
            Readout::Line { slope, offset } => Self::Line { slope, offset },
            Readout::EmfInverse => Self::Exact(wide()?),
            Readout::Table { segments } => {
                Self::Table(EmfInverse::new(letter, hot_low, hot_high, segments.max(1) as usize)?)
            }
            Readout::PublishedPolynomial => Self::Polynomial(letter, wide()?),
        })
    }

    /// Whether the rule wants volts referred to the thermocouple, with the reference junction added.
    pub const fn adds_junction(&self) -> bool {
        !matches!(self, Self::Line { .. })
    }

    /// Temperature for the volts of a line, or for the sum of emfs of every other rule, °C.
    #[inline]
    pub fn celsius(&self, volts: f64) -> f64 {
        match self {
            Self::Line { slope, offset } => (volts - offset) / slope,
            Self::Exact(inverse) => inverse.exact(volts),
            Self::Table(inverse) => inverse.interpolated(volts),
            // Outside the printed range the polynomial says nothing; the chords there keep the reading continuous.
            Self::Polynomial(letter, inverse) => {
                published_inverse::temperature(*letter, volts).unwrap_or_else(|_| inverse.exact(volts))
            }
        }
    }
}
