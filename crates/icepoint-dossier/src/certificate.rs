//! The certificate of a calibrated board.
//!
//! **In.** What `icepoint-bench` found; nothing is computed here but sums for display. **Left to the user.** Who stands
//! for the references: the statement of traceability has empty lines, since no program can make it.

use icepoint_bench::calibrate::band::by_origin;
use icepoint_bench::calibrate::condition::{Kind, trimmed as brief};
use icepoint_bench::calibrate::readings::{Input, Readings};
use icepoint_bench::calibrate::{Calibration, checks, significant};
use icepoint_chain::Model;
use icepoint_chain::imperfection::Distribution;
use icepoint_chain::trims::{Moves, called};
use maud::{Markup, html};

use crate::certificate_band;
use crate::number::{fixed, percent, plain, signed, trimmed};
use crate::page::{self, Column, Entry, Gravity, Shown, caution, definitions, headline, table};
use crate::residuals::{Residual, Residuals};
use crate::svg::{Frame, Picture};

/// Causes listed in the uncertainty budget.
const LISTED: usize = 14;
/// Conditions drawn and listed before the rest is told in words.
const SHOWN: usize = 40;

pub(crate) fn celsius(value: f64) -> String {
    format!("{} °C", trimmed(value, 2))
}

fn kelvin(value: f64) -> String {
    format!("{} K", fixed(value, 2))
}

/// A figure in two layouts.
pub(crate) fn both(number: usize, caption: &str, draw: &dyn Fn(Frame) -> Picture) -> Markup {
    let (wide, narrow) = (draw(Frame::Wide), draw(Frame::Narrow));
    page::figure(number, caption, Shown::Both { wide: &wide, narrow: &narrow })
}

/// The certificate as one page.
#[must_use]
pub fn certificate(model: &Model, readings: &Readings, calibration: &Calibration) -> String {
    let c = Subject { model, readings, calibration };
    let (last, band) = c.band();
    let sections = [
        ("result", "Result", c.result()),
        ("done", "What was calibrated, and how", c.done()),
        ("constants", "Constants", c.constants()),
        ("band", "Error before and after", band),
        ("readings", "The readings", c.readings(last + 1)),
        ("budget", "Uncertainty budget", c.budget()),
        ("next", "A further point", c.next()),
        ("traceability", "Traceability", traceability()),
        ("cautions", "Cautions", c.cautions()),
        ("working", "How it was computed", working()),
    ];
    let title = match &calibration.findings.serial {
        Some(serial) => format!("Calibration of {}, board {serial}", model.chain().name),
        None => format!("Calibration of {}", model.chain().name),
    };
    document(&title, &c.subtitle(), sections.to_vec())
}

/// A page of numbered sections.
pub(crate) fn document(title: &str, subtitle: &str, sections: Vec<(&str, &str, Markup)>) -> String {
    let entries: Vec<Entry> = sections
        .iter()
        .map(|(id, heading, _)| Entry { id: (*id).to_owned(), heading: (*heading).to_owned() })
        .collect();
    let body = html! {
        @for (index, (id, heading, content)) in sections.iter().enumerate() {
            (page::section(id, index + 1, heading, content))
        }
    };
    page::document(title, subtitle, &entries, &body)
}

struct Subject<'a> {
    model: &'a Model,
    readings: &'a Readings,
    calibration: &'a Calibration,
}

