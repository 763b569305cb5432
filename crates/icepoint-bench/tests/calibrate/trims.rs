//! Where the trims are turned to: against the thermocouple's table by hand, and against a board whose trims are turned in
//! the whole circuit.

use icepoint_bench::calibrate::readings::Input;
use icepoint_chain::chain::Correction;
use icepoint_chain::model::{Model, ReadingNoise};
use icepoint_chain::trims::Moves;

use crate::bench::{calibrated, with};

/// Both points stand at one board temperature, that of the last reading, and so do their volts.
#[test]
fn two_board_temperatures() {
    let (file, model) = with("bench-voltmeter", |t| t);
    let text = "injected (mV),board (°C),reading (°C),uncertainty (µV)\n0,18,18.3,10\n14.5,33,386,10\n";
    let trims = calibrated(text, &model, &file).trims.unwrap();
    assert_eq!(trims.board, 33.0);
    assert_eq!((trims.zero.input, trims.span.input), (Input::Injected(0.0), Input::Injected(0.0145)));
    // IEC 60584-1, type K: E(33 °C) 1.326 mV; E(385 °C) 15.763 mV and E(386 °C) 15.805 mV, so that 14.5 mV on a board at
    // 33 °C is 386.5 °C. 10 mV/K; the straight line of this board departs from type K by up to 5 K, and before the
    // adjustment by what its parts do: together within 10 K. A board at 18 °C would show 150 mV less with 0 mV.
    let celsius = 385.0 + (14.5 + 1.326 - 15.763) / (15.805 - 15.763);
    for (point, t) in [(trims.zero, 33.0), (trims.span, celsius)] {
        assert!((point.volts - 0.01 * t).abs() < 0.05, "{point:?} {t}");
        assert!((point.now - 0.01 * t).abs() < 0.1, "{point:?} {t}");
    }
    // The same input on a board that stayed at 33 °C gives the same zero but for what the readings told.
    let text = "injected (mV),board (°C),reading (°C),uncertainty (µV)\n0,33,33.3,10\n14.5,33,386,10\n";
    let same = calibrated(text, &model, &file).trims.unwrap();
    assert!((same.zero.volts - trims.zero.volts).abs() < 0.02, "{same:?} {trims:?}");
}

/// Ice is colder than 14.5 mV, whatever the numbers say.
#[test]
fn degrees_and_millivolts_in_order() {
    let (file, model) = with("bench-voltmeter", |t| t);
    let head = "reference,temperature (°C),injected (mV),board (°C),reading (°C),uncertainty\n";
    let (ice, boiling, source) =
        ("ice bath,,,23,0.3,\n", "boiling water 1013 hPa,,,23,100.4,\n", "src,,14.5,23,378,10 µV\n");
    for (rows, zero) in
        [(format!("{head}{ice}{boiling}{source}"), 0.0), (format!("{head}{source}{boiling}"), 100.0)]
    {
        let trims = calibrated(&rows, &model, &file).trims.unwrap();
        let Input::Temperature(t) = trims.zero.input else { panic!("{trims:?}") };
        assert!((t - zero).abs() < 0.5, "{trims:?}");
        assert_eq!(trims.span.input, Input::Injected(0.0145), "{trims:?}");
        assert!(trims.zero.volts < trims.span.volts);
    }
}

/// A board that is off is read, its trims are turned in the whole circuit until the output reads what the report says, and
/// it is read again: it must then read as the constants would have made it, and near the truth.
#[test]
fn trims_turned_in_the_circuit() {
    const BOARD: f64 = 23.0;
    let (file, model) = with("trimmed-bench", |t| t);
    let mut d = model.mean_deviations().to_vec();
    for (d, i) in d.iter_mut().zip(model.imperfections()) {
        let u = i.distribution.standard();
        // Two parts of the gain and one of the zero, all inside of their limits.
        match i.id.as_str() {
            "R3.tolerance" | "R5.tolerance" => *d += u,
            "A1.offset" | "R1.tolerance" => *d -= u,
            _ => {}
        }
    }
    let letter = model.chain().probe.letter;
    let emf = |t: f64| letter.emf_and_slope_extended(t).0;
    let injected = [0.0, 4.0e-3, 14.5e-3];
    // As the board shows a voltage at its terminals with trims at these settings, V: the source's 10 Ω in the probe's place.
    let source = Model::new(model.chain().with_source(10.0)).unwrap();
    let own: Vec<f64> = source
        .imperfections()
        .iter()
        .map(|i| d[model.imperfections().iter().position(|r| r.id == i.id).unwrap()])
        .collect();
    let shows = |settings: &[f64], volts: f64| {
        let mut scratch = source.scratch();
        scratch.settings_mut().copy_from_slice(settings);
        let state = source.board_state(BOARD, &own, &mut scratch).unwrap();
        let output = source.output_volts(&state, volts, false, &mut scratch);
        source.rule_volts(&state, output, &own, ReadingNoise::LeftOut)
    };
    let middle = vec![0.5; source.adjustable().count()];
    let text = injected
        .iter()
        .fold("reference,injected (mV),board (°C),reading (°C),uncertainty (µV)\n".to_owned(), |t, v| {
            t + &format!("src,{},{BOARD},{:.1},1\n", 1e3 * v, 100.0 * shows(&middle, *v))
        });
    let c = calibrated(&text, &model, &file);
    let trims = c.trims.unwrap();
    assert_eq!(trims.board, BOARD);
    // The estimate knows what the board shows now.
    for (point, v) in [(trims.zero, injected[0]), (trims.span, injected[2])] {
        assert!((point.now - shows(&middle, v)).abs() < 1e-3, "{point:?} {}", shows(&middle, v));
    }
    // A technician: each trim by bisection, again and again.
    let order: Vec<&str> = source.adjustable().collect();
    let chain_trims = source.chain().trims.as_ref().unwrap();
    let place = |moves| order.iter().position(|n| Some(*n) == chain_trims.designator(moves)).unwrap();
    let mut settings = middle;
    for _ in 0..12 {
        for (moves, volts, wanted) in
            [(Moves::Zero, injected[0], trims.zero.volts), (Moves::Span, injected[2], trims.span.volts)]
        {
            let k = place(moves);
            let (mut low, mut high) = (0.0, 1.0);
            settings[k] = low;
            let falls = shows(&settings, volts) > wanted;
            for _ in 0..40 {
                settings[k] = 0.5 * (low + high);
                if (shows(&settings, volts) > wanted) != falls {
                    high = settings[k]
                } else {
                    low = settings[k]
                }
            }
        }
    }
    println!("settings {settings:.3?} of {order:?}, constants {:?}", c.constants);
    assert!(settings.iter().all(|s| (0.01..0.99).contains(s)), "{settings:?}");
    let middle = vec![0.5; settings.len()];
    for v in [1.0e-3, 6.0e-3, 10.0e-3, 14.0e-3] {
        let turned = 100.0 * shows(&settings, v);
        let stored = 100.0 * (c.constants.offset + c.constants.gain * shows(&middle, v));
        // The readings were written down to 0.1 °C.
        assert!((turned - stored).abs() < 0.1, "{v} V: {turned} °C turned, {stored} °C by constants");
        // The line departs from type K by some kelvin; the accuracy asked is 5 K.
        let truth = letter.temperature(v + emf(BOARD)).unwrap();
        assert!((turned - truth).abs() < model.chain().need.accuracy, "{turned} {truth}");
    }
    assert!(c.constants != Correction::NONE);
}
