//! Response in time to a step of one source, and when it has settled.
//!
//! **Method.** With `C·x' + G·x = b` and the final value `G·x∞ = b`, the distance `d = x − x∞` obeys `C·d' + G·d = 0`. What
//! the circuit remembers is only `y = C·d`, the charges at the nodes that have a capacitor (and the lag of each
//! amplifier), so one small matrix carries `y` from one sample to the next. It is the fifth-order Radau IIA rule (Padé (2,3) of
//! the exponential; Hairer and Wanner, *Solving Ordinary Differential Equations II*, IV.5) over a small part of the
//! sample interval, squared up. The rule is L-stable and needs only `y`, so algebraic equations and jumps at the start
//! (charge is conserved) take care of themselves.
//!
//! What is kept is the propagator less the identity, `P`, and squaring is `2P + P²`: slow modes, whose part of `P` is
//! tiny, keep all their digits through any number of squarings.
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
    propagated: Propagated,
}

/// Charges and what they mean for the output.
#[derive(Clone, Debug, PartialEq)]
struct Propagated {
    /// Distance of the output from its final value at each sample.
    distances: Vec<f64>,
    /// Charges one part before each sample; at the start for the first.
    charges: Vec<Vec<f64>>,
    /// Propagators (less the identity) over the interval, half of it, a quarter …
    propagators: Vec<Vec<f64>>,
    /// The output's distance one part after some charges: `weights·y`.
    weights: Vec<f64>,
}

/// Parts of a sample interval to begin with: 2¹⁰; the finer run then has the halves that settling asks for.
const FIRST_PARTS: u32 = 10;
const MOST_PARTS: u32 = 22;
/// Agreement between two numbers of parts, against the largest excursion.
const AGREEMENT: f64 = 1e-9;
/// Differences this many times larger than the smallest are of rounding, not of the rule.
const FAR_WORSE: f64 = 16.0;
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
    /// Of a current into capacitors whose common charge hardly anything leads away the final value is huge, and what it does
    /// within `duration_s` is lost in that value's rounding; [`Circuit::step_end`] is for such steps.
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
        self.stepped(values, source, out, step, (duration_s, points), true)
    }

    /// [`Circuit::step`] in half the time, for circuits of which thousands are compared: the response is computed once, with
    /// 2¹² parts for each interval, and nothing tells its error, which reads infinite.
    ///
    /// # Errors
    /// As [`Circuit::step`].
    pub fn quick_step(
        &self,
        values: &[f64],
        source: ParameterId,
        out: (Node, Node),
        step: f64,
        duration_s: f64,
        points: usize,
    ) -> Result<StepResponse, CircuitError> {
        self.stepped(values, source, out, step, (duration_s, points), false)
    }

    fn stepped(
        &self,
        values: &[f64],
        source: ParameterId,
        out: (Node, Node),
        step: f64,
        (duration_s, points): (f64, usize),
        checked: bool,
    ) -> Result<StepResponse, CircuitError> {
        let (mut run, final_volts) = self.run(values, source, out, step, duration_s, points)?;
        let response = |propagated: Propagated, error: f64| StepResponse {
            times: (0..=points).map(|k| duration_s * k as f64 / points as f64).collect(),
            volts: propagated.distances.iter().map(|d| final_volts + d).collect(),
            final_volts,
            error,
            propagated,
        };
        let mut parts = FIRST_PARTS + 2;
        if !checked {
            return Ok(response(run.propagate(parts)?, f64::INFINITY));
        }
        let mut coarse = run.propagate(FIRST_PARTS)?;
        loop {
            let fine = run.propagate(parts)?;
            let error = coarse
                .distances
                .iter()
                .zip(&fine.distances)
                .fold(0.0, |worst: f64, (a, b)| worst.max((a - b).abs()));
            let largest = fine.distances.iter().fold(final_volts.abs(), |m, d| m.max(d.abs()));
            if error <= AGREEMENT * largest || parts >= MOST_PARTS {
                return Ok(response(fine, error));
            }
            coarse = fine;
            parts += 2;
        }
    }

    /// The change of the voltage between two nodes at the end of a step that lasts `duration_s` alone, V: also of a circuit that
    /// is still far from where it would end, as a capacitor that a current charges with nothing to stop it.
    ///
    /// # Accuracy
    /// The number of parts is the one at which more of them change least: each part less loses fewer digits where what the
    /// capacitors' charges have in common leaks away slowly. 1e-10 of what the change would be at last: 3e-11 seen for currents
    /// into a floating capacitor whose leak stops them at up to 1e5 V (`tests/published/closed_forms.rs`).
    ///
    /// # Errors
    /// As [`Circuit::step`].
    pub fn step_end(
        &self,
        values: &[f64],
        source: ParameterId,
        out: (Node, Node),
        step: f64,
        duration_s: f64,
    ) -> Result<f64, CircuitError> {
        let (mut run, final_volts) = self.run(values, source, out, step, duration_s, 1)?;
        let mut end = |parts: u32| -> Result<f64, CircuitError> {
            Ok(run.propagate(parts)?.distances.last().copied().unwrap_or(0.0))
        };
        let mut before = end(0)?;
        let mut best = (f64::INFINITY, before);
        let mut parts = 0;
        while parts < MOST_PARTS {
            parts += 2;
            let now = end(parts)?;
            let change = (now - before).abs();
            if change < best.0 {
                best = (change, now);
            }
            // Beyond the best only rounding grows.
            if best.0 <= AGREEMENT * (final_volts + best.1).abs() || change > FAR_WORSE * best.0 {
                break;
            }
            before = now;
        }
        Ok(final_volts + best.1)
    }

    /// What [`Circuit::step`] propagates, and the change of the voltage at last.
    fn run(
        &self,
        values: &[f64],
        source: ParameterId,
        out: (Node, Node),
        step: f64,
        duration_s: f64,
        points: usize,
    ) -> Result<(Run<'_>, f64), CircuitError> {
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
        let run =
            Run::new(equations, duration_s / points as f64, points, &last, (place(out.0), place(out.1)));
        let final_volts = run.read(&last);
        Ok((run, final_volts))
    }
}

