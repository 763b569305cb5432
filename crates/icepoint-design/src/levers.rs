//! Which resistor moves the reading where by how much: why two trims can't put boards right, and which ones could.
//!
//! **How.** Each resistor is made one per cent larger, the whole circuit solved anew, and the reading looked at in both
//! points of the adjustment, with the board as it then is and at the ends of its range. Two equations tell by what share of
//! their values a pair of resistors must change to put a drawn board right, and what that does to the compensation. A pair
//! that must change much is a bad one: what the one does to the other's point has to be taken back.

use icepoint_chain::chain::Chain;
use icepoint_chain::front_end::adjustable::MIDDLE;
use icepoint_chain::front_end::{PartKind, PlannedKind};
use icepoint_chain::resolve::Resolved;
use icepoint_chain::trims::adjust::Pair;
use icepoint_chain::trims::report::{Report, before, linear, middle};
use icepoint_chain::trims::{Moves, Trims};
use icepoint_chain::{Model, ModelError};

use crate::candidate::coarse_study;
use crate::search::{self, Selection};
use crate::trims::beside;

/// Change of a resistance for a look.
const SMALL: f64 = 0.01;
/// Boards drawn to see what they need.
const BOARDS: u32 = 2_000;
/// A pair is worth naming if it needs less than this share of what the chosen one needs, and no more than that share of its
/// own values: beyond it a track has the resistor to itself.
const MUCH_BETTER: f64 = 0.5;
const AT_MOST: f64 = 0.3;
/// A round must leave less than this of an error: with more, rounds have no end that anybody waits for.
const LEFT_BY_A_ROUND: f64 = 0.3;

/// What a resistor moves.
#[derive(Clone, Debug, PartialEq)]
pub struct Lever {
    /// Designator.
    pub designator: String,
    /// Change of the reading at both points of the adjustment if it is one per cent larger, K.
    pub kelvin: Pair,
    /// How much more or less that is with the board at either end of its range than at the temperature of the adjustment, K:
    /// what turning does to the compensation of the reference junction.
    pub elsewhere: [Pair; 2],
}

/// All resistors that a trim could be put in series with, of a board whose trims are in their middles.
///
/// # Errors
/// [`ModelError`] when the circuit can't be solved.
pub fn levers(resolved: &Resolved, selection: &Selection) -> Result<Vec<Lever>, ModelError> {
    let chain = untrimmed(resolved, selection);
    let (low, high) = chain.need.board;
    let boards = [chain.plan.board, low, high];
    // At the temperature of the adjustment, and at both ends of the board's range.
    let off = |chain: &Chain| -> Result<[Pair; 3], ModelError> {
        let mut off = [[0.0; 2]; 3];
        for (off, board) in off.iter_mut().zip(boards) {
            let mut chain = chain.clone();
            chain.plan.board = board;
            let model = Model::without_dynamics(chain)?;
            let study = coarse_study(&model);
            *off = study.errors_at([MIDDLE; 2], &study.mean, &mut study.work())?;
        }
        Ok(off)
    };
    let still = off(&chain)?;
    let slots = &resolved.blueprint.slots;
    let tied = |name: &str| {
        slots.iter().any(|s| s.tie.as_ref().is_some_and(|tie| tie.to == name || s.designator == name))
    };
    let mut all = Vec::new();
    for element in &resolved.blueprint.elements {
        let resistor =
            matches!(element.kind, PlannedKind::Resistor { .. } | PlannedKind::GainResistor { .. });
        if !resistor || tied(&element.designator) {
            continue;
        }
        let mut other = chain.clone();
        let part = other.front_end.parts.iter_mut().find(|p| p.designator == element.designator);
        let Some(PartKind::Resistor { figures, .. } | PartKind::GainResistor { figures, .. }) =
            part.map(|p| &mut p.kind)
        else {
            continue;
        };
        figures.ohms *= 1.0 + SMALL;
        let Ok(moved) = off(&other) else { continue };
        let change = |board: usize| [0, 1].map(|point| moved[board][point] - still[board][point]);
        let kelvin = change(0);
        let elsewhere = [1, 2].map(|board| [0, 1].map(|point| change(board)[point] - kelvin[point]));
        all.push(Lever { designator: element.designator.clone(), kelvin, elsewhere });
    }
    Ok(all)
}

/// The board without what is turned on it: adjustable resistors are resistors of their middles.
fn untrimmed(resolved: &Resolved, selection: &Selection) -> Chain {
    let mut chain = search::chain(resolved, &selection.values, &selection.fits, false);
    chain.trims = None;
    chain
}

/// What a pair of resistors must change by.
struct Needs<'l> {
    pair: [&'l Lever; 2],
    /// Largest change of each that the middle 99.9 % of boards need, share of its value.
    changes: Pair,
    /// Share of an error that a round leaves.
    left: f64,
    /// What the change does to the compensation of the middle 99.9 % of boards, at the worse point and end of the board's
    /// range, K.
    spoils: f64,
}

