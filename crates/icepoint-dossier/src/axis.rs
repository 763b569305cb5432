//! Axes: linear and logarithmic, with ticks at 1, 2, 5 times a power of ten.
//!
//! **In, out.** A span in the data's unit and the two ends in drawing units; out come positions and labelled ticks.
//! Spans that are empty, reversed or not finite are mended, never refused: a picture of one point must still draw.

use crate::number::{MINUS, fixed};

/// One labelled tick.
#[derive(Clone, Debug, PartialEq)]
pub struct Tick {
    /// Where, in the data's unit.
    pub value: f64,
    /// What stands beside it.
    pub label: String,
}

/// An axis from data to drawing units.
#[derive(Clone, Debug)]
pub struct Axis {
    logarithmic: bool,
    low: f64,
    high: f64,
    at_low: f64,
    at_high: f64,
    ticks: Vec<Tick>,
    minor: Vec<f64>,
}

/// Smallest of 1, 2, 5 × 10ⁿ that is at least `raw`; 1 for what is not positive and finite.
#[must_use]
pub fn nice_step(raw: f64) -> f64 {
    if !(raw.is_finite() && raw > 1e-300) {
        return 1.0;
    }
    let decade = libm::pow(10.0, libm::floor(libm::log10(raw)));
    let ratio = raw / decade;
    // A hair of slack, so that 2.0000000001 from rounding stays 2.
    let step = [1.0, 2.0, 5.0].into_iter().find(|s| ratio <= s * (1.0 + 1e-9)).unwrap_or(10.0);
    step * decade
}

fn places_for(step: f64) -> usize {
    (-libm::floor(libm::log10(step) + 1e-9)).clamp(0.0, 12.0) as usize
}

fn mended(low: f64, high: f64) -> (f64, f64) {
    let (low, high) = if low <= high { (low, high) } else { (high, low) };
    let (low, high) = (low.clamp(-1e30, 1e30), high.clamp(-1e30, 1e30));
    match (low.is_finite(), high.is_finite()) {
        (true, true) if high - low > 1e-9 * (1e-6 + low.abs().max(high.abs())) => (low, high),
        (true, _) => (low - 0.5 * (1.0 + low.abs() * 0.1), low + 0.5 * (1.0 + low.abs() * 0.1)),
        (false, true) => (high - 1.0, high),
        (false, false) => (0.0, 1.0),
    }
}

impl Axis {
    /// Linear from `low` to `high` exactly, at drawing positions `ends`, with about `target` ticks inside.
    #[must_use]
    pub fn linear(low: f64, high: f64, ends: (f64, f64), target: usize) -> Self {
        let (low, high) = mended(low, high);
        let step = nice_step((high - low) / target.max(1) as f64);
        let first = libm::ceil(low / step - 1e-9);
        let count = (libm::floor(high / step + 1e-9) - first).clamp(0.0, 200.0) as usize;
        let places = places_for(step);
        let ticks = (0..=count)
            .map(|i| (first + i as f64) * step)
            .map(|value| Tick { value, label: fixed(value, places) })
            .collect();
        Self { logarithmic: false, low, high, at_low: ends.0, at_high: ends.1, ticks, minor: Vec::new() }
    }

    /// Linear, widened outwards to the next ticks.
    #[must_use]
    pub fn rounded(low: f64, high: f64, ends: (f64, f64), target: usize) -> Self {
        let (low, high) = mended(low, high);
        let step = nice_step((high - low) / target.max(1) as f64);
        let low = libm::floor(low / step + 1e-9) * step;
        let high = libm::ceil(high / step - 1e-9) * step;
        Self::linear(low, high, ends, libm::round((high - low) / step) as usize)
    }

    /// Logarithmic from `low` to `high` exactly (both mended to be positive), labelled at decades, and at 2 and 5 too
    /// when there are fewer than two decades. `label` prints a tick.
    #[must_use]
    pub fn logarithmic(low: f64, high: f64, ends: (f64, f64), label: impl Fn(f64) -> String) -> Self {
        let positive = |v: f64| if v.is_finite() && v > 0.0 { v.clamp(1e-30, 1e30) } else { 1.0 };
        let (mut low, mut high) = (positive(low.min(high)), positive(low.max(high)));
        if high < low * 1.5 {
            low /= 2.0;
            high = low * 4.0;
        }
        let (first, last) = (libm::floor(libm::log10(low)) as i32, libm::ceil(libm::log10(high)) as i32);
        let decades = libm::log10(high / low);
        let inside = |v: f64| v >= low * (1.0 - 1e-9) && v <= high * (1.0 + 1e-9);
        let (mut ticks, mut minor) = (Vec::new(), Vec::new());
        // Beyond eight decades every second one is labelled.
        let stride = if decades > 8.0 { 2 } else { 1 };
        for decade in first..=last {
            let base = libm::pow(10.0, f64::from(decade));
            for m in 1..10 {
                let value = base * f64::from(m);
                if !inside(value) {
                    continue;
                }
                let named =
                    (m == 1 && decade.rem_euclid(stride) == 0) || (decades < 2.0 && matches!(m, 2 | 5));
                if named {
                    ticks.push(Tick { value, label: label(value) });
                } else {
                    minor.push(value);
                }
            }
        }
        Self { logarithmic: true, low, high, at_low: ends.0, at_high: ends.1, ticks, minor }
    }

