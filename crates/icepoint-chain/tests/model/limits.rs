//! Supplies end, sensors break, junctions touch the sheath.

use crate::bench::{InHand, bench, emf, kiln, resolved};
use crate::hand::Instrumentation;
use icepoint_chain::chain::{BrokenSensor, Correction};
use icepoint_chain::front_end::PartKind;
use rand::{RngExt, SeedableRng};
use rand_xoshiro::Xoshiro256PlusPlus;

/// Solver and formula.
const ROUNDING_VOLTS: f64 = 1e-9;

/// On one supply the bench thermometer can't go below 20 mV: 2 °C and colder read the same.
#[test]
fn below_ground_on_one_supply_the_output_stays_at_its_limit() {
    let single = bench()
        .with(|c| {
            c.front_end.parts.retain(|p| p.designator != "VN");
            for part in &mut c.front_end.parts {
                if let PartKind::Operational { supply, .. } = &mut part.kind {
                    supply.1 = "gnd".into();
                }
            }
        })
        .built();
    let answer = single.answer(-20.0, 25.0, &[]);
    // 20 mV at the amplifier, 10 MΩ behind R8 of 20 kΩ.
    let expected = 0.020 * 10e6 / (10e6 + 20e3);
    assert!((answer.output_volts - expected).abs() < ROUNDING_VOLTS, "{} V", answer.output_volts);
    assert!(
        answer.limits.iter().any(|l| l.what == "A1 output" && l.volts < l.allowed.0),
        "{:?}",
        answer.limits
    );
    assert!(answer.celsius > 0.0, "it reads {} °C at −20 °C", answer.celsius);
    assert_eq!(single.answer(-25.0, 25.0, &[]).output_volts, answer.output_volts);
    // With the negative rail the same board follows.
    let both = bench().built();
    assert_eq!(both.answer(-20.0, 25.0, &[]).limits, []);
    assert!(both.reads(-20.0, 25.0, &[]) < -15.0);
}

/// A pedestal that is too low: hot below the board drives the instrumentation amplifier to its lower limit of 50 mV.
#[test]
fn a_junction_colder_than_the_board_needs_its_pedestal() {
    let low = kiln()
        .with(|c| {
            for part in &mut c.front_end.parts {
                if part.designator == "R6" {
                    part.kind.set_value(2e3);
                }
            }
        })
        .built();
    let hand = Instrumentation::of(low.chain());
    let wanted = hand.output(emf(&low, 20.0) - emf(&low, 55.0));
    assert!(wanted < 0.0, "the formula wants {wanted} V");
    let answer = low.answer(20.0, 55.0, &[]);
    let limit = answer.limits.iter().find(|l| l.what == "A1 output").unwrap();
    assert_eq!(limit.allowed.0, 0.05);
    assert!((limit.volts - wanted).abs() < 1e-4, "wants {} V, formula {wanted} V", limit.volts);
    assert!((answer.output_volts - 0.05 * 10e6 / (10e6 + 1e3)).abs() < 1e-6, "{} V", answer.output_volts);
    assert!(answer.celsius > 40.0, "reads {} °C at 20 °C", answer.celsius);
    let text = limit.to_string();
    assert!(text.contains("A1 output wants -0.0") && text.contains("allowed are 0.050 V"), "{text}");
}

/// A converter that runs out of codes says so and reads its last code.
#[test]
fn beyond_full_scale_the_converter_gives_its_last_code() {
    let kiln = kiln().built();
    let answer = kiln.answer(
        1100.0,
        5.0,
        &[("RG.tolerance", -0.01), ("A1.gain_error", 0.001), ("converter.gain", 0.001)],
    );
    let further = kiln.answer(
        1180.0,
        5.0,
        &[("RG.tolerance", -0.01), ("A1.gain_error", 0.001), ("converter.gain", 0.001)],
    );
    assert!(
        answer.output_volts < 2.5 && further.output_volts > 2.5,
        "{} and {}",
        answer.output_volts,
        further.output_volts
    );
    assert!(further.limits.iter().any(|l| l.what == "converter input"), "{:?}", further.limits);
    let (offset, gain) = kiln.model.nominal_transfer();
    let last = (2.5 - 2.5 / 4096.0 - offset) / gain + emf(&kiln, 5.025);
    let expected = kiln.chain().probe.letter.temperature(last).unwrap();
    assert!((further.celsius - expected).abs() < 1e-5, "{} °C, expected {expected}", further.celsius);
}

#[test]
fn a_broken_thermocouple_reads_above_the_scale() {
    for (board, high) in [(kiln().built(), 1100.0), (bench().built(), 400.0)] {
        for at in [board.chain().need.board.0, board.chain().need.board.1] {
            let open = board.model.open_sensor(at).unwrap();
            assert!(open.celsius > high, "{}: {} °C, board at {at} °C", board.chain().name, open.celsius);
        }
    }
    // The kiln's positive input is pulled to the supply through 10 MΩ, the negative one sits on the pedestal.
    let kiln = kiln().built();
    let open = kiln.model.open_sensor(25.0).unwrap();
    assert!((open.test_point_volts[0] - 3.3).abs() < 1e-3, "{:?}", open.test_point_volts);
    assert!((open.test_point_volts[1] - 0.1193).abs() < 1e-3, "{:?}", open.test_point_volts);
}

