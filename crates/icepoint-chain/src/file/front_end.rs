//! `[front_end]` and `[supply]`: the topology, its part values, and what feeds it.

use super::circuit::OWN;
use super::given::{Given, Origin, Span};
use super::walk::Reader;
use crate::front_end::library;
use crate::quantity::{Toleranced, Unit};
use std::collections::BTreeMap;

/// `[front_end]`.
#[derive(Debug, Clone, PartialEq)]
pub struct FrontEnd {
    /// The circuit.
    pub topology: Given<Topology>,
    /// Name of the record `[amplifier.NAME]` of the amplifier; an own circuit need not have it.
    pub amplifier: Option<Given<String>>,
    /// Name of the record of the buffer, where the topology has one.
    pub buffer: Option<Given<String>>,
    /// `[front_end.values]`: designator to value. A designator that is not there is open.
    pub values: BTreeMap<String, Given<PartValue>>,
    /// `[front_end.tolerance]`: designator to tolerance (ratio), instead of the one of `[parts]`.
    pub tolerance: BTreeMap<String, Given<f64>>,
}

/// Word for a front end that is left to `design`.
const ANY: &str = "any";

/// Which circuit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Topology {
    /// A built-in one, by its short id.
    BuiltIn(&'static str),
    /// The one in `[circuit]`.
    Own,
    /// None named: `design` compares all that fit.
    Any,
}

impl Topology {
    /// Every accepted spelling; the first of each is its short id.
    pub const SPELLINGS: &'static [(&'static str, Self)] = &[
        ("single-amplifier", Self::BuiltIn("single-amplifier")),
        ("one amplifier, analog compensation", Self::BuiltIn("single-amplifier")),
        ("instrumentation", Self::BuiltIn("instrumentation")),
        ("instrumentation amplifier", Self::BuiltIn("instrumentation")),
        ("instrumentation-compensated", Self::BuiltIn("instrumentation-compensated")),
        ("pedestal-amplifier", Self::BuiltIn("pedestal-amplifier")),
        ("split-supply-amplifier", Self::BuiltIn("split-supply-amplifier")),
        ("split-supply-instrumentation", Self::BuiltIn("split-supply-instrumentation")),
        ("difference-amplifier", Self::BuiltIn("difference-amplifier")),
        ("two-amplifier-instrumentation", Self::BuiltIn("two-amplifier-instrumentation")),
        ("three-amplifier-instrumentation", Self::BuiltIn("three-amplifier-instrumentation")),
        ("diode-compensation", Self::BuiltIn("diode-compensation")),
        ("thermistor-bridge", Self::BuiltIn("thermistor-bridge")),
        ("platinum-bridge", Self::BuiltIn("platinum-bridge")),
        ("single-amplifier-taps", Self::BuiltIn("single-amplifier-taps")),
        ("direct-converter", Self::BuiltIn("direct-converter")),
        (OWN, Self::Own),
        (ANY, Self::Any),
    ];

    /// Short id, as accepted in the file.
    pub fn id(self) -> &'static str {
        match self {
            Self::BuiltIn(id) => id,
            Self::Own => OWN,
            Self::Any => ANY,
        }
    }
}

/// The value of one part.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum PartValue {
    /// "open": choose for me.
    Open,
    /// Chosen: value in SI units, with its own tolerance if one was written.
    Chosen {
        /// The value, and the tolerance if one was written beside it.
        quantity: Toleranced,
        /// Ω for R, F for C, V for V.
        unit: Unit,
    },
}

impl PartValue {
    /// The value in SI units, if it is chosen.
    pub fn chosen(&self) -> Option<f64> {
        match self {
            Self::Open => None,
            Self::Chosen { quantity, .. } => Some(quantity.value),
        }
    }
}

/// `[supply]`, against the ground of the board.
#[derive(Debug, Clone, PartialEq)]
pub struct Supply {
    /// Positive rail, V.
    pub positive: Given<Toleranced>,
    /// Negative rail, V; 0 V for a single supply.
    pub negative: Given<Toleranced>,
}

impl FrontEnd {
    /// Everything but the two maps, which are sections of their own. `circuit` is the header of `[circuit]`, which
    /// says by itself that the circuit is the user's own.
    pub(super) fn read(mut r: Reader<'_, '_>, circuit: Option<Span>) -> Option<Self> {
        let own = circuit.filter(|_| !r.has("topology"));
        let topology = match own {
            Some(header) => Some(Given { value: Topology::Own, origin: Origin::File(header) }),
            None => r.choice("topology", Topology::SPELLINGS),
        };
        let (mut amplifier, mut buffer) = (None, None);
        match topology.as_ref().map(|topology| topology.value) {
            Some(Topology::BuiltIn(id)) => {
                let asks = |record: &str| {
                    library::named(id).is_some_and(|b| b.records().iter().any(|(name, _)| *name == record))
                };
                if asks("amplifier") {
                    amplifier = r.text("amplifier");
                }
                if asks("buffer") {
                    buffer = r.text("buffer");
                }
                r.finish(&["values", "tolerance"]);
                if asks("amplifier") {
                    amplifier.as_ref()?;
                }
            }
            Some(Topology::Own | Topology::Any) => {
                amplifier = r.has("amplifier").then(|| r.text("amplifier")).flatten();
                buffer = r.has("buffer").then(|| r.text("buffer")).flatten();
                r.finish(&["values", "tolerance"]);
            }
            None => r.abandon(),
        }
        Some(Self {
            topology: topology?,
            amplifier,
            buffer,
            values: BTreeMap::new(),
            tolerance: BTreeMap::new(),
        })
    }

    /// That of a file with a `[circuit]` and no `[front_end]`.
    pub(super) fn own(circuit: Span) -> Self {
        Self {
            topology: Given { value: Topology::Own, origin: Origin::File(circuit) },
            amplifier: None,
            buffer: None,
            values: BTreeMap::new(),
            tolerance: BTreeMap::new(),
        }
    }

    pub(super) fn read_values(mut r: Reader<'_, '_>) -> BTreeMap<String, Given<PartValue>> {
        let names = r.names();
        let read = |name: String| {
            let value = r.get(&name, |walk, key, name, value, _| walk.part(key, name, value))?;
            Some((name, value))
        };
        names.into_iter().filter_map(read).collect()
    }

    pub(super) fn read_tolerances(mut r: Reader<'_, '_>) -> BTreeMap<String, Given<f64>> {
        let names = r.names();
        let read = |name: String| {
            let value = r.quantity(&name)?;
            Some((name, value))
        };
        names.into_iter().filter_map(read).collect()
    }
}

impl Supply {
    pub(super) fn read(mut r: Reader<'_, '_>) -> Option<Self> {
        let positive = r.toleranced("positive");
        let negative = r.toleranced("negative");
        r.finish(&[]);
        Some(Self { positive: positive?, negative: negative? })
    }
}
