//! The bench's voltmeter at the output of a board that ends in a converter: it shows what the converter is given.

use icepoint_bench::calibrate::band::Origin;
use icepoint_bench::calibrate::condition::{Condition, Kind};
use icepoint_bench::calibrate::readings::Input;
use icepoint_bench::calibrate::simulate::{build, in_use, read};
use icepoint_bench::calibrate::{Calibration, Calibrator};
use icepoint_bench::sheet::Meter;
use icepoint_chain::Model;
use icepoint_chain::budget::monte_carlo::generator;
use icepoint_chain::chain::Correction;
use icepoint_chain::imperfection::{Distribution, Family};

use crate::bench::{calibrated, with};
use crate::condition;

const METER: &str = "\n[references.hand-held]\nkind = \"voltmeter\"\nreading_error = \"0.1 %\"\nrange_error = \"1 mV\"\nresolution = \"0.1 mV\"\ninput_resistance = \"10 MΩ\"\n";
const SET: [f64; 3] = [0.0, 10e-3, 35e-3];

fn meter(relative: f64, input_resistance: f64) -> Meter {
    Meter { name: "hand-held".into(), relative, fixed: 1e-3, resolution: 1e-4, input_resistance }
}

fn conditions(model: &Model, meter: &Meter) -> Vec<Condition> {
    SET.iter()
        .enumerate()
        .map(|(k, &v)| Condition {
            kind: Kind::Volts,
            half_digit: 0.5 * meter.resolution,
            meter: Some(meter.clone()),
            ..condition(model, Input::Injected(v), 23.0, 1, 2 + k)
        })
        .collect()
}

/// Gain of the instrumentation amplifier, volts of the pedestal, resistors by their names.
fn by_data_sheet(model: &Model) -> (f64, f64) {
    let ohms = |name: &str| model.chain().front_end.value(name).unwrap();
    (1.0 + 50e3 / ohms("RG"), 2.5 * ohms("R6") / (ohms("R5") + ohms("R6")))
}

/// Volts by hand: gain of the amplifier's data sheet, pedestal of R5 and R6, and the divider of the output's resistors with the
/// converter's 10 MΩ and the meter's; the current through the pull-up makes its voltage across the source's 10 Ω.
#[test]
fn the_output_by_hand() {
    let (_, model) = with("burnout-kiln", |t| t);
    let (gain, pedestal) = by_data_sheet(&model);
    let ohms = |name: &str| model.chain().front_end.value(name).unwrap();
    let current = (3.3 - pedestal) / (ohms("R4") + ohms("R3"));
    let board = &[23.0][..];
    let volts = |meter: &Meter| {
        let c = Calibrator::new(&model, Correction::NONE, conditions(&model, meter), (&[600.0], board), 0.0)
            .unwrap();
        let z = vec![0.0; c.forward.unknowns.len()];
        let mut work = c.forward.work();
        let answers: Vec<f64> = (0..SET.len()).map(|k| c.forward.answer(k, &z, &mut work).unwrap()).collect();
        // A meter that is off by a share of its reading and a fixed part, each by one standard uncertainty.
        let mut off = z.clone();
        for (unknown, z) in c.forward.unknowns.iter().zip(&mut off) {
            *z = f64::from(unknown.id.starts_with("hand-held.meter_"));
        }
        assert_eq!(off.iter().sum::<f64>(), 2.0);
        for (k, v) in answers.iter().enumerate() {
            let by_hand = v * (1.0 + meter.relative / 3f64.sqrt()) + meter.fixed / 3f64.sqrt();
            assert!((c.forward.answer(k, &off, &mut work).unwrap() - by_hand).abs() < 1e-12);
        }
        answers
    };
    let (seen, bare) = (volts(&meter(1e-3, 10e6)), volts(&meter(1e-3, 1e12)));
    for ((v, seen), bare) in SET.iter().zip(&seen).zip(&bare) {
        let by_hand = pedestal + gain * (v + 10.0 * current);
        // The means of self-heating and of one-sided deviations, bias currents and the amplifier's finite gain: under 1 mV.
        assert!((bare - by_hand).abs() < 2e-3 * by_hand, "{v} V: {bare} V, by hand {by_hand} V");
        // 10 MΩ beside the 10 MΩ of the converter: R9 and R8 in series with them lose as much again.
        let loaded = (seen / bare - 1.0).abs();
        assert!(loaded < 5e-3, "{seen} {bare}");
    }
    let (slope, by_hand) = ((bare[2] - bare[0]) / (SET[2] - SET[0]), gain);
    assert!((slope / by_hand - 1.0).abs() < 2e-3, "{slope} {by_hand}");
}

