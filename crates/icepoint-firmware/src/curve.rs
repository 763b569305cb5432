//! A rising function as a table of integers: free knots, and between them a line, a polynomial or a quotient.
//!
//! **What the firmware does** with an input `x`, in unsigned whole numbers only:
//!
//! ```text
//! row: the last with knot ≤ x        u = x − knot        z = u << lift (narrow), u >> (8 − lift) (wide)
//! part(w) = (w·z >> 16) − (z >> 1)   w is a bend + 32768, so this is bend·z/65536 and never signed on the way
//! slope' = slope + part(w1 + part(w2 + …))
//! y = base + (slope'·u >> 16)                      polynomial
//! y = base + slope·u/(32768 + part(w1))            quotient of two linear functions
//! ```
//!
//! Narrow curves have 16-bit inputs, wide ones 24-bit inputs with knots at multiples of 256. Every word has 16 bits
//! and none wraps: making the table walks all inputs.
//!
//! **How the table is made.** Each segment is fitted in the sense of Chebyshev ([`crate::minimax`]), its coefficients
//! rounded from the highest power down, the lower ones fitted again to what rounding left, and the base set so that
//! the errors of the *integer* evaluation are equal on both sides. Segments are made as long as the error allows, from
//! the low end; then the error is lowered as far as the same number of segments reaches.

use rayon::prelude::*;

use crate::minimax;

/// What stands between two knots.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Form {
    /// A polynomial of this degree, 1 to 5.
    Polynomial(u32),
    /// A quotient of two linear functions.
    Quotient,
}

impl Form {
    /// Words for tables and messages.
    pub fn name(self) -> &'static str {
        match self {
            Form::Polynomial(1) => "piecewise linear",
            Form::Polynomial(2) => "piecewise quadratic",
            Form::Polynomial(3) => "piecewise cubic",
            Form::Polynomial(4) => "piecewise quartic",
            Form::Polynomial(_) => "piecewise quintic",
            Form::Quotient => "piecewise quotient",
        }
    }

    /// Signed coefficients beside the slope.
    pub const fn bends(self) -> usize {
        match self {
            Form::Polynomial(degree) => degree.saturating_sub(1) as usize,
            Form::Quotient => 1,
        }
    }
}

/// Width of a curve's input.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Width {
    /// 16 bit.
    Narrow,
    /// 24 bit.
    Wide,
}

impl Width {
    /// Bits of the input.
    pub const fn bits(self) -> u32 {
        match self {
            Width::Narrow => 16,
            Width::Wide => 24,
        }
    }

    /// Low bits that knots and bends leave out.
    pub const fn fine(self) -> u32 {
        self.bits() - 16
    }

    /// Largest input.
    pub const fn top(self) -> u32 {
        (1 << self.bits()) - 1
    }
}

/// One segment.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Row {
    /// First input of the segment, without its fine bits.
    pub knot: u16,
    /// Output at the knot.
    pub base: u32,
    /// Output per input, times 65536 (polynomial) or 32768 (quotient).
    pub slope: u16,
    /// Bends + 32768, lowest power first.
    pub bends: Vec<u16>,
}

/// A table with its form.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Curve {
    /// What stands between the knots.
    pub form: Form,
    /// Width of the input.
    pub width: Width,
    /// Bits by which the input within a segment is lifted for the bends.
    pub lift: u32,
    /// Segments, ascending; the first knot is 0.
    pub rows: Vec<Row>,
}

/// Denominator of a quotient at its knot.
pub const UNITY: i64 = 32768;
/// Points at which a segment is fitted; the walk over all codes has the last word.
const FITTED: usize = 33;
/// Most points at which the integer evaluation of a segment is compared with its target.
const COMPARED: u32 = 96;
/// More segments than this are no table for a microcontroller.
pub const MOST_ROWS: usize = 96;

/// The input within a segment as the bends take it; `None` beyond 16 bits.
#[inline]
fn lifted(u: i64, width: Width, lift: u32) -> Option<i64> {
    let z = if lift >= width.fine() { u << (lift - width.fine()) } else { u >> (width.fine() - lift) };
    (z < 65536).then_some(z)
}

impl Row {
    /// The output above the base; `None` where an intermediate leaves its register.
    #[inline]
    fn above_base(&self, form: Form, width: Width, lift: u32, x: u32) -> Option<u32> {
        let u = i64::from(x) - (i64::from(self.knot) << width.fine());
        if form.bends() == 0 {
            return Some(((u * i64::from(self.slope)) >> 16) as u32);
        }
        let z = lifted(u, width, lift)?;
        // A word of 16 bits, or nothing.
        let word = |w: i64| (0..=65535).contains(&w).then_some(w);
        let part = |w: i64| ((w * z) >> 16) - (z >> 1);
        let mut w = i64::from(*self.bends.last()?);
        for bend in self.bends.iter().rev().skip(1) {
            w = word(i64::from(*bend) + part(w))?;
        }
        match form {
            Form::Polynomial(_) => Some(((u * word(i64::from(self.slope) + part(w))?) >> 16) as u32),
            Form::Quotient => {
                let below = word(UNITY + part(w))?;
                (below > 0).then(|| ((u * i64::from(self.slope)) / below) as u32)
            }
        }
    }
}

