//! The letters of the standard: names, alloys and ranges.

use core::fmt;

/// A letter-designated thermocouple of IEC 60584-1:2013.
///
/// ```
/// use icepoint_sensors::Letter;
/// assert_eq!(Letter::parse("n"), Some(Letter::N));
/// assert_eq!(Letter::parse("type K"), Some(Letter::K));
/// assert_eq!(Letter::parse("X"), None);
/// assert_eq!(Letter::N.range(), (-270.0, 1300.0));
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Letter {
    /// Pt-30%Rh against Pt-6%Rh.
    B,
    /// Ni-Cr against Cu-Ni.
    E,
    /// Fe against Cu-Ni.
    J,
    /// Ni-Cr against Ni-Al.
    K,
    /// Ni-Cr-Si against Ni-Si.
    N,
    /// Pt-13%Rh against Pt.
    R,
    /// Pt-10%Rh against Pt.
    S,
    /// Cu against Cu-Ni.
    T,
    /// W-5%Re against W-26%Re.
    C,
    /// W-5%Re against W-20%Re.
    A,
}

impl Letter {
    /// All ten, in the order of the standard's tables with C and A last.
    pub const ALL: [Letter; 10] = [
        Letter::B,
        Letter::E,
        Letter::J,
        Letter::K,
        Letter::N,
        Letter::R,
        Letter::S,
        Letter::T,
        Letter::C,
        Letter::A,
    ];

    /// The letter itself.
    pub const fn name(self) -> &'static str {
        match self {
            Letter::B => "B",
            Letter::E => "E",
            Letter::J => "J",
            Letter::K => "K",
            Letter::N => "N",
            Letter::R => "R",
            Letter::S => "S",
            Letter::T => "T",
            Letter::C => "C",
            Letter::A => "A",
        }
    }

    /// Reads `K`, `k`, `type K` or `Type k`; anything else is `None`.
    pub fn parse(text: &str) -> Option<Letter> {
        let text = text.trim();
        let bare = match text.get(..4) {
            Some(word) if word.eq_ignore_ascii_case("type") => text.get(4..)?.trim_start(),
            _ => text,
        };
        Letter::ALL.into_iter().find(|letter| letter.name().eq_ignore_ascii_case(bare))
    }

    /// Alloys of the positive and of the negative leg, nominal composition by mass.
    pub const fn legs(self) -> (&'static str, &'static str) {
        match self {
            Letter::B => ("Pt-30%Rh", "Pt-6%Rh"),
            Letter::E => ("Ni-Cr", "Cu-Ni"),
            Letter::J => ("Fe", "Cu-Ni"),
            Letter::K => ("Ni-Cr", "Ni-Al"),
            Letter::N => ("Ni-Cr-Si", "Ni-Si"),
            Letter::R => ("Pt-13%Rh", "Pt"),
            Letter::S => ("Pt-10%Rh", "Pt"),
            Letter::T => ("Cu", "Cu-Ni"),
            Letter::C => ("W-5%Re", "W-26%Re"),
            Letter::A => ("W-5%Re", "W-20%Re"),
        }
    }

    /// Range of the reference function, lowest and highest temperature in °C (ITS-90).
    ///
    /// Type K runs to 1372 °C as in NIST Monograph 175; IEC 60584-1:2013 stops the same polynomial at 1300 °C.
    /// What a wire survives is another matter: [`crate::wire::upper_limit_celsius`].
    pub const fn range(self) -> (f64, f64) {
        match self {
            Letter::B => (0.0, 1820.0),
            Letter::E => (-270.0, 1000.0),
            Letter::J => (-210.0, 1200.0),
            Letter::K => (-270.0, 1372.0),
            Letter::N => (-270.0, 1300.0),
            Letter::R => (-50.0, 1768.1),
            Letter::S => (-50.0, 1768.1),
            Letter::T => (-270.0, 400.0),
            Letter::C => (0.0, 2315.0),
            Letter::A => (0.0, 2500.0),
        }
    }
}

impl fmt::Display for Letter {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// A text that is none of the ten letters.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct UnknownLetter;

impl fmt::Display for UnknownLetter {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("not a thermocouple type; the types are B, E, J, K, N, R, S, T, C and A")
    }
}

impl core::error::Error for UnknownLetter {}

impl core::str::FromStr for Letter {
    type Err = UnknownLetter;
    fn from_str(text: &str) -> Result<Letter, UnknownLetter> {
        Letter::parse(text).ok_or(UnknownLetter)
    }
}