fn part(c: &Calibration, origin: Origin, id: &str, point: usize) -> f64 {
    let column = c.spread.causes.iter().position(|x| x.origin == origin && x.id == id);
    column.map_or(0.0, |column| c.spread.parts[(point, column)])
}

/// The converter's gain and offset stay as they were before, by hand: `v_out · u/(G·S)` kelvin, whatever the voltmeter showed.
/// Codes see them.
#[test]
fn the_converter_stays_unseen() {
    let (file, model) = with("burnout-kiln", |t| t + METER);
    let (gain, pedestal) = by_data_sheet(&model);
    let codes_of = |v: f64| (pedestal + gain * v) / 2.5 * 4096.0;
    let text = |column: &str, value: &dyn Fn(f64) -> f64| {
        SET.iter()
            .fold(format!("reference,injected (mV),board (°C),{column},uncertainty (µV)\n"), |t, v| {
                t + &format!("src,{},23,{:.4},1\n", 1e3 * v, value(*v))
            })
    };
    let volts = calibrated(&text("output (V)", &|v| pedestal + gain * v), &model, &file);
    let codes = calibrated(&text("code", &codes_of), &model, &file);
    let letter = model.chain().probe.letter;
    let u = |id: &str| model.imperfections().iter().find(|i| i.id == id).unwrap().distribution.standard();
    for (p, point) in volts.band.iter().enumerate() {
        let (e, slope) = letter.emf_and_slope_extended(point.hot);
        let output = pedestal + gain * (e - letter.emf_and_slope_extended(point.board).0);
        let by_hand = output * u("converter.gain") / (gain * slope);
        let left = part(&volts, Origin::Board, "converter.gain", p);
        // Probe and cable are at their means in the first, and the reading rule's volts are the circuit's.
        assert!((left.abs() - by_hand).abs() < 0.02 * by_hand + 1e-3, "{point:?} {left} {by_hand}");
        let by_hand = u("converter.offset") / (gain * slope);
        let left = part(&volts, Origin::Board, "converter.offset", p);
        assert!((left.abs() - by_hand).abs() < 0.02 * by_hand + 1e-3, "{point:?} {left} {by_hand}");
    }
    // At the hot end codes have taken most of it away.
    let hottest = volts.hot.len() - 1;
    let (by_volts, by_codes) = (
        part(&volts, Origin::Board, "converter.gain", hottest).abs(),
        part(&codes, Origin::Board, "converter.gain", hottest).abs(),
    );
    assert!(by_codes < 0.9 * by_volts, "{by_codes} {by_volts}");
    // What the voltmeter may be off is in the band, and no reading noise of the converter is in the readings.
    assert!(part(&volts, Origin::Reference, "hand-held.meter_gain", hottest).abs() > 0.0);
    assert!(volts.cautions.iter().all(|c| !c.contains("voltmeter")), "{:?}", volts.cautions);
    let estimated =
        |id: &str| volts.findings.deviations.iter().find(|d| d.id == id).map_or(0.0, |d| d.estimate);
    assert_eq!((estimated("converter.gain"), estimated("converter.offset")), (0.0, 0.0));
}

