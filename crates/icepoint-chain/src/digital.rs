//! Averaging after the converter, or in it: what it leaves of a sine, of noise, and how long it takes.
//!
//! | filter | response | whole settling |
//! |---|---|---|
//! | mean of n samples | `|sin(πnf/fs)/(n·sin(πf/fs))|`, 1 at multiples of `fs` | n/fs |
//! | sinc of order k, decimating by N | the same to the power k, n = N | (k + 1)·N/fs: a step does not wait for the converter |
//! | first order | `a/|1 − (1 − a)·e^(−jω/fs)|` | until the rest is below what counts as settled |
//!
//! **Samples are finite.** At and near multiples of the sampling rate a mean passes everything: with 20 samples in a mains
//! period the 20th harmonic reads as 0 Hz. Only the analog filter keeps it out, so the residual of every harmonic is
//! computed through both ([`crate::mains_lines`]).

use core::f64::consts::PI;

use crate::chain::DigitalFilter;

/// Largest departure of the line frequency from its nominal value that the mains residual is judged at, relative.
/// EN 50160 asks for ±1 % during 99.5 % of a year (from memory).
pub const LINE_FREQUENCY_SPREAD: f64 = 0.01;

/// Number of conversions in a mean over whole periods.
fn window(periods: u32, rate: f64, mains: f64) -> f64 {
    (f64::from(periods) * rate / mains).round().max(1.0)
}

/// Samples of one output of a decimating sinc filter.
fn decimation(rate: f64, output_rate: f64) -> f64 {
    (rate / output_rate).round().max(1.0)
}

/// Magnitude of a mean of `n` samples, `x = πf/fs`. At multiples of the sampling rate it passes everything.
fn mean_of(n: f64, x: f64) -> f64 {
    let below = n * libm::sin(x);
    if below.abs() < 1e-12 { 1.0 } else { (libm::sin(n * x) / below).abs() }
}

/// Smoothing constant of the first-order filter.
fn smoothing(time_constant: f64, rate: f64) -> f64 {
    -libm::expm1(-1.0 / (rate * time_constant))
}

/// Magnitude of the filter's response at `hertz`; 1 without a filter.
pub fn magnitude(filter: DigitalFilter, mains: f64, hertz: f64) -> f64 {
    match filter {
        DigitalFilter::None => 1.0,
        DigitalFilter::Mean { periods, rate } => mean_of(window(periods, rate, mains), PI * hertz / rate),
        DigitalFilter::Sinc { order, rate, output_rate } => {
            libm::pow(mean_of(decimation(rate, output_rate), PI * hertz / rate), f64::from(order))
        }
        DigitalFilter::FirstOrder { time_constant, rate } => {
            let a = smoothing(time_constant, rate);
            let b = 1.0 - a;
            let half = libm::sin(PI * hertz / rate);
            // (1 − b)² + 4b·sin²(ω/2): the same as 1 − 2b·cos ω + b², without its cancellation.
            a / (a * a + 4.0 * b * half * half).sqrt()
        }
    }
}

/// Lobes on either side of 0 Hz and of a multiple of the sampling rate that noise is summed over one by one; further off
/// the ripple's average stands for it.
const LOBES: u32 = 16;
/// Multiples of the sampling rate beyond which noise is weighed with the average over a whole multiple.
const MULTIPLES: u32 = 64;

/// Squared magnitude for noise: further than 16 lobes from 0 Hz and from every multiple of the sampling rate the ripple of a
/// mean and of a sinc filter is replaced by its average, and beyond the 64th multiple everything by the average over a
/// multiple. A sum over frequency can't tell them apart (`noise_weights.rs` tells how well).
pub fn noise_weight(filter: DigitalFilter, mains: f64, hertz: f64) -> f64 {
    let Some(Lobes { rate, width, .. }) = lobes(filter, mains) else { return 1.0 };
    if hertz > (f64::from(MULTIPLES) + 0.5) * rate {
        return match filter {
            DigitalFilter::Sinc { order, rate, output_rate } => {
                white_gain(order, decimation(rate, output_rate))
            }
            _ => 1.0 / averaged(filter, mains),
        };
    }
    let away = (hertz - rate * (hertz / rate).round()).abs();
    if away > f64::from(LOBES) * width {
        let below = rate / width * libm::sin(PI * hertz / rate);
        match filter {
            DigitalFilter::Mean { .. } => return 0.5 / (below * below),
            DigitalFilter::Sinc { order, .. } => {
                return mean_even_power(order) * libm::pow(below, -2.0 * f64::from(order));
            }
            DigitalFilter::None | DigitalFilter::FirstOrder { .. } => {}
        }
    }
    let h = magnitude(filter, mains, hertz);
    h * h
}

