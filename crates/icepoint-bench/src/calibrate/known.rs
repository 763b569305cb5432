//! By what the known inputs may be off: as the rows state it, or as the chain file's calibration plan does.
//!
//! **Shared or not.** The gain and the offset of one millivolt source are the same at all its settings. So is the error of a
//! known temperature with one reference: sixty readings with one thermometer are no better than the thermometer. Only the
//! baths of the plan, of which nobody says that they are one, are off by the same at one temperature each time and by
//! something else at another, as the budget counts them.

use icepoint_chain::Chain;
use icepoint_chain::chain::CalibrationMethod;
use icepoint_chain::file::Problem;
use icepoint_chain::imperfection::Distribution;
use icepoint_chain::statistics::coverage_factor;

use super::condition::{Condition, InputError, trimmed};
use super::readings::Input;
use crate::altered::SHORT;
use crate::references::{Quantity, Reference, Shared, Tag};

/// Sets a condition's errors, and its input to what the reference stands for.
///
/// # Errors
/// As [`errors`].
pub fn tell(
    chain: &Chain,
    reference: Option<&Reference>,
    condition: &mut Condition,
) -> Result<(), Box<Problem>> {
    let shown = match condition.input {
        Input::Temperature(v) | Input::Injected(v) => v,
    };
    if let Some(Reference::Millivolts(source)) = reference {
        condition.source_ohms = source.stated.output_resistance.then_some(source.output_resistance);
        condition.thermometer = source.stated.thermometer.then_some(source.thermometer);
    }
    if let Some(Reference::Short) = reference {
        condition.source_ohms = Some(SHORT);
    }
    let (Some(reference), None) = (reference, condition.limit) else {
        condition.errors = errors(chain, condition)?;
        return Ok(());
    };
    let known = reference.known(Some(shown)).map_err(|error| {
        Box::new(
            Problem::new("readings.reference", error.to_string())
                .at(condition.span, "in this row")
                .help("docs/calibration.md lists the references"),
        )
    })?;
    condition.input = match known.quantity {
        Quantity::Celsius => Input::Temperature(known.nominal),
        Quantity::Volts => Input::Injected(known.nominal),
    };
    condition.errors = known
        .components
        .iter()
        .map(|c| {
            // A size below zero says that the shared deviation acts the other way here.
            let negative = matches!(
                c.distribution,
                Distribution::Rectangular(a) | Distribution::Normal(a) | Distribution::Arcsine(a) if a < 0.0
            );
            InputError {
                tag: c.tag(&condition.reference, shown, condition.lines.0),
                label: c.label.clone(),
                distribution: student(c.distribution, c.degrees_of_freedom),
                sign: if negative { -1.0 } else { 1.0 },
            }
        })
        .collect();
    Ok(())
}

/// A normal component of few degrees of freedom, as wide as its Student's t at 95 %.
///
/// The band adds variances and takes the normal's 1.96 of the sum. A standard uncertainty from `ν` degrees of freedom needs
/// `t95(ν)` (JCGM 100, G.3), so it is counted as `t95(ν)/1.96` times as large: exact where it is alone, on the safe side
/// where others that are better known stand beside it.
fn student(distribution: Distribution, degrees_of_freedom: f64) -> Distribution {
    match distribution {
        Distribution::Normal(u) if degrees_of_freedom.is_finite() => {
            let normal = coverage_factor(0.95, f64::INFINITY);
            Distribution::Normal(u * coverage_factor(0.95, degrees_of_freedom) / normal)
        }
        other => other,
    }
}

/// Errors of a condition's input as its rows or the plan state them.
///
/// # Errors
/// [`Problem`] when neither the rows nor the plan say how well it is known.
pub fn errors(chain: &Chain, condition: &Condition) -> Result<Vec<InputError>, Box<Problem>> {
    let named = |other: &str| {
        let name = &condition.reference;
        if name.is_empty() { other.to_owned() } else { name.clone() }
    };
    let one = |reference: &str, part: &'static str, shared: Shared, words: String, size: f64| InputError {
        tag: Tag { reference: reference.to_owned(), part, shared },
        label: format!("{reference}, {words}"),
        distribution: Distribution::Rectangular(size),
        sign: 1.0,
    };
    let planned = !chain.plan.at.is_empty();
    match (condition.input, condition.limit, chain.plan.method) {
        (Input::Temperature(t), limit, method) => {
            let name = named("known temperature");
            let (limit, one_reference) = match (limit, method) {
                (Some(limit), _) => (limit, true),
                (None, CalibrationMethod::KnownTemperature { accuracy }) if planned => {
                    (accuracy, !condition.reference.is_empty())
                }
                _ => return Err(unknown(condition, "uncertainty (K)", "0.5 K")),
            };
            Ok(vec![if one_reference {
                one(&name, "temperature", Shared::Always, "limit of its error".into(), limit)
            } else {
                one(&name, "temperature", Shared::at(t), format!("at {} °C", trimmed(t, 2)), limit)
            }])
        }
        (Input::Injected(_), Some(limit), _) => {
            Ok(vec![one(&named("source"), "limit", Shared::Always, "stated limit".into(), limit)])
        }
        (Input::Injected(v), None, CalibrationMethod::MillivoltSource { relative, fixed }) if planned => {
            let name = named("source");
            let gain = one(&name, "gain", Shared::Always, "gain".into(), relative * v.abs());
            Ok(vec![
                InputError { sign: v.signum(), ..gain },
                one(&name, "offset", Shared::Always, "offset".into(), fixed),
            ])
        }
        (Input::Injected(_), None, _) => Err(unknown(condition, "uncertainty (µV)", "5 µV")),
    }
}

fn unknown(condition: &Condition, column: &str, example: &str) -> Box<Problem> {
    Box::new(
        Problem::new("readings.no_uncertainty", "nothing says how well this input is known")
            .at(condition.span, "first used here")
            .expected(format!(
                "a column {column} with its limit to both sides, or a [calibration_plan] for this kind of input"
            ))
            .help(format!("a column {column}, and in its cells for example {example}")),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Student's t for 95 %: 2.776 (4), 2.228 (10), printed to three places (JCGM 100, table G.2); 1.960 of the normal.
    #[test]
    fn few_degrees_of_freedom_widen_as_student_says() {
        for (nu, t) in [(4.0, 2.776), (10.0, 2.228)] {
            let Distribution::Normal(u) = student(Distribution::Normal(0.1), nu) else { unreachable!() };
            assert!((u / 0.1 - t / 1.95996).abs() < 0.0005 / 1.96, "{nu}: {u}");
        }
        for same in [Distribution::Normal(0.1), Distribution::Rectangular(0.1)] {
            assert_eq!(student(same, f64::INFINITY), same);
        }
    }
}
