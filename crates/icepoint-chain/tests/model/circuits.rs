//! Circuits nobody thought of, as text: drawn at random, read by the reader of the chain file, and modelled.
//!
//! A random circuit is a chain of stages between the thermocouple and the output (dividers, followers, non-inverting,
//! inverting and difference stages, instrumentation amplifiers, filters) with random values, joined now and then in a
//! way that makes no sense. Whatever comes out: no panic; a refusal that points, an error that says something, or numbers
//! that are finite. And where the board works, the reading's slope along every deviation is the circuit's adjoint
//! sensitivity times the slope of the reading rule.

use icepoint_chain::budget::{Study, gum};
use icepoint_chain::{Model, Situation, file, resolve};
use proptest::prelude::*;
use proptest::test_runner::{TestCaseError, TestRunner};
use std::cell::Cell;
use std::fmt::Write;

const BENCH: &str = include_str!("../../../../examples/own-circuit.toml");

const CASES: u32 = 300;

/// Agreement of a difference over ±1e-5 of a resistor with the slope: third order is 1e-10, amplifiers 1e-6 of 1/A.
const RELATIVE: f64 = 3e-6;

/// One stage, with three numbers from 0 to 1 that become its values.
#[derive(Clone, Debug)]
struct Stage {
    kind: u8,
    values: (f64, f64, f64),
    /// A slip: one pin goes to a node of somewhere else.
    slip: Option<u8>,
}

fn stage() -> impl Strategy<Value = Stage> {
    let slip = prop_oneof![12 => Just(None), 1 => (0u8..6).prop_map(Some)];
    (0u8..7, (0.0..1.0f64, 0.0..1.0f64, 0.0..1.0f64), slip).prop_map(|(kind, values, slip)| Stage {
        kind,
        values,
        slip,
    })
}

/// A value between two decades.
fn ohms(share: f64, low: f64, high: f64) -> f64 {
    low * libm::pow(high / low, share)
}

/// The text of the circuit.
fn circuit(stages: &[Stage], sensor_in_gain: bool) -> String {
    let mut text =
        String::from("[circuit]\nthermocouple = [\"n0\", \"foot\"]\noutput = \"out\"\n[circuit.parts]\n");
    text += "U1 = { kind = \"temperature sensor\", out = \"sensor\" }\n";
    text += "R901 = { kind = \"resistor\", between = [\"sensor\", \"foot\"], value = \"24.3 kΩ ± 1 %\" }\n";
    text += "R902 = { kind = \"resistor\", between = [\"foot\", \"gnd\"], value = \"100 Ω\", network = \"RN1\" }\n";
    text += "R903 = { kind = \"resistor\", between = [\"supply\", \"n0\"], value = \"22 MΩ\", network = \"RN1\" }\n";
    let mut node = "n0".to_owned();
    for (i, stage) in stages.iter().enumerate() {
        let (a, b, c) = stage.values;
        let elsewhere = match stage.slip {
            None => None,
            Some(0) => Some("gnd"),
            Some(1) => Some("supply"),
            Some(2) => Some("n0"),
            Some(3) => Some("foot"),
            Some(4) => Some("out"),
            Some(_) => Some("nowhere"),
        };
        let next = format!("n{}", i + 1);
        let out = elsewhere.unwrap_or(&next);
        let foot = if sensor_in_gain { "sensor" } else { "gnd" };
        let resistor = |k: usize, from: &str, to: &str, value: f64| {
            format!(
                "R{i}{k} = {{ kind = \"resistor\", between = [\"{from}\", \"{to}\"], value = \"{value:.6} Ω ± 1 %\" }}\n"
            )
        };
        let amplifier = |plus: &str, minus: &str, out: &str| {
            format!(
                "A{i} = {{ kind = \"operational amplifier\", plus = \"{plus}\", minus = \"{minus}\", out = \"{out}\", record = \"chopper\" }}\n"
            )
        };
        let m = format!("m{i}");
        let _ = match stage.kind {
            0 => write!(
                text,
                "{}{}",
                resistor(1, &node, out, ohms(a, 100.0, 1e6)),
                resistor(2, out, "gnd", ohms(b, 1e3, 1e7))
            ),
            1 => write!(text, "{}", amplifier(&node, out, out)),
            2 => write!(
                text,
                "{}{}{}",
                amplifier(&node, &m, out),
                resistor(1, out, &m, ohms(a, 1e3, 1e6)),
                resistor(2, &m, foot, ohms(b, 100.0, 1e5))
            ),
            3 => write!(
                text,
                "{}{}{}",
                amplifier("gnd", &m, out),
                resistor(1, &node, &m, ohms(a, 1e4, 1e6)),
                resistor(2, &m, out, ohms(b, 1e3, 1e6))
            ),
            4 => writeln!(
                text,
                "{}C{i} = {{ kind = \"capacitor\", between = [\"{out}\", \"gnd\"], value = \"{:.4} nF ± 10 %\" }}",
                resistor(1, &node, out, ohms(a, 1e3, 1e5)),
                ohms(c, 1.0, 1e4)
            ),
            5 => write!(
                text,
                "{}{}{}{}{}",
                amplifier(&format!("p{i}"), &m, out),
                resistor(1, &node, &format!("p{i}"), ohms(a, 1e3, 1e5)),
                resistor(2, &format!("p{i}"), "gnd", ohms(b, 1e3, 1e6)),
                resistor(3, "foot", &m, ohms(a, 1e3, 1e5)),
                resistor(4, &m, out, ohms(b, 1e3, 1e6))
            ),
            _ => writeln!(
                text,
                "A{i} = {{ kind = \"instrumentation amplifier\", plus = \"{node}\", minus = \"foot\", reference = \"{foot}\", \
                 out = \"{out}\", record = \"pair\" }}\nR{i}1 = {{ kind = \"gain resistor\", amplifier = \"A{i}\", value = \"{:.3} Ω ± 1 %\" }}",
                ohms(a, 50.0, 1e5)
            ),
        };
        node = next;
    }
    let _ =
        writeln!(text, "R904 = {{ kind = \"resistor\", between = [\"{node}\", \"out\"], value = \"1 kΩ\" }}");
    text += "C904 = { kind = \"capacitor\", between = [\"out\", \"gnd\"], value = \"1 µF\" }\n";
    text
}

