//! Needs that no board can meet: by how much, why, and the best there is.

use crate::bench::example;
use icepoint_chain::budget::Budget;
use icepoint_chain::file;
use icepoint_chain::resolve::resolve;
use icepoint_design::{Design, design};

const TRIALS: (&str, &str) = ("trials = 100000", "trials = 4000");

fn of(text: crate::bench::Text) -> Design {
    design(text.resolved(), &|_| {}).unwrap()
}

fn kiln() -> crate::bench::Text {
    example("burnout-kiln.toml").with(TRIALS.0, TRIALS.1)
}

#[test]
fn the_kiln_is_met_and_says_how_near_it_comes() {
    let design = of(kiln());
    assert!(design.verdict.met(), "{:?}", design.verdict);
    assert!(design.bounds.iter().all(|b| b.used <= 1.0), "{:?}", design.bounds);
    assert!(design.bounds.windows(2).all(|w| w[0].used >= w[1].used), "the limit that binds comes first");
    assert!(
        design.bounds.iter().any(|b| b.what == "accuracy")
            && design.bounds.iter().any(|b| b.what == "settling time")
    );
    assert!(!design.upgrades.is_empty() && design.upgrades.iter().all(|u| u.to < u.from));
    assert!(
        design.upgrades.windows(2).all(|w| w[0].to <= w[1].to * 1.02),
        "best first: {:?}",
        design.upgrades
    );
}

#[test]
fn an_accuracy_out_of_reach_is_missed_by_what_it_says() {
    let design = of(kiln().with("accuracy = \"6 K\"", "accuracy = \"1 K\""));
    assert!(!design.verdict.met());
    assert_eq!(design.verdict.accuracy, 1.0);
    let need = design.model.chain().need;
    assert_eq!(design.verdict.error_95, design.budget.error_95(need.calibration));
    let text = &design.verdict.misses[0];
    let by = format!("{:.2} K too much", design.verdict.error_95 - 1.0);
    assert!(text.contains(&by), "{text} says {by}");
    // The probe's class alone is more than that, and is named first.
    let first = text.split("largest standard contributions: ").nth(1).unwrap();
    assert!(first.starts_with("type N probe, IEC 60584-1 class 1"), "{text}");
    assert!(design.budget.yield_after(need.calibration) < 0.7);
    // The best there is: the same board that the easy need gets, to the sampling of its simulation.
    let easy = of(kiln());
    assert!((design.verdict.error_95 / easy.verdict.error_95 - 1.0).abs() < 0.03);
}

#[test]
fn too_little_time_is_missed_with_its_figures() {
    let design = of(kiln().with("settle_within = \"5 s\"", "settle_within = \"22 ms\""));
    let misses = design.verdict.misses.join("\n");
    let settling = design.bounds.iter().find(|b| b.what == "settling time").unwrap();
    assert!(settling.used > 1.0, "{settling:?}");
    assert!(misses.contains("settling time"), "{misses}");
}

#[test]
fn pick_up_beyond_every_filter_is_missed_with_its_figures() {
    let loud = kiln()
        .with("series_pickup = \"1 mV\"", "series_pickup = \"1 V\"")
        .with("settle_within = \"5 s\"", "settle_within = \"60 ms\"");
    let design = of(loud);
    let misses = design.verdict.misses.join("\n");
    assert!(misses.contains("mains residual"), "{misses}");
}

/// Without calibration the kiln misses, and the verdict says which calibration would do.
#[test]
fn the_calibration_that_would_do_is_named() {
    let design = of(kiln().with("calibration = \"zero and span\"", "calibration = \"none\""));
    let misses = design.verdict.misses.join("\n");
    assert!(misses.contains("calibrating zero and span would bring it to"), "{misses}");
    assert!(design.verdict.error_95 > 6.0);
}

/// A need that fails still has a whole budget and values for everything.
#[test]
fn the_best_found_is_whole() {
    let design = of(kiln().with("accuracy = \"6 K\"", "accuracy = \"0.05 K\""));
    assert!(!design.verdict.met());
    let again: Budget = Budget::new(&design.model, &|_| {}).unwrap();
    let wish = design.model.chain().need.calibration;
    assert_eq!(again.error_95(wish), design.budget.error_95(wish));
    for slot in &design.resolved.blueprint.slots {
        assert!(
            design.model.chain().front_end.value(&slot.designator).is_some_and(|v| v > 0.0),
            "{}",
            slot.designator
        );
    }
}

/// Nothing in the circuit drives a broken sensor anywhere: told, and all else is as good as with the part that would.
#[test]
fn what_no_value_can_meet_spoils_nothing_else() {
    let text = include_str!("two-gains.toml");
    let pulled = text.lines().find(|l| l.starts_with("R10 = ")).expect("the resistor to the rail");
    let of = |text: &str| {
        let mut resolved = resolve(&file::parse("two-gains.toml", text).unwrap()).unwrap();
        resolved.chain.settings.trials = 4000;
        design(resolved, &|_| {}).unwrap()
    };
    let (with, without) = (of(text), of(&text.replace(pulled, "")));
    assert!(with.verdict.met(), "{:?}", with.verdict);
    let misses = &without.verdict.misses;
    assert!(misses.len() == 1 && misses[0].starts_with("broken thermocouple"), "{misses:?}");
    let (a, b) = (with.verdict.error_95, without.verdict.error_95);
    assert!(b < 1.1 * a, "{b} K without it, {a} K with it");
}
