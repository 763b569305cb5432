//! Adjustable resistors: what they do in the circuit, who can be adjusted by them, and what is left.

use icepoint_chain::budget::monte_carlo::{draw_all, generator};
use icepoint_chain::budget::{Study, gum};
use icepoint_chain::chain::CalibrationWish;
use icepoint_chain::imperfection::{Family, Persistence, SPECIFIED_AT};
use icepoint_chain::trims::report::WANTED;
use icepoint_chain::trims::{Constants, Moves, Report};
use icepoint_chain::{Model, Situation, file, resolve};

const TRIMMED: &str = include_str!("../../../../examples/trimmed-bench.toml");
const KILN: &str = include_str!("../../../../examples/burnout-kiln.toml");
const OWN: &str = include_str!("../../../../examples/own-circuit.toml");

/// Values that design chose for the example, but for the two tracks.
const VALUES: &str = "R1 = \"10 kΩ\"\nR3 = \"330 kΩ\"\nR4 = \"1.3 kΩ\"\nR5 = \"36 kΩ\"\nR6 = \"180 Ω\"\n\
                      R7 = \"100 MΩ\"\nR8 = \"10 kΩ\"\n";

fn model(text: &str) -> Model {
    let file = file::parse("trims.toml", text).unwrap_or_else(|refused| panic!("{refused}\n{text}"));
    Model::without_dynamics(resolve::resolve(&file).unwrap_or_else(|refused| panic!("{refused}")).chain)
        .unwrap()
}

/// The example with tracks of one's own, Ω.
fn trimmed(zero: &str, span: &str) -> Model {
    let values = format!("[front_end.values]\n{VALUES}RV1 = \"{zero}\"\nRV2 = \"{span}\"\n");
    model(&TRIMMED.replace("[front_end.values]\n", &values))
}

/// Offset and gain at 25 °C with trims at these settings.
fn transfer(model: &Model, settings: &[f64]) -> (f64, f64) {
    let mut scratch = model.scratch();
    scratch.settings_mut().copy_from_slice(settings);
    let state = model.board_state(SPECIFIED_AT, model.mean_deviations(), &mut scratch).unwrap();
    (state.offset, state.gain)
}

fn same((a, b): (f64, f64), (c, d): (f64, f64)) {
    // The same circuit with its resistors added up in another order: rounding.
    assert!((a - c).abs() < 1e-9 && (b / d - 1.0).abs() < 1e-9, "{a} {b}, {c} {d}");
}

/// Each form is the circuit with fixed resistors of what the setting gives: 2 Ω at the end and the share of the track.
#[test]
fn a_setting_is_a_fixed_resistor() {
    let board = trimmed("10 kΩ", "200 Ω");
    // Trims in the order of the parts: R4's before R5's.
    assert_eq!(board.adjustable().collect::<Vec<_>>(), ["RV2", "RV1"]);
    let plain = |r4: f64, r5: f64| {
        let values = VALUES.replace("R4 = \"1.3 kΩ\"", &format!("R4 = \"{r4} Ω ± 1 %\""));
        let values = values.replace("R5 = \"36 kΩ\"", &format!("R5 = \"{r5} Ω ± 1 %\""));
        let text = TRIMMED.replace("[front_end.values]\n", &format!("[front_end.values]\n{values}"));
        let (start, rest) = text.split_once("[trims]").unwrap();
        let (_, end) = rest.split_once("[calibration_plan]").unwrap();
        transfer(&model(&format!("{start}[calibration_plan]{end}")), &[])
    };
    same(transfer(&board, &[0.25, 0.9]), plain(1300.0 + 2.0 + 50.0, 36e3 + 2.0 + 9e3));
    same(transfer(&board, &[0.0, 1.0]), plain(1302.0, 36e3 + 2.0 + 10e3));

    // A wiper of its own: both arms, between the stand and ground, load the output of A2 and feed R9.
    let part = |wired: &str| {
        let parts = format!(
            "{wired}\nR9 = {{ kind = \"resistor\", between = [\"w\", \"feedback\"], value = \"100 kΩ\" }}\nC1 ="
        );
        OWN.replacen("C1 =", &parts, 1)
    };
    let track = "RV1 = { kind = \"adjustable resistor\", between = [\"supply\", \"negative\"], wiper = \"w\", value = \"10 kΩ\" }";
    let named = part(track).replace(
        "[supply]",
        "[trims]\nzero = \"RV1\"\nspan = \"R3\"\n[front_end.values]\nRV2 = \"10 kΩ\"\n[supply]",
    );
    let wiper = model(&named);
    let fixed = part(
        "R10 = { kind = \"resistor\", between = [\"supply\", \"w\"], value = \"3002 Ω\", tolerance = \"1 %\" }\n\
         R11 = { kind = \"resistor\", between = [\"w\", \"negative\"], value = \"7002 Ω\", tolerance = \"1 %\" }",
    );
    // The span trim at its end is its 2 Ω in series with R3.
    let mut chain = model(&fixed).chain().clone();
    let r3 = chain.front_end.parts.iter_mut().find(|p| p.designator == "R3").unwrap();
    let ohms = r3.kind.value().unwrap();
    r3.kind.set_value(ohms + 2.0);
    let order: Vec<&str> = wiper.adjustable().collect();
    let settings: Vec<f64> = order.iter().map(|name| if *name == "RV1" { 0.3 } else { 0.0 }).collect();
    same(transfer(&wiper, &settings), transfer(&Model::without_dynamics(chain).unwrap(), &[]));
}