/// A grounded junction pulls the loop of the kiln from its pedestal to ground: the inputs are then below or at the edge
/// of their range, and the current through R3 and half of the loop adds to the signal.
#[test]
fn a_grounded_junction_on_the_instrumentation_amplifier() {
    let kiln = kiln().with(|c| c.probe.grounded = true).built();
    let answer = kiln.answer(800.0, 25.0, &[]);
    let (plus, minus) = (answer.test_point_volts[0], answer.test_point_volts[1]);
    // From the pedestal through R3 and half of the wire into the plant: minus stands I·R/2 above it.
    let half = 0.5 * (3.0 + kiln.chain().lead.as_ref().unwrap().resistance);
    let pedestal = answer.test_point_volts[2];
    let tie = 0.1;
    let from_bias = pedestal / (10e3 + half + tie);
    let v = emf(&kiln, 800.0) - emf(&kiln, 25.0);
    let from_supply = (3.3 - v) / (10e6 + half + tie);
    assert!((minus - (from_bias * (half + tie) + from_supply * tie)).abs() < 1e-7, "{minus} V");
    assert!((plus - (v + from_supply * (half + tie) + from_bias * tie)).abs() < 1e-7, "{plus} V");
}

/// The bench thermometer stands on its compensation: a grounded junction shorts that, and the reading loses the board's
/// temperature, 25 K with the board at 25 °C.
#[test]
fn a_grounded_junction_shorts_an_analog_compensation() {
    let bench_floating = bench().built();
    let grounded = bench().with(|c| c.probe.grounded = true).built();
    let lost = bench_floating.reads(200.0, 25.0, &[]) - grounded.reads(200.0, 25.0, &[]);
    // Half of the loop, 2.5 Ω and the wire's, against R6 of 110 Ω: a few per cent of the compensation are left.
    assert!((22.0..27.0).contains(&lost), "{lost} K");
}

/// No board reads a break nearer to the range than the one that is said to be the worst: 200 boards at random corners of
/// their limits and 200 inside them, on four front ends, either way.
#[test]
fn no_board_shows_a_break_worse_than_the_worst_board() {
    let mut random = Xoshiro256PlusPlus::seed_from_u64(7);
    for name in ["kiln.toml", "bench.toml", "diode.toml", "direct.toml"] {
        for want in [BrokenSensor::Upscale, BrokenSensor::Downscale] {
            let mut file = resolved(name);
            file.surroundings.broken_sensor = want;
            let chain = file.with_values(&file.fixed).with(|c| c.need.broken_sensor = want);
            // A pull-up of hundreds of megohms, so that the end of the scale is not what hides the differences.
            let chain = chain.with(|c| {
                for part in &mut c.front_end.parts {
                    if let PartKind::Resistor { figures, .. } = &mut part.kind
                        && figures.ohms > 5e6
                    {
                        figures.ohms *= 100.0;
                    }
                }
            });
            let board = chain.built();
            let (low, high) = board.chain().need.board;
            for at in [low, high] {
                let worst = board.model.open_sensor_at_worst(at).unwrap();
                for n in 0..400 {
                    let one = |i: &icepoint_chain::imperfection::Imperfection| {
                        let (least, most) = i.distribution.limits();
                        if n % 2 == 0 {
                            if random.random() { least } else { most }
                        } else {
                            least + (most - least) * random.random::<f64>()
                        }
                    };
                    let d: Vec<f64> = board.model.imperfections().iter().map(one).collect();
                    let read = board.model.open_sensor_of(at, &d).unwrap().celsius;
                    let nearer = match want {
                        BrokenSensor::Upscale => worst.celsius - read,
                        BrokenSensor::Downscale => read - worst.celsius,
                    };
                    assert!(
                        nearer < 1e-6,
                        "{name}, {want:?}, {at} °C: {read} °C, worst {} °C",
                        worst.celsius
                    );
                }
            }
        }
    }
}

/// Bias currents of 1 µA against a pull-up of 10 MΩ: with every deviation at its mean a break reads upscale, and a board
/// whose amplifier draws its current out of the input reads it downscale. By hand: 3.3 V − 10 MΩ · 1 µA is below ground.
#[test]
fn bias_currents_can_turn_the_direction_of_a_break() {
    let noisy = kiln().with(|c| {
        for part in &mut c.front_end.parts {
            if let PartKind::Operational { figures, .. } | PartKind::Instrumentation { figures, .. } =
                &mut part.kind
            {
                figures.bias = 1e-6;
            }
        }
    });
    let board = noisy.built();
    assert!(board.model.open_sensor(25.0).unwrap().celsius > 1100.0);
    let worst = board.model.open_sensor_at_worst(25.0).unwrap();
    assert!(worst.celsius < 20.0, "{} °C", worst.celsius);
    assert!(board.model.open_sensor_shortfall().unwrap() > 1000.0);
    assert!(kiln().built().model.open_sensor_shortfall().unwrap() < 0.0);
}

/// What a calibration wrote into the chain is in the reading of a break as in any other.
#[test]
fn a_break_is_read_with_the_correction() {
    let plain = bench().built();
    let shifted = bench().with(|c| c.correction = Some(Correction { offset: -0.05, gain: 1.0 })).built();
    let difference =
        plain.model.open_sensor(25.0).unwrap().celsius - shifted.model.open_sensor(25.0).unwrap().celsius;
    // 50 mV at 10 mV/K.
    assert!((difference - 5.0).abs() < 1e-6, "{difference} K");
}
