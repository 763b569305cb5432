//! Tolerance classes of thermocouples: how far a new one may be from the reference function.
//!
//! **In, out.** Temperature of the measuring junction in °C in, limit in K out (the tolerance is ± that).
//!
//! **What it is.** A limit for wire as delivered, at every temperature of the row's range. A wire that is off by its
//! limit is off by it everywhere in the same direction or nearly so: one deviation scales the whole limit, it does
//! not vary independently from point to point. Drift in use is another matter and not here.
//!
//! **Source.** IEC 60584-1:2013 (same figures as IEC 60584-2:1982 with Amendment 1:1989 for T E J K N R S B); the
//! rows of types C and A from memory. ASTM E230/E230M, initial calibration tolerances; the sub-zero rows apply only
//! when ordered, and the sub-zero special limits are suggestions of that standard. Percentages apply to °C.

use core::fmt;

use crate::Letter;
use crate::out_of_range::{OutOfRange, Quantity};
use Limit::{Fixed, From, Larger};
use ToleranceClass::{AstmSpecial, AstmStandard, Iec1, Iec2, Iec3};

/// A tolerance class of a standard.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum ToleranceClass {
    /// IEC 60584-1 class 1, the tightest.
    Iec1,
    /// IEC 60584-1 class 2, the usual one.
    Iec2,
    /// IEC 60584-1 class 3, for use below 0 °C (and for type B).
    Iec3,
    /// ASTM E230 standard limits.
    AstmStandard,
    /// ASTM E230 special limits.
    AstmSpecial,
}

impl ToleranceClass {
    /// All five.
    pub const ALL: [ToleranceClass; 5] = [Iec1, Iec2, Iec3, AstmStandard, AstmSpecial];

    /// The name that [`ToleranceClass::parse`] reads and people write, such as `IEC 60584-1 class 2`.
    pub const fn name(self) -> &'static str {
        match self {
            Iec1 => "IEC 60584-1 class 1",
            Iec2 => "IEC 60584-1 class 2",
            Iec3 => "IEC 60584-1 class 3",
            AstmStandard => "ASTM E230 standard",
            AstmSpecial => "ASTM E230 special",
        }
    }

    /// Reads a class: the full name, or with the standard's number left out (`IEC class 1`, `ASTM special`), or the
    /// grade alone (`class 1`, `special`). Case and spacing don't matter.
    ///
    /// ```
    /// use icepoint_sensors::tolerance::ToleranceClass;
    /// assert_eq!(ToleranceClass::parse("IEC 60584-1 class 1"), Some(ToleranceClass::Iec1));
    /// assert_eq!(ToleranceClass::parse("astm e230  special"), Some(ToleranceClass::AstmSpecial));
    /// assert_eq!(ToleranceClass::parse("class 2"), Some(ToleranceClass::Iec2));
    /// assert_eq!(ToleranceClass::parse("ASTM class 1"), None);
    /// ```
    pub fn parse(text: &str) -> Option<ToleranceClass> {
        ToleranceClass::ALL.into_iter().find(|class| {
            let words = || class.name().split_ascii_whitespace();
            // From the full name, from the name without the number, from the grade alone.
            let without_number = words().take(1).chain(words().skip(2));
            let grade = words().skip(2);
            same_words(text, words()) || same_words(text, without_number) || same_words(text, grade)
        })
    }
}

fn same_words<'a>(text: &str, mut expected: impl Iterator<Item = &'a str>) -> bool {
    let mut found = text.split_ascii_whitespace();
    loop {
        match (found.next(), expected.next()) {
            (None, None) => return true,
            (Some(a), Some(b)) if a.eq_ignore_ascii_case(b) => {}
            _ => return false,
        }
    }
}

impl fmt::Display for ToleranceClass {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// How a limit in K follows from the temperature t of the measuring junction in °C.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Limit {
    /// The same everywhere.
    Fixed(f64),
    /// The larger of `fixed` (K) and `per_degree`·|t|.
    Larger {
        /// K.
        fixed: f64,
        /// K per °C of distance from 0 °C.
        per_degree: f64,
    },
    /// `fixed` + `per_degree`·(t − `at`), for t from `at` upwards.
    From {
        /// °C where the line starts.
        at: f64,
        /// K at the start.
        fixed: f64,
        /// K per K.
        per_degree: f64,
    },
}

impl Limit {
    /// The limit in K at `celsius` (°C), whether the row reaches there or not.
    pub fn at(self, celsius: f64) -> f64 {
        match self {
            Fixed(fixed) => fixed,
            Larger { fixed, per_degree } => {
                let share = per_degree * celsius.abs();
                if share > fixed { share } else { fixed }
            }
            From { at, fixed, per_degree } => fixed + per_degree * (celsius - at),
        }
    }
}