impl<'l> Needs<'l> {
    fn new(pair: [&'l Lever; 2], errors: &[Pair]) -> Self {
        // [point][trim], K for a change by the whole value.
        let m = [0, 1].map(|point| pair.map(|lever| lever.kelvin[point] / SMALL));
        let turns: Vec<Pair> = errors.iter().map(|e| linear([true; 2], m, *e)).collect();
        let changes = [0, 1].map(|k| {
            let (low, high) = middle(turns.iter().map(|t| t[k]).collect());
            low.abs().max(high.abs())
        });
        let mut spoils = 0.0f64;
        for (end, point) in [(0, 0), (0, 1), (1, 0), (1, 1)] {
            let by = |t: &Pair| {
                (t[0] * pair[0].elsewhere[end][point] + t[1] * pair[1].elsewhere[end][point]) / SMALL
            };
            let (low, high) = middle(turns.iter().map(by).collect());
            spoils = spoils.max(low.abs()).max(high.abs());
        }
        Self { pair, changes, left: (m[0][1] * m[1][0] / (m[0][0] * m[1][1])).abs(), spoils }
    }

    fn most(&self) -> f64 {
        if self.changes.iter().any(|c| c.is_nan()) {
            f64::INFINITY
        } else {
            self.changes[0].max(self.changes[1])
        }
    }
}

/// What the trims of a board move, and which pair would have to change less, if one would; `None` for a board that has not
/// both, and, where the board can be adjusted (`reached`), without such a pair.
///
/// # Errors
/// [`ModelError`] when a drawn board can't be solved.
pub(crate) fn why_not(
    resolved: &Resolved,
    selection: &Selection,
    report: &Report,
    reached: bool,
) -> Result<Option<String>, ModelError> {
    let Some(trims @ Trims::Resistors { .. }) = &resolved.chain.trims else { return Ok(None) };
    let blueprint = &resolved.blueprint;
    let named = [Moves::Zero, Moves::Span].map(|moves| {
        let trim = trims.designator(moves)?;
        Some((trim.to_owned(), beside(blueprint, trim)?))
    });
    let ([Some(zero), Some(span)], [Some(first), Some(second)]) = (named, report.points) else {
        return Ok(None);
    };
    let levers = levers(resolved, selection)?;
    let lever = |name: &str| levers.iter().find(|l| l.designator == name);
    let (Some(of_zero), Some(of_span)) = (lever(&zero.1), lever(&span.1)) else { return Ok(None) };
    let model = Model::without_dynamics(untrimmed(resolved, selection))?;
    let errors = before(&coarse_study(&model), BOARDS, resolved.chain.settings.seed)?;
    let now = Needs::new([of_zero, of_span], &errors);
    let moves = |(trim, beside): &(String, String), lever: &Lever| {
        let [low, high] = lever.kelvin;
        format!(
            "{trim}, with one per cent of {beside}, moves the reading by {low:+.2} K at {first:.0} °C and by {high:+.2} K at \
             {second:.0} °C"
        )
    };
    let mut text = format!("{}; {}", moves(&zero, of_zero), moves(&span, of_span));
    let share = |share: f64| format!("{:.0} %", libm::ceil(100.0 * share));
    let change = |needs: &Needs| {
        let [a, b] = needs.pair.map(|l| l.designator.clone());
        let [c, d] = needs.changes.map(share);
        format!("{a} by up to {c} and {b} by up to {d}")
    };
    if now.most().is_finite() {
        text.push_str(&format!(
            ". In 99.9 % of boards {} would have to change, up to {:.1} K of compensation with it, and a round leaves {} \
             of an error",
            change(&now),
            now.spoils,
            share(now.left)
        ));
    }
    let mut best: Option<Needs> = None;
    for zero in &levers {
        for span in levers.iter().filter(|other| other.designator != zero.designator) {
            let needs = Needs::new([zero, span], &errors);
            let good = needs.left < LEFT_BY_A_ROUND && needs.most() < AT_MOST;
            if good && best.as_ref().is_none_or(|best| needs.spoils < best.spoils) {
                best = Some(needs);
            }
        }
    }
    let better = best.filter(|better| {
        better.spoils < MUCH_BETTER * now.spoils
            || better.most() < MUCH_BETTER * now.most()
            || now.left >= 1.0
    });
    if better.is_none() && reached {
        return Ok(None);
    }
    if let Some(better) = better {
        let [a, b] = better.pair.map(|l| &l.designator);
        text.push_str(&format!(
            ". Better: zero = \"{a}\" and span = \"{b}\"; {} would have to change, with {:.1} K of compensation",
            change(&better),
            better.spoils
        ));
    }
    Ok(Some(text))
}
