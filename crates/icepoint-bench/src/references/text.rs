//! References as people write them in a column of readings: `ice bath`, `boiling water 987 hPa`, `zinc point`, or the
//! name of a record of the chain file.

use icepoint_chain::file::bounds::{ALTITUDE, Bound, DEPTH, ERROR, PRESSURE};
use icepoint_chain::file::{CalibrationMethod, ChainFile, IceBathMade, Problem, Span};
use icepoint_chain::quantity::{QuantityError, Toleranced, Unit, parse, parse_limit, parse_toleranced};

use super::{
    BoilingWater, FixedPointCell, IceBath, Instrument, Leads, MillivoltSource, Pressure, Reference, Stated,
    Where,
};

/// A reference with the name by which readings and correlations know it.
#[derive(Clone, Debug, PartialEq)]
pub struct Named {
    /// Name of the record, or the words themselves.
    pub name: String,
    /// What it is.
    pub reference: Reference,
}

/// Substances of fixed points by the words that people write.
const SUBSTANCES: &[(&str, &str)] = &[
    ("mercury", "Hg"),
    ("water triple", "H2O"),
    ("triple", "H2O"),
    ("gallium", "Ga"),
    ("indium", "In"),
    ("tin", "Sn"),
    ("zinc", "Zn"),
    ("aluminium", "Al"),
    ("aluminum", "Al"),
    ("silver", "Ag"),
    ("gold", "Au"),
    ("copper", "Cu"),
];
/// A sealed cell on a bench, ± K (common practice, no source; the chain file's default).
const CELL: f64 = 0.01;
/// Depth of a probe in a pot or a cell, m (common practice, no source; the chain file's default).
const USUAL_DEPTH: f64 = 0.1;
/// Words by which people name a reference that has no record, for “did you mean”.
pub(crate) const WORDS: &[&str] = &[
    "ice bath",
    "quick ice bath",
    "well-made ice bath",
    "ice point",
    "ice water",
    "melting ice",
    "boiling water",
    "thermometer",
    "millivolts",
    "millivolt source",
    "terminals shorted",
    "mercury point",
    "triple point of water",
    "gallium point",
    "indium point",
    "tin point",
    "zinc point",
    "aluminium point",
    "silver point",
    "gold point",
    "copper point",
];
/// What is accepted, for messages.
const EXPECTED: &str = "ice bath, quick ice bath, well-made ice bath, boiling water with its pressure or altitude, a fixed \
                        point such as zinc point, thermometer with its limit, millivolts, terminals shorted, or a name of [references.NAME]";

/// A millivolt source of which nothing is known: the defaults of the chain file.
pub(crate) const UNKNOWN_SOURCE: MillivoltSource = MillivoltSource {
    relative: 0.0005,
    fixed: 10e-6,
    resolution: 1e-6,
    thermal_emf: 3e-6,
    leads: Leads::Copper,
    thermometer: 0.2,
    output_resistance: 10.0,
    stated: Stated { thermometer: false, output_resistance: false },
};

/// The millivolt source of a chain file: its only record of that kind, else what `[calibration_plan]` says of one, else
/// the defaults.
pub fn millivolt_source(file: &ChainFile) -> Named {
    let mut records =
        Reference::of_file(file).into_iter().filter(|n| matches!(n.reference, Reference::Millivolts(_)));
    if let (Some(only), None) = (records.next(), records.next()) {
        return only;
    }
    let mut source = UNKNOWN_SOURCE;
    if let Some(plan) = &file.calibration_plan
        && let CalibrationMethod::MillivoltSource { source_reading_error, source_range_error } = &plan.method
    {
        source.relative = **source_reading_error;
        source.fixed = **source_range_error;
        source.thermometer = *plan.thermometer;
    }
    Named { name: "millivolts".to_owned(), reference: Reference::Millivolts(source) }
}

