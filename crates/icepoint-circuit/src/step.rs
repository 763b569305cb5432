//! Response in time to a step of one source, and when it has settled.
//!
//! **Method.** With `C·x' + G·x = b` and the final value `G·x∞ = b`, the distance `d = x − x∞` obeys `C·d' + G·d = 0`, so
//! one matrix carries it from one sample to the next. That matrix is the fifth-order Radau IIA rule (Padé (2,3) of the
//! exponential; Hairer and Wanner, *Solving Ordinary Differential Equations II*, IV.5) over a small part of the sample
//! interval, squared up. The rule is L-stable and needs only `C·d`, so algebraic equations and jumps at the start
//! (charge is conserved) take care of themselves.
//!
//! **Error.** The propagation is done with 2ᵏ and 2ᵏ⁺² parts for each sample; the largest difference over all samples is
//! returned as [`StepResponse::error`] and k grows until it is below 1e-9 of the largest excursion (or k = 22).

use crate::circuit::Circuit;
use crate::complex::Complex;
use crate::error::CircuitError;
use crate::netlist::Node;
use crate::operating_point::OperatingPoint;
use crate::parameter::ParameterId;
use crate::response::Linearised;
use crate::stamps::node_unknown;
use core::cmp::Ordering;

/// An output voltage against time after a step.
#[derive(Clone, Debug, PartialEq)]
pub struct StepResponse {
    /// s since the step, from 0 (just after it) in equal intervals.
    pub times: Vec<f64>,
    /// Change of the output since before the step, V.
    pub volts: Vec<f64>,
    /// Where the output ends up, V, from the direct-current solution.
    pub final_volts: f64,
    /// Bound on the numerical error of `volts`, V.
    pub error: f64,
    /// `d` at each sample and the propagators over halves of the interval, largest first.
    distances: Vec<Vec<f64>>,
    propagators: Vec<Vec<f64>>,
    out: (Option<usize>, Option<usize>),
}

/// Parts of a sample interval to begin with: 2¹⁰; the finer run then has the halves that settling asks for.
const FIRST_PARTS: u32 = 10;
const MOST_PARTS: u32 = 22;
/// Agreement between two numbers of parts, against the largest excursion.
const AGREEMENT: f64 = 1e-9;
/// Settling is looked for down to the sample interval divided by 2¹².
const BISECTIONS: usize = 12;
/// Samples at most.
const MOST_POINTS: usize = 1_000_000;