/// The bench with that circuit, and a record of the other kind of amplifier.
fn chain_file(circuit: &str) -> String {
    let (head, rest) = BENCH.split_once("[circuit]").unwrap();
    let (_, tail) = rest.split_once("[supply]").unwrap();
    let record = tail.split_once("[amplifier.chopper]").unwrap().1.split_once("[converter]").unwrap().0;
    let pair = record.replace("\"operational\"", "\"instrumentation\"").replace(
        "open_loop_gain = \"120 dB\"",
        "gain_constant = \"50 kΩ\"\ngain_error = \"0.1 %\"\ngain_drift = \"25 ppm/K\"",
    );
    format!("{head}{circuit}\n[amplifier.pair]{pair}\n[supply]{tail}")
}

fn runner() -> TestRunner {
    TestRunner::new(ProptestConfig { cases: CASES, failure_persistence: None, ..ProptestConfig::default() })
}

/// What came out of the cases, so that a check which looks at nothing can't pass.
#[derive(Debug, Default)]
struct Seen {
    refused: Cell<u32>,
    unsolved: Cell<u32>,
    looked_at: Cell<u32>,
}

pub(crate) fn count(cell: &Cell<u32>) {
    cell.set(cell.get() + 1);
}

#[test]
fn any_circuit_is_refused_or_modelled() {
    let seen = Seen::default();
    let circuits = (prop::collection::vec(stage(), 0..5), any::<bool>());
    let outcome = runner().run(&circuits, |(stages, sensor)| refused_or_modelled(&stages, sensor, &seen));
    outcome.unwrap_or_else(|error| panic!("{error}"));
    println!("{seen:?}");
    assert!(seen.refused.get() > CASES / 30 && seen.looked_at.get() > CASES / 2, "{seen:?}");
}

