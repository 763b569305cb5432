use super::*;
use crate::file::keys::{Presence, SECTIONS};
use proptest::prelude::*;
use std::path::{Path, PathBuf};

const EXAMPLES: [&str; 4] = ["burnout-kiln.toml", "bench-voltmeter.toml", "freezer.toml", "own-circuit.toml"];

fn root() -> PathBuf {
    let here = Path::new(env!("CARGO_MANIFEST_DIR"));
    here.ancestors()
        .find(|folder| folder.join("examples/burnout-kiln.toml").is_file())
        .expect("the examples")
        .to_owned()
}

fn example(name: &str) -> String {
    std::fs::read_to_string(root().join("examples").join(name)).expect("an example")
}

fn kiln() -> ChainFile {
    load(root().join("examples/burnout-kiln.toml")).unwrap_or_else(|refused| panic!("{refused}"))
}

#[test]
fn the_examples_are_taken() {
    for name in EXAMPLES {
        let file = load(root().join("examples").join(name)).unwrap_or_else(|refused| panic!("{refused}"));
        for assumption in &file.assumptions {
            assert!(!assumption.key.contains('*'), "{}", assumption.key);
        }
    }
}

#[test]
fn the_kiln_reads_as_written() {
    let file = kiln();
    assert_eq!(file.name.value, "burn-out kiln");
    assert_eq!(file.need.hot.value, Interval { low: 20.0, high: 1100.0 });
    assert_eq!(file.need.calibration.points(), 2);
    assert_eq!(file.probe.letter.value, icepoint_sensors::Letter::N);
    let lead = file.lead.as_ref().expect("a lead");
    assert!((lead.conductor.value - 0.000_811_821).abs() < 1e-9);
    let ConverterKind::Adc(adc) = &file.converter.kind else { panic!("an adc") };
    assert_eq!(adc.reference.value.half_width(), 0.005);
    assert_eq!(adc.lsb, 2.5 / 4096.0);
    assert_eq!(adc.offset.value, 2.0 * 2.5 / 4096.0);
    assert_eq!(file.amplifiers["front"].cmrr.value, libm::pow(10.0, 106.0 / 20.0));
    assert_eq!(file.front_end.values["R1"].value, PartValue::Open);
    // class 1 of type N stops at 1000 °C, the kiln goes to 1100 °C: taken, and told
    assert_eq!(file.cautions.len(), 1);
    assert_eq!(file.cautions[0].code, "probe.class_beyond_range");
    // what is not written is a default with a reason, and listed
    assert!(file.probe.drift.span().is_none());
    assert!(file.assumptions.iter().any(|a| a.key == "probe.drift" && !a.default.reason.is_empty()));
    assert!(!file.assumptions.iter().any(|a| a.key == "need.mains"), "it is written");
}

#[test]
fn a_key_can_be_pointed_at_later() {
    let file = kiln();
    let text = |span: Span| &file.source.text[span.start..span.end];
    assert_eq!(file.place("need.accuracy").map(text), Some("\"6 K\""));
    assert_eq!(file.place("amplifier.front.noise").map(text), Some("\"40 nV/√Hz\""));
    assert_eq!(file.place("front_end.values.R1").map(text), Some("\"open\""));
    assert_eq!(file.place("probe.drift").map(text), Some("[probe]"), "not written: its section");
    assert_eq!(file.place("amplifier.front.nothing").map(text), Some("[amplifier.front]"));
    assert_eq!(file.place("front_end.values").map(text), Some("[front_end.values]"));
    assert_eq!(file.place("nowhere.at.all"), None);
    let problem =
        file.problem_at("supply.positive", "supply.too_low", "the rail allows 3.1 V", "needs 3.4 V");
    let refused = file.refused(vec![problem]);
    assert!(refused.to_string().contains("positive = \"3.3 V ± 5 %\""), "{refused}");
}

#[test]
fn unknown_designators_are_told() {
    let file = kiln();
    let known =
        ["R1", "R2", "R3", "R4", "RG", "R5", "R6", "R7", "R8", "R9", "C1", "C2", "C3", "C4", "C5", "C6"];
    let problems = file.unknown_designators(&known);
    assert_eq!(problems.len(), 1);
    assert!(problems[0].message.contains("C7"), "{:?}", problems[0]);
}

