//! A thermocouple read directly by a converter with two inputs and a gain; input protection, detection of a broken loop,
//! and what a mismatch of the two legs makes of the mains: against Kirchhoff by hand.

use core::f64::consts::TAU;

use icepoint_chain::chain::{
    BrokenSensor, Chain, ConverterInput, ConverterKind, JunctionMethod, JunctionSensor, Readout,
};
use icepoint_chain::front_end::sensing::{ClampFigures, DetectionFigures, Pulse};
use icepoint_chain::front_end::{FrontEnd, Part, PartKind, Ports};
use icepoint_chain::open_sensor::Pulses;
use icepoint_chain::{Model, overvoltage};

use crate::bench::{InHand, bench, emf};
use crate::temperature_parts::{part, r, reference};

const SOLVER_VOLTS: f64 = 1e-12;
/// Legs of the input and the loop of the thermocouple, Ω.
const LEG: f64 = 1e3;
const LOOP: f64 = 10.0;
/// Differential and common-mode capacitors of the input, F.
const ACROSS: f64 = 100e-9;
const TO_GROUND: f64 = 10e-9;
const TOLERANCE: f64 = 0.05;

fn c(designator: &str, a: &str, b: &str, farads: f64) -> Part {
    let kind = PartKind::Capacitor { a: a.into(), b: b.into(), farads, tolerance: TOLERANCE };
    part(designator, kind)
}

/// No pull-up, inputs without current and resistance: what a test looks at it adds.
fn direct(more: Vec<Part>) -> Chain {
    bench().with(|chain| {
        chain.junction.method = JunctionMethod::Measured(JunctionSensor::Digital);
        chain.readout = Readout::EmfInverse;
        chain.probe.resistance = LOOP;
        chain.lead = None;
        chain.need.hot = (-100.0, 400.0);
        chain.junction.self_heating = 0.0;
        chain.converter.kind = ConverterKind::Adc { bits: 24, reference: 2.5 };
        chain.converter.input_resistance = f64::INFINITY;
        chain.converter.input = ConverterInput { gain: 32.0, lowest: -1.0, ..ConverterInput::PLAIN };
        let supply = PartKind::Supply { node: "supply".into(), volts: 5.0, tolerance: 0.02 };
        let mut parts = vec![
            part("VS", supply),
            reference(2.5),
            r("R1", "tc_plus", "in_plus", LEG),
            r("R2", "tc_minus", "in_minus", LEG),
            r("R3", "mid", "tc_minus", 100e3),
            r("R5", "reference", "mid", 10e3),
            r("R6", "mid", "gnd", 10e3),
            c("C1", "in_plus", "in_minus", ACROSS),
            c("C2", "in_plus", "gnd", TO_GROUND),
            c("C3", "in_minus", "gnd", TO_GROUND),
            c("C4", "mid", "gnd", 1e-6),
        ];
        parts.extend(more);
        chain.front_end = FrontEnd {
            title: "in hand".into(),
            id: "own".into(),
            parts,
            ports: Ports {
                plus: "tc_plus".into(),
                minus: "tc_minus".into(),
                output: "in_plus".into(),
                output_minus: Some("in_minus".into()),
                reference: Some("reference".into()),
            },
            test_points: Vec::new(),
        };
    })
}

#[test]
fn span_and_step_follow_gain_and_polarity() {
    let both = direct(Vec::new()).converter;
    assert_eq!(both.span().0, -2.5 / 32.0);
    assert!((both.step() - 5.0 / 32.0 / 16_777_216.0).abs() < 1e-18);
    let one = icepoint_chain::chain::Converter {
        input: ConverterInput { gain: 8.0, ..ConverterInput::PLAIN },
        ..both
    };
    assert_eq!(one.span(), (0.0, 2.5 / 8.0 - 2.5 / 8.0 / 16_777_216.0));
}

