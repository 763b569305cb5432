//! Filters against SciPy and NumPy: `peer/filters.csv` is printed by `peer/filters_scipy.py`.
//!
//! Poles of every response, settling of the solved circuit, digital filters run sample by sample over a sine, and a Monte
//! Carlo of part values.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // a helper of a test may fail like a test

use std::f64::consts::TAU;

use icepoint_chain::chain::DigitalFilter;
use icepoint_chain::digital;
use icepoint_chain::front_end::FrontEnd;
use icepoint_chain::low_pass::boards::{Question, Spread};
use icepoint_chain::low_pass::insert::Inserted;
use icepoint_chain::low_pass::{Amplifier, Built, Form, LowPass, MOST_POLES, Response};
use icepoint_chain::{Model, Situation, file, resolve};
use icepoint_circuit::{Circuit, Element, Netlist, OpAmpFigures, Parameter};

/// The figures are printed to ten decimals.
const PRINTED: f64 = 1e-9;
/// Settling is read off samples of 1e-4, and found by ours to 1/4096 of a sample of its own.
const SETTLING: f64 = 5e-3;
/// Standard deviations of a million draws are good to 0.1 %; first order leaves the square of the tolerance, 10 %.
const SPREAD: f64 = 0.01;
/// Rounding of a dozen complex operations.
const ROUNDING: f64 = 1e-11;

/// Rows that begin with `what`: parameters, figures.
fn rows(what: &str) -> Vec<(Vec<String>, Vec<f64>)> {
    let text = include_str!("peer/filters.csv");
    let rows: Vec<_> = text
        .lines()
        .filter_map(|line| line.strip_prefix(what)?.strip_prefix(','))
        .map(|line| {
            let mut fields: Vec<String> = line.split(',').map(str::to_owned).collect();
            let figures = fields.pop().unwrap();
            (fields, figures.split_whitespace().map(|f| f.parse().unwrap()).collect())
        })
        .collect();
    assert!(!rows.is_empty(), "a row that got lost must not pass: {what}");
    rows
}

fn response(name: &str) -> Response {
    match name.split_once(' ') {
        None if name == "bessel" => Response::Bessel,
        None if name == "butterworth" => Response::Butterworth,
        Some(("chebyshev", ripple)) => Response::Chebyshev { ripple: ripple.parse().unwrap() },
        _ if name == "critically damped" => Response::CriticallyDamped,
        _ => panic!("{name}"),
    }
}

#[test]
fn poles_of_every_response() {
    let (mut worst, mut count) = (0.0_f64, 0);
    for (parameters, figures) in rows("poles") {
        let poles = response(&parameters[0]).stages(parameters[1].parse().unwrap());
        assert_eq!(2 * poles.len(), figures.len());
        for (pole, printed) in poles.iter().zip(figures.chunks(2)) {
            worst = worst
                .max((pole.frequency - printed[0]).abs())
                .max((pole.q.unwrap_or(0.0) - printed[1]).abs());
            count += 1;
        }
    }
    println!("{count} poles and pairs, worst {worst:e}");
    assert!(count >= 40 && worst <= PRINTED, "{count}: {worst:e}");
}

