//! Small searches against trying every value there is.

use crate::bench::{example, judged, kiln_but, series, simulated};
use icepoint_chain::front_end::Values;
use icepoint_chain::quantity::series::Series;
use icepoint_chain::resolve::Resolved;

/// The search looks at ends and middle of the range, the check at the whole grid.
const GRIDS_DIFFER: f64 = 0.005;
/// Simulated 95 % errors of 20 000 boards drawn alike scatter by less between neighbouring designs.
const SAMPLING: f64 = 0.01;

/// All values of all sets that keep every limit, best first.
fn everything(resolved: &Resolved, sets: Vec<Vec<(&str, f64)>>, rest: &Values) -> Vec<(f64, Values)> {
    let mut good: Vec<(f64, Values)> = sets
        .into_iter()
        .filter_map(|set| {
            let mut values = rest.clone();
            values.extend(set.into_iter().map(|(d, v)| (d.to_owned(), v)));
            let (margin, error) = judged(resolved, &values);
            (margin >= 0.0).then_some((error, values))
        })
        .collect();
    good.sort_by(|a, b| a.0.total_cmp(&b.0));
    good
}

#[test]
fn a_gain_resistor_from_e12() {
    let text = kiln_but(&["RG"]).with("series = \"E96\"", "series = \"E12\"");
    let resolved = text.resolved();
    assert_eq!(resolved.open, ["RG"]);
    let chosen = icepoint_design::values(&resolved).unwrap();
    // Gains from 10 to 500.
    let sets = series(Series::E12, 100.0, 5.6e3).into_iter().map(|rg| vec![("RG", rg)]).collect();
    let all = everything(&resolved, sets, &chosen);
    assert!(all.len() > 3, "{} values keep the limits", all.len());
    let (best, values) = &all[0];
    let (margin, error) = judged(&resolved, &chosen);
    println!("chosen {} Ω: {error:.4} K; best {} Ω: {best:.4} K", chosen["RG"], values["RG"]);
    assert!(margin >= 0.0, "the chosen value exceeds a limit: {margin}");
    assert!(error <= best * (1.0 + GRIDS_DIFFER), "chosen {} Ω, best {} Ω", chosen["RG"], values["RG"]);
    // And by simulation, against the best and its neighbours in rank.
    let ours = simulated(&resolved, &chosen, 20_000);
    for (_, values) in all.iter().take(4) {
        let other = simulated(&resolved, values, 20_000);
        assert!(
            ours <= other * (1.0 + SAMPLING),
            "{} Ω: {other} K, chosen {} Ω: {ours} K",
            values["RG"],
            chosen["RG"]
        );
    }
}

/// The pedestal divider from E6, every pair between 1 kΩ and 470 kΩ.
#[test]
fn a_pedestal_divider_from_e6() {
    let text = kiln_but(&["R5", "R6"]).with("series = \"E96\"", "series = \"E6\"");
    let resolved = text.resolved();
    assert_eq!(resolved.open, ["R5", "R6"]);
    let chosen = icepoint_design::values(&resolved).unwrap();
    let mut sets = Vec::new();
    for r6 in series(Series::E6, 1e3, 47e3) {
        for r5 in series(Series::E6, 10e3, 470e3) {
            sets.push(vec![("R5", r5), ("R6", r6)]);
        }
    }
    let all = everything(&resolved, sets, &chosen);
    let (best, values) = &all[0];
    let (margin, error) = judged(&resolved, &chosen);
    println!(
        "{} pairs fit; chosen {}/{}: {error:.4} K; best {}/{}: {best:.4} K",
        all.len(),
        chosen["R5"],
        chosen["R6"],
        values["R5"],
        values["R6"]
    );
    assert!(all.len() > 2);
    assert!(margin >= 0.0, "the chosen pair exceeds a limit: {margin}");
    assert!(error <= best * (1.0 + GRIDS_DIFFER), "chosen {chosen:?}, best {values:?}");
}

