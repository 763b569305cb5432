//! The active low-pass, stage by stage: the poles wanted, those of the values chosen, and what moves them; and its
//! magnitude and step with what they are on 95 % of boards.

use icepoint_chain::low_pass::boards::{BANDWIDTH_SPREAD, BOARDS, Boards, Question, Spread};
use icepoint_chain::low_pass::insert::Inserted;
use icepoint_chain::low_pass::{Amplifier, Form, Response};
use icepoint_chain::quantity::Unit;
use maud::{Markup, html};

use super::dynamics::{decibel, frequencies};
use super::words::quantity;
use super::{Pictures, Subject};
use crate::low_pass_band::{BandPoint, Figure, LowPassMagnitude, LowPassStep};
use crate::number::{fixed, significant};
use crate::page::{self, Column};

pub(super) fn section(s: &Subject<'_>, pictures: &mut Pictures) -> Markup {
    let Some(inserted) = &s.design.resolved.low_pass else { return html! {} };
    let stages = inserted.built(&s.design.model);
    let corner = inserted.corner(&s.design.model);
    let columns = [
        Column::words("Stage"),
        Column::numbers("Pole wanted", "Hz"),
        Column::numbers("Q", ""),
        Column::numbers("as chosen", "Hz"),
        Column::numbers("Q", ""),
        Column::numbers("with its amplifier", "Hz"),
        Column::numbers("Q", ""),
        Column::numbers("spread", "%"),
        Column::numbers("of Q", "%"),
    ];
    let q = |q: Option<f64>| q.map_or("–".to_owned(), |q| fixed(q, 3));
    let wanted_corner = inserted.plan.corner.unwrap_or(corner);
    let rows: Vec<Vec<String>> = inserted
        .stages
        .iter()
        .zip(&stages)
        .zip(inserted.spreads(&s.design.model))
        .map(|((parts, (built, real)), (frequency, quality))| {
            let mut row = vec![
                parts.amplifier.clone(),
                significant(parts.stage.pole.frequency * wanted_corner, 4),
                q(parts.stage.pole.q),
            ];
            for amplifier in [Amplifier::IDEAL, *real] {
                match built.pole(amplifier) {
                    Some(pole) => row.extend([significant(pole.frequency, 4), q(pole.q)]),
                    None => row.extend(["–".to_owned(), "–".to_owned()]),
                }
            }
            row.push(significant(100.0 * frequency, 2));
            row.push(if parts.stage.pole.q.is_some() {
                significant(100.0 * quality, 2)
            } else {
                "–".to_owned()
            });
            row
        })
        .collect();
    let form = match inserted.plan.form {
        Form::SallenKey => "Sallen–Key",
        Form::MultipleFeedback => "multiple feedback",
    };
    let response = match inserted.plan.response {
        Response::Chebyshev { ripple } => format!("Chebyshev of {} dB ripple", significant(ripple, 2)),
        Response::Bessel => "Bessel".to_owned(),
        Response::Butterworth => "Butterworth".to_owned(),
        Response::CriticallyDamped => "critically damped".to_owned(),
    };
    html! {
        h3 { "Low-pass" }
        p {
            (inserted.plan.poles) @if inserted.plan.poles == 1 { " pole, " } @else { " poles, " }
            (response) ", " (form) ": 3 dB below 0" (super::words::NBSP) "Hz at " (quantity(corner, Unit::Hertz, 3)) "."
            @if inserted.plan.gain() < 0.0 {
                " It inverts; the constants of the reading rule allow for that."
            }
            @if !inserted.replaced.is_empty() {
                " It stands in the place of the front end's own low-pass (" (inserted.replaced.join(", ")) ")."
            }
            " Spread: one standard deviation of pole frequency and Q with every part anywhere within its tolerance, "
            "capacitors with what temperature adds, to first order."
        }
        (page::table("Poles of the low-pass", &columns, &rows))
        (boards(s, inserted, corner, pictures))
    }
}

/// Points of each curve.
const POINTS: u32 = 240;
/// Samples of a step: at the quickest filter fifty to a period of what rings.
const SAMPLES: usize = 500;

