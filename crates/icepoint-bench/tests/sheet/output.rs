//! What is seen at the end of the board: by the bench's voltmeter, by the converter, by the board's own voltmeter.

use icepoint_bench::sheet::{BenchSheet, Expected};
use icepoint_chain::statistics::error_95;

use super::{FREEZER, KILN, VOLTMETER, read, setup, sheet};

fn half(e: Expected) -> f64 {
    0.5 * (e.band.1 - e.band.0)
}

/// A meter that is off by up to a tenth of a volt hides everything else at the output, and a code does not know of it.
#[test]
fn the_bench_voltmeter_is_in_the_output_and_not_in_the_code() {
    const OFF: f64 = 0.1;
    let (file, model) = read(KILN);
    let good = setup(&file, &model, 23.0);
    let mut poor = good.clone();
    poor.meter.fixed = OFF;
    let (good, poor) = (BenchSheet::new(&model, &good).unwrap(), BenchSheet::new(&model, &poor).unwrap());
    for (a, b) in good.injections.iter().zip(&poor.injections) {
        let by_hand = error_95(0.0, OFF, half(a.output) / 1.96);
        // 4000 boards have 2 % of their own.
        assert!((half(b.output) / by_hand - 1.0).abs() < 0.04, "{} {by_hand}", half(b.output));
        assert_eq!(a.code, b.code);
        assert_eq!(a.copper, b.copper);
    }
    let by_hand = error_95(0.0, OFF, half(good.shorted_output) / 1.96);
    assert!((half(poor.shorted_output) / by_hand - 1.0).abs() < 0.04);
    assert!(half(poor.open_output.unwrap()) > half(good.open_output.unwrap()));
}

/// A converter whose gain is off by 5 % moves the code and not what the bench's voltmeter shows.
#[test]
fn the_converter_is_in_the_code_and_not_in_the_output() {
    let (file, model) = read(KILN);
    let sheet = BenchSheet::new(&model, &setup(&file, &model, 23.0)).unwrap();
    let (before, converter) = KILN.split_at(KILN.find("[converter]").unwrap());
    let poor = format!("{before}{}", converter.replacen("gain_error = \"0.1 %\"", "gain_error = \"5 %\"", 1));
    let (file, model) = read(&poor);
    let poor = BenchSheet::new(&model, &setup(&file, &model, 23.0)).unwrap();
    for (a, b) in sheet.injections.iter().zip(&poor.injections) {
        let (a_code, b_code) = (a.code.unwrap(), b.code.unwrap());
        let by_hand = error_95(0.0, 0.05 * a_code.nominal, half(a_code) / 1.96);
        assert!((half(b_code) / by_hand - 1.0).abs() < 0.04, "{} {by_hand}", half(b_code));
        assert_eq!(a.output, b.output);
    }
}

/// Code by hand: volts over the step from the lowest of the span; full scale is the last code that there is.
#[test]
fn codes_by_hand() {
    for (text, reference, bits) in [(KILN, 2.5, 12), (FREEZER, 2.5, 24)] {
        let (sheet, _, model) = sheet(text, 23.0);
        let last = f64::from(1 << bits) - 1.0;
        let step = model.chain().converter.step();
        let span = model.chain().converter.span();
        assert!((span.1 - reference).abs() < 1e-9 || span.1 < reference);
        for injection in &sheet.injections {
            let code = injection.code.unwrap();
            let by_hand = (injection.output.nominal - span.0) / step;
            // The bench's voltmeter and the mean of the converter's own errors: less than a thousandth.
            assert!((code.nominal - by_hand).abs() < 1e-3 * by_hand + 1.0, "{} {by_hand}", code.nominal);
            assert!(code.worst.0 >= 0.0 && code.worst.1 <= last + 1.0, "{code:?}");
        }
        assert!(sheet.open_code.unwrap().nominal <= last + 1.0);
    }
}

/// The read-out of the bench chain is the board's own voltmeter, and a reading is its volts by 10 mV/K: the same band.
#[test]
fn a_board_that_ends_in_a_voltmeter() {
    let (sheet, ..) = sheet(VOLTMETER, 23.0);
    for injection in &sheet.injections {
        assert!(injection.code.is_none());
        let (volts, celsius) = (injection.output, injection.copper);
        for (v, t) in [(volts.band.0, celsius.band.0), (volts.wide.1, celsius.wide.1)] {
            assert!((v - 0.01 * t).abs() < 1e-9, "{v} {t}");
        }
    }
}
