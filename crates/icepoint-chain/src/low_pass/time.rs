//! Step response of stages in a row, exact at its samples: sections of one and two poles as a linear system, whose
//! transition over one sample is a matrix exponential. Poles that are equal, or far apart as an amplifier's own pole is,
//! cost no digits: no residues are formed.

use super::polynomial::roots;

/// A section with gain 1 at 0 Hz.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Section {
    /// `1/(1 + s/rate)`.
    One { rate: f64 },
    /// `1/(1 + damping·s/rate + s²/rate²)`.
    Two { rate: f64, damping: f64 },
}

/// Sections in a row.
pub(super) struct Cascade {
    sections: Vec<Section>,
}

/// Row-major square matrix.
type Matrix = Vec<Vec<f64>>;

impl Cascade {
    /// Of `in/out` of each stage, lowest power first, at most of the third degree; `None` for anything else.
    pub(super) fn new(denominators: &[Vec<f64>]) -> Option<Self> {
        let mut sections = Vec::new();
        for denominator in denominators {
            let degree = denominator.iter().rposition(|a| *a != 0.0)?;
            let (quadratic, rate) = match degree {
                0 => continue,
                1 | 2 => (denominator.get(..=degree)?.to_vec(), None),
                3 => {
                    let (quadratic, rate) = without_real_root(denominator)?;
                    (quadratic, Some(rate))
                }
                _ => return None,
            };
            sections.extend(rate.map(|rate| Section::One { rate }));
            sections.push(match quadratic[..] {
                [a0, a1] => Section::One { rate: a0 / a1 },
                [a0, a1, a2] => {
                    let rate = (a0 / a2).sqrt();
                    Section::Two { rate, damping: a1 / a0 * rate }
                }
                _ => return None,
            });
        }
        let sound = |s: &Section| match *s {
            Section::One { rate } => rate > 0.0 && rate.is_finite(),
            Section::Two { rate, damping } => rate > 0.0 && rate.is_finite() && damping > 0.0,
        };
        sections.iter().all(sound).then_some(Self { sections })
    }

    /// Response to a step of 1 at `count` instants, `interval` (s) apart, the first at the step.
    pub(super) fn step(&self, interval: f64, count: usize) -> Vec<f64> {
        // The state is told as what is missing to its end: then nothing drives it. Each output begins a step below 1.
        let outputs: Vec<usize> = self
            .sections
            .iter()
            .scan(0, |at, section| {
                let here = *at;
                *at += if matches!(section, Section::Two { .. }) { 2 } else { 1 };
                Some(here)
            })
            .collect();
        let size = self.sections.iter().map(|s| if matches!(s, Section::Two { .. }) { 2 } else { 1 }).sum();
        let mut rates: Matrix = vec![vec![0.0; size]; size];
        for (k, (section, &at)) in self.sections.iter().zip(&outputs).enumerate() {
            let input = k.checked_sub(1).map(|before| outputs[before]);
            match *section {
                Section::One { rate } => {
                    rates[at][at] = -rate * interval;
                    if let Some(input) = input {
                        rates[at][input] = rate * interval;
                    }
                }
                // The second state is the slope over the rate: balanced, so that a fast pole costs nothing.
                Section::Two { rate, damping } => {
                    let rate = rate * interval;
                    rates[at][at + 1] = rate;
                    rates[at + 1][at] = -rate;
                    rates[at + 1][at + 1] = -damping * rate;
                    if let Some(input) = input {
                        rates[at + 1][input] = rate;
                    }
                }
            }
        }
        let transition = exponential(rates);
        let mut state = vec![0.0; size];
        for at in &outputs {
            state[*at] = -1.0;
        }
        let last = outputs.last().copied();
        (0..count)
            .map(|_| {
                let here = 1.0 + last.map_or(0.0, |at| state[at]);
                let next = transition.iter().map(|row| row.iter().zip(&state).map(|(a, x)| a * x).sum());
                state = next.collect();
                here
            })
            .collect()
    }
}

/// A cubic as a quadratic and the rate of a real root, which it always has: the largest if it is real.
fn without_real_root(p: &[f64]) -> Option<(Vec<f64>, f64)> {
    let [a0, a1, a2, a3] = *p.get(..4)? else { return None };
    let all = roots(&[a0, a1, a2, a3]);
    let real = |s: &&icepoint_circuit::Complex| s.im.abs() <= 1e-9 * s.magnitude();
    let root = all.iter().rev().find(real)?.re;
    // Divided from the end where the root is, which is stable.
    if all.last().is_some_and(|s| s.re == root) {
        let b0 = -a0 / root;
        let b1 = (b0 - a1) / root;
        let b2 = (b1 - a2) / root;
        Some((vec![b0, b1, b2], -root))
    } else {
        let b2 = a3;
        let b1 = a2 + root * b2;
        let b0 = a1 + root * b1;
        Some((vec![b0, b1, b2], -root))
    }
}

