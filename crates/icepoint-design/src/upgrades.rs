//! What better parts would buy: each upgrade is made in the chain, and the model is asked again.
//!
//! The quick estimate ranks them; the first few are then simulated, so that the figure beside each is of the same kind
//! as the budget's own.

use icepoint_chain::budget::{Study, monte_carlo};
use icepoint_chain::chain::{CalibrationMethod, CalibrationWish, Chain, ConverterKind, ProbeTolerance};
use icepoint_chain::front_end::{PartKind, Stated};
use icepoint_chain::{Model, ModelError};
use icepoint_sensors::tolerance::ToleranceClass;
use rayon::prelude::*;

use crate::candidate::{coarse_study, quick_error};

/// Upgrades that are named.
const NAMED: usize = 3;
/// Trials behind each figure: a 95 % quantile to about one per cent.
const TRIALS: u32 = 20_000;
/// What an upgrade must buy to be named, share of the error.
const WORTH_NAMING: f64 = 0.001;

/// An upgrade and what it buys.
#[derive(Clone, Debug, PartialEq)]
pub struct Upgrade {
    /// What to change.
    pub what: String,
    /// Largest 95 % error now, K.
    pub from: f64,
    /// Largest 95 % error then, K.
    pub to: f64,
}

/// The most useful upgrades of a board, best first; `error_95` is its error now, K.
///
/// # Errors
/// [`ModelError`] when an upgraded chain can't be solved.
pub fn upgrades(model: &Model, error_95: f64) -> Result<Vec<Upgrade>, ModelError> {
    let now = quick_error(model)?;
    let mut ranked: Vec<(f64, String, Chain)> = possible(model.chain())
        .into_par_iter()
        .map(|(what, chain)| {
            let better = Model::new(chain.clone())?;
            Ok((quick_error(&better)?, what, chain))
        })
        .collect::<Result<_, ModelError>>()?;
    ranked.sort_by(|a, b| a.0.total_cmp(&b.0).then_with(|| a.1.cmp(&b.1)));
    // The same boards are drawn before and after, so the ratio of the two errors is far better known than either.
    let before = simulated(model.chain().clone())?;
    ranked
        .into_iter()
        .filter(|(error, ..)| *error < now * (1.0 - WORTH_NAMING))
        .take(NAMED)
        .map(|(_, what, chain)| {
            Ok(Upgrade { what, from: error_95, to: error_95 * simulated(chain)? / before })
        })
        .collect()
}

fn simulated(chain: Chain) -> Result<f64, ModelError> {
    let wish = chain.need.calibration;
    let (seed, accuracy) = (chain.settings.seed, chain.need.accuracy);
    let model = Model::new(chain)?;
    let study: Study = coarse_study(&model);
    let result = monte_carlo::evaluate(&study, TRIALS, seed, accuracy, &|_| {})?;
    let count = study.points();
    let from = wish.points() * count;
    Ok(result.points[from..from + count].iter().map(|p| p.error_95).fold(0.0, f64::max))
}

/// Every upgrade that makes sense for a chain, each alone.
fn possible(chain: &Chain) -> Vec<(String, Chain)> {
    let mut list: Vec<(String, Chain)> = Vec::new();
    let mut add = |what: String, change: &dyn Fn(&mut Chain)| {
        let mut better = chain.clone();
        change(&mut better);
        list.push((what, better));
    };
    resistors(chain, &mut add);
    parts(chain, &mut add);
    let accuracy = chain.junction.accuracy;
    if accuracy > 0.15 {
        add(format!("reference-junction sensor of ±0.1 K instead of ±{accuracy} K"), &|c| {
            c.junction.accuracy = 0.1
        });
    }
    let gradient = chain.junction.gradient;
    if gradient > 0.15 {
        add(
            format!("terminals and sensor on one copper block: ±0.1 K between them instead of ±{gradient} K"),
            &|c| c.junction.gradient = 0.1,
        );
    }
    probe(chain, &mut add);
    if let Some(lead) = &chain.lead
        && lead.tolerance > 0.0
    {
        add(format!("the probe's own wire up to the terminals instead of cable {}", lead.name), &|c| {
            if let Some(lead) = &mut c.lead {
                lead.tolerance = 0.0;
            }
        });
    }
    if let ConverterKind::Adc { bits, .. } = chain.converter.kind
        && bits < 16
    {
        add(format!("a 16-bit converter with errors in proportion instead of {bits} bits"), &|c| {
            let finer = 1.0 / (1u32 << (16 - bits)) as f64;
            if let ConverterKind::Adc { bits, .. } = &mut c.converter.kind {
                *bits = 16;
            }
            c.converter.offset *= finer;
            c.converter.nonlinearity *= finer;
            c.converter.noise *= finer;
        });
    }
    if let CalibrationMethod::MillivoltSource { relative, .. } = chain.plan.method
        && chain.need.calibration != CalibrationWish::None
        && relative > 0.0
    {
        add("a millivolt source and thermometer four times as good for the calibration".into(), &|c| {
            if let CalibrationMethod::MillivoltSource { relative, fixed } = &mut c.plan.method {
                *relative *= 0.25;
                *fixed *= 0.25;
            }
            c.plan.thermometer *= 0.25;
        });
    }
    for wish in CalibrationWish::ALL {
        if wish.points() == chain.need.calibration.points() + 1 {
            add(format!("calibrating {}", wish.name()), &|c| c.need.calibration = wish);
        }
    }
    list
}

