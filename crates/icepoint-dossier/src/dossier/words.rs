//! Figures as the page prints them: one way for each quantity, a true minus sign, no break between number and unit.

use icepoint_chain::quantity::{Unit, format};

use crate::number::{MINUS, fixed, plain, signed};

/// Blank that keeps a number and its unit on one line (U+00A0).
pub(super) const NBSP: char = '\u{a0}';

/// A difference of temperatures, two decimals: “5.15 K”.
pub(super) fn kelvin(value: f64) -> String {
    format!("{}{NBSP}K", fixed(value, 2))
}

/// A limit either way, two decimals: “±5.15 K”.
pub(super) fn plus_minus(value: f64) -> String {
    format!("±{}", kelvin(value.abs()))
}

/// A limit as it was asked for: “±6 K”.
pub(super) fn asked(value: f64) -> String {
    format!("±{}{NBSP}K", plain(value))
}

/// An error with its sign: “+0.31 K”.
pub(super) fn signed_kelvin(value: f64) -> String {
    format!("{}{NBSP}K", signed(value, 2))
}

/// From one error to another: “−25.79 K to +26.59 K”.
pub(super) fn span_kelvin(low: f64, high: f64) -> String {
    format!("{} to {}", signed_kelvin(low), signed_kelvin(high))
}

/// A temperature: “1100 °C”.
pub(super) fn celsius(value: f64) -> String {
    format!("{}{NBSP}°C", plain(value))
}

/// “20 °C to 1100 °C”.
pub(super) fn celsius_span((low, high): (f64, f64)) -> String {
    if low == high { celsius(low) } else { format!("{} to {}", celsius(low), celsius(high)) }
}

/// Any quantity with its prefix: “4.99 kΩ”.
pub(super) fn quantity(value: f64, unit: Unit, digits: usize) -> String {
    if !value.is_finite() {
        return if value > 0.0 { "∞".to_owned() } else { "–".to_owned() };
    }
    minus(&format(value, unit, digits)).replace(' ', "\u{a0}")
}

/// A value with a relative limit: “3.3 V ± 5 %”.
pub(super) fn with_tolerance(value: f64, unit: Unit, relative: f64) -> String {
    if relative > 0.0 {
        format!("{} ±{NBSP}{}", quantity(value, unit, 4), quantity(relative, Unit::Ratio, 3))
    } else {
        quantity(value, unit, 4)
    }
}

/// `text` with a hyphen before a digit turned into a minus sign, where it is a sign and not part of a word or a range.
pub(super) fn minus(text: &str) -> String {
    let mut out = String::with_capacity(text.len() + 4);
    let mut before = ' ';
    let mut rest = text.chars().peekable();
    while let Some(c) = rest.next() {
        let sign = c == '-'
            && matches!(before, ' ' | '(' | '±' | '\u{a0}' | '"' | '[')
            && rest.peek().is_some_and(char::is_ascii_digit);
        out.push(if sign { MINUS } else { c });
        before = c;
    }
    out
}

/// A count with a thin blank between thousands: “100 000”.
pub(super) fn count(value: u64) -> String {
    let digits = value.to_string();
    let mut out = String::new();
    for (i, c) in digits.chars().enumerate() {
        if i > 0 && (digits.len() - i) % 3 == 0 && digits.len() > 4 {
            out.push('\u{202f}');
        }
        out.push(c);
    }
    out
}

/// First letter as a capital.
pub(super) fn sentence(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or(String::new(), |c| c.to_uppercase().chain(chars).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn signs_and_blanks() {
        assert_eq!(minus("0.1 V of -0.100 V to 3 V, 16-bit, IEC 60584-1"), "0.1 V of −0.100 V to 3 V, 16-bit, IEC 60584-1");
        assert_eq!(quantity(4990.0, Unit::Ohm, 4), "4.99\u{a0}kΩ");
        assert_eq!(quantity(-5.0, Unit::Volt, 3), "−5\u{a0}V");
        assert_eq!(count(100_000), "100\u{202f}000");
        assert_eq!(count(1000), "1000");
        assert_eq!(span_kelvin(-1.0, 2.0), "−1.00\u{a0}K to +2.00\u{a0}K");
    }
}
