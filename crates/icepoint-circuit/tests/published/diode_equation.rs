//! Source, resistor and diode in one loop against the closed form with Lambert's W function in 30 digits
//! (`peer/diode_mpmath.py`).

use crate::board::{Board, node_of};
use icepoint_circuit::DiodeFigures;

/// Current and junction voltage; the saturation current carries exp(±20), which amplifies rounding by as much, and
/// Newton stops at 1e-12.
const CURRENT: f64 = 3e-12;
/// V: the same through the logarithm.
const VOLTS: f64 = 1e-12;

#[test]
fn diode_and_resistor_as_lambert_w_says() {
    let (mut rows, mut worst, mut most_steps) = (0, (0.0_f64, 0.0_f64), 0);
    for line in include_str!("../peer/diode.csv").lines().filter(|l| !l.starts_with('#')).skip(1) {
        let cells: Vec<f64> = line.split(',').map(|c| c.parse().unwrap()).collect();
        let [saturation, ideality, kelvin, ohms, volts, amperes, junction] = cells[..] else {
            panic!("{line}")
        };
        let mut b = Board::default();
        b.v("V1", "in", "0", volts);
        b.r("R1", "in", "d", ohms);
        let d = b.d("D1", "d", "0", DiodeFigures { ideality, kelvin, ..DiodeFigures::silicon(saturation) });
        let circuit = b.circuit();
        let values = circuit.values();
        let op = circuit.operating_point(&values).unwrap_or_else(|e| panic!("{line}: {e}"));
        let (v, i) = (circuit.voltage(&op.x, node_of(&circuit, "d")), circuit.current(&values, &op.x, d));
        // The current is the exponential of the voltage: rounding of v by 1 ulp moves it by v·ε/(n·Vt) of itself.
        let off = ((i - amperes).abs() / amperes.abs().max(saturation), (v - junction).abs());
        worst = (worst.0.max(off.0), worst.1.max(off.1));
        most_steps = most_steps.max(op.steps);
        assert!(off.1 <= VOLTS, "{line}: junction {v}");
        assert!(off.0 <= CURRENT.max(VOLTS / 0.02), "{line}: current {i}");
        rows += 1;
    }
    assert_eq!(rows, 270, "a row that got lost must not pass");
    println!("worst: current {:e} of itself, voltage {:e} V; most steps {most_steps}", worst.0, worst.1);
}

#[test]
fn series_resistance_is_a_resistor_in_series() {
    let figures = DiodeFigures { ideality: 1.4, kelvin: 320.0, ..DiodeFigures::silicon(1e-12) };
    let junction = |inside: f64, outside: f64| {
        let mut b = Board::default();
        b.v("V1", "in", "0", 2.0);
        b.r("R1", "in", "d", outside);
        let d = b.d("D1", "d", "0", DiodeFigures { series_resistance: inside, ..figures });
        let circuit = b.circuit();
        let values = circuit.values();
        let op = circuit.operating_point(&values).unwrap();
        circuit.current(&values, &op.x, d)
    };
    crate::board::close(junction(30.0, 70.0), junction(0.0, 100.0), 1e-11);
}
