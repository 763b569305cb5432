//! Walking all codes: the largest error is found, not estimated.
//!
//! **What is walked.** Every aligned input (all 2¹⁶ for converters up to 16 bit: every code, and every part of a code
//! that a filter can give; all 2²⁴ above) at a grid of reference-junction inputs, ends included. The error is that of
//! the program's number against the exact inverse at the same input, so the converter's own quantisation is beside it.
//! [`everywhere`] bounds the error at *every pair* of code and junction input: both parts of the sum are walked for
//! their own errors, then every sum is walked with the two added.

use rayon::prelude::*;

use crate::integer::{IntegerProgram, Outcome, PIECE};
use crate::inverse::Inverse;
use crate::states::State;

/// What a walk found.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Walk {
    /// Largest error, K.
    pub error: f64,
    /// Where: aligned input, junction's input.
    pub at: (u32, i32),
    /// Conversions by state.
    pub states: [u64; State::ALL.len()],
}

impl Walk {
    fn merged(mut self, other: Self) -> Self {
        if other.error > self.error {
            (self.error, self.at) = (other.error, other.at);
        }
        self.states.iter_mut().zip(other.states).for_each(|(a, b)| *a += b);
        self
    }

    /// Conversions that gave a temperature.
    pub fn in_range(&self) -> u64 {
        self.states[State::InRange as usize]
    }

    /// All conversions.
    pub fn total(&self) -> u64 {
        self.states.iter().sum()
    }
}

/// Inputs of the reference junction from the lowest to the highest, `count` of them at most.
pub fn junction_grid(range: Option<(i32, i32)>, count: u32) -> Vec<i32> {
    let Some((low, high)) = range else { return vec![0] };
    let last = i64::from(count.max(2) - 1);
    let mut grid: Vec<i32> =
        (0..=last).map(|k| (i64::from(low) + (i64::from(high) - i64::from(low)) * k / last) as i32).collect();
    grid.dedup();
    grid
}

/// Something that turns codes into temperatures.
pub trait Conversion: Sync {
    /// Junction inputs that are used; `None` if the circuit compensates.
    fn junction_range(&self) -> Option<(i32, i32)>;
    /// State and, in range, °C.
    fn convert(&self, aligned: u32, junction: i32) -> (State, f64);
}

impl Conversion for IntegerProgram {
    fn junction_range(&self) -> Option<(i32, i32)> {
        self.junction.as_ref().map(|j| j.range)
    }

    fn convert(&self, aligned: u32, junction: i32) -> (State, f64) {
        // As [`IntegerProgram::evaluate`], but the check value of its own constants is not computed for every code.
        let outcome = match self.junction_steps(junction) {
            Some(steps) => self.with_junction(aligned, steps, &self.nominal),
            None => Outcome { state: State::JunctionOutOfRange, value: self.invalid() },
        };
        let celsius = f64::from(outcome.value) / f64::from(self.unit.per_kelvin());
        (outcome.state, celsius)
    }
}

/// Walks every `stride`-th aligned input at each of the junction's inputs.
pub fn walk(conversion: &dyn Conversion, inverse: &Inverse, stride: u32, junctions: &[i32]) -> Walk {
    let inputs = 1u32 << inverse.aligned_bits();
    junctions
        .iter()
        .map(|&junction| {
            let emf = inverse.junction_emf(f64::from(junction));
            (0..inputs.div_ceil(stride))
                .into_par_iter()
                .with_min_len(2048)
                .fold(Walk::default, |mut walk, k| {
                    let aligned = k * stride;
                    let (state, celsius) = conversion.convert(aligned, junction);
                    walk.states[state as usize] += 1;
                    if state == State::InRange {
                        let exact = emf.map_or(f64::NAN, |emf| {
                            inverse.celsius(inverse.thermocouple_volts(f64::from(aligned)) + emf)
                        });
                        let error = told((celsius - exact).abs());
                        if error > walk.error {
                            (walk.error, walk.at) = (error, (aligned, junction));
                        }
                    }
                    walk
                })
                .reduce(Walk::default, Walk::merged)
        })
        .reduce(Walk::merged)
        .unwrap_or_default()
}

