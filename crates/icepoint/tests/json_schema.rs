//! The JSON that the verbs print against the schemas in `docs/json/`, which other people's scripts are written from.

#![allow(clippy::expect_used, clippy::unwrap_used, clippy::panic, missing_docs)] // a failed expectation is a failed test

use std::process::Command;

use serde_json::Value;

fn schema(text: &str) -> jsonschema::Validator {
    let schema: Value = serde_json::from_str(text).expect("the schema is JSON");
    assert!(jsonschema::meta::is_valid(&schema), "the schema follows draft 2020-12");
    jsonschema::validator_for(&schema).expect("the schema compiles")
}

fn printed(arguments: &[&str]) -> Vec<Value> {
    let output =
        Command::new(env!("CARGO_BIN_EXE_icepoint")).args(arguments).output().expect("the program runs");
    assert_eq!(output.status.code(), Some(0), "{arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
    let text = String::from_utf8(output.stdout).expect("UTF-8");
    // Nothing has no sign.
    assert!(
        !text.contains("-0.0,") && !text.contains("-0.0]") && !text.contains("-0.0}"),
        "{arguments:?}: {text}"
    );
    text.lines().map(|line| serde_json::from_str(line).expect("a JSON object a line")).collect()
}

fn assert_valid(validator: &jsonschema::Validator, value: &Value) {
    let errors: Vec<String> = validator.iter_errors(value).map(|error| error.to_string()).collect();
    assert!(errors.is_empty(), "{value}: {errors:?}");
}

#[test]
fn emf_and_temperature() {
    let emf = schema(include_str!("../../../docs/json/emf.json"));
    let temperature = schema(include_str!("../../../docs/json/temperature.json"));
    for letter in ["B", "E", "J", "K", "N", "R", "S", "T", "C", "A"] {
        // 30 °C has no class 2 tolerance for B, C and A: null.
        let points = printed(&["emf", letter, "30", "300", "--reference", "25", "--json"]);
        assert_eq!(points.len(), 2);
        points.iter().for_each(|point| assert_valid(&emf, point));
        let points = printed(&["temperature", letter, "3 mV", "--json", "--tolerance", "IEC class 2"]);
        assert_eq!(points.len(), 1);
        points.iter().for_each(|point| assert_valid(&temperature, point));
    }
}

#[test]
fn table() {
    let table = schema(include_str!("../../../docs/json/table.json"));
    for arguments in [
        &["table", "K", "--json"][..],
        &["table", "K", "--to", "100", "--step", "50", "--reference", "22", "--json"],
        &["table", "B", "--inverse", "--from", "-2 uV", "--to", "10 uV", "--step", "1 uV", "--json"],
    ] {
        let objects = printed(arguments);
        assert_eq!(objects.len(), 1);
        assert_valid(&table, &objects[0]);
    }
    let inverse = &printed(&[
        "table",
        "B",
        "--inverse",
        "--from",
        "-2 uV",
        "--to",
        "-1 uV",
        "--step",
        "1 uV",
        "--json",
    ])[0];
    assert!(inverse["points"][0]["temperature_celsius"].is_null(), "two temperatures: no number");
}

/// A chain file of the examples with few trials, in a folder of its own.
fn quick(name: &str, folder: &std::path::Path) -> String {
    let text = std::fs::read_to_string(format!("{}/../../examples/{name}", env!("CARGO_MANIFEST_DIR")));
    let path = folder.join(name);
    std::fs::write(&path, text.expect("the example").replace("trials = 100000", "trials = 2000"))
        .expect("written");
    path.to_str().expect("UTF-8").to_owned()
}

#[test]
fn budget_and_design() {
    let budget = schema(include_str!("../../../docs/json/budget.json"));
    let design = schema(include_str!("../../../docs/json/design.json"));
    let folder = tempfile::tempdir().expect("a folder");
    let file = quick("burnout-kiln.toml", folder.path());
    let value = printed(&["budget", &file, "--trials", "2000", "--json"]).remove(0);
    assert_valid(&budget, &value);
    assert_eq!(value["grid"].as_array().map(Vec::len), Some(55));
    let out = folder.path().join("out");
    let value = printed(&["design", &file, "--out", out.to_str().expect("UTF-8"), "--json"]).remove(0);
    assert_valid(&design, &value);
    for name in value["files"].as_array().expect("files") {
        assert!(std::path::Path::new(name.as_str().expect("a name")).is_file(), "{name}");
    }
    let mut wrong = value.clone();
    wrong["budget"]["grid"][0]["hot_celsius"] = "20 °C".into();
    assert!(!design.is_valid(&wrong));
}

/// One board from the example's readings, a second with every reading a little higher: then the batch, and the budget of
/// the first.
#[test]
fn calibrate_and_boards() {
    let calibrate = schema(include_str!("../../../docs/json/calibrate.json"));
    let boards = schema(include_str!("../../../docs/json/boards.json"));
    let budget = schema(include_str!("../../../docs/json/budget.json"));
    let folder = tempfile::tempdir().expect("a folder");
    let text = |path: &std::path::Path| path.to_str().expect("UTF-8").to_owned();
    let file = quick("burnout-kiln.toml", folder.path());
    let example = concat!(env!("CARGO_MANIFEST_DIR"), "/../../examples/burnout-kiln-readings.csv");
    let readings = std::fs::read_to_string(example).expect("the example");
    let batch = folder.path().join("batch");
    for (serial, offset) in [("K-007", 0.0), ("K-008", 0.6)] {
        let moved: Vec<String> = readings
            .lines()
            .map(|line| {
                let cells: Vec<&str> = line.split(',').collect();
                match cells.get(4).and_then(|reading| reading.parse::<f64>().ok()) {
                    Some(reading) => format!(
                        "{serial},{},{:.1},{}",
                        cells[1..4].join(","),
                        reading + offset,
                        cells[5..].join(",")
                    ),
                    None => line.to_owned(),
                }
            })
            .collect();
        let csv = folder.path().join(format!("{serial}.csv"));
        std::fs::write(&csv, moved.join("\n")).expect("written");
        let out = batch.join(serial);
        let value = printed(&[
            "calibrate",
            &file,
            &text(&csv),
            "--out",
            &text(&out),
            "--date",
            "2026-11-25",
            "--json",
        ]);
        assert_valid(&calibrate, &value[0]);
        assert_eq!(value[0]["serial"], serial);
        let files = value[0]["files"].as_array().expect("files");
        assert_eq!(files.len(), 3);
        for name in files {
            assert!(std::path::Path::new(name.as_str().expect("a name")).is_file(), "{name}");
        }
        // The raw readings are kept as they were.
        let kept = std::fs::read(out.join("burnout-kiln-readings.csv")).expect("kept");
        assert_eq!(kept, std::fs::read(&csv).expect("there"));
    }
    let calibrated = batch.join("K-007").join("burnout-kiln.toml");
    let value = printed(&["budget", &text(&calibrated), "--trials", "2000", "--json"]).remove(0);
    assert_valid(&budget, &value);
    assert_eq!(value["calibrated"]["serial"], "K-007");
    let built = printed(&["budget", &file, "--trials", "2000", "--json"]).remove(0);
    let as_built = built["calibrations"][0]["error_95_kelvin"].as_f64().expect("a number");
    let left = value["error_95_kelvin"].as_f64().expect("a number");
    assert!(left < 0.6 * as_built, "{left} {as_built}");
    // The user's own lines are all still there.
    let before = std::fs::read_to_string(&file).expect("there");
    let after = std::fs::read_to_string(&calibrated).expect("there");
    for line in before.lines().filter(|l| !l.contains("\"open\"")) {
        assert!(after.contains(line), "{line}");
    }
    // A board without firmware: where to turn its trims to, at one board temperature.
    let file = quick("bench-voltmeter.toml", folder.path());
    let csv = folder.path().join("trims.csv");
    let rows = "reference,injected (mV),board (°C),reading (°C),uncertainty\nice bath,,18,0.3,\nsrc,14.5,33,386,10 µV\n";
    std::fs::write(&csv, rows).expect("written");
    let out = folder.path().join("trims");
    let value = printed(&["calibrate", &file, &text(&csv), "--out", &text(&out), "--json"]).remove(0);
    assert_valid(&calibrate, &value);
    assert_eq!(value["trims"]["board_celsius"], 33.0);
    assert_eq!(value["trims"]["zero"]["input_celsius"], 0.0);
    assert_eq!(value["trims"]["span"]["input_volts"], 0.0145);
    let value = printed(&["boards", &text(&batch), "--json"]).remove(0);
    assert_valid(&boards, &value);
    assert_eq!(value["boards"].as_array().map(Vec::len), Some(2));
}

#[test]
fn bench_sheet() {
    let sheet = schema(include_str!("../../../docs/json/bench-sheet.json"));
    let folder = tempfile::tempdir().expect("a folder");
    let out = folder.path().join("out");
    let out = out.to_str().expect("UTF-8");
    for name in ["burnout-kiln.toml", "freezer.toml", "bench-voltmeter.toml"] {
        let file = quick(name, folder.path());
        let arguments = ["bench-sheet", &file, "--board", "31", "--boards", "4000", "--out", out, "--json"];
        let value = printed(&arguments).remove(0);
        assert_valid(&sheet, &value);
        assert_eq!(value["board_celsius"], 31.0);
        // The output through the converter: what the code says and what the bench's voltmeter shows.
        let converter = name != "bench-voltmeter.toml";
        assert_eq!(value["shorted_code"].is_object(), converter, "{name}");
        assert_eq!(value["open_code"].is_object(), converter, "{name}");
        for output in ["shorted_output_volts", "open_output_volts"] {
            let band = value[output]["band_999"].as_array().expect("a band");
            let expected = value[output]["expected"].as_f64().expect("a number");
            assert!(
                band[0].as_f64() <= Some(expected) && Some(expected) <= band[1].as_f64(),
                "{name} {output}"
            );
        }
        for name in value["files"].as_array().expect("files") {
            let text = std::fs::read_to_string(name.as_str().expect("a name")).expect("written");
            // Self-contained: nothing is fetched.
            assert!(!text.contains("<script") && !text.contains("src=") && text.len() > 1000, "{name}");
        }
        let mut wrong = value.clone();
        wrong["injections"][0]["copper_volts"] = "1 mV".into();
        assert!(!sheet.is_valid(&wrong));
        // The same file, the same bytes.
        assert_eq!(printed(&arguments).remove(0), value);
    }
}

#[test]
fn the_schemas_refuse_what_is_not_documented() {
    // Otherwise a schema that accepts anything would pass all of the above.
    let emf = schema(include_str!("../../../docs/json/emf.json"));
    let good = printed(&["emf", "K", "650", "--json"]).remove(0);
    let edited = |edit: fn(&mut serde_json::Map<String, Value>)| {
        let mut value = good.clone();
        edit(value.as_object_mut().expect("an object"));
        value
    };
    for wrong in [
        edited(|point| drop(point.remove("emf_volts"))),
        edited(|point| drop(point.insert("emf_volts".into(), "27 mV".into()))),
        edited(|point| drop(point.insert("emf_millivolts".into(), 27.0.into()))),
        edited(|point| drop(point.insert("type".into(), "X".into()))),
        edited(|point| drop(point.insert("tolerance_kelvin".into(), (-1.0).into()))),
    ] {
        assert!(!emf.is_valid(&wrong), "{wrong}");
    }
    let keys: Vec<&String> = good.as_object().expect("an object").keys().collect();
    let mut expected = vec![
        "type",
        "temperature_celsius",
        "reference_celsius",
        "emf_volts",
        "sensitivity_volts_per_kelvin",
        "tolerance_kelvin",
        "tolerance_class",
    ];
    expected.sort_unstable();
    let mut keys: Vec<&str> = keys.into_iter().map(String::as_str).collect();
    keys.sort_unstable();
    assert_eq!(keys, expected);
}

/// All values of this board stand in its file, so that nothing is searched for.
const BOARD: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../icepoint-chain/tests/model/boards/kiln.toml");

/// What stands in a folder: names and bytes.
fn contents(folder: &std::path::Path) -> Vec<(String, Vec<u8>)> {
    let mut list: Vec<(String, Vec<u8>)> = std::fs::read_dir(folder)
        .expect("a folder")
        .map(|entry| {
            let path = entry.expect("an entry").path();
            let name = path.file_name().expect("a name").to_string_lossy().into_owned();
            (name, std::fs::read(&path).expect("a file"))
        })
        .collect();
    list.sort();
    list
}

#[test]
fn firmware_and_its_bytes_twice() {
    let firmware = schema(include_str!("../../../docs/json/firmware.json"));
    let folder = tempfile::tempdir().expect("a folder");
    let (one, two) = (folder.path().join("one"), folder.path().join("two"));
    let arguments = |out: &std::path::Path| -> Vec<String> {
        let out = out.to_str().expect("UTF-8");
        ["firmware", BOARD, "--out", out, "--error", "0.2 K", "--json"].map(str::to_owned).to_vec()
    };
    let values: Vec<Value> = [(&one, "1"), (&two, "3")]
        .map(|(out, threads)| {
            let output = Command::new(env!("CARGO_BIN_EXE_icepoint"))
                .args(arguments(out))
                .env("RAYON_NUM_THREADS", threads)
                .output()
                .expect("the program runs");
            assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
            serde_json::from_slice(&output.stdout).expect("JSON")
        })
        .to_vec();
    assert_valid(&firmware, &values[0]);
    let (first, second) = (contents(&one), contents(&two));
    assert_eq!(first.len(), values[0]["files"].as_array().map_or(0, Vec::len));
    assert!(first.len() >= 5, "{first:?}");
    for (a, b) in first.iter().zip(&second) {
        assert!(a == b, "{} is not the same bytes twice, or with other threads", a.0);
    }
    let mut wrong = values[0].clone();
    wrong["error_kelvin"] = "0.1 K".into();
    assert!(!firmware.is_valid(&wrong));
    // With a proof, as far as a compiler is there; without one the answer is no and says what is missing.
    let output = Command::new(env!("CARGO_BIN_EXE_icepoint"))
        .args(arguments(&one))
        .args(["--form", "quadratic", "--prove"])
        .output()
        .expect("the program runs");
    let value: Value = serde_json::from_slice(&output.stdout).expect("JSON");
    assert_valid(&firmware, &value);
    let holds = value["proof"]["holds"].as_bool().expect("an answer");
    assert_eq!(output.status.code(), Some(if holds { 0 } else { 1 }), "{value}");
    assert!(holds || !value["proof"]["missing"].as_array().expect("a list").is_empty(), "{value}");
}
