//! Converters, voltage references, sensors and amplifiers to choose among: each as if it stood in its section, the best
//! taken, none that the drawer has not.

use std::path::Path;

use crate::bench::kiln_but;
use icepoint_chain::file::{self, RecordKind};
use icepoint_chain::resolve::resolve;
use icepoint_design::{compare, records};

const FINE: &str = "kind = \"adc\"\nbits = 16\nreference = \"2.5 V ± 0.2 %\"\nreference_drift = \"20 ppm/K\"\n\
                    gain_error = \"0.05 %\"\nnoise = \"0.5 LSB\"\n";
const CLOSE: &str = "reference = \"2.5 V ± 0.02 %\"\nreference_drift = \"3 ppm/K\"\n";
const SENSOR: &str = "method = \"sensor\"\naccuracy = \"±0.1 K\"\n";

/// The kiln with its values at hand, so that the records alone make the difference.
fn kiln() -> String {
    kiln_but(&[]).text().to_owned()
}

fn with(records: &[(&str, &str)]) -> String {
    let mut text = kiln();
    for (header, keys) in records {
        text.push_str(&format!("\n[{header}]\n{keys}"));
    }
    text
}

fn read(text: &str) -> file::ChainFile {
    file::parse("chain.toml", text).unwrap_or_else(|refused| panic!("{refused}"))
}

/// The kiln's file with another text in the place of a section.
fn replaced(section: &str, keys: &str) -> String {
    let text = kiln();
    let header = format!("\n[{section}]\n");
    let from = text.find(&header).unwrap() + 1;
    let to = text[from..].find("\n[").map_or(text.len(), |at| from + at + 1);
    format!("{}[{section}]\n{keys}\n{}", &text[..from], &text[to..])
}

fn chain(file: &file::ChainFile) -> String {
    format!("{:?}", resolve(file).unwrap().chain)
}

/// A record in its place gives the chain that the same text in the section gives, and so does the file that is written.
#[test]
fn a_record_is_what_it_would_be_in_the_section() {
    let text = with(&[("converters.fine", FINE), ("junction_sensors.close", SENSOR)]);
    let file = read(&text);
    assert_eq!(chain(&file), chain(&read(&kiln())), "a record alone changes nothing");
    for (record, section, keys) in [
        ((RecordKind::Converter, "fine"), "converter", FINE),
        ((RecordKind::Sensor, "close"), "reference_junction", SENSOR),
    ] {
        let with = file.with_records(&[(record.0, record.1.to_owned())]).unwrap();
        let by_hand = read(&replaced(section, keys));
        assert_eq!(chain(&with), chain(&by_hand), "{section}");
        assert_ne!(chain(&with), chain(&file), "{section}");
        let written = read(&with.filled(&[]).unwrap());
        assert_eq!(chain(&written), chain(&by_hand), "{section}, written");
    }
}

/// A reference takes the keys of the converter that are about it, and no other: the LSB follows its volts.
#[test]
fn a_reference_takes_its_keys_and_leaves_the_others() {
    let double = "reference = \"1.25 V ± 0.02 %\"\n";
    let file = read(&with(&[("voltage_references.low", double)]));
    let with = file.with_records(&[(RecordKind::Reference, "low".into())]).unwrap();
    let lsb = |file: &file::ChainFile| match &file.converter.kind {
        file::ConverterKind::Adc(adc) => (adc.lsb, adc.bits.value, adc.reference_drift.value),
        file::ConverterKind::Voltmeter(_) => panic!("the kiln has a converter"),
    };
    let (before, after) = (lsb(&file), lsb(&with));
    assert!((after.0 - 0.5 * before.0).abs() < 1e-15 && after.1 == before.1, "{before:?} {after:?}");
    assert_ne!(after.2, before.2, "without its drift the default stands, not that of the other reference");
    let written = read(&with.filled(&[]).unwrap());
    assert_eq!(chain(&written), chain(&with));
}

