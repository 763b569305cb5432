//! The bench sheet of the examples: against published tables, against the model asked in another way, and against boards
//! that were drawn anew.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // helpers of tests fail like tests

mod divider;
mod idle_reference;
mod open;
mod output;

use icepoint_bench::sheet::{BenchSheet, LEAST_BOARDS, Setup};
use icepoint_chain::file::{ChainFile, parse};
use icepoint_chain::model::ReadingNoise;
use icepoint_chain::resolve::resolve;
use icepoint_chain::{Model, Situation};

/// Resistance of a voltmeter that loads nothing, Ω.
const NO_LOAD: f64 = 1e15;

/// Some of the examples, with the values that their circuits usually have.
const KILN: &str = include_str!("../../../../examples/burnout-kiln.toml");
const FREEZER: &str = include_str!("../../../../examples/freezer.toml");
const VOLTMETER: &str = include_str!("../../../../examples/bench-voltmeter.toml");

fn read(text: &str) -> (ChainFile, Model) {
    let file = parse("example.toml", text).unwrap_or_else(|refused| panic!("{refused}"));
    let model = Model::new(resolve(&file).unwrap().chain).unwrap();
    (file, model)
}

fn setup(file: &ChainFile, model: &Model, board: f64) -> Setup {
    Setup { board, boards: LEAST_BOARDS, ..Setup::of(file, model.chain()) }
}

fn sheet(text: &str, board: f64) -> (BenchSheet, ChainFile, Model) {
    let (file, model) = read(text);
    let sheet = BenchSheet::new(&model, &setup(&file, &model, board)).unwrap();
    (sheet, file, model)
}

/// IEC 60584-1 tables (NIST SRD 60), printed to 1 µV: what to set is the difference of two of their figures.
#[test]
fn millivolts_to_set_are_those_of_the_tables() {
    // Half a digit for each of two figures, and our rounding.
    const PRINTED: f64 = 1.0e-6 + 1e-9;
    for (text, board, rows) in [
        (
            KILN,
            50.0,
            &[
                (300.0, 9.341 - 1.340),
                (600.0, 20.613 - 1.340),
                (800.0, 28.455 - 1.340),
                (1000.0, 36.256 - 1.340),
            ][..],
        ),
        (FREEZER, 20.0, &[(-80.0, -2.788 - 0.790), (-50.0, -1.819 - 0.790), (0.0, -0.790)][..]),
        (VOLTMETER, 30.0, &[(100.0, 4.096 - 1.203), (200.0, 8.138 - 1.203), (400.0, 16.397 - 1.203)][..]),
    ] {
        let (file, model) = read(text);
        let setup = Setup { at: rows.iter().map(|r| r.0).collect(), ..setup(&file, &model, board) };
        let sheet = BenchSheet::new(&model, &setup).unwrap();
        assert_eq!(sheet.injections.len(), rows.len());
        for (injection, (celsius, millivolts)) in sheet.injections.iter().zip(rows) {
            assert_eq!(injection.celsius, *celsius);
            let off = injection.copper_volts - 1e-3 * millivolts;
            assert!(off.abs() <= PRINTED, "{celsius} °C: {off:e}");
        }
    }
}

