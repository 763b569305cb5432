//! From the emf at the terminals to the code: gain, offset, compensation, output, one step in kelvin.

use icepoint_chain::chain::{ConverterKind, JunctionMethod, Readout};
use icepoint_chain::front_end::PartKind;
use icepoint_chain::imperfection::SPECIFIED_AT;
use icepoint_chain::quantity::Unit;
use icepoint_chain::{ModelError, Situation};

use super::super::Subject;
use super::super::words::{celsius, exact_kelvin, quantity, trimmed_digits};
use super::{Check, Derivation};

/// Share that the hand formulas of the circuit leave out: loading of parts in the megohms.
const CIRCUIT: f64 = 5e-5;

pub(super) fn derivations(s: &Subject<'_>) -> Result<Vec<Derivation>, ModelError> {
    let model = &s.design.model;
    let hot = s.chain.need.hot.1;
    let (offset, gain) = model.nominal_transfer();
    let letter = s.chain.probe.letter;
    let (emf, slope) = letter.emf_and_slope_extended(hot);
    let terminals = letter.emf_and_slope_extended(SPECIFIED_AT).0;
    let mut list = vec![Derivation {
        id: "terminal-emf".into(),
        name: format!("Voltage at the terminals, {}, board at {}", celsius(hot), celsius(SPECIFIED_AT)),
        formula: "v = E(hot) − E(terminals)".into(),
        inputs: format!(
            "E({}) − E({}) = {} − {}",
            celsius(hot),
            celsius(SPECIFIED_AT),
            quantity(emf, Unit::Volt, 6),
            quantity(terminals, Unit::Volt, 6)
        ),
        result: quantity(emf - terminals, Unit::Volt, 5),
        value: emf - terminals,
        check: Check::Exact,
        source: format!("reference function of type {}, IEC 60584-1", letter.name()),
    }];
    // These formulas are those of an output that rises.
    let falls = s.design.resolved.low_pass.as_ref().is_some_and(|l| l.plan.gain() < 0.0);
    let id = s.design.resolved.blueprint.id.as_str();
    if let Some((_, by_hand)) = BY_HAND.iter().find(|(known, _)| *known == id && !falls) {
        by_hand(s, &mut list);
    }
    let output =
        model.predict(&Situation::at(s.chain, hot, SPECIFIED_AT), model.mean_deviations())?.output_volts;
    list.push(Derivation {
        id: "output".into(),
        name: format!("Output, {}, board at {}", celsius(hot), celsius(SPECIFIED_AT)),
        formula: "V = V₀ + G · v".into(),
        inputs: format!(
            "{} + {} · {}",
            quantity(offset, Unit::Volt, 6),
            trimmed_digits(gain, 6),
            quantity(emf - terminals, Unit::Volt, 6)
        ),
        result: quantity(output, Unit::Volt, 5),
        value: output,
        check: Check::Exact,
        source: "the circuit is linear within its limits".into(),
    });
    code(s, output, &mut list);
    step(s, hot, slope, gain, &mut list);
    Ok(list)
}

/// Ohms of a resistor by designator.
pub(super) fn ohms(s: &Subject<'_>, designator: &str) -> f64 {
    s.chain.front_end.value(designator).unwrap_or(f64::NAN)
}

pub(super) fn ohm(value: f64) -> String {
    quantity(value, Unit::Ohm, 6)
}

/// Constant of the gain law and the gain of the instrumentation amplifier alone.
pub(super) fn amplifier_gain(s: &Subject<'_>) -> Option<(f64, f64)> {
    s.chain.front_end.parts.iter().find_map(|p| match &p.kind {
        PartKind::Instrumentation { gain_constant, .. } => {
            Some((*gain_constant, 1.0 + gain_constant / ohms(s, "RG")))
        }
        _ => None,
    })
}

/// Resistance of the thermocouple's loop, Ω.
fn loop_ohms(s: &Subject<'_>) -> f64 {
    s.chain.probe.resistance + s.chain.lead.as_ref().map_or(0.0, |l| l.resistance)
}

/// The converter loads the last resistor: factor in words, empty if it doesn't.
fn loading(s: &Subject<'_>, last: &str) -> (&'static str, String) {
    let input = s.chain.converter.input_resistance;
    if input.is_finite() {
        (" · Rᵢₙ / (Rᵢₙ + {last})", format!(" · {} / ({} + {})", ohm(input), ohm(input), ohm(ohms(s, last))))
    } else {
        ("", String::new())
    }
}

