//! `[references.NAME]`: what a board is compared with on the bench, and the meter that looks at its test points.
//!
//! Only what the user knows is kept here. What temperature or voltage follows from it and how well that is known is
//! the business of `icepoint-bench`, which has the source of every figure.

use super::given::{Given, Span};
use super::keys::{REFERENCES, ReferenceWord};
use super::problem::Problem;
use super::walk::Reader;
use crate::quantity::{Toleranced, Unit, format};

/// A record `[references.NAME]`.
#[derive(Debug, Clone, PartialEq)]
pub struct ReferenceRecord {
    /// Its own name.
    pub name: String,
    /// What it is.
    pub kind: ReferenceKind,
}

/// What a reference is, with what its owner knows of it.
#[derive(Debug, Clone, PartialEq)]
pub enum ReferenceKind {
    /// Melting ice.
    IceBath {
        /// How it is made.
        made: Given<IceBathMade>,
        /// The owner's own figure for it, ± K, instead of the published or usual ones.
        accuracy: Option<Given<f64>>,
    },
    /// Boiling water.
    BoilingWater {
        /// Where the pressure comes from.
        pressure: PressureFrom,
        /// Where the probe is.
        probe_in: Given<ProbeIn>,
        /// Depth of the probe below the surface, m.
        depth: Given<f64>,
    },
    /// A cell of a fixed point of ITS-90.
    FixedPoint {
        /// Symbol of the substance.
        substance: Given<&'static str>,
        /// How well the cell realises it, ± K.
        accuracy: Given<f64>,
        /// Depth of the probe below the surface, m.
        depth: Given<f64>,
    },
    /// A thermometer beside the probe.
    Thermometer(Instrument),
    /// A dry well or furnace with a display of its own.
    DryWell(Instrument),
    /// A source of millivolts at the terminals. ±(`reading_error`·|v| + `range_error`).
    MillivoltSource {
        /// Share of the value.
        reading_error: Given<f64>,
        /// Fixed part, V.
        range_error: Given<f64>,
        /// One digit, V.
        resolution: Given<f64>,
        /// Thermal emfs of clips and contacts, ± V.
        thermal_emf: Given<f64>,
        /// What joins it to the terminals.
        leads: Given<SourceLeads>,
        /// Knowledge of the temperature of the junction to copper, ± K.
        thermometer: Given<f64>,
        /// Ω.
        output_resistance: Given<f64>,
    },
    /// A voltmeter for the test points. ±(`reading_error`·|v| + `range_error`).
    Voltmeter {
        /// Share of the reading.
        reading_error: Given<f64>,
        /// Fixed part, V.
        range_error: Given<f64>,
        /// One digit, V.
        resolution: Given<f64>,
        /// Ω.
        input_resistance: Given<f64>,
    },
}

/// How an ice bath is made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum IceBathMade {
    /// Shaved ice of distilled water, packed wet in a vacuum flask, the probe deep in it.
    Well,
    /// Crushed tap-water ice and water in a mug, stirred.
    Quick,
}

/// Where the pressure over boiling water comes from.
#[derive(Debug, Clone, PartialEq)]
pub enum PressureFrom {
    /// A barometer on the spot (station pressure), Pa.
    Barometer(Given<Toleranced>),
    /// The altitude, and the pressure reduced to sea level if a weather report told it.
    Altitude {
        /// m.
        altitude: Given<f64>,
        /// Pa.
        sea_level: Option<Given<Toleranced>>,
    },
}

/// Where the probe is in boiling water.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ProbeIn {
    /// In the steam just above it.
    Steam,
    /// In the water.
    Water,
}

/// What joins a millivolt source to the terminals.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SourceLeads {
    /// Copper: the junction of the metals is at the terminals.
    Copper,
    /// Wire of the thermocouple's own kind: the junction of the metals is at the source.
    ThermocoupleWire,
}

/// A thermometer or dry well: what its display, its certificate and its owner say.
#[derive(Debug, Clone, PartialEq)]
pub struct Instrument {
    /// The certificate, if there is one.
    pub certificate: Option<Certificate>,
    /// Limit of its error without a certificate, ± K.
    pub accuracy: Option<Given<f64>>,
    /// Limit of its drift since the certificate, ± K.
    pub drift: Given<f64>,
    /// Limit of the difference between it and the probe, ± K.
    pub uniformity: Given<f64>,
    /// One digit of its display, K.
    pub digit: Given<f64>,
}