/// The filter as a circuit behind a source, values by formula, capacitors well inside what they allow.
fn circuit(plan: LowPass, corner: f64, figures: OpAmpFigures) -> (Circuit, Vec<Built>) {
    let mut net = Netlist::new();
    let mut input = net.node("in");
    net.add("V1", Element::VoltageSource { plus: input, minus: Netlist::GROUND, volts: 0.0 });
    let mut all = Vec::new();
    for (k, stage) in plan.stages().into_iter().enumerate() {
        let farads = match stage.least_ratio() {
            Some(ratio) => vec![1.5 * ratio * 47e-9, 47e-9],
            None => vec![220e-9],
        };
        let ohms = stage.ohms(corner, &farads).remove(0);
        let built = stage.built(ohms, farads);
        let (b, out) = (net.node(&format!("b{k}")), net.node(&format!("o{k}")));
        // Only a pair has an inner node.
        let a = if stage.pole.q.is_some() { net.node(&format!("a{k}")) } else { b };
        let (r, c) = (&built.ohms, &built.farads);
        let resistor = |net: &mut Netlist, n: usize, from, to| {
            net.add(&format!("R{k}{n}"), Element::Resistor { a: from, b: to, ohms: r[n] });
        };
        let capacitor = |net: &mut Netlist, n: usize, from, to| {
            net.add(&format!("C{k}{n}"), Element::Capacitor { a: from, b: to, farads: c[n] });
        };
        let (plus, minus) = match (stage.form, stage.pole.q) {
            (Form::SallenKey, Some(_)) => {
                resistor(&mut net, 0, input, a);
                resistor(&mut net, 1, a, b);
                capacitor(&mut net, 0, a, out);
                capacitor(&mut net, 1, b, Netlist::GROUND);
                (b, out)
            }
            (Form::SallenKey, None) => {
                resistor(&mut net, 0, input, b);
                capacitor(&mut net, 0, b, Netlist::GROUND);
                (b, out)
            }
            (Form::MultipleFeedback, Some(_)) => {
                resistor(&mut net, 0, input, a);
                resistor(&mut net, 1, a, out);
                resistor(&mut net, 2, a, b);
                capacitor(&mut net, 0, a, Netlist::GROUND);
                capacitor(&mut net, 1, b, out);
                (Netlist::GROUND, b)
            }
            (Form::MultipleFeedback, None) => {
                resistor(&mut net, 0, input, b);
                resistor(&mut net, 1, b, out);
                capacitor(&mut net, 0, b, out);
                (Netlist::GROUND, b)
            }
        };
        net.add(&format!("A{k}"), Element::OpAmp { plus, minus, out, supply: None, figures });
        input = out;
        all.push(built);
    }
    (Circuit::new(&net).unwrap(), all)
}

fn plans() -> Vec<LowPass> {
    let mut all = Vec::new();
    for form in [Form::SallenKey, Form::MultipleFeedback] {
        for response in [
            Response::Bessel,
            Response::Butterworth,
            Response::Chebyshev { ripple: 1.0 },
            Response::CriticallyDamped,
        ] {
            all.extend((1..=MOST_POLES).map(|poles| LowPass { poles, form, response, corner: None }));
        }
    }
    all
}

/// Node after the last stage.
fn output(circuit: &Circuit, stages: usize) -> icepoint_circuit::Node {
    circuit.netlist().find_node(&format!("o{}", stages - 1)).unwrap()
}

/// The solved circuit against the product of the stages' transfer functions, amplifiers ideal and slow.
#[test]
fn solved_circuit_follows_the_transfer_function() {
    let mut worst = 0.0_f64;
    for plan in plans() {
        for (bandwidth, gain) in [(f64::INFINITY, f64::INFINITY), (20e3, 1e5), (1e6, 1e6)] {
            let figures = OpAmpFigures { bandwidth_hz: bandwidth, gain, ..OpAmpFigures::ideal() };
            let (solved, stages) = circuit(plan, 10.0, figures);
            let source = solved.parameter("V1", Parameter::Volts).unwrap();
            for hertz in [0.0, 0.7, 5.0, 10.0, 13.0, 49.5, 400.0, 3e4] {
                let found = solved.ac(&solved.values(), None, source, hertz).unwrap();
                let found = found.voltage(output(&solved, stages.len()));
                let amplifier = Amplifier { bandwidth, gain };
                let expected = stages
                    .iter()
                    .map(|s| s.response(amplifier, hertz))
                    .reduce(|product, h| product * h)
                    .unwrap();
                let off = (found - expected).magnitude() / expected.magnitude();
                worst = worst.max(off);
                assert!(off <= ROUNDING, "{plan:?} at {hertz} Hz: off by {off:e}");
            }
            let dc: f64 = stages.iter().map(Built::gain).product();
            assert_eq!(dc, plan.gain(), "{plan:?}");
        }
    }
    println!("worst {worst:e}");
}

