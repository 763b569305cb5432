//! Boards with taps for several types: every type must be served, not only the one that the board is designed for.

use std::collections::BTreeMap;

use crate::bench::Text;
use icepoint_chain::taps::SHARE;
use icepoint_design::search::{self, Fit, Join};
use icepoint_design::{Design, design};
use icepoint_sensors::Letter;

const BOARD: &str = r#"[chain]
name = "taps"

[need]
hot = ["0 °C", "350 °C"]
board = ["10 °C", "40 °C"]
accuracy = "8 K"
settle_within = "3 s"
calibration = "zero and span"

[probe]
type = "K"
tolerance = "IEC 60584-1 class 2"

[reference_junction]
method = "analog"
accuracy = "±0.5 K"
sensor_slope = "10 mV/K"
sensor_at_0 = "0 V"

[front_end]
topology = "single-amplifier-taps"
amplifier = "chopper"

[supply]
positive = "5 V ± 2 %"
negative = "-5 V ± 2 %"

[amplifier.chopper]
kind = "operational"
offset_typical = "2 µV"
offset_max = "10 µV"
offset_drift_max = "50 nV/K"
bias_max = "200 pA"
offset_current_max = "400 pA"
open_loop_gain = "120 dB"
bandwidth = "350 kHz"
cmrr = "110 dB"
psrr = "105 dB"
noise = "60 nV/√Hz"
corner = "0 Hz"
current_noise = "10 fA/√Hz"
input_low = "-0.1 V"
input_high = "1.5 V"
output_low = "20 mV"
output_high = "20 mV"

[converter]
kind = "voltmeter"
reading_error = "0.5 %"
range_error = "2 mV"
resolution = "1 mV"
span = ["-6 V", "6 V"]
input_resistance = "10 MΩ"

[readout]
rule = "line"
slope = "10 mV/K"

[parts]
resistors = { series = "E24", tolerance = "1 %", tempco = "100 ppm/K" }
capacitors = { series = "E6", tolerance = "10 %" }

[calibration_plan]
method = "known temperature"
at = ["0 °C", "100 °C"]
board = "23 °C"
bath_accuracy = "±0.2 K"
thermometer = "±0.2 K"
readings = 16

[budget]
trials = 4000
"#;

const ACCURACY: f64 = 8.0;

/// From the voltage sensor to ground.
const DIVIDER: [&str; 6] = ["R5", "R6", "R9", "R10", "R11", "R12"];
/// The types of each tap, in the order of the divider.
const TAPS: [&[Letter]; 5] =
    [&[Letter::E], &[Letter::J], &[Letter::K, Letter::T], &[Letter::N], &[Letter::R, Letter::S]];

fn of(text: Text) -> Design {
    design(text.resolved(), &|_| {}).unwrap()
}

/// Volts per kelvin at each tap, by hand: 10 mV/K times the share of the divider below it.
fn slopes(values: &BTreeMap<String, f64>) -> Vec<f64> {
    let ohms: Vec<f64> = DIVIDER.iter().map(|d| values[*d]).collect();
    let total: f64 = ohms.iter().sum();
    (1..ohms.len()).map(|i| 10e-3 * ohms[i..].iter().sum::<f64>() / total).collect()
}

/// The built-in circuit, designed for type K: every right pair keeps its half of the accuracy, and the divider is by hand
/// what the emf tables of IEC 60584-1 ask.
#[test]
fn a_board_serves_every_type_that_it_has_a_tap_for() {
    let design = of(Text::new(BOARD));
    assert!(design.verdict.met(), "{:?}", design.verdict);
    let right: Vec<_> = design.taps.iter().filter(|t| t.is_right()).collect();
    assert_eq!(right.len(), 7);
    for tap in &right {
        println!("{} with type {}: {:.2} K", tap.node, tap.letter.name(), tap.error);
        assert!(tap.error <= SHARE * ACCURACY && tap.used(ACCURACY) <= 1.0, "{tap:?}");
    }
    let slopes = slopes(&design.values);
    for (letters, slope) in TAPS.iter().zip(&slopes) {
        for letter in *letters {
            let emf = |t: f64| letter.emf_and_slope_extended(t).0;
            let sensitivity = letter.emf_and_slope_extended(175.0).1;
            let by_hand = (0..9)
                .map(|i| 10.0 + 3.75 * f64::from(i))
                .map(|t| ((slope * (t - 25.0) - (emf(t) - emf(25.0))) / sensitivity).abs())
                .fold(0.0, f64::max);
            let told = right.iter().find(|t| t.letter == *letter).unwrap().error;
            assert!(
                (told - by_hand).abs() < 0.03 + 0.02 * by_hand,
                "type {}: {told} K, {by_hand} K",
                letter.name()
            );
        }
    }
    // Between two taps: the difference of the Seebeck coefficients of their types.
    let seebeck = |letters: &[Letter]| {
        letters.iter().map(|l| l.emf_and_slope_extended(25.0).1).sum::<f64>() / letters.len() as f64
    };
    for i in 1..TAPS.len() {
        let (found, wanted) = (slopes[i - 1] - slopes[i], seebeck(TAPS[i - 1]) - seebeck(TAPS[i]));
        println!("between taps {} and {i}: {:.2} µV/K, {:.2} µV/K", i - 1, 1e6 * found, 1e6 * wanted);
        assert!((found - wanted).abs() < 3e-6, "{found} V/K instead of {wanted} V/K");
    }
    let bound = design.bounds.iter().find(|b| b.what == "taps of other types").unwrap();
    assert!(bound.used > 0.0 && bound.used <= 1.0, "{bound:?}");
}