#[test]
fn a_filled_file_keeps_the_users_text() {
    let file = kiln();
    let chosen = [
        ChosenValue {
            designator: "RG".into(),
            quantity: crate::quantity::Toleranced::exact(576.0),
            unit: crate::quantity::Unit::Ohm,
        },
        ChosenValue {
            designator: "C1".into(),
            quantity: crate::quantity::Toleranced::exact(100e-9),
            unit: crate::quantity::Unit::Farad,
        },
    ];
    let filled = file.filled(&chosen).expect("the text that was parsed");
    let expected = file
        .source
        .text
        .replace("RG = \"open\"", "RG = \"576 Ω\"")
        .replace("C1 = \"open\"", "C1 = \"100 nF\"");
    assert_eq!(filled, expected, "only these two values change");
    let again = parse("filled", &filled).unwrap_or_else(|refused| panic!("{refused}"));
    assert_eq!(again.front_end.values["RG"].chosen(), Some(576.0));
    // filling again changes nothing
    assert_eq!(again.filled(&chosen).expect("the text"), filled);
}

#[test]
fn a_filled_file_gets_the_parts_that_were_not_listed() {
    for name in ["bench-voltmeter.toml", "freezer.toml"] {
        let file = load(root().join("examples").join(name)).unwrap_or_else(|refused| panic!("{refused}"));
        let chosen = [ChosenValue {
            designator: "R1".into(),
            quantity: crate::quantity::Toleranced::exact(10e3),
            unit: crate::quantity::Unit::Ohm,
        }];
        let filled = file.filled(&chosen).expect("the text that was parsed");
        let again = parse("filled", &filled).unwrap_or_else(|refused| panic!("{refused}"));
        assert_eq!(again.front_end.values["R1"].chosen(), Some(10e3));
        for line in file.source.text.lines() {
            assert!(filled.lines().any(|kept| kept == line), "lost: {line}");
        }
    }
}

#[test]
fn a_write_is_whole_and_leaves_nothing_behind() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("chain.toml");
    write_atomically(&path, b"first").expect("written");
    write_atomically(&path, b"second").expect("replaced");
    assert_eq!(std::fs::read(&path).expect("readable"), b"second");
    assert_eq!(std::fs::read_dir(folder.path()).expect("readable").count(), 1, "no temporary file stays");
    // a directory in the way: an error, and it stays as it is
    let blocked = folder.path().join("blocked");
    std::fs::create_dir(&blocked).expect("made");
    std::fs::write(blocked.join("inside"), b"x").expect("written");
    assert!(write_atomically(&blocked, b"third").is_err());
    assert_eq!(std::fs::read_dir(folder.path()).expect("readable").count(), 2, "nothing half-written");
    assert!(write_atomically(&folder.path().join("no/such/folder.toml"), b"x").is_err());
}

#[test]
fn the_tables_agree_with_each_other() {
    for section in SECTIONS {
        for key in section.keys {
            let default = defaults::of(section.path, key.name);
            assert_eq!(default.is_some(), key.presence == Presence::Default, "{}.{}", section.path, key.name);
            assert!(!key.meaning.is_empty() && !key.example.is_empty(), "{}.{}", section.path, key.name);
        }
    }
    for default in defaults::DEFAULTS {
        let (section, key) = default.key.rsplit_once('.').expect("section.key");
        assert!(
            keys::section(section).is_some_and(|s| s.keys.iter().any(|k| k.name == key)),
            "{}",
            default.key
        );
        assert!(!default.reason.is_empty() && !default.source.is_empty(), "{}", default.key);
    }
    for (name, bound) in bounds::ALL {
        assert!(bound.low < bound.high, "{name}");
        assert!(bound.allows(bound.high) && bound.allows(bound.low) != bound.above, "{name}");
        assert!(!bound.allows(f64::NAN) && !bound.allows(f64::INFINITY), "{name}");
    }
}

