//! Extension and compensating cables: how far one may be from the thermocouple it continues.
//!
//! **Why it matters.** A cable's error is a voltage made between its two end temperatures. It adds to the signal, so
//! in kelvins it is that voltage over the sensitivity at the *measuring junction*: a compensating cable for type R
//! that may be off by 60 µV is 5 K off at 1000 °C and worse when colder.
//!
//! **In, out.** A cable by name and class in; limit in V out (±), with the range of the cable's own temperature.
//!
//! **Source.** IEC 60584-3:2007 (and :2021): ranges, measuring-junction temperatures and K from reference pages; the
//! microvolts other than JX from memory, each consistent with K times the sensitivity at the stated junction
//! temperature (`tests/published/cables.rs`). ASTM E230/E230M for its extension wires; the lower limit of TX from
//! memory. Its CX row is left out: the only print seen is not credible.

use core::fmt;

use crate::Letter;
use crate::out_of_range::OutOfRange;

/// Made of the thermocouple's own alloys, or of cheaper ones that match over a small range.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Kind {
    /// The alloys of the thermocouple.
    Extension,
    /// Other alloys that give nearly the same emf.
    Compensating,
}

/// A limit of IEC 60584-3: the voltage is the tolerance, the kelvins follow at the stated measuring junction.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Deviation {
    /// ± µV.
    pub microvolts: f64,
    /// ± K at [`IecCable::measuring_junction_celsius`].
    pub kelvin: f64,
}

/// A row of the tolerance table of IEC 60584-3.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct IecCable {
    /// Designation, such as `KCA`.
    pub name: &'static str,
    /// The thermocouple it continues.
    pub letter: Letter,
    /// Extension or compensating.
    pub kind: Kind,
    /// Class 1, for extension cables only.
    pub class_1: Option<Deviation>,
    /// Class 2.
    pub class_2: Deviation,
    /// Lowest and highest temperature of the cable, °C.
    pub celsius: (f64, f64),
    /// Temperature of the measuring junction that the kelvins are stated for, °C.
    pub measuring_junction_celsius: f64,
}

/// A row of the extension wire table of ASTM E230.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AstmCable {
    /// Designation, such as `KX`.
    pub name: &'static str,
    /// The thermocouple it continues.
    pub letter: Letter,
    /// Extension or compensating.
    pub kind: Kind,
    /// Standard limit, ± K.
    pub standard_kelvin: f64,
    /// Special limit, ± K, where there is one.
    pub special_kelvin: Option<f64>,
    /// Lowest and highest temperature of the cable, °C.
    pub celsius: (f64, f64),
}

impl AstmCable {
    /// The sensitivity that turns the printed kelvins into volts, V/K.
    ///
    /// Extension wire: the mean over the cable's range. Compensating wire, whose limit is stated for a hot measuring
    /// junction: the sensitivity at 1000 °C (the standard says above 870 °C for R and S and above 1000 °C for B, from
    /// memory). Our choice, good to some 5 %.
    pub fn volts_per_kelvin(&self) -> f64 {
        match self.kind {
            Kind::Extension => {
                let emf = |celsius| self.letter.emf_and_slope_extended(celsius).0;
                (emf(self.celsius.1) - emf(self.celsius.0)) / (self.celsius.1 - self.celsius.0)
            }
            Kind::Compensating => self.letter.emf_and_slope_extended(1000.0).1,
        }
    }
}

/// All rows of IEC 60584-3.
pub fn iec_rows() -> &'static [IecCable] {
    IEC
}

/// All rows of ASTM E230.
pub fn astm_rows() -> &'static [AstmCable] {
    ASTM
}

/// A cable with its tolerance class: what a user writes, such as `NX class 1` or `ASTM E230 KX special`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Cable {
    /// IEC 60584-3 class 1.
    Iec1(&'static IecCable),
    /// IEC 60584-3 class 2.
    Iec2(&'static IecCable),
    /// ASTM E230 standard limits.
    AstmStandard(&'static AstmCable),
    /// ASTM E230 special limits.
    AstmSpecial(&'static AstmCable),
}

/// Why a text names no cable.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CableError {
    /// No such designation in IEC 60584-3 or, for `standard` and `special`, in ASTM E230.
    UnknownCable,
    /// The designation is known, the class after it is not one of `class 1`, `class 2`, `standard`, `special`.
    UnknownClass,
    /// The standard has no such class for this cable (compensating cables have no class 1 and no special limits).
    NotDefined,
}

impl fmt::Display for CableError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            CableError::UnknownCable => {
                f.write_str("not an extension or compensating cable; IEC 60584-3 has")?;
                IEC.iter().try_for_each(|row| write!(f, " {}", row.name))?;
                f.write_str("; ASTM E230 has")?;
                ASTM.iter().try_for_each(|row| write!(f, " {}", row.name))
            }
            CableError::UnknownClass => f.write_str(
                "the class of a cable is \"class 1\" or \"class 2\" (IEC 60584-3), \"standard\" or \"special\" (ASTM E230)",
            ),
            CableError::NotDefined => f.write_str("the standard has no such class for this cable"),
        }
    }
}

