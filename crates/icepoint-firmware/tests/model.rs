//! The generated numbers against the model's own `predict`: temperature in the world → output volts → code → firmware.
//! Nothing of the firmware's inverse is used on the way there.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used, missing_docs)] // helpers of tests fail like tests

mod common;

use icepoint_chain::chain::{Chain, Correction, JunctionMethod, JunctionSensor, Readout};
use icepoint_chain::situation::{Situation, grid};
use icepoint_chain::{Model, ModelError};
use icepoint_firmware::choice::Effort;
use icepoint_firmware::curve::Form;
use icepoint_firmware::inverse::JunctionInput;
use icepoint_firmware::states::State;
use icepoint_firmware::{Firmware, Request, firmware};
use icepoint_sensors::Letter;

/// One form, so that the test is about the numbers and not about the choice; each chain takes another.
fn made(chain: &Chain) -> Firmware {
    let degree = 1 + chain.name.len() as u32 % 4;
    let request = Request {
        name: Some("t".into()),
        error: Some(0.1),
        form: Some(Form::Polynomial(degree)),
        effort: Effort { all: false },
        ..Request::default()
    };
    firmware(chain, &request).unwrap_or_else(|e| panic!("{}: {e}", chain.name))
}

/// What a converter makes of its volts: the nearest of its codes, and the volts of one.
fn code(chain: &Chain, volts: f64) -> (u32, f64) {
    let (low, high) = chain.converter.span();
    let step = chain.converter.step();
    let code = (volts.clamp(low, high) - low) / step;
    (code.round() as u32, step)
}

/// What is read of the reference junction at a board's temperature: written down from the divider, not from the firmware.
fn junction(chain: &Chain, bits: u32, board: f64) -> i32 {
    let divided = |ohms: f64, arm: f64| {
        let share = (ohms / (ohms + arm) - chain.converter.input.lowest) / chain.converter.input.width();
        (share * f64::from(1u32 << bits)).round() as i32
    };
    match chain.junction.method {
        JunctionMethod::Measured(JunctionSensor::Digital) => (256.0 * board).round() as i32,
        // The beta equation against 25 °C, and IEC 60751's polynomial above 0 °C.
        JunctionMethod::Measured(JunctionSensor::Thermistor { r25, beta, divider, .. }) => {
            let ohms = r25 * libm::exp(beta * (1.0 / (board + 273.15) - 1.0 / 298.15));
            divided(ohms, divider.ohms)
        }
        JunctionMethod::Measured(JunctionSensor::Platinum { divider, .. }) => {
            let ohms = 100.0 * (1.0 + 3.9083e-3 * board - 5.775e-7 * board * board);
            divided(ohms, divider.ohms)
        }
        _ => 0,
    }
}

/// Largest error of whole codes beyond half a code of both inputs, and how many readings there were.
fn worst(chain: &Chain, f: &Firmware) -> Result<(f64, u32), ModelError> {
    let mut exact = chain.clone();
    exact.readout = Readout::EmfInverse;
    // The rule of a compensated chain is a line; its exact inverse holds for a board at 25 °C.
    let compensated = f.program.junction_input == JunctionInput::None;
    let boards = if compensated { vec![25.0] } else { grid(chain.need.board, 7) };
    let model = Model::without_dynamics(chain.clone())?;
    let mean = model.mean_deviations().to_vec();
    let per_kelvin = f64::from(f.program.unit.per_kelvin());
    let (mut worst, mut count) = (0.0f64, 0);
    for &board in &boards {
        let told = junction(chain, f.program.bits, board);
        // A code (or 1/256 K) of the junction is worth this, K of the board.
        let next = junction(chain, f.program.bits, board + 1.0);
        let junction_step = if compensated { 0.0 } else { 1.0 / f64::from((next - told).abs().max(1)) };
        for hot in grid(chain.need.hot, 41) {
            let reading = model.predict(&Situation { hot, board, head: board }, &mean)?;
            assert!(reading.limits.is_empty(), "{}: {:?}", chain.name, reading.limits);
            let (code, step) = code(chain, reading.output_volts);
            let outcome = f.program.whole(code, told, &f.program.nominal);
            if outcome.state == State::ConverterSaturated {
                continue; // the end of the range sits on the converter's own
            }
            assert_eq!(outcome.state, State::InRange, "{}: {hot} °C, board {board} °C", chain.name);
            let celsius = f64::from(outcome.value) / per_kelvin;
            let (_, gain) = model.nominal_transfer();
            let slope = |t: f64| chain.probe.letter.emf_and_slope_extended(t).1;
            // Sensitivity where it is least in reach of the code: a degree or two do not matter but at sharp bends.
            let flat = slope(hot).min(slope(hot - 3.0)).min(slope(hot + 3.0));
            let quantised =
                0.5 * (step / gain).abs() / flat + 0.5 * junction_step * slope(board + 1.0) / flat;
            worst = worst.max((celsius - hot).abs() - quantised);
            count += 1;
        }
    }
    Ok((worst, count))
}