fn times(a: &Matrix, b: &Matrix) -> Matrix {
    let column = |row: &Vec<f64>, j: usize| row.iter().zip(b).map(|(x, r)| x * r[j]).sum();
    a.iter().map(|row| (0..b.len()).map(|j| column(row, j)).collect()).collect()
}

/// Matrix exponential by scaling, Taylor's series and squaring (Moler and Van Loan, SIAM Review 45, 2003, method 3).
fn exponential(mut a: Matrix) -> Matrix {
    const TERMS: usize = 14;
    let norm = a.iter().map(|row| row.iter().map(|x| x.abs()).sum::<f64>()).fold(0.0, f64::max);
    let squarings = if norm > 0.5 { libm::ceil(libm::log2(norm / 0.5)).clamp(0.0, 200.0) as i32 } else { 0 };
    let scale = libm::exp2(f64::from(-squarings));
    for x in a.iter_mut().flatten() {
        *x *= scale;
    }
    let size = a.len();
    let unit = |i: usize, j: usize| if i == j { 1.0 } else { 0.0 };
    let mut sum: Matrix = (0..size).map(|i| (0..size).map(|j| unit(i, j)).collect()).collect();
    let mut term = sum.clone();
    for k in 1..=TERMS {
        term = times(&term, &a);
        for (x, t) in sum.iter_mut().flatten().zip(term.iter_mut().flatten()) {
            *t /= k as f64;
            *x += *t;
        }
    }
    for _ in 0..squarings {
        sum = times(&sum, &sum);
    }
    sum
}

/// Time after which samples over `duration` stay within `fraction` of 1, s; infinite if the last one does not.
pub(super) fn settled(step: &[f64], duration: f64, fraction: f64) -> f64 {
    let interval = duration / (step.len().max(2) - 1) as f64;
    let missing = |v: &f64| (1.0 - v).abs();
    match step.iter().rposition(|v| missing(v) > fraction || v.is_nan()) {
        None => 0.0,
        Some(last) => match step.get(last + 1) {
            None => f64::INFINITY,
            Some(inside) => {
                // On the straight line between the samples, toward the edge that it comes from.
                let outside = step.get(last).copied().unwrap_or(1.0) - 1.0;
                let edge = if outside > 0.0 { fraction } else { -fraction };
                let share = (outside - edge) / (outside - (inside - 1.0));
                interval * (last as f64 + share.clamp(0.0, 1.0))
            }
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against closed forms: four equal poles, an oscillating pair, and the same pair with an amplifier's pole a million
    /// times as fast, which is a delay of its time constant.
    #[test]
    fn steps_follow_their_closed_forms() {
        let count = 200;
        let worst = |denominators: &[Vec<f64>], interval: f64, expected: &dyn Fn(f64) -> f64| {
            let found = Cascade::new(denominators).unwrap().step(interval, count);
            assert_eq!(found.len(), count);
            let off = found.iter().enumerate().map(|(i, v)| (v - expected(interval * i as f64)).abs());
            off.fold(0.0, f64::max)
        };
        let equal = |t: f64| 1.0 - libm::exp(-t) * (1.0 + t + t * t / 2.0 + t * t * t / 6.0);
        let off = worst(&[vec![1.0, 2.0, 1.0], vec![1.0, 2.0, 1.0]], 0.1, &equal);
        assert!(off < 1e-13, "{off:e}");
        let q = 3.0_f64;
        let (damped, decay) = ((1.0 - 0.25 / (q * q)).sqrt(), 0.5 / q);
        let pair = |t: f64| {
            let turn = libm::cos(damped * t) + decay / damped * libm::sin(damped * t);
            1.0 - libm::exp(-decay * t) * turn
        };
        let off = worst(&[vec![1.0, 1.0 / q, 1.0]], 0.25, &pair);
        assert!(off < 1e-13, "{off:e}");
        let fast = 1e-6;
        let cubic = super::super::polynomial::product(&[1.0, 1.0 / q, 1.0], &[1.0, fast]);
        let delayed = |t: f64| if t > 0.0 { pair(t - fast) } else { 0.0 };
        let off = worst(&[cubic], 0.25, &delayed);
        assert!(off < 2e-10, "{off:e}");
    }

    #[test]
    fn settling_is_where_the_last_sample_outside_ends() {
        let step = [0.0, 0.5, 1.5, 1.1, 0.9, 1.0];
        // From 1.5 to 1.1 the edge at 1.2 is three quarters of the way.
        assert!((settled(&step, 5.0, 0.2) - 2.75).abs() < 1e-12);
        assert_eq!(settled(&step[..3], 2.0, 0.2), f64::INFINITY);
        assert_eq!(settled(&[1.0, 1.0], 1.0, 0.2), 0.0);
    }

    #[test]
    fn what_is_no_filter_is_refused() {
        for bad in [vec![], vec![1.0, -1.0], vec![1.0, 0.0, 1.0], vec![f64::NAN, 1.0], vec![1.0; 5]] {
            assert!(Cascade::new(core::slice::from_ref(&bad)).is_none(), "{bad:?}");
        }
    }
}
