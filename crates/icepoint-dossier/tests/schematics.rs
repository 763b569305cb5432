//! The two drawings: what they join, that nothing hangs in the air, and that no text lies on a wire.

// Helpers of tests may stop the test; the lint knows only the test functions themselves.
#![allow(clippy::expect_used)]

use std::collections::BTreeMap;

use icepoint_dossier::schematic::{Drawing, Rails, Symbol, instrumentation, single_amplifier};
use icepoint_dossier::svg::{Label, Picture};

fn filled(designators: &[&str]) -> BTreeMap<String, String> {
    // As wide as values get in these places.
    designators
        .iter()
        .map(|d| ((*d).to_owned(), if d.starts_with('R') { "4.99 kΩ" } else { "100 nF" }.to_owned()))
        .collect()
}

fn single() -> Drawing {
    let mut values = filled(&["R1", "R3", "R4", "R5", "R6", "R7", "R8", "C1", "C2", "C3", "C4", "C5"]);
    values.insert("U1".to_owned(), "10 mV/K".to_owned());
    values.insert("A1".to_owned(), "zero-drift".to_owned());
    single_amplifier(&values, &Rails::default())
}

fn instrument() -> Drawing {
    let mut values = filled(&[
        "R1", "R2", "R3", "R4", "R5", "R6", "R7", "R8", "R9", "RG", "C1", "C2", "C3", "C4", "C5", "C6", "C7",
    ]);
    values.insert("A1".to_owned(), "G = 40".to_owned());
    values.insert("A2".to_owned(), "follower".to_owned());
    values.insert("A3".to_owned(), "follower".to_owned());
    values.insert("ADC".to_owned(), "12 bit".to_owned());
    instrumentation(&values, &Rails::default())
}

/// Nets as lines of text: “name: A1.OUT R1.2 …”.
fn told(drawing: &Drawing) -> Vec<String> {
    drawing
        .nets()
        .into_iter()
        .map(|net| {
            let pins: Vec<String> = net.pins.into_iter().map(|(part, pin)| format!("{part}.{pin}")).collect();
            format!("{}: {}", net.name, pins.join(" "))
        })
        .collect()
}

#[test]
fn single_amplifier_joins_what_it_should() {
    let expected = [
        ": A1.+ C1.1 R1.2",
        ": A1.OUT C2.2 R3.2 R8.1 TP4.1",
        ": A1.− C2.1 R3.1 R4.1",
        ": C3.1 R5.2 R6.1 TC.− TC−.1 TP2.1",
        ": C4.1 OUT.1 R8.2 TP5.1",
        ": R1.1 R7.2 TC.+ TC+.1 TP1.1",
        ": R5.1 TP3.1 U1.OUT",
        "0 V: 0 V.1 A1.V− C1.2 C3.2 C4.2 C5.2 R4.2 R6.2 U1.V−",
        "V+: A1.V+ C5.1 R7.1 U1.V+",
    ];
    assert_eq!(told(&single()), expected);
}

#[test]
fn instrumentation_joins_what_it_should() {
    let expected = [
        ": A1.+ C1.1 C2.1 R1.2",
        ": A1.RG1 RG.1",
        ": A1.RG2 RG.2",
        ": A1.− C1.2 C3.2 R2.2",
        ": A2.+ C4.1 R5.2 R6.1",
        ": A2.V+",
        ": A2.V−",
        ": A3.+ C6.1 R8.2",
        ": A3.OUT A3.− C5.2 R9.1",
        ": A3.V+",
        ": A3.V−",
        ": ADC.IN C7.1 R9.2 TP5.1",
        ": C5.1 R7.2 R8.1",
        ": R1.1 R4.2 TC.+ TC+.1 TP1.1",
        ": R2.1 R3.1 TC.− TC−.1 TP2.1",
        "0 V: A1.V− C2.2 C3.1 C4.2 C6.2 C7.2 R6.2 U1.V−",
        "A1 OUT: A1.OUT R7.1 TP4.1",
        "BIAS: A1.REF A2.OUT A2.− R3.2 TP3.1",
        "V+: A1.V+ R4.1 U1.V+",
        "VREF: ADC.VREF R5.1",
        "counts: ADC.OUT",
        "to controller: U1.OUT",
    ];
    assert_eq!(told(&instrument()), expected);
}

