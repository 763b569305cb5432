//! Comparing front ends: what fits, what is left out and why, the best edge, and the file that is written.

use crate::bench::example;
use icepoint_chain::file;
use icepoint_design::compare::{compare, only};

fn any(name: &str) -> file::ChainFile {
    let text = example(name);
    let named: Vec<&str> = text.text().lines().filter(|l| !l.starts_with("topology")).collect();
    file::parse("chain.toml", &named.join("\n")).unwrap_or_else(|refused| panic!("{refused}"))
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
        // The best edge, by its definition.
        for row in &table.rows {
            let beaten = table.rows.iter().any(|o| {
                (o.error_95 < row.error_95 && o.parts <= row.parts)
                    || (o.error_95 <= row.error_95 && o.parts < row.parts)
            });
            assert!(!(row.best_edge && beaten), "{row:?}");
        }
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
    assert!(error.to_string().contains("reads a sensor"), "{error}");
}
