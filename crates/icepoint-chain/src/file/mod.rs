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
pub mod bounds;
mod calibration;
mod checks;
mod circuit;
mod circuit_keys;
mod compensation;
mod converter;
pub mod defaults;
pub mod draw;
mod front_end;
mod given;
pub mod keys;
mod need;
mod parts;
mod probe;
mod problem;
mod read;
mod records;
pub mod reference;
mod reference_junction;
mod references;
mod sections;
mod similar;
#[cfg(test)]
mod tests;
mod trims;
mod values;
mod walk;
mod write;

pub use amplifier::{Amplifier, AmplifierKind};
pub use calibration::{BudgetSettings, Calibration, CalibrationMethod, CalibrationPlan};
pub use circuit::{OWN, read_circuit};
pub use compensation::Compensation;
pub use converter::{Adc, AnalogFilter, Converter, ConverterKind, DigitalFilter, Filter, Readout, Voltmeter};
pub use front_end::{FrontEnd, PartValue, Supply, Topology};
pub use given::{Given, Interval, Origin, Span};
pub use need::{CalibrationEffort, Harmonics, Need};
pub use parts::{CapacitorParts, Network, Parts, ResistorParts};
pub use probe::{Cable, Distribution, Junction, Lead, Probe, ProbeTolerance};
pub use problem::{Label, Location, MOST_PROBLEMS, Problem, Refused, Severity, Source};
pub use records::{RecordKind, RecordName};
pub use reference_junction::{AnalogSensor, Divider, Element, Method, PlatinumClass, ReferenceJunction};
pub use references::{
    Certificate, IceBathMade, Instrument, PressureFrom, ProbeIn, ReferenceKind, ReferenceRecord, SourceLeads,
};
pub use similar::{nearest as nearest_word, one_slip};
pub use trims::{TrimMeans, Trims};

pub use read::{LARGEST_FILE, load, parse};
pub use write::{Calibrated, ChosenValue, write_atomically};

use crate::front_end::{Blueprint, library};
use crate::low_pass::Form;
use crate::low_pass::insert::{Inserted, Site, insert};
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
    /// `[compensation]`; present when the method is [`Method::Circuit`].
    pub compensation: Option<Compensation>,
    /// `[front_end]`.
    pub front_end: FrontEnd,
    /// `[circuit]`; present when the topology is [`Topology::Own`].
    pub circuit: Option<Blueprint>,
    /// `[supply]`.
    pub supply: Supply,
    /// `[amplifier.NAME]`, by name. The names that `front_end` uses are present.
    pub amplifiers: BTreeMap<String, Amplifier>,
    /// `[converter]`.
    pub converter: Converter,
    /// `[filter]`.
    pub filter: Filter,
    /// `[readout]`; its origin is that of `rule`.
    pub readout: Given<Readout>,
    /// `[parts]`.
    pub parts: Parts,
    /// `[trims]`; present when it is written, or when the circuit has adjustable resistors.
    pub trims: Option<Trims>,
    /// `[calibration_plan]`; present when the need asks for a calibration.
    pub calibration_plan: Option<CalibrationPlan>,
    /// `[references.NAME]`, by name.
    pub references: BTreeMap<String, ReferenceRecord>,
    /// `[calibration]`, once there is one.
    pub calibration: Option<Calibration>,
    /// `[budget]`.
    pub budget: BudgetSettings,
    /// Every default that was used, in the order of the sections.
    pub assumptions: Vec<Assumption>,
    /// What does not stop the file but should be known.
    pub cautions: Vec<Problem>,
    /// Converters, voltage references and junction sensors to choose among.
    pub records: Vec<RecordName>,
    /// Those that stand in their places.
    pub taken: Vec<RecordName>,
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

impl ChainFile {
    /// An error about the key at `path` (for example `need.accuracy` or `amplifier.front.noise`), for whoever finds
    /// out later that it can't be had. It points at the value; at the nearest section around it when the key is not
    /// written; at nothing when that is not written either.
    ///
    /// Add labels at other keys with [`Problem::also`] and [`ChainFile::place`]; refuse with [`ChainFile::refused`].
    pub fn problem_at(
        &self,
        path: &str,
        code: &'static str,
        message: impl Into<String>,
        label: impl Into<String>,
    ) -> Problem {
        let problem = Problem::new(code, message);
        match self.place(path) {
            Some(span) => problem.at(span, label),
            None => problem,
        }
    }

    /// A refusal of this file with these problems, in the order of the text.
    pub fn refused(&self, problems: Vec<Problem>) -> Refused {
        Refused::new(self.source.clone(), problems)
    }

    /// The value at a key path, or the header of the nearest section around it that is written.
    pub fn place(&self, path: &str) -> Option<Span> {
        if let Some(place) = self.places.get(path) {
            let is_section =
                place.key.end >= place.value.start || keys::SECTIONS.iter().any(|s| s.path == path);
            return Some(if is_section { place.key } else { place.value });
        }
        path.rsplit_once('.').and_then(|(parent, _)| self.place(parent))
    }

    /// The circuit that the file asks for: a built-in one, or its own.
    pub fn blueprint(&self) -> Option<&Blueprint> {
        match self.front_end.topology.value {
            Topology::BuiltIn(id) => library::named(id),
            Topology::Own => self.circuit.as_ref(),
            Topology::Any => None,
        }
    }

