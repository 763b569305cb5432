//! What the search promises about the values it gives.

use crate::bench::{example, kiln_but};
use icepoint_chain::front_end::SlotKind;

#[test]
fn open_values_come_from_the_series_asked_for() {
    for (name, old, resistors) in [
        ("burnout-kiln.toml", "E96", "E24"),
        ("burnout-kiln.toml", "E96", "E48"),
        ("freezer.toml", "E96", "E192"),
        ("bench-voltmeter.toml", "E24", "E96"),
        ("bench-voltmeter.toml", "E24", "E12"),
    ] {
        let resolved = example(name)
            .with(&format!("series = \"{old}\""), &format!("series = \"{resistors}\""))
            .resolved();
        let values = icepoint_design::values(&resolved).unwrap();
        let front_end = resolved.with_values(&values).front_end;
        let mut looked_at = 0;
        for slot in &resolved.blueprint.slots {
            let value = front_end.value(&slot.designator).unwrap();
            let series = match slot.kind {
                SlotKind::Resistor => resolved.resistor_series,
                SlotKind::Capacitor => resolved.capacitor_series,
            };
            assert!(
                series.contains(value),
                "{name}: {} = {value} is not in {}",
                slot.designator,
                series.name()
            );
            looked_at += 1;
        }
        assert!(looked_at > 9);
    }
}

#[test]
fn what_the_user_fixed_is_kept() {
    let fixed =
        [("R4", "6.81 MΩ"), ("RG", "1.05 kΩ"), ("R6", "4.99 kΩ"), ("C5", "470 nF"), ("R9", "470 Ω ± 1 %")];
    let resolved = example("burnout-kiln.toml").values(&fixed).resolved();
    let values = icepoint_design::values(&resolved).unwrap();
    for (designator, expected) in
        [("R4", 6.81e6), ("RG", 1050.0), ("R6", 4990.0), ("C5", 470e-9), ("R9", 470.0)]
    {
        let value: f64 = values[designator];
        assert!((value / expected - 1.0).abs() < 1e-12, "{designator}: {value}");
        assert!(!resolved.open.iter().any(|open| open == designator));
    }
    // The search changed something else.
    assert!(["R5", "R7"].iter().all(|name| resolved.open.iter().any(|open| open == name)));
}

/// Both legs of the input: whichever of the two is given, the other is the same.
#[test]
fn twins_are_equal() {
    for (given, value) in [(None, 0.0), (Some("R1"), 2.21e3), (Some("R2"), 2.21e3), (Some("C3"), 22e-9)] {
        let mut text = example("burnout-kiln.toml");
        if let Some(designator) = given {
            text = text.value(designator, if value > 1.0 { "2.21 kΩ" } else { "22 nF" });
        }
        let resolved = text.resolved();
        let front_end = resolved.with_values(&icepoint_design::values(&resolved).unwrap()).front_end;
        for (first, twin) in [("R1", "R2"), ("C2", "C3")] {
            let (a, b) = (front_end.value(first).unwrap(), front_end.value(twin).unwrap());
            assert_eq!(a, b, "{first} and {twin}, {given:?} given");
        }
        if let Some(designator) = given {
            let kept = front_end.value(designator).unwrap();
            assert!((kept / value - 1.0).abs() < 1e-12, "{designator}: {kept}");
        }
    }
}

#[test]
fn nothing_open_is_nothing_searched() {
    let resolved = kiln_but(&[]).resolved();
    assert!(resolved.open.is_empty(), "{:?}", resolved.open);
    let design = icepoint_design::design(resolved, &|_| {}).unwrap();
    assert_eq!(design.tried, 0);
    assert_eq!(design.model.chain().front_end.value("RG"), Some(910.0));
}

/// The same file twice gives the same board.
#[test]
fn the_same_values_again_on_one_thread() {
    for name in ["burnout-kiln.toml", "bench-voltmeter.toml"] {
        let resolved = example(name).resolved();
        let here = icepoint_design::values(&resolved).unwrap();
        let alone = rayon::ThreadPoolBuilder::new().num_threads(1).build().unwrap();
        assert_eq!(alone.install(|| icepoint_design::values(&resolved)).unwrap(), here, "{name}");
    }
}
