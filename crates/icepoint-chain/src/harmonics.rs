//! What the mains contains beside its fundamental: the harmonics that a pick-up brings along.
//!
//! **Why it matters.** A mean over whole mains periods passes about 1 % of every harmonic when the line is 1 % off its
//! frequency, and all of those that are an alias of 0 Hz.
//! **In, out.** Shares of the fundamental, by multiple of its frequency.
//! **What it is not.** A pick-up through a magnetic field grows with frequency and one through a filter falls: whoever has
//! measured theirs states it.

use crate::chain::Harmonic;

/// Highest multiple that is counted: where the compatibility levels end.
pub const HIGHEST: u32 = 50;

/// Compatibility level of a harmonic voltage in public low-voltage networks, share of the fundamental: IEC 61000-2-2,
/// table of individual harmonics (from memory). Odd multiples that are not of three up to 13, of three up to 21, even ones
/// up to 8 as printed; the rest by the printed formulas.
pub fn compatibility_level(multiple: u32) -> f64 {
    let h = f64::from(multiple);
    let percent = match multiple {
        0 | 1 => 0.0,
        2 => 2.0,
        3 | 7 => 5.0,
        4 => 1.0,
        5 => 6.0,
        6 | 8 => 0.5,
        9 => 1.5,
        11 => 3.5,
        13 => 3.0,
        15 => 0.4,
        21 => 0.3,
        _ if multiple > HIGHEST => 0.0,
        _ if multiple.is_multiple_of(2) => 0.25 * (10.0 / h) + 0.25,
        _ if multiple.is_multiple_of(3) => 0.2,
        _ => 2.27 * (17.0 / h) - 0.27,
    };
    percent / 100.0
}

/// Every harmonic with its compatibility level.
pub fn public_network() -> Vec<Harmonic> {
    (2..=HIGHEST).map(|multiple| Harmonic { multiple, share: compatibility_level(multiple) }).collect()
}

/// From a list that starts with the second harmonic; those of share 0 are left out.
pub fn from_second(shares: &[f64]) -> Vec<Harmonic> {
    (2..)
        .zip(shares)
        .filter(|(_, share)| **share > 0.0)
        .map(|(multiple, share)| Harmonic { multiple, share: *share })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The standard gives 8 % for the total distortion, less than the root of the sum of squares of all levels at once:
    /// they are not all reached at the same time.
    #[test]
    fn all_levels_at_once_are_above_the_level_of_the_total_distortion() {
        let total = public_network().iter().map(|h| h.share * h.share).sum::<f64>().sqrt();
        assert!((0.08..0.14).contains(&total), "{total}");
    }

    /// Values of the formulas as commonly printed: 17th 2 %, 19th 1.76 %, 23rd 1.41 %, 25th 1.27 %.
    #[test]
    fn formulas_give_the_figures_that_are_printed_for_them() {
        for (multiple, percent) in [(17, 2.0), (19, 1.76), (23, 1.41), (25, 1.27), (10, 0.5), (27, 0.2)] {
            let found = 100.0 * compatibility_level(multiple);
            assert!((found - percent).abs() < 0.005, "{multiple}: {found} %");
        }
    }
}