#[test]
fn whole_codes_read_what_the_model_was_told() {
    let cases: Vec<Chain> = vec![
        common::kiln().clone(),
        common::example("freezer"),
        common::thermistor(),
        common::platinum(),
        common::compensated(),
        common::compensated_12_bit(),
        common::falling().clone(),
        common::chain(Letter::S, (0.0, 900.0), 16),
    ];
    for chain in cases {
        let f = made(&chain);
        let (worst, count) = worst(&chain, &f).expect("a prediction");
        println!(
            "{}: {count} readings, {worst:.4} K beyond quantisation, {:.4} K stated",
            chain.name, f.everywhere
        );
        assert!(count > 30, "{}", chain.name);
        // What the model's mean deviations leave between 25 °C and the board's range: its open-loop gain, leakages.
        assert!(worst <= f.everywhere + 0.002, "{}: {worst} K against {} K stated", chain.name, f.everywhere);
    }
}

/// A board whose parts are off, and the two constants that put it right, both from the model's outputs alone.
fn deviated(chain: &Chain) -> (Model, Vec<f64>) {
    let model = Model::without_dynamics(chain.clone()).expect("a model");
    let mut d = model.mean_deviations().to_vec();
    for (k, imperfection) in model.imperfections().iter().enumerate() {
        if imperfection.id.ends_with(".tolerance") && imperfection.id.starts_with('R') {
            d[k] += if k % 2 == 0 { 3e-3 } else { -2e-3 };
        }
        if imperfection.id.ends_with(".offset") && imperfection.id.starts_with('A') {
            d[k] += 2e-5;
        }
    }
    assert_ne!(d, model.mean_deviations(), "nothing is off");
    (model, d)
}

/// Volts of the chain's own rule, uncorrected.
fn rule_volts(model: &Model, d: &[f64], hot: f64) -> (f64, f64) {
    let at = Situation { hot, board: 25.0, head: 25.0 };
    let output = model.predict(&at, d).expect("a reading").output_volts;
    let rule = match model.chain().readout {
        Readout::Line { .. } => output,
        _ => {
            let (offset, gain) = model.nominal_transfer();
            (output - offset) / gain
        }
    };
    (output, rule)
}

