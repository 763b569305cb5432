//! What readings have in common: one thermometer for many temperatures, one at the board on all days, names in any letters.

use icepoint_bench::calibrate::forward::What;
use icepoint_bench::calibrate::readings::Input;
use icepoint_bench::calibrate::simulate::{build, in_use, read};
use icepoint_bench::calibrate::{Calibration, Calibrator, known};
use icepoint_chain::budget::monte_carlo::generator;
use icepoint_chain::chain::Correction;

use crate::bench::{calibrated, with};
use crate::{condition, example};

/// Half-width of the worst point, K.
fn half(c: &Calibration) -> f64 {
    c.band.iter().map(|p| p.half).fold(0.0, f64::max)
}

fn rows(name: &str, temperatures: usize, limit: &str) -> String {
    (0..temperatures).fold(
        "reference,temperature (°C),board (°C),reading (°C),uncertainty (K)\n".to_owned(),
        |text, k| {
            let t = 100.0 + 900.0 * k as f64 / (temperatures - 1) as f64;
            text + &format!("{name},{t:.1},23,{t:.1},{limit}\n")
        },
    )
}

/// Sixty temperatures with one thermometer of ±3 K: as many readings as one likes leave the thermometer's own error. A record
/// with the same limit says the same.
#[test]
fn sixty_temperatures_with_one_thermometer() {
    let (file, model) = with("burnout-kiln", |t| t);
    let (three, sixty) = (
        calibrated(&rows("PRT-A", 3, "3"), &model, &file),
        calibrated(&rows("PRT-A", 60, "3"), &model, &file),
    );
    println!("±3 K: three temperatures ±{:.2} K, sixty ±{:.2} K", half(&three), half(&sixty));
    // 95 % of a rectangle of ±3 K. Where the budget knows the board better than the thermometer, cold, it narrows that; sixty
    // independent errors would leave an eighth of it.
    assert!(half(&sixty) > 0.95 * 3.0);
    for point in &sixty.band {
        assert!(point.standard > 0.5 * 3.0 / 3f64.sqrt(), "{point:?}");
    }
    let record = "\n[references.PRT-A]\nkind = \"thermometer\"\naccuracy = \"±3 K\"\n";
    let (file, model) = with("burnout-kiln", |t| t + record);
    let by_record = calibrated(&rows("PRT-A", 60, ""), &model, &file);
    assert!((half(&by_record) / half(&sixty) - 1.0).abs() < 0.03, "{} {}", half(&by_record), half(&sixty));
    // Without a name they are taken as one, and the report says so.
    let (file, model) = with("burnout-kiln", |t| t);
    let nameless = calibrated(&rows("", 60, "3"), &model, &file);
    assert!((half(&nameless) / half(&sixty) - 1.0).abs() < 1e-9);
    assert!(nameless.cautions.iter().any(|c| c.contains("name no reference")), "{:?}", nameless.cautions);
    assert!(!sixty.cautions.iter().any(|c| c.contains("name no reference")));
}

/// The plan's bath by a name is one bath; without a name it is one at each temperature, as the budget has it.
#[test]
fn the_bath_of_the_plan() {
    let (file, model) = with("freezer", |t| t);
    let text = |name: &str| {
        [-78.0, -60.0, -40.0, -20.0, 0.0]
            .iter()
            .fold("reference,temperature (°C),board (°C),reading (°C)\n".to_owned(), |text, t| {
                text + &format!("{name},{t},23,{t}\n")
            })
    };
    let (one, each) =
        (calibrated(&text("alcohol bath"), &model, &file), calibrated(&text(""), &model, &file));
    let tags = |c: &Calibration| {
        let mut all: Vec<String> =
            c.checked.iter().flat_map(|k| k.condition.errors.iter().map(|e| e.tag.to_string())).collect();
        all.sort();
        all.dedup();
        all
    };
    assert_eq!(tags(&one), ["alcohol bath.temperature"]);
    assert_eq!(tags(&each).len(), 5);
    assert!(half(&one) > half(&each), "{} {}", half(&one), half(&each));
    assert!(
        each.cautions.iter().any(|c| c.contains("bath of the calibration plan at each")),
        "{:?}",
        each.cautions
    );
}

