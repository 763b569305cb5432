//! The tracks that are chosen: long enough for 99.9 % of boards, and no shorter one is.

use crate::bench::{Text, example, series};
use crate::drawer::{assert_enough, with_drawer};
use icepoint_chain::budget::Study;
use icepoint_chain::front_end::Values;
use icepoint_chain::resolve::Resolved;
use icepoint_chain::trims::report::{Report, WANTED};
use icepoint_chain::trims::{Reach, tracks};
use icepoint_chain::{Model, quantity::series::Series};
use icepoint_design::Design;
use icepoint_design::levers::levers;

/// Boards of a look, and their seed: not those of the choice.
const LOOK: (u32, u64) = (20_000, 3);
/// Two shares of so many boards may differ by that: four standard errors of a share of 99.9 %.
const BY_CHANCE: f64 = 0.0009;

const TRIMMED: &str = "trimmed-bench.toml";

/// Values that design chose for the example, but for the tracks and the resistors beside them.
const FIXED: [(&str, &str); 5] =
    [("R1", "10 kΩ"), ("R3", "330 kΩ"), ("R6", "180 Ω"), ("R7", "100 MΩ"), ("R8", "10 kΩ")];

fn reached(resolved: &Resolved, values: &Values) -> f64 {
    let model = Model::without_dynamics(resolved.with_values(values)).unwrap();
    Reach::of(&Study::new(&model), LOOK.0, LOOK.1).unwrap().unwrap().reached
}

fn designed(mut resolved: Resolved) -> Design {
    resolved.chain.settings.trials = 1_000;
    icepoint_design::design(resolved, &|_| {}).unwrap()
}

/// For each trim every shorter track with every resistor of the series beside it that leaves the middle near where it was,
/// for resistors of three tolerances.
#[test]
fn no_shorter_track_would_do() {
    for (tolerance, accuracy) in [("1 %", "5 K"), ("1.5 %", "20 K"), ("2 %", "20 K")] {
        let text = example(TRIMMED)
            .values(&FIXED)
            .with(
                "series = \"E24\", tolerance = \"1 %\"",
                &format!("series = \"E24\", tolerance = \"{tolerance}\""),
            )
            .with("accuracy = \"5 K\"", &format!("accuracy = \"{accuracy}\""));
        let resolved = text.resolved();
        let values = icepoint_design::values(&resolved).unwrap();
        println!("{tolerance}: {values:?}");
        assert!(reached(&resolved, &values) >= WANTED - BY_CHANCE, "{tolerance}: {values:?}");
        let mut tried = 0;
        for (trim, beside) in [("RV1", "R5"), ("RV2", "R4")] {
            // Those that are far too short are not worth an hour.
            for shorter in tracks().into_iter().rev().filter(|t| *t < values[trim]).take(2) {
                let middle = values[beside] + 0.5 * (values[trim] - shorter);
                for ohms in series(Series::E24, middle - 0.3 * values[trim], middle + 0.3 * values[trim]) {
                    let mut other = values.clone();
                    other.insert(beside.into(), ohms);
                    other.insert(trim.into(), shorter);
                    let share = reached(&resolved, &other);
                    let said =
                        format!("{tolerance}: {trim} = {shorter} Ω, {beside} = {ohms} Ω do as well: {share}");
                    assert!(share < WANTED + BY_CHANCE, "{said}");
                    tried += 1;
                }
            }
        }
        assert!(tried >= 4, "only {tried}");
    }
}

/// From the drawer: resistors beside the trims are the nearest that are left, and no track grows beyond use.
#[test]
fn trims_beside_parts_of_a_drawer() {
    let csv = include_str!("../../../../examples/drawer.csv");
    let csv: String = csv.lines().filter(|l| !l.contains("amplifier")).flat_map(|l| [l, "\n"]).collect();
    let resolved = with_drawer(example(TRIMMED).resolved(), &csv);
    let drawer = resolved.drawer.clone().unwrap();
    let design = designed(resolved.clone());
    println!("{:?} {:?}", design.values, design.verdict);
    assert!(design.verdict.met(), "{:?}", design.verdict);
    assert!(design.verdict.error_95 < 4.5, "{:?}", design.verdict);
    assert_enough(&resolved, &drawer, &design.fits);
    let trims = design.trims.as_ref().unwrap();
    assert!(trims.reached >= WANTED, "{trims:?}");
    // A tenth of the resistor beside it is what such a trim takes; a track that ran away had fifty times that.
    for (trim, beside) in [("RV1", "R5"), ("RV2", "R4")] {
        assert!(design.values[trim] < design.values[beside], "{:?}", design.values);
    }
}

