//! Drawn front ends, read back from their geometry: what they join, that nothing covers anything, that few wires cross.
//!
//! The netlist that they are compared with is written here from the parts of the front end; the drawing's side of it
//! comes from pins, wires and names alone ([`Drawing::nets`]).

// Helpers of tests may stop the test; the lint knows only the test functions themselves.
#![allow(clippy::expect_used, clippy::panic)]

use icepoint_chain::front_end::{FrontEnd, PartKind};
use icepoint_dossier::schematic::{Drawing, Symbol, Turn, automatic};
use icepoint_dossier::svg::Label;
use proptest::prelude::*;

mod front_ends;

use front_ends::variants::{self, Variant};

fn drawn(front_end: &FrontEnd, converter: bool) -> Drawing {
    automatic(front_end, &front_ends::words(front_end, converter))
}

fn every() -> Vec<(FrontEnd, bool)> {
    front_ends::library().into_iter().chain(front_ends::all()).collect()
}

/// What must hold for any circuit.
fn wrong(front_end: &FrontEnd, converter: bool, drawing: &Drawing) -> Vec<String> {
    let mut told = drawing.disagreements(&front_ends::netlist(front_end, converter));
    told.extend(drawing.faults());
    for wire in drawing.wires() {
        let slanting = |p: &[(f64, f64)]| p[0].0 != p[1].0 && p[0].1 != p[1].1;
        told.extend(wire.windows(2).filter(|p| slanting(p)).map(|p| format!("slanting: {p:?}")));
    }
    told.extend(loose_ends(drawing).into_iter().map(|end| format!("a wire ends in the air at {end:?}")));
    told
}

fn near(a: (f64, f64), b: (f64, f64)) -> bool {
    (a.0 - b.0).abs() < 1e-6 && (a.1 - b.1).abs() < 1e-6
}

fn loose_ends(drawing: &Drawing) -> Vec<(f64, f64)> {
    let pins: Vec<(f64, f64)> =
        drawing.parts().iter().flat_map(|p| p.pins().into_iter().map(|p| p.1).collect::<Vec<_>>()).collect();
    let within = |v: f64, a: f64, b: f64| v >= a.min(b) - 1e-6 && v <= a.max(b) + 1e-6;
    let mut loose = Vec::new();
    for (i, wire) in drawing.wires().iter().enumerate() {
        for end in [wire[0], wire[wire.len() - 1]] {
            let on_wire = drawing.wires().iter().enumerate().any(|(j, other)| {
                let on = |w: &[(f64, f64)]| within(end.0, w[0].0, w[1].0) && within(end.1, w[0].1, w[1].1);
                i != j && other.windows(2).any(on)
            });
            if !on_wire && !pins.iter().any(|p| near(*p, end)) {
                loose.push(end);
            }
        }
    }
    loose
}

#[test]
fn every_front_end_is_drawn_as_it_is() {
    for (front_end, converter) in every() {
        let drawing = drawn(&front_end, converter);
        let told = wrong(&front_end, converter, &drawing);
        assert!(told.is_empty(), "{}:\n{}", front_end.id, told.join("\n"));
    }
}

#[test]
fn hardly_a_wire_crosses_another() {
    // Crossings that a person would draw too; everything that is not listed has none.
    let known = [("three-amplifier-instrumentation", 1)];
    for (front_end, converter) in every() {
        let allowed = known.iter().find(|k| k.0 == front_end.id).map_or(0, |k| k.1);
        let crossings = drawn(&front_end, converter).crossings();
        assert!(crossings <= allowed, "{}: {crossings} crossings, {allowed} are known", front_end.id);
    }
}

/// Smallest distance of two texts beside each other, in drawing units: less reads as one word.
const BETWEEN_WORDS: f64 = 3.0;

/// Parts that stand at a flag although they are feedback, or join two nodes that no amplifier drives.
fn torn(front_end: &FrontEnd, drawing: &Drawing) -> Vec<String> {
    let rails = ["gnd", "supply", "negative", "reference"];
    let flags: Vec<(f64, f64)> =
        drawing.parts().iter().filter(|p| matches!(p.symbol, Symbol::Flag { .. })).map(|p| p.at).collect();
    let amplifiers: Vec<(&String, &String, &String)> = front_end
        .parts
        .iter()
        .filter_map(|p| match &p.kind {
            PartKind::Operational { plus, minus, out, .. }
            | PartKind::Instrumentation { plus, minus, out, .. } => Some((plus, minus, out)),
            _ => None,
        })
        .collect();
    let driven = |n: &String| amplifiers.iter().any(|a| a.2 == n);
    let mut told = Vec::new();
    for part in &front_end.parts {
        let (PartKind::Resistor { a, b, .. } | PartKind::Capacitor { a, b, .. }) = &part.kind else {
            continue;
        };
        if [a, b].iter().any(|n| rails.contains(&n.as_str())) {
            continue;
        }
        let loop_of = |x: &String, y: &String| amplifiers.iter().any(|f| (f.0 == x || f.1 == x) && f.2 == y);
        let together = loop_of(a, b) || loop_of(b, a) || !(driven(a) || driven(b));
        let drawn = drawing.parts().iter().find(|p| p.designator == part.designator);
        let flagged = drawn.is_some_and(|p| p.pins().iter().any(|pin| flags.iter().any(|f| near(*f, pin.1))));
        if together && flagged && !a.starts_with("middle of") && !b.starts_with("middle of") {
            told.push(format!("{} is torn from what it joins", part.designator));
        }
    }
    told
}

