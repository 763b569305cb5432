//! The same figures another way: normal equations in place of the gain, direct omission in place of the block formula,
//! the budget of the calibrated chain in place of the band.

use icepoint_bench::calibrate::Calibrator;
use icepoint_bench::calibrate::checks::left_out;
use icepoint_bench::calibrate::forward::What;
use icepoint_bench::calibrate::simulate::{build, read};
use icepoint_chain::Model;
use icepoint_chain::budget::monte_carlo::generator;
use icepoint_chain::budget::{Study, gum};
use icepoint_chain::chain::{Correction, Findings, Found};
use nalgebra::{DMatrix, DVector};

use crate::{condition, example, given};

const HOT: &[f64] = &[20.0, 300.0, 700.0, 1100.0];
const BOARD: &[f64] = &[5.0, 30.0, 55.0];
/// Both sides are the same sums in another order.
const ROUNDING: f64 = 1e-6;

fn kiln_at<'m>(model: &'m Model, at: &[(f64, f64)]) -> Calibrator<'m> {
    let conditions = at
        .iter()
        .enumerate()
        .map(|(k, &(hot, board))| condition(model, given(model, hot, board), board, 4, 2 + 4 * k))
        .collect();
    Calibrator::new(model, Correction::NONE, conditions, (HOT, BOARD), 0.0).unwrap()
}

const AT: &[(f64, f64)] = &[(20.0, 23.0), (550.0, 23.0), (1000.0, 23.0), (600.0, 40.0)];

fn means(c: &Calibrator<'_>, seed: u64) -> Vec<f64> {
    let mut rng = generator(seed, 0);
    let board = build(&c.forward, 1.0, &mut rng);
    let readings = read(&c.forward, &board, &c.noise.per_volt, &mut rng).unwrap();
    readings.iter().map(|r| r.iter().sum::<f64>() / r.len() as f64).collect()
}

#[test]
fn normal_equations_give_the_same_estimate_and_covariance() {
    let model = example("burnout-kiln");
    let c = kiln_at(&model, AT);
    let solved = c.solve(&means(&c, 3)).unwrap();
    let h = &c.inference.sensitivities;
    let weights = DMatrix::from_diagonal(&c.inference.reading.map(|s| 1.0 / (s * s)));
    let n = h.ncols();
    let information = h.transpose() * &weights * h + DMatrix::identity(n, n);
    let covariance = information.try_inverse().unwrap();
    let z = &covariance * h.transpose() * &weights * &solved.estimate.innovation;
    let off = (&z - &solved.estimate.z).amax();
    let left = DMatrix::identity(n, n) - &c.inference.gain * h;
    let cov_off = (&covariance - &left).amax();
    println!("estimate {off:.1e}, covariance {cov_off:.1e}");
    assert!(off < ROUNDING && cov_off < ROUNDING);
    // The directions are those of the board's block, orthogonal.
    let g = &c.inference.directions;
    let b = c.inference.of_board;
    let block = DMatrix::identity(b, b) - g * g.transpose();
    assert!((block - covariance.view((0, 0), (b, b))).amax() < 1e-5);
    let gram = g.transpose() * g;
    for i in 0..gram.nrows() {
        for j in 0..i {
            assert!(gram[(i, j)].abs() < ROUNDING, "{i} {j}");
        }
    }
}

/// Each condition predicted by a calibration that never saw it.
#[test]
fn leaving_one_out_for_real_gives_the_same_difference() {
    let model = example("burnout-kiln");
    let c = kiln_at(&model, AT);
    let y = means(&c, 4);
    let solved = c.solve(&y).unwrap();
    for (k, quick) in left_out(&c.inference, &solved.estimate).iter().enumerate() {
        let rest: Vec<usize> = (0..AT.len()).filter(|&i| i != k).collect();
        let h = c.inference.sensitivities.select_rows(&rest);
        let r = solved.estimate.innovation.select_rows(&rest);
        let mut s = &h * h.transpose();
        for (row, &i) in rest.iter().enumerate() {
            s[(row, row)] += c.inference.reading[i] * c.inference.reading[i];
        }
        let inverse = s.try_inverse().unwrap();
        let own: DVector<f64> = c.inference.sensitivities.row(k).transpose();
        let predicted = own.dot(&(h.transpose() * &inverse * r));
        let variance = own.norm_squared() + c.inference.reading[k] * c.inference.reading[k]
            - (own.transpose() * h.transpose() * &inverse * &h * &own)[0];
        let difference = solved.estimate.innovation[k] - predicted;
        assert!((quick.difference - difference).abs() < ROUNDING, "{k}: {quick:?} {difference}");
        assert!((quick.standard - variance.sqrt()).abs() < ROUNDING, "{k}: {quick:?}");
    }
}

