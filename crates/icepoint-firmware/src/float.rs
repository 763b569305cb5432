//! Firmware in floating point: the same chain with polynomials in `float`, fitted to it or as the standard prints them.
//!
//! **Why it is here.** Where a microcontroller has the bytes and the time, or the project computes in `float` already.
//! And for comparison: what the same chain costs with the published inverse polynomials, which much firmware takes.
//!
//! ```text
//! e = code·gain + offset + polynomial(junction)    mV; float, IEEE 754 single
//! t = polynomial of the last piece that begins at or below e, in e − centre; °C
//! ```
//!
//! **In, out.** The same codes, junction inputs and states as the integer firmware; °C out, [`INVALID`] in every failing
//! state. **Error.** Walked as evaluated here, in `f32` step by step; a target whose `float` rounds otherwise (8-bit AVR) is
//! measured by the proof.

use icepoint_chain::chain::Correction;
use icepoint_chain::quantity;
use icepoint_sensors::published_inverse;

use crate::calibration::Formula;
use crate::inverse::{Inverse, JunctionInput};
use crate::minimax;
use crate::states::{State, Thresholds};
use crate::walk::{self, Conversion, Walk};

/// What a result is when there is no temperature, °C: below absolute zero.
pub const INVALID: f32 = -1000.0;

/// Where the polynomials come from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Fitted to this chain's range in the sense of Chebyshev.
    Fitted,
    /// The inverse polynomials of NIST Monograph 175, coefficients as printed, rounded to `float`.
    Published,
}

impl Kind {
    /// One word.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Fitted => "fitted",
            Self::Published => "published",
        }
    }

    /// Words for tables.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Fitted => "float, fitted polynomials",
            Self::Published => "float, published inverse polynomials",
        }
    }
}

/// One polynomial.
#[derive(Clone, Debug, PartialEq)]
pub struct Piece {
    /// It holds from this emf on, mV.
    pub from: f32,
    /// Subtracted from the emf, mV.
    pub centre: f32,
    /// °C, highest power of mV first.
    pub coefficients: Vec<f32>,
}

/// The junction's emf: one polynomial, or more where the type's reference function has a corner (type N at 0 °C).
#[derive(Clone, Debug, PartialEq)]
pub struct JunctionEmf {
    /// Lowest and highest input that is used.
    pub range: (i32, i32),
    /// Ascending.
    pub pieces: Vec<JunctionPiece>,
}

/// The junction's emf in mV: a polynomial in `(input − centre)·scale`.
#[derive(Clone, Debug, PartialEq)]
pub struct JunctionPiece {
    /// It holds from this input on.
    pub from: i32,
    /// Subtracted from the input.
    pub centre: f32,
    /// A power of two, so that it rounds nothing.
    pub scale: f32,
    /// mV, highest power first.
    pub coefficients: Vec<f32>,
}

/// The whole program.
#[derive(Clone, Debug, PartialEq)]
pub struct FloatProgram {
    /// Where the polynomials come from.
    pub kind: Kind,
    /// Resolution of the converter.
    pub bits: u32,
    /// Bits of the aligned input, 16 or 24.
    pub aligned_bits: u32,
    /// States told by the code alone.
    pub thresholds: Thresholds,
    /// mV of a step of the counted, aligned input.
    pub gain: f32,
    /// mV at a counted input of 0.
    pub offset: f32,
    /// What the junction's input is.
    pub junction_input: JunctionInput,
    /// The reference junction; `None` if the circuit compensates.
    pub junction: Option<JunctionEmf>,
    /// Ascending.
    pub pieces: Vec<Piece>,
    /// Lowest and highest emf that is a temperature, mV.
    pub range: (f32, f32),
}

/// One float program and what walking it found.
#[derive(Clone, Debug)]
pub struct FloatVariant {
    /// The program.
    pub program: FloatProgram,
    /// Every aligned input (2¹⁶ of them above 16 bit) at the junction's inputs.
    pub walk: Walk,
}

/// Why there are no fitted polynomials within an error.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Unfit {
    /// The reference junction's emf needs a higher degree.
    Junction,
    /// The inverse needs more pieces.
    Pieces,
    /// The polynomials would do, but not with the rounding of `float`: the least error, K.
    Rounding(f64),
}