type Add<'a> = dyn FnMut(String, &dyn Fn(&mut Chain)) + 'a;

fn resistors(chain: &Chain, add: &mut Add<'_>) {
    const TOLERANCE: f64 = 0.001;
    const TEMPCO: f64 = 25e-6;
    for part in &chain.front_end.parts {
        let Some(figures) = part.kind.resistor() else { continue };
        if figures.tolerance <= 2.0 * TOLERANCE && figures.tempco <= 1.5 * TEMPCO {
            continue;
        }
        let name = part.designator.clone();
        let what = format!(
            "{name}: 0.1 %, 25 ppm/K instead of {} %, {} ppm/K",
            rounded(100.0 * figures.tolerance),
            rounded(1e6 * figures.tempco)
        );
        add(what, &|c| {
            for part in c.front_end.parts.iter_mut().filter(|p| p.designator == name) {
                if let PartKind::Resistor { figures, .. } | PartKind::GainResistor { figures, .. } =
                    &mut part.kind
                {
                    figures.tolerance = figures.tolerance.min(TOLERANCE);
                    figures.tempco = figures.tempco.min(TEMPCO);
                }
            }
        });
    }
}

fn parts(chain: &Chain, add: &mut Add<'_>) {
    for part in &chain.front_end.parts {
        let name = part.designator.clone();
        match &part.kind {
            PartKind::Reference { tolerance, drift, .. } if *drift > 0.0 || *tolerance > 0.0 => {
                let what = format!(
                    "a reference of ±0.05 %, 5 ppm/K instead of ±{} %, {} ppm/K",
                    rounded(100.0 * tolerance),
                    rounded(1e6 * drift)
                );
                add(what, &|c| {
                    for part in &mut c.front_end.parts {
                        if let PartKind::Reference { tolerance, drift, .. } = &mut part.kind {
                            *tolerance = tolerance.min(0.0005);
                            *drift = drift.min(5e-6);
                        }
                    }
                });
            }
            PartKind::Operational { .. } | PartKind::Instrumentation { .. } => {
                add(format!("{name}: an amplifier with a quarter of the offset and drift"), &|c| {
                    for part in c.front_end.parts.iter_mut().filter(|p| p.designator == name) {
                        if let PartKind::Operational { figures, .. }
                        | PartKind::Instrumentation { figures, .. } = &mut part.kind
                        {
                            figures.offset = quarter(figures.offset);
                            figures.offset_drift = quarter(figures.offset_drift);
                        }
                    }
                });
            }
            _ => {}
        }
        if let PartKind::Instrumentation { gain_error, gain_drift, .. } = &part.kind
            && (*gain_error > 0.0 || *gain_drift > 0.0)
        {
            add(format!("{name}: an amplifier with a quarter of the gain error and gain drift"), &|c| {
                for part in &mut c.front_end.parts {
                    if let PartKind::Instrumentation { gain_error, gain_drift, .. } = &mut part.kind {
                        *gain_error *= 0.25;
                        *gain_drift *= 0.25;
                    }
                }
            });
        }
    }
}

fn quarter(stated: Stated) -> Stated {
    match stated {
        Stated::Max(x) => Stated::Max(0.25 * x),
        Stated::Typical(x) => Stated::Typical(0.25 * x),
    }
}

fn probe(chain: &Chain, add: &mut Add<'_>) {
    let letter = chain.probe.letter;
    let better = match chain.probe.tolerance {
        ProbeTolerance::Class(ToleranceClass::Iec2) => Some(ToleranceClass::Iec1),
        ProbeTolerance::Class(ToleranceClass::AstmStandard) => Some(ToleranceClass::AstmSpecial),
        _ => None,
    };
    if let Some(class) = better
        && icepoint_sensors::tolerance::range(letter, class).is_some()
    {
        add(format!("a probe of {} instead of {}", class.name(), chain.probe.tolerance_text), &|c| {
            c.probe.tolerance = ProbeTolerance::Class(class);
        });
    }
    let (low, high) = chain.need.hot;
    let limit = |t| icepoint_chain::model::probe_limit(letter, chain.probe.tolerance, t);
    if limit(low).max(limit(high)) > 1.2 {
        add("a probe with its own certificate: ±1 K instead of its class".into(), &|c| {
            c.probe.tolerance = ProbeTolerance::Kelvin(1.0);
        });
    }
}

/// Two significant digits are enough for a data sheet's figure.
fn rounded(x: f64) -> f64 {
    (x * 1000.0).round() / 1000.0
}