/// What a reader would stumble over in one of the options of the library.
fn stumbled_over(variant: &Variant) -> Vec<String> {
    let drawing = automatic(&variant.front_end, &variant.words());
    let mut told = drawing.disagreements(&variant.netlist());
    told.extend(drawing.faults());
    told.extend(loose_ends(&drawing).into_iter().map(|end| format!("a wire ends in the air at {end:?}")));
    told.extend(torn(&variant.front_end, &drawing));
    if drawing.crossings() > 0 {
        told.push(format!("{} crossings", drawing.crossings()));
    }
    let parts = drawing.parts();
    let count = |name: &str| parts.iter().filter(|p| p.designator == name).count();
    let wanted = variant.front_end.test_points.iter().map(|t| t.label.clone());
    let taps = variant.taps.iter().map(|(_, letters)| format!("tap {letters}"));
    told.extend(
        wanted.chain(taps).filter(|name| count(name) != 1).map(|name| format!("{name} is not marked once")),
    );
    let names: Vec<&str> = parts
        .iter()
        .filter_map(|p| match &p.symbol {
            Symbol::Flag { name, .. } | Symbol::Rail { name } | Symbol::RailBelow { name } => {
                Some(name.as_str())
            }
            _ => None,
        })
        .collect();
    for part in parts {
        let (x, y) = part.at;
        let wire_leaves = |way: f64| {
            drawing.wires().iter().flat_map(|w| w.windows(2)).any(|w| {
                let on = (w[0].0 - x).abs() < 1e-6 && (w[1].0 - x).abs() < 1e-6;
                let (top, bottom) = (w[0].1.min(w[1].1), w[0].1.max(w[1].1));
                on && if way < 0.0 {
                    top < y - 1e-6 && bottom >= y - 1e-6
                } else {
                    bottom > y + 1e-6 && top <= y + 1e-6
                }
            })
        };
        let upside_down = match &part.symbol {
            Symbol::Ground | Symbol::RailBelow { .. } => part.turn != Turn::None || wire_leaves(1.0),
            Symbol::Rail { .. } => part.turn != Turn::None || wire_leaves(-1.0),
            Symbol::OpAmp { .. } | Symbol::InstrumentationAmplifier { .. } => part.turn != Turn::None,
            _ => false,
        };
        if upside_down {
            told.push(format!("{:?} at {:?} stands on its head", part.symbol, part.at));
        }
        if let Symbol::Flag { name, .. } = &part.symbol {
            let leaves = ["counts", "to controller"].contains(&name.as_str());
            if !leaves && names.iter().filter(|n| *n == name).count() < 2 {
                told.push(format!("the flag {name} leads nowhere"));
            }
        }
    }
    let picture = drawing.draw("s", "schematic", "");
    let labels: Vec<Label> = picture.labels().to_vec();
    for (i, a) in labels.iter().enumerate() {
        let a = Label { left: a.left - BETWEEN_WORDS, right: a.right + BETWEEN_WORDS, ..a.clone() };
        told.extend(labels[i + 1..].iter().filter(|b| a.overlaps(b)).map(|b| format!("{a:?} touches {b:?}")));
    }
    told
}

#[test]
fn nothing_to_stumble_over_in_any_option_of_any_front_end() {
    let all = variants::all();
    assert!(all.len() > 250, "{}: an option that got lost must not pass", all.len());
    // Two at a time: there are many, and they have nothing to do with each other.
    let half = |first: usize| -> Vec<String> {
        let one = |v: &Variant| {
            stumbled_over(v).into_iter().map(|told| format!("{}: {told}", v.name)).collect::<Vec<_>>()
        };
        all.iter().skip(first).step_by(2).flat_map(one).collect()
    };
    let told = std::thread::scope(|s| {
        let other = s.spawn(|| half(1));
        let mut told = half(0);
        told.extend(other.join().expect("the other half"));
        told
    });
    assert!(told.is_empty(), "{}", told.join("\n"));
}