impl core::fmt::Display for Unfit {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::Junction => write!(
                f,
                "{MOST_JUNCTION_PIECES} polynomials of degree {MOST_JUNCTION_DEGREE} don't follow the reference junction's emf within a tenth of that"
            ),
            Self::Pieces => {
                write!(f, "it would take more than {MOST_PIECES} polynomials of degree {}", DEGREES.end())
            }
            Self::Rounding(error) => write!(
                f,
                "rounding to the 24 bits of a float leaves {} K, found by walking the inputs",
                quantity::format(*error, quantity::Unit::Count, 2)
            ),
        }
    }
}

/// Horner's scheme exactly as the generated code has it.
#[inline]
fn polynomial(coefficients: &[f32], u: f32) -> f32 {
    let mut rest = coefficients.iter();
    let first = rest.next().copied().unwrap_or(0.0);
    rest.fold(first, |sum, c| sum * u + c)
}

impl FloatProgram {
    /// One conversion, exactly as the generated code does it.
    pub fn evaluate(&self, aligned: u32, junction: i32) -> (State, f32) {
        let t = &self.thresholds;
        let b = match &self.junction {
            None => 0.0,
            Some(j) if junction < j.range.0 || junction > j.range.1 => {
                return (State::JunctionOutOfRange, INVALID);
            }
            Some(j) => match j.pieces.iter().rev().find(|p| p.from <= junction) {
                Some(p) => polynomial(&p.coefficients, (junction as f32 - p.centre) * p.scale),
                None => return (State::JunctionOutOfRange, INVALID),
            },
        };
        let aligned = aligned.min(t.top);
        let counted = if t.falling { t.top - aligned } else { aligned };
        let told = t.state(counted);
        if told != State::InRange {
            return (told, INVALID);
        }
        let mut e = counted as f32 * self.gain + self.offset;
        if self.junction.is_some() {
            e += b;
        }
        // What is no number is below every range.
        if e.is_nan() || e < self.range.0 {
            return (State::Below, INVALID);
        }
        if e > self.range.1 {
            return (State::Above, INVALID);
        }
        let piece = self.pieces.iter().rev().find(|p| p.from <= e).or(self.pieces.first());
        match piece {
            Some(p) => (State::InRange, polynomial(&p.coefficients, e - p.centre)),
            None => (State::Below, INVALID),
        }
    }

    /// Gain and offset of one board (mV), for a correction in the volts of the chain's own rule as `icepoint calibrate`
    /// finds it; absolute: it stands in the place of the one that the chain file may have.
    pub fn constants(&self, inverse: &Inverse, found: Correction) -> (f32, f32) {
        let (gain, offset) = self.formula(inverse).constants(found);
        (gain as f32, offset as f32)
    }

    /// How they come from a correction, mV.
    pub fn formula(&self, inverse: &Inverse) -> Formula {
        let nominal = (f64::from(self.gain), f64::from(self.offset));
        Formula::new(inverse, nominal, 1e3 * inverse.compensated_emf(), 1e3)
    }

    /// Bytes of its tables.
    pub fn table_bytes(&self) -> usize {
        let coefficients: usize = self.pieces.iter().map(|p| 4 * p.coefficients.len()).sum();
        let junction = self.junction.iter().flat_map(|j| &j.pieces).map(|p| 4 * p.coefficients.len());
        coefficients + 10 * self.pieces.len() + junction.sum::<usize>()
    }

    /// With the published inverse polynomials; `None` for a type that has none, or only for a part of the range.
    pub fn published(inverse: &Inverse, thresholds: Thresholds) -> Option<FloatVariant> {
        let (low, high) = millivolts(inverse);
        let mut pieces: Vec<Piece> = Vec::new();
        let mut reached = low;
        for range in published_inverse::ranges(inverse.letter()) {
            let (from, to) = range.millivolts;
            if to <= low || from >= high || to <= reached {
                continue;
            }
            if from > reached + PRINTED {
                return None;
            }
            let coefficients = range.coefficients.iter().rev().map(|c| *c as f32).collect();
            pieces.push(Piece { from: reached as f32, centre: 0.0, coefficients });
            reached = to;
        }
        if pieces.is_empty() || reached + PRINTED < high {
            return None;
        }
        let junction = junction(inverse, PUBLISHED_SHARE)?;
        Some(Self::assembled(Kind::Published, inverse, thresholds, junction, pieces).walked(inverse))
    }