/// Shape of a filter's response.
struct Lobes {
    /// Sampling rate, Hz.
    rate: f64,
    /// Width of a lobe, or of the top for a response without lobes, Hz.
    width: f64,
    /// Pieces of a lobe that are smooth enough to be summed over at once; 0 for a response without lobes.
    pieces: u32,
}

fn lobes(filter: DigitalFilter, mains: f64) -> Option<Lobes> {
    match filter {
        DigitalFilter::None => None,
        DigitalFilter::Mean { periods, rate } => {
            Some(Lobes { rate, width: rate / window(periods, rate, mains), pieces: 1 })
        }
        DigitalFilter::Sinc { order, rate, output_rate } => {
            Some(Lobes { rate, width: rate / decimation(rate, output_rate), pieces: order.max(1) })
        }
        DigitalFilter::FirstOrder { time_constant, rate } => {
            Some(Lobes { rate, width: 0.25 / (2.0 * PI * time_constant), pieces: 0 })
        }
    }
}

/// Frequencies between which [`noise_weight`] is smooth, rising, Hz: ends of lobes, and ever longer strides away from them.
pub(crate) fn noise_edges(filter: DigitalFilter, mains: f64, (low, high): (f64, f64)) -> Vec<f64> {
    let Some(Lobes { rate, width, pieces }) = lobes(filter, mains) else { return Vec::new() };
    let mut edges = Vec::new();
    let first = (low / rate - 0.5).floor().max(0.0);
    let last = (high / rate + 0.5).ceil().min(f64::from(MULTIPLES));
    let mut multiple = first;
    while multiple <= last {
        let centre = multiple * rate;
        let mut offsets: Vec<f64> =
            (1..=LOBES * pieces).map(|j| f64::from(j) * width / f64::from(pieces.max(1))).collect();
        let mut offset = if pieces > 0 { f64::from(LOBES) * width } else { 0.25 * width };
        while offset < 0.5 * rate {
            offset *= 1.5;
            offsets.push(offset);
        }
        offsets.retain(|o| *o < 0.5 * rate);
        edges.extend(offsets.iter().rev().map(|o| centre - o));
        edges.push(centre);
        edges.extend(offsets.iter().map(|o| centre + o));
        edges.push(centre + 0.5 * rate);
        multiple += 1.0;
    }
    edges.retain(|f| *f > low && *f < high);
    edges
}

/// Mean of sin^(2k) over a period: (2k)!/(4^k·k!²).
fn mean_even_power(order: u32) -> f64 {
    (1..=order).map(|k| (2.0 * f64::from(k) - 1.0) / (2.0 * f64::from(k))).product()
}

/// Sum of the squared weights of a sinc filter of this order over `n` samples: what it leaves of the power of white
/// samples. The weights are the coefficients of `((1 − zⁿ)/(n·(1 − z)))^k`, and the sum of their squares is the middle
/// coefficient of the same to the power 2k, by the binomial theorem.
fn white_gain(order: u32, n: f64) -> f64 {
    let twice = 2 * order;
    let last = f64::from(twice) - 1.0;
    let sum: f64 = (0..order.max(1))
        .map(|j| {
            // C(2k, j)·C(k(n − 1) − jn + 2k − 1, 2k − 1), each over n^(2k−1) so that nothing overflows
            let top = f64::from(order) * (n - 1.0) - f64::from(j) * n + last;
            let choose: f64 = (0..j).map(|i| f64::from(twice - i) / f64::from(i + 1)).product();
            let ways: f64 =
                (1..twice).map(|i| (top - f64::from(i) + 1.0).max(0.0) / (f64::from(i) * n)).product();
            if j % 2 == 0 { choose * ways } else { -choose * ways }
        })
        .sum();
    sum / n
}

/// How many independent conversions the filter's output is worth, for the converter's own noise. One for a sinc filter:
/// the noise of a converter that decimates is stated at its output rate.
pub fn averaged(filter: DigitalFilter, mains: f64) -> f64 {
    match filter {
        DigitalFilter::None => 1.0,
        DigitalFilter::Sinc { .. } => 1.0,
        DigitalFilter::Mean { periods, rate } => window(periods, rate, mains),
        DigitalFilter::FirstOrder { time_constant, rate } => {
            let a = smoothing(time_constant, rate);
            (2.0 - a) / a
        }
    }
}