/// The ideal chain reads the truth, hot and colder than the board, and its output is the thermocouple's own voltage.
#[test]
fn the_ideal_direct_converter_reads_the_truth() {
    let board = direct(Vec::new()).built();
    for (hot, ambient) in [(0.0, 35.0), (25.0, 15.0), (400.0, 25.0), (-80.0, 30.0)] {
        let answer = board.answer(hot, ambient, &[]);
        assert!((answer.celsius - hot).abs() < 1e-5, "{hot} °C, board {ambient} °C: {}", answer.celsius);
        assert!((answer.output_volts - emf(&board, hot) + emf(&board, ambient)).abs() < SOLVER_VOLTS);
    }
}

/// Currents into the inputs act through the legs and the loop; what both have in common only lifts the common mode.
#[test]
fn input_currents_through_the_legs() {
    let board = direct(Vec::new())
        .with(|c| {
            (c.converter.input.current, c.converter.input.current_difference) = (5e-9, 1e-9);
            c.converter.input.cmrr = 1e5;
        })
        .built();
    let out = |d: &[(&str, f64)]| board.answer(25.0, 25.0, d).output_volts;
    let difference = out(&[("converter.input_difference", 1e-9)]) - out(&[]);
    let formula = -0.5e-9 * (2.0 * LEG + LOOP);
    assert!((difference - formula).abs() < SOLVER_VOLTS, "{difference} V, formula {formula} V");
    // The plus leg carries its current through the loop as well.
    let common = out(&[("converter.input_current", 5e-9)]) - out(&[]);
    assert!((common + 5e-9 * LOOP).abs() < SOLVER_VOLTS, "{common} V");
    // Rejection: half of the reference is common to both inputs.
    let read = |d: &[(&str, f64)]| board.reads(25.0, 25.0, d);
    let kelvin = (read(&[("converter.cmrr", 1e-5)]) - read(&[("converter.cmrr", -1e-5)])) / 2.0;
    let formula = 1e-5 * 1.25 / board.chain().probe.letter.emf_slope(25.0).unwrap();
    assert!((kelvin / formula - 1.0).abs() < 1e-3, "{kelvin} K, formula {formula} K");
}

/// The bias comes from the reference and cancels; the thermocouple does not, and is read short by the reference's error.
#[test]
fn the_reference_counts_for_the_signal_and_not_for_the_bias() {
    let board = direct(Vec::new()).built();
    let off = board.reads(400.0, 25.0, &[("VREF.initial", 0.002)]) - board.reads(400.0, 25.0, &[]);
    let volts = emf(&board, 400.0) - emf(&board, 25.0);
    let formula = -0.002 / 1.002 * volts / board.chain().probe.letter.emf_slope(400.0).unwrap();
    assert!((off / formula - 1.0).abs() < 1e-3, "{off} K, formula {formula} K");
}

fn clamp(designator: &str, anode: &str, cathode: &str) -> Part {
    let figures =
        ClampFigures { leakage: 10e-9, doubling: 10.0, either_way: false, volts: 0.7, amperes: 10e-3 };
    part(designator, PartKind::Clamp { anode: anode.into(), cathode: cathode.into(), figures })
}

/// Leakage of a clamp runs through its leg, the loop and the bias; it doubles every 10 K.
#[test]
fn leakage_of_clamps_through_the_legs() {
    let up = clamp("D1", "in_plus", "supply");
    let down = clamp("D2", "gnd", "in_plus");
    let board = direct(vec![up, down]).built();
    let none = [("D1.leakage", 0.0), ("D2.leakage", 0.0)];
    for (ambient, times) in [(25.0, 1.0), (35.0, 2.0), (15.0, 0.5)] {
        let out = |d: &[(&str, f64)]| board.answer(25.0, ambient, d).output_volts;
        let into = out(&[("D1.leakage", 10e-9), none[1]]) - out(&none);
        let formula = times * 10e-9 * (LEG + LOOP);
        assert!((into - formula).abs() < SOLVER_VOLTS, "board {ambient} °C: {into} V, formula {formula} V");
        let both = out(&[("D1.leakage", 10e-9), ("D2.leakage", 10e-9)]) - out(&none);
        assert!(both.abs() < SOLVER_VOLTS, "equal leakages up and down cancel: {both} V");
    }
}