/// The model itself with its probe at the test temperature must see what the sheet promises for the source.
#[test]
fn a_source_is_a_probe_without_tolerance() {
    const SAME: f64 = 1e-6; // K; the two ways add in another order
    for (text, board) in [(KILN, 31.0), (FREEZER, 18.0), (VOLTMETER, 27.0)] {
        let (file, model) = read(text);
        let mut setup = setup(&file, &model, board);
        // Its resistance is part of it: detection and bias currents flow through either.
        let lead = model.chain().lead.as_ref().map_or(0.0, |lead| lead.resistance);
        setup.source.output_resistance = model.chain().probe.resistance + lead;
        let sheet = BenchSheet::new(&model, &setup).unwrap();
        // The model knows of no voltmeter at its output: one that does not load it.
        let mut ideal = setup.clone();
        ideal.meter.input_resistance = NO_LOAD;
        let ideal = BenchSheet::new(&model, &ideal).unwrap();
        let mean = model.mean_deviations();
        // The terminals may be warmer than the board on the mean of nothing: `head` at the board leaves the cable out.
        let at = |hot: f64| model.predict(&Situation { hot, board, head: board }, mean).unwrap();
        for (injection, ideal) in sheet.injections.iter().zip(&ideal.injections) {
            let reading = at(injection.celsius);
            let (copper, wire) = (injection.copper.nominal, injection.wire.nominal);
            assert!((copper - reading.celsius).abs() < SAME, "{copper} {}", reading.celsius);
            assert!((wire - reading.celsius).abs() < SAME, "{wire} {}", reading.celsius);
            assert!((ideal.output.nominal - reading.output_volts).abs() < 1e-8);
        }
        let reading = at(sheet.normal_celsius);
        let rails = sheet.points.len() - reading.test_point_volts.len();
        assert!(rails >= 1);
        for (point, volts) in sheet.points.iter().skip(rails).zip(reading.test_point_volts) {
            let loading = point.loading.normal;
            let off = point.normal.nominal - loading - volts;
            assert!(off.abs() < 1e-9, "{} {off:e}", point.label);
            // A meter of 10 MΩ on kiloohms: less than a thousandth of what is there.
            assert!(loading.abs() <= 2e-3 * volts.abs() + 1e-6, "{} {loading:e}", point.label);
        }
        // Shorted terminals have no emf: as a probe of no resistance that is as warm as the board, told by the rule of the
        // board with its real probe.
        let wire = Model::new(model.chain().with_source(0.1)).unwrap();
        let mut scratch = wire.scratch();
        let state = wire.board_state(board, wire.mean_deviations(), &mut scratch).unwrap();
        let output = wire.output_volts(&state, 0.0, false, &mut scratch);
        let rule = model.rule_volts(&state, output, mean, ReadingNoise::LeftOut);
        assert!((sheet.shorted.nominal - model.celsius(&state, rule)).abs() < SAME);
    }
}

#[test]
fn a_shorted_board_reads_its_own_temperature() {
    for (text, board) in [(KILN, 31.0), (FREEZER, 18.0)] {
        let (sheet, ..) = sheet(text, board);
        assert!((sheet.shorted.nominal - board).abs() < 0.3, "{}", sheet.shorted.nominal);
        assert!(sheet.shorted.healthy(board));
    }
}

/// A short is a piece of wire: what a source of 1 kΩ would make of the detection current is not in it, and is, by Ohm's
/// law, where the source is connected.
#[test]
fn a_short_is_not_the_source() {
    let (file, model) = read(KILN);
    let with = |ohms: f64| {
        let mut setup = setup(&file, &model, 23.0);
        setup.source.output_resistance = ohms;
        BenchSheet::new(&model, &setup).unwrap()
    };
    let (good, poor) = (with(0.1), with(1000.0));
    assert!((poor.shorted.nominal - 23.0).abs() < 0.3, "{}", poor.shorted.nominal);
    assert_eq!((good.shorted, good.shorted_output), (poor.shorted, poor.shorted_output));
    assert_eq!(good.shorted_code, poor.shorted_code);
    for (a, b) in good.points.iter().zip(&poor.points) {
        assert_eq!((a.shorted, a.loading.shorted), (b.shorted, b.loading.shorted), "{}", a.label);
    }
    let ohms = |name: &str| model.chain().front_end.value(name).unwrap();
    let pedestal = 2.5 * ohms("R6") / (ohms("R5") + ohms("R6"));
    let current = (3.3 - pedestal) / (ohms("R4") + ohms("R3"));
    for (a, b) in good.injections.iter().zip(&poor.injections) {
        let (_, slope) = model.chain().probe.letter.emf_and_slope_extended(a.celsius);
        let by_hand = current * 999.9 / slope;
        let moved = b.copper.nominal - a.copper.nominal;
        assert!((moved / by_hand - 1.0).abs() < 0.02, "{} °C: {moved} K, by hand {by_hand} K", a.celsius);
    }
    // A wrong decade is told of the same short.
    assert_eq!(
        good.wrong_decades.iter().map(|w| w.shows.iter().filter(|s| s.2).count()).collect::<Vec<_>>(),
        poor.wrong_decades.iter().map(|w| w.shows.iter().filter(|s| s.2).count()).collect::<Vec<_>>()
    );
}

