//! A value and where it came from: the dossier lists every default that was used as an assumption.

use serde::Serialize;
use std::ops::Deref;

/// A range of bytes in the text of the chain file, end excluded.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
pub struct Span {
    /// First byte.
    pub start: usize,
    /// One past the last byte.
    pub end: usize,
}

impl Span {
    /// The bytes `start..end`.
    pub const fn new(start: usize, end: usize) -> Self {
        Self { start, end }
    }
}

impl From<std::ops::Range<usize>> for Span {
    fn from(range: std::ops::Range<usize>) -> Self {
        Self { start: range.start, end: range.end }
    }
}

/// Where a value came from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Origin {
    /// Written in the chain file, at these bytes (quotes included).
    File(Span),
    /// Not written: the default, with its reason and source.
    Default(&'static crate::file::defaults::Default),
}

impl Origin {
    /// The place in the text, if it is there.
    pub fn span(self) -> Option<Span> {
        match self {
            Self::File(span) => Some(span),
            Self::Default(_) => None,
        }
    }
}

/// A value with its origin; it dereferences to the value.
#[derive(Debug, Clone, PartialEq)]
pub struct Given<T> {
    /// The value, in SI units (temperatures in °C) where it is a quantity.
    pub value: T,
    /// Written in the file, or a default.
    pub origin: Origin,
}

impl<T> Given<T> {
    /// Whether the user wrote it.
    pub fn is_from_file(&self) -> bool {
        matches!(self.origin, Origin::File(_))
    }

    /// Its place in the text, if the user wrote it.
    pub fn span(&self) -> Option<Span> {
        self.origin.span()
    }

    /// The same origin with another value, for a value that is derived from what was written.
    pub fn map<U>(self, change: impl FnOnce(T) -> U) -> Given<U> {
        Given { value: change(self.value), origin: self.origin }
    }
}

impl<T> Deref for Given<T> {
    type Target = T;
    fn deref(&self) -> &T {
        &self.value
    }
}

/// A closed range of values, `low <= high`; unit as the key says.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Interval {
    /// The smallest value.
    pub low: f64,
    /// The largest value.
    pub high: f64,
}

impl Interval {
    /// Whether `value` lies within, ends included.
    pub fn contains(&self, value: f64) -> bool {
        self.low <= value && value <= self.high
    }

    /// The middle of the range.
    pub fn middle(&self) -> f64 {
        0.5 * (self.low + self.high)
    }

    /// `high - low`.
    pub fn width(&self) -> f64 {
        self.high - self.low
    }
}
