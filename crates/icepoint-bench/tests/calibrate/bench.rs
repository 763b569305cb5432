//! What stands on the bench: codes of a converter that goes below zero, a source's own resistance, repeats that scatter,
//! names of references, more conditions than can be solved.

use icepoint_bench::calibrate::condition::{Condition, Kind};
use icepoint_bench::calibrate::readings::{Input, Readings, read};
use icepoint_bench::calibrate::{Calibration, CalibrationError, Calibrator, Wishes, calibrate, checks};
use icepoint_chain::Model;
use icepoint_chain::budget::monte_carlo::{draw, generator};
use icepoint_chain::budget::{Study, gum};
use icepoint_chain::chain::Correction;
use icepoint_chain::file::{ChainFile, Refused, Source, parse};
use icepoint_chain::imperfection::Distribution;
use icepoint_chain::resolve::resolve;

use crate::{condition, example, file, given};

pub const AS_IT_IS: Wishes =
    Wishes { taken_with: Correction::NONE, without: Vec::new(), date: None, serial: None };

/// An example with more words in its file.
pub fn with(name: &str, edit: impl Fn(String) -> String) -> (ChainFile, Model) {
    let text = edit(file(name).source.text);
    let file = parse(&format!("{name}.toml"), &text).unwrap_or_else(|r| panic!("{r}"));
    let resolved = resolve(&file).unwrap();
    let values = icepoint_design::values(&resolved).unwrap();
    let model = Model::new(resolved.with_values(&values)).unwrap();
    (file, model)
}

pub fn taken(text: &str, model: &Model, file: &ChainFile) -> Result<Readings, Box<Refused>> {
    read(Source { name: "readings.csv".into(), text: text.into() }, model.chain(), file)
}

pub fn calibrated(text: &str, model: &Model, file: &ChainFile) -> Calibration {
    calibrate(model, &taken(text, model, file).unwrap_or_else(|r| panic!("{r}")), &AS_IT_IS).unwrap()
}

/// A converter from −2.5 V to 2.5 V, codes counted from the lower end by hand: the board's own error is found again.
#[test]
fn codes_of_a_converter_that_goes_below_zero() {
    let (file, model) =
        with("freezer", |t| t.replace("bits = 24", "bits = 24\nspan = [\"-2.5 V\", \"2.5 V\"]"));
    assert_eq!(model.chain().converter.span().0, -2.5);
    let at = [(-78.0, 23.0), (-40.0, 23.0), (0.0, 23.0), (-78.0, 14.0), (0.0, 31.0)];
    let conditions: Vec<Condition> = at
        .iter()
        .enumerate()
        .map(|(k, &(t, b))| condition(&model, Input::Temperature(t), b, 1, 2 + k))
        .collect();
    let c = Calibrator::new(&model, Correction::NONE, conditions, (&[-60.0, -20.0], &[20.0]), 0.0).unwrap();
    // A board that is off by what an offset and a gain of its converter do, everything else at its mean.
    let mut z = vec![0.0; c.forward.unknowns.len()];
    for (unknown, z) in c.forward.unknowns.iter().zip(&mut z) {
        *z = match unknown.id.as_str() {
            "RG.tolerance" | "converter.gain" => 1.2,
            "converter.offset" => -1.0,
            _ => 0.0,
        };
    }
    assert!(z.iter().any(|z| *z != 0.0));
    let mut work = c.forward.work();
    let text = (0..at.len()).fold("temperature (°C),board (°C),code\n".to_owned(), |text, k| {
        let volts = c.forward.output_on(k, k, &z, &mut work).unwrap().converted;
        // 2²⁴ codes over 5 V, the lowest at −2.5 V.
        let code = ((volts + 2.5) / 5.0 * 16_777_216.0).round();
        text + &format!("{},{},{code}\n", at[k].0, at[k].1)
    });
    let codes = calibrated(&text, &model, &file);
    assert!(codes.checked.iter().all(|k| k.condition.kind == Kind::Code && !k.left_out.flagged));
    // And the error that was put in is the error that was found, to what five baths of ±0.3 K can tell.
    let board = c.forward.board_deviations(&z);
    let truth = icepoint_bench::calibrate::band::readings(
        &model,
        &board,
        Correction::NONE,
        &codes.hot,
        &codes.board,
        icepoint_chain::model::ReadingNoise::LeftOut,
    )
    .unwrap();
    for (p, t) in codes.band.iter().zip(truth) {
        assert!((p.found - (t - p.hot)).abs() < p.half, "{p:?} {t}");
    }
}