/// A trim on the gain pins: gain = 1 + constant/(RG + trim), by the data sheet's law.
#[test]
fn a_trim_beside_a_gain_resistor() {
    let text = KILN.replace("[calibration_plan]", "[trims]\n[calibration_plan]");
    let board = model(&text);
    let order: Vec<&str> = board.adjustable().collect();
    let settings = |span: f64| -> Vec<f64> {
        order
            .iter()
            .map(|name| match board.chain().trims.as_ref().and_then(|t| t.designator(Moves::Span)) {
                Some(trim) if trim == *name => span,
                _ => 0.5,
            })
            .collect()
    };
    let value = |name: &str| board.chain().front_end.value(name).unwrap();
    let span = board.chain().trims.as_ref().unwrap().designator(Moves::Span).unwrap().to_owned();
    let Some(icepoint_chain::front_end::PartKind::Instrumentation { gain_constant, .. }) =
        board.chain().front_end.part("A1").map(|p| &p.kind)
    else {
        panic!("no A1")
    };
    let gain = |setting: f64| 1.0 + gain_constant / (value("RG") + 2.0 + setting * value(&span));
    let (low, high) = (transfer(&board, &settings(1.0)).1, transfer(&board, &settings(0.0)).1);
    let expected = gain(0.0) / gain(1.0);
    assert!((high / low / expected - 1.0).abs() < 1e-9, "{high} {low} {expected}");
}

/// Who is willing to turn one trim gets one, also where the front end could have both; the span stays what it is.
#[test]
fn a_zero_alone() {
    let asked = TRIMMED.replace("calibration = \"zero and span\"", "calibration = \"zero\"");
    assert_ne!(asked, TRIMMED);
    let values = format!("[front_end.values]\n{VALUES}RV1 = \"20 kΩ\"\n");
    let model = model(&asked.replace("[front_end.values]\n", &values));
    assert_eq!(model.adjustable().collect::<Vec<_>>(), ["RV1"]);
    let study = Study::new(&model);
    let report = Report::of(&study, 2_000, 1).unwrap().unwrap();
    assert_eq!((report.trims.len(), report.trims[0].moves), (1, Moves::Zero));
    assert!(report.reached > 0.99 && report.rounds == Some(1), "{report:?}");
    // After the second point nothing more is turned.
    let mut work = study.work();
    let settings = |wish, work: &mut _| study.adjusted(wish, &study.mean, work).unwrap().settings;
    let (one, both) = (CalibrationWish::Zero, CalibrationWish::ZeroAndSpan);
    assert_eq!(settings(one, &mut work), settings(both, &mut work));
    // A span that is named is meant: the refusal stays.
    let named = asked.replace("means = \"adjustable resistors\"", "span = \"R4\"");
    let refused = file::parse("trims.toml", &named).unwrap_err();
    assert_eq!(refused.problems[0].code, "trims.nobody_turns");
}

