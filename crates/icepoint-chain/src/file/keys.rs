//! Every section and key of the chain file with its kind and meaning. The reader looks here for the unit and the
//! bound of a key, the suggestions for a misspelt one come from here, and `docs/chain-file.md` is printed from here.

use super::bounds::Bound;
use crate::quantity::Unit;
use icepoint_sensors::Letter;
use icepoint_sensors::tolerance::ToleranceClass;

pub use super::sections::SECTIONS;

/// A section, `[name]`.
#[derive(Debug)]
pub struct Section {
    /// Its path; `*` stands for a name that the user gives.
    pub path: &'static str,
    /// Whether it must be there.
    pub required: bool,
    /// What it is about, one sentence.
    pub meaning: &'static str,
    /// Its keys.
    pub keys: &'static [Key],
}

/// A key of a section.
#[derive(Debug)]
pub struct Key {
    /// Its name; `*` stands for the designator of a part.
    pub name: &'static str,
    /// What kind of value it takes.
    pub kind: Kind,
    /// Whether it must be there.
    pub presence: Presence,
    /// When it applies, in the words of the file; always, if empty.
    pub when: &'static str,
    /// The values that are possible.
    pub bound: Option<&'static Bound>,
    /// A value as it would be written.
    pub example: &'static str,
    /// What it means.
    pub meaning: &'static str,
}

/// Whether a key must be there (when it applies).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Presence {
    /// It must.
    Required,
    /// It may, and nothing is assumed without it.
    Optional,
    /// It may, and [`super::defaults`] says what is taken otherwise.
    Default,
}

/// What kind of value a key takes.
#[derive(Debug, Clone, Copy)]
pub enum Kind {
    /// Any words.
    Text,
    /// One of these words.
    Choice(fn() -> Vec<&'static str>),
    /// A quantity.
    Quantity(Unit),
    /// A quantity, or "open".
    Open(Unit),
    /// A quantity with an optional tolerance.
    Toleranced(Unit),
    /// A limit to both sides, with or without ±.
    Limit(Unit),
    /// A limit in V or in LSB.
    VoltOrLsb,
    /// Two quantities, low and high.
    Interval(Unit),
    /// Two quantities, or one for both.
    IntervalOrOne(Unit),
    /// One or more quantities, rising.
    List(Unit),
    /// One or more quantities in any order.
    Values(Unit),
    /// Harmonics by the name of a standard, "none", or a list of shares.
    Harmonics,
    /// A tolerance class of a probe, or a limit in K.
    ProbeTolerance,
    /// A code of a cable, or "same wire".
    Cable,
    /// The value of a part, or "open".
    Part,
    /// The names of two nodes of the circuit.
    Nodes,
    /// A whole number.
    Integer,
    /// A plain number.
    Number,
    /// A list of plain numbers.
    Numbers,
}

impl Kind {
    /// In words, for messages and documentation.
    pub fn text(self) -> String {
        match self {
            Self::Text => "a text".into(),
            Self::Choice(words) => one_of(&words()),
            Self::Quantity(unit) => unit.noun().into(),
            Self::Open(unit) => format!("{}, or \"open\"", unit.noun()),
            Self::Toleranced(unit) => format!("{}, with its tolerance if known", unit.noun()),
            Self::Limit(unit) => format!("{} to both sides", unit.noun()),
            Self::VoltOrLsb => "a voltage or a number of LSB, to both sides".into(),
            Self::Interval(unit) => format!("two values, low and high, each {}", unit.noun()),
            Self::IntervalOrOne(unit) => format!("{}, or two of them, low and high", unit.noun()),
            Self::List(unit) | Self::Values(unit) => format!("a list, each {}", unit.noun()),
            Self::ProbeTolerance => {
                let classes: Vec<&str> = ToleranceClass::ALL.iter().map(|class| class.name()).collect();
                format!("{}, \"none\", or a limit such as \"±2 K\"", quoted(&classes))
            }
            Self::Harmonics => {
                format!(
                    "{}, or a list of shares of the fundamental, from the second harmonic on",
                    quoted(&super::need::Harmonics::WORDS)
                )
            }
            Self::Cable => "a cable of IEC 60584-3 such as \"NX\", or \"same wire\"".into(),
            Self::Part => "the value of a part, or \"open\"".into(),
            Self::Nodes => "a list of two nodes".into(),
            Self::Integer => "a whole number".into(),
            Self::Number => "a number".into(),
            Self::Numbers => "a list of numbers".into(),
        }
    }
}

fn quoted(words: &[&str]) -> String {
    words.iter().map(|word| format!("\"{word}\"")).collect::<Vec<_>>().join(", ")
}

/// "one of "a", "b"", or just the one.
pub(super) fn one_of(words: &[&str]) -> String {
    match words {
        [one] => format!("\"{one}\""),
        words => format!("one of {}", quoted(words)),
    }
}

pub(super) fn names<T>(spellings: &'static [(&'static str, T)]) -> Vec<&'static str> {
    spellings.iter().map(|(name, _)| *name).collect()
}

