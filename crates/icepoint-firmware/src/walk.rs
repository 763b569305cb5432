//! Walking all codes: the largest error is found, not estimated.
//!
//! **What is walked.** Every aligned input (all 2¹⁶ for converters up to 16 bit: every code, and every part of a code
//! that a filter can give; all 2²⁴ above) at a grid of reference-junction inputs, ends included. The error is that of
//! the program's number against the exact inverse at the same input, so the converter's own quantisation is beside it.
//! [`everywhere`] bounds the error at *every pair* of code and junction input: both parts of the sum are walked for
//! their own errors, then every sum is walked with the two added.

use rayon::prelude::*;

use crate::integer::IntegerProgram;
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
        let outcome = self.evaluate(aligned, junction, &self.nominal);
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
    (0..program.top + 1)
        .into_par_iter()
        .with_min_len(4096)
        .map(|x| {
            let Some(y) = program.curve.at(program.input(x)) else { return f64::INFINITY };
            let value = f64::from((y >> program.guard) as i32 + program.base) / per_kelvin;
            // The true sum is x less its error; temperature rises with it.
            let coldest = inverse.celsius(emf(f64::from(x) - code.1 - junction.1));
            let hottest = inverse.celsius(emf(f64::from(x) - code.0 - junction.0));
            told((value - coldest).abs()).max(told((value - hottest).abs()))
        })
        .reduce(|| 0.0, f64::max)
}

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