impl Subject<'_> {
    fn subtitle(&self) -> String {
        let need = &self.model.chain().need;
        let date = self.calibration.findings.date.as_ref().map_or(String::new(), |d| format!("{d}. "));
        format!(
            "{date}Type {} from {} to {}, board from {} to {}.",
            self.model.chain().probe.letter.name(),
            celsius(need.hot.0),
            celsius(need.hot.1),
            celsius(need.board.0),
            celsius(need.board.1)
        )
    }

    /// The point where most is left.
    fn worst(&self) -> usize {
        let band = &self.calibration.band;
        (0..band.len()).max_by(|&a, &b| band[a].error_95.total_cmp(&band[b].error_95)).unwrap_or(0)
    }

    fn result(&self) -> Markup {
        let c = self.calibration;
        let accuracy = self.model.chain().need.accuracy;
        let Some(worst) = c.band.get(self.worst()) else { return html! {} };
        let found = c.band.iter().map(|p| p.found.abs()).fold(0.0, f64::max);
        let flagged = c.checked.iter().filter(|k| k.left_out.flagged).count();
        let m = c.misfit;
        html! {
            div.headlines {
                (headline(
                    &format!("±{}", kelvin(worst.error_95)),
                    &format!("largest error at 95 % with the new constants; asked: ±{} K", plain(accuracy)),
                    // A band from readings that don't fit is no proof of anything.
                    Some(worst.error_95 <= accuracy && !m.noticed() && flagged == 0),
                ))
                (headline(&kelvin(found), "largest error of the board as it was read, by the best estimate", None))
                (headline(
                    &format!("p = {}", fixed(m.probability.min(m.probability_of_board), 3)),
                    if m.noticed() { "the readings do not fit the design" } else { "the readings fit the design" },
                    Some(!m.noticed()),
                ))
            }
            p {
                "The largest error stands at " (celsius(worst.hot)) " with the board at " (celsius(worst.board))
                ". It holds for 95 % of boards that were read like this one: what the readings could not see, the \
                 references, the readings' noise, and what comes in use are all in it."
            }
            @if flagged > 0 {
                (caution(Gravity::Reading, "Readings disagree", &html! {
                    p { (flagged) " of the conditions lie farther from what the others say than chance allows. They are marked below, and they are in the constants and in the error above: only readings that are left out are not." }
                }))
            }
            @for text in &c.cautions { (caution(Gravity::Note, "Mind", &html! { p { (text) } })) }
        }
    }

    fn done(&self) -> Markup {
        let (c, chain) = (self.calibration, self.model.chain());
        let (all, used) = c.counts;
        let text = |s: &Option<String>| s.clone().unwrap_or_else(|| "not stated".into());
        let left = if used < all { format!(", {} left out by the user", all - used) } else { String::new() };
        let boards: std::collections::BTreeSet<String> =
            c.checked.iter().map(|k| celsius(k.condition.board)).collect();
        let items: Vec<(&str, String)> = vec![
            ("Board", format!("{}, serial number {}", chain.name, text(&c.findings.serial))),
            ("Date", text(&c.findings.date)),
            ("Circuit", chain.front_end.title.clone()),
            ("Readings", format!("{used} under {} conditions{left}", c.checked.len())),
            (
                "Raw readings",
                format!("{}, {}", file_name(&self.readings.source.name), self.readings.fingerprint()),
            ),
            ("Board temperature", boards.into_iter().collect::<Vec<_>>().join(", ")),
            (
                "Constants while it was read",
                format!(
                    "offset {} µV, gain {}",
                    fixed(1e6 * c.taken_with.offset, 2),
                    fixed(c.taken_with.gain, 7)
                ),
            ),
        ];
        let items: Vec<(String, Markup)> =
            items.into_iter().map(|(t, m)| (t.to_owned(), html! { (m) })).collect();
        html! {
            (definitions(&items))
            (self.references())
        }
    }

    /// By what the references may be off, each deviation once.
    fn references(&self) -> Markup {
        let mut seen = std::collections::BTreeSet::new();
        let mut rows = Vec::new();
        for k in &self.calibration.checked {
            let (name, unit, scale) = match k.condition.input {
                Input::Temperature(_) => ("known temperature", "K", 1.0),
                Input::Injected(_) => ("source", "µV", 1e6),
            };
            let name = if k.condition.reference.is_empty() { name } else { &k.condition.reference };
            for error in &k.condition.errors {
                if !seen.insert(&error.tag) {
                    continue;
                }
                let u = scale * error.distribution.standard();
                let share = if u > 0.0 { significant(u, u) } else { "0".into() };
                rows.push(vec![
                    name.to_owned(),
                    error.label.clone(),
                    error.distribution.name().to_owned(),
                    format!("{share} {unit}"),
                    k.condition.words(),
                ]);
            }
        }
        if let Some(k) = self.calibration.checked.iter().find(|k| k.condition.meter.is_some())
            && let Some(meter) = &k.condition.meter
        {
            let row = |what: &str, size: String| {
                let name = format!("{} at the output", meter.called());
                vec![name, what.to_owned(), "rectangular".to_owned(), size, k.condition.words()]
            };
            // Both stated as limits: rectangles.
            let standard = |limit: f64, scale: f64| {
                let u = scale * Distribution::Rectangular(limit).standard();
                if u > 0.0 { significant(u, u) } else { "0".into() }
            };
            rows.push(row("share of the reading", format!("{} %", standard(meter.relative, 100.0))));
            rows.push(row("fixed part", format!("{} mV", standard(meter.fixed, 1e3))));
        }
        let more = rows.len().saturating_sub(LISTED);
        rows.truncate(LISTED);
        html! {
            (table(
                "By what the references may be off",
                &[
                    Column::words("reference"),
                    Column::words("what"),
                    Column::words("distribution"),
                    Column::words("standard uncertainty"),
                    Column::words("first at"),
                ],
                &rows,
            ))
            @if more > 0 { p { "And " (more) " more." } }
            p {
                "Readings with the same deviation share it. The gain of a source grows with its voltage: the figure is that of the \
                 condition in the last column."
            }
        }
    }

    fn constants(&self) -> Markup {
        let c = self.calibration;
        let volts = match self.model.chain().readout {
            icepoint_chain::chain::Readout::Line { .. } => "volts at the output",
            _ => "thermocouple volts, before the reference junction is added",
        };
        html! {
            p { "Corrected = offset + gain · v, with v the reading rule's own volts: " (volts) "." }
            (definitions(&[
                ("offset".to_owned(), html! { (significant_volts(c.constants.offset)) " (" (format!("{:.6e}", c.constants.offset)) " V)" }),
                ("gain".to_owned(), html! { (fixed(c.constants.gain, 9)) }),
            ]))
            @let trims = self.model.chain().trims.as_ref();
            @let point = self.model.chain().front_end.output_point().unwrap_or("the output");
            @if let Some(at) = &c.trims {
                p { "Or with trims instead, the board at " (celsius(at.board)) ":" }
                ol {
                    li { "At " (input(at.zero.input)) " turn " (called(trims, Moves::Zero)) " until " (point) " reads " b { (fixed(at.zero.volts, 5)) " V" } " (now about " (fixed(at.zero.now, 5)) " V)." }
                    li { "At " (input(at.span.input)) " turn " (called(trims, Moves::Span)) " until " (point) " reads " b { (fixed(at.span.volts, 5)) " V" } " (now about " (fixed(at.span.now, 5)) " V)." }
                    li { "Both once more: each moves the other a little." }
                }
            }
            p {
                "These two constants make the expected squared error over the whole range and all board temperatures \
                 smallest. What they can't mend, such as a drift with the board's temperature, is in the error below."
            }
        }
    }

    /// The error's pictures and table; gives the number of the last picture.
    fn band(&self) -> (usize, Markup) {
        let c = self.calibration;
        let width = c.hot.len().max(1);
        let chain = self.model.chain();
        let (last, pictures) = certificate_band::pictures(c, chain.probe.letter, chain.need.accuracy);
        let columns: Vec<Column> = std::iter::once(Column::numbers("hot", "°C"))
            .chain(c.board.iter().map(|b| Column::numbers(&format!("board at {}", celsius(*b)), "K")))
            .collect();
        let rows: Vec<Vec<String>> = c
            .hot
            .iter()
            .enumerate()
            .map(|(column, hot)| {
                std::iter::once(trimmed(*hot, 2))
                    .chain((0..c.board.len()).map(|b| {
                        c.band.get(b * width + column).map_or(String::new(), |p| fixed(p.error_95, 2))
                    }))
                    .collect()
            })
            .collect();
        let markup = html! {
            (pictures)
            (table("Error at 95 % with the new constants", &columns, &rows))
        };
        (last, markup)
    }

    fn readings(&self, figure: usize) -> Markup {
        let c = self.calibration;
        let picture = Residuals {
            id: "residuals-figure".into(),
            rows: c
                .checked
                .iter()
                .take(SHOWN)
                .map(|k| Residual {
                    name: k.condition.words(),
                    difference_kelvin: k.left_out.difference * k.kelvin,
                    allowed_kelvin: checks::allowed(c.checked.len()) * k.left_out.standard * k.kelvin,
                    residual_kelvin: k.residual * k.kelvin,
                    flagged: k.left_out.flagged,
                })
                .collect(),
        };
        let columns = [
            Column::words("given"),
            Column::numbers("line", ""),
            Column::numbers("readings", ""),
            Column::words("mean read"),
            Column::words("residual"),
            Column::words("from the others"),
            Column::words(""),
        ];
        let rows: Vec<Vec<String>> = c
            .checked
            .iter()
            .take(SHOWN)
            .map(|k| {
                let digits = |v: f64| significant(v, k.reading);
                let unit = match k.condition.kind {
                    Kind::Celsius => "°C",
                    other => other.unit(),
                };
                vec![
                    k.condition.words(),
                    k.condition.lines.0.to_string(),
                    k.condition.count.to_string(),
                    format!("{} {unit}", digits(k.condition.mean)),
                    format!("{} {}", digits(k.residual), k.condition.kind.unit()),
                    format!("{} {}", digits(k.left_out.difference), k.condition.kind.unit()),
                    if k.left_out.flagged { "disagrees".into() } else { String::new() },
                ]
            })
            .collect();
        let m = c.misfit;
        html! {
            (both(figure, "Each condition against what all the others predict (dot) with what chance allows (bar); the \
                      stroke is the residual of the common solution.", &|frame| picture.draw(frame)))
            (table("Conditions in the order of the file", &columns, &rows))
            @if c.checked.len() > SHOWN { p { "And " (c.checked.len() - SHOWN) " more, in the raw readings." } }
            p {
                "Misfit " (fixed(m.value, 1)) " with " (m.degrees_of_freedom) (if m.degrees_of_freedom == 1 { " degree" } else { " degrees" }) " of freedom: as large by chance with p = "
                (fixed(m.probability, 3)) " if the design's limits are right. The board alone, in what the readings see of it: p = "
                (fixed(m.probability_of_board, 3)) ". Were all of the board's own deviations twice what the design allows, readings \
                 like these would show it in " (percent(m.power)) " of boards."
            }
            @if let Some(s) = c.scatter {
                p {
                    "Repeats scatter by " (significant(s.seen, s.seen / 10.0)) ", expected at most "
                    (significant(s.expected, s.expected / 10.0)) " (standard deviation of one reading, "
                    (s.degrees_of_freedom) " degrees of freedom)."
                }
            }
        }
    }

    fn budget(&self) -> Markup {
        let c = self.calibration;
        let point = self.worst();
        let Some(p) = c.band.get(point) else { return html! {} };
        let variance = p.standard * p.standard;
        let mut causes: Vec<_> =
            c.spread.causes.iter().zip(c.spread.parts.row(point).iter().copied()).collect();
        causes.sort_by(|a, b| b.1.abs().total_cmp(&a.1.abs()).then(a.0.id.cmp(&b.0.id)));
        let share = |u: f64| if variance > 0.0 { percent(u * u / variance) } else { String::new() };
        let rest = causes.iter().skip(LISTED).map(|(_, u)| u * u).fold(0.0, |a, b| a + b);
        let columns = [
            Column::words("what"),
            Column::words("part"),
            Column::words("distribution"),
            Column::numbers("standard uncertainty", "K"),
            Column::numbers("share of variance", ""),
        ];
        let mut rows: Vec<Vec<String>> = causes
            .iter()
            .take(LISTED)
            .map(|(cause, u)| {
                vec![
                    cause.label.clone(),
                    cause.origin.words().to_owned(),
                    cause.distribution.map_or("normal", |d| d.name()).to_owned(),
                    fixed(u.abs(), 3),
                    share(*u),
                ]
            })
            .collect();
        rows.push(vec![
            "all others".into(),
            String::new(),
            String::new(),
            fixed(rest.sqrt(), 3),
            share(rest.sqrt()),
        ]);
        let parts: Vec<Vec<String>> = by_origin(&c.spread, point)
            .into_iter()
            .map(|(origin, u)| vec![origin.words().to_owned(), fixed(u, 3), share(u)])
            .collect();
        html! {
            p {
                "At " (celsius(p.hot)) ", board at " (celsius(p.board)) ", where the error is largest. Combined standard \
                 uncertainty " b { (fixed(p.standard, 3)) " K" } "; known part of the error " (signed(p.bias, 2)) " K; 95 % interval "
                (signed(p.bias - p.half, 2)) " K to " (signed(p.bias + p.half, 2)) " K (shapes of the distributions kept)."
            }
            (table(
                "By origin",
                &[Column::words("part"), Column::numbers("standard uncertainty", "K"), Column::numbers("share of variance", "")],
                &parts,
            ))
            (table("By cause, largest first", &columns, &rows))
        }
    }

    fn next(&self) -> Markup {
        let rows: Vec<Vec<String>> = self
            .calibration
            .next
            .iter()
            .map(|n| vec![input(n.input), celsius(n.hot), celsius(n.board), percent(n.share)])
            .collect();
        html! {
            p { "One more reading under each of these conditions would take this much of the mean variance over range and board temperatures away. A small share says that the readings are enough." }
            (table(
                "The most helpful first",
                &[
                    Column::words("give"),
                    Column::words("stands for"),
                    Column::words("board at"),
                    Column::numbers("variance taken away", ""),
                ],
                &rows,
            ))
        }
    }

    fn cautions(&self) -> Markup {
        html! {
            (caution(Gravity::Danger, "Hot work and baths", &html! {
                p { "Boiling water, furnaces and dry wells burn; keep water away from the board and from mains. Disconnect the probe from the plant before a source is connected: a thermocouple can touch live parts. Local codes and licensed practice come first." }
            }))
            (caution(Gravity::Danger, "Not a safety device", &html! {
                p { "A calibrated measuring board is still no safety cut-out. What protects people or plant must be independent of it." }
            }))
            (caution(Gravity::Reading, "What this calibration holds for", &html! {
                p { "The board with the parts, the probe and the cable that are in the chain file. A repaired board, another probe, or a changed chain file needs a new calibration." }
            }))
        }
    }
}

