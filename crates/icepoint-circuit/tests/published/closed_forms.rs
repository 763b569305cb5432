//! Circuits whose answer is one line of algebra.

use crate::board::{Board, close, node_of, out_of, solved, volts};
use icepoint_circuit::{
    Circuit, Element, InAmpFigures, LimitKind, Netlist, NoiseFigures, OpAmpFigures, OutputState, Parameter,
};

/// A dozen operations, each rounded once.
const ROUNDING: f64 = 1e-13;

#[test]
fn divider() {
    let mut b = Board::default();
    let v1 = b.v("V1", "in", "0", 10.0);
    b.r("R1", "in", "out", 3e3);
    let r2 = b.r("R2", "out", "0", 1e3);
    let c = b.circuit();
    close(volts(&c, "out"), 2.5, ROUNDING);
    let (x, values) = (solved(&c), c.values());
    close(c.current(&values, &x, r2), 2.5e-3, ROUNDING);
    // Into the plus terminal: a source that delivers has a negative current.
    close(c.current(&values, &x, v1), -2.5e-3, ROUNDING);
    // Seen from the output: 3 kΩ beside 1 kΩ.
    let mut ws = c.workspace();
    c.factor(&values, &mut ws).unwrap();
    close(c.resistance_between(&ws, out_of(&c, "out")), 750.0, ROUNDING);
    // Dividers: d/dR1 = −V·R2/(R1+R2)², d/dR2 = V·R1/(R1+R2)².
    let all = c.sensitivities(&values, &x, out_of(&c, "out")).unwrap();
    close(all[c.parameter("R1", Parameter::Ohms).unwrap().index()], -10.0 * 1e3 / 16e6, ROUNDING);
    close(all[c.parameter("R2", Parameter::Ohms).unwrap().index()], 10.0 * 3e3 / 16e6, ROUNDING);
    close(all[c.parameter("V1", Parameter::Volts).unwrap().index()], 0.25, ROUNDING);
}

#[test]
fn current_sources_raise_the_node_they_lead_to() {
    let mut b = Board::default();
    b.i("I1", "0", "a", 1e-3);
    b.r("R1", "a", "0", 2e3);
    close(volts(&b.circuit(), "a"), 2.0, ROUNDING);
}

#[test]
fn non_inverting_amplifier_with_finite_gain_offset_and_bias() {
    let (a0, rf, rg, rs, v) = (1e4, 99e3, 1e3, 10e3, 5e-3);
    let (offset, ib_plus, ib_minus) = (2e-3, 30e-9, -20e-9);
    let mut b = Board::default();
    b.v("V1", "in", "0", v);
    b.r("RS", "in", "p", rs);
    let figures =
        OpAmpFigures { gain: a0, offset, bias_plus: ib_plus, bias_minus: ib_minus, ..OpAmpFigures::ideal() };
    b.op("U1", ["p", "m", "out"], None, figures);
    b.r("RF", "out", "m", rf);
    b.r("RG", "m", "0", rg);
    // v₊ = v − Ib₊·Rs; out = A·(v₊ + Vos − v₋); v₋ = β·out − Ib₋·(Rf ∥ Rg).
    let beta = rg / (rf + rg);
    let expected = (v - ib_plus * rs + offset + ib_minus * rf * rg / (rf + rg)) / (beta + 1.0 / a0);
    close(volts(&b.circuit(), "out"), expected, ROUNDING);
}

#[test]
fn difference_amplifier_with_finite_gain_and_mismatch() {
    let (a0, r1, r2, r3, r4) = (3e4, 10e3, 100e3, 10.05e3, 99.7e3);
    let (va, vb) = (1.02, 1.0);
    let mut b = Board::default();
    b.v("VA", "a", "0", va);
    b.v("VB", "b", "0", vb);
    b.r("R1", "b", "m", r1);
    b.r("R2", "m", "out", r2);
    b.r("R3", "a", "p", r3);
    b.r("R4", "p", "0", r4);
    b.op("U1", ["p", "m", "out"], None, OpAmpFigures { gain: a0, ..OpAmpFigures::ideal() });
    let expected = (va * r4 / (r3 + r4) - vb * r2 / (r1 + r2)) / (r1 / (r1 + r2) + 1.0 / a0);
    close(volts(&b.circuit(), "out"), expected, 10.0 * ROUNDING);
}

#[test]
fn rejection_of_common_mode_and_supply() {
    // A follower at 2 V: the error is (2 V − 0.5 V)/CMRR + (5.5 V − 5 V)/PSRR.
    let (cmrr, psrr) = (1e4, -2e4);
    let mut b = Board::default();
    b.v("VCC", "vcc", "0", 5.5);
    b.v("V1", "p", "0", 2.0);
    let figures =
        OpAmpFigures { cmrr, psrr, nominal_supply: 5.0, nominal_common_mode: 0.5, ..OpAmpFigures::ideal() };
    b.op("U1", ["p", "out", "out"], Some(("vcc", "0")), figures);
    // out = 2 + ((2 + out)/2 − 0.5)/CMRR + 0.5/PSRR
    let expected = (2.0 + (1.0 - 0.5) / cmrr + 0.5 / psrr) / (1.0 - 0.5 / cmrr);
    close(volts(&b.circuit(), "out"), expected, ROUNDING);
}

