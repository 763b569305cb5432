use super::*;
use crate::preferred::{between, nearest};
use icepoint_chain::low_pass::Response;
use icepoint_chain::quantity::series::Series;
use icepoint_chain::{file, resolve};

fn kiln(section: &str) -> Resolved {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../examples/burnout-kiln.toml");
    let text = std::fs::read_to_string(path).unwrap() + section;
    resolve::resolve(&file::parse("kiln", &text).unwrap()).unwrap()
}

/// Small case: all pairs of E6 capacitors and E12 resistors, without any formula, against what the formulas and their
/// neighbours find.
#[test]
fn no_values_of_the_series_are_truer() {
    let mut resolved = kiln("");
    resolved.resistor_series = Series::E12;
    resolved.capacitor_series = Series::E6;
    let plan = LowPass { poles: 2, form: Form::SallenKey, response: Response::Butterworth, corner: None };
    let stage = plan.stages()[0];
    let (corner, real) = (2.0, Amplifier { bandwidth: 350e3, gain: 1e6 });
    let found = of_stage(&Shelf::new(&resolved), &stage, corner, real);
    let ideal: Vec<Complex> = COMPARED_AT.iter().map(|r| ideal_stage(&stage, *r)).collect();
    let cost = |b: &Built| {
        let alone = core::slice::from_ref(b);
        departure(alone, &ideal, corner, real) + spread(alone, &Shelf::bought(&resolved))
    };
    let capacitors = between(Series::E6, FARADS.0, FARADS.1);
    let resistors = between(Series::E12, OHMS.0, OHMS.1);
    let mut best = f64::INFINITY;
    for c1 in &capacitors {
        for c2 in &capacitors {
            let wanted = 1.0 / (libm::pow(2.0 * PI * corner, 2.0) * c1 * c2);
            // Half or twice the product is an octave off: never the best.
            for r1 in &resistors {
                for r2 in resistors.iter().filter(|r2| (0.7..1.4).contains(&(r1 * **r2 / wanted))) {
                    best = best.min(cost(&stage.built(vec![*r1, *r2], vec![*c1, *c2])));
                }
            }
        }
    }
    let ours = cost(&found[0]);
    println!("departure {ours:.5} of the signal, exhaustive {best:.5}");
    assert!(best.is_finite() && ours <= best * 1.02, "{ours} {best}");
}

/// An open corner settles in time, keeps the mains out, and is the response that was asked for.
#[test]
fn an_open_corner_meets_the_need() {
    for (form, poles) in [("sallen-key", 4), ("multiple-feedback", 3), ("multiple-feedback", 2)] {
        let resolved =
            kiln(&format!("\n[filter.analog]\npoles = {poles}\nform = \"{form}\"\nresponse = \"bessel\"\n"));
        let inserted = resolved.low_pass.clone().unwrap();
        assert_eq!(inserted.replaced.len(), 5, "{:?}", inserted.replaced);
        let open = resolved.open.len();
        let chosen = choose(resolved).unwrap();
        assert!(chosen.open.len() < open);
        let model = Model::new(chosen.chain.clone()).unwrap();
        let need = &model.chain().need;
        let settled = model.settling(1.5 * need.settle_within).unwrap().total().unwrap();
        assert!(settled <= need.settle_within, "{form} {poles}: {settled} s");
        assert!(model.mains_kelvin() <= need.mains_residual, "{form} {poles}: {} K", model.mains_kelvin());
        for parts in &inserted.stages {
            for name in parts.ohms.iter().chain(&parts.farads) {
                let value = model.chain().front_end.value(name).unwrap();
                let series =
                    if name.starts_with('R') { chosen.resistor_series } else { chosen.capacitor_series };
                assert!((nearest(series, value) / value - 1.0).abs() < 1e-12, "{name} = {value}");
            }
        }
    }
}

#[test]
fn a_corner_that_was_given_is_met() {
    let chosen =
        choose(kiln("\n[filter.analog]\npoles = 4\nresponse = \"butterworth\"\ncorner = \"3 Hz\"\n"))
            .unwrap();
    let model = Model::new(chosen.chain.clone()).unwrap();
    let plan = chosen.low_pass.as_ref().unwrap().plan;
    for (point, ratio) in model.response(&[1.5, 3.0, 6.0]).unwrap().iter().zip([0.5, 1.0, 2.0]) {
        let ideal: f64 = plan.stages().iter().map(|s| ideal_stage(s, ratio).magnitude()).product();
        // E96 resistors to E6 capacitors leave about a percent; the input filter another.
        assert!((point.analog / ideal - 1.0).abs() < 0.03, "{} Hz: {} {ideal}", point.hertz, point.analog);
    }
}