/// Where nothing beside it can be had, a longer track that would adjust fewer boards is left alone, and the answer is no.
#[test]
fn no_track_does_and_that_is_said() {
    let text = fixed_tracks("2 %").with("RV1 = \"20 kΩ\"\n", "").with("RV2 = \"50 Ω\"\n", "");
    let text = text.with("accuracy = \"5 K\"", "accuracy = \"20 K\"");
    let design = designed(text.resolved());
    let share = design.trims.as_ref().unwrap().reached;
    // Resistors beside the trims are the user's own, and the span is off centre.
    assert!((0.99..WANTED).contains(&share), "{share}");
    assert!(!design.verdict.met());
    let said = design.resolved.assumptions.iter().any(|a| a.contains("no track"));
    assert!(said, "{:?}", design.resolved.assumptions);
    for (trim, _, longer) in [("RV1", "R5", 2), ("RV2", "R4", 2)] {
        for track in tracks().into_iter().filter(|t| *t > design.values[trim]).take(longer) {
            let mut other = design.values.clone();
            other.insert(trim.into(), track);
            assert!(
                reached(&design.resolved, &other) < share + BY_CHANCE,
                "{trim} = {track} Ω would do better"
            );
        }
    }
}

/// The example with every value given and a span trim that is too short.
fn fixed_tracks(tolerance: &str) -> Text {
    example(TRIMMED)
        .values(&FIXED)
        .values(&[("R4", "1.3 kΩ"), ("R5", "36 kΩ"), ("RV1", "20 kΩ"), ("RV2", "50 Ω")])
        .with(
            "series = \"E24\", tolerance = \"1 %\"",
            &format!("series = \"E24\", tolerance = \"{tolerance}\""),
        )
}

/// A board that most people can't adjust does not meet the need, however small its error would be.
#[test]
fn boards_that_can_not_be_adjusted_are_a_miss() {
    let design = designed(fixed_tracks("1 %").with("accuracy = \"5 K\"", "accuracy = \"10 K\"").resolved());
    assert!(design.verdict.error_95 < 10.0);
    let bound = design.bounds.first().unwrap();
    assert_eq!(bound.what, "adjustable boards");
    let share = design.trims.as_ref().unwrap().reached;
    assert!((0.3..0.5).contains(&share), "{share}");
    // As many boards fail as may, so many times.
    assert!((bound.used - (1.0 - share) / 0.001).abs() < 1e-6, "{bound:?}");
    assert!(design.verdict.misses.iter().any(|m| m.starts_with("adjustable boards")), "{:?}", design.verdict);

    // Constants can't bring back what a converter of 10 % gain error cuts off.
    let text = example("burnout-kiln.toml")
        .value("RG", "976 Ω")
        .value("R5", "90.9 kΩ")
        .value("R6", "10 kΩ")
        .with("[calibration_plan]", "[trims]\nmeans = \"constants\"\n[calibration_plan]");
    let mut resolved = text.resolved();
    let good = designed(resolved.clone());
    let of = |design: &Design| design.bounds.iter().find(|b| b.what == "adjustable boards").unwrap().used;
    assert!(of(&good) == 0.0 && good.verdict.met(), "{:?}", good.verdict);
    resolved.chain.converter.gain_error = 0.1;
    let bad = designed(resolved);
    assert!(of(&bad) > 50.0 && bad.trims.is_none(), "{:?}", bad.bounds);
    assert!(!bad.constants.unwrap().suffices());
    assert!(bad.verdict.misses.iter().any(|m| m.starts_with("converter input")), "{:?}", bad.verdict);
}

/// Who turns the zero alone gets one track, and the span stays as built.
#[test]
fn a_zero_trim_alone() {
    let text = example(TRIMMED).with("calibration = \"zero and span\"", "calibration = \"zero\"");
    let design = designed(text.resolved());
    let trims: &Report = design.trims.as_ref().unwrap();
    assert_eq!(trims.trims.len(), 1);
    assert!(trims.reached >= WANTED && !design.values.contains_key("RV2"), "{:?}", design.values);
}

