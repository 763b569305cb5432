//! What must hold for any circuit: random boards against nalgebra, central differences and Kirchhoff.

// Tests may stop at once, and compare against the standard library's functions.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::disallowed_methods)]

mod board;

use board::Board;
use icepoint_circuit::{
    Circuit, CircuitError, DiodeFigures, Element, ElementId, Netlist, OpAmpFigures, Parameter,
};
use nalgebra::{Complex, DMatrix, DVector};
use proptest::prelude::*;

/// Row-wise backward error that a stable elimination of at most 25 unknowns may leave, with the two digits that the planned
/// order may spend (growth 64).
const BACKWARD: f64 = 1e-11;

/// Rounding of a dense elimination of at most 25 unknowns, normwise.
const PEER: f64 = 1e-14;

/// A random board: a tree of resistors from ground outwards, so that nothing floats, then whatever the dice say.
fn boards(diodes: bool) -> impl Strategy<Value = Board> {
    let nodes = 3usize..9;
    nodes.prop_flat_map(move |n| {
        let tree = prop::collection::vec((any::<prop::sample::Index>(), 1.0..6.0), n);
        let extra =
            prop::collection::vec((0u8..9, any::<[prop::sample::Index; 4]>(), -1.0..1.0, 1.0..6.0), 1..8);
        (tree, extra).prop_map(move |(tree, extra)| {
            let mut b = Board::default();
            let name = |at: usize| if at == 0 { "0".to_owned() } else { format!("n{at}") };
            for (k, (up, size)) in tree.iter().enumerate() {
                b.r(&format!("R{k}"), &name(k + 1), &name(up.index(k + 1)), 10f64.powf(*size));
            }
            b.v("V0", "drive", "0", 1.0);
            b.r("RV", "drive", "n1", 1e3);
            for (k, (kind, at, signed, size)) in extra.into_iter().enumerate() {
                let [p, q, r, s] = at.map(|i| name(i.index(n + 1)));
                let [np, nq, nr, ns] = [&p, &q, &r, &s].map(|x| b.n(x));
                let ohms = 10f64.powf(size);
                let (own, inner) = (format!("x{k}"), format!("y{k}"));
                match kind {
                    0 => drop(b.r(&format!("E{k}"), &p, &q, ohms)),
                    1 => drop(b.i(&format!("E{k}"), &p, &q, signed * 1e-3)),
                    // Dictated voltages get a node of their own, so that they close no loop.
                    2 => {
                        b.v(&format!("E{k}"), &own, &p, signed);
                        b.r(&format!("EL{k}"), &own, &q, ohms);
                    }
                    3 => {
                        let plus = b.n(&own);
                        let gain = signed * 3.0;
                        b.0.add(
                            &format!("E{k}"),
                            Element::Vcvs { plus, minus: np, ctrl_plus: nr, ctrl_minus: ns, gain },
                        );
                        b.r(&format!("EL{k}"), &own, &q, ohms);
                    }
                    4 => {
                        let siemens = signed * 1e-4;
                        b.0.add(
                            &format!("E{k}"),
                            Element::Vccs { from: np, to: nq, ctrl_plus: nr, ctrl_minus: ns, siemens },
                        );
                    }
                    5 => {
                        b.v(&format!("ES{k}"), &own, &p, 0.0);
                        b.r(&format!("EL{k}"), &own, &q, ohms);
                        let sensed = format!("ES{k}");
                        b.0.add(&format!("E{k}"), Element::Cccs { from: nr, to: ns, sensed, gain: signed });
                    }
                    6 | 7 => {
                        let figures = OpAmpFigures {
                            gain: 10f64.powf(size),
                            offset: signed * 1e-2,
                            bias_plus: signed * 1e-6,
                            cmrr: 100.0,
                            output_resistance: if kind == 6 { 50.0 } else { 0.0 },
                            bandwidth_hz: 1e6,
                            ..OpAmpFigures::ideal()
                        };
                        b.op(&format!("E{k}"), [&p, &inner, &own], None, figures);
                        b.r(&format!("EF{k}"), &own, &inner, ohms);
                        b.r(&format!("EG{k}"), &inner, &q, 1e3);
                    }
                    _ if diodes => {
                        let figures =
                            DiodeFigures { ideality: 1.0 + size / 6.0, ..DiodeFigures::silicon(1e-12) };
                        b.d(&format!("E{k}"), &own, &q, DiodeFigures { series_resistance: 3.0, ..figures });
                        b.r(&format!("EL{k}"), &own, &p, ohms);
                    }
                    _ => drop(b.c(&format!("E{k}"), &p, &q, 1e-9)),
                }
            }
            b
        })
    })
}

