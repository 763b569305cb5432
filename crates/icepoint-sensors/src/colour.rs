//! Colours of thermocouple and extension cables, so that a drawing and a bench sheet can say which core is which.
//!
//! **Beware.** The two standards contradict each other: red is the *negative* core of ASTM E230, and the negative core
//! of IEC 60584-3 is white, which is the *positive* core of type J in ASTM E230.
//!
//! **Source.** IEC 60584-3:2007 (reference pages; the blue jacket of intrinsically safe circuits from memory); ASTM
//! E230 / ANSI MC96.1 (conductors: reference pages; extension jackets of K N R S from memory). No figure for types C
//! and A.

use crate::Letter;

/// Colours of one cable.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Colours {
    /// Positive core.
    pub positive: &'static str,
    /// Negative core.
    pub negative: &'static str,
    /// Jacket of extension cable.
    pub jacket: &'static str,
}

/// Jacket of cables in intrinsically safe circuits, IEC 60584-3 (from memory).
pub const INTRINSICALLY_SAFE_JACKET: &str = "blue";
/// Overall jacket of thermocouple-grade (not extension) cable, ASTM E230.
pub const ASTM_THERMOCOUPLE_GRADE_JACKET: &str = "brown";

const fn colours(positive: &'static str, negative: &'static str, jacket: &'static str) -> Colours {
    Colours { positive, negative, jacket }
}

/// Colours to IEC 60584-3; `None` for types C and A.
///
/// ```
/// use icepoint_sensors::{Letter, colour};
/// assert_eq!(colour::iec(Letter::N).map(|c| c.positive), Some("pink"));
/// ```
pub fn iec(letter: Letter) -> Option<Colours> {
    ROWS.iter().find(|row| row.0 == letter).map(|row| row.1)
}

/// Colours to ASTM E230 (jacket of extension grade); `None` for types C and A.
pub fn astm(letter: Letter) -> Option<Colours> {
    ROWS.iter().find(|row| row.0 == letter).map(|row| row.2)
}

static ROWS: &[(Letter, Colours, Colours)] = &[
    (Letter::T, colours("brown", "white", "brown"), colours("blue", "red", "blue")),
    (Letter::E, colours("violet", "white", "violet"), colours("purple", "red", "purple")),
    (Letter::J, colours("black", "white", "black"), colours("white", "red", "black")),
    (Letter::K, colours("green", "white", "green"), colours("yellow", "red", "yellow")),
    (Letter::N, colours("pink", "white", "pink"), colours("orange", "red", "orange")),
    (Letter::R, colours("orange", "white", "orange"), colours("black", "red", "green")),
    (Letter::S, colours("orange", "white", "orange"), colours("black", "red", "green")),
    (Letter::B, colours("grey", "white", "grey"), colours("grey", "red", "grey")),
];