fn file_name(path: &str) -> &str {
    path.rsplit(['/', '\\']).next().unwrap_or(path)
}

fn significant_volts(volts: f64) -> String {
    crate::number::prefixed(volts, "V", 4)
}

fn input(input: Input) -> String {
    match input {
        Input::Temperature(t) => celsius(t),
        Input::Injected(v) => format!("{} mV", brief(1e3 * v, 4)),
    }
}

fn traceability() -> Markup {
    let lines = [
        "References used, with their certificate numbers and dates",
        "Laboratory that calibrated the references",
        "Place and conditions",
        "Calibrated by",
        "Checked by",
        "Valid until",
    ];
    html! {
        p {
            "Whether this result is traceable (JCGM 200, 2.41) depends on the references that were used and on who stands \
             for them. That statement is yours to make:"
        }
        (definitions(&lines.map(|l| (l.to_owned(), html! { "………………………………………………………………" }))))
    }
}

fn working() -> Markup {
    html! {
        p {
            "The deviations of all parts are estimated by generalised least squares with the design's budget as prior \
             information; errors of a reference are shared by all readings with it. The error that is left is a weighted \
             sum of the independent deviations themselves, with the weights of that estimate, so each keeps the shape that \
             is known of it; the largest rectangle is kept exactly and the rest counts as normal. The probability of the \
             misfit is drawn from the same shapes. Method and checks: docs/calibration.md of the program; terms: JCGM \
             100:2008, JCGM 200:2012."
        }
    }
}
