//! Parts of the page: sections, figures, tables, cautions and the working behind a number, and the page itself.
//!
//! **In, out.** Plain text and pictures in, maud markup out; all text is escaped by maud. The page is one file: style
//! sheet inside, no script, nothing fetched. Wide pictures are shown in their narrow layout on a telephone; what has no
//! narrow layout scrolls inside its figure, never the page.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use crate::svg::Picture;
use crate::theme;

/// Style sheet of the page, without the colours.
const STYLE: &str = include_str!("page.css");

/// Rows of a table that paper does not break.
const SHORT: usize = 9;
/// Columns of words from which a table scrolls on a telephone before its cells become towers.
const BROAD: usize = 3;

/// One entry of the list of sections.
#[derive(Clone, Debug)]
pub struct Entry {
    /// Id of the section.
    pub id: String,
    /// Its heading.
    pub heading: String,
}

/// The list of sections, numbered like [`section`].
#[must_use]
pub fn contents(entries: &[Entry]) -> Markup {
    html! {
        nav.contents aria-label="Contents" {
            ol {
                @for entry in entries { li { a href={ "#" (entry.id) } { (entry.heading) } } }
            }
        }
    }
}

/// A numbered section.
#[must_use]
pub fn section(id: &str, number: usize, heading: &str, body: &Markup) -> Markup {
    html! {
        section id=(id) aria-labelledby={ (id) "-heading" } {
            h2 id={ (id) "-heading" } { span.number { (number) } " " (heading) }
            (body)
        }
    }
}

/// How a picture meets a narrow page.
#[derive(Clone, Copy, Debug)]
pub enum Shown<'a> {
    /// Two layouts of the same figures; the page shows the one that fits.
    Both {
        /// For a page column and paper.
        wide: &'a Picture,
        /// For a telephone.
        narrow: &'a Picture,
    },
    /// One layout, which scrolls sideways inside its figure where the page is narrower.
    Scrolling(&'a Picture),
}

/// A numbered figure with its caption; `shown` decides what a narrow page does.
#[must_use]
pub fn figure(number: usize, caption: &str, shown: Shown<'_>) -> Markup {
    html! {
        figure {
            @match shown {
                Shown::Both { wide, narrow } => {
                    div.wide { (PreEscaped(wide.to_svg())) }
                    div.narrow { (PreEscaped(narrow.to_svg())) }
                }
                Shown::Scrolling(picture) => {
                    // Keyboards must be able to scroll it: hence the tab stop and its name.
                    div.scroll tabindex="0" role="group" aria-label=(picture.title()) {
                        (PreEscaped(picture.to_svg()))
                    }
                }
            }
            figcaption { b { "Figure " (number) "." } " " (caption) }
        }
    }
}

/// Terms and what they are.
#[must_use]
pub fn definitions(items: &[(String, Markup)]) -> Markup {
    html! {
        dl {
            @for (term, meaning) in items { div { dt { (term) } dd { (meaning) } } }
        }
    }
}

/// How the cells of a column are held.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Align {
    /// Words.
    Words,
    /// Numbers, aligned at the decimal point.
    Numbers,
    /// Left empty, to write into.
    Blank,
}

/// A column of a table.
#[derive(Clone, Debug)]
pub struct Column {
    /// Its heading.
    pub heading: String,
    /// Its unit, printed under the heading; empty for none.
    pub unit: String,
    /// How its cells are held.
    pub align: Align,
}

impl Column {
    /// A column of words.
    #[must_use]
    pub fn words(heading: &str) -> Self {
        Self { heading: heading.to_owned(), unit: String::new(), align: Align::Words }
    }

    /// An empty column to write into.
    #[must_use]
    pub fn blank(heading: &str) -> Self {
        Self { heading: heading.to_owned(), unit: String::new(), align: Align::Blank }
    }

    /// A column of numbers in `unit`.
    #[must_use]
    pub fn numbers(heading: &str, unit: &str) -> Self {
        Self { heading: heading.to_owned(), unit: unit.to_owned(), align: Align::Numbers }
    }
}

