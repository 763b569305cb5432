//! Which further point would help most: the band that is expected after one more reading, for every candidate, before
//! anything is measured.
//!
//! A reading's value does not enter the covariance, only its condition does: with `Σ` the covariance after the readings
//! so far and `h` the sensitivities of the candidate, one more reading leaves `Σ − Σh·(Σh)ᵀ/(hᵀΣh + noise)`.

use nalgebra::{DMatrix, DVector};

use super::band::{Targets, of_board};
use super::condition::{Condition, InputError};
use super::forward::Forward;
use super::inference::{Inference, InferenceError, Noise};
use super::readings::Input;

/// A point that could be measured next.
#[derive(Clone, Debug, PartialEq)]
pub struct Candidate {
    /// What to give the board.
    pub input: Input,
    /// The temperature that this stands for at the candidate's board temperature, °C.
    pub hot: f64,
    /// At this board temperature, °C.
    pub board: f64,
    /// Root of the mean variance over the targets after it, K.
    pub standard: f64,
    /// Share of the mean variance over the targets that it takes away.
    pub share: f64,
}

/// Candidates over hot × board temperatures of the targets, the most helpful first; `errors` tells by what the input
/// would be off, `None` where the reference can't give it; `like` gives kind of input and answer, reference and occasion.
///
/// # Errors
/// [`InferenceError`] when the model has no answer.
pub fn candidates(
    forward: &Forward<'_>,
    inference: &Inference,
    targets: &Targets,
    like: &Condition,
    errors: &dyn Fn(&Condition) -> Option<Vec<InputError>>,
    noise: &Noise,
) -> Result<Vec<Candidate>, InferenceError> {
    let letter = forward.model.chain().probe.letter;
    let emf = |t: f64| letter.emf_and_slope_extended(t).0;
    let mut conditions = forward.conditions.clone();
    let so_far = conditions.len();
    let mut places = Vec::new();
    for &board in &targets.board {
        for &hot in &targets.hot {
            let input = match like.input {
                Input::Temperature(_) => Input::Temperature(hot),
                // To whole microvolts, as a source is set.
                Input::Injected(_) => Input::Injected((1e6 * (emf(hot) - emf(board))).round() * 1e-6),
            };
            let mut condition = Condition { input, board, count: 1, lines: (0, 0), ..like.clone() };
            // Beyond a certificate nobody knows what the reference is worth: no candidate, and never a perfect one.
            let Some(known) = errors(&condition) else { continue };
            condition.errors = known;
            places.push((hot, board));
            conditions.push(condition);
        }
    }
    let wider = forward.with_conditions(conditions)?;
    let wide_noise = Noise::new(&wider, noise.extra)?;
    // The unknowns of the wider problem: the old ones in the same order, and errors that only candidates have.
    let unknowns = wider.unknowns.len();
    let mut covariance = DMatrix::<f64>::identity(unknowns, unknowns);
    let n = forward.unknowns.len();
    let known = &inference.gain * &inference.sensitivities;
    let mut block = covariance.view_mut((0, 0), (n, n));
    block -= known;
    let sensitivities = of_board(forward, targets);
    let board = sensitivities.ncols();
    let so_far_left = &sensitivities * covariance.view((0, 0), (board, board));
    let before: f64 =
        (0..targets.points()).map(|p| so_far_left.row(p).dot(&sensitivities.row(p))).sum::<f64>();
    // What comes in use is not taken away by any reading.
    let list = forward.model.imperfections();
    let in_use: f64 = (0..targets.points())
        .flat_map(|p| (0..list.len()).map(move |i| (p, i)))
        .filter(|&(_, i)| list[i].persistence != icepoint_chain::imperfection::Persistence::Board)
        .map(|(p, i)| targets.sensitivities[(p, i)] * targets.sensitivities[(p, i)])
        .sum();
    let mut work = wider.work();
    let zero = vec![0.0; unknowns];
    let mut row = vec![0.0; unknowns];
    let mut all = Vec::with_capacity(places.len());
    for (candidate, (hot, at_board)) in places.into_iter().enumerate() {
        let k = so_far + candidate;
        if !wider.inside(k, &mut work)? {
            continue;
        }
        wider.row(k, &zero, &mut work, &mut row)?;
        let h = DVector::from_column_slice(&row);
        let left = &covariance * &h;
        let spread = h.dot(&left) + wide_noise.variance[k];
        let gained: f64 = (&sensitivities * left.rows(0, board)).norm_squared() / spread;
        let points = targets.points() as f64;
        all.push(Candidate {
            input: wider.conditions[k].input,
            hot,
            board: at_board,
            standard: ((before + in_use - gained).max(0.0) / points).sqrt(),
            share: gained / (before + in_use).max(f64::MIN_POSITIVE),
        });
    }
    all.sort_by(|a, b| {
        b.share.total_cmp(&a.share).then(a.hot.total_cmp(&b.hot)).then(a.board.total_cmp(&b.board))
    });
    Ok(all)
}
