//! Nine circuits against `peer/nodal_numpy.py`, a nodal analysis written apart from this crate: every node at direct
//! current, the response of one output at five frequencies, and the noise there.

use crate::board::{Board, node_of};
use icepoint_circuit::{
    Circuit, DiodeFigures, Element, InAmpFigures, Netlist, NoiseFigures, OpAmpFigures, Parameter,
};

/// The script's matrix holds gains of 2e5 beside conductances of 1e-8 unscaled, which costs it four digits of sixteen
/// (worst seen 1.4e-12).
const SCRIPT: f64 = 1e-11;
/// Below this the script's rounding of volts is all there is.
const FLOOR_VOLTS: f64 = 1e-14;

fn amplifier() -> OpAmpFigures {
    OpAmpFigures {
        gain: 2e5,
        bandwidth_hz: 1e6,
        offset: 1.5e-3,
        bias_plus: 20e-9,
        bias_minus: -15e-9,
        cmrr: 3e4,
        nominal_common_mode: 0.5,
        psrr: 5e4,
        nominal_supply: 5.0,
        noise: NoiseFigures { white: 18e-9, corner_hz: 40.0, current: 0.4e-12, current_corner_hz: 100.0 },
        ..OpAmpFigures::ideal()
    }
}

/// The circuit, its source and its output.
fn drawn(name: &str) -> Option<(Circuit, &'static str, &'static str)> {
    let mut b = Board::default();
    let (source, out) = match name {
        "loaded_divider" => {
            b.v("V1", "in", "0", 5.0);
            b.r("R1", "in", "out", 10e3);
            b.r("R2", "out", "0", 4.7e3);
            b.c("C1", "out", "0", 100e-9);
            b.r("R3", "out", "tail", 22e3);
            b.c("C2", "tail", "0", 10e-9);
            ("V1", "tail")
        }
        "non_inverting" => {
            b.v("VCC", "vcc", "0", 5.2);
            b.v("V1", "in", "0", 0.02);
            b.r("RS", "in", "p", 1e3);
            b.op("U1", ["p", "m", "out"], Some(("vcc", "0")), amplifier());
            b.r("RF", "out", "m", 99e3);
            b.r("RG", "m", "0", 1e3);
            b.c("CF", "out", "m", 1e-9);
            ("V1", "out")
        }
        "difference_amplifier" => {
            b.v("VP", "vp", "0", 12.0);
            b.v("VN", "vn", "0", -12.0);
            b.v("V1", "a", "b", 0.1);
            b.v("VC", "b", "0", 2.0);
            b.r("R1", "b", "m", 10e3);
            b.r("R2", "m", "out", 100e3);
            b.r("R3", "a", "p", 10.1e3);
            b.r("R4", "p", "ref", 99.5e3);
            b.v("VR", "ref", "0", 0.25);
            let figures = OpAmpFigures { output_resistance: 75.0, nominal_supply: 24.0, ..amplifier() };
            b.op("U1", ["p", "m", "out"], Some(("vp", "vn")), figures);
            b.r("RL", "out", "0", 2e3);
            b.c("CL", "out", "0", 100e-12);
            ("V1", "out")
        }
        "bridge" => {
            b.v("VX", "x", "0", 5.0);
            for (name, a, c, ohms) in [
                ("R1", "x", "l", 350.0),
                ("R2", "l", "0", 350.7),
                ("R3", "x", "r", 350.0),
                ("R4", "r", "0", 349.6),
            ] {
                b.r(name, a, c, ohms);
            }
            b.r("RD1", "ref", "0", 10e3);
            b.r("RD2", "x", "ref", 30e3);
            let figures = InAmpFigures {
                bandwidth_hz: 30e3,
                offset: -40e-6,
                bias_plus: 1e-9,
                bias_minus: 2e-9,
                differential_resistance: 1e9,
                common_resistance: 5e8,
                reference_resistance: 40e3,
                cmrr: -2e4,
                nominal_common_mode: 2.0,
                psrr: 1e5,
                nominal_supply: 5.0,
                noise: NoiseFigures {
                    white: 12e-9,
                    corner_hz: 5.0,
                    current: 0.1e-12,
                    current_corner_hz: 0.0,
                },
                ..InAmpFigures::ideal(101.0)
            };
            b.ina("U1", ["l", "r", "ref", "out"], Some(("x", "0")), figures);
            b.r("RO", "out", "adc", 1e3);
            b.c("CO", "adc", "0", 1e-6);
            ("VX", "adc")
        }
        "sallen_key" => {
            b.v("V1", "in", "0", 1.0);
            b.r("R1", "in", "a", 11e3);
            b.r("R2", "a", "p", 22e3);
            b.c("C1", "a", "out", 220e-9);
            b.c("C2", "p", "0", 100e-9);
            b.op("U1", ["p", "out", "out"], None, amplifier());
            ("V1", "out")
        }
        "controlled_sources" => {
            b.i("I1", "0", "a", 1e-3);
            b.r("R1", "a", "b", 1e3);
            b.v("VS", "b", "0", 0.0);
            let [a, c, d, e, f, g] = ["a", "c", "d", "e", "f", "g"].map(|n| b.n(n));
            let zero = Netlist::GROUND;
            let sensed = || "VS".to_owned();
            b.0.add("E1", Element::Vcvs { plus: c, minus: d, ctrl_plus: a, ctrl_minus: zero, gain: 3.0 });
            b.r("R2", "c", "0", 2e3);
            b.r("R3", "d", "0", 5e3);
            b.0.add("G1", Element::Vccs { from: e, to: zero, ctrl_plus: c, ctrl_minus: d, siemens: 2e-3 });
            b.r("R4", "e", "0", 1.5e3);
            b.0.add("H1", Element::Ccvs { plus: f, minus: e, sensed: sensed(), ohms: 500.0 });
            b.r("R5", "f", "g", 3e3);
            b.0.add("F1", Element::Cccs { from: g, to: a, sensed: sensed(), gain: 0.4 });
            b.r("R6", "g", "0", 8e3);
            b.c("C1", "f", "0", 47e-9);
            ("I1", "g")
        }
        "thermocouple_front_end" => {
            b.v("VDD", "vdd", "0", 3.3);
            b.v("TC", "tp", "tn", 0.0204);
            b.r("RW1", "tp", "ip", 12.0);
            b.r("RW2", "tn", "im", 9.0);
            b.r("RB1", "vdd", "im", 1e5);
            b.r("RB2", "im", "0", 1e5);
            b.r("RO", "vdd", "ip", 2.2e7);
            b.r("RP1", "ip", "p", 4.7e3);
            b.r("RP2", "im", "m", 4.7e3);
            b.c("CD", "p", "m", 470e-9);
            b.c("CC1", "p", "0", 47e-9);
            b.c("CC2", "m", "0", 50e-9);
            let figures = InAmpFigures {
                bandwidth_hz: 20e3,
                offset: 15e-6,
                bias_plus: 0.5e-9,
                bias_minus: 0.3e-9,
                differential_resistance: 1e10,
                common_resistance: 2e10,
                cmrr: 1e5,
                nominal_common_mode: 1.65,
                psrr: 2e5,
                nominal_supply: 3.3,
                noise: NoiseFigures { white: 30e-9, ..NoiseFigures::default() },
                ..InAmpFigures::ideal(80.0)
            };
            b.ina("U1", ["p", "m", "ref", "out"], Some(("vdd", "0")), figures);
            b.r("RR1", "vdd", "ref", 47e3);
            b.r("RR2", "ref", "0", 3.3e3);
            b.r("RA", "out", "adc", 10e3);
            b.c("CA", "adc", "0", 1e-6);
            ("TC", "adc")
        }
        "diode_thermometer" => {
            b.v("V1", "vcc", "0", 5.0);
            b.r("R1", "vcc", "d", 4.7e3);
            b.d(
                "D1",
                "d",
                "0",
                DiodeFigures { ideality: 1.06, kelvin: 310.0, ..DiodeFigures::silicon(3e-14) },
            );
            b.r("R2", "d", "p", 10e3);
            b.op("U1", ["p", "m", "out"], Some(("vcc", "0")), amplifier());
            b.r("R3", "out", "m", 33e3);
            b.r("R4", "m", "0", 10e3);
            b.c("C1", "d", "0", 10e-9);
            ("V1", "out")
        }
        "two_diodes" => {
            b.v("V1", "in", "0", 9.0);
            b.r("R1", "in", "a", 2.2e3);
            b.d("D1", "a", "b", DiodeFigures { ideality: 1.9, ..DiodeFigures::silicon(1e-9) });
            b.d(
                "D2",
                "b",
                "c",
                DiodeFigures { ideality: 1.2, kelvin: 273.15, ..DiodeFigures::silicon(2e-12) },
            );
            b.r("R2", "b", "0", 15e3);
            b.r("R3", "c", "0", 470.0);
            b.c("C1", "c", "0", 1e-7);
            ("V1", "c")
        }
        _ => return None,
    };
    Some((b.circuit(), source, out))
}