/// A table with a caption. Rows shorter than the columns end in empty cells; the first column names the row.
#[must_use]
pub fn table(caption: &str, columns: &[Column], rows: &[Vec<String>]) -> Markup {
    let after_point: Vec<usize> = (0..columns.len())
        .map(|c| rows.iter().filter_map(|row| row.get(c)).map(|cell| decimals(cell)).max().unwrap_or(0))
        .collect();
    let words = columns.iter().filter(|c| c.align == Align::Words).count();
    html! {
        div.scroll tabindex="0" role="group" aria-label=(caption) {
            table.short[rows.len() <= SHORT].broad[words >= BROAD] {
                caption { span { (caption) } }
                thead {
                    tr {
                        @for column in columns {
                            th scope="col" class=(class(column.align)) {
                                (column.heading)
                                @if !column.unit.is_empty() { span.unit { (column.unit) } }
                            }
                        }
                    }
                }
                tbody {
                    @for row in rows {
                        tr {
                            @for (c, column) in columns.iter().enumerate() {
                                @let cell = row.get(c).map_or("", String::as_str);
                                @let cell = match column.align {
                                    Align::Words | Align::Blank => cell.to_owned(),
                                    Align::Numbers => padded(cell, after_point[c]),
                                };
                                @if c == 0 { th scope="row" class=(class(column.align)) { (cell) } }
                                @else { td class=(class(column.align)) { (cell) } }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn class(align: Align) -> &'static str {
    match align {
        Align::Words => "words",
        Align::Numbers => "numbers",
        Align::Blank => "blank",
    }
}

/// Digits after the decimal point, the point itself counted.
fn decimals(cell: &str) -> usize {
    cell.find('.').map_or(0, |at| cell[at..].chars().take_while(|c| c.is_ascii_digit() || *c == '.').count())
}

/// `cell` filled up with blanks as wide as a digit (U+2007) and as a point (U+2008), so that points stand under points
/// in a right-aligned column.
fn padded(cell: &str, places: usize) -> String {
    let plain =
        !cell.is_empty() && cell.chars().all(|c| c.is_ascii_digit() || matches!(c, '.' | '−' | '+' | ' '));
    let have = decimals(cell);
    if !plain || have >= places {
        return cell.to_owned();
    }
    let mut out = cell.to_owned();
    if have == 0 {
        out.push('\u{2008}');
    }
    out.extend(std::iter::repeat_n('\u{2007}', places - have.max(1)));
    out
}

/// How grave a caution is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Gravity {
    /// People or plant may come to harm.
    Danger,
    /// The reading may be wrong.
    Reading,
    /// Good to know.
    Note,
}

/// A caution where it belongs.
#[must_use]
pub fn caution(gravity: Gravity, heading: &str, body: &Markup) -> Markup {
    let (class, word) = match gravity {
        Gravity::Danger => ("caution danger", "Danger"),
        Gravity::Reading => ("caution reading", "Mind the reading"),
        Gravity::Note => ("caution note", "Note"),
    };
    html! {
        aside class=(class) {
            p.head { span.word { (word) } " " (heading) }
            (body)
        }
    }
}

/// The working behind one number.
#[derive(Clone, Debug, Default)]
pub struct Working {
    /// What is worked out: “Gain”.
    pub name: String,
    /// Formula in symbols: “G = 1 + R3 ∕ R4”.
    pub formula: String,
    /// The same with the inputs put in: “= 1 + 120 kΩ ∕ 1.5 kΩ”.
    pub inputs: String,
    /// The result with its unit.
    pub result: String,
    /// The formula is a first approximation: the result stands after ≈ and not after =.
    pub approximate: bool,
    /// Where formula and inputs come from.
    pub source: String,
}

/// Workings one under the other.
#[must_use]
pub fn workings(items: &[Working]) -> Markup {
    html! {
        div.workings {
            @for item in items {
                div.working {
                    p.name { (item.name) }
                    p.formula {
                        span { (item.formula) } " "
                        @if !item.inputs.is_empty() { span { (item.inputs) } " " }
                        span.result { (if item.approximate { "≈ " } else { "= " }) (item.result) }
                    }
                    @if !item.source.is_empty() { p.source { (item.source) } }
                }
            }
        }
    }
}

/// A figure that matters most, large: value with unit, and what it is.
#[must_use]
pub fn headline(value: &str, meaning: &str, within: Option<bool>) -> Markup {
    let class = match within {
        Some(true) => "headline within",
        Some(false) => "headline beyond",
        None => "headline",
    };
    html! { div class=(class) { p.value { (value) } p.meaning { (meaning) } } }
}

/// The page.
#[must_use]
pub fn document(title: &str, subtitle: &str, entries: &[Entry], body: &Markup) -> String {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                // An empty icon in the page, so that opening it asks nobody for one.
                link rel="icon" href="data:,";
                title { (title) }
                style { (PreEscaped(theme::css())) (PreEscaped(STYLE)) }
            }
            body {
                header { h1 { (title) } p.subtitle { (subtitle) } }
                (contents(entries))
                main { (body) }
            }
        }
    }
    .into_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn points_stand_under_points() {
        assert_eq!(padded("12", 3), "12\u{2008}\u{2007}\u{2007}");
        assert_eq!(padded("−1.5", 3), "−1.5\u{2007}");
        assert_eq!(padded("4.7 kΩ", 3), "4.7 kΩ");
        assert_eq!(decimals("0.125"), 4);
    }

    #[test]
    fn the_page_fetches_nothing_and_runs_nothing() {
        let picture = Picture::new("p", 10.0, 10.0, "t", "d");
        let body = figure(1, "c", Shown::Scrolling(&picture));
        let page = document("t", "s", &[Entry { id: "a".to_owned(), heading: "A".to_owned() }], &body);
        // The one address is the name of the SVG vocabulary, which nobody fetches.
        let page = page.replace("xmlns=\"http://www.w3.org/2000/svg\"", "");
        for bad in ["http:", "https:", "//", "url(", "@import", "<script", "src="] {
            assert!(!page.contains(bad), "{bad}");
        }
        for ink in crate::theme::Ink::ALL {
            assert!(page.contains(&format!("{}:{}", ink.property(), ink.light())));
        }
    }

    #[test]
    fn text_is_escaped() {
        let page = document("a < b", "\"x\"", &[], &html! {});
        assert!(page.contains("a &lt; b") && !page.contains("a < b"));
    }
}