/// The reference that `text` names. Records of the chain file come first, so that a record may be called `ice bath`.
///
/// # Errors
/// A [`Problem`] with a place in `text`, what was expected and a spelling that works.
pub fn read(text: &str, file: &ChainFile) -> Result<Named, Box<Problem>> {
    let trimmed = text.trim();
    let start = text.len() - text.trim_start().len();
    if trimmed.is_empty() {
        return Err(Box::new(
            Problem::new("reference.empty", "no reference is named")
                .at(Span::new(0, text.len()), "compared with what?")
                .expected(EXPECTED)
                .help("ice bath"),
        ));
    }
    if let Some(record) = Reference::of_file(file).into_iter().find(|n| n.name.eq_ignore_ascii_case(trimmed))
    {
        return Ok(record);
    }
    let whole = Piece { text: trimmed, at: start };
    let lower = trimmed.to_lowercase();
    let name = lower.split_whitespace().collect::<Vec<_>>().join(" ");
    let reference = if lower.starts_with("boiling") {
        boiling(whole.after(if lower.starts_with("boiling water") { 13 } else { 7 }))?
    } else if let Some((made, used)) = ice(&lower) {
        let rest = whole.after(used);
        let accuracy = rest.limit()?;
        Reference::IceBath(IceBath { made, accuracy })
    } else if let Some(substance) = substance(trimmed) {
        Reference::FixedPoint(FixedPointCell { substance, accuracy: CELL, depth: USUAL_DEPTH })
    } else if lower.starts_with("thermometer") {
        thermometer(whole.after(11))?
    } else if ["millivolts", "millivolt", "millivolt source", "mv", "mv source"].contains(&name.as_str()) {
        return Ok(millivolt_source(file));
    } else if ["terminals shorted", "shorted", "short"].contains(&name.as_str()) {
        return Ok(Named { name: "terminals shorted".to_owned(), reference: Reference::Short });
    } else {
        return Err(unknown(whole, file));
    };
    Ok(Named { name, reference })
}

/// A part of the text and where it starts.
#[derive(Clone, Copy)]
struct Piece<'t> {
    text: &'t str,
    at: usize,
}

impl<'t> Piece<'t> {
    /// What comes after `used` bytes, trimmed. Words that were recognised are ASCII, so this is a boundary.
    fn after(self, used: usize) -> Self {
        Self { text: self.text.get(used..).unwrap_or(""), at: self.at + used }.trimmed()
    }

    fn trimmed(self) -> Self {
        let text = self.text.trim_start_matches([' ', '\t', ',', ':', '(', '\u{a0}']);
        Self {
            at: self.at + self.text.len() - text.len(),
            text: text.trim_end_matches([' ', '\t', ',', ')', '\u{a0}']),
        }
    }

    fn span(self) -> Span {
        Span::new(self.at, self.at + self.text.len())
    }

    /// Parts between commas.
    fn parts(self) -> Vec<Self> {
        let mut parts = Vec::new();
        let mut at = self.at;
        for text in self.text.split(',') {
            let part = Self { text, at }.trimmed();
            at += text.len() + 1;
            if !part.text.is_empty() {
                parts.push(part);
            }
        }
        parts
    }

    fn misread(self, error: QuantityError) -> Box<Problem> {
        let span = Span::new(self.at + error.span.start, self.at + error.span.end);
        let problem = Problem::new(error.code, error.message).at(span, error.label).expected(error.expected);
        Box::new(Problem { help: error.help, ..problem })
    }

    fn bounded(self, value: f64, bound: &'static Bound) -> Result<f64, Box<Problem>> {
        if bound.allows(value) {
            return Ok(value);
        }
        let message = format!("{} is not possible as {}", self.text, bound.what);
        Err(Box::new(
            Problem::new("value.out_of_bounds", message)
                .at(self.span(), bound.text())
                .expected(bound.text())
                .help("check the unit"),
        ))
    }

    /// Nothing, or a limit in K.
    fn limit(self) -> Result<Option<f64>, Box<Problem>> {
        if self.text.is_empty() {
            return Ok(None);
        }
        let limit = parse_limit(self.text, Unit::Kelvin).map_err(|error| self.misread(error))?;
        self.bounded(limit, ERROR).map(Some)
    }
}

/// How an ice bath is made and how many bytes say so.
fn ice(lower: &str) -> Option<(IceBathMade, usize)> {
    let spellings = [
        ("well-made ice bath", IceBathMade::Well),
        ("well made ice bath", IceBathMade::Well),
        ("quick ice bath", IceBathMade::Quick),
        ("melting ice", IceBathMade::Quick),
        ("ice bath", IceBathMade::Quick),
        ("ice point", IceBathMade::Quick),
        ("ice water", IceBathMade::Quick),
        ("ice", IceBathMade::Quick),
    ];
    spellings.into_iter().find_map(|(words, made)| {
        let rest = lower.strip_prefix(words)?;
        // “iced tea” is no ice bath.
        (!rest.starts_with(char::is_alphanumeric)).then_some((made, words.len()))
    })
}

