//! A pocket calculator for printed formulas: reads what stands on the page, units and all, and says what it comes to and
//! how far the rounding of its inputs may shift that.

use icepoint_sensors::Letter;

/// From this many significant digits on a printed number counts as rounded; with fewer it is a part's or the user's own.
const ROUNDED_FROM: usize = 4;

#[derive(Clone, Debug, PartialEq)]
enum Token {
    /// Value in SI units, and half of its last printed digit if it was rounded.
    Number(f64, f64),
    Operator(char),
    Open,
    Close,
    Bar,
    Root,
    Separator,
    Power(i32),
    Function(String),
}

/// What a formula comes to.
#[derive(Clone, Copy, Debug)]
pub struct Outcome {
    /// SI.
    pub value: f64,
    /// What the rounding of the printed inputs may shift it by.
    pub slack: f64,
}

/// Every form of `text`, which are joined by “ = ”.
pub fn evaluate(text: &str, letter: Letter) -> Vec<Outcome> {
    text.split(" = ").map(|form| one(form, letter)).collect()
}

fn one(form: &str, letter: Letter) -> Outcome {
    let tokens = read(form);
    let run = |tokens: &[Token]| {
        let mut c = Calculator { tokens, at: 0, letter };
        let value = c.sum();
        assert_eq!(c.at, tokens.len(), "left over in {form:?}: {:?}", &tokens[c.at..]);
        value
    };
    let value = run(&tokens);
    let mut slack = 0.0;
    for (i, token) in tokens.iter().enumerate() {
        if let Token::Number(n, half) = token {
            let mut moved = tokens.clone();
            moved[i] = Token::Number(n + half, 0.0);
            slack += (run(&moved) - value).abs();
        }
    }
    Outcome { value, slack }
}

/// A printed quantity: SI value and half of its last digit.
pub fn quantity(text: &str) -> (f64, f64) {
    let (value, half, _, rest) = number(text);
    if rest.is_empty() {
        return (value, half);
    }
    if let Some(ten) = rest.strip_prefix(" · 10") {
        let factor = 10f64.powi(superscript(ten).0);
        return (value * factor, half * factor);
    }
    let factor = scale(rest.trim_start_matches('\u{a0}').trim_start());
    (value * factor, half * factor)
}

/// Value, half of the last digit, significant digits, and what follows.
fn number(text: &str) -> (f64, f64, usize, &str) {
    let (sign, unsigned) = match text.strip_prefix('−') {
        Some(rest) => (-1.0, rest),
        None => (1.0, text.strip_prefix('+').unwrap_or(text)),
    };
    let end = unsigned.find(|c: char| !c.is_ascii_digit() && c != '.').unwrap_or(unsigned.len());
    let digits = &unsigned[..end];
    let value: f64 = digits.parse().unwrap_or_else(|_| panic!("no number at {text:?}"));
    let places = digits.split_once('.').map_or(0, |(_, after)| after.len());
    let significant = if digits.contains('.') {
        digits.replace('.', "").trim_start_matches('0').len()
    } else {
        digits.trim_start_matches('0').trim_end_matches('0').len()
    };
    (sign * value, 0.5 * 10f64.powi(-(places as i32)), significant, &unsigned[end..])
}

/// Factor of a unit with its prefix, “mV/K”, “K²/V”.
fn scale(unit: &str) -> f64 {
    unit.split('/')
        .enumerate()
        .map(|(i, part)| {
            let part = part.trim_end_matches(['²', '⁴']);
            let known: &[(&str, f64)] =
                &[("%", 1e-2), ("ppm", 1e-6), ("°C", 1.0), ("codes", 1.0), ("digits", 1.0), ("", 1.0)];
            let factor = known.iter().find(|(name, _)| *name == part).map(|k| k.1).unwrap_or_else(|| {
                let base = ["Hz", "V", "A", "Ω", "F", "K", "s"].into_iter().find(|b| part.ends_with(b));
                let prefix = part.strip_suffix(base.unwrap_or_else(|| panic!("unit {unit:?}"))).unwrap_or("");
                let prefixes: &[(&str, f64)] = &[
                    ("", 1.0),
                    ("k", 1e3),
                    ("M", 1e6),
                    ("G", 1e9),
                    ("T", 1e12),
                    ("m", 1e-3),
                    ("µ", 1e-6),
                    ("n", 1e-9),
                    ("p", 1e-12),
                    ("f", 1e-15),
                ];
                prefixes.iter().find(|p| p.0 == prefix).unwrap_or_else(|| panic!("prefix of {unit:?}")).1
            });
            if i == 0 { factor } else { 1.0 / factor }
        })
        .product()
}

/// Superscript digits at the start of `text` as a number, and how many bytes they take.
fn superscript(text: &str) -> (i32, usize) {
    let digits = "⁰¹²³⁴⁵⁶⁷⁸⁹";
    let (mut value, mut bytes) = (0, 0);
    for c in text.chars() {
        let Some(digit) = digits.chars().position(|d| d == c) else { break };
        value = 10 * value + digit as i32;
        bytes += c.len_utf8();
    }
    (value, bytes)
}

