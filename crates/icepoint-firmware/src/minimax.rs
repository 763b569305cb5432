//! Best approximation in the sense of Chebyshev: the polynomial, or the polynomial over a linear denominator, whose
//! largest error over a set of points is least.
//!
//! **How.** Remez' exchange on the points given (Cheney, *Introduction to Approximation Theory*, chapter 3): solve for
//! an error of equal size and alternating sign on degree + 2 points, move the points to the largest errors, again until
//! they stay. With a denominator `1 + q·u` the rest is linear once `q` is held, and the least error is quasi-convex in
//! `q`, because for each error the polynomials and denominators that reach it form a convex set; so a golden-section
//! search finds it.
//!
//! **In, out.** Abscissae in −1…1, ascending, and ordinates; coefficients in ascending powers out.

/// A fit and the largest error that it leaves on the points.
#[derive(Clone, Debug, PartialEq)]
pub struct Fit {
    /// Coefficients, ascending powers.
    pub coefficients: Vec<f64>,
    /// Coefficient of the denominator `1 + q·u`; 0 for a polynomial.
    pub denominator: f64,
    /// Largest error on the points.
    pub error: f64,
}

impl Fit {
    /// The fit's value at `u`.
    pub fn at(&self, u: f64) -> f64 {
        horner(&self.coefficients, u) / (1.0 + self.denominator * u)
    }
}

/// Exchanges before giving up; degrees up to 8 take about five.
const MOST_EXCHANGES: usize = 40;
/// The level error may be this much below the largest error, relative.
const LEVEL: f64 = 1e-6;

/// A polynomial in ascending powers.
pub fn horner(coefficients: &[f64], u: f64) -> f64 {
    coefficients.iter().rev().fold(0.0, |sum, c| sum * u + c)
}

/// The polynomial of `degree` with the least largest error.
///
/// With fewer points than coefficients it passes through all of them.
pub fn polynomial(u: &[f64], t: &[f64], degree: usize) -> Fit {
    let weights = vec![1.0; u.len()];
    weighted(u, t, &weights, degree, 0.0, &mut Vec::new())
}

/// The polynomial of `degree` over `1 + q·u`, |q| < 1, with the least largest error.
pub fn rational(u: &[f64], t: &[f64], degree: usize) -> Fit {
    const REACH: f64 = 0.9;
    const STEPS: usize = 40;
    let golden = 0.5 * (5f64.sqrt() - 1.0);
    // Where one denominator has its largest errors its neighbours have them nearly, too.
    let (mut reference, mut weights) = (Vec::new(), vec![0.0; u.len()]);
    let mut fit = |q: f64| {
        weights.iter_mut().zip(u).for_each(|(w, u)| *w = 1.0 / (1.0 + q * u));
        weighted(u, t, &weights, degree, q, &mut reference)
    };
    let (mut a, mut b) = (-REACH, REACH);
    let (mut c, mut d) = (b - golden * (b - a), a + golden * (b - a));
    let (mut at_c, mut at_d) = (fit(c), fit(d));
    for _ in 0..STEPS {
        if at_c.error <= at_d.error {
            (b, d, at_d) = (d, c, at_c);
            c = b - golden * (b - a);
            at_c = fit(c);
        } else {
            (a, c, at_c) = (c, d, at_d);
            d = a + golden * (b - a);
            at_d = fit(d);
        }
    }
    if at_c.error <= at_d.error { at_c } else { at_d }
}

