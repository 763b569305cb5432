//! What the adjustable resistors of a board can do: their reach, how they disturb each other, and in which order they are
//! turned how often.
//!
//! **How the share of boards is found.** Boards are drawn as in the budget's simulation; each is adjusted with the whole
//! circuit solved at every step. The estimate by sensitivities beside it uses only the nominal board's matrix.
//!
//! **Interaction.** The zero is adjusted at one point and disturbs the other, and so does the span. With `s[point][trim]`
//! a round leaves the share `s₁₂·s₂₁/(s₁₁·s₂₂)` of the error (Gauss–Seidel on a 2 × 2 matrix, closed form). The rounds
//! that real boards take are counted by playing the technician on each.

use rayon::prelude::*;

use super::adjust::{Pair, adjust};
use super::{Moves, Trims};
use crate::budget::monte_carlo::{BLOCK, draw_all, generator};
use crate::budget::study::{Study, Work};
use crate::chain::CalibrationWish;
use crate::front_end::adjustable::MIDDLE;
use crate::front_end::{AdjustableFigures, PartKind};
use crate::imperfection::SPECIFIED_AT;
use crate::model::{Model, ModelError};

/// Share of boards that must be adjustable.
pub const WANTED: f64 = 0.999;
/// Boards drawn: the share 0.999 is then known to 0.0002.
pub const BOARDS: u32 = 20_000;
/// Boards on which the technician is played, for each order.
const PLAYED: u32 = 1_000;
/// Rounds that are looked at.
pub const ROUNDS: usize = 6;
/// Error that counts as none, as a share of the accuracy asked.
const ENOUGH: f64 = 0.02;

/// What the trims of a board can do.
#[derive(Clone, Debug, PartialEq)]
pub struct Report {
    /// Temperatures at which zero and span are adjusted, °C.
    pub points: [Option<f64>; 2],
    /// Temperature of the board meanwhile, °C.
    pub board: f64,
    /// The trims that there are, zero first.
    pub trims: Vec<Trim>,
    /// `[point][trim]`: change of the reading over the whole travel by the sensitivity at the middle, K.
    pub matrix: [Pair; 2],
    /// Share of an error that one round leaves.
    pub interaction: f64,
    /// What is turned first in each round.
    pub first: Moves,
    /// Largest error left at either point after each round, K, of the boards played: with that order, with the other.
    pub left: Vec<Pair>,
    /// An error that counts as none, K: 2 % of the accuracy, or half a step of a trim if that is more.
    pub enough: f64,
    /// Rounds until no board played has more than that; `None`: more than [`ROUNDS`].
    pub rounds: Option<usize>,
    /// Boards drawn.
    pub boards: u32,
    /// Share of them that can be adjusted at both points.
    pub reached: f64,
    /// The same by the sensitivities of the nominal board.
    pub by_sensitivities: f64,
}

/// One adjustable resistor.
#[derive(Clone, Debug, PartialEq)]
pub struct Trim {
    /// Designator.
    pub designator: String,
    /// What it moves.
    pub moves: Moves,
    /// Its figures.
    pub figures: AdjustableFigures,
    /// Nodes of the ends of its track; `None` for a trim on an amplifier's own pins.
    pub ends: Option<(String, String)>,
    /// Node of its wiper, if it has one of its own.
    pub wiper: Option<String>,
    /// Whether the reading at its point rises with the setting: with more resistance, or with the wiper nearer to the
    /// second end.
    pub rises: bool,
    /// Change of the reading at its point from one end to the other of the nominal board, signed, K.
    pub travel: f64,
    /// Half a step of the setting, K at its point.
    pub half_step: f64,
    /// What the setting may move by itself, K at its point.
    pub stability: f64,
    /// What the track's temperature coefficient does at the end of the board's range that is further from the temperature of
    /// the adjustment, K at its point.
    pub tempco: f64,
    /// Readings' errors at its point before the adjustment, of the middle 99.9 % of boards, K.
    pub before: (f64, f64),
    /// Settings of the middle 99.9 % of boards after it.
    pub settings: (f64, f64),
    /// Turns from the middle that the middle 99.9 % of boards need, share of the track, by the sensitivities.
    pub turns: (f64, f64),
    /// Turn that puts the nominal board right: how far it is off centre.
    pub nominal: f64,
}

