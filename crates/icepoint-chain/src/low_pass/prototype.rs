//! Where the poles of a response are: computed from its definition, never from a table.
//!
//! | response | definition |
//! |---|---|
//! | Butterworth | `1/(1 + ω²ⁿ)` for the squared magnitude: as flat as can be at 0 Hz |
//! | Chebyshev | `(1 + ε²·T²(0))/(1 + ε²·T²(ω))`, `T` the Chebyshev polynomial, ripple `10·lg(1 + ε²)` dB |
//! | Bessel | `θ(0)/θ(s)`, `θ` the reverse Bessel polynomial: delay as flat as can be at 0 Hz |
//! | critically damped | n equal real poles: the quickest without any overshoot of equal poles |
//!
//! Then the frequency axis is scaled so that the corner is where the response is 3 dB below that at 0 Hz.

use core::f64::consts::{FRAC_1_SQRT_2, PI};

use icepoint_circuit::Complex;

use super::polynomial;

/// Ripples that make sense, dB: above 3 dB the ripple itself would pass the corner.
pub const RIPPLE: (f64, f64) = (0.01, 3.0);

/// Where the poles of a low-pass are.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Response {
    /// Flattest delay: a step hardly overshoots.
    Bessel,
    /// Flattest magnitude.
    Butterworth,
    /// Steepest beyond the corner, with this ripple below it, dB (0.01 to 3).
    Chebyshev {
        /// dB.
        ripple: f64,
    },
    /// Equal real poles: a step does not overshoot at all.
    CriticallyDamped,
}

/// A real pole or a pair, against a corner of 1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pole {
    /// Magnitude of the pole over the corner frequency.
    pub frequency: f64,
    /// `frequency/(−2·Re)` of a pair; `None` for a single real pole.
    pub q: Option<f64>,
}

impl Response {
    /// The word used in the chain file.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Bessel => "bessel",
            Self::Butterworth => "butterworth",
            Self::Chebyshev { .. } => "chebyshev",
            Self::CriticallyDamped => "critically damped",
        }
    }

    /// Poles against a corner of 1, the single one first, then pairs by rising Q; empty for 0 poles, and for a ripple
    /// outside [`RIPPLE`]. Frequencies and Q are good to 1e-12 (checked against closed forms and against SciPy).
    pub fn stages(self, poles: u32) -> Vec<Pole> {
        let mut all = self.prototype(poles);
        let corner = corner(&all);
        for pole in &mut all {
            pole.frequency /= corner;
        }
        all.sort_by(|a, b| a.q.unwrap_or(0.0).total_cmp(&b.q.unwrap_or(0.0)));
        all
    }

    /// Poles on the response's own scale.
    fn prototype(self, poles: u32) -> Vec<Pole> {
        let n = f64::from(poles);
        let pairs = poles / 2;
        // Angles of the pairs from the imaginary axis, and whether a real pole is left.
        let angle = |k: u32| PI * (2.0 * f64::from(k) - 1.0) / (2.0 * n);
        let single = (poles % 2 == 1).then_some(1.0);
        match self {
            Self::Butterworth => {
                let pair = |k| Pole { frequency: 1.0, q: Some(0.5 / libm::sin(angle(k))) };
                (1..=pairs).map(pair).chain(single.map(real)).collect()
            }
            Self::Chebyshev { ripple } => {
                if !(RIPPLE.0..=RIPPLE.1).contains(&ripple) {
                    return Vec::new();
                }
                let epsilon = libm::expm1(ripple * core::f64::consts::LN_10 / 10.0).sqrt();
                let a = libm::asinh(1.0 / epsilon) / n;
                let (sinh, cosh) = (libm::sinh(a), libm::cosh(a));
                let pair = |k| {
                    let (re, im) = (sinh * libm::sin(angle(k)), cosh * libm::cos(angle(k)));
                    let frequency = libm::hypot(re, im);
                    Pole { frequency, q: Some(frequency / (2.0 * re)) }
                };
                (1..=pairs).map(pair).chain(single.map(|_| real(sinh))).collect()
            }
            Self::CriticallyDamped => {
                let pair = |_| Pole { frequency: 1.0, q: Some(0.5) };
                (1..=pairs).map(pair).chain(single.map(real)).collect()
            }
            Self::Bessel => bessel(poles),
        }
    }
}

fn real(frequency: f64) -> Pole {
    Pole { frequency, q: None }
}

/// Roots of the reverse Bessel polynomial `Σ (2n − k)!/(2^(n−k)·k!·(n − k)!)·s^k`.
fn bessel(poles: u32) -> Vec<Pole> {
    let n = u64::from(poles.min(20));
    let factorial = |m: u64| (1..=m).map(|i| i as f64).product::<f64>();
    let coefficients: Vec<f64> = (0..=n)
        .map(|k| factorial(2 * n - k) / (libm::exp2((n - k) as f64) * factorial(k) * factorial(n - k)))
        .collect();
    polynomial::roots(&coefficients)
        .into_iter()
        // Of each pair the upper one; the real pole of an odd number has no imaginary part but rounding.
        .filter(|s| s.im > -1e-9 * s.magnitude())
        .map(|s| {
            let frequency = s.magnitude();
            if s.im <= 1e-9 * frequency {
                real(frequency)
            } else {
                Pole { frequency, q: Some(-0.5 * frequency / s.re) }
            }
        })
        .collect()
}

/// Response at `ratio` times the frequency that the poles are told against; 1 at 0.
pub(super) fn response(poles: &[Pole], ratio: f64) -> Complex {
    poles.iter().fold(Complex::new(1.0, 0.0), |product, pole| {
        let x = ratio / pole.frequency;
        let below = match pole.q {
            Some(q) => Complex::new(1.0 - x * x, x / q),
            None => Complex::new(1.0, x),
        };
        product * below.recip()
    })
}

