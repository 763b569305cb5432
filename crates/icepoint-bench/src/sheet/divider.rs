//! A millivolt source from a battery and two resistors, with what it is worth.
//!
//! **Why it matters.** Two resistors of 1 % give a voltage that is known to 2 %: 20 K at 1000 °C. The same two measured
//! with an ohmmeter and a voltmeter are worth ten times more, and a voltmeter on the output tells directly what they give.
//! So the voltage does not have to be the one wished for: it has to be known.
//!
//! **How it is chosen.** Of all pairs, those whose output resistance and current stay within [`LARGEST_OUTPUT`] and
//! [`CURRENT`] and which come nearest to the wanted voltage, the lower resistance first where two are as near.

use icepoint_chain::drawer::Drawer;
use icepoint_chain::front_end::SlotKind;
use icepoint_chain::quantity::series::Series;
use icepoint_chain::{Model, ModelError};

use super::Setup;

/// Largest output resistance, Ω: bias currents of some nA make microvolts of it (common practice, no source).
pub const LARGEST_OUTPUT: f64 = 120.0;
/// Smallest output resistance, Ω: below, contacts count (common practice, no source).
const LEAST_LOWER: f64 = 4.7;
/// Current of the battery, A: little enough not to sag, enough not to mind the board (common practice, no source).
pub const CURRENT: (f64, f64) = (10e-6, 5e-3);
/// A pair further from the wish than this, relative, is none.
const FAR: f64 = 0.1;
/// Change of a battery between two looks at it, relative (common practice, no source).
const SAG: f64 = 0.001;
/// Pairs that are as near as this, relative, are alike, and the lower resistance is taken.
const ALIKE: f64 = 0.002;

/// A resistor at hand.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Resistor {
    /// Ω.
    pub ohms: f64,
    /// Limit, relative.
    pub tolerance: f64,
}

/// Resistors at hand: a drawer's, or a series in every decade that a divider needs.
pub fn resistors(drawer: Option<&Drawer>, series: Series, tolerance: f64) -> Vec<(Resistor, bool)> {
    match drawer {
        Some(drawer) => drawer
            .parts
            .iter()
            .filter(|p| p.kind == SlotKind::Resistor && p.count.covers(1))
            .map(|p| (Resistor { ohms: p.value, tolerance: p.tolerance }, p.count.covers(2)))
            .collect(),
        None => (0..6)
            .flat_map(|decade| series.hundredths().into_iter().map(move |h| (h, decade)))
            .filter_map(|(h, decade)| format!("{h}e{}", decade - 2).parse().ok())
            .map(|ohms| (Resistor { ohms, tolerance }, true))
            .collect(),
    }
}

/// One divider for one test temperature.
#[derive(Clone, Debug, PartialEq)]
pub struct Divider {
    /// Temperature wished for, °C.
    pub wished: f64,
    /// From the battery to the output.
    pub upper: Resistor,
    /// Across the output.
    pub lower: Resistor,
    /// The battery the other way round: below the board's temperature.
    pub reversed: bool,
    /// Voltage at the battery's nominal voltage, with sign, board connected, V.
    pub volts: f64,
    /// Temperature that this is with copper leads at the board's temperature, °C.
    pub celsius: f64,
    /// Ω.
    pub output_resistance: f64,
    /// A.
    pub current: f64,
    /// What the output resistance does to the reading, K: the nominal shift, and how much further the bias currents of
    /// healthy boards move it at most.
    pub loading: (f64, f64),
    /// Standard uncertainty in V and in K: from the tolerances; with battery and resistors measured; with the output
    /// itself measured.
    pub by_tolerance: Worth,
    /// Battery and both resistors measured.
    pub by_parts: Worth,
    /// Output measured.
    pub by_output: Worth,
}

/// What a divider is worth in one way of knowing it: 95 % limits.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Worth {
    /// The voltage alone, V.
    pub volts: f64,
    /// What the board should read, K: the voltage, and the terminals' temperature as far as a thermometer tells it.
    pub kelvin: f64,
}

