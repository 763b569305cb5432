//! Filters: transfer functions, settling and noise bandwidth of one and two poles.
//!
//! Figures: settling of a first-order low-pass in time constants (ln of the reciprocal of the residual), Butterworth
//! Q = 1/√2, noise bandwidth over −3 dB frequency π/2 and π/(2√2): closed forms, recomputed here.

use crate::board::{Board, close, gain_at, out_of};
use core::f64::consts::{PI, TAU};
use icepoint_circuit::{Circuit, NoiseBand, OpAmpFigures, Parameter};

/// A dozen complex operations.
const ROUNDING: f64 = 1e-12;
/// V, for steps of 1 V and 2 V: twelve squarings and 2000 samples of rounding (worst seen 6e-15).
const STEP: f64 = 1e-13;
/// The last printed digit of six.
const PRINTED: f64 = 1e-5;

fn rc(ohms: f64, farads: f64) -> Circuit {
    let mut b = Board::default();
    b.v("V1", "in", "0", 0.0);
    b.r("R1", "in", "out", ohms);
    b.c("C1", "out", "0", farads);
    b.circuit()
}

/// Unity-gain Sallen–Key low-pass: ω₀² = 1/(R₁R₂C₁C₂), Q = √(R₁R₂C₁C₂)/(C₂·(R₁ + R₂)).
fn sallen_key(r: f64, c1: f64, c2: f64, figures: OpAmpFigures) -> Circuit {
    let mut b = Board::default();
    b.v("V1", "in", "0", 0.0);
    b.r("R1", "in", "a", r);
    b.r("R2", "a", "p", r);
    b.c("C1", "a", "out", c1);
    b.c("C2", "p", "0", c2);
    b.op("U1", ["p", "out", "out"], None, figures);
    b.circuit()
}

/// Equal resistors and C₁ = 2·C₂ make a Butterworth filter.
fn butterworth() -> (Circuit, f64) {
    let (r, c) = (10e3, 10e-9);
    (sallen_key(r, 2.0 * c, c, OpAmpFigures::ideal()), 1.0 / (TAU * r * c * 2f64.sqrt()))
}

#[test]
fn one_pole() {
    let (r, c) = (15.9e3, 22e-9);
    let circuit = rc(r, c);
    let corner = 1.0 / (TAU * r * c);
    close(gain_at(&circuit, "V1", "out", corner), 0.5f64.sqrt(), ROUNDING);
    for ratio in [0.01, 0.3, 1.0, 7.0, 1000.0_f64] {
        let source = circuit.parameter("V1", Parameter::Volts).unwrap();
        let found = circuit.ac(&circuit.values(), None, source, ratio * corner).unwrap();
        let v = found.between(out_of(&circuit, "out"));
        close(v.magnitude(), 1.0 / (1.0 + ratio * ratio).sqrt(), ROUNDING);
        close(v.phase(), -ratio.atan(), ROUNDING);
    }
}

#[test]
fn sallen_key_follows_its_transfer_function() {
    for (r, c1, c2) in [(10e3, 20e-9, 10e-9), (4.7e3, 1e-6, 10e-9), (82e3, 1e-9, 4.7e-9)] {
        let circuit = sallen_key(r, c1, c2, OpAmpFigures::ideal());
        let (w0, q) = (1.0 / (r * (c1 * c2).sqrt()), (c1 / c2).sqrt() / 2.0);
        for ratio in [0.1, 0.9, 1.0, 1.1, 10.0, 300.0_f64] {
            let expected = 1.0 / ((1.0 - ratio * ratio).powi(2) + (ratio / q).powi(2)).sqrt();
            close(gain_at(&circuit, "V1", "out", ratio * w0 / TAU), expected, 10.0 * ROUNDING);
        }
    }
}

#[test]
fn butterworth_quality_factor_is_the_gain_at_the_corner() {
    let (circuit, f0) = butterworth();
    close(gain_at(&circuit, "V1", "out", f0), 0.70711, PRINTED);
}

