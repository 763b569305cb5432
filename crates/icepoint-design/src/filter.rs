//! The two-pole low-pass: candidates by formula, judged by the model's step response, mains residual and error.

use icepoint_chain::front_end::Values;
use icepoint_chain::resolve::Resolved;
use icepoint_chain::{Model, ModelError};
use rayon::prelude::*;

use crate::candidate::{Assessment, assess_model};
use crate::preferred::{between, nearest};

/// Corner frequencies tried, per decade of frequency.
const CORNERS_PER_DECADE: i32 = 6;
/// Candidates whose step response is computed.
const LOOKED_AT: usize = 36;
/// Errors closer than this share are alike.
const ALIKE: f64 = 0.002;
/// Share of the time allowed that the low-pass may take: parts have tolerances.
const TIME_SHARE: f64 = 0.85;

/// A low-pass in numbers, before it is a circuit.
struct LowPass {
    values: Values,
    /// Rough time to settle, s.
    settles: f64,
    /// Rough gain at the mains frequency.
    leaves: f64,
}

/// Chooses the filter values and returns them with the judgement of the best.
pub(crate) fn choose(resolved: &Resolved, start: &Values) -> Result<Values, ModelError> {
    // The low-pass that the user asked for has its values already.
    if resolved.low_pass.is_some() {
        return Ok(start.clone());
    }
    let need = &resolved.chain.need;
    let digital = icepoint_chain::digital::settling(resolved.chain.filter, need.mains, need.settle_to);
    let allowed = TIME_SHARE * need.settle_within - digital;
    let mut candidates: Vec<LowPass> = corners(need.settle_to, allowed)
        .into_iter()
        .flat_map(|hertz| match resolved.blueprint.id.as_str() {
            "single-amplifier" => real_poles(resolved, start, hertz),
            "instrumentation" => active(resolved, start, hertz),
            _ => Vec::new(),
        })
        .collect();
    if candidates.is_empty() {
        return Ok(start.clone());
    }
    // Strongest filter that is quick enough first; if none is, the quickest first.
    let late = |c: &LowPass| if c.settles <= allowed { 0.0 } else { c.settles - allowed };
    candidates.sort_by(|a, b| late(a).total_cmp(&late(b)).then(a.leaves.total_cmp(&b.leaves)));
    // From the strongest in time to the weakest, evenly: which of them is best is the model's to say.
    let in_time = candidates.iter().filter(|c| late(c) == 0.0).count().max(LOOKED_AT.min(candidates.len()));
    candidates.truncate(in_time);
    let every = in_time.div_ceil(LOOKED_AT).max(1);
    let candidates: Vec<LowPass> = candidates.into_iter().step_by(every).collect();
    let judged: Vec<(Assessment, f64)> = candidates
        .into_par_iter()
        .map(|c| Ok((judge(resolved, c.values)?, c.settles)))
        .collect::<Result<_, ModelError>>()?;
    Ok(quickest_of_the_good(judged).unwrap_or_else(|| start.clone()))
}

/// Among filters whose error can't be told apart, the quickest; it also has the smallest parts.
fn quickest_of_the_good(judged: Vec<(Assessment, f64)>) -> Option<Values> {
    let best = judged.iter().map(|(a, _)| a).min_by(|a, b| a.order(b))?;
    let (shortfall, error) = (best.shortfall, best.error_95);
    judged
        .into_iter()
        .filter(|(a, _)| a.shortfall <= shortfall && a.error_95 <= error * (1.0 + ALIKE))
        .min_by(|(a, s), (b, t)| s.total_cmp(t).then_with(|| a.order(b)))
        .map(|(a, _)| a.values)
}

/// Judges with the real dynamics. Swing is left out: gain and pedestal are chosen afterwards.
fn judge(resolved: &Resolved, values: Values) -> Result<Assessment, ModelError> {
    let need = &resolved.chain.need;
    let model = Model::new(resolved.with_values(&values))?;
    let mut excess = 0.0;
    if need.settle_within.is_finite() {
        let settling = model.settling(1.5 * need.settle_within)?;
        excess += settling.total().map_or(1.0, |t| (t / need.settle_within - 1.0).max(0.0));
    }
    if need.mains_residual.is_finite() {
        excess += (model.mains_kelvin() / need.mains_residual - 1.0).max(0.0);
    }
    let mut judged = assess_model(&model, values, 0.0)?;
    judged.shortfall = excess;
    Ok(judged)
}

/// Corner frequencies worth a try, Hz, from the slowest that could settle in time upwards.
fn corners(settle_to: f64, allowed: f64) -> Vec<f64> {
    let turns = double_pole_settling(settle_to);
    let slowest = if allowed.is_finite() && allowed > 0.0 {
        0.4 * turns / (2.0 * core::f64::consts::PI * allowed)
    } else {
        0.2
    };
    (0..=2 * CORNERS_PER_DECADE)
        .map(|i| slowest * libm::pow(10.0, f64::from(i) / f64::from(CORNERS_PER_DECADE)))
        .filter(|f| *f <= 200.0)
        .collect()
}

