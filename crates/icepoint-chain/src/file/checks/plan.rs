//! Sampling, part values and the plan of a calibration.

use super::super::converter::DigitalFilter;
use super::super::given::{Given, Span};
use super::super::problem::Problem;
use super::super::walk::Walk;
use super::super::{ChainFile, PartValue};
use super::{celsius, place};
use crate::front_end::SlotKind;
use crate::quantity::{Toleranced, Unit, format};

pub(super) fn filter(file: &ChainFile, walk: &mut Walk<'_>) {
    let Some(rate) = &file.filter.sample_rate else { return };
    let at = place(walk, rate, "filter");
    match &file.filter.digital {
        DigitalFilter::Mean { over_periods } => {
            let samples = rate.value * f64::from(over_periods.value) / file.need.mains.value;
            if samples < 2.0 {
                walk.problem(
                    Problem::new(
                        "filter.too_few_samples",
                        format!("a mean of {} samples averages nothing", format(samples, Unit::Count, 3)),
                    )
                    .at(at, "too slow for the mains")
                    .also(file.need.mains.span(), "the mains")
                    .expected("several samples in each mains period")
                    .help(format!(
                        "sample_rate = \"{}\"",
                        format(20.0 * file.need.mains.value, Unit::Hertz, 3)
                    )),
                );
            } else if (samples - libm::round(samples)).abs() > 1e-6 * samples {
                walk.problem(
                    Problem::new(
                        "filter.broken_period",
                        format!(
                            "{} samples are not a whole number of mains periods",
                            format(samples, Unit::Count, 6)
                        ),
                    )
                    .caution()
                    .at(at, "leaves some of the mains")
                    .also(file.need.mains.span(), "the mains")
                    .help(format!(
                        "sample_rate = \"{}\"",
                        format(
                            libm::round(rate.value / file.need.mains.value).max(2.0) * file.need.mains.value,
                            Unit::Hertz,
                            6
                        )
                    )),
                );
            }
        }
        DigitalFilter::Sinc { output_rate, .. } => sinc(rate, output_rate, at, walk),
        DigitalFilter::FirstOrder { time_constant } if time_constant.value * rate.value < 1.0 => walk
            .problem(
                Problem::new("filter.too_few_samples", "the time constant is shorter than one sample")
                    .at(at, "too slow for the time constant")
                    .also(time_constant.span(), "the time constant")
                    .expected("several samples in each time constant")
                    .help(format!(
                        "sample_rate = \"{}\"",
                        format(10.0 / time_constant.value, Unit::Hertz, 2)
                    )),
            ),
        _ => {}
    }
}

/// An active low-pass needs a place and amplifiers.
pub(super) fn low_pass(file: &ChainFile, walk: &mut Walk<'_>) {
    if let Some(Err(problem)) = file.low_pass() {
        let place = walk.places.get("filter.analog").map_or(Span::new(0, 0), |place| place.key);
        walk.problem(problem.at(place, "asked for here"));
    }
}

/// A sinc filter decimates by a whole number.
fn sinc(rate: &Given<f64>, output_rate: &Given<f64>, at: Span, walk: &mut Walk<'_>) {
    let samples = rate.value / output_rate.value;
    if samples < 2.0 {
        walk.problem(
            Problem::new(
                "filter.too_few_samples",
                format!("{} samples for each output average nothing", format(samples, Unit::Count, 3)),
            )
            .at(at, "no faster than what comes out")
            .also(output_rate.span(), "what comes out")
            .expected("many samples for each output")
            .help(format!("sample_rate = \"{}\"", format(1000.0 * output_rate.value, Unit::Hertz, 3))),
        );
    } else if (samples - libm::round(samples)).abs() > 1e-6 * samples {
        walk.problem(
            Problem::new(
                "filter.broken_decimation",
                format!("{} samples for each output are not a whole number", format(samples, Unit::Count, 6)),
            )
            .caution()
            .at(at, "rounded to a whole number: the nulls move")
            .also(output_rate.span(), "what comes out")
            .help(format!(
                "sample_rate = \"{}\"",
                format(libm::round(samples) * output_rate.value, Unit::Hertz, 9)
            )),
        );
    }
}

