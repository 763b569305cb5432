//! The reference functions: emf against temperature, reference junction at 0 °C, with the analytic slope.
//!
//! **In, out.** °C (ITS-90) in, V and V/K out. The reference junction at another temperature is a subtraction of
//! two emfs, in volts: [`Letter::terminal_volts`].
//!
//! **Joins.** The standard's polynomials meet at their joins to a few 1e-11 V only (the worst, type C at 630.615 °C,
//! is off by 1.4e-10 V, which is 7 µK), some with a step down, which would give two temperatures for one emf. So the
//! step is let out in a straight line over the first kelvin above the join: the function is continuous, rises
//! through every join, and differs from the printed polynomial by no more than that step, a thousandth of what the
//! tables print. A join itself belongs to the colder segment, so every type gives exactly 0 V at 0 °C. The slope
//! step of type N at 0 °C (26.159 µV/K below, 25.929 above) and of type K are real and stay.
//!
//! **Types C and A.** No table on the basis of IEC 60584-1:2013 was at hand: the tables compared with are older (an
//! ANSI one, within 7 µV; the GOST one, within 3 µV, which is as well as it agrees with its own polynomial).
//!
//! **Before changing this file** run `tests/accuracy.rs`: it holds every type against 40-digit arithmetic.

use crate::Letter;
use crate::coefficients as k;
use crate::out_of_range::{OutOfRange, Quantity};

/// Below this, °C, the terms of types E and T cancel so far that plain arithmetic is off by up to 3e-8 K.
const COMPENSATED_BELOW: f64 = -150.0;
/// Over how many kelvins above a join the step between the two polynomials is let out.
const RAMP: f64 = 1.0;
/// Printed coefficients give mV; voltages are V everywhere else.
const VOLTS_PER_MILLIVOLT: f64 = 1e-3;

/// A stretch of a reference function as printed, for who writes it down elsewhere (firmware, dossier).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Segment {
    /// Lowest and highest temperature, °C.
    pub celsius: (f64, f64),
    /// Coefficients in mV against °C, ascending powers.
    pub millivolts: &'static [f64],
    /// a0 (mV), a1 (1/°C²), a2 (°C) of the bell a0·exp(a1·(t − a2)²) added to the polynomial; type K above 0 °C only.
    pub bell: Option<[f64; 3]>,
}

/// Value and slope by Horner's rule, both in one pass.
#[inline(always)]
fn horner<const N: usize>(c: &[f64; N], t: f64) -> (f64, f64) {
    let (mut value, mut slope) = (c[N - 1], 0.0);
    let mut i = N - 1;
    while i > 0 {
        i -= 1;
        slope = slope * t + value;
        value = value * t + c[i];
    }
    (value, slope)
}

/// a·b as a rounded product and what rounding left out (Dekker; no fused multiply-add needed, so the same bits on
/// every target).
#[inline(always)]
fn two_product(a: f64, b: f64) -> (f64, f64) {
    const SPLITTER: f64 = 134_217_729.0; // 2^27 + 1 halves the 53 bits
    let (wide_a, wide_b) = (SPLITTER * a, SPLITTER * b);
    let (a_high, b_high) = (wide_a - (wide_a - a), wide_b - (wide_b - b));
    let (a_low, b_low) = (a - a_high, b - b_high);
    let product = a * b;
    (product, ((a_high * b_high - product) + a_high * b_low + a_low * b_high) + a_low * b_low)
}

/// a + b as a rounded sum and what rounding left out (Knuth).
#[inline(always)]
fn two_sum(a: f64, b: f64) -> (f64, f64) {
    let sum = a + b;
    let part = sum - a;
    (sum, (a - (sum - part)) + (b - part))
}

