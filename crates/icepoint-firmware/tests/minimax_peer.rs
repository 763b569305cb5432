//! Minimax polynomials against linear programming by SciPy (`tests/peer/minimax_scipy.py`, which prints the CSV): the
//! largest error that the exchange states is the least possible, found without it.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used, missing_docs)] // helpers of tests fail like tests

use icepoint_firmware::minimax;
use icepoint_sensors::Letter;

/// The peer prints five digits and solves on 1200 points, this here on 401; between points of either an extreme may stand
/// out by (π/400)²/8·degree² of itself, and the peer's solver is good to about 1e-7 of a least-squares fit's error.
const AGREES: f64 = 2e-3;

#[test]
fn the_stated_error_is_the_least_possible() {
    let csv = include_str!("peer/minimax.csv");
    let rows: Vec<&str> = csv.lines().filter(|l| !l.starts_with('#')).skip(1).collect();
    assert!(rows.len() >= 18, "{} rows", rows.len());
    let mut worst = 0.0f64;
    for row in rows {
        let cells: Vec<&str> = row.split(',').collect();
        let number = |k: usize| -> f64 { cells[k].parse().expect("a number") };
        let letter = Letter::ALL.into_iter().find(|l| l.name() == cells[0]).expect("a type");
        let (low, high, degree) = (number(1), number(2), number(3) as usize);
        let emf = |t: f64| letter.emf(t).expect("in range");
        let u = minimax::abscissae(401);
        let t: Vec<f64> = u
            .iter()
            .map(|a| {
                let volts = emf(low) + (emf(high) - emf(low)) * 0.5 * (a + 1.0);
                letter.temperature(volts).expect("one temperature")
            })
            .collect();
        let fit = minimax::polynomial(&u, &t, degree);
        // Stated on its points; a walk between them finds what it really is.
        let between = (0..40_000)
            .map(|k| {
                let a = -1.0 + 2.0 * f64::from(k) / 39_999.0;
                let volts = emf(low) + (emf(high) - emf(low)) * 0.5 * (a + 1.0);
                (fit.at(a) - letter.temperature(volts.clamp(emf(low), emf(high))).expect("one")).abs()
            })
            .fold(0.0, f64::max);
        let (on_points, off_points) = (number(4), number(5));
        println!("{row}: stated {:.4e} K, walked {between:.4e} K", fit.error);
        for ratio in [fit.error / on_points - 1.0, between / off_points - 1.0] {
            worst = worst.max(ratio.abs());
            assert!(ratio.abs() <= AGREES, "{row}: {ratio:e}, stated {} K, walked {between} K", fit.error);
        }
    }
    println!("worst relative difference {worst:.1e}");
}
