//! The tracks that are chosen: long enough for 99.9 % of boards, and no shorter one is.

use icepoint_chain::budget::Study;
use icepoint_chain::trims::report::{Report, WANTED};
use icepoint_chain::trims::tracks;
use icepoint_chain::{Model, file, resolve};

const TRIMMED: &str = include_str!("../../../../examples/trimmed-bench.toml");

#[test]
fn no_shorter_track_would_do() {
    let file = file::parse("trimmed-bench.toml", TRIMMED).unwrap();
    let resolved = resolve::resolve(&file).unwrap();
    let values = icepoint_design::values(&resolved).unwrap();
    let reached = |values: &icepoint_chain::front_end::Values| {
        let model = Model::without_dynamics(resolved.with_values(values)).unwrap();
        Report::of(&Study::new(&model), 4_000, 3).unwrap().unwrap().reached
    };
    assert!(reached(&values) >= WANTED, "{values:?}");
    let mut tried = 0;
    for trim in ["RV1", "RV2"] {
        let beside = if trim == "RV1" { "R5" } else { "R4" };
        for shorter in tracks().into_iter().filter(|t| *t < values[trim]) {
            let mut other = values.clone();
            // The middle stays where it was.
            other.insert(beside.into(), values[beside] + 0.5 * (values[trim] - shorter));
            other.insert(trim.into(), shorter);
            let share = reached(&other);
            assert!(share < WANTED, "{trim} = {shorter} Ω does as well: {share}");
            tried += 1;
        }
    }
    assert!(tried >= 8, "only {tried}");
}