/// The drawer lists potentiometers: tracks are theirs, with their own figures, and no more than there are.
#[test]
fn potentiometers_of_a_drawer() {
    let parts = include_str!("../../../../examples/drawer.csv");
    let parts: String = parts.lines().filter(|l| !l.contains("amplifier")).flat_map(|l| [l, "\n"]).collect();
    let with = |tracks: &str| designed(with_drawer(example(TRIMMED).resolved(), &format!("{parts}{tracks}")));
    let figures = |design: &Design, name: &str| {
        let trims = design.trims.as_ref().unwrap();
        let trim = trims.trims.iter().find(|t| t.designator == name).unwrap();
        (trim.figures.ohms, trim.figures.tolerance, trim.figures.tempco)
    };
    // Without a drawer they are 20 kΩ and 100 Ω; of those the drawer has none.
    let design = with(
        "250 Ω,potentiometer,20 %,250 ppm/K,1,\n22 kΩ,potentiometer,,,0,run out\n25 kΩ,potentiometer,5 %,,2,\n\
         100 kΩ,potentiometer,,,3,\n",
    );
    println!("{:?} {:?}", design.values, design.verdict);
    assert_eq!(figures(&design, "RV1"), (25e3, 0.05, 100e-6));
    assert_eq!(figures(&design, "RV2"), (250.0, 0.2, 250e-6));
    assert!(design.verdict.met() && design.trims.as_ref().unwrap().reached >= WANTED);
    // One is not enough for two trims: the other is bought, and that is said.
    let design = with("200 Ω,potentiometer,,,1,\n");
    assert_eq!((figures(&design, "RV2").0, figures(&design, "RV1").0), (200.0, 20e3));
    let said = design.resolved.assumptions.iter().find(|a| a.contains("potentiometer")).unwrap();
    assert!(said.contains("RV1") && !said.contains("RV2"), "{said}");
}

/// The drawer has nothing near for the resistor beside the zero trim (33 kΩ): bought where that is allowed, so that boards find
/// as much way to either side. No other value is called better there: the trim would take it back.
#[test]
fn the_resistor_beside_a_trim_is_bought_where_the_drawer_has_none_near() {
    let csv = "value,tolerance,tempco,count\n10 kΩ,1 %,50 ppm/K,3\n330 kΩ,1 %,50 ppm/K,2\n1.2 kΩ,1 %,50 ppm/K,4\n\
               33 kΩ,5 %,200 ppm/K,4\n180 Ω,1 %,50 ppm/K,1\n22 Ω,1 %,50 ppm/K,2\n10 MΩ,5 %,,3\n1 µF,10 %,,4\n\
               100 pF,5 %,,2\n";
    let mut resolved = with_drawer(example(TRIMMED).resolved(), csv);
    resolved.worth_buying = Some(0.3);
    let design = designed(resolved);
    println!("{:?} {:?}", design.values, design.verdict);
    assert!(design.verdict.met(), "{:?}", design.verdict);
    let trims = design.trims.as_ref().unwrap();
    assert!(trims.trims[0].nominal.abs() < 0.1, "{trims:?}");
    for place in design.places.iter().filter(|p| ["R4", "R5"].contains(&p.designators[0].as_str())) {
        assert!(place.ideal.is_none() && place.worth_buying.is_none() && place.costs == 0.0, "{place:?}");
    }
    assert_ne!(design.values["R5"], 33e3);
}

const MOULD_OVEN: &str = include_str!("mould-oven.toml");

/// Values with which the mould oven's board reads right, but for zero and span.
const MOULD_OVEN_VALUES: [(&str, &str); 7] = [
    ("R3", "1.33 kΩ"),
    ("R4", "10.7 kΩ"),
    ("R5", "64.9 kΩ"),
    ("R6", "5.36 kΩ"),
    ("R9", "604 Ω"),
    ("R11", "10 kΩ"),
    ("C1", "680 nF"),
];

/// The mould oven with these values instead of limits.
fn mould_oven(values: &[(&str, &str)]) -> String {
    let fixed = |line: &str| {
        let (name, rest) = line.split_once(" = ")?;
        let value = values.iter().find(|(fixed, _)| *fixed == name)?.1;
        let (before, after) = (rest.split("at_least").next()?, rest.split("role").nth(1)?);
        Some(format!("{name} = {before}value = \"{value}\", role{after}\n"))
    };
    MOULD_OVEN.lines().map(|l| fixed(l).unwrap_or_else(|| format!("{l}\n"))).collect()
}