/// Settling of the solved circuit with ideal amplifiers against the residues of SciPy's poles.
#[test]
fn settling_of_the_solved_circuit() {
    let corner = 10.0;
    let mut worst = 0.0_f64;
    for (parameters, figures) in rows("settling") {
        for form in [Form::SallenKey, Form::MultipleFeedback] {
            let plan = LowPass {
                poles: parameters[1].parse().unwrap(),
                form,
                response: response(&parameters[0]),
                corner: Some(corner),
            };
            let (solved, stages) = circuit(plan, corner, OpAmpFigures::ideal());
            let source = solved.parameter("V1", Parameter::Volts).unwrap();
            let out = (output(&solved, stages.len()), Netlist::GROUND);
            let last = 1.3 * figures[1] / (TAU * corner);
            let step = solved.step(&solved.values(), source, out, 1.0, last, 4000).unwrap();
            for (fraction, printed) in [0.01, 0.001].into_iter().zip(&figures) {
                let found = step.settling_time(fraction).unwrap() * TAU * corner;
                worst = worst.max((found - printed).abs());
                assert!(
                    (found - printed).abs() <= SETTLING,
                    "{plan:?} to {fraction}: {found}, SciPy {printed}"
                );
            }
        }
    }
    println!("worst {worst:e} of 1/(2π·corner)");
}

/// A board of `tests/model/boards` with lines added to its text.
fn board(name: &str, lines: &str) -> Model {
    with_low_pass(name, "", lines).1
}

/// The same with values of the low-pass given, one a line.
fn with_low_pass(name: &str, values: &str, lines: &str) -> (Inserted, Model) {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/model/boards").join(name);
    let text = std::fs::read_to_string(path).unwrap();
    let text =
        text.replacen("[front_end.values]", &format!("[front_end.values]\n{values}"), 1) + "\n" + lines;
    let file = file::parse(name, &text).unwrap_or_else(|refused| panic!("{refused}"));
    let resolved = resolve::resolve(&file).unwrap_or_else(|refused| panic!("{refused}"));
    (resolved.low_pass.unwrap(), Model::new(resolved.chain).unwrap())
}

/// In a front end the filter does what it was computed for, and the reading stays right, inverted or not: the difference
/// to a board with the corner a hundred times as high is the filter.
#[test]
fn a_filter_in_a_front_end_is_the_filter_that_was_asked_for() {
    for (name, form) in [
        ("kiln.toml", Form::SallenKey),
        ("kiln.toml", Form::MultipleFeedback),
        ("bench.toml", Form::SallenKey),
    ] {
        for poles in 1..=MOST_POLES {
            let section = |corner: &str, values: &str| {
                format!(
                    "[filter.analog]\npoles = {poles}\nform = \"{}\"\nresponse = \"butterworth\"\ncorner = \"{corner}\"\n{values}",
                    form.name()
                )
            };
            let slow = board(name, &section("0.5 Hz", ""));
            let quick = board(name, &section("500 Hz", ""));
            let hertz = [0.1, 0.25, 0.5, 0.7, 1.0, 2.0];
            let (slow_at, quick_at) = (slow.response(&hertz).unwrap(), quick.response(&hertz).unwrap());
            // The stages as they are built: usual values, rounded to series.
            let front_end = &slow.chain().front_end;
            let stages = built(front_end, poles, form);
            for (slow, quick) in slow_at.iter().zip(&quick_at) {
                let expected: f64 =
                    stages.iter().map(|s| s.response(Amplifier::IDEAL, slow.hertz).magnitude()).product();
                let found = slow.analog / quick.analog;
                assert!(
                    (found / expected - 1.0).abs() < 5e-3,
                    "{name} {form:?} {poles} poles at {} Hz: {found}, {expected}",
                    slow.hertz
                );
            }
            let gain = slow.nominal_transfer().1;
            let inverted =
                LowPass { poles, form, response: Response::Butterworth, corner: None }.gain() < 0.0;
            assert_eq!(gain < 0.0, inverted, "{name} {form:?} {poles}: gain {gain}");
            let need = slow.chain().need;
            let hot = 0.5 * (need.hot.0 + need.hot.1);
            let situation = Situation::at(slow.chain(), hot, 25.0);
            let reading = slow.predict(&situation, slow.mean_deviations()).unwrap();
            // A straight line departs from the curve; the other rule has only what finite gain leaves.
            let allowed = if name == "bench.toml" { 15.0 } else { 0.05 };
            assert!(
                (reading.celsius - hot).abs() < allowed,
                "{name} {form:?} {poles}: {} at {hot}",
                reading.celsius
            );
        }
    }
}

