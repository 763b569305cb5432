//! Gain and compensation slope of the single-amplifier front end.

use icepoint_chain::ModelError;
use icepoint_chain::chain::{JunctionMethod, Readout};
use icepoint_chain::front_end::Values;
use icepoint_chain::resolve::Resolved;
use rayon::prelude::*;

use crate::candidate::{Assessment, assess, best};
use crate::preferred::{between, nearest, pairs};

/// Compensation slopes tried between the least and largest sensitivity over the board's range.
const SLOPES: i32 = 5;
/// Gains tried within [`GAIN_SPREAD`] of the mean.
const GAINS: i32 = 15;
/// Straight lines through a curved emf differ by less than this around the mean, relative.
const GAIN_SPREAD: f64 = 0.035;
/// Largest resistor that is easy to buy, Ω (common practice, no source).
const LARGEST: f64 = 22e6;

/// All gains and slopes worth a try, judged; best first. Coarse first, then finer around the best.
pub(crate) fn choose(resolved: &Resolved, start: &Values) -> Result<Vec<Assessment>, ModelError> {
    let middle = mean_gain(resolved);
    let mut judged = round(resolved, start, middle, GAIN_SPREAD)?;
    if let Some(best) = best(judged.clone()) {
        let gain = 1.0
            + best.values.get("R3").copied().unwrap_or(0.0) / best.values.get("R4").copied().unwrap_or(1.0);
        let finer = round(resolved, &best.values.clone(), gain, GAIN_SPREAD / f64::from(GAINS))?;
        judged.extend(finer);
        judged.sort_by(Assessment::order);
    }
    Ok(judged)
}

/// Gain that turns the mean sensitivity over the hot range into the slope asked for.
fn mean_gain(resolved: &Resolved) -> f64 {
    let chain = &resolved.chain;
    let emf = |t: f64| chain.probe.letter.emf_and_slope_extended(t).0;
    let (low, high) = chain.need.hot;
    let mean = (emf(high) - emf(low)) / (high - low).max(1e-9);
    match chain.readout {
        Readout::Line { slope, .. } => slope / mean,
        _ => {
            // As large as the supply allows.
            let s = &resolved.surroundings;
            let rail = s.supply.0 * (1.0 - s.supply.1) - s.amplifier.output_high;
            0.9 * rail.min(chain.converter.span().1) / emf(high).max(1e-6)
        }
    }
}

fn round(
    resolved: &Resolved,
    start: &Values,
    middle: f64,
    spread: f64,
) -> Result<Vec<Assessment>, ModelError> {
    let mut judged: Vec<Assessment> = candidates(resolved, start, middle, spread)
        .into_par_iter()
        .map(|values| assess(resolved, values))
        .collect::<Result<_, ModelError>>()?;
    judged.sort_by(Assessment::order);
    Ok(judged)
}

fn candidates(resolved: &Resolved, start: &Values, middle: f64, spread: f64) -> Vec<Values> {
    let chain = &resolved.chain;
    let series = resolved.resistor_series;
    let is_open = |name: &str| resolved.open.iter().any(|open| open == name);
    let fixed = |name: &str, otherwise: (f64, f64)| match start.get(name).filter(|_| !is_open(name)) {
        Some(v) => (*v, *v),
        None => otherwise,
    };
    let mut gains: Vec<(f64, f64)> = (0..GAINS)
        .flat_map(|i| {
            let gain = middle * (1.0 + spread * (2.0 * f64::from(i) / f64::from(GAINS - 1) - 1.0));
            let (low, high) = fixed("R4", (680.0, 2.7e3));
            pairs(series, gain - 1.0, low, high, 1)
        })
        .collect();
    gains.dedup();
    let mut dividers: Vec<(f64, f64)> = Vec::new();
    if let JunctionMethod::Analog { slope, .. } = chain.junction.method {
        let s = |t: f64| chain.probe.letter.emf_and_slope_extended(t).1;
        let (a, b) = (s(chain.need.board.0), s(chain.need.board.1));
        for i in 0..SLOPES {
            let wanted = a + (b - a) * f64::from(i) / f64::from(SLOPES - 1);
            let (low, high) = fixed("R6", (68.0, 270.0));
            dividers.extend(pairs(series, slope / wanted - 1.0, low, high, 1));
        }
        dividers.dedup();
    }
    let pull_ups: Vec<f64> = if is_open("R7") {
        vec![nearest(series, 10e6), between(series, 10e6, LARGEST).last().copied().unwrap_or(10e6)]
    } else {
        vec![start.get("R7").copied().unwrap_or(LARGEST)]
    };
    let mut all = Vec::new();
    for &(r3, r4) in &gains {
        for &(r5, r6) in &dividers {
            for &r7 in &pull_ups {
                let mut values = start.clone();
                for (name, value) in [("R3", r3), ("R4", r4), ("R5", r5), ("R6", r6), ("R7", r7)] {
                    if is_open(name) {
                        values.insert(name.into(), value);
                    }
                }
                all.push(values);
            }
        }
    }
    if all.is_empty() { vec![start.clone()] } else { all }
}
