//! The drawer: never more than there is, each part with its own figures, pairs where they win, against trying all.

use std::collections::BTreeMap;

use crate::bench::{example, kiln_but, weighed};
use icepoint_chain::Model;
use icepoint_chain::budget::{Study, quick_error_95};
use icepoint_chain::drawer::{Count, Drawer, Usual, parse};
use icepoint_chain::front_end::SlotKind;
use icepoint_chain::resolve::Resolved;
use icepoint_chain::situation::grid;
use icepoint_design::search::{self, FilledFrom, Fit, Fits, Part};

/// The search looks at a coarser grid than the check, and takes the smaller of two errors only beyond this share.
const GRIDS_DIFFER: f64 = 0.005;
const USUAL: Usual = Usual { resistor: (0.01, 50e-6), capacitor: (0.1, 1e-3) };

pub fn with_drawer(mut resolved: Resolved, csv: &str) -> Resolved {
    resolved.drawer = Some(parse("drawer.csv", csv, USUAL).unwrap_or_else(|refused| panic!("{refused}")));
    resolved
}

/// Whether the limits hold, and the largest quick 95 % error over the whole grid, K.
fn judged(resolved: &Resolved, fits: &Fits) -> (bool, f64) {
    let mut values = resolved.fixed.clone();
    values.extend(fits.iter().map(|(d, fit)| (d.clone(), fit.value())));
    let model = Model::new(search::chain(resolved, &values, fits, true)).unwrap();
    let need = model.chain().need;
    let margin = model.headroom().unwrap().first().map_or(1.0, |u| u.relative_margin());
    let inside = margin >= 0.0 && model.open_sensor_shortfall().unwrap() <= 0.0;
    let study = Study::over(&model, grid(need.hot, 11), grid(need.board, 5));
    (inside, weighed(margin, quick_error_95(&study, need.calibration).unwrap()))
}

/// Pieces that a selection takes of each value, with the tolerance it was taken at.
fn taken(resolved: &Resolved, fits: &Fits) -> BTreeMap<String, u32> {
    let mut pieces = BTreeMap::new();
    let mut take = |kind: SlotKind, part: &Part| {
        *pieces.entry(format!("{kind:?} {:.6e}", part.value)).or_insert(0) += 1;
    };
    for (designator, fit) in fits {
        let kind = resolved.blueprint.slot(designator).unwrap().kind;
        match fit {
            Fit::One(part) => take(kind, part),
            Fit::Two { first, second, .. } => {
                take(kind, first);
                take(kind, second);
            }
        }
    }
    pieces
}

pub fn assert_enough(resolved: &Resolved, drawer: &Drawer, fits: &Fits) {
    for (what, pieces) in taken(resolved, fits) {
        let there: u32 = drawer
            .parts
            .iter()
            .filter(|p| format!("{:?} {:.6e}", p.kind, p.value) == what)
            .map(|p| if let Count::Pieces(n) = p.count { n } else { u32::MAX })
            .sum();
        assert!(pieces <= there, "{what}: {pieces} taken of {there}");
    }
}

#[test]
fn never_more_than_there_is() {
    // Three places want about 100 kΩ and 10 kΩ each; there are two and one.
    let csv = "value,tolerance,count\n100 kΩ,1 %,2\n10 kΩ,1 %,2\n82 kΩ,1 %,1\n4.7 kΩ,1 %,3\n1 kΩ,1 %,2\n910 Ω,0.1 %,1\n\
               10 MΩ,5 %,1\n100 nF,10 %,2\n10 nF,10 %,3\n1 µF,10 %,2\n470 nF,10 %,1\n";
    let resolved = with_drawer(example("burnout-kiln.toml").resolved(), csv);
    let selection = search::choose(&resolved).unwrap();
    let drawer = resolved.drawer.clone().unwrap();
    let mut fits = selection.fits.clone();
    let places = search::look_at(&resolved, &selection).unwrap();
    for place in places.iter().filter(|p| !matches!(p.origin, FilledFrom::Drawer { .. })) {
        println!("to be bought: {:?}", place.designators);
        for designator in &place.designators {
            fits.remove(designator);
        }
    }
    assert!(fits.len() > 10, "most places are filled from the drawer: {}", fits.len());
    assert_enough(&resolved, &drawer, &fits);
}

