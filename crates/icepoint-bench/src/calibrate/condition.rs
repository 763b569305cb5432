//! Readings brought together: all that were taken under the same condition count as one, with their mean and scatter.

use std::collections::BTreeMap;

use icepoint_chain::file::Span;
use icepoint_chain::imperfection::Distribution;

use super::readings::{Answer, Input, Readings};
use crate::references::Tag;
use crate::sheet::Meter;

/// Conditions that are told apart; of more, neighbours count as one.
pub const MOST: usize = 240;
/// Steps over the span of inputs when neighbours are brought together: finer than any curvature that matters.
const STEPS: f64 = 64.0;

/// One way in which a known input may be off.
#[derive(Clone, Debug, PartialEq)]
pub struct InputError {
    /// Name of the deviation: inputs with the same tag share it.
    pub tag: Tag,
    /// In words.
    pub label: String,
    /// What is known of its size, K or V as the input.
    pub distribution: Distribution,
    /// 1, or −1 where the deviation acts the other way: a source's gain on negative volts.
    pub sign: f64,
}

/// What came out of the board.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    /// °C.
    Celsius,
    /// Codes.
    Code,
    /// V at the output: as the board's own voltmeter shows them, or the bench's on a board that ends in a converter.
    Volts,
}

impl Kind {
    /// Unit of a difference.
    pub const fn unit(self) -> &'static str {
        match self {
            Self::Celsius => "K",
            Self::Code => "codes",
            Self::Volts => "V",
        }
    }
}

/// All readings under one condition.
#[derive(Clone, Debug, PartialEq)]
pub struct Condition {
    /// What the board was given.
    pub input: Input,
    /// By what the input may be off; independent of each other.
    pub errors: Vec<InputError>,
    /// Resistance of the source that gave the volts, Ω; `None` for a temperature and where nobody says.
    pub source_ohms: Option<f64>,
    /// How well the reference's own record says that the terminals' temperature is known, ± K.
    pub thermometer: Option<f64>,
    /// The voltmeter of the bench that showed the output, on a board that ends in a converter.
    pub meter: Option<Meter>,
    /// Temperature of the board, °C.
    pub board: f64,
    /// What came out.
    pub kind: Kind,
    /// Occasion.
    pub session: usize,
    /// Mean of the readings, in the unit of `kind`.
    pub mean: f64,
    /// How many.
    pub count: usize,
    /// Sum of squared deviations from the mean.
    pub squares: f64,
    /// Half of the last digit shown, in the unit of `kind`.
    pub half_digit: f64,
    /// First and last line of the file.
    pub lines: (usize, usize),
    /// Name of the reference; may be empty.
    pub reference: String,
    /// Limit of the reference's error that the rows state, K or V.
    pub limit: Option<f64>,
    /// The first row in the text.
    pub span: Span,
}

impl Condition {
    /// In words: `20.613 mV, board at 23 °C`.
    pub fn words(&self) -> String {
        let board = trimmed(self.board, 1);
        match self.input {
            Input::Temperature(t) => format!("{} °C, board at {board} °C", trimmed(t, 2)),
            Input::Injected(v) => format!("{} mV, board at {board} °C", trimmed(1e3 * v, 4)),
        }
    }

    /// Lines of the file, in words.
    pub fn lines_words(&self) -> String {
        match self.lines {
            (first, last) if first == last => format!("line {first}"),
            (first, last) if self.count == last + 1 - first => format!("lines {first} to {last}"),
            (first, last) => format!("{} readings from line {first} to {last}", self.count),
        }
    }
}

/// To at most so many places, without idle zeros.
pub fn trimmed(value: f64, places: usize) -> String {
    let text = format!("{value:.places$}");
    let text = if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
    let text = if text == "-0" { "0" } else { text };
    text.replace('-', "−")
}

type Key = (u8, u64, u64, usize, usize, Kind, u64);

fn answer(answer: Answer) -> (Kind, f64) {
    match answer {
        Answer::Celsius(v) => (Kind::Celsius, v),
        Answer::Code(v) => (Kind::Code, v),
        Answer::Volts(v) => (Kind::Volts, v),
    }
}