/// Compiled, unless the dice made a circuit without a solution (a controlled source may cancel a resistor).
fn compiled(b: &Board) -> Option<Circuit> {
    match Circuit::new(&b.0) {
        Ok(circuit) => Some(circuit),
        Err(CircuitError::Singular { .. }) => None,
        Err(other) => panic!("{other}"),
    }
}

/// Every solver must leave the same small residual, whatever the condition of the matrix.
fn backward_error(a: &[f64], x: &[f64], b: &[f64]) -> f64 {
    let n = x.len();
    (0..n).fold(0.0, |worst: f64, i| {
        let row = &a[i * n..(i + 1) * n];
        let residual = row.iter().zip(x).fold(-b[i], |sum, (a, x)| sum + a * x).abs();
        let largest = |v: &[f64]| v.iter().fold(0.0, |m: f64, v| m.max(v.abs()));
        worst.max(residual / (largest(row) * largest(x) + b[i].abs()).max(f64::MIN_POSITIVE))
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn elimination_is_as_good_as_nalgebra(b in boards(false), noise in prop::collection::vec(-3.0..3.0f64, 64)) {
        let Some(circuit) = compiled(&b) else { return Ok(()) };
        let n = circuit.unknowns();
        let mut values = circuit.values();
        let (mut ws, mut x) = (circuit.workspace(), vec![0.0; n]);
        // First at the values that the order was planned for, then with every resistor off by up to three decades: there the
        // planned order may be unsound, and must be found out.
        for round in 0..2 {
            if round == 1 {
                for (k, (id, _, p)) in circuit.parameters().enumerate() {
                    if p == Parameter::Ohms {
                        values[id.index()] *= 10f64.powf(noise[k % noise.len()]);
                    }
                }
            }
            if circuit.factor(&values, &mut ws).is_err() {
                continue;
            }
            circuit.solve(&values, &ws, &mut x);
            let (a, right) = circuit.matrix(&values).unwrap();
            prop_assert!(backward_error(&a, &x, &right) <= BACKWARD);
            let peer = DMatrix::from_row_slice(n, n, &a).lu().solve(&DVector::from_vec(right.clone()));
            let Some(peer) = peer else { continue };
            // Forward: ours may be off by its backward error row by row through the inverse, the peer, which doesn't
            // scale rows, by rounding of the largest entry of all.
            let Some(inverse) = DMatrix::from_row_slice(n, n, &a).try_inverse() else { continue };
            let largest = |v: &[f64]| v.iter().fold(0.0, |m: f64, v| m.max(v.abs()));
            for i in 0..n {
                let (mut ours, mut theirs) = (0.0, 0.0);
                for j in 0..n {
                    let row = a[j * n..(j + 1) * n].iter().zip(&x).fold(right[j].abs(), |s, (a, x)| s + (a * x).abs());
                    ours += inverse[(i, j)].abs() * row;
                    theirs += inverse[(i, j)].abs() * largest(&a) * largest(&x);
                }
                let allowed = BACKWARD * ours + PEER * theirs;
                prop_assert!((x[i] - peer[i]).abs() <= allowed, "{} {} {allowed}", x[i], peer[i]);
            }
        }
    }

    #[test]
    fn adjoint_sensitivities_are_central_differences(b in boards(true)) {
        let Some(circuit) = compiled(&b) else { return Ok(()) };
        let values = circuit.values();
        let Ok(op) = circuit.operating_point(&values) else { return Ok(()) };
        let out = (board::node_of(&circuit, "n2"), board::node_of(&circuit, "n1"));
        let all = circuit.sensitivities_at(&values, &op, out).unwrap();
        if circuit.is_linear() {
            prop_assert_eq!(&circuit.sensitivities(&values, &op.x, out).unwrap(), &all);
        }
        let at = |values: &[f64]| circuit.operating_point(values).map(|op| circuit.voltage_between(&op.x, out));
        for (id, name, p) in circuit.parameters() {
            let k = id.index();
            if !values[k].is_finite() {
                prop_assert_eq!(all[k], 0.0);
                continue;
            }
            let h = if values[k] == 0.0 { 1e-6 } else { values[k].abs() * 1e-5 };
            let slope = |h: f64| {
                let mut moved = values.clone();
                moved[k] += h;
                let up = at(&moved);
                moved[k] -= 2.0 * h;
                Some((up.ok()? - at(&moved).ok()?) / (2.0 * h))
            };
            let (Some(coarse), Some(fine)) = (slope(h), slope(0.5 * h)) else { continue };
            // The differences' own error: their curvature, and rounding of the solution over h.
            let volts = op.x.iter().fold(1.0, |m: f64, v| m.max(v.abs()));
            let allowed = 4.0 * (coarse - fine).abs() + 1e-6 * all[k].abs() + 1e-9 * volts / h;
            prop_assert!((fine - all[k]).abs() <= allowed, "{name} {p:?}: {fine} against {}", all[k]);
        }
    }

    #[test]
    fn currents_balance_and_sources_superpose(b in boards(false)) {
        let Some(circuit) = compiled(&b) else { return Ok(()) };
        let values = circuit.values();
        let (mut ws, mut x) = (circuit.workspace(), vec![0.0; circuit.unknowns()]);
        circuit.factor(&values, &mut ws).unwrap();
        circuit.solve(&values, &ws, &mut x);
        // Tellegen, with what enters ground through amplifiers left out: check one node by hand, the drive.
        let current = |name: &str| {
            let id: ElementId = circuit.netlist().find_element(name).unwrap();
            circuit.current(&values, &x, id)
        };
        let largest = x.iter().fold(1.0, |m: f64, v| m.max(v.abs()));
        prop_assert!((current("V0") + current("RV")).abs() <= 1e-12 * largest);
        let (mut sum, mut dx) = (vec![0.0; x.len()], vec![0.0; x.len()]);
        let mut linear = true;
        for (id, _, p) in circuit.parameters() {
            circuit.solve_unit(id, &ws, &mut dx);
            linear &= dx.iter().all(|v| v.is_finite());
            if matches!(p, Parameter::Volts | Parameter::Amperes | Parameter::Offset | Parameter::BiasPlus | Parameter::BiasMinus) {
                sum.iter_mut().zip(&dx).for_each(|(s, d)| *s += d * values[id.index()]);
            } else {
                prop_assert!(dx.iter().all(|v| *v == 0.0));
            }
        }
        prop_assert!(linear);
        let reach = sum.iter().fold(largest, |m: f64, v| m.max(v.abs()));
        for (s, x) in sum.iter().zip(&x) {
            prop_assert!((s - x).abs() <= 1e-7 * reach);
        }
    }

    #[test]
    fn alternating_current_at_nothing_is_direct_current(b in boards(true)) {
        let Some(circuit) = compiled(&b) else { return Ok(()) };
        let values = circuit.values();
        let Ok(op) = circuit.operating_point(&values) else { return Ok(()) };
        let source = circuit.parameter("V0", Parameter::Volts).unwrap();
        let ac = circuit.ac(&values, Some(&op), source, 0.0).unwrap();
        for node in circuit.netlist().nodes() {
            let all = circuit.sensitivities_at(&values, &op, (node, Netlist::GROUND)).unwrap();
            let found = ac.voltage(node);
            prop_assert!(found.im == 0.0);
            prop_assert!((found.re - all[source.index()]).abs() <= 1e-8 * (1.0 + found.re.abs()));
        }
    }

    #[test]
    fn complex_elimination_is_as_good_as_nalgebra(b in boards(false), log_f in 0.0..7.0f64) {
        // The peer's matrix is drawn from three real ones: (G + jωC) is measured by its action, since the crate doesn't give C.
        let Some(circuit) = compiled(&b) else { return Ok(()) };
        let values = circuit.values();
        let source = circuit.parameter("V0", Parameter::Volts).unwrap();
        let f = 10f64.powf(log_f);
        let ac = circuit.ac(&values, None, source, f).unwrap();
        let peer = peer_response(&b, &circuit, f);
        let Some(peer) = peer else { return Ok(()) };
        for (k, node) in circuit.netlist().nodes().skip(1).enumerate() {
            let (found, expected) = (ac.voltage(node), peer[k]);
            let off = (found.re - expected.re).hypot(found.im - expected.im);
            prop_assert!(off <= 1e-6 * (1.0 + expected.norm()), "{found:?} {expected}");
        }
    }
}

/// Node voltages by plain complex nodal equations with every source's current as an unknown, solved by nalgebra; `None`
/// if singular.
fn peer_response(b: &Board, circuit: &Circuit, f: f64) -> Option<Vec<Complex<f64>>> {
    let net = circuit.netlist();
    let nodes = net.node_count() - 1;
    let dictated: Vec<ElementId> = net
        .elements()
        .filter(|(_, _, e)| {
            matches!(e, Element::VoltageSource { .. } | Element::Vcvs { .. } | Element::OpAmp { .. })
        })
        .map(|(id, ..)| id)
        .collect();
    let size = nodes + dictated.len();
    let mut a = DMatrix::<Complex<f64>>::zeros(size, size);
    let mut right = DVector::<Complex<f64>>::zeros(size);
    let names: Vec<String> = net.nodes().map(|n| net.node_name(n).to_owned()).collect();
    let place = |n: &icepoint_circuit::Node| {
        names.iter().position(|x| x == net.node_name(*n)).and_then(|k| k.checked_sub(1))
    };
    let mut put = |i: Option<usize>, j: Option<usize>, v: Complex<f64>| {
        if let (Some(i), Some(j)) = (i, j) {
            a[(i, j)] += v;
        }
    };
    let real = |v: f64| Complex::new(v, 0.0);
    let s = Complex::new(0.0, core::f64::consts::TAU * f);
    for (id, name, element) in b.0.elements() {
        let row = dictated.iter().position(|d| *d == id).map(|k| nodes + k);
        match element {
            Element::Resistor { a, b, ohms } => {
                for (i, j, sign) in [(a, a, 1.0), (b, b, 1.0), (a, b, -1.0), (b, a, -1.0)] {
                    put(place(i), place(j), real(sign / ohms));
                }
            }
            Element::Capacitor { a, b, farads } => {
                for (i, j, sign) in [(a, a, 1.0), (b, b, 1.0), (a, b, -1.0), (b, a, -1.0)] {
                    put(place(i), place(j), s * sign * *farads);
                }
            }
            Element::VoltageSource { plus, minus, .. } => {
                for (n, sign) in [(plus, 1.0), (minus, -1.0)] {
                    put(place(n), row, real(sign));
                    put(row, place(n), real(sign));
                }
                if name == "V0" {
                    right[row?] = real(1.0);
                }
            }
            Element::Vcvs { plus, minus, ctrl_plus, ctrl_minus, gain } => {
                for (n, sign) in [(plus, 1.0), (minus, -1.0)] {
                    put(place(n), row, real(sign));
                    put(row, place(n), real(sign));
                }
                put(row, place(ctrl_plus), real(-gain));
                put(row, place(ctrl_minus), real(*gain));
            }
            Element::Vccs { from, to, ctrl_plus, ctrl_minus, siemens } => {
                for (n, sign) in [(from, 1.0), (to, -1.0)] {
                    put(place(n), place(ctrl_plus), real(sign * siemens));
                    put(place(n), place(ctrl_minus), real(-sign * siemens));
                }
            }
            Element::Cccs { from, to, sensed, gain } => {
                let source = net.find_element(sensed)?;
                let column = dictated.iter().position(|d| *d == source).map(|k| nodes + k);
                put(place(from), column, real(*gain));
                put(place(to), column, real(-gain));
            }
            Element::OpAmp { plus, minus, out, figures, .. } => {
                let one_over_a =
                    real(1.0 / figures.gain) + s / (core::f64::consts::TAU * figures.bandwidth_hz);
                put(place(out), row, real(1.0));
                // (out − r·i)/A = v₊ − v₋ + v_cm/CMRR
                put(row, place(out), one_over_a);
                put(row, row, -one_over_a * figures.output_resistance);
                put(row, place(plus), real(-1.0 - 0.5 / figures.cmrr));
                put(row, place(minus), real(1.0 - 0.5 / figures.cmrr));
            }
            _ => {}
        }
    }
    let solution = a.full_piv_lu().solve(&right)?;
    Some(solution.iter().take(nodes).copied().collect())
}
