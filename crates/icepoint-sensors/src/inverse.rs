//! Temperature from emf, exact to rounding, and honest where there is no single answer.
//!
//! **How.** Newton on the reference function itself, kept inside a bracket and halved when it would leave; the first
//! guess comes from the published approximate inverse where there is one. So the round trip closes, which no
//! published inverse does (they are off by up to 0.06 K).
//!
//! **Where there is no single answer.** Type B falls to −2.585 µV at 21.02 °C and is back at 0 V at 42.13 °C: an
//! emf between fits two temperatures. Below −268.47 °C (type K) and −264.50 °C (type N) the sensitivity is under
//! 1 µV/K and a temperature would be a figure of speech: an interval is given. Types E and T stay above 1 µV/K.

use core::fmt;

use crate::emf::within;
use crate::out_of_range::{OutOfRange, Quantity};
use crate::{Letter, published_inverse};

/// Where type B has its minimum, °C: root of the derivative of its coldest segment, computed with 40 digits.
pub const TYPE_B_MINIMUM_CELSIUS: f64 = 21.020_261_884_768_556;
/// Where type K falls under 1 µV/K, °C: computed with 40 digits from the derivative.
const TYPE_K_INSENSITIVE_BELOW: f64 = -268.471_743_408_899_4;
/// Where type N falls under 1 µV/K, °C: computed with 40 digits from the derivative.
const TYPE_N_INSENSITIVE_BELOW: f64 = -264.503_281_322_779_6;
/// An emf beyond the end of the range by less than this, V, is rounding of a sum of two emfs, not an overrange.
const ROUNDING_VOLTS: f64 = 2e-15;
/// A Newton step this small, K, leaves an error of its square times the relative curvature: below 1e-14 K.
const LAST_STEP: f64 = 1e-7;
/// Halving alone would need 60 steps from the widest bracket to neighbouring numbers.
const MOST_STEPS: usize = 100;

/// The temperatures that give an emf.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Inverse {
    /// One temperature, °C.
    One(f64),
    /// Two temperatures, °C (type B at or below 0 V).
    Two {
        /// The one below the minimum of the curve.
        cold: f64,
        /// The one above it.
        warm: f64,
    },
    /// Some temperature between these, °C, where the sensitivity is under 1 µV/K (types K and N near −270 °C).
    Insensitive {
        /// Lowest temperature of the range.
        low: f64,
        /// Where the sensitivity reaches 1 µV/K.
        high: f64,
    },
    /// No temperature within the range of the reference function; the interval of emf in V that has one.
    Outside(OutOfRange),
}

impl Inverse {
    /// The one temperature in °C.
    ///
    /// # Errors
    /// [`InverseError`] when there are two, only an interval, or none.
    #[inline]
    pub fn unambiguous(self) -> Result<f64, InverseError> {
        match self {
            Inverse::One(celsius) => Ok(celsius),
            Inverse::Two { cold, warm } => Err(InverseError::Ambiguous { cold, warm }),
            Inverse::Insensitive { low, high } => Err(InverseError::Insensitive { low, high }),
            Inverse::Outside(error) => Err(InverseError::Outside(error)),
        }
    }

    /// The temperature in °C, the warmer one where there are two (a type B junction that is known to be hot).
    ///
    /// # Errors
    /// [`InverseError`] when there is only an interval, or none.
    #[inline]
    pub fn warmer(self) -> Result<f64, InverseError> {
        match self {
            Inverse::Two { warm, .. } => Ok(warm),
            other => other.unambiguous(),
        }
    }
}

/// Why an emf does not tell one temperature.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum InverseError {
    /// Two temperatures in °C give this emf.
    Ambiguous {
        /// The one below the minimum of the curve.
        cold: f64,
        /// The one above it.
        warm: f64,
    },
    /// The sensitivity is under 1 µV/K: some temperature between these, °C.
    Insensitive {
        /// Lowest temperature of the range.
        low: f64,
        /// Where the sensitivity reaches 1 µV/K.
        high: f64,
    },
    /// No temperature of the reference function gives this emf, or the reference junction is outside its range.
    Outside(OutOfRange),
}

