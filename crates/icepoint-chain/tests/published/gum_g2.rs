//! JCGM 100:2008 (GUM), table G.2: t for coverage probability p and ν degrees of freedom. Figures from memory; all of
//! them agree with the t distribution of SciPy (`peers/statistics_scipy.py`). For ν = 35 and p = 90 % the distribution
//! gives 1.69; some printings show 1.70.

use icepoint_chain::statistics::coverage_factor;

use crate::assert_printed;

/// 68.27, 95.45 and 99.73 % are the rounded coverages of 1, 2 and 3 standard deviations of a normal distribution; the
/// table is that of the unrounded ones (ν = 1: 235.80, while 99.73 % exactly would give 235.78).
const COVERAGE: [f64; 6] =
    [0.682_689_492_137_086, 0.90, 0.95, 0.954_499_736_103_642, 0.99, 0.997_300_203_936_740];

#[rustfmt::skip] // a table
const ROWS: [(f64, [f64; 6]); 26] = [
    (1.0, [1.84, 6.31, 12.71, 13.97, 63.66, 235.80]),
    (2.0, [1.32, 2.92, 4.30, 4.53, 9.92, 19.21]),
    (3.0, [1.20, 2.35, 3.18, 3.31, 5.84, 9.22]),
    (4.0, [1.14, 2.13, 2.78, 2.87, 4.60, 6.62]),
    (5.0, [1.11, 2.02, 2.57, 2.65, 4.03, 5.51]),
    (6.0, [1.09, 1.94, 2.45, 2.52, 3.71, 4.90]),
    (7.0, [1.08, 1.89, 2.36, 2.43, 3.50, 4.53]),
    (8.0, [1.07, 1.86, 2.31, 2.37, 3.36, 4.28]),
    (9.0, [1.06, 1.83, 2.26, 2.32, 3.25, 4.09]),
    (10.0, [1.05, 1.81, 2.23, 2.28, 3.17, 3.96]),
    (11.0, [1.05, 1.80, 2.20, 2.25, 3.11, 3.85]),
    (12.0, [1.04, 1.78, 2.18, 2.23, 3.05, 3.76]),
    (13.0, [1.04, 1.77, 2.16, 2.21, 3.01, 3.69]),
    (14.0, [1.04, 1.76, 2.14, 2.20, 2.98, 3.64]),
    (15.0, [1.03, 1.75, 2.13, 2.18, 2.95, 3.59]),
    (16.0, [1.03, 1.75, 2.12, 2.17, 2.92, 3.54]),
    (17.0, [1.03, 1.74, 2.11, 2.16, 2.90, 3.51]),
    (18.0, [1.03, 1.73, 2.10, 2.15, 2.88, 3.48]),
    (19.0, [1.03, 1.73, 2.09, 2.14, 2.86, 3.45]),
    (20.0, [1.03, 1.72, 2.09, 2.13, 2.85, 3.42]),
    (25.0, [1.02, 1.71, 2.06, 2.11, 2.79, 3.33]),
    (30.0, [1.02, 1.70, 2.04, 2.09, 2.75, 3.27]),
    (35.0, [1.01, 1.69, 2.03, 2.07, 2.72, 3.23]),
    (40.0, [1.01, 1.68, 2.02, 2.06, 2.70, 3.20]),
    (45.0, [1.01, 1.68, 2.01, 2.06, 2.69, 3.18]),
    (50.0, [1.01, 1.68, 2.01, 2.05, 2.68, 3.16]),
];

/// Printed to three decimals.
#[rustfmt::skip]
const FINE_ROWS: [(f64, [f64; 6]); 2] = [
    (100.0, [1.005, 1.660, 1.984, 2.025, 2.626, 3.077]),
    (f64::INFINITY, [1.000, 1.645, 1.960, 2.000, 2.576, 3.000]),
];

#[test]
fn every_factor_to_the_last_printed_digit() {
    let mut compared = 0;
    for (rows, digit) in [(&ROWS[..], 0.01), (&FINE_ROWS[..], 0.001)] {
        for (nu, printed) in rows {
            for (p, t) in COVERAGE.iter().zip(printed) {
                assert_printed(&format!("t({p}, {nu})"), coverage_factor(*p, *nu), *t, digit);
                compared += 1;
            }
        }
    }
    assert_eq!(compared, 28 * 6);
}

/// By arithmetic with 30 digits: the incomplete beta function of mpmath, its root found for t.
#[test]
fn more_digits_than_the_table_prints() {
    const NINE_DIGITS: f64 = 1e-9; // relative; far above the rounding of f64, far below what a budget can show
    for (p, nu, t) in [
        (0.95, 1.0, 12.706_204_736_174_705),
        (0.95, 2.5, 3.574_654_842_003_683),
        (0.95, 16.0, 2.119_905_299_221_255),
        (0.99, 7.0, 3.499_483_297_350_494),
    ] {
        let found = coverage_factor(p, nu);
        assert!((found / t - 1.0).abs() <= NINE_DIGITS, "t({p}, {nu}): {found}, mpmath {t}");
    }
    // Large degrees of freedom count as infinite, which is documented as 2e-5 of the factor.
    const COUNTED_AS_INFINITE: f64 = 2e-5;
    for (nu, t) in [(1e5, 1.959_987_707_534_64), (1e6, 1.959_966_356_814_107)] {
        let found = coverage_factor(0.95, nu);
        assert!((found / t - 1.0).abs() <= COUNTED_AS_INFINITE, "t(0.95, {nu}): {found}, mpmath {t}");
    }
}
