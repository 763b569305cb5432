//! What the solver says when a circuit can't be solved: the message is part of the interface.

// Tests may stop at once.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod board;

use board::Board;
use icepoint_circuit::{Circuit, CircuitError, DiodeFigures, Element, NoiseBand, OpAmpFigures, Parameter};
use insta::assert_snapshot;

fn divider() -> Board {
    let mut b = Board::default();
    b.v("V1", "in", "0", 5.0);
    b.r("R1", "in", "out", 1e3);
    b.r("R2", "out", "0", 1e3);
    b
}

#[test]
fn nothing() {
    assert_snapshot!(Board::default().refused(), @"");
}

#[test]
fn two_of_one_name() {
    let mut b = divider();
    b.r("R1", "out", "0", 2e3);
    assert_snapshot!(b.refused(), @"");
}

#[test]
fn floating_behind_capacitors() {
    let mut b = divider();
    b.c("C1", "out", "x", 1e-9);
    b.r("R3", "x", "y", 1e3);
    assert_snapshot!(b.refused(), @"");
}

#[test]
fn floating_amplifier_input() {
    let mut b = divider();
    b.op("U1", ["p", "q", "q"], None, OpAmpFigures::ideal());
    assert_snapshot!(b.refused(), @"");
}

#[test]
fn sources_in_a_loop() {
    let mut b = divider();
    b.v("V2", "mid", "in", 1.0);
    b.v("V3", "mid", "0", 2.0);
    assert_snapshot!(b.refused(), @"");
}

#[test]
fn two_outputs_joined() {
    let mut b = divider();
    b.op("U1", ["in", "x", "x"], None, OpAmpFigures::ideal());
    b.op("U2", ["out", "x", "x"], None, OpAmpFigures::ideal());
    assert_snapshot!(b.refused(), @"");
}

#[test]
fn shorted_source() {
    let mut b = divider();
    b.v("V2", "out", "out", 1.0);
    assert_snapshot!(b.refused(), @"");
}

#[test]
fn zero_resistor() {
    let mut b = divider();
    b.r("R3", "out", "0", 0.0);
    assert_snapshot!(b.refused(), @"");
}

#[test]
fn not_a_number() {
    let mut b = divider();
    b.v("V2", "x", "0", f64::NAN);
    assert_snapshot!(b.refused(), @"");
}

#[test]
fn no_gain() {
    let mut b = divider();
    b.op("U1", ["in", "x", "x"], None, OpAmpFigures { gain: 0.0, ..OpAmpFigures::ideal() });
    assert_snapshot!(b.refused(), @"");
}

#[test]
fn sensed_source_misspelt() {
    let mut b = divider();
    let (from, to) = (b.n("0"), b.n("out"));
    b.0.add("F1", Element::Cccs { from, to, sensed: "V7".into(), gain: 2.0 });
    assert_snapshot!(b.refused(), @"");
}

#[test]
fn node_of_another_netlist() {
    let mut other = Board::default();
    let far = (0..9).map(|k| other.n(&format!("n{k}"))).next_back().unwrap();
    let mut b = divider();
    let a = b.n("out");
    b.0.add("R9", Element::Resistor { a, b: far, ohms: 1.0 });
    assert_snapshot!(b.refused(), @"");
}

#[test]
fn amplifier_without_feedback() {
    let mut b = divider();
    b.op("U1", ["in", "out", "x"], None, OpAmpFigures::ideal());
    assert_snapshot!(b.refused(), @"");
}

#[test]
fn current_forced_backwards_through_a_diode() {
    let mut b = Board::default();
    b.i("I1", "a", "0", 1e-3);
    b.d("D1", "a", "0", DiodeFigures::silicon(1e-14));
    let circuit = b.circuit();
    let error = circuit.operating_point(&circuit.values()).unwrap_err();
    assert!(
        matches!(&error, CircuitError::NoConvergence { node, steps } if node == "a" && !steps.is_empty())
    );
    assert_snapshot!(error, @"");
}

