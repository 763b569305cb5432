//! Lines and fields of a CSV text with the bytes that they come from (RFC 4180 quoting).
//!
//! Why not a library: those that are common give the place of a line, not of a field, and a mistake must be pointed at.

use std::borrow::Cow;

use crate::file::Span;

/// One field.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Field<'t> {
    pub text: Cow<'t, str>,
    /// Its bytes in the file, quotes included; at least one byte wide where there is one.
    pub span: Span,
}

/// All lines but empty ones and comments.
pub(super) fn rows(text: &str) -> impl Iterator<Item = Vec<Field<'_>>> {
    let skip = if text.starts_with('\u{feff}') { 3 } else { 0 };
    let separator = separator(&text[skip..]);
    let mut at = skip;
    std::iter::from_fn(move || {
        while at < text.len() {
            let start = at;
            let row = row(text, &mut at, separator);
            let is_comment = text[start..].trim_start().starts_with('#');
            let is_empty = row.iter().all(|f| f.text.trim().is_empty());
            if !is_comment && !is_empty {
                return Some(row);
            }
        }
        None
    })
}

/// The separator of the first line that is no comment: the most frequent of comma, semicolon and tab.
fn separator(text: &str) -> u8 {
    let header =
        text.lines().find(|l| !l.trim().is_empty() && !l.trim_start().starts_with('#')).unwrap_or_default();
    let count = |c: &u8| header.bytes().filter(|b| b == c).count();
    // The first of equals wins: a header of one column has none of them.
    let mut best = b',';
    for c in [b';', b'\t'] {
        if count(&c) > count(&best) {
            best = c;
        }
    }
    best
}

/// One line from `at` on, which moves past its end. A comment ends with its line whatever quotes it holds.
fn row<'t>(text: &'t str, at: &mut usize, separator: u8) -> Vec<Field<'t>> {
    let bytes = text.as_bytes();
    let line_end = |from: usize| text[from..].find('\n').map_or(text.len(), |n| from + n);
    if text[*at..line_end(*at)].trim_start().starts_with('#') {
        *at = (line_end(*at) + 1).min(text.len());
        return Vec::new();
    }
    let mut fields = Vec::new();
    loop {
        let start = *at;
        let quoted = bytes.get(start) == Some(&b'"');
        let mut i = start + usize::from(quoted);
        let mut inside = quoted;
        while let Some(&b) = bytes.get(i) {
            match b {
                b'"' if inside && bytes.get(i + 1) == Some(&b'"') => i += 1,
                b'"' if inside => inside = false,
                b'\n' if !inside => break,
                _ if b == separator && !inside => break,
                _ => {}
            }
            i += 1;
        }
        let raw = text[start..i].trim_end_matches('\r');
        let plain = if quoted {
            let inner = raw.trim_end().strip_prefix('"').unwrap_or(raw);
            let inner = inner.strip_suffix('"').unwrap_or(inner);
            if inner.contains("\"\"") {
                Cow::Owned(inner.replace("\"\"", "\""))
            } else {
                Cow::Borrowed(inner)
            }
        } else {
            Cow::Borrowed(raw)
        };
        let trimmed = start + (raw.len() - raw.trim_start().len());
        let end = start + raw.trim_end().len();
        let span = if trimmed < end { Span::new(trimmed, end) } else { Span::new(start, i.min(text.len())) };
        fields.push(Field { text: plain, span });
        match bytes.get(i) {
            Some(&b) if b == separator => *at = i + 1,
            Some(_) => {
                *at = i + 1;
                return fields;
            }
            None => {
                *at = i;
                return fields;
            }
        }
    }
}
