//! Filter, mains residual, settling and noise.

use icepoint_chain::ModelError;
use icepoint_chain::chain::Readout;
use icepoint_chain::chain::{CalibrationWish, DigitalFilter};
use icepoint_chain::imperfection::SPECIFIED_AT;
use icepoint_chain::mains_lines::MainsLine as ChainLine;
use icepoint_chain::quantity::Unit;
use maud::{Markup, html};

use super::words::{asked, celsius, quantity};
use super::{Pictures, Subject};
use crate::noise::{Noise, NoiseSource};
use crate::number::{plain, prefixed};
use crate::page::{self, Column};
use crate::response::{MainsLine, Response, ResponsePoint};
use crate::settling::Settling;
use crate::theme::Family;

/// Lines of the mains that are marked and told, the fundamental and the strongest harmonics.
const LINES: usize = 8;
/// Lines marked in the picture.
const MARKED: usize = 4;
/// Points of a curve over frequency.
const POINTS: u32 = 600;
/// Lowest magnitude on the picture, dB.
const FLOOR: f64 = -140.0;
/// Noise sources that have a line of their own.
const SOURCES: usize = 5;
/// Samples of the step response are taken over this many settling times.
const SHOWN: f64 = 1.8;

pub(super) fn section(s: &Subject<'_>, pictures: &mut Pictures) -> Result<Markup, ModelError> {
    Ok(html! {
        h3 { "Filter and mains" }
        (filter(s, pictures)?)
        (super::low_pass::section(s, pictures))
        h3 { "Settling" }
        (settling(s, pictures)?)
        h3 { "Noise" }
        (noise(s, pictures)?)
    })
}

/// Frequencies from `low` to `high` in equal steps of their logarithm.
pub(super) fn frequencies(low: f64, high: f64, steps: u32) -> Vec<f64> {
    (0..=steps).map(|i| low * libm::pow(high / low, f64::from(i) / f64::from(steps))).collect()
}

pub(super) fn decibel(ratio: f64) -> f64 {
    20.0 * libm::log10(ratio.abs().max(1e-15))
}

fn filter(s: &Subject<'_>, pictures: &mut Pictures) -> Result<Markup, ModelError> {
    let model = &s.design.model;
    let mains = s.chain.need.mains;
    let digital = s.chain.filter != DigitalFilter::None;
    let points = model
        .response(&frequencies(mains * 2e-3, mains * 60.0, POINTS))?
        .into_iter()
        .map(|p| ResponsePoint {
            hertz: p.hertz,
            analog_decibel: decibel(p.analog),
            digital_decibel: digital.then(|| decibel(p.digital)),
            total_decibel: decibel(p.analog * p.digital),
        })
        .collect();
    let lines = model.mains_lines()?;
    let (told, rest) = strongest(&lines, LINES);
    let (marked, _) = strongest(&told, MARKED);
    let response = Response {
        id: "response-figure".to_owned(),
        points,
        mains: marked.iter().map(|l| MainsLine { hertz: l.hertz, residual_kelvin: l.kelvin }).collect(),
        floor_decibel: FLOOR,
    };
    let caption = format!(
        "Response from the thermocouple to the reading. At {} and at the harmonics that leave most, what is left of the \
         pick-up in the reading, as amplitude where the reading is moved most.",
        quantity(mains, Unit::Hertz, 3)
    );
    let columns = [
        Column::numbers("Line", "Hz"),
        Column::numbers("Share", "%"),
        Column::numbers("Analog", "dB"),
        Column::numbers("Digital", "dB"),
        Column::numbers("worst within ±1 %", "dB"),
        Column::numbers("Left at −1 %", "K"),
        Column::numbers("nominal", "K"),
        Column::numbers("+1 %", "K"),
        Column::numbers("worst", "K"),
    ];
    let decibels =
        |ratio: f64| if digital { crate::number::fixed(decibel(ratio).max(FLOOR), 1) } else { "–".into() };
    // Below a nanokelvin a figure is rounding.
    let kelvin = |k: f64| if k < 1e-9 { "0".to_owned() } else { crate::number::significant(k, 2) };
    let rows: Vec<Vec<String>> = told
        .iter()
        .map(|l| {
            let mut row = vec![
                plain(l.hertz),
                crate::number::significant(100.0 * l.share, 3),
                crate::number::fixed(decibel(l.analog), 1),
                decibels(l.digital_nominal),
                decibels(l.digital),
            ];
            row.extend(l.at.map(kelvin));
            row.push(kelvin(l.kelvin));
            row
        })
        .collect();
    let allowed = s.chain.need.mains_residual;
    Ok(html! {
        p {
            "The mains leaves " (small_kelvin(s.design.mains_kelvin)) " in the reading (amplitude"
            @if !matches!(s.chain.readout, Readout::Line { .. }) {
                ", at " (celsius(model.least_sensitive().0)) ", where the thermocouple is least sensitive"
            }
            ")"
            @if allowed.is_finite() { "; " (asked(allowed)) " is allowed" }
            ". The fundamental counts with both pick-ups at their worst together, the harmonics as one sine of their power."
            @if digital {
                " The digital filter is judged with the mains off its nominal frequency by up to 1 %, where it no longer "
                "cancels what it cancels at the nominal one; near multiples of its sampling rate it cancels nothing."
            }
        }
        (pictures.both("response", &caption, &|frame| response.draw(frame)))
        (page::table("Lines of the mains", &columns, &rows))
        @if rest > 0.0 {
            p { "All other harmonics together leave " (kelvin(rest)) (super::words::NBSP) "K." }
        }
    })
}

