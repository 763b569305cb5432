//! Numbers as people print them: a true minus sign, SI prefixes, fixed places, the same bytes everywhere.

/// The minus sign U+2212, as wide as the plus sign, unlike the hyphen.
pub const MINUS: char = '\u{2212}';

/// `value` with `places` decimals (at most 12) and a true minus sign; never “−0.00”. What is not finite prints “–”.
///
/// ```
/// assert_eq!(icepoint_dossier::number::fixed(-1.25, 1), "−1.3");
/// assert_eq!(icepoint_dossier::number::fixed(-0.001, 1), "0.0");
/// ```
#[must_use]
pub fn fixed(value: f64, places: usize) -> String {
    if !value.is_finite() {
        return "–".to_owned();
    }
    // Half away from zero, as people round by hand; the formatter alone rounds the binary value's half to even.
    let scale = libm::pow(10.0, places.min(12) as f64);
    let scaled = value * scale;
    let rounded = if scaled.abs() < 1e15 { libm::round(scaled) / scale } else { value };
    let text = format!("{:.*}", places.min(12), rounded);
    match text.strip_prefix('-') {
        Some(digits) if digits.bytes().all(|b| matches!(b, b'0' | b'.')) => digits.to_owned(),
        Some(digits) => format!("{MINUS}{digits}"),
        None => text,
    }
}

/// Like [`fixed`], with a plus sign on what is above zero.
#[must_use]
pub fn signed(value: f64, places: usize) -> String {
    let text = fixed(value, places);
    let zero = text.bytes().all(|b| matches!(b, b'0' | b'.'));
    if value.is_finite() && value > 0.0 && !zero { format!("+{text}") } else { text }
}

/// `value` with at most two decimals and no trailing zeros: limits and temperatures as people write them.
///
/// ```
/// assert_eq!(icepoint_dossier::number::plain(6.0), "6");
/// ```
#[must_use]
pub fn plain(value: f64) -> String {
    trimmed(value, 2)
}

/// `value` with at most `places` decimals and no trailing zeros.
#[must_use]
pub fn trimmed(value: f64, places: usize) -> String {
    let text = fixed(value, places);
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

/// `value` with `digits` significant digits (1…9), trailing zeros kept, without exponent for 1e−9 … 1e9.
///
/// ```
/// assert_eq!(icepoint_dossier::number::significant(0.020_46, 2), "0.020");
/// ```
#[must_use]
pub fn significant(value: f64, digits: usize) -> String {
    if !value.is_finite() {
        return "–".to_owned();
    }
    let digits = digits.clamp(1, 9) as i32;
    if value == 0.0 {
        return "0".to_owned();
    }
    let mut decade = libm::floor(libm::log10(value.abs())) as i32;
    // 9.96 with two digits is 10, one decade up.
    let step = libm::pow(10.0, f64::from(decade - digits + 1));
    if libm::round(value.abs() / step) * step >= libm::pow(10.0, f64::from(decade + 1)) * (1.0 - 1e-12) {
        decade += 1;
    }
    let places = (digits - 1 - decade).clamp(0, 12) as usize;
    let above_the_point = decade - digits + 1;
    if above_the_point > 0 {
        let coarse = libm::pow(10.0, f64::from(above_the_point));
        return fixed(libm::round(value / coarse) * coarse, 0);
    }
    fixed(value, places)
}

/// `value` in `unit` with the SI prefix that leaves 1…999 before the point, `digits` significant digits.
///
/// ```
/// assert_eq!(icepoint_dossier::number::prefixed(4.7e-8, "V", 2), "47 nV");
/// ```
#[must_use]
pub fn prefixed(value: f64, unit: &str, digits: usize) -> String {
    const PREFIXES: [(f64, &str); 9] = [
        (1e9, "G"),
        (1e6, "M"),
        (1e3, "k"),
        (1.0, ""),
        (1e-3, "m"),
        (1e-6, "µ"),
        (1e-9, "n"),
        (1e-12, "p"),
        (1e-15, "f"),
    ];
    if !value.is_finite() || value == 0.0 {
        return format!("{} {unit}", significant(value, digits));
    }
    // 999.7 with two digits rounds to 1000: the next prefix up reads better, hence the half digit.
    let lift = 1.0 - 0.5 * libm::pow(10.0, -(digits.clamp(1, 9) as f64));
    let (scale, prefix) = PREFIXES.into_iter().find(|(s, _)| value.abs() >= s * lift).unwrap_or((1e-15, "f"));
    format!("{} {prefix}{unit}", significant(value / scale, digits))
}

/// A share 0…1 as per cent. One decimal near the ends, where it matters (99.2 % is not 99 %); never rounds up to 100.
#[must_use]
pub fn percent(share: f64) -> String {
    if !share.is_finite() {
        return "–".to_owned();
    }
    let hundred = share * 100.0;
    if hundred >= 100.0 || hundred <= 0.0 {
        return format!("{} %", fixed(hundred, 0));
    }
    if hundred > 99.9 {
        return "> 99.9 %".to_owned();
    }
    if hundred < 0.1 {
        return "< 0.1 %".to_owned();
    }
    let places = usize::from(!(10.0..90.0).contains(&hundred));
    format!("{} %", fixed(hundred, places))
}

/// A drawing coordinate: at most two decimals, no trailing zeros, and always a number.
pub(crate) fn coordinate(value: f64) -> String {
    if !value.is_finite() {
        return "0".to_owned();
    }
    let rounded = libm::round(value.clamp(-1e6, 1e6) * 100.0) / 100.0;
    // Adding zero turns −0 into 0.
    format!("{}", rounded + 0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn prints_like_a_person() {
        assert_eq!(fixed(-12.345, 2), "−12.35");
        assert_eq!(fixed(f64::NAN, 2), "–");
        assert_eq!(signed(3.0, 1), "+3.0");
        assert_eq!(signed(0.01, 1), "0.0");
        assert_eq!(significant(1234.0, 2), "1200");
        assert_eq!(significant(9.96, 2), "10");
        assert_eq!(significant(0.0996, 2), "0.10");
        assert_eq!(significant(-2.5, 2), "−2.5");
        assert_eq!(prefixed(999.7, "Hz", 3), "1.00 kHz");
        assert_eq!(prefixed(0.0, "V", 2), "0 V");
        assert_eq!(prefixed(50.0, "Hz", 2), "50 Hz");
        assert_eq!(percent(0.9996), "> 99.9 %");
        assert_eq!(percent(0.456), "46 %");
        assert_eq!(percent(0.0456), "4.6 %");
        assert_eq!(coordinate(-0.001), "0");
        assert_eq!(coordinate(f64::INFINITY), "0");
        assert_eq!(coordinate(1.005), "1");
    }
}