impl Curve {
    /// The table's output for an input, exactly as the generated code has it; `None` where that would overflow.
    #[inline]
    pub fn at(&self, x: u32) -> Option<u32> {
        let knot = x >> self.width.fine();
        let after = self.rows.partition_point(|row| u32::from(row.knot) <= knot);
        let row = self.rows.get(after.checked_sub(1)?)?;
        row.base.checked_add(row.above_base(self.form, self.width, self.lift, x)?)
    }

    /// [`Curve::at`] for inputs that come in rising order: `row` is where the last one stood, and is moved on.
    #[inline]
    pub fn at_next(&self, row: &mut usize, x: u32) -> Option<u32> {
        let knot = x >> self.width.fine();
        while self.rows.get(*row + 1).is_some_and(|next| u32::from(next.knot) <= knot) {
            *row += 1;
        }
        let row = self.rows.get(*row).filter(|row| u32::from(row.knot) <= knot)?;
        row.base.checked_add(row.above_base(self.form, self.width, self.lift, x)?)
    }

    /// Largest output over the inputs up to `top`.
    pub fn highest(&self, top: u32) -> Option<u32> {
        let ends = self.rows.iter().skip(1).map(|row| (u32::from(row.knot) << self.width.fine()) - 1);
        ends.chain([top]).map(|x| self.at(x)).try_fold(0, |high, y| Some(high.max(y?)))
    }

    /// Bytes of the table: knot, base, slope and bends of each row.
    pub fn bytes(&self, wide_base: bool) -> usize {
        self.rows.len() * 2 * (3 + usize::from(wide_base) + self.form.bends())
    }
}

/// Makes tables for one target function.
#[derive(Clone, Copy)]
pub struct Maker<'a> {
    /// Form of the segments.
    pub form: Form,
    /// Width of the input.
    pub width: Width,
    /// Bits by which the input within a segment is lifted for the bends.
    pub lift: u32,
    /// Largest input that occurs.
    pub top: u32,
    /// The output wanted for an input, real.
    pub target: &'a (dyn Fn(f64) -> f64 + Sync),
}

/// Lifts that are tried.
const LIFTS: u32 = 4;