const NOTHING: Gathered = Gathered {
    count: 0,
    input: 0.0,
    board: 0.0,
    mean: 0.0,
    squares: 0.0,
    lines: (0, 0),
    span: Span::new(0, 0),
};

/// Running mean and squares (Welford's method).
#[derive(Clone, Debug)]
struct Gathered {
    count: usize,
    input: f64,
    board: f64,
    mean: f64,
    squares: f64,
    lines: (usize, usize),
    span: Span,
}

/// Brings readings together; by what their inputs may be off is still to be told.
pub fn gather(readings: &Readings) -> Vec<Condition> {
    let exact = gathered(readings, None);
    let all = if exact.len() <= MOST {
        exact
    } else {
        let value = |input| match input {
            Input::Temperature(t) => t,
            Input::Injected(v) => v,
        };
        let span = |is: fn(&Input) -> bool| {
            let of = readings.rows.iter().map(|r| r.input).filter(is).map(value);
            let (low, high) = of.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| (a.min(v), b.max(v)));
            if high > low { high - low } else { 1.0 }
        };
        let temperatures = span(|i| matches!(i, Input::Temperature(_)));
        let volts = span(|i| matches!(i, Input::Injected(_)));
        gathered(readings, Some((temperatures / STEPS, volts / STEPS)))
    };
    all.into_iter()
        .map(|((is_volts, _, _, reference, session, kind, limit), g)| {
            let input = if is_volts == 1 { Input::Injected(g.input) } else { Input::Temperature(g.input) };
            let name = readings.references.get(reference).map_or("", |(name, _)| name);
            let limit = Some(f64::from_bits(limit)).filter(|l| l.is_finite());
            let meter = readings.meter.as_ref().filter(|_| kind == Kind::Volts);
            Condition {
                input,
                errors: Vec::new(),
                source_ohms: None,
                thermometer: None,
                meter: meter.cloned(),
                board: g.board,
                kind,
                session,
                mean: g.mean,
                count: g.count,
                squares: g.squares,
                half_digit: match (kind, meter) {
                    (Kind::Celsius, _) => readings.half_digit,
                    (_, Some(meter)) => 0.5 * meter.resolution,
                    _ => 0.0,
                },
                lines: g.lines,
                reference: name.to_owned(),
                limit,
                span: g.span,
            }
        })
        .collect()
}

/// By condition, in the order of their first lines; with `steps` (K, V) neighbours count as one.
fn gathered(readings: &Readings, steps: Option<(f64, f64)>) -> Vec<(Key, Gathered)> {
    let mut all: BTreeMap<Key, Gathered> = BTreeMap::new();
    for row in &readings.rows {
        let (is_volts, value) = match row.input {
            Input::Temperature(t) => (0, t),
            Input::Injected(v) => (1, v),
        };
        let (kind, y) = answer(row.answer);
        let (place, board) = match steps {
            None => ((value + 0.0).to_bits(), (row.board + 0.0).to_bits()),
            Some((kelvin, volts)) => {
                let step = if is_volts == 1 { volts } else { kelvin };
                (((value / step).round() + 0.0).to_bits(), ((row.board / 10.0).round() + 0.0).to_bits())
            }
        };
        let limit = row.limit.unwrap_or(f64::NAN).to_bits();
        let g =
            all.entry((is_volts, place, board, row.reference, row.session, kind, limit)).or_insert(NOTHING);
        if g.count == 0 {
            g.lines.0 = row.line;
            g.span = row.span;
        }
        g.lines.1 = row.line;
        g.count += 1;
        let n = g.count as f64;
        g.input += (value - g.input) / n;
        g.board += (row.board - g.board) / n;
        let before = y - g.mean;
        g.mean += before / n;
        g.squares += before * (y - g.mean);
    }
    let mut all: Vec<_> = all.into_iter().collect();
    if steps.is_some() {
        // Different inputs in one step: their spread is no scatter of the readings.
        all.iter_mut().for_each(|(_, g)| g.squares = f64::NAN);
    }
    all.sort_by_key(|(_, g)| g.lines.0);
    all
}