/// Basis `w·u^j`. `reference`: the points to begin with, and those where it ended; none to begin anywhere.
fn weighted(u: &[f64], t: &[f64], w: &[f64], degree: usize, q: f64, reference: &mut Vec<usize>) -> Fit {
    let n = u.len();
    let wanted = degree + 2;
    if n < wanted {
        let met = n.saturating_sub(1).min(degree);
        let mut matrix = Vec::new();
        (0..n.min(met + 1)).for_each(|k| equation(u[k], w[k], met, t[k], None, &mut matrix));
        let mut coefficients =
            if n == 0 { Vec::new() } else { solved(matrix, n.min(met + 1)).unwrap_or_default() };
        coefficients.resize(degree + 1, 0.0);
        return Fit { coefficients, denominator: q, error: 0.0 };
    }
    if reference.len() != wanted {
        *reference = spread(n, wanted);
    }
    let mut best = Fit { coefficients: vec![0.0; degree + 1], denominator: q, error: f64::INFINITY };
    let mut errors: Vec<f64> = Vec::with_capacity(n);
    for _ in 0..MOST_EXCHANGES {
        let mut matrix = Vec::with_capacity(wanted * (wanted + 1));
        for (k, &i) in reference.iter().enumerate() {
            let sign = if k % 2 == 0 { 1.0 } else { -1.0 };
            equation(u[i], w[i], degree, t[i], Some(sign), &mut matrix);
        }
        let Some(mut solution) = solved(matrix, wanted) else { break };
        let signed = solution.pop().unwrap_or(0.0);
        let level = signed.abs();
        errors.clear();
        errors.extend((0..n).map(|k| t[k] - w[k] * horner(&solution, u[k])));
        let largest = errors.iter().fold(0.0f64, |m, e| m.max(e.abs()));
        if largest < best.error {
            best = Fit { coefficients: solution, denominator: q, error: largest };
        }
        if largest <= level * (1.0 + LEVEL) || largest < 1e-13 {
            break;
        }
        let mut next = exchanged(&errors, wanted);
        if next.len() < wanted {
            // Fewer runs than wanted (a level of zero): only the largest error comes in.
            next = with_one(reference, &errors, signed >= 0.0);
        }
        if next == *reference {
            break;
        }
        *reference = next;
    }
    best
}

/// Points near the extremes of a Chebyshev polynomial, by position, all different.
fn spread(n: usize, wanted: usize) -> Vec<usize> {
    let mut points: Vec<usize> = (0..wanted)
        .map(|k| {
            let x = 0.5 - 0.5 * libm::cos(core::f64::consts::PI * k as f64 / (wanted - 1) as f64);
            (x * (n - 1) as f64 + 0.5) as usize
        })
        .collect();
    for k in 1..wanted {
        points[k] = points[k].max(points[k - 1] + 1);
    }
    for k in (0..wanted).rev() {
        points[k] = points[k].min(n - wanted + k);
    }
    points
}

/// One equation, a row of the augmented matrix: the basis at a point, the level with its sign, the ordinate.
fn equation(u: f64, w: f64, degree: usize, t: f64, sign: Option<f64>, matrix: &mut Vec<f64>) {
    let mut power = w;
    for _ in 0..=degree {
        matrix.push(power);
        power *= u;
    }
    matrix.extend(sign);
    matrix.push(t);
}

/// The largest error of each run of one sign; of too many, the smaller at an end goes.
fn exchanged(errors: &[f64], wanted: usize) -> Vec<usize> {
    let mut peaks: Vec<usize> = Vec::new();
    for (i, e) in errors.iter().enumerate() {
        match peaks.last_mut() {
            Some(last) if (errors[*last] >= 0.0) == (*e >= 0.0) => {
                if e.abs() > errors[*last].abs() {
                    *last = i;
                }
            }
            _ => peaks.push(i),
        }
    }
    while peaks.len() > wanted {
        let (first, last) = (peaks[0], peaks[peaks.len() - 1]);
        if errors[first].abs() < errors[last].abs() {
            peaks.remove(0);
        } else {
            peaks.pop();
        }
    }
    peaks
}

