//! The walk over the parsed text: it takes keys out of a section, notes where they stand, and goes on after every
//! problem, so that one run tells them all.

use super::defaults;
use super::given::{Given, Interval, Origin, Span};
use super::keys::{self, Key, Kind, Presence, Section};
use super::problem::{Problem, Source};
use super::similar::nearest;
use super::{Assumption, Place};
use crate::quantity::read::shortened;
use std::collections::{BTreeMap, BTreeSet};
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// What the walk has gathered.
#[derive(Debug)]
pub(super) struct Walk<'t> {
    pub source: &'t Source,
    pub problems: Vec<Problem>,
    pub places: BTreeMap<String, Place>,
    pub assumptions: Vec<Assumption>,
    /// Sections that a misspelt header may have meant: they are not told as missing as well.
    pub suggested: BTreeSet<&'static str>,
}

/// A value that stands in the file, or the text of a default.
pub(super) type Value<'t> = Spanned<DeValue<'t>>;

/// A section being read.
#[derive(Debug)]
pub(super) struct Reader<'w, 't> {
    pub walk: &'w mut Walk<'t>,
    /// Its row in the table.
    section: &'static Section,
    /// Its path with the record's own name.
    pub path: String,
    table: Option<&'w DeTable<'t>>,
    /// The header, if the section is written.
    header: Option<Span>,
    used: BTreeSet<&'static str>,
    missing: Vec<(&'static Key, String)>,
}

impl<'t> Walk<'t> {
    pub fn new(source: &'t Source) -> Self {
        Self {
            source,
            problems: Vec::new(),
            places: BTreeMap::new(),
            assumptions: Vec::new(),
            suggested: BTreeSet::new(),
        }
    }

    pub fn problem(&mut self, problem: Problem) {
        self.problems.push(problem);
    }

    /// The span of a key of the file, widened to the brackets where it is a header.
    fn header(&self, key: &Spanned<impl AsRef<str>>) -> Span {
        let Span { start, end } = key.span().into();
        let text = &self.source.text;
        let (line, at) = self.source.line_at(start);
        let bare = line.split('#').next().unwrap_or("").trim_end();
        if text.get(at..start).is_some_and(|before| before.trim_start().starts_with('['))
            && bare.ends_with(']')
        {
            return Span::new(at + (line.len() - line.trim_start().len()), at + bare.len());
        }
        Span::new(start, end)
    }

    /// The table under `name` in `parent`, or why it is none.
    pub fn table<'w>(
        &mut self,
        parent: &'w DeTable<'t>,
        name: &str,
        path: &str,
    ) -> Option<(&'w DeTable<'t>, Span)> {
        let (key, value) = parent.get_key_value(name)?;
        let header = self.header(key);
        self.places.insert(path.to_owned(), Place { key: header, value: value.span().into() });
        match value.get_ref() {
            DeValue::Table(table) => Some((table, header)),
            other => {
                let found = found(other);
                self.problem(
                    Problem::new("section.not_a_table", format!("{path} is {found}, not a section"))
                        .at(value.span().into(), "expected a section")
                        .help(format!("a header on its own line: [{path}]")),
                );
                None
            }
        }
    }

    /// Starts reading a section; `None` for the table reads an absent section, for its defaults.
    pub fn reader<'w>(
        &'w mut self,
        row: &'static str,
        path: &str,
        table: Option<(&'w DeTable<'t>, Span)>,
    ) -> Option<Reader<'w, 't>> {
        let section = keys::section(row)?;
        Some(Reader {
            walk: self,
            section,
            path: path.to_owned(),
            table: table.map(|(table, _)| table),
            header: table.map(|(_, header)| header),
            used: BTreeSet::new(),
            missing: Vec::new(),
        })
    }
}

impl<'w, 't> Reader<'w, 't> {
    /// Whether the file has this key.
    pub fn has(&self, name: &str) -> bool {
        self.table.is_some_and(|table| table.contains_key(name))
    }

    /// Names in the file, for sections whose keys are names.
    pub fn names(&self) -> Vec<String> {
        self.table
            .map(|table| table.keys().map(|key| key.get_ref().to_string()).collect())
            .unwrap_or_default()
    }