/// Time until a step has settled to within `settle_to` of its size, s, at most: a mean and a sinc filter settle wholly.
/// An output of a sinc filter of order k holds k output periods, and the step comes in the middle of one.
pub fn settling(filter: DigitalFilter, mains: f64, settle_to: f64) -> f64 {
    match filter {
        DigitalFilter::None => 0.0,
        DigitalFilter::Mean { periods, rate } => window(periods, rate, mains) / rate,
        DigitalFilter::Sinc { order, rate, output_rate } => {
            (f64::from(order) + 1.0) * decimation(rate, output_rate) / rate
        }
        DigitalFilter::FirstOrder { time_constant, .. } => -time_constant * libm::log(settle_to),
    }
}

/// Largest magnitude within ±1 % of `hertz`.
pub fn worst_around(filter: DigitalFilter, mains: f64, hertz: f64) -> f64 {
    let steps = 20;
    (0..=steps)
        .map(|i| {
            let offset = LINE_FREQUENCY_SPREAD * (2.0 * f64::from(i) / f64::from(steps) - 1.0);
            magnitude(filter, mains, hertz * (1.0 + offset))
        })
        .fold(0.0, f64::max)
}

/// Largest magnitude within ±1 % of the nominal mains frequency.
pub fn worst_at_mains(filter: DigitalFilter, mains: f64) -> f64 {
    worst_around(filter, mains, mains)
}

#[cfg(test)]
mod tests {
    use super::*;

    const DENSE: f64 = 1e5; // conversions per second: close to the continuous mean
    const PRINTED_DB: f64 = 0.005; // the figures below are printed to 0.01 dB

    /// Attenuation of a 20 ms mean at 51 Hz and 60 Hz, closed form sin(πf/f0)/(πf/f0).
    #[test]
    fn mean_over_one_period_beside_its_null() {
        let one = DigitalFilter::Mean { periods: 1, rate: DENSE };
        for (hertz, printed) in [(60.0, 16.14), (51.0, 34.16)] {
            let db = -20.0 * libm::log10(magnitude(one, 50.0, hertz));
            assert!((db - printed).abs() <= PRINTED_DB, "{hertz} Hz: {db} dB, expected {printed}");
        }
        assert!(magnitude(one, 50.0, 50.0) < 1e-9);
    }

    #[test]
    fn first_order_is_at_half_power_near_its_corner() {
        let tau = 0.1;
        let f = DigitalFilter::FirstOrder { time_constant: tau, rate: DENSE };
        let corner = 1.0 / (2.0 * PI * tau);
        assert!((magnitude(f, 50.0, corner) - 0.5f64.sqrt()).abs() < 1e-4);
        assert!((magnitude(f, 50.0, 0.0) - 1.0).abs() < 1e-12);
    }

    /// The mean of n white samples has 1/n of the variance: the weight, summed up to half the rate, must say the same.
    #[test]
    fn noise_weight_sums_to_the_averaging() {
        let f = DigitalFilter::Mean { periods: 1, rate: 1000.0 };
        let steps = 50_000;
        let sum: f64 =
            (0..steps).map(|i| noise_weight(f, 50.0, 500.0 * (f64::from(i) + 0.5) / f64::from(steps))).sum();
        let mean = sum / f64::from(steps);
        assert!((mean * averaged(f, 50.0) - 1.0).abs() < 0.02, "{mean}");
    }

    /// White noise through the first-order filter, summed in time: variance a/(2 − a).
    #[test]
    fn averaging_agrees_with_the_sum_of_squared_weights() {
        let (tau, rate) = (0.02, 1000.0);
        let a = smoothing(tau, rate);
        let sum: f64 = (0..5000).map(|k| libm::pow(a * libm::pow(1.0 - a, f64::from(k)), 2.0)).sum();
        let n = averaged(DigitalFilter::FirstOrder { time_constant: tau, rate }, 50.0);
        assert!((sum * n - 1.0).abs() < 1e-9);
    }

    fn sinc(order: u32, output_rate: f64) -> DigitalFilter {
        DigitalFilter::Sinc { order, rate: DENSE, output_rate }
    }

