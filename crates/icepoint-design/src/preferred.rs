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
}
