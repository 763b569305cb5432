//! JCGM 101:2008, 9.2: the additive model Y = X1 + X2 + X3 + X4, drawn with the generator and the distributions of the
//! budget. Figures from memory; they agree with convolution and with an independent simulation
//! (`peers/statistics_scipy.py`).

use icepoint_chain::budget::gum::combine;
use icepoint_chain::budget::monte_carlo::{draw, generator};
use icepoint_chain::imperfection::Distribution;
use icepoint_chain::statistics::{Interval95, intervals_95};

use crate::assert_printed;

/// 5 times the number that JCGM 101, 7.2.2 advises for two significant digits at 95 %.
const TRIALS: usize = 1_000_000;
/// Standard errors of a simulated end that are allowed: one failure in 16 000 for an unlucky seed, none for this one.
const STANDARD_ERRORS: f64 = 4.0;
/// 4.3.7 of JCGM 100: half-width of a rectangle with standard deviation 1.
const ROOT_3: f64 = 1.732_050_807_568_877_2;

/// Simulates a sum: standard deviation and 95 % figures.
fn simulate(inputs: &[Distribution], seed: u64) -> (f64, Interval95) {
    let mut rng = generator(seed, 0);
    let mut sums: Vec<f32> =
        (0..TRIALS).map(|_| inputs.iter().map(|&d| draw(d, &mut rng)).sum::<f64>() as f32).collect();
    let mean = sums.iter().map(|&y| f64::from(y)).sum::<f64>() / TRIALS as f64;
    let variance =
        sums.iter().map(|&y| (f64::from(y) - mean) * (f64::from(y) - mean)).sum::<f64>() / TRIALS as f64;
    (variance.sqrt(), intervals_95(&mut sums).unwrap())
}

/// One clause: inputs, standard uncertainty, end of the GUM interval, end of the simulated one, last printed digit,
/// and the density of the distribution at that end (from its closed form), which tells the standard error of the end:
/// √(p(1 − p)/M)/density.
fn check(inputs: &[Distribution], u: f64, gum: f64, simulated: f64, digit: f64, density: f64) {
    let contributions: Vec<f64> = inputs.iter().map(|d| d.standard()).collect();
    let (combined, _, k) = combine(&contributions, &vec![f64::INFINITY; inputs.len()]);
    assert_printed("u", combined, u, 0.1);
    assert!((k * combined - gum).abs() <= 0.55 * digit, "GUM {}, printed {gum}", k * combined);
    let end_error = (0.025f64 * 0.975 / TRIALS as f64).sqrt() / density;
    let allowed = 0.5 * digit + STANDARD_ERRORS * end_error;
    let (sd, interval) = simulate(inputs, 1);
    let sd_allowed = STANDARD_ERRORS * combined / (TRIALS as f64).sqrt(); // above the error of every sd here
    assert!((sd - combined).abs() <= sd_allowed, "simulated u {sd}, {combined} ± {sd_allowed}");
    for end in [interval.high, -interval.low, interval.error] {
        assert!((end - simulated).abs() <= allowed, "{interval:?}, printed ±{simulated}, allowed ±{allowed}");
    }
}

#[test] // 9.2.2
fn four_normals() {
    // φ(1.96)/2
    check(&[Distribution::Normal(1.0); 4], 2.0, 3.92, 3.92, 0.01, 0.0292);
}

#[test] // 9.2.3
fn four_equal_rectangles() {
    // Irwin–Hall: with s = 4 − (24·0.025)^¼ the density is (4 − s)³/6 per 2√3.
    check(&[Distribution::Rectangular(ROOT_3); 4], 2.0, 3.92, 3.88, 0.01, 0.0328);
}

/// The end by Irwin–Hall exactly: 2√3·(2 − 0.6^¼) = 3.8793; the document prints 3.88.
#[test]
fn four_equal_rectangles_exactly() {
    const FIFTH_DIGIT: f64 = 5e-5;
    let exact = 2.0 * ROOT_3 * (2.0 - 0.6f64.sqrt().sqrt());
    assert!((exact - 3.879_3).abs() < 10.0 * FIFTH_DIGIT, "{exact}");
    let (_, interval) = simulate(&[Distribution::Rectangular(ROOT_3); 4], 2);
    let allowed = STANDARD_ERRORS * (0.025f64 * 0.975 / TRIALS as f64).sqrt() / 0.0328;
    assert!(
        (interval.high - exact).abs() <= allowed && (interval.low + exact).abs() <= allowed,
        "{interval:?}"
    );
}

#[test] // 9.2.4: one rectangle dominates, and the normal interval of the GUM is too wide
fn one_large_rectangle() {
    let mut inputs = [Distribution::Rectangular(ROOT_3); 4];
    inputs[3] = Distribution::Rectangular(10.0 * ROOT_3);
    // Density of the rectangle, 1/(20√3), times the share of the rest that is beyond: at least half of it at 17.0.
    check(&inputs, 10.1, 19.9, 17.0, 0.1, 0.5 / (20.0 * ROOT_3));
}