/// The curves of many boards, and their figures.
fn boards(s: &Subject<'_>, inserted: &Inserted, corner: f64, pictures: &mut Pictures) -> Markup {
    let need = &s.chain.need;
    let (from, to) = (corner / 30.0, (30.0 * corner).max(3.0 * need.mains));
    let hertz = frequencies(from.min(need.mains / 3.0), to, POINTS);
    let question = Question { boards: BOARDS, hertz, samples: SAMPLES };
    let Some(found) = inserted.boards(&s.design.model, &question) else {
        return html! { p { "An amplifier of this low-pass is so slow that it has no step to show." } };
    };
    let figure = |f: Spread| Figure { nominal: f.nominal, low: f.low, high: f.high };
    let decibels =
        |f: Spread| Figure { nominal: decibel(f.nominal), low: decibel(f.low), high: decibel(f.high) };
    let magnitude = LowPassMagnitude {
        id: "low-pass-figure".to_owned(),
        points: found
            .magnitude
            .iter()
            .map(|p| BandPoint {
                at: p.at,
                curve: Figure { nominal: decibel(p.nominal), low: decibel(p.low), high: decibel(p.high) },
                missing: 0.0,
            })
            .collect(),
        corner: figure(found.corner),
        mains_hertz: need.mains,
        mains_decibel: decibels(found.mains),
    };
    // What moves, and as far as the slowest of the boards.
    let last = found.settled.high.max(found.settled.nominal);
    let shown = found.step.iter().filter(|p| !last.is_finite() || p.at <= 1.5 * last);
    let step = LowPassStep {
        id: "low-pass-step-figure".to_owned(),
        points: shown
            .map(|p| BandPoint {
                at: p.at,
                curve: Figure { nominal: p.nominal, low: p.low, high: p.high },
                missing: p.missing,
            })
            .collect(),
        settle_to: need.settle_to,
        settled: figure(found.settled),
        asked_seconds: need.settle_within.is_finite().then_some(need.settle_within),
        overshoot: figure(found.overshoot),
    };
    let caption = String::from(
        "The low-pass alone, against its own gain at 0 Hz: as chosen, and between what limits 95 % of boards lie at each \
         frequency. Above, the same near the corner. Marked: where it is 3 dB below 0 Hz, and the mains.",
    );
    let after = format!(
        "The low-pass alone after a step: as chosen, and between what limits 95 % of boards lie at each instant. Below, how \
         far they are from the end; settled is within {} of the step.",
        super::words::ratio(need.settle_to)
    );
    html! {
        (table(&found, need.settle_to, need.mains))
        p {
            (found.boards) " boards, simulated: resistors and open-loop gains as in the budget, the board anywhere in its range "
            "of temperature, capacitors anywhere within their tolerance and what temperature adds, gain-bandwidth products "
            "within ±" (super::words::ratio(BANDWIDTH_SPREAD)) " of the figure (common practice, no source)."
        }
        (pictures.both("low-pass", &caption, &|frame| magnitude.draw(frame)))
        (pictures.both("low-pass-step", &after, &|frame| step.draw(frame)))
    }
}

/// The figures of the curves.
fn table(found: &Boards, settle_to: f64, mains: f64) -> Markup {
    let row = |name: String, unit: &str, f: Spread, print: &dyn Fn(f64) -> String| {
        vec![name, unit.to_owned(), print(f.asked), print(f.nominal), print(f.low), print(f.high)]
    };
    let last = found.step.last().map_or(0.0, |p| p.at);
    let time = |t: f64| if t.is_finite() { significant(t, 3) } else { format!("> {}", significant(last, 2)) };
    // A millionth of a step is the rounding of the boards' figures.
    let share = |x: f64| if x.abs() < 1e-6 { "0".to_owned() } else { significant(100.0 * x, 2) };
    let rows = [
        row("3 dB below 0 Hz at".to_owned(), "Hz", found.corner, &|f| significant(f, 3)),
        row(format!("at {}", quantity(mains, Unit::Hertz, 3)), "dB", found.mains, &|m| fixed(decibel(m), 1)),
        row("beyond the end of a step".to_owned(), "%", found.overshoot, &share),
        row(format!("settled within {}", super::words::ratio(settle_to)), "s", found.settled, &time),
    ];
    let columns = [
        Column::words("Figure"),
        Column::words("Unit"),
        Column::numbers("as asked", ""),
        Column::numbers("as chosen", ""),
        Column::numbers("95 % from", ""),
        Column::numbers("to", ""),
    ];
    page::table("The low-pass of many boards", &columns, &rows)
}