/// An ohmmeter and a battery.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Battery {
    /// V.
    pub volts: f64,
    /// Limit of what is known of it without a meter, relative.
    pub tolerance: f64,
    /// Limit of the user's ohmmeter, relative.
    pub ohmmeter: f64,
}

impl Battery {
    /// A fresh cell of 1.5 V, ±7 %, and an ohmmeter of 0.8 % (common practice, no source).
    pub const USUAL: Self = Self { volts: 1.5, tolerance: 0.07, ohmmeter: 0.008 };
}

/// Half-width of 95 % of a sum of rectangular limits, the factor of a normal distribution (JCGM 100, G.6.6: more than
/// three of comparable size).
fn expanded(limits: &[f64]) -> f64 {
    1.96 * (limits.iter().map(|a| a * a / 3.0).sum::<f64>()).sqrt()
}

/// Dividers for the test temperatures of a setup; one that can't be had with these resistors is left out.
///
/// # Errors
/// [`ModelError`] when the board can't be solved with such a source.
pub fn dividers(
    model: &Model,
    setup: &Setup,
    battery: Battery,
    at_hand: &[(Resistor, bool)],
) -> Result<Vec<Divider>, ModelError> {
    let letter = model.chain().probe.letter;
    let emf = |celsius: f64| letter.emf_and_slope_extended(celsius);
    let mut list: Vec<Divider> = Vec::new();
    for &wished in &setup.at {
        let wanted = emf(wished).0 - emf(setup.board).0;
        let Some((upper, lower)) = nearest_pair(at_hand, battery.volts, wanted.abs()) else { continue };
        let sign = if wanted < 0.0 { -1.0 } else { 1.0 };
        let (r1, r2) = (upper.ohms, lower.ohms);
        let volts = sign * battery.volts * r2 / (r1 + r2);
        let output_resistance = r1 * r2 / (r1 + r2);
        let Ok(celsius) = letter.temperature(volts + emf(setup.board).0) else { continue };
        let slope = emf(celsius).1.abs();
        // dv/v by either resistor: R1/(R1 + R2).
        let share = r1 / (r1 + r2) * volts.abs();
        let (meter, clips) = (&setup.meter, setup.source.thermal_emf);
        // With copper leads the terminals are the reference junction: what they are warmer, the sum of emfs is higher.
        let terminals = setup.source.thermometer * emf(setup.board).1;
        let worth = |limits: &[f64]| {
            let volts = expanded(limits);
            Worth { volts, kelvin: expanded(&[limits, &[terminals]].concat()) / slope }
        };
        let battery_volts = meter.limit(battery.volts) / battery.volts * volts.abs();
        list.push(Divider {
            wished,
            upper,
            lower,
            reversed: wanted < 0.0,
            volts,
            celsius,
            output_resistance,
            current: battery.volts / (r1 + r2),
            loading: loading(model, setup, output_resistance, volts)?,
            by_tolerance: worth(&[
                upper.tolerance * share,
                lower.tolerance * share,
                battery.tolerance * volts.abs(),
                clips,
            ]),
            by_parts: worth(&[
                battery.ohmmeter * share,
                battery.ohmmeter * share,
                battery_volts,
                SAG * volts.abs(),
                clips,
            ]),
            by_output: worth(&[meter.limit(volts), SAG * volts.abs(), clips]),
        });
    }
    Ok(list)
}

fn nearest_pair(at_hand: &[(Resistor, bool)], battery: f64, wanted: f64) -> Option<(Resistor, Resistor)> {
    let mut best: Option<(f64, (Resistor, Resistor))> = None;
    // A divider for less than this would be the short itself.
    if wanted < 20e-6 || wanted >= battery {
        return None;
    }
    for (lower, _) in at_hand.iter().filter(|(r, _)| (LEAST_LOWER..=LARGEST_OUTPUT).contains(&r.ohms)) {
        for (upper, two) in at_hand {
            let sum = upper.ohms + lower.ohms;
            let current = battery / sum;
            if !(CURRENT.0..=CURRENT.1).contains(&current) || (upper.ohms == lower.ohms && !two) {
                continue;
            }
            let off = (battery * lower.ohms / sum / wanted - 1.0).abs();
            let better = match &best {
                None => true,
                Some((least, (_, held))) => {
                    off < least - ALIKE || ((off - least).abs() <= ALIKE && lower.ohms < held.ohms)
                }
            };
            if better {
                best = Some((off, (*upper, *lower)));
            }
        }
    }
    best.filter(|(off, _)| *off <= FAR).map(|(_, pair)| pair)
}