#[test]
fn nine_circuits_as_numpy_finds_them() {
    let table = include_str!("../peer/nodal.csv");
    let (mut rows, mut worst) = (0, (0.0, String::new()));
    for line in table.lines().filter(|l| !l.starts_with('#')).skip(1) {
        let cells: Vec<&str> = line.split(',').collect();
        let [name, what, node, frequency, re, im] = cells[..] else { panic!("{line}") };
        let (circuit, source, out) = drawn(name).unwrap_or_else(|| panic!("no circuit for {line}"));
        let values = circuit.values();
        let op = circuit.operating_point(&values).unwrap();
        let at = node_of(&circuit, node);
        let re: f64 = re.parse().unwrap();
        let (error, size) = match what {
            "dc" => (circuit.voltage(&op.x, at) - re, re.abs() + FLOOR_VOLTS / SCRIPT),
            "ac" => {
                assert_eq!(node, out);
                let source = [Parameter::Volts, Parameter::Amperes]
                    .into_iter()
                    .find_map(|p| circuit.parameter(source, p))
                    .unwrap();
                let found =
                    circuit.ac(&values, Some(&op), source, frequency.parse().unwrap()).unwrap().voltage(at);
                let (x, y) = (found.re - re, found.im - im.parse::<f64>().unwrap());
                ((x * x + y * y).sqrt(), found.magnitude())
            }
            "noise" => {
                let f = frequency.parse().unwrap();
                let found = circuit.noise(&values, Some(&op), (at, Netlist::GROUND), 298.15, f).unwrap();
                (found.power - re, re)
            }
            _ => panic!("{line}"),
        };
        let relative = error.abs() / size;
        if relative > worst.0 {
            worst = (relative, format!("{name} {what} {node} {frequency}"));
        }
        assert!(relative <= SCRIPT, "{line}: off by {relative:e}");
        rows += 1;
    }
    assert_eq!(rows, 142, "a row that got lost must not pass");
    println!("worst: {:e} at {}", worst.0, worst.1);
}
