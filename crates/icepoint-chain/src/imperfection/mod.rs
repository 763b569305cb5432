//! Everything by which a real chain may differ from the ideal one: one entry each, with what is known of its size.
//!
//! **In, out.** The families below read a [`Chain`] and write a list of [`Imperfection`]s and, for
//! each, what it alters (`Effect`). The model applies them; the budget asks only for sizes. A deviation of zero in
//! every entry is the ideal chain.
//!
//! **Sizes.** A stated limit is a rectangular distribution (JCGM 100, 4.3.7) unless the user says otherwise; a data
//! sheet's typical figure alone is one standard deviation (common practice, no source). What can only go one way
//! (self-heating, a finite gain) runs from zero to its limit, and its mean is part of the best estimate.
//!
//! **Board, later, occasion or reading.** Most deviations belong to one board for its life, and a calibration catches
//! them. Ageing and drift come after it. The gradient at the terminals and the supply are at one value when the board
//! is calibrated and at another when it is used. Noise, pick-up, quantisation and the converter's non-linearity differ
//! from reading to reading. A calibration can't remove any of the last three.
//!
//! The reading rule has no entry: the non-linearity of a straight line, a table's chords and a polynomial's error are
//! computed exactly at every temperature and stand in the nominal reading as the known part of the error.
//!
//! A new family is one file here and one line in `collect`.

mod adjustable;
mod amplifier;
mod converter;
mod junction;
mod lead;
mod mains;
mod noise;
mod probe;
mod protection;
mod reference;
mod resistor;
mod scatter;
mod sensing;

pub use scatter::SCATTER;

use icepoint_circuit::ParameterId;

use crate::chain::Chain;
use crate::dynamics::{Dynamics, Look, MainsResidual};
use crate::sensing::Figure;
use crate::wiring::Wiring;

/// One way in which a chain may deviate from the ideal.
#[derive(Clone, Debug, PartialEq)]
pub struct Imperfection {
    /// Stable identifier: `probe.tolerance`, `R3.tempco`, `A1.offset`.
    pub id: String,
    /// In words.
    pub label: String,
    /// Which family of the model.
    pub family: Family,
    /// What is known of its size.
    pub distribution: Distribution,
    /// Unit of the deviation: `V`, `A`, `K`, `1` (relative), `1/K`, …
    pub unit: &'static str,
    /// Where the size comes from.
    pub source: Source,
    /// For the life of the board, or for one reading.
    pub persistence: Persistence,
    /// Trims that take it away, as far as it acts like what they shift.
    pub removed_by: Removes,
}

/// The families of imperfections, in signal order.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Family {
    /// Thermocouple tolerance and drift.
    Probe,
    /// Extension or compensating cable.
    Lead,
    /// Sensor of the reference junction, gradient, compensator.
    Junction,
    /// Resistor tolerance, temperature coefficient, ageing.
    Resistor,
    /// Leakage of clamps, detection of a broken loop.
    Protection,
    /// Amplifier errors.
    Amplifier,
    /// Supply and voltage reference.
    Reference,
    /// Converter errors.
    Converter,
    /// Reading rule: non-linearity, table and polynomial error.
    Readout,
    /// Noise.
    Noise,
    /// Mains pick-up.
    Mains,
    /// Uncertainty brought in by the calibration itself.
    Calibration,
}

impl Family {
    /// In words.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Probe => "probe",
            Self::Lead => "lead",
            Self::Junction => "reference junction",
            Self::Resistor => "resistors",
            Self::Protection => "protection",
            Self::Amplifier => "amplifiers",
            Self::Reference => "supply and reference",
            Self::Converter => "converter",
            Self::Readout => "reading rule",
            Self::Noise => "noise",
            Self::Mains => "mains",
            Self::Calibration => "calibration",
        }
    }
}

/// What is known of the size of a deviation, in its unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Distribution {
    /// Anywhere within ± this, evenly.
    Rectangular(f64),
    /// Anywhere from zero to this, evenly.
    OneSided(f64),
    /// Normal with this standard deviation.
    Normal(f64),
    /// A sine of this amplitude caught at any phase.
    Arcsine(f64),
}

