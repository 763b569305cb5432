//! `[probe]` and `[lead]`: the thermocouple and the wire that brings its ends to the terminals.

use super::given::{Given, Interval};
use icepoint_sensors::Letter;
use icepoint_sensors::tolerance::ToleranceClass;

/// `[probe]`: the thermocouple itself.
#[derive(Debug, Clone, PartialEq)]
pub struct Probe {
    /// Letter of the reference function.
    pub letter: Given<Letter>,
    /// The tolerance that it was bought to.
    pub tolerance: Given<ProbeTolerance>,
    /// Shape of the spread inside the limit.
    pub distribution: Given<Distribution>,
    /// Drift allowed over the life of the probe, ± K.
    pub drift: Given<f64>,
    /// Whether the measuring junction touches its sheath.
    pub junction: Given<Junction>,
    /// Loop resistance of the probe itself, Ω.
    pub resistance: Given<f64>,
}

/// How the deviation of the probe from the reference function is limited.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ProbeTolerance {
    /// A class of IEC 60584-1 or a grade of ASTM E230.
    Class(ToleranceClass),
    /// A limit of the user's own, ± K at every temperature.
    PlusMinus(f64),
    /// No deviation: a probe with its own certificate that the reading rule follows.
    None,
}

/// Shape of a spread whose limit `a` is given.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Distribution {
    /// Equally likely anywhere within ±a: standard uncertainty a/√3 (JCGM 100, 4.3.7).
    Rectangular,
    /// Normal, ±a holding about 95 %: standard uncertainty a/2.
    Normal,
}

impl Distribution {
    /// Every accepted spelling.
    pub const SPELLINGS: &'static [(&'static str, Self)] =
        &[("rectangular", Self::Rectangular), ("normal", Self::Normal)];
}

/// Whether the measuring junction touches the sheath.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Junction {
    /// Insulated from the sheath: the input must be biased by the board.
    Insulated,
    /// Joined to the sheath, which ties the board to the plant.
    Grounded,
}

impl Junction {
    /// Every accepted spelling.
    pub const SPELLINGS: &'static [(&'static str, Self)] =
        &[("insulated", Self::Insulated), ("grounded", Self::Grounded)];
}

/// `[lead]`: the cable between the connection head and the terminals.
#[derive(Debug, Clone, PartialEq)]
pub struct Lead {
    /// What the cable is made of.
    pub cable: Given<Cable>,
    /// Tolerance class of the cable, 1 or 2; absent for the same wire as the probe.
    pub class: Option<Given<u8>>,
    /// Length, m.
    pub length: Given<f64>,
    /// Diameter of one conductor, m.
    pub conductor: Given<f64>,
    /// Temperatures of the connection head, °C (both ends equal when one was written).
    pub head: Given<Interval>,
}

/// Extension or compensating cable.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cable {
    /// A code of IEC 60584-3, for example NX or KCA.
    Code(&'static str),
    /// The wire of the probe goes on to the terminals.
    SameWire,
}