    /// Takes `name` out of the section with `read`. Without it: the default, or nothing; a required key is noted as
    /// missing.
    pub fn get<T>(
        &mut self,
        name: &str,
        read: impl Fn(&mut Walk<'t>, &'static Key, &str, &Value<'_>, bool) -> Option<T>,
    ) -> Option<Given<T>> {
        let row = self.section.key(name)?;
        self.used.insert(row.name);
        let path = format!("{}.{name}", self.path);
        if let Some((key, value)) = self.table.and_then(|table| table.get_key_value(name)) {
            let span: Span = value.span().into();
            self.walk.places.insert(path, Place { key: key.span().into(), value: span });
            let value = read(self.walk, row, name, value, true)?;
            return Some(Given { value, origin: Origin::File(span) });
        }
        match row.presence {
            Presence::Optional => None,
            Presence::Required => {
                let because = match row.when {
                    "" => String::new(),
                    when => format!(", which {when} needs"),
                };
                self.missing.push((row, because));
                None
            }
            Presence::Default => {
                let default = defaults::of(self.section.path, name)?;
                let value = DeValue::parse(default.text).ok()?;
                let value = read(self.walk, row, name, &value, false)?;
                self.walk.assumptions.push(Assumption { key: path, default });
                Some(Given { value, origin: Origin::Default(default) })
            }
        }
    }

    /// One of the words of a table of spellings.
    pub fn choice<T: Copy>(
        &mut self,
        name: &str,
        spellings: &'static [(&'static str, T)],
    ) -> Option<Given<T>> {
        self.get(name, |walk, key, name, value, _| {
            let text = walk.text(key, name, value)?;
            spellings.iter().find(|(word, _)| same_word(word, &text)).map(|(_, meaning)| *meaning).or_else(
                || {
                    let words = keys::names(spellings);
                    walk.unknown_word(name, &text, value.span().into(), &words);
                    None
                },
            )
        })
    }

    /// A quantity or a limit, within its bound.
    pub fn quantity(&mut self, name: &str) -> Option<Given<f64>> {
        self.get(name, Walk::quantity)
    }

    /// A quantity with its tolerance.
    pub fn toleranced(&mut self, name: &str) -> Option<Given<crate::quantity::Toleranced>> {
        self.get(name, Walk::toleranced)
    }

    /// Low and high.
    pub fn interval(&mut self, name: &str) -> Option<Given<Interval>> {
        self.get(name, Walk::interval)
    }

    /// Quantities.
    pub fn list(&mut self, name: &str) -> Option<Given<Vec<f64>>> {
        self.get(name, Walk::list)
    }

    /// Quantities in any order.
    pub fn values(&mut self, name: &str) -> Option<Given<Vec<f64>>> {
        self.get(name, Walk::values)
    }

    /// A whole number within its bound, which never goes beyond 2^53.
    pub fn integer(&mut self, name: &str) -> Option<Given<u64>> {
        self.get(name, |walk, key, name, value, _| walk.integer(key, name, value))
    }

    /// The same, for bounds below 2^32.
    pub fn small_integer(&mut self, name: &str) -> Option<Given<u32>> {
        let given = self.integer(name)?;
        let small = u32::try_from(given.value).unwrap_or(u32::MAX);
        Some(given.map(|_| small))
    }

    /// A plain number within its bound.
    pub fn number(&mut self, name: &str) -> Option<Given<f64>> {
        self.get(name, |walk, key, name, value, _| walk.number(key, name, value))
    }

    /// Words, at least one letter.
    pub fn text(&mut self, name: &str) -> Option<Given<String>> {
        self.get(name, |walk, key, name, value, _| {
            let text = walk.text(key, name, value)?.trim().to_owned();
            if text.is_empty() {
                walk.problem(
                    Problem::new("value.empty", format!("{name} is empty"))
                        .at(value.span().into(), "nothing between the quotes")
                        .expected(key.meaning)
                        .help(format!("{name} = {}", key.example)),
                );
                return None;
            }
            Some(text)
        })
    }

    /// Notes a key as missing that is optional or has a default in other cases, and why it is needed in this one.
    pub fn require(&mut self, name: &str, because: &str) {
        if let Some(key) = self.section.key(name) {
            self.missing.push((key, because.to_owned()));
        }
    }

    /// Ends the section when the word that decides which keys apply is itself missing or wrong: a key that another
    /// word needs is then no problem of its own.
    pub fn abandon(mut self) {
        self.used.extend(self.section.keys.iter().map(|key| key.name));
        self.finish(&["values", "tolerance", "analog"]);
    }

    /// Ends the section: keys that are unknown, that don't apply, and those that are missing. `tables` are names of
    /// sub-sections that are read elsewhere.
    pub fn finish(self, tables: &[&str]) {
        let Self { walk, section, path, table, header, used, missing } = self;
        let mut suggested: BTreeSet<&str> = BTreeSet::new();
        let known: Vec<&'static str> = section.keys.iter().map(|key| key.name).collect();
        for (key, value) in table.into_iter().flatten() {
            let name: &str = key.get_ref();
            let span: Span = key.span().into();
            if tables.contains(&name) {
                continue;
            }
            match section.keys.iter().find(|k| k.name == name || k.name == "*") {
                Some(row) if used.contains(row.name) => {}
                Some(row) => walk.problem(does_not_apply(row, &path, name, span)),
                None => {
                    let close = nearest(name, known.iter().copied().chain(tables.iter().copied()));
                    suggested.extend(close);
                    let written =
                        walk.source.text.get(value.span()).map_or_else(|| "…".to_owned(), shortened);
                    walk.problem(unknown_key(&path, section, name, span, close, value, &written));
                }
            }
        }
        for (key, because) in missing {
            if suggested.contains(key.name) {
                continue;
            }
            let mut problem = Problem::new("key.missing", format!("[{path}] has no {}{because}", key.name))
                .expected(key.meaning);
            match header {
                Some(header) => {
                    problem = problem.at(header, format!("{} is missing here", key.name));
                    problem = problem.help(format!("{} = {}", key.name, key.example));
                }
                None => problem = problem.help(format!("[{path}] with {} = {}", key.name, key.example)),
            }
            walk.problem(problem);
        }
    }
}