/// Worst case of a normal deviation, in standard deviations: 99.7 % (common practice, no source).
pub const NORMAL_LIMIT: f64 = 3.0;

impl Distribution {
    /// Mean.
    pub fn mean(self) -> f64 {
        if let Self::OneSided(max) = self { 0.5 * max } else { 0.0 }
    }

    /// Standard uncertainty: a/√3 rectangular (JCGM 100, 4.3.7), half of that one-sided, a/√2 for a sine.
    pub fn standard(self) -> f64 {
        match self {
            Self::Rectangular(a) => a.abs() / 3f64.sqrt(),
            Self::OneSided(a) => a.abs() / 12f64.sqrt(),
            Self::Normal(s) => s.abs(),
            Self::Arcsine(a) => a.abs() / 2f64.sqrt(),
        }
    }

    /// Lowest and highest value that the worst case counts with.
    pub fn limits(self) -> (f64, f64) {
        match self {
            Self::Rectangular(a) | Self::Arcsine(a) => (-a.abs(), a.abs()),
            Self::OneSided(a) => (a.min(0.0), a.max(0.0)),
            Self::Normal(s) => (-NORMAL_LIMIT * s.abs(), NORMAL_LIMIT * s.abs()),
        }
    }

    /// In words, as the dossier prints it.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Rectangular(_) => "rectangular",
            Self::OneSided(_) => "rectangular, one-sided",
            Self::Normal(_) => "normal",
            Self::Arcsine(_) => "sine at any phase",
        }
    }
}

/// Where a size comes from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Source {
    /// Kind of source.
    pub kind: SourceKind,
    /// Which one.
    pub text: String,
}

/// Kind of source.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum SourceKind {
    /// A published standard.
    Standard,
    /// Figures that the user copied from a data sheet.
    DataSheet,
    /// The user's own figure or a stated default of it.
    User,
    /// Common practice, no source.
    CommonPractice,
    /// Computed by the model from other figures.
    Computed,
}

impl Source {
    pub(crate) fn new(kind: SourceKind, text: impl Into<String>) -> Self {
        Self { kind, text: text.into() }
    }

    pub(crate) fn data_sheet(of: &str) -> Self {
        Self::new(SourceKind::DataSheet, format!("data sheet of {of}"))
    }
}

/// How long a deviation stays.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Persistence {
    /// The same in every reading of one board, its calibration included.
    Board,
    /// Comes after the calibration: ageing and drift. Nothing of it is there yet when the board is calibrated.
    Later,
    /// One value while the board is calibrated, another when it is used: the airflow at the terminals, the supply.
    Occasion,
    /// Different in every reading.
    Reading,
}

/// Which trims take a deviation away.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub struct Removes {
    /// Acts like an offset at the calibration temperature.
    pub zero: bool,
    /// Acts like a gain at the calibration temperature.
    pub span: bool,
}

impl Removes {
    pub(crate) const NOTHING: Self = Self { zero: false, span: false };
    pub(crate) const ZERO: Self = Self { zero: true, span: false };
    pub(crate) const SPAN: Self = Self { zero: false, span: true };
    pub(crate) const BOTH: Self = Self { zero: true, span: true };

    /// In words: "zero", "span", "zero and span" or "none".
    pub const fn name(self) -> &'static str {
        match (self.zero, self.span) {
            (false, false) => "none",
            (true, false) => "zero",
            (false, true) => "span",
            (true, true) => "zero and span",
        }
    }
}

/// What a deviation of an adjustable resistor alters.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Travel {
    /// Resistance of the track, relative.
    Track,
    /// The same per kelvin of board temperature away from 25 °C.
    TrackPerKelvin,
    /// Place of the wiper, share of the track.
    Setting,
}

