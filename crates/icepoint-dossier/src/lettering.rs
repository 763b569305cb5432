//! How wide a text is, before anything has set it: to place labels, cut them and break them into lines.

/// Estimated width of `text` set at `size`, in drawing units.
///
/// Advance widths of a common grotesque (from memory) with 6 % added, because the reader's face is not known: the
/// estimate is meant to be a little too wide.
#[must_use]
pub fn text_width(text: &str, size: f64) -> f64 {
    let em: f64 = text
        .chars()
        .map(|c| match c {
            'i' | 'j' | 'l' | '\'' | '|' => 0.23,
            ' ' | '.' | ',' | ':' | ';' | '·' | 'I' | '!' | '/' | 't' | 'f' | '\u{a0}' => 0.28,
            '\u{202f}' | '\u{2009}' => 0.2,
            '(' | ')' | 'r' | '-' | '"' | '[' | ']' => 0.335,
            '°' => 0.4,
            'c' | 'k' | 's' | 'v' | 'x' | 'y' | 'z' | 'J' => 0.5,
            'm' | 'M' => 0.833,
            'w' => 0.722,
            'W' | '%' | '@' | '—' => 0.95,
            '+' | '±' | '<' | '>' | '=' | '×' | '\u{2212}' | '≤' | '≥' | '√' => 0.585,
            'G' | 'O' | 'Q' | 'Ω' => 0.76,
            c if c.is_ascii_uppercase() => 0.68,
            _ => 0.556,
        })
        .sum();
    em * size * 1.06
}

/// `text` cut to fit `width` at `size`, with an ellipsis where it was cut.
#[must_use]
pub fn fitted(text: &str, size: f64, width: f64) -> String {
    if text_width(text, size) <= width {
        return text.to_owned();
    }
    let mut kept = String::new();
    for c in text.chars() {
        kept.push(c);
        if text_width(&kept, size) + text_width("…", size) > width {
            kept.pop();
            break;
        }
    }
    format!("{}…", kept.trim_end())
}

/// `text` broken at blanks into lines no wider than `width` at `size`; one word alone may be wider.
#[must_use]
pub fn wrapped(text: &str, size: f64, width: f64) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match lines.last_mut() {
            Some(line) if text_width(&format!("{line} {word}"), size) <= width => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_is_cut_and_broken_to_fit() {
        assert_eq!(fitted("short", 12.0, 100.0), "short");
        let cut = fitted("a name that is too long", 12.0, 60.0);
        assert!(cut.ends_with('…') && text_width(&cut, 12.0) <= 60.0, "{cut}");
        let lines = wrapped("one two three four", 12.0, 50.0);
        assert!(
            lines.len() > 1 && lines.concat().len() == "onetwothreefour".len() + 4 - lines.len(),
            "{lines:?}"
        );
        assert!(wrapped("", 12.0, 50.0).is_empty());
    }
}