/// One line of a standard's table.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Row {
    /// The thermocouple.
    pub letter: Letter,
    /// The class.
    pub class: ToleranceClass,
    /// Lowest and highest temperature that the line covers, °C.
    pub celsius: (f64, f64),
    /// The limit.
    pub limit: Limit,
}

const fn row(letter: Letter, class: ToleranceClass, celsius: (f64, f64), limit: Limit) -> Row {
    Row { letter, class, celsius, limit }
}

/// Why there is no limit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum ToleranceError {
    /// The standard has no such class for this type.
    NotDefined {
        /// The thermocouple.
        letter: Letter,
        /// The class asked for.
        class: ToleranceClass,
    },
    /// The class exists but does not reach this temperature.
    Outside {
        /// The thermocouple.
        letter: Letter,
        /// The class asked for.
        class: ToleranceClass,
        /// The temperature and the range of the class.
        range: OutOfRange,
    },
}

impl fmt::Display for ToleranceError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            ToleranceError::NotDefined { letter, class } => {
                write!(f, "{class} is not defined for type {letter}; it has")?;
                let mut others = ToleranceClass::ALL.into_iter().filter(|c| range(*letter, *c).is_some());
                match others.next() {
                    Some(first) => write!(f, " {first}")?,
                    None => f.write_str(" no class")?,
                }
                others.try_for_each(|class| write!(f, ", {class}"))
            }
            ToleranceError::Outside { letter, class, range } => {
                write!(f, "{class} of type {letter} does not reach there: {range}")
            }
        }
    }
}

impl core::error::Error for ToleranceError {}

/// All lines of both standards, in the order of their tables.
pub fn rows() -> &'static [Row] {
    &ROWS
}

/// Range of a class for a letter in °C, over all its lines, or `None` where the standard has no such class.
pub fn range(letter: Letter, class: ToleranceClass) -> Option<(f64, f64)> {
    let lines = ROWS.iter().filter(|row| row.letter == letter && row.class == class);
    lines.map(|row| row.celsius).reduce(|a, b| (a.0.min(b.0), a.1.max(b.1)))
}

/// The limit in K at `celsius` (°C, temperature of the measuring junction).
///
/// # Errors
/// [`ToleranceError`] where the standard defines no limit; also for a temperature that is not a number.
///
/// ```
/// use icepoint_sensors::{Letter, tolerance::{ToleranceClass, limit}};
/// assert_eq!(limit(Letter::K, ToleranceClass::Iec1, 1000.0), Ok(4.0));
/// assert!(limit(Letter::K, ToleranceClass::Iec1, 1100.0).is_err()); // class 1 ends at 1000 °C
/// ```
pub fn limit(letter: Letter, class: ToleranceClass, celsius: f64) -> Result<f64, ToleranceError> {
    let Some(whole) = range(letter, class) else {
        return Err(ToleranceError::NotDefined { letter, class });
    };
    ROWS.iter()
        .filter(|row| row.letter == letter && row.class == class)
        .find(|row| celsius >= row.celsius.0 && celsius <= row.celsius.1)
        .map(|row| row.limit.at(celsius))
        .ok_or(ToleranceError::Outside {
            letter,
            class,
            range: OutOfRange { quantity: Quantity::Celsius, value: celsius, low: whole.0, high: whole.1 },
        })
}