#[test]
fn values_that_cannot_be() {
    let circuit = divider().circuit();
    let mut ws = circuit.workspace();
    assert_snapshot!(circuit.factor(&[1.0], &mut ws).unwrap_err(), @"");
    let at = circuit.parameter("R2", Parameter::Ohms).unwrap().index();
    for wrong in [0.0, -1.0, f64::NAN] {
        let mut values = circuit.values();
        values[at] = wrong;
        assert!(matches!(circuit.factor(&values, &mut ws), Err(CircuitError::BadValue { .. })));
        assert!(circuit.operating_point(&values).is_err());
    }
    let mut values = circuit.values();
    values[at] = -3.0;
    assert_snapshot!(circuit.factor(&values, &mut ws).unwrap_err(), @"");
    // Nothing is factored now: the solution must not look like one.
    let mut x = vec![0.0; circuit.unknowns()];
    circuit.solve(&circuit.values(), &ws, &mut x);
    assert!(x.iter().all(|v| v.is_nan()) && !circuit.within_limits(&[], &x));
}

#[test]
fn linear_solution_of_a_diode() {
    let mut b = divider();
    b.d("D1", "out", "0", DiodeFigures::silicon(1e-14));
    let circuit = b.circuit();
    assert_snapshot!(circuit.factor(&circuit.values(), &mut circuit.workspace()).unwrap_err(), @"");
}

#[test]
fn impossible_arguments() {
    let c = divider().circuit();
    let v = c.values();
    let source = c.parameter("V1", Parameter::Volts).unwrap();
    let out = board::out_of(&c, "out");
    assert_snapshot!(c.ac(&v, None, source, f64::NAN).unwrap_err(), @"");
    assert_snapshot!(c.noise(&v, None, out, -1.0, 1.0).unwrap_err(), @"");
    let band = NoiseBand { low_hz: 10.0, high_hz: 1.0, weight: None };
    assert_snapshot!(c.noise_integral(&v, None, out, 300.0, band).unwrap_err(), @"");
    assert_snapshot!(c.step(&v, source, out, 1.0, 0.0, 10).unwrap_err(), @"");
    assert_snapshot!(c.step(&v, source, out, 1.0, 1.0, 0).unwrap_err(), @"");
}

#[test]
fn nothing_panics_on_foreign_ids_and_lengths() {
    let small = divider().circuit();
    let mut b = divider();
    for k in 0..5 {
        b.r(&format!("S{k}"), "out", &format!("n{k}"), 1e3);
        b.r(&format!("T{k}"), "0", &format!("n{k}"), 1e3);
    }
    let large = b.circuit();
    let (node, far) = (board::node_of(&large, "n4"), large.parameter("T4", Parameter::Ohms).unwrap());
    let (v, mut ws) = (small.values(), small.workspace());
    small.factor(&v, &mut ws).unwrap();
    let mut x = vec![0.0; small.unknowns()];
    small.solve(&v, &ws, &mut x);
    assert!(small.voltage(&x, node).is_nan());
    assert!(small.ac(&v, None, far, 1.0).unwrap().voltage(node).re.is_nan());
    assert!(small.sensitivities(&v, &x, (node, node)).is_ok());
    assert!(small.sensitivities(&v, &[], (node, node)).unwrap().iter().all(|v| v.is_nan()));
    assert!(small.current(&v, &x, large.netlist().find_element("T4").unwrap()).is_nan());
    assert!(small.step(&v, far, (node, node), 1.0, 1.0, 5).unwrap().volts.iter().all(|v| *v == 0.0));
    let mut long = vec![0.0; large.unknowns()];
    large.solve(&large.values(), &ws, &mut long);
    assert!(long.iter().all(|v| v.is_nan()));
    // A workspace of another circuit is replaced.
    large.factor(&large.values(), &mut ws).unwrap();
    large.solve(&large.values(), &ws, &mut long);
    assert!(long.iter().all(|v| v.is_finite()));
    assert!(small.limits(&[], &[]).is_empty());
    let foreign_op = large.operating_point(&large.values()).unwrap();
    assert!(small.ac(&v, Some(&foreign_op), far, 1.0).is_ok());
    assert!(small.sensitivities_at(&v, &foreign_op, (node, node)).is_ok());
    assert!(Circuit::new(large.netlist()).is_ok());
}
