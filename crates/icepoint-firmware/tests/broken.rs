//! A broken sensor is told on *every* board whose parts are within their limits and in the readings as they are taken, or
//! the files say that it can't be told from a temperature. And what constants do to the codes at which states are told.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used, missing_docs)] // helpers of tests fail like tests

mod common;

use icepoint_chain::Model;
use icepoint_chain::chain::{Chain, Correction, Readout};
use icepoint_chain::imperfection::Persistence;
use icepoint_chain::open_sensor::Pulses;
use icepoint_firmware::Firmware;
use icepoint_firmware::calibration::Reach;
use icepoint_firmware::inverse::Inverse;
use icepoint_firmware::states::{OpenCodes, State, Thresholds};

fn made(chain: &Chain) -> Firmware {
    common::made(chain, 0.25)
}

/// A file of the firmware.
fn file(f: &Firmware, end: &str) -> String {
    f.files().into_iter().find(|file| file.name.ends_with(end)).expect("a file").contents
}

/// Whole code of volts at the converter.
fn code(chain: &Chain, volts: f64) -> u32 {
    let (low, high) = chain.converter.span();
    ((volts.clamp(low, high) - low) / chain.converter.step()).round() as u32
}

/// The state of a whole code, by the thresholds alone.
fn told(chain: &Inverse, t: &Thresholds, code: u32) -> State {
    t.state(t.counted(code << chain.alignment()))
}

/// Boards with every deviation at one end of its limits or the other, by chance, and the two that are known to be worst.
fn opened(chain: &Chain, trials: u32) -> Vec<f64> {
    let mut exact = chain.clone();
    exact.readout = Readout::EmfInverse;
    let model = Model::without_dynamics(exact).expect("a model");
    let mut volts = Vec::new();
    for board in [chain.need.board.0, chain.need.board.1] {
        let worst = model.open_sensor_counted(board, Pulses::On).expect("an operating point");
        volts.extend([worst.0, worst.1, model.open_sensor_at_worst(board).expect("one").output_volts]);
        for trial in 0..trials {
            let deviations: Vec<f64> = model
                .imperfections()
                .iter()
                .zip(model.mean_deviations())
                .enumerate()
                .map(|(k, (i, mean))| {
                    let (low, high) = i.distribution.limits();
                    let chance = common::random(977 * trial + 131 * k as u32);
                    match i.persistence {
                        Persistence::Reading => *mean,
                        _ if chance < 0.5 => low,
                        _ => high,
                    }
                })
                .collect();
            let (low, high) = chain.converter.span();
            let reading = model.open_sensor_of(board, &deviations).expect("an operating point");
            let shown = reading.output_volts.clamp(low, high);
            assert!(
                shown >= worst.0 - 0.01 && shown <= worst.1 + 0.01,
                "{}: {shown} V is outside {worst:?}",
                chain.name
            );
            volts.push(shown);
        }
    }
    volts
}

#[test]
fn a_break_is_told_on_every_board_or_the_files_say_that_it_is_not() {
    let mut from = Vec::new();
    // Whether it is told with a front amplifier of that bias current, nA.
    let mut tells = |bias: f64, trials: u32| {
        let changed = format!("bias_max = \"{bias} nA\"");
        let chain = common::kiln_with(&[("bias_max = \"500 pA\"", &changed)]);
        let inverse = Inverse::new(&chain).expect("an inverse");
        let t = Thresholds::new(&inverse).expect("thresholds");
        let codes: Vec<u32> = opened(&chain, trials).iter().map(|v| code(&chain, *v)).collect();
        println!(
            "{bias} nA: broken, code {:?} to {:?}; open from {:?}",
            codes.iter().min(),
            codes.iter().max(),
            t.open_from
        );
        if t.tells_open() {
            for code in codes {
                assert_eq!(told(&inverse, &t, code), State::SensorOpen, "{bias} nA: code {code}");
            }
            from.extend(t.open_from);
        }
        t.tells_open()
    };
    for (bias, told) in [(0.5, true), (250.0, true), (290.0, false), (304.0, false), (1000.0, false)] {
        assert_eq!(tells(bias, 100), told, "{bias} nA");
    }
    // Between them, where the worst board's code comes down from the converter's end.
    let (mut good, mut bad) = (250.0, 290.0);
    for _ in 0..14 {
        let middle = 0.5 * (good + bad);
        if tells(middle, 4) {
            good = middle;
        } else {
            bad = middle;
        }
    }
    assert!(from.iter().any(|f| *f != from[0]), "no threshold moved: {from:?}");

    let f = made(&common::kiln_with(&[("bias_max = \"500 pA\"", "bias_max = \"304 nA\"")]));
    assert!(!f.program.thresholds.tells_open());
    for end in ["t.h", "firmware.md"] {
        let text = file(&f, end);
        assert!(text.contains("can't tell a broken sensor from a temperature"), "{text}");
    }
    assert!(file(&f, "firmware.md").contains("A broken sensor can read as a temperature here"));
}