fn read(form: &str) -> Vec<Token> {
    let mut tokens = Vec::new();
    let mut rest = form.trim();
    while let Some(c) = rest.chars().next() {
        let before_number = tokens.last().is_none_or(|t| {
            matches!(t, Token::Operator(_) | Token::Open | Token::Separator | Token::Root | Token::Bar)
        });
        let next = &rest[c.len_utf8()..];
        match c {
            ' ' => rest = next,
            '(' => (tokens.push(Token::Open), rest = next).1,
            ')' => (tokens.push(Token::Close), rest = next).1,
            '|' => (tokens.push(Token::Bar), rest = next).1,
            '√' => (tokens.push(Token::Root), rest = next).1,
            ';' => (tokens.push(Token::Separator), rest = next).1,
            '²' => (tokens.push(Token::Power(2)), rest = next).1,
            '⁴' => (tokens.push(Token::Power(4)), rest = next).1,
            '∞' => (tokens.push(Token::Number(f64::INFINITY, 0.0)), rest = next).1,
            '−' if before_number && next.starts_with(|c: char| c.is_ascii_digit()) => {
                rest = take_number(rest, &mut tokens);
            }
            '+' | '−' | '·' | '/' => (tokens.push(Token::Operator(c)), rest = next).1,
            c if c.is_ascii_digit() => rest = take_number(rest, &mut tokens),
            c if c.is_alphabetic() => {
                let end = rest.find('(').unwrap_or_else(|| panic!("a function at {rest:?} in {form:?}"));
                tokens.push(Token::Function(rest[..end].to_owned()));
                rest = &rest[end..];
            }
            other => panic!("{other:?} in {form:?}"),
        }
    }
    tokens
}

fn take_number<'a>(text: &'a str, tokens: &mut Vec<Token>) -> &'a str {
    let (mut value, mut half, significant, mut rest) = number(text);
    let bare = !text[..text.len() - rest.len()].contains('.');
    let mut has_unit = false;
    if let Some(unit) = rest.strip_prefix('\u{a0}') {
        let end = unit.find([' ', ')', '|', ';']).unwrap_or(unit.len());
        let factor = scale(&unit[..end]);
        (value, half, rest, has_unit) = (value * factor, half * factor, &unit[end..], true);
    } else if value == 10.0 {
        let (power, bytes) = superscript(rest);
        if bytes > 0 {
            tokens.push(Token::Number(10f64.powi(power), 0.0));
            return &rest[bytes..];
        }
    }
    let exact = significant < ROUNDED_FROM || (bare && !has_unit);
    tokens.push(Token::Number(value, if exact { 0.0 } else { half }));
    rest
}

struct Calculator<'a> {
    tokens: &'a [Token],
    at: usize,
    letter: Letter,
}

impl Calculator<'_> {
    fn peek(&self) -> Option<&Token> {
        self.tokens.get(self.at)
    }

    fn take(&mut self, token: &Token) -> bool {
        let found = self.peek() == Some(token);
        self.at += usize::from(found);
        found
    }

    fn sum(&mut self) -> f64 {
        let mut value = self.product();
        loop {
            if self.take(&Token::Operator('+')) {
                value += self.product();
            } else if self.take(&Token::Operator('−')) {
                value -= self.product();
            } else {
                return value;
            }
        }
    }

    fn product(&mut self) -> f64 {
        let mut value = self.power();
        loop {
            if self.take(&Token::Operator('·')) {
                value *= self.power();
            } else if self.take(&Token::Operator('/')) {
                value /= self.power();
            } else {
                return value;
            }
        }
    }

    fn power(&mut self) -> f64 {
        let value = self.atom();
        if let Some(Token::Power(n)) = self.peek() {
            let n = *n;
            self.at += 1;
            return value.powi(n);
        }
        value
    }

    fn atom(&mut self) -> f64 {
        let token = self.peek().cloned().expect("something to evaluate");
        self.at += 1;
        match token {
            Token::Number(n, _) => n,
            Token::Open => {
                let value = self.sum();
                assert!(self.take(&Token::Close), "bracket ends");
                value
            }
            Token::Bar => {
                let value = self.sum();
                assert!(self.take(&Token::Bar), "bar ends");
                value.abs()
            }
            Token::Root => self.atom().sqrt(),
            Token::Function(name) => {
                assert!(self.take(&Token::Open));
                let first = self.sum();
                let second = if self.take(&Token::Separator) { Some(self.sum()) } else { None };
                assert!(self.take(&Token::Close));
                match (name.as_str(), second) {
                    ("E", None) => self.letter.emf(first).expect("in range"),
                    ("S", None) => self.letter.emf_slope(first).expect("in range"),
                    ("max", Some(second)) => first.max(second),
                    ("k₉₅", None) => student(first),
                    _ => panic!("function {name}"),
                }
            }
            other => panic!("{other:?} where a number should be"),
        }
    }
}

/// Two-sided 95 % factor of Student's distribution, JCGM 100:2008, table G.2 (from there on interpolated in 1/ν).
fn student(dof: f64) -> f64 {
    const TABLE: &[(f64, f64)] = &[
        (1.0, 12.71),
        (2.0, 4.30),
        (3.0, 3.18),
        (4.0, 2.78),
        (5.0, 2.57),
        (6.0, 2.45),
        (7.0, 2.36),
        (8.0, 2.31),
        (9.0, 2.26),
        (10.0, 2.23),
        (15.0, 2.13),
        (20.0, 2.09),
        (30.0, 2.04),
        (50.0, 2.01),
        (100.0, 1.984),
        (f64::INFINITY, 1.960),
    ];
    let above = TABLE.iter().position(|row| row.0 >= dof).expect("ends at infinity");
    if TABLE[above].0 == dof {
        return TABLE[above].1;
    }
    let ((n0, k0), (n1, k1)) = (TABLE[above - 1], TABLE[above]);
    let share = (1.0 / n0 - 1.0 / dof) / (1.0 / n0 - 1.0 / n1);
    k0 + share * (k1 - k0)
}
