//! How the page was computed: size and seed, grid, version, fingerprint of the chain file, sources.

use icepoint_chain::imperfection::SourceKind;
use maud::{Markup, html};

use super::Subject;
use super::words::{celsius_span, count};
use crate::page;

/// Documents that every dossier rests on.
const SOURCES: &[&str] = &[
    "IEC 60584-1:2013, Thermocouples: reference functions and tolerance classes; NIST Monograph 175",
    "JCGM 100:2008, Guide to the expression of uncertainty in measurement",
    "JCGM 101:2008, Propagation of distributions using a Monte Carlo method",
    "IEC 60063:2015, Preferred number series for resistors and capacitors",
    "IEC 60617, Graphical symbols for diagrams",
];

/// FNV-1a, 64 bit, of a text: stable on every machine, and enough to tell two files apart by eye.
///
/// Offset basis and prime from the definition by Fowler, Noll and Vo (RFC 9923).
///
/// ```
/// assert_eq!(icepoint_dossier::dossier::fingerprint("a"), 0xaf63_dc4c_8601_ec8c);
/// ```
#[must_use]
pub fn fingerprint(text: &str) -> u64 {
    text.bytes().fold(0xcbf2_9ce4_8422_2325, |hash, byte| {
        (hash ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3)
    })
}

pub(super) fn section(s: &Subject<'_>) -> Markup {
    let budget = s.budget;
    // The folder is not part of what was computed.
    let name = s.file.source.name.rsplit(['/', '\\']).next().unwrap_or("chain file");
    let rows: Vec<(String, Markup)> = [
        ("Program", format!("icepoint {}", env!("CARGO_PKG_VERSION"))),
        ("Chain file", name.to_owned()),
        (
            "Fingerprint",
            format!("{:016x} (FNV-1a, 64 bit, of the file's text)", fingerprint(&s.file.source.text)),
        ),
        ("Monte Carlo", format!("{} trials, seed {}", count(u64::from(budget.trials)), budget.seed)),
        (
            "Grid",
            format!(
                "{} temperatures of the measuring junction from {}, {} of the board from {}",
                budget.hot.len(),
                celsius_span(s.chain.need.hot),
                budget.board.len(),
                celsius_span(s.chain.need.board)
            ),
        ),
        ("Sets of values judged", count(s.design.tried as u64)),
        ("Imperfections", count(budget.imperfections.len() as u64)),
    ]
    .into_iter()
    .map(|(term, text)| (term.to_owned(), html! { (text) }))
    .collect();
    let mut standards: Vec<String> = budget
        .imperfections
        .iter()
        .filter(|i| i.source.kind == SourceKind::Standard)
        .map(|i| i.source.text.clone())
        .collect();
    standards.sort();
    standards.dedup();
    html! {
        p {
            "The same chain file gives the same page, byte for byte, on any machine and with any number of threads. The "
            "model is described in docs/model.md."
        }
        (page::definitions(&rows))
        h3 { "Sources" }
        ul {
            @for source in SOURCES { li { (source) } }
            @if !standards.is_empty() { li { "Limits in this chain: " (standards.join("; ")) } }
            li { "Data sheets of the parts in hand, as copied into the chain file" }
        }
    }
}