/// Gain and pedestal out of nine kinds of resistor: every assignment that the counts allow. (Values that are fixed
/// elsewhere on the board are left out of the drawer: they would take their part from it.)
#[test]
fn as_good_as_every_assignment() {
    let csv = "value,tolerance,tempco,count\n910 Ω,1 %,100 ppm/K,1\n1.02 kΩ,0.1 %,25 ppm/K,1\n1.1 kΩ,1 %,50 ppm/K,1\n\
               3.3 kΩ,1 %,50 ppm/K,1\n4.75 kΩ,0.1 %,25 ppm/K,2\n9.1 kΩ,1 %,50 ppm/K,1\n75 kΩ,1 %,50 ppm/K,1\n\
               100 kΩ,0.1 %,25 ppm/K,1\n220 kΩ,1 %,50 ppm/K,1\n";
    let resolved = with_drawer(kiln_but(&["RG", "R5", "R6"]).resolved(), csv);
    let parts = resolved.drawer.clone().unwrap().parts;
    let mut all: Vec<(f64, Fits)> = Vec::new();
    let one = |i: usize| {
        Fit::One(Part {
            value: parts[i].value,
            tolerance: parts[i].tolerance,
            tempco: parts[i].tempco,
            in_network: false,
        })
    };
    let limits = |d: &str, i: usize| {
        let (low, high) = resolved.blueprint.slot(d).unwrap().limits;
        (low..=high).contains(&parts[i].value)
    };
    for rg in 0..parts.len() {
        for r5 in 0..parts.len() {
            for r6 in 0..parts.len() {
                let pieces = |i: usize| [rg, r5, r6].iter().filter(|j| **j == i).count() as u32;
                let enough = [rg, r5, r6].iter().all(|i| parts[*i].count.covers(pieces(*i)));
                if !enough || !limits("RG", rg) || !limits("R5", r5) || !limits("R6", r6) {
                    continue;
                }
                let fits = Fits::from([
                    ("RG".to_owned(), one(rg)),
                    ("R5".to_owned(), one(r5)),
                    ("R6".to_owned(), one(r6)),
                ]);
                let (inside, error) = judged(&resolved, &fits);
                if inside {
                    all.push((error, fits));
                }
            }
        }
    }
    all.sort_by(|a, b| a.0.total_cmp(&b.0));
    assert!(all.len() > 5, "{} assignments keep the limits", all.len());
    let selection = search::choose(&resolved).unwrap();
    let (inside, error) = judged(&resolved, &selection.fits);
    println!(
        "{} fit; best {:.4} K {:?}; chosen {error:.4} K {:?}",
        all.len(),
        all[0].0,
        all[0].1,
        selection.fits
    );
    assert!(inside, "the choice keeps the limits");
    assert!(error <= all[0].0 * (1.0 + GRIDS_DIFFER));
}

/// A drawer with no pair of resistors in the right ratio: two parts make one, and the board says so.
#[test]
fn two_parts_where_they_win() {
    let csv = "value,tolerance,tempco,count\n180 kΩ,1 %,50 ppm/K,3\n33 kΩ,1 %,50 ppm/K,3\n1 kΩ,1 %,50 ppm/K,2\n\
               27 kΩ,1 %,50 ppm/K,4\n110 Ω,1 %,50 ppm/K,2\n10 MΩ,1 %,50 ppm/K,2\n10 kΩ,1 %,50 ppm/K,4\n\
               68 kΩ,1 %,50 ppm/K,2\n1 µF,10 %,0 ppm/K,4\n100 pF,10 %,0 ppm/K,2\n2.2 µF,10 %,0 ppm/K,4\n";
    // Without a calibration the gain itself must be right.
    let text =
        example("bench-voltmeter.toml").with("calibration = \"zero and span\"", "calibration = \"none\"");
    let resolved = with_drawer(text.resolved(), csv);
    let selection = search::choose(&resolved).unwrap();
    let pairs: Vec<&String> =
        selection.fits.iter().filter(|(_, f)| matches!(f, Fit::Two { .. })).map(|(d, _)| d).collect();
    println!("two parts at {pairs:?}: {:?}", selection.fits);
    assert!(!pairs.is_empty(), "some place takes two parts");
    assert_enough(&resolved, &resolved.drawer.clone().unwrap(), &selection.fits);
    let (_, with_pairs) = judged(&resolved, &selection.fits);
    // The same board with the nearest single part at those places.
    let mut single = selection.fits.clone();
    for designator in &pairs {
        let wanted = selection.fits[*designator].value();
        let kind = resolved.blueprint.slot(designator).unwrap().kind;
        let drawer = resolved.drawer.as_ref().unwrap();
        let off = |value: f64| libm::log(value / wanted).abs();
        let near = drawer.of_kind(kind).min_by(|a, b| off(a.value).total_cmp(&off(b.value))).unwrap();
        let part =
            Part { value: near.value, tolerance: near.tolerance, tempco: near.tempco, in_network: true };
        single.insert((*designator).clone(), Fit::One(part));
    }
    let (_, without) = judged(&resolved, &single);
    println!("with pairs {with_pairs:.3} K, nearest single parts {without:.3} K");
    assert!(with_pairs < without);
    let values = selection.values.clone();
    let chain = search::chain(&resolved, &values, &selection.fits, true);
    for designator in pairs {
        let (a, b) = (format!("{designator}A"), format!("{designator}B"));
        assert!(chain.front_end.part(&a).is_some() && chain.front_end.part(&b).is_some());
        assert!(chain.front_end.part(designator).is_none(), "{designator} is two parts now");
    }
}

