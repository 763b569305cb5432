//! All ten types over their full ranges: generated, walked on every 16-bit code, compiled and run here on every one.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used, missing_docs)] // helpers of tests fail like tests

mod common;

use icepoint_firmware::choice::Effort;
use icepoint_firmware::proof::{Scope, prove};
use icepoint_firmware::{Request, firmware};
use icepoint_sensors::Letter;

/// Least sensitive places of full ranges (near −270 °C, or type B near 50 °C) are worth little: a kelvin there.
fn wanted(letter: Letter) -> f64 {
    match letter {
        Letter::B => 2.0,
        Letter::E | Letter::K | Letter::N | Letter::T => 1.0,
        _ => 0.25,
    }
}

#[test]
fn every_type_keeps_its_error_on_every_code_and_runs_the_same() {
    let have = common::have("gcc");
    for letter in Letter::ALL {
        let chain = common::chain(letter, common::full_range(letter), 16);
        let request =
            Request { error: Some(wanted(letter)), effort: Effort { all: false }, ..Request::default() };
        let f = firmware(&chain, &request).unwrap_or_else(|e| panic!("type {}: {e}", letter.name()));
        println!(
            "type {}: {} × {} ({} bit), {} bytes of tables, {:.4} K found, {:.4} K anywhere",
            letter.name(),
            f.program.curve.rows.len(),
            f.program.curve.form.name(),
            f.program.curve.width.bits(),
            f.program.table_bytes(),
            f.walk.error,
            f.everywhere
        );
        assert!(f.walk.error <= f.error, "type {}", letter.name());
        assert!(f.everywhere <= f.error, "type {}: the bound for all pairs keeps it too", letter.name());
        let results = f.program.base..=f.program.base + f.program.highest as i32;
        assert!(!results.contains(&f.program.invalid()), "no temperature has the number of a failing state");
        assert!(f.walk.error <= f.everywhere, "the bound for all pairs lies above what was found");
        assert!(f.walk.in_range() > f.walk.total() / 4, "a good part of the span is in range");
        if have {
            let proof = prove(&f, Scope::HERE).expect("a proof");
            assert!(proof.holds(), "type {}: {proof:?}", letter.name());
        }
    }
}
