//! Do the readings agree with each other and with what was expected of the board?
//!
//! **Misfit.** `Q = rᵀ·S⁻¹·r` with `r` the readings less what is expected at the prior means. For normal deviations Q has
//! as many degrees of freedom of χ² as there are conditions; for the rectangles of data sheets its tail is shorter. So
//! its distribution is drawn from the deviations in their real shapes, which finds a wrong prior more often.
//! **Prior too small?** In most directions a set of readings sees noise and references, and Q drowns a wrong prior in
//! them. So the board's part is asked for by itself: `Q₂ = rᵀ·(S⁻¹ − S₂⁻¹)·r`, with `S₂` the spread if the board's
//! deviations were twice as large, is by the lemma of Neyman and Pearson the sharpest question for that (normal
//! deviations; its distribution is drawn, too). How often both together would notice such a board under the conditions at
//! hand is counted on the same draws.
//! **Which one.** Each condition is predicted from all the others; one that lies farther off than chance allows is
//! named, set aside, and the rest looked at again.
//! **Scatter.** Repeats that scatter more than noise, quantisation and last digit allow widen the noise of all readings, so
//! that it explains all that was seen.

use icepoint_chain::budget::monte_carlo::{draw, generator};
use icepoint_chain::imperfection::Distribution;
use icepoint_chain::statistics::{normal_cdf, normal_quantile};
use nalgebra::{DMatrix, DVector};
use statrs::distribution::{ChiSquared, ContinuousCDF};

use super::condition::Condition;
use super::forward::Forward;
use super::inference::{Estimate, Inference, Noise, ReadingVariance};

/// Probability below which chance is no longer believed: of the whole, and of any one reading (together).
pub const LEVEL: f64 = 0.05;
/// Of one reading among all, that it is flagged by chance.
pub const FLAG_LEVEL: f64 = 0.01;
/// Of scatter, before the model's noise is no longer believed.
const SCATTER_LEVEL: f64 = 0.001;
/// Draws of the misfit.
const DRAWS: u32 = 4000;
/// Multiplications spent on them at most.
const EFFORT: usize = 400_000_000;
/// Seed of the draws.
const SEED: u64 = 5;

/// Upper tail of χ² with `degrees` degrees of freedom.
pub fn chi_squared_tail(value: f64, degrees: f64) -> f64 {
    match ChiSquared::new(degrees) {
        Ok(chi) if value > 0.0 => chi.sf(value),
        _ => 1.0,
    }
}

/// The value that χ² with `degrees` degrees of freedom stays below with probability `p`, by bisection.
pub fn chi_squared_quantile(p: f64, degrees: f64) -> f64 {
    let (mut low, mut high) = (0.0, 10.0 * degrees + 100.0);
    for _ in 0..100 {
        let middle = 0.5 * (low + high);
        if 1.0 - chi_squared_tail(middle, degrees) < p { low = middle } else { high = middle }
    }
    0.5 * (low + high)
}

/// How the readings as a whole fit what was expected.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Misfit {
    /// Q.
    pub value: f64,
    /// Conditions.
    pub degrees_of_freedom: usize,
    /// Probability of a Q as large if the prior is right.
    pub probability: f64,
    /// The same if all deviations were normal.
    pub probability_normal: f64,
    /// Probability that a board as far off, in what the readings see of it, comes from this prior.
    pub probability_of_board: f64,
    /// Share of boards, all their own deviations twice as large as the prior says, of which readings under these
    /// conditions would be noticed.
    pub power: f64,
}

impl Misfit {
    /// Whether it is too large to be chance.
    pub fn noticed(&self) -> bool {
        too_large(self.probability, self.probability_of_board)
    }
}

/// Two questions are asked: each gets half.
fn too_large(whole: f64, board: f64) -> bool {
    whole < 0.5 * LEVEL || board < 0.5 * LEVEL
}

/// Q and Q₂ of readings drawn from the prior, each in rising order: made once for given conditions.
#[derive(Clone, Debug)]
pub struct MisfitDraws {
    whole: Vec<f64>,
    board: Vec<f64>,
    /// `S⁻¹ − S₂⁻¹`.
    of_board: DMatrix<f64>,
    /// Share of the same boards, their own deviations [`TIMES`] as large, that the two questions notice.
    power: f64,
}

/// How many times larger the board's deviations are in the other hypothesis.
const TIMES: f64 = 2.0;

