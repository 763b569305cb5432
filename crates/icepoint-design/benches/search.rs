//! How long a design takes: the search alone, and all of it with few boards simulated.

// A bench that can't set up its chain has nothing to measure.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use core::hint::black_box;
use criterion::{Criterion, criterion_group, criterion_main};
use icepoint_chain::resolve::Resolved;
use icepoint_chain::{file, resolve};

fn example(name: &str) -> Resolved {
    let path = format!("{}/../../examples/{name}.toml", env!("CARGO_MANIFEST_DIR"));
    resolve::resolve(&file::load(path).unwrap()).unwrap()
}

fn benches(c: &mut Criterion) {
    let mut group = c.benchmark_group("search");
    group.sample_size(10);
    for name in ["burnout-kiln", "bench-voltmeter"] {
        let resolved = example(name);
        group.bench_function(format!("values/{name}"), |b| {
            b.iter(|| {
                let values = icepoint_design::values(black_box(&resolved)).unwrap();
                assert!(values.len() > 8);
                values
            });
        });
    }
    let mut resolved = example("burnout-kiln");
    resolved.chain.settings.trials = 2000;
    group.bench_function("design/burnout-kiln, 2000 boards", |b| {
        b.iter(|| {
            let design = icepoint_design::design(black_box(resolved.clone()), &|_| {}).unwrap();
            assert!(design.verdict.error_95 < 7.0);
            design
        });
    });
    group.finish();
}

criterion_group!(all, benches);
criterion_main!(all);
