//! Which linearisation: every form and width is made as small as the error wanted allows, and the smallest is taken.
//!
//! **How small.** For each form the error is shared between the curve, the junction's curve and the rounding of sum and
//! result; the curve's share is widened and narrowed until the walked error only just keeps to what is wanted. Sizes
//! are those of [`crate::cost`], so that the choice is the same with and without a compiler on the machine.

use crate::cost::{self, Cost};
use crate::curve::{Form, Width};
use crate::integer::{IntegerProgram, Scale, Shares};
use crate::inverse::{Inverse, JunctionInput};
use crate::refusal::Refusal;
use crate::states::Thresholds;
use crate::unit::Unit;
use crate::walk::{self, Exact};

/// What is to be small.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Smallest {
    /// Bytes of flash.
    Bytes,
    /// Clock cycles of a conversion.
    Cycles,
}

/// One form that was tried.
#[derive(Clone, Debug, PartialEq)]
pub struct Candidate {
    /// Form of the segments.
    pub form: Form,
    /// Width of the sum.
    pub width: Width,
    /// The program, if this form reaches the error.
    pub program: Option<IntegerProgram>,
    /// Largest error found, K.
    pub error: f64,
    /// What it costs.
    pub cost: Cost,
    /// Not tried, because its code alone is dearer than another form with its table.
    pub skipped: bool,
}

/// How much is tried.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Effort {
    /// Every form, even those that can't be smallest.
    pub all: bool,
}

/// Forms that are tried.
pub const FORMS: [Form; 5] =
    [Form::Polynomial(1), Form::Polynomial(2), Form::Polynomial(3), Form::Polynomial(4), Form::Quotient];
/// Reference-junction inputs at which forms are compared.
const COMPARED: u32 = 5;
/// Rounds of widening and narrowing.
const ROUNDS: u32 = 7;

/// All candidates that can be made, the failing ones without a program; `exact`: what [`compared`] tells of the chain.
///
/// # Errors
/// [`Refusal`] where the unit alone is coarser than the error wanted, or nothing reaches it.
pub fn candidates(
    inverse: &Inverse,
    exact: &Exact,
    thresholds: Thresholds,
    unit: Unit,
    error: f64,
    forms: &[Form],
    effort: Effort,
) -> Result<Vec<Candidate>, Refusal> {
    let rounding = 0.5 * unit.kelvin();
    if error <= rounding {
        return Err(Refusal::new(
            "firmware.error_below_unit",
            format!(
                "an error of {error} K is asked, and a result in steps of {unit} alone is off by up to {rounding} K"
            ),
            format!("a finer unit, such as --unit \"{}\"", finer(error)),
        ));
    }
    let scale = Scale::new(inverse, thresholds, unit).ok_or_else(|| {
        Refusal::new(
            "firmware.scale",
            "the converter's span is so wide against the range that its codes tell hardly any temperature",
            "more gain in the front end: `icepoint design FILE`",
        )
    })?;
    let mut list: Vec<(Form, Width)> = forms
        .iter()
        .flat_map(|form| [(*form, Width::Narrow), (*form, Width::Wide)])
        // The quotient's numerator has 32 bits: narrow only.
        .filter(|pair| *pair != (Form::Quotient, Width::Wide))
        .collect();
    // Cheapest code first: what is dearer with an empty table than the best so far needs no table.
    list.sort_by_key(|(form, width)| cost::code_bytes(*form, *width));
    let mut least = u32::MAX;
    let mut candidates = Vec::new();
    for (form, width) in list {
        let floor = cost::code_bytes(form, width);
        let skipped = !effort.all && floor >= least;
        let found = if skipped { None } else { smallest(&scale, inverse, exact, unit, error, form, width) };
        let (program, error) = found.map_or((None, f64::INFINITY), |(p, e)| (Some(p), e));
        let cost = program.as_ref().map_or(Cost::default(), cost::estimate);
        if program.is_some() {
            least = least.min(cost.bytes);
        }
        candidates.push(Candidate { form, width, program, error, cost, skipped });
    }
    if candidates.iter().all(|c| c.program.is_none()) {
        return Err(out_of_reach(error, unit));
    }
    Ok(candidates)
}

/// No table keeps within the error.
pub(crate) fn out_of_reach(error: f64, unit: Unit) -> Refusal {
    Refusal::new(
        "firmware.error_beyond_arithmetic",
        format!("no table of whole numbers keeps within {error} K for this chain and steps of {unit}"),
        "a larger --error, a finer --unit, or no --form",
    )
}

