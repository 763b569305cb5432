//! From text to SI, with errors that point.

use super::number::{Decimal, Head, OutOfReach, Piece, head};
use super::unit::{PREFIXES, Scale, Unit};
use super::{QuantityError, Tolerance, Toleranced};

/// The value of `text` in the SI unit of `unit` (°C for temperatures); always finite.
///
/// # Errors
/// [`QuantityError`] when there is no number, no unit, another kind of unit, a decimal comma, a tolerance, or a
/// number out of reach of a double.
pub fn parse(text: &str, unit: Unit) -> Result<f64, QuantityError> {
    let piece = Piece { text, at: 0 }.trimmed();
    if let Some((at, _)) = plus_minus(piece.text) {
        let (nominal, rest) = piece.split(at);
        let help = (!nominal.text.trim().is_empty()).then(|| format!("\"{}\"", nominal.text.trim()));
        return Err(QuantityError {
            code: "quantity.unexpected_tolerance",
            span: rest.range(),
            message: format!("\"{}\" has a tolerance, which has no place here", piece.text),
            label: "not wanted here".into(),
            expected: expected(unit),
            help,
        });
    }
    single(piece, unit)
}

/// A value with the tolerance that may follow it: `"2.5 V ± 0.2 %"`, `"2.5 V +/- 5 mV"`, `"2.5 V"`.
///
/// # Errors
/// As [`parse`], for either part; a negative tolerance; a tolerance without a value.
pub fn parse_toleranced(text: &str, unit: Unit) -> Result<Toleranced, QuantityError> {
    let piece = Piece { text, at: 0 }.trimmed();
    let Some((at, sign)) = plus_minus(piece.text) else {
        return Ok(Toleranced::exact(single(piece, unit)?));
    };
    let (nominal, rest) = piece.split(at);
    let (sign, limit) = rest.split(sign);
    if nominal.text.trim().is_empty() {
        return Err(QuantityError {
            code: "quantity.no_value",
            span: sign.range(),
            message: format!("\"{}\" has a tolerance but no value", piece.text),
            label: "the value is missing before this".into(),
            expected: format!("{} and its tolerance", unit.noun()),
            help: Some(format!("\"{} {}\"", unit.example(), piece.text)),
        });
    }
    let value = single(nominal.trimmed(), unit)?;
    let limit = limit.trimmed();
    let relative =
        limit.text.ends_with(['%', '‰']) || limit.text.ends_with("ppm") || limit.text.ends_with("ppb");
    let tolerance = if relative && unit != Unit::Ratio {
        Tolerance::Relative(not_negative(limit, single(limit, Unit::Ratio)?)?)
    } else {
        // the tolerance of a temperature is a difference
        let unit = if unit == Unit::Celsius { Unit::Kelvin } else { unit };
        Tolerance::Absolute(not_negative(limit, single(limit, unit)?)?)
    };
    Ok(Toleranced { value, tolerance: Some(tolerance) })
}

/// A symmetric limit: `"±0.5 K"` or `"0.5 K"`; never negative.
///
/// # Errors
/// As [`parse`]; a value before the sign; a negative limit.
pub fn parse_limit(text: &str, unit: Unit) -> Result<f64, QuantityError> {
    let piece = Piece { text, at: 0 }.trimmed();
    let limit = match plus_minus(piece.text) {
        Some((0, sign)) => piece.split(sign).1.trimmed(),
        Some(_) => return parse(text, unit),
        None => piece,
    };
    not_negative(limit, single(limit, unit)?)
}

fn not_negative(piece: Piece<'_>, value: f64) -> Result<f64, QuantityError> {
    if value >= 0.0 {
        return Ok(value);
    }
    let positive = piece.text.trim_start_matches(['-', '\u{2212}']).trim_start();
    Err(QuantityError {
        code: "quantity.negative_limit",
        span: piece.range(),
        message: format!("a limit of {} is negative", piece.text),
        label: "a limit goes to both sides".into(),
        expected: "a limit of 0 or more".into(),
        help: Some(format!("\"{positive}\"")),
    })
}

/// The first plus-minus sign: its byte and its length.
fn plus_minus(text: &str) -> Option<(usize, usize)> {
    ["±", "+/-", "+-"].iter().filter_map(|sign| text.find(sign).map(|at| (at, sign.len()))).min()
}

fn expected(unit: Unit) -> String {
    format!("{} such as \"{}\"", unit.noun(), unit.example())
}

