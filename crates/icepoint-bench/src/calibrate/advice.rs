//! What to mind.

use std::collections::BTreeSet;

use icepoint_chain::file::Problem;
use icepoint_chain::model::ModelError;

use super::checks::Scatter;
use super::condition::{Condition, Kind};
use super::forward::{Forward, UNSTATED_OHMS};
use super::readings::Input;
use super::{Calibrator, Checked};

/// A caution of the file of readings as one sentence.
pub(super) fn sentence(problem: &Problem) -> String {
    let help = problem.help.as_ref().map_or(String::new(), |help| format!(" {help}."));
    format!("{}.{help}", problem.message)
}

pub(super) fn cautions(
    calibrator: &Calibrator<'_>,
    checked: &[Checked],
    scatter: Option<Scatter>,
) -> Result<Vec<String>, ModelError> {
    let mut all = Vec::new();
    let chain = calibrator.forward.model.chain();
    let conditions = &calibrator.forward.conditions;
    let (low, high) = chain.need.board;
    if let Some(c) = conditions.iter().find(|c| c.board < low || c.board > high) {
        all.push(format!(
            "{}: the board was outside its own range, {low} °C to {high} °C ({}).",
            c.words(),
            c.lines_words()
        ));
    }
    if checked.len() == 1 {
        all.push(
            "One point only: nothing shows whether it is right, and only what acts like an offset there is found."
                .into(),
        );
    } else {
        let inputs = |c: &Condition| match c.input {
            Input::Temperature(t) => (0u8, (t + 0.0).to_bits()),
            Input::Injected(v) => (1, (v + 0.0).to_bits()),
        };
        if conditions.windows(2).all(|w| inputs(&w[0]) == inputs(&w[1])) {
            all.push("All readings are at one input: the span is known no better than before.".into());
        }
    }
    if conditions.iter().all(|c| matches!(c.input, Input::Injected(_))) {
        all.push("With voltages at the terminals the probe and its cable stay unchecked; the band counts with that.".into());
    }
    all.extend(nameless(conditions));
    all.extend(resistance(&calibrator.forward)?);
    if let Some(s) = scatter.filter(|s| s.extra > 0.0) {
        all.push(format!(
            "Repeats scatter {:.1} times as much as the model's noise allows; the noise of all readings was widened to \
             what was seen, here and in the file that is written. Look for pick-up, a loose contact or a reference that \
             had not settled; when the cause is mended, calibrate anew.",
            s.seen / s.expected
        ));
    }
    Ok(all)
}

/// Known temperatures of which nobody says whether one reference gave them all.
fn nameless(conditions: &[Condition]) -> Option<String> {
    let without = |limit: bool| {
        let temperatures = conditions.iter().filter_map(|c| match c.input {
            Input::Temperature(t) if c.reference.is_empty() && c.limit.is_some() == limit => {
                Some((t + 0.0).to_bits())
            }
            _ => None,
        });
        temperatures.collect::<BTreeSet<u64>>().len()
    };
    match (without(true), without(false)) {
        (n @ 2.., _) => Some(format!(
            "Rows at {n} temperatures name no reference: taken as one, whose error is the same at all of them. Name each in the \
             column reference if there were several, such as ice and boiling water."
        )),
        (_, n @ 3..) => Some(format!(
            "Rows at {n} temperatures name no reference: taken as a bath of the calibration plan at each, and the errors of \
             baths average out. If one thermometer told all of them, name it in the column reference: its error is the same \
             at all of them."
        )),
        _ => None,
    }
}

/// Resistance of a source for comparison, Ω.
const LARGER_OHMS: f64 = 100.0;

/// What a source would do of which nobody said how large its resistance is.
fn resistance(forward: &Forward<'_>) -> Result<Option<String>, ModelError> {
    let silent = |c: &&Condition| matches!(c.input, Input::Injected(_)) && c.source_ohms.is_none();
    let Some(first) = forward.conditions.iter().find(silent) else { return Ok(None) };
    let with = |ohms: Option<f64>| Condition {
        source_ohms: ohms,
        kind: Kind::Celsius,
        meter: None,
        ..first.clone()
    };
    let two = forward.with_conditions(vec![with(None), with(Some(UNSTATED_OHMS + LARGER_OHMS))])?;
    let z = vec![0.0; two.unknowns.len()];
    let mut work = two.work();
    let off = two.answer(1, &z, &mut work)? - two.answer(0, &z, &mut work)?;
    Ok(Some(format!(
        "The resistance of the source is not stated ({}): taken as {UNSTATED_OHMS} Ω. Each {LARGER_OHMS} Ω more would move \
         the reading there by {} K. State it as output_resistance in a record [references.NAME].",
        first.lines_words(),
        super::significant(off, 0.1 * off.abs())
    )))
}