#[test]
fn amplifier_with_finite_bandwidth_closes_its_loop() {
    // Gain 100 from 1 MHz: one pole at GBW·(β + 1/A).
    let (a0, gbw, beta) = (1e5, 1e6, 0.01);
    let mut b = Board::default();
    b.v("V1", "p", "0", 0.0);
    b.op(
        "U1",
        ["p", "m", "out"],
        None,
        OpAmpFigures { gain: a0, bandwidth_hz: gbw, ..OpAmpFigures::ideal() },
    );
    b.r("RF", "out", "m", 99e3);
    b.r("RG", "m", "0", 1e3);
    let c = b.circuit();
    let corner = gbw * (beta + 1.0 / a0);
    for f in [1.0, corner, 20.0 * corner] {
        let expected = 1.0 / (beta + 1.0 / a0) / (1.0 + (f / corner).powi(2)).sqrt();
        close(gain_at(&c, "V1", "out", f), expected, ROUNDING);
    }
}

fn noise_bandwidth(circuit: &Circuit, corner: f64) -> f64 {
    // A white source is made by weighting: the input's own transfer, integrated by hand on a fine logarithmic grid
    // would be another method; here the circuit's noise integral does it with a resistor of known density.
    let band = NoiseBand { low_hz: corner * 1e-6, high_hz: corner * 1e6, weight: None };
    let report =
        circuit.noise_integral(&circuit.values(), None, out_of(circuit, "out"), 300.0, band).unwrap();
    let low = circuit.noise(&circuit.values(), None, out_of(circuit, "out"), 300.0, corner * 1e-6).unwrap();
    report.rms * report.rms / low.power
}

#[test]
fn noise_bandwidth_of_one_and_two_poles() {
    let (r, c) = (10e3, 100e-9);
    let corner = 1.0 / (TAU * r * c);
    close(noise_bandwidth(&rc(r, c), corner) / corner, 1.570796, PRINTED);
    // The Butterworth section alone, as the weight on a resistor's white noise.
    let (filter, f0) = butterworth();
    let mut b = Board::default();
    b.r("R1", "out", "0", 1e3);
    let white = b.circuit();
    let weight = |f: f64| gain_at(&filter, "V1", "out", f).powi(2);
    let band = NoiseBand { low_hz: f0 * 1e-6, high_hz: f0 * 1e6, weight: Some(&weight) };
    let report = white.noise_integral(&white.values(), None, out_of(&white, "out"), 300.0, band).unwrap();
    let density = 4.0 * 1.380649e-23 * 300.0 * 1e3;
    close(report.rms * report.rms / density / f0, 1.110721, PRINTED);
    close(PI / (2.0 * 2f64.sqrt()), 1.110721, PRINTED);
}

#[test]
fn settling_of_one_pole_in_time_constants() {
    let (r, c) = (10e3, 1e-6);
    let circuit = rc(r, c);
    let source = circuit.parameter("V1", Parameter::Volts).unwrap();
    let response =
        circuit.step(&circuit.values(), source, out_of(&circuit, "out"), 2.0, 20.0 * r * c, 400).unwrap();
    for (fraction, constants) in [
        (0.01, 4.60517),
        (0.001, 6.90776),
        (1e-6, 13.8155),
        (0.5f64.powi(13), 9.01091),
        (0.5f64.powi(17), 11.7835),
        (0.5f64.powi(25), 17.3287),
    ] {
        // 1/4096 of an interval of τ/20 is 1.2e-5 τ.
        close(response.settling_time(fraction).unwrap() / (r * c), constants, PRINTED);
    }
    let worst = response
        .times
        .iter()
        .zip(&response.volts)
        .fold(0.0_f64, |m, (t, v)| m.max((v - 2.0 * (1.0 - (-t / (r * c)).exp())).abs()));
    println!("one pole: worst {worst:e} V, own bound {:e} V", response.error);
    assert!(worst <= STEP, "{worst:e}");
    assert!(response.error <= STEP);
}

