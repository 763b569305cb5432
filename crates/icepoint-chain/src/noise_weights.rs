//! Weights with which a density of noise is summed up behind a digital filter.
//!
//! **Why.** A mean over a mains period at 1 kHz has two thousand lobes up to 100 kHz, and it passes everything again at
//! every multiple of the sampling rate. A circuit's density is smooth beside that. So the density is looked at in a few
//! points, and what the filter makes of the curve through them, which is linear in their values, is worked out once for
//! the filter: `∫|H(f)|²·ℓᵢ(ln f) df` with the Lagrange polynomials ℓᵢ of the points. A search asks for the same weights
//! for every board.
//!
//! **How exactly.** Lobe by lobe next to 0 Hz and to the first 64 multiples of the sampling rate, 16 lobes to either side;
//! further off the ripple's average (an error of 1e-6 of what the filter lets pass), and beyond the 64th multiple the
//! average over a whole multiple (3e-7 behind a first-order filter). Before, the average took over after three lobes and at
//! once beyond half the sampling rate: behind an input filter that is faster than the mean the noise came out 0.35 % too
//! large with a corner at a tenth of the rate, 1.7 % at three tenths (`tests/peer/noise_scipy.py`).

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex};

use icepoint_circuit::{NOISE_POINTS, noise_points};

use crate::chain::DigitalFilter;
use crate::digital;

/// Weights of the points of a piece.
type Weights = [f64; NOISE_POINTS];

/// The weights of one filter, worked out when they are first asked for.
#[derive(Debug)]
pub(crate) struct NoiseWeights {
    filter: DigitalFilter,
    mains: f64,
    /// By the ends of the piece, as bits.
    known: Mutex<BTreeMap<(u64, u64), Weights>>,
    /// [`digital::worst_around`] by the frequency, as bits.
    worst: Mutex<BTreeMap<u64, f64>>,
}

/// Filters kept: one for each chain that is likely to be at work at a time.
const KEPT: usize = 4;

impl NoiseWeights {
    /// Of a filter at a mains frequency (Hz), shared with all who asked for the same lately.
    pub fn of(filter: DigitalFilter, mains: f64) -> Arc<Self> {
        static RECENT: Mutex<Vec<Arc<NoiseWeights>>> = Mutex::new(Vec::new());
        let new = || Arc::new(Self { filter, mains, known: Mutex::default(), worst: Mutex::default() });
        let Ok(mut recent) = RECENT.lock() else { return new() };
        let same = |w: &Arc<Self>| w.filter == filter && w.mains.to_bits() == mains.to_bits();
        if let Some(found) = recent.iter().find(|w| same(w)) {
            return Arc::clone(found);
        }
        let made = new();
        recent.insert(0, Arc::clone(&made));
        recent.truncate(KEPT);
        made
    }

    /// Weights of the points between two natural logarithms of frequency.
    pub fn piece(&self, from: f64, to: f64) -> Weights {
        let key = (from.to_bits(), to.to_bits());
        if let Ok(known) = self.known.lock()
            && let Some(weights) = known.get(&key)
        {
            return *weights;
        }
        let weights = self.computed(from, to);
        if let Ok(mut known) = self.known.lock() {
            known.insert(key, weights);
        }
        weights
    }

    /// [`digital::worst_around`] of the filter.
    pub fn worst_around(&self, hertz: f64) -> f64 {
        if let Ok(worst) = self.worst.lock()
            && let Some(found) = worst.get(&hertz.to_bits())
        {
            return *found;
        }
        let found = digital::worst_around(self.filter, self.mains, hertz);
        if let Ok(mut worst) = self.worst.lock() {
            worst.insert(hertz.to_bits(), found);
        }
        found
    }