#[test]
fn wires_are_level_or_upright_and_end_on_something() {
    for drawing in [single(), instrument()] {
        let pins: Vec<(f64, f64)> = drawing.parts().iter().flat_map(|p| p.pins()).map(|p| p.1).collect();
        let near = |a: (f64, f64), b: (f64, f64)| (a.0 - b.0).abs() < 1e-6 && (a.1 - b.1).abs() < 1e-6;
        for (i, wire) in drawing.wires().iter().enumerate() {
            for piece in wire.windows(2) {
                assert!(piece[0].0 == piece[1].0 || piece[0].1 == piece[1].1, "slanting wire {wire:?}");
            }
            for end in [wire[0], wire[wire.len() - 1]] {
                let on_pin = pins.iter().any(|p| near(*p, end));
                let on_wire = drawing.wires().iter().enumerate().any(|(j, other)| {
                    i != j
                        && other.windows(2).any(|w| {
                            let within =
                                |v: f64, a: f64, b: f64| v >= a.min(b) - 1e-6 && v <= a.max(b) + 1e-6;
                            within(end.0, w[0].0, w[1].0) && within(end.1, w[0].1, w[1].1)
                        })
                });
                assert!(on_pin || on_wire, "a wire ends in the air at {end:?}");
            }
        }
    }
}

/// Offset of the picture against the grid, found from a text that stands at a known place.
fn offset(drawing: &Drawing, picture: &Picture) -> (f64, f64) {
    let svg = picture.to_svg();
    let part = drawing.parts().iter().find(|p| matches!(p.symbol, Symbol::TestPoint)).expect("a test point");
    let label = picture.labels().iter().find(|l| l.content == part.designator).expect("its label");
    assert!(svg.contains(&part.designator));
    // The label starts 9 units right of the ring, which is 2.5 grid units above the pin.
    (label.left - 9.0 - part.at.0 * 10.0, (label.top + label.bottom) / 2.0 - (part.at.1 - 2.5) * 10.0)
}

#[test]
fn no_text_lies_on_a_wire_or_on_another_text() {
    for drawing in [single(), instrument()] {
        let picture = drawing.draw("s", "schematic", "");
        let (dx, dy) = offset(&drawing, &picture);
        let labels: Vec<Label> = picture
            .labels()
            .iter()
            .map(|l| Label { top: l.top + 2.0, bottom: l.bottom - 2.0, ..l.clone() })
            .collect();
        for label in &labels {
            assert!(label.left >= 0.0 && label.right <= picture.width(), "{label:?}");
            assert!(label.top >= 0.0 && label.bottom <= picture.height(), "{label:?}");
            for wire in drawing.wires() {
                for w in wire.windows(2) {
                    let bounds = Label {
                        content: String::new(),
                        left: w[0].0.min(w[1].0) * 10.0 + dx - 0.5,
                        right: w[0].0.max(w[1].0) * 10.0 + dx + 0.5,
                        top: w[0].1.min(w[1].1) * 10.0 + dy - 0.5,
                        bottom: w[0].1.max(w[1].1) * 10.0 + dy + 0.5,
                    };
                    assert!(!label.overlaps(&bounds), "{label:?} lies on the wire {wire:?}");
                }
            }
        }
        for (i, a) in labels.iter().enumerate() {
            for b in &labels[i + 1..] {
                assert!(!a.overlaps(b), "{a:?} covers {b:?}");
            }
        }
    }
}

#[test]
fn crossing_wires_are_few() {
    // A person would draw these two without any crossing.
    for drawing in [single(), instrument()] {
        let pieces: Vec<[(f64, f64); 2]> = drawing
            .wires()
            .iter()
            .flat_map(|w| w.windows(2).map(|p| [p[0], p[1]]).collect::<Vec<_>>())
            .collect();
        for a in &pieces {
            for b in &pieces {
                let (level, upright) = (a[0].1 == a[1].1, b[0].0 == b[1].0);
                if level && upright {
                    let inside = |v: f64, p: f64, q: f64| v > p.min(q) + 1e-6 && v < p.max(q) - 1e-6;
                    let crosses = inside(b[0].0, a[0].0, a[1].0) && inside(a[0].1, b[0].1, b[1].1);
                    assert!(!crosses, "{a:?} crosses {b:?}");
                }
            }
        }
    }
}

