//! The parts of a low-pass out of a drawer: never more than there are, and as true as any assignment of them.

use core::f64::consts::PI;

use crate::bench::kiln_but;
use crate::drawer::{assert_enough, with_drawer};
use icepoint_chain::Model;
use icepoint_chain::front_end::SlotKind;
use icepoint_chain::resolve::Resolved;
use icepoint_design::search::{self, Fit};

/// Hz, and the frequencies over it at which responses are compared, as docs/filters.md says.
const CORNER: f64 = 2.3;
const COMPARED_AT: [f64; 12] = [0.1, 0.25, 0.4, 0.55, 0.7, 0.85, 1.0, 1.2, 1.5, 1.9, 2.4, 3.0];
/// The amplifier of the filter has an end of its own, which the formula here has not.
const REAL_AMPLIFIER: f64 = 1e-4;

/// Two poles of Sallen and Key's form with gain 1 (any book on filters): 1/(1 + s·C2·(R1 + R2) + s²·R1·R2·C1·C2), against
/// Butterworth's 1/(1 + √2·s + s²) at the corner. The largest departure, share of the signal.
fn departure([r1, r2]: [f64; 2], [c1, c2]: [f64; 2]) -> f64 {
    let inverse = |real: f64, imaginary: f64| {
        let square = real * real + imaginary * imaginary;
        (real / square, -imaginary / square)
    };
    let of = |ratio: f64| {
        let w = 2.0 * PI * CORNER * ratio;
        let found = inverse(1.0 - w * w * r1 * r2 * c1 * c2, w * c2 * (r1 + r2));
        let ideal = inverse(1.0 - ratio * ratio, 2f64.sqrt() * ratio);
        libm::hypot(found.0 - ideal.0, found.1 - ideal.1)
    };
    COMPARED_AT.into_iter().map(of).fold(0.0, f64::max)
}

/// Root of the sum of the squares of what tolerances do to pole frequency and Q, each rectangular: from the logarithms of
/// f² = 1/(R1·R2·C1·C2) and Q = √(R1·R2·C1/C2)/(R1 + R2).
fn spread([r1, r2]: [f64; 2], resistors: [f64; 2], capacitors: [f64; 2]) -> f64 {
    let share = [r1 / (r1 + r2), r2 / (r1 + r2)];
    let square = |of: [f64; 2]| of[0] * of[0] + of[1] * of[1];
    let frequency = 0.25 * (square(resistors) + square(capacitors));
    let q = share.iter().zip(resistors).map(|(s, limit)| (0.5 - s) * (0.5 - s) * limit * limit).sum::<f64>()
        + 0.25 * square(capacitors);
    ((frequency + q) / 3.0).sqrt()
}

fn resolved(csv: &str) -> Resolved {
    asked(csv, &format!("poles = 2\nresponse = \"butterworth\"\ncorner = \"{CORNER} Hz\""))
}

fn asked(csv: &str, filter: &str) -> Resolved {
    let filter = format!("[filter.analog]\n{filter}\n\n[readout]");
    with_drawer(kiln_but(&[]).with("[readout]", &filter).resolved(), csv)
}

#[test]
fn as_true_as_every_assignment_and_never_more_than_there_is() {
    // Twice 220 kΩ is the best there is, if there are two.
    assert_eq!(against_every_assignment(2), [220e3; 2]);
    assert_ne!(against_every_assignment(1), [220e3; 2]);
}