#[test]
fn output_resistance_falls_by_the_loop_gain() {
    let mut b = Board::default();
    b.v("V1", "p", "0", 1.0);
    let figures = OpAmpFigures { gain: 1e3, output_resistance: 100.0, ..OpAmpFigures::ideal() };
    b.op("U1", ["p", "out", "out"], None, figures);
    b.r("RL", "out", "0", 1e9);
    let c = b.circuit();
    let mut ws = c.workspace();
    c.factor(&c.values(), &mut ws).unwrap();
    close(c.resistance_between(&ws, out_of(&c, "out")), 100.0 / 1001.0, 1e-9);
}

#[test]
fn instrumentation_amplifier_from_its_reference() {
    let mut b = Board::default();
    b.v("VP", "p", "0", 1.015);
    b.v("VM", "m", "0", 1.0);
    b.v("VR", "ref", "0", 0.3);
    let figures = InAmpFigures { offset: 1e-4, cmrr: 1e5, ..InAmpFigures::ideal(50.0) };
    b.ina("U1", ["p", "m", "ref", "out"], None, figures);
    close(volts(&b.circuit(), "out"), 0.3 + 50.0 * (0.015 + 1e-4 + 1.0075 / 1e5), 100.0 * ROUNDING);
}

#[test]
fn superposition_of_unit_responses() {
    let mut b = Board::default();
    b.v("V1", "a", "0", 3.0);
    b.v("V2", "b", "c", 0.5);
    b.i("I1", "0", "c", 2e-3);
    b.r("R1", "a", "b", 1e3);
    b.r("R2", "c", "0", 2e3);
    b.r("R3", "b", "0", 3e3);
    let c = b.circuit();
    let mut ws = c.workspace();
    c.factor(&c.values(), &mut ws).unwrap();
    let (x, mut dx) = (solved(&c), vec![0.0; c.unknowns()]);
    let mut total = 0.0;
    for (name, p, size) in
        [("V1", Parameter::Volts, 3.0), ("V2", Parameter::Volts, 0.5), ("I1", Parameter::Amperes, 2e-3)]
    {
        c.solve_unit(c.parameter(name, p).unwrap(), &ws, &mut dx);
        total += size * c.voltage(&dx, node_of(&c, "b"));
    }
    close(total, c.voltage(&x, node_of(&c, "b")), ROUNDING);
}

#[test]
fn controlled_sources_and_sensed_current() {
    let mut b = Board::default();
    b.v("V1", "in", "0", 1.0);
    b.v("VS", "in", "a", 0.0);
    b.r("R1", "a", "0", 500.0);
    let (h, f) = (b.n("h"), b.n("f"));
    b.0.add("H1", Element::Ccvs { plus: h, minus: Netlist::GROUND, sensed: "VS".into(), ohms: 1e3 });
    b.0.add("F1", Element::Cccs { from: Netlist::GROUND, to: f, sensed: "VS".into(), gain: 3.0 });
    b.r("R2", "f", "0", 100.0);
    let c = b.circuit();
    // 2 mA into the plus terminal of VS.
    close(volts(&c, "h"), 2.0, ROUNDING);
    close(volts(&c, "f"), 0.6, ROUNDING);
}

fn amplifier_on_rails(v: f64) -> Board {
    let mut b = Board::default();
    b.v("VCC", "vcc", "0", 5.0);
    b.v("V1", "p", "0", v);
    let figures = OpAmpFigures {
        gain: 1e5,
        output_low: 0.05,
        output_high: 0.1,
        input_high: 1.2,
        ..OpAmpFigures::ideal()
    };
    b.op("U1", ["p", "m", "out"], Some(("vcc", "0")), figures);
    b.r("RF", "out", "m", 9e3);
    b.r("RG", "m", "0", 1e3);
    b
}

#[test]
fn an_output_stops_at_its_rail_and_the_loop_opens() {
    for (v, out, state) in
        [(0.3, 3.0, OutputState::Linear), (0.6, 4.9, OutputState::High), (-0.1, 0.05, OutputState::Low)]
    {
        let c = amplifier_on_rails(v).circuit();
        let values = c.values();
        let op = c.operating_point(&values).unwrap();
        close(c.voltage(&op.x, node_of(&c, "out")), out, 2e-4);
        assert_eq!(op.outputs().next().unwrap().1, state);
        close(c.voltage(&op.x, node_of(&c, "m")), c.voltage(&op.x, node_of(&c, "out")) / 10.0, ROUNDING);
        // The linear solution must say the same of its limits.
        assert_eq!(c.within_limits(&values, &solved(&c)), state == OutputState::Linear && v >= 0.0);
    }
}