/// Boards read with one thermometer whose error is drawn once for all its temperatures: 95 % of them inside of the band.
#[test]
fn a_shared_limit_is_honest() {
    const BOARDS: u32 = 1000;
    let model = example("freezer");
    let conditions: Vec<_> = [-78.0, -60.0, -40.0, -20.0, 0.0]
        .iter()
        .enumerate()
        .map(|(k, t)| {
            let mut c = condition(&model, Input::Temperature(*t), 23.0, 4, 2 + 4 * k);
            c.reference = "thermometer A".into();
            c.limit = Some(0.5);
            c.errors = known::errors(model.chain(), &c).unwrap();
            c
        })
        .collect();
    let (hot, board) = (&[-70.0, -30.0][..], &[15.0, 30.0][..]);
    let c = Calibrator::new(&model, Correction::NONE, conditions, (hot, board), 0.0).unwrap();
    assert_eq!(c.forward.unknowns.iter().filter(|u| matches!(u.what, What::Reference(_))).count(), 1);
    let mut inside = [0u32; 4];
    for n in 0..BOARDS {
        let mut rng = generator(17, n);
        let as_built = build(&c.forward, 1.0, &mut rng);
        let readings = read(&c.forward, &as_built, &c.noise.per_volt, &mut rng).unwrap();
        let means: Vec<f64> = readings.iter().map(|r| r.iter().sum::<f64>() / r.len() as f64).collect();
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

/// A name is a name: "source #2" and "lab@home" share their errors with other boards like any other.
#[test]
fn names_in_any_letters() {
    let (file, model) = with("burnout-kiln", |t| t);
    let text = |name: &str| {
        format!("reference,injected (mV),board (°C),reading (°C)\n{name},0,23,23.2\n{name},20.613,23,622\n")
    };
    let shared = |name: &str| {
        let found = calibrated(&text(name), &model, &file).findings;
        found.shared.into_iter().map(|s| s.id).collect::<Vec<_>>()
    };
    let plain = shared("source");
    assert!(plain.iter().any(|id| id == "source.gain") && plain.iter().any(|id| id == "source.offset"));
    for name in ["source #2", "lab@home", "a.b#3@4"] {
        let expected: Vec<String> =
            plain.iter().map(|id| id.replace("source.", &format!("{name}."))).collect();
        assert_eq!(shared(name), expected);
    }
    // Through the file, too.
    let c = calibrated(&text("source #2"), &model, &file);
    let record = icepoint_chain::file::Calibrated {
        correction: c.constants,
        findings: c.findings.clone(),
        readings: ("r.csv".into(), "fnv1a-64:0".into()),
    };
    let written = file.with_calibration(&record, &[]).unwrap();
    let again = icepoint_chain::file::parse("kiln.toml", &written).unwrap_or_else(|r| panic!("{r}"));
    let kept = again.calibration.unwrap().findings().unwrap();
    let mut ids: Vec<String> = kept.shared.into_iter().map(|s| s.id).collect();
    let mut expected: Vec<String> = c.findings.shared.iter().map(|s| s.id.clone()).collect();
    ids.sort();
    expected.sort();
    assert_eq!(ids, expected);
}

/// The thermometer at the board is one on all days: a second day's readings don't average its error away, and one of a
/// source's own record is another one.
#[test]
fn one_thermometer_at_the_board() {
    let source = "\n[references.box]\nkind = \"millivolt source\"\nreading_error = \"0.02 %\"\nrange_error = \"5 µV\"\nthermometer = \"±0.1 K\"\n";
    let (file, model) = with("burnout-kiln", |t| t + source);
    let row =
        |name: &str, session: &str| format!("{name},0,23,23.2,{session}\n{name},20.613,23,622,{session}\n");
    let head = "reference,injected (mV),board (°C),reading (°C),session\n";
    let thermometers = |text: String| {
        let c = calibrated(&text, &model, &file);
        let causes = c.spread.causes.iter().filter(|x| x.id.ends_with("thermometer"));
        let mut found: Vec<(String, f64)> =
            causes.map(|x| (x.id.clone(), x.distribution.unwrap().standard() * 3f64.sqrt())).collect();
        found.sort_by(|a, b| a.0.cmp(&b.0));
        found
    };
    let near = |found: Vec<(String, f64)>, expected: &[(&str, f64)]| {
        assert_eq!(found.len(), expected.len(), "{found:?}");
        for ((id, limit), (name, size)) in found.iter().zip(expected) {
            assert!(id == name && (limit - size).abs() < 1e-12, "{found:?}");
        }
    };
    let two_days = format!("{head}{}{}", row("bench", "Monday"), row("bench", "Tuesday"));
    near(thermometers(two_days), &[("thermometer", 0.2)]);
    let two_sources = format!("{head}{}{}", row("bench", "Monday"), row("box", "Tuesday"));
    near(thermometers(two_sources), &[("box.thermometer", 0.1), ("thermometer", 0.2)]);
}
