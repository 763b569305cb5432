//! A small SVG writer: few shapes, fixed formatting, and a record of where each text went.
//!
//! **Why our own.** The pictures are few and must be exact: labels at the lines, colours that follow the reader's
//! scheme, the same bytes for the same figures. **In, out.** Coordinates in drawing units (one unit is one CSS pixel
//! at full size, y downwards); out comes one `<svg>` element, or a stand-alone file with its colours put in.
//! **What it is not.** No layout engine: each picture places its own parts; [`Picture::labels`] lets tests see that
//! no text leaves the picture or covers another.

use std::fmt::Write as _;

use crate::lettering::text_width;
use crate::number::coordinate;
use crate::theme::{Ink, resolve_colours};

/// Font stack of pictures and tables: what the reader's system has, nothing fetched.
pub const SANS: &str =
    "-apple-system, 'Segoe UI', Roboto, 'Helvetica Neue', 'Liberation Sans', Arial, system-ui, sans-serif";

/// The two widths for which each picture lays itself out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Frame {
    /// Page column or A4: 760 units.
    Wide,
    /// Telephone: 344 units.
    Narrow,
}

impl Frame {
    /// Width of the picture in drawing units.
    #[must_use]
    pub const fn width(self) -> f64 {
        match self {
            Frame::Wide => 760.0,
            Frame::Narrow => 344.0,
        }
    }

    /// Size of ordinary text in drawing units.
    #[must_use]
    pub const fn text(self) -> f64 {
        match self {
            Frame::Wide => 13.0,
            Frame::Narrow => 12.0,
        }
    }

    /// `id` made unique between the two layouts, which stand in the same page.
    #[must_use]
    pub fn id(self, id: &str) -> String {
        match self {
            Frame::Wide => format!("{id}-wide"),
            Frame::Narrow => format!("{id}-narrow"),
        }
    }
}

/// Where a text is held.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Anchor {
    /// At its first letter.
    Start,
    /// At its middle.
    Middle,
    /// At its last letter.
    End,
}

/// A line of text before it is set.
#[derive(Clone, Debug)]
pub struct Text {
    x: f64,
    y: f64,
    content: String,
    size: f64,
    ink: Ink,
    anchor: Anchor,
    bold: bool,
    halo: bool,
    upwards: bool,
}

impl Text {
    /// Text with its baseline's start at (`x`, `y`), 13 units high, in the colour of text.
    #[must_use]
    pub fn new(x: f64, y: f64, content: impl Into<String>) -> Self {
        let anchor = Anchor::Start;
        Self {
            x,
            y,
            content: content.into(),
            size: 13.0,
            ink: Ink::Text,
            anchor,
            bold: false,
            halo: false,
            upwards: false,
        }
    }

    /// Height of the letters' body in drawing units.
    #[must_use]
    pub fn size(mut self, size: f64) -> Self {
        self.size = size;
        self
    }

    /// Its colour.
    #[must_use]
    pub fn ink(mut self, ink: Ink) -> Self {
        self.ink = ink;
        self
    }

    /// Where it is held.
    #[must_use]
    pub fn anchor(mut self, anchor: Anchor) -> Self {
        self.anchor = anchor;
        self
    }

    /// Semi-bold.
    #[must_use]
    pub fn bold(mut self) -> Self {
        self.bold = true;
        self
    }

    /// With a rim of the page's ground, to stay readable over lines.
    #[must_use]
    pub fn halo(mut self) -> Self {
        self.halo = true;
        self
    }

    /// Moves the baseline so that the middle of the digits is at the given height.
    #[must_use]
    pub fn centred(mut self) -> Self {
        self.y += 0.355 * self.size;
        self
    }

    /// Reads upwards (turned by −90° about its anchor).
    #[must_use]
    pub fn upwards(mut self) -> Self {
        self.upwards = true;
        self
    }
}

/// Where a text lies: left, top, right, bottom in drawing units, its width estimated by [`text_width`].
#[derive(Clone, Debug, PartialEq)]
pub struct Label {
    /// The text.
    pub content: String,
    /// Left edge.
    pub left: f64,
    /// Top edge.
    pub top: f64,
    /// Right edge.
    pub right: f64,
    /// Bottom edge.
    pub bottom: f64,
}

impl Label {
    /// Whether the two boxes share any area.
    #[must_use]
    pub fn overlaps(&self, other: &Label) -> bool {
        self.left < other.right
            && other.left < self.right
            && self.top < other.bottom
            && other.top < self.bottom
    }
}

/// A line's look.
#[derive(Clone, Copy, Debug)]
pub struct Stroke {
    /// Its colour.
    pub ink: Ink,
    /// Its width in drawing units.
    pub width: f64,
    /// Lengths of dash and gap, none for a whole line.
    pub dash: Option<(f64, f64)>,
}