    /// With polynomials fitted to this chain, few bytes that keep within `error` K.
    ///
    /// # Errors
    /// [`Unfit`]: what stands in the way.
    pub fn fitted(inverse: &Inverse, thresholds: Thresholds, error: f64) -> Result<FloatVariant, Unfit> {
        let junction = junction(inverse, JUNCTION_SHARE * error).ok_or(Unfit::Junction)?;
        let mut aim = FIRST_AIM * error;
        let mut found = None;
        for _ in 0..AIMS {
            let pieces = DEGREES
                .filter_map(|degree| greedy(inverse, degree, aim))
                .min_by_key(|pieces| pieces.iter().map(|p| 10 + 4 * p.coefficients.len()).sum::<usize>());
            let Some(pieces) = pieces else { break };
            let program =
                Self::assembled(Kind::Fitted, inverse, thresholds, junction.clone(), pieces).walked(inverse);
            if program.walk.error <= error {
                return Ok(program);
            }
            found = Some(program.walk.error.min(found.unwrap_or(f64::INFINITY)));
            aim *= NEXT_AIM;
        }
        Err(found.map_or(Unfit::Pieces, Unfit::Rounding))
    }

    fn assembled(
        kind: Kind,
        inverse: &Inverse,
        thresholds: Thresholds,
        junction: Option<JunctionEmf>,
        pieces: Vec<Piece>,
    ) -> Self {
        let at = |counted: u32| {
            let aligned = if thresholds.falling { thresholds.top - counted } else { counted };
            1e3 * inverse.thermocouple_volts(f64::from(aligned))
        };
        let (low, high) = millivolts(inverse);
        Self {
            kind,
            bits: inverse.bits,
            aligned_bits: inverse.aligned_bits(),
            thresholds,
            gain: ((at(thresholds.top) - at(0)) / f64::from(thresholds.top)) as f32,
            offset: at(0) as f32,
            junction_input: inverse.junction,
            junction,
            pieces,
            range: (low as f32, high as f32),
        }
    }

    fn walked(self, inverse: &Inverse) -> FloatVariant {
        let grid = walk::junction_grid(self.junction_range(), JUNCTIONS);
        let walk = walk::walk(&self, inverse, 1 << (self.aligned_bits - 16), &grid);
        FloatVariant { program: self, walk }
    }
}

impl Conversion for FloatProgram {
    fn junction_range(&self) -> Option<(i32, i32)> {
        self.junction.as_ref().map(|j| j.range)
    }

    fn convert(&self, aligned: u32, junction: i32) -> (State, f64) {
        let (state, celsius) = self.evaluate(aligned, junction);
        (state, f64::from(celsius))
    }
}

/// Junction inputs at which a float program is walked.
const JUNCTIONS: u32 = 5;
/// Degrees of the fitted polynomials.
const DEGREES: core::ops::RangeInclusive<usize> = 2..=7;
/// More pieces than this are a table.
const MOST_PIECES: usize = 32;
/// Share of the error that is given to the polynomials at first, and of that when the walk finds more.
const FIRST_AIM: f64 = 0.85;
const NEXT_AIM: f64 = 0.75;
const AIMS: u32 = 6;
/// Share of the error that the junction's polynomial may take.
const JUNCTION_SHARE: f64 = 0.1;
/// Error of the junction's polynomial beside published ones, K: small against theirs.
const PUBLISHED_SHARE: f64 = 0.005;
/// Last digit of the printed ends of the published ranges, mV.
const PRINTED: f64 = 1e-3;
/// Pieces of the junction's emf, and their degree.
const MOST_JUNCTION_PIECES: usize = 8;
const MOST_JUNCTION_DEGREE: usize = 8;
/// Points of a fit.
const FITTED: usize = 65;

/// Emf of the ends of the range, mV.
fn millivolts(inverse: &Inverse) -> (f64, f64) {
    (1e3 * inverse.emf(inverse.hot.0), 1e3 * inverse.emf(inverse.hot.1))
}

/// A minimax polynomial over an interval in `x − centre`, highest power first, and its largest error.
fn fit(
    target: &dyn Fn(f64) -> f64,
    from: f64,
    to: f64,
    centre: f64,
    scale: f64,
    degree: usize,
) -> (Vec<f32>, f64) {
    let abscissae = minimax::abscissae(FITTED);
    let half = 0.5 * (to - from);
    let middle = 0.5 * (to + from);
    let values: Vec<f64> = abscissae.iter().map(|a| target(middle + half * a)).collect();
    let fit = minimax::polynomial(&abscissae, &values, degree);
    // From powers of a = (x − middle)/half to powers of u = (x − centre)·scale: a = u/(half·scale) + shift.
    let (factor, shift) = (1.0 / (half * scale), (centre - middle) / half);
    let mut powers = vec![0.0; degree + 1];
    for c in fit.coefficients.iter().rev() {
        // powers ← powers·(factor·u + shift) + c
        for k in (0..=degree).rev() {
            let lower = if k > 0 { powers[k - 1] } else { 0.0 };
            powers[k] = powers[k] * shift + lower * factor;
        }
        powers[0] += c;
    }
    (powers.iter().rev().map(|c| *c as f32).collect(), fit.error)
}

