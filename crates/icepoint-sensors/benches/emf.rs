//! What one evaluation costs: emf with slope, emf extended, inverse, each type. Numbers: docs of the crate's commits.

#![allow(clippy::expect_used, clippy::unwrap_used, clippy::panic, missing_docs)] // a failed expectation is a failed test

use std::hint::black_box;

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use icepoint_sensors::Letter;

const COUNT: usize = 1000;

fn temperatures(letter: Letter) -> Vec<f64> {
    // A fixed scramble over the upper nine tenths of the range, so that branches are not learned by heart.
    let (low, high) = letter.range();
    let mut state = 1u32;
    (0..COUNT)
        .map(|_| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let share = f64::from(state) / f64::from(u32::MAX);
            low + (high - low) * (0.1 + 0.9 * share)
        })
        .collect()
}

fn emf(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("emf");
    group.throughput(Throughput::Elements(COUNT as u64));
    for letter in Letter::ALL {
        let celsius = temperatures(letter);
        let volts: Vec<f64> = celsius.iter().map(|t| letter.emf(*t).expect("in range")).collect();
        // Value and slope both enter the sum, or the optimiser would drop the slope.
        let expected: f64 =
            celsius.iter().map(|t| letter.emf_and_slope(*t).map_or(0.0, |(e, s)| e + s)).sum();
        group.bench_function(format!("value_and_slope/{letter}"), |b| {
            b.iter(|| {
                let both = |t: &f64| black_box(letter).emf_and_slope_extended(black_box(*t));
                let sum: f64 = celsius.iter().map(both).map(|(e, s)| e + s).sum();
                assert_eq!(sum, expected);
            });
        });
        group.bench_function(format!("inverse/{letter}"), |b| {
            b.iter(|| {
                for (v, t) in volts.iter().zip(&celsius) {
                    let back = black_box(letter).temperature(black_box(*v));
                    assert!(letter == Letter::B || back.is_ok_and(|back| (back - t).abs() < 1e-9));
                }
            });
        });
    }
    group.finish();
}

criterion_group!(benches, emf);
criterion_main!(benches);
