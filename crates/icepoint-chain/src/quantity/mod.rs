//! Quantities as people write them: `"4.7 kΩ"`, `"4k7"`, `"50 ppm/K"`, `"2.5 V ± 0.2 %"`, `"1100 °C"`, `"AWG 20"`.
//!
//! **Why.** Everything in a chain file is copied from a data sheet or a drawer, and a unit that was guessed is an
//! error of a thousand. So a number must carry its unit, and the unit must be of the kind that the place wants.
//! **In, out.** Text in, SI `f64` out (temperatures in °C, differences in K), and back by [`format()`].
//! **Rounding.** Decimal prefixes are applied to the text before it is converted, so `"100 nF"` is the double
//! nearest to 1e-7 and not a product that is one bit off.
//! **Left out.** Absolute kelvin: `"298 K"` where a temperature is wanted is refused, since the same letters are a
//! difference everywhere else. Decimal commas are refused with the spelling that works.
//!
//! | you have | you want | call |
//! |---|---|---|
//! | `"4k7"` | 4700.0 | [`parse`] |
//! | `"2.5 V ± 0.2 %"` | value and tolerance | [`parse_toleranced`] |
//! | `"±0.5 K"` or `"0.5 K"` | the limit, 0.5 | [`parse_limit`] |
//! | 4700.0 | `"4.7 kΩ"` | [`format()`] |
//!
//! Every accepted spelling is in [`spellings::ACCEPTED`], which is a test and the table of `docs/quantities.md`.
//!
//! ```
//! use icepoint_chain::quantity::{Unit, format, parse};
//! assert_eq!(parse("4k7", Unit::Ohm), Ok(4700.0));
//! assert_eq!(format(4700.0, Unit::Ohm, 3), "4.7 kΩ");
//! let wrong = parse("4,7 kΩ", Unit::Ohm).unwrap_err();
//! assert_eq!(wrong.help.as_deref(), Some("a decimal point: \"4.7 kΩ\""));
//! ```

mod number;
mod print;
pub(crate) mod read;
pub mod series;
pub mod spellings;
#[cfg(test)]
mod tests;
mod unit;

pub use print::{format, format_toleranced};
pub use read::{parse, parse_limit, parse_toleranced};
pub use series::Series;
pub use unit::Unit;

use serde::Serialize;
use std::ops::Range;

/// A value with the tolerance that was written beside it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Toleranced {
    /// The nominal value, SI.
    pub value: f64,
    /// The tolerance, if one was written.
    pub tolerance: Option<Tolerance>,
}

impl Toleranced {
    /// A value without a tolerance.
    pub const fn exact(value: f64) -> Self {
        Self { value, tolerance: None }
    }

    /// The half-width of the tolerance in the unit of the value; 0 without a tolerance.
    pub fn half_width(&self) -> f64 {
        match self.tolerance {
            None => 0.0,
            Some(Tolerance::Relative(ratio)) => ratio * self.value.abs(),
            Some(Tolerance::Absolute(width)) => width,
        }
    }

    /// The smallest value within the tolerance.
    pub fn low(&self) -> f64 {
        self.value - self.half_width()
    }

    /// The largest value within the tolerance.
    pub fn high(&self) -> f64 {
        self.value + self.half_width()
    }
}

/// A symmetric limit; never negative.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub enum Tolerance {
    /// A share of the value (0.01 is 1 %).
    Relative(f64),
    /// In the unit of the value.
    Absolute(f64),
}

/// Why a text is not a quantity of the kind wanted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct QuantityError {
    /// Stable code, for example `quantity.wrong_unit`.
    pub code: &'static str,
    /// The bytes of the text that are to blame.
    pub span: Range<usize>,
    /// What was found, in one sentence.
    pub message: String,
    /// A few words for the caret.
    pub label: Box<str>,
    /// What would have been accepted.
    pub expected: String,
    /// A spelling that works if typed.
    pub help: Option<String>,
}

impl std::fmt::Display for QuantityError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}; expected {}", self.message, self.expected)?;
        match &self.help {
            Some(help) => write!(f, " (try {help})"),
            None => Ok(()),
        }
    }
}

impl std::error::Error for QuantityError {}
