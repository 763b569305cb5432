//! From single causes to the 95 % error: probe, reference junction, resistors, contributions, sum, coverage, simulation.

use icepoint_chain::Situation;
use icepoint_chain::budget::{BudgetPoint, Study};
use icepoint_chain::chain::{CalibrationWish, ProbeTolerance, Readout};
use icepoint_chain::imperfection::{Distribution, Imperfection, SPECIFIED_AT};
use icepoint_chain::model::probe_limit;
use icepoint_chain::quantity::Unit;
use icepoint_sensors::tolerance::{self, Limit};

use super::super::Subject;
use super::super::bench::superscript;
use super::super::junction::accuracy_index;
use super::super::words::{
    NBSP, celsius, count, exact_kelvin, minus, quantity, signed_kelvin, trimmed_digits,
};
use super::signal::{amplifier_gain, compensation, ohms};
use super::{Check, Derivation};
use crate::number::fixed;

/// First-order formulas leave out the curvature of the reference function over one standard uncertainty.
const FIRST_ORDER: f64 = 0.01;
/// Contributions that are shown.
const LARGEST: usize = 5;

pub(super) fn derivations(s: &Subject<'_>) -> Vec<Derivation> {
    let mut list = Vec::new();
    list.extend(probe(s));
    list.extend(junction(s));
    list.extend(resistor(s));
    if let Some(point) = s.budget.worst_point(s.wish) {
        contributions(s, point, &mut list);
        combined(s, point, &mut list);
        simulated(s, point, &mut list);
    }
    list
}

fn probe(s: &Subject<'_>) -> Option<Derivation> {
    let (low, high) = s.chain.need.hot;
    let hot = if low.abs() > high.abs() { low } else { high };
    let (letter, given) = (s.chain.probe.letter, s.chain.probe.tolerance);
    let value = probe_limit(letter, given, hot);
    let k = |x: f64| exact_kelvin(x, 5);
    let (formula, inputs) = match given {
        ProbeTolerance::Exact => return None,
        ProbeTolerance::Kelvin(limit) => ("a, the user's figure".to_owned(), k(limit)),
        ProbeTolerance::Class(class) => {
            let distance = |(a, b): (f64, f64)| (a - hot).max(hot - b).max(0.0);
            let row = tolerance::rows()
                .iter()
                .filter(|r| r.letter == letter && r.class == class)
                .min_by(|a, b| distance(a.celsius).total_cmp(&distance(b.celsius)))?;
            match row.limit {
                Limit::Fixed(fixed) => ("a, the same everywhere".to_owned(), k(fixed)),
                Limit::Larger { fixed, per_degree } => (
                    "a = max(fixed; share · |t|)".to_owned(),
                    format!(
                        "max({}; {}{NBSP}K/°C · |{}|)",
                        k(fixed),
                        trimmed_digits(per_degree, 3),
                        celsius(hot)
                    ),
                ),
                Limit::From { at, fixed, per_degree } => (
                    "a = fixed + share · (t − start)".to_owned(),
                    format!(
                        "{} + {}{NBSP}K/°C · ({} − {})",
                        k(fixed),
                        trimmed_digits(per_degree, 3),
                        celsius(hot),
                        celsius(at)
                    ),
                ),
            }
        }
    };
    Some(Derivation {
        id: "probe-limit".into(),
        name: format!("The probe alone at {}", celsius(hot)),
        formula,
        inputs,
        result: exact_kelvin(value, 4),
        value,
        check: Check::Exact,
        source: s.chain.probe.tolerance_text.clone(),
    })
}

