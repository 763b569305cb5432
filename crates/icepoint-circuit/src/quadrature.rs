//! Integrals of many functions at once over one interval, refined where they need it.
//!
//! Gauss–Legendre with [`ORDER`] points on each piece; a piece is compared with its two halves and the worst piece is
//! halved next, until the sum of the differences is small against the sum. The finer value is kept, so the
//! difference bounds its error generously for anything smooth.

use crate::error::CircuitError;
use std::collections::BTreeSet;

/// Points per piece: exact for polynomials of degree 15.
pub(crate) const ORDER: usize = 8;
/// Pieces at most.
const MOST_PIECES: usize = 4000;

pub(crate) struct Integral {
    pub sums: Vec<f64>,
    /// Bound on the error of the sum of `sums`.
    pub error: f64,
    pub evaluations: usize,
}

/// Nodes and weights on −1…1, by Newton's method on the Legendre polynomial (Abramowitz and Stegun 25.4.29, 22.7.10).
pub(crate) fn gauss_legendre() -> [(f64, f64); ORDER] {
    let mut all = [(0.0, 0.0); ORDER];
    let n = ORDER as f64;
    for (k, point) in all.iter_mut().enumerate() {
        let mut x = libm::cos(core::f64::consts::PI * (k as f64 + 0.75) / (n + 0.5));
        let mut slope = 1.0;
        for _ in 0..10 {
            let (mut p, mut previous) = (1.0, 0.0);
            for j in 0..ORDER {
                let j = j as f64;
                let next = ((2.0 * j + 1.0) * x * p - j * previous) / (j + 1.0);
                previous = p;
                p = next;
            }
            slope = n * (x * p - previous) / (x * x - 1.0);
            x -= p / slope;
        }
        *point = (x, 2.0 / ((1.0 - x * x) * slope * slope));
    }
    all
}

/// The plain rule of Gauss and Legendre between two ends.
pub(crate) fn plain(nodes: &Piecewise, from: f64, to: f64) -> Piecewise {
    let (middle, half) = (0.5 * (from + to), 0.5 * (to - from));
    nodes.map(|(x, weight)| (middle + half * x, half * weight))
}

struct Piece {
    from: f64,
    to: f64,
    halves: [Vec<f64>; 2],
    difference: f64,
    total: f64,
}

/// Where to look at the functions on one piece, and with which weights.
pub(crate) type Piecewise = [(f64, f64); ORDER];

/// How finely to begin and where to end.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Effort {
    /// Pieces to begin with per unit of the interval: of a natural logarithm of frequency an octave is 0.69.
    pub pieces_per_unit: f64,
    /// Whether each first piece is looked at in quarters at once, else in halves.
    pub quarters: bool,
    /// The agreement asked for, relative; without end to compare nothing and look at each first piece, or at
    /// either half of it, once.
    pub agreement: f64,
}

/// Integrates `count` functions at once; `f` writes their values at a point, `rule` tells points and weights between two
/// ends.
pub(crate) fn integrate(
    from: f64,
    to: f64,
    count: usize,
    effort: Effort,
    rule: impl Fn(f64, f64) -> Piecewise,
    mut f: impl FnMut(f64, &mut [f64]) -> Result<(), CircuitError>,
) -> Result<Integral, CircuitError> {
    let mut evaluations = 0;
    let mut values = vec![0.0; count];
    let mut over = |from: f64, to: f64| -> Result<Vec<f64>, CircuitError> {
        let mut sums = vec![0.0; count];
        for (x, weight) in rule(from, to) {
            f(x, &mut values)?;
            evaluations += 1;
            for (sum, value) in sums.iter_mut().zip(&values) {
                *sum += weight * value;
            }
        }
        Ok(sums)
    };
    let once = effort.agreement == f64::INFINITY;
    // Without the whole, which is what the halves are compared with, it is computed.
    let mut piece = |from: f64, to: f64, whole: Option<&[f64]>| -> Result<Piece, CircuitError> {
        if once {
            let halves = [over(from, to)?, Vec::new()];
            return Ok(Piece { from, to, halves, difference: f64::INFINITY, total: 0.0 });
        }
        let middle = 0.5 * (from + to);
        let halves = [over(from, middle)?, over(middle, to)?];
        let whole: f64 = match whole {
            Some(whole) => whole.iter().sum(),
            None => over(from, to)?.iter().sum(),
        };
        let fine: f64 = halves.iter().flatten().sum();
        let difference = (fine - whole).abs();
        Ok(Piece { from, to, halves, difference, total: fine })
    };
    let first = ((to - from) * effort.pieces_per_unit).ceil().clamp(1.0, 200.0) as usize;
    let width = (to - from) / first as f64;
    let mut pieces: Vec<Piece> = Vec::with_capacity(first);
    let nothing = vec![0.0; count];
    for k in 0..first {
        let start = from + width * k as f64;
        let end = if k + 1 == first { to } else { start + width };
        if !effort.quarters {
            pieces.push(piece(start, end, None)?);
            continue;
        }
        // The whole of a first piece is not computed apart: its two halves are refined once instead.
        let coarse = piece(start, end, Some(&nothing))?;
        let middle = 0.5 * (start + end);
        pieces.push(piece(start, middle, Some(&coarse.halves[0]))?);
        pieces.push(piece(middle, end, Some(&coarse.halves[1]))?);
    }
    // Worst first, by the bits of the difference (ordered like the number, since it isn't negative), then by index.
    let key = |difference: f64, at: usize| (difference.to_bits(), at);
    let mut queue: BTreeSet<(u64, usize)> =
        pieces.iter().enumerate().map(|(at, p)| key(p.difference, at)).collect();
    loop {
        let error: f64 = pieces.iter().map(|p| p.difference).sum();
        let total: f64 = pieces.iter().map(|p| p.total).sum();
        let worst = queue.pop_last();
        let enough =
            error <= effort.agreement * total.abs() || !error.is_finite() || pieces.len() >= MOST_PIECES;
        if let (false, Some((_, at))) = (enough, worst) {
            let (from, to) = (pieces[at].from, pieces[at].to);
            let middle = 0.5 * (from + to);
            let [left, right] = core::mem::take(&mut pieces[at].halves);
            pieces[at] = piece(from, middle, Some(&left))?;
            queue.insert(key(pieces[at].difference, at));
            pieces.push(piece(middle, to, Some(&right))?);
            queue.insert(key(pieces[pieces.len() - 1].difference, pieces.len() - 1));
            continue;
        }
        let mut sums = vec![0.0; count];
        for half in pieces.iter().flat_map(|p| &p.halves) {
            sums.iter_mut().zip(half).for_each(|(sum, v)| *sum += v);
        }
        return Ok(Integral { sums, error, evaluations });
    }
}
