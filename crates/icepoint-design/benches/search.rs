//! How long a design takes: one front end, out of a drawer, and all front ends compared; beside the search that breaks no
//! judgement off.

// A bench that can't set up its chain has nothing to measure.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use core::hint::black_box;
use criterion::{Criterion, criterion_group, criterion_main};
use icepoint_chain::file::{self, ChainFile};
use icepoint_chain::resolve::{Resolved, resolve};
use icepoint_design::search::{choose, choose_without_short_cuts};

fn text(name: &str) -> String {
    let path = format!("{}/../../examples/{name}.toml", env!("CARGO_MANIFEST_DIR"));
    std::fs::read_to_string(path).unwrap()
}

/// An example whose front end is left open.
fn any(name: &str) -> ChainFile {
    let text = text(name);
    let left: Vec<&str> = text.lines().filter(|line| !line.starts_with("topology")).collect();
    file::parse("any.toml", &left.join("\n")).unwrap()
}

fn example(name: &str) -> Resolved {
    let path = format!("{}/../../examples/{name}.toml", env!("CARGO_MANIFEST_DIR"));
    resolve(&file::load(path).unwrap()).unwrap()
}

fn benches(c: &mut Criterion) {
    let mut group = c.benchmark_group("search");
    group.sample_size(10);
    for name in ["burnout-kiln", "kiln-drawer", "bench-voltmeter"] {
        let resolved = example(name);
        group.bench_function(format!("values/{name}/icepoint"), |b| {
            b.iter(|| {
                let selection = choose(black_box(&resolved)).unwrap();
                assert!(selection.values.len() > 8);
                selection
            });
        });
        group.bench_function(format!("values/{name}/without short cuts"), |b| {
            b.iter(|| choose_without_short_cuts(black_box(&resolved)).unwrap());
        });
    }
    let file = any("burnout-kiln");
    group.bench_function("all front ends/burnout-kiln/icepoint", |b| {
        b.iter(|| {
            let comparison = icepoint_design::compare::compare(black_box(&file)).unwrap();
            assert!(comparison.table.rows.len() > 4);
            comparison
        });
    });
    let mut resolved = example("burnout-kiln");
    resolved.chain.settings.trials = 2000;
    group.bench_function("design/burnout-kiln, 2000 boards/icepoint", |b| {
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