/// What one kelvin at the reference junction is worth at the hottest point.
fn junction(s: &Subject<'_>) -> Option<Derivation> {
    if s.chain.probe.grounded && compensation(s).is_some() {
        return None;
    }
    let index = accuracy_index(s)?;
    let hot = s.chain.need.hot.1;
    let point = s.point(CalibrationWish::None, hot, SPECIFIED_AT)?;
    let value = point.gum.contributions.get(index)?.abs()
        / s.budget.imperfections.get(index)?.distribution.standard();
    let slope = |t: f64| s.chain.probe.letter.emf_and_slope_extended(t).1;
    let v = |x: f64| quantity(x, Unit::VoltPerKelvin, 6);
    let (formula, inputs) = match (s.chain.readout, compensation(s)) {
        (Readout::Line { slope: line, .. }, Some((_, share))) => {
            let gain = s.design.model.nominal_transfer().1;
            (
                "r = G · s / slope of the line",
                format!("{} · {} / {}", trimmed_digits(gain, 6), v(share), v(line)),
            )
        }
        (_, Some((_, share))) => (
            "r = s / S(hot)",
            format!("{} / S({}) = {} / {}", v(share), celsius(hot), v(share), v(slope(hot))),
        ),
        _ => (
            "r = S(board) / S(hot)",
            format!(
                "S({}) / S({}) = {} / {}",
                celsius(point.board),
                celsius(hot),
                v(slope(point.board)),
                v(slope(hot))
            ),
        ),
    };
    Some(Derivation {
        id: "junction".into(),
        name: format!("One kelvin at the reference junction, {}", Subject::place(point)),
        formula: formula.into(),
        inputs,
        result: format!("{}{NBSP}K/K", fixed(value, 3)),
        value,
        check: Check::Within(FIRST_ORDER),
        source: "slopes of the reference function; result from the model".into(),
    })
}

/// The gain-setting resistor whose temperature coefficient weighs most as built, at the worst point of that.
fn resistor(s: &Subject<'_>) -> Option<Derivation> {
    let point = s.budget.worst_point(CalibrationWish::None)?;
    let (gain, names): (f64, &[&str]) = match amplifier_gain(s) {
        Some((_, gain)) => (gain, &["RG"]),
        None => (1.0 + ohms(s, "R3") / ohms(s, "R4"), &["R3", "R4"]),
    };
    let (name, tempco, value) = names
        .iter()
        .filter_map(|name| {
            let id = format!("{name}.tempco");
            let i = s.budget.imperfections.iter().position(|x| x.id == id)?;
            let (_, limit) = s.budget.imperfections.get(i)?.distribution.limits();
            Some((*name, limit, point.gum.contributions.get(i)?.abs()))
        })
        .max_by(|a, b| a.2.total_cmp(&b.2).then(b.0.cmp(a.0)))?;
    if value <= 0.0 {
        return None;
    }
    let letter = s.chain.probe.letter;
    let (emf, slope) = letter.emf_and_slope_extended(point.hot);
    let terminals = letter.emf_and_slope_extended(point.board).0;
    let relative = format!(
        "{} / √3 · |{} − {}| · (1 − 1 / {})",
        quantity(tempco, Unit::PerKelvin, 4),
        celsius(point.board),
        celsius(SPECIFIED_AT),
        trimmed_digits(gain, 6)
    );
    let (formula, inputs) = match (s.chain.readout, compensation(s)) {
        (Readout::Line { slope: line, .. }, _) => {
            let model = &s.design.model;
            let situation = Situation::at(s.chain, point.hot, point.board);
            let output = model.predict(&situation, model.mean_deviations()).ok()?.output_volts;
            (
                "u = α / √3 · |board − 25 °C| · (1 − 1 / G₁) · |V| / slope of the line",
                format!(
                    "{relative} · |{}| / {}",
                    quantity(output, Unit::Volt, 6),
                    quantity(line, Unit::VoltPerKelvin, 6)
                ),
            )
        }
        _ => (
            "u = α / √3 · |board − 25 °C| · (1 − 1 / G₁) · |v| / S(hot)",
            format!(
                "{relative} · |{}| / {}",
                quantity(emf - terminals, Unit::Volt, 6),
                quantity(slope, Unit::VoltPerKelvin, 6)
            ),
        ),
    };
    Some(Derivation {
        id: "tempco".into(),
        name: format!("Temperature coefficient of {name} as built, {}", Subject::place(point)),
        formula: formula.into(),
        inputs,
        result: exact_kelvin(value, 3),
        value,
        check: Check::Within(FIRST_ORDER),
        source: format!(
            "{name} sets the gain G₁ of its stage; α is the limit of its data sheet, a rectangular one"
        ),
    })
}