#[test]
fn bands_lie_inside_each_other() {
    for text in [KILN, FREEZER, VOLTMETER] {
        let (sheet, ..) = sheet(text, 23.0);
        let mut all =
            vec![("shorted".to_owned(), sheet.shorted), ("output".to_owned(), sheet.shorted_output)];
        all.extend(sheet.points.iter().flat_map(|p| {
            let open = p.open.map(|e| (format!("{} open", p.label), e));
            [(p.label.clone(), p.shorted), (p.label.clone(), p.normal)].into_iter().chain(open)
        }));
        all.extend(
            sheet
                .injections
                .iter()
                .flat_map(|i| [i.copper, i.wire, i.output].map(|e| (format!("{} °C", i.celsius), e))),
        );
        all.extend(sheet.open.map(|e| ("open".to_owned(), e)));
        assert!(all.len() > 20);
        for (what, e) in all {
            let (b, w, x) = (e.band, e.wide, e.worst);
            assert!(w.0 <= b.0 && b.0 <= b.1 && b.1 <= w.1, "{what} {e:?}");
            assert!(b.0 <= e.nominal && e.nominal <= b.1, "{what} {e:?}");
            // A drawn normal deviation may go beyond the 3 standard deviations of the worst case, all at once never.
            assert!(x.0 <= w.0 + 1e-12 && w.1 <= x.1 + 1e-12, "{what} {e:?}");
        }
    }
}

/// Boards drawn with another seed: the bands must hold as many as they say.
#[test]
fn the_bands_hold_what_they_promise() {
    let (file, model) = read(KILN);
    let first = Setup { boards: 20_000, ..setup(&file, &model, 23.0) };
    let sheet = BenchSheet::new(&model, &first).unwrap();
    let again = BenchSheet::new(&model, &Setup { seed: 77, ..first }).unwrap();
    for (a, b) in sheet.injections.iter().zip(&again.injections) {
        let half = |e: (f64, f64)| 0.5 * (e.1 - e.0);
        // The standard error of a 2.5 % quantile of 20 000 is below 2 % of the half-width, of a 0.05 % one about 5 %.
        assert!((half(a.copper.band) / half(b.copper.band) - 1.0).abs() < 0.04, "{} °C", a.celsius);
        assert!((half(a.copper.wide) / half(b.copper.wide) - 1.0).abs() < 0.15, "{} °C", a.celsius);
    }
    // Same seed, same bytes.
    let same = BenchSheet::new(&model, &Setup { boards: 20_000, ..setup(&file, &model, 23.0) }).unwrap();
    assert_eq!(sheet.csv(model.chain()), same.csv(model.chain()));
}

/// The reference's own test point, worked by hand: 2.5 V ± 0.2 %, 20 ppm/K over 2 K, supply regulation, and a meter of
/// 0.5 % + 2 mV + half a digit of 1 mV.
#[test]
fn the_reference_by_hand() {
    let (sheet, ..) = sheet(KILN, 23.0);
    let point = sheet.points.iter().find(|p| p.what.contains("reference")).unwrap();
    assert!((point.shorted.nominal - point.loading.shorted - 2.5).abs() < 1e-6, "{point:?}");
    // Largest rectangle: the meter's 0.5 %; the others as one normal.
    let rest = |limits: &[f64]| (limits.iter().map(|a| a * a / 3.0).sum::<f64>()).sqrt();
    let sigma = rest(&[0.002 * 2.5, 20e-6 * 2.0 * 2.5, 100e-6 * 0.05 * 3.3, 2e-3, 0.5e-3]);
    let by_hand = icepoint_chain::statistics::error_95(0.0, 0.005 * 2.5, sigma);
    let half = 0.5 * (point.shorted.band.1 - point.shorted.band.0);
    // The rest is not quite normal, and 4000 boards have 2 % of their own.
    assert!((half / by_hand - 1.0).abs() < 0.05, "{half} {by_hand}");
    let worst = 0.005 * 2.5 + 0.002 * 2.5 + 20e-6 * 2.0 * 2.5 + 2.5e-3;
    assert!(point.shorted.worst.1 >= 2.5 + worst && point.shorted.worst.1 < 2.5 + 1.3 * worst);
}

/// With the source in a cool room and the board warm, a mistake between copper and wire is S(board)/S(T) kelvin a kelvin.
#[test]
fn copper_for_wire_is_told() {
    let (file, model) = read(KILN);
    let warm = Setup { room: 20.0, ..setup(&file, &model, 45.0) };
    let sheet = BenchSheet::new(&model, &warm).unwrap();
    let hint = sheet.hints.iter().find(|h| h.mistake.starts_with("copper leads, but")).unwrap();
    // Type N: E(45) − E(20) over the slope at 1100 °C; IEC 60584-1: E(50) 1.340, E(20) 0.525, E(1100) 40.087, E(1050) 38.179.
    let per_kelvin = (40.087 - 38.179) / 50.0;
    let by_hand = (1.340 - 0.525) / 30.0 * 25.0 / per_kelvin;
    assert!(
        (hint.reads - hint.instead_of - by_hand).abs() < 0.5,
        "{} {by_hand}",
        hint.reads - hint.instead_of
    );
    // Both are right where each is used as meant.
    let last = sheet.injections.last().unwrap();
    assert!((last.copper.nominal - last.wire.nominal).abs() < 0.01 && last.copper_volts < last.wire_volts);
}