/// Values of the filter in a front end, stage by stage.
fn built(front_end: &FrontEnd, poles: u32, form: Form) -> Vec<Built> {
    let value = |kind: char, number: usize| front_end.value(&format!("{kind}F{number}")).unwrap();
    let (mut r, mut c) = (1, 1);
    LowPass { poles, form, response: Response::Butterworth, corner: None }
        .stages()
        .iter()
        .map(|stage| {
            let (ohms, farads) = match (form, stage.pole.q) {
                (Form::SallenKey, Some(_)) => (2, 2),
                (Form::SallenKey, None) => (1, 1),
                (Form::MultipleFeedback, Some(_)) => (3, 2),
                (Form::MultipleFeedback, None) => (2, 1),
            };
            let all = (
                (r..r + ohms).map(|n| value('R', n)).collect(),
                (c..c + farads).map(|n| value('C', n)).collect(),
            );
            (r, c) = (r + ohms, c + farads);
            stage.built(all.0, all.1)
        })
        .collect()
}

#[test]
fn digital_filters_run_sample_by_sample() {
    let mut worst = 0.0_f64;
    for (parameters, figures) in rows("digital") {
        let words: Vec<&str> = parameters[0].split(' ').collect();
        let number = |at: usize| -> f64 { words[at].parse().unwrap() };
        let (filter, mains) = match words[0] {
            // So that the window of one period is exactly this many samples.
            "mean" => (DigitalFilter::Mean { periods: 1, rate: number(2) }, number(2) / number(1)),
            "first" => (DigitalFilter::FirstOrder { time_constant: number(1), rate: number(2) }, 50.0),
            sinc => {
                let order = sinc.strip_prefix("sinc").unwrap().parse().unwrap();
                (DigitalFilter::Sinc { order, rate: number(2), output_rate: number(2) / number(1) }, 50.0)
            }
        };
        let hertz: f64 = parameters[1].parse().unwrap();
        let found = digital::magnitude(filter, mains, hertz);
        let off = (found - figures[0]).abs();
        worst = worst.max(off / figures[0].max(1e-3));
        // The first-order filter's figures are printed to eight digits.
        let digits = if words[0] == "first" { 1e-8 } else { PRINTED };
        assert!(off <= digits * figures[0] + 2e-12, "{parameters:?}: {found:e}, NumPy {:e}", figures[0]);
    }
    println!("worst {worst:e}");
}

#[test]
fn tolerances_spread_the_poles_as_a_monte_carlo_says() {
    for (parameters, figures) in rows("spread") {
        let parts: Vec<f64> = parameters[1].split(' ').map(|p| p.parse().unwrap()).collect();
        let (ohms, farads) = parts.split_at(parts.len() - 2);
        let form = Form::SPELLINGS.iter().find(|(name, _)| *name == parameters[0]).unwrap().1;
        let built = Built { form, ohms: ohms.to_vec(), farads: farads.to_vec() };
        let pole = built.pole(Amplifier::IDEAL).unwrap();
        assert!((pole.frequency / figures[0] - 1.0).abs() < 1e-8);
        assert!((pole.q.unwrap() / figures[1] - 1.0).abs() < 1e-7);
        let (frequency, q) = built.spread(0.01, 0.10);
        println!("{parameters:?}: {frequency:.5} {q:.5}, NumPy {} {}", figures[2], figures[3]);
        assert!((frequency / figures[2] - 1.0).abs() <= SPREAD, "{parameters:?}: {frequency}");
        assert!((q / figures[3] - 1.0).abs() <= SPREAD, "{parameters:?}: {q}");
    }
}