/// How far the trims of a board reach: the part of a [`Report`] that a search over tracks asks for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reach {
    /// Which of zero and span can be turned.
    pub there: [bool; 2],
    /// Turns that put the nominal board right by the sensitivities, share of the track: how far it is off centre.
    pub nominal: Pair,
    /// Turns from the middle that the middle 99.9 % of boards need, share of the track, by the sensitivities.
    pub turns: [(f64, f64); 2],
    /// Share of boards that can be adjusted at both points.
    pub reached: f64,
}

impl Reach {
    /// That of so many boards; `None` for a board without trims, or without a plan.
    ///
    /// # Errors
    /// [`ModelError`] when a drawn board can't be solved.
    pub fn of(study: &Study<'_>, boards: u32, seed: u64) -> Result<Option<Self>, ModelError> {
        let Some((there, matrix)) = turned(study) else { return Ok(None) };
        let off = study.errors_at([MIDDLE; 2], &study.mean, &mut study.work())?;
        let drawn = draw(study, there, matrix, boards, seed)?;
        Ok(Some(Self {
            there,
            nominal: linear(there, matrix, off),
            turns: [0, 1].map(|k| middle(drawn.iter().map(|b| b.estimate[k] - MIDDLE).collect())),
            reached: share(drawn.iter().filter(|b| b.reached).count(), boards),
        }))
    }

    /// How far the nominal board is off centre, share of each track; `None` as for [`Reach::of`].
    ///
    /// # Errors
    /// As [`Reach::of`].
    pub fn nominal(study: &Study<'_>) -> Result<Option<Pair>, ModelError> {
        let Some((there, matrix)) = turned(study) else { return Ok(None) };
        let off = study.errors_at([MIDDLE; 2], &study.mean, &mut study.work())?;
        Ok(Some(linear(there, matrix, off)))
    }
}

/// Errors of so many drawn boards at the two points of the adjustment with every trim in its middle, K.
///
/// # Errors
/// [`ModelError`] when a drawn board can't be solved.
pub fn before(study: &Study<'_>, boards: u32, seed: u64) -> Result<Vec<Pair>, ModelError> {
    over_boards(study, boards, seed, |d, work| study.errors_at([MIDDLE; 2], d, work))
}

/// Which of zero and span can be turned at a point of the plan, with the sensitivities.
fn turned(study: &Study<'_>) -> Option<([bool; 2], [Pair; 2])> {
    let (turns, matrix, points) = (study.turns()?, study.interaction()?, study.adjusted_at());
    let there = [0, 1].map(|k| turns[k] && points[k].is_some());
    (there != [false; 2]).then_some((there, matrix))
}

fn share(count: usize, boards: u32) -> f64 {
    count as f64 / f64::from(boards.max(1))
}

impl Report {
    /// What is done at the bench, in order.
    ///
    /// # Errors
    /// [`ModelError`] when the circuit can't be solved.
    pub fn steps(&self, model: &Model) -> Result<Vec<super::Step>, ModelError> {
        super::steps(&Study::new(model), self)
    }

    /// What the trims of a model can do; `None` for a board without, or without a plan.
    ///
    /// # Errors
    /// [`ModelError`] when a drawn board can't be solved.
    pub fn new(model: &Model) -> Result<Option<Self>, ModelError> {
        Self::of(&Study::new(model), BOARDS, model.chain().settings.seed)
    }

    /// The same of so many boards.
    ///
    /// # Errors
    /// As [`Report::new`].
    pub fn of(study: &Study<'_>, boards: u32, seed: u64) -> Result<Option<Self>, ModelError> {
        let chain = study.model.chain();
        let (Some((there, matrix)), Some(trims)) = (turned(study), &chain.trims) else { return Ok(None) };
        let drawn = draw(study, there, matrix, boards, seed)?;
        let off = study.errors_at([MIDDLE; 2], &study.mean, &mut study.work())?;
        let nominal = linear(there, matrix, off);
        let mut list = Vec::new();
        for (k, moves) in [Moves::Zero, Moves::Span].into_iter().enumerate().filter(|(k, _)| there[*k]) {
            list.extend(trim(study, trims, moves, k, matrix, nominal, &drawn)?);
        }
        let step = list.iter().map(|t| t.half_step.abs()).fold(0.0, f64::max);
        let enough = (ENOUGH * chain.need.accuracy).max(step);
        let interaction = if there == [true; 2] {
            (matrix[0][1] * matrix[1][0] / (matrix[0][0] * matrix[1][1])).abs()
        } else {
            0.0
        };
        let (first, left) = order(study, there, matrix, boards.min(PLAYED), seed, enough)?;
        let rounds = left.iter().position(|l| l[0] <= enough).map(|i| i + 1);
        Ok(Some(Self {
            points: study.adjusted_at(),
            board: chain.plan.board,
            trims: list,
            matrix,
            interaction,
            first,
            left,
            enough,
            rounds,
            boards,
            reached: share(drawn.iter().filter(|b| b.reached).count(), boards),
            by_sensitivities: share(drawn.iter().filter(|b| b.within()).count(), boards),
        }))
    }
}