fn does_not_apply(row: &Key, path: &str, name: &str, span: Span) -> Problem {
    Problem::new("key.does_not_apply", format!("{name} has no effect in this [{path}]"))
        .at(span, "would be ignored")
        .expected(format!("{name} only with {}", row.when))
        .help("remove it, or comment it out with #")
}

fn unknown_key(
    path: &str,
    section: &'static Section,
    name: &str,
    span: Span,
    close: Option<&str>,
    value: &Value<'_>,
    written: &str,
) -> Problem {
    let what = if matches!(value.get_ref(), DeValue::Table(_)) { "section" } else { "key" };
    let problem = Problem::new("key.unknown", format!("[{path}] has no {what} {}", shortened(name)));
    let known: Vec<&str> = section.keys.iter().map(|key| key.name).collect();
    if let Some(close) = close {
        return problem.at(span, format!("did you mean {close}?")).help(format!("{close} = {written}"));
    }
    let elsewhere = keys::SECTIONS.iter().find(|other| other.keys.iter().any(|key| key.name == name));
    let problem = problem.at(span, "not known here").expected(keys::one_of(&known));
    match elsewhere {
        Some(other) => problem.help(format!("{name} belongs in [{}]", other.path.replace('*', "NAME"))),
        None => problem.help("remove it, or comment it out with #"),
    }
}

/// Whether two words are the same but for capitals and white space.
fn same_word(a: &str, b: &str) -> bool {
    let fold = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ").to_lowercase();
    fold(a) == fold(b)
}

/// A value in words: "the number 25".
pub(super) fn found(value: &DeValue<'_>) -> String {
    match value {
        DeValue::String(text) => format!("the text \"{}\"", shortened(text)),
        DeValue::Integer(number) => format!("the number {}", shortened(number.as_str())),
        DeValue::Float(number) => format!("the number {}", shortened(number.as_str())),
        DeValue::Boolean(value) => format!("{value}"),
        DeValue::Datetime(date) => format!("the date {date}"),
        DeValue::Array(items) => format!("a list of {}", items.len()),
        DeValue::Table(_) => "a table".into(),
    }
}

/// The unit that a kind of value carries.
pub(super) fn unit_of(kind: Kind) -> Option<crate::quantity::Unit> {
    match kind {
        Kind::Quantity(unit)
        | Kind::Toleranced(unit)
        | Kind::Limit(unit)
        | Kind::Open(unit)
        | Kind::Interval(unit)
        | Kind::IntervalOrOne(unit)
        | Kind::List(unit)
        | Kind::Values(unit) => Some(unit),
        Kind::Harmonics => Some(crate::quantity::Unit::Ratio),
        _ => None,
    }
}