/// Every key with its own example, and every default written out, is taken: documentation that works if typed.
#[test]
fn every_example_and_every_default_is_taken_when_typed() {
    let mut tried = 0;
    for section in SECTIONS.iter().filter(|section| !section.path.starts_with("circuit")) {
        for key in section.keys {
            let default = defaults::of(section.path, key.name).map(|d| d.text);
            for value in [Some(key.example), default].into_iter().flatten() {
                let text = chain_with(section, key, value);
                if let Err(refused) = parse("typed", &text) {
                    panic!("{}.{} = {value}\n{refused}\n{text}", section.path, key.name);
                }
                tried += 1;
            }
        }
    }
    assert!(tried > 120, "only {tried}");
}

/// A record of a reference of the kind that `key` is for, with what goes with it.
fn reference_with(key: &keys::Key, value: &str, here: bool) -> String {
    if !here {
        return String::new();
    }
    let kind = if key.name == "kind" { value } else { key.when };
    let kind = kind.split('"').nth(1).unwrap_or_default();
    let companions: &[&str] = match (kind, key.name) {
        ("boiling water", "pressure" | "altitude") => &[],
        ("boiling water", "sea_level_pressure") => &["altitude"],
        ("boiling water", _) => &["pressure"],
        ("fixed point", _) => &["substance"],
        (
            "thermometer" | "dry well",
            "certificate_at" | "certificate_correction" | "certificate_uncertainty" | "coverage_factor",
        ) => &["certificate_at", "certificate_correction", "certificate_uncertainty"],
        ("thermometer" | "dry well", _) => &["accuracy"],
        _ => &[],
    };
    let mut text = format!("[references.one]\nkind = \"{kind}\"\n");
    let section = keys::section("references.*").expect("the section");
    for name in companions.iter().filter(|name| **name != key.name) {
        text += &format!("{name} = {}\n", section.key(name).expect("a key").example);
    }
    if key.name != "kind" {
        text += &format!("{} = {value}\n", key.name);
    }
    text
}

/// A circuit with every kind of part, each key that must be there written as its example has it.
const CIRCUIT: &str = r#"
[circuit]
thermocouple = ["tc_plus", "tc_minus"]
output = "out"
[circuit.parts]
A1 = { kind = "instrumentation amplifier", plus = "in", minus = "tc_minus", reference = "bias", out = "amp", record = "front" }
A2 = { kind = "operational amplifier", plus = "amp", minus = "feedback", out = "last", record = "front" }
U1 = { kind = "temperature sensor", out = "sensor" }
R1 = { kind = "resistor", between = ["tc_plus", "in"] }
R2 = { kind = "resistor", between = ["tc_minus", "bias"], network = "RN1" }
R3 = { kind = "resistor", between = ["bias", "gnd"], network = "RN1" }
R4 = { kind = "resistor", between = ["sensor", "bias"] }
R5 = { kind = "resistor", between = ["last", "out"] }
R6 = { kind = "resistor", between = ["feedback", "gnd"] }
R7 = { kind = "resistor", between = ["last", "feedback"] }
C1 = { kind = "capacitor", between = ["out", "gnd"] }
RG = { kind = "gain resistor", amplifier = "A1" }
RV1 = { kind = "adjustable resistor", between = ["bias", "gnd"] }
D1 = { kind = "silicon junction", anode = "sensor", cathode = "bias" }
D2 = { kind = "clamp", anode = "in", cathode = "supply", leakage = "5 nA" }
RT1 = { kind = "thermistor", between = ["sensor", "bias"] }
RT2 = { kind = "platinum resistor", between = ["sensor", "bias"] }
I1 = { kind = "detection current", from = "supply", to = "tc_plus", current = "100 nA" }
[circuit.test_points]
TP1 = { node = "out", shows = "filtered output" }
"#;

