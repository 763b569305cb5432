//! The spread of a batch against the prediction, with what its boards have in common taken into account.
//!
//! **How.** Along a direction `g` that a board's readings could see its estimate `z` gives `ζ = g·z/|g|²`. If the prior is
//! right ζ has a variance of 1: λ = |g|² of it from the board, the rest from references and readings. Errors of a
//! reference move the ζ of all boards that were calibrated with it: `ζ = S·r + rest`, `r` the errors in their standard
//! uncertainties, so the covariance is `C = B + U·Uᵀ`, `B = 1 − S·Sᵀ` within each board and `U` all the `S` in one column
//! for each error. Were the boards' own deviations τ times as large it would be `C + (τ² − 1)·Λ`. The score for τ² at 1,
//! `T = ζᵀ·C⁻¹·Λ·C⁻¹·ζ`, is the sharpest question for τ² near 1 and weighs each direction by what it tells; with its mean
//! `E = tr C⁻¹Λ` and half its variance `I = tr (C⁻¹Λ)²`, `1 + (T − E)/I` is τ² without bias, whatever its value.
//!
//! **Chance.** Where that lies by chance, and how often boards twice as far off would show, is drawn (normal deviations;
//! the rectangles of data sheets scatter less, so a right prior is doubted less often than said).

use icepoint_chain::budget::monte_carlo::{draw, generator};
use icepoint_chain::chain::Findings;
use icepoint_chain::imperfection::Distribution;
use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

use crate::calibrate::checks::chi_squared_tail;

/// Draws of chance, at most.
const DRAWS: usize = 20_000;
/// And at least.
const LEAST_DRAWS: usize = 2_000;
/// Multiplications spent on them.
const EFFORT: usize = 400_000_000;
/// Seed of the draws.
const SEED: u64 = 6;
/// Deviations of boards that a batch should show, over those predicted.
const TIMES: f64 = 2.0;
/// Variance that is left to a board beside what it shares, at least: figures in a file are rounded.
const LEAST_OWN: f64 = 1e-9;

/// One board, along the directions that its readings could see.
#[derive(Clone, Debug)]
pub struct Seen {
    /// ζ.
    pub along: DVector<f64>,
    /// λ: the board's own part of the variance of each ζ.
    pub own: DVector<f64>,
    /// Names of errors of references, each with its part in every ζ.
    shared: Vec<(String, Vec<f64>)>,
}

impl Seen {
    /// What a calibration found out.
    pub fn new(findings: &Findings) -> Self {
        let directions = findings.directions();
        let (mut along, mut own) = (vec![0.0; directions], vec![0.0; directions]);
        for r in 0..directions {
            let entries =
                || findings.deviations.iter().filter_map(|d| Some((d.estimate, *d.directions.get(r)?)));
            let length: f64 = entries().map(|(_, g)| g * g).sum();
            if length > 0.0 && length.is_finite() {
                along[r] = entries().map(|(z, g)| z * g).sum::<f64>() / length;
                own[r] = length.min(1.0);
            }
        }
        let part = |e: &[f64]| (0..directions).map(|r| e.get(r).copied().unwrap_or(0.0)).collect();
        Self {
            shared: findings.shared.iter().map(|e| (e.id.clone(), part(&e.along))).collect(),
            along: along.into(),
            own: own.into(),
        }
    }

    /// Probability of a board as far off from this design (the sum of λ·ζ² as a χ² of the same mean and variance,
    /// Satterthwaite's rule; exact for one direction).
    pub fn probability(&self) -> f64 {
        let sum: f64 = self.along.iter().zip(&self.own).map(|(z, l)| l * z * z).sum();
        let (mean, information) = (self.own.sum(), self.own.norm_squared());
        if information == 0.0 {
            return 1.0;
        }
        let degrees = mean * mean / information;
        chi_squared_tail(degrees * sum / mean, degrees)
    }

    /// Part of a shared error in every ζ.
    pub fn shared(&self, id: &str) -> Option<&[f64]> {
        self.shared.iter().find(|(name, _)| name == id).map(|(_, along)| along.as_slice())
    }
}

/// Names of the errors that at least two of these boards share, in order.
pub fn shared_names(boards: &[Seen]) -> Vec<String> {
    let mut names: Vec<&str> = boards.iter().flat_map(|b| b.shared.iter().map(|(n, _)| n.as_str())).collect();
    names.sort_unstable();
    let mut twice: Vec<String> = names.windows(2).filter(|w| w[0] == w[1]).map(|w| w[0].to_owned()).collect();
    twice.dedup();
    twice
}

/// How a batch is spread.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spread {
    /// Variance of the boards' own deviations over the predicted one: without bias, held at 0.
    pub ratio: f64,
    /// Where that lies in 95 % of batches like this one if the prediction is right.
    pub by_chance: (f64, f64),
    /// Share of batches like this one, of boards twice as far off as predicted, in which it lies above.
    pub noticed: f64,
}

/// One board's block of the covariance.
struct Block<'a> {
    seen: &'a Seen,
    /// `S`: directions × shared errors.
    shared: DMatrix<f64>,
    /// Factor of `B`.
    rest: Cholesky<f64, Dyn>,
    /// `B⁻¹·S`.
    weighed: DMatrix<f64>,
}