/// Where the magnitude is last 1/√2, by bisection on a logarithmic scale: above it the response only falls.
fn corner(poles: &[Pole]) -> f64 {
    if poles.is_empty() {
        return 1.0;
    }
    let (mut low, mut high) = (1e-3_f64, 1e3_f64);
    for _ in 0..200 {
        let middle = (low * high).sqrt();
        let above = response(poles, middle).magnitude() > FRAC_1_SQRT_2;
        if above { low = middle } else { high = middle }
    }
    (low * high).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pairs(response: Response, poles: u32) -> Vec<(f64, Option<f64>)> {
        response.stages(poles).iter().map(|p| (p.frequency, p.q)).collect()
    }

    fn agrees(found: &[(f64, Option<f64>)], printed: &[(f64, Option<f64>)], digit: f64) {
        assert_eq!(found.len(), printed.len());
        for (f, p) in found.iter().zip(printed) {
            assert!((f.0 - p.0).abs() <= digit, "{f:?} {p:?}");
            assert!((f.1.unwrap_or(0.0) - p.1.unwrap_or(0.0)).abs() <= digit, "{f:?} {p:?}");
        }
    }

    /// Q = 1/(2·sin((2k − 1)π/2n)), printed to five decimals.
    #[test]
    #[allow(clippy::approx_constant)] // the figures as printed
    fn butterworth_to_the_printed_digits() {
        let printed: [&[f64]; 4] = [&[], &[0.70711], &[1.0], &[0.54120, 1.30656]];
        for (poles, printed) in (1..).zip(printed) {
            let found = pairs(Response::Butterworth, poles);
            let q: Vec<f64> = found.iter().filter_map(|p| p.1).collect();
            assert_eq!(q.len(), printed.len());
            for (q, printed) in q.iter().zip(printed) {
                assert!((q - printed).abs() <= 0.5e-5, "{q} {printed}");
            }
            // The corner is the pole frequency of every stage.
            assert!(found.iter().all(|p| (p.0 - 1.0).abs() < 1e-12), "{found:?}");
        }
    }

    /// Frequencies against the −3 dB corner and Q of Bessel filters, as active-filter handbooks print them to four decimals
    /// (from memory; SciPy says the same in `peers/filters.py`).
    #[test]
    fn bessel_to_the_printed_digits() {
        const DIGIT: f64 = 1.0e-4;
        agrees(&pairs(Response::Bessel, 1), &[(1.0, None)], DIGIT);
        agrees(&pairs(Response::Bessel, 2), &[(1.2720, Some(0.5774))], DIGIT);
        agrees(&pairs(Response::Bessel, 3), &[(1.3227, None), (1.4476, Some(0.6910))], DIGIT);
        agrees(&pairs(Response::Bessel, 4), &[(1.4302, Some(0.5219)), (1.6034, Some(0.8055))], DIGIT);
    }

    /// Chebyshev frequencies against the end of the ripple and Q, as active-filter handbooks print them to four decimals
    /// (from memory).
    #[test]
    fn chebyshev_to_the_printed_digits() {
        const DIGIT: f64 = 1.0e-4;
        let at_ripple = |ripple: f64, poles: u32| -> Vec<(f64, Option<f64>)> {
            let mut all = Response::Chebyshev { ripple }.prototype(poles);
            all.sort_by(|a, b| a.q.unwrap_or(0.0).total_cmp(&b.q.unwrap_or(0.0)));
            all.iter().map(|p| (p.frequency, p.q)).collect()
        };
        agrees(&at_ripple(0.5, 2), &[(1.2313, Some(0.8637))], DIGIT);
        agrees(&at_ripple(0.5, 3), &[(0.6265, None), (1.0689, Some(1.7062))], DIGIT);
        agrees(&at_ripple(0.5, 4), &[(0.5970, Some(0.7051)), (1.0313, Some(2.9406))], DIGIT);
        agrees(&at_ripple(1.0, 2), &[(1.0500, Some(0.9565))], DIGIT);
        agrees(&at_ripple(1.0, 3), &[(0.4942, None), (0.9971, Some(2.0177))], DIGIT);
        agrees(&at_ripple(1.0, 4), &[(0.5286, Some(0.7845)), (0.9932, Some(3.5590))], DIGIT);
    }

    #[test]
    fn every_response_is_three_decibels_down_at_its_corner_and_one_at_zero() {
        for response in [
            Response::Bessel,
            Response::Butterworth,
            Response::Chebyshev { ripple: 0.01 },
            Response::Chebyshev { ripple: 3.0 },
            Response::CriticallyDamped,
        ] {
            for poles in 1..=super::super::MOST_POLES {
                let all = response.stages(poles);
                let count: u32 = all.iter().map(|p| if p.q.is_some() { 2 } else { 1 }).sum();
                assert_eq!(count, poles);
                let at = |ratio| super::response(&all, ratio).magnitude();
                assert!((at(1.0) - FRAC_1_SQRT_2).abs() < 1e-12, "{response:?} {poles}: {}", at(1.0));
                assert!((at(0.0) - 1.0).abs() < 1e-15);
            }
        }
        assert!(Response::Chebyshev { ripple: 5.0 }.stages(4).is_empty());
        assert!(Response::Bessel.stages(0).is_empty());
    }

    /// Equal poles: 1/√(2^(1/n) − 1).
    #[test]
    fn critically_damped_poles_are_equal() {
        for poles in 1..=4 {
            let expected = 1.0 / (libm::exp2(1.0 / f64::from(poles)) - 1.0).sqrt();
            for pole in Response::CriticallyDamped.stages(poles) {
                assert!((pole.frequency / expected - 1.0).abs() < 1e-12);
            }
        }
    }
}