/// One reading by hand: with one board, a source without error and a meter, the meter's share of a surprise is its share of
/// the variance (JCGM 100, 5.1.2, and the normal equations of one line).
#[test]
fn the_meters_share_of_a_surprise() {
    let (_, model) = with("burnout-kiln", |t| t);
    let poor = meter(0.05, 10e6);
    let one = vec![conditions(&model, &poor).remove(2)];
    let c = Calibrator::new(&model, Correction::NONE, one, (&[600.0], &[23.0]), 0.0).unwrap();
    let z = vec![0.0; c.forward.unknowns.len()];
    let expected = c.forward.answer(0, &z, &mut c.forward.work()).unwrap();
    let solved = c.solve(&[expected * 1.01]).unwrap();
    let shares: f64 = c
        .forward
        .unknowns
        .iter()
        .zip(solved.estimate.z.iter())
        .filter(|(u, _)| u.id.starts_with("hand-held.meter_"))
        .map(|(u, z)| {
            let with_volts = if u.id.ends_with("gain") { expected } else { 1.0 };
            u.distribution.standard() * with_volts * z
        })
        .sum();
    // The circuit itself, by its data sheet: 1 % resistors of gain and pedestal, the amplifier's 0.1 %, the source's limits: well
    // below the meter's 2.9 %. So the meter is believed to be off by most of the 1 %.
    let share = shares / (0.01 * expected);
    println!("share of the meter: {share:.3}");
    let square = |x: f64| x * x;
    let u_meter = square(0.05 * expected / 3f64.sqrt()) + square(1e-3 / 3f64.sqrt());
    let whole = square(c.inference.reading[0]) + c.inference.sensitivities.row(0).norm_squared();
    assert!((share - u_meter / whole).abs() < 0.01, "{share} {}", u_meter / whole);
    assert!(share > 0.8, "{share}");
    // Digits and noise of the meter's reading: half a digit as a rectangle, and no step of the converter's 0.6 mV.
    let lsb = 2.5 / 4096.0;
    assert!(c.inference.reading[0] < 0.5 * lsb / 3f64.sqrt(), "{}", c.inference.reading[0]);
    let quantised = model.imperfections().iter().filter(|i| i.family == Family::Converter);
    assert!(quantised.map(|i| i.distribution).any(|d| d == Distribution::Rectangular(0.5 * lsb)));
}

/// Boards read by a voltmeter that is off as its record allows: 95 % inside of the band.
#[test]
fn output_readings_are_honest() {
    const BOARDS: u32 = 1000;
    let (_, model) = with("burnout-kiln", |t| t);
    let (hot, board) = (&[300.0, 800.0][..], &[15.0, 40.0][..]);
    let meter = meter(0.005, 10e6);
    let c = Calibrator::new(&model, Correction::NONE, conditions(&model, &meter), (hot, board), 0.0).unwrap();
    let mut inside = [0u32; 4];
    for n in 0..BOARDS {
        let mut rng = generator(19, n);
        let as_built = build(&c.forward, 1.0, &mut rng);
        let readings = read(&c.forward, &as_built, &c.noise.per_volt, &mut rng).unwrap();
        let means: Vec<f64> = readings.iter().map(|r| r[0]).collect();
        let solved = c.solve(&means).unwrap();
        let used = in_use(&c.forward, &as_built, solved.constants, (hot, board), &mut rng).unwrap();
        for ((inside, band), reading) in inside.iter_mut().zip(&solved.band).zip(used) {
            *inside += u32::from((reading - band.hot - band.bias).abs() <= band.half);
        }
    }
    println!("inside {inside:?} of {BOARDS}");
    // Four standard deviations of a share of 1000.
    for inside in inside {
        assert!((f64::from(inside) / f64::from(BOARDS) - 0.95).abs() < 0.0276, "{inside}");
    }
}

/// Without a record the bench sheet's usual meter is taken, and the report says so.
#[test]
fn a_usual_voltmeter() {
    let (file, model) = with("burnout-kiln", |t| t);
    let c = calibrated("injected (mV),board (°C),output (V)\n0,23,0.25\n20,23,1.3\n", &model, &file);
    let told = c.cautions.iter().find(|c| c.contains("voltmeter")).unwrap();
    assert!(told.contains("0.5 %") && told.contains("2 mV") && told.contains("10 MΩ"), "{told}");
    assert!(c.checked.iter().all(|k| k.condition.meter == Some(Meter::usual())));
}