/// As few pieces of a degree as a walk from the low end finds.
fn greedy(inverse: &Inverse, degree: usize, error: f64) -> Option<Vec<Piece>> {
    const HALVINGS: u32 = 16;
    let (low, high) = millivolts(inverse);
    let target = |mv: f64| inverse.celsius(1e-3 * mv);
    let piece = |from: f64, to: f64| {
        let centre = f64::from((0.5 * (from + to)) as f32);
        let (coefficients, error) = fit(&target, from, to, centre, 1.0, degree);
        (Piece { from: from as f32, centre: centre as f32, coefficients }, error)
    };
    let mut pieces = Vec::new();
    let mut from = low;
    while from < high {
        if pieces.len() >= MOST_PIECES {
            return None;
        }
        let whole = piece(from, high);
        if whole.1 <= error {
            pieces.push(whole.0);
            break;
        }
        let (mut good, mut bad) = (from, high);
        let mut kept = None;
        for _ in 0..HALVINGS {
            let middle = 0.5 * (good + bad);
            let (found, e) = piece(from, middle);
            if e <= error {
                (good, kept) = (middle, Some(found));
            } else {
                bad = middle;
            }
        }
        pieces.push(kept?);
        from = good;
    }
    Some(pieces)
}

/// The junction's polynomials within `error` K of the board's temperature; `None` inside where the circuit compensates.
fn junction(inverse: &Inverse, error: f64) -> Option<Option<JunctionEmf>> {
    if inverse.junction == JunctionInput::None {
        return Some(None);
    }
    let range = inverse.junction_range()?;
    let (low, high) = (f64::from(range.0), f64::from(range.1));
    // mV of a kelvin where the board is least sensitive.
    let (cold, warm) = inverse.board;
    let least = (0..=16)
        .map(|k| cold + (warm - cold) * f64::from(k) / 16.0)
        .map(|t| (1e3 * (inverse.emf(t + 0.5) - inverse.emf(t - 0.5))).abs())
        .fold(f64::INFINITY, f64::min);
    let millivolts = error * least.max(1e-3);
    // Where the reference function as printed begins anew, the slope may step.
    let segments = inverse.letter().segments().iter();
    let corners = segments.flat_map(|s| [s.celsius.0, s.celsius.1]).filter_map(|t| inverse.junction_input(t));
    let mut ends: Vec<f64> = corners.filter(|x| (low + 1.0..high - 1.0).contains(x)).collect();
    ends.extend([low, high]);
    ends.sort_by(f64::total_cmp);
    ends.dedup();
    let mut ways = vec![vec![low, high]];
    while ends.len() <= MOST_JUNCTION_PIECES + 1 {
        ways.push(ends.clone());
        // Nothing helped: each in two.
        let middles: Vec<f64> = ends.windows(2).map(|w| 0.5 * (w[0] + w[1])).collect();
        ends.extend(middles);
        ends.sort_by(f64::total_cmp);
    }
    ways.iter().find_map(|ends| {
        let pieces = ends.windows(2).map(|w| junction_piece(inverse, (w[0], w[1]), millivolts));
        Some(Some(JunctionEmf { range, pieces: pieces.collect::<Option<_>>()? }))
    })
}

/// The polynomial of least degree between two inputs, within `error` mV.
fn junction_piece(inverse: &Inverse, ends: (f64, f64), error: f64) -> Option<JunctionPiece> {
    let (low, high) = ends;
    let centre = libm::floor(0.5 * (low + high));
    let scale = libm::exp2(-libm::ceil(libm::log2(0.5 * (high - low))));
    let target = |input: f64| inverse.junction_emf(input).map_or(f64::NAN, |e| 1e3 * e);
    (1..=MOST_JUNCTION_DEGREE).find_map(|degree| {
        let (coefficients, worst) = fit(&target, low, high, centre, scale, degree);
        (worst.is_finite() && worst <= error).then(|| JunctionPiece {
            from: libm::ceil(low) as i32,
            centre: centre as f32,
            scale: scale as f32,
            coefficients,
        })
    })
}
