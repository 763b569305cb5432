//! Values that can be bought.

use icepoint_chain::quantity::series::Series;

/// All values of a series from `low` to `high`, rising, in the unit of the ends.
pub(crate) fn between(series: Series, low: f64, high: f64) -> Vec<f64> {
    let mut values = Vec::new();
    if !(low > 0.0 && high.is_finite()) {
        return values;
    }
    let mut at = series.nearest(low).unwrap_or(low);
    // The nearest may lie on either side of the end.
    while at <= high * (1.0 + 1e-9) {
        if at >= low * (1.0 - 1e-9) {
            values.push(at);
        }
        match next(series, at) {
            Some(n) => at = n,
            None => break,
        }
    }
    values
}

fn next(series: Series, value: f64) -> Option<f64> {
    // Half a step up falls between this value and the next, whichever the series.
    let (_, above) = series.neighbours(value * 1.0005)?;
    (above > value * 1.0001).then_some(above)
}

/// The value of a series nearest to `wanted`, by ratio.
pub(crate) fn nearest(series: Series, wanted: f64) -> f64 {
    series.nearest(wanted).unwrap_or(wanted)
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
        for (series, count) in [(Series::E12, 12), (Series::E24, 24), (Series::E96, 96), (Series::E192, 192)] {
            let decade = between(series, 1000.0, 9990.0);
            assert_eq!(decade.len(), count, "{}", series.name());
            assert!(decade.windows(2).all(|w| w[1] > w[0]));
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
