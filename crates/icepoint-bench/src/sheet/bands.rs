//! Bands of figures over boards that are drawn, and their worst case.

use icepoint_chain::ModelError;
use icepoint_chain::budget::monte_carlo::{BLOCK, draw, generator};
use icepoint_chain::imperfection::Distribution;
use rayon::prelude::*;

use super::{BAND, Expected, WIDE};

/// What a figure is that there is none of.
pub(super) const NOTHING: Expected = Expected {
    nominal: f64::NAN,
    band: (f64::NAN, f64::NAN),
    wide: (f64::NAN, f64::NAN),
    worst: (f64::NAN, f64::NAN),
};

/// All that is seen for one board and bench: deviations in, figures out; `W` are the buffers of one thread.
type Evaluate<'a, W> = dyn Fn(&[f64], &mut W, &mut [f64]) -> Result<(), ModelError> + Sync + 'a;

/// Boards to draw.
pub(super) struct Boards<'a> {
    /// Every deviation of board and bench.
    pub sizes: &'a [Distribution],
    /// How many.
    pub boards: u32,
    /// Same seed, same boards, whatever the number of threads.
    pub seed: u64,
}

impl Boards<'_> {
    fn means(&self) -> Vec<f64> {
        self.sizes.iter().map(|d| d.mean()).collect()
    }

    /// Bands of `size` figures.
    pub fn bands<W>(
        &self,
        size: usize,
        work: impl Fn() -> W + Sync,
        evaluate: &Evaluate<'_, W>,
    ) -> Result<Vec<Expected>, ModelError> {
        let mut nominal = vec![0.0; size];
        evaluate(&self.means(), &mut work(), &mut nominal)?;
        let blocks: Vec<Vec<f64>> = (0..self.boards.div_ceil(BLOCK))
            .into_par_iter()
            .map_init(
                || (work(), self.means()),
                |(work, x), block| {
                    let count = BLOCK.min(self.boards - block * BLOCK) as usize;
                    let mut rng = generator(self.seed, block);
                    let mut rows = vec![0.0; size * count];
                    for row in rows.chunks_mut(size) {
                        for (x, size) in x.iter_mut().zip(self.sizes) {
                            *x = draw(*size, &mut rng);
                        }
                        evaluate(x, work, row)?;
                    }
                    Ok(rows)
                },
            )
            .collect::<Result<_, ModelError>>()?;
        let worst = self.worst(size, &nominal, &work, evaluate)?;
        Ok((0..size)
            .map(|m| {
                let mut column: Vec<f64> =
                    blocks.iter().flat_map(|rows| rows.chunks(size).map(move |r| r[m])).collect();
                column.sort_by(f64::total_cmp);
                Expected {
                    nominal: nominal[m],
                    band: symmetric(&column, BAND),
                    wide: symmetric(&column, WIDE),
                    worst: worst[m],
                }
            })
            .collect())
    }

    /// Extremes: each deviation alone tells on which side it hurts, then all are put there and the whole is solved anew.
    fn worst<W>(
        &self,
        size: usize,
        nominal: &[f64],
        work: &impl Fn() -> W,
        evaluate: &Evaluate<'_, W>,
    ) -> Result<Vec<(f64, f64)>, ModelError> {
        let mut work = work();
        let mean = self.means();
        let mut x = mean.clone();
        let (mut low, mut high) = (vec![0.0; size], vec![0.0; size]);
        // Slope of every figure by every deviation, as a sign.
        let mut sides: Vec<Vec<bool>> = Vec::with_capacity(mean.len());
        for (p, distribution) in self.sizes.iter().enumerate() {
            let (a, b) = distribution.limits();
            if a == b {
                sides.push(Vec::new());
                continue;
            }
            x[p] = a;
            evaluate(&x, &mut work, &mut low)?;
            x[p] = b;
            evaluate(&x, &mut work, &mut high)?;
            x[p] = mean[p];
            sides.push(low.iter().zip(&high).map(|(low, high)| high >= low).collect());
        }
        let mut corner = |m: usize, up: bool| -> Result<f64, ModelError> {
            for ((x, mean), (distribution, sides)) in
                x.iter_mut().zip(&mean).zip(self.sizes.iter().zip(&sides))
            {
                let (a, b) = distribution.limits();
                *x = sides.get(m).map_or(*mean, |rises| if *rises == up { b } else { a });
            }
            evaluate(&x, &mut work, &mut low)?;
            Ok(low[m])
        };
        (0..size)
            .map(|m| {
                let (down, up) = (corner(m, false)?, corner(m, true)?);
                Ok((down.min(nominal[m]), up.max(nominal[m])))
            })
            .collect()
    }
}

/// Probabilistically symmetric interval of a sorted sample (JCGM 101, 7.7).
fn symmetric(sorted: &[f64], coverage: f64) -> (f64, f64) {
    let m = sorted.len();
    let q = (coverage * m as f64 + 0.5) as usize;
    let r = (m - q.min(m)).div_ceil(2).max(1);
    match (sorted.get(r - 1), sorted.get((r + q).saturating_sub(1).min(m.saturating_sub(1)))) {
        (Some(low), Some(high)) => (*low, *high),
        _ => (f64::NAN, f64::NAN),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn interval_of_a_ramp() {
        let ramp: Vec<f64> = (0..20_000).map(f64::from).collect();
        assert_eq!(symmetric(&ramp, 0.95), (499.0, 19_499.0));
        let (low, high) = symmetric(&ramp, 0.999);
        assert_eq!(high - low, 19_980.0);
        assert!(symmetric(&[], 0.95).0.is_nan());
        assert_eq!(symmetric(&[2.0], 0.95), (2.0, 2.0));
    }
}