impl MisfitDraws {
    /// Draws them.
    pub fn new(forward: &Forward<'_>, inference: &Inference) -> Self {
        let (conditions, unknowns) = inference.sensitivities.shape();
        let each = (conditions * (unknowns + conditions)).max(1);
        let draws = DRAWS.min((EFFORT / each) as u32).max(400);
        let shapes: Vec<Distribution> = forward.unknowns.iter().map(|u| unit(u.distribution)).collect();
        let lower = inference.spread.l();
        let mut rng = generator(SEED, 0);
        let mut z = DVector::zeros(unknowns);
        let mut noise = DVector::zeros(conditions);
        let board = inference.sensitivities.columns(0, inference.of_board);
        let lower_part = &lower * lower.transpose();
        let larger = lower_part + board * board.transpose() * (TIMES * TIMES - 1.0);
        let of_board = match larger.cholesky() {
            Some(larger) => inference.precision() - larger.inverse(),
            None => DMatrix::zeros(conditions, conditions),
        };
        let q = |r: &DVector<f64>| lower.solve_lower_triangular(r).map(|x| x.norm_squared());
        let mut of_boards = Vec::with_capacity(draws as usize);
        let mut others = Vec::with_capacity(draws as usize);
        let mut whole: Vec<f64> = (0..draws)
            .filter_map(|_| {
                for (z, &shape) in z.iter_mut().zip(&shapes) {
                    *z = draw(shape, &mut rng) - shape.mean();
                }
                for (e, s) in noise.iter_mut().zip(inference.reading.iter()) {
                    *e = s * draw(Distribution::Normal(1.0), &mut rng);
                }
                let mut r = &inference.sensitivities * &z + &noise;
                of_boards.push(r.dot(&(&of_board * &r)));
                let of_this = q(&r);
                r += board * z.rows(0, inference.of_board) * (TIMES - 1.0);
                others.extend(q(&r).map(|whole| (whole, r.dot(&(&of_board * &r)))));
                of_this
            })
            .collect();
        whole.sort_by(f64::total_cmp);
        of_boards.sort_by(f64::total_cmp);
        let seen = |&&(q, q2): &&(f64, f64)| too_large(share(&whole, q), share(&of_boards, q2));
        let power = others.iter().filter(seen).count() as f64 / others.len().max(1) as f64;
        Self { whole, board: of_boards, of_board, power }
    }
}

/// Share of draws that are at least as large; never 0.
fn share(draws: &[f64], value: f64) -> f64 {
    let below = draws.partition_point(|&v| v < value);
    (draws.len() - below + 1) as f64 / (draws.len() + 1) as f64
}

/// The same shape with a standard uncertainty of 1.
fn unit(d: Distribution) -> Distribution {
    match d {
        Distribution::Rectangular(_) => Distribution::Rectangular(3f64.sqrt()),
        Distribution::OneSided(_) => Distribution::OneSided(12f64.sqrt()),
        Distribution::Normal(_) => Distribution::Normal(1.0),
        Distribution::Arcsine(_) => Distribution::Arcsine(2f64.sqrt()),
    }
}

/// How the readings as a whole fit.
pub fn misfit(inference: &Inference, estimate: &Estimate, draws: &MisfitDraws) -> Misfit {
    let value = estimate.innovation.dot(&inference.spread.solve(&estimate.innovation));
    let degrees_of_freedom = estimate.innovation.len();
    let probability_normal = chi_squared_tail(value, degrees_of_freedom as f64);
    // Beyond the last draw only the normal tail is left to tell how far.
    let drawn = share(&draws.whole, value);
    let least = 1.5 / (draws.whole.len() + 1) as f64;
    let probability = if drawn < least { drawn.min(probability_normal.max(1e-300)) } else { drawn };
    let r = &estimate.innovation;
    let probability_of_board = share(&draws.board, r.dot(&(&draws.of_board * r)));
    let power = draws.power;
    Misfit { value, degrees_of_freedom, probability, probability_normal, probability_of_board, power }
}

/// A condition against all others.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LeftOut {
    /// Mean less what the others predict, in the condition's unit.
    pub difference: f64,
    /// Standard uncertainty of that difference.
    pub standard: f64,
    /// Probability of a difference as large.
    pub probability: f64,
    /// Whether the condition disagrees with the rest.
    pub flagged: bool,
}

