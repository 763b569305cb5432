//! Averaging after the converter: what it leaves of a sine, of noise, and how long it takes.

use core::f64::consts::PI;

use crate::chain::DigitalFilter;

/// Largest departure of the line frequency from its nominal value that the mains residual is judged at, relative.
/// EN 50160 asks for ±1 % during 99.5 % of a year (from memory).
pub const LINE_FREQUENCY_SPREAD: f64 = 0.01;

/// Number of conversions in a mean over whole periods.
fn window(periods: u32, rate: f64, mains: f64) -> f64 {
    (f64::from(periods) * rate / mains).round().max(1.0)
}

/// Smoothing constant of the first-order filter.
fn smoothing(time_constant: f64, rate: f64) -> f64 {
    -libm::expm1(-1.0 / (rate * time_constant))
}

/// Magnitude of the filter's response at `hertz`; 1 without a filter.
pub fn magnitude(filter: DigitalFilter, mains: f64, hertz: f64) -> f64 {
    match filter {
        DigitalFilter::None => 1.0,
        DigitalFilter::Mean { periods, rate } => {
            let n = window(periods, rate, mains);
            let x = PI * hertz / rate;
            let below = n * libm::sin(x);
            // At multiples of the sampling rate the mean passes everything: it is an alias of 0 Hz.
            if below.abs() < 1e-12 { 1.0 } else { (libm::sin(n * x) / below).abs() }
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

/// Squared magnitude for noise. Beyond its third null the mean's ripple is replaced by its average, and beyond half the
/// sampling rate, where noise folds back, by the average over all aliases: a sum over frequency can't tell them apart,
/// and without a thousand narrow lobes it is soon done.
pub fn noise_weight(filter: DigitalFilter, mains: f64, hertz: f64) -> f64 {
    if let DigitalFilter::Mean { periods, rate } = filter {
        let n = window(periods, rate, mains);
        if hertz > 0.5 * rate {
            return 1.0 / n;
        }
        if hertz > 3.0 * rate / n {
            let below = n * libm::sin(PI * hertz / rate);
            return 0.5 / (below * below);
        }
    }
    if let DigitalFilter::FirstOrder { rate, .. } = filter
        && hertz > 0.5 * rate
    {
        return 1.0 / averaged(filter, mains);
    }
    let h = magnitude(filter, mains, hertz);
    h * h
}

/// How many independent conversions the filter's output is worth, for white noise.
pub fn averaged(filter: DigitalFilter, mains: f64) -> f64 {
    match filter {
        DigitalFilter::None => 1.0,
        DigitalFilter::Mean { periods, rate } => window(periods, rate, mains),
        DigitalFilter::FirstOrder { time_constant, rate } => {
            let a = smoothing(time_constant, rate);
            (2.0 - a) / a
        }
    }
}

/// Time until a step has settled to within `settle_to` of its size, s.
pub fn settling(filter: DigitalFilter, mains: f64, settle_to: f64) -> f64 {
    match filter {
        DigitalFilter::None => 0.0,
        DigitalFilter::Mean { periods, rate } => window(periods, rate, mains) / rate,
        DigitalFilter::FirstOrder { time_constant, .. } => -time_constant * libm::log(settle_to),
    }
}

/// Largest magnitude within ±1 % of the nominal mains frequency.
pub fn worst_at_mains(filter: DigitalFilter, mains: f64) -> f64 {
    let steps = 20;
    (0..=steps)
        .map(|i| {
            let offset = LINE_FREQUENCY_SPREAD * (2.0 * f64::from(i) / f64::from(steps) - 1.0);
            magnitude(filter, mains, mains * (1.0 + offset))
        })
        .fold(0.0, f64::max)
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
}