/// Formulas by hand, for circuits that are known; any other has its matrix.
type ByHand = fn(&Subject<'_>, &mut Vec<Derivation>);
const BY_HAND: [(&str, ByHand); 2] =
    [("instrumentation", instrumentation), ("single-amplifier", single_amplifier)];

fn instrumentation(s: &Subject<'_>, list: &mut Vec<Derivation>) {
    let gain = s.design.model.nominal_transfer().1;
    let Some((constant, amplifier)) = amplifier_gain(s) else { return };
    let (load, loaded) = loading(s, "R9");
    let load = load.replace("{last}", "R9");
    list.push(Derivation {
        id: "gain".into(),
        name: "Gain from thermocouple to converter".into(),
        formula: format!("G = (1 + R₀ / RG){load}"),
        inputs: format!("(1 + {} / {}){loaded}", ohm(constant), ohm(ohms(s, "RG"))),
        result: trimmed_digits(gain, 5),
        value: gain,
        check: Check::Within(CIRCUIT),
        source: "gain law of the amplifier's data sheet, R₀ its constant; the load is the converter's input"
            .into(),
    });
    let around = &s.design.resolved.surroundings;
    let (rail, top) = match around.reference {
        Some(PartKind::Reference { volts, .. }) => ("Vref", volts),
        _ => ("Vs", around.supply.0),
    };
    let (r5, r6) = (ohms(s, "R5"), ohms(s, "R6"));
    let pedestal = top * r6 / (r5 + r6);
    list.push(Derivation {
        id: "pedestal".into(),
        name: "Pedestal that the output rests on".into(),
        formula: format!("Vₚ = {rail} · R6 / (R5 + R6)"),
        inputs: format!("{} · {} / ({} + {})", quantity(top, Unit::Volt, 6), ohm(r6), ohm(r5), ohm(r6)),
        result: quantity(pedestal, Unit::Volt, 5),
        value: pedestal_of_the_model(s).unwrap_or(pedestal),
        check: Check::Within(CIRCUIT),
        source: "divider, buffered by A2".into(),
    });
    list.push(pull_up(s, pedestal, amplifier, (&load, &loaded)));
}

/// What the pull-up's current adds to the pedestal.
fn pull_up(s: &Subject<'_>, pedestal: f64, amplifier: f64, (load, loaded): (&str, &str)) -> Derivation {
    let offset = s.design.model.nominal_transfer().0;
    let supply = quantity(s.design.resolved.surroundings.supply.0, Unit::Volt, 6);
    let resting = quantity(pedestal, Unit::Volt, 6);
    let (r3, r4) = (ohm(ohms(s, "R3")), ohm(ohms(s, "R4")));
    let gain = trimmed_digits(amplifier, 6);
    let (formula, inputs, source) = if s.chain.probe.grounded {
        let half = ohm(0.5 * loop_ohms(s));
        (
            "Vₚ + G₁ · ½R · (Vs / (R4 + ½R) − Vₚ / (R3 + ½R))",
            format!(
                "{resting} + {gain} · {half} · ({supply} / ({r4} + {half}) − {resting} / ({r3} + {half}))"
            ),
            "the plant holds the grounded junction: the pull-up R4 and the bias R3 each send their current through one \
             half of the loop R of probe and cable; G₁ is the gain of A1",
        )
    } else {
        let around = ohm(loop_ohms(s));
        (
            "Vₚ + G₁ · R / (R4 + R + R3) · (Vs − Vₚ)",
            format!("{resting} + {gain} · {around} / ({r4} + {around} + {r3}) · ({supply} − {resting})"),
            "the current of the pull-up R4 through the loop R of probe and cable adds to the pedestal; G₁ is the gain of A1",
        )
    };
    Derivation {
        id: "offset".into(),
        name: "Output with the thermocouple at 0 V".into(),
        formula: format!("V₀ = ({formula}){load}"),
        inputs: format!("({inputs}){loaded}"),
        result: quantity(offset, Unit::Volt, 5),
        value: offset,
        check: Check::Within(CIRCUIT),
        source: source.into(),
    }
}

/// The buffered pedestal as the circuit solver has it: test point 3.
fn pedestal_of_the_model(s: &Subject<'_>) -> Option<f64> {
    let model = &s.design.model;
    let at = s.chain.front_end.test_points.iter().position(|t| t.node == "bias")?;
    let situation = Situation::at(s.chain, s.chain.need.hot.1, SPECIFIED_AT);
    model.predict(&situation, model.mean_deviations()).ok()?.test_point_volts.get(at).copied()
}

/// Sum of the mean of what can only go one way at the sensor, K.
fn sensor_mean(s: &Subject<'_>) -> f64 {
    let mean = s.design.model.mean_deviations();
    let list = s.design.model.imperfections();
    list.iter().zip(mean).filter(|(i, _)| i.id == "junction.self_heating").map(|(_, m)| *m).sum()
}

/// Slope of the compensation at the thermocouple's negative leg, V/K.
pub(super) fn compensation(s: &Subject<'_>) -> Option<(f64, f64)> {
    let JunctionMethod::Analog { slope, output_resistance, .. } = s.chain.junction.method else {
        return None;
    };
    let (r5, r6) = (ohms(s, "R5"), ohms(s, "R6"));
    Some((slope, slope * r6 / (r5 + r6 + output_resistance)))
}

fn single_amplifier(s: &Subject<'_>, list: &mut Vec<Derivation>) {
    let (offset, gain) = s.design.model.nominal_transfer();
    let (r3, r4) = (ohms(s, "R3"), ohms(s, "R4"));
    let open_loop = s.chain.front_end.parts.iter().find_map(|p| match &p.kind {
        PartKind::Operational { figures, .. } if figures.open_loop_gain.is_finite() => {
            Some(figures.open_loop_gain)
        }
        _ => None,
    });
    let (load, loaded) = loading(s, "R8");
    let load = load.replace("{last}", "R8");
    let (finite, put_in) = match open_loop {
        Some(a) => (
            " / (1 + ½ · (1 + R3 / R4) / A)",
            format!(" / (1 + 0.5 · (1 + {} / {}) / {})", ohm(r3), ohm(r4), quantity(a, Unit::Count, 6)),
        ),
        None => ("", String::new()),
    };
    list.push(Derivation {
        id: "gain".into(),
        name: "Gain from thermocouple to output".into(),
        formula: format!("G = (1 + R3 / R4){finite}{load}"),
        inputs: format!("(1 + {} / {}){put_in}{loaded}", ohm(r3), ohm(r4)),
        result: trimmed_digits(gain, 5),
        value: gain,
        check: Check::Within(CIRCUIT),
        source: "non-inverting amplifier; 1 / A lies between zero and its limit, so half of it is the best estimate; the \
                 load is the input of what reads the output"
            .into(),
    });
    let (JunctionMethod::Analog { slope, at_zero, output_resistance, .. }, Some((_, share))) =
        (&s.chain.junction.method, compensation(s))
    else {
        return;
    };
    let (r5, r6) = (ohms(s, "R5"), ohms(s, "R6"));
    list.push(Derivation {
        id: "compensation".into(),
        name: format!(
            "Slope of the compensation; the thermocouple's own is {} at {}",
            quantity(s.chain.probe.letter.emf_and_slope_extended(SPECIFIED_AT).1, Unit::VoltPerKelvin, 4),
            celsius(SPECIFIED_AT)
        ),
        formula: "s = sᵤ · R6 / (R5 + R6 + Rᵤ)".into(),
        inputs: format!(
            "{} · {} / ({} + {} + {})",
            quantity(*slope, Unit::VoltPerKelvin, 6),
            ohm(r6),
            ohm(r5),
            ohm(r6),
            ohm(*output_resistance)
        ),
        result: quantity(share, Unit::VoltPerKelvin, 4),
        value: share,
        check: Check::Exact,
        source: "divider of the sensor's voltage; sᵤ and Rᵤ are slope and output resistance of U1".into(),
    });
    if s.chain.probe.grounded {
        // The plant holds the negative leg: no short formula tells what is left of the compensation.
        return;
    }
    let sensor = at_zero + slope * (SPECIFIED_AT + sensor_mean(s));
    let supply = s.design.resolved.surroundings.supply.0;
    let (r7, around) = (ohms(s, "R7"), loop_ohms(s));
    list.push(Derivation {
        id: "offset".into(),
        name: format!("Output with the thermocouple at 0 V, board at {}", celsius(SPECIFIED_AT)),
        formula: "V₀ = G · (Vᵤ · R6 / (R5 + R6 + Rᵤ) + Vs / R7 · (R + R6))".into(),
        inputs: format!(
            "{} · ({} · {} / ({} + {} + {}) + {} / {} · ({} + {}))",
            trimmed_digits(gain, 6),
            quantity(sensor, Unit::Volt, 6),
            ohm(r6),
            ohm(r5),
            ohm(r6),
            ohm(*output_resistance),
            quantity(supply, Unit::Volt, 6),
            ohm(r7),
            ohm(around),
            ohm(r6)
        ),
        result: quantity(offset, Unit::Volt, 5),
        value: offset,
        // R5 beside R6 and the voltage at the input itself are left out of the pull-up's share.
        check: Check::Within(2e-3),
        source: "compensation, and the current of the pull-up R7 through the loop R and R6".into(),
    });
}

fn code(s: &Subject<'_>, output: f64, list: &mut Vec<Derivation>) {
    let step = s.chain.converter.step();
    let input = s.chain.converter.input;
    let plain = input.lowest == 0.0 && input.highest == 1.0 && input.gain == 1.0;
    let (name, formula, unit, inputs) = match s.chain.converter.kind {
        ConverterKind::Adc { .. } if !plain => (
            "Code at that output",
            "n = (V − V_lowest) / q, q one step",
            "codes",
            format!(
                "({} − {}) / {}",
                quantity(output, Unit::Volt, 8),
                quantity(s.chain.converter.span().0, Unit::Volt, 6),
                quantity(step, Unit::Volt, 8)
            ),
        ),
        ConverterKind::Adc { bits, reference } => (
            "Code at that output",
            "n = V · 2ᴺ / Vref",
            "codes",
            format!(
                "{} · {} / {}",
                quantity(output, Unit::Volt, 8),
                1_u64 << bits.min(63),
                quantity(reference, Unit::Volt, 6)
            ),
        ),
        ConverterKind::Voltmeter { .. } => (
            "Digits shown at that output",
            "n = V / digit",
            "digits",
            format!("{} / {}", quantity(output, Unit::Volt, 6), quantity(step, Unit::Volt, 6)),
        ),
    };
    let exact = match s.chain.converter.kind {
        ConverterKind::Adc { .. } => s.chain.converter.code_of(output),
        ConverterKind::Voltmeter { .. } => output / step,
    };
    list.push(Derivation {
        id: "code".into(),
        name: name.into(),
        formula: formula.into(),
        inputs,
        // Printed without blanks between thousands, as firmware shows it.
        result: format!("{} {unit}", crate::number::fixed(exact, 0)),
        value: exact,
        check: Check::Exact,
        source: "converter, rounded to the nearest".into(),
    });
}

fn step(s: &Subject<'_>, hot: f64, slope: f64, gain: f64, list: &mut Vec<Derivation>) {
    let step = s.chain.converter.step();
    let (formula, inputs, value) = match s.chain.readout {
        Readout::Line { slope, .. } => (
            "q = one step / slope of the line".to_owned(),
            format!("{} / {}", quantity(step, Unit::Volt, 6), quantity(slope, Unit::VoltPerKelvin, 6)),
            step / slope,
        ),
        _ => (
            "q = one step / (G · S(hot))".to_owned(),
            format!(
                "{} / ({} · S({})) = {} / ({} · {})",
                quantity(step, Unit::Volt, 6),
                trimmed_digits(gain, 6),
                celsius(hot),
                quantity(step, Unit::Volt, 6),
                trimmed_digits(gain, 6),
                quantity(slope, Unit::VoltPerKelvin, 6)
            ),
            step / (gain * slope),
        ),
    };
    list.push(Derivation {
        id: "step".into(),
        name: format!("One step of the converter at {}", celsius(hot)),
        formula,
        inputs,
        result: exact_kelvin(value, 4),
        value,
        check: Check::Exact,
        source: "converter's step, through the gain and the slope of the reference function".into(),
    });
}