/// A divider that the owner fixed wrong for type J, right for K: the miss names type and tap, the rest stands.
#[test]
fn a_tap_that_does_not_serve_its_type_is_a_miss() {
    let fixed = "[front_end.values]\nR5 = \"100 kΩ ± 1 %\"\nR6 = \"93.1 Ω ± 1 %\"\nR9 = \"820 Ω ± 1 %\"\nR10 = \"147 Ω ± 1 %\"\n\
                 R11 = \"200 Ω ± 1 %\"\nR12 = \"59 Ω ± 1 %\"\n\n[supply]\n";
    let design = of(Text::new(BOARD).with("[supply]\n", fixed));
    assert!(!design.verdict.met());
    let miss = design.verdict.misses.iter().find(|m| m.starts_with("taps of other types: ")).unwrap();
    assert!(miss.contains("for type J on tap_j") && miss.contains("for type E on tap_e"), "{miss}");
    assert!(!miss.contains("type N") && !miss.contains("type K"), "{miss}");
    assert!(miss.contains("of 4.00 K, half of the accuracy asked"), "{miss}");
    assert!(design.verdict.misses.iter().all(|m| !m.starts_with("accuracy")), "{:?}", design.verdict.misses);
}

/// A walk that starts where the taps are wrong looks at the filter again once they are right.
#[test]
fn a_filter_is_not_left_as_it_was_while_the_taps_were_wrong() {
    let file = icepoint_chain::file::parse("three-taps.toml", include_str!("three-taps.toml")).unwrap();
    let mut resolved = icepoint_chain::resolve::resolve(&file).unwrap();
    resolved.chain.settings.trials = 4000;
    let design = icepoint_design::design(resolved, &|_| {}).unwrap();
    assert!(design.verdict.met(), "{:?}", design.verdict);
    assert!(design.verdict.error_95 < 4.0, "{} K", design.verdict.error_95);
}

/// Three taps with everything fixed but for the part between the taps J and K: the type that the board is designed for
/// does not see it.
fn between_two_taps(accuracy: &str, csv: &str) -> icepoint_chain::resolve::Resolved {
    let fixed = "[front_end.values]\nR2 = \"240 kΩ\"\nR3 = \"1 kΩ\"\nR4 = \"20 kΩ\"\nR6 = \"82 Ω\"\nC1 = \"4.7 µF\"\nC2 = \"4.7 µF\"\n\n";
    let text = Text::new(include_str!("three-taps.toml"))
        .with("accuracy = \"8 K\"", &format!("accuracy = \"{accuracy}\""))
        .with("[supply]\n", &format!("{fixed}[supply]\n"));
    crate::drawer::with_drawer(text.resolved(), csv)
}

/// Two parts where they serve the other type, and one that is bought for it.
#[test]
fn pairs_and_purchases_count_for_every_type() {
    let parts = "value,tolerance,tempco,count\n10 Ω,1 %,50 ppm/K,1\n12 Ω,1 %,50 ppm/K,1\n";
    let paired = search::choose(&between_two_taps("8 K", parts)).unwrap();
    println!("{:?}", paired.fits);
    assert!(matches!(paired.fits["R5"], Fit::Two { join: Join::Series, .. }), "{:?}", paired.fits);
    assert!((paired.values["R5"] - 22.0).abs() < 1e-9);
    // One part alone: 1.3 K off for type J, by hand (51.7 − 46.8) µV/K · 15 K / 55 µV/K.
    let parts = "value,tolerance,tempco,count\n12 Ω,1 %,50 ppm/K,1\n";
    let mut resolved = between_two_taps("8 K", parts);
    let kept = search::choose(&resolved).unwrap();
    assert_eq!(kept.values["R5"], 12.0);
    let place = &search::look_at(&resolved, &kept).unwrap()[0];
    println!("{place:?}");
    let worth = place.worth_buying.unwrap();
    // What it saves is in quadrature with the probe's own error of some kelvin.
    assert!((0.1..0.5).contains(&worth.saves) && worth.misses_less == 0.0, "{worth:?}");
    resolved.worth_buying = Some(0.5 * worth.saves);
    let bought = search::choose(&resolved).unwrap().values["R5"];
    assert!((20.0..27.0).contains(&bought), "{bought}");
    resolved.worth_buying = Some(2.0 * worth.saves);
    assert_eq!(search::choose(&resolved).unwrap().values["R5"], 12.0);
    assert_eq!(worth.words(), format!("saves {:.2} K", worth.saves));
    // A tap beyond its limit (half of 2 K) is worth it whatever it saves.
    let mut resolved = between_two_taps("2 K", parts);
    let kept = search::choose(&resolved).unwrap();
    let worth = search::look_at(&resolved, &kept).unwrap()[0].worth_buying.unwrap();
    println!("{}", worth.words());
    assert!(worth.words().starts_with("misses limits by ") && worth.misses_less > 0.0, "{worth:?}");
    resolved.worth_buying = Some(100.0);
    let bought = search::choose(&resolved).unwrap().values["R5"];
    assert!((20.0..27.0).contains(&bought), "{bought}");
}
