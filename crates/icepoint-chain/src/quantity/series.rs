//! Preferred numbers of IEC 60063: the values that resistors and capacitors are sold in.

use serde::Serialize;

/// A series of IEC 60063:2015.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
pub enum Series {
    /// 3 values a decade.
    E3,
    /// 6 values a decade (usual for 20 %).
    E6,
    /// 12 values a decade (10 %).
    E12,
    /// 24 values a decade (5 %).
    E24,
    /// 48 values a decade (2 %).
    E48,
    /// 96 values a decade (1 %).
    E96,
    /// 192 values a decade (0.5 % and better).
    E192,
}

/// E24 as the standard fixes it: it departs from 10^(i/24) at 27, 30, 33, 36, 39, 43, 47 and 82. In tenths.
const E24: [u16; 24] =
    [10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91];

impl Series {
    /// Every accepted spelling.
    pub const SPELLINGS: &'static [(&'static str, Self)] = &[
        ("E3", Self::E3),
        ("E6", Self::E6),
        ("E12", Self::E12),
        ("E24", Self::E24),
        ("E48", Self::E48),
        ("E96", Self::E96),
        ("E192", Self::E192),
    ];

    /// Name as in the standard.
    pub fn name(self) -> &'static str {
        Self::SPELLINGS.iter().find(|(_, s)| *s == self).map_or("", |(name, _)| name)
    }

    /// Values in a decade.
    pub fn count(self) -> usize {
        match self {
            Self::E3 => 3,
            Self::E6 => 6,
            Self::E12 => 12,
            Self::E24 => 24,
            Self::E48 => 48,
            Self::E96 => 96,
            Self::E192 => 192,
        }
    }

    /// The values of one decade in hundredths, 100 to 999, rising.
    pub fn hundredths(self) -> Vec<u16> {
        match self {
            Self::E3 | Self::E6 | Self::E12 | Self::E24 => {
                E24.iter().step_by(24 / self.count()).map(|tenths| tenths * 10).collect()
            }
            Self::E48 | Self::E96 | Self::E192 => (0..self.count()).map(|i| self.third_digit(i)).collect(),
        }
    }

    fn third_digit(self, index: usize) -> u16 {
        let exact = libm::pow(10.0, index as f64 / self.count() as f64) * 100.0;
        let rounded = libm::round(exact) as u16;
        // the one value of E192 that the standard prints otherwise than 10^(185/192)
        if self == Self::E192 && rounded == 919 { 920 } else { rounded }
    }

    /// The value of the series nearest to `value` by ratio, and itself when it is in the series to 1e-9.
    /// `None` unless `value` is positive and between 1e-15 and 1e15.
    pub fn nearest(self, value: f64) -> Option<f64> {
        let (low, high) = self.neighbours(value)?;
        Some(if value / low <= high / value { low } else { high })
    }

    /// The values of the series just below and above `value` (equal when it is in the series to 1e-9).
    /// `None` unless `value` is positive and between 1e-15 and 1e15.
    pub fn neighbours(self, value: f64) -> Option<(f64, f64)> {
        if !(1e-15..=1e15).contains(&value) {
            return None;
        }
        let decade = libm::floor(libm::log10(value)) as i32;
        let mut below = f64::NEG_INFINITY;
        // one decade to each side, so that a rounded logarithm cannot lose the ends
        for exponent in decade - 1..=decade + 1 {
            for hundredths in self.hundredths() {
                let candidate = decimal(hundredths, exponent)?;
                if (candidate / value - 1.0).abs() <= 1e-9 {
                    return Some((candidate, candidate));
                }
                if candidate > value {
                    return Some((below, candidate));
                }
                below = candidate;
            }
        }
        None
    }

    /// Whether `value` is in the series to 1e-9 of itself.
    pub fn contains(self, value: f64) -> bool {
        matches!(self.neighbours(value), Some((low, high)) if low == high)
    }
}

/// `hundredths`/100 · 10^exponent as the nearest double, so that it prints as it was meant.
fn decimal(hundredths: u16, exponent: i32) -> Option<f64> {
    format!("{hundredths}e{}", exponent - 2).parse().ok()
}