/// A certificate: corrections at indicated temperatures.
#[derive(Debug, Clone, PartialEq)]
pub struct Certificate {
    /// Indicated temperatures, °C, rising.
    pub at: Given<Vec<f64>>,
    /// What to add there, K; as many.
    pub correction: Given<Vec<f64>>,
    /// Expanded uncertainty, K.
    pub uncertainty: Given<f64>,
    /// Its coverage factor.
    pub coverage_factor: Given<f64>,
}

impl IceBathMade {
    /// Every spelling.
    pub const SPELLINGS: &'static [(&'static str, Self)] = &[("well", Self::Well), ("quick", Self::Quick)];
}

impl ProbeIn {
    /// Every spelling.
    pub const SPELLINGS: &'static [(&'static str, Self)] = &[("steam", Self::Steam), ("water", Self::Water)];
}

impl SourceLeads {
    /// Every spelling.
    pub const SPELLINGS: &'static [(&'static str, Self)] =
        &[("copper", Self::Copper), ("thermocouple wire", Self::ThermocoupleWire)];
}

/// Symbols of the fixed points of ITS-90 that a cell is made for.
pub const SUBSTANCES: &[(&str, &str)] = &[
    ("Hg", "Hg"),
    ("H2O", "H2O"),
    ("Ga", "Ga"),
    ("In", "In"),
    ("Sn", "Sn"),
    ("Zn", "Zn"),
    ("Al", "Al"),
    ("Ag", "Ag"),
    ("Au", "Au"),
    ("Cu", "Cu"),
];

impl ReferenceRecord {
    pub(super) fn read(name: &str, mut r: Reader<'_, '_>) -> Option<Self> {
        let word = r.choice("kind", REFERENCES);
        let kind = match word.map(|word| word.value) {
            Some(ReferenceWord::IceBath) => {
                let (made, accuracy) = (r.choice("made", IceBathMade::SPELLINGS), r.quantity("accuracy"));
                made.map(|made| ReferenceKind::IceBath { made, accuracy })
            }
            Some(ReferenceWord::BoilingWater) => boiling(&mut r),
            Some(ReferenceWord::FixedPoint) => {
                let substance = r.choice("substance", SUBSTANCES);
                let accuracy = r.quantity("cell_accuracy");
                let depth = r.quantity("depth");
                match (substance, accuracy, depth) {
                    (Some(substance), Some(accuracy), Some(depth)) => {
                        Some(ReferenceKind::FixedPoint { substance, accuracy, depth })
                    }
                    _ => None,
                }
            }
            Some(ReferenceWord::Thermometer) => instrument(&mut r).map(ReferenceKind::Thermometer),
            Some(ReferenceWord::DryWell) => instrument(&mut r).map(ReferenceKind::DryWell),
            Some(ReferenceWord::MillivoltSource) => source(&mut r),
            Some(ReferenceWord::Voltmeter) => voltmeter(&mut r),
            None => {
                r.abandon();
                return None;
            }
        };
        r.finish(&[]);
        Some(Self { name: name.to_owned(), kind: kind? })
    }
}

fn boiling(r: &mut Reader<'_, '_>) -> Option<ReferenceKind> {
    let (by_pressure, by_altitude) = (r.has("pressure"), r.has("altitude"));
    let pressure = r.toleranced("pressure");
    let altitude = r.quantity("altitude");
    // Beside a barometer it has no effect, and is told as such.
    let sea_level = if by_altitude { r.toleranced("sea_level_pressure") } else { None };
    let probe_in = r.choice("probe_in", ProbeIn::SPELLINGS);
    let depth = r.quantity("depth");
    if by_pressure && by_altitude {
        let place = altitude.as_ref().and_then(Given::span).unwrap_or(Span::new(0, 0));
        r.walk.problem(
            Problem::new("reference.two_pressures", "pressure and altitude both tell the pressure")
                .at(place, "which of the two?")
                .also(pressure.as_ref().and_then(Given::span), "the barometer")
                .expected("pressure of a barometer on the spot, or altitude")
                .help("keep pressure: a barometer on the spot is the better of the two"),
        );
        return None;
    }
    if !by_pressure && !by_altitude {
        r.require("pressure", ", and no altitude either");
        return None;
    }
    let pressure = match (pressure, altitude) {
        (Some(pressure), _) => PressureFrom::Barometer(pressure),
        (None, Some(altitude)) => PressureFrom::Altitude { altitude, sea_level },
        (None, None) => return None,
    };
    Some(ReferenceKind::BoilingWater { pressure, probe_in: probe_in?, depth: depth? })
}

