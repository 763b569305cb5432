//! Requests that can't be met, each with its message, kept beside this file. `ICEPOINT_KEEP=1` writes them anew.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used, missing_docs)] // helpers of tests fail like tests

mod common;

use icepoint_chain::chain::{Chain, ConverterKind};
use icepoint_firmware::choice::{Effort, Smallest};
use icepoint_firmware::curve::Form;
use icepoint_firmware::unit::Unit;
use icepoint_firmware::{Refusal, Request, firmware};
use icepoint_sensors::Letter;

const KEPT: &str = include_str!("requests.txt");

fn request() -> Request {
    Request { error: Some(0.1), effort: Effort { all: false }, ..Request::default() }
}

fn refusal(chain: &Chain, request: &Request) -> Refusal {
    firmware(chain, request).err().unwrap_or_else(|| panic!("{request:?} is not refused"))
}

fn with_bits(bits: u32) -> Chain {
    let mut chain = common::kiln().clone();
    if let ConverterKind::Adc { reference, .. } = chain.converter.kind {
        chain.converter.kind = ConverterKind::Adc { bits, reference };
    }
    chain
}

fn all() -> Vec<(&'static str, Refusal)> {
    let kiln = common::kiln();
    let named = |name: &str| Request { name: Some(name.to_owned()), ..request() };
    let error = |kelvin: f64| Request { error: Some(kelvin), ..request() };
    let unit = |text: &str| Unit::parse(text).err().unwrap_or_else(|| panic!("{text} is read"));
    let in_unit = |kelvin: f64, text: &str| Request {
        error: Some(kelvin),
        unit: Some(Unit::parse(text).expect("a unit")),
        ..request()
    };
    let hot = |low: f64, high: f64| {
        let mut chain = kiln.clone();
        chain.need.hot = (low, high);
        chain
    };
    let mut voltmeter = kiln.clone();
    voltmeter.converter.kind = ConverterKind::Voltmeter { resolution: 1e-3, span: (-2.0, 2.0) };
    let mut cold_b = kiln.clone();
    (cold_b.probe.letter, cold_b.need.hot) = (Letter::B, (0.0, 1700.0));
    let mut narrow = kiln.clone();
    if let ConverterKind::Adc { bits, reference } = narrow.converter.kind {
        narrow.converter.kind = ConverterKind::Adc { bits, reference: 0.3 * reference };
    }
    let mut huge = kiln.clone();
    huge.converter.kind = ConverterKind::Adc { bits: 12, reference: 2000.0 };
    vec![
        ("a name that is empty", refusal(kiln, &named(""))),
        ("a name of blanks", refusal(kiln, &named("   "))),
        ("a name all symbols", refusal(kiln, &named("°℃—№"))),
        ("a name that is a sentence", refusal(kiln, &named("the kiln behind the second door on the left"))),
        ("an error of zero", refusal(kiln, &error(0.0))),
        ("a negative error", refusal(kiln, &error(-0.1))),
        ("an error that is no number", refusal(kiln, &error(f64::NAN))),
        ("an infinite error", refusal(kiln, &error(f64::INFINITY))),
        ("an error as wide as the range", refusal(kiln, &error(500.0))),
        ("an error below half a step of the unit", refusal(kiln, &in_unit(0.1, "1 K"))),
        ("an error of just half a step", refusal(kiln, &in_unit(0.05, "0.1 K"))),
        ("an error beyond the arithmetic", refusal(kiln, &in_unit(0.0001, "0.0001 K"))),
        (
            "an error beyond a form",
            refusal(
                kiln,
                &Request {
                    form: Some(Form::Quotient),
                    smallest: Smallest::Cycles,
                    ..in_unit(0.011, "0.01 K")
                },
            ),
        ),
        ("a unit without a unit", unit("0.1")),
        ("a unit of another quantity", unit("1 mV")),
        ("a unit that does not divide a kelvin", unit("0.3 K")),
        ("a unit of two kelvin", unit("2 K")),
        ("a unit of zero", unit("0 K")),
        ("a unit that overflows", unit("0.000001 K")),
        ("a chain read by a voltmeter", refusal(&voltmeter, &request())),
        ("a converter of 0 bits", refusal(&with_bits(0), &request())),
        ("a converter of 33 bits", refusal(&with_bits(33), &request())),
        ("a range outside the type", refusal(&hot(20.0, 1500.0), &request())),
        ("a range below the type", refusal(&hot(-300.0, 400.0), &request())),
        ("a range that is ambiguous", refusal(&cold_b, &request())),
        ("a range beyond the converter's codes", refusal(&narrow, &request())),
        ("a converter whose span dwarfs the range", refusal(&huge, &request())),
    ]
}

#[test]
fn every_bad_request_has_its_message() {
    let text: String = all()
        .iter()
        .map(|(what, r)| format!("# {what}\nerror[{}]: {}\n  = help: {}\n\n", r.code, r.message, r.help))
        .collect();
    if std::env::var_os("ICEPOINT_KEEP").is_some() {
        let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/requests.txt");
        std::fs::write(path, &text).expect("the kept messages");
        return;
    }
    assert!(text == KEPT, "messages have changed; look at them and keep them with ICEPOINT_KEEP=1:\n{text}");
}

/// The command line's own: a chain file is refused by the parser before any firmware is asked for.
#[test]
fn the_chain_file_refuses_0_and_33_bits() {
    let text = std::fs::read_to_string(
        std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/burnout-kiln.toml"),
    )
    .expect("the example");
    for bits in ["0", "33"] {
        let bad = text.replace("bits = 12", &format!("bits = {bits}"));
        assert_ne!(bad, text);
        assert!(icepoint_chain::file::parse("kiln.toml", &bad).is_err(), "{bits} bits");
    }
}