fn single(piece: Piece<'_>, unit: Unit) -> Result<f64, QuantityError> {
    if unit == Unit::WireDiameter
        && let Some(result) = wire_gauge(piece)
    {
        return result;
    }
    let (decimal, letter, used) = match head(piece.text, unit) {
        Head::Number { decimal, letter, used } => (decimal, letter, used),
        Head::Comma { at, digits_after } => return Err(decimal_comma(piece, unit, at, digits_after)),
        Head::Nothing => return Err(no_number(piece, unit)),
    };
    let (number, rest) = piece.split(used);
    let rest = rest.trimmed();
    let scale = scale(number, rest, letter, unit)?;
    scaled(&decimal, scale).map_err(|reach| {
        let (code, size) = match reach {
            OutOfReach::TooLarge => ("quantity.too_large", "large"),
            OutOfReach::TooSmall => ("quantity.too_small", "small"),
        };
        QuantityError {
            code,
            span: number.range(),
            message: format!("{} is too {size} to compute with", shortened(number.text)),
            label: format!("too {size}").into(),
            expected: expected(unit),
            help: Some(format!("\"{}\"", unit.example())),
        }
    })
}

fn scaled(decimal: &Decimal, scale: Scale) -> Result<f64, OutOfReach> {
    let finite = |value: f64| if value.is_finite() { Ok(value) } else { Err(OutOfReach::TooLarge) };
    match scale {
        Scale::Ten(exponent) => decimal.shifted(exponent),
        Scale::Times(factor) => finite(decimal.shifted(0)? * factor),
        Scale::Fahrenheit => finite((decimal.shifted(0)? - 32.0) / 1.8),
        Scale::Decibel => finite(libm::pow(10.0, decimal.shifted(0)? / 20.0)),
        Scale::SquareMillimetre => {
            finite(2.0 * libm::sqrt(decimal.shifted(-6)?.max(0.0) / core::f64::consts::PI))
        }
    }
}

/// The scale of the unit after the number, or why it has none.
fn scale(
    number: Piece<'_>,
    unit_text: Piece<'_>,
    letter: Option<Scale>,
    unit: Unit,
) -> Result<Scale, QuantityError> {
    let symbol = normalised(unit_text.text);
    if let Some(scale) = letter {
        // "4k7" or "4k7 Ω": the letter has said it all
        return if symbol.is_empty() || unit.scale_of(&symbol) == Some(Scale::Ten(0)) {
            Ok(scale)
        } else {
            Err(unit_error(number, unit_text, unit, &symbol))
        };
    }
    if symbol.is_empty() {
        return if unit.takes_bare_number() { Ok(Scale::Ten(0)) } else { Err(no_unit(number, unit)) };
    }
    unit.scale_of(&symbol).ok_or_else(|| unit_error(number, unit_text, unit, &symbol))
}

/// One code point for Ω, µ and °, no white space: "nV / √Hz" is "nV/√Hz".
fn normalised(symbol: &str) -> String {
    symbol
        .chars()
        .filter(|c| !c.is_whitespace())
        .map(|c| match c {
            '\u{2126}' => 'Ω',
            '\u{3bc}' => 'µ',
            '\u{ba}' | '\u{2da}' => '°',
            c => c,
        })
        .collect()
}

/// "AWG 20" or "20 AWG": the diameter, ASTM B258 (0.127 mm · 92^((36 − n)/39)), for gauges 0 to 50.
fn wire_gauge(piece: Piece<'_>) -> Option<Result<f64, QuantityError>> {
    let compact = piece.text.to_ascii_uppercase();
    let digits = compact.strip_prefix("AWG").or_else(|| compact.strip_suffix("AWG"))?.trim();
    Some(match digits.parse::<u8>() {
        Ok(gauge) if gauge <= 50 => Ok(0.127e-3 * libm::pow(92.0, (36.0 - f64::from(gauge)) / 39.0)),
        _ => Err(QuantityError {
            code: "quantity.unknown_gauge",
            span: piece.range(),
            message: format!("{} is not a wire gauge", shortened(piece.text)),
            label: "AWG 0 to AWG 50 are known".into(),
            expected: expected(Unit::WireDiameter),
            help: Some("\"AWG 20\" or \"0.8 mm\"".into()),
        }),
    })
}

/// The text, or its start when it is long, so that a message stays a sentence.
pub(crate) fn shortened(text: &str) -> String {
    const KEPT: usize = 40;
    match text.char_indices().nth(KEPT) {
        None => text.to_owned(),
        Some((end, _)) => format!("{}…", &text[..end]),
    }
}

fn decimal_comma(piece: Piece<'_>, unit: Unit, at: usize, digits_after: usize) -> QuantityError {
    let pointed = format!("{}.{}", &piece.text[..at].replace('.', ""), &piece.text[at + 1..]);
    let joined = format!("{}{}", &piece.text[..at], &piece.text[at + 1..]);
    let help = if single(Piece { text: &pointed, at: 0 }, unit).is_err() {
        format!("a decimal point, as in \"{}\"", unit.example())
    } else if digits_after == 3 {
        format!(
            "\"{}\" if it is a decimal comma, \"{}\" if it sets thousands apart",
            shortened(&pointed),
            shortened(&joined)
        )
    } else {
        format!("a decimal point: \"{}\"", shortened(&pointed))
    };
    QuantityError {
        code: "quantity.decimal_comma",
        span: piece.at + at..piece.at + at + 1,
        message: format!("\"{}\" has a comma in its number", shortened(piece.text)),
        label: "a comma could mean two things".into(),
        expected: expected(unit),
        help: Some(help),
    }
}