/// Adding the junction in degrees reads 16 K high for type N at 1100 °C with the board at 55 °C (docs/model.md).
#[test]
fn mistakes_read_what_they_should() {
    let (sheet, ..) = sheet(KILN, 55.0);
    let hint = |start: &str| sheet.hints.iter().find(|h| h.mistake.starts_with(start)).unwrap();
    assert!((hint("reference junction added in degrees").reads - 1116.0).abs() < 0.5);
    assert!(hint("reference junction not added").reads < 1070.0);
    assert!((hint("source off").reads - 55.0).abs() < 0.3);
    assert!(hint("source the wrong way round").reads < 55.0);
    assert!(sheet.hints.iter().filter(|h| h.shows).count() >= 6);
    // The gain resistor and both of the pedestal show; a filter's resistor at rest does not.
    let seen = |designator: &str| -> Vec<bool> {
        let of = sheet.wrong_decades.iter().filter(|w| w.designator == designator);
        of.map(|w| !w.shows.is_empty()).collect()
    };
    for designator in ["RG", "R5", "R6"] {
        assert_eq!(seen(designator), [true, true], "{designator}");
    }
    assert_eq!(seen("R8"), [false, false]);
}

#[test]
fn the_table_is_a_table() {
    for text in [KILN, FREEZER, VOLTMETER] {
        let (sheet, _, model) = sheet(text, 23.0);
        let csv = sheet.csv(model.chain());
        let mut reader = csv::Reader::from_reader(csv.as_bytes());
        let mut rows = 0;
        for record in reader.records() {
            let record = record.unwrap();
            assert_eq!(record.len(), 13);
            for column in 5..12 {
                assert!(record[column].parse::<f64>().unwrap().is_finite(), "{record:?}");
            }
            assert!(record[12].is_empty());
            rows += 1;
        }
        let k = sheet.injections.len();
        // A board that ends in a voltmeter has no code.
        let code = usize::from(sheet.shorted_code.is_some());
        assert_eq!(code == 0, text == VOLTMETER);
        let open = sheet.open.map_or(0, |_| sheet.points.len() + 2 + code);
        assert_eq!(rows, 2 * sheet.points.len() + 2 + code + (3 + code) * k + open);
    }
}

/// A board whose gain resistor was found to be at its limit reads by that much, less its correction.
#[test]
fn a_calibrated_board_is_drawn_as_its_readings_left_it() {
    use icepoint_chain::chain::{Correction, Findings, Found};
    let (file, model) = read(KILN);
    let mut chain = model.chain().clone();
    let id =
        model.imperfections().iter().find(|i| i.id == "RG.tolerance").expect("the gain resistor").id.clone();
    // One direction that the readings saw completely: nothing of it is left to draw.
    let found = Found { id, estimate: 1.0, directions: vec![1.0] };
    chain.findings = Some(Findings { deviations: vec![found], ..Findings::default() });
    chain.correction = Some(Correction { offset: 0.0, gain: 1.001 });
    let calibrated = Model::new(chain).unwrap();
    let mut setup = setup(&file, &model, 23.0);
    setup.meter.input_resistance = NO_LOAD;
    let (before, after) =
        (BenchSheet::new(&model, &setup).unwrap(), BenchSheet::new(&calibrated, &setup).unwrap());
    assert!(!before.calibrated && after.calibrated);
    let (a, b) = (before.injections.last().unwrap(), after.injections.last().unwrap());
    // Second way: the model asked with that one deviation, its constants applied to the rule's own volts.
    let d = calibrated.best_estimate();
    let mut chain = calibrated.chain().clone().with_source(setup.source.output_resistance);
    chain.findings = None;
    let source = Model::new(chain).unwrap();
    let mut scratch = source.scratch();
    let state = source.board_state(23.0, &d, &mut scratch).unwrap();
    let output = source.output_volts(&state, b.copper_volts, false, &mut scratch);
    assert!((output - b.output.nominal).abs() < 1e-8);
    assert!((b.output.nominal - a.output.nominal).abs() > 1e-3);
    let half = |e: (f64, f64)| 0.5 * (e.1 - e.0);
    assert!(
        half(b.copper.band) < 0.9 * half(a.copper.band),
        "{} {}",
        half(b.copper.band),
        half(a.copper.band)
    );
}
