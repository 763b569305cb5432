//! `[front_end]` and `[supply]`: the topology, its part values, and what feeds it.

use super::given::Given;
use super::walk::Reader;
use crate::quantity::{Toleranced, Unit};
use std::collections::BTreeMap;

/// `[front_end]`.
#[derive(Debug, Clone, PartialEq)]
pub struct FrontEnd {
    /// The named circuit.
    pub topology: Given<Topology>,
    /// Name of the record `[amplifier.NAME]` of the amplifier.
    pub amplifier: Given<String>,
    /// Name of the record of the buffer, where the topology has one.
    pub buffer: Option<Given<String>>,
    /// `[front_end.values]`: designator to value. A designator that is not there is open.
    pub values: BTreeMap<String, Given<PartValue>>,
    /// `[front_end.tolerance]`: designator to tolerance (ratio), instead of the one of `[parts]`.
    pub tolerance: BTreeMap<String, Given<f64>>,
}

/// A named circuit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Topology {
    /// One amplifier, non-inverting, with analog compensation of the reference junction.
    SingleAmplifier,
    /// An instrumentation amplifier into a converter; the reference junction has its own sensor.
    Instrumentation,
}

impl Topology {
    /// Every accepted spelling; the first of each is its short id.
    pub const SPELLINGS: &'static [(&'static str, Self)] = &[
        ("single-amplifier", Self::SingleAmplifier),
        ("one amplifier, analog compensation", Self::SingleAmplifier),
        ("instrumentation", Self::Instrumentation),
        ("instrumentation amplifier", Self::Instrumentation),
    ];

    /// Short id, as accepted in the file.
    pub fn id(self) -> &'static str {
        match self {
            Self::SingleAmplifier => "single-amplifier",
            Self::Instrumentation => "instrumentation",
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
    /// Everything but the two maps, which are sections of their own.
    pub(super) fn read(mut r: Reader<'_, '_>) -> Option<Self> {
        let topology = r.choice("topology", Topology::SPELLINGS);
        let amplifier = r.text("amplifier");
        let mut buffer = None;
        match topology.as_ref().map(|topology| topology.value) {
            Some(Topology::Instrumentation) => {
                buffer = r.text("buffer");
                r.finish(&["values", "tolerance"]);
            }
            Some(Topology::SingleAmplifier) => r.finish(&["values", "tolerance"]),
            None => r.abandon(),
        }
        Some(Self {
            topology: topology?,
            amplifier: amplifier?,
            buffer,
            values: BTreeMap::new(),
            tolerance: BTreeMap::new(),
        })
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
