//! The law of propagation looks at boards near the mean, each without an elimination of its own: what it finds must be
//! what whole boards read.

use icepoint_chain::Model;
use icepoint_chain::budget::{Study, gum, quick_worst_95};
use icepoint_chain::chain::CalibrationWish;
use icepoint_chain::front_end::library;
use icepoint_chain::resolve::Resolved;
use icepoint_chain::situation::Situation;

use crate::bench::resolved;
use crate::front_ends::{ELSEWHERE, built};

/// Rounding of the eliminations, K, at readings of 1000 °C and gains of some hundred.
const ROUNDING: f64 = 1e-8;

/// Every built-in front end on a chain that it suits.
fn all() -> Vec<(String, Resolved)> {
    let files = ["diode.toml", "thermistor.toml", "platinum.toml", "taps.toml", "direct.toml"];
    let amplified = library::TEXTS.iter().map(|t| t.0).filter(|id| !ELSEWHERE.contains(id));
    let on_a_chain = amplified.map(|id| (id.to_owned(), built(id)));
    on_a_chain.chain(files.map(|name| (name.to_owned(), resolved(name)))).collect()
}

/// A coarse grid: ends and middle.
fn study(model: &Model) -> Study<'_> {
    let need = &model.chain().need;
    let grid = |(a, b): (f64, f64)| vec![a, 0.5 * (a + b), b];
    Study::over(model, grid(need.hot), grid(need.board))
}

#[test]
fn every_contribution_is_that_of_whole_boards() {
    let mut worst = 0.0f64;
    for (name, resolved) in all() {
        let model = Model::new(resolved.with_values(&resolved.fixed)).unwrap();
        let study = study(&model);
        let (_, found) = gum::contributions(&study).unwrap();
        let mut work = study.work();
        let (mut up, mut down) = (vec![0.0; found.len()], vec![0.0; found.len()]);
        for (i, imperfection) in study.imperfections.iter().enumerate() {
            let u = imperfection.distribution.standard();
            let mut d = study.mean.clone();
            d[i] += u;
            study.readings(&d, &mut work, &mut up).unwrap();
            d[i] = study.mean[i] - u;
            study.readings(&d, &mut work, &mut down).unwrap();
            for (point, row) in found.iter().enumerate() {
                let whole = 0.5 * (up[point] - down[point]);
                let off = (row[i] - whole).abs();
                assert!(off < ROUNDING, "{name}, {}: {} K, whole boards {whole} K", imperfection.id, row[i]);
                worst = worst.max(off);
            }
        }
    }
    println!("largest difference {worst:.1e} K");
    assert!(worst > 0.0, "another way of computing rounds otherwise");
}

/// The estimate by which a search orders boards, against the one by whole readings: boards within their limits.
#[test]
fn the_quick_estimate_is_that_of_whole_readings() {
    /// Slopes instead of curves: of a contribution's cube.
    const ALLOWED: f64 = 2e-4;
    for (name, resolved) in all() {
        let chain = resolved.with_values(&resolved.fixed);
        for wish in CalibrationWish::ALL {
            let mut chain = chain.clone();
            chain.need.calibration = wish;
            let model = Model::new(chain).unwrap();
            if model.headroom().unwrap().first().is_some_and(|u| u.relative_margin() < 0.0) {
                continue;
            }
            let whole = study(&model);
            let quick = Study::quick(&model, whole.hot.clone(), whole.board.clone(), wish);
            let (quick, whole) = (quick_worst_95(&quick).unwrap(), quick_worst_95(&whole).unwrap());
            for wanted in CalibrationWish::ALL {
                let (a, b) = (quick[wanted.points()].error_95, whole[wanted.points()].error_95);
                if wanted == wish || wanted == CalibrationWish::None {
                    assert!((a - b).abs() < ALLOWED * b, "{name}, {}: {a} K and {b} K", wanted.name());
                } else {
                    assert!(a.is_nan(), "{name}: {} was not asked for", wanted.name());
                }
            }
        }
    }
}

/// What a search looks at but once, against what is looked at until the sums agree.
#[test]
fn noise_and_settling_at_a_look() {
    /// Of the noise; of the settling time, whose response is carried on with as many parts.
    const ALLOWED: (f64, f64) = (1e-3, 1e-6);
    let mut worst = (0.0f64, 0.0f64);
    for (name, resolved) in all() {
        let chain = resolved.with_values(&resolved.fixed);
        let model = Model::without_dynamics(chain.clone()).unwrap().with_quick_dynamics().unwrap();
        let whole = Model::new(chain).unwrap();
        let [once, sums] = [&model, &whole].map(|m| m.dynamics().unwrap());
        let off = (once.noise_rms / sums.noise_rms - 1.0).abs();
        assert!(off < ALLOWED.0, "{name}: noise {} V and {} V", once.noise_rms, sums.noise_rms);
        assert_eq!(once.mains, sums.mains, "{name}");
        let asked = whole.chain().need.settle_within;
        let duration = if asked.is_finite() { 1.5 * asked } else { 20.0 };
        let [once, checked] = [whole.quick_settling(duration), whole.settling(duration)].map(Result::unwrap);
        assert!(once.response.error.is_infinite() && checked.response.error.is_finite());
        let times = (once.total(), checked.total());
        let late = match times {
            (Some(a), Some(b)) => (a / b - 1.0).abs(),
            (None, None) => 0.0,
            _ => f64::INFINITY,
        };
        assert!(late < ALLOWED.1, "{name}: settles in {times:?} s");
        worst = (worst.0.max(off), worst.1.max(late));
    }
    println!("largest differences {:.1e} of the noise, {:.1e} of the time", worst.0, worst.1);
    assert!(worst.0 > 0.0, "it is not looked at less");
}

/// A board that takes the order of elimination over from the usual one reads what it reads with its own.
#[test]
fn boards_like_another() {
    let mut worst = 0.0f64;
    for (name, resolved) in all() {
        let usual = Model::without_dynamics(resolved.with_values(&resolved.fixed)).unwrap();
        let mut values = resolved.fixed.clone();
        let slots = &resolved.blueprint.slots;
        values.extend(slots.iter().map(|slot| (slot.designator.clone(), 1.21 * slot.usual)));
        let chain = resolved.with_values(&values);
        let own = Model::without_dynamics(chain.clone()).unwrap();
        let like = Model::without_dynamics_like(chain, &usual).unwrap();
        let need = own.chain().need;
        for hot in [need.hot.0, need.hot.1] {
            for board in [need.board.0, need.board.1] {
                let at = Situation::at(own.chain(), hot, board);
                let [a, b] = [&own, &like].map(|m| m.predict(&at, m.mean_deviations()).unwrap());
                let off = (a.celsius - b.celsius).abs();
                assert!(off < ROUNDING, "{name}: {} °C and {} °C", a.celsius, b.celsius);
                worst = worst.max(off);
            }
        }
    }
    println!("largest difference {worst:.1e} K");
}
