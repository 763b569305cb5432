//! How long one board takes: solving it, reading it over the grid after every calibration, 2 000 of them.
//!
//! Named `model/task`. Each asserts what it computed, so that nothing is measured that is not done.

// A bench that can't set up its chain has nothing to measure.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use core::hint::black_box;
use criterion::{Criterion, criterion_group, criterion_main};
use icepoint_chain::budget::{Study, monte_carlo};
use icepoint_chain::chain::Chain;
use icepoint_chain::{Model, file, resolve};

fn kiln() -> Chain {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/model/boards/kiln.toml");
    resolve::resolve(&file::load(path).unwrap()).unwrap().chain
}

fn benches(c: &mut Criterion) {
    let model = Model::new(kiln()).unwrap();
    let mean = model.mean_deviations().to_vec();
    let mut scratch = model.scratch();
    c.bench_function("model/board_state", |b| {
        b.iter(|| {
            let state = model.board_state(black_box(30.0), black_box(&mean), &mut scratch).unwrap();
            assert!(state.gain > 50.0);
            state
        });
    });
    let study = Study::new(&model);
    assert_eq!(study.points(), 55);
    let mut work = study.work();
    let mut out = vec![0.0; 3 * study.points()];
    let mut d = study.mean.clone();
    let mut rng = monte_carlo::generator(1, 0);
    c.bench_function("model/readings of one board (55 points, 3 calibrations)", |b| {
        b.iter(|| {
            monte_carlo::draw_all(&study.imperfections, &mut rng, &mut d);
            study.readings(black_box(&d), &mut work, &mut out).unwrap();
            assert!((out[0] - study.hot[0]).abs() < 200.0);
        });
    });
    let mut group = c.benchmark_group("model");
    group.sample_size(20);
    group.bench_function("Monte Carlo of 2000 boards", |b| {
        b.iter(|| {
            let result = monte_carlo::evaluate(&study, 2000, 1, 6.0, &|_| {}).unwrap();
            assert!(result.yields[2] > 0.9);
            result
        });
    });
    group.bench_function("new, noise and mains included", |b| {
        let chain = kiln();
        b.iter(|| {
            let model = Model::new(black_box(chain.clone())).unwrap();
            assert!(model.imperfections().len() > 50);
            model
        });
    });
    group.bench_function("new, static", |b| {
        let chain = kiln();
        b.iter(|| Model::without_dynamics(black_box(chain.clone())).unwrap());
    });
    group.finish();
}

criterion_group!(all, benches);
criterion_main!(all);