/// The resistors chosen from a drawer with so many pieces of 220 kΩ.
fn against_every_assignment(pieces: u32) -> [f64; 2] {
    // 100 kΩ would be nearest for both places; there is one, and the pedestal has it. Capacitors of 1 µF are two, and the
    // board has them elsewhere.
    let csv = "value,tolerance,tempco,count\n47 kΩ,1 %,50 ppm/K,1\n62 kΩ,1 %,50 ppm/K,1\n75 kΩ,1 %,50 ppm/K,1\n\
               91 kΩ,1 %,50 ppm/K,1\n100 kΩ,1 %,50 ppm/K,1\n120 kΩ,1 %,50 ppm/K,1\n150 kΩ,0.1 %,25 ppm/K,1\n\
               220 kΩ,1 %,50 ppm/K,2\n330 kΩ,1 %,50 ppm/K,1\n1 µF,10 %,0 ppm/K,2\n470 nF,10 %,0 ppm/K,1\n\
               220 nF,10 %,0 ppm/K,2\n680 nF,10 %,0 ppm/K,1\n100 nF,10 %,0 ppm/K,1\n";
    let csv = csv.replace("220 kΩ,1 %,50 ppm/K,2", &format!("220 kΩ,1 %,50 ppm/K,{pieces}"));
    let resolved = resolved(&csv);
    let drawer = resolved.drawer.clone().unwrap();
    let filter = resolved.low_pass.clone().unwrap();
    let [stage] = &filter.stages[..] else { panic!("{filter:?}") };
    let selection = search::choose(&resolved).unwrap();
    println!("{:?}", selection.fits);
    let names: Vec<&String> = stage.ohms.iter().chain(&stage.farads).collect();
    assert_eq!(names.len(), 4);
    // Each is a part of the drawer, with its own figures.
    for name in &names {
        let part = selection.fits[*name].equivalent();
        let kind = resolved.blueprint.slot(name).unwrap().kind;
        let at_hand = drawer.parts.iter().any(|p| p.kind == kind && p.value == part.value);
        assert!(at_hand && !part.in_network, "{name}: {part:?}");
    }
    assert_enough(&resolved, &drawer, &selection.fits);

    // What the rest of the board leaves: its own values are taken from the drawer too.
    let left = |kind: SlotKind| -> Vec<(f64, u32)> {
        let pieces = |value: f64| {
            let gone = resolved.blueprint.slots.iter().filter(|s| s.kind == kind);
            gone.filter(|s| resolved.fixed.get(&s.designator).is_some_and(|v| (v / value - 1.0).abs() < 1e-9))
                .count()
        };
        let parts = drawer.parts.iter().filter(|p| p.kind == kind);
        parts
            .map(|p| {
                let there = (1..9).take_while(|n| p.count.covers(*n)).count();
                (p.value, there.saturating_sub(pieces(p.value)) as u32)
            })
            .filter(|(_, n)| *n > 0)
            .collect()
    };
    let (ohms, farads) = (left(SlotKind::Resistor), left(SlotKind::Capacitor));
    assert!(!ohms.iter().any(|(v, _)| *v == 100e3), "the pedestal has the only 100 kΩ");
    let pairs = |list: &[(f64, u32)]| -> Vec<[f64; 2]> {
        let every = list.iter().flat_map(|a| list.iter().map(move |b| (a, b)));
        every.filter(|(a, b)| a.0 != b.0 || a.1 > 1).map(|(a, b)| [a.0, b.0]).collect()
    };
    let limits = |kind: SlotKind, values: [f64; 2]| {
        values.map(|v| drawer.parts.iter().find(|p| p.kind == kind && p.value == v).unwrap().tolerance)
    };
    let cost = |r: [f64; 2], c: [f64; 2]| {
        departure(r, c) + spread(r, limits(SlotKind::Resistor, r), limits(SlotKind::Capacitor, c))
    };
    let mut all: Vec<(f64, [f64; 2], [f64; 2])> = Vec::new();
    for r in pairs(&ohms) {
        all.extend(pairs(&farads).into_iter().map(|c| (cost(r, c), r, c)));
    }
    all.sort_by(|a, b| a.0.total_cmp(&b.0));
    let value = |name: &String| selection.values[name];
    let resistors = [value(&stage.ohms[0]), value(&stage.ohms[1])];
    let chosen = cost(resistors, [value(&stage.farads[0]), value(&stage.farads[1])]);
    println!("{} assignments; best {:?}; chosen {chosen:.5}", all.len(), &all[..3]);
    assert!(all.len() > 300, "{}", all.len());
    assert!(chosen <= all[0].0 + REAL_AMPLIFIER, "{chosen} {:?}", all[0]);
    resistors
}

/// A drawer without enough capacitors: the filter is bought as a whole.
#[test]
fn what_the_drawer_can_not_make_is_bought() {
    let csv = "value,tolerance,tempco,count\n75 kΩ,1 %,50 ppm/K,4\n220 nF,10 %,0 ppm/K,1\n";
    let resolved = resolved(csv);
    let selection = search::choose(&resolved).unwrap();
    let stage = &resolved.low_pass.as_ref().unwrap().stages[0];
    let farads: Vec<f64> = stage.farads.iter().map(|name| selection.values[name]).collect();
    assert!(farads.len() == 2 && farads.iter().any(|f| *f != 220e-9), "{farads:?}");
    assert_enough(&resolved, &resolved.drawer.clone().unwrap(), &{
        let mut fits = selection.fits.clone();
        // What is bought has values of the series that the drawer does not list.
        fits.retain(|_, fit| [75e3, 220e-9].contains(&fit.value()));
        fits
    });
}

