//! Who causes the error, what an upgrade would buy, and how much of each limit is used.

use icepoint_chain::budget::BudgetPoint;
use icepoint_chain::imperfection;
use maud::{Markup, html};

use super::answer::{limit_detail, percent_used};
use super::words::{celsius, kelvin, plus_minus, sentence, typeset};
use super::{Pictures, Subject};
use crate::contributions::{Contribution, ContributionPoint, Contributions};
use crate::page::{self, Column};
use crate::theme::Family;

/// Bars of each point before the rest is joined.
const ROWS: usize = 12;

/// The colour of a family of the model.
pub(super) fn family(of: imperfection::Family) -> Family {
    match of {
        imperfection::Family::Probe => Family::Probe,
        imperfection::Family::Lead => Family::Lead,
        imperfection::Family::Junction => Family::ReferenceJunction,
        imperfection::Family::Resistor => Family::Resistors,
        imperfection::Family::Protection => Family::Rest,
        imperfection::Family::Amplifier => Family::Amplifier,
        imperfection::Family::Reference => Family::ReferenceVoltage,
        imperfection::Family::Converter => Family::Converter,
        imperfection::Family::Readout => Family::ReadingRule,
        imperfection::Family::Noise => Family::Noise,
        imperfection::Family::Mains => Family::Mains,
        imperfection::Family::Calibration => Family::Calibration,
    }
}

/// Bars at the hottest, the coldest and the worst point.
pub(super) fn contributions(s: &Subject<'_>, pictures: &mut Pictures) -> Markup {
    let (low, high) = s.chain.need.hot;
    let middle = imperfection::SPECIFIED_AT;
    let mut chosen: Vec<(&str, &BudgetPoint)> = Vec::new();
    let candidates = [
        ("Hottest", s.point(s.wish, high, middle)),
        ("Coldest", s.point(s.wish, low, middle)),
        ("Worst", s.budget.worst_point(s.wish)),
    ];
    for (name, point) in candidates {
        let Some(point) = point else { continue };
        match chosen.iter_mut().find(|(_, p)| p.hot == point.hot && p.board == point.board) {
            Some((first, _)) => {
                *first = if *first == "Hottest" { "Hottest and worst" } else { "Coldest and worst" }
            }
            None => chosen.push((name, point)),
        }
    }
    let points = chosen.iter().map(|(name, point)| bars(s, name, point)).collect();
    let picture = Contributions { id: "contributions-figure".to_owned(), rows: ROWS, points };
    let caption = format!(
        "Standard uncertainties in kelvin, {}; one scale for all points. Each is the sensitivity times the standard \
         uncertainty of the cause; the last column is its share of the variance.",
        Subject::short(s.wish)
    );
    html! {
        p {
            "These are what is left " (Subject::short(s.wish)) ". They add as squares, so halving a small one changes "
            "nothing. " (probe_share(s))
        }
        (pictures.both("contributions", &caption, &|frame| picture.draw(frame)))
    }
}

fn bars(s: &Subject<'_>, name: &str, point: &BudgetPoint) -> ContributionPoint {
    let variance = point.gum.standard * point.gum.standard;
    ContributionPoint {
        caption: format!("{name}: {}", Subject::place(point)),
        combined_standard_kelvin: point.gum.standard,
        contributions: s
            .budget
            .imperfections
            .iter()
            .zip(&point.gum.contributions)
            .map(|(imperfection, c)| Contribution {
                name: short(&imperfection.label),
                family: family(imperfection.family),
                standard_kelvin: c.abs(),
                share_of_variance: if variance > 0.0 { c * c / variance } else { 0.0 },
            })
            .collect(),
    }
}

/// Labels that are too long for a bar, and what stands there instead.
const SHORTER: &[(&str, &str)] = &[
    ("temperature difference between sensor and terminals", "sensor against terminals"),
    ("knowledge of the terminals' temperature during calibration", "thermometer at the terminals"),
    ("reference-junction sensor", "junction sensor"),
    (", during the calibration", ", calibrating"),
    ("over the supply's tolerance", "over the supply"),
];

/// A label for a bar.
fn short(label: &str) -> String {
    SHORTER.iter().fold(typeset(label), |text, (long, short)| text.replace(long, short))
}

/// The probe by itself against everything else at the worst point.
fn probe_share(s: &Subject<'_>) -> String {
    let Some(point) = s.budget.worst_point(s.wish) else { return String::new() };
    let of = |probe: bool| -> f64 {
        s.budget
            .imperfections
            .iter()
            .zip(&point.gum.contributions)
            .filter(|(i, _)| (i.family == imperfection::Family::Probe) == probe)
            .map(|(_, c)| c * c)
            .sum::<f64>()
            .sqrt()
    };
    let (probe, rest) = (of(true), of(false));
    if probe == 0.0 {
        return "The probe is taken as exact.".to_owned();
    }
    format!(
        "At {} the probe alone makes {} of the combined {}; everything else together, the board with its cable and \
         calibration, makes {}.",
        Subject::place(point),
        kelvin(probe),
        kelvin(point.gum.standard),
        kelvin(rest)
    )
}

/// The three upgrades, and all limits by use.
pub(super) fn upgrades_and_limits(s: &Subject<'_>) -> Markup {
    let columns = [
        Column::words("Change, each alone"),
        Column::numbers("From", "± K at 95 %"),
        Column::numbers("To", "± K at 95 %"),
        Column::numbers("Gain", "K"),
    ];
    let rows: Vec<Vec<String>> = s
        .design
        .upgrades
        .iter()
        .map(|u| {
            let figure = |v: f64| crate::number::fixed(v, 2);
            vec![sentence(&typeset(&u.what)), figure(u.from), figure(u.to), figure(u.from - u.to)]
        })
        .collect();
    let limits = [Column::words("Limit"), Column::numbers("Used", ""), Column::words("At its closest")];
    let used: Vec<Vec<String>> = s
        .design
        .bounds
        .iter()
        .map(|b| vec![sentence(&b.what), percent_used(b.used), limit_detail(s, b)])
        .collect();
    html! {
        @if rows.is_empty() {
            p { "No single better part or step would lower the error by more than half a per cent." }
        } @else {
            (page::table("The most useful upgrades", &columns, &rows))
        }
        @if let Some(bound) = s.design.bounds.first() {
            p {
                @if bound.used > 1.0 { "Beyond its limit: " } @else { "What binds first: " }
                b { (bound.what) } ", " (percent_used(bound.used)) " used. Voltages are judged with every part at the end "
                "of its tolerance that hurts, at the corners of the range; 0 % is the middle of what is allowed, 100 % "
                "its edge."
            }
        }
        (page::table("Limits, most used first", &limits, &used))
        @if let Some(point) = s.budget.worst_point(s.wish) {
            p {
                "The accuracy is judged where the error is largest: " (plus_minus(point.monte_carlo.error_95)) " at "
                (celsius(point.hot)) " with the board at " (celsius(point.board)) "."
            }
        }
    }
}
