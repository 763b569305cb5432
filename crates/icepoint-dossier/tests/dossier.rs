//! The whole dossier of the three example chains: every printed formula evaluated, the same bytes twice, well-formed,
//! complete.

// Helpers of tests may stop the test; the lint knows only the test functions themselves.
#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used, clippy::disallowed_methods)]

mod arithmetic;
mod front_ends;

use std::path::PathBuf;
use std::sync::OnceLock;

use icepoint_chain::file::{self, ChainFile};
use icepoint_design::Design;
use icepoint_dossier::dossier::{Check, Derivation, derivations, fingerprint};
use icepoint_dossier::{Dossier, dossier};

const EXAMPLES: [&str; 3] = ["burnout-kiln", "bench-voltmeter", "freezer"];
/// Enough for every section; the figures themselves are checked where they are computed.
const TRIALS: u32 = 3000;
/// A printed Student factor of table G.2 has two or three decimals.
const TABLE_G2: f64 = 0.006;
/// Inputs are printed with six digits, zeros at their end left out: such a number looks exact and is off by up to this.
const SIXTH_DIGIT: f64 = 5e-6;

struct Case {
    name: String,
    file: ChainFile,
    design: Design,
    dossier: Dossier,
}

fn text(name: &str) -> String {
    let path =
        PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../examples").join(name).with_extension("toml");
    std::fs::read_to_string(path).expect("an example")
}

fn case(name: &str, text: &str) -> Case {
    let mut file = file::parse(name, text).unwrap_or_else(|r| panic!("{name}: {:?}", r.problems));
    file.budget.trials.value = TRIALS;
    let resolved =
        icepoint_chain::resolve::resolve(&file).unwrap_or_else(|r| panic!("{name}: {:?}", r.problems));
    let design = icepoint_design::design(resolved, &|_| {}).expect("a design");
    let dossier = dossier(&file, &design).expect("a dossier");
    Case { name: name.to_owned(), file, design, dossier }
}

fn examples() -> &'static [Case] {
    static CASES: OnceLock<Vec<Case>> = OnceLock::new();
    CASES.get_or_init(|| EXAMPLES.iter().map(|name| case(name, &text(name))).collect())
}

/// Whether a printed formula explains the model's number, and the printed result is that number.
fn explained(d: &Derivation, letter: icepoint_sensors::Letter) -> Result<(), String> {
    let share = match d.check {
        Check::Exact => 0.0,
        Check::Within(share) => share,
        Check::Simulated => {
            return if d.inputs.is_empty() { Ok(()) } else { Err("inputs without a formula".into()) };
        }
    };
    let (printed, half) = arithmetic::quantity(&d.result);
    if (printed - d.value).abs() > half * (1.0 + 1e-9) {
        return Err(format!("prints {} for {}", d.result, d.value));
    }
    let own = if d.inputs.starts_with("k₉₅") { TABLE_G2 } else { 0.0 };
    for outcome in arithmetic::evaluate(&d.inputs, letter) {
        let allowed = outcome.slack + (share + SIXTH_DIGIT) * d.value.abs() + own;
        if (outcome.value - d.value).abs() > allowed || outcome.value.is_nan() {
            return Err(format!(
                "“{}” gives {}, the model {} (off by {:.2e} of it, allowed {allowed:.2e})",
                d.inputs,
                outcome.value,
                d.value,
                (outcome.value - d.value) / d.value
            ));
        }
    }
    Ok(())
}

#[test]
fn every_printed_formula_gives_the_models_number() {
    for case in examples() {
        let list = derivations(&case.file, &case.design).expect("workings");
        let wrong: Vec<String> = list
            .iter()
            .filter_map(|d| {
                Some(format!("{} {}: {}", case.name, d.id, explained(d, *case.file.probe.letter).err()?))
            })
            .collect();
        assert!(wrong.is_empty(), "{}", wrong.join("\n"));
        for id in [
            "terminal-emf",
            "gain",
            "offset",
            "output",
            "code",
            "step",
            "probe-limit",
            "junction",
            "tempco",
            "contribution-1",
            "contribution-5",
            "quadrature",
            "degrees-of-freedom",
            "coverage-factor",
            "expanded",
            "interval",
            "error-95",
            "yield",
            "mains-series",
            "mains-common",
            "mains-residual",
            "noise",
            "settling",
            "headroom",
        ] {
            assert!(list.iter().any(|d| d.id == id), "{}: no {id}", case.name);
        }
    }
}