impl Stroke {
    /// A whole line.
    #[must_use]
    pub const fn new(ink: Ink, width: f64) -> Self {
        Self { ink, width, dash: None }
    }

    /// The same line, dashed.
    #[must_use]
    pub const fn dashed(mut self, dash: f64, gap: f64) -> Self {
        self.dash = Some((dash, gap));
        self
    }

    fn attributes(self) -> String {
        let mut text = format!("stroke=\"{}\" stroke-width=\"{}\"", self.ink.css(), coordinate(self.width));
        if let Some((dash, gap)) = self.dash {
            let _ = write!(text, " stroke-dasharray=\"{} {}\"", coordinate(dash), coordinate(gap));
        }
        text
    }
}

/// One picture: shapes in the order they were drawn.
#[derive(Clone, Debug)]
pub struct Picture {
    id: String,
    width: f64,
    height: f64,
    title: String,
    description: String,
    body: String,
    labels: Vec<Label>,
}

impl Picture {
    /// An empty picture of `width` × `height` units. `id` must be unique in its page; `title` names the picture,
    /// `description` says in a sentence or two what it shows, for people who hear it.
    #[must_use]
    pub fn new(id: &str, width: f64, height: f64, title: &str, description: &str) -> Self {
        Self {
            // An id with blanks would break aria-labelledby, which is a list.
            id: id.chars().map(|c| if c.is_ascii_alphanumeric() || c == '-' { c } else { '-' }).collect(),
            width,
            height,
            title: title.to_owned(),
            description: description.to_owned(),
            body: String::new(),
            labels: Vec::new(),
        }
    }

    /// Width in drawing units.
    #[must_use]
    pub fn width(&self) -> f64 {
        self.width
    }

    /// Height in drawing units.
    #[must_use]
    pub fn height(&self) -> f64 {
        self.height
    }

    /// Name of the picture.
    #[must_use]
    pub fn title(&self) -> &str {
        &self.title
    }

    /// Every text set so far, with the room it takes.
    #[must_use]
    pub fn labels(&self) -> &[Label] {
        &self.labels
    }

    /// Sets the height when the layout is known.
    pub fn set_height(&mut self, height: f64) {
        self.height = height;
    }

    /// A straight line.
    pub fn line(&mut self, from: (f64, f64), to: (f64, f64), stroke: Stroke) {
        let _ = writeln!(
            self.body,
            "<line x1=\"{}\" y1=\"{}\" x2=\"{}\" y2=\"{}\" {}/>",
            coordinate(from.0),
            coordinate(from.1),
            coordinate(to.0),
            coordinate(to.1),
            stroke.attributes()
        );
    }

    /// A filled rectangle; negative sizes draw nothing.
    pub fn rect(&mut self, x: f64, y: f64, width: f64, height: f64, fill: Ink) {
        if width > 0.0 && height > 0.0 {
            let _ = writeln!(
                self.body,
                "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" fill=\"{}\"/>",
                coordinate(x),
                coordinate(y),
                coordinate(width),
                coordinate(height),
                fill.css()
            );
        }
    }

    /// An outlined rectangle.
    pub fn frame(&mut self, x: f64, y: f64, width: f64, height: f64, fill: Option<Ink>, stroke: Stroke) {
        if width > 0.0 && height > 0.0 {
            let _ = writeln!(
                self.body,
                "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" fill=\"{}\" {}/>",
                coordinate(x),
                coordinate(y),
                coordinate(width),
                coordinate(height),
                fill.map_or("none", Ink::css),
                stroke.attributes()
            );
        }
    }

    /// A circle, filled or not.
    pub fn circle(&mut self, centre: (f64, f64), radius: f64, fill: Option<Ink>, stroke: Option<Stroke>) {
        let _ = writeln!(
            self.body,
            "<circle cx=\"{}\" cy=\"{}\" r=\"{}\" fill=\"{}\"{}/>",
            coordinate(centre.0),
            coordinate(centre.1),
            coordinate(radius.max(0.0)),
            fill.map_or("none", Ink::css),
            stroke.map_or(String::new(), |s| format!(" {}", s.attributes()))
        );
    }

    /// A line through points; it breaks where a point is not finite.
    pub fn polyline(&mut self, points: &[(f64, f64)], stroke: Stroke) {
        for run in points.split(|p| !(p.0.is_finite() && p.1.is_finite())) {
            if run.len() >= 2 {
                let _ = writeln!(
                    self.body,
                    "<path d=\"{}\" fill=\"none\" stroke-linejoin=\"round\" {}/>",
                    outline(run, false),
                    stroke.attributes()
                );
            }
        }
    }