    /// Half power over the first null, and the attenuation of mains lines, of the continuous sinc^k (closed forms, to the
    /// digits given).
    #[test]
    fn sinc_orders_to_the_printed_digits() {
        const PRINTED_RATIO: f64 = 5e-6;
        for (order, half_power) in [(1, 0.44295), (2, 0.31892), (3, 0.26194), (4, 0.22751)] {
            let f = sinc(order, 10.0);
            let (mut low, mut high) = (0.0, 10.0);
            for _ in 0..60 {
                let middle = 0.5 * (low + high);
                let above = magnitude(f, 50.0, middle) > 0.5f64.sqrt();
                if above { low = middle } else { high = middle }
            }
            let found = 0.5 * (low + high) / 10.0;
            assert!((found - half_power).abs() <= PRINTED_RATIO, "{order}: {found}");
            // The largest value between the first two nulls: 13.26 dB per order.
            let lobe = (1001..2000).map(|i| magnitude(f, 50.0, f64::from(i) * 0.01)).fold(0.0, f64::max);
            let db = -20.0 * libm::log10(lobe);
            let printed = [13.26, 26.52, 39.78, 53.05][order as usize - 1];
            assert!((db - printed).abs() <= PRINTED_DB, "{order}: {db} dB");
        }
        for (order, output_rate, hertz, printed) in
            [(1, 50.0, 60.0, 16.14), (3, 50.0, 50.5, 120.26), (1, 50.0, 51.0, 34.16)]
        {
            let db = -20.0 * libm::log10(magnitude(sinc(order, output_rate), 50.0, hertz));
            assert!((db - printed).abs() <= PRINTED_DB, "{order}: {db} dB at {hertz} Hz");
        }
        // Ten outputs a second have a null on both mains frequencies.
        for hertz in [50.0, 60.0] {
            assert!(magnitude(sinc(3, 10.0), 50.0, hertz) < 1e-9);
        }
    }

    /// Weights of a sinc filter, by convolution.
    fn weights(order: u32, n: usize) -> Vec<f64> {
        let mut all = vec![1.0];
        for _ in 0..order {
            let mut next = vec![0.0; all.len() + n - 1];
            for (i, w) in all.iter().enumerate() {
                next[i..i + n].iter_mut().for_each(|x| *x += w / n as f64);
            }
            all = next;
        }
        all
    }

    #[test]
    fn sinc_leaves_the_sum_of_its_squared_weights_of_white_noise() {
        for (order, n) in [(1, 1), (1, 20), (2, 7), (3, 16), (3, 100), (4, 33), (4, 1)] {
            let direct: f64 = weights(order, n).iter().map(|w| w * w).sum();
            let found = white_gain(order, n as f64);
            assert!((found / direct - 1.0).abs() < 1e-9, "{order}, {n}: {found} {direct}");
        }
    }

    /// The response against the sum of weights times a sine, sample by sample, past half the sampling rate.
    #[test]
    fn sinc_is_what_its_weights_make_of_a_sine() {
        for (order, n) in [(2u32, 25usize), (3, 20), (4, 10)] {
            let rate = 1000.0;
            let f = DigitalFilter::Sinc { order, rate, output_rate: rate / n as f64 };
            for hertz in [3.0, 49.5, 51.0, 150.0, 777.0, 999.0, 1010.0, 1500.0] {
                let (mut re, mut im) = (0.0, 0.0);
                for (k, w) in weights(order, n).iter().enumerate() {
                    let angle = 2.0 * PI * hertz * k as f64 / rate;
                    re += w * libm::cos(angle);
                    im += w * libm::sin(angle);
                }
                let direct = libm::hypot(re, im);
                let found = magnitude(f, 50.0, hertz);
                assert!((found - direct).abs() < 1e-12, "{order}, {n} at {hertz} Hz: {found} {direct}");
            }
        }
    }

    /// The weight for noise, summed up to half the rate, must leave what the squared weights do.
    #[test]
    fn noise_weight_of_a_sinc_sums_to_its_weights() {
        for order in 1..=4 {
            let f = DigitalFilter::Sinc { order, rate: 1000.0, output_rate: 50.0 };
            let steps = 50_000;
            let sum: f64 = (0..steps)
                .map(|i| noise_weight(f, 50.0, 500.0 * (f64::from(i) + 0.5) / f64::from(steps)))
                .sum();
            let ratio = sum / f64::from(steps) / white_gain(order, 20.0);
            assert!((ratio - 1.0).abs() < 0.02, "{order}: {ratio}");
        }
    }

    #[test]
    fn with_twenty_samples_a_period_the_twentieth_harmonic_is_an_alias_of_zero() {
        let f = DigitalFilter::Mean { periods: 1, rate: 1000.0 };
        assert!(magnitude(f, 50.0, 950.0) < 1e-12);
        assert!((magnitude(f, 50.0, 1000.0) - 1.0).abs() < 1e-12);
    }
}