impl Circuit {
    /// Change of the voltage between two nodes after `source` has changed by `step` (V or A), at `points` equal
    /// intervals over `duration_s`. Circuits with diodes are linearised at their operating point; amplifiers are
    /// taken as linear (no slewing).
    ///
    /// Look at ten or more points per period of the fastest ringing that matters: settling is judged at the samples.
    ///
    /// # Errors
    /// [`CircuitError::BadArgument`] and those of [`Circuit::operating_point`].
    pub fn step(
        &self,
        values: &[f64],
        source: ParameterId,
        out: (Node, Node),
        step: f64,
        duration_s: f64,
        points: usize,
    ) -> Result<StepResponse, CircuitError> {
        let demand = |holds: bool, what, value, expected| {
            if holds { Ok(()) } else { Err(CircuitError::BadArgument { what, value, expected }) }
        };
        demand(step.is_finite(), "the step (V or A)", step, "a finite number")?;
        let lasting = duration_s > 0.0 && duration_s.is_finite();
        demand(lasting, "the duration (s)", duration_s, "a finite number above 0")?;
        demand((1..=MOST_POINTS).contains(&points), "the number of points", points as f64, "1 to 1000000")?;
        let op: Option<OperatingPoint> =
            if self.is_linear() { None } else { Some(self.operating_point(values)?) };
        let mut equations = self.linearise(values, op.as_ref())?;
        let plan = &self.ac.plan;
        let mut last = vec![Complex::ZERO; plan.n];
        for &(_, row, k) in self.stamps.sources.iter().filter(|&&(p, ..)| p == source.0) {
            let b = &mut last[plan.row_position[row as usize] as usize];
            *b = *b + Complex::new(k * step, 0.0);
        }
        equations.factor_at(0.0)?;
        equations.factored.solve(plan, &mut last);
        let last: Vec<f64> = last.iter().map(|v| v.re).collect();
        let place = |node: Node| {
            let at = node_unknown(node)?;
            plan.column_position.get(at as usize).map(|&at| at as usize)
        };
        let mut run = Run {
            equations,
            interval: duration_s / points as f64,
            points,
            start: last.iter().map(|v| -v).collect(),
            out: (place(out.0), place(out.1)),
        };
        let final_volts = read(run.out, &last);
        let mut coarse = run.propagate(FIRST_PARTS)?;
        let mut parts = FIRST_PARTS;
        loop {
            parts += 2;
            let fine = run.propagate(parts)?;
            let volts = |d: &Vec<f64>| read(run.out, d);
            let error = coarse
                .0
                .iter()
                .zip(&fine.0)
                .fold(0.0, |worst: f64, (a, b)| worst.max((volts(a) - volts(b)).abs()));
            let largest = fine.0.iter().fold(final_volts.abs(), |m, d| m.max(volts(d).abs()));
            if error <= AGREEMENT * largest || parts >= MOST_PARTS {
                return Ok(StepResponse {
                    times: (0..=points).map(|k| duration_s * k as f64 / points as f64).collect(),
                    volts: fine.0.iter().map(|d| final_volts + volts(d)).collect(),
                    final_volts,
                    error,
                    distances: fine.0,
                    propagators: fine.1,
                    out: run.out,
                });
            }
            coarse = fine;
        }
    }
}

fn read((plus, minus): (Option<usize>, Option<usize>), x: &[f64]) -> f64 {
    let at = |place: Option<usize>| place.map_or(0.0, |at| x[at]);
    at(plus) - at(minus)
}

/// Samples of `d`, and propagators over halves of the interval.
type Propagated = (Vec<Vec<f64>>, Vec<Vec<f64>>);

struct Run<'a> {
    equations: Linearised<'a>,
    interval: f64,
    points: usize,
    start: Vec<f64>,
    out: (Option<usize>, Option<usize>),
}

impl Run<'_> {
    fn propagate(&mut self, parts: u32) -> Result<Propagated, CircuitError> {
        let n = self.start.len();
        // Just after the step: extrapolated from one and two very small parts, which leaves an error of second order
        // in the part over the fastest time constant that is resolved.
        let tiny = self.interval / (1u32 << MOST_PARTS) as f64;
        let one = self.small(tiny)?;
        let (first, second) = (times(&one, &self.start), times(&one, &times(&one, &self.start)));
        let beginning = first.iter().zip(&second).map(|(a, b)| 2.0 * a - b).collect();
        let mut power = self.small(self.interval / (1u32 << parts) as f64)?;
        let mut propagators = vec![power.clone()];
        for _ in 0..parts {
            power = squared(&power, n);
            propagators.push(power.clone());
        }
        propagators.reverse();
        propagators.truncate(BISECTIONS + 1);
        let mut distances = vec![beginning, times(&power, &self.start)];
        for k in 1..self.points {
            distances.push(times(&power, &distances[k]));
        }
        Ok((distances, propagators))
    }

    /// The propagator over one small time: `−Σ rₖ·(τ·G + pₖ·C)⁻¹·C` over the poles of the Padé approximant.
    fn small(&mut self, tau: f64) -> Result<Vec<f64>, CircuitError> {
        let plan = &self.equations.circuit.ac.plan;
        let n = plan.n;
        let mut all = vec![0.0; n * n];
        for (pole, residue, twice) in radau_poles() {
            self.equations.combine(tau, pole)?;
            let mut columns = vec![vec![Complex::ZERO; n]; n];
            for ((&row, &column), &c) in plan.slot_row.iter().zip(&plan.slot_column).zip(&self.equations.c) {
                columns[column as usize][row as usize] = Complex::new(c, 0.0);
            }
            for (j, column) in columns.iter_mut().enumerate() {
                self.equations.factored.solve(plan, column);
                for (i, value) in column.iter().enumerate() {
                    all[i * n + j] -= (residue * *value).re * twice;
                }
            }
        }
        Ok(all)
    }
}

