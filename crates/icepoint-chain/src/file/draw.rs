//! The same problems for three readers: drawn for a person at a terminal, as sentences for a pipe or a screen
//! reader, and as JSON for a program.

use super::given::Span;
use super::problem::{Label, Problem, Refused, Severity, Source};
use serde_json::{Value, json};
use std::fmt::{self, Write};
use unicode_width::UnicodeWidthChar;

/// Columns of a line that are shown around a mark; longer lines are cut at both sides.
const WINDOW: usize = 96;

impl fmt::Display for Refused {
    /// Drawn, without colours.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.drawn(false))
    }
}

impl Refused {
    /// Drawn with the lines of the file and carets, in colour if asked.
    pub fn drawn(&self, colour: bool) -> String {
        let problems: Vec<String> = self.problems.iter().map(|p| drawn(p, &self.source, colour)).collect();
        let mut text = problems.join("\n");
        let errors = self.problems.iter().filter(|p| p.severity == Severity::Error).count();
        if errors > 1 {
            let _ = write!(text, "\n{errors} errors in {}\n", printable(&self.source.name));
        }
        text
    }

    /// One line of plain sentences for each problem, with `name:line:column:` in front.
    pub fn plain(&self) -> String {
        self.problems.iter().map(|p| plain(p, &self.source) + "\n").collect()
    }

    /// `{"file": …, "problems": [{"code", "severity", "message", "line", "column", "end_line", "end_column",
    /// "label", "also", "expected", "help"}]}`; absent parts are null.
    pub fn json(&self) -> Value {
        let problems: Vec<Value> = self.problems.iter().map(|p| json(p, &self.source)).collect();
        json!({ "file": self.source.name, "problems": problems })
    }
}

/// One problem in JSON; lines and columns count from 1, `end_column` is one past the last character.
pub fn json(problem: &Problem, source: &Source) -> Value {
    let place = |label: &Label| {
        let (start, end) = (source.locate(label.span.start), source.locate(label.span.end));
        json!({
            "line": start.line, "column": start.column,
            "end_line": end.line, "end_column": end.column,
            "label": label.text,
        })
    };
    let mut value = json!({
        "severity": problem.severity.name(),
        "code": problem.code,
        "message": problem.message,
        "line": null, "column": null, "end_line": null, "end_column": null, "label": null,
        "also": problem.also.iter().map(place).collect::<Vec<_>>(),
        "expected": problem.expected,
        "help": problem.help,
    });
    if let (Some(label), Some(object)) = (&problem.at, value.as_object_mut())
        && let Some(at) = place(label).as_object()
    {
        object.extend(at.clone());
    }
    value
}

/// One problem as sentences on one line.
pub fn plain(problem: &Problem, source: &Source) -> String {
    let mut text = printable(&source.name);
    if let Some(label) = &problem.at {
        let at = source.locate(label.span.start);
        let _ = write!(text, ":{}:{}", at.line, at.column);
    }
    let _ = write!(text, ": {}[{}]: {}", problem.severity.name(), problem.code, printable(&problem.message));
    let said = problem.at.iter().map(|l| &l.text).filter(|t| !t.is_empty());
    for sentence in said {
        let _ = write!(text, "; {}", printable(sentence));
    }
    text.push('.');
    for label in &problem.also {
        let _ = write!(text, " Line {}: {}.", source.locate(label.span.start).line, printable(&label.text));
    }
    if let Some(expected) = &problem.expected {
        let _ = write!(text, " Expected: {}.", printable(expected));
    }
    if let Some(help) = &problem.help {
        let _ = write!(text, " Help: {}.", printable(help));
    }
    text
}

/// Colours of the drawing; empty strings without colour.
struct Paint {
    head: &'static str,
    bold: &'static str,
    frame: &'static str,
    help: &'static str,
    off: &'static str,
}

impl Paint {
    fn new(colour: bool, severity: Severity) -> Self {
        if !colour {
            return Self { head: "", bold: "", frame: "", help: "", off: "" };
        }
        let head = if severity == Severity::Error { "\x1b[1;31m" } else { "\x1b[1;33m" };
        Self { head, bold: "\x1b[1m", frame: "\x1b[34m", help: "\x1b[36m", off: "\x1b[0m" }
    }
}