/// 24 V on the junction: the clamp to the supply takes what the leg lets through, the node stands a diode above the rail.
#[test]
fn clamps_under_an_overvoltage() {
    let legs = ["in_plus", "in_minus"];
    let mut clamps = Vec::new();
    for (leg, up, down) in [(legs[0], "D1", "D2"), (legs[1], "D3", "D4")] {
        clamps.push(clamp(up, leg, "supply"));
        clamps.push(clamp(down, "gnd", leg));
    }
    let chain = direct(clamps);
    let found = overvoltage::at(&chain, 24.0).unwrap();
    let up = &found.clamps[0];
    // (24 V − 5 V − 0.7 V)/1 kΩ = 18.3 mA; at that the diode drops kT/q·ln(1.83) more than 0.7 V.
    let across = 0.7 + 0.025693 * libm::log(1.83);
    assert!((up.volts - 5.0 - across).abs() < 1e-3, "{} V", up.volts);
    assert!((up.amperes / ((19.0 - across) / (LEG + 0.5 * LOOP)) - 1.0).abs() < 2e-3, "{} A", up.amperes);
    assert!(!found.holds(), "10 mA are allowed");
    assert!(found.clamps[1].amperes < 1e-9, "the other one is off");
    // 10 mA: 0.7 V above the rail plus 10 V in the leg; below ground the same without the rail.
    let most = overvoltage::withstood(&chain).unwrap().unwrap();
    let formula = 0.7 + 10e-3 * (LEG + 0.5 * LOOP);
    assert!((most / formula - 1.0).abs() < 5e-3, "{most} V, formula {formula} V");
    assert_eq!(overvoltage::withstood(&direct(Vec::new())).unwrap(), None);
}

/// Pull-up, pull-down, and the end of the scale that is asked for.
#[test]
fn a_broken_thermocouple_reads_where_it_is_asked_to() {
    for (rail, right, wrong) in [
        ("supply", BrokenSensor::Upscale, BrokenSensor::Downscale),
        ("gnd", BrokenSensor::Downscale, BrokenSensor::Upscale),
    ] {
        let asked = |want| {
            direct(vec![r("R4", rail, "tc_plus", 10e6)])
                .with(|c| c.need.broken_sensor = want)
                .built()
                .model
                .open_sensor_shortfall()
                .unwrap()
        };
        assert!(asked(right) < 0.0, "{} by a resistor to {rail}", right.name());
        assert!(asked(wrong) > 400.0, "{} by a resistor to {rail}", wrong.name());
    }
    // The pull-up's current through the loop and the bias is an offset of the nominal chain.
    let pulled = direct(vec![r("R4", "supply", "tc_plus", 10e6)]).built();
    let (offset, _) = pulled.model.nominal_transfer();
    let formula = (5.0 - 1.25) / (10e6 + 100e3 + 5e3 + LOOP) * LOOP;
    assert!((offset - formula).abs() < SOLVER_VOLTS, "{offset} V, formula {formula} V");
}