/// The settings against a technician who turns one trim after the other, each by bisection, on the whole circuit.
#[test]
fn settings_are_those_that_a_technician_finds() {
    let model = trimmed("20 kΩ", "100 Ω");
    let study = Study::new(&model);
    let mut work = study.work();
    let mut rng = generator(7, 0);
    let mut d = study.mean.clone();
    let mut compared = 0;
    for _ in 0..100 {
        draw_all(&study.imperfections, &mut rng, &mut d);
        let found = study.adjusted(CalibrationWish::ZeroAndSpan, &d, &mut work).unwrap();
        assert!(found.is_reached(), "{found:?}");
        let mut settings = [0.5; 2];
        for _ in 0..6 {
            for k in 0..2 {
                let (mut low, mut high) = (0.0, 1.0);
                settings[k] = low;
                let falls = study.errors_at(settings, &d, &mut work).unwrap()[k] > 0.0;
                for _ in 0..50 {
                    settings[k] = 0.5 * (low + high);
                    let beyond = (study.errors_at(settings, &d, &mut work).unwrap()[k] > 0.0) != falls;
                    if beyond { high = settings[k] } else { low = settings[k] }
                }
            }
        }
        for k in 0..2 {
            // 1e-7 K of a travel of some kelvin.
            assert!((settings[k] - found.settings[k]).abs() < 1e-6, "{settings:?} {found:?}");
            compared += 1;
        }
    }
    assert_eq!(compared, 200);
}

/// Longer tracks adjust more boards; the example's do for 999 of 1000, and a round leaves what the closed form says.
#[test]
fn reach_and_rounds() {
    let of = |zero: &str, span: &str| {
        let model = trimmed(zero, span);
        Report::of(&Study::new(&model), 4_000, 1).unwrap().unwrap()
    };
    let shares: Vec<f64> = ["1 kΩ", "5 kΩ", "20 kΩ"].map(|zero| of(zero, "100 Ω").reached).to_vec();
    assert!(shares.windows(2).all(|w| w[0] < w[1]) && shares[0] < 0.7, "{shares:?}");
    let report = of("20 kΩ", "100 Ω");
    assert!(report.reached >= WANTED && report.by_sensitivities >= WANTED, "{report:?}");
    assert_eq!((report.rounds, report.first), (Some(1), Moves::Zero));
    // Each further round leaves the same share again; boards differ by their tolerances.
    let share = report.left[1][0] / report.left[0][0];
    assert!((share / report.interaction - 1.0).abs() < 0.3, "{share} {}", report.interaction);
    // The zero acts on both points alike; at 0 °C there is hardly an output that a gain could move.
    assert!(report.matrix[0][1].abs() < 0.02 * report.matrix[1][1].abs());
}

/// What comes after the adjustment is in the budget, and nothing of the track's tolerance is.
#[test]
fn the_budget_after_the_adjustment() {
    let model = trimmed("20 kΩ", "100 Ω");
    let study = Study::over(&model, vec![100.0], vec![23.0]);
    let (centre, rows) = gum::contributions(&study).unwrap();
    let of = |wish: CalibrationWish, id: &str| {
        let i = study.imperfections.iter().position(|i| i.id == id).unwrap();
        rows[wish.points()][i]
    };
    let both = CalibrationWish::ZeroAndSpan;
    // Where it was adjusted the nominal board is right, and a fixed resistor's tolerance is gone.
    assert!((centre[both.points()] - 100.0).abs() < 1e-5, "{centre:?}");
    for id in ["R3.tolerance", "R4.tolerance", "R5.tolerance", "RV1.track", "RV2.track", "A1.offset"] {
        assert!(of(CalibrationWish::None, id).abs() > 1e-3, "{id}");
        assert!(of(both, id).abs() < 1e-5, "{id}: {}", of(both, id));
    }
    let report = Report::of(&study, 500, 1).unwrap().unwrap();
    for trim in &report.trims {
        // Rectangular: limit/√3 (JCGM 100, 4.3.7); the zero is turned at 0 °C and acts alike at 100 °C.
        for (id, limit) in [("stability", trim.stability), ("resolution", trim.half_step)] {
            let id = format!("{}.{id}", trim.designator);
            let (found, expected) = (of(both, &id).abs(), limit / 3f64.sqrt());
            // The report's sensitivities are those of the middle; the nominal board ends some per cent of the track beside it.
            assert!((found / expected - 1.0).abs() < 0.05, "{id}: {found} {expected}");
        }
    }
}