#[test]
fn limits_name_the_pin_the_volts_and_the_range() {
    let c = amplifier_on_rails(0.6).circuit();
    let hits = c.limits(&c.values(), &solved(&c));
    assert_eq!(hits.len(), 1);
    assert_eq!(hits[0].kind, LimitKind::OutputHigh);
    close(hits[0].volts, 6.0, 2e-4);
    assert_eq!(hits[0].allowed, (0.05, 4.9));
    let c = amplifier_on_rails(4.0).circuit();
    let kinds: Vec<_> = c.limits(&c.values(), &solved(&c)).iter().map(|h| h.kind).collect();
    assert_eq!(kinds, [LimitKind::OutputHigh, LimitKind::InputPlus, LimitKind::InputMinus]);
}

#[test]
fn a_comparator_with_hysteresis_takes_a_rail() {
    // Positive feedback: the linear solution is unstable, the operating point must be one of the rails.
    let mut b = Board::default();
    b.v("VP", "vp", "0", 5.0);
    b.v("VN", "vn", "0", -5.0);
    b.v("V1", "m", "0", 1.0);
    b.op("U1", ["p", "m", "out"], Some(("vp", "vn")), OpAmpFigures::ideal());
    b.r("R1", "out", "p", 10e3);
    b.r("R2", "p", "0", 1e3);
    let c = b.circuit();
    let op = c.operating_point(&c.values()).unwrap();
    close(c.voltage(&op.x, node_of(&c, "out")), -5.0, ROUNDING);
}

#[test]
fn noise_of_a_non_inverting_stage_share_by_share() {
    // Gain 100: eₙ·G; iₙ·Rs·G; iₙ·Rf; 4kT·Rs·G², 4kT·Rg·(G − 1)², 4kT·Rf.
    let (rs, rf, rg, en, i_n, kelvin) = (5e3, 99e3, 1e3, 10e-9, 0.5e-12, 300.0);
    let mut b = Board::default();
    b.v("V1", "in", "0", 0.0);
    b.r("RS", "in", "p", rs);
    let noise = NoiseFigures { white: en, corner_hz: 30.0, current: i_n, current_corner_hz: 0.0 };
    b.op("U1", ["p", "m", "out"], None, OpAmpFigures { noise, ..OpAmpFigures::ideal() });
    b.r("RF", "out", "m", rf);
    b.r("RG", "m", "0", rg);
    let c = b.circuit();
    let found = c.noise(&c.values(), None, out_of(&c, "out"), kelvin, 10.0).unwrap();
    let (g, kt4) = (100.0_f64, 4.0 * 1.380649e-23 * kelvin);
    let expected = [
        kt4 * rs * g * g,
        en * en * 4.0 * g * g,
        i_n * i_n * rs * rs * g * g,
        i_n * i_n * rf * rf,
        kt4 * rf,
        kt4 * rg * (g - 1.0) * (g - 1.0),
    ];
    assert_eq!(found.shares.len(), expected.len());
    for (share, e) in found.shares.iter().zip(expected) {
        close(share.power, e, 1e-12);
    }
    close(found.power, expected.iter().sum(), 1e-12);
}

/// A current into a capacitor behind two resistors, with a leak R beside them: I·R·(1 − exp(−t/((R + 2 kΩ)·C))). What it
/// would end at is up to ten million times what is there at the end of the pulse, and no capacitor goes to ground.
#[test]
fn the_end_of_a_pulse_into_a_floating_capacitor() {
    const AMPERES: f64 = 10e-6;
    const LEG: f64 = 1e3;
    const FARADS: f64 = 100e-9;
    let mut worst = 0.0f64;
    for leak in [1e4, 1e6, 1e8, 1e10] {
        let mut net = Netlist::new();
        let [a, b, c, d, middle] = ["a", "b", "c", "d", "middle"].map(|name| net.node(name));
        for (name, from, to, ohms) in [
            ("R1", a, c, LEG),
            ("R2", b, d, LEG),
            ("R3", middle, b, 100e3),
            ("R4", middle, Netlist::GROUND, 5e3),
            ("R5", a, b, leak),
        ] {
            net.add(name, Element::Resistor { a: from, b: to, ohms });
        }
        net.add("C1", Element::Capacitor { a: c, b: d, farads: FARADS });
        net.add("C2", Element::Capacitor { a: middle, b: Netlist::GROUND, farads: 1e-6 });
        net.add("I1", Element::CurrentSource { from: b, to: a, amperes: 0.0 });
        let circuit = Circuit::new(&net).unwrap();
        let source = circuit.parameter("I1", Parameter::Amperes).unwrap();
        for seconds in [10e-6, 1e-3, 100e-3] {
            let volts = circuit.step_end(&circuit.values(), source, (c, d), AMPERES, seconds).unwrap();
            let exact = -AMPERES * leak * libm::expm1(-seconds / ((leak + 2.0 * LEG) * FARADS));
            let off = (volts / exact - 1.0).abs();
            println!("{leak:e} Ω, {seconds} s: {volts} V, off by {off:.1e}");
            worst = worst.max((volts - exact).abs() / (AMPERES * leak));
        }
    }
    assert!(worst < 1e-10, "{worst} of what it would end at");
}