#[test]
fn a_pulsed_current_tells_a_break_in_its_pulses_and_not_in_readings() {
    let chain = common::board_in("tests/boards", "pulsed");
    let f = made(&chain);
    let model = Model::without_dynamics(chain.clone()).expect("a model");
    // Without the current a broken sensor reads like one at the board's temperature.
    let (low, high) = model.open_sensor_counted(25.0, Pulses::Off).expect("an operating point");
    let outcome = f.program.whole(code(&chain, 0.5 * (low + high)), 25 * 256, &f.program.nominal);
    assert_eq!(outcome.state, State::InRange);
    assert!(!f.program.thresholds.tells_open(), "{:?}", f.program.thresholds);
    for pulses in [Pulses::Off, Pulses::On] {
        println!("{pulses:?}: {:?} V", model.open_sensor_counted(25.0, pulses).expect("an operating point"));
    }
    // With it, it is beyond every code of a whole one.
    let Some(OpenCodes::From(from)) = f.open_in_pulse else { panic!("{:?}", f.open_in_pulse) };
    for board in [0.0, 25.0, 40.0] {
        let (low, _) = model.open_sensor_counted(board, Pulses::On).expect("an operating point");
        assert!(code(&chain, low) >= from, "board at {board} °C");
    }
    // The current charges C1, and C2 and C3 in series beside it, all as large as their tolerance allows; the resistors before
    // them matter in the first tenths of a millisecond alone. On the slowest board a tenth of the current is missing, and it
    // begins where input currents have brought the open input.
    let capacity = 2.2e-6 + 0.5 * 10e-9;
    let tolerance = chain
        .front_end
        .parts
        .iter()
        .filter_map(|part| match part.kind {
            icepoint_chain::front_end::PartKind::Capacitor { tolerance, .. } => Some(tolerance),
            _ => None,
        })
        .fold(0.0, f64::max);
    let charged = 0.9 * 10e-6 * 20e-3 / (capacity * (1.0 + tolerance));
    let (low, _) = model.open_sensor_counted(25.0, Pulses::On).expect("an operating point");
    let (before, _) = model.open_sensor_counted(25.0, Pulses::Off).expect("an operating point");
    println!("charged from {before} V to {low} V; {charged} V by hand");
    assert!(((low - before) / charged - 1.0).abs() < 0.02, "{before} V to {low} V, {charged} V by hand");
    // A pulse of five milliseconds does not bring it out of the range.
    let mut short = chain.clone();
    for part in &mut short.front_end.parts {
        if let icepoint_chain::front_end::PartKind::DetectionCurrent { figures, .. } = &mut part.kind
            && let Some(pulse) = &mut figures.pulse
        {
            pulse.on = 5e-3;
        }
    }
    let inverse = Inverse::new(&short).expect("an inverse");
    assert_eq!(Thresholds::in_pulse(&inverse).expect("thresholds"), None);

    let (offset, gain) = model.nominal_transfer();
    let emf = |t: f64| chain.probe.letter.emf_and_slope_extended(t).0;
    // 10 µA through the wire of 8 Ω.
    let shift = f.inverse.pulse_shift().expect("an operating point");
    assert!((shift - 80e-6).abs() < 1e-6, "{shift}");
    let hottest = offset + gain * (emf(200.0) - emf(0.0) + shift);
    assert!(code(&chain, hottest) < from);
    for end in ["t.h", "firmware.md"] {
        let text = file(&f, end);
        assert!(text.contains("never in a reading, which is taken with the detection current off"), "{text}");
        assert!(text.contains(&format!("{from} or more")), "{text}");
    }
}

/// Code of two temperatures on a board whose correction is `found`: from the emfs, not by the firmware's inverse.
fn corrected_code(f: &Firmware, found: Correction, hot: f64, board: f64) -> u32 {
    let emf = |t: f64| f.inverse.emf(t);
    let (offset, gain) = f.inverse.nominal_transfer();
    let output = if f.inverse.line() {
        // The rule's volts are the output's: what it would be without any deviation, uncorrected.
        let ideal = offset + gain * (emf(hot) - emf(25.0));
        (ideal - found.offset) / found.gain
    } else {
        offset + gain * ((emf(hot) - emf(board) - found.offset) / found.gain)
    };
    code(f.inverse.chain(), output)
}