/// Divisor that turns what is known of a deviation into its standard uncertainty, and what is known.
fn standard(imperfection: &Imperfection) -> (f64, &'static str) {
    match imperfection.distribution {
        Distribution::Rectangular(a) => (a, " / √3"),
        Distribution::OneSided(a) => (a, " / √12"),
        Distribution::Normal(u) => (u, ""),
        Distribution::Arcsine(a) => (a, " / √2"),
    }
}

/// Size and sensitivity with their units, for a deviation's unit.
fn sized(unit: &str, size: f64, c: f64) -> (String, String) {
    let c_text = trimmed_digits(c, 6);
    match unit {
        "V" => (quantity(size, Unit::Volt, 6), format!("{c_text}{NBSP}K/V")),
        "A" => (quantity(size, Unit::Ampere, 6), format!("{c_text}{NBSP}K/A")),
        "V/K" => (quantity(size, Unit::VoltPerKelvin, 6), format!("{c_text}{NBSP}K²/V")),
        "K" => (exact_kelvin(size, 6), format!("{c_text}{NBSP}K/K")),
        "1/K" => (quantity(size, Unit::PerKelvin, 6), format!("{c_text}{NBSP}K²")),
        "K/K" => (quantity(size, Unit::KelvinPerKelvin, 6), format!("{c_text}{NBSP}K")),
        "1" => (quantity(size, Unit::Ratio, 6), format!("{c_text}{NBSP}K")),
        _ => (trimmed_digits(size, 6), format!("{c_text}{NBSP}K")),
    }
}

fn contributions(s: &Subject<'_>, point: &BudgetPoint, list: &mut Vec<Derivation>) {
    for (rank, (index, size)) in point.ranked().into_iter().take(LARGEST).enumerate() {
        let Some(imperfection) = s.budget.imperfections.get(index) else { continue };
        let u = imperfection.distribution.standard();
        if size <= 0.0 || u <= 0.0 {
            continue;
        }
        let (known, divisor) = standard(imperfection);
        let (known, c) = sized(imperfection.unit, known.abs(), size / u);
        let formula = match imperfection.distribution {
            Distribution::Normal(_) => "c · u",
            Distribution::Rectangular(_) => "c · a / √3",
            Distribution::OneSided(_) => "c · a / √12",
            Distribution::Arcsine(_) => "c · â / √2",
        };
        list.push(Derivation {
            id: format!("contribution-{}", rank + 1),
            name: format!("{}: {}", Subject::place(point), minus(&imperfection.label)),
            formula: formula.into(),
            inputs: format!("{c} · {known}{divisor}"),
            result: exact_kelvin(size, 4),
            value: size,
            check: Check::Exact,
            source: format!(
                "{}; c from the model over ± one standard uncertainty (JCGM 100, 5.1.3), {}",
                minus(&imperfection.source.text),
                Subject::short(s.wish)
            ),
        });
    }
}

/// A number that may be very large: “2.05 · 10⁷”.
fn large(value: f64, digits: usize) -> String {
    if value < 1e6 {
        return trimmed_digits(value, digits);
    }
    let decade = libm::floor(libm::log10(value)) as u32;
    let mantissa = trimmed_digits(value / libm::pow(10.0, f64::from(decade)), digits);
    format!("{mantissa} · 10{}", superscript(decade))
}

