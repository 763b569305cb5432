//! Every default that was used, and what the model assumes beside them.

use maud::{Markup, html};

use super::Subject;
use super::words::{minus, sentence};
use crate::page::{self, Column};

/// What holds for every chain, with its source.
const ALWAYS: &[(&str, &str)] = &[
    (
        "A stated limit is a rectangular distribution; a typical figure alone is one standard deviation",
        "JCGM 100:2008, 4.3.7; the second is common practice, no source",
    ),
    (
        "The probe deviates the same way everywhere: one deviation scales the whole limit of its class",
        "JCGM 100:2008, F.1.2.3",
    ),
    ("Parts are specified at 25 °C", "data-sheet convention"),
    (
        "Noise, pick-up, quantisation and the converter's non-linearity differ from reading to reading; everything else \
         stays with the board",
        "docs/model.md",
    ),
    (
        "An insulated junction has 1 nF to the plant, a grounded one 0.1 Ω; the wire loop is halved on each side of it",
        "common practice, no source",
    ),
    ("The mains is within ±1 % of its nominal frequency", "EN 50160, from memory"),
];

pub(super) fn section(s: &Subject<'_>) -> Markup {
    let columns = [
        Column::words("Not in the file"),
        Column::words("Taken as"),
        Column::words("Why"),
        Column::words("Source"),
    ];
    let rows: Vec<Vec<String>> = s
        .file
        .assumptions
        .iter()
        .map(|a| {
            let text = a.default.text.trim_matches('"');
            vec![a.key.clone(), minus(text), sentence(a.default.reason), a.default.source.to_owned()]
        })
        .collect();
    html! {
        @if rows.is_empty() {
            p { "The chain file leaves nothing to defaults." }
        } @else {
            p {
                "The chain file does not say these. Each is used as if it had been written; write a better figure into the "
                "file where you know one."
            }
            (page::table("Defaults used", &columns, &rows))
        }
        h3 { "Beside the defaults" }
        ul {
            @for text in &s.design.resolved.assumptions { li { (sentence(&minus(text))) "." } }
            @for (text, source) in ALWAYS { li { (text) " (" (source) ")." } }
        }
    }
}
