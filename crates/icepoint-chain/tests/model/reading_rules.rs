//! Rules that are not exact: their error is in the reading of a perfect board, and is what their construction gives.

use crate::bench::{InHand, bench, emf, kiln, slope};
use crate::hand::SingleAmplifier;
use icepoint_chain::chain::Readout;
use icepoint_sensors::published_inverse;

const ROUNDING_KELVIN: f64 = 2e-6;

fn perfect(readout: Readout) -> crate::bench::Board {
    kiln()
        .with(|c| {
            c.junction.self_heating = 0.0;
            c.readout = readout;
        })
        .built()
}

/// Chords between points equally spaced in emf, drawn here with the exact inverse; the largest error is no more than
/// `h²·max|t″|/8`.
#[test]
fn a_table_has_the_error_of_its_chords() {
    for segments in [8, 32, 256] {
        let kiln = perfect(Readout::Table { segments });
        let (low, high) = kiln.chain().need.hot;
        let (first, last) = (emf(&kiln, low), emf(&kiln, high));
        let step = (last - first) / f64::from(segments);
        let inverse = |e: f64| kiln.chain().probe.letter.temperature(e).unwrap();
        let mut worst = 0.0f64;
        for i in 0..=1000 {
            let hot = low + (high - low) * f64::from(i) / 1000.0;
            let e = emf(&kiln, hot);
            let knot = ((e - first) / step).floor().clamp(0.0, f64::from(segments) - 1.0);
            let (a, b) = (inverse(first + knot * step), inverse((first + (knot + 1.0) * step).min(last)));
            let chord = a + (b - a) * ((e - first) / step - knot);
            let reads = kiln.reads(hot, 30.0, &[]);
            assert!(
                (reads - chord).abs() < ROUNDING_KELVIN,
                "{segments} segments, {hot} °C: {reads}, expected {chord}"
            );
            worst = worst.max((reads - hot).abs());
        }
        // t″ = −S′/S³, by differences of S.
        let curvature = (0..=200)
            .map(|i| low + (high - low) * f64::from(i) / 200.0)
            .map(|t| {
                let (s, d) = (slope(&kiln, t), 0.01);
                ((slope(&kiln, (t + d).min(high)) - slope(&kiln, (t - d).max(low))) / (2.0 * d) / (s * s * s))
                    .abs()
            })
            .fold(0.0, f64::max);
        let bound = step * step * curvature / 8.0;
        println!("{segments} segments: {worst:.4} K, bound {bound:.4} K");
        assert!(worst <= bound * 1.01 && worst > 0.3 * bound, "{worst} K, bound {bound} K");
    }
}

/// The printed error band of the inverse polynomials of type N: −0.02…0.03 K to 600 °C, −0.04…0.02 K above
/// (NIST SRD 60).
#[test]
fn a_published_polynomial_stays_in_its_printed_band() {
    const PRINTED: f64 = 0.005; // printed to 0.01 K
    let kiln = perfect(Readout::PublishedPolynomial);
    let mut seen = 0.0f64;
    for i in 0..=2160 {
        let hot = 20.0 + f64::from(i) * 0.5;
        let e = emf(&kiln, hot);
        let error = kiln.reads(hot, 40.0, &[]) - hot;
        let expected = published_inverse::temperature(kiln.chain().probe.letter, e).unwrap() - hot;
        // Where two polynomials meet, a rounding of the voltage decides which is taken.
        let seam = (hot - 600.0).abs() < 0.3;
        assert!(
            seam || (error - expected).abs() < ROUNDING_KELVIN,
            "{hot} °C: {error} K, expected {expected} K"
        );
        let (low, high) = if hot < 600.0 { (-0.02, 0.03) } else { (-0.04, 0.02) };
        assert!(error > low - PRINTED && error < high + PRINTED, "{hot} °C: {error} K");
        seen = seen.max(error.abs());
    }
    assert!(seen > 0.01, "the band is used: {seen} K");
}

/// The straight line of the bench thermometer: `(G·(E(hot) − E(board) + compensation) − 0 V)/(10 mV/K)`.
#[test]
fn a_line_is_off_by_what_the_curve_departs_from_it() {
    let bench = bench().with(|c| c.junction.self_heating = 0.0).built();
    let mut hand = SingleAmplifier::of(bench.chain());
    hand.a1.inverse_gain = 0.5e-6;
    let mut largest = 0.0f64;
    for board in [15.0, 25.0, 35.0] {
        for i in 0..=40 {
            let hot = 10.0 * f64::from(i);
            let expected = hand.output(emf(&bench, hot) - emf(&bench, board), board) / 10e-3;
            let reads = bench.reads(hot, board, &[]);
            assert!((reads - expected).abs() < ROUNDING_KELVIN, "{hot} °C: {reads}, expected {expected}");
            largest = largest.max((reads - hot).abs());
        }
    }
    assert!(largest > 1.0, "type K departs from a line by kelvins: {largest} K");
}