/// An error that is no number is none that may pass: comparisons would leave it out.
fn told(error: f64) -> f64 {
    if error.is_nan() { f64::INFINITY } else { error }
}

/// A bound of the error at every pair of code and junction input, K.
pub fn everywhere(program: &IntegerProgram, inverse: &Inverse) -> f64 {
    let steps = program.steps_per_volt;
    // Smallest and largest would pass over what is no number.
    let spread = |errors: (f64, f64), e: f64| {
        if e.is_nan() { (f64::NEG_INFINITY, f64::INFINITY) } else { (errors.0.min(e), errors.1.max(e)) }
    };
    let none = (f64::INFINITY, f64::NEG_INFINITY);
    let joined = |a: (f64, f64), b: (f64, f64)| (a.0.min(b.0), a.1.max(b.1));
    let top = program.thresholds.top;
    // Steps too many in x from the code, offset included, less what they ideally are with the junction at its lowest.
    let code = (0..top + 1)
        .into_par_iter()
        .with_min_len(4096)
        .fold(
            || none,
            |errors, counted| {
                let aligned = if program.thresholds.falling { top - counted } else { counted };
                let ideal = (inverse.thermocouple_volts(f64::from(aligned)) - program.emf_at_zero) * steps;
                let got = f64::from(program.product(counted, program.nominal.gain))
                    + f64::from(program.nominal.offset);
                spread(errors, got - ideal)
            },
        )
        .reduce(|| none, joined);
    let junction = match &program.junction {
        None => (0.0, 0.0),
        Some(j) => (j.range.0..j.range.1 + 1)
            .into_par_iter()
            .with_min_len(4096)
            .fold(
                || none,
                |errors, input| {
                    let ideal = inverse.junction_emf(f64::from(input)).map_or(f64::NAN, |e| e * steps);
                    let got = program.junction_steps(input).map_or(f64::NAN, f64::from);
                    spread(errors, got - ideal)
                },
            )
            .reduce(|| none, joined),
    };
    let per_kelvin = f64::from(program.unit.per_kelvin());
    let emf = |x: f64| program.emf_at_zero + x / steps;
    let result = |row: &mut usize, input: u32| {
        program.curve.at_next(row, input).map(|y| (y >> program.guard) as i32 + program.base)
    };
    let off = |value: i32, x: u32| {
        let value = f64::from(value) / per_kelvin;
        // The true sum is x less its error; temperature rises with it.
        let coldest = inverse.celsius(emf(f64::from(x) - code.1 - junction.1));
        let hottest = inverse.celsius(emf(f64::from(x) - code.0 - junction.0));
        told((value - coldest).abs()).max(told((value - hottest).abs()))
    };
    // Sums that one input of the curve stands for.
    let alike = 1u32 << (24 - program.curve.width.bits());
    let inputs = program.input(program.top) + 1;
    (0..inputs.div_ceil(PIECE))
        .into_par_iter()
        .map(|piece| {
            let last = ((piece + 1) * PIECE - 1).min(inputs - 1);
            let ends = |input: u32| (input * alike, (input * alike + (alike - 1)).min(program.top));
            let mut worst = 0.0f64;
            // As temperature rises with the sum, the first and the last sum with one result are farthest off.
            let mut run: Option<(i32, u32, u32)> = None;
            let mut row = 0;
            for input in piece * PIECE..=last {
                let (from, to) = ends(input);
                let Some(value) = result(&mut row, input) else { return f64::INFINITY };
                run = match run {
                    Some((same, first, _)) if same == value => Some((same, first, to)),
                    before => {
                        if let Some((value, first, end)) = before {
                            worst = worst.max(off(value, first)).max(off(value, end));
                        }
                        Some((value, from, to))
                    }
                };
            }
            if let Some((value, first, end)) = run {
                worst = worst.max(off(value, first)).max(off(value, end));
            }
            worst
        })
        .reduce(|| 0.0, f64::max)
}

