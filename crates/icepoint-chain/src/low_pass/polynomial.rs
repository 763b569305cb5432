//! Polynomials with real coefficients, lowest power first: product, value, roots.

use icepoint_circuit::Complex;

/// Steps of the iteration; it converges quadratically, so this many mean that there is nothing to find.
const MOST_STEPS: usize = 500;

/// Product of two polynomials.
pub fn product(a: &[f64], b: &[f64]) -> Vec<f64> {
    let mut all = vec![0.0; (a.len() + b.len()).saturating_sub(1)];
    for (i, x) in a.iter().enumerate() {
        for (j, y) in b.iter().enumerate() {
            all[i + j] += x * y;
        }
    }
    all
}

/// Sum of two polynomials.
pub fn sum(a: &[f64], b: &[f64]) -> Vec<f64> {
    let at = |p: &[f64], i: usize| p.get(i).copied().unwrap_or(0.0);
    (0..a.len().max(b.len())).map(|i| at(a, i) + at(b, i)).collect()
}

/// Value at a complex argument, by Horner's rule.
pub fn value(p: &[f64], s: Complex) -> Complex {
    p.iter().rev().fold(Complex::ZERO, |sum, a| sum * s + Complex::new(*a, 0.0))
}

/// All roots, by rising magnitude, by the simultaneous iteration of Weierstrass (Durand–Kerner). For the distinct roots of
/// a filter good to some 1e-14 of themselves; a root of multiplicity m to the m-th root of that. Empty for a constant, or
/// coefficients that are not finite.
pub fn roots(p: &[f64]) -> Vec<Complex> {
    let degree = p.iter().rposition(|a| *a != 0.0).unwrap_or(0);
    let lead = p.get(degree).copied().unwrap_or(0.0);
    let low = p.first().copied().unwrap_or(0.0);
    if degree == 0 || !p.iter().all(|a| a.is_finite()) || low == 0.0 {
        return Vec::new();
    }
    // Scaled so that the product of the roots has magnitude 1: poles of a filter span many decades.
    let scale = libm::pow((low / lead).abs(), 1.0 / degree as f64);
    let monic: Vec<f64> =
        (0..=degree).map(|k| p[k] / lead * libm::pow(scale, k as f64 - degree as f64)).collect();
    // Start on spirals between the bounds of Cauchy on the roots, off the real axis.
    let most = 1.0 + monic[..degree].iter().fold(0.0_f64, |m, a| m.max(a.abs()));
    let least = 1.0 / (1.0 + monic[1..].iter().fold(0.0_f64, |m, a| m.max((a / monic[0]).abs())));
    let mut all: Vec<Complex> = (0..degree)
        .map(|k| {
            let share = (k as f64 + 0.5) / degree as f64;
            let radius = libm::pow(least, 1.0 - share) * libm::pow(most, share);
            let angle = 0.4 + 2.4 * k as f64;
            Complex::new(radius * libm::cos(angle), radius * libm::sin(angle))
        })
        .collect();
    for _ in 0..MOST_STEPS {
        let mut moved = 0.0_f64;
        for k in 0..degree {
            let here = all[k];
            let below = (0..degree)
                .filter(|j| *j != k)
                .fold(Complex::new(1.0, 0.0), |product, j| product * (here - all[j]));
            let step = value(&monic, here) * below.recip();
            if step.re.is_finite() && step.im.is_finite() {
                all[k] = here - step;
                moved = moved.max(step.magnitude() / here.magnitude().max(1e-300));
            }
        }
        if moved < 1e-15 {
            break;
        }
    }
    all.sort_by(|a, b| a.magnitude().total_cmp(&b.magnitude()).then(a.im.total_cmp(&b.im)));
    all.into_iter().map(|s| Complex::new(s.re * scale, s.im * scale)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn roots_of_a_product_are_the_roots_of_its_factors() {
        // (s + 3)·(s² + 2s + 5)·(s + 1e6): the last far away, as a fast amplifier's.
        let p = product(&product(&[3.0, 1.0], &[5.0, 2.0, 1.0]), &[1e6, 1.0]);
        let found = roots(&p);
        assert_eq!(found.len(), 4);
        for expected in [
            Complex::new(-3.0, 0.0),
            Complex::new(-1.0, 2.0),
            Complex::new(-1.0, -2.0),
            Complex::new(-1e6, 0.0),
        ] {
            let nearest = found.iter().map(|s| (*s - expected).magnitude()).fold(f64::INFINITY, f64::min);
            assert!(nearest <= 1e-12 * expected.magnitude(), "{expected:?}: off by {nearest:e}");
        }
        assert!(roots(&[1.0]).is_empty() && roots(&[]).is_empty() && roots(&[f64::NAN, 1.0]).is_empty());
    }
}