static ROWS: [Row; 46] = [
    row(Letter::T, Iec1, (-40.0, 350.0), Larger { fixed: 0.5, per_degree: 0.004 }),
    row(Letter::T, Iec2, (-40.0, 350.0), Larger { fixed: 1.0, per_degree: 0.0075 }),
    row(Letter::T, Iec3, (-200.0, 40.0), Larger { fixed: 1.0, per_degree: 0.015 }),
    row(Letter::E, Iec1, (-40.0, 800.0), Larger { fixed: 1.5, per_degree: 0.004 }),
    row(Letter::E, Iec2, (-40.0, 900.0), Larger { fixed: 2.5, per_degree: 0.0075 }),
    row(Letter::E, Iec3, (-200.0, 40.0), Larger { fixed: 2.5, per_degree: 0.015 }),
    row(Letter::J, Iec1, (-40.0, 750.0), Larger { fixed: 1.5, per_degree: 0.004 }),
    row(Letter::J, Iec2, (-40.0, 750.0), Larger { fixed: 2.5, per_degree: 0.0075 }),
    row(Letter::K, Iec1, (-40.0, 1000.0), Larger { fixed: 1.5, per_degree: 0.004 }),
    row(Letter::K, Iec2, (-40.0, 1200.0), Larger { fixed: 2.5, per_degree: 0.0075 }),
    row(Letter::K, Iec3, (-200.0, 40.0), Larger { fixed: 2.5, per_degree: 0.015 }),
    row(Letter::N, Iec1, (-40.0, 1000.0), Larger { fixed: 1.5, per_degree: 0.004 }),
    row(Letter::N, Iec2, (-40.0, 1200.0), Larger { fixed: 2.5, per_degree: 0.0075 }),
    row(Letter::N, Iec3, (-200.0, 40.0), Larger { fixed: 2.5, per_degree: 0.015 }),
    row(Letter::R, Iec1, (0.0, 1100.0), Fixed(1.0)),
    row(Letter::R, Iec1, (1100.0, 1600.0), From { at: 1100.0, fixed: 1.0, per_degree: 0.003 }),
    row(Letter::R, Iec2, (0.0, 1600.0), Larger { fixed: 1.5, per_degree: 0.0025 }),
    row(Letter::S, Iec1, (0.0, 1100.0), Fixed(1.0)),
    row(Letter::S, Iec1, (1100.0, 1600.0), From { at: 1100.0, fixed: 1.0, per_degree: 0.003 }),
    row(Letter::S, Iec2, (0.0, 1600.0), Larger { fixed: 1.5, per_degree: 0.0025 }),
    row(Letter::B, Iec2, (600.0, 1700.0), Larger { fixed: 1.5, per_degree: 0.0025 }),
    row(Letter::B, Iec3, (600.0, 1700.0), Larger { fixed: 4.0, per_degree: 0.005 }),
    row(Letter::C, Iec2, (426.0, 2315.0), Larger { fixed: 0.0, per_degree: 0.01 }), // from memory
    row(Letter::A, Iec2, (1000.0, 2500.0), Larger { fixed: 0.0, per_degree: 0.01 }), // from memory
    row(Letter::T, AstmStandard, (0.0, 370.0), Larger { fixed: 1.0, per_degree: 0.0075 }),
    row(Letter::T, AstmSpecial, (0.0, 370.0), Larger { fixed: 0.5, per_degree: 0.004 }),
    row(Letter::J, AstmStandard, (0.0, 760.0), Larger { fixed: 2.2, per_degree: 0.0075 }),
    row(Letter::J, AstmSpecial, (0.0, 760.0), Larger { fixed: 1.1, per_degree: 0.004 }),
    row(Letter::E, AstmStandard, (0.0, 870.0), Larger { fixed: 1.7, per_degree: 0.005 }),
    row(Letter::E, AstmSpecial, (0.0, 870.0), Larger { fixed: 1.0, per_degree: 0.004 }),
    row(Letter::K, AstmStandard, (0.0, 1260.0), Larger { fixed: 2.2, per_degree: 0.0075 }),
    row(Letter::K, AstmSpecial, (0.0, 1260.0), Larger { fixed: 1.1, per_degree: 0.004 }),
    row(Letter::N, AstmStandard, (0.0, 1260.0), Larger { fixed: 2.2, per_degree: 0.0075 }),
    row(Letter::N, AstmSpecial, (0.0, 1260.0), Larger { fixed: 1.1, per_degree: 0.004 }),
    row(Letter::R, AstmStandard, (0.0, 1480.0), Larger { fixed: 1.5, per_degree: 0.0025 }),
    row(Letter::R, AstmSpecial, (0.0, 1480.0), Larger { fixed: 0.6, per_degree: 0.001 }),
    row(Letter::S, AstmStandard, (0.0, 1480.0), Larger { fixed: 1.5, per_degree: 0.0025 }),
    row(Letter::S, AstmSpecial, (0.0, 1480.0), Larger { fixed: 0.6, per_degree: 0.001 }),
    row(Letter::B, AstmStandard, (870.0, 1700.0), Larger { fixed: 0.0, per_degree: 0.005 }),
    row(Letter::B, AstmSpecial, (870.0, 1700.0), Larger { fixed: 0.0, per_degree: 0.0025 }),
    row(Letter::C, AstmStandard, (0.0, 2315.0), Larger { fixed: 4.4, per_degree: 0.01 }),
    row(Letter::T, AstmStandard, (-200.0, 0.0), Larger { fixed: 1.0, per_degree: 0.015 }),
    row(Letter::E, AstmStandard, (-200.0, 0.0), Larger { fixed: 1.7, per_degree: 0.01 }),
    row(Letter::K, AstmStandard, (-200.0, 0.0), Larger { fixed: 2.2, per_degree: 0.02 }),
    row(Letter::E, AstmSpecial, (-200.0, 0.0), Larger { fixed: 1.0, per_degree: 0.005 }),
    row(Letter::T, AstmSpecial, (-200.0, 0.0), Larger { fixed: 0.5, per_degree: 0.008 }),
];