/// The current through the pull-up of a kiln's input makes its voltage across the source, by Ohm's law.
#[test]
fn a_source_of_a_kilohm_moves_the_reading_by_the_detection_current() {
    let model = example("burnout-kiln");
    let chain = model.chain();
    let ohms = |name: &str| {
        let part = chain.front_end.parts.iter().find(|p| p.designator == name).unwrap();
        part.kind.resistor().unwrap().ohms
    };
    let pedestal = 2.5 * ohms("R6") / (ohms("R5") + ohms("R6"));
    let current = (3.3 - pedestal) / (ohms("R4") + ohms("R3"));
    let input = given(&model, 600.0, 23.0);
    let with = |source: f64, line| {
        let c = condition(&model, input, 23.0, 1, line);
        Condition { source_ohms: Some(source), ..c }
    };
    let c = Calibrator::new(
        &model,
        Correction::NONE,
        vec![with(10.0, 2), with(1010.0, 3)],
        (&[600.0], &[23.0]),
        0.0,
    )
    .unwrap();
    let z = vec![0.0; c.forward.unknowns.len()];
    let mut work = c.forward.work();
    let moved = c.forward.answer(1, &z, &mut work).unwrap() - c.forward.answer(0, &z, &mut work).unwrap();
    let (_, slope) = chain.probe.letter.emf_and_slope_extended(600.0);
    let by_hand = current * 1000.0 / slope;
    println!("1 kΩ moves the reading by {moved:.3} K, by hand {by_hand:.3} K");
    assert!((moved / by_hand - 1.0).abs() < 0.01, "{moved} {by_hand}");
    // A file that says nothing of the source is told what that would do.
    let text = "injected (mV),board (°C),reading (°C)\n0,23,23.2\n20.613,23,600.1\n";
    let silent = calibrated(text, &model, &file("burnout-kiln"));
    assert!(
        silent.cautions.iter().any(|c| c.contains("resistance of the source is not stated")),
        "{:?}",
        silent.cautions
    );
}

/// "terminals shorted" is a piece of wire, whatever the source of the other rows is: the detection current makes its voltage
/// across the source alone.
#[test]
fn terminals_shorted_are_no_source() {
    let record = "\n[references.box]\nkind = \"millivolt source\"\noutput_resistance = \"1 kΩ\"\nreading_error = \"0.02 %\"\nrange_error = \"5 µV\"\n";
    let (file, model) = with("burnout-kiln", |t| t + record);
    let text = "reference,injected (mV),board (°C),reading (°C)\nterminals shorted,,23,23.1\nShort,,23,23.1\nbox,0,23,34.5\n";
    let readings = taken(text, &model, &file).unwrap_or_else(|r| panic!("{r}"));
    assert_eq!(readings.references.len(), 2);
    let c = calibrate(&model, &readings, &AS_IT_IS).unwrap();
    let ohms = |name: &str| model.chain().front_end.value(name).unwrap();
    let pedestal = 2.5 * ohms("R6") / (ohms("R5") + ohms("R6"));
    let current = (3.3 - pedestal) / (ohms("R4") + ohms("R3"));
    let (_, slope) = model.chain().probe.letter.emf_and_slope_extended(29.0);
    let by_hand = current * 999.9 / slope;
    let expected = |k: usize| c.checked[k].condition.mean - c.checked[k].innovation;
    let moved = expected(1) - expected(0);
    assert!((moved / by_hand - 1.0).abs() < 0.02, "{moved} {by_hand}");
    assert_eq!(c.checked[0].condition.errors.len(), 1);
    assert!(!c.cautions.iter().any(|c| c.contains("resistance of the source")), "{:?}", c.cautions);
    // A short has its value: another one beside it is refused.
    let two = taken(&text.replace("shorted,,", "shorted,1,"), &model, &file).unwrap_err();
    assert_eq!(two.problems[0].code, "readings.two_in_row");
}