/// One tight and some wide parts of every value: those of the filter that are tied to others take theirs, too, and of no
/// line more than there is.
#[test]
fn every_part_of_a_filter_takes_its_own_piece() {
    let mut csv = "value,tolerance,tempco,count\n".to_owned();
    for ohms in ["10 kΩ", "22 kΩ", "33 kΩ", "47 kΩ", "68 kΩ", "100 kΩ", "150 kΩ", "220 kΩ", "330 kΩ"]
    {
        csv += &format!("{ohms},0.1 %,25 ppm/K,1\n{ohms},5 %,200 ppm/K,4\n");
    }
    for farads in ["47 nF", "100 nF", "220 nF", "470 nF", "1 µF", "2.2 µF"] {
        csv += &format!("{farads},5 %,30 ppm/K,1\n{farads},20 %,1000 ppm/K,4\n");
    }
    for form in ["sallen-key", "multiple-feedback"] {
        let filter =
            format!("poles = 4\nresponse = \"butterworth\"\ncorner = \"{CORNER} Hz\"\nform = \"{form}\"");
        let resolved = asked(&csv, &filter);
        let selection = search::choose(&resolved).unwrap();
        let stages = &resolved.low_pass.as_ref().unwrap().stages;
        let names: Vec<&String> = stages.iter().flat_map(|s| s.ohms.iter().chain(&s.farads)).collect();
        assert!(names.len() >= 8, "{names:?}");
        for name in &names {
            assert!(selection.fits.contains_key(*name), "{form}: nothing fills {name}: {:?}", selection.fits);
        }
        println!("{form}: {:?}", selection.fits);
        let drawer = resolved.drawer.as_ref().unwrap();
        assert_enough(&resolved, drawer, &selection.fits);
        for part in &drawer.parts {
            let is_it = |fit: &&Fit| {
                let one = fit.equivalent();
                (one.value, one.tolerance, one.tempco) == (part.value, part.tolerance, part.tempco)
            };
            let taken = selection.fits.values().filter(is_it).count() as u32;
            assert!(part.count.covers(taken), "{form}: {taken} taken of {part:?}");
        }
    }
}

/// A drawer that people have: values in plenty, but far between.
const SPARSE: &str = "value,tolerance,tempco\n1 kΩ,1 %,100 ppm/K\n2.2 kΩ,1 %,100 ppm/K\n4.7 kΩ,1 %,100 ppm/K\n\
    10 kΩ,1 %,100 ppm/K\n22 kΩ,1 %,100 ppm/K\n47 kΩ,1 %,100 ppm/K\n100 kΩ,1 %,100 ppm/K\n220 kΩ,1 %,100 ppm/K\n\
    470 kΩ,5 %,200 ppm/K\n1 MΩ,5 %,200 ppm/K\n1 nF,10 %,0 ppm/K\n10 nF,10 %,0 ppm/K\n100 nF,10 %,0 ppm/K\n\
    470 nF,10 %,0 ppm/K\n1 µF,10 %,0 ppm/K\n";

/// Frequency (Hz) and Q of every stage of Sallen and Key's form, by the formulas of any book on filters.
fn poles(resolved: &Resolved, selection: &search::Selection) -> Vec<(f64, f64)> {
    let stages = &resolved.low_pass.as_ref().unwrap().stages;
    let value = |name: &String| selection.values[name];
    stages
        .iter()
        .map(|s| {
            let (r1, r2) = (value(&s.ohms[0]), value(&s.ohms[1]));
            let (c1, c2) = (value(&s.farads[0]), value(&s.farads[1]));
            let root = (r1 * r2 * c1 * c2).sqrt();
            (1.0 / (2.0 * PI * root), root / (c2 * (r1 + r2)))
        })
        .collect()
}