/// One board that was drawn.
#[derive(Clone, Copy, Debug)]
struct Drawn {
    /// Errors before the adjustment, K.
    before: Pair,
    /// Settings by the sensitivities of the nominal board.
    estimate: Pair,
    settings: Pair,
    reached: bool,
}

impl Drawn {
    fn within(&self) -> bool {
        self.estimate.iter().all(|s| (0.0..=1.0).contains(s))
    }
}

/// Runs over the boards in blocks, so that the numbers are the same whatever the thread count.
pub(super) fn over_boards<T: Send>(
    study: &Study<'_>,
    boards: u32,
    seed: u64,
    each: impl Fn(&[f64], &mut Work) -> Result<T, ModelError> + Sync,
) -> Result<Vec<T>, ModelError> {
    let blocks: Vec<Vec<T>> = (0..boards.div_ceil(BLOCK))
        .into_par_iter()
        .map_init(
            || (study.work(), study.mean.clone()),
            |(work, d), block| {
                let mut rng = generator(seed, block);
                (0..BLOCK.min(boards - block * BLOCK))
                    .map(|_| {
                        draw_all(&study.imperfections, &mut rng, d);
                        each(d, work)
                    })
                    .collect::<Result<Vec<T>, ModelError>>()
            },
        )
        .collect::<Result<_, ModelError>>()?;
    Ok(blocks.into_iter().flatten().collect())
}

fn draw(
    study: &Study<'_>,
    there: [bool; 2],
    matrix: [Pair; 2],
    boards: u32,
    seed: u64,
) -> Result<Vec<Drawn>, ModelError> {
    over_boards(study, boards, seed, |d, work| {
        let before = study.errors_at([MIDDLE; 2], d, work)?;
        let adjusted = study.adjusted(CalibrationWish::ZeroAndSpan, d, work)?;
        // One step from the middle with nothing in its way is what the sensitivities tell.
        let turn = linear(there, matrix, before);
        let estimate = [MIDDLE + turn[0], MIDDLE + turn[1]];
        Ok(Drawn { before, estimate, settings: adjusted.settings, reached: adjusted.is_reached() })
    })
}

/// Turns that make both errors zero if the readings follow the matrix.
pub fn linear(there: [bool; 2], m: [Pair; 2], error: Pair) -> Pair {
    if there != [true; 2] {
        return [0, 1].map(|k| if there[k] { -error[k] / m[k][k] } else { 0.0 });
    }
    let determinant = m[0][0] * m[1][1] - m[0][1] * m[1][0];
    [
        (m[0][1] * error[1] - m[1][1] * error[0]) / determinant,
        (m[1][0] * error[0] - m[0][0] * error[1]) / determinant,
    ]
}

/// Ends of the middle 99.9 % of some values.
pub fn middle(mut values: Vec<f64>) -> (f64, f64) {
    values.sort_by(f64::total_cmp);
    let beyond = (0.5 * (1.0 - WANTED) * values.len() as f64) as usize;
    match (values.get(beyond), values.get((values.len().saturating_sub(1)).saturating_sub(beyond))) {
        (Some(low), Some(high)) => (*low, *high),
        _ => (f64::NAN, f64::NAN),
    }
}

fn trim(
    study: &Study<'_>,
    trims: &Trims,
    moves: Moves,
    k: usize,
    matrix: [Pair; 2],
    nominal: Pair,
    drawn: &[Drawn],
) -> Result<Option<Trim>, ModelError> {
    let chain = study.model.chain();
    let Some(part) = trims.designator(moves).and_then(|name| chain.front_end.part(name)) else {
        return Ok(None);
    };
    let per_travel = matrix[k][k];
    let (figures, ends, wiper) = match &part.kind {
        PartKind::Adjustable { a, b, wiper, figures } => {
            (*figures, Some((a.clone(), b.clone())), wiper.clone())
        }
        PartKind::AdjustableGain { figures, .. } => (*figures, None, None),
        _ => return Ok(None),
    };
    let mut work = study.work();
    let mut at = |setting: f64| {
        let mut settings = [MIDDLE; 2];
        settings[k] = setting;
        study.errors_at(settings, &study.mean, &mut work)
    };
    let travel = at(1.0)?[k] - at(0.0)?[k];
    let tempco = tempco(study, &part.designator, figures, k)?;
    Ok(Some(Trim {
        designator: part.designator.clone(),
        moves,
        figures,
        ends,
        wiper,
        rises: per_travel >= 0.0,
        travel,
        half_step: 0.5 * figures.resolution * per_travel.abs(),
        stability: figures.stability * per_travel.abs(),
        tempco,
        before: middle(drawn.iter().map(|b| b.before[k]).collect()),
        settings: middle(drawn.iter().map(|b| b.settings[k]).collect()),
        turns: middle(drawn.iter().map(|b| b.estimate[k] - MIDDLE).collect()),
        nominal: nominal[k],
    }))
}