impl Maker<'_> {
    /// The lift that makes the shortest table within `error`; `None` if none makes one.
    pub fn best_lift(self, error: f64) -> Option<u32> {
        let lifts = if self.form.bends() > 0 { LIFTS } else { 1 };
        let rows = |lift| Some((Maker { lift, ..self }.greedy(error)?.0.rows.len(), lift));
        Some((0..lifts).into_par_iter().filter_map(rows).min()?.1)
    }

    /// A table whose integer evaluation stays within `error` (in steps of the output) of the target, with as few
    /// segments as the greedy walk finds and then the least error for that many; `None` if it takes too many.
    pub fn within(&self, error: f64) -> Option<(Curve, f64)> {
        const HALVINGS: u32 = 6;
        let mut best = self.greedy(error)?;
        let (mut low, mut high) = (0.0, best.1);
        for _ in 0..HALVINGS {
            let middle = 0.5 * (low + high);
            match self.greedy(middle) {
                Some(better) if better.0.rows.len() <= best.0.rows.len() => {
                    high = middle.min(better.1);
                    if better.1 < best.1 {
                        best = better;
                    }
                }
                _ => low = middle,
            }
        }
        Some(best)
    }

    /// As few segments as the walk from the low end finds.
    pub fn greedy(&self, error: f64) -> Option<(Curve, f64)> {
        let fine = self.width.fine();
        let last_knot = self.top >> fine;
        let mut rows = Vec::new();
        let mut worst = 0.0f64;
        let mut from = 0u32;
        loop {
            if rows.len() >= MOST_ROWS {
                return None;
            }
            // `to` is the knot after the segment.
            let good = |to: u32| self.segment(from, to, error).filter(|(_, e)| *e <= error);
            let end = last_knot + 1;
            if let Some((row, e)) = good(end) {
                rows.push(row);
                worst = worst.max(e);
                break;
            }
            let mut step = 1u32;
            let mut kept = good(from + 1)?;
            let mut to = from + 1;
            // Longer and longer until it fails, then halve: good lengths are nearly an interval.
            let mut failed = end;
            while to + step < end {
                match good(to + step) {
                    Some(found) => {
                        to += step;
                        kept = found;
                        step *= 2;
                    }
                    None => {
                        failed = to + step;
                        break;
                    }
                }
            }
            while failed - to > 1 {
                let middle = to + (failed - to) / 2;
                match good(middle) {
                    Some(found) => {
                        to = middle;
                        kept = found;
                    }
                    None => failed = middle,
                }
            }
            rows.push(kept.0);
            worst = worst.max(kept.1);
            from = to;
        }
        Some((Curve { form: self.form, width: self.width, lift: self.lift, rows }, worst))
    }

    /// The row from knot `from` up to knot `to`, and its largest error; `None` also as soon as that is seen to be above
    /// `most`.
    fn segment(&self, from: u32, to: u32, most: f64) -> Option<(Row, f64)> {
        let fine = self.width.fine();
        let first = from << fine;
        let last = ((to << fine) - 1).min(self.top);
        let half = 0.5 * f64::from(last - first).max(1.0);
        let abscissae = minimax::abscissae(FITTED.min((last - first + 1) as usize).max(2));
        let u: Vec<f64> = abscissae.iter().map(|a| half + half * a).collect();
        let target: Vec<f64> = u.iter().map(|u| (self.target)(f64::from(first) + u)).collect();
        let (slope, bends) = match self.form {
            Form::Quotient => quotient(&abscissae, &target, half, self.lift)?,
            Form::Polynomial(degree) => {
                // Bits by which z is smaller than u.
                let lowered = f64::from(fine) - f64::from(self.lift);
                polynomial(&abscissae, &target, half, degree as usize, lowered)?
            }
        };
        let mut row = Row { knot: from as u16, base: 0, slope, bends };
        let count = (last - first).clamp(1, COMPARED);
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        for k in 0..=count {
            let x = first + (u64::from(last - first) * u64::from(k) / u64::from(count)) as u32;
            let y = f64::from(row.above_base(self.form, self.width, self.lift, x)?);
            let wanted = (self.target)(f64::from(x)) - y;
            (low, high) = (low.min(wanted), high.max(wanted));
            // No base makes both ends less than half of what lies between them.
            if 0.5 * (high - low) > most {
                return None;
            }
        }
        let base = libm::round(0.5 * (low + high));
        if !(0.0..4e9).contains(&base) {
            return None;
        }
        row.base = base as u32;
        Some((row, (high - base).max(base - low)))
    }
}

/// Slope and bend of a quotient in whole numbers.
fn quotient(a: &[f64], t: &[f64], half: f64, lift: u32) -> Option<(u16, Vec<u16>)> {
    let fit = minimax::rational(a, t, 1);
    // (n0 + n1·a)/(1 + q·a) with a = u/half − 1, less its value at u = 0, is s·u/(1 + m·u).
    let (n0, n1, q) = (fit.coefficients[0], fit.coefficients[1], fit.denominator);
    let at_knot = 1.0 - q;
    let base = (n0 - n1) / at_knot;
    let slope = (n1 - base * q) / (half * at_knot);
    let bend = q / (half * at_knot);
    let slope = libm::round(slope * UNITY as f64);
    let bend = libm::round(bend * UNITY as f64 * 65536.0 / f64::from(1u32 << lift));
    (0.0..=65535.0).contains(&slope).then(|| (slope as u16, vec![biased(bend)]))
}

/// Slope and bends of a polynomial in whole numbers: the highest power is rounded first, the rest fitted again.
fn polynomial(a: &[f64], t: &[f64], half: f64, degree: usize, lowered: f64) -> Option<(u16, Vec<u16>)> {
    let mut left = t.to_vec();
    let mut bends = vec![0; degree - 1];
    for j in (1..=degree).rev() {
        let fit = minimax::polynomial(a, &left, j);
        // Highest power of a = u/half − 1 is that of u, divided by halfʲ.
        let real = fit.coefficients.get(j).copied().unwrap_or(0.0) / libm::pow(half, j as f64);
        let scale = libm::pow(2.0, (16 * j) as f64 + lowered * (j - 1) as f64);
        let rounded = libm::round(real * scale);
        if j == 1 {
            // A curve that falls is held level: its error then decides how long the segment may be.
            let slope = rounded.max(0.0);
            return (slope <= 65535.0).then_some((slope as u16, bends));
        }
        // A bend that is held at its limit leaves the rest to the lower powers.
        let rounded = rounded.clamp(-32768.0, 32767.0);
        bends[j - 2] = biased(rounded);
        for (left, a) in left.iter_mut().zip(a) {
            *left -= rounded / scale * libm::pow(half + half * a, j as f64);
        }
    }
    None
}

/// A bend as its word.
fn biased(bend: f64) -> u16 {
    (bend.clamp(-32768.0, 32767.0) + 32768.0) as u16
}