#[test]
fn a_netlist_is_compared_terminal_by_terminal() {
    // The single amplifier as the model builds it.
    let joined = [
        ("tc_plus", "R1 R7 TP1 TC.+"),
        ("in", "R1 C1 A1.+"),
        ("feedback", "R3 R4 C2 A1.−"),
        ("amp", "R3 R8 C2 A1.OUT TP4"),
        ("out", "R8 C4 TP5"),
        ("sensor", "R5 U1.OUT TP3"),
        ("comp", "R5 R6 C3 TP2 TC.−"),
        ("supply", "R7 A1.V+"),
        ("gnd", "R4 R6 C1 C3 C4 A1.V−"),
    ];
    let netlist: Vec<(String, String)> = joined
        .iter()
        .flat_map(|(node, all)| all.split(' ').map(|t| ((*node).to_owned(), t.to_owned())))
        .collect();
    assert_eq!(single().disagreements(&netlist), Vec::<String>::new());

    let mut moved = netlist.clone();
    let at = moved.iter().position(|(node, t)| node == "out" && t == "C4").expect("C4 is on out");
    moved[at].0 = "amp".to_owned();
    let told = single().disagreements(&moved);
    assert_eq!(told.len(), 4, "two nodes and two nets differ: {told:?}");
    assert!(told[0].starts_with("amp joins"), "{told:?}");

    // The instrumentation amplifier as the model builds it.
    let joined = [
        ("tc_plus", "R1 R4 TP1 TC.+"),
        ("tc_minus", "R2 R3 TP2 TC.−"),
        ("in_plus", "R1 C1 C2 A1.+"),
        ("in_minus", "R2 C1 C3 A1.−"),
        ("amp", "A1.OUT R7 TP4"),
        ("bias", "A1.REF A2.OUT A2.− R3 TP3"),
        ("pedestal", "R5 R6 C4 A2.+"),
        ("middle", "R7 R8 C5"),
        ("low_pass", "R8 C6 A3.+"),
        ("filtered", "A3.OUT A3.− C5 R9"),
        ("adc", "R9 C7 TP5 ADC.IN"),
        ("reference", "R5 ADC.VREF"),
        ("supply", "R4 A1.V+"),
        ("gnd", "R6 C2 C3 C4 C6 C7 A1.V−"),
    ];
    let other: Vec<(String, String)> = joined
        .iter()
        .flat_map(|(node, all)| all.split(' ').map(|t| ((*node).to_owned(), t.to_owned())))
        .collect();
    assert_eq!(instrument().disagreements(&other), Vec::<String>::new());

    let mut more = netlist;
    more.push(("out".to_owned(), "D1.K".to_owned()));
    assert_eq!(single().disagreements(&more), ["D1.K on out is not in the drawing"]);
}

#[test]
fn a_negative_supply_takes_the_place_of_ground() {
    let rails = Rails { supply: "5 V".to_owned(), negative: Some("−5 V".to_owned()), reference: None };
    let values = BTreeMap::new();
    assert!(told(&single_amplifier(&values, &rails)).contains(&"−5 V: A1.V−".to_owned()));
    let nets = told(&instrumentation(&values, &rails));
    assert!(nets.contains(&"5 V: A1.V+ ADC.VREF R4.1 R5.1 U1.V+".to_owned()), "{nets:?}");
}

#[test]
fn what_has_no_place_is_told() {
    let mut values = filled(&["R1", "R99"]);
    let rails = Rails { supply: "3.3 V".to_owned(), ..Rails::default() };
    values.insert("C5".to_owned(), "100 nF".to_owned());
    let drawing = single_amplifier(&values, &rails);
    assert_eq!(drawing.unplaced(), ["R99"]);
    let svg = drawing.draw("s", "t", "d").to_svg();
    assert!(svg.contains("4.99 kΩ") && svg.contains("3.3 V") && svg.contains("C5"));
    let empty = single_amplifier(&BTreeMap::new(), &rails).draw("s", "t", "d");
    assert!(empty.height() > 100.0 && !empty.to_svg().contains("C5"));
}