fn instrument(r: &mut Reader<'_, '_>) -> Option<Instrument> {
    let certified = r.has("certificate_at")
        || r.has("certificate_correction")
        || r.has("certificate_uncertainty")
        || r.has("coverage_factor");
    let accuracy = r.quantity("accuracy");
    let mut certificate = None;
    let mut complete = true;
    if certified {
        let at = r.list("certificate_at");
        let correction = r.values("certificate_correction");
        let uncertainty = r.quantity("certificate_uncertainty");
        let coverage_factor = r.number("coverage_factor");
        for (name, missing) in [
            ("certificate_at", !r.has("certificate_at")),
            ("certificate_correction", !r.has("certificate_correction")),
            ("certificate_uncertainty", !r.has("certificate_uncertainty")),
        ] {
            if missing {
                r.require(name, ", which a certificate has");
            }
        }
        certificate = match (at, correction, uncertainty, coverage_factor) {
            (Some(at), Some(correction), Some(uncertainty), Some(coverage_factor)) => {
                complete = same_length(r, &at, &correction);
                Some(Certificate { at, correction, uncertainty, coverage_factor })
            }
            _ => {
                complete = false;
                None
            }
        };
    } else if accuracy.is_none() && !r.has("accuracy") {
        r.require("accuracy", ", and no certificate either");
        complete = false;
    }
    let drift = r.quantity("drift");
    let uniformity = r.quantity("uniformity");
    let digit = r.quantity("digit");
    if !complete {
        return None;
    }
    Some(Instrument { certificate, accuracy, drift: drift?, uniformity: uniformity?, digit: digit? })
}

/// Tells if the certificate has not as many corrections as temperatures.
fn same_length(r: &mut Reader<'_, '_>, at: &Given<Vec<f64>>, correction: &Given<Vec<f64>>) -> bool {
    let (points, corrections) = (at.len(), correction.len());
    if points == corrections {
        return true;
    }
    let what = format!("{corrections} for {points} temperatures");
    let mut problem = Problem::new(
        "reference.certificate_lengths",
        format!("the certificate has {points} temperatures and {corrections} corrections"),
    )
    .also(at.span(), format!("the last is {}", format(at.last().copied().unwrap_or(0.0), Unit::Celsius, 6)))
    .expected("one correction for each indicated temperature, in the same order")
    .help("write \"0 K\" where the certificate says that there is nothing to correct");
    if let Some(span) = correction.span() {
        problem = problem.at(span, what);
    }
    r.walk.problem(problem);
    false
}

fn source(r: &mut Reader<'_, '_>) -> Option<ReferenceKind> {
    let reading_error = r.quantity("reading_error");
    let range_error = r.quantity("range_error");
    let resolution = r.quantity("resolution");
    let thermal_emf = r.quantity("thermal_emf");
    let leads = r.choice("leads", SourceLeads::SPELLINGS);
    let thermometer = r.quantity("thermometer");
    let output_resistance = r.quantity("output_resistance");
    Some(ReferenceKind::MillivoltSource {
        reading_error: reading_error?,
        range_error: range_error?,
        resolution: resolution?,
        thermal_emf: thermal_emf?,
        leads: leads?,
        thermometer: thermometer?,
        output_resistance: output_resistance?,
    })
}

fn voltmeter(r: &mut Reader<'_, '_>) -> Option<ReferenceKind> {
    let reading_error = r.quantity("reading_error");
    let range_error = r.quantity("range_error");
    let resolution = r.quantity("resolution");
    let input_resistance = r.quantity("input_resistance");
    Some(ReferenceKind::Voltmeter {
        reading_error: reading_error?,
        range_error: range_error?,
        resolution: resolution?,
        input_resistance: input_resistance?,
    })
}