/// The exact temperatures at a grid of inputs, for walks of many programs over one chain.
pub struct Exact {
    stride: u32,
    /// Junction inputs with °C at every `stride`-th aligned input; NaN where the junction's input tells nothing.
    rows: Vec<(i32, Vec<f64>)>,
}

impl Exact {
    /// At every `stride`-th aligned input and each of the junction's inputs.
    pub fn new(inverse: &Inverse, stride: u32, junctions: &[i32]) -> Self {
        let inputs = (1u32 << inverse.aligned_bits()).div_ceil(stride);
        let row = |&junction: &i32| {
            let emf = inverse.junction_emf(f64::from(junction));
            let celsius = |k: u32| match emf {
                Some(emf) => inverse.celsius(inverse.thermocouple_volts(f64::from(k * stride)) + emf),
                None => f64::NAN,
            };
            (junction, (0..inputs).into_par_iter().with_min_len(4096).map(celsius).collect())
        };
        Self { stride, rows: junctions.iter().map(row).collect() }
    }

    /// The largest error of a program, K, if it is not above `allowed`; the walk ends where one is.
    pub fn within(&self, program: &IntegerProgram, allowed: f64) -> Option<f64> {
        let error = |steps: u32, k: usize, exact: f64| {
            let outcome = program.with_junction(k as u32 * self.stride, steps, &program.nominal);
            if outcome.state != State::InRange {
                return 0.0;
            }
            told((f64::from(outcome.value) / f64::from(program.unit.per_kelvin()) - exact).abs())
        };
        // A few inputs tell most of the programs that are too coarse.
        let few = |(junction, row): &(i32, Vec<f64>)| {
            let Some(steps) = program.junction_steps(*junction) else { return true };
            row.iter().enumerate().step_by(FEW).all(|(k, exact)| error(steps, k, *exact) <= allowed)
        };
        if !self.rows.iter().all(few) {
            return None;
        }
        self.rows
            .iter()
            .filter_map(|(junction, row)| Some((program.junction_steps(*junction)?, row)))
            .map(|(steps, row)| {
                row.par_iter()
                    .enumerate()
                    .with_min_len(4096)
                    .try_fold(
                        || 0.0f64,
                        |worst, (k, exact)| {
                            let error = error(steps, k, *exact);
                            (error <= allowed).then_some(worst.max(error))
                        },
                    )
                    .try_reduce(|| 0.0, |a, b| Some(a.max(b)))
            })
            .try_fold(0.0f64, |worst, row| Some(worst.max(row?)))
    }
}

/// One in so many inputs is looked at first: a prime, so that it falls on every part of a code.
const FEW: usize = 61;

/// Errors over temperature: °C in the middle of each of `bins`, least and greatest error there, K; every
/// `stride`-th input at each of the junction's. Bins without a code are left out.
pub fn errors(
    conversion: &dyn Conversion,
    inverse: &Inverse,
    stride: u32,
    junctions: &[i32],
    bins: usize,
) -> Vec<(f64, f64, f64)> {
    let (low, high) = inverse.hot;
    let mut found = vec![(f64::INFINITY, f64::NEG_INFINITY); bins];
    for &junction in junctions {
        let Some(emf) = inverse.junction_emf(f64::from(junction)) else { continue };
        for aligned in (0..1u32 << inverse.aligned_bits()).step_by(stride.max(1) as usize) {
            let (state, celsius) = conversion.convert(aligned, junction);
            if state != State::InRange {
                continue;
            }
            let exact = inverse.celsius(inverse.thermocouple_volts(f64::from(aligned)) + emf);
            let bin = ((exact - low) / (high - low) * bins as f64).clamp(0.0, bins as f64 - 1.0) as usize;
            let (least, greatest) = found[bin];
            found[bin] = (least.min(celsius - exact), greatest.max(celsius - exact));
        }
    }
    found
        .iter()
        .enumerate()
        .filter(|(_, (least, greatest))| least <= greatest)
        .map(|(i, (least, greatest))| {
            (low + (high - low) * (i as f64 + 0.5) / bins as f64, *least, *greatest)
        })
        .collect()
}