#[test]
fn a_correction_is_in_the_volts_of_the_chains_own_rule() {
    for chain in [
        common::compensated(),
        common::compensated_12_bit(),
        common::kiln().clone(),
        common::falling().clone(),
    ] {
        let (model, d) = deviated(&chain);
        let mean = model.mean_deviations().to_vec();
        let (low, high) = chain.need.hot;
        let ends = [low + 0.1 * (high - low), high - 0.1 * (high - low)];
        let [is, wanted] = [&d, &mean].map(|d| ends.map(|hot| rule_volts(&model, d, hot).1));
        let gain = (wanted[1] - wanted[0]) / (is[1] - is[0]);
        let found = Correction { offset: wanted[0] - gain * is[0], gain };
        let plain = made(&chain);
        let in_place = plain.constants(found).expect("constants that fit");
        assert_ne!(in_place, plain.program.nominal, "a correction of nothing proves nothing");
        let mut corrected = chain.clone();
        corrected.correction = Some(found);
        let made = made(&corrected);
        // Found anew on a board that has constants: absolute, so they come to the same registers but for rounding.
        let again = made.constants(found).expect("constants that fit");
        assert!(again.gain.abs_diff(made.program.nominal.gain) <= 1, "{again:?} {:?}", made.program.nominal);
        let told = junction(&chain, plain.program.bits, 25.0);
        let mut uncorrected = 0.0f64;
        for hot in grid((low + 1.0, high - 1.0), 23) {
            let (code, step) = code(&chain, rule_volts(&model, &d, hot).0);
            let kelvin = (step / model.nominal_transfer().1).abs()
                / chain
                    .probe
                    .letter
                    .emf_and_slope_extended(hot)
                    .1
                    .min(chain.probe.letter.emf_and_slope_extended(hot + 2.0).1);
            for (what, f, constants) in
                [("in place", &plain, &in_place), ("in the file", &made, &made.program.nominal)]
            {
                let outcome = f.program.whole(code, told, constants);
                assert_eq!(outcome.state, State::InRange, "{} {what} {hot} °C", chain.name);
                let celsius = f64::from(outcome.value) / f64::from(f.program.unit.per_kelvin());
                let error = (celsius - hot).abs();
                // Rounding of a gain of 16 bits: half a part in it of the whole span.
                let rounded = 0.5 / f64::from(f.program.nominal.gain) * (high - low) * 1.5;
                let allowed = f.everywhere + 0.5 * kelvin + rounded + 0.01;
                assert!(error <= allowed, "{} {what}: {hot} °C reads {celsius} °C", chain.name);
            }
            let raw = plain.program.whole(code, told, &plain.program.nominal);
            uncorrected = uncorrected
                .max((f64::from(raw.value) / f64::from(plain.program.unit.per_kelvin()) - hot).abs());
        }
        println!("{}: up to {uncorrected:.2} K without the correction", chain.name);
        assert!(uncorrected > 2.0 * plain.everywhere, "{}: nothing was off", chain.name);
    }
}

/// The page's formula, as a reader would use it, comes to the same registers as [`Firmware::constants`].
#[test]
fn the_pages_formula_is_the_one_used() {
    for chain in [common::compensated(), common::kiln().clone()] {
        let f = made(&chain);
        let page =
            f.files().into_iter().find(|file| file.name.ends_with("firmware.md")).expect("a page").contents;
        let numbers = |line: &str| -> Vec<f64> {
            line.split(|c: char| !(c.is_ascii_digit() || ".e-+".contains(c)))
                .filter_map(|word| word.parse().ok())
                .collect()
        };
        let line = |start: &str| {
            page.lines().find(|l| l.starts_with(start)).unwrap_or_else(|| panic!("{start} in\n{page}"))
        };
        let (gain, offset) = (numbers(line("gain   = ")), numbers(line("offset = ")));
        let volts = if f.inverse.line() { f.inverse.nominal_transfer().1 } else { 1.0 };
        for (a, b) in [(0.0, 1.0), (20e-6, 0.998), (-35e-6, 1.003)] {
            let a = a * volts;
            let constants = f.constants(Correction { offset: a, gain: b }).expect("constants");
            assert_eq!((b * gain[0]).round(), f64::from(constants.gain), "{}", chain.name);
            let by_hand = (offset[0] + b * offset[1] + a * offset[2]).round();
            // Printed to a tenth of a step.
            assert!(
                (by_hand - f64::from(constants.offset)).abs() <= 1.0,
                "{}: {by_hand} {constants:?}",
                chain.name
            );
        }
    }
}