/// The best of each kind is taken, and what stands beside it is told in the order of its error.
#[test]
fn the_best_record_of_each_kind_is_taken() {
    let worse = FINE.replace("bits = 16", "bits = 8");
    let text = with(&[
        ("converters.fine", FINE),
        ("converters.coarse", &worse),
        ("voltage_references.close", CLOSE),
        ("junction_sensors.close", SENSOR),
    ]);
    let (best, choices) = records::choose(&read(&text)).unwrap();
    let taken: Vec<(RecordKind, &str)> = best.taken.iter().map(|(k, n)| (*k, n.as_str())).collect();
    println!("{choices:#?}");
    assert!(
        taken.contains(&(RecordKind::Converter, "fine")) && taken.contains(&(RecordKind::Sensor, "close")),
        "{taken:?}"
    );
    assert_eq!(choices.len(), 3);
    for choice in &choices {
        assert!(
            choice.rows.windows(2).all(|w| (w[0].met && !w[1].met) || w[0].error_95 <= w[1].error_95),
            "{choice:?}"
        );
    }
    let converters = &choices[0].rows;
    assert_eq!(converters.last().unwrap().name.as_deref(), Some("coarse"));
    // What was taken is what its figures say, by a board of its own.
    let sensor = choices.iter().find(|c| c.kind == RecordKind::Sensor).unwrap();
    let by_hand = compare::only(&best, "instrumentation").unwrap();
    let row = &by_hand.table.rows[0];
    // The estimate is within 1.3 % of the simulation, and 4000 boards are within 2 % of many.
    assert!((row.error_95 / sensor.rows[0].error_95 - 1.0).abs() < 0.033, "{row:?} {sensor:?}");
}

/// Beside a drawer in a folder of its own.
fn in_folder(text: &str, csv: &str) -> Result<file::ChainFile, file::Refused> {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("drawer.csv"), csv).unwrap();
    let path = folder.path().join("chain.toml");
    std::fs::write(&path, text).unwrap();
    let file = file::load(Path::new(&path))?;
    resolve(&file).map(|_| ())?;
    // The folder must outlive what is read from it.
    std::mem::forget(folder);
    Ok(file)
}

fn kiln_with_drawer(records: &[(&str, &str)]) -> String {
    let text = with(records);
    match text.contains("[parts]\n") {
        true => text.replace("[parts]\n", "[parts]\ndrawer = \"drawer.csv\"\n"),
        false => format!("{text}\n[parts]\ndrawer = \"drawer.csv\"\n"),
    }
}

const RESISTORS: &str = "value,kind,tolerance,tempco,count\n1 kΩ,resistor,1 %,50 ppm/K,20\n";

#[test]
fn what_the_drawer_has_none_of_is_not_taken() {
    let text = kiln_with_drawer(&[("converters.fine", FINE), ("converters.other", FINE)]);
    let csv = format!("{RESISTORS}fine,converter,,,0\nother,converter,,,1\n");
    let file = in_folder(&text, &csv).unwrap_or_else(|refused| panic!("{refused}"));
    let drawer = icepoint_chain::drawer::of(&file).unwrap().unwrap();
    assert!(!drawer.record(&(RecordKind::Converter, "fine".into())).covers(1));
    assert!(drawer.record(&(RecordKind::Converter, "other".into())).covers(1));
    assert!(drawer.record(&(RecordKind::Sensor, "any".into())).covers(1), "it lists no sensors");
}

#[test]
fn a_drawer_with_too_few_amplifiers_is_refused_and_an_unknown_record_too() {
    let text = kiln_with_drawer(&[("converters.fine", FINE)]);
    let refused =
        in_folder(&text, &format!("{RESISTORS}front,amplifier,,,1\nbuffer,amplifier,,,1\n")).unwrap_err();
    let told = refused.problems.iter().find(|p| p.code == "drawer.too_few_amplifiers").unwrap();
    assert!(
        told.message.contains("takes 2 of the amplifier buffer") && told.message.contains("has 1"),
        "{told:?}"
    );
    let refused = in_folder(&text, &format!("{RESISTORS}fin,converter,,,1\n")).unwrap_err();
    assert!(refused.problems.iter().any(|p| p.code == "drawer.record_unknown"), "{refused}");
    assert!(in_folder(&text, &format!("{RESISTORS}front,amplifier,,,1\nbuffer,amplifier,,,2\n")).is_ok());
}