/// A reading that is 30 K off among four is the one that is named.
#[test]
fn the_wrong_reading_is_the_one_that_is_flagged() {
    let model = example("burnout-kiln");
    let c = kiln_at(&model, AT);
    for wrong in 0..AT.len() {
        let mut y = means(&c, 9);
        y[wrong] += 30.0;
        let solved = c.solve(&y).unwrap();
        let flags: Vec<bool> = left_out(&c.inference, &solved.estimate).iter().map(|l| l.flagged).collect();
        assert_eq!(flags.iter().position(|f| *f), Some(wrong), "{flags:?}");
        assert_eq!(flags.iter().filter(|f| **f).count(), 1, "{flags:?}");
        assert!(solved.misfit.noticed());
    }
    // Two wrong ones among seven: both are named and no other, the second against what is left without the first.
    let at: Vec<_> = AT.iter().copied().chain([(300.0, 23.0), (800.0, 40.0), (100.0, 40.0)]).collect();
    let c = kiln_at(&model, &at);
    let mut y = means(&c, 9);
    y[1] += 30.0;
    y[5] -= 20.0;
    let estimate = c.solve(&y).unwrap().estimate;
    let all = left_out(&c.inference, &estimate);
    let flags: Vec<usize> = (0..at.len()).filter(|&k| all[k].flagged).collect();
    assert_eq!(flags, [1, 5]);
    let without = |k: usize, others: &[usize]| {
        let rest: Vec<usize> = (0..at.len()).filter(|i| *i != k && !others.contains(i)).collect();
        let h = c.inference.sensitivities.select_rows(&rest);
        let noise = DMatrix::from_diagonal(&c.inference.reading.select_rows(&rest).map(|s| s * s));
        let inverse = (&h * h.transpose() + noise).try_inverse().unwrap();
        let own: DVector<f64> = c.inference.sensitivities.row(k).transpose();
        let predicted = own.dot(&(h.transpose() * inverse * estimate.innovation.select_rows(&rest)));
        estimate.innovation[k] - predicted
    };
    // The worse of the two goes first, so that the other one is compared without it.
    let same = |k: usize, others: &[usize]| (all[k].difference - without(k, others)).abs() < ROUNDING;
    assert!(same(1, &[5]) || same(5, &[1]), "{all:?}");
    // Those that agree are predicted by the others that agree: neither wrong one moves them.
    for k in (0..at.len()).filter(|k| ![1, 5].contains(k)) {
        assert!(same(k, &[1, 5]), "{k}: {all:?}");
    }
    let honest = left_out(&c.inference, &c.solve(&means(&c, 9)).unwrap().estimate);
    assert!(honest.iter().all(|l| !l.flagged), "{honest:?}");
}

/// The budget of the chain with the findings written into it says what the band says: GUM in the chain's crate and the
/// weighted sums here share nothing but the model.
#[test]
fn the_budget_of_the_calibrated_chain_is_the_band() {
    /// Sensitivities are taken at the means here and at the estimate there.
    const NEAR: f64 = 0.02;
    let model = example("burnout-kiln");
    let c = kiln_at(&model, AT);
    let solved = c.solve(&means(&c, 5)).unwrap();
    let g = &c.inference.directions;
    let deviations = c
        .forward
        .unknowns
        .iter()
        .enumerate()
        .filter_map(|(u, unknown)| match unknown.what {
            What::Board(i) => Some(Found {
                id: model.imperfections()[i].id.clone(),
                estimate: solved.estimate.z[u],
                directions: g.row(u).iter().copied().collect(),
            }),
            _ => None,
        })
        .collect();
    let mut chain = model.chain().clone();
    chain.correction = Some(solved.constants);
    chain.findings = Some(Findings { deviations, ..Findings::default() });
    let calibrated = Model::new(chain).unwrap();
    let study = Study::over(&calibrated, HOT.to_vec(), BOARD.to_vec());
    let budget = gum::evaluate(&study).unwrap();
    let mut worst = 0.0f64;
    for (point, band) in budget.iter().zip(&solved.band) {
        worst = worst.max((point.standard / band.standard - 1.0).abs());
        assert!(
            (point.reading - band.hot - band.bias).abs() < 0.02 * band.half,
            "{band:?} {}",
            point.reading
        );
    }
    println!("standard uncertainty, budget over band: within {:.2} %", 100.0 * worst);
    assert!(worst < NEAR, "{worst}");
    // And by far better than as built.
    let as_built = gum::evaluate(&Study::over(&model, HOT.to_vec(), BOARD.to_vec())).unwrap();
    let board = calibrated.best_estimate();
    let gained: Vec<f64> = as_built.iter().zip(&budget).map(|(a, b)| a.standard / b.standard).collect();
    println!("as built over calibrated: {gained:.2?}");
    assert!(gained.iter().all(|g| *g > 1.0) && gained.iter().any(|g| *g > 1.5), "{gained:?}");
    assert!(board.iter().zip(model.mean_deviations()).any(|(a, b)| a != b));
}