/// A pulse between readings: its residue is what one pole leaves of it, and while it is on a broken loop shows.
#[test]
fn a_pulsed_detection_current_leaves_its_residue() {
    let (amperes, on, wait) = (10e-6, 5e-3, 1e-3);
    let figures = DetectionFigures { amperes, tolerance: 0.0, pulse: Some(Pulse { on, wait }) };
    let source = PartKind::DetectionCurrent { from: "tc_minus".into(), to: "tc_plus".into(), figures };
    let board = direct(vec![part("I1", source)])
        .with(|c| c.front_end.parts.retain(|p| !["C2", "C3"].contains(&p.designator.as_str())))
        .built();
    let tau = (2.0 * LEG + LOOP) * ACROSS;
    let formula = amperes * LOOP * (libm::exp(-wait / tau) - libm::exp(-(wait + on) / tau));
    let limit = board.distribution("I1.residue").limits().1;
    assert!((limit / formula - 1.0).abs() < 1e-3, "{limit} V, formula {formula} V");
    assert!(board.model.open_sensor_shortfall().unwrap() < 0.0);
    // Nothing of it is in a reading but that residue.
    assert_eq!(board.model.nominal_transfer().0, direct(Vec::new()).built().model.nominal_transfer().0);
}

/// What a board with a pulsed current reads is what it reads when the pulse ends: the current has charged the capacitor across
/// the inputs, as large as its tolerance allows. Settled, any current would break every range.
#[test]
fn a_pulse_too_short_does_not_show_a_break() {
    let amperes = 10e-6;
    let board = |on: f64| {
        let figures = DetectionFigures { amperes, tolerance: 0.0, pulse: Some(Pulse { on, wait: 1e-3 }) };
        let source = PartKind::DetectionCurrent { from: "tc_minus".into(), to: "tc_plus".into(), figures };
        direct(vec![part("I1", source)])
            .with(|c| c.front_end.parts.retain(|p| !["C2", "C3"].contains(&p.designator.as_str())))
            .built()
            .model
    };
    let (short, twice, long) = (board(0.1e-3), board(0.2e-3), board(20e-3));
    let read = |model: &Model| model.open_sensor(25.0).unwrap();
    let tolerance = short.chain().front_end.parts.iter().find_map(|p| match p.kind {
        PartKind::Capacitor { tolerance, .. } => Some(tolerance),
        _ => None,
    });
    let by_hand = amperes * 0.1e-3 / (ACROSS * (1.0 + tolerance.unwrap()));
    let (_, gain) = short.nominal_transfer();
    let charged = (read(&twice).output_volts - read(&short).output_volts) / gain;
    println!("{charged} V, by hand {by_hand} V; {} °C, {} °C", read(&short).celsius, read(&long).celsius);
    assert!((charged / by_hand - 1.0).abs() < 0.01, "{charged} V, by hand {by_hand} V");
    assert!(short.open_sensor_shortfall().unwrap() > 0.0, "{:?}", read(&short));
    assert!(long.open_sensor_shortfall().unwrap() < 0.0, "{:?}", read(&long));
    // The codes that firmware looks for are those of the same moment.
    let (low, high) = short.open_sensor_counted(25.0, Pulses::On).unwrap();
    let volts = read(&short).output_volts;
    assert!(low <= volts + 1e-6 && volts - 1e-6 <= high, "{low} V, {volts} V, {high} V");
}

/// Magnitude of (re, im).
fn magnitude((re, im): (f64, f64)) -> f64 {
    libm::hypot(re, im)
}

/// Both leads driven alike through unequal legs: difference at the inputs over what drives them, by Cramer's rule.
fn common_to_difference(hertz: f64, r1: f64, r2: f64, c2: f64, c3: f64) -> (f64, f64) {
    let w = TAU * hertz;
    let mul = |a: (f64, f64), b: (f64, f64)| (a.0 * b.0 - a.1 * b.1, a.0 * b.1 + a.1 * b.0);
    // (1/R + jωC + jωC1) on the diagonal, −jωC1 beside it, 1/R on the right.
    let a = (1.0 / r1, w * (c2 + ACROSS));
    let d = (1.0 / r2, w * (c3 + ACROSS));
    let beside = (0.0, -w * ACROSS);
    let (ad, bb) = (mul(a, d), mul(beside, beside));
    let determinant = (ad.0 - bb.0, ad.1 - bb.1);
    let plus = (d.0 / r1 - beside.0 / r2, d.1 / r1 - beside.1 / r2);
    let minus = (a.0 / r2 - beside.0 / r1, a.1 / r2 - beside.1 / r1);
    let top = (plus.0 - minus.0, plus.1 - minus.1);
    let square = determinant.0 * determinant.0 + determinant.1 * determinant.1;
    let quotient = mul(top, (determinant.0, -determinant.1));
    (quotient.0 / square, quotient.1 / square)
}