/// The same for the keys of a circuit: each optional one is typed into a part of every kind that has it.
#[test]
fn every_key_of_a_circuit_is_taken_when_typed() {
    let taken =
        |text: &str| read_circuit("typed", text).unwrap_or_else(|refused| panic!("{refused}\n{text}"));
    taken(CIRCUIT);
    let mut tried = 0;
    for section in SECTIONS.iter().filter(|section| section.path.starts_with("circuit")) {
        for key in section.keys.iter().filter(|key| key.presence == Presence::Optional) {
            let typed = format!("{} = {}", key.name, key.example);
            if section.path == "circuit.taps" {
                taken(
                    &CIRCUIT
                        .replace("[circuit.parts]\n", &format!("[circuit.taps]\n{typed}\n[circuit.parts]\n")),
                );
                tried += 1;
                continue;
            }
            if section.path == "circuit" {
                taken(&CIRCUIT.replace("[circuit]\n", &format!("[circuit]\n{typed}\n")));
                tried += 1;
                continue;
            }
            let kinds = key.when.strip_prefix("kind = ").unwrap_or("\"resistor\"");
            for kind in kinds.split(" or ") {
                let typed =
                    if key.name == "times" { format!("same_as = \"RG\", {typed}") } else { typed.clone() };
                let typed = match (key.name, kind) {
                    ("pulse", _) => format!("wait = \"50 ms\", {typed}"),
                    ("wait", _) => format!("pulse = \"5 ms\", {typed}"),
                    ("times" | "same_as", "\"capacitor\"") => "same_as = \"C2\"".to_owned(),
                    // the name of a resistor has R, that of a capacitor C, and so have their values
                    ("value" | "at_least" | "at_most" | "usual", "\"capacitor\"") => {
                        typed.replace("kΩ", "nF").replace("MΩ", "µF")
                    }
                    _ => typed,
                };
                let part = format!("kind = {kind}");
                let place = CIRCUIT.find(&part).expect("a part of every kind") + part.len();
                let mut text = CIRCUIT.to_owned();
                // R1 of the circuit is the first resistor; RG, which has no tie, is what it may follow
                text.insert_str(place, &format!(", {typed}"));
                if kind == "\"capacitor\"" {
                    text = text
                        .replace("RG =", "C2 = { kind = \"capacitor\", between = [\"in\", \"gnd\"] }\nRG =");
                }
                if kind == "\"gain resistor\"" {
                    text = text.replace("same_as = \"RG\"", "same_as = \"R3\"");
                }
                taken(&text);
                tried += 1;
            }
        }
    }
    assert!(tried > 25, "only {tried}");
}

