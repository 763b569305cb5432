//! Comparing front ends: what fits, what is left out and why, the best edge, and the file that is written.

use crate::bench::example;
use icepoint_chain::file::{self, Method};
use icepoint_design::compare::{compare, only};

fn text(name: &str) -> String {
    let text = example(name);
    let named: Vec<&str> = text.text().lines().filter(|l| !l.starts_with("topology")).collect();
    named.join("\n")
}

fn read(text: &str) -> file::ChainFile {
    file::parse("chain.toml", text).unwrap_or_else(|refused| panic!("{refused}"))
}

fn any(name: &str) -> file::ChainFile {
    read(&text(name))
}

#[test]
fn what_fits_is_compared_and_the_rest_says_why() {
    for (name, expected, unfit) in [
        ("burnout-kiln.toml", "instrumentation", "single-amplifier"),
        ("bench-voltmeter.toml", "single-amplifier", "instrumentation"),
    ] {
        let file = any(name);
        let comparison = compare(&file).unwrap();
        let table = &comparison.table;
        assert!(table.rows.iter().any(|r| r.id == expected), "{name}: {:?}", table.rows);
        assert!(table.rows.iter().all(|r| r.id != unfit));
        let left = table.left_out.iter().find(|l| l.id == unfit).unwrap();
        assert!(left.why.contains("compensat"), "{}", left.why);
        // Nothing is both in and out, and nothing is forgotten.
        for blueprint in icepoint_chain::front_end::library::all() {
            let inside = table.rows.iter().any(|r| r.id == blueprint.id);
            let outside = table.left_out.iter().any(|l| l.id == blueprint.id);
            assert!(inside || outside, "{} is nowhere", blueprint.id);
        }
        // The best edge, by its definition: among the rows that meet the need, as some do here.
        for row in &table.rows {
            let beaten = table.rows.iter().filter(|o| o.met).any(|o| {
                (o.error_95 < row.error_95 && o.parts <= row.parts)
                    || (o.error_95 <= row.error_95 && o.parts < row.parts)
            });
            assert!(!row.best_edge || (row.met && !beaten), "{row:?}");
        }
        assert!(table.remarks.is_empty(), "{:?}", table.remarks);
        assert!(table.rows.iter().any(|r| r.best_edge));
        assert!(table.rows.windows(2).all(|w| w[0].met >= w[1].met), "what meets the need comes first");
    }
}

#[test]
fn the_row_taken_is_written_into_the_file() {
    let file = any("burnout-kiln.toml");
    let mut comparison = only(&file, "instrumentation").unwrap();
    assert!(comparison.take("instrumentation") && !comparison.take("single-amplifier"));
    let taken = comparison.file(&file);
    let filled = taken.filled(&[]).unwrap();
    let again = file::parse("filled.toml", &filled).unwrap_or_else(|refused| panic!("{refused}\n{filled}"));
    assert_eq!(again.front_end.topology.value.id(), "instrumentation");
    assert_eq!(again.front_end.amplifier.unwrap().value, "front");
    assert_eq!(again.front_end.buffer.unwrap().value, "buffer");
}

#[test]
fn a_front_end_that_does_not_fit_is_refused() {
    let error = only(&any("burnout-kiln.toml"), "single-amplifier").unwrap_err();
    assert!(error.to_string().contains("compensates the reference junction by a voltage sensor"), "{error}");
}

/// By its parts: a chain that compensates by parts of the circuit compares those that do, and none of the others.
#[test]
fn a_front_end_goes_with_the_method_by_its_parts() {
    for method in ["analog", "circuit", "sensor"] {
        for blueprint in icepoint_chain::front_end::library::all() {
            let wanted = Method::wanted_by(blueprint).word();
            let by_parts = match blueprint.id.as_str() {
                "diode-compensation" | "thermistor-bridge" | "platinum-bridge" => "circuit",
                "single-amplifier" | "single-amplifier-taps" | "instrumentation-compensated" => "analog",
                _ => "sensor",
            };
            assert_eq!(wanted, by_parts, "{}", blueprint.id);
            let file = match method {
                "analog" => any("bench-voltmeter.toml"),
                "sensor" => any("burnout-kiln.toml"),
                _ => read(&circuit_compensated()),
            };
            if wanted == method {
                continue;
            }
            let error = only(&file, &blueprint.id).unwrap_err().to_string();
            assert!(error.contains(&format!("method = \"{wanted}\"")), "{}: {error}", blueprint.id);
        }
    }
}