/// A value that was chosen by hand must be one that is sold, unless a tolerance beside it says that it was picked.
pub(super) fn part_values(file: &ChainFile, walk: &mut Walk<'_>) {
    let tracks = super::trims::tracks(file);
    for (name, given) in &file.front_end.values {
        // Tracks come in steps of their own.
        if tracks.contains(name) {
            continue;
        }
        let PartValue::Chosen { quantity, unit } = &given.value else { continue };
        let at = place(walk, given, "front_end.values");
        in_series(file, walk, name, quantity, *unit, at);
    }
    // A value in the circuit itself is held to the same; one with a tolerance of its own is a part at hand.
    for slot in file.circuit.iter().flat_map(|circuit| &circuit.slots) {
        if tracks.contains(&slot.designator) {
            continue;
        }
        let (Some(value), None) = (slot.given, slot.tolerance) else { continue };
        let path = format!("circuit.parts.{}.value", slot.designator);
        let Some(at) = walk.places.get(&path).map(|place| place.value) else { continue };
        let unit = match slot.kind {
            SlotKind::Resistor => Unit::Ohm,
            SlotKind::Capacitor => Unit::Farad,
        };
        in_series(file, walk, &slot.designator, &Toleranced::exact(value), unit, at);
    }
}

fn in_series(
    file: &ChainFile,
    walk: &mut Walk<'_>,
    name: &str,
    quantity: &Toleranced,
    unit: Unit,
    at: super::Span,
) {
    // What lies in a drawer need be in no series.
    if file.parts.drawer.is_some() {
        return;
    }
    let series = match unit {
        Unit::Ohm => &file.parts.resistors.series,
        Unit::Farad => &file.parts.capacitors.series,
        _ => return,
    };
    // 0 Ω is a link, and an own tolerance says that the part is at hand
    if quantity.value == 0.0 || quantity.tolerance.is_some() || file.front_end.tolerance.contains_key(name) {
        return;
    }
    let Some((low, high)) = series.value.neighbours(quantity.value) else { return };
    if low == high {
        return;
    }
    let shown = format(quantity.value, unit, 6);
    let (low, high) = (format(low, unit, 6), format(high, unit, 6));
    let near = series.value.nearest(quantity.value).unwrap_or(quantity.value);
    let wider = crate::quantity::series::Series::SPELLINGS
        .iter()
        .find(|(_, other)| *other > series.value && other.contains(quantity.value))
        .map_or_else(
            || format!(", or \"{shown} ± 1 %\" for a part at hand"),
            |(name, _)| format!(", or series = \"{name}\", which has {shown}"),
        );
    walk.problem(
        Problem::new("value.not_in_series", format!("{shown} is not an {} value", series.name()))
            .at(at, format!("lies between {low} and {high}"))
            .also(series.span(), "the series you asked for")
            .expected(format!("a value of {}", series.name()))
            .help(format!(
                "{} ({:+.1} %){wider}",
                format(near, unit, 6),
                (near / quantity.value - 1.0) * 100.0
            )),
    );
}

pub(super) fn calibration(file: &ChainFile, walk: &mut Walk<'_>) {
    let asked = &file.need.calibration;
    let points = asked.points();
    let Some(plan) = &file.calibration_plan else {
        if points > 0 {
            let at = place(walk, asked, "need");
            walk.problem(
                Problem::new("calibration_plan.missing", "a calibration is asked for, and there is no [calibration_plan]")
                    .at(at, "by what means?")
                    .expected("a section [calibration_plan] with the means and the temperatures")
                    .help("[calibration_plan] with method = \"known temperature\", at = [\"0 °C\", \"100 °C\"], bath_accuracy = \"±0.2 K\""),
            );
        }
        return;
    };
    let at = place(walk, &plan.at, "calibration_plan");
    if plan.at.len() < points {
        walk.problem(
            Problem::new(
                "calibration_plan.too_few_points",
                format!("{points} points are asked for, and the plan has {}", plan.at.len()),
            )
            .at(at, format!("{} here", plan.at.len()))
            .also(asked.span(), format!("takes {points}"))
            .expected(format!("at least {points} temperatures"))
            .help("at = [\"20 °C\", \"400 °C\"]"),
        );
    }
    let (low, high) = file.probe.letter.range();
    if plan.at.iter().any(|t| *t < low || *t > high) {
        walk.problem(
            Problem::new(
                "calibration_plan.beyond_type",
                format!(
                    "type {} is defined from {} to {}",
                    file.probe.letter.name(),
                    celsius(low),
                    celsius(high)
                ),
            )
            .at(at, "beyond the type")
            .also(file.probe.letter.span(), "the type")
            .expected(format!("{} to {}", celsius(low), celsius(high))),
        );
    }
}