/// Four poles of Chebyshev's at 0.5 Hz are nothing that a sparse drawer has: bought, and where they belong. Pole
/// frequencies and Q of the ripple of 0.5 dB from the definition: sinh and cosh of asinh(1/ε)/4; the corner is 3 dB below
/// the response at 0 Hz.
#[test]
fn what_the_drawer_can_only_make_wrong_is_bought() {
    let resolved =
        asked(SPARSE, "poles = 4\nresponse = \"chebyshev\"\nripple = \"0.5 dB\"\ncorner = \"0.5 Hz\"");
    let selection = search::choose(&resolved).unwrap();
    let epsilon = (libm::pow(10.0, 0.05) - 1.0).sqrt();
    let mu = libm::asinh(1.0 / epsilon) / 4.0;
    // Half of the power at 0 Hz, where an even order has its ripple: 1 + ε²·T² = 2·(1 + ε²).
    let corner = libm::cosh(libm::acosh((1.0 / (epsilon * epsilon) + 2.0).sqrt()) / 4.0);
    let wanted = [3.0 * PI / 8.0, PI / 8.0].map(|angle| {
        let (real, imaginary) = (libm::sinh(mu) * libm::sin(angle), libm::cosh(mu) * libm::cos(angle));
        let size = libm::hypot(real, imaginary);
        (0.5 * size / corner, size / (2.0 * real))
    });
    let found = poles(&resolved, &selection);
    println!("{found:?} {wanted:?}");
    assert_eq!(found.len(), 2);
    for (found, wanted) in found.iter().zip(wanted) {
        assert!((found.0 / wanted.0 - 1.0).abs() < 0.1, "{found:?} {wanted:?}");
        assert!((found.1 / wanted.1 - 1.0).abs() < 0.1, "{found:?} {wanted:?}");
    }
    // Places tell what has no part in the drawer.
    let places = search::look_at(&resolved, &selection).unwrap();
    let drawer = resolved.drawer.as_ref().unwrap();
    let stages = &resolved.low_pass.as_ref().unwrap().stages;
    let names = stages.iter().flat_map(|s| s.ohms.iter().chain(&s.farads));
    let bought: Vec<&String> =
        names.filter(|n| drawer.parts.iter().all(|p| p.value != selection.values[*n])).collect();
    assert!(!bought.is_empty(), "{:?}", selection.values);
    for name in bought {
        let place = places.iter().find(|p| p.designators.contains(name)).unwrap();
        assert!(!matches!(place.origin, search::FilledFrom::Drawer { .. }), "{place:?}");
    }
    // The ideal values are the filter's: with them and the capacitors chosen the poles are exactly where they belong.
    let mut ideal = selection.clone();
    for place in places.iter().filter(|p| stages.iter().any(|s| s.ohms.contains(&p.designators[0]))) {
        assert_eq!(place.worth_buying, None, "{place:?}");
        ideal.values.extend(place.ideal.map(|value| (place.designators[0].clone(), value)));
    }
    assert_ne!(ideal.values, selection.values);
    for (found, wanted) in poles(&resolved, &ideal).iter().zip(wanted) {
        assert!((found.0 / wanted.0 - 1.0).abs() < 1e-3, "{found:?} {wanted:?}");
        assert!((found.1 / wanted.1 - 1.0).abs() < 1e-3, "{found:?} {wanted:?}");
    }
}

/// What no parts at all can make is refused, with a drawer as without one.
#[test]
fn what_nothing_can_make_is_refused_in_the_same_words() {
    let filter = "poles = 4\nresponse = \"chebyshev\"\nripple = \"0.5 dB\"\ncorner = \"5 mHz\"";
    let with = asked(SPARSE, filter);
    let mut without = with.clone();
    without.drawer = None;
    let words = |resolved: &Resolved| search::choose(resolved).unwrap_err().to_string();
    assert!(words(&without).contains("no low-pass of this kind can be built"), "{}", words(&without));
    assert_eq!(words(&with), words(&without));
}