/// The fundamental and the strongest harmonics, `count` in all, by frequency; and what the others leave together, K.
fn strongest(lines: &[ChainLine], count: usize) -> (Vec<ChainLine>, f64) {
    let Some((first, harmonics)) = lines.split_first() else { return (Vec::new(), 0.0) };
    let mut ranked = harmonics.to_vec();
    ranked.sort_by(|a, b| b.kelvin.total_cmp(&a.kelvin).then(a.multiple.cmp(&b.multiple)));
    let others = ranked.split_off(ranked.len().min(count.saturating_sub(1)));
    ranked.push(*first);
    ranked.sort_by_key(|l| l.multiple);
    (ranked, others.iter().map(|l| l.kelvin * l.kelvin).sum::<f64>().sqrt())
}

fn settling(s: &Subject<'_>, pictures: &mut Pictures) -> Result<Markup, ModelError> {
    let need = &s.chain.need;
    let step = need.hot.1 - need.hot.0;
    let coarse = &s.design.settling;
    let last = coarse.response.times.last().copied().unwrap_or(1.0);
    // The response that answers the need covers the time asked; the picture wants the moving part of it.
    let shown = match coarse.analog {
        Some(t) if t > 0.0 => s.design.model.settling((SHOWN * t).min(last))?,
        _ => coarse.clone(),
    };
    let end = if shown.final_volts == 0.0 { 1.0 } else { shown.final_volts };
    let picture = Settling {
        id: "settling-figure".to_owned(),
        reading_kelvin: shown
            .response
            .times
            .iter()
            .zip(&shown.response.volts)
            .map(|(t, v)| (*t, step * v / end))
            .collect(),
        step_kelvin: step,
        band_kelvin: need.settle_to * step,
        settled_seconds: coarse.analog,
        asked_seconds: need.settle_within.is_finite().then_some(need.settle_within),
    };
    let total = match coarse.total() {
        Some(t) => prefixed(t, "s", 2),
        None => "more than was looked at".to_owned(),
    };
    let mut caption = "The circuit after a step over the whole range.".to_owned();
    if coarse.digital > 0.0 {
        caption +=
            &format!(" The digital filter adds {} to what is shown.", prefixed(coarse.digital, "s", 2));
    }
    Ok(html! {
        p {
            "Settled to within " (super::words::ratio(need.settle_to)) " of a step after " (total)
            @if coarse.digital > 0.0 { ", digital filter included" }
            @if need.settle_within.is_finite() { "; " (quantity(need.settle_within, Unit::Second, 3)) " is allowed" }
            ". The probe itself is slower than this by far in most installations and is not part of it."
        }
        (pictures.both("settling", &caption, &|frame| picture.draw(frame)))
    })
}