impl Spread {
    /// Of these boards; `None` when their readings tell nothing of them.
    pub fn new(boards: &[Seen]) -> Option<Self> {
        let names = shared_names(boards);
        let blocks: Vec<Block<'_>> = boards.iter().map(|b| block(b, &names)).collect::<Option<_>>()?;
        let t = names.len();
        // Woodbury: C⁻¹ = B⁻¹ − W·M·Wᵀ with W = B⁻¹·U and M = (1 + UᵀW)⁻¹.
        let mut inner = DMatrix::<f64>::identity(t, t);
        let (mut k, mut k2) = (DMatrix::<f64>::zeros(t, t), DMatrix::<f64>::zeros(t, t));
        let (mut mean, mut information) = (0.0, 0.0);
        for b in &blocks {
            inner += b.shared.transpose() * &b.weighed;
            let own = DMatrix::from_diagonal(&b.seen.own);
            let left = b.rest.solve(&own); // B⁻¹Λ
            k += b.weighed.transpose() * &own * &b.weighed;
            k2 += b.weighed.transpose() * &own * &left * &b.weighed;
            mean += left.trace();
            information += (&left * &left).trace();
        }
        let m = Cholesky::new(inner)?.inverse();
        let mk = &m * &k;
        mean -= mk.trace();
        information += (&mk * &mk).trace() - 2.0 * (&m * &k2).trace();
        if !(information > 0.0 && mean.is_finite()) {
            return None;
        }
        let ratio = |along: &[DVector<f64>]| 1.0 + (score(&blocks, &m, along) - mean) / information;
        let seen: Vec<DVector<f64>> = boards.iter().map(|b| b.along.clone()).collect();
        let (chance, wild) = drawn(&blocks, t, &ratio);
        let at = |p: f64| chance.get((p * chance.len() as f64) as usize).copied().unwrap_or(f64::NAN);
        let by_chance = (at(0.025), at(0.975));
        let below = wild.partition_point(|r| *r <= by_chance.1);
        Some(Self {
            ratio: ratio(&seen).max(0.0),
            by_chance: (by_chance.0.max(0.0), by_chance.1),
            noticed: (wild.len() - below) as f64 / wild.len().max(1) as f64,
        })
    }
}

fn block<'a>(seen: &'a Seen, names: &[String]) -> Option<Block<'a>> {
    let n = seen.along.len();
    let mut shared = DMatrix::zeros(n, names.len());
    for (mut column, name) in shared.column_iter_mut().zip(names) {
        if let Some(along) = seen.shared(name) {
            column.iter_mut().zip(along).for_each(|(x, s)| *x = *s);
        }
    }
    let mut rest = DMatrix::identity(n, n) - &shared * shared.transpose();
    let mut factor = Cholesky::new(rest.clone());
    let mut least = LEAST_OWN;
    // What a hand wrote may share more than there is.
    while factor.is_none() && least < 1e3 {
        for d in 0..n {
            rest[(d, d)] += least;
        }
        least *= 10.0;
        factor = Cholesky::new(rest.clone());
    }
    let rest = factor?;
    let weighed = rest.solve(&shared);
    Some(Block { seen, shared, rest, weighed })
}

/// `ζᵀ·C⁻¹·Λ·C⁻¹·ζ`.
fn score(blocks: &[Block<'_>], m: &DMatrix<f64>, along: &[DVector<f64>]) -> f64 {
    let mut common = DVector::zeros(m.nrows());
    for (b, along) in blocks.iter().zip(along) {
        common += b.weighed.transpose() * along;
    }
    let common = m * common;
    let of = |(b, along): (&Block<'_>, &DVector<f64>)| -> f64 {
        let y = b.rest.solve(along) - &b.weighed * &common;
        y.iter().zip(&b.seen.own).map(|(y, l)| l * y * y).sum()
    };
    blocks.iter().zip(along).map(of).sum()
}

/// The ratio of batches drawn as predicted, and of boards [`TIMES`] as far off; each in rising order.
fn drawn(
    blocks: &[Block<'_>],
    shared: usize,
    ratio: &impl Fn(&[DVector<f64>]) -> f64,
) -> (Vec<f64>, Vec<f64>) {
    let each: usize =
        blocks.iter().map(|b| b.seen.along.len() * (2 * b.seen.along.len() + 4 * shared + 8)).sum();
    let draws = (EFFORT / each.max(1)).clamp(LEAST_DRAWS, DRAWS);
    let mut rng = generator(SEED, 0);
    let mut normal = |n: usize| DVector::from_fn(n, |_, _| draw(Distribution::Normal(1.0), &mut rng));
    let factors: Vec<DMatrix<f64>> = blocks.iter().map(|b| b.rest.l()).collect();
    let larger = (TIMES * TIMES - 1.0).sqrt();
    let (mut chance, mut wild) = (Vec::with_capacity(draws), Vec::with_capacity(draws));
    for _ in 0..draws {
        let common = normal(shared);
        let mut along: Vec<DVector<f64>> = blocks
            .iter()
            .zip(&factors)
            .map(|(b, factor)| factor * normal(b.seen.along.len()) + &b.shared * &common)
            .collect();
        chance.push(ratio(&along));
        for (along, b) in along.iter_mut().zip(blocks) {
            let more = normal(along.len());
            for ((x, more), own) in along.iter_mut().zip(&more).zip(&b.seen.own) {
                *x += larger * own.sqrt() * more;
            }
        }
        wild.push(ratio(&along));
    }
    chance.sort_by(f64::total_cmp);
    wild.sort_by(f64::total_cmp);
    (chance, wild)
}