/// A whole chain with the sections that `key` needs, every required key at its example, and `key` at `value`.
fn chain_with(section: &keys::Section, key: &keys::Key, value: &str) -> String {
    let words = |name: &str| -> &'static str {
        // the words that make the key apply
        let when = key.when;
        let here = |path: &str| section.path == path;
        match name {
            "reference_junction.method" if here("readout") && when.contains("line") => "analog",
            "reference_junction.method" if here("reference_junction") && when.contains("analog") => "analog",
            "reference_junction.element" if when.contains("thermistor") => "thermistor",
            "reference_junction.element" if when.contains("platinum") => "platinum",
            "converter.kind" if when.contains("voltmeter") => "voltmeter",
            "calibration_plan.method" if when.contains("known temperature") => "known temperature",
            "filter.analog.response" if when.contains("chebyshev") => "chebyshev",
            "filter.digital" if when.contains("sinc") && !when.contains("mean") => "sinc",
            "filter.digital" if when.contains("first order") && !when.contains("mean") => "first order",
            "readout.rule" if when.contains("table") => "table",
            _ => "",
        }
    };
    let analog = words("reference_junction.method") == "analog"
        || (section.path, key.name, value) == ("readout", "rule", "\"line\"");
    let decided = |path: &str, name: &str| -> Option<String> {
        let word = match (path, name) {
            ("reference_junction", "method") if analog => "analog",
            ("front_end", "topology") if analog => "single-amplifier",
            // values are those of a front end that is named
            ("front_end", "topology") if section.path.starts_with("front_end.") => "instrumentation",
            ("readout", "rule") if analog => "line",
            ("front_end", "amplifier") => {
                if analog {
                    "buffer"
                } else {
                    "front"
                }
            }
            _ => words(&format!("{path}.{name}")),
        };
        (!word.is_empty()).then(|| format!("\"{word}\""))
    };
    let mut text = String::new();
    for other in SECTIONS {
        if other.path == "references.*" {
            text += &reference_with(key, value, section.path == other.path);
            continue;
        }
        let records: &[&str] = match other.path {
            "amplifier.*" => &["front", "buffer"],
            "filter.analog"
            | "front_end.values"
            | "front_end.tolerance"
            | "parts.resistors.network"
            | "trims"
            | "calibration.deviations"
            | "calibration.shared"
                if other.path != section.path =>
            {
                continue;
            }
            path if path.starts_with("circuit") => continue,
            "calibration" if !section.path.starts_with("calibration") => {
                continue;
            }
            _ => &[""],
        };
        for record in records {
            let path = other.path.replace('*', record);
            let kind = if *record == "front" { "instrumentation" } else { "operational" };
            text += &format!("[{path}]\n");
            let mut written: Vec<(String, String)> = Vec::new();
            for each in other.keys {
                let this = std::ptr::eq(each, key);
                let name = if each.name == "*" { "R1".to_owned() } else { each.name.to_owned() };
                let applies = applies(each.when, &|word_key: &str| {
                    if other.path == "amplifier.*" && word_key == "kind" {
                        return format!("\"{kind}\"");
                    }
                    let row = other.keys.iter().find(|k| k.name == word_key);
                    let given = if key.name == word_key && other.path == section.path {
                        Some(value.to_owned())
                    } else {
                        None
                    };
                    given
                        .or_else(|| decided(other.path, word_key))
                        .or_else(|| {
                            row.and_then(|row| defaults::of(other.path, row.name)).map(|d| d.text.to_owned())
                        })
                        .or_else(|| row.map(|row| row.example.to_owned()))
                        .unwrap_or_default()
                });
                if !applies {
                    continue;
                }
                let fixed = if other.path == "amplifier.*" && each.name == "kind" {
                    Some(format!("\"{kind}\""))
                } else {
                    decided(other.path, each.name)
                };
                // what makes the contradictions of a lone example vanish
                let roomy = match (other.path, each.name) {
                    ("need", "hot") if analog => Some("[\"20 °C\", \"200 °C\"]".to_owned()),
                    ("need", "calibration") if section.path == "trims" => {
                        Some("\"zero and span\"".to_owned())
                    }
                    ("calibration_plan", "at") => Some("[\"20 °C\", \"1000 °C\"]".to_owned()),
                    // one of the two offsets is needed: the typical one alone when it is the key that is tried
                    ("amplifier.*", "offset_max") if !this && key.name != "offset_typical" => {
                        Some(each.example.to_owned())
                    }
                    ("converter", "span") if words("converter.kind") == "voltmeter" => {
                        Some("[\"-6 V\", \"6 V\"]".to_owned())
                    }
                    ("converter", "span") if this => Some("[\"0 V\", \"2.5 V\"]".to_owned()),
                    _ => None,
                };
                let own = this
                    && !(other.path == "amplifier.*" && each.name == "kind")
                    && !(other.path, each.name).eq(&("front_end", "amplifier"));
                match (own, fixed, roomy, each.presence) {
                    (_, _, Some(roomy), _) => written.push((name, roomy)),
                    (true, _, _, _) => written.push((name, value.to_owned())),
                    (_, Some(fixed), _, _) => written.push((name, fixed)),
                    (_, _, _, Presence::Required) => written.push((name, each.example.to_owned())),
                    _ => {}
                }
            }
            for (name, value) in written {
                text += &format!("{name} = {value}\n");
            }
        }
    }
    text
}

/// Whether a key with this condition applies, asking for the words that decide.
fn applies(when: &str, word: &dyn Fn(&str) -> String) -> bool {
    match when.split_once(" = ") {
        None => true,
        Some((key, words)) => words.split(" or ").any(|allowed| word(key) == allowed),
    }
}

fn document(name: &str) -> (PathBuf, String) {
    let path = root().join("docs").join(name);
    let text = std::fs::read_to_string(&path).expect("a document");
    (path, text)
}

/// The part between two marks of a document is the one that is printed from the tables.
fn printed(name: &str, mark: &str, expected: &str) {
    let (path, text) = document(name);
    let (begin, end) = (format!("<!-- {mark}: begin -->\n"), format!("<!-- {mark}: end -->"));
    let (head, rest) = text.split_once(&begin).expect("a begin mark");
    let (found, tail) = rest.split_once(&end).expect("an end mark");
    if std::env::var_os("ICEPOINT_KEEP").is_some() {
        std::fs::write(&path, format!("{head}{begin}{expected}{end}{tail}")).expect("writable");
        return;
    }
    assert!(
        found == expected,
        "docs/{name}, part {mark}, is stale: ICEPOINT_KEEP=1 cargo test prints it anew"
    );
}

