//! Thermal and shot noise: 4kTR, kT/C, 2qI, computed from the exact constants of the SI Brochure (9th edition).

use crate::board::{Board, close, node_of, out_of};
use icepoint_circuit::{DiodeFigures, Netlist, NoiseBand, NoiseCause};

/// Half of the last of six printed digits.
const PRINTED: f64 = 0.5e-5;

fn resistor(ohms: f64) -> icepoint_circuit::Circuit {
    let mut b = Board::default();
    b.r("R1", "a", "0", ohms);
    b.circuit()
}

#[test]
fn density_of_a_resistor() {
    for (ohms, kelvin, nanovolts) in [
        (100.0, 300.0, 1.28716),
        (1000.0, 300.0, 4.07035),
        (10000.0, 300.0, 12.8716),
        (1000.0, 290.0, 4.00194),
        (1000.0, 298.15, 4.05779),
        (1e6, 298.15, 128.318),
    ] {
        let c = resistor(ohms);
        let noise = c.noise(&c.values(), None, out_of(&c, "a"), kelvin, 1e3).unwrap();
        close(noise.density() * 1e9, nanovolts, PRINTED);
        assert_eq!(noise.shares.len(), 1);
    }
}

#[test]
fn resistor_over_a_bandwidth() {
    for (ohms, bandwidth, nanovolts) in [(1e3, 10.0, 12.8318), (1e4, 1e3, 405.779)] {
        let c = resistor(ohms);
        let band = NoiseBand { low_hz: 5.0, high_hz: 5.0 + bandwidth, weight: None };
        let report = c.noise_integral(&c.values(), None, out_of(&c, "a"), 298.15, band).unwrap();
        close(report.rms * 1e9, nanovolts, PRINTED);
    }
}

#[test]
fn capacitor_charged_through_any_resistor() {
    // The band holds all but 2/π·(1e-5 + 1e-5) of the power of a single pole.
    const TAILS: f64 = 1.3e-5;
    for (farads, ohms, volts) in
        [(1e-9, 1e3, 2.03518e-6), (1e-9, 3.3e5, 2.03518e-6), (1e-7, 4.7e3, 203.518e-9)]
    {
        let mut b = Board::default();
        b.r("R1", "a", "0", ohms);
        b.c("C1", "a", "0", farads);
        let c = b.circuit();
        let corner = 1.0 / (core::f64::consts::TAU * ohms * farads);
        let band = NoiseBand { low_hz: corner * 1e-5, high_hz: corner * 1e5, weight: None };
        let report = c.noise_integral(&c.values(), None, out_of(&c, "a"), 300.0, band).unwrap();
        close(report.rms, volts, PRINTED + TAILS);
        assert!(report.relative_error <= 1e-7, "{report:?}");
        // The closed form of the band: kT/C·(2/π)·(atan(f₂/f_c) − atan(f₁/f_c)).
        let share = 2.0 / core::f64::consts::PI * (1e5_f64.atan() - 1e-5_f64.atan());
        close(report.rms * report.rms, 1.380649e-23 * 300.0 / farads * share, 1e-7);
    }
}

#[test]
fn shot_noise_of_a_junction() {
    // 1 nA forward through a diode whose saturation current is far below: sqrt(2qI) = 17.9007 fA/√Hz.
    let mut b = Board::default();
    b.i("I1", "0", "a", 1e-9);
    b.d("D1", "a", "0", DiodeFigures::silicon(1e-18));
    let c = b.circuit();
    let values = c.values();
    let op = c.operating_point(&values).unwrap();
    let noise = c.noise(&values, Some(&op), out_of(&c, "a"), 300.0, 1e3).unwrap();
    // Dynamic resistance kT/qI turns it into a voltage.
    let dynamic = 1.380649e-23 * 298.15 / 1.602176634e-19 / 1e-9;
    close(noise.density() / dynamic * 1e15, 17.9007, PRINTED);
    assert_eq!(noise.shares[0].cause, NoiseCause::Shot);
}

#[test]
fn diode_at_rest_is_as_noisy_as_a_resistor_of_its_slope() {
    // Thermodynamics: at 0 V a junction of ideality 1 makes exactly 4kT/r. A check that both currents are counted.
    let mut b = Board::default();
    b.r("R1", "a", "0", 1e15);
    b.d("D1", "a", "0", DiodeFigures::silicon(1e-9));
    let c = b.circuit();
    let values = c.values();
    let op = c.operating_point(&values).unwrap();
    let noise = c.noise(&values, Some(&op), (node_of(&c, "a"), Netlist::GROUND), 298.15, 1.0).unwrap();
    let slope = 1.380649e-23 * 298.15 / 1.602176634e-19 / 1e-9;
    close(noise.power, 4.0 * 1.380649e-23 * 298.15 * slope, 1e-7);
}

#[test]
fn weight_of_a_digital_filter_is_applied() {
    let c = resistor(1e3);
    let square = |f: f64| if f < 100.0 { 1.0 } else { 0.25 };
    let band = NoiseBand { low_hz: 1.0, high_hz: 1e3, weight: Some(&square) };
    let report = c.noise_integral(&c.values(), None, out_of(&c, "a"), 300.0, band).unwrap();
    let expected = 4.0 * 1.380649e-23 * 300.0 * 1e3 * (99.0 + 0.25 * 900.0);
    // A jump inside a piece converges slowly; the report must own up to what is left.
    close(report.rms * report.rms, expected, report.relative_error.max(1e-9));
    assert!(report.relative_error < 1e-6, "{report:?}");
}