fn combined(s: &Subject<'_>, point: &BudgetPoint, list: &mut Vec<Derivation>) {
    let k = |x: f64| exact_kelvin(x, 5);
    let ranked = point.ranked();
    let largest: Vec<f64> = ranked.iter().take(LARGEST).map(|r| r.1).collect();
    let rest = ranked.iter().skip(LARGEST).map(|r| r.1 * r.1).sum::<f64>().sqrt();
    let terms: Vec<String> = largest.iter().chain([&rest]).map(|u| format!("({})²", k(*u))).collect();
    let at = Subject::place(point);
    list.push(Derivation {
        id: "quadrature".into(),
        name: format!("Combined standard uncertainty, {at}"),
        formula: format!(
            "u = √(sum of u²), the last of {} smaller ones together",
            ranked.len().saturating_sub(LARGEST)
        ),
        inputs: format!("√({})", terms.join(" + ")),
        result: exact_kelvin(point.gum.standard, 4),
        value: point.gum.standard,
        check: Check::Exact,
        source: "JCGM 100:2008, 5.1.2".into(),
    });
    let finite: Vec<(f64, f64)> = Study::over(&s.design.model, vec![point.hot], vec![point.board])
        .degrees_of_freedom
        .into_iter()
        .zip(&point.gum.contributions)
        .filter(|(dof, c)| dof.is_finite() && **c != 0.0)
        .map(|(dof, c)| (c.abs(), dof))
        .collect();
    let dof = point.gum.degrees_of_freedom;
    // The model's own bound, above which the normal factor is as good (icepoint_chain::statistics).
    let normal = dof > 1e5;
    let terms: Vec<String> =
        finite.iter().map(|(u, dof)| format!("({})⁴ / ({})", k(*u), large(*dof, 6))).collect();
    let endless = !dof.is_finite() || terms.is_empty();
    list.push(Derivation {
        id: "degrees-of-freedom".into(),
        name: "Effective degrees of freedom".into(),
        formula: if endless {
            "ν, every contribution is known from a limit".into()
        } else {
            "ν = u⁴ / sum of (u⁴ / ν)".into()
        },
        inputs: if endless {
            String::new()
        } else {
            format!("({})⁴ / ({})", k(point.gum.standard), terms.join(" + "))
        },
        result: if endless { "∞".into() } else { large(dof, 3) },
        value: dof,
        check: if endless { Check::Simulated } else { Check::Within(FIRST_ORDER) },
        source: "Welch–Satterthwaite, JCGM 100:2008, G.4.1; only averages of readings have finite ones"
            .into(),
    });
    list.push(Derivation {
        id: "coverage-factor".into(),
        name: "Coverage factor for 95 %".into(),
        formula: "k = Student's factor for ν, truncated".into(),
        inputs: if endless || normal {
            "k₉₅(∞)".into()
        } else {
            format!("k₉₅({})", fixed(libm::floor(dof), 0))
        },
        result: fixed(point.gum.k, 3),
        value: point.gum.k,
        check: Check::Exact,
        source: "JCGM 100:2008, G.3 and G.4.2".into(),
    });
    list.push(Derivation {
        id: "expanded".into(),
        name: format!("Expanded uncertainty for 95 %, {at}"),
        formula: "U = k · u".into(),
        inputs: format!("{} · {}", fixed(point.gum.k, 5), k(point.gum.standard)),
        result: exact_kelvin(point.gum.expanded(), 4),
        value: point.gum.expanded(),
        check: Check::Exact,
        source: "JCGM 100:2008, 6.2.1; a normal distribution is assumed, the simulation assumes none".into(),
    });
}

fn simulated(s: &Subject<'_>, point: &BudgetPoint, list: &mut Vec<Derivation>) {
    let run = format!("{} trials, seed {}", count(u64::from(s.budget.trials)), s.budget.seed);
    let mc = &point.monte_carlo;
    list.push(Derivation {
        id: "interval".into(),
        name: format!("Simulated 95 % interval, {}, {}", Subject::place(point), Subject::short(s.wish)),
        formula: "2.5 % and 97.5 % quantiles of reading − truth".into(),
        inputs: String::new(),
        result: format!("{} to {}", signed_kelvin(mc.low), signed_kelvin(mc.high)),
        value: mc.low,
        check: Check::Simulated,
        source: format!("{run}; JCGM 101:2008, 7.7"),
    });
    list.push(Derivation {
        id: "error-95".into(),
        name: format!("Error at 95 %, {}", Subject::place(point)),
        formula: "95 % quantile of |reading − truth|".into(),
        inputs: String::new(),
        result: exact_kelvin(mc.error_95, 4),
        value: mc.error_95,
        check: Check::Simulated,
        source: format!("{run}; the largest over the grid is the answer"),
    });
    let share = s.budget.yield_after(s.wish);
    let trials = f64::from(s.budget.trials);
    list.push(Derivation {
        id: "yield".into(),
        name: format!("Yield {}", Subject::short(s.wish)),
        formula: "boards good at every point / boards drawn".into(),
        inputs: format!("{} / {}", fixed(libm::round(share * trials), 0), s.budget.trials),
        result: format!("{}{NBSP}%", fixed(100.0 * share, 2)),
        value: share,
        check: Check::Exact,
        source: run,
    });
}
