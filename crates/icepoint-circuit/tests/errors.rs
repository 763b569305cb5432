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
    assert_snapshot!(Board::default().refused(), @"the circuit has no elements: add at least a source and a resistor");
}

#[test]
fn two_of_one_name() {
    let mut b = divider();
    b.r("R1", "out", "0", 2e3);
    assert_snapshot!(b.refused(), @"two elements are called R1: give one of them another name");
}

#[test]
fn floating_behind_capacitors() {
    let mut b = divider();
    b.c("C1", "out", "x", 1e-9);
    b.r("R3", "x", "y", 1e3);
    assert_snapshot!(b.refused(), @"nodes x and y float together: connected to C1 and R3, but no direct-current path leads from there to ground (capacitors, current sources and amplifier inputs are none); add one, for instance a large resistor from x to ground");
}

#[test]
fn floating_amplifier_input() {
    let mut b = divider();
    b.op("U1", ["p", "q", "q"], None, OpAmpFigures::ideal());
    assert_snapshot!(b.refused(), @"node p floats: connected to U1, but no direct-current path leads from there to ground (capacitors, current sources and amplifier inputs are none); add one, for instance a large resistor from p to ground");
}

#[test]
fn sources_in_a_loop() {
    let mut b = divider();
    b.v("V2", "mid", "in", 1.0);
    b.v("V3", "mid", "0", 2.0);
    assert_snapshot!(b.refused(), @"V2, V1 and V3 dictate voltages around one closed loop: put a resistor into the loop or remove one of them");
}

#[test]
fn two_outputs_joined() {
    let mut b = divider();
    b.op("U1", ["in", "x", "x"], None, OpAmpFigures::ideal());
    b.op("U2", ["out", "x", "x"], None, OpAmpFigures::ideal());
    assert_snapshot!(b.refused(), @"U1 and U2 dictate voltages around one closed loop: put a resistor into the loop or remove one of them");
}

#[test]
fn shorted_source() {
    let mut b = divider();
    b.v("V2", "out", "out", 1.0);
    assert_snapshot!(b.refused(), @"V2 has both ends on one node, where its voltage can be nothing but 0 V: move one end");
}

#[test]
fn zero_resistor() {
    let mut b = divider();
    b.r("R3", "out", "0", 0.0);
    assert_snapshot!(b.refused(), @"R3: the resistance (Ω) is 0; expected a finite number above 0 (for a short, join the two nodes or use a 0 V source)");
}

#[test]
fn not_a_number() {
    let mut b = divider();
    b.v("V2", "x", "0", f64::NAN);
    assert_snapshot!(b.refused(), @"V2: the voltage (V) is NaN; expected a finite number");
}

#[test]
fn no_gain() {
    let mut b = divider();
    b.op("U1", ["in", "x", "x"], None, OpAmpFigures { gain: 0.0, ..OpAmpFigures::ideal() });
    assert_snapshot!(b.refused(), @"U1: the open-loop gain (V/V) is 0; expected a number above 0, or infinity");
}

#[test]
fn sensed_source_misspelt() {
    let mut b = divider();
    let (from, to) = (b.n("0"), b.n("out"));
    b.0.add("F1", Element::Cccs { from, to, sensed: "V7".into(), gain: 2.0 });
    assert_snapshot!(b.refused(), @"F1 is controlled by the current of V7, which is not a voltage source here; it could be V1");
}

#[test]
fn node_of_another_netlist() {
    let mut other = Board::default();
    let far = (0..9).map(|k| other.n(&format!("n{k}"))).last().unwrap();
    let mut b = divider();
    let a = b.n("out");
    b.0.add("R9", Element::Resistor { a, b: far, ohms: 1.0 });
    assert_snapshot!(b.refused(), @"R9 is connected to a node that this netlist doesn't have: take nodes from the netlist that the element is added to");
}

