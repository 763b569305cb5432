//! One value out of the text: its type, its unit, its bound.

use super::bounds::Bound;
use super::front_end::PartValue;
use super::given::{Interval, Span};
use super::keys::{Key, Kind};
use super::need::Harmonics;
use super::problem::Problem;
use super::similar::nearest;
use super::walk::{Value, Walk, found, unit_of};
use super::{bounds, keys};
use crate::quantity::read::shortened;
use crate::quantity::{self, QuantityError, Toleranced, Unit, format};
use toml::de::DeValue;

impl Walk<'_> {
    /// The text of a string value.
    pub fn text(&mut self, key: &Key, name: &str, value: &Value<'_>) -> Option<String> {
        match value.get_ref() {
            DeValue::String(text) => Some(text.to_string()),
            other => {
                let help = match (unit_of(key.kind), other) {
                    (Some(unit), DeValue::Integer(number)) => {
                        with_unit(number.as_str(), unit, example_symbol(key).unwrap_or(unit.symbol()))
                    }
                    (Some(unit), DeValue::Float(number)) => {
                        with_unit(number.as_str(), unit, example_symbol(key).unwrap_or(unit.symbol()))
                    }
                    _ => format!("{name} = {}", key.example),
                };
                self.wrong_type(key, name, other, value.span().into(), &help);
                None
            }
        }
    }

    /// A value of a type that can't be meant.
    pub fn wrong_type(&mut self, key: &Key, name: &str, value: &DeValue<'_>, span: Span, help: &str) {
        self.problem(
            Problem::new("value.wrong_type", format!("{name} is {}", found(value)))
                .at(span, format!("expected {}", short_kind(key.kind)))
                .expected(key.kind.text())
                .help(help),
        );
    }

    /// A word that is none of the known ones.
    pub fn unknown_word(&mut self, name: &str, text: &str, span: Span, words: &[&'static str]) {
        let problem = Problem::new(
            "value.unknown_word",
            format!("\"{}\" is not a {name} that is known", shortened(text)),
        )
        .expected(keys::one_of(words));
        self.problem(match nearest(text, words.iter().copied()) {
            Some(close) => {
                problem.at(span, format!("did you mean \"{close}\"?")).help(format!("{name} = \"{close}\""))
            }
            None => problem.at(span, "not known here"),
        });
    }

    /// A quantity that could not be read, placed in the file.
    fn misread(&mut self, key: &Key, name: &str, mut error: QuantityError, text: &str, span: Span) {
        // an example of this very key says more than one of its unit
        if let Some(unit) = unit_of(key.kind)
            && let Some(symbol) = example_symbol(key)
        {
            let general = format!("\"{}\"", unit.example());
            if error.help.as_ref() == Some(&general) {
                error.help = Some(format!("{name} = {}", key.example));
            }
            error.expected = error.expected.replace(&general, key.example);
            if error.code == "quantity.no_unit" {
                error.help = Some(with_unit(text.trim(), unit, symbol));
            }
        }
        // the bytes inside the quotes are those of the text unless something was escaped
        let inside = Span::new(span.start + 1, span.start + 1 + text.len());
        let raw = self.source.text.get(inside.start..inside.end);
        let place = if raw == Some(text) && !error.span.is_empty() {
            Span::new(inside.start + error.span.start, inside.start + error.span.end)
        } else {
            span
        };
        let mut problem =
            Problem::new(error.code, error.message).at(place, error.label).expected(error.expected);
        problem.help = error.help;
        self.problem(problem);
    }

    /// Whether a value is possible; tells if not.
    fn bounded(&mut self, bound: Option<&'static Bound>, value: f64, name: &str, span: Span) -> Option<f64> {
        let Some(bound) = bound else { return Some(value) };
        if bound.allows(value) {
            return Some(value);
        }
        let what = bound.what;
        let raw = self.source.text.get(span.start..span.end).unwrap_or_default().trim_matches('"');
        let (side, end, which) = if value > bound.high {
            ("more than is possible", bound.high, "most")
        } else if value < bound.low {
            ("less than is possible", bound.low, "least")
        } else {
            ("not possible", bound.low, "least")
        };
        let mut help = Vec::new();
        if !matches!(bound.unit, Unit::Count | Unit::Bit) {
            help.push("check the unit and its prefix".to_owned());
        }
        if !(bound.above && end == bound.low) {
            let digits = if bound.unit == Unit::Count { 17 } else { 6 };
            help.push(format!("the {which} is {}", format(end, bound.unit, digits)));
        }
        self.problem(
            Problem::new("value.out_of_bounds", format!("{} as {what} is {side}", shortened(raw)))
                .at(span, format!("{name} must be {}", bound.text()))
                .expected(bound.text())
                .help(help.join("; ")),
        );
        None
    }

    fn read_one(&mut self, key: &Key, name: &str, value: &Value<'_>, unit: Unit, limit: bool) -> Option<f64> {
        let text = self.text(key, name, value)?;
        let span: Span = value.span().into();
        let read = if limit { quantity::parse_limit(&text, unit) } else { quantity::parse(&text, unit) };
        match read {
            Ok(value) => self.bounded(key.bound, value, name, span),
            Err(error) => {
                self.misread(key, name, error, &text, span);
                None
            }
        }
    }

    /// A limit, for a key that also takes words.
    pub fn limit_of(&mut self, key: &Key, name: &str, value: &Value<'_>, _: bool) -> Option<f64> {
        let unit = unit_of(key.kind)?;
        self.read_one(key, name, value, unit, true)
    }

    /// A quantity, or a limit where the key is one.
    pub fn quantity(&mut self, key: &'static Key, name: &str, value: &Value<'_>, _: bool) -> Option<f64> {
        let unit = unit_of(key.kind)?;
        self.read_one(key, name, value, unit, matches!(key.kind, Kind::Limit(_)))
    }

    /// A limit in V, or in LSB of `lsb` volts; NaN when the LSB is not known because of another problem.
    pub fn volt_or_lsb(&mut self, key: &'static Key, name: &str, value: &Value<'_>, lsb: f64) -> Option<f64> {
        let text = self.text(key, name, value)?;
        let span: Span = value.span().into();
        let in_lsb = text.to_lowercase().contains("lsb");
        let read = quantity::parse_limit(&text, if in_lsb { Unit::Lsb } else { Unit::Volt });
        match read {
            Ok(count) if in_lsb => {
                let volts = count * lsb;
                if volts.is_nan() { Some(volts) } else { self.bounded(key.bound, volts, name, span) }
            }
            Ok(volts) => self.bounded(key.bound, volts, name, span),
            Err(mut error) => {
                if error.code == "quantity.wrong_unit" || error.code == "quantity.no_unit" {
                    error.help = Some("\"1 mV\" or \"2 LSB\"".into());
                }
                self.misread(key, name, error, &text, span);
                None
            }
        }
    }

    /// A quantity with its tolerance.
    pub fn toleranced(
        &mut self,
        key: &'static Key,
        name: &str,
        value: &Value<'_>,
        _: bool,
    ) -> Option<Toleranced> {
        let unit = unit_of(key.kind)?;
        let text = self.text(key, name, value)?;
        let span: Span = value.span().into();
        match quantity::parse_toleranced(&text, unit) {
            Ok(quantity) => {
                self.bounded(key.bound, quantity.value, name, span)?;
                self.sane_tolerance(quantity, unit, span)
            }
            Err(error) => {
                self.misread(key, name, error, &text, span);
                None
            }
        }
    }

    /// A tolerance of half the value or more is a slip; but 0 V may have any.
    fn sane_tolerance(&mut self, quantity: Toleranced, unit: Unit, span: Span) -> Option<Toleranced> {
        if quantity.value == 0.0 || quantity.half_width() < 0.5 * quantity.value.abs() {
            return Some(quantity);
        }
        self.problem(
            Problem::new("value.tolerance_too_wide", "the tolerance is half of the value or more".to_owned())
                .at(span, "would reach nearly everything")
                .expected("a tolerance below 50 %")
                .help(format!("\"{} ± 1 %\"", format(quantity.value, unit, 6))),
        );
        None
    }

    /// Two quantities, low and high, or one where the key allows it.
    pub fn interval(
        &mut self,
        key: &'static Key,
        name: &str,
        value: &Value<'_>,
        _: bool,
    ) -> Option<Interval> {
        let unit = unit_of(key.kind)?;
        let span: Span = value.span().into();
        if let (Kind::IntervalOrOne(_), DeValue::String(_)) = (key.kind, value.get_ref()) {
            let one = self.read_one(key, name, value, unit, false)?;
            return Some(Interval { low: one, high: one });
        }
        let items = match value.get_ref() {
            DeValue::Array(items) if items.len() == 2 => items,
            other => {
                self.wrong_type(key, name, other, span, &format!("{name} = {}", key.example));
                return None;
            }
        };
        let ends: Vec<Option<f64>> =
            items.iter().map(|item| self.read_one(key, name, item, unit, false)).collect();
        let [Some(low), Some(high)] = ends[..] else { return None };
        if low > high {
            let (low, high) = (format(low, unit, 6), format(high, unit, 6));
            self.problem(
                Problem::new("range.inverted", format!("{name} runs from {low} down to {high}"))
                    .at(span, "the lower value comes first")
                    .expected("low, then high")
                    .help(format!("{name} = [\"{high}\", \"{low}\"]")),
            );
            return None;
        }
        Some(Interval { low, high })
    }

    /// One or more quantities in any order.
    pub fn values(&mut self, key: &'static Key, name: &str, value: &Value<'_>, _: bool) -> Option<Vec<f64>> {
        let unit = unit_of(key.kind)?;
        let items = match value.get_ref() {
            DeValue::Array(items) if !items.is_empty() => items,
            other => {
                self.wrong_type(key, name, other, value.span().into(), &format!("{name} = {}", key.example));
                return None;
            }
        };
        let values: Vec<Option<f64>> =
            items.iter().map(|item| self.read_one(key, name, item, unit, false)).collect();
        values.into_iter().collect()
    }

    /// One or more quantities, rising.
    pub fn list(&mut self, key: &'static Key, name: &str, value: &Value<'_>, from: bool) -> Option<Vec<f64>> {
        let unit = unit_of(key.kind)?;
        let span: Span = value.span().into();
        let values = self.values(key, name, value, from)?;
        let items = value.get_ref().as_array()?;
        if let Some(at) = values.windows(2).position(|pair| pair[0] >= pair[1]) {
            let place: Span = items.get(at + 1).map_or(span, |item| item.span().into());
            self.problem(
                Problem::new("list.not_rising", format!("the values of {name} must rise"))
                    .at(place, format!("not above {}", format(values[at], unit, 6)))
                    .expected("each value above the one before"),
            );
            return None;
        }
        Some(values)
    }

    /// A quantity, or "open".
    pub fn open(&mut self, key: &'static Key, name: &str, value: &Value<'_>) -> Option<Option<f64>> {
        let unit = unit_of(key.kind)?;
        if let DeValue::String(text) = value.get_ref()
            && text.trim().eq_ignore_ascii_case("open")
        {
            return Some(None);
        }
        self.read_one(key, name, value, unit, false).map(Some)
    }

    /// Harmonics: a word, or shares from the second on.
    pub fn harmonics(&mut self, key: &'static Key, name: &str, value: &Value<'_>) -> Option<Harmonics> {
        let span: Span = value.span().into();
        let items = match value.get_ref() {
            DeValue::String(text) => {
                let same = |word: &str| word.eq_ignore_ascii_case(text.trim());
                if same(Harmonics::WORDS[0]) {
                    return Some(Harmonics::PublicNetwork);
                }
                if same(Harmonics::WORDS[1]) {
                    return Some(Harmonics::None);
                }
                self.unknown_word(name, text, span, &Harmonics::WORDS);
                return None;
            }
            DeValue::Array(items) if !items.is_empty() => items,
            other => {
                self.wrong_type(key, name, other, span, &format!("{name} = {}", key.example));
                return None;
            }
        };
        let most = crate::harmonics::HIGHEST as usize - 1;
        if items.len() > most {
            let place: Span = items.get(most).map_or(span, |item| item.span().into());
            self.problem(
                Problem::new("harmonics.too_many", format!("{} harmonics, from the second on", items.len()))
                    .at(place, "the 51st and above are not counted")
                    .expected(format!("at most {most}")),
            );
            return None;
        }
        let shares: Vec<Option<f64>> =
            items.iter().map(|item| self.read_one(key, name, item, Unit::Ratio, false)).collect();
        Some(Harmonics::Shares(shares.into_iter().collect::<Option<_>>()?))
    }

    /// A whole number.
    pub fn integer(&mut self, key: &'static Key, name: &str, value: &Value<'_>) -> Option<u64> {
        let span: Span = value.span().into();
        let number = match value.get_ref() {
            DeValue::Integer(number) => {
                // beyond i128 is beyond every bound; saturate, the sign is kept
                let text = number.as_str();
                i128::from_str_radix(text, number.radix()).unwrap_or(if text.starts_with('-') {
                    i128::MIN
                } else {
                    i128::MAX
                })
            }
            // "12 bit" is how people write it
            DeValue::String(text) if key.bound.is_some_and(|b| b.unit == Unit::Bit) => {
                match quantity::parse(text, Unit::Bit) {
                    Ok(bits) if bits.fract() == 0.0 => bits as i128,
                    Ok(_) => {
                        self.wrong_type(
                            key,
                            name,
                            value.get_ref(),
                            span,
                            &format!("{name} = {}", key.example),
                        );
                        return None;
                    }
                    Err(error) => {
                        self.misread(key, name, error, text, span);
                        return None;
                    }
                }
            }
            other => {
                self.wrong_type(
                    key,
                    name,
                    other,
                    span,
                    &format!("a number without quotes: {name} = {}", key.example),
                );
                return None;
            }
        };
        self.bounded(key.bound, number as f64, name, span)?;
        u64::try_from(number).ok()
    }

    /// A plain number, finite.
    pub fn number(&mut self, key: &'static Key, name: &str, value: &Value<'_>) -> Option<f64> {
        let span: Span = value.span().into();
        let number: Option<f64> = match value.get_ref() {
            DeValue::Integer(number) => {
                i128::from_str_radix(number.as_str(), number.radix()).ok().map(|n| n as f64)
            }
            DeValue::Float(number) => number.as_str().parse().ok(),
            other => {
                self.wrong_type(
                    key,
                    name,
                    other,
                    span,
                    &format!("a number without quotes: {name} = {}", key.example),
                );
                return None;
            }
        };
        match number.filter(|number| number.is_finite()) {
            Some(number) => self.bounded(key.bound, number, name, span),
            None => {
                self.problem(
                    Problem::new("value.not_finite", format!("{name} is {}", found(value.get_ref())))
                        .at(span, "not a finite number")
                        .expected(key.kind.text())
                        .help(format!("{name} = {}", key.example)),
                );
                None
            }
        }
    }

    /// The value of a part that can't be left open, such as a limit of it.
    pub fn part_quantity(
        &mut self,
        key: &'static Key,
        name: &str,
        value: &Value<'_>,
        unit: Unit,
        bound: &'static Bound,
    ) -> Option<f64> {
        let span: Span = value.span().into();
        let DeValue::String(text) = value.get_ref() else {
            self.wrong_type(key, name, value.get_ref(), span, &format!("{name} = \"{}\"", unit.example()));
            return None;
        };
        match quantity::parse(text, unit) {
            Ok(value) => self.bounded(Some(bound), value, name, span),
            Err(error) => {
                self.misread(key, name, error, text, span);
                None
            }
        }
    }

    /// A list of plain numbers, at least one.
    pub fn numbers(&mut self, key: &'static Key, name: &str, value: &Value<'_>) -> Option<Vec<f64>> {
        match value.get_ref() {
            DeValue::Array(items) if !items.is_empty() => {
                items.iter().map(|item| self.number(key, name, item)).collect()
            }
            other => {
                let help = format!("{name} = {}", key.example);
                self.wrong_type(key, name, other, value.span().into(), &help);
                None
            }
        }
    }

    /// The value of a part, or "open". The first letter of the designator says what it is.
    pub fn part(&mut self, key: &'static Key, designator: &str, value: &Value<'_>) -> Option<PartValue> {
        let span: Span = value.span().into();
        let (unit, bound) = match designator.chars().next().map(|c| c.to_ascii_uppercase()) {
            // the divider resistor of the reference junction has a name of its own
            Some('R' | 'D') => (Unit::Ohm, bounds::RESISTOR),
            Some('C') => (Unit::Farad, bounds::CAPACITOR),
            Some('V') => (Unit::Volt, bounds::CHOSEN_VOLTAGE),
            _ => {
                self.problem(
                    Problem::new(
                        "part.unknown_designator",
                        format!("\"{}\" is no designator", shortened(designator)),
                    )
                    .at(span, "value of what?")
                    .expected("R… for a resistor, C… for a capacitor, V… for a voltage"),
                );
                return None;
            }
        };
        let text = match value.get_ref() {
            DeValue::String(text) => text,
            other => {
                let example = unit.example();
                self.wrong_type(
                    key,
                    designator,
                    other,
                    span,
                    &format!("{designator} = \"{example}\" or \"open\""),
                );
                return None;
            }
        };
        if text.trim().eq_ignore_ascii_case("open") {
            return Some(PartValue::Open);
        }
        match quantity::parse_toleranced(text, unit) {
            Ok(quantity) => {
                self.bounded(Some(bound), quantity.value, designator, span)?;
                let quantity = self.sane_tolerance(quantity, unit, span)?;
                Some(PartValue::Chosen { quantity, unit })
            }
            Err(mut error) => {
                error.expected += ", or \"open\"";
                self.misread(key, designator, error, text, span);
                None
            }
        }
    }
}

fn with_unit(number: &str, unit: Unit, symbol: &str) -> String {
    let text = format!("{} {symbol}", shortened(number));
    if quantity::parse(&text, unit).is_ok() {
        format!("with its unit, perhaps \"{text}\"")
    } else {
        format!("with its unit, as in \"{}\"", unit.example())
    }
}

/// The unit that people write with this key, prefix included: "nV/√Hz" for a noise. `None` for lists.
fn example_symbol(key: &Key) -> Option<&'static str> {
    let example = key.example.strip_prefix('"')?.strip_suffix('"')?;
    let (number, rest) = example.split_once(' ')?;
    if number == "AWG" {
        return Some("mm");
    }
    rest.split(' ').next()
}

/// A few words for the caret.
fn short_kind(kind: Kind) -> String {
    match kind {
        Kind::Choice(_) => "a word in quotes".into(),
        Kind::Interval(_) => "two values, low and high".into(),
        Kind::ProbeTolerance => "a tolerance in quotes".into(),
        Kind::Toleranced(unit) | Kind::Limit(unit) => unit.noun().into(),
        kind => kind.text(),
    }
}
