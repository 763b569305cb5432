//! What is wrong with a chain file, where, what was expected, and a way out.

use super::given::Span;
use std::borrow::Cow;

/// The text of a chain file and the name it was read under.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Source {
    /// Name for messages, usually the path.
    pub name: String,
    /// The whole text; empty when it could not be read.
    pub text: String,
}

/// A place in the text, counted from 1 as editors do; the column counts characters.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Location {
    /// Line, from 1.
    pub line: usize,
    /// Column in characters, from 1.
    pub column: usize,
}

impl Source {
    /// Line and column of byte `at`; past the end counts as the end.
    pub fn locate(&self, at: usize) -> Location {
        let at = floor_char_boundary(&self.text, at);
        let before = &self.text[..at];
        let start = before.rfind('\n').map_or(0, |newline| newline + 1);
        Location { line: before.matches('\n').count() + 1, column: before[start..].chars().count() + 1 }
    }

    /// The line that holds byte `at`, without its end, and the byte where it starts.
    pub fn line_at(&self, at: usize) -> (&str, usize) {
        let at = floor_char_boundary(&self.text, at);
        let start = self.text[..at].rfind('\n').map_or(0, |newline| newline + 1);
        let end = self.text[at..].find('\n').map_or(self.text.len(), |newline| at + newline);
        (self.text[start..end].trim_end_matches('\r'), start)
    }
}

/// The last character boundary at or before `at`.
pub(super) fn floor_char_boundary(text: &str, at: usize) -> usize {
    let mut at = at.min(text.len());
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    at
}

/// A place and a few words about it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Label {
    /// The bytes meant.
    pub span: Span,
    /// A few words, may be empty.
    pub text: String,
}

/// One thing that is wrong, or that should be known.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// Refused, or only a caution.
    pub severity: Severity,
    /// Stable code, for example `value.not_in_series`.
    pub code: Cow<'static, str>,
    /// What was found, in one sentence.
    pub message: String,
    /// The place to blame; absent when there is no text (a missing file).
    pub at: Option<Label>,
    /// Other places that have a part in it.
    pub also: Vec<Label>,
    /// What would have been accepted.
    pub expected: Option<String>,
    /// A way out that works if typed.
    pub help: Option<String>,
}

/// How serious a problem is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// The file is refused.
    Error,
    /// The file is taken; the reader should know.
    Caution,
}

impl Severity {
    /// "error" or "caution".
    pub fn name(self) -> &'static str {
        match self {
            Self::Error => "error",
            Self::Caution => "caution",
        }
    }
}

impl Problem {
    /// An error without a place.
    pub fn new(code: impl Into<Cow<'static, str>>, message: impl Into<String>) -> Self {
        Self {
            severity: Severity::Error,
            code: code.into(),
            message: message.into(),
            at: None,
            also: Vec::new(),
            expected: None,
            help: None,
        }
    }

    /// The same as a caution.
    #[must_use]
    pub fn caution(mut self) -> Self {
        self.severity = Severity::Caution;
        self
    }

    /// Points at `span`, with a few words.
    #[must_use]
    pub fn at(mut self, span: Span, label: impl Into<String>) -> Self {
        self.at = Some(Label { span, text: label.into() });
        self
    }

    /// Points at another place as well; nothing when there is none.
    #[must_use]
    pub fn also(mut self, span: Option<Span>, label: impl Into<String>) -> Self {
        if let Some(span) = span {
            self.also.push(Label { span, text: label.into() });
        }
        self
    }

    /// What would have been accepted.
    #[must_use]
    pub fn expected(mut self, expected: impl Into<String>) -> Self {
        self.expected = Some(expected.into());
        self
    }

    /// A way out.
    #[must_use]
    pub fn help(mut self, help: impl Into<String>) -> Self {
        self.help = Some(help.into());
        self
    }
}

/// Problems that are told of one file; nobody reads more, and a file that is not a chain file has thousands.
pub const MOST_PROBLEMS: usize = 50;

/// A chain file that was not taken, with everything that is wrong with it, in the order of the text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Refused {
    /// The text, for drawing.
    pub source: Source,
    /// At least one problem.
    pub problems: Vec<Problem>,
}

impl Refused {
    /// In the order of the text, each once; of very many, the first [`MOST_PROBLEMS`] and how many more there are.
    pub fn new(source: Source, mut problems: Vec<Problem>) -> Self {
        sort(&mut problems);
        if problems.len() > MOST_PROBLEMS {
            let more = problems.len() - MOST_PROBLEMS;
            problems.truncate(MOST_PROBLEMS);
            problems.push(Problem::new("file.many_problems", format!("and {more} more")));
        }
        Self { source, problems }
    }
}

/// By place, then code; a problem found twice is told once.
pub(super) fn sort(problems: &mut Vec<Problem>) {
    problems.sort_by(|a, b| {
        let place = |p: &Problem| p.at.as_ref().map(|label| label.span);
        (place(a), &a.code, &a.message).cmp(&(place(b), &b.code, &b.message))
    });
    problems.dedup();
}

impl std::error::Error for Refused {}