#[test]
fn a_correction_in_the_file_moves_the_codes_of_the_states() {
    for (offset, gain) in [(1.5e-3, 1.0), (-1e-3, 1.0), (3e-4, 0.985), (0.0, 0.97), (0.0, 1.05)] {
        let found = Correction { offset, gain };
        let mut chain = common::kiln().clone();
        chain.correction = Some(found);
        let f = made(&chain);
        for (hot, board) in [(20.5, 55.0), (30.0, 40.0), (1100.0, 5.0), (1060.0, 25.0)] {
            let code = corrected_code(&f, found, hot, board);
            let outcome = f.program.whole(code, (256.0 * board) as i32, &f.program.nominal);
            assert_eq!(outcome.state, State::InRange, "{found:?}: {hot} °C, board {board} °C, code {code}");
            let celsius = f64::from(outcome.value) / f64::from(f.program.unit.per_kelvin());
            assert!((celsius - hot).abs() < 0.25 + 0.5 * f.code_kelvin.1, "{hot} °C reads {celsius} °C");
        }
    }
    // The range still fits, but 2 % above it the converter ends: what is there is hot or broken, and no temperature.
    let mut chain = common::kiln().clone();
    chain.correction = Some(Correction { offset: 0.0, gain: 0.94 });
    let f = made(&chain);
    assert!(!f.program.thresholds.tells_open() && f.open_saturates);
    for code in opened(&chain, 20).iter().map(|v| code(&chain, *v)) {
        let outcome = f.program.whole(code, 25 * 256, &f.program.nominal);
        assert_eq!(outcome.state, State::ConverterSaturated, "code {code}");
    }
    assert!(
        f.c_header().contains("SENSOR_OPEN = 3, /* never: a broken sensor is at the end"),
        "{}",
        f.c_header()
    );
    // So far off that the converter ends before the range does: refused, not told as open.
    let mut chain = common::kiln().clone();
    chain.correction = Some(Correction { offset: 0.0, gain: 0.8 });
    let refused = Thresholds::new(&Inverse::new(&chain).expect("an inverse")).expect_err("a refusal");
    assert!(refused.to_string().contains("by the correction in [calibration]"), "{refused}");
}

#[test]
fn constants_in_place_may_go_as_far_as_the_page_says() {
    let mut corrected = common::kiln().clone();
    corrected.correction = Some(Correction { offset: 2e-4, gain: 0.99 });
    for chain in [
        common::kiln().clone(),
        corrected,
        common::falling().clone(),
        common::compensated_12_bit(),
        common::thermistor(),
    ] {
        let f = made(&chain);
        let Reach { offset, gain } = f.reach();
        println!("{}: a {offset:?} V, b {gain:?}", chain.name);
        assert!(offset.0 < 0.0 && offset.1 > 0.0 && gain.0 < 1.0 && gain.1 > 1.0, "{}", chain.name);
        let need = &chain.need;
        let boards = if f.program.junction.is_none() { (25.0, 25.0) } else { (need.board.0, need.board.1) };
        let code = f64::from(1u32 << f.program.alignment());
        // A compensated chain's rule has no junction's emf: that of 25 °C stands for it.
        let compensated = if f.program.junction.is_none() { f.inverse.emf(25.0) } else { 0.0 };
        // States of both ends of the range, a code inside, for constants.
        let states = |found: Correction| {
            [(need.hot.0, boards.1, 1.0), (need.hot.1, boards.0, -1.0)].map(|(hot, board, inside)| {
                let wanted = f.inverse.referred(found);
                let volts = (f.inverse.seen(hot, board) - compensated - wanted.offset) / wanted.gain;
                let (at_zero, slope) = f.inverse.nominal_transfer();
                let aligned = f.inverse.aligned(at_zero + slope * volts);
                let inside = if f.program.thresholds.falling { -inside } else { inside };
                let junction = f.inverse.junction_input(board).unwrap_or(0.0);
                let Some(constants) = f.constants(found) else { return State::CalibrationInvalid };
                f.program
                    .evaluate((aligned + inside * code).max(0.0) as u32, junction as i32, &constants)
                    .state
            })
        };
        let moved = |offset: f64, share: f64| Correction { offset: share * offset, gain: 1.0 };
        let turned = |gain: f64, share: f64| Correction { offset: 0.0, gain: 1.0 + share * (gain - 1.0) };
        for (what, edge, all) in [
            (
                "a",
                [moved(offset.0, 0.95), moved(offset.1, 0.95)],
                [moved(offset.0, 1.2), moved(offset.1, 1.2)],
            ),
            ("b", [turned(gain.0, 0.95), turned(gain.1, 0.95)], [turned(gain.0, 1.2), turned(gain.1, 1.2)]),
        ] {
            for (within, beyond) in edge.into_iter().zip(all) {
                assert_eq!(states(within), [State::InRange; 2], "{} {what} {within:?}", chain.name);
                assert_ne!(states(beyond), [State::InRange; 2], "{} {what} {beyond:?}", chain.name);
            }
        }
    }
}