    /// Logarithmic, widened outwards to whole decades.
    #[must_use]
    pub fn decades(low: f64, high: f64, ends: (f64, f64), label: impl Fn(f64) -> String) -> Self {
        let ok = |v: f64| if v.is_finite() && v > 0.0 { v } else { 1.0 };
        let low = libm::pow(10.0, libm::floor(libm::log10(ok(low.min(high))) + 1e-9));
        let high = libm::pow(10.0, libm::ceil(libm::log10(ok(low.max(high))) - 1e-9));
        Self::logarithmic(low, if high > low { high } else { low * 10.0 }, ends, label)
    }

    /// Where `value` lies in drawing units. Outside the span the line goes on; not finite (or not positive on a
    /// logarithmic axis) gives NaN, at which [`crate::svg::Picture::polyline`] breaks.
    #[must_use]
    pub fn position(&self, value: f64) -> f64 {
        let share = if self.logarithmic {
            if value <= 0.0 {
                return f64::NAN;
            }
            libm::log(value / self.low) / libm::log(self.high / self.low)
        } else {
            (value - self.low) / (self.high - self.low)
        };
        self.at_low + share * (self.at_high - self.at_low)
    }

    /// Like [`Axis::position`], held inside the span; what has no position lies at the low end.
    #[must_use]
    pub fn held(&self, value: f64) -> f64 {
        let at = self.position(value);
        let (first, last) = (self.at_low.min(self.at_high), self.at_low.max(self.at_high));
        if at.is_finite() { at.clamp(first, last) } else { self.at_low }
    }

    /// Whether `value` lies within the span.
    #[must_use]
    pub fn contains(&self, value: f64) -> bool {
        let slack = 1e-9 * (self.high - self.low);
        value >= self.low - slack && value <= self.high + slack
    }

    /// Labelled ticks, ascending.
    #[must_use]
    pub fn ticks(&self) -> &[Tick] {
        &self.ticks
    }

    /// Ticks without label, ascending.
    #[must_use]
    pub fn minor(&self) -> &[f64] {
        &self.minor
    }

    /// Ends of the span in the data's unit.
    #[must_use]
    pub fn span(&self) -> (f64, f64) {
        (self.low, self.high)
    }

    /// Drawing positions of the low and the high end.
    #[must_use]
    pub fn ends(&self) -> (f64, f64) {
        (self.at_low, self.at_high)
    }
}

/// Label of a decade as a plain number or with SI prefix: 0.1, 1, 100, 1 k, 10 k, 1 M.
#[must_use]
pub fn plain_or_prefixed(value: f64) -> String {
    match value {
        v if v >= 1e6 => format!("{} M", fixed(v / 1e6, 0)),
        v if v >= 1e3 => format!("{} k", fixed(v / 1e3, 0)),
        v if v >= 1.0 => fixed(v, 0),
        v if v >= 1e-4 => fixed(v, places_for(v)),
        v if v > 0.0 => format!("10{}", superscript(libm::round(libm::log10(v)) as i32)),
        v => fixed(v, 0).replace('-', &MINUS.to_string()),
    }
}

fn superscript(exponent: i32) -> String {
    exponent
        .to_string()
        .chars()
        .map(|c| match c {
            '-' => '⁻',
            '0' => '⁰',
            '1' => '¹',
            '2' => '²',
            '3' => '³',
            '4' => '⁴',
            '5' => '⁵',
            '6' => '⁶',
            '7' => '⁷',
            '8' => '⁸',
            _ => '⁹',
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn labels(axis: &Axis) -> Vec<&str> {
        axis.ticks().iter().map(|t| t.label.as_str()).collect()
    }

    #[test]
    fn ticks_are_one_two_five() {
        assert_eq!(labels(&Axis::linear(20.0, 1100.0, (0.0, 1.0), 6)), ["200", "400", "600", "800", "1000"]);
        assert_eq!(
            labels(&Axis::rounded(-0.13, 0.22, (0.0, 1.0), 4)),
            ["−0.2", "−0.1", "0.0", "0.1", "0.2", "0.3"]
        );
        assert_eq!(
            labels(&Axis::logarithmic(0.1, 1e3, (0.0, 1.0), plain_or_prefixed)),
            ["0.1", "1", "10", "100", "1 k"]
        );
        assert_eq!(
            labels(&Axis::logarithmic(10.0, 100.0, (0.0, 1.0), plain_or_prefixed)),
            ["10", "20", "50", "100"]
        );
    }

    #[test]
    fn odd_spans_still_have_an_axis() {
        for (a, b) in [
            (1.0, 1.0),
            (f64::NAN, 1.0),
            (f64::INFINITY, 0.0),
            (0.0, 0.0),
            (5.0, -5.0),
            (1e300, 1e301),
            (0.0, 1e-300),
        ] {
            for axis in [
                Axis::linear(a, b, (0.0, 100.0), 5),
                Axis::rounded(a, b, (100.0, 0.0), 5),
                Axis::logarithmic(a, b, (0.0, 100.0), plain_or_prefixed),
                Axis::decades(a, b, (0.0, 100.0), plain_or_prefixed),
            ] {
                let (low, high) = axis.span();
                assert!(low.is_finite() && high.is_finite() && low < high, "{a} {b}: {low} {high}");
                assert!(axis.ticks().len() < 210);
                assert!(axis.ticks().iter().all(|t| t.value.is_finite()));
                assert!(axis.held(f64::NAN).is_finite());
            }
        }
    }

    #[test]
    fn ends_are_where_they_were_put() {
        let axis = Axis::logarithmic(0.01, 1e4, (50.0, 650.0), plain_or_prefixed);
        assert!((axis.position(1.0) - 250.0).abs() < 1e-9);
        assert!(axis.position(0.0).is_nan());
        assert_eq!(axis.held(1e9), 650.0);
    }
}