/// Zero and span both move both points, one of them much more than its own: the sensitivities ask for moves of the resistors
/// beside them that drive the converter into its end, and once did (an error of 292 K).
#[test]
fn trims_that_move_each_others_point() {
    let design = designed(Text::new(MOULD_OVEN).resolved());
    println!("{:?} {:?}", design.values, design.verdict);
    let trims = design.trims.as_ref().unwrap();
    assert!(trims.reached >= WANTED && trims.rounds.is_some(), "{trims:?}");
    assert!(design.verdict.met(), "{:?}", design.verdict);
    // The zero moves the other point most.
    assert!(trims.matrix[1][0].abs() > 3.0 * trims.matrix[0][0].abs(), "{:?}", trims.matrix);
}

/// The same with values of the user's own about it: boards can't be put right that way, it is said why, and what is advised
/// does it when it is typed.
#[test]
fn other_trims_are_advised_and_do() {
    let fixed: Vec<_> = MOULD_OVEN_VALUES.into_iter().chain([("R8", "24.9 kΩ")]).collect();
    let design = designed(Text::new(&mould_oven(&fixed)).resolved());
    let said = design.verdict.misses.iter().find(|m| m.starts_with("trims: ")).unwrap();
    println!("{:#?}", design.verdict.misses);
    let named = |key: &str| {
        let after = said.split(&format!("{key} = \"")).nth(1).unwrap();
        after.split('"').next().unwrap().to_owned()
    };
    let (zero, span) = (named("zero"), named("span"));
    // Open are what is turned and R7: all else is as before.
    let open: Vec<_> = MOULD_OVEN_VALUES
        .into_iter()
        .chain([("R8", "24.9 kΩ"), ("R7", "2.61 kΩ"), ("R2", "41.2 kΩ")])
        .filter(|(name, _)| *name != zero && *name != span)
        .collect();
    let text = mould_oven(&open);
    let text = text.replace("zero = \"R7\"", &format!("zero = \"{zero}\""));
    let text = text.replace("span = \"R2\"", &format!("span = \"{span}\""));
    let better = designed(Text::new(&text).resolved());
    println!("{zero} and {span}: {:?} {:?}", better.values, better.verdict);
    assert!(better.verdict.met(), "{:?}", better.verdict);
    assert!(better.verdict.error_95 < 0.8 * design.verdict.error_95, "{:?}", better.verdict);
}

/// What a resistor moves, against the circuit worked out with ideal amplifiers on paper: a gain of 1 + R2/R3, a passive sum
/// with the sensor by R4 and R5, a gain of 1 + R6/(R7 + R8‖R9) about the voltage of the divider R8, R9.
#[test]
fn levers_by_hand() {
    let mut fixed = MOULD_OVEN_VALUES.to_vec();
    fixed.extend([("R7", "2.61 kΩ"), ("R2", "41.2 kΩ"), ("R8", "24.9 kΩ")]);
    let text = mould_oven(&fixed).replace("means = \"adjustable resistors\"\n", "means = \"constants\"\n");
    let text = text.replace("zero = \"R7\"\n", "").replace("span = \"R2\"\n", "");
    let resolved = Text::new(&text).resolved();
    let selection = icepoint_design::search::choose(&resolved).unwrap();
    let levers = levers(&resolved, &selection).unwrap();
    let output = |emf: f64, r: &dyn Fn(&str) -> f64| {
        let first = emf * (1.0 + r("R2") / r("R3"));
        let sensor = 0.5 + 0.01 * 23.0;
        let sum = (first * r("R5") + sensor * r("R4")) / (r("R4") + r("R5"));
        let share = r("R9") / (r("R8") + r("R9"));
        let gain = r("R6") / (r("R7") + share * r("R8"));
        sum * (1.0 + gain) - gain * 2.5 * share
    };
    let letter = icepoint_sensors::Letter::J;
    let emf = |t: f64| letter.emf_and_slope_extended(t).0 - letter.emf_and_slope_extended(23.0).0;
    let mut looked_at = 0;
    for lever in levers.iter().filter(|l| !matches!(l.designator.as_str(), "R1" | "R10" | "R11")) {
        let r = |name: &str| selection.values[name];
        let larger = |name: &str| r(name) * if name == lever.designator { 1.01 } else { 1.0 };
        for (point, celsius) in [50.0, 450.0].into_iter().enumerate() {
            let by_hand = (output(emf(celsius), &larger) - output(emf(celsius), &r)) / 0.004;
            let off = (lever.kelvin[point] - by_hand).abs();
            assert!(off < 0.01 * by_hand.abs() + 0.003, "{lever:?} at {celsius} °C, by hand {by_hand}");
            looked_at += 1;
        }
    }
    assert_eq!(looked_at, 16, "{levers:?}");
}
