//! The error ranges printed beside the approximate inverse polynomials (NIST SRD 60), found anew by walking them
//! against the reference functions.

use icepoint_sensors::Letter;
use icepoint_sensors::published_inverse::{Range, ranges};

/// Steps over a range: fine enough that an extreme moves by far less than a printed digit.
const STEPS: u32 = 20_000;

/// The last printed digit of a figure: 0.0002 → 0.0001.
fn unit(printed: f64) -> f64 {
    [1.0, 0.1, 0.01, 0.001, 0.0001]
        .into_iter()
        .find(|unit| (printed / unit - (printed / unit).round()).abs() < 1e-6)
        .expect("printed")
}

fn walked(letter: Letter, range: &Range) -> (f64, f64) {
    let (low, high) = range.celsius;
    (0..=STEPS)
        .map(|i| {
            let t = low + (high - low) * f64::from(i) / f64::from(STEPS);
            range.evaluate(letter.emf(t).expect("within range")) - t
        })
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(least, most), error| (least.min(error), most.max(error)))
}

#[test]
fn printed_error_ranges_are_found_again() {
    let mut count = 0;
    for letter in Letter::ALL {
        for range in ranges(letter) {
            let Some((least, most)) = range.error_kelvin else { continue };
            let found = walked(letter, range);
            println!(
                "{letter} {:?}: printed {least} {most}, found {:.5} {:.5}",
                range.celsius, found.0, found.1
            );
            // Rounded to its last printed digit, one unit allowed: how the source rounded is not said.
            assert!((found.0 - least).abs() <= 1.5 * unit(least), "{letter} {:?}", range.celsius);
            assert!((found.1 - most).abs() <= 1.5 * unit(most), "{letter} {:?}", range.celsius);
            count += 1;
        }
    }
    assert_eq!(count, 23);
}

#[test]
fn printed_emf_ends_are_the_emfs_of_the_printed_temperatures() {
    // To half of the last printed digit; R and S at 1064 and 1200 °C and the ends at fractions a little more.
    const PRINTED: f64 = 0.00065;
    for letter in Letter::ALL.into_iter().filter(|letter| *letter != Letter::A) {
        for range in ranges(letter) {
            for (celsius, millivolts) in
                [(range.celsius.0, range.millivolts.0), (range.celsius.1, range.millivolts.1)]
            {
                let ours = letter.emf(celsius).expect("within range") * 1e3;
                assert!((ours - millivolts).abs() <= PRINTED, "{letter} {celsius}: {ours}");
            }
        }
    }
}

#[test]
fn type_a_prints_no_error_and_is_off_by_a_kelvin() {
    let range = &ranges(Letter::A)[0];
    assert_eq!(range.error_kelvin, None);
    // The figures of the module's documentation: for our form with constant 0, and for the GOST one with 7.1564735e-4 mV.
    for (constant_volts, least, most) in [(0.0, -0.441, 0.964), (7.156_473_5e-7, -0.390, 1.021)] {
        let errors = (0..=2500u32).map(|i| {
            let t = f64::from(i);
            range.evaluate(Letter::A.emf(t).expect("within range") + constant_volts) - t
        });
        let found = errors.fold((0.0, 0.0), |(a, b): (f64, f64), e| (a.min(e), b.max(e)));
        assert!((found.0 - least).abs() < 0.001 && (found.1 - most).abs() < 0.001, "{found:?}");
    }
}