struct Run<'a> {
    equations: Linearised<'a>,
    interval: f64,
    points: usize,
    out: (Option<usize>, Option<usize>),
    /// Rows (positions) that have a coefficient of `s`.
    rows: Vec<usize>,
    /// Charges at the moment of the step.
    start: Vec<f64>,
}

impl<'a> Run<'a> {
    fn new(
        equations: Linearised<'a>,
        interval: f64,
        points: usize,
        last: &[f64],
        out: (Option<usize>, Option<usize>),
    ) -> Self {
        let plan = &equations.circuit.ac.plan;
        let mut charges = vec![0.0; plan.n];
        let mut dynamic = vec![false; plan.n];
        for ((&row, &column), &c) in plan.slot_row.iter().zip(&plan.slot_column).zip(&equations.c) {
            // Before the step the distance is −x∞.
            charges[row as usize] -= c * last[column as usize];
            dynamic[row as usize] |= c != 0.0;
        }
        let rows: Vec<usize> = (0..plan.n).filter(|&row| dynamic[row]).collect();
        let start = rows.iter().map(|&row| charges[row]).collect();
        Run { equations, interval, points, out, rows, start }
    }

    fn read(&self, x: &[f64]) -> f64 {
        let at = |place: Option<usize>| place.map_or(0.0, |at| x[at]);
        at(self.out.0) - at(self.out.1)
    }

    fn propagate(&mut self, parts: u32) -> Result<Propagated, CircuitError> {
        let m = self.rows.len();
        // Just after the step: extrapolated from one and two very small parts, which leaves an error of second order
        // in the part over the fastest time constant that is resolved.
        let (change, weights) = self.small(self.interval / (1u32 << MOST_PARTS) as f64)?;
        let beginning = 2.0 * dot(&weights, &self.start) - dot(&weights, &moved(&change, &self.start));
        let (change, weights) = self.small(self.interval / (1u32 << parts) as f64)?;
        let mut propagators = vec![change];
        // The weights look one part ahead, so the charges are wanted one part before each sample: 2ᵏ − 1 parts
        // on for the first, which is the product of all halves.
        let mut charges = self.start.clone();
        for k in 0..parts as usize {
            charges = moved(&propagators[k], &charges);
            propagators.push(twice(&propagators[k], m));
        }
        propagators.reverse();
        propagators.truncate(BISECTIONS + 1);
        let mut all = vec![self.start.clone(), charges];
        for k in 1..self.points {
            all.push(moved(&propagators[0], &all[k]));
        }
        let later = all.iter().skip(1).map(|y| dot(&weights, y));
        let distances = core::iter::once(beginning).chain(later).collect();
        Ok(Propagated { distances, charges: all, propagators, weights })
    }