/// The point of the largest error in place of the neighbour whose error has the same sign; `first`: the sign at the
/// first point of the reference.
fn with_one(reference: &[usize], errors: &[f64], first: bool) -> Vec<usize> {
    let mut next = reference.to_vec();
    let Some(worst) = (0..errors.len()).max_by(|a, b| errors[*a].abs().total_cmp(&errors[*b].abs())) else {
        return next;
    };
    let sign = |k: usize| k.is_multiple_of(2) == first;
    let same = |k: usize| sign(k) == (errors[worst] >= 0.0);
    let after = reference.partition_point(|point| *point < worst);
    let last = reference.len() - 1;
    if reference.get(after) == Some(&worst) {
        return next;
    }
    if after == 0 && !same(0) {
        next.pop();
        next.insert(0, worst);
    } else if after > last && !same(last) {
        next.remove(0);
        next.push(worst);
    } else if after <= last && same(after) {
        next[after] = worst;
    } else {
        next[after.saturating_sub(1)] = worst;
    }
    next
}

/// Gauss with row pivoting on an augmented matrix of `n` rows; `None` if singular.
fn solved(mut m: Vec<f64>, n: usize) -> Option<Vec<f64>> {
    let width = n + 1;
    for column in 0..n {
        let size = |row: &usize| m[row * width + column].abs();
        let pivot = (column..n).max_by(|a, b| size(a).total_cmp(&size(b)))?;
        if pivot != column {
            (0..width).for_each(|k| m.swap(pivot * width + k, column * width + k));
        }
        let (above, below) = m.split_at_mut((column + 1) * width);
        let pivot = &above[column * width..];
        if pivot[column].abs() < 1e-300 {
            return None;
        }
        for row in below.chunks_exact_mut(width) {
            let factor = row[column] / pivot[column];
            row.iter_mut().zip(pivot).skip(column).for_each(|(value, above)| *value -= factor * above);
        }
    }
    let mut x = vec![0.0; n];
    for i in (0..n).rev() {
        let row = &m[i * width..(i + 1) * width];
        let sum: f64 = (i + 1..n).map(|k| row[k] * x[k]).sum();
        x[i] = (row[n] - sum) / row[i];
    }
    Some(x)
}

/// `count` points in −1…1, dense towards the ends as the extremes of a Chebyshev polynomial are, ends included.
pub fn abscissae(count: usize) -> Vec<f64> {
    let last = count.max(2) - 1;
    (0..=last).map(|k| -libm::cos(core::f64::consts::PI * k as f64 / last as f64)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fit(f: impl Fn(f64) -> f64, degree: usize) -> Fit {
        let u = abscissae(2001);
        let t: Vec<f64> = u.iter().map(|u| f(*u)).collect();
        polynomial(&u, &t, degree)
    }

    /// xⁿ⁺¹ on −1…1 is best approximated with the error 2⁻ⁿ (Chebyshev; Cheney, chapter 3).
    #[test]
    fn powers_have_the_error_of_chebyshev() {
        for n in 1..=7 {
            let error = fit(|x| libm::pow(x, (n + 1) as f64), n).error;
            let expected = libm::pow(2.0, -(n as f64));
            // The extremes fall between the points by up to a thousandth of an interval.
            assert!((error / expected - 1.0).abs() < 1e-5, "degree {n}: {error} against {expected}");
        }
    }

    /// |x| by a polynomial of degree 2: 1/8 (x² + 1/8; Cheney, chapter 3).
    #[test]
    fn the_corner_of_an_absolute_value() {
        let f = fit(f64::abs, 2);
        assert!((f.error - 0.125).abs() < 1e-4, "{}", f.error);
    }

    /// A function of the family itself is met exactly.
    #[test]
    fn a_rational_function_is_found() {
        let u = abscissae(401);
        let t: Vec<f64> = u.iter().map(|u| (1.0 + 2.0 * u) / (1.0 + 0.3 * u)).collect();
        let f = rational(&u, &t, 1);
        assert!(f.error < 1e-6 && (f.denominator - 0.3).abs() < 1e-5, "{f:?}");
    }

    #[test]
    fn few_points_are_met() {
        let f = polynomial(&[-1.0, 1.0], &[2.0, 4.0], 3);
        assert!((f.at(-1.0) - 2.0).abs() < 1e-12 && (f.at(1.0) - 4.0).abs() < 1e-12);
    }
}