/// A small temperature difference, two significant digits and no prefix.
fn small_kelvin(value: f64) -> String {
    format!("{}{}K", crate::number::significant(value, 2), super::words::NBSP)
}

/// Which colour a noise source has, from the name of its part.
fn family(name: &str) -> Family {
    match name.as_bytes().first() {
        Some(b'A') => Family::Amplifier,
        Some(b'R') => Family::Resistors,
        Some(b'l') => Family::Lead,
        Some(b'c') => Family::Converter,
        Some(b't') => Family::ReferenceJunction,
        _ => Family::Noise,
    }
}

/// Noise in the reading at a point of the grid as built, standard deviation, K.
pub(super) fn noise_kelvin(s: &Subject<'_>, hot: f64) -> Option<f64> {
    let index = s.budget.imperfections.iter().position(|i| i.id == "noise.circuit")?;
    let point = s.point(CalibrationWish::None, hot, SPECIFIED_AT)?;
    point.gum.contributions.get(index).map(|c| c.abs())
}

fn noise(s: &Subject<'_>, pictures: &mut Pictures) -> Result<Markup, ModelError> {
    let model = &s.design.model;
    let Some(dynamics) = model.dynamics() else { return Ok(html! {}) };
    let (low, high) = s.chain.need.hot;
    let curve = model.noise_curve(&frequencies(
        icepoint_chain::dynamics::NOISE_FROM,
        0.1 * icepoint_chain::dynamics::NOISE_TO,
        POINTS,
    ))?;
    let sources = dynamics
        .noise_shares
        .iter()
        .take(SOURCES)
        .map(|(name, _)| NoiseSource {
            name: name.clone(),
            family: family(name),
            density: curve
                .iter()
                .filter_map(|p| Some((p.hertz, p.shares.iter().find(|(n, _)| n == name)?.1)))
                .collect(),
        })
        .collect();
    let kelvin = |hot: f64| noise_kelvin(s, hot).map_or("–".to_owned(), small_kelvin);
    let after = if s.chain.filter == DigitalFilter::None { "" } else { " after the digital filter" };
    let result = format!("{} rms{after}", prefixed(dynamics.noise_rms, "V", 2));
    let picture = Noise {
        id: "noise-figure".to_owned(),
        sources,
        total: curve.iter().map(|p| (p.hertz, p.density)).collect(),
        result,
    };
    let caption = format!(
        "Noise density at the output, before anything that averages readings, board at {}; the strongest sources and \
         their sum.",
        celsius(s.chain.need.board.1)
    );
    let columns = [Column::words("Source"), Column::numbers("At the output", "µV rms")];
    let rows: Vec<Vec<String>> = dynamics
        .noise_shares
        .iter()
        .take(SOURCES)
        .map(|(name, rms)| vec![name.clone(), crate::number::significant(1e6 * rms, 2)])
        .collect();
    Ok(html! {
        p {
            "Resistors and amplifiers together leave " (prefixed(dynamics.noise_rms, "V", 2)) " rms at the output" (after)
            ", from 0.01" (super::words::NBSP) "Hz upward: a standard deviation of " (kelvin(high)) " at "
            (celsius(high)) " and " (kelvin(low)) " at " (celsius(low)) "."
        }
        (pictures.both("noise", &caption, &|frame| picture.draw(frame)))
        (page::table("Strongest sources of noise", &columns, &rows))
    })
}