    /// Over a small time τ and the poles pₖ of the Padé approximant with residues rₖ, for charges `y`: their change
    /// `Σ rₖ/pₖ·τ·G·(τ·G + pₖ·C)⁻¹` (since `Σ rₖ/pₖ = −1` and `1 − p·C·(τG + pC)⁻¹ = τG·(τG + pC)⁻¹`) and the output's distance
    /// after it, `−Σ rₖ·(τ·G + pₖ·C)⁻¹` at the output.
    fn small(&mut self, tau: f64) -> Result<(Vec<f64>, Vec<f64>), CircuitError> {
        let plan = &self.equations.circuit.ac.plan;
        let m = self.rows.len();
        let (mut change, mut weights) = (vec![0.0; m * m], vec![0.0; m]);
        let mut index = vec![usize::MAX; plan.n];
        for (at, &row) in self.rows.iter().enumerate() {
            index[row] = at;
        }
        let mut solution = vec![Complex::ZERO; plan.n];
        for (pole, residue, count) in radau_poles() {
            self.equations.combine(tau, pole)?;
            let share = residue * pole.recip() * tau;
            for (j, &row) in self.rows.iter().enumerate() {
                solution.fill(Complex::ZERO);
                solution[row] = Complex::new(1.0, 0.0);
                self.equations.factored.solve(plan, &mut solution);
                let at = |place: Option<usize>| place.map_or(Complex::ZERO, |at| solution[at]);
                weights[j] -= (residue * (at(self.out.0) - at(self.out.1))).re * count;
                for ((&row, &column), &g) in
                    plan.slot_row.iter().zip(&plan.slot_column).zip(&self.equations.g)
                {
                    // Other rows have no charge: what the formula gives there is rounding.
                    if let Some(into) =
                        change.get_mut(index[row as usize].saturating_mul(m).saturating_add(j))
                    {
                        *into += (share * solution[column as usize]).re * g * count;
                    }
                }
            }
        }
        Ok((change, weights))
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

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// `y + P·y`.
fn moved(change: &[f64], y: &[f64]) -> Vec<f64> {
    change.chunks_exact(y.len().max(1)).zip(y).map(|(row, old)| old + dot(row, y)).collect()
}

/// `2P + P²`: the change over twice the time.
fn twice(change: &[f64], m: usize) -> Vec<f64> {
    let mut all: Vec<f64> = change.iter().map(|p| 2.0 * p).collect();
    for (row, into) in change.chunks_exact(m.max(1)).zip(all.chunks_exact_mut(m.max(1))) {
        for (&a, other) in row.iter().zip(change.chunks_exact(m.max(1))) {
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
        // The final value of an output that ends where it began is rounding.
        let moved_at_all = self.volts.iter().fold(0.0, |m: f64, v| m.max(v.abs())) * 1e-12;
        if band.is_nan() || band <= 0.0 || self.final_volts.abs() <= moved_at_all {
            return None;
        }
        // NaN counts as outside.
        let outside = |d: f64| d.abs().partial_cmp(&band).is_none_or(Ordering::is_gt);
        let p = &self.propagated;
        let last = match p.distances.iter().rposition(|&d| outside(d)) {
            None => return Some(0.0),
            Some(last) if last + 1 == p.distances.len() => return None,
            Some(last) => last,
        };
        let mut width = self.times.get(1)? - self.times.first()?;
        let mut time = self.times[last];
        let mut charges = p.charges.get(last)?.clone();
        for propagator in p.propagators.iter().skip(1) {
            width *= 0.5;
            let middle = moved(propagator, &charges);
            if outside(dot(&p.weights, &middle)) {
                charges = middle;
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