/// Poles of `(1 + 2z/5 + z²/20)/(1 − 3z/5 + 3z²/20 − z³/60)` above the real axis with residues, and 2 for the one that
/// stands for a conjugate pair.
fn radau_poles() -> [(Complex, Complex, f64); 2] {
    // z³ − 9z² + 36z − 60 = 0 has one real root near 3.64; Newton's method finds it, the quadratic the others.
    let mut real = 3.6378;
    for _ in 0..5 {
        real -= (((real - 9.0) * real + 36.0) * real - 60.0) / ((3.0 * real - 18.0) * real + 36.0);
    }
    // The other two: sum 9 − real, product 60/real.
    let half = 0.5 * (9.0 - real);
    let pair = Complex::new(half, (60.0 / real - half * half).sqrt());
    let residue = |z: Complex| {
        let one = Complex::new(1.0, 0.0);
        let top = one + z * 0.4 + z * z * 0.05;
        let slope = Complex::new(-0.6, 0.0) + z * 0.3 - z * z * 0.05;
        top * slope.recip()
    };
    let real = Complex::new(real, 0.0);
    [(real, residue(real), 1.0), (pair, residue(pair), 2.0)]
}

fn times(matrix: &[f64], x: &[f64]) -> Vec<f64> {
    matrix.chunks_exact(x.len().max(1)).map(|row| row.iter().zip(x).map(|(a, b)| a * b).sum()).collect()
}

fn squared(matrix: &[f64], n: usize) -> Vec<f64> {
    let mut all = vec![0.0; n * n];
    for (row, into) in matrix.chunks_exact(n).zip(all.chunks_exact_mut(n)) {
        for (&a, other) in row.iter().zip(matrix.chunks_exact(n)) {
            for (o, &b) in into.iter_mut().zip(other) {
                *o += a * b;
            }
        }
    }
    all
}

impl StepResponse {
    /// When the output has come within `fraction` of its whole change and stays there, s since the step. `None` when it
    /// has not settled within the duration, when nothing changes, or when `fraction` is not above 0.
    ///
    /// Found to 1/4096 of the interval between two samples; a shorter excursion between two samples is not seen.
    #[must_use]
    pub fn settling_time(&self, fraction: f64) -> Option<f64> {
        let band = fraction * self.final_volts.abs();
        if band.is_nan() || band <= 0.0 {
            return None;
        }
        // NaN counts as outside.
        let outside = |d: &[f64]| read(self.out, d).abs().partial_cmp(&band).is_none_or(Ordering::is_gt);
        let last = match self.distances.iter().rposition(|d| outside(d)) {
            None => return Some(0.0),
            Some(last) if last + 1 == self.distances.len() => return None,
            Some(last) => last,
        };
        let interval = self.times.get(1)? - self.times.first()?;
        let (mut time, mut width) = (self.times[last], interval);
        // Just after the step stands the state before it: the propagators take charge from there.
        let mut at = self.distances[last].clone();
        for propagator in self.propagators.iter().skip(1) {
            width *= 0.5;
            let middle = times(propagator, &at);
            if outside(&middle) {
                at = middle;
                time += width;
            }
        }
        Some(time + 0.5 * width)
    }

    /// Largest excursion beyond the final value, as a fraction of the final value; 0 without overshoot.
    #[must_use]
    pub fn overshoot(&self) -> f64 {
        let beyond = self.volts.iter().map(|v| v / self.final_volts - 1.0);
        if self.final_volts == 0.0 { 0.0 } else { beyond.fold(0.0, f64::max) }
    }
}
