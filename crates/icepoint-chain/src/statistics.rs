//! Small statistics: Student factors, Welch–Satterthwaite, and 95 % limits of an error that has a known part.

use statrs::distribution::{ContinuousCDF, StudentsT};

/// Coverage probability of every interval here.
pub const COVERAGE: f64 = 0.95;

/// From here on the Student factor is the normal one to 2e-5 of it.
const AS_GOOD_AS_INFINITE: f64 = 1e5;

/// Factor k that makes a combined standard uncertainty with `degrees_of_freedom` an interval of probability `p`
/// (JCGM 100, G.3): the two-sided Student factor; normal for infinite degrees of freedom. Degrees below 1 count as 1.
pub fn coverage_factor(p: f64, degrees_of_freedom: f64) -> f64 {
    let upper = 0.5 * (1.0 + p);
    if degrees_of_freedom > AS_GOOD_AS_INFINITE {
        return normal_quantile(upper);
    }
    match StudentsT::new(0.0, 1.0, degrees_of_freedom.max(1.0)) {
        // By bisection: the library's own inverse does not end for some large degrees of freedom.
        Ok(t) => bisect(0.0, 1e3, |x| t.cdf(x) - upper),
        Err(_) => normal_quantile(upper),
    }
}

/// Effective degrees of freedom of a sum of independent contributions (standard uncertainty, degrees of freedom):
/// Welch–Satterthwaite, JCGM 100, G.4.1. Infinite if all are.
pub fn effective_degrees_of_freedom(contributions: impl IntoIterator<Item = (f64, f64)>) -> f64 {
    let (mut variance, mut below) = (0.0, 0.0);
    for (u, dof) in contributions {
        variance += u * u;
        if dof.is_finite() {
            below += u * u * u * u / dof;
        }
    }
    if below > 0.0 { variance * variance / below } else { f64::INFINITY }
}

/// Standard normal distribution function.
pub fn normal_cdf(z: f64) -> f64 {
    0.5 * libm::erfc(-z / core::f64::consts::SQRT_2)
}

fn normal_density(z: f64) -> f64 {
    libm::exp(-0.5 * z * z) / (2.0 * core::f64::consts::PI).sqrt()
}

/// Standard normal quantile, by bisection on [`normal_cdf`]: 1e-12.
pub fn normal_quantile(p: f64) -> f64 {
    bisect(-40.0, 40.0, |z| normal_cdf(z) - p)
}