/// Time constants until two equal poles have settled to `fraction`: (1 + x)·e^−x = fraction.
fn double_pole_settling(fraction: f64) -> f64 {
    let (mut low, mut high) = (0.0, 60.0);
    for _ in 0..60 {
        let x = 0.5 * (low + high);
        if (1.0 + x) * libm::exp(-x) > fraction { low = x } else { high = x }
    }
    0.5 * (low + high)
}

fn open(resolved: &Resolved, designator: &str) -> bool {
    resolved.open.iter().any(|open| open == designator)
}

/// Two real poles: R1·C1 and R8·C4.
fn real_poles(resolved: &Resolved, start: &Values, hertz: f64) -> Vec<LowPass> {
    let tau = 1.0 / (2.0 * core::f64::consts::PI * hertz);
    let capacitors = between(resolved.capacitor_series, 100e-9, 10e-6);
    let mut all = Vec::new();
    for &c1 in &capacitors {
        let c4 = c1;
        let r = nearest(resolved.resistor_series, tau / c1);
        // R1 carries the bias current, R8 feeds the voltmeter: both want to be small, but not so small that R8 loads
        // the amplifier.
        if !(1e3..=22e3).contains(&r) {
            continue;
        }
        let mut values = start.clone();
        for (name, value) in [("R1", r), ("C1", c1), ("R8", r), ("C4", c4)] {
            if open(resolved, name) {
                values.insert(name.into(), value);
            }
        }
        let pole = |r: &str, c: &str| values.get(r).zip(values.get(c)).map_or(tau, |(r, c)| r * c);
        let (first, second) = (pole("R1", "C1"), pole("R8", "C4"));
        let slow = first.max(second);
        let gain =
            |t: f64| 1.0 / (1.0 + square(resolved.chain.need.mains * 2.0 * core::f64::consts::PI * t)).sqrt();
        all.push(LowPass {
            settles: slow * double_pole_settling(resolved.chain.need.settle_to),
            leaves: gain(first) * gain(second),
            values,
        });
    }
    all
}

fn square(x: f64) -> f64 {
    x * x
}

/// The active low-pass: R7, R8, C5 (to the output), C6 (to ground), unity gain:
/// ω₀² = 1/(R7·R8·C5·C6), Q = √(R7·R8·C5·C6)/(C6·(R7 + R8)).
fn active(resolved: &Resolved, start: &Values, hertz: f64) -> Vec<LowPass> {
    let omega = 2.0 * core::f64::consts::PI * hertz;
    let capacitors = between(resolved.capacitor_series, 10e-9, 2.2e-6);
    let mut all = Vec::new();
    for &c5 in &capacitors {
        for &c6 in &capacitors {
            let ratio = c5 / c6;
            if !(1.3..=5.0).contains(&ratio) {
                continue;
            }
            let product = 1.0 / (omega * omega * c5 * c6);
            // Two equal resistors, and the split that gives Q = 1/√2 where the capacitors allow it.
            let mut splits = vec![1.0];
            if ratio > 2.0 {
                // √x/(1 + x)·√ratio = 1/√2
                let m = (2.0 * ratio).sqrt();
                let root = 0.5 * (m - (m * m - 4.0).max(0.0).sqrt());
                splits.push(root * root);
            }
            for x in splits {
                let r7 = nearest(resolved.resistor_series, (product / x).sqrt());
                let r8 = nearest(resolved.resistor_series, (product * x).sqrt());
                // More than half a megohm carries too much bias current, less than 4.7 kΩ loads the amplifier.
                if r7.min(r8) < 4.7e3 || r7.max(r8) > 500e3 {
                    continue;
                }
                let mut values = start.clone();
                for (name, value) in [("R7", r7), ("R8", r8), ("C5", c5), ("C6", c6)] {
                    if open(resolved, name) {
                        values.insert(name.into(), value);
                    }
                }
                let get = |n: &str, usual: f64| values.get(n).copied().unwrap_or(usual);
                let (r7, r8, c5, c6) = (get("R7", r7), get("R8", r8), get("C5", c5), get("C6", c6));
                let w0 = 1.0 / (r7 * r8 * c5 * c6).sqrt();
                let q = 1.0 / (w0 * c6 * (r7 + r8));
                let need = &resolved.chain.need;
                let u = 2.0 * core::f64::consts::PI * need.mains / w0;
                let leaves = 1.0 / ((1.0 - u * u) * (1.0 - u * u) + u * u / (q * q)).sqrt();
                // Envelope of the complex pair, or the slower of two real poles.
                let decay =
                    if q > 0.5 { 0.5 * w0 / q } else { w0 * (0.5 / q - (0.25 / (q * q) - 1.0).sqrt()) };
                let settles = -libm::log(need.settle_to) / decay;
                all.push(LowPass { values, settles, leaves });
            }
        }
    }
    all
}