/// What a source of this resistance does to the reading, against one without, K: nominally, and the sum over all
/// deviations of what each adds.
fn loading(model: &Model, setup: &Setup, ohms: f64, volts: f64) -> Result<(f64, f64), ModelError> {
    let chain = model.chain();
    let readings = |ohms: f64| -> Result<Vec<f64>, ModelError> {
        let source = Model::without_dynamics(chain.with_source(ohms))?;
        let mean = source.mean_deviations().to_vec();
        let real = model.mean_deviations();
        let mut scratch = source.scratch();
        let mut reads = |d: &[f64]| -> Result<f64, ModelError> {
            let state = source.board_state(setup.board, d, &mut scratch)?;
            let output = source.output_volts(&state, volts, false, &mut scratch);
            let noise = icepoint_chain::model::ReadingNoise::LeftOut;
            Ok(model.celsius(&state, model.rule_volts(&state, output, real, noise)))
        };
        let mut list = vec![reads(&mean)?];
        for (i, imperfection) in source.imperfections().iter().enumerate() {
            let mut d = mean.clone();
            let (low, high) = imperfection.distribution.limits();
            d[i] = high;
            let up = reads(&d)?;
            d[i] = low;
            list.push(0.5 * (up - reads(&d)?));
        }
        Ok(list)
    };
    let (with, without) = (readings(ohms)?, readings(0.0)?);
    let further = with.iter().zip(&without).skip(1).map(|(a, b)| (a - b).abs()).sum();
    let shift = with.first().zip(without.first()).map_or(0.0, |(a, b)| a - b);
    Ok((shift, further))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_nearest_pair_is_the_nearest_of_all() {
        let at_hand = resistors(None, Series::E12, 0.01);
        for wanted in [0.5e-3, 4.1e-3, 36.2e-3, 60e-3] {
            let (upper, lower) = nearest_pair(&at_hand, 1.5, wanted).unwrap();
            let off = (1.5 * lower.ohms / (upper.ohms + lower.ohms) / wanted - 1.0).abs();
            // Second way: every pair there is, without the rule of likeness.
            let least = at_hand
                .iter()
                .filter(|(r, _)| (LEAST_LOWER..=LARGEST_OUTPUT).contains(&r.ohms))
                .flat_map(|(lower, _)| at_hand.iter().map(move |(upper, _)| (upper.ohms, lower.ohms)))
                .filter(|(u, l)| (CURRENT.0..=CURRENT.1).contains(&(1.5 / (u + l))))
                .map(|(u, l)| (1.5 * l / (u + l) / wanted - 1.0).abs())
                .fold(f64::INFINITY, f64::min);
            assert!(off <= least + 2.0 * ALIKE, "{wanted}: {off} {least}");
        }
        assert!(nearest_pair(&at_hand, 1.5, 2.0).is_none() && nearest_pair(&at_hand, 1.5, 0.0).is_none());
        assert!(nearest_pair(&[], 1.5, 0.01).is_none());
    }

    #[test]
    fn one_resistor_of_a_kind_is_not_used_twice() {
        let only = [(Resistor { ohms: 100.0, tolerance: 0.01 }, false)];
        assert!(nearest_pair(&only, 0.5, 0.25).is_none());
        let two = [(Resistor { ohms: 100.0, tolerance: 0.01 }, true)];
        assert!(nearest_pair(&two, 0.5, 0.25).is_some());
    }
}
