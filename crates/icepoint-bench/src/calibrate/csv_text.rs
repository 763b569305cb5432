//! Text of a table with its places: what separates the cells, quotes, a byte order mark, and for each cell the bytes
//! that it stands on, so that a message can point at it.

use icepoint_chain::file::{Problem, Span};

/// A cell: its text without quotes and surrounding blanks, and where it stands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Cell<'t> {
    /// The words.
    pub text: std::borrow::Cow<'t, str>,
    /// Its bytes in the file.
    pub span: Span,
}

/// Lines of a table, one at a time.
#[derive(Debug)]
pub struct Lines<'t> {
    text: &'t str,
    at: usize,
    line: usize,
    separator: char,
}

/// What stands between the cells of the first line with words: semicolon or tab if there is one, else the comma.
fn separator(text: &str) -> char {
    let line = text.lines().find(|line| is_row(line)).unwrap_or("");
    [';', '\t'].into_iter().find(|&s| line.contains(s)).unwrap_or(',')
}

/// Neither empty nor a comment.
fn is_row(line: &str) -> bool {
    let line = line.trim_start_matches('\u{feff}').trim();
    !line.is_empty() && !line.starts_with('#')
}

impl<'t> Lines<'t> {
    /// Starts at the beginning of `text`.
    pub fn new(text: &'t str) -> Self {
        let at = if text.starts_with('\u{feff}') { '\u{feff}'.len_utf8() } else { 0 };
        Self { text, at, line: 0, separator: separator(text) }
    }

    /// What stands between the cells.
    pub const fn separator(&self) -> char {
        self.separator
    }

    /// The next row with words: its line from 1, its span, and its cells in `cells`. `None` at the end.
    ///
    /// # Errors
    /// A quote that is not closed on its line.
    pub fn next(&mut self, cells: &mut Vec<Cell<'t>>) -> Option<Result<(usize, Span), Box<Problem>>> {
        while self.at < self.text.len() {
            let start = self.at;
            let rest = &self.text[start..];
            let length = rest.find('\n').unwrap_or(rest.len());
            self.at = start + length + usize::from(length < rest.len());
            self.line += 1;
            let line = rest[..length].trim_end_matches('\r');
            if !is_row(line) {
                continue;
            }
            cells.clear();
            return Some(
                split(line, start, self.separator, cells)
                    .map(|()| (self.line, Span::new(start, start + line.len()))),
            );
        }
        None
    }
}

fn split<'t>(
    line: &'t str,
    start: usize,
    separator: char,
    cells: &mut Vec<Cell<'t>>,
) -> Result<(), Box<Problem>> {
    let mut at = 0;
    loop {
        let rest = &line[at..];
        let blanks = rest.len() - rest.trim_start_matches([' ', '\u{a0}']).len();
        if rest[blanks..].starts_with('"') {
            let open = at + blanks;
            let Some(end) = closing(line, open + 1) else {
                return Err(Box::new(
                    Problem::new("readings.open_quote", "a quote is opened and not closed")
                        .at(Span::new(start + open, start + line.len()), "opened here")
                        .expected("cells with or without quotes, each on one line")
                        .help("close it with \", or take it away"),
                ));
            };
            let inside = &line[open + 1..end];
            let text = if inside.contains("\"\"") {
                inside.replace("\"\"", "\"").into()
            } else {
                inside.trim().into()
            };
            cells.push(Cell { text, span: Span::new(start + open + 1, start + end) });
            match line[end + 1..].find(separator) {
                Some(next) => at = end + 1 + next + separator.len_utf8(),
                None => return Ok(()),
            }
            continue;
        }
        let length = rest.find(separator).unwrap_or(rest.len());
        let text = rest[..length].trim();
        let from = at + (rest[..length].len() - rest[..length].trim_start().len());
        cells.push(Cell { text: text.into(), span: Span::new(start + from, start + from + text.len()) });
        if length == rest.len() {
            return Ok(());
        }
        at += length + separator.len_utf8();
    }
}

/// The quote that closes; two in a row stand for one.
fn closing(line: &str, from: usize) -> Option<usize> {
    let mut at = from;
    loop {
        let quote = at + line[at..].find('"')?;
        if line[quote + 1..].starts_with('"') {
            at = quote + 2;
        } else {
            return Some(quote);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rows(text: &str) -> Vec<Vec<String>> {
        let mut lines = Lines::new(text);
        let mut cells = Vec::new();
        let mut all = Vec::new();
        while let Some(row) = lines.next(&mut cells) {
            row.unwrap();
            for cell in &cells {
                // The span is where the words are, but for doubled quotes.
                let raw = &text[cell.span.start..cell.span.end];
                assert_eq!(raw.trim().replace("\"\"", "\""), cell.text);
            }
            all.push(cells.iter().map(|c| c.text.to_string()).collect());
        }
        all
    }

    #[test]
    fn separators_quotes_marks_and_comments() {
        let plain =
            vec![vec!["a".to_owned(), "b c".into(), String::new()], vec!["1".into(), "2".into(), "3".into()]];
        assert_eq!(rows("a,b c,\n1,2,3"), plain);
        assert_eq!(rows("\u{feff}# note\r\n a ; b c ;\r\n\r\n1;2;3\r\n"), plain);
        assert_eq!(rows("a\tb c\t\n1\t2\t3\n"), plain);
        assert_eq!(rows("\"a\", \"b c\" ,\n\"1\",2,\"3\""), plain);
        assert_eq!(rows("\"say \"\"so\"\"\",x"), vec![vec!["say \"so\"".to_owned(), "x".into()]]);
        assert!(rows("").is_empty() && rows("\n\n # nothing\n").is_empty());
    }

    #[test]
    fn a_quote_that_stays_open_is_told() {
        let mut cells = Vec::new();
        let problem = Lines::new("a,\"b\n1,2").next(&mut cells).unwrap().unwrap_err();
        assert_eq!(problem.at.unwrap().span, Span::new(2, 4));
    }

    proptest::proptest! {
        #![proptest_config(proptest::test_runner::Config { failure_persistence: None, ..Default::default() })]

        #[test]
        fn any_text_is_split_without_panic(text in "\\PC*[\n,;\"\u{feff}\t ]*\\PC*") {
            let mut lines = Lines::new(&text);
            let mut cells = Vec::new();
            while lines.next(&mut cells).is_some() {}
        }
    }
}
