//! Nothing at the terminals: the divider of pull-up and voltmeter by hand, and the model asked directly.

use icepoint_chain::Model;
use icepoint_chain::front_end::PartKind;
use icepoint_chain::statistics::error_95;

use super::{FREEZER, KILN, VOLTMETER, sheet};

fn ohms(model: &Model, designator: &str) -> f64 {
    let part = model.chain().front_end.parts.iter().find(|p| p.designator == designator).unwrap();
    match &part.kind {
        PartKind::Resistor { figures, .. } => figures.ohms,
        other => panic!("{other:?}"),
    }
}

/// A leg that hangs on a pull-up alone is half of a divider with the meter: V·Rm/(Rm + R), by Ohm's law. Beside it only
/// the 10¹² Ω of each half of the open loop carry a current.
#[test]
fn a_meter_and_a_pull_up_are_a_divider() {
    const INSULATION: f64 = 1e12;
    for (text, pull_up, supply) in [(KILN, "R4", 3.3), (FREEZER, "R4", 3.3), (VOLTMETER, "R7", 5.0)] {
        let (sheet, _, model) = sheet(text, 23.0);
        let (pull, meter) = (ohms(&model, pull_up), sheet.setup.meter.input_resistance);
        let by_hand = supply * meter / (meter + pull);
        let leaks = supply * pull / INSULATION;
        let leg = sheet.points.iter().find(|p| p.label == "TP1").unwrap();
        let seen = leg.open.unwrap();
        assert!((seen.nominal - by_hand).abs() < leaks, "{} {by_hand}", seen.nominal);
        // Without the meter the leg stands at the supply: it takes all of the rest.
        let loading = leg.loading.open.unwrap();
        assert!((loading - (by_hand - supply)).abs() < leaks, "{loading}");
        // Shorted it hangs on milliohms, and the meter can't be seen.
        assert!(leg.loading.shorted.abs() < 1e-3, "{:e}", leg.loading.shorted);
    }
}

/// Kiln, TP1 open: the supply's 5 % and the pull-up's 1 % through the divider, the amplifier's bias current through both
/// resistors, and the meter's 0.5 % + 2 mV + half a digit.
#[test]
fn the_band_of_the_open_leg_by_hand() {
    let (sheet, _, model) = sheet(KILN, 23.0);
    let (pull, meter) = (ohms(&model, "R4"), sheet.setup.meter.input_resistance);
    let share = meter / (meter + pull);
    let volts = 3.3 * share;
    let parallel = pull * share;
    let others = [
        0.01 * volts * (1.0 - share), // R4
        0.005 * volts,
        2e-3,
        0.5e-3,
        500e-12 * parallel,
        0.5 * 300e-12 * parallel,
    ];
    let sigma = (others.iter().map(|a| a * a / 3.0).sum::<f64>()).sqrt();
    let by_hand = error_95(0.0, 0.05 * volts, sigma);
    let open = sheet.points.iter().find(|p| p.label == "TP1").unwrap().open.unwrap();
    let half = 0.5 * (open.band.1 - open.band.0);
    // 4000 boards have 2 % of their own.
    assert!((half / by_hand - 1.0).abs() < 0.05, "{half} {by_hand}");
    let worst = 0.05 * volts + others.iter().sum::<f64>();
    assert!((open.worst.1 - volts - worst).abs() < 0.02 * worst, "{} {worst}", open.worst.1 - volts);
}

/// What the board itself reads and gives then is asked of the model, which knows no meter.
#[test]
fn the_reading_is_what_the_model_says() {
    for text in [KILN, FREEZER, VOLTMETER] {
        let (sheet, _, model) = sheet(text, 23.0);
        let exact = model.open_sensor(23.0).unwrap();
        let open = sheet.open.expect("an answer");
        assert!((open.nominal - exact.celsius).abs() < 1e-6);
        let rails = sheet.points.len() - exact.test_point_volts.len();
        for (point, volts) in sheet.points.iter().skip(rails).zip(&exact.test_point_volts) {
            let seen = point.open.unwrap();
            let loading = point.loading.open.unwrap();
            assert!((seen.nominal - volts - loading).abs() < 1e-9, "{}", point.label);
        }
    }
}
