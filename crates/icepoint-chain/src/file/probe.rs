//! `[probe]` and `[lead]`: the thermocouple and the wire that brings its ends to the terminals.

use super::given::{Given, Interval, Span};
use super::keys::{Key, Kind, one_of};
use super::problem::Problem;
use super::walk::{Reader, Value, Walk};
use crate::quantity::Unit;
use crate::quantity::read::shortened;
use icepoint_sensors::tolerance::ToleranceClass;
use icepoint_sensors::{Letter, cable};

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
    /// What the cable is made of, with its class.
    pub cable: Given<Cable>,
    /// Length, m.
    pub length: Given<f64>,
    /// Diameter of one conductor, m.
    pub conductor: Given<f64>,
    /// Temperatures of the connection head, °C (both ends equal when one was written).
    pub head: Given<Interval>,
}

/// Extension or compensating cable.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Cable {
    /// An extension or compensating cable with its class: NX class 1, KCA class 2.
    Standard(cable::Cable),
    /// The wire of the probe goes on to the terminals.
    SameWire,
}

impl Probe {
    pub(super) fn read(mut r: Reader<'_, '_>) -> Option<Self> {
        let letter = r.get("type", |walk, key, name, value, _| {
            let text = walk.text(key, name, value)?;
            let letter = Letter::parse(&text);
            if letter.is_none() {
                walk.problem(unknown_letter(&text, value.span().into()));
            }
            letter
        });
        let tolerance = r.get("tolerance", read_tolerance);
        let distribution = r.choice("distribution", Distribution::SPELLINGS);
        let drift = r.quantity("drift");
        let junction = r.choice("junction", Junction::SPELLINGS);
        let resistance = r.quantity("resistance");
        r.finish(&[]);
        Some(Self {
            letter: letter?,
            tolerance: tolerance?,
            distribution: distribution?,
            drift: drift?,
            junction: junction?,
            resistance: resistance?,
        })
    }
}

fn unknown_letter(text: &str, span: Span) -> Problem {
    let shown = shortened(text);
    let types: Vec<&str> = Letter::ALL.iter().map(|letter| letter.name()).collect();
    let problem = Problem::new("probe.unknown_type", format!("\"{shown}\" is no type of thermocouple"))
        .at(span, "a letter of IEC 60584-1")
        .expected(one_of(&types));
    // what people write instead of the letter: the material of a leg, or a platinum sensor
    let lower = text.to_lowercase();
    let meant = Letter::ALL.iter().find(|letter| {
        // "k type", "thermocouple K"
        if text.split_whitespace().any(|word| word.eq_ignore_ascii_case(letter.name())) {
            return true;
        }
        let (positive, negative) = letter.legs();
        let fold = |s: &str| s.to_lowercase().replace([' ', '-', '/', '%'], "");
        fold(&format!("{positive}{negative}")) == fold(text)
    });
    match meant {
        Some(letter) => problem.help(format!("type = \"{}\"", letter.name())),
        None if lower.starts_with("pt") || lower.contains("rtd") => {
            problem.help("a resistance thermometer is no thermocouple; here it can only be the reference junction's sensor")
        }
        None => problem.help("the letter is printed on the probe's label or told by the colour of its cable"),
    }
}

fn read_tolerance(
    walk: &mut Walk<'_>,
    key: &'static Key,
    name: &str,
    value: &Value<'_>,
    from_file: bool,
) -> Option<ProbeTolerance> {
    let text = walk.text(key, name, value)?;
    let trimmed = text.trim();
    if trimmed.eq_ignore_ascii_case("none") {
        return Some(ProbeTolerance::None);
    }
    if let Some(class) = ToleranceClass::parse(trimmed) {
        return Some(ProbeTolerance::Class(class));
    }
    if trimmed.starts_with(|c: char| c.is_ascii_digit() || matches!(c, '±' | '+' | '-' | '.' | '\u{2212}')) {
        let limit = Key { kind: Kind::Limit(Unit::Kelvin), ..*key };
        return walk.limit_of(&limit, name, value, from_file).map(ProbeTolerance::PlusMinus);
    }
    let words: Vec<&'static str> =
        ToleranceClass::ALL.iter().map(|class| class.name()).chain(["none"]).collect();
    walk.unknown_word(name, trimmed, value.span().into(), &words);
    None
}