fn refused_or_modelled(stages: &[Stage], sensor: bool, seen: &Seen) -> Result<(), TestCaseError> {
    let text = chain_file(&circuit(stages, sensor));
    let file = match file::parse("random.toml", &text) {
        Ok(file) => file,
        Err(refused) => {
            count(&seen.refused);
            prop_assert!(refused.problems.iter().all(|p| p.at.is_some()), "{refused}\n{text}");
            // Without a slip there is nothing to refuse.
            prop_assert!(stages.iter().any(|s| s.slip.is_some()), "{refused}\n{text}");
            return Ok(());
        }
    };
    let resolved = resolve::resolve(&file).unwrap_or_else(|refused| panic!("{refused}"));
    let model = match Model::new(resolved.chain) {
        Ok(model) => model,
        Err(error) => {
            count(&seen.unsolved);
            prop_assert!(error.to_string().len() > 20, "says little: {error}");
            return Ok(());
        }
    };
    count(&seen.looked_at);
    let need = model.chain().need;
    for (hot, board) in [(need.hot.0, need.board.0), (need.hot.1, need.board.1)] {
        let answer = model.predict(&Situation::at(model.chain(), hot, board), model.mean_deviations());
        let finite = answer.as_ref().is_ok_and(|r| r.celsius.is_finite() && r.output_volts.is_finite());
        prop_assert!(finite, "{answer:?}\n{text}");
    }
    prop_assert!(model.headroom().is_ok_and(|uses| uses.iter().all(|u| u.volts.is_finite())), "{text}");
    prop_assert!(model.open_sensor(need.board.0).is_ok_and(|r| r.celsius.is_finite()), "{text}");
    let study = Study::over(&model, vec![need.hot.0, need.hot.1], vec![need.board.1]);
    let points = gum::evaluate(&study).unwrap_or_else(|error| panic!("{error}\n{text}"));
    prop_assert!(points.iter().all(|p| p.standard.is_finite() && p.standard >= 0.0), "{text}");
    Ok(())
}

/// The output against the circuit's own sensitivities: two ways to one slope.
#[test]
fn small_deviations_agree_with_the_sensitivities_of_the_circuit() {
    let seen = Seen::default();
    let circuits = (prop::collection::vec(stage(), 1..4), any::<bool>(), 0.2..0.8f64);
    let outcome = runner().run(&circuits, |(stages, sensor, share)| agrees(&stages, sensor, share, &seen));
    outcome.unwrap_or_else(|error| panic!("{error}"));
    println!("{seen:?}");
    assert!(seen.looked_at.get() > CASES / 3, "{seen:?}");
}

fn agrees(stages: &[Stage], sensor: bool, share: f64, seen: &Seen) -> Result<(), TestCaseError> {
    let stages: Vec<Stage> = stages.iter().map(|s| Stage { slip: None, ..s.clone() }).collect();
    let text = chain_file(&circuit(&stages, sensor));
    let file = file::parse("random.toml", &text).unwrap_or_else(|refused| panic!("{refused}\n{text}"));
    let chain = resolve::resolve(&file).unwrap_or_else(|refused| panic!("{refused}")).chain;
    let Ok(model) = Model::without_dynamics(chain) else {
        count(&seen.unsolved);
        return Ok(());
    };
    let need = model.chain().need;
    let hot = need.hot.0 + share * (need.hot.1 - need.hot.0);
    let situation = Situation::at(model.chain(), hot, 25.0);
    let mean = model.mean_deviations();
    let centre = model.predict(&situation, mean).unwrap();
    // At a limit an output no longer follows: that has its own checks.
    if !centre.limits.is_empty() {
        count(&seen.refused);
        return Ok(());
    }
    count(&seen.looked_at);
    let by_circuit = crate::adjoint::slopes(model.chain(), hot);
    let largest = by_circuit.values().fold(0.0f64, |a, b| a.max(b.abs()));
    let mut compared = 0;
    for (i, imperfection) in model.imperfections().iter().enumerate() {
        let Some(expected) = by_circuit.get(&imperfection.id) else { continue };
        let step = 1e-3 * imperfection.distribution.limits().1;
        let output = |share: f64| {
            let mut d = mean.to_vec();
            d[i] += share * step;
            model.predict(&situation, &d).unwrap().output_volts
        };
        let found = (output(1.0) - output(-1.0)) / (2.0 * step);
        // Third order of the step, and rounding of the difference of two solutions of some volts.
        let allowed = RELATIVE * expected.abs() + 1e-14 / step + 1e-8 * largest;
        prop_assert!(
            (found - expected).abs() <= allowed,
            "{}: {found:e} instead of {expected:e}\n{text}",
            imperfection.id
        );
        compared += 1;
    }
    prop_assert_eq!(compared, by_circuit.len(), "{}", text);
    Ok(())
}