/// What a deviation alters.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Effect {
    /// Share of the probe's class limit, applied as a temperature.
    ProbeTolerance,
    /// Probe drift, K at the far end of the range.
    ProbeDrift,
    /// Share of the cable tolerance.
    Lead,
    /// Error of the reference-junction sensor, K.
    Sensor,
    /// Its change per kelvin of board temperature away from 25 °C.
    SensorDrift,
    /// Relative change of the resistance that a resistive sensor seems to have.
    SensorRatio,
    /// The same per kelvin of board temperature away from 25 °C.
    SensorRatioDrift,
    /// Relative change of a thermistor's beta.
    SensorBeta,
    /// Share of a platinum resistor's class limit.
    SensorClass,
    /// Error of the share of the reference that the sensor's divider gives.
    SensorFraction,
    /// Bow of an analog sensor, K at the ends of the board range.
    SensorBow,
    /// Terminals warmer than the place of the sensor, K.
    Gradient,
    /// Figure of a part that follows the temperature: its place in [`Wiring::sensing`].
    Part { part: usize, figure: Figure },
    /// A current that doubles in so many kelvins, stated at 25 °C.
    Leakage { slot: ParameterId, doubling: f64 },
    /// Circuit parameters: each gets `scale·deviation`, times (board − 25 °C) if `per_kelvin`.
    Parameters { slots: Vec<(ParameterId, f64)>, per_kelvin: bool },
    /// An adjustable resistor: its place in [`Wiring::adjustable`].
    Adjustable { part: usize, travel: Travel },
    /// Relative change of the resistor that sets the gain of an instrumentation amplifier.
    GainResistor { amplifiers: Vec<usize>, per_kelvin: bool },
    /// Relative change of the gain of an instrumentation amplifier.
    Gain { amplifier: usize, per_kelvin: bool },
    /// Volts at the converter's input.
    ConverterVolts,
    /// Volts at the converter's input for each volt common to its two inputs.
    ConverterCommon,
    /// Relative gain of the converter.
    ConverterGain,
    /// Several of the above from the same cause (a network's common deviation).
    Several(Vec<Effect>),
}

/// Collects entries and effects.
#[derive(Debug, Default)]
pub(crate) struct Collector {
    pub imperfections: Vec<Imperfection>,
    pub effects: Vec<Effect>,
}

impl Collector {
    /// Adds an entry unless its size is zero (then the chain is exact in it and the list stays short).
    pub fn add(&mut self, imperfection: Imperfection, effect: Effect) {
        let size = imperfection.distribution.standard();
        if size > 0.0 && size.is_finite() {
            self.imperfections.push(imperfection);
            self.effects.push(effect);
        }
    }
}

/// Board temperature at which resistor values, references and amplifiers are specified, °C (data-sheet convention).
pub const SPECIFIED_AT: f64 = 25.0;

/// All imperfections of a chain. Those of noise and mains need the circuit's response and are added by
/// [`collect_dynamic`].
pub(crate) fn collect(chain: &Chain, wiring: &Wiring) -> Collector {
    let mut list = Collector::default();
    probe::add(chain, &mut list);
    lead::add(chain, &mut list);
    junction::add(chain, &mut list);
    sensing::add(chain, wiring, &mut list);
    resistor::add(chain, wiring, &mut list);
    adjustable::add(wiring, &mut list);
    protection::add(chain, wiring, &mut list);
    amplifier::add(chain, wiring, &mut list);
    reference::add(chain, wiring, &mut list);
    converter::add(chain, wiring, &mut list);
    list
}

/// Noise and mains, from the response of the circuit at its nominal values.
pub(crate) fn collect_dynamic(
    chain: &Chain,
    wiring: &Wiring,
    values: &[f64],
    mains: Option<MainsResidual>,
    look: Look,
    list: &mut Collector,
) -> Result<Dynamics, icepoint_circuit::CircuitError> {
    let dynamics = Dynamics::new(chain, wiring, values, mains, look)?;
    noise::add(&dynamics, list);
    mains::add(&dynamics.mains, list);
    scatter::add(chain, list);
    protection::add_residues(chain, wiring, values, list)?;
    Ok(dynamics)
}
