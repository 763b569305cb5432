//! From SI to the text that a person would write, with a chosen number of significant digits.

use super::{Tolerance, Toleranced, Unit};

/// `value` with its unit in engineering notation: `"4.7 kΩ"`, `"100 nF"`, `"12.3 mV"`, `"1.5 K"`.
///
/// `digits` significant digits, 1 to 17; zeros at the end of the fraction are left out. What is printed can be read
/// back with [`parse`](super::parse) and is then within half of the last digit (exact with 17 digits, but for dB).
/// A value that is not finite prints as such ("NaN V") and cannot be read back.
pub fn format(value: f64, unit: Unit, digits: usize) -> String {
    let digits = digits.clamp(1, 17);
    if !value.is_finite() {
        return format!("{value} {}", unit.symbol());
    }
    match unit {
        Unit::Ratio => {
            // below a twentieth of a per cent people count in ppm
            if value != 0.0 && value.abs() < 5e-4 {
                plain(value, 6, digits) + " ppm"
            } else {
                plain(value, 2, digits) + " %"
            }
        }
        Unit::PerKelvin => plain(value, 6, digits) + " ppm/K",
        Unit::Decibel if value > 0.0 => plain(20.0 * libm::log10(value), 0, digits) + " dB",
        Unit::Decibel => plain(value, 0, digits) + " V/V",
        Unit::Count => plain(value, 0, digits),
        Unit::Celsius | Unit::Bit | Unit::Lsb => format!("{} {}", plain(value, 0, digits), unit.symbol()),
        _ => engineering(value, unit, digits),
    }
}

/// As [`format()`], with the tolerance after it: `"2.5 V ± 0.2 %"`.
pub fn format_toleranced(quantity: Toleranced, unit: Unit, digits: usize) -> String {
    let value = format(quantity.value, unit, digits);
    let limit_unit = if unit == Unit::Celsius { Unit::Kelvin } else { unit };
    match quantity.tolerance {
        None => value,
        Some(Tolerance::Relative(ratio)) => format!("{value} ± {}", format(ratio, Unit::Ratio, digits)),
        Some(Tolerance::Absolute(limit)) => format!("{value} ± {}", format(limit, limit_unit, digits)),
    }
}

/// Prefixes from small to large with their power of ten.
const PREFIXES: [(&str, i32); 10] = [
    ("f", -15),
    ("p", -12),
    ("n", -9),
    ("µ", -6),
    ("m", -3),
    ("", 0),
    ("k", 3),
    ("M", 6),
    ("G", 9),
    ("T", 12),
];

fn engineering(value: f64, unit: Unit, digits: usize) -> String {
    let largest = match unit {
        // nobody writes kiloseconds, kilokelvin or kilometres of wire
        Unit::Second | Unit::Kelvin | Unit::KelvinPerKelvin | Unit::Metre | Unit::WireDiameter => 0,
        _ => 12,
    };
    let (_, _, exponent) = rounded(value, digits);
    let wanted = if value == 0.0 { 0 } else { exponent.div_euclid(3) * 3 };
    let (prefix, power) =
        PREFIXES.iter().copied().rfind(|(_, power)| *power <= largest.min(wanted)).unwrap_or(PREFIXES[0]);
    format!("{} {prefix}{}", plain(value, -power, digits), unit.symbol())
}

/// Sign, the significant digits without a point, and the power of ten of the first of them.
fn rounded(value: f64, digits: usize) -> (bool, String, i32) {
    let text = format!("{:.*e}", digits - 1, value.abs());
    let (mantissa, exponent) = text.split_once('e').unwrap_or((&text, "0"));
    (value < 0.0, mantissa.replace('.', ""), exponent.parse().unwrap_or(0))
}

/// `value`·10^`shift` in plain decimals. The shift moves the point in the text, so it rounds only once.
fn plain(value: f64, shift: i32, digits: usize) -> String {
    if value == 0.0 {
        return "0".into();
    }
    let (negative, figures, exponent) = rounded(value, digits);
    let point = exponent + shift + 1;
    let mut text = match usize::try_from(point) {
        Err(_) | Ok(0) => format!("0.{}{figures}", "0".repeat(point.unsigned_abs() as usize)),
        Ok(point) if point >= figures.len() => format!("{figures}{}", "0".repeat(point - figures.len())),
        Ok(point) => format!("{}.{}", &figures[..point], &figures[point..]),
    };
    if text.contains('.') {
        let kept = text.trim_end_matches('0').trim_end_matches('.').len();
        text.truncate(kept);
    }
    if negative { format!("-{text}") } else { text }
}