fn no_number(piece: Piece<'_>, unit: Unit) -> QuantityError {
    let word = piece.text.trim_start_matches(['+', '-', '\u{2212}']).to_ascii_lowercase();
    let unbounded = ["nan", "inf", "infinity", "∞"].iter().any(|w| word.starts_with(w));
    let message = if piece.text.is_empty() {
        "there is nothing between the quotes".to_owned()
    } else if unbounded {
        format!("{} is not a finite number", shortened(piece.text))
    } else {
        format!("\"{}\" does not start with a number", shortened(piece.text))
    };
    QuantityError {
        code: if unbounded { "quantity.not_finite" } else { "quantity.no_number" },
        span: piece.range(),
        message,
        label: "no number here".into(),
        expected: expected(unit),
        help: Some(format!("\"{}\"", unit.example())),
    }
}

fn no_unit(number: Piece<'_>, unit: Unit) -> QuantityError {
    let symbol = match unit {
        Unit::WireDiameter => "mm",
        unit => unit.symbol(),
    };
    QuantityError {
        code: "quantity.no_unit",
        span: number.range(),
        message: format!("{} has no unit", shortened(number.text)),
        label: "a number of what?".into(),
        expected: expected(unit),
        help: Some(format!("with its unit, for example \"{} {symbol}\"", shortened(number.text))),
    }
}

fn unit_error(number: Piece<'_>, text: Piece<'_>, unit: Unit, symbol: &str) -> QuantityError {
    let found = shortened(text.text);
    let error = |code, message: String, label: &str, help: String| QuantityError {
        code,
        span: text.range(),
        message,
        label: label.into(),
        expected: expected(unit),
        help: Some(help),
    };
    if unit == Unit::Celsius && Unit::Kelvin.scale_of(symbol).is_some() {
        let celsius = number.text.trim().parse::<f64>().ok().filter(|_| symbol == "K").map(|k| k - 273.15);
        let help = match celsius.filter(|c| (-273.15..=5000.0).contains(c)) {
            Some(celsius) => format!(
                "\"{} °C\" if that is meant, or \"{}\" if these are kelvin",
                number.text.trim(),
                super::format(celsius, Unit::Celsius, 6)
            ),
            None => format!("\"{} °C\"", number.text.trim()),
        };
        return error(
            "quantity.kelvin_for_celsius",
            format!(
                "\"{} {found}\" is in kelvin, and K means a difference of temperatures here",
                number.text.trim()
            ),
            "a temperature is written in °C",
            help,
        );
    }
    if let Some(close) = same_but_for_case(unit, symbol) {
        return error(
            "quantity.misspelt_unit",
            format!("\"{found}\" is not a unit"),
            "capitals matter in units",
            format!("\"{} {close}\"", number.text.trim()),
        );
    }
    if let Some(other) = Unit::ALL.iter().find(|other| other.scale_of(symbol).is_some()) {
        return error(
            "quantity.wrong_unit",
            format!("\"{found}\" is the unit of {}", other.noun()),
            &format!("expected {}", unit.noun()),
            format!("\"{}\"", unit.example()),
        );
    }
    // "4.7 kΩ 1 %": the sign was forgotten
    if let Some((first, rest)) = text.text.split_once(char::is_whitespace)
        && unit.scale_of(&normalised(first)).is_some()
        && rest.trim_start().starts_with(|c: char| c.is_ascii_digit())
    {
        return error(
            "quantity.unknown_unit",
            format!("\"{found}\" is not a unit"),
            "more than a unit",
            format!("for a tolerance: \"{} {first} ± {}\"", number.text.trim(), shortened(rest.trim())),
        );
    }
    error(
        "quantity.unknown_unit",
        format!("\"{found}\" is not a unit that is known here"),
        &format!("expected the unit of {}", unit.noun()),
        format!("\"{}\"", unit.example()),
    )
}

/// The symbol that was meant when only the capitals are wrong.
fn same_but_for_case(unit: Unit, symbol: &str) -> Option<String> {
    let wanted = symbol.to_lowercase();
    for known in unit.symbols() {
        if known.text.to_lowercase() == wanted {
            return Some(known.text.to_owned());
        }
        let candidates =
            PREFIXES.iter().filter(|_| known.prefixed).map(|(prefix, _)| format!("{prefix}{}", known.text));
        if let Some(found) = candidates.into_iter().find(|c| c.to_lowercase() == wanted) {
            return Some(found);
        }
    }
    None
}
