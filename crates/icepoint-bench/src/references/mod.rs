//! What a board is compared with on the bench, and how well that is known.
//!
//! **Why it matters.** A calibration can't be better than its reference. “Boiling water is 100 °C” is wrong by 1.5 K in
//! a town at 540 m, and a mug of ice and water by a few tenths where nobody stirred. So each reference gives a value
//! *and* everything by which it may be off, one component each, with the source of its size.
//!
//! **In, out.** A record `[references.NAME]` of the chain file, or words such as `boiling water 987 hPa` in a column of
//! readings ([`read`]); out comes [`Known`]: °C or V with its components.
//!
//! **Correlation.** A certificate is wrong in the same way each time it is used, a display's last digit anew each time.
//! [`Component::tag`] says so: components with the same tag are one and the same deviation, in the same multiple of
//! their standard uncertainty.
//!
//! **Left out.** Heat that a probe conducts out of a short immersion: it depends on the probe, so immerse it fifteen
//! diameters deep and more (common practice, no source).

mod boiling_water;
mod fixed_point;
mod ice_bath;
mod instrument;
mod millivolts;
mod short;
mod text;

use icepoint_chain::file::{ChainFile, PressureFrom, ReferenceKind};
use icepoint_chain::imperfection::{Distribution, Source, SourceKind};
use icepoint_chain::statistics::{coverage_factor, effective_degrees_of_freedom};
use icepoint_sensors::OutOfRange;

pub use boiling_water::{BoilingWater, Pressure, Where};
pub use fixed_point::FixedPointCell;
pub use ice_bath::IceBath;
pub use instrument::{Certificate, Instrument, degrees_of_freedom};
pub use millivolts::{Leads, MillivoltSource, Stated};
pub use text::{Named, millivolt_source, read};
pub(crate) use text::{UNKNOWN_SOURCE, WORDS};

/// A reference with what is known of it.
#[derive(Clone, Debug, PartialEq)]
pub enum Reference {
    /// Melting ice.
    IceBath(IceBath),
    /// Boiling water.
    BoilingWater(BoilingWater),
    /// A cell of a fixed point of ITS-90.
    FixedPoint(FixedPointCell),
    /// A thermometer beside the probe.
    Thermometer(Instrument),
    /// A dry well or furnace with a display.
    DryWell(Instrument),
    /// A source of millivolts instead of the probe.
    Millivolts(MillivoltSource),
    /// A piece of copper wire from terminal to terminal instead of the probe.
    Short,
}

/// What a reading must say beside the name of its reference.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Takes {
    /// Nothing: the reference has one value.
    Nothing,
    /// The temperature that the reference shows, °C.
    Celsius,
    /// The voltage that is set, V.
    Volts,
}

/// What the value of a reference is a value of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Quantity {
    /// Temperature of the measuring junction, °C; components in K.
    Celsius,
    /// Voltage where copper ends, V; components in V.
    Volts,
}

/// How long a deviation of a reference stays the same.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sharing {
    /// In every reading with this reference: a certificate, a source's gain.
    Reference,
    /// In all readings at one setting of it: the uniformity of a bath.
    Setting,
    /// Another one in each reading: the last digit.
    Reading,
}

/// One way in which a reference may be off.
#[derive(Clone, Debug, PartialEq)]
pub struct Component {
    /// Stable identifier within the reference: `certificate`, `barometer`.
    pub id: &'static str,
    /// In words, with the figure that it comes from.
    pub label: String,
    /// What is known of its size, in K or V as the value.
    pub distribution: Distribution,
    /// Where the size comes from.
    pub source: Source,
    /// How long it stays the same.
    pub sharing: Sharing,
    /// Of its standard uncertainty.
    pub degrees_of_freedom: f64,
}

impl Component {
    fn new(
        id: &'static str,
        label: impl Into<String>,
        distribution: Distribution,
        source: Source,
        sharing: Sharing,
    ) -> Self {
        Self { id, label: label.into(), distribution, source, sharing, degrees_of_freedom: f64::INFINITY }
    }

    /// Standard uncertainty with the sign of its size: readings that share a tag move by this, times one common number.
    pub fn signed_standard(&self) -> f64 {
        let (Distribution::Rectangular(size)
        | Distribution::OneSided(size)
        | Distribution::Normal(size)
        | Distribution::Arcsine(size)) = self.distribution;
        self.distribution.standard().copysign(size)
    }