#[test]
fn every_part_stands_once_and_supplies_point_up() {
    for (front_end, converter) in every() {
        let drawing = drawn(&front_end, converter);
        for part in &front_end.parts {
            let supply = matches!(part.kind, icepoint_chain::front_end::PartKind::Supply { .. });
            let count = drawing.parts().iter().filter(|p| p.designator == part.designator).count();
            assert_eq!(count, usize::from(!supply), "{}: {}", front_end.id, part.designator);
        }
        let x = |name: &str| {
            drawing
                .parts()
                .iter()
                .find(|p| p.designator == name)
                .map(|p| p.at.0)
                .expect("a part of every drawing")
        };
        let leftmost = drawing.parts().iter().map(|p| p.at.0).fold(f64::INFINITY, f64::min);
        assert!(x("TC") <= leftmost + 1e-9, "{}: the thermocouple stands at the left", front_end.id);
        assert!(x(if converter { "ADC" } else { "V" }) > x("TC+"), "{}", front_end.id);
    }
}

#[test]
fn no_text_covers_another_in_the_picture() {
    for (front_end, converter) in every() {
        let picture = drawn(&front_end, converter).draw("s", "schematic", "");
        let labels: Vec<&Label> = picture.labels().iter().collect();
        for (i, a) in labels.iter().enumerate() {
            assert!(a.left >= 0.0 && a.right <= picture.width(), "{}: {a:?}", front_end.id);
            assert!(a.top >= 0.0 && a.bottom <= picture.height(), "{}: {a:?}", front_end.id);
            for b in &labels[i + 1..] {
                assert!(!a.overlaps(b), "{}: {a:?} covers {b:?}", front_end.id);
            }
        }
    }
}

#[test]
fn the_same_circuit_gives_the_same_bytes() {
    let (front_end, converter) = front_ends::all().swap_remove(3);
    let svg = || drawn(&front_end, converter).draw("s", "t", "d").to_file();
    assert_eq!(svg(), svg());
}

#[test]
fn a_wrong_netlist_is_told() {
    let (front_end, converter) = front_ends::all().swap_remove(0);
    let drawing = drawn(&front_end, converter);
    let netlist = front_ends::netlist(&front_end, converter);
    let mut moved = netlist.clone();
    let at = moved.iter().position(|(node, t)| node == "out" && t == "C4").expect("C4 is on out");
    moved[at].0 = "amp".to_owned();
    let told = drawing.disagreements(&moved);
    assert_eq!(told.len(), 4, "two nodes and two nets differ: {told:?}");
    assert!(told[0].starts_with("amp joins"), "{told:?}");
    let mut more = netlist;
    more.push(("out".to_owned(), "D1.K".to_owned()));
    assert_eq!(drawing.disagreements(&more), ["D1.K on out is not in the drawing"]);
}

#[test]
fn notes_tell_networks_and_where_sensors_lie() {
    let svg = |id: &str| {
        let (front_end, converter) =
            front_ends::all().into_iter().find(|f| f.0.id == id).expect("a front end of the list");
        drawn(&front_end, converter).draw("s", "t", "d").to_svg()
    };
    assert!(svg("instrumentation").contains("RN1: R1, R2 in one network"));
    assert!(svg("diode").contains("D1 lies at the terminals, at their temperature"));
}

#[test]
fn what_is_loose_or_covered_is_seen() {
    // The checks themselves: a wire through a symbol, and one that ends in the air.
    let (front_end, converter) = front_ends::all().swap_remove(0);
    let drawing = drawn(&front_end, converter);
    let flags = drawing.parts().iter().filter(|p| matches!(p.symbol, Symbol::Flag { .. })).count();
    assert!(drawing.wires().len() > 10 && flags <= 4);
    let words = front_ends::words(&front_end, converter);
    let long: std::collections::BTreeMap<String, String> =
        words.values.iter().map(|(k, v)| (k.clone(), format!("{v} and a great many words more"))).collect();
    let wide = automatic(&front_end, &icepoint_dossier::schematic::Words { values: long, ..words });
    // Long texts make room for themselves.
    assert_eq!(wide.faults(), Vec::<String>::new());
    assert!(wide.extent().0 > drawing.extent().0);
}

