//! What a calibration costs: preparing it, solving one board, and a simulated board from birth to band.

#![allow(clippy::unwrap_used, missing_docs)] // a benchmark may fail like a test

use std::hint::black_box;
use std::path::Path;

use criterion::{Criterion, criterion_group, criterion_main};
use icepoint_bench::calibrate::Calibrator;
use icepoint_bench::calibrate::condition::{Condition, Kind};
use icepoint_bench::calibrate::known;
use icepoint_bench::calibrate::readings::Input;
use icepoint_bench::calibrate::simulate::{build, in_use, read};
use icepoint_chain::Model;
use icepoint_chain::budget::monte_carlo::generator;
use icepoint_chain::chain::Correction;
use icepoint_chain::file::{Span, load};
use icepoint_chain::resolve::resolve;

fn kiln() -> Model {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/burnout-kiln.toml");
    let resolved = resolve(&load(path).unwrap()).unwrap();
    let values = icepoint_design::values(&resolved).unwrap();
    Model::new(resolved.with_values(&values)).unwrap()
}

fn conditions(model: &Model, count: usize) -> Vec<Condition> {
    let emf = |t: f64| model.chain().probe.letter.emf_and_slope_extended(t).0;
    (0..count)
        .map(|k| {
            let hot = 20.0 + 980.0 * k as f64 / (count - 1) as f64;
            let mut condition = Condition {
                input: Input::Injected(emf(hot) - emf(23.0)),
                errors: Vec::new(),
                source_ohms: None,
                thermometer: None,
                meter: None,
                board: 23.0,
                kind: Kind::Celsius,
                session: 0,
                mean: 0.0,
                count: 4,
                squares: 0.0,
                half_digit: 0.05,
                lines: (2 + k, 2 + k),
                reference: String::new(),
                limit: None,
                span: Span::new(0, 0),
            };
            condition.errors = known::errors(model.chain(), &condition).unwrap();
            condition
        })
        .collect()
}

fn calibrate(c: &mut Criterion) {
    let model = kiln();
    let hot: Vec<f64> = (0..11).map(|i| 20.0 + 108.0 * f64::from(i)).collect();
    let board = [5.0, 17.5, 30.0, 42.5, 55.0];
    for count in [3, 12, 48] {
        let prepare = || {
            Calibrator::new(&model, Correction::NONE, conditions(&model, count), (&hot, &board), 0.0).unwrap()
        };
        let calibrator = prepare();
        let mut rng = generator(1, 0);
        let as_built = build(&calibrator.forward, 1.0, &mut rng);
        let readings = read(&calibrator.forward, &as_built, &calibrator.noise.per_volt, &mut rng).unwrap();
        let means: Vec<f64> = readings.iter().map(|r| r.iter().sum::<f64>() / r.len() as f64).collect();
        // The answer is looked at, so that nothing fast and wrong is timed.
        let band = calibrator.solve(&means).unwrap().band;
        assert!(band.iter().all(|p| p.half > 0.0 && p.half < p.half_before));
        c.bench_function(&format!("calibrate/prepare/{count}"), |b| b.iter(|| black_box(prepare())));
        c.bench_function(&format!("calibrate/solve/{count}"), |b| {
            b.iter(|| calibrator.solve(black_box(&means)).unwrap());
        });
    }
    let calibrator =
        Calibrator::new(&model, Correction::NONE, conditions(&model, 3), (&[370.0, 800.0], &[40.0]), 0.0)
            .unwrap();
    let mut n = 0;
    c.bench_function("calibrate/simulated board/3", |b| {
        b.iter(|| {
            n += 1;
            let mut rng = generator(2, n);
            let as_built = build(&calibrator.forward, 1.0, &mut rng);
            let readings =
                read(&calibrator.forward, &as_built, &calibrator.noise.per_volt, &mut rng).unwrap();
            let means: Vec<f64> = readings.iter().map(|r| r.iter().sum::<f64>() / r.len() as f64).collect();
            let solved = calibrator.solve(&means).unwrap();
            in_use(&calibrator.forward, &as_built, solved.constants, (&[370.0, 800.0], &[40.0]), &mut rng)
                .unwrap()
        });
    });
}

criterion_group!(benches, calibrate);
criterion_main!(benches);