/// Horner's rule carrying the rounding errors along (Graillat, Langlois and Louvet), and with them what the nearest
/// `f64` leaves out of each printed coefficient: as good as twice the digits, rounded once at the end.
#[inline]
fn compensated_horner<const N: usize>(c: &[f64; N], rest: &[f64; N], t: f64) -> (f64, f64) {
    let (mut value, mut slope, mut error) = (c[N - 1], 0.0, rest[N - 1]);
    let mut i = N - 1;
    while i > 0 {
        i -= 1;
        slope = slope * t + value;
        let (product, product_error) = two_product(value, t);
        let (sum, sum_error) = two_sum(product, c[i]);
        error = error * t + (product_error + sum_error + rest[i]);
        value = sum;
    }
    (value + error, slope)
}

/// Lets out the step at `join` over the first kelvin above it.
#[inline(always)]
fn joined<const L: usize, const U: usize>(
    lower: &[f64; L],
    upper: &[f64; U],
    join: f64,
    t: f64,
) -> (f64, f64) {
    let (value, slope) = horner(upper, t);
    if t < join + RAMP {
        return let_out(horner(lower, join).0 - horner(upper, join).0, join, t, value, slope);
    }
    (value, slope)
}

#[cold]
fn let_out(step: f64, join: f64, t: f64, value: f64, slope: f64) -> (f64, f64) {
    (value + step * (1.0 - (t - join) / RAMP), slope - step / RAMP)
}

#[inline(always)]
fn two_segments<const L: usize, const U: usize>(
    lower: &[f64; L],
    upper: &[f64; U],
    join: f64,
    t: f64,
) -> (f64, f64) {
    if t <= join { horner(lower, t) } else { joined(lower, upper, join, t) }
}

/// Both segments start at exactly 0 mV at 0 °C: no step to let out.
#[inline(always)]
fn meeting_at_zero<const L: usize, const U: usize>(lower: &[f64; L], upper: &[f64; U], t: f64) -> (f64, f64) {
    if t <= 0.0 { horner(lower, t) } else { horner(upper, t) }
}

/// e to the power of `x`, for −200 ≤ x ≤ 0, within 1e-14.
///
/// The bell of type K is worth 0.12 mV, so this is 1e-18 V. With `libm::exp` type K took 50 ns, with this 22 (on a loaded
/// machine): it runs beside the polynomial, and being plain arithmetic it gives the same bits on every target too.
#[inline(always)]
fn exp_of_negative(x: f64) -> f64 {
    // ln 2 in two parts: the first has so few bits that a whole multiple of it is exact.
    const LN_2: (f64, f64) = (6.931_471_803_691_238e-1, 1.908_214_929_270_587_7e-10);
    let halvings = (0.5 - x * core::f64::consts::LOG2_E) as u32;
    let n = f64::from(halvings);
    let r = (x + n * LN_2.0) + n * LN_2.1;
    // Taylor to the eleventh power, |r| < 0.35, in pairs (Estrin) so that the products don't wait for each other.
    let r2 = r * r;
    let r4 = r2 * r2;
    let a = (1.0 + r) + r2 * (1.0 / 2.0 + r * (1.0 / 6.0));
    let b = (1.0 / 24.0 + r * (1.0 / 120.0)) + r2 * (1.0 / 720.0 + r * (1.0 / 5040.0));
    let c = (1.0 / 40_320.0 + r * (1.0 / 362_880.0)) + r2 * (1.0 / 3_628_800.0 + r * (1.0 / 39_916_800.0));
    // 200/ln 2 is 289 halvings at most: far from the end of the exponents.
    let scale = f64::from_bits(u64::from(1023 - halvings.min(1022)) << 52);
    (a + r4 * (b + r4 * c)) * scale
}

#[inline(always)]
fn type_k(t: f64) -> (f64, f64) {
    if t <= 0.0 {
        return horner(&k::K0, t);
    }
    let [a0, a1, a2] = k::K_BELL;
    let bell = |t: f64| a0 * exp_of_negative(a1 * (t - a2) * (t - a2));
    let (value, slope) = horner(&k::K1, t);
    let here = bell(t);
    let (value, slope) = (value + here, slope + here * 2.0 * a1 * (t - a2));
    if t < RAMP { let_out(-(k::K1[0] + bell(0.0)), 0.0, t, value, slope) } else { (value, slope) }
}