/// Repeats that scatter five times as much as the noise: seen, in the band, in the file that is written and in its budget.
#[test]
fn scatter_beyond_the_noise_widens_the_band_and_what_is_written() {
    /// Standard deviation that is added to every reading, V at the converter: some twenty steps.
    const ADDED: f64 = 12e-3;
    let model = example("burnout-kiln");
    let at = [(20.0, 23.0), (550.0, 23.0), (1000.0, 23.0)];
    let make = |squares: f64, count: usize| -> Vec<Condition> {
        at.iter()
            .enumerate()
            .map(|(k, &(hot, board))| Condition {
                squares,
                ..condition(&model, given(&model, hot, board), board, count, 2 + count * k)
            })
            .collect()
    };
    let quiet =
        Calibrator::new(&model, Correction::NONE, make(0.0, 30), (&[300.0, 900.0], &[23.0]), 0.0).unwrap();
    let z = vec![0.0; quiet.forward.unknowns.len()];
    let mut work = quiet.forward.work();
    let mut rng = generator(3, 1);
    let mut text = String::from("injected (mV),board (°C),reading (°C)\n");
    for k in 0..at.len() {
        let answer = quiet.forward.answer(k, &z, &mut work).unwrap();
        let Input::Injected(v) = quiet.forward.conditions[k].input else { unreachable!() };
        for _ in 0..30 {
            let off = ADDED * draw(Distribution::Normal(1.0), &mut rng) * quiet.noise.per_volt[k];
            text += &format!("{},23,{:.1}\n", 1e3 * v, answer + off);
        }
    }
    let c = calibrated(&text, &model, &file("burnout-kiln"));
    // 87 degrees of freedom know a standard deviation to 8 %.
    assert!((c.findings.scatter / ADDED - 1.0).abs() < 0.25, "{}", c.findings.scatter);
    assert_eq!(c.findings.scatter, c.scatter.unwrap().extra.sqrt());
    let mut chain = model.chain().clone();
    chain.correction = Some(c.constants);
    chain.findings = Some(c.findings.clone());
    let with = Model::new(chain.clone()).unwrap();
    chain.findings.as_mut().unwrap().scatter = 0.0;
    let without = Model::new(chain).unwrap();
    let budget = |m: &Model| gum::evaluate(&Study::over(m, c.hot.clone(), c.board.clone())).unwrap();
    for ((point, less), band) in budget(&with).iter().zip(budget(&without)).zip(&c.band) {
        // 2 %: sensitivities at the means here, at the estimate there; and directions that say next to nothing are not kept.
        assert!((point.standard / band.standard - 1.0).abs() < 0.02, "{} {band:?}", point.standard);
        assert!(point.standard > 1.05 * less.standard, "{} {}", point.standard, less.standard);
    }
    // The same through the text of the file.
    let record = icepoint_chain::file::Calibrated {
        correction: c.constants,
        findings: c.findings.clone(),
        readings: ("r.csv".into(), "fnv1a-64:0".into()),
    };
    let written = file("burnout-kiln").with_calibration(&record, &[]).unwrap();
    let again = parse("kiln.toml", &written).unwrap_or_else(|r| panic!("{r}"));
    let kept = again.calibration.unwrap().findings().unwrap();
    assert!((kept.scatter / c.findings.scatter - 1.0).abs() < 1e-5);
    // Readings without extra scatter keep the model's noise.
    assert_eq!(
        checks::scatter(&quiet.forward.conditions, &quiet.noise, noise_of(&model)).unwrap().extra,
        0.0
    );
}

fn noise_of(model: &Model) -> icepoint_bench::calibrate::inference::ReadingVariance {
    icepoint_bench::calibrate::inference::ReadingVariance::new(model.imperfections())
}

const BATH: &str = "\n[references.stirred-bath]\nkind = \"dry well\"\naccuracy = \"±0.2 K\"\n";