/// The voltmeter chain compensated by a part of the circuit.
fn circuit_compensated() -> String {
    let text = text("bench-voltmeter.toml");
    let from = text.find("[reference_junction]").unwrap();
    let to = from + text[from + 1..].find("\n[").unwrap() + 1;
    let section = "[reference_junction]\nmethod = \"circuit\"\naccuracy = \"0.5 K\"\n\n[compensation]\n\n";
    format!("{}{section}{}", &text[..from], &text[to..].trim_start())
}

/// A split-supply front end that is fed from one supply needs no budget to be told that it does not work.
#[test]
fn what_can_not_work_is_left_out_with_the_pin_that_says_so() {
    let comparison = only(&any("burnout-kiln.toml"), "split-supply-amplifier");
    let error = comparison.unwrap_err().to_string();
    println!("{error}");
    assert!(error.contains("with exact parts") && error.contains("A1"), "{error}");
}

/// A type without a tap: refused where the front end is named, left out where it is not.
#[test]
fn a_type_without_a_tap_is_told() {
    let text = text("bench-voltmeter.toml").replace("type = \"K\"", "type = \"C\"");
    let named = text.replace("[front_end]", "[front_end]\ntopology = \"single-amplifier-taps\"");
    assert_ne!(text, named);
    let refused = file::parse("chain.toml", &named).unwrap_err();
    assert!(refused.problems.iter().any(|p| p.code == "circuit.no_tap"), "{refused}");
}

/// What is wrong with the drawer is wrong for every front end: told once, with its places, before any is tried.
#[test]
fn mistakes_of_the_drawer_are_told_once_with_their_places() {
    let folder = std::env::temp_dir().join(format!("icepoint-compared-{}", std::process::id()));
    std::fs::create_dir_all(&folder).unwrap();
    let csv = "value,kind,count\n1 kΩ,resistor,ten\n2k2,resitor,4\n-5,resistor,2\n";
    std::fs::write(folder.join("drawer.csv"), csv).unwrap();
    let path = folder.join("chain.toml");
    let open = file::parse(path.to_str().unwrap(), &text("kiln-drawer.toml")).unwrap();
    let named = open.with_front_end("instrumentation", &[]);
    let told = icepoint_chain::resolve::resolve(&named).unwrap_err();
    let compared = compare(&open);
    std::fs::remove_dir_all(&folder).unwrap();
    let Err(icepoint_design::compare::CompareError::Refused(refused)) = compared else {
        panic!("{compared:?}")
    };
    assert_eq!(refused, told);
    assert_eq!(refused.problems.len(), 3, "{refused}");
    assert!(refused.problems.iter().all(|p| p.at.is_some()), "{refused}");
}

/// A front end that is not accurate enough stands in the table with what it can do, not with where the walk from the usual
/// values ends: for this one 8.6 K, where the search of the one front end finds 7.8 K.
#[test]
fn what_misses_the_accuracy_is_searched_as_if_it_were_named() {
    const ID: &str = "difference-amplifier";
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../examples/kiln-drawer.toml");
    let file = file::parse(path, &text("kiln-drawer.toml")).unwrap();
    let comparison = only(&file, ID).unwrap();
    let row = comparison.table.rows.iter().find(|row| row.id == ID).unwrap();
    assert!(!row.met, "{row:?}");
    let mut named = icepoint_chain::resolve::resolve(&file.with_front_end(ID, &row.amplifiers)).unwrap();
    named.chain.settings.trials = icepoint_design::compare::TRIALS;
    let alone = icepoint_design::design(named, &|_| {}).unwrap().verdict.error_95;
    println!("{} K in the table, {alone} K alone", row.error_95);
    // Quantiles of so few boards are good to about two per cent.
    assert!(row.error_95 < 1.03 * alone, "{} {alone}", row.error_95);
}
