//! How long one solution takes: a thermocouple front end of twelve unknowns with an instrumentation amplifier.
//!
//! Named `circuit/task/who`. The peer is nalgebra's dense LU with partial pivoting of the same equations.

// A bench that can't set up its circuit has nothing to measure.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use core::hint::black_box;
use criterion::{Criterion, criterion_group, criterion_main};
use icepoint_circuit::{Circuit, NoiseBand, Parameter};
use nalgebra::{DMatrix, DVector};

#[path = "../tests/board/mod.rs"]
mod board;

/// Protected, biased and filtered input, amplifier with a divided reference, output filter: 12 unknowns.
fn front_end() -> Circuit {
    let mut b = board::Board::default();
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
    b.c("C1", "p", "0", 47e-9);
    b.c("C2", "m", "0", 47e-9);
    b.ina("U1", ["p", "m", "ref", "out"], Some(("vdd", "0")), board::instrumentation_amplifier());
    b.r("RR1", "vdd", "ref", 47e3);
    b.r("RR2", "ref", "0", 3.3e3);
    b.r("RA", "out", "mid", 10e3);
    b.r("RC", "mid", "adc", 10e3);
    b.r("RL", "adc", "0", 1e6);
    b.c("CA", "adc", "0", 1e-6);
    b.circuit()
}

fn solutions(criterion: &mut Criterion) {
    let circuit = front_end();
    let n = circuit.unknowns();
    assert_eq!(n, 12);
    let values = circuit.values();
    let out = board::out_of(&circuit, "adc");
    let source = circuit.parameter("TC", Parameter::Volts).unwrap();
    let at = circuit.position(out.0).unwrap();
    let reference = board::volts(&circuit, "adc");
    let (mut ws, mut x, mut dx) = (circuit.workspace(), vec![0.0; n], vec![0.0; n]);

    criterion.bench_function("circuit/factor_and_two_solves/icepoint", |bench| {
        bench.iter(|| {
            circuit.factor(black_box(&values), &mut ws).unwrap();
            circuit.solve(&values, &ws, &mut x);
            circuit.solve_unit(source, &ws, &mut dx);
            assert!((x[at] - reference).abs() < 1e-12 && dx[at] > 70.0 && ws.planned());
        });
    });

    criterion.bench_function("circuit/factor/icepoint", |bench| {
        bench.iter(|| circuit.factor(black_box(&values), &mut ws).unwrap());
    });
    criterion.bench_function("circuit/solve/icepoint", |bench| {
        bench.iter(|| circuit.solve(black_box(&values), &ws, &mut x));
    });

    let (matrix, right) = circuit.matrix(&values).unwrap();
    let (matrix, right) = (DMatrix::from_row_slice(n, n, &matrix), DVector::from_vec(right));
    criterion.bench_function("circuit/factor_and_two_solves/nalgebra", |bench| {
        bench.iter(|| {
            let lu = black_box(&matrix).clone().lu();
            let (mut a, mut b) = (right.clone(), right.clone());
            assert!(lu.solve_mut(&mut a) && lu.solve_mut(&mut b));
            assert!((a[at] - reference).abs() < 1e-9);
        });
    });

    criterion.bench_function("circuit/limits/icepoint", |bench| {
        bench.iter(|| assert!(circuit.within_limits(black_box(&values), black_box(&x))));
    });

    let (mut adjoint, mut all) = (vec![0.0; n], vec![0.0; values.len()]);
    criterion.bench_function("circuit/all_sensitivities/icepoint", |bench| {
        bench.iter(|| {
            circuit.sensitivities_into(black_box(&values), &x, &ws, out, &mut adjoint, &mut all);
            assert!((all[source.index()] - dx[at]).abs() < 1e-9);
        });
    });

    let frequencies: Vec<f64> = (0..100).map(|k| 1.0 + f64::from(k)).collect();
    criterion.bench_function("circuit/hundred_frequencies/icepoint", |bench| {
        bench.iter(|| {
            let all = circuit.ac_sweep(black_box(&values), None, source, &frequencies);
            assert!(all.is_ok_and(|all| all[0].voltage(out.0).magnitude() > 60.0));
        });
    });

    let band = NoiseBand { low_hz: 0.01, high_hz: 1e5, weight: None };
    criterion.bench_function("circuit/noise_integral/icepoint", |bench| {
        bench.iter(|| {
            let report = circuit.noise_integral(black_box(&values), None, out, 298.15, band);
            assert!(report.is_ok_and(|r| r.rms > 1e-7 && r.relative_error < 1e-6));
        });
    });

    criterion.bench_function("circuit/step_500_points/icepoint", |bench| {
        bench.iter(|| {
            let response = circuit.step(black_box(&values), source, out, 0.02, 0.2, 500);
            assert!(response.is_ok_and(|r| r.settling_time(1e-3).is_some()));
        });
    });

    criterion.bench_function("circuit/compile/icepoint", |bench| {
        bench.iter(|| assert!(Circuit::new(black_box(circuit.netlist())).is_ok()));
    });
}

criterion_group!(benches, solutions);
criterion_main!(benches);