    /// Name of the deviation that this is. `setting` is the value set or shown; `reading` the number of the reading.
    pub fn tag(&self, reference: &str, setting: f64, reading: usize) -> Tag {
        let shared = match self.sharing {
            Sharing::Reference => Shared::Always,
            Sharing::Setting => Shared::at(setting),
            Sharing::Reading => Shared::InReading(reading),
        };
        Tag { reference: reference.to_owned(), part: self.id, shared }
    }
}

/// Name of a deviation of a reference: where it is equal it is one and the same deviation, in the same multiple of its
/// standard uncertainty.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Tag {
    /// Name of the reference, in any letters.
    pub reference: String,
    /// Which of its deviations.
    pub part: &'static str,
    /// Where it is the same.
    pub shared: Shared,
}

/// Where a deviation is the same.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Shared {
    /// Wherever the reference is used: on every occasion, with every board.
    Always,
    /// At one setting, as it is printed: gone with the bath.
    AtSetting(String),
    /// In the reading on one line.
    InReading(usize),
}

impl Shared {
    /// At a setting. A micro-unit apart is another setting; less is how a number was typed.
    pub fn at(setting: f64) -> Self {
        Self::AtSetting(format!("{:.6e}", setting + 0.0))
    }
}

impl core::fmt::Display for Tag {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        write!(f, "{}.{}", self.reference, self.part)?;
        match &self.shared {
            Shared::Always => Ok(()),
            Shared::AtSetting(setting) => write!(f, "@{setting}"),
            Shared::InReading(line) => write!(f, "#{line}"),
        }
    }
}

/// A value with everything by which it may be off.
#[derive(Clone, Debug, PartialEq)]
pub struct Known {
    /// Temperature or voltage.
    pub quantity: Quantity,
    /// The value with every component at zero, °C or V.
    pub nominal: f64,
    /// What may move it; independent of each other within one reading.
    pub components: Vec<Component>,
}

impl Known {
    /// Best estimate: the nominal value with the mean of what can only go one way, °C or V.
    pub fn best(&self) -> f64 {
        self.nominal + self.components.iter().map(|c| c.distribution.mean()).sum::<f64>()
    }

    /// Combined standard uncertainty, K or V (JCGM 100, 5.1.2).
    pub fn standard(&self) -> f64 {
        self.components
            .iter()
            .map(|c| c.distribution.standard() * c.distribution.standard())
            .sum::<f64>()
            .sqrt()
    }

    /// Effective degrees of freedom (JCGM 100, G.4.1).
    pub fn degrees_of_freedom(&self) -> f64 {
        effective_degrees_of_freedom(
            self.components.iter().map(|c| (c.distribution.standard(), c.degrees_of_freedom)),
        )
    }

    /// Expanded uncertainty for 95 %, K or V.
    pub fn expanded_95(&self) -> f64 {
        coverage_factor(0.95, self.degrees_of_freedom()) * self.standard()
    }
}

/// Why a reference has no value.
#[derive(Clone, Debug, PartialEq)]
pub enum ReferenceError {
    /// It needs the temperature or the voltage that goes with it.
    Needs(Takes),
    /// The certificate says nothing there.
    BeyondCertificate {
        /// What was shown, °C.
        shown: f64,
        /// First and last temperature of the certificate, °C.
        range: (f64, f64),
    },
    /// Outside the range of a published function.
    Range(OutOfRange),
}

impl core::fmt::Display for ReferenceError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::Needs(Takes::Volts) => f.write_str("a millivolt source needs the voltage that was set"),
            Self::Needs(_) => f.write_str("this reference needs the temperature that it shows"),
            Self::BeyondCertificate { shown, range: (low, high) } => write!(
                f,
                "{shown} °C is beyond the certificate, which runs from {low} °C to {high} °C and says nothing outside"
            ),
            Self::Range(error) => error.fmt(f),
        }
    }
}

impl core::error::Error for ReferenceError {}

impl From<OutOfRange> for ReferenceError {
    fn from(error: OutOfRange) -> Self {
        Self::Range(error)
    }
}