impl core::error::Error for CableError {}

impl Cable {
    /// Reads a designation and a class; a standard's name before them and case don't matter. Without a class, class 2.
    ///
    /// # Errors
    /// [`CableError`]: unknown cable, unknown class, or a class that this cable has not.
    ///
    /// ```
    /// use icepoint_sensors::{Letter, cable::Cable};
    /// let cable = Cable::parse("NX class 1")?;
    /// assert_eq!(cable.letter(), Letter::N);
    /// assert_eq!(cable.limit_volts(), 60e-6);
    /// assert_eq!(Cable::parse("IEC 60584-3 KCA")?.name(), "KCA class 2");
    /// assert!(Cable::parse("KCA class 1").is_err());
    /// # Ok::<(), icepoint_sensors::cable::CableError>(())
    /// ```
    pub fn parse(text: &str) -> Result<Cable, CableError> {
        let standards = ["IEC", "60584-3", "ASTM", "E230"];
        let is = |word: &str, other: &str| word.eq_ignore_ascii_case(other);
        let mut words = text.split_ascii_whitespace().filter(|word| !standards.iter().any(|s| is(word, s)));
        let astm_named = text.split_ascii_whitespace().any(|word| is(word, "ASTM") || is(word, "E230"));
        let name = words.next().ok_or(CableError::UnknownCable)?;
        let iec = IEC.iter().find(|row| is(row.name, name));
        let astm = ASTM.iter().find(|row| is(row.name, name));
        let (first, second, rest) = (words.next(), words.next(), words.next());
        if rest.is_some() {
            return Err(CableError::UnknownClass);
        }
        let (first, second) = (first.unwrap_or(""), second.unwrap_or(""));
        let class = match (first, second) {
            ("", "") => {
                if astm_named {
                    "standard"
                } else {
                    "2"
                }
            }
            (word, number) if is(word, "class") => number,
            (word, "") => word,
            _ => return Err(CableError::UnknownClass),
        };
        if is(class, "standard") || is(class, "special") {
            let row =
                astm.ok_or(if iec.is_some() { CableError::NotDefined } else { CableError::UnknownCable })?;
            return match row.special_kelvin {
                _ if is(class, "standard") => Ok(Cable::AstmStandard(row)),
                Some(_) => Ok(Cable::AstmSpecial(row)),
                None => Err(CableError::NotDefined),
            };
        }
        let row =
            iec.ok_or(if astm.is_some() { CableError::NotDefined } else { CableError::UnknownCable })?;
        match class {
            _ if astm_named => Err(CableError::UnknownClass),
            "1" if row.class_1.is_some() => Ok(Cable::Iec1(row)),
            "1" => Err(CableError::NotDefined),
            "2" => Ok(Cable::Iec2(row)),
            _ => Err(CableError::UnknownClass),
        }
    }

    /// The thermocouple it continues.
    pub const fn letter(&self) -> Letter {
        match self {
            Cable::Iec1(row) | Cable::Iec2(row) => row.letter,
            Cable::AstmStandard(row) | Cable::AstmSpecial(row) => row.letter,
        }
    }

    /// Extension or compensating.
    pub const fn kind(&self) -> Kind {
        match self {
            Cable::Iec1(row) | Cable::Iec2(row) => row.kind,
            Cable::AstmStandard(row) | Cable::AstmSpecial(row) => row.kind,
        }
    }

