//! A straight line by the estimator of the calibration.

use icepoint_bench::calibrate::inference::Inference;
use nalgebra::{DMatrix, DVector};

/// A straight line by this crate's estimator with a prior so wide that it says next to nothing: intercept, slope, their
/// standard uncertainties, their correlation, and the residual standard deviation.
pub(crate) struct Line {
    pub(crate) at_zero: f64,
    pub(crate) slope: f64,
    pub(crate) u_at_zero: f64,
    pub(crate) u_slope: f64,
    pub(crate) correlation: f64,
    pub(crate) residual: f64,
}

/// Least squares of y over x with priors of these standard uncertainties.
pub(crate) fn line(x: &[f64], y: &[f64], prior: (f64, f64)) -> Line {
    let n = x.len();
    let h = DMatrix::from_fn(n, 2, |k, j| if j == 0 { prior.0 } else { prior.1 * x[k] });
    let fit = |variance: f64| {
        let inference =
            Inference::from_sensitivities(h.clone(), &vec![variance; n], DVector::zeros(2), 2).unwrap();
        let z = &inference.gain * DVector::from_column_slice(y);
        let covariance = DMatrix::identity(2, 2) - &inference.gain * &h;
        (z, covariance)
    };
    // The spread of the readings is not known beforehand: from the residuals of a first fit, then once more.
    let mut variance = 1.0;
    let mut result = fit(variance);
    for _ in 0..3 {
        let residuals: f64 = (0..n).map(|k| y[k] - (h.row(k) * &result.0)[0]).map(|r| r * r).sum();
        variance = residuals / (n - 2) as f64;
        result = fit(variance);
    }
    let (z, covariance) = result;
    let (u_at_zero, u_slope) = (covariance[(0, 0)].sqrt(), covariance[(1, 1)].sqrt());
    Line {
        at_zero: prior.0 * z[0],
        slope: prior.1 * z[1],
        u_at_zero: prior.0 * u_at_zero,
        u_slope: prior.1 * u_slope,
        correlation: covariance[(0, 1)] / (u_at_zero * u_slope),
        residual: variance.sqrt(),
    }
}
