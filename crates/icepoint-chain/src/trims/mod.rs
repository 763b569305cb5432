//! What is turned or stored on each finished board so that it reads right: adjustable resistors, or constants in the
//! firmware.

pub mod adjust;
pub mod constants;
pub mod insert;
pub mod report;
pub mod steps;

pub use adjust::{Adjusted, adjust};
pub use constants::Constants;
pub use insert::{Moves, NoPlace, insert, sold, tracks};
pub use report::{Reach, Report, Trim};
pub use steps::{Step, steps};

/// How a finished board is adjusted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Trims {
    /// By adjustable resistors of the circuit: designators of those that move zero and span. The zero is adjusted at the
    /// first point of the calibration plan, the span at the second.
    Resistors {
        /// What moves the zero.
        zero: Option<String>,
        /// What moves the span.
        span: Option<String>,
    },
    /// By constants in the firmware.
    Constants,
}

/// What is turned, in words: “RV1 (zero)”, or “the zero trim” where the chain names none.
pub fn called(trims: Option<&Trims>, moves: Moves) -> String {
    match trims.and_then(|trims| trims.designator(moves)) {
        Some(designator) => format!("{designator} ({})", moves.name()),
        None => format!("the {} trim", moves.name()),
    }
}

impl Trims {
    /// Designator of an adjustable resistor.
    pub fn designator(&self, moves: Moves) -> Option<&str> {
        match self {
            Self::Resistors { zero, span } => match moves {
                Moves::Zero => zero.as_deref(),
                Moves::Span => span.as_deref(),
            },
            Self::Constants => None,
        }
    }
}