/// The symbol of a fixed point: `Zn point`, `zinc freezing point`, `fixed point Zn`.
fn substance(text: &str) -> Option<&'static str> {
    let lower = text.to_lowercase();
    if !lower.contains("point") {
        return None;
    }
    let rest = lower
        .replace("fixed point", "")
        .replace("freezing point", "")
        .replace("melting point", "")
        .replace("triple point of water", "triple")
        .replace("point", "");
    let rest = rest.split_whitespace().collect::<Vec<_>>().join(" ");
    let by_symbol = SUBSTANCES.iter().find(|(_, symbol)| symbol.to_lowercase() == rest);
    by_symbol.or_else(|| SUBSTANCES.iter().find(|(word, _)| *word == rest)).map(|(_, symbol)| *symbol)
}

fn boiling(rest: Piece<'_>) -> Result<Reference, Box<Problem>> {
    let (mut barometer, mut metres): (Option<Toleranced>, Option<f64>) = (None, None);
    let mut place = Where::Steam;
    for part in rest.parts() {
        let lower = part.text.to_lowercase();
        let words: String = lower.replace("in the ", "").replace("in ", "");
        if words == "steam" {
            place = Where::Steam;
        } else if words.starts_with("water") {
            place = Where::Water(depth(part, part.text.len().saturating_sub(words.len()) + 5)?);
        } else if let Ok(altitude) = parse(part.text, Unit::Metre) {
            metres = Some(part.bounded(altitude, ALTITUDE)?);
        } else {
            let pressure = parse_toleranced(part.text, Unit::Pascal).map_err(|error| part.misread(error))?;
            part.bounded(pressure.value, PRESSURE)?;
            barometer = Some(pressure);
        }
    }
    let pressure = match (barometer, metres) {
        (sea_level, Some(metres)) => Pressure::Altitude { metres, sea_level },
        (Some(pressure), None) => Pressure::barometer(pressure),
        (None, None) => {
            return Err(Box::new(
                Problem::new("reference.no_pressure", "water boils at 100 °C only under 1014 hPa")
                    .at(Span::new(rest.at.saturating_sub(1), rest.at.max(1)), "under which pressure?")
                    .expected("the pressure of a barometer on the spot, or the altitude")
                    .help("boiling water 987 hPa; or boiling water 540 m, 1021 hPa with the pressure at sea level of a weather report"),
            ));
        }
    };
    Ok(Reference::BoilingWater(BoilingWater { pressure, place }))
}

/// Depth after the words `in water`, m.
fn depth(part: Piece<'_>, used: usize) -> Result<f64, Box<Problem>> {
    let rest = part.after(used);
    let lower = rest.text.to_lowercase();
    let text = lower.strip_suffix("deep").unwrap_or(&lower).trim_end();
    if text.is_empty() {
        return Ok(USUAL_DEPTH);
    }
    // Cut from the piece itself, so that the place in the text stays right.
    let rest = Piece { text: rest.text.get(..text.len()).unwrap_or(rest.text), at: rest.at };
    let depth = parse(rest.text, Unit::Metre).map_err(|error| rest.misread(error))?;
    rest.bounded(depth, DEPTH)
}

fn thermometer(rest: Piece<'_>) -> Result<Reference, Box<Problem>> {
    match rest.limit()? {
        Some(accuracy) => Ok(Reference::Thermometer(Instrument {
            certificate: None,
            accuracy: Some(accuracy),
            drift: 0.0,
            uniformity: 0.1,
            digit: 0.1,
        })),
        None => Err(Box::new(
            Problem::new("reference.thermometer_unknown", "nothing is known of this thermometer")
                .at(Span::new(rest.at.saturating_sub(11), rest.at), "how good is it?")
                .expected("its limit of error, or a record of the chain file with its certificate")
                .help("thermometer ±0.5 K"),
        )),
    }
}

fn unknown(whole: Piece<'_>, file: &ChainFile) -> Box<Problem> {
    let shown: String = whole.text.chars().take(40).collect();
    let mut problem =
        Problem::new("reference.unknown", format!("\"{shown}\" is no reference that is known here"))
            .at(whole.span(), "not known")
            .expected(EXPECTED);
    let names: Vec<&str> = file.references.keys().map(String::as_str).collect();
    let help = if whole.text.parse::<f64>().is_ok() || parse(whole.text, Unit::Celsius).is_ok() {
        "a temperature alone says nothing about its uncertainty: name what gave it, for example thermometer ±0.5 K".into()
    } else if names.is_empty() {
        "ice bath".into()
    } else {
        format!("names in this chain file: {}", names.join(", "))
    };
    problem = problem.help(help);
    Box::new(problem)
}