/// Feedback and gain resistor of the bench thermometer from E12: every pair within the circuit's own limits. The line
/// through a curved emf makes the ratio matter to a per mille.
#[test]
fn a_gain_ratio_from_e12() {
    let fixed = [
        ("R1", "10 kΩ ± 1 %"),
        ("R5", "27 kΩ ± 1 %"),
        ("R6", "110 Ω ± 1 %"),
        ("R7", "10 MΩ ± 1 %"),
        ("R8", "10 kΩ ± 1 %"),
        ("C1", "1 µF"),
        ("C2", "100 pF"),
        ("C3", "1 µF"),
        ("C4", "1 µF"),
    ];
    let resolved = example("bench-voltmeter.toml")
        .with("series = \"E24\"", "series = \"E12\"")
        .values(&fixed)
        .resolved();
    assert_eq!(resolved.open, ["R3", "R4"]);
    let limits = |d: &str| resolved.blueprint.slot(d).unwrap().limits;
    let mut sets = Vec::new();
    for r3 in series(Series::E12, limits("R3").0, limits("R3").1) {
        for r4 in series(Series::E12, limits("R4").0, limits("R4").1) {
            sets.push(vec![("R3", r3), ("R4", r4)]);
        }
    }
    let tried = sets.len();
    let all = everything(&resolved, sets, &resolved.fixed);
    let chosen = icepoint_design::values(&resolved).unwrap();
    let (margin, error) = judged(&resolved, &chosen);
    let (best, values) = &all[0];
    println!(
        "{tried} pairs, {} fit; chosen {}/{}: {error:.4} K; best {}/{}: {best:.4} K",
        all.len(),
        chosen["R3"],
        chosen["R4"],
        values["R3"],
        values["R4"]
    );
    assert!(margin >= 0.0);
    assert!(error <= best * (1.0 + GRIDS_DIFFER));
}

/// Both resistors of the active low-pass from E6, with little time and little mains allowed: every pair, judged by the
/// step response and the mains residual.
#[test]
fn a_filter_within_time_and_mains() {
    let text = kiln_but(&["R7", "R8"])
        .value("RG", "1.1 kΩ ± 1 %")
        .with("series = \"E96\"", "series = \"E6\"")
        .with("settle_within = \"5 s\"", "settle_within = \"0.4 s\"")
        .with("mains_residual = \"0.5 K\"", "mains_residual = \"0.01 K\"");
    let resolved = text.resolved();
    assert_eq!(resolved.open, ["R7", "R8"]);
    let (low, high) = resolved.blueprint.slot("R7").unwrap().limits;
    let values = series(Series::E6, low, high);
    let mut good: Vec<(f64, f64, f64)> = Vec::new();
    for &r7 in &values {
        for &r8 in &values {
            let mut set = resolved.fixed.clone();
            set.extend([("R7".to_owned(), r7), ("R8".to_owned(), r8)]);
            let model = icepoint_chain::Model::new(resolved.with_values(&set)).unwrap();
            let settled = model.settling(0.6).unwrap().total().is_some_and(|t| t <= 0.4);
            let (margin, error) = judged(&resolved, &set);
            if settled && model.mains_kelvin() <= 0.01 && margin >= 0.0 {
                good.push((error, r7, r8));
            }
        }
    }
    good.sort_by(|a, b| a.0.total_cmp(&b.0));
    let chosen = icepoint_design::values(&resolved).unwrap();
    let found = good.iter().find(|(_, a, b)| *a == chosen["R7"] && *b == chosen["R8"]);
    println!(
        "{} of {} pairs hold both; chosen {}/{}",
        good.len(),
        values.len().pow(2),
        chosen["R7"],
        chosen["R8"]
    );
    assert!(!good.is_empty() && good.len() < values.len().pow(2) / 2, "the limits are tight and can be met");
    let found = found.expect("the chosen pair holds both limits");
    assert!(found.0 <= good[0].0 * (1.0 + GRIDS_DIFFER), "{found:?}, best {:?}", good[0]);
}