/// An inverting low-pass in the kiln's board: its table is there, and every formula still gives the model's number.
#[test]
fn a_low_pass_has_its_table_and_the_formulas_hold() {
    let section = "\n[filter.analog]\npoles = 2\nform = \"multiple-feedback\"\nresponse = \"bessel\"\n";
    let case = case("kiln with a low-pass", &(text("burnout-kiln") + section));
    assert!(case.design.model.nominal_transfer().1 < 0.0);
    let list = derivations(&case.file, &case.design).expect("workings");
    for d in &list {
        if let Err(why) = explained(d, *case.file.probe.letter) {
            panic!("{}: {why}", d.id);
        }
    }
    assert!(case.dossier.html.contains("Poles of the low-pass"));
    assert!(case.dossier.html.contains("The low-pass of many boards"));
    for name in ["low-pass", "low-pass-step"] {
        assert!(case.dossier.pictures.iter().any(|(file, _)| file == name), "no picture {name}");
    }
    // The nominal figures that the page has are those of the model.
    let inserted = case.design.resolved.low_pass.as_ref().unwrap();
    let corner = inserted.corner(&case.design.model);
    let printed = format!("<td class=\"numbers\">{}", icepoint_dossier::number::significant(corner, 3));
    assert!(case.dossier.html.contains(&printed), "{printed}");
    assert!(case.dossier.html.contains("It inverts"));
    assert!(case.dossier.html.contains("R7, R8, C5, C6") || case.dossier.html.contains("A3, R7, R8"));
}

#[test]
fn a_formula_that_does_not_explain_its_number_is_told() {
    let letter = icepoint_sensors::Letter::K;
    let good = Derivation {
        id: "x".into(),
        name: "x".into(),
        formula: "f".into(),
        inputs: "√2 · 1\u{a0}mV · (1 + 50\u{a0}kΩ / 1\u{a0}kΩ)".into(),
        result: "72.12\u{a0}mV".into(),
        value: 0.072_124_891,
        check: Check::Exact,
        source: String::new(),
    };
    assert_eq!(explained(&good, letter), Ok(()));
    let bad_formula = Derivation { inputs: good.inputs.replace("√2", "√3"), ..good.clone() };
    assert!(explained(&bad_formula, letter).is_err());
    let bad_prefix = Derivation { inputs: good.inputs.replace("mV", "µV"), ..good.clone() };
    assert!(explained(&bad_prefix, letter).is_err());
    let bad_print = Derivation { result: "72.13\u{a0}mV".into(), ..good.clone() };
    assert!(explained(&bad_print, letter).is_err());
    // Emf of type K at 100 °C: 4.096 mV in the printed table.
    let two_forms = Derivation {
        inputs: "E(100\u{a0}°C) − E(0\u{a0}°C) = 4.0962\u{a0}mV − 0\u{a0}V".into(),
        result: "4.096\u{a0}mV".into(),
        value: 0.004_096_23,
        check: Check::Within(1e-4),
        ..good
    };
    assert_eq!(explained(&two_forms, letter), Ok(()));
}

#[test]
fn the_same_chain_gives_the_same_bytes() {
    for first in examples() {
        let again = case(&first.name, &text(&first.name));
        assert!(again.dossier.html == first.dossier.html, "{}", first.name);
        assert!(
            again.dossier.parts_csv == first.dossier.parts_csv
                && again.dossier.pictures == first.dossier.pictures
        );
    }
}

/// Elements that HTML ends by themselves.
const VOID: [&str; 3] = ["meta", "link", "br"];

/// Tags nest, attributes are quoted and not doubled, ids are unique.
fn assert_nested(html: &str, name: &str) {
    let mut rest = html.strip_prefix("<!DOCTYPE html>").unwrap_or(html);
    if let Some(after) = rest.strip_prefix("<?xml version=\"1.0\" encoding=\"UTF-8\"?>") {
        rest = after;
    }
    let (mut open, mut ids): (Vec<&str>, Vec<&str>) = (Vec::new(), Vec::new());
    while let Some(at) = rest.find('<') {
        let tag_end = rest[at..].find('>').unwrap_or_else(|| panic!("{name}: a tag ends")) + at;
        let tag = &rest[at + 1..tag_end];
        rest = &rest[tag_end + 1..];
        if let Some(closing) = tag.strip_prefix('/') {
            assert_eq!(open.pop(), Some(closing), "{name}");
            continue;
        }
        let element = tag.split([' ', '/']).next().unwrap_or("");
        for attribute in tag.split(" id=\"").skip(1) {
            let id = attribute.split('"').next().expect("quoted");
            assert!(!ids.contains(&id), "{name}: id {id} twice");
            ids.push(id);
        }
        assert!(tag.matches('"').count().is_multiple_of(2), "{name}: {tag}");
        if element == "style" {
            let end = rest.find("</style>").expect("style ends");
            rest = &rest[end + "</style>".len()..];
        } else if !tag.ends_with('/') && !VOID.contains(&element) {
            open.push(element);
        }
    }
    assert!(open.is_empty(), "{name}: {open:?} left open");
}

