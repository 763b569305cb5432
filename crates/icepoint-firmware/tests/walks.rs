//! The walks that leave out what can't be largest, against walks that leave out nothing.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used, missing_docs)] // helpers of tests fail like tests

mod common;

use icepoint_firmware::choice::{self, Effort};
use icepoint_firmware::curve::{Form, Width};
use icepoint_firmware::integer::IntegerProgram;
use icepoint_firmware::inverse::Inverse;
use icepoint_firmware::states::{State, Thresholds};
use icepoint_firmware::unit::Unit;
use icepoint_firmware::walk;

/// Programs of both widths for the kiln.
fn programs() -> (Inverse, Vec<IntegerProgram>) {
    let inverse = Inverse::new(common::kiln()).unwrap();
    let thresholds = Thresholds::new(&inverse).unwrap();
    let forms = [Form::Polynomial(1), Form::Polynomial(3)];
    let (exact, unit) = (choice::compared(&inverse), Unit::SIXTEENTH);
    let all =
        choice::candidates(&inverse, &exact, thresholds, unit, 0.2, &forms, Effort { all: true }).unwrap();
    let programs: Vec<IntegerProgram> = all.into_iter().filter_map(|c| c.program).collect();
    for width in [Width::Narrow, Width::Wide] {
        assert!(programs.iter().any(|p| p.curve.width == width), "a program of each width");
    }
    (inverse, programs)
}

/// Every code at the junction inputs that forms are compared at, each by the whole conversion.
fn plainly(program: &IntegerProgram, inverse: &Inverse, junctions: &[i32], stride: u32) -> f64 {
    let mut worst = 0.0f64;
    for &junction in junctions {
        let emf = inverse.junction_emf(f64::from(junction)).unwrap();
        for aligned in (0..1u32 << inverse.aligned_bits()).step_by(stride as usize) {
            let outcome = program.evaluate(aligned, junction, &program.nominal);
            if outcome.state == State::InRange {
                let exact = inverse.celsius(inverse.thermocouple_volts(f64::from(aligned)) + emf);
                let told = f64::from(outcome.value) / f64::from(program.unit.per_kelvin());
                worst = worst.max((told - exact).abs());
            }
        }
    }
    worst
}

#[test]
fn a_walk_that_ends_early_finds_the_same_error() {
    let (inverse, programs) = programs();
    let junctions = walk::junction_grid(inverse.junction_range(), 2);
    let exact = walk::Exact::new(&inverse, 1, &junctions);
    for program in &programs {
        let plain = plainly(program, &inverse, &junctions, 1);
        assert_eq!(exact.within(program, plain), Some(plain));
        assert_eq!(exact.within(program, plain * (1.0 - 1e-9)), None, "less is not kept");
        assert_eq!(walk::walk(program, &inverse, 1, &junctions).error, plain);
    }
}

/// The bound for all pairs looks at the first and the last sum of every run with one result.
#[test]
fn the_bound_for_all_pairs_is_that_of_every_sum() {
    let (inverse, programs) = programs();
    for program in &programs {
        let steps = program.steps_per_volt;
        let fold = |range: (f64, f64), e: f64| (range.0.min(e), range.1.max(e));
        let none = (f64::INFINITY, f64::NEG_INFINITY);
        let code = (0..=program.thresholds.top).fold(none, |range, counted| {
            let aligned = if program.thresholds.falling { program.thresholds.top - counted } else { counted };
            let ideal = (inverse.thermocouple_volts(f64::from(aligned)) - program.emf_at_zero) * steps;
            let got =
                f64::from(program.product(counted, program.nominal.gain)) + f64::from(program.nominal.offset);
            fold(range, got - ideal)
        });
        let (low, high) = inverse.junction_range().unwrap();
        let junction = (low..=high).fold(none, |range, input| {
            let ideal = inverse.junction_emf(f64::from(input)).unwrap() * steps;
            fold(range, f64::from(program.junction_steps(input).unwrap()) - ideal)
        });
        let mut worst = 0.0f64;
        for x in 0..=program.top {
            let y = program.curve.at(program.input(x)).unwrap();
            let told =
                f64::from((y >> program.guard) as i32 + program.base) / f64::from(program.unit.per_kelvin());
            for off in [code.0 + junction.0, code.1 + junction.1] {
                let exact = inverse.celsius(program.emf_at_zero + (f64::from(x) - off) / steps);
                worst = worst.max((told - exact).abs());
            }
        }
        let found = walk::everywhere(program, &inverse);
        assert!((found - worst).abs() < 1e-9, "{found} K, every sum {worst} K");
    }
}