    /// A closed shape; points that are not finite are left out.
    pub fn polygon(&mut self, points: &[(f64, f64)], fill: Option<Ink>, stroke: Option<Stroke>) {
        let kept: Vec<_> = points.iter().copied().filter(|p| p.0.is_finite() && p.1.is_finite()).collect();
        if kept.len() >= 3 {
            let _ = writeln!(
                self.body,
                "<path d=\"{}\" fill=\"{}\"{}/>",
                outline(&kept, true),
                fill.map_or("none", Ink::css),
                stroke.map_or(String::new(), |s| format!(" stroke-linejoin=\"round\" {}", s.attributes()))
            );
        }
    }

    /// Area between two lines over the same x; points that are not finite in either are left out.
    pub fn area(&mut self, upper: &[(f64, f64)], lower: &[(f64, f64)], fill: Ink) {
        let outline: Vec<_> = upper.iter().chain(lower.iter().rev()).copied().collect();
        self.polygon(&outline, Some(fill), None);
    }

    /// A line of text.
    pub fn text(&mut self, text: Text) {
        if text.content.is_empty() {
            return;
        }
        let (x, y) = (coordinate(text.x), coordinate(text.y));
        let _ = write!(self.body, "<text x=\"{x}\" y=\"{y}\" font-size=\"{}\"", coordinate(text.size));
        let _ = write!(self.body, " fill=\"{}\"", text.ink.css());
        match text.anchor {
            Anchor::Start => {}
            Anchor::Middle => self.body.push_str(" text-anchor=\"middle\""),
            Anchor::End => self.body.push_str(" text-anchor=\"end\""),
        }
        if text.bold {
            self.body.push_str(" font-weight=\"600\"");
        }
        if text.halo {
            let _ = write!(
                self.body,
                " paint-order=\"stroke\" stroke=\"{}\" stroke-width=\"3\" stroke-linejoin=\"round\"",
                Ink::Paper.css()
            );
        }
        if text.upwards {
            let _ = write!(self.body, " transform=\"rotate(-90 {x} {y})\"");
        }
        let _ = writeln!(self.body, ">{}</text>", escape(&text.content));
        self.labels.push(bounds(&text));
    }

    /// The `<svg>` element, colours as custom properties, for a page that carries [`crate::theme::css`].
    #[must_use]
    pub fn to_svg(&self) -> String {
        let id = &self.id;
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" id=\"{id}\" viewBox=\"0 0 {w} {h}\" width=\"{w}\" height=\"{h}\" \
             role=\"img\" aria-labelledby=\"{id}-title {id}-desc\" font-family=\"{SANS}\">\n\
             <title id=\"{id}-title\">{}</title>\n<desc id=\"{id}-desc\">{}</desc>\n{}</svg>\n",
            escape(&self.title),
            escape(&self.description),
            self.body,
            w = coordinate(self.width),
            h = coordinate(self.height),
        )
    }

    /// A stand-alone file: light colours put in, ground painted.
    #[must_use]
    pub fn to_file(&self) -> String {
        let svg = resolve_colours(&self.to_svg());
        let ground = format!(
            "</desc>\n<rect width=\"{}\" height=\"{}\" fill=\"{}\"/>\n",
            coordinate(self.width),
            coordinate(self.height),
            Ink::Paper.light()
        );
        format!("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n{}", svg.replacen("</desc>\n", &ground, 1))
    }
}

fn outline(points: &[(f64, f64)], closed: bool) -> String {
    let mut d = String::with_capacity(points.len() * 12);
    for (i, p) in points.iter().enumerate() {
        let _ = write!(d, "{}{} {}", if i == 0 { "M" } else { "L" }, coordinate(p.0), coordinate(p.1));
    }
    if closed {
        d.push('Z');
    }
    d
}

fn bounds(text: &Text) -> Label {
    let width = text_width(&text.content, text.size) * if text.bold { 1.06 } else { 1.0 };
    let before = match text.anchor {
        Anchor::Start => 0.0,
        Anchor::Middle => width / 2.0,
        Anchor::End => width,
    };
    // Ascender and descender of common faces, as shares of the size.
    let (up, down) = (0.74 * text.size, 0.21 * text.size);
    let content = text.content.clone();
    if text.upwards {
        let bottom = text.y + before;
        Label { content, left: text.x - up, right: text.x + down, top: bottom - width, bottom }
    } else {
        let left = text.x - before;
        Label { content, left, right: left + width, top: text.y - up, bottom: text.y + down }
    }
}

/// `text` with the five characters of XML escaped and control characters (which XML forbids) left out.
#[must_use]
pub fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            '\t' | '\n' | '\r' => out.push(' '),
            '\u{fffe}' | '\u{ffff}' => {}
            c if c.is_control() => {}
            c => out.push(c),
        }
    }
    out
}