/// Words of the page without tags.
fn words(html: &str) -> String {
    let body = &html[html.find("<body>").expect("a body")..];
    let mut out = String::new();
    for piece in body.split('<') {
        out.push(' ');
        out.push_str(piece.split_once('>').map_or(piece, |(_, text)| text));
    }
    out
}

fn assert_sound(case: &Case) {
    let html = &case.dossier.html;
    assert_nested(html, &case.name);
    for (name, svg) in &case.dossier.pictures {
        assert_nested(svg, name);
        assert!(!svg.contains("var(--") && !svg.contains("NaN"), "{name}");
    }
    let addresses = html.replace("xmlns=\"http://www.w3.org/2000/svg\"", "");
    for bad in ["http:", "https:", "url(", "@import", "<script", " src=", "NaN"] {
        assert!(!addresses.contains(bad), "{}: {bad}", case.name);
    }
    let words = words(html);
    for word in words.split(|c: char| !c.is_alphanumeric()) {
        assert!(!["inf", "NaN", "None", "Some", "nan"].contains(&word), "{}: {word}", case.name);
    }
    // A hyphen is no minus sign.
    for (at, _) in words.match_indices(" -") {
        assert!(
            !words[at + 2..].starts_with(|c: char| c.is_ascii_digit()),
            "{}: {}",
            case.name,
            &words[at..at + 30.min(words.len() - at)]
        );
    }
    for point in &case.design.model.chain().front_end.test_points {
        assert!(
            words.contains(&point.label) && words.contains(&point.what),
            "{}: {}",
            case.name,
            point.label
        );
    }
    for assumption in &case.file.assumptions {
        assert!(words.contains(&assumption.key), "{}: {}", case.name, assumption.key);
    }
}

#[test]
fn pages_are_sound_and_complete() {
    let headings = [
        "The answer",
        "The need",
        "Schematic",
        "Error over hot and board temperature",
        "Error against hot temperature",
        "Who causes it",
        "What an upgrade would buy, and what binds",
        "Yield and spread",
        "Filter, settling, noise",
        "Reference junction and a broken sensor",
        "Voltages to expect",
        "Firmware",
        "Parts list",
        "Cautions",
        "Assumptions",
        "The working",
        "How it was computed",
    ];
    for case in examples() {
        assert_sound(case);
        let html = &case.dossier.html;
        let mut from = 0;
        for heading in headings {
            let at = html[from..].find(&format!("</span> {heading}</h2>"));
            from += at.unwrap_or_else(|| panic!("{}: {heading} in its place", case.name));
        }
        let page = words(html);
        let print = format!("{:016x}", fingerprint(&case.file.source.text));
        assert!(page.contains(&print) && page.contains("must not") | page.contains("not a safety cut-out"));
        let verdict = &case.design.verdict;
        assert_eq!(page.contains("The need is met."), verdict.met(), "{}", case.name);
        assert!(
            page.contains(&format!("±{:.2}\u{a0}K", verdict.error_95)) || case.design.verdict.error_95 < 0.01
        );
        // A voltmeter has no firmware, and so no picture of its error.
        let firmware = usize::from(case.name != "bench-voltmeter");
        assert_eq!(case.dossier.pictures.len(), 9 + firmware, "{}", case.name);
    }
}

#[test]
fn the_parts_list_holds_every_part_once() {
    for case in examples() {
        let mut reader = csv::Reader::from_reader(case.dossier.parts_csv.as_bytes());
        let mut listed: Vec<String> = Vec::new();
        for record in reader.records() {
            let record = record.expect("as many fields as the header");
            let here: Vec<String> = record[0].split(' ').map(str::to_owned).collect();
            assert_eq!(here.len().to_string(), record[1], "{}: {record:?}", case.name);
            listed.extend(here);
        }
        let mut once = listed.clone();
        once.sort();
        once.dedup();
        assert_eq!(once.len(), listed.len(), "{}: one part twice", case.name);
        for part in &case.design.model.chain().front_end.parts {
            let supply = matches!(part.kind, icepoint_chain::front_end::PartKind::Supply { .. });
            assert_eq!(listed.contains(&part.designator), !supply, "{}: {}", case.name, part.designator);
        }
        for designator in &listed {
            assert!(words(&case.dossier.html).contains(designator.as_str()));
        }
    }
}