#[test]
fn the_documents_are_printed_from_the_tables() {
    printed("chain-file.md", "sections", &reference::sections());
    printed("chain-file.md", "defaults", &reference::assumptions());
    printed("quantities.md", "spellings", &reference::spellings());
    printed("front-ends.md", "front ends", &reference::front_ends());
}

#[test]
fn the_circuit_in_the_documentation_is_one() {
    let (_, text) = document("front-ends.md");
    let (_, rest) = text.split_once("```toml\n").expect("a circuit");
    let (circuit, _) = rest.split_once("```").expect("its end");
    let blueprint = read_circuit("documented", circuit).unwrap_or_else(|refused| panic!("{refused}"));
    let r3 = blueprint.value("R3", &std::collections::BTreeMap::new()).expect("a value");
    assert!((r3 - 10e3).abs() < 1e-6, "ten times R2: {r3}");
}

fn mutated() -> impl Strategy<Value = String> {
    let edit = (
        any::<prop::sample::Index>(),
        any::<prop::sample::Index>(),
        0_usize..9,
        "\\PC{0,6}|[\"\\[\\]={}\n.,#±µΩ0-9eE-]{1,4}",
    );
    (0..EXAMPLES.len(), prop::collection::vec(edit, 1..8)).prop_map(|(which, edits)| {
        let mut text: Vec<char> = example(EXAMPLES[which]).chars().collect();
        for (from, to, kind, insert) in edits {
            if text.is_empty() {
                break;
            }
            let (a, b) = (from.index(text.len()), to.index(text.len()));
            let (a, b) = (a.min(b), a.max(b).min(a + 40));
            match kind {
                0 => drop(text.drain(a..b)),
                1 => text.truncate(a.max(1)),
                2 => drop(text.splice(a..b, insert.chars())),
                3 => {
                    let copy: Vec<char> = text[a..b].to_vec();
                    text.splice(b..b, copy);
                }
                4 => text[a] = '"',
                5 => text[a] = '\n',
                6 => text[a] = char::from(b'0' + (b % 10) as u8),
                _ => drop(text.splice(a..a, insert.chars())),
            }
        }
        text.into_iter().collect()
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

    /// Nothing panics, whatever is done to an example; a refusal has a problem and can be drawn in every way; what is
    /// taken can be filled and is taken again.
    #[test]
    fn any_mutation_of_an_example(text in mutated()) {
        match parse("mutated.toml", &text) {
            Ok(file) => {
                let filled = file.filled(&[]).expect("the text that was parsed");
                prop_assert!(parse("filled.toml", &filled).is_ok());
            }
            Err(refused) => {
                prop_assert!(!refused.problems.is_empty());
                prop_assert!(!refused.drawn(true).is_empty() && !refused.plain().is_empty());
                prop_assert!(refused.json()["problems"].is_array());
            }
        }
    }

    /// Any text at all.
    #[test]
    fn any_text(text in "\\PC{0,80}|[\\[\\]a-z_.=\"'\n#0-9{}, ]{0,120}") {
        if let Err(refused) = parse("any.toml", &text) {
            prop_assert!(!refused.to_string().is_empty());
        }
    }
}

/// The words that say when `buffer` applies are those of the circuits that have one.
#[test]
fn the_buffer_applies_where_a_circuit_has_one() {
    let with: Vec<String> = crate::front_end::library::all()
        .iter()
        .filter(|b| b.records().iter().any(|(name, _)| *name == "buffer"))
        .map(|b| format!("\"{}\"", b.id))
        .collect();
    let mut told: Vec<&str> =
        crate::file::sections::BUFFERED.trim_start_matches("topology = ").split(" or ").collect();
    told.sort_unstable();
    let mut with: Vec<&str> = with.iter().map(String::as_str).collect();
    with.sort_unstable();
    assert_eq!(told, with);
}