/// By hand: the middle of the track changes by ½ · 100 ppm/K · the kelvins between the adjustment and the further end of
/// the board's range (15 °C to 35 °C); adjusted where resistors are specified, at an end, and between.
#[test]
fn a_track_drifts_from_where_it_was_adjusted() {
    for (board, kelvin) in [("25 °C", 10.0), ("15 °C", 20.0), ("23 °C", 12.0), ("35 °C", 20.0)] {
        let values = format!("[front_end.values]\n{VALUES}RV1 = \"20 kΩ\"\nRV2 = \"100 Ω\"\n");
        let text = TRIMMED.replace("[front_end.values]\n", &values);
        let plan = format!("at = [\"0 °C\", \"100 °C\"]\nboard = \"{board}\"\nbath");
        let (start, rest) = text.split_once("at = [\"0 °C\"").unwrap();
        let (_, end) = rest.split_once("bath").unwrap();
        let model = model(&format!("{start}{plan}{end}"));
        let report = Report::of(&Study::new(&model), 500, 1).unwrap().unwrap();
        for (k, trim) in report.trims.iter().enumerate() {
            let by_hand = 0.5 * 100e-6 * kelvin * report.matrix[k][k].abs();
            assert!((trim.tempco / by_hand - 1.0).abs() < 1e-3, "{board}: {} {by_hand}", trim.tempco);
        }
    }
}

/// Without firmware nothing is stored; with it the range of the constants covers what the boards need.
#[test]
fn constants_of_the_kiln() {
    let text = KILN.replace("[calibration_plan]", "[trims]\nmeans = \"constants\"\n[calibration_plan]");
    let model = model(&text);
    let constants = Constants::new(&model).unwrap().unwrap();
    assert!(constants.offset.0 < 0.0 && constants.offset.1 > 0.0, "{constants:?}");
    // A signed number of so many bits reaches both ends, and one bit less does not.
    for (range, step, bits) in [
        (constants.offset, constants.offset_step, constants.offset_bits),
        (constants.gain, constants.gain_step, constants.gain_bits),
    ] {
        let most = range.0.abs().max(range.1.abs()) / step;
        let half = (1u64 << (bits - 1)) as f64;
        assert!(most <= half - 1.0 && most > half / 2.0 - 1.0, "{most} {bits}");
    }
    assert!((0.0..=1.0).contains(&constants.inside));
    // A gain too high for the converter: hardly a board stays inside.
    let hot = model_with_gain(&text);
    assert!(Constants::new(&hot).unwrap().unwrap().inside < 0.01);
}

/// The kiln with three times its gain.
fn model_with_gain(text: &str) -> Model {
    let mut chain = model(text).chain().clone();
    let rg = chain.front_end.parts.iter_mut().find(|p| p.designator == "RG").unwrap();
    let ohms = rg.kind.value().unwrap();
    rg.kind.set_value(ohms / 3.0);
    Model::without_dynamics(chain).unwrap()
}

/// The kiln with values of its own and a converter with so much gain error, constants kept in the firmware.
fn kiln_with(gain_error: f64) -> Model {
    let text = KILN.replace("[calibration_plan]", "[trims]\nmeans = \"constants\"\n[calibration_plan]");
    let text =
        [("RG", "976 Ω"), ("R5", "90.9 kΩ"), ("R6", "10 kΩ")].iter().fold(text, |text, (name, ohms)| {
            let open = format!("\n{name} = \"open\"");
            assert!(text.contains(&open), "{name}");
            text.replace(&open, &format!("\n{name} = \"{ohms}\""))
        });
    let mut chain = model(&text).chain().clone();
    chain.converter.gain_error = gain_error;
    Model::without_dynamics(chain).unwrap()
}

