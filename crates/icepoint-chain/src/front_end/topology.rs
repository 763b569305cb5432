//! What a built-in topology asks for: its slots, each with a designator, a kind and a starting value.

use std::collections::BTreeMap;

use super::{AmplifierFigures, FrontEnd, instrumentation, single_amplifier};

/// Values of a front end by designator, in Ω or F.
pub type Values = BTreeMap<String, f64>;

/// A place for a resistor or capacitor in a topology.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Slot {
    /// `R1`, `C2`, …
    pub designator: &'static str,
    /// Resistor or capacitor.
    pub kind: SlotKind,
    /// What the part is there for.
    pub purpose: &'static str,
    /// Value used when neither the user nor a search has chosen one, Ω or F.
    pub usual: f64,
    /// Same value as this other slot, always (both legs of a balanced input).
    pub same_as: Option<&'static str>,
    /// Resistors of one group go into one network, when the user has networks.
    pub network: Option<&'static str>,
}

/// Kind of a slot.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SlotKind {
    /// Ω.
    Resistor,
    /// F.
    Capacitor,
}

/// The built-in topologies.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Topology {
    /// One non-inverting amplifier, reference junction compensated in analog.
    SingleAmplifier,
    /// An instrumentation amplifier into a converter, reference junction measured.
    Instrumentation,
}

impl Topology {
    /// All, in the order in which messages list them.
    pub const ALL: [Self; 2] = [Self::SingleAmplifier, Self::Instrumentation];

    /// Identifier in the chain file.
    pub const fn id(self) -> &'static str {
        match self {
            Self::SingleAmplifier => "single-amplifier",
            Self::Instrumentation => "instrumentation",
        }
    }

    /// In words.
    pub const fn title(self) -> &'static str {
        match self {
            Self::SingleAmplifier => {
                "one non-inverting amplifier with analog reference-junction compensation"
            }
            Self::Instrumentation => "instrumentation amplifier with a measured reference junction",
        }
    }

    /// By its identifier.
    pub fn parse(id: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|t| t.id() == id)
    }

    /// The places for resistors and capacitors.
    pub const fn slots(self) -> &'static [Slot] {
        match self {
            Self::SingleAmplifier => single_amplifier::SLOTS,
            Self::Instrumentation => instrumentation::SLOTS,
        }
    }

    /// Builds the front end; slots that `values` does not name get their usual value.
    pub fn build(self, surroundings: &Surroundings, values: &Values) -> FrontEnd {
        match self {
            Self::SingleAmplifier => single_amplifier::build(surroundings, values),
            Self::Instrumentation => instrumentation::build(surroundings, values),
        }
    }
}

/// Gain law of an instrumentation amplifier: `1 + constant/R`.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct GainLaw {
    /// Ω.
    pub constant: f64,
    /// Limit of the gain error, relative.
    pub error: f64,
    /// Limit of the gain drift, 1/K.
    pub drift: f64,
    /// Limit of the non-linearity, V at the output.
    pub nonlinearity: f64,
}

/// What a topology takes from the rest of the chain file.
#[derive(Clone, Debug)]
pub struct Surroundings {
    /// Positive supply: V, limit relative.
    pub supply: (f64, f64),
    /// Negative supply: V, limit relative; 0 V when the board has one supply.
    pub negative: (f64, f64),
    /// Voltage reference of the converter, when it has one, on the node `reference`.
    pub reference: Option<super::PartKind>,
    /// The signal amplifier.
    pub amplifier: AmplifierFigures,
    /// Gain of the signal amplifier, if it is an instrumentation amplifier.
    pub gain_law: GainLaw,
    /// Amplifier of buffers and filters.
    pub buffer: AmplifierFigures,
    /// Figures of resistors but for their value; per designator where it differs.
    pub resistor: super::ResistorFigures,
    /// Resistors that differ from that.
    pub resistor_for: BTreeMap<String, super::ResistorFigures>,
    /// Tracking inside resistor networks (relative, 1/K), when the user has them.
    pub network: Option<(f64, f64)>,
    /// Limit of capacitor values, relative.
    pub capacitor_tolerance: f64,
    /// Capacitors that differ from that.
    pub capacitor_for: BTreeMap<String, f64>,
}