/// Boards drawn through the model against NumPy's, which solves each by nodal analysis: the parts of the same front end.
#[test]
fn bands_of_many_boards_are_those_of_numpy() {
    // Both are samples of 20,000: an end of the interval is good to 0.02 standard deviations, 0.01 of half its width.
    const BOARDS: u32 = 20_000;
    const END: f64 = 0.04;
    for (parameters, figures) in rows("band") {
        let parts: Vec<f64> = parameters[0].split(' ').map(|p| p.parse().unwrap()).collect();
        let poles = u32::try_from(parts.len() / 2).unwrap();
        let lines =
            format!("[filter.analog]\npoles = {poles}\nresponse = \"butterworth\"\ncorner = \"10 Hz\"\n");
        let given: String = parts
            .iter()
            .enumerate()
            .map(|(i, value)| {
                // Of each stage two resistors, then two capacitors.
                let (number, unit) = (2 * (i / 4) + i % 2 + 1, if i % 4 < 2 { "Ω" } else { "F" });
                format!("{}F{number} = \"{value:e} {unit}\"\n", if i % 4 < 2 { 'R' } else { 'C' })
            })
            .collect();
        let (inserted, model) = with_low_pass("kiln.toml", &given, &lines);
        let values: Vec<f64> = inserted
            .built(&model)
            .iter()
            .flat_map(|(built, _)| built.ohms.iter().chain(&built.farads).copied().collect::<Vec<_>>())
            .collect();
        assert_eq!(values, parts, "NumPy's boards have other values");
        let question = Question { boards: BOARDS, hertz: vec![5.0, 50.0], samples: 400 };
        let found = inserted.boards(&model, &question).unwrap();
        assert_eq!(found.boards, BOARDS);
        let few = || inserted.boards(&model, &Question { boards: 40, ..question.clone() }).unwrap();
        assert_eq!(few(), few(), "the same chain, the same figures");
        let decibel = |m: f64| 20.0 * libm::log10(m);
        let figure = |f: Spread| [f.nominal, f.low, f.high];
        let mut ours = vec![figure(found.corner), figure(found.mains).map(decibel)];
        // With four poles NumPy has no closed form of the overshoot.
        if poles == 2 {
            ours.push(figure(found.overshoot));
        }
        ours.push(figure(found.settled));
        assert_eq!(3 * ours.len(), figures.len());
        for (ours, printed) in ours.iter().zip(figures.chunks(3)) {
            let half = 0.5 * (printed[2] - printed[1]);
            println!("{poles} poles: {ours:?}, NumPy {printed:?}");
            assert!((ours[0] - printed[0]).abs() <= 0.01 * half, "{ours:?}, NumPy {printed:?}");
            for (ours, printed) in ours.iter().zip(printed).skip(1) {
                assert!((ours - printed).abs() <= END * half, "{ours}, NumPy {printed}");
            }
        }
        // The curve at the mains is the figure.
        let at_mains = found.magnitude[1];
        assert_eq!((at_mains.nominal, at_mains.low), (found.mains.nominal, found.mains.low));
        // As asked: the definition of the response.
        let closed = |hertz: f64| 1.0 / (1.0 + libm::pow(hertz / 10.0, f64::from(2 * poles))).sqrt();
        assert!((found.mains.asked / closed(50.0) - 1.0).abs() < 1e-9);
        assert!((found.corner.asked / 10.0 - 1.0).abs() < 1e-9);
        let model_at = |hertz: f64| model.response(&[hertz]).unwrap()[0].analog;
        assert!(model_at(50.0) < at_mains.nominal, "the input filter takes its share");
    }
}