/// Kinds of converter, as written.
pub(super) const CONVERTERS: &[(&str, ConverterWord)] =
    &[("adc", ConverterWord::Adc), ("voltmeter", ConverterWord::Voltmeter)];
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum ConverterWord {
    Adc,
    Voltmeter,
}

/// Kinds of amplifier, as written.
pub(super) const AMPLIFIERS: &[(&str, AmplifierWord)] =
    &[("operational", AmplifierWord::Operational), ("instrumentation", AmplifierWord::Instrumentation)];
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum AmplifierWord {
    Operational,
    Instrumentation,
}

/// Sensors of the reference junction, as written.
pub(super) const ELEMENTS: &[(&str, ElementWord)] = &[
    ("digital", ElementWord::Digital),
    ("thermistor", ElementWord::Thermistor),
    ("platinum", ElementWord::Platinum),
];
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum ElementWord {
    Digital,
    Thermistor,
    Platinum,
}

/// Digital filters, as written.
pub(super) const DIGITAL: &[(&str, DigitalWord)] = &[
    ("none", DigitalWord::None),
    ("mean", DigitalWord::Mean),
    ("sinc", DigitalWord::Sinc),
    ("first order", DigitalWord::FirstOrder),
];
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum DigitalWord {
    None,
    Mean,
    Sinc,
    FirstOrder,
}

/// Responses of an active low-pass, as written.
pub(super) const RESPONSES: &[(&str, ResponseWord)] = &[
    ("bessel", ResponseWord::Bessel),
    ("butterworth", ResponseWord::Butterworth),
    ("chebyshev", ResponseWord::Chebyshev),
    ("critically damped", ResponseWord::CriticallyDamped),
];
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum ResponseWord {
    Bessel,
    Butterworth,
    Chebyshev,
    CriticallyDamped,
}

/// Reading rules, as written.
pub(super) const RULES: &[(&str, RuleWord)] = &[
    ("line", RuleWord::Line),
    ("emf inverse", RuleWord::EmfInverse),
    ("table", RuleWord::Table),
    ("published polynomial", RuleWord::PublishedPolynomial),
];
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum RuleWord {
    Line,
    EmfInverse,
    Table,
    PublishedPolynomial,
}

/// Means of a calibration, as written.
pub(super) const CALIBRATIONS: &[(&str, CalibrationWord)] = &[
    ("millivolt source", CalibrationWord::MillivoltSource),
    ("known temperature", CalibrationWord::KnownTemperature),
];
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum CalibrationWord {
    MillivoltSource,
    KnownTemperature,
}

/// Kinds of reference on the bench, as written.
pub(super) const REFERENCES: &[(&str, ReferenceWord)] = &[
    ("ice bath", ReferenceWord::IceBath),
    ("boiling water", ReferenceWord::BoilingWater),
    ("fixed point", ReferenceWord::FixedPoint),
    ("thermometer", ReferenceWord::Thermometer),
    ("dry well", ReferenceWord::DryWell),
    ("millivolt source", ReferenceWord::MillivoltSource),
    ("voltmeter", ReferenceWord::Voltmeter),
];
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum ReferenceWord {
    IceBath,
    BoilingWater,
    FixedPoint,
    Thermometer,
    DryWell,
    MillivoltSource,
    Voltmeter,
}

pub(super) fn letters() -> Vec<&'static str> {
    Letter::ALL.iter().map(|letter| letter.name()).collect()
}

pub(super) const fn key(
    name: &'static str,
    kind: Kind,
    presence: Presence,
    example: &'static str,
    meaning: &'static str,
) -> Key {
    Key { name, kind, presence, when: "", bound: None, example, meaning }
}

impl Key {
    pub(super) const fn within(mut self, bound: &'static Bound) -> Self {
        self.bound = Some(bound);
        self
    }

    pub(super) const fn when(mut self, when: &'static str) -> Self {
        self.when = when;
        self
    }
}

/// The section with this path, `*` included.
pub(super) fn section(path: &str) -> Option<&'static Section> {
    SECTIONS.iter().find(|section| section.path == path)
}

impl Section {
    /// The key of this name, or the one that stands for any name.
    pub(super) fn key(&self, name: &str) -> Option<&'static Key> {
        self.keys.iter().find(|key| key.name == name || key.name == "*")
    }
}