/// What the track's temperature coefficient does between the adjustment and the end of the board's range that is further
/// from it, K at a point.
fn tempco(
    study: &Study<'_>,
    designator: &str,
    figures: AdjustableFigures,
    k: usize,
) -> Result<f64, ModelError> {
    let id = format!("{designator}.tempco");
    let Some(i) = study.model.imperfections().iter().position(|i| i.id == id) else { return Ok(0.0) };
    /// K.
    const ASIDE: f64 = 0.01;
    let chain = study.model.chain();
    let ((low, high), plan) = (chain.need.board, chain.plan.board);
    let change = figures.tempco * (low - plan).abs().max((high - plan).abs());
    // The coefficient counts per kelvin from where resistors are specified: a board just there would show none of it.
    let board = if (plan - SPECIFIED_AT).abs() < ASIDE { SPECIFIED_AT + ASIDE } else { plan };
    let mut work = study.work();
    let mut d = study.mean.clone();
    let before = study.errors_with_board_at(board, [MIDDLE; 2], &d, &mut work)?[k];
    d[i] += change / (board - SPECIFIED_AT);
    Ok((study.errors_with_board_at(board, [MIDDLE; 2], &d, &mut work)?[k] - before).abs())
}

/// What is better turned first, and what each round leaves.
fn order(
    study: &Study<'_>,
    there: [bool; 2],
    matrix: [Pair; 2],
    boards: u32,
    seed: u64,
    enough: f64,
) -> Result<(Moves, Vec<Pair>), ModelError> {
    let played = over_boards(study, boards, seed, |d, work| {
        // A board that can't be adjusted tells nothing of the order.
        if !study.adjusted(CalibrationWish::ZeroAndSpan, d, work)?.is_reached() {
            return Ok(None);
        }
        let orders =
            [play(study, there, matrix, [0, 1], d, work)?, play(study, there, matrix, [1, 0], d, work)?];
        Ok(Some(orders))
    })?;
    let mut left = vec![[0.0f64; 2]; ROUNDS];
    for orders in played.into_iter().flatten() {
        for (round, left) in left.iter_mut().enumerate() {
            for (most, rounds) in left.iter_mut().zip(&orders) {
                *most = most.max(rounds[round]);
            }
        }
    }
    if there != [true; 2] {
        return Ok((if there[0] { Moves::Zero } else { Moves::Span }, left));
    }
    let rounds = |k: usize| left.iter().position(|l| l[k] <= enough).unwrap_or(ROUNDS);
    let after_one = left.first().copied().unwrap_or([0.0; 2]);
    let span_first = rounds(1) < rounds(0) || (rounds(1) == rounds(0) && after_one[1] < 0.9 * after_one[0]);
    if span_first {
        left.iter_mut().for_each(|l| l.swap(0, 1));
    }
    Ok((if span_first { Moves::Span } else { Moves::Zero }, left))
}

/// Plays the technician: each trim in turn until its own point reads right. The larger error left after each round, K.
fn play(
    study: &Study<'_>,
    there: [bool; 2],
    matrix: [Pair; 2],
    order: [usize; 2],
    d: &[f64],
    work: &mut Work,
) -> Result<[f64; ROUNDS], ModelError> {
    const SEEN: f64 = 1e-6;
    let mut settings = [MIDDLE; 2];
    let mut left = [0.0; ROUNDS];
    for left in &mut left {
        for k in order.into_iter().filter(|k| there[*k]) {
            let mut only = [false; 2];
            only[k] = true;
            settings = adjust(only, settings, matrix, [SEEN; 2], |at| study.errors_at(at, d, work))?.settings;
        }
        let errors = study.errors_at(settings, d, work)?;
        *left = [0, 1].into_iter().filter(|k| there[*k]).map(|k| errors[k].abs()).fold(0.0, f64::max);
    }
    Ok(left)
}