    /// Designation, such as `NX`.
    pub const fn designation(&self) -> &'static str {
        match self {
            Cable::Iec1(row) | Cable::Iec2(row) => row.name,
            Cable::AstmStandard(row) | Cable::AstmSpecial(row) => row.name,
        }
    }

    /// Designation and class, as [`Cable::parse`] reads them.
    pub const fn name(&self) -> Name {
        Name(*self)
    }

    /// Lowest and highest temperature of the cable itself, °C.
    pub const fn celsius(&self) -> (f64, f64) {
        match self {
            Cable::Iec1(row) | Cable::Iec2(row) => row.celsius,
            Cable::AstmStandard(row) | Cable::AstmSpecial(row) => row.celsius,
        }
    }

    /// Limit of the voltage it may add, ± V, for ends anywhere in [`Cable::celsius`].
    ///
    /// IEC: as the standard states it. ASTM, stated in K: times [`AstmCable::volts_per_kelvin`].
    pub fn limit_volts(&self) -> f64 {
        match self {
            // A class 1 that is not there never gets past `parse`; class 2 is the wider one.
            Cable::Iec1(row) => row.class_1.unwrap_or(row.class_2).microvolts / 1e6,
            Cable::Iec2(row) => row.class_2.microvolts / 1e6,
            Cable::AstmStandard(row) => row.standard_kelvin * row.volts_per_kelvin(),
            Cable::AstmSpecial(row) => {
                row.special_kelvin.unwrap_or(row.standard_kelvin) * row.volts_per_kelvin()
            }
        }
    }

    /// Limit in K at a measuring junction of `celsius` (°C): the voltage over the sensitivity there.
    ///
    /// # Errors
    /// [`OutOfRange`] outside the range of the thermocouple.
    pub fn limit_kelvin(&self, celsius: f64) -> Result<f64, OutOfRange> {
        Ok(self.limit_volts() / self.letter().emf_slope(celsius)?.abs())
    }

    /// The standard that the limit comes from.
    pub const fn standard(&self) -> &'static str {
        match self {
            Cable::Iec1(_) | Cable::Iec2(_) => "IEC 60584-3",
            Cable::AstmStandard(_) | Cable::AstmSpecial(_) => "ASTM E230",
        }
    }
}

/// Designation and class of a cable, printed as [`Cable::parse`] reads it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Name(Cable);

impl fmt::Display for Name {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.0 {
            Cable::Iec1(row) => write!(f, "{} class 1", row.name),
            Cable::Iec2(row) => write!(f, "{} class 2", row.name),
            Cable::AstmStandard(row) => write!(f, "ASTM E230 {} standard", row.name),
            Cable::AstmSpecial(row) => write!(f, "ASTM E230 {} special", row.name),
        }
    }
}

impl PartialEq<&str> for Name {
    fn eq(&self, other: &&str) -> bool {
        // Compares the printed form without a buffer: each piece must be the next part of the text.
        struct Rest<'a>(&'a str);
        impl fmt::Write for Rest<'_> {
            fn write_str(&mut self, piece: &str) -> fmt::Result {
                self.0 = self.0.strip_prefix(piece).ok_or(fmt::Error)?;
                Ok(())
            }
        }
        let mut rest = Rest(other);
        fmt::write(&mut rest, format_args!("{self}")).is_ok() && rest.0.is_empty()
    }
}

