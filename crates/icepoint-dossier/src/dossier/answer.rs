//! The answer first: whether the need is met, what each calibration is worth, and what binds.

use icepoint_chain::budget::BudgetPoint;
use icepoint_chain::chain::{CalibrationMethod, CalibrationWish};
use icepoint_chain::model::probe_limit;
use icepoint_design::Bound;
use maud::{Markup, html};

use super::Subject;
use super::words::{NBSP, asked, cause, celsius, kelvin, plus_minus, sentence, span_kelvin, typeset};
use crate::number::{fixed, percent};
use crate::page::{self, Column};

pub(super) fn section(s: &Subject<'_>) -> Markup {
    html! {
        (headlines(s))
        (verdict(s))
        (story(s))
    }
}

fn headlines(s: &Subject<'_>) -> Markup {
    let verdict = &s.design.verdict;
    let place = s.budget.worst_point(s.wish).map_or(String::new(), |p| format!(" ({})", Subject::place(p)));
    let error = format!(
        "95 % error {} where it is largest{place}; {} asked",
        Subject::short(s.wish),
        asked(verdict.accuracy)
    );
    let share = s.budget.yield_after(s.wish);
    let good =
        format!("of boards {} stay within {} everywhere", Subject::short(s.wish), asked(verdict.accuracy));
    let binding = s.design.bounds.first();
    html! {
        div.headlines {
            (page::headline(&plus_minus(verdict.error_95), &error, Some(verdict.error_95 <= verdict.accuracy)))
            (page::headline(&percent(share), &good, Some(share >= icepoint_chain::statistics::COVERAGE)))
            @if let Some(bound) = binding {
                @let words = format!("of its room is used by the limit that binds first: {}", bound.what);
                (page::headline(&percent_used(bound.used), &words, Some(bound.used <= 1.0)))
            }
        }
    }
}

/// What a limit allows and what is wanted, in words.
pub(super) fn limit_detail(s: &Subject<'_>, bound: &Bound) -> String {
    match s.design.headroom.iter().find(|u| u.what == bound.what) {
        Some(u) => format!(
            "{}{NBSP}V at {} with the board at {}, where {}{NBSP}V to {}{NBSP}V are allowed",
            fixed(u.volts, 3),
            celsius(u.hot),
            celsius(u.board),
            fixed(u.allowed.0, 3),
            fixed(u.allowed.1, 3)
        ),
        None => typeset(&bound.detail),
    }
}

/// A share that may be above one; far above, how many times.
pub(super) fn percent_used(used: f64) -> String {
    if !used.is_finite() {
        "beyond".to_owned()
    } else if used >= 10.0 {
        format!("{}{NBSP}×", fixed(used, 0))
    } else if used > 1.0 {
        format!("{} %", fixed(100.0 * used, usize::from(used < 1.1)))
    } else {
        percent(used)
    }
}

fn verdict(s: &Subject<'_>) -> Markup {
    let v = &s.design.verdict;
    let binding = s.design.bounds.first();
    html! {
        @if v.met() {
            p {
                b { "The need is met." }
                " " (kelvin(v.accuracy - v.error_95)) " of the accuracy asked is left over"
                @if let Some(bound) = binding {
                    "; the limit that comes closest is " (bound.what) ", " (limit_detail(s, bound))
                }
                "."
            }
        } @else {
            p { b { "The need is not met." } " What follows is the best board that was found. What is missing:" }
            ul { @for miss in &v.misses { li { (sentence(&typeset(miss))) "." } } }
        }
    }
}

/// The three calibrations beside each other, and in sentences.
fn story(s: &Subject<'_>) -> Markup {
    let accuracy = s.chain.need.accuracy;
    let columns = [
        Column::words("Calibration"),
        Column::numbers("Error at 95 %", "± K"),
        Column::numbers("Boards within", &asked(accuracy)),
        Column::numbers("Worst case", "K"),
        Column::words("Where the error is largest"),
    ];
    let rows: Vec<Vec<String>> = CalibrationWish::ALL
        .into_iter()
        .map(|wish| {
            let (low, high) = s.worst_case(wish);
            let mark = if wish == s.wish { " (the owner's choice)" } else { "" };
            vec![
                format!("{}{mark}", sentence(Subject::short(wish))),
                fixed(s.budget.error_95(wish), 2),
                percent(s.budget.yield_after(wish)),
                format!("{} to {}", crate::number::signed(low, 2), crate::number::signed(high, 2)),
                s.budget.worst_point(wish).map_or(String::new(), Subject::place),
            ]
        })
        .collect();
    html! {
        h3 { "What a calibration is worth" }
        (page::table("The same board without calibration, after one point and after two", &columns, &rows))
        (as_built(s))
        (one_point(s))
        (two_points(s))
    }
}

/// Largest contribution at a point: label and K at its limit.
fn largest<'a>(s: &Subject<'a>, point: &BudgetPoint) -> Option<(usize, &'a str, f64)> {
    let (index, standard) = point.ranked().into_iter().next()?;
    let imperfection = s.budget.imperfections.get(index)?;
    let u = imperfection.distribution.standard();
    let (_, limit) = imperfection.distribution.limits();
    Some((index, &imperfection.label, if u > 0.0 { standard * limit / u } else { standard }))
}