/// One problem drawn with its lines.
pub fn drawn(problem: &Problem, source: &Source, colour: bool) -> String {
    let Paint { head, bold, frame, help, off } = Paint::new(colour, problem.severity);
    let mut text = format!(
        "{head}{}[{}]{off}{bold}: {}{off}\n",
        problem.severity.name(),
        problem.code,
        printable(&problem.message)
    );
    let mut marks: Vec<(&Label, bool)> = problem.also.iter().map(|label| (label, false)).collect();
    marks.extend(problem.at.iter().map(|label| (label, true)));
    marks.sort_by_key(|(label, main)| (label.span.start, *main));
    let last_line = marks.iter().map(|(label, _)| source.locate(label.span.start).line).max().unwrap_or(0);
    let gutter = last_line.to_string().len().max(2);
    let blank = " ".repeat(gutter);
    let name = printable(&source.name);
    match &problem.at {
        Some(label) => {
            let at = source.locate(label.span.start);
            let _ = writeln!(text, "{blank} {frame}┌{off} {name}:{}:{}", at.line, at.column);
        }
        None => {
            let _ = writeln!(text, "{blank} {frame}┌{off} {name}");
        }
    }
    // A long line is cut around each place, so a second place on it may need another cut.
    let mut shown = (0, String::new());
    for (label, main) in marks {
        let line = source.locate(label.span.start).line;
        let (code, marker) = excerpt(source, label.span, if main { '^' } else { '─' });
        if (line, &code) != (shown.0, &shown.1) {
            let _ = writeln!(text, "{frame}{line:>gutter$} │{off} {code}");
            shown = (line, code);
        }
        let paint = if main { head } else { frame };
        let said = printable(&label.text);
        let _ = writeln!(text, "{}", format!("{blank} {frame}│{off} {paint}{marker} {said}{off}").trim_end());
    }
    if let Some(expected) = &problem.expected {
        let _ = writeln!(text, "{blank} {frame}={off} {help}expected{off}: {}", printable(expected));
    }
    if let Some(way_out) = &problem.help {
        let _ = writeln!(text, "{blank} {frame}={off} {help}help{off}: {}", printable(way_out));
    }
    text
}

/// The line of a span and the marker under it. A long line is cut around the span; what a terminal would not show
/// as one column (tabs, control characters, wide letters) is replaced or measured.
fn excerpt(source: &Source, span: Span, mark: char) -> (String, String) {
    let (line, start) = source.line_at(span.start);
    let from =
        line[..super::problem::floor_char_boundary(line, span.start - start.min(span.start))].chars().count();
    let end = super::problem::floor_char_boundary(line, span.end.saturating_sub(start));
    let to = line[..end].chars().count().max(from + 1);

    let skipped = if from > WINDOW / 2 && line.chars().count() > WINDOW { from - WINDOW / 4 } else { 0 };
    let kept: Vec<char> = line.chars().skip(skipped).take(WINDOW).collect();
    let cut = line.chars().nth(skipped + WINDOW).is_some();
    let mut code = String::new();
    let mut marker = String::new();
    if skipped > 0 {
        code.push('…');
        marker.push(' ');
    }
    for (index, c) in kept.iter().enumerate() {
        let c = shown_char(*c);
        code.push(c);
        let inside = (from..to).contains(&(index + skipped));
        for _ in 0..c.width().unwrap_or(1) {
            marker.push(if inside { mark } else { ' ' });
        }
    }
    // a place at the very end of a line, or an empty line, still gets its mark
    if from >= skipped + kept.len() {
        marker.push(mark);
    }
    if cut {
        code.push('…');
    }
    (code.trim_end().to_owned(), marker.trim_end().to_owned())
}

fn shown_char(c: char) -> char {
    match c {
        '\t' => ' ',
        // bidirectional controls would reorder what the reader sees
        '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' => '\u{fffd}',
        c if c.is_control() => '\u{fffd}',
        c => c,
    }
}

/// A message without anything that could move the cursor or recolour the terminal.
fn printable(text: &str) -> String {
    text.chars().map(shown_char).collect()
}