#[test]
fn what_is_not_there_is_bought_and_said() {
    let csv = "value,tolerance,count\n100 kΩ,1 %,9\n10 kΩ,1 %,9\n4.7 kΩ,1 %,9\n1 kΩ,1 %,9\n10 MΩ,5 %,1\n";
    let resolved = with_drawer(example("burnout-kiln.toml").resolved(), csv);
    let selection = search::choose(&resolved).unwrap();
    for place in search::look_at(&resolved, &selection).unwrap() {
        let capacitor = place.kind == SlotKind::Capacitor;
        assert_eq!(place.origin == FilledFrom::NothingThere, capacitor, "{:?}", place.designators);
    }
}

/// Nothing is bought without leave; with leave, only what takes enough off the error.
#[test]
fn a_part_is_bought_when_it_is_worth_it() {
    let csv = "value,tolerance,tempco,count\n1.5 kΩ,5 %,200 ppm/K,9\n1.8 kΩ,5 %,200 ppm/K,9\n";
    let mut resolved = with_drawer(kiln_but(&["RG"]).resolved(), csv);
    let kept = search::choose(&resolved).unwrap();
    assert!([1500.0, 1800.0].contains(&kept.values["RG"]), "{}", kept.values["RG"]);
    let place = &search::look_at(&resolved, &kept).unwrap()[0];
    let purchase = place.worth_buying.expect("a better gain resistor is worth buying");
    assert!(purchase.saves > 0.05 && place.costs > 0.0, "{place:?}");
    resolved.worth_buying = Some(2.0 * purchase.saves);
    assert_eq!(search::choose(&resolved).unwrap().values["RG"], kept.values["RG"]);
    resolved.worth_buying = Some(0.5 * purchase.saves);
    let bought = search::choose(&resolved).unwrap();
    assert_eq!(bought.values["RG"], purchase.part.value);
    assert_eq!(search::look_at(&resolved, &bought).unwrap()[0].origin, FilledFrom::Bought);
}

/// A value that the user fixed and that lies in the drawer is that part, with its own tolerance.
#[test]
fn a_fixed_value_is_the_part_in_the_drawer() {
    let folder = std::path::Path::new(env!("CARGO_TARGET_TMPDIR"));
    std::fs::write(folder.join("precise.csv"), "value,tolerance,tempco\n909 Ω,0.1 %,10 ppm/K\n").unwrap();
    let text = kiln_but(&[]).value("RG", "909 Ω").with("[parts]\n", "[parts]\ndrawer = \"precise.csv\"\n");
    let path = folder.join("kiln.toml");
    std::fs::write(&path, text.text()).unwrap();
    let file = icepoint_chain::file::load(&path).unwrap_or_else(|refused| panic!("{refused}"));
    let resolved = icepoint_chain::resolve::resolve(&file).unwrap_or_else(|refused| panic!("{refused}"));
    let part = resolved.chain.front_end.part("RG").unwrap();
    let figures = part.kind.resistor().unwrap();
    assert_eq!((figures.tolerance, figures.tempco), (0.001, 10e-6));
    // No such drawer: the chain file is told where it is named.
    std::fs::write(&path, text.with("precise.csv", "nowhere.csv").text()).unwrap();
    let file = icepoint_chain::file::load(&path).unwrap_or_else(|refused| panic!("{refused}"));
    let refused = icepoint_chain::resolve::resolve(&file).unwrap_err();
    assert_eq!(refused.problems[0].code, "drawer.unreadable");
    assert!(refused.problems[0].at.is_some());
}

/// A part out of the drawer is a single one: it tracks no other, whatever network the circuit has there.
#[test]
fn parts_of_the_drawer_are_in_no_network() {
    let mut resolved = kiln_but(&["R5", "R6"]).resolved();
    resolved.surroundings.network = Some((0.0005, 5e-6));
    let names = |fits: &Fits, resolved: &Resolved| -> Vec<String> {
        let mut values = resolved.fixed.clone();
        values.extend(fits.iter().map(|(d, fit)| (d.clone(), fit.value())));
        let chain = search::chain(resolved, &values, fits, true);
        let tied =
            |p: &&icepoint_chain::front_end::Part| p.kind.resistor().is_some_and(|f| f.network.is_some());
        chain.front_end.parts.iter().filter(tied).map(|p| p.designator.clone()).collect()
    };
    let bought = search::choose(&resolved).unwrap();
    let of_series = names(&bought.fits, &resolved);
    let csv = "value,tolerance,tempco\n1 kΩ,1 %,50 ppm/K\n1.1 kΩ,1 %,50 ppm/K\n27 kΩ,1 %,50 ppm/K\n30 kΩ,1 %,50 ppm/K\n";
    let resolved = with_drawer(resolved, csv);
    let taken = search::choose(&resolved).unwrap();
    let of_drawer = names(&taken.fits, &resolved);
    assert!(of_series.contains(&"R5".into()) && of_series.contains(&"R6".into()), "{of_series:?}");
    assert!(!of_drawer.contains(&"R5".into()) && !of_drawer.contains(&"R6".into()), "{of_drawer:?}");
}

