//! The chain file: one TOML file that describes one measurement.
//!
//! **Why its own reader.** A person who copies figures from data sheets makes several slips at once. So the reader
//! walks the whole file, collects every problem, and points at each with what was expected and a spelling that
//! works; deserialising into structs would stop at the first.
//! **In, out.** Text in, [`ChainFile`] out: every quantity in SI units, every value with its place in the text or
//! the default that stands for it, so that later checks can point at it ([`ChainFile::problem_at`]).
//! **Tables.** [`keys`] lists every key with its kind and meaning, [`bounds`] the values that are possible,
//! [`defaults`] what is taken when a key is missing. The reader, its messages, the suggestions and
//! `docs/chain-file.md` all come from these.
//! **Not here.** Whether the circuit can do what is asked is the model's business; it raises its objections through
//! the same [`Problem`].

mod amplifier;
mod calibration;
mod converter;
pub mod defaults;
pub mod draw;
mod front_end;
mod given;
mod need;
mod parts;
mod probe;
mod problem;
mod reference_junction;

pub use amplifier::{Amplifier, AmplifierKind};
pub use calibration::{BudgetSettings, Calibration, CalibrationMethod, CalibrationPlan};
pub use converter::{Adc, Converter, ConverterKind, DigitalFilter, Filter, Readout, Voltmeter};
pub use front_end::{FrontEnd, PartValue, Supply, Topology};
pub use given::{Given, Interval, Origin, Span};
pub use need::{CalibrationEffort, Need};
pub use parts::{CapacitorParts, Network, Parts, ResistorParts};
pub use probe::{Cable, Distribution, Junction, Lead, Probe, ProbeTolerance};
pub use problem::{Label, Location, Problem, Refused, Severity, Source};
pub use reference_junction::{AnalogSensor, Divider, Element, Method, PlatinumClass, ReferenceJunction};

use std::collections::BTreeMap;

/// A chain file that was taken.
#[derive(Debug, Clone, PartialEq)]
pub struct ChainFile {
    /// The text and its name.
    pub source: Source,
    /// `name` of `[chain]`.
    pub name: Given<String>,
    /// `[need]`.
    pub need: Need,
    /// `[probe]`.
    pub probe: Probe,
    /// `[lead]`; absent when the probe is wired straight to the terminals.
    pub lead: Option<Lead>,
    /// `[reference_junction]`.
    pub reference_junction: ReferenceJunction,
    /// `[front_end]`.
    pub front_end: FrontEnd,
    /// `[supply]`.
    pub supply: Supply,
    /// `[amplifier.NAME]`, by name. The names that `front_end` uses are present.
    pub amplifiers: BTreeMap<String, Amplifier>,
    /// `[converter]`.
    pub converter: Converter,
    /// `[filter]`.
    pub filter: Filter,
    /// `[readout]`.
    pub readout: Readout,
    /// `[parts]`.
    pub parts: Parts,
    /// `[calibration_plan]`; present when the need asks for a calibration.
    pub calibration_plan: Option<CalibrationPlan>,
    /// `[calibration]`, once there is one.
    pub calibration: Option<Calibration>,
    /// `[budget]`.
    pub budget: BudgetSettings,
    /// Every default that was used, in the order of the sections.
    pub assumptions: Vec<Assumption>,
    /// What does not stop the file but should be known.
    pub cautions: Vec<Problem>,
    /// Key path to its place in the text.
    places: BTreeMap<String, Place>,
}

/// A default that was used.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Assumption {
    /// Key path with the record's own name, for example `amplifier.front.corner`.
    pub key: String,
    /// The default.
    pub default: &'static defaults::Default,
}

/// Where a key stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Place {
    key: Span,
    value: Span,
}