impl Lead {
    pub(super) fn read(mut r: Reader<'_, '_>) -> Option<Self> {
        let written = r.get("cable", read_cable);
        let cable = match &written {
            // "same wire" and "ASTM E230 KX special" have no class of IEC 60584-3
            Some(Given { value: Written::Whole(cable), origin }) => {
                Some(Given { value: *cable, origin: *origin })
            }
            Some(Given { value: Written::Code(row), origin }) => {
                let class = r.get("class", read_class);
                let cable = class.and_then(|class| with_class(r.walk, row, &class, (*origin).span()));
                cable.map(|value| Given { value, origin: *origin })
            }
            None => {
                // which keys go with a cable that is not known can't be told
                r.get("class", read_class);
                None
            }
        };
        let length = r.quantity("length");
        let conductor = r.quantity("conductor");
        let head = r.interval("head");
        r.finish(&[]);
        Some(Self { cable: cable?, length: length?, conductor: conductor?, head: head? })
    }
}

/// What the key `cable` says by itself.
#[derive(Debug, Clone, Copy)]
enum Written {
    /// The whole cable.
    Whole(Cable),
    /// A code of IEC 60584-3 whose class is another key.
    Code(&'static cable::IecCable),
}

fn read_cable(
    walk: &mut Walk<'_>,
    key: &'static Key,
    name: &str,
    value: &Value<'_>,
    _: bool,
) -> Option<Written> {
    let text = walk.text(key, name, value)?;
    let word = text.trim();
    if word.eq_ignore_ascii_case("same wire") {
        return Some(Written::Whole(Cable::SameWire));
    }
    let rows = cable::iec_rows();
    if let Some(row) = rows.iter().find(|row| row.name.eq_ignore_ascii_case(word)) {
        return Some(Written::Code(row));
    }
    let more_than_code = word.split_whitespace().nth(1).is_some();
    match cable::Cable::parse(word) {
        Ok(cable) if more_than_code => return Some(Written::Whole(Cable::Standard(cable))),
        Err(error @ (cable::CableError::UnknownClass | cable::CableError::NotDefined)) => walk.problem(
            Problem::new("lead.unknown_class", format!("\"{}\": {error}", shortened(word)))
                .at(value.span().into(), "a code and a class that it has")
                .expected("a code of IEC 60584-3 with its key class, or \"ASTM E230 KX special\"")
                .help("cable = \"KX\" and class = 2"),
        ),
        _ => {
            let words: Vec<&'static str> = rows.iter().map(|row| row.name).chain(["same wire"]).collect();
            walk.unknown_word("cable", word, value.span().into(), &words);
        }
    }
    None
}

fn with_class(
    walk: &mut Walk<'_>,
    row: &'static cable::IecCable,
    class: &Given<u8>,
    code: Option<Span>,
) -> Option<Cable> {
    if class.value != 1 {
        return Some(Cable::Standard(cable::Cable::Iec2(row)));
    }
    if row.class_1.is_some() {
        return Some(Cable::Standard(cable::Cable::Iec1(row)));
    }
    let mut problem =
        Problem::new("lead.class_not_defined", format!("IEC 60584-3 has no class 1 for {}", row.name))
            .also(code, "a compensating cable")
            .expected("class 2")
            .help("class = 2");
    if let Some(at) = class.span() {
        problem = problem.at(at, "a compensating cable is class 2");
    }
    walk.problem(problem);
    None
}

fn read_class(walk: &mut Walk<'_>, key: &'static Key, name: &str, value: &Value<'_>, _: bool) -> Option<u8> {
    match walk.integer(key, name, value)? {
        class @ (1 | 2) => Some(class as u8),
        other => {
            walk.problem(
                Problem::new("lead.unknown_class", format!("cables have no class {other}"))
                    .at(value.span().into(), "1 or 2")
                    .expected("class 1 or 2 of IEC 60584-3")
                    .help("class = 2"),
            );
            None
        }
    }
}