/// Precise parts of three values, one each, beside plain ones of the same values: every assignment that the counts allow. The
/// filter's resistor may have the precise 1 kΩ, too, and it would do nothing there.
#[test]
fn precise_parts_go_where_they_take_most_off() {
    let csv = "value,tolerance,tempco,count\n976 Ω,0.1 %,25 ppm/K,1\n976 Ω,1 %,100 ppm/K,9\n\
               90.9 kΩ,0.1 %,25 ppm/K,1\n90.9 kΩ,1 %,100 ppm/K,9\n4.75 kΩ,1 %,50 ppm/K,9\n\
               10.5 kΩ,0.1 %,25 ppm/K,1\n10.5 kΩ,1 %,100 ppm/K,9\n";
    let open = ["RG", "R5", "R6", "R9"];
    let text = kiln_but(&open).with("calibration = \"zero and span\"", "calibration = \"none\"");
    let resolved = with_drawer(text.resolved(), csv);
    let parts = resolved.drawer.clone().unwrap().parts;
    let limits = open.map(|d| resolved.blueprint.slot(d).unwrap().limits);
    let mut all: Vec<(f64, Vec<usize>)> = Vec::new();
    let count = parts.len();
    for number in 0..count.pow(4) {
        let at: Vec<usize> = (0..4).map(|place| number / count.pow(place) % count).collect();
        let enough = at.iter().all(|i| parts[*i].count.covers(at.iter().filter(|j| *j == i).count() as u32));
        let may = at.iter().zip(limits).all(|(i, (low, high))| (low..=high).contains(&parts[*i].value));
        if !enough || !may {
            continue;
        }
        let one = |i: usize| {
            let p = parts[i];
            Fit::One(Part { value: p.value, tolerance: p.tolerance, tempco: p.tempco, in_network: false })
        };
        let fits: Fits = open.iter().zip(&at).map(|(d, i)| ((*d).to_owned(), one(*i))).collect();
        let (inside, error) = judged(&resolved, &fits);
        if inside {
            all.push((error, at));
        }
    }
    all.sort_by(|a, b| a.0.total_cmp(&b.0));
    let selection = search::choose(&resolved).unwrap();
    let (inside, error) = judged(&resolved, &selection.fits);
    let fits = &selection.fits;
    println!("{} fit; best {:.4} K {:?}; chosen {error:.4} K {fits:?}", all.len(), all[0].0, all[0].1);
    assert!(all.len() > 20 && inside);
    assert!(error <= all[0].0 * (1.0 + GRIDS_DIFFER));
    let tolerance = |d: &str| fits[d].equivalent().tolerance;
    assert_eq!(tolerance("RG"), 0.001, "{fits:?}");
    assert_eq!(tolerance("R9"), 0.01, "the filter has a plain one: {fits:?}");
}

/// A value that the user fixed takes the plain part of two, where the precise one does more elsewhere: there is one of it,
/// and it would do nothing in the filter.
#[test]
fn a_fixed_value_leaves_the_precise_part_to_the_gain() {
    let csv = "value,tolerance,tempco,count\n1 kΩ,0.1 %,25 ppm/K,1\n1 kΩ,1 %,100 ppm/K,2\n";
    let resolved = with_drawer(kiln_but(&["RG"]).resolved(), csv);
    let selection = search::choose(&resolved).unwrap();
    println!("{:?}", selection.fits);
    let tolerance = |d: &str| selection.fits[d].equivalent().tolerance;
    assert_eq!((tolerance("RG"), tolerance("R9")), (0.001, 0.01));
    let places = search::look_at(&resolved, &selection).unwrap();
    assert_eq!(places[0].origin, FilledFrom::Drawer { left: Count::Pieces(0) });
    // One that states which it is keeps it.
    let resolved = with_drawer(kiln_but(&["RG"]).value("R9", "1 kΩ ± 0.1 %").resolved(), csv);
    let selection = search::choose(&resolved).unwrap();
    assert_eq!(selection.fits["RG"].equivalent().tolerance, 0.01, "{:?}", selection.fits);
}