#[test]
fn amplifier_without_feedback() {
    let mut b = divider();
    b.op("U1", ["in", "out", "x"], None, OpAmpFigures::ideal());
    assert_snapshot!(b.refused(), @"the equations leave node x open: look for an amplifier without feedback, a controlled source that cancels a resistor, or two values that are more than 15 decades apart");
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
    assert_snapshot!(error, @"
    no operating point found: node a swings. The last steps:
      step 23: a at -1.000000e8 V, moved by -9.000e7 V
      step 24: a at -1.000000e8 V, moved by 0.000e0 V
      step 25: a at -1.000000e9 V, moved by -9.000e8 V
      step 26: a at -1.000000e9 V, moved by 0.000e0 V
      step 28: a at -6.423145e7 V, moved by -6.423e7 V
    look for a current forced backwards through a diode, or an amplifier with more positive than negative feedback and no supply to stop it
    ");
}

#[test]
fn values_that_cannot_be() {
    let circuit = divider().circuit();
    let mut ws = circuit.workspace();
    assert_snapshot!(circuit.factor(&[1.0], &mut ws).unwrap_err(), @"1 values were given for a circuit with 3 parameters: start from Circuit::values()");
    let at = circuit.parameter("R2", Parameter::Ohms).unwrap().index();
    for wrong in [0.0, -1.0, f64::NAN] {
        let mut values = circuit.values();
        values[at] = wrong;
        assert!(matches!(circuit.factor(&values, &mut ws), Err(CircuitError::BadValue { .. })));
        assert!(circuit.operating_point(&values).is_err());
    }
    let mut values = circuit.values();
    values[at] = -3.0;
    assert_snapshot!(circuit.factor(&values, &mut ws).unwrap_err(), @"R2: the resistance (Ω) is -3; expected a number above 0");
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
    assert_snapshot!(circuit.factor(&circuit.values(), &mut circuit.workspace()).unwrap_err(), @"D1 is not linear: use operating_point instead of the linear solution");
}

#[test]
fn impossible_arguments() {
    let c = divider().circuit();
    let v = c.values();
    let source = c.parameter("V1", Parameter::Volts).unwrap();
    let out = board::out_of(&c, "out");
    assert_snapshot!(c.ac(&v, None, source, f64::NAN).unwrap_err(), @"the frequency (Hz) is NaN; expected 0 or a finite number above it");
    assert_snapshot!(c.noise(&v, None, out, -1.0, 1.0).unwrap_err(), @"the temperature (K) is -1; expected a finite number above 0");
    let band = NoiseBand { low_hz: 10.0, high_hz: 1.0, weight: None };
    assert_snapshot!(c.noise_integral(&v, None, out, 300.0, band).unwrap_err(), @"the upper end of the band (Hz) is 1; expected a finite number above the lower end");
    assert_snapshot!(c.step(&v, source, out, 1.0, 0.0, 10).unwrap_err(), @"the duration (s) is 0; expected a finite number above 0");
    assert_snapshot!(c.step(&v, source, out, 1.0, 1.0, 0).unwrap_err(), @"the number of points is 0; expected 1 to 1000000");
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

#[test]
fn a_planned_order_that_stops_being_sound_is_found_out() {
    // Planned for a gain of 1e5, where the source's own output is a poor pivot and the divider's a good one; at a gain of
    // 1e-6 it is the other way round, by a factor of 1000.
    let mut b = Board::default();
    b.v("V1", "in", "0", 2.5);
    let [plus, minus, ctrl_plus, ctrl_minus] = ["x", "0", "in", "m"].map(|n| b.n(n));
    b.0.add("E1", Element::Vcvs { plus, minus, ctrl_plus, ctrl_minus, gain: 1e5 });
    b.r("R3", "x", "m", 1e6);
    b.r("R4", "m", "0", 1e3);
    let circuit = b.circuit();
    let (mut ws, mut values) = (circuit.workspace(), circuit.values());
    let mut x = vec![0.0; circuit.unknowns()];
    let at = circuit.parameter("E1", Parameter::Gain).unwrap().index();
    for (gain, planned) in [(1e5, true), (1e-6, false)] {
        values[at] = gain;
        circuit.factor(&values, &mut ws).unwrap();
        assert_eq!(ws.planned(), planned);
        circuit.solve(&values, &ws, &mut x);
        let closed = 1.0 / (1.0 / gain + 1.0 / 1001.0);
        board::close(circuit.voltage(&x, plus), 2.5 * closed, 1e-14);
        let slopes = circuit.sensitivities(&values, &x, board::out_of(&circuit, "x")).unwrap();
        board::close(slopes[circuit.parameter("V1", Parameter::Volts).unwrap().index()], closed, 1e-14);
    }
}

#[test]
fn a_circuit_of_ground_alone_has_nothing_to_solve_and_says_so_quietly() {
    let mut b = Board::default();
    b.r("R1", "0", "gnd", 1e3);
    let c = b.circuit();
    let (v, mut ws) = (c.values(), c.workspace());
    assert_eq!(c.unknowns(), 0);
    c.factor(&v, &mut ws).unwrap();
    c.solve(&v, &ws, &mut []);
    let (out, r1) = (board::out_of(&c, "gnd"), c.parameter("R1", Parameter::Ohms).unwrap());
    assert_eq!(c.sensitivities(&v, &[], out).unwrap(), [0.0]);
    assert_eq!(c.operating_point(&v).unwrap().x, []);
    assert_eq!(c.noise(&v, None, out, 300.0, 1.0).unwrap().power, 0.0);
    let band = NoiseBand { low_hz: 1.0, high_hz: 2.0, weight: None };
    assert_eq!(c.noise_integral(&v, None, out, 300.0, band).unwrap().rms, 0.0);
    assert_eq!(c.step(&v, r1, out, 1.0, 1.0, 3).unwrap().settling_time(0.1), None);
}

#[test]
fn a_source_that_is_no_number_has_no_operating_point() {
    let circuit = divider().circuit();
    let mut values = circuit.values();
    values[0] = f64::NAN;
    assert_snapshot!(circuit.operating_point(&values).unwrap_err(), @"V1: the voltage (V) is NaN; expected a number");
}