    /// The circuit with the active low-pass of `[filter.analog]` in it; `None` when none is asked for.
    ///
    /// # Errors
    /// What is in its way, at its place.
    pub fn low_pass(&self) -> Option<Result<(Blueprint, Inserted), Problem>> {
        let analog = self.filter.analog.as_ref()?;
        let blueprint = self.blueprint()?;
        let plan = analog.plan();
        let record = match (&analog.amplifier, &self.front_end.buffer) {
            (Some(given), _) => given.value.as_str(),
            (None, Some(_)) => "buffer",
            (None, None) => blueprint.output_record().unwrap_or("amplifier"),
        };
        if !self.record(record).is_some_and(|a| matches!(a.kind, AmplifierKind::Operational { .. })) {
            let known: Vec<&str> = self
                .amplifiers
                .values()
                .filter(|a| matches!(a.kind, AmplifierKind::Operational { .. }))
                .map(|a| a.name.as_str())
                .collect();
            let problem = self
                .problem_at(
                    "filter.analog.amplifier",
                    "filter.no_amplifier",
                    "the low-pass has no operational amplifier",
                    "needs amplifiers",
                )
                .expected("the NAME of a section [amplifier.NAME] with kind = \"operational\"");
            return Some(Err(match known.first() {
                Some(name) => problem.help(format!("amplifier = \"{name}\"")),
                None => problem.help("add a section [amplifier.filter] with kind = \"operational\""),
            }));
        }
        if plan.gain() < 0.0 && matches!(self.readout.value, Readout::Line { .. }) {
            let problem = self
                .problem_at(
                    "filter.analog.form",
                    "filter.inverts",
                    "one inverting stage turns a straight line of the read-out upside down",
                    "inverts",
                )
                .expected("a low-pass that doesn't invert, or a reading rule that is computed");
            return Some(Err(problem.help("form = \"sallen-key\", or poles = 3 or 4: two inverting stages")));
        }
        let voltmeter = matches!(self.converter.kind, ConverterKind::Voltmeter(_));
        let site = Site {
            record,
            about_ground: voltmeter && self.supply.negative.value.value < 0.0,
            series: (*self.parts.resistors.series, *self.parts.capacitors.series),
        };
        if voltmeter && !site.about_ground && plan.form == Form::MultipleFeedback {
            let problem = self
                .problem_at(
                    "filter.analog.form",
                    "filter.no_bias",
                    "inverting stages on one supply turn about half of a converter's reference, and a voltmeter has none",
                    "needs a voltage to turn about",
                )
                .expected("form = \"sallen-key\", or a negative supply");
            return Some(Err(problem.help("form = \"sallen-key\"")));
        }
        Some(insert(blueprint, plan, site).map_err(|why| {
            self.problem_at("filter.analog", "filter.no_place", why.to_string(), "has no place")
                .expected("a front end whose last amplifier drives an output against ground")
                .help("leave [filter.analog] out")
        }))
    }

    /// Figures of the amplifier that the circuit calls `name`: `amplifier` and `buffer` are those that `[front_end]`
    /// names, any other is the record of that name.
    pub fn record(&self, name: &str) -> Option<&Amplifier> {
        let by_role = match name {
            "amplifier" => self.front_end.amplifier.as_ref(),
            "buffer" => self.front_end.buffer.as_ref(),
            _ => None,
        };
        self.amplifiers.get(by_role.map_or(name, |given| given.value.as_str()))
    }

    /// The same file with another front end: the identifier of a built-in one (any other: the file's own circuit), and
    /// the records for its roles. Values, tolerances and what was found out about a board are left out when it is another
    /// one: its R3 is another R3. With none named they are those of the file's own circuit.
    #[must_use]
    pub fn with_front_end(&self, id: &str, records: &[(String, String)]) -> Self {
        let mut file = self.clone();
        let origin = self.front_end.topology.origin;
        let built_in = library::all().iter().find(|b| b.id == id);
        file.front_end.topology.value =
            built_in.map_or(Topology::Own, |blueprint| Topology::BuiltIn(blueprint.id.as_str()));
        let record = |role: &str| {
            records.iter().find(|(r, _)| r == role).map(|(_, name)| Given { value: name.clone(), origin })
        };
        file.front_end.amplifier = record("amplifier").or(file.front_end.amplifier);
        file.front_end.buffer = record("buffer").or(file.front_end.buffer);
        let own = self.front_end.topology.value == Topology::Any && built_in.is_none();
        if file.front_end.topology.value != self.front_end.topology.value && !own {
            file.calibration = None;
            file.front_end.values.clear();
            file.front_end.tolerance.clear();
            if let Some(trims) = &mut file.trims {
                (trims.zero, trims.span) = (None, None);
            }
        }
        file
    }

    /// Figures of the amplifier that drives the output.
    pub fn output_amplifier(&self) -> Option<&Amplifier> {
        self.record(self.blueprint()?.output_record()?)
    }

    /// Designators in `[front_end.values]` and `[front_end.tolerance]` that the topology has not.
    pub fn unknown_designators(&self, known: &[&str]) -> Vec<Problem> {
        let values = self.front_end.values.iter().map(|(name, given)| (name, given.span(), "values"));
        let tolerances =
            self.front_end.tolerance.iter().map(|(name, given)| (name, given.span(), "tolerance"));
        values
            .chain(tolerances)
            .filter(|(name, _, _)| !known.contains(&name.as_str()))
            .map(|(name, span, section)| {
                let circuit = match self.front_end.topology.value {
                    Topology::BuiltIn(id) => id,
                    Topology::Own | Topology::Any => "[circuit]",
                };
                let message = format!("{circuit} has no part {name} with a value");
                let key = self.places.get(&format!("front_end.{section}.{name}")).map(|place| place.key);
                let mut problem =
                    Problem::new("part.unknown_designator", message).expected(keys::one_of(known));
                if let Some(span) = key.or(span) {
                    let label = match similar::nearest(name, known.iter().copied()) {
                        Some(close) => format!("did you mean {close}?"),
                        None => "not in this circuit".into(),
                    };
                    problem = problem.at(span, label);
                }
                problem
            })
            .collect()
    }
}