/// Whoever picks parts by the list takes what the board was computed with: every resistor and capacitor out of the drawer
/// has the tolerance and the coefficient of a line of that value, and no line is taken more often than it holds. The drawer
/// has foil capacitors of 5 % beside ceramic ones of 10 %, which `[parts]` has.
#[test]
fn the_parts_list_has_the_figures_of_the_drawer() {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../examples");
    let name = folder.join("kiln-drawer.toml");
    let filter =
        "[filter.analog]\npoles = 3\nform = \"multiple-feedback\"\nresponse = \"butterworth\"\n\n[readout]";
    let text = text("kiln-drawer").replace("[readout]", filter);
    let case = case(name.to_str().unwrap(), &text);
    let drawer = std::fs::read_to_string(folder.join("drawer.csv")).unwrap();
    let fields = |line: &str| line.split(',').map(|f| f.trim().replace('\u{a0}', " ")).collect::<Vec<_>>();
    let lines: Vec<Vec<String>> =
        drawer.lines().filter(|l| l.contains("resistor,") || l.contains("capacitor,")).map(fields).collect();
    let mut reader = csv::Reader::from_reader(case.dossier.parts_csv.as_bytes());
    let (mut foil, mut seen) = (0, 0);
    for record in reader.records() {
        let record = record.unwrap();
        let [count, part, value, tolerance, tempco] =
            [1, 2, 3, 4, 5].map(|i| record[i].replace(['\u{a0}', '±'], " "));
        let (value, tolerance, tempco) = (value.trim(), tolerance.trim(), tempco.trim());
        if part != "resistor" && part != "capacitor" {
            continue;
        }
        let line = lines.iter().find(|l| l[1] == part && [&l[0], &l[2], &l[3]] == [value, tolerance, tempco]);
        let Some(line) = line else { panic!("no such line in the drawer: {record:?}") };
        assert!(count.parse::<u32>().unwrap() <= line[4].parse().unwrap(), "{record:?} {line:?}");
        seen += 1;
        foil += u32::from(line.get(5).is_some_and(|note| note == "foil"));
    }
    assert!(seen > 8 && foil > 0, "{}", case.dossier.parts_csv);
}

/// The kiln with every value fixed, so that nothing is searched, and some of its text replaced.
fn variant(name: &str, changes: &[(&str, &str)]) -> Case {
    let mut text = text("burnout-kiln");
    for (designator, value) in &examples()[0].design.values {
        let unit = if designator.starts_with('C') { "F" } else { "Ω" };
        let open = format!("\n{designator} = \"open\"");
        assert!(text.contains(&open), "{designator}");
        text = text.replace(&open, &format!("\n{designator} = \"{value} {unit}\""));
    }
    for (from, to) in changes {
        assert!(text.contains(from), "{name}: {from}");
        text = text.replace(from, to);
    }
    case(name, &text)
}

#[test]
fn other_chains_are_told_as_well() {
    let sensor = "element = \"digital\"";
    let none = ("calibration = \"zero and span\"", "calibration = \"none\"");
    let cases = [
        variant("grounded", &[("junction = \"insulated\"", "junction = \"grounded\"")]),
        variant("no calibration", &[none]),
        variant("thermistor", &[(sensor, "element = \"thermistor\"\nr25 = \"10 kΩ\"\nbeta = \"3950 K\"")]),
        variant("table", &[("rule = \"emf inverse\"", "rule = \"table\"\nsegments = 64")]),
        variant("name", &[("name = \"burn-out kiln\"", "name = \"<script> & \\\"kiln\\\", \\u00e9\"")]),
        variant("out of reach", &[("accuracy = \"6 K\"", "accuracy = \"0.5 K\"")]),
    ];
    for case in &cases {
        assert_sound(case);
        let list = derivations(&case.file, &case.design).expect("workings");
        let wrong: Vec<String> = list
            .iter()
            .filter_map(|d| {
                Some(format!("{} {}: {}", case.name, d.id, explained(d, *case.file.probe.letter).err()?))
            })
            .collect();
        assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    }
    let said = |i: usize, text: &str| words(&cases[i].dossier.html).contains(text);
    assert!(said(0, "ties this board to the plant") && !said(1, "ties this board to the plant"));
    assert!(said(2, "thermistor"));
    assert!(said(4, "&lt;script&gt;") || said(4, "&lt;Script&gt;"));
    assert!(said(5, "The need is not met."));
}

#[test]
fn the_schematic_joins_what_the_model_solves() {
    for case in examples() {
        let front_end = &case.design.model.chain().front_end;
        let converter = front_end.ports.reference.is_some();
        let drawing =
            icepoint_dossier::schematic::automatic(front_end, &front_ends::words(front_end, converter));
        let netlist = front_ends::netlist(front_end, converter);
        assert_eq!(drawing.disagreements(&netlist), Vec::<String>::new(), "{}", case.name);
    }
}