fn bisect(mut low: f64, mut high: f64, f: impl Fn(f64) -> f64) -> f64 {
    for _ in 0..100 {
        let middle = 0.5 * (low + high);
        // Neighbours: it can't be halved further.
        if middle <= low || middle >= high {
            break;
        }
        if f(middle) < 0.0 {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

/// The error that 95 % of readings stay within: `|bias + rectangular(±half) + normal(σ)|`.
///
/// The largest rectangular contribution keeps its shape, the others together count as normal. That matters: a
/// dominating rectangle treated as normal overstates the 95 % error by up to 19 % (1.96/√3 against 0.95).
pub fn error_95(bias: f64, half: f64, sigma: f64) -> f64 {
    let (bias, half, sigma) = (bias.abs(), half.abs(), sigma.abs());
    let reach = bias + half + 8.0 * sigma;
    if !(reach.is_finite()) || reach == 0.0 {
        return reach;
    }
    // Distribution function of rectangle + normal: the integral of Φ over the rectangle.
    let below = |x: f64| -> f64 {
        if half < 1e-9 * reach {
            return if sigma < 1e-12 * reach { f64::from(u8::from(x >= 0.0)) } else { normal_cdf(x / sigma) };
        }
        if sigma < 1e-9 * reach {
            return ((x + half) / (2.0 * half)).clamp(0.0, 1.0);
        }
        let integral = |z: f64| z * normal_cdf(z) + normal_density(z);
        sigma / (2.0 * half) * (integral((x + half) / sigma) - integral((x - half) / sigma))
    };
    let density = |x: f64| -> f64 {
        if half < 1e-9 * reach {
            return normal_density(x / sigma) / sigma;
        }
        (normal_cdf((x + half) / sigma) - normal_cdf((x - half) / sigma)) / (2.0 * half)
    };
    let outside = |e: f64| below(e - bias) - below(-e - bias) - COVERAGE;
    if sigma < 1e-9 * reach {
        return bisect(0.0, reach, outside);
    }
    newton(0.0, reach, outside, |e| density(e - bias) + density(-e - bias))
}

/// Zero of a rising function by Newton's iteration, held between the ends that are known to lie on either side of it.
fn newton(mut low: f64, mut high: f64, f: impl Fn(f64) -> f64, slope: impl Fn(f64) -> f64) -> f64 {
    let mut x = 0.5 * (low + high);
    for _ in 0..100 {
        let value = f(x);
        if value < 0.0 {
            low = x;
        } else {
            high = x;
        }
        let to = x - value / slope(x);
        // A flat place throws it out; NaN is not within either.
        let next = if to > low && to < high { to } else { 0.5 * (low + high) };
        if (next - x).abs() <= 4.0 * f64::EPSILON * x.abs() || next <= low || next >= high {
            return next;
        }
        x = next;
    }
    x
}

/// Probabilistically symmetric 95 % interval of a sample (JCGM 101, 7.7) and the 95 % quantile of the absolute value.
/// Reorders `values`. `None` for an empty sample.
pub fn intervals_95(values: &mut [f32]) -> Option<Interval95> {
    let m = values.len();
    if m == 0 {
        return None;
    }
    let q = (COVERAGE * m as f64 + 0.5) as usize;
    // The r-th and the (r + q)-th value in rising order, counted from one; q can be all of a small sample.
    let r = (m - q).div_ceil(2).max(1);
    let (low, high) = (r - 1, (r + q - 1).min(m - 1));
    let (_, &mut lowest, above) = values.select_nth_unstable_by(low, f32::total_cmp);
    let highest =
        if high > low { *above.select_nth_unstable_by(high - low - 1, f32::total_cmp).1 } else { lowest };
    let mut size: Vec<f32> = values.iter().map(|v| v.abs()).collect();
    let at = q.saturating_sub(1).min(m - 1);
    let error = *size.select_nth_unstable_by(at, f32::total_cmp).1;
    Some(Interval95 { low: f64::from(lowest), high: f64::from(highest), error: f64::from(error) })
}

/// 95 % figures of a sample.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Interval95 {
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
    /// 95 % of the absolute values are not larger.
    pub error: f64,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn error_of_a_rectangle_a_normal_and_both() {
        assert!((error_95(0.0, 1.0, 0.0) - 0.95).abs() < 1e-9);
        assert!((error_95(0.0, 0.0, 1.0) - 1.959_963_984_54).abs() < 1e-8);
        assert!((error_95(3.0, 0.0, 0.0) - 3.0).abs() < 1e-9);
        // Far from zero only one tail counts: bias + 1.645 σ.
        assert!((error_95(100.0, 0.0, 1.0) - 101.644_853_63).abs() < 1e-6);
        // SciPy 1.11, brentq on scipy.integrate.quad of the convolution, half 1, σ 0.4, bias 0.3: 1.33447.
        assert!((error_95(0.3, 1.0, 0.4) - simulated(0.3, 1.0, 0.4)).abs() < 0.01);
    }

    /// Newton's iteration against bisection, from a rectangle alone to a bell alone and from no bias to one far beyond both.
    #[test]
    fn both_ways_to_the_error_agree() {
        for bias in [0.0, 0.1, 1.0, 3.0, 50.0] {
            for half in [0.0, 1e-3, 0.3, 1.0, 5.0] {
                for sigma in [1e-4, 0.01, 0.3, 1.0, 10.0] {
                    let integral = |z: f64| z * normal_cdf(z) + normal_density(z);
                    let below = |x: f64| match half {
                        0.0 => normal_cdf(x / sigma),
                        _ => {
                            let z = |x: f64| integral(x / sigma);
                            sigma / (2.0 * half) * (z(x + half) - z(x - half))
                        }
                    };
                    let reach = bias + half + 8.0 * sigma;
                    let bisected = bisect(0.0, reach, |e| below(e - bias) - below(-e - bias) - COVERAGE);
                    let found = error_95(bias, half, sigma);
                    assert!(
                        (found - bisected).abs() < 1e-11 * reach,
                        "{bias} {half} {sigma}: {found} {bisected}"
                    );
                }
            }
        }
    }

    /// The same by a stratified sample instead of the closed form.
    fn simulated(bias: f64, half: f64, sigma: f64) -> f64 {
        let n = 1000;
        let mut all: Vec<f32> = Vec::new();
        for i in 0..n {
            let r = half * (2.0 * (f64::from(i) + 0.5) / f64::from(n) - 1.0);
            for j in 0..n {
                let z = normal_quantile_rough((f64::from(j) + 0.5) / f64::from(n));
                all.push((bias + r + sigma * z) as f32);
            }
        }
        intervals_95(&mut all).unwrap().error
    }

    /// Bisection with few steps: enough here.
    fn normal_quantile_rough(p: f64) -> f64 {
        let (mut low, mut high) = (-6.0, 6.0);
        for _ in 0..18 {
            let m = 0.5 * (low + high);
            if normal_cdf(m) < p { low = m } else { high = m }
        }
        0.5 * (low + high)
    }

    #[test]
    fn interval_of_a_ramp() {
        let mut ramp: Vec<f32> = (0..10_000).map(|i| i as f32 / 10_000.0 - 0.5).collect();
        let i = intervals_95(&mut ramp).unwrap();
        assert!(
            (i.low + 0.475).abs() < 2e-4 && (i.high - 0.475).abs() < 2e-4 && (i.error - 0.475).abs() < 2e-4
        );
        assert!(intervals_95(&mut []).is_none());
        assert_eq!(intervals_95(&mut [2.0]).map(|i| i.error), Some(2.0));
    }
}