impl fmt::Display for InverseError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            InverseError::Ambiguous { cold, warm } => {
                write!(f, "two temperatures give this emf: {cold:.2} °C and {warm:.2} °C")
            }
            InverseError::Insensitive { low, high } => write!(
                f,
                "somewhere between −{:.2} °C and −{:.2} °C: the sensitivity there is under 1 µV/K",
                low.abs(),
                high.abs()
            ),
            InverseError::Outside(error) => error.fmt(f),
        }
    }
}

impl core::error::Error for InverseError {}

impl From<OutOfRange> for InverseError {
    fn from(error: OutOfRange) -> InverseError {
        InverseError::Outside(error)
    }
}

/// Solves E(t) = volts for t between `low` and `high` where E rises (or falls, for `rising` = false).
#[inline]
fn solve(letter: Letter, volts: f64, (mut low, mut high): (f64, f64), guess: f64, rising: bool) -> f64 {
    let mut t = if guess > low && guess < high { guess } else { 0.5 * (low + high) };
    for _ in 0..MOST_STEPS {
        let (emf, slope) = within(letter, t);
        let excess = emf - volts;
        if excess == 0.0 {
            return t;
        }
        if (excess > 0.0) == rising {
            high = t;
        } else {
            low = t;
        }
        let step = excess / slope;
        let next = t - step;
        // Also taken when the slope is zero: the step is then infinite or not a number.
        if !(next >= low && next <= high) {
            let middle = 0.5 * (low + high);
            if middle <= low || middle >= high {
                return t;
            }
            t = middle;
        } else if step.abs() <= LAST_STEP {
            return next;
        } else {
            t = next;
        }
    }
    t
}

impl Letter {
    /// Below this temperature in °C the sensitivity is under 1 µV/K all the way to the end of the range, and an emf
    /// gives an interval instead of a temperature. `None` for types that keep more (all but K and N; type B is slow
    /// near room temperature instead, where the emf still tells the temperature but 1 µV is more than a kelvin).
    pub const fn insensitive_below(self) -> Option<f64> {
        match self {
            Letter::K => Some(TYPE_K_INSENSITIVE_BELOW),
            Letter::N => Some(TYPE_N_INSENSITIVE_BELOW),
            _ => None,
        }
    }

    /// Least and largest emf in V that the reference function reaches within its range.
    pub fn emf_range(self) -> (f64, f64) {
        let (low, high) = self.range();
        let coldest = if matches!(self, Letter::B) { TYPE_B_MINIMUM_CELSIUS } else { low };
        (within(self, coldest).0, within(self, high).0)
    }

    /// Every temperature that gives `volts` (V, reference junction at 0 °C).
    ///
    /// # Accuracy
    /// The round trip `inverse(emf(t))` closes within 1e-10 K wherever the sensitivity is above 1 µV/K
    /// (`tests/accuracy.rs`, walked in steps that hit both sides of every join). An emf beyond an end of the range by
    /// less than 2e-15 V counts as the end.
    ///
    /// ```
    /// use icepoint_sensors::{Inverse, Letter};
    /// match Letter::B.inverse(-1.5e-6) {
    ///     Inverse::Two { cold, warm } => assert!(cold < 21.02 && warm > 21.02),
    ///     other => panic!("{other:?}"),
    /// }
    /// assert!(matches!(Letter::K.inverse(-6.4575e-3), Inverse::Insensitive { .. }));
    /// assert!(matches!(Letter::K.inverse(1.0), Inverse::Outside(_)));
    /// ```
    #[inline]
    pub fn inverse(self, volts: f64) -> Inverse {
        if volts == 0.0 && !matches!(self, Letter::B) {
            // Newton would end at 1e-28 °C: as true, and ugly to read.
            return Inverse::One(0.0);
        }
        if let Some(range) = published_inverse::range_for(self, volts) {
            // The emf at 0 °C is exactly 0 V, so its sign tells the side: no step of Newton crosses the slope step there.
            let (low, high) = self.range();
            let bracket = if volts <= 0.0 { (low, if low < 0.0 { 0.0 } else { high }) } else { (0.0, high) };
            // The printed upper ends are rounded, some upwards: the last stretch is checked against the function's own
            // end. The lower ends are all printed inside the range.
            if volts < self.just_under_hottest() {
                return Inverse::One(solve(self, volts, bracket, range.evaluate(volts), true));
            }
        }
        self.inverse_anywhere(volts)
    }