/// emf in V and slope in V/K; `t` in °C must lie within the range of the letter.
#[inline]
pub(crate) fn within(letter: Letter, t: f64) -> (f64, f64) {
    let (value, slope) = match letter {
        Letter::B => two_segments(&k::B0, &k::B1, 630.615, t),
        Letter::E if t < COMPENSATED_BELOW => compensated_horner(&k::E0, &k::E0_REST, t),
        Letter::E => meeting_at_zero(&k::E0, &k::E1, t),
        Letter::J => two_segments(&k::J0, &k::J1, 760.0, t),
        Letter::K => type_k(t),
        Letter::N => meeting_at_zero(&k::N0, &k::N1, t),
        Letter::R if t <= 1664.5 => two_segments(&k::R0, &k::R1, 1064.18, t),
        Letter::R => joined(&k::R1, &k::R2, 1664.5, t),
        Letter::S if t <= 1664.5 => two_segments(&k::S0, &k::S1, 1064.18, t),
        Letter::S => joined(&k::S1, &k::S2, 1664.5, t),
        Letter::T if t < COMPENSATED_BELOW => compensated_horner(&k::T0, &k::T0_REST, t),
        Letter::T => meeting_at_zero(&k::T0, &k::T1, t),
        Letter::C => two_segments(&k::C0, &k::C1, 630.615, t),
        Letter::A => horner(&k::A0, t),
    };
    (value * VOLTS_PER_MILLIVOLT, slope * VOLTS_PER_MILLIVOLT)
}