impl Reference {
    /// What it is, in words.
    pub fn kind(&self) -> &'static str {
        match self {
            Self::IceBath(_) => "ice bath",
            Self::BoilingWater(_) => "boiling water",
            Self::FixedPoint(_) => "fixed point",
            Self::Thermometer(_) => "thermometer",
            Self::DryWell(_) => "dry well",
            Self::Millivolts(_) => "millivolt source",
            Self::Short => "short",
        }
    }

    /// What a reading must say beside its name.
    pub fn takes(&self) -> Takes {
        match self {
            Self::IceBath(_) | Self::BoilingWater(_) | Self::FixedPoint(_) | Self::Short => Takes::Nothing,
            Self::Thermometer(_) | Self::DryWell(_) => Takes::Celsius,
            Self::Millivolts(_) => Takes::Volts,
        }
    }

    /// What it is known to be; `shown` is what [`Reference::takes`] asks for: °C shown or V set.
    ///
    /// # Errors
    /// [`ReferenceError`] when `shown` is needed and missing, or beyond the certificate or a published range.
    pub fn known(&self, shown: Option<f64>) -> Result<Known, ReferenceError> {
        let shown = |takes| shown.filter(|v| v.is_finite()).ok_or(ReferenceError::Needs(takes));
        match self {
            Self::IceBath(ice) => Ok(ice.known()),
            Self::BoilingWater(water) => water.known(),
            Self::FixedPoint(cell) => cell.known(),
            Self::Thermometer(instrument) | Self::DryWell(instrument) => {
                instrument.known(shown(Takes::Celsius)?)
            }
            Self::Millivolts(source) => Ok(source.known(shown(Takes::Volts)?)),
            Self::Short => Ok(short::known()),
        }
    }

    /// From a record of a chain file; `None` for a voltmeter, which only looks.
    pub fn from_record(kind: &ReferenceKind) -> Option<Self> {
        Some(match kind {
            ReferenceKind::IceBath { made, accuracy } => {
                Self::IceBath(IceBath { made: **made, accuracy: accuracy.as_ref().map(|a| **a) })
            }
            ReferenceKind::BoilingWater { pressure, probe_in, depth } => {
                let pressure = match pressure {
                    PressureFrom::Barometer(p) => Pressure::barometer(**p),
                    PressureFrom::Altitude { altitude, sea_level } => {
                        Pressure::Altitude { metres: **altitude, sea_level: sea_level.as_ref().map(|p| **p) }
                    }
                };
                Self::BoilingWater(BoilingWater { pressure, place: Where::new(**probe_in, **depth) })
            }
            ReferenceKind::FixedPoint { substance, accuracy, depth } => {
                Self::FixedPoint(FixedPointCell { substance, accuracy: **accuracy, depth: **depth })
            }
            ReferenceKind::Thermometer(record) => Self::Thermometer(Instrument::from(record)),
            ReferenceKind::DryWell(record) => Self::DryWell(Instrument::from(record)),
            ReferenceKind::MillivoltSource {
                reading_error,
                range_error,
                resolution,
                thermal_emf,
                leads,
                thermometer,
                output_resistance,
            } => Self::Millivolts(MillivoltSource {
                relative: **reading_error,
                fixed: **range_error,
                resolution: **resolution,
                thermal_emf: **thermal_emf,
                leads: (**leads).into(),
                thermometer: **thermometer,
                output_resistance: **output_resistance,
                stated: Stated {
                    thermometer: thermometer.is_from_file(),
                    output_resistance: output_resistance.is_from_file(),
                },
            }),
            ReferenceKind::Voltmeter { .. } => return None,
        })
    }

    /// The references of a chain file with their names, in the order of the names.
    pub fn of_file(file: &ChainFile) -> Vec<Named> {
        file.references
            .iter()
            .filter_map(|(name, record)| {
                Some(Named { name: name.clone(), reference: Self::from_record(&record.kind)? })
            })
            .collect()
    }
}

fn practice() -> Source {
    Source { kind: SourceKind::CommonPractice, text: "common practice, no source".to_owned() }
}

fn standard(text: &str) -> Source {
    Source { kind: SourceKind::Standard, text: text.to_owned() }
}

fn user(text: &str) -> Source {
    Source { kind: SourceKind::User, text: text.to_owned() }
}