/// Multiple feedback amplifies by −R2/R1: of values that make the response nearly as true those win that are tight, though
/// others would be truer. By hand: with ±5 % each the gain is off by 5 %·√(2/3) = 4.1 % standard, of 1000 °C some 40 K as
/// built; with ±0.1 % by less than 1 K.
#[test]
fn gain_resistors_of_a_filter_are_tight_where_the_drawer_has_some_near() {
    let mut csv = "value,tolerance,tempco,count\n".to_owned();
    for decade in ["", "0"] {
        for (wide, tight) in
            [("10", "11"), ("12", "13"), ("15", "16"), ("18", "20"), ("22", "24"), ("27", "30")]
        {
            csv += &format!("{wide}{decade} kΩ,5 %,200 ppm/K,9\n{tight}{decade} kΩ,0.1 %,25 ppm/K,9\n");
        }
        for (wide, tight) in
            [("33", "36"), ("39", "43"), ("47", "51"), ("56", "62"), ("68", "75"), ("82", "91")]
        {
            csv += &format!("{wide}{decade} kΩ,5 %,200 ppm/K,9\n{tight}{decade} kΩ,0.1 %,25 ppm/K,9\n");
        }
    }
    for farads in ["47 nF", "100 nF", "220 nF", "470 nF", "1 µF", "2.2 µF"] {
        csv += &format!("{farads},5 %,30 ppm/K,9\n");
    }
    for (poles, corner) in [(2, "2 Hz"), (2, "2.3 Hz"), (3, "2.6 Hz"), (4, "2.3 Hz"), (2, "2.9 Hz")] {
        let filter = format!(
            "poles = {poles}\nresponse = \"butterworth\"\ncorner = \"{corner}\"\nform = \"multiple-feedback\""
        );
        let resolved = asked(&csv, &filter);
        let selection = search::choose(&resolved).unwrap();
        for stage in &resolved.low_pass.as_ref().unwrap().stages {
            let of = |name: &String| selection.fits[name].equivalent();
            println!("{poles} {corner}: {:?}", stage.ohms.iter().map(of).collect::<Vec<_>>());
            for name in &stage.ohms[..2] {
                assert!(of(name).tolerance < 0.002, "{poles} poles, {corner}, {name}: {:?}", of(name));
            }
        }
    }
}

/// A filter chosen for parts that are tight is built with them: two lines of one value, and none of the wide ones,
/// though the error of the reading does not tell them apart.
#[test]
fn poles_get_the_tight_parts_that_are_left() {
    let csv = "value,tolerance,tempco,count\n220 nF,1 %,0 ppm/K,9\n220 nF,20 %,0 ppm/K,9\n470 nF,1 %,0 ppm/K,1\n\
               470 nF,20 %,0 ppm/K,9\n180 nF,5 %,0 ppm/K,9\n390 nF,5 %,0 ppm/K,9\n10 nF,10 %,0 ppm/K,9\n";
    let mut csv = csv.to_owned();
    for ohms in ["10", "22", "47", "75", "100", "150", "180", "200", "220", "240", "270", "330", "430"] {
        csv += &format!("{ohms} kΩ,0.1 %,10 ppm/K,9\n{ohms} kΩ,5 %,200 ppm/K,9\n");
    }
    let resolved = resolved(&csv);
    let selection = search::choose(&resolved).unwrap();
    let drawer = resolved.drawer.as_ref().unwrap();
    assert_enough(&resolved, drawer, &selection.fits);
    let [stage] = &resolved.low_pass.as_ref().unwrap().stages[..] else { panic!("one stage") };
    for name in stage.ohms.iter().chain(&stage.farads) {
        let part = selection.fits[name].equivalent();
        let kind = resolved.blueprint.slot(name).unwrap().kind;
        let tightest = drawer.parts.iter().find(|p| p.kind == kind && p.value == part.value).unwrap();
        println!("{name}: {part:?}");
        assert_eq!(part.tolerance, tightest.tolerance, "{name}: {part:?}");
    }
    // What the board's own parts make of it, as the dossier prints it, against the logarithms above.
    let of = |names: &[String]| [0, 1].map(|i| selection.fits[&names[i]].equivalent());
    let (ohms, farads) = (of(&stage.ohms), of(&stage.farads));
    let model = Model::new(search::chain(&resolved, &selection.values, &selection.fits, true)).unwrap();
    let [(frequency, q)] = resolved.low_pass.as_ref().unwrap().spreads(&model)[..] else {
        panic!("one stage")
    };
    let by_hand = spread(ohms.map(|p| p.value), ohms.map(|p| p.tolerance), farads.map(|p| p.tolerance));
    println!("{frequency} {q} {by_hand}");
    assert!((libm::hypot(frequency, q) / by_hand - 1.0).abs() < 1e-3, "{frequency} {q} {by_hand}");
}