    /// A round figure just under the largest emf, V: below it no check against the end is needed.
    #[inline]
    const fn just_under_hottest(self) -> f64 {
        match self {
            Letter::B => 13.8e-3,
            Letter::E => 76.3e-3,
            Letter::J => 69.5e-3,
            Letter::K => 54.8e-3,
            Letter::N => 47.5e-3,
            Letter::R => 21.1e-3,
            Letter::S => 18.6e-3,
            Letter::T => 20.8e-3,
            Letter::C => 37.0e-3,
            Letter::A => 33.6e-3,
        }
    }

    /// The rare cases: near the ends, type B near 0 V, type C, outside, not a number.
    fn inverse_anywhere(self, volts: f64) -> Inverse {
        let (least, largest) = self.emf_range();
        if !(volts >= least - ROUNDING_VOLTS && volts <= largest + ROUNDING_VOLTS) {
            return Inverse::Outside(OutOfRange {
                quantity: Quantity::Volts,
                value: volts,
                low: least,
                high: largest,
            });
        }
        let (low, high) = self.range();
        if volts >= largest {
            return Inverse::One(high);
        }
        if matches!(self, Letter::B) && volts <= 0.0 {
            let bottom = TYPE_B_MINIMUM_CELSIUS;
            if volts <= least {
                return Inverse::Two { cold: bottom, warm: bottom };
            }
            return Inverse::Two {
                cold: solve(self, volts, (low, bottom), low, false),
                warm: solve(self, volts, (bottom, 2.0 * bottom + 1.0), 2.0 * bottom, true),
            };
        }
        if let Some(edge) = self.insensitive_below()
            && volts < within(self, edge).0
        {
            return Inverse::Insensitive { low, high: edge };
        }
        if volts <= least {
            return Inverse::One(low);
        }
        let bracket = match self {
            Letter::B => (2.0 * TYPE_B_MINIMUM_CELSIUS, high),
            _ if volts <= 0.0 && low < 0.0 => (low, 0.0),
            _ => (if low < 0.0 { 0.0 } else { low }, high),
        };
        // A straight line between the ends is guess enough: Newton needs a step or two more.
        let (cold, hot) = (within(self, bracket.0).0, within(self, bracket.1).0);
        let guess = bracket.0 + (volts - cold) / (hot - cold) * (bracket.1 - bracket.0);
        Inverse::One(solve(self, volts, bracket, guess, true))
    }

    /// The temperature in °C for `volts` (V, reference junction at 0 °C).
    ///
    /// # Errors
    /// [`InverseError`] when there are two, only an interval, or none.
    #[inline]
    pub fn temperature(self, volts: f64) -> Result<f64, InverseError> {
        self.inverse(volts).unambiguous()
    }

    /// The temperature in °C of the measuring junction from the voltage at the terminals (V) and the temperature of
    /// the reference junction (°C); the sum is done in volts.
    ///
    /// # Errors
    /// [`InverseError`] as [`Letter::temperature`], also for a reference junction outside [`Letter::range`].
    ///
    /// ```
    /// use icepoint_sensors::Letter;
    /// let volts = Letter::K.terminal_volts(650.0, 22.0)?;
    /// assert!((Letter::K.temperature_at(volts, 22.0)? - 650.0).abs() < 1e-9);
    /// # Ok::<(), Box<dyn core::error::Error>>(())
    /// ```
    #[inline]
    pub fn temperature_at(self, terminal_volts: f64, reference_celsius: f64) -> Result<f64, InverseError> {
        self.temperature(terminal_volts + self.emf(reference_celsius)?)
    }
}
