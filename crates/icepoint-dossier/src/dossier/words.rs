//! Figures as the page prints them: one way for each quantity, a true minus sign, no break between number and unit.

use icepoint_chain::quantity::{Unit, format};

use crate::number::{MINUS, fixed, plain, signed, significant, trimmed};

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

/// A figure in kelvin as people write limits: “0.5 K”, “±0.05 K” without digits that nobody asked for.
pub(super) fn plain_kelvin(value: f64) -> String {
    format!("{}{NBSP}K", if value.abs() >= 0.001 { trimmed(value, 3) } else { significant(value, 2) })
}

/// `value` with at most `digits` significant digits, zeros at the end left out.
pub(super) fn trimmed_digits(value: f64, digits: usize) -> String {
    let text = significant(value, digits);
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

/// Kelvin with `digits` significant digits and no prefix, for the working.
pub(super) fn exact_kelvin(value: f64, digits: usize) -> String {
    format!("{}{NBSP}K", trimmed_digits(value, digits))
}

/// A relative figure: per cent, and ppm only where per cent would need many zeros.
pub(super) fn ratio(value: f64) -> String {
    if value.abs() >= 1e-4 {
        format!("{}{NBSP}%", trimmed(100.0 * value, 4))
    } else {
        quantity(value, Unit::Ratio, 3)
    }
}

/// A cause inside a sentence: “the tolerance of RG”, “the cable NX class 1”.
pub(super) fn cause(label: &str) -> String {
    let label = typeset(label);
    for (ending, name) in [
        (", tolerance", "the tolerance of "),
        (", temperature coefficient", "the temperature coefficient of "),
    ] {
        if let Some(part) = label.strip_suffix(ending) {
            return format!("{name}{part}");
        }
    }
    let bare = ["mains", "noise", "knowledge", "reference-junction sensor warms"];
    if bare.iter().any(|b| label.starts_with(b)) { label } else { format!("the {label}") }
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
        format!("{} ±{NBSP}{}", quantity(value, unit, 4), ratio(relative))
    } else {
        quantity(value, unit, 4)
    }
}

/// Units that are kept on one line with the number before them.
const UNITS: &[&str] = &[
    "K", "V", "mV", "µV", "°C", "%", "Hz", "Ω", "kΩ", "MΩ", "nF", "µF", "ppm", "ppm/K", "s", "ms", "mV/K",
    "m", "bit",
];

/// `text` with a true minus sign before numbers, and numbers tied to their units.
pub(super) fn typeset(text: &str) -> String {
    let text = minus(text);
    let mut out = String::with_capacity(text.len() + 8);
    for word in text.split_inclusive(' ') {
        let bare = word.trim_end_matches([' ', ',', ';', ':', '.', ')']);
        let after_digit = out.strip_suffix(' ').is_some_and(|t| t.ends_with(|c: char| c.is_ascii_digit()));
        if after_digit && UNITS.contains(&bare) {
            out.pop();
            out.push(NBSP);
        }
        out.push_str(word);
    }
    out
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
        if i > 0 && (digits.len() - i).is_multiple_of(3) && digits.len() > 4 {
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
        assert_eq!(
            minus("0.1 V of -0.100 V to 3 V, 16-bit, IEC 60584-1"),
            "0.1 V of −0.100 V to 3 V, 16-bit, IEC 60584-1"
        );
        assert_eq!(quantity(4990.0, Unit::Ohm, 4), "4.99\u{a0}kΩ");
        assert_eq!(quantity(-5.0, Unit::Volt, 3), "−5\u{a0}V");
        assert_eq!(count(100_000), "100\u{202f}000");
        assert_eq!(count(1000), "1000");
        assert_eq!(typeset("at 0 V, -5 °C"), "at 0\u{a0}V, −5\u{a0}°C");
        assert_eq!(cause("RG, tolerance"), "the tolerance of RG");
        assert_eq!(cause("mains common to both leads"), "mains common to both leads");
        assert_eq!(cause("A1 offset voltage"), "the A1 offset voltage");
        assert_eq!(ratio(0.0002), "0.02\u{a0}%");
        assert_eq!(ratio(2e-5), "20\u{a0}ppm");
        assert_eq!(plain_kelvin(0.2), "0.2\u{a0}K");
        assert_eq!(span_kelvin(-1.0, 2.0), "−1.00\u{a0}K to +2.00\u{a0}K");
    }
}