/// A circuit of amplifiers in a row, each with a source, feedback and what else may hang on its nodes.
fn circuit() -> impl Strategy<Value = String> {
    let stage = (0..6_u8, 0..4_u8, any::<bool>());
    let extra = (0..40_u8, 0..40_u8, 0..4_u8);
    (proptest::collection::vec(stage, 1..4), proptest::collection::vec(extra, 0..10), any::<bool>(), 0..3_u8)
        .prop_map(|(stages, extras, negative, leg)| {
            let mut lines = vec!["VS supply 5".to_owned(), "VREF reference 2.5".to_owned()];
            if negative {
                lines.push("VN negative -5".to_owned());
            }
            let mut nodes = vec!["tc_plus".to_owned()];
            let leg = ["gnd", "tc_minus", "n0"][usize::from(leg)];
            if leg != "gnd" {
                nodes.push(leg.to_owned());
                lines.push(format!("R90 {leg} gnd"));
            }
            let (mut r, mut k) = (1, 1);
            let mut from = "tc_plus".to_owned();
            for (i, (form, load, test)) in stages.iter().enumerate() {
                let (a, m, o) = (format!("a{i}"), format!("m{i}"), format!("o{i}"));
                let mut resistor = |lines: &mut Vec<String>, x: &str, y: &str| {
                    lines.push(format!("R{r} {x} {y}"));
                    r += 1;
                };
                match form {
                    0 => lines.push(format!("A{i} {from} {o} {o}")),
                    1 => {
                        resistor(&mut lines, &from, &a);
                        lines.push(format!("A{i} {a} {m} {o}"));
                        resistor(&mut lines, &m, &o);
                        resistor(&mut lines, &m, "gnd");
                        nodes.extend([a, m]);
                    }
                    2 => {
                        resistor(&mut lines, &from, &m);
                        resistor(&mut lines, &m, &o);
                        lines.push(format!("A{i} reference {m} {o}"));
                        nodes.push(m);
                    }
                    3 => {
                        resistor(&mut lines, &from, &a);
                        resistor(&mut lines, &a, &m);
                        lines.push(format!("A{i} {m} {o} {o}"));
                        lines.push(format!("C{k} {a} {o}"));
                        lines.push(format!("C{} {m} gnd", k + 1));
                        k += 2;
                        nodes.extend([a, m]);
                    }
                    4 => {
                        let other = if leg == "gnd" { "reference" } else { leg };
                        resistor(&mut lines, &from, &m);
                        resistor(&mut lines, other, &a);
                        resistor(&mut lines, &a, "gnd");
                        resistor(&mut lines, &m, &o);
                        lines.push(format!("A{i} {a} {m} {o}"));
                        nodes.extend([a, m]);
                    }
                    _ => {
                        let other = if leg == "gnd" { "reference" } else { leg };
                        lines.push(format!("I{i} {from} {other} gnd {o} RG{i}"));
                    }
                }
                if *load == 0 {
                    resistor(&mut lines, &o, &format!("l{i}"));
                    lines.push(format!("C{k} l{i} gnd"));
                    k += 1;
                    nodes.extend([o.clone(), format!("l{i}")]);
                    from = format!("l{i}");
                } else {
                    nodes.push(o.clone());
                    from = o;
                }
                if *test {
                    lines.push(format!("TP{} {from}", i + 1));
                }
            }
            nodes.extend(["gnd", "supply", "reference"].map(str::to_owned));
            for (i, (a, b, kind)) in extras.iter().enumerate() {
                let (a, b) = (&nodes[usize::from(*a) % nodes.len()], &nodes[usize::from(*b) % nodes.len()]);
                if a != b {
                    lines.push(format!("{}{} {a} {b}", ["R", "C", "D", "J"][usize::from(*kind)], 50 + i));
                }
            }
            lines.push(format!("in tc_plus {leg}"));
            lines.push(format!("out {from}"));
            lines.join("\n")
        })
}

#[test]
fn a_tangle_is_drawn_with_flags_rather_than_wrongly() {
    // Found by the property test below.
    let lines = "VS supply 5\nVREF reference 2.5\nVN negative -5\nR90 n0 gnd\nR1 tc_plus m0\nR2 n0 a0\nR3 a0 gnd\nR4 m0 o0
        A0 a0 m0 o0\nR5 o0 a1\nA1 a1 m1 o1\nR6 m1 o1\nR7 m1 gnd\nR8 o1 l1\nC1 l1 gnd\nR9 l1 m2\nR10 m2 o2
        A2 reference m2 o2\nJ50 o0 a0\nR52 a1 m2\nR53 l1 n0\nD54 m2 tc_plus\nin tc_plus n0\nout o2";
    let front_end = front_ends::front_end("tangle", lines);
    let told = drawn(&front_end, true).disagreements(&front_ends::netlist(&front_end, true));
    assert!(told.is_empty(), "{}", told.join("\n"));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, max_shrink_iters: 20, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_circuit_is_drawn_as_it_is(lines in circuit(), converter in any::<bool>()) {
        let front_end = front_ends::front_end("random", &lines);
        let drawing = drawn(&front_end, converter);
        let told = drawing.disagreements(&front_ends::netlist(&front_end, converter));
        prop_assert!(told.is_empty(), "{lines}\n{}", told.join("\n"));
        prop_assert!(loose_ends(&drawing).is_empty(), "{lines}");
    }
}
