//! From volts to a temperature, as the firmware or the person at the voltmeter does it.
//!
//! The rule knows only the nominal chain: its nominal offset and gain, never the deviations of one board.
//!
//! **The exact inverse, fast.** Monte Carlo asks for it millions of times. A table of 1024 steps of emf carries
//! temperature and slope; a cubic between them is right to 1e-9 K, which is checked in the middle of every step when
//! the table is made. Where it is not (the slope of type N jumps at 0 °C), Newton's iteration polishes it. Outside the
//! table the reading goes on along the end chord, so it is never undefined, and the limits say that it can't be
//! trusted.

use std::sync::{Arc, Mutex};

use icepoint_sensors::{Letter, published_inverse};

use crate::chain::{Chain, Readout};
use crate::model::ModelError;

/// Steps of the table of the exact inverse.
const STEPS: usize = 1024;
/// Largest error of the cubic that is let pass, K.
const CUBIC_ERROR: f64 = 1e-9;
/// How far the table goes beyond the range asked, K; clipped to the range of the reference function.
const BEYOND: f64 = 60.0;
/// Change, K, after which Newton's iteration is as near as doubles tell: it squares its error.
const QUADRATIC: f64 = 1e-6;
/// Least sensitivity at which an inverse is worth anything, V/K.
const LEAST_SENSITIVITY: f64 = 1e-6;

/// Emf inverse over a range of temperature in which the reference function rises.
#[derive(Clone, Debug)]
pub(crate) struct EmfInverse {
    letter: Letter,
    low: f64,
    inverse_step: f64,
    /// Temperature at each knot, °C.
    celsius: Vec<f64>,
    /// Change of temperature over one step with the slope at its lower and upper knot, K.
    rise: Vec<(f64, f64)>,
    /// Whether the cubic of a step is not good enough by itself.
    polish: Vec<bool>,
}

impl EmfInverse {
    /// `steps` equal steps of emf from `low` to `high`, °C.
    pub fn new(letter: Letter, low: f64, high: f64, steps: usize) -> Result<Self, ModelError> {
        let ends = letter.emf(low).and_then(|a| Ok((a, letter.emf(high)?)));
        let (first, last) = ends.map_err(|e| ModelError::Range(e.to_string()))?;
        let step = (last - first) / steps as f64;
        let falls = (0..=steps).any(|i| {
            let t = low + (high - low) * i as f64 / steps as f64;
            letter.emf_and_slope_extended(t).1 <= 0.0
        });
        let mut celsius = Vec::with_capacity(steps + 1);
        let mut slopes = Vec::with_capacity(steps + 1);
        // Walk upward: each knot starts from the last and is polished by Newton.
        let mut t = low;
        for i in 0..=steps {
            t = newton(letter, first + step * i as f64, t);
            celsius.push(t);
            slopes.push(step / letter.emf_and_slope_extended(t).1);
        }
        let rises = celsius.windows(2).all(|w| w[1] > w[0]);
        if step.is_nan() || step <= 0.0 || falls || !rises {
            return Err(ModelError::Range(format!(
                "type {} doesn't rise all the way from {low} °C to {high} °C, so its inverse is ambiguous there",
                letter.name()
            )));
        }
        let rise = slopes.windows(2).map(|w| (w[0], w[1])).collect();
        let mut inverse =
            Self { letter, low: first, inverse_step: 1.0 / step, celsius, rise, polish: Vec::new() };
        let good = |i: usize| {
            let t = inverse.cubic(i, 0.5);
            (newton(letter, first + step * (i as f64 + 0.5), t) - t).abs() <= CUBIC_ERROR
        };
        inverse.polish = (0..steps).map(|i| !good(i)).collect();
        Ok(inverse)
    }

    /// Step that an emf falls into, and how far along it; beyond the ends the end steps go on.
    #[inline]
    fn place(&self, emf: f64) -> (usize, f64) {
        let x = (emf - self.low) * self.inverse_step;
        // `as` saturates, and NaN becomes 0: a wild value ends on an end step.
        let i = (x.max(0.0) as usize).min(self.rise.len() - 1);
        (i, x - i as f64)
    }

    #[inline]
    fn cubic(&self, i: usize, u: f64) -> f64 {
        let (a, b) = (self.celsius[i], self.celsius[i + 1]);
        let (p, q) = self.rise[i];
        let d = b - a;
        // Hermite: a + u·(d + (1 − u)·((1 − u)·(p − d) − u·(q − d)))
        let v = 1.0 - u;
        a + u * (d + v * (v * (p - d) - u * (q - d)))
    }

    /// Along the chords only: what a table with linear interpolation reads.
    #[inline]
    pub fn interpolated(&self, emf: f64) -> f64 {
        let (i, u) = self.place(emf);
        let (a, b) = (self.celsius[i], self.celsius[i + 1]);
        a + (b - a) * u
    }

