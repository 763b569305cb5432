//! GUM contributions of resistor tolerances, taken by moving each resistor, against the adjoint sensitivities of a
//! netlist that is wired here anew from the parts list and chained by hand through the reading rule and the trims.

use crate::bench::{Board, InHand, bench, emf, kiln, slope};
use icepoint_chain::budget::gum;
use icepoint_chain::chain::{CalibrationMethod, Chain, JunctionMethod, Readout};
use icepoint_chain::front_end::PartKind;
use std::collections::BTreeMap;

use icepoint_circuit::{Circuit, Element, InAmpFigures, Netlist, OpAmpFigures, Parameter};

/// Third order of a change of 1 %/√3: relative 1e-4 of what is left after the second cancels; and twice that where
/// the curve of the emf comes in.
const RELATIVE: f64 = 3e-4;
/// Contributions below this are rounding, K.
const NOISE_KELVIN: f64 = 2e-6;
/// Volts: mean of 1/A of the amplifiers.
const MEAN_INVERSE_GAIN: f64 = 0.5e-6;

/// The circuit with this thermocouple voltage and this voltage of the analog sensor.
fn wired(chain: &Chain, v: f64, sensor: f64) -> (Circuit, icepoint_circuit::Node) {
    let mut net = Netlist::new();
    let gain_resistor = |of: &str| {
        let sets =
            |kind: &PartKind| matches!(kind, PartKind::GainResistor { amplifier, .. } if amplifier == of);
        let part = chain.front_end.parts.iter().find(|p| sets(&p.kind));
        part.and_then(|p| p.kind.value()).unwrap_or(f64::INFINITY)
    };
    for part in &chain.front_end.parts {
        let name = part.designator.as_str();
        let element = match &part.kind {
            PartKind::Resistor { a, b, figures } => {
                Element::Resistor { a: net.node(a), b: net.node(b), ohms: figures.ohms }
            }
            PartKind::Capacitor { a, b, farads, .. } => {
                Element::Capacitor { a: net.node(a), b: net.node(b), farads: *farads }
            }
            PartKind::Operational { plus, minus, out, .. } => Element::OpAmp {
                plus: net.node(plus),
                minus: net.node(minus),
                out: net.node(out),
                supply: None,
                figures: OpAmpFigures { gain: 1.0 / MEAN_INVERSE_GAIN, ..OpAmpFigures::ideal() },
            },
            PartKind::Instrumentation { plus, minus, reference, out, gain_constant, .. } => Element::InAmp {
                plus: net.node(plus),
                minus: net.node(minus),
                reference: net.node(reference),
                out: net.node(out),
                supply: None,
                figures: InAmpFigures::ideal(1.0 + gain_constant / gain_resistor(name)),
            },
            PartKind::Supply { node, volts, .. } | PartKind::Reference { node, volts, .. } => {
                Element::VoltageSource { plus: net.node(node), minus: Netlist::GROUND, volts: *volts }
            }
            PartKind::TemperatureSensor { node } => {
                let JunctionMethod::Analog { output_resistance, .. } = chain.junction.method else {
                    panic!()
                };
                let inside = net.node("U1 inside");
                let outside = net.node(node);
                net.add("U1 output", Element::Resistor { a: inside, b: outside, ohms: output_resistance });
                Element::VoltageSource { plus: inside, minus: Netlist::GROUND, volts: sensor }
            }
            PartKind::GainResistor { .. } => continue,
            PartKind::Junction { .. }
            | PartKind::Adjustable { .. }
            | PartKind::AdjustableGain { .. }
            | PartKind::Thermistor { .. }
            | PartKind::Platinum { .. }
            | PartKind::Clamp { .. }
            | PartKind::DetectionCurrent { .. } => continue, // none in the two boards
        };
        net.add(name, element);
    }
    let (plus, minus) = (net.node(&chain.front_end.ports.plus), net.node(&chain.front_end.ports.minus));
    let junction = net.node("junction");
    let wire = chain.probe.resistance + chain.lead.as_ref().map_or(0.0, |l| l.resistance);
    net.add("TC", Element::VoltageSource { plus, minus: junction, volts: v });
    net.add("wire", Element::Resistor { a: junction, b: minus, ohms: wire });
    let out = net.node(&chain.front_end.ports.output);
    net.add(
        "input",
        Element::Resistor { a: out, b: Netlist::GROUND, ohms: chain.converter.input_resistance },
    );
    (Circuit::new(&net).unwrap(), out)
}

/// Output in V and its derivative to the relative change of one resistor.
fn output_and_derivative(chain: &Chain, resistor: &str, v: f64, board: f64) -> (f64, f64) {
    let sensor = match chain.junction.method {
        // With the mean of the self-heating, 0.025 K.
        JunctionMethod::Analog { slope, at_zero, .. } => at_zero + slope * (board + 0.025),
        JunctionMethod::Measured(_) | JunctionMethod::InCircuit => 0.0,
    };
    let (circuit, out) = wired(chain, v, sensor);
    let point = circuit.operating_point(&circuit.values()).unwrap();
    let all = circuit.sensitivities(&circuit.values(), &point.x, (out, Netlist::GROUND)).unwrap();
    let ohms = chain.front_end.value(resistor).unwrap();
    let part = |name: &str| chain.front_end.part(name).map(|p| &p.kind);
    let derivative = if let Some(PartKind::GainResistor { amplifier, .. }) = part(resistor) {
        let Some(PartKind::Instrumentation { gain_constant, .. }) = part(amplifier) else { panic!() };
        // gain = 1 + c/RG, so RG·d(gain)/d(RG) = −c/RG.
        all[circuit.parameter(amplifier, Parameter::Gain).unwrap().index()] * -gain_constant / ohms
    } else {
        all[circuit.parameter(resistor, Parameter::Ohms).unwrap().index()] * ohms
    };
    (circuit.voltage(&point.x, out), derivative)
}

