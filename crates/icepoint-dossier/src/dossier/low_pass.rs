//! The active low-pass, stage by stage: the poles wanted, those of the values chosen, and what moves them.

use icepoint_chain::front_end::PartKind;
use icepoint_chain::low_pass::insert::Inserted;
use icepoint_chain::low_pass::{Amplifier, Built, Form, Response};
use icepoint_chain::quantity::Unit;
use maud::{Markup, html};

use super::Subject;
use super::words::quantity;
use crate::number::{fixed, significant};
use crate::page::{self, Column};

pub(super) fn section(s: &Subject<'_>) -> Markup {
    let Some(inserted) = &s.design.resolved.low_pass else { return html! {} };
    let stages = built(s, inserted);
    let real = amplifier(s, inserted);
    let corner = corner(&stages, real);
    let surroundings = &s.design.resolved.surroundings;
    let (resistor, capacitor) = (surroundings.resistor.tolerance, surroundings.capacitor_tolerance);
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
        .map(|(parts, built)| {
            let mut row = vec![
                parts.amplifier.clone(),
                significant(parts.stage.pole.frequency * wanted_corner, 4),
                q(parts.stage.pole.q),
            ];
            for amplifier in [Amplifier::IDEAL, real] {
                match built.pole(amplifier) {
                    Some(pole) => row.extend([significant(pole.frequency, 4), q(pole.q)]),
                    None => row.extend(["–".to_owned(), "–".to_owned()]),
                }
            }
            let (frequency, quality) = built.spread(resistor, capacitor);
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
            " Spread: one standard deviation of pole frequency and Q with every part anywhere within its tolerance, to "
            "first order."
        }
        (page::table("Poles of the low-pass", &columns, &rows))
    }
}

/// The stages with their values.
fn built(s: &Subject<'_>, inserted: &Inserted) -> Vec<Built> {
    let front_end = &s.chain.front_end;
    let values = |names: &[String]| names.iter().filter_map(|n| front_end.value(n)).collect();
    inserted.stages.iter().map(|p| p.stage.built(values(&p.ohms), values(&p.farads))).collect()
}

fn amplifier(s: &Subject<'_>, inserted: &Inserted) -> Amplifier {
    let part = inserted.stages.first().and_then(|p| s.chain.front_end.part(&p.amplifier));
    match part.map(|p| &p.kind) {
        Some(PartKind::Operational { figures, .. }) => {
            Amplifier { bandwidth: figures.bandwidth, gain: figures.open_loop_gain }
        }
        _ => Amplifier::IDEAL,
    }
}

/// Where the stages together are 3 dB below 0 Hz, Hz: the last place, by bisection of the logarithm.
fn corner(stages: &[Built], amplifier: Amplifier) -> f64 {
    let magnitude =
        |hertz: f64| -> f64 { stages.iter().map(|s| s.response(amplifier, hertz).magnitude()).product() };
    let level = magnitude(0.0) * core::f64::consts::FRAC_1_SQRT_2;
    let (mut low, mut high) = (1e-4_f64, 1e7_f64);
    for _ in 0..120 {
        let middle = (low * high).sqrt();
        if magnitude(middle) > level { low = middle } else { high = middle }
    }
    (low * high).sqrt()
}