#[test]
fn step_of_two_poles_rings_as_the_closed_form_says() {
    // Q = 5: 1 − exp(−αt)·(cos ω_d t + α/ω_d·sin ω_d t).
    let (r, c2) = (4.7e3, 10e-9);
    let c1 = 100.0 * c2;
    let circuit = sallen_key(r, c1, c2, OpAmpFigures::ideal());
    let (w0, q) = (1.0 / (r * (c1 * c2).sqrt()), 5.0);
    let (alpha, wd) = (w0 / (2.0 * q), w0 * (1.0 - 1.0 / (4.0 * q * q)).sqrt());
    let source = circuit.parameter("V1", Parameter::Volts).unwrap();
    let response =
        circuit.step(&circuit.values(), source, out_of(&circuit, "out"), 1.0, 100.0 / w0, 2000).unwrap();
    let exact = |t: f64| 1.0 - (-alpha * t).exp() * ((wd * t).cos() + alpha / wd * (wd * t).sin());
    let worst =
        response.times.iter().zip(&response.volts).fold(0.0_f64, |m, (t, v)| m.max((v - exact(*t)).abs()));
    println!("two poles: worst {worst:e} V, own bound {:e} V", response.error);
    assert!(worst <= STEP, "{worst:e}");
    close(response.overshoot(), (-PI * alpha / wd).exp(), 1e-3);
    // The settling time must be where the exact curve leaves the band for the last time.
    let settled = response.settling_time(0.01).unwrap();
    let before =
        (0..100).map(|k| settled * (1.0 - 1e-4 * f64::from(k) / 10.0)).any(|t| (exact(t) - 1.0).abs() > 0.01);
    let after =
        (1..100_000).all(|k| (exact(settled * (1.0 + 1e-4) + f64::from(k) * 1e-3 / w0) - 1.0).abs() <= 0.01);
    assert!(before && after, "{settled}");
}

#[test]
fn capacitive_divider_jumps_at_once() {
    // Charge is shared the moment the source steps: v(0) = C₁/(C₁ + C₂), then R drains it with τ = R·(C₁ + C₂).
    let (c1, c2, r) = (3e-9, 1e-9, 1e6);
    let mut b = Board::default();
    b.v("V1", "in", "0", 0.0);
    b.c("C1", "in", "out", c1);
    b.c("C2", "out", "0", c2);
    b.r("R1", "out", "0", r);
    let c = b.circuit();
    let source = c.parameter("V1", Parameter::Volts).unwrap();
    let tau = r * (c1 + c2);
    let response = c.step(&c.values(), source, out_of(&c, "out"), 1.0, 5.0 * tau, 100).unwrap();
    for (t, v) in response.times.iter().zip(&response.volts) {
        assert!((v - 0.75 * (-t / tau).exp()).abs() < 1e-9, "{t}: {v}");
    }
    assert_eq!(
        response.settling_time(0.01),
        None,
        "the output ends where it began: there is nothing to settle to"
    );
}

#[test]
fn a_fast_pole_beside_a_slow_one_costs_no_accuracy() {
    // 1 µs behind 1 s: stiff, a million to one.
    let mut b = Board::default();
    b.v("V1", "in", "0", 0.0);
    b.r("R1", "in", "out", 1e6);
    b.c("C1", "out", "0", 1e-6);
    b.op(
        "U1",
        ["out", "f", "f"],
        None,
        OpAmpFigures { gain: 1e6, bandwidth_hz: 159e3, ..OpAmpFigures::ideal() },
    );
    let c = b.circuit();
    let source = c.parameter("V1", Parameter::Volts).unwrap();
    let response = c.step(&c.values(), source, out_of(&c, "f"), 1.0, 10.0, 100).unwrap();
    let lag = 1.0 / (TAU * 159e3);
    for (t, v) in response.times.iter().zip(&response.volts).skip(1) {
        // Follower with A = 1e6 and a lag of 1 µs behind the slow pole.
        let exact = (1.0 - (-t).exp() / (1.0 - lag)) / (1.0 + 1e-6);
        assert!((v - exact).abs() < 1e-9, "{t}: {v} {exact}");
    }
}