impl Surroundings {
    pub(super) fn resistor(&self, designator: &str, ohms: f64) -> super::ResistorFigures {
        let mut figures = self.resistor_for.get(designator).unwrap_or(&self.resistor).clone();
        figures.ohms = ohms;
        figures
    }

    pub(super) fn capacitor_tolerance(&self, designator: &str) -> f64 {
        *self.capacitor_for.get(designator).unwrap_or(&self.capacitor_tolerance)
    }
}

/// Collects parts while a topology is built.
pub(super) struct Builder<'a> {
    pub surroundings: &'a Surroundings,
    pub values: &'a Values,
    pub slots: &'static [Slot],
    pub parts: Vec<super::Part>,
}

impl Builder<'_> {
    fn slot(&self, designator: &str) -> Option<&'static Slot> {
        self.slots.iter().find(|s| s.designator == designator)
    }

    /// Value of a slot: given, else that of its twin, else the usual one.
    fn value(&self, designator: &str) -> f64 {
        let slot = self.slot(designator);
        if let Some(v) = self.values.get(designator) {
            return *v;
        }
        match slot.and_then(|s| s.same_as) {
            Some(twin) => self.value(twin),
            None => slot.map_or(f64::NAN, |s| s.usual),
        }
    }

    pub fn push(&mut self, designator: &str, purpose: &str, kind: super::PartKind) {
        self.parts.push(super::Part { designator: designator.to_owned(), purpose: purpose.to_owned(), kind });
    }

    pub fn resistor(&mut self, designator: &'static str, a: &str, b: &str) {
        let mut figures = self.surroundings.resistor(designator, self.value(designator));
        if let (Some((tolerance, tempco)), Some(name)) =
            (self.surroundings.network, self.slot(designator).and_then(|s| s.network))
        {
            figures.network = Some(super::Network { name: name.into(), tolerance, tempco });
        }
        let purpose = self.slot(designator).map_or("", |s| s.purpose);
        self.push(designator, purpose, super::PartKind::Resistor { a: a.into(), b: b.into(), figures });
    }

    pub fn gain_resistor(&mut self, designator: &'static str, amplifier: &str) {
        let figures = self.surroundings.resistor(designator, self.value(designator));
        let purpose = self.slot(designator).map_or("", |s| s.purpose);
        self.push(
            designator,
            purpose,
            super::PartKind::GainResistor { amplifier: amplifier.into(), figures },
        );
    }

    pub fn capacitor(&mut self, designator: &'static str, a: &str, b: &str) {
        let farads = self.value(designator);
        let tolerance = self.surroundings.capacitor_tolerance(designator);
        let purpose = self.slot(designator).map_or("", |s| s.purpose);
        let kind = super::PartKind::Capacitor { a: a.into(), b: b.into(), farads, tolerance };
        self.push(designator, purpose, kind);
    }

    pub fn supplies(&mut self) {
        let (volts, tolerance) = self.surroundings.supply;
        self.push(
            "VS",
            "positive supply",
            super::PartKind::Supply { node: "supply".into(), volts, tolerance },
        );
        let (volts, tolerance) = self.surroundings.negative;
        if volts != 0.0 {
            let kind = super::PartKind::Supply { node: "negative".into(), volts, tolerance };
            self.push("VN", "negative supply", kind);
        }
    }

    /// Supply nodes of amplifiers.
    pub fn rails(&self) -> (String, String) {
        let negative = if self.surroundings.negative.0 == 0.0 { "gnd" } else { "negative" };
        ("supply".into(), negative.into())
    }
}
