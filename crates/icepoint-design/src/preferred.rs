//! Values that can be bought.

use std::sync::OnceLock;

use icepoint_chain::quantity::series::Series;

/// Powers of ten of the first decade and beyond the last one that a shelf holds: 1 pF to 100 MΩ and a decade more.
const DECADES: core::ops::Range<i32> = -13..10;

/// Every value of a series, rising. Made once for each series: asking the series for one neighbour after the other,
/// which prints and parses decimal numbers, took a fifth of a whole design.
fn shelf(series: Series) -> &'static [f64] {
    static SHELVES: [OnceLock<Vec<f64>>; Series::SPELLINGS.len()] =
        [const { OnceLock::new() }; Series::SPELLINGS.len()];
    let at = Series::SPELLINGS.iter().position(|(_, s)| *s == series).unwrap_or(0);
    SHELVES[at].get_or_init(|| {
        let decade = series.hundredths();
        // Through the decimal text, so that a value prints as it was meant.
        DECADES
            .flat_map(|e| decade.iter().filter_map(move |h| format!("{h}e{}", e - 2).parse().ok()))
            .collect()
    })
}

/// All values of a series from `low` to `high`, rising, in the unit of the ends.
pub(crate) fn between(series: Series, low: f64, high: f64) -> Vec<f64> {
    if !(low > 0.0 && high.is_finite()) {
        return Vec::new();
    }
    // The ends themselves belong to it, whatever the rounding they came with.
    let (low, high) = (low * (1.0 - 1e-9), high * (1.0 + 1e-9));
    let all = shelf(series);
    all[all.partition_point(|v| *v < low)..].iter().copied().take_while(|v| *v <= high).collect()
}

/// The value of a series nearest to `wanted`, by ratio; `wanted` itself beyond all shelves.
pub(crate) fn nearest(series: Series, wanted: f64) -> f64 {
    let all = shelf(series);
    let above = all.partition_point(|v| *v < wanted);
    match (above.checked_sub(1).and_then(|i| all.get(i)), all.get(above)) {
        (Some(low), Some(high)) => {
            if wanted / low <= high / wanted {
                *low
            } else {
                *high
            }
        }
        _ => wanted,
    }
}

/// The pair `(upper, lower)` from a series whose ratio `upper/lower` is nearest to `ratio`, with the lower one between
/// `low` and `high`; best first.
pub(crate) fn pairs(series: Series, ratio: f64, low: f64, high: f64, keep: usize) -> Vec<(f64, f64)> {
    let mut all: Vec<(f64, (f64, f64))> = between(series, low, high)
        .into_iter()
        .map(|lower| {
            let upper = nearest(series, lower * ratio);
            ((upper / lower / ratio - 1.0).abs(), (upper, lower))
        })
        .collect();
    all.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.1.total_cmp(&b.1.1)));
    all.into_iter().take(keep).map(|(_, pair)| pair).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_decade_of_each_series_is_whole() {
        for (series, count) in [(Series::E12, 12), (Series::E24, 24), (Series::E96, 96), (Series::E192, 192)]
        {
            let decade = between(series, 1000.0, 9990.0);
            assert_eq!(decade.len(), count, "{}", series.name());
            assert!(decade.windows(2).all(|w| w[1] > w[0]));
        }
    }

    /// The shelf against the series' own answer, over twelve decades and for wishes on and between values.
    #[test]
    fn nearest_agrees_with_the_series() {
        for (_, series) in Series::SPELLINGS {
            for i in -4000..2800 {
                let wanted = libm::pow(10.0, f64::from(i) / 350.0);
                assert_eq!(
                    Some(nearest(*series, wanted)),
                    series.nearest(wanted),
                    "{} {wanted}",
                    series.name()
                );
            }
            assert!(nearest(*series, f64::NAN).is_nan());
        }
    }

    /// Exhaustive: no pair of E24 between the same ends comes nearer to the ratio.
    #[test]
    fn the_first_pair_is_the_best_of_all() {
        let best = pairs(Series::E24, 24.7, 100.0, 1000.0, 1)[0];
        let error = |(u, l): (f64, f64)| (u / l / 24.7 - 1.0).abs();
        for lower in between(Series::E24, 100.0, 1000.0) {
            for upper in between(Series::E24, 1000.0, 1e5) {
                assert!(error((upper, lower)) >= error(best) - 1e-12, "{upper}/{lower}");
            }
        }
    }
}