static IEC: &[IecCable] = &[
    IecCable {
        name: "KX",
        letter: Letter::K,
        kind: Kind::Extension,
        class_1: Some(Deviation { microvolts: 60.0, kelvin: 1.5 }),
        class_2: Deviation { microvolts: 100.0, kelvin: 2.5 },
        celsius: (-25.0, 200.0),
        measuring_junction_celsius: 900.0,
    },
    IecCable {
        name: "JX",
        letter: Letter::J,
        kind: Kind::Extension,
        class_1: Some(Deviation { microvolts: 85.0, kelvin: 1.5 }),
        class_2: Deviation { microvolts: 140.0, kelvin: 2.5 },
        celsius: (-25.0, 200.0),
        measuring_junction_celsius: 500.0,
    },
    IecCable {
        name: "TX",
        letter: Letter::T,
        kind: Kind::Extension,
        class_1: Some(Deviation { microvolts: 30.0, kelvin: 0.5 }),
        class_2: Deviation { microvolts: 60.0, kelvin: 1.0 },
        celsius: (-25.0, 100.0),
        measuring_junction_celsius: 300.0,
    },
    IecCable {
        name: "EX",
        letter: Letter::E,
        kind: Kind::Extension,
        class_1: Some(Deviation { microvolts: 120.0, kelvin: 1.5 }),
        class_2: Deviation { microvolts: 200.0, kelvin: 2.5 },
        celsius: (-25.0, 200.0),
        measuring_junction_celsius: 500.0,
    },
    IecCable {
        name: "NX",
        letter: Letter::N,
        kind: Kind::Extension,
        class_1: Some(Deviation { microvolts: 60.0, kelvin: 1.5 }),
        class_2: Deviation { microvolts: 100.0, kelvin: 2.5 },
        celsius: (-25.0, 200.0),
        measuring_junction_celsius: 900.0,
    },
    IecCable {
        name: "KCA",
        letter: Letter::K,
        kind: Kind::Compensating,
        class_1: None,
        class_2: Deviation { microvolts: 100.0, kelvin: 2.5 },
        celsius: (0.0, 150.0),
        measuring_junction_celsius: 900.0,
    },
    IecCable {
        name: "KCB",
        letter: Letter::K,
        kind: Kind::Compensating,
        class_1: None,
        class_2: Deviation { microvolts: 100.0, kelvin: 2.5 },
        celsius: (0.0, 100.0),
        measuring_junction_celsius: 900.0,
    },
    IecCable {
        name: "NC",
        letter: Letter::N,
        kind: Kind::Compensating,
        class_1: None,
        class_2: Deviation { microvolts: 100.0, kelvin: 2.5 },
        celsius: (0.0, 150.0),
        measuring_junction_celsius: 900.0,
    },
    IecCable {
        name: "RCA",
        letter: Letter::R,
        kind: Kind::Compensating,
        class_1: None,
        class_2: Deviation { microvolts: 30.0, kelvin: 2.5 },
        celsius: (0.0, 100.0),
        measuring_junction_celsius: 1000.0,
    },
    IecCable {
        name: "RCB",
        letter: Letter::R,
        kind: Kind::Compensating,
        class_1: None,
        class_2: Deviation { microvolts: 60.0, kelvin: 5.0 },
        celsius: (0.0, 200.0),
        measuring_junction_celsius: 1000.0,
    },
    IecCable {
        name: "SCA",
        letter: Letter::S,
        kind: Kind::Compensating,
        class_1: None,
        class_2: Deviation { microvolts: 30.0, kelvin: 2.5 },
        celsius: (0.0, 100.0),
        measuring_junction_celsius: 1000.0,
    },
    IecCable {
        name: "SCB",
        letter: Letter::S,
        kind: Kind::Compensating,
        class_1: None,
        class_2: Deviation { microvolts: 60.0, kelvin: 5.0 },
        celsius: (0.0, 200.0),
        measuring_junction_celsius: 1000.0,
    },
    IecCable {
        name: "BC",
        letter: Letter::B,
        kind: Kind::Compensating,
        class_1: None,
        class_2: Deviation { microvolts: 40.0, kelvin: 3.5 },
        celsius: (0.0, 100.0),
        measuring_junction_celsius: 1400.0,
    },
];

static ASTM: &[AstmCable] = &[
    AstmCable {
        name: "JX",
        letter: Letter::J,
        kind: Kind::Extension,
        standard_kelvin: 2.2,
        special_kelvin: Some(1.1),
        celsius: (0.0, 200.0),
    },
    AstmCable {
        name: "KX",
        letter: Letter::K,
        kind: Kind::Extension,
        standard_kelvin: 2.2,
        special_kelvin: Some(1.1),
        celsius: (0.0, 200.0),
    },
    AstmCable {
        name: "NX",
        letter: Letter::N,
        kind: Kind::Extension,
        standard_kelvin: 2.2,
        special_kelvin: Some(1.1),
        celsius: (0.0, 200.0),
    },
    AstmCable {
        name: "EX",
        letter: Letter::E,
        kind: Kind::Extension,
        standard_kelvin: 1.7,
        special_kelvin: Some(1.0),
        celsius: (0.0, 200.0),
    },
    AstmCable {
        name: "TX",
        letter: Letter::T,
        kind: Kind::Extension,
        standard_kelvin: 1.0,
        special_kelvin: Some(0.5),
        celsius: (-60.0, 100.0),
    },
    AstmCable {
        name: "SX",
        letter: Letter::S,
        kind: Kind::Compensating,
        standard_kelvin: 5.0,
        special_kelvin: None,
        celsius: (0.0, 200.0),
    },
    AstmCable {
        name: "RX",
        letter: Letter::R,
        kind: Kind::Compensating,
        standard_kelvin: 5.0,
        special_kelvin: None,
        celsius: (0.0, 200.0),
    },
    AstmCable {
        name: "BX",
        letter: Letter::B,
        kind: Kind::Compensating,
        standard_kelvin: 3.7,
        special_kelvin: None,
        celsius: (0.0, 200.0),
    },
];