/// A usual unit whose rounding leaves most of an error.
fn finer(error: f64) -> &'static str {
    if error > 0.06 {
        "1/16 K"
    } else if error > 0.01 {
        "0.01 K"
    } else {
        "0.001 K"
    }
}

/// The best by bytes or cycles; of equals the one with the smaller error.
pub fn best(candidates: &[Candidate], smallest: Smallest) -> Option<&Candidate> {
    let key = |c: &Candidate| match smallest {
        Smallest::Bytes => (c.cost.bytes, c.cost.cycles),
        Smallest::Cycles => (c.cost.cycles, c.cost.bytes),
    };
    candidates
        .iter()
        .filter(|c| c.program.is_some())
        .min_by(|a, b| key(a).cmp(&key(b)).then(a.error.total_cmp(&b.error)))
}

/// Parts of the error that the junction's curve may take.
const JUNCTION_SHARES: (f64, f64) = (0.15, 0.35);

/// A program with its error and how that was shared.
struct Made {
    program: IntegerProgram,
    found: f64,
    shares: Shares,
}

impl Made {
    /// Smaller, or as small with a smaller error.
    fn beats(&self, other: &Self) -> bool {
        let (a, b) = (self.program.table_bytes(), other.program.table_bytes());
        a < b || (a == b && self.found < other.found)
    }
}

/// The smallest program of one form, with its error at the compared inputs.
fn smallest(
    scale: &Scale<'_>,
    inverse: &Inverse,
    exact: &Exact,
    unit: Unit,
    error: f64,
    form: Form,
    width: Width,
) -> Option<(IntegerProgram, f64)> {
    let free = error - 0.5 * unit.kelvin();
    let per_step = scale.kelvin_per_step(width);
    // Steps of the sum (24 bits) that the junction may be off by.
    let steps = free / scale.kelvin_per_step(Width::Wide);
    let left = (free - 0.5 * per_step).max(0.2 * free);
    // Tables for one part of the error that is the junction's, and whether one could not be made before the first.
    let shared = |junction: f64| {
        let (mut best, mut gap): (Option<Made>, bool) = (None, false);
        let mut lift = None;
        let (mut good, mut bad) = (0.0, f64::INFINITY);
        let mut share = left * (1.0 - junction);
        for _ in 0..ROUNDS {
            let shares = Shares { curve: share, junction: junction * steps };
            let walked = scale.make(form, width, shares, &mut lift, false).map(|program| {
                let found = exact.within(&program, error);
                (program, found)
            });
            match walked {
                Some((program, Some(found))) => {
                    good = share;
                    let made = Made { program, found, shares };
                    if best.as_ref().is_none_or(|best| made.beats(best)) {
                        best = Some(made);
                    }
                }
                Some(_) => bad = share,
                // Too small an error for this form: a larger one is the only way.
                None if best.is_none() && share < free => (good, gap) = (share, true),
                None => break,
            }
            share = if bad.is_finite() { 0.5 * (good + bad) } else { (good * 1.3).min(2.0 * free) };
            if bad - good < 0.04 * free {
                break;
            }
        }
        (best, gap)
    };
    let best = if inverse.junction == JunctionInput::None {
        shared(JUNCTION_SHARES.0).0
    } else {
        // Side by side; of the second what could not be made at once counts only where the first found nothing.
        let ((first, _), (second, gap)) =
            rayon::join(|| shared(JUNCTION_SHARES.0), || shared(JUNCTION_SHARES.1));
        match (first, second) {
            (Some(first), Some(second)) if !gap && second.beats(&first) => Some(second),
            (first, second) => first.or(second),
        }
    };
    let Made { program, found, shares } = best?;
    // The same number of segments with the least error, if that is less.
    let mut lift = Some(program.curve.lift);
    let refined = scale
        .make(form, width, shares, &mut lift, true)
        .filter(|p| p.table_bytes() <= program.table_bytes())
        .and_then(|p| {
            let error = exact.within(&p, found)?;
            Some((p, error))
        })
        .filter(|(_, e)| *e < found);
    Some(refined.unwrap_or((program, found)))
}

/// Exact temperatures at the inputs at which forms are compared: every code (of finer converters 2¹⁶ of them) at five
/// junction inputs.
pub fn compared(inverse: &Inverse) -> Exact {
    let junctions = walk::junction_grid(inverse.junction_range(), COMPARED);
    Exact::new(inverse, 1 << (inverse.aligned_bits() - 16), &junctions)
}