/// A slip of the pen is refused with the name that was meant; a name of one's own is taken, and told beside records.
#[test]
fn names_of_references() {
    let (file, model) = with("freezer", |t| t + BATH);
    let row = |reference: &str, more: &str| {
        format!(
            "reference,temperature (°C),board (°C),reading (°C),uncertainty (K)\n{reference},-40,23,-39.8,{more}\n"
        )
    };
    for (name, meant) in
        [("stired-bath", "stirred-bath"), ("Ice baht", "ice bath"), ("termometer", "thermometer")]
    {
        let refused = taken(&row(name, "0.3"), &model, &file).unwrap_err();
        let told = &refused.problems[0];
        assert_eq!(told.code, "readings.misspelt_reference", "{refused}");
        assert_eq!(told.help.as_deref(), Some(meant), "{refused}");
    }
    let own = taken(&row("alcohol and dry ice", ""), &model, &file).unwrap();
    assert_eq!(own.cautions.len(), 1, "{:?}", own.cautions);
    assert!(own.references[0].1.is_none());
    let c = calibrate(&model, &own, &AS_IT_IS).unwrap();
    assert!(c.cautions.iter().any(|c| c.contains("name of your own")), "{:?}", c.cautions);
    let record = taken(&row("Stirred-Bath", ""), &model, &file).unwrap();
    assert!(record.cautions.is_empty() && record.references[0].1.is_some());
    let both = taken(&row("stirred-bath", "0.3"), &model, &file).unwrap();
    assert!(both.cautions[0].message.contains("takes the place"), "{:?}", both.cautions);
    // In other capitals it is the same reference, whose error is the same.
    let twice = row("Stirred-Bath", "") + "stirred-bath,-20,23,-19.8,\n";
    assert_eq!(taken(&twice, &model, &file).unwrap().references.len(), 1);
    // Two letters away, where the row says all that is needed: taken, and told. Without that, refused.
    let own = taken(&row("stired bat", "0.3"), &model, &file).unwrap();
    assert!(own.cautions[0].message.contains("and not as stirred-bath"), "{:?}", own.cautions);
    let refused = taken(&row("stired bat", ""), &model, &file).unwrap_err();
    assert_eq!(refused.problems[0].code, "readings.misspelt_reference");
    // A name is refused once, however many rows have it.
    let many = (0..500).fold(row("stired-bath", "0.3"), |t, k| t + &format!("stired-bath,-40,23,{k},0.3\n"));
    let refused = taken(&many, &model, &file).unwrap_err();
    assert_eq!(refused.problems.len(), 1, "{refused}");
    // More names than are told apart, and then a million: refused, and soon.
    let names = (0..100_000).fold(row("A", "0.3"), |t, k| t + &format!("bench {k},-40,23,-40,0.3\n"));
    let refused = taken(&names, &model, &file).unwrap_err();
    assert_eq!(refused.problems[0].code, "readings.too_many_names", "{refused}");
    // A thermometer of which nothing is said is refused, unless the row says how good it is.
    assert_eq!(
        taken(&row("thermometer", ""), &model, &file).unwrap_err().problems[0].code,
        "reference.thermometer_unknown"
    );
    assert!(taken(&row("thermometer", "0.3"), &model, &file).is_ok());
}

/// Two thousand conditions are solved; more are refused at the first that is too many.
#[test]
fn more_conditions_than_can_be_solved() {
    let model = example("burnout-kiln");
    let row =
        |k: usize| format!("0.1,{},{:.1},{}\n", 20 + k / 500, 26.0 + (k / 500) as f64, 5.0 + 1e-3 * k as f64);
    let text = (0..2001)
        .fold("injected (mV),board (°C),reading (°C),uncertainty (µV)\n".to_owned(), |t, k| t + &row(k));
    let readings = taken(&text, &model, &file("burnout-kiln")).unwrap();
    let Err(CalibrationError::Refused(refused)) = calibrate(&model, &readings, &AS_IT_IS) else {
        panic!("taken");
    };
    assert_eq!(refused.problems[0].code, "readings.too_many_conditions", "{refused}");
    println!("{refused}");
}
