//! The example file of readings is invented: a board drawn from the kiln's own prior, read through the model. This test
//! writes it anew with `ICEPOINT_KEEP=1` and otherwise shows that the file that is kept still fits the model.

use std::path::Path;

use icepoint_bench::calibrate::condition::{Condition, trimmed};
use icepoint_bench::calibrate::forward::Forward;
use icepoint_bench::calibrate::inference::Noise;
use icepoint_bench::calibrate::readings::{Input, read};
use icepoint_bench::calibrate::simulate;
use icepoint_bench::calibrate::{Wishes, calibrate};
use icepoint_chain::budget::monte_carlo::generator;
use icepoint_chain::chain::Correction;
use icepoint_chain::file::Source;

use crate::{condition, example, file, given};

const SEED: u64 = 7;
const REPEATS: usize = 4;

/// Three points with the board at 23 °C, one more with the cupboard warm.
const POINTS: &[(f64, f64, &str)] = &[
    (23.0, 23.0, "terminals shorted with copper"),
    (300.0, 23.0, ""),
    (650.0, 23.0, ""),
    (1000.0, 23.0, ""),
    (1000.0, 41.0, "cupboard closed for two hours"),
];

fn text() -> String {
    let model = example("burnout-kiln");
    let conditions: Vec<Condition> = POINTS
        .iter()
        .enumerate()
        .map(|(k, &(hot, board, _))| condition(&model, given(&model, hot, board), board, REPEATS, 1 + k))
        .collect();
    let forward = Forward::new(&model, Correction::NONE, conditions).unwrap();
    let per_volt = Noise::new(&forward, 0.0).unwrap().per_volt;
    let mut rng = generator(SEED, 0);
    let board = simulate::build(&forward, 1.0, &mut rng);
    let readings = simulate::read(&forward, &board, &per_volt, &mut rng).unwrap();
    let mut text = String::from(
        "# Invented: a board drawn from the prior of burnout-kiln.toml, read with a millivolt source at its terminals.\n\
         # Written by crates/icepoint-bench/tests/calibrate/example_readings.rs, seed 7.\n\
         serial,reference,injected (mV),board (°C),reading (°C),repeat,note\n",
    );
    for (k, (point, readings)) in POINTS.iter().zip(&readings).enumerate() {
        let Input::Injected(v) = forward.conditions[k].input else {
            panic!("the kiln is calibrated with millivolts")
        };
        for (n, reading) in readings.iter().enumerate() {
            let mv = trimmed(1e3 * v, 3).replace('−', "-");
            let note = if n == 0 { point.2 } else { "" };
            text += &format!("K-007,source,{mv},{},{reading:.1},{},{note}\n", point.1, n + 1);
        }
    }
    text
}

#[test]
fn the_example_is_what_the_model_gives() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/burnout-kiln-readings.csv");
    if std::env::var_os("ICEPOINT_KEEP").is_some() {
        std::fs::write(&path, text()).unwrap();
    }
    let text = std::fs::read_to_string(&path).unwrap();
    // Nothing disagrees, and the board becomes far better.
    let model = example("burnout-kiln");
    let readings =
        read(Source { name: "burnout-kiln-readings.csv".into(), text }, model.chain(), &file("burnout-kiln"))
            .unwrap();
    assert_eq!((readings.rows.len(), readings.half_digit), (POINTS.len() * REPEATS, 0.05));
    let wishes = Wishes { taken_with: Correction::NONE, without: Vec::new(), date: None, serial: None };
    let c = calibrate(&model, &readings, &wishes).unwrap();
    assert!(c.checked.iter().all(|k| !k.left_out.flagged) && !c.misfit.noticed(), "{:?}", c.misfit);
    assert_eq!(c.findings.serial.as_deref(), Some("K-007"));
    let largest = |f: &dyn Fn(&icepoint_bench::calibrate::band::BandPoint) -> f64| {
        c.band.iter().map(f).fold(0.0, f64::max)
    };
    let (before, after) = (largest(&|p| p.bias_before.abs() + p.half_before), largest(&|p| p.error_95));
    println!("before ±{before:.2} K, after ±{after:.2} K");
    assert!(after < 0.5 * before && after < model.chain().need.accuracy, "{before} {after}");
    // The same readings without the repeats' numbers, semicolons, a byte order mark: the same answer.
    let other = format!("\u{feff}{}", readings.source.text.replace(',', ";"));
    let again =
        read(Source { name: "other".into(), text: other }, model.chain(), &file("burnout-kiln")).unwrap();
    assert_eq!(again.rows.len(), readings.rows.len());
    let d = calibrate(&model, &again, &wishes).unwrap();
    assert_eq!(c.constants, d.constants);
}

/// A million rows are read, brought together and solved, whatever they repeat.
#[test]
fn a_million_rows() {
    let model = example("burnout-kiln");
    let mut text = String::from("injected (mV),board (°C),reading (°C)\n");
    let emf = |t: f64| model.chain().probe.letter.emf_and_slope_extended(t).0;
    for i in 0..1_000_000u32 {
        // A slow ramp that was logged: every row another input.
        let t = 30.0 + f64::from(i) * 1e-3;
        let wiggle = f64::from(i % 7) * 0.1 - 0.3;
        text += &format!("{:.5},23.0,{:.1}\n", 1e3 * (emf(t) - emf(23.0)), t + wiggle);
    }
    let readings =
        read(Source { name: "ramp.csv".into(), text }, model.chain(), &file("burnout-kiln")).unwrap();
    let wishes = Wishes { taken_with: Correction::NONE, without: Vec::new(), date: None, serial: None };
    let c = calibrate(&model, &readings, &wishes).unwrap();
    assert_eq!(c.counts, (1_000_000, 1_000_000));
    // What the solver works on does not grow with the file.
    assert!((1..=2000).contains(&c.checked.len()), "{}", c.checked.len());
}