/// Slope of the output by the relative change of each resistor, V, by the id of its tolerance; board at 25 °C.
pub fn slopes(chain: &Chain, hot: f64) -> BTreeMap<String, f64> {
    let letter = chain.probe.letter;
    let v = letter.emf_and_slope_extended(hot).0 - letter.emf_and_slope_extended(25.0).0;
    let resistors = chain.front_end.parts.iter().filter(|p| p.kind.resistor().is_some());
    resistors
        .map(|p| {
            let slope = output_and_derivative(chain, &p.designator, v, 25.0).1;
            (format!("{}.tolerance", p.designator), slope)
        })
        .collect()
}

/// Change of the reading with the relative change of a resistor, K: without trim, after one point, after two.
fn by_hand(board: &Board, resistor: &str, hot: f64, at: f64) -> [f64; 3] {
    let chain = board.chain();
    let (offset, gain) = match chain.readout {
        Readout::Line { .. } => (0.0, 1.0),
        _ => {
            let zero = output_and_derivative(chain, resistor, 0.0, 25.0).0;
            (zero, output_and_derivative(chain, resistor, 1.0, 25.0).0 - zero)
        }
    };
    // Volts of the rule and their derivative, for a thermocouple voltage and a board temperature.
    let rule = |v: f64, board: f64| {
        let (u, du) = output_and_derivative(chain, resistor, v, board);
        ((u - offset) / gain, du / gain)
    };
    let told = |at: f64| at + 0.025;
    let target = |t: f64| match chain.readout {
        Readout::Line { slope, offset } => offset + slope * t,
        _ => emf(board, t) - emf(board, told(chain.plan.board)),
    };
    // Both plans give the terminals the same voltage when nothing else deviates.
    assert!(matches!(
        chain.plan.method,
        CalibrationMethod::MillivoltSource { .. } | CalibrationMethod::KnownTemperature { .. }
    ));
    let point = |t: f64| rule(emf(board, t) - emf(board, chain.plan.board), chain.plan.board);
    let (w1, d1) = point(chain.plan.at[0]);
    let (w2, d2) = point(chain.plan.at[1]);
    let (t1, t2) = (target(chain.plan.at[0]), target(chain.plan.at[1]));
    let (w, d) = rule(emf(board, hot) - emf(board, at), at);
    let span = (t2 - t1) / (w2 - w1);
    let changes = [d, d - d1, span * (d - d1 - (d2 - d1) * (w - w1) / (w2 - w1))];
    let corrected = [w, w + t1 - w1, t1 + span * (w - w1)];
    let mut kelvin = [0.0; 3];
    for i in 0..3 {
        let sensitivity = match chain.readout {
            Readout::Line { slope, .. } => slope,
            _ => slope(board, chain.probe.letter.temperature(corrected[i] + emf(board, told(at))).unwrap()),
        };
        kelvin[i] = changes[i] / sensitivity;
    }
    kelvin
}

fn every_resistor(board: &Board, resistors: &[&str], hot: [f64; 3], at: [f64; 3]) {
    let study = board.study(hot.to_vec(), at.to_vec());
    let (_, rows) = gum::contributions(&study).unwrap();
    let mut compared = 0;
    for point in 0..study.points() {
        let (hot, at) = study.temperatures(point);
        for resistor in resistors {
            let index = board.index(&format!("{resistor}.tolerance"));
            let u = board.limit(&format!("{resistor}.tolerance")) / 3f64.sqrt();
            for (wish, expected) in by_hand(board, resistor, hot, at).into_iter().enumerate() {
                let found = rows[wish * study.points() + point][index];
                let expected = expected * u;
                let off = (found - expected).abs();
                // A trim leaves the difference of two large contributions: rounding of those remains.
                let largest = rows[point][index].abs().max(expected.abs());
                assert!(
                    off <= RELATIVE * largest + NOISE_KELVIN,
                    "{resistor}, {hot} °C, board {at} °C, trim {wish}: {found:e} K, by the adjoint {expected:e} K"
                );
                compared += usize::from(expected.abs() > 100.0 * NOISE_KELVIN);
            }
        }
    }
    println!("{compared} contributions of some size agree");
    assert!(compared > 30);
}

#[test]
fn kiln_resistors() {
    let all = ["R1", "R2", "R3", "R4", "RG", "R5", "R6", "R7", "R8", "R9"];
    every_resistor(&kiln().built(), &all, [60.0, 500.0, 1080.0], [5.0, 25.0, 55.0]);
}

#[test]
fn bench_thermometer_resistors() {
    every_resistor(
        &bench().built(),
        &["R1", "R3", "R4", "R5", "R6", "R7", "R8"],
        [0.0, 150.0, 400.0],
        [15.0, 25.0, 35.0],
    );
}
