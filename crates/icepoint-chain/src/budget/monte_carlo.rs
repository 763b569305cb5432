//! The budget by simulation (JCGM 101:2008): boards are drawn, built, calibrated and read, the whole chain solved anew
//! for each.
//!
//! **Same numbers whatever the thread count**: trials are drawn in blocks, each with its own generator seeded from the
//! seed and the number of the block.

use rand::{RngExt, SeedableRng};
use rand_distr::StandardNormal;
use rand_xoshiro::Xoshiro256PlusPlus;
use rayon::prelude::*;

use super::study::{Study, WISHES};
use crate::imperfection::{Distribution, Imperfection};
use crate::model::ModelError;
use crate::statistics::intervals_95;

/// Trials drawn from one generator.
pub const BLOCK: u32 = 500;
/// Bars of a histogram.
pub const BARS: usize = 60;

/// Result at one grid point for one calibration choice; errors are reading less true temperature, K.
#[derive(Clone, Debug, PartialEq)]
pub struct MonteCarloPoint {
    /// Mean error.
    pub mean: f64,
    /// Standard deviation of the error.
    pub standard: f64,
    /// Lower end of the symmetric 95 % interval.
    pub low: f64,
    /// Upper end.
    pub high: f64,
    /// 95 % of the absolute errors are not larger.
    pub error_95: f64,
    /// Counts in [`BARS`] bars of equal width from the smallest to the largest error.
    pub histogram: Vec<u32>,
    /// Smallest and largest error.
    pub range: (f64, f64),
}

/// Result of a simulation.
#[derive(Clone, Debug, PartialEq)]
pub struct MonteCarlo {
    /// Trials done.
    pub trials: u32,
    /// `[wish · points + point]`.
    pub points: Vec<MonteCarloPoint>,
    /// Share of boards within the accuracy at every grid point, per calibration choice.
    pub yields: [f64; WISHES],
}

/// Draws one deviation.
#[inline]
pub fn draw(distribution: Distribution, rng: &mut Xoshiro256PlusPlus) -> f64 {
    match distribution {
        Distribution::Rectangular(a) => a * (2.0 * rng.random::<f64>() - 1.0),
        Distribution::OneSided(a) => a * rng.random::<f64>(),
        Distribution::Normal(s) => s * rng.sample::<f64, _>(StandardNormal),
        Distribution::Arcsine(a) => a * libm::sin(2.0 * core::f64::consts::PI * rng.random::<f64>()),
    }
}

/// Draws all deviations of one board and its reading.
pub fn draw_all(imperfections: &[Imperfection], rng: &mut Xoshiro256PlusPlus, d: &mut [f64]) {
    for (d, imperfection) in d.iter_mut().zip(imperfections) {
        *d = draw(imperfection.distribution, rng);
    }
}

/// Generator of a block. The odd factor keeps the seeds of neighbouring blocks apart.
pub fn generator(seed: u64, block: u32) -> Xoshiro256PlusPlus {
    Xoshiro256PlusPlus::seed_from_u64(seed ^ u64::from(block + 1).wrapping_mul(0xD134_2543_DE82_EF95))
}

struct Block {
    /// `[wish · points + point][trial]`, K.
    errors: Vec<f32>,
    good: [u32; WISHES],
}

/// Simulates. `progress` is told the trials done since it was last told, from any thread.
///
/// # Errors
/// [`ModelError`] when a drawn board can't be solved.
pub fn evaluate(
    study: &Study,
    trials: u32,
    seed: u64,
    accuracy: f64,
    progress: &(dyn Fn(u32) + Sync),
) -> Result<MonteCarlo, ModelError> {
    let blocks = trials.div_ceil(BLOCK);
    let size = WISHES * study.points();
    let results: Vec<Block> = (0..blocks)
        .into_par_iter()
        .map_init(
            || (study.work(), study.mean.clone(), vec![0.0; size]),
            |(work, d, out), block| {
                let count = BLOCK.min(trials - block * BLOCK);
                let mut rng = generator(seed, block);
                let mut result = Block { errors: vec![0.0; size * count as usize], good: [0; WISHES] };
                for trial in 0..count as usize {
                    draw_all(&study.imperfections, &mut rng, d);
                    study.readings(d, work, out)?;
                    for (wish, readings) in out.chunks(study.points()).enumerate() {
                        let mut largest = 0.0f64;
                        for (point, reading) in readings.iter().enumerate() {
                            let error = reading - study.hot[point % study.hot.len()];
                            largest = largest.max(error.abs());
                            result.errors[(wish * study.points() + point) * count as usize + trial] =
                                error as f32;
                        }
                        result.good[wish] += u32::from(largest <= accuracy);
                    }
                }
                progress(count);
                Ok(result)
            },
        )
        .collect::<Result<_, ModelError>>()?;
    let points = (0..size).into_par_iter().filter_map(|index| summary(index, size, &results)).collect();
    let mut yields = [0.0; WISHES];
    for (wish, share) in yields.iter_mut().enumerate() {
        let good: u64 = results.iter().map(|b| u64::from(b.good[wish])).sum();
        *share = good as f64 / f64::from(trials.max(1));
    }
    Ok(MonteCarlo { trials, points, yields })
}

fn summary(index: usize, size: usize, blocks: &[Block]) -> Option<MonteCarloPoint> {
    let mut column: Vec<f32> = Vec::new();
    for block in blocks {
        let count = block.errors.len() / size;
        column.extend_from_slice(&block.errors[index * count..(index + 1) * count]);
    }
    let n = column.len() as f64;
    let mean = column.iter().map(|&e| f64::from(e)).sum::<f64>() / n;
    let squares: f64 = column.iter().map(|&e| (f64::from(e) - mean) * (f64::from(e) - mean)).sum();
    let (least, most) = column
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), &e| (a.min(f64::from(e)), b.max(f64::from(e))));
    let mut histogram = vec![0; BARS];
    let per_bar = BARS as f64 / (most - least).max(1e-30);
    for &e in &column {
        histogram[(((f64::from(e) - least) * per_bar) as usize).min(BARS - 1)] += 1;
    }
    let interval = intervals_95(&mut column)?;
    Some(MonteCarloPoint {
        mean,
        standard: (squares / (n - 1.0).max(1.0)).sqrt(),
        low: interval.low,
        high: interval.high,
        error_95: interval.error,
        histogram,
        range: (least, most),
    })
}