impl Letter {
    /// The reference function as printed, coldest segment first.
    pub fn segments(self) -> &'static [Segment] {
        macro_rules! pieces {
            ($(($low:expr, $high:expr, $c:ident, $bell:expr)),+) => {{
                static PIECES: &[Segment] =
                    &[$(Segment { celsius: ($low, $high), millivolts: &k::$c, bell: $bell }),+];
                PIECES
            }};
            ($(($low:expr, $high:expr, $c:ident)),+) => { pieces!($(($low, $high, $c, None)),+) };
        }
        match self {
            Letter::B => pieces!((0.0, 630.615, B0), (630.615, 1820.0, B1)),
            Letter::E => pieces!((-270.0, 0.0, E0), (0.0, 1000.0, E1)),
            Letter::J => pieces!((-210.0, 760.0, J0), (760.0, 1200.0, J1)),
            Letter::K => pieces!((-270.0, 0.0, K0, None), (0.0, 1372.0, K1, Some(k::K_BELL))),
            Letter::N => pieces!((-270.0, 0.0, N0), (0.0, 1300.0, N1)),
            Letter::R => pieces!((-50.0, 1064.18, R0), (1064.18, 1664.5, R1), (1664.5, 1768.1, R2)),
            Letter::S => pieces!((-50.0, 1064.18, S0), (1064.18, 1664.5, S1), (1664.5, 1768.1, S2)),
            Letter::T => pieces!((-270.0, 0.0, T0), (0.0, 400.0, T1)),
            Letter::C => pieces!((0.0, 630.615, C0), (630.615, 2315.0, C1)),
            Letter::A => pieces!((0.0, 2500.0, A0)),
        }
    }

    /// emf in V at `celsius` (°C), reference junction at 0 °C.
    ///
    /// # Accuracy
    /// 1e-15 V against 40-digit evaluation of the printed polynomials, all types, whole range (types E and T below
    /// −150 °C: 3e-18 V); in the first kelvin above a join also the step let out there, at most 1.5e-10 V
    /// (`tests/accuracy.rs`).
    ///
    /// # Errors
    /// [`OutOfRange`] outside [`Letter::range`] or when not a number.
    ///
    /// ```
    /// use icepoint_sensors::Letter;
    /// let volts = Letter::K.emf(650.0)?;
    /// assert_eq!((volts * 1e6).round(), 27_025.0); // the table prints 27.025 mV
    /// # Ok::<(), icepoint_sensors::OutOfRange>(())
    /// ```
    #[inline]
    pub fn emf(self, celsius: f64) -> Result<f64, OutOfRange> {
        self.emf_and_slope(celsius).map(|(volts, _)| volts)
    }

    /// Sensitivity (Seebeck coefficient) dE/dt in V/K at `celsius` (°C), from the derivative of the polynomial.
    ///
    /// # Accuracy
    /// 2e-15 V/K against 40-digit arithmetic (type T near −270 °C; elsewhere below 4e-16 V/K). At 0 °C, where types K
    /// and N have a step, this is the slope of the colder side. Negative for type B below its
    /// minimum at 21.02 °C.
    ///
    /// # Errors
    /// [`OutOfRange`] outside [`Letter::range`] or when not a number.
    #[inline]
    pub fn emf_slope(self, celsius: f64) -> Result<f64, OutOfRange> {
        self.emf_and_slope(celsius).map(|(_, slope)| slope)
    }

    /// emf in V and sensitivity in V/K in one pass; accuracy as [`Letter::emf`], same bits.
    ///
    /// # Errors
    /// [`OutOfRange`] outside [`Letter::range`] or when not a number.
    #[inline]
    pub fn emf_and_slope(self, celsius: f64) -> Result<(f64, f64), OutOfRange> {
        OutOfRange::check(Quantity::Celsius, celsius, self.range()).map(|t| within(self, t))
    }

    /// emf in V and sensitivity in V/K, continued beyond the range in a straight line with the slope of the end.
    ///
    /// For simulation, where a drawn temperature may fall just outside and must not end the run; the standard
    /// defines nothing there. Within the range the same bits as [`Letter::emf_and_slope`]. Not a number in, not a
    /// number out.
    #[inline]
    pub fn emf_and_slope_extended(self, celsius: f64) -> (f64, f64) {
        let (low, high) = self.range();
        if celsius >= low && celsius <= high {
            return within(self, celsius);
        }
        if celsius.is_nan() {
            return (f64::NAN, f64::NAN);
        }
        let end = if celsius < low { low } else { high };
        let (volts, slope) = within(self, end);
        (volts + slope * (celsius - end), slope)
    }

    /// Voltage at the terminals in V: E(hot) − E(reference), both junctions in °C.
    ///
    /// # Errors
    /// [`OutOfRange`] for the junction that lies outside [`Letter::range`], the hot one first.
    ///
    /// ```
    /// use icepoint_sensors::Letter;
    /// // Adding degrees instead of volts would be wrong: 1100 °C seen from 55 °C is not 1045 °C seen from 0 °C.
    /// let right = Letter::N.terminal_volts(1100.0, 55.0)?;
    /// let naive = Letter::N.emf(1045.0)?;
    /// assert!((naive - right).abs() > 0.5e-3);
    /// # Ok::<(), icepoint_sensors::OutOfRange>(())
    /// ```
    #[inline]
    pub fn terminal_volts(self, hot_celsius: f64, reference_celsius: f64) -> Result<f64, OutOfRange> {
        Ok(self.emf(hot_celsius)? - self.emf(reference_celsius)?)
    }
}

#[cfg(test)]
mod tests {
    use super::exp_of_negative;

    #[test]
    fn exponential_against_libm() {
        let worst = (0..=200_000)
            .map(|i| -f64::from(i) * 1e-3)
            .map(|x| (exp_of_negative(x) - libm::exp(x)).abs())
            .fold(0.0, f64::max);
        // Truncation 6e-15 of the term r¹² is reached only at |r| = 0.35; the value is at most 1 there.
        assert!(worst < 1e-14 && exp_of_negative(0.0) == 1.0, "{worst:e}");
    }
}
