//! The number at the head of a quantity, kept as decimal text so that a prefix does not cost a rounding.

use super::unit::{Scale, Unit};

/// A piece of the text with its place, so that errors can point.
#[derive(Debug, Clone, Copy)]
pub(super) struct Piece<'a> {
    pub text: &'a str,
    pub at: usize,
}

impl<'a> Piece<'a> {
    pub fn trimmed(self) -> Self {
        let start = self.text.len() - self.text.trim_start().len();
        Self { text: self.text.trim(), at: self.at + start }
    }

    /// The pieces before and after byte `index` (a character boundary).
    pub fn split(self, index: usize) -> (Self, Self) {
        let (left, right) = self.text.split_at(index);
        (Self { text: left, at: self.at }, Self { text: right, at: self.at + index })
    }

    pub fn range(self) -> std::ops::Range<usize> {
        self.at..self.at + self.text.len()
    }
}

/// What stands at the head of a quantity.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Head {
    /// A decimal number; `letter` is the scale of a letter that stood for the decimal point ("4k7").
    Number { decimal: Decimal, letter: Option<Scale>, used: usize },
    /// Digits, a comma and digits: bytes of the comma, digits after it.
    Comma { at: usize, digits_after: usize },
    /// No digits at all.
    Nothing,
}

/// A decimal number as text: `mantissa` is digits with at most one point, sign included.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Decimal {
    pub mantissa: String,
    pub exponent: i64,
}

/// Why a decimal is not a finite double.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum OutOfReach {
    TooLarge,
    TooSmall,
}

impl Decimal {
    /// The nearest double after multiplying by 10^`shift`.
    pub fn shifted(&self, shift: i32) -> Result<f64, OutOfReach> {
        let exponent = (self.exponent + i64::from(shift)).clamp(-9999, 9999);
        let value: f64 = format!("{}e{exponent}", self.mantissa).parse().map_err(|_| OutOfReach::TooLarge)?;
        if !value.is_finite() {
            return Err(OutOfReach::TooLarge);
        }
        let written_zero = self.mantissa.chars().all(|c| !c.is_ascii_digit() || c == '0');
        if value.abs() < f64::MIN_POSITIVE && !written_zero {
            return Err(OutOfReach::TooSmall);
        }
        // "-0 V" is 0 V
        Ok(if value == 0.0 { 0.0 } else { value })
    }
}

fn is_group_space(c: char) -> bool {
    matches!(c, ' ' | '\u{a0}' | '\u{2009}' | '\u{202f}' | '_')
}

fn digits_at(text: &str) -> usize {
    text.bytes().take_while(u8::is_ascii_digit).count()
}

/// Digits, with groups of three set apart by a space; returns the bytes used.
fn grouped_digits(text: &str, into: &mut String) -> usize {
    let mut used = digits_at(text);
    into.push_str(&text[..used]);
    while used > 0 {
        let rest = &text[used..];
        let Some(space) = rest.chars().next().filter(|c| is_group_space(*c)) else { break };
        let after = &rest[space.len_utf8()..];
        if digits_at(after) != 3 {
            break;
        }
        into.push_str(&after[..3]);
        used += space.len_utf8() + 3;
    }
    used
}

/// Reads the head of `text`, which starts without white space.
pub(super) fn head(text: &str, unit: Unit) -> Head {
    let mut mantissa = String::new();
    let mut used = 0;
    if let Some(sign) = text.chars().next().filter(|c| matches!(c, '+' | '-' | '\u{2212}')) {
        if sign != '+' {
            mantissa.push('-');
        }
        used += sign.len_utf8();
        used += text[used..].len() - text[used..].trim_start().len();
    }
    let before = grouped_digits(&text[used..], &mut mantissa);
    used += before;
    let rest = &text[used..];
    let Some(next) = rest.chars().next() else {
        return if before == 0 { Head::Nothing } else { done(mantissa, 0, None, used) };
    };
    let after = &rest[next.len_utf8()..];
    let digits_after = digits_at(after);

    if next == ',' && before > 0 && digits_after > 0 {
        return Head::Comma { at: used, digits_after };
    }
    if next == '.' && (before > 0 || digits_after > 0) {
        mantissa.push('.');
        mantissa.push_str(&after[..digits_after]);
        used += 1 + digits_after;
        if text[used..].starts_with(',') && digits_at(&text[used + 1..]) > 0 {
            return Head::Comma { at: used, digits_after: digits_at(&text[used + 1..]) };
        }
    } else if digits_after > 0
        && let Some(scale) = letter_scale(next, unit)
    {
        if before == 0 {
            mantissa.push('0');
        }
        mantissa.push('.');
        mantissa.push_str(&after[..digits_after]);
        used += next.len_utf8() + digits_after;
        return done(mantissa, 0, Some(scale), used);
    } else if before == 0 {
        return Head::Nothing;
    }
    let (exponent, more) = exponent(&text[used..]);
    done(mantissa, exponent, None, used + more)
}

fn done(mantissa: String, exponent: i64, letter: Option<Scale>, used: usize) -> Head {
    Head::Number { decimal: Decimal { mantissa, exponent }, letter, used }
}

/// `e-9` and the like: value and bytes used, both 0 when there is none.
fn exponent(text: &str) -> (i64, usize) {
    let Some(rest) = text.strip_prefix(['e', 'E']) else { return (0, 0) };
    let (sign, rest, signs) = match rest.strip_prefix('-') {
        Some(rest) => (-1, rest, 1),
        None => rest.strip_prefix('+').map_or((1, rest, 0), |rest| (1, rest, 1)),
    };
    let digits = digits_at(rest);
    if digits == 0 {
        return (0, 0);
    }
    // more digits than fit are clamped: the value is out of reach either way
    let size = rest[..digits].parse::<i64>().unwrap_or(9999).min(9999);
    (sign * size, 1 + signs + digits)
}

/// The letters that may stand for the decimal point: IEC 60062 for parts, and "3V3".
fn letter_scale(letter: char, unit: Unit) -> Option<Scale> {
    let exponent = match (unit, letter) {
        (Unit::Ohm, 'R') | (Unit::Volt, 'V') | (Unit::Farad, 'F') => 0,
        (Unit::Ohm, 'L') => -3,
        (Unit::Ohm, 'k' | 'K') => 3,
        (Unit::Ohm, 'M') => 6,
        (Unit::Ohm, 'G') => 9,
        (Unit::Ohm, 'T') => 12,
        (Unit::Farad, 'p') => -12,
        (Unit::Farad | Unit::Henry, 'n') => -9,
        (Unit::Farad | Unit::Henry, 'u' | '\u{b5}' | '\u{3bc}') => -6,
        (Unit::Farad | Unit::Henry, 'm') => -3,
        _ => return None,
    };
    Some(Scale::Ten(exponent))
}