/// The mains common to both leads becomes a difference by the mismatch of resistors and of capacitors: the model against
/// the exact two-node solution and against ωRC·ε/(√(1 + (ωRC)²)·√(1 + (ωR(C + 2·C1))²)) for a small mismatch ε.
#[test]
fn mismatch_of_the_input_filter_at_50_and_60_hertz() {
    for hertz in [50.0, 60.0] {
        let board = direct(Vec::new())
            .with(|c| {
                c.need.mains = hertz;
                // The junction stands on the plant; a thin loop, so that only the filter is seen.
                (c.probe.grounded, c.probe.resistance) = (true, 0.0);
                c.need.common_pickup = 0.1;
            })
            .built();
        let (by_ohms, by_farads) = (0.01 / 3f64.sqrt(), TOLERANCE / 3f64.sqrt());
        let squares: f64 = [(1.0 + by_ohms, 1.0, 1.0, 1.0), (1.0, 1.0 + by_ohms, 1.0, 1.0)]
            .into_iter()
            .chain([(1.0, 1.0, 1.0 + by_farads, 1.0), (1.0, 1.0, 1.0, 1.0 + by_farads)])
            .map(|(a, b, c, d)| {
                let h = common_to_difference(hertz, a * LEG, b * LEG, c * TO_GROUND, d * TO_GROUND);
                magnitude(h) * magnitude(h)
            })
            .sum();
        let (model, exact) = (board.model.dynamics().unwrap().mains.common_gain, squares.sqrt());
        let x = TAU * hertz * LEG * TO_GROUND;
        let epsilon = (2.0 * (by_ohms * by_ohms + by_farads * by_farads)).sqrt();
        let across = x * (TO_GROUND + 2.0 * ACROSS) / TO_GROUND;
        let small = x * epsilon / ((1.0 + x * x).sqrt() * (1.0 + across * across).sqrt());
        println!("{hertz} Hz: model {model:.4e}, exact {exact:.4e}, small mismatch {small:.4e}");
        assert!((model / exact - 1.0).abs() < 1e-3, "{hertz} Hz: {model} V/V, exact {exact} V/V");
        assert!((exact / small - 1.0).abs() < 0.03, "{hertz} Hz: {exact} V/V, formula {small} V/V");
        // It is an imperfection of the mains family: √2 of its effective value after the digital filter.
        let amplitude = board.limit("mains.common");
        let left = 2f64.sqrt() * 0.1 * model * board.model.dynamics().unwrap().mains.mains_digital;
        assert!((amplitude / left - 1.0).abs() < 1e-12);
    }
}

/// A floating junction is biased to the middle of the reference; a grounded one takes the plant's potential and swings
/// with the mains between plant and board, whatever the bias would make of it.
#[test]
fn a_grounded_junction_against_the_common_mode_range() {
    let input = |grounded: bool| {
        let model = direct(Vec::new())
            .with(|c| {
                (c.probe.grounded, c.need.common_pickup) = (grounded, 0.2);
                (c.converter.input.low, c.converter.input.high) = (0.1, 0.1);
            })
            .built()
            .model;
        let uses = model.headroom().unwrap();
        uses.into_iter().find(|u| u.what == "converter + input").unwrap()
    };
    let floating = input(false);
    assert!(floating.relative_margin() > 0.2 && (floating.volts - 1.25).abs() < 0.05, "{floating:?}");
    let grounded = input(true);
    // At ground, less √2·0.2 V; 0.1 V is allowed.
    assert!(grounded.margin() < -0.38 && grounded.volts < -0.25, "{grounded:?}");
}