/// Every condition against the others, from the whole solution: with `W = S⁻¹` the difference is `(W·r)/W_kk` and its
/// variance `1/W_kk` (block inversion).
pub fn left_out(inference: &Inference, estimate: &Estimate) -> Vec<LeftOut> {
    let mut w = inference.precision();
    let n = estimate.innovation.len();
    let mut all = differences(&w, &estimate.innovation);
    // One alone is compared with the prior only. At most half are set aside: beyond that nobody knows which half is right.
    let mut kept: Vec<usize> = (0..n).collect();
    let mut r = estimate.innovation.clone();
    while kept.len() > n / 2 + 1 || kept.len() == n {
        let of_kept = differences(&w, &r);
        // By size and not by probability: far out that is zero for several.
        let size = |l: &LeftOut| (l.difference / l.standard).abs();
        let Some((place, worst)) = of_kept.iter().enumerate().max_by(|a, b| size(a.1).total_cmp(&size(b.1)))
        else {
            break;
        };
        if worst.probability * kept.len() as f64 > FLAG_LEVEL {
            break;
        }
        all[kept[place]] = LeftOut { flagged: true, ..*worst };
        kept.remove(place);
        if kept.is_empty() {
            break;
        }
        // The inverse of what is left of S, from its own inverse (block inversion): the square of the conditions in
        // place of their cube.
        let own = w.column(place).into_owned();
        w -= &own * own.transpose() / own[place].max(f64::MIN_POSITIVE);
        w = w.remove_row(place).remove_column(place);
        r = r.remove_row(place);
    }
    // Those that are kept are compared with each other: one that is wrong would move what it predicts of them.
    if kept.len() < n {
        for (&k, of_kept) in kept.iter().zip(differences(&w, &r)) {
            all[k] = of_kept;
        }
    }
    all
}

fn differences(w: &DMatrix<f64>, innovation: &DVector<f64>) -> Vec<LeftOut> {
    let wr = w * innovation;
    (0..innovation.len())
        .map(|k| {
            let precision = w[(k, k)].max(f64::MIN_POSITIVE);
            let (difference, standard) = (wr[k] / precision, 1.0 / precision.sqrt());
            let probability = 2.0 * normal_cdf(-(difference / standard).abs());
            LeftOut { difference, standard, probability, flagged: false }
        })
        .collect()
}

/// Scatter of repeats against what the model allows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scatter {
    /// Degrees of freedom: repeats less conditions.
    pub degrees_of_freedom: usize,
    /// Standard deviation of one reading, seen, in kelvin or the unit of the readings.
    pub seen: f64,
    /// The same, expected at most.
    pub expected: f64,
    /// Probability of as much scatter.
    pub probability: f64,
    /// Variance of one reading that is needed on top of the model's noise, V² at the converter: 0 if that is believed.
    pub extra: f64,
}

/// Looks at the repeats; `None` when there are none.
pub fn scatter(conditions: &[Condition], noise: &Noise, model: ReadingVariance) -> Option<Scatter> {
    let (mut degrees, mut chi, mut seen, mut expected, mut beyond) = (0usize, 0.0, 0.0, 0.0, 0.0);
    for (c, per) in conditions.iter().zip(&noise.per_volt) {
        if c.count < 2 || !c.squares.is_finite() {
            continue;
        }
        // A display that rounds scatters by up to its digit, a converter by its step.
        let digit = c.half_digit * c.half_digit / 3.0;
        let model = model.of(c);
        let variance = (model.averaged + model.quantisation) * per * per + digit;
        let n = c.count - 1;
        degrees += n;
        chi += c.squares / variance.max(1e-300);
        seen += c.squares;
        expected += variance * n as f64;
        // In V², so that conditions in different units add up; what is left is noise that averages out.
        beyond += (c.squares - variance * n as f64) / (per * per).max(1e-300);
    }
    if degrees == 0 {
        return None;
    }
    let n = degrees as f64;
    let probability = chi_squared_tail(chi, n);
    let extra = if probability < SCATTER_LEVEL { (beyond / n).max(0.0) } else { 0.0 };
    Some(Scatter {
        degrees_of_freedom: degrees,
        seen: (seen / n).sqrt(),
        expected: (expected / n).sqrt(),
        probability,
        extra,
    })
}

/// Largest difference in standard uncertainties that chance allows for the worst of `n` readings.
pub fn allowed(n: usize) -> f64 {
    normal_quantile(1.0 - 0.5 * FLAG_LEVEL / n.max(1) as f64)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Tables of χ²: 95 % points 3.841 (1), 9.488 (4), 18.307 (10), printed to three places.
    #[test]
    fn chi_squared_of_the_tables() {
        for (value, n) in [(3.841, 1.0), (9.488, 4.0), (18.307, 10.0)] {
            assert!((chi_squared_tail(value, n) - 0.05).abs() < 5e-5, "{n}");
            assert!((chi_squared_quantile(0.95, n) - value).abs() < 5e-4, "{n}");
        }
        assert_eq!(chi_squared_tail(-1.0, 3.0), 1.0);
    }

    #[test]
    fn a_unit_shape_has_a_standard_uncertainty_of_one() {
        for d in [
            Distribution::Rectangular(3.0),
            Distribution::OneSided(7.0),
            Distribution::Normal(0.1),
            Distribution::Arcsine(2.0),
        ] {
            assert!((unit(d).standard() - 1.0).abs() < 1e-15);
        }
    }
}
