//! Gain and pedestal of the instrumentation front end.

use icepoint_chain::ModelError;
use icepoint_chain::chain::ConverterKind;
use icepoint_chain::front_end::Values;
use icepoint_chain::resolve::Resolved;
use rayon::prelude::*;

use crate::candidate::{Assessment, assess};
use crate::preferred::{between, pairs};

/// Pedestals tried per gain.
const PEDESTALS: i32 = 6;

/// All gains and pedestals worth a try, judged; best first.
pub(crate) fn choose(resolved: &Resolved, start: &Values) -> Result<Vec<Assessment>, ModelError> {
    let mut candidates = candidates(resolved, start);
    candidates.dedup();
    let mut judged: Vec<Assessment> = candidates
        .into_par_iter()
        .map(|values| assess(resolved, values))
        .collect::<Result<_, ModelError>>()?;
    judged.sort_by(Assessment::order);
    Ok(judged)
}

fn candidates(resolved: &Resolved, start: &Values) -> Vec<Values> {
    let chain = &resolved.chain;
    let s = &resolved.surroundings;
    let ConverterKind::Adc { reference, .. } = chain.converter.kind else { return vec![start.clone()] };
    let emf = |t: f64| chain.probe.letter.emf_and_slope_extended(t).0;
    let lowest = emf(chain.need.hot.0) - emf(chain.need.board.1);
    let highest = emf(chain.need.hot.1) - emf(chain.need.board.0);
    let floor = s.amplifier.output_low.max(s.buffer.output_low).max(0.0);
    let rail = s.supply.0 * (1.0 - s.supply.1);
    let ceiling = reference.min(rail - s.amplifier.output_high.max(s.buffer.output_high));
    let most = (ceiling - floor) / (highest - lowest).max(1e-9);
    let constant = s.gain_law.constant;
    let is_open = |name: &str| resolved.open.iter().any(|open| open == name);
    let gains: Vec<f64> = if is_open("RG") {
        // Gains from what just fits nominally down to half of it.
        let from = constant / (1.05 * most - 1.0).max(1e-3);
        let to = constant / (0.5 * most - 1.0).max(1e-3);
        between(resolved.resistor_series, from, to)
    } else {
        vec![start.get("RG").copied().unwrap_or(1e3)]
    };
    let mut all = Vec::new();
    for rg in gains {
        let gain = 1.0 + constant / rg;
        let (least, largest) = (floor - gain * lowest, ceiling - gain * highest);
        let mut values = start.clone();
        values.insert("RG".into(), rg);
        if !(is_open("R5") || is_open("R6")) {
            all.push(values);
            continue;
        }
        for i in 1..=PEDESTALS {
            let share = f64::from(i) / f64::from(PEDESTALS + 1);
            let pedestal = least + share * (largest - least).abs().max(0.02);
            if !(pedestal > 0.01 && pedestal < 0.9 * reference) {
                continue;
            }
            let ratio = reference / pedestal - 1.0;
            let (low, high) = match start.get("R6").filter(|_| !is_open("R6")) {
                Some(r6) => (*r6, *r6),
                None => (3.3e3, 33e3),
            };
            for (r5, r6) in pairs(resolved.resistor_series, ratio, low, high, 1) {
                let mut values = values.clone();
                if is_open("R6") {
                    values.insert("R6".into(), r6);
                }
                if is_open("R5") {
                    values.insert("R5".into(), r5);
                }
                all.push(values);
            }
        }
    }
    if all.is_empty() { vec![start.clone()] } else { all }
}