/// Boards that stay inside against what `Model::predict` reads: a junction half a degree hotter or colder must show, and no
/// amplifier may be at a limit. The converter ends where its own gain and reference put its last code, not at its input.
#[test]
fn boards_inside_are_those_that_nothing_clips() {
    let mut shares = Vec::new();
    for gain_error in [0.001, 0.1] {
        let model = kiln_with(gain_error);
        let study = Study::new(&model);
        let mut work = study.work();
        let mut rng = generator(3, 0);
        let mut d = study.mean.clone();
        let need = model.chain().need;
        let mut clipped = 0;
        for board in 0..400 {
            draw_all(&study.imperfections, &mut rng, &mut d);
            for (deviation, imperfection) in d.iter_mut().zip(&study.imperfections) {
                if imperfection.persistence == Persistence::Reading {
                    *deviation = 0.0;
                }
            }
            let own = &d[..model.imperfections().len()];
            let reads = |hot: f64, at: f64| {
                let situation = Situation::at(model.chain(), hot, at);
                model.predict(&Situation { hot, ..situation }, own).unwrap()
            };
            let follows = |hot: f64, at: f64| {
                let reading = reads(hot, at);
                let amplifiers = reading.limits.iter().all(|l| l.what == "converter input");
                let moved = reads(hot + 0.5, at).celsius - reads(hot - 0.5, at).celsius;
                // Half of it is cut off where the converter ends within the half degree: such a board is at the limit.
                (amplifiers && moved > 0.9, amplifiers && moved > 0.1)
            };
            let ends = [need.hot.0, need.hot.1];
            let corners = study.board.iter().flat_map(|at| ends.iter().map(move |hot| (*hot, *at)));
            let (mut surely, mut perhaps) = (true, true);
            for (hot, at) in corners {
                let (yes, may_be) = follows(hot, at);
                (surely, perhaps) = (surely && yes, perhaps && may_be);
            }
            clipped += u32::from(!perhaps);
            let inside = study.stays_inside(&d, &mut work).unwrap();
            if surely == perhaps {
                assert_eq!(inside, surely, "board {board} at a gain error of {gain_error}");
            }
        }
        shares.push(1.0 - f64::from(clipped) / 400.0);
        let constants = Constants::new(&model).unwrap().unwrap();
        // 400 boards against 20 000: five standard errors, and at least a board.
        let p = constants.inside;
        let spread = 5.0 * (p * (1.0 - p) / 400.0).sqrt() + 1.0 / 400.0;
        assert!((shares[shares.len() - 1] - p).abs() < spread, "{shares:?} {p}");
        let used = model.headroom().unwrap();
        let input = used.iter().find(|u| u.what == "converter input").unwrap();
        assert_eq!(input.margin() < 0.0, gain_error > 0.05, "{input:?}");
    }
    assert!(shares[0] == 1.0 && shares[1] < 0.9, "{shares:?}");
}

/// Constants of boards against what `Model::predict` reads at the two points: factor and offset on the thermocouple's volts
/// that turn its readings into the true temperatures. The calibrator is exact here, and nothing changes afterwards.
#[test]
fn constants_put_the_readings_right() {
    let model = kiln_with(0.001);
    let (study, chain) = (Study::new(&model), model.chain());
    let mut work = study.work();
    let mut rng = generator(5, 0);
    let mut d = study.mean.clone();
    let emf = |celsius: f64| chain.probe.letter.emf_and_slope_extended(celsius).0;
    let mut range = (0.0f64, 0.0f64);
    for _ in 0..500 {
        draw_all(&study.imperfections, &mut rng, &mut d);
        // As while it is calibrated: with copper and a source at the terminals, and what comes later is not there yet.
        for (deviation, i) in d.iter_mut().zip(&study.imperfections) {
            let absent = matches!(i.persistence, Persistence::Later | Persistence::Reading)
                || matches!(i.family, Family::Calibration | Family::Probe | Family::Lead);
            if absent || i.persistence == Persistence::Occasion {
                *deviation = 0.0;
            }
        }
        let own = &d[..model.imperfections().len()];
        let read = [0, 1].map(|k| {
            let at = Situation::at(chain, chain.plan.at[k], chain.plan.board);
            emf(model.predict(&at, own).unwrap().celsius)
        });
        let sensed = model.board_state(chain.plan.board, own, &mut model.scratch()).unwrap().sensed_emf;
        let [low, high] = [0, 1].map(|k| emf(chain.plan.at[k]));
        let gain = (high - low) / (read[1] - read[0]);
        let offset = (low - sensed) - gain * (read[0] - sensed);
        let found = study.correction(CalibrationWish::ZeroAndSpan, &d, &mut work).unwrap();
        assert!((found.gain - gain).abs() < 1e-7, "{found:?} {gain}");
        assert!((found.offset - offset).abs() < 1e-9, "{found:?} {offset}");
        range = (range.0.min(gain - 1.0), range.1.max(gain - 1.0));
    }
    // The calibrator's own errors add little to the factor; 500 boards reach almost as far as 999 of 1000.
    let constants = Constants::new(&model).unwrap().unwrap();
    for (mine, theirs) in [(range.0, constants.gain.0), (range.1, constants.gain.1)] {
        assert!((mine / theirs - 1.0).abs() < 0.15, "{range:?} {:?}", constants.gain);
    }
}