    /// Exact to 1e-9 K inside the table's range.
    #[inline]
    pub fn exact(&self, emf: f64) -> f64 {
        let (i, u) = self.place(emf);
        if !(0.0..=1.0).contains(&u) {
            return self.interpolated(emf);
        }
        let t = self.cubic(i, u);
        if self.polish[i] { newton(self.letter, emf, t) } else { t }
    }
}

/// Tables kept: one for each chain that is likely to be at work at a time.
const KEPT: usize = 4;

/// The table of the exact inverse over a range in °C, made anew only if it was not asked for lately. A search looks at
/// hundreds of circuits over one range, and the table took longer to make than all else of such a model.
fn shared(letter: Letter, low: f64, high: f64) -> Result<Arc<EmfInverse>, ModelError> {
    type Table = ((Letter, u64, u64), Arc<EmfInverse>);
    static RECENT: Mutex<Vec<Table>> = Mutex::new(Vec::new());
    let key = (letter, low.to_bits(), high.to_bits());
    // Held while a table is made: threads that want the same one wait for it.
    let Ok(mut recent) = RECENT.lock() else {
        return Ok(Arc::new(EmfInverse::new(letter, low, high, STEPS)?));
    };
    if let Some((_, table)) = recent.iter().find(|(k, _)| *k == key) {
        return Ok(Arc::clone(table));
    }
    let table = Arc::new(EmfInverse::new(letter, low, high, STEPS)?);
    recent.insert(0, (key, Arc::clone(&table)));
    recent.truncate(KEPT);
    Ok(table)
}

/// Temperature of an emf near `start`, °C, in a range where the function rises.
fn newton(letter: Letter, emf: f64, start: f64) -> f64 {
    let mut t = start;
    for _ in 0..60 {
        let (e, s) = letter.emf_and_slope_extended(t);
        let change = ((emf - e) / s.max(LEAST_SENSITIVITY * 1e-3)).clamp(-50.0, 50.0);
        t += change;
        // The next change would be the square of this one times S′/2S, which is below 0.1 per kelvin.
        if change.abs() < QUADRATIC {
            break;
        }
    }
    t
}

/// The rule with its tables made.
#[derive(Clone, Debug)]
pub(crate) enum ReadingRule {
    Line { slope: f64, offset: f64 },
    Exact(Arc<EmfInverse>),
    Table(EmfInverse),
    Polynomial(Letter, Arc<EmfInverse>),
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
            shared(letter, low.min(hot_low), (hot_high + BEYOND).min(to))
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

#[cfg(test)]
mod tests {
    use super::*;

    /// Beyond the check in the middle of each step: the cubic's error elsewhere in a step is no more than some times that.
    const ALLOWED: f64 = 1e-8;

    /// Against the sensors' own inverse, which is checked against the published tables.
    #[test]
    fn fast_inverse_agrees_with_the_exact_one_on_all_types() {
        for letter in Letter::ALL {
            let (low, high) = letter.range();
            let low =
                letter.insensitive_below().unwrap_or(low).max(if letter == Letter::B { 60.0 } else { low });
            let inverse = EmfInverse::new(letter, low, high, STEPS).unwrap();
            let n = 20_011;
            let mut worst = 0.0f64;
            // The ends themselves may fall outside by a rounding.
            for i in 1..n {
                let t = low + (high - low) * f64::from(i) / f64::from(n);
                let emf = letter.emf(t).unwrap();
                worst = worst.max((inverse.exact(emf) - letter.temperature(emf).unwrap()).abs());
            }
            println!("type {}: {worst:.1e} K", letter.name());
            assert!(worst < ALLOWED, "type {}: {worst} K", letter.name());
        }
    }

    /// A reading that must be polished costs several times as much, so on the types of long ranges that must be rare.
    #[test]
    fn few_steps_are_polished() {
        const FEW: f64 = 0.25;
        let mut worst = 0;
        for letter in [Letter::E, Letter::J, Letter::K, Letter::N, Letter::T, Letter::S] {
            let (low, high) = letter.range();
            let inverse = EmfInverse::new(letter, low.max(-50.0), high, STEPS).unwrap();
            let polished = inverse.polish.iter().filter(|p| **p).count();
            println!("type {}: {polished} of {STEPS} steps", letter.name());
            worst = worst.max(polished);
        }
        assert!((worst as f64) < FEW * STEPS as f64, "{worst} steps");
    }

    #[test]
    fn beyond_the_table_it_goes_on_and_wild_values_do_not_panic() {
        let inverse = EmfInverse::new(Letter::K, 0.0, 500.0, STEPS).unwrap();
        assert!(inverse.exact(1.0) > 500.0 && inverse.exact(-1.0) < 0.0);
        assert!(inverse.exact(f64::NAN).is_nan());
        assert!(inverse.exact(f64::INFINITY).is_infinite());
    }

    #[test]
    fn an_ambiguous_range_is_refused() {
        assert!(EmfInverse::new(Letter::B, 0.0, 100.0, STEPS).is_err());
    }
}