    fn computed(&self, from: f64, to: f64) -> Weights {
        let points = noise_points(from, to).map(|(x, _)| x);
        // Barycentric weights of the Lagrange polynomials.
        let mut bary = [1.0; NOISE_POINTS];
        for (i, weight) in bary.iter_mut().enumerate() {
            for (j, x) in points.iter().enumerate() {
                if i != j {
                    *weight /= (points[i] - x) / (to - from);
                }
            }
        }
        let mut sums = [0.0; NOISE_POINTS];
        let mut add = |x: f64, weight: f64| {
            let hertz = libm::exp(x);
            // d f = f·d ln f
            let weight = weight * hertz * digital::noise_weight(self.filter, self.mains, hertz);
            if let Some(i) = points.iter().position(|p| *p == x) {
                sums[i] += weight;
                return;
            }
            let terms: Weights = core::array::from_fn(|i| bary[i] / (x - points[i]));
            let all: f64 = terms.iter().sum();
            sums.iter_mut().zip(terms).for_each(|(sum, term)| *sum += weight * term / all);
        };
        let mut edges = digital::noise_edges(self.filter, self.mains, (libm::exp(from), libm::exp(to)));
        edges.iter_mut().for_each(|hertz| *hertz = libm::log(*hertz));
        edges.retain(|x| *x > from && *x < to);
        edges.insert(0, from);
        edges.push(to);
        for ends in edges.windows(2) {
            for (x, weight) in noise_points(ends[0], ends[1]) {
                add(x, weight);
            }
        }
        sums
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Power of noise of density 1/(1 + (f/corner)²) behind a filter, V², between 0.01 Hz and 100 kHz.
    fn summed(filter: DigitalFilter, corner: f64) -> f64 {
        let weights = NoiseWeights::of(filter, 50.0);
        let (low, high): (f64, f64) = (libm::log(0.01), libm::log(1e5));
        let pieces = 24;
        let width = (high - low) / f64::from(pieces);
        (0..pieces)
            .map(|k| {
                let (from, to) = (low + width * f64::from(k), low + width * f64::from(k + 1));
                let density = |x: f64| 1.0 / (1.0 + (libm::exp(x) / corner) * (libm::exp(x) / corner));
                let points = noise_points(from, to);
                points.iter().zip(weights.piece(from, to)).map(|((x, _), w)| w * density(*x)).sum::<f64>()
            })
            .sum()
    }

    /// In time: samples of this noise are correlated by `e^(−2π·corner·|t|)`, and the variance of a weighted sum follows from
    /// that. The band's ends, which the sum in time has not, are taken off: 0.01 Hz below, a tail of c²/(n·100 kHz) above.
    fn in_time(weights: &[f64], rate: f64, corner: f64, n: f64) -> f64 {
        let alike = |lag: usize| libm::exp(-core::f64::consts::TAU * corner * lag as f64 / rate);
        let mut sum = 0.0;
        for (i, a) in weights.iter().enumerate() {
            for (j, b) in weights.iter().enumerate() {
                sum += a * b * alike(i.abs_diff(j));
            }
        }
        core::f64::consts::FRAC_PI_2 * corner * sum - 0.01 - corner * corner / (n * 1e5)
    }

    #[test]
    fn a_mean_behind_a_filter_that_is_faster_agrees_with_the_sum_in_time() {
        const BOUND: f64 = 2e-5;
        for (periods, rate) in [(1, 1000.0), (2, 1000.0), (1, 10e3), (5, 400.0)] {
            let filter = DigitalFilter::Mean { periods, rate };
            let n = digital::averaged(filter, 50.0);
            for corner in [1.0, 20.0, 100.0, 300.0, 1000.0] {
                let direct = in_time(&vec![1.0 / n; n as usize], rate, corner, n);
                let ratio = summed(filter, corner) / direct;
                println!("mean of {n} at {rate} Hz behind {corner} Hz: {:.1e}", ratio - 1.0);
                assert!((ratio - 1.0).abs() < BOUND, "{n} at {rate} Hz behind {corner} Hz: {ratio}");
            }
        }
    }

    /// Figures of `tests/peer/noise_scipy.py`: NumPy and SciPy over every lobe.
    #[test]
    fn a_mean_agrees_with_the_integral_over_every_lobe() {
        const BOUND: f64 = 2e-5;
        let filter = DigitalFilter::Mean { periods: 1, rate: 1000.0 };
        for (corner, square) in
            [(20.0, 15.893274), (100.0, 23.876854), (300.0, 31.445613), (1000.0, 78.308990)]
        {
            let ratio = summed(filter, corner) / square;
            assert!((ratio - 1.0).abs() < BOUND, "{corner} Hz: {ratio}");
        }
    }

    #[test]
    fn a_sinc_and_a_first_order_filter_agree_with_the_sum_in_time() {
        const BOUND: f64 = 5e-5;
        for corner in [5.0, 100.0, 300.0] {
            let (n, rate) = (20usize, 1000.0);
            let filter = DigitalFilter::Sinc { order: 3, rate, output_rate: 50.0 };
            let mut weights = vec![1.0];
            for _ in 0..3 {
                let mut next = vec![0.0; weights.len() + n - 1];
                for (i, w) in weights.iter().enumerate() {
                    next[i..i + n].iter_mut().for_each(|x| *x += w / n as f64);
                }
                weights = next;
            }
            let white: f64 = weights.iter().map(|w| w * w).sum();
            let ratio = summed(filter, corner) / in_time(&weights, rate, corner, 1.0 / white);
            assert!((ratio - 1.0).abs() < BOUND, "sinc behind {corner} Hz: {ratio}");
            let filter = DigitalFilter::FirstOrder { time_constant: 0.02, rate };
            let a = -libm::expm1(-1.0 / (rate * 0.02));
            let weights: Vec<f64> = (0..800).map(|k| a * libm::pow(1.0 - a, f64::from(k))).collect();
            let n = digital::averaged(filter, 50.0);
            let ratio = summed(filter, corner) / in_time(&weights, rate, corner, n);
            assert!((ratio - 1.0).abs() < BOUND, "first order behind {corner} Hz: {ratio}");
        }
    }
}