fn probe_alone(s: &Subject<'_>) -> Option<String> {
    let (low, high) = s.chain.need.hot;
    let far = if low.abs() > high.abs() { low } else { high };
    let limit = probe_limit(s.chain.probe.letter, s.chain.probe.tolerance, far);
    (limit > 0.0).then(|| {
        format!(
            "The probe alone ({}) may be off by {} at {}.",
            s.chain.probe.tolerance_text,
            plus_minus(limit),
            celsius(far)
        )
    })
}

/// Share of the error that every board of the design makes, in words, where it matters.
fn known(point: &BudgetPoint) -> Option<String> {
    (point.bias().abs() > 0.25 * point.monte_carlo.error_95).then(|| {
        format!(
            "{} of it is no uncertainty but the known error of the design there (reading rule, compensation, values as \
             they are sold): every board reads that much {}.",
            kelvin(point.bias().abs()),
            if point.bias() > 0.0 { "too high" } else { "too low" }
        )
    })
}

fn as_built(s: &Subject<'_>) -> Markup {
    let Some(point) = s.budget.worst_point(CalibrationWish::None) else { return html! {} };
    let largest = largest(s, point);
    html! {
        p {
            b { "As built," } " 95 % of readings are within " (plus_minus(point.monte_carlo.error_95)) " at "
            (Subject::place(point)) ", and " (percent(s.budget.yield_after(CalibrationWish::None)))
            " of boards are good everywhere. "
            @if let Some((_, label, limit)) = largest {
                "The largest cause is " (cause(label)) ", which alone may be worth " (plus_minus(limit)) " there. "
            }
            @if let Some(text) = probe_alone(s) { (text) " " }
            @if let Some(text) = known(point) { (text) }
        }
    }
}

/// What the largest cause without calibration still contributes at the same place afterwards, standard uncertainty, K.
fn left_of_the_largest(s: &Subject<'_>, wish: CalibrationWish) -> Option<String> {
    let before = s.budget.worst_point(CalibrationWish::None)?;
    let (index, label, _) = largest(s, before)?;
    let after = s.point(wish, before.hot, before.board)?;
    let was = before.gum.contributions.get(index)?.abs();
    let is = after.gum.contributions.get(index)?.abs();
    Some(if is > 0.9 * was {
        format!("It leaves {} as it was ({} standard uncertainty there).", cause(label), kelvin(is))
    } else {
        let left = if is < 0.005 { format!("less than {}", kelvin(0.01)) } else { kelvin(is) };
        format!(
            "It brings {} from {} down to {left} (standard uncertainty there).",
            cause(label),
            kelvin(was)
        )
    })
}

/// How an error changed, in words.
fn change(from: f64, to: f64) -> &'static str {
    match to / from {
        r if r > 1.02 => "makes it worse",
        r if r > 0.95 => "hardly helps",
        r if r > 0.7 => "helps a little",
        r if r > 0.35 => "helps much",
        _ => "changes the board",
    }
}

fn one_point(s: &Subject<'_>) -> Markup {
    let wish = CalibrationWish::Zero;
    let Some(point) = s.budget.worst_point(wish) else { return html! {} };
    let (before, now) = (s.budget.error_95(CalibrationWish::None), s.budget.error_95(wish));
    html! {
        p {
            b { "One point" }
            @if let Some(at) = s.chain.plan.at.first() { " at " (celsius(*at)) ", with " (s.method()) "," }
            " shifts the reading and " (change(before, now)) ": " (plus_minus(now)) " at " (Subject::place(point)) ", "
            (percent(s.budget.yield_after(wish))) " of boards good. "
            @if let Some(text) = left_of_the_largest(s, wish) { (text) " " }
            @if let Some(text) = known(point) { (text) }
        }
    }
}

fn two_points(s: &Subject<'_>) -> Markup {
    let wish = CalibrationWish::ZeroAndSpan;
    let Some(point) = s.budget.worst_point(wish) else { return html! {} };
    if s.chain.plan.at.len() < 2 {
        return html! { p { b { "Two points" } " were not planned: the last row is that of one point." } };
    }
    let (before, now) = (s.budget.error_95(CalibrationWish::Zero), s.budget.error_95(wish));
    let at: Vec<String> = s.chain.plan.at.iter().take(2).map(|t| celsius(*t)).collect();
    let remaining = largest(s, point);
    html! {
        p {
            b { "Two points" } " at " (at.join(" and ")) " shift and scale it. The second " (change(before, now)) ": "
            (plus_minus(now)) " at " (Subject::place(point)) ", " (percent(s.budget.yield_after(wish)))
            " of boards good; no board within its data sheets is outside " (span(s, wish)) ". "
            @if let Some(text) = left_of_the_largest(s, wish) { (text) " " }
            @if let Some((_, label, limit)) = remaining {
                "What remains largest is " (cause(label)) ", up to " (plus_minus(limit)) ". "
            }
            @match s.chain.plan.method {
                CalibrationMethod::MillivoltSource { .. } => {
                    "The probe is not part of a calibration with a millivolt source: its own deviation stays whole."
                }
                CalibrationMethod::KnownTemperature { .. } => {
                    "Probe and board are calibrated together, so the result holds for this probe with this board only."
                }
            }
            @if let Some(text) = known(point) { " " (text) }
        }
    }
}

fn span(s: &Subject<'_>, wish: CalibrationWish) -> String {
    let (low, high) = s.worst_case(wish);
    span_kelvin(low, high)
}
