//! Which of several parts of one value goes to which place: the tight ones where they take most off the error.
//!
//! **How.** Each place that holds such a part is judged with every other line of the drawer of that value in its turn. What
//! the lines do to the square of the error adds up, as independent contributions do; so the sum tells which assignment is
//! best, and all that the counts allow are tried where they are not too many. Fixed values are in it: a value is the user's
//! word, which part of that value it is need not be. Places to which it makes no difference get the widest.

use icepoint_chain::ModelError;
use icepoint_chain::drawer::Count;

use super::fit::{Fit, Fits};
use super::judge::judge;
use super::offers::{Place, Stock};
use super::walk::put;
use crate::candidate::Assessment;

/// Assignments tried; beyond that the place with the largest gain chooses first.
const MOST_TRIED: usize = 20_000;
/// What a tighter part must take off the square of the error, share: with less it stays in the drawer.
const WORTHWHILE: f64 = 0.0002;
/// What a limit that is missed costs, in squares of the error for all of what is allowed: no error makes up for it.
const MISSED: f64 = 1e6;

/// A place that holds one of several parts of one value.
struct Holder {
    designators: Vec<String>,
    /// Its index among the open places; none for a fixed value.
    open: Option<usize>,
    line: usize,
}

/// Shares the parts of each value out among the places that hold them; `from` and `used` are those of the open places.
pub(super) fn spend(
    stock: &mut Stock<'_>,
    places: &[Place],
    fits: &mut Fits,
    from: &mut [Vec<usize>],
    used: &mut [u32],
) -> Result<(), ModelError> {
    let Some(drawer) = stock.drawer else { return Ok(()) };
    let mut first = 0;
    while first < drawer.parts.len() {
        let (kind, value) = (drawer.parts[first].kind, drawer.parts[first].value);
        let same =
            |i: &usize| drawer.parts[*i].kind == kind && (drawer.parts[*i].value / value - 1.0).abs() < 1e-9;
        let lines: Vec<usize> = (first..drawer.parts.len()).take_while(same).collect();
        first += lines.len();
        if lines.len() > 1 {
            of_one_value(stock, places, fits, from, used, &lines)?;
        }
    }
    Ok(())
}

fn of_one_value(
    stock: &mut Stock<'_>,
    places: &[Place],
    fits: &mut Fits,
    from: &mut [Vec<usize>],
    used: &mut [u32],
    lines: &[usize],
) -> Result<(), ModelError> {
    let holders = holders(stock, places, from, lines);
    if holders.is_empty() {
        return Ok(());
    }
    // What is there for them: all that nobody else holds.
    let mut left: Vec<u32> = lines
        .iter()
        .map(|line| match stock.left(*line) {
            Some(Count::Pieces(n)) => n.saturating_sub(used.get(*line).copied().unwrap_or(0)),
            _ => u32::MAX,
        })
        .collect();
    for holder in &holders {
        if let Some(at) = lines.iter().position(|line| *line == holder.line) {
            left[at] = left[at].saturating_add(holder.designators.len() as u32);
        }
    }
    let now = judge(stock, fits)?;
    let mut costs: Vec<Vec<f64>> = Vec::new();
    for holder in &holders {
        let mut of_lines = Vec::new();
        for line in lines {
            let mut other = fits.clone();
            fill(stock, &mut other, places, holder, *line);
            of_lines.push(judge(stock, &other).map_or(f64::INFINITY, |a| square(&a, &now)));
        }
        costs.push(of_lines);
    }
    // The widest comes last: each step towards a tighter one must be worth it.
    let steps = lines.len() - 1;
    for of_lines in &mut costs {
        for (at, cost) in of_lines.iter_mut().enumerate() {
            *cost += WORTHWHILE * (steps - at) as f64;
        }
    }
    let pieces: Vec<u32> = holders.iter().map(|h| h.designators.len() as u32).collect();
    let mut lines_of: Vec<usize> = holders.iter().map(|h| h.line).collect();
    if let Some(best) = cheapest(&costs, &pieces, &left) {
        let mut other = fits.clone();
        for (holder, at) in holders.iter().zip(&best) {
            fill(stock, &mut other, places, holder, lines[*at]);
        }
        let then = judge(stock, &other)?;
        // Fixed values count as what they hold even where nothing changed; before they had the tightest.
        if square(&then, &now) <= 1.0 + 2.0 * WORTHWHILE * holders.len() as f64 {
            lines_of = best.iter().map(|at| lines[*at]).collect();
        }
    }
    for (holder, line) in holders.iter().zip(lines_of) {
        fill(stock, fits, places, holder, line);
        let count = holder.designators.len() as u32;
        match holder.open {
            Some(open) => {
                used[holder.line] -= count;
                used[line] += count;
                from[open] = vec![line];
            }
            None => stock.hold(&holder.designators, line),
        }
    }
    Ok(())
}

/// The square of the error in units of that of the board as it was, and what is missed beyond it. What a calibration takes
/// away counts a little, as everywhere in the search.
fn square(a: &Assessment, now: &Assessment) -> f64 {
    let ratio = a.with_calibration() / now.with_calibration();
    ratio * ratio + MISSED * (a.shortfall - now.shortfall).max(0.0)
        - if now.shortfall > 0.0 { (now.shortfall - a.shortfall).max(0.0) } else { 0.0 }
}

fn holders(stock: &Stock<'_>, places: &[Place], from: &[Vec<usize>], lines: &[usize]) -> Vec<Holder> {
    let open = places.iter().zip(from).enumerate().filter_map(|(index, (place, from))| match from[..] {
        [line] if lines.contains(&line) => Some(Holder {
            designators: place.pieces.iter().map(|(name, _)| name.clone()).collect(),
            open: Some(index),
            line,
        }),
        _ => None,
    });
    let mut all: Vec<Holder> = open.collect();
    let slots = &stock.resolved.blueprint.slots;
    let tie = |name: &String| slots.iter().find(|s| s.designator == *name).and_then(|s| s.tie.as_ref());
    for (name, line) in &stock.held {
        let Some(line) = line.filter(|line| lines.contains(line)) else { continue };
        if stock.resolved.stated.contains_key(name) {
            continue;
        }
        // A matched pair gets two of a kind.
        let partner = tie(name).map(|tie| &tie.to);
        let with = all.iter_mut().find(|h| {
            h.open.is_none()
                && h.line == line
                && h.designators
                    .iter()
                    .any(|d| partner == Some(d) || tie(d).is_some_and(|tie| tie.to == *name))
        });
        match with {
            Some(holder) => holder.designators.push(name.clone()),
            None => all.push(Holder { designators: vec![name.clone()], open: None, line }),
        }
    }
    all
}

fn fill(stock: &Stock<'_>, fits: &mut Fits, places: &[Place], holder: &Holder, line: usize) {
    let Some(part) = stock.at_hand(line) else { return };
    match holder.open.and_then(|open| places.get(open)) {
        Some(place) => put(fits, place, Fit::One(part)),
        None => {
            for name in &holder.designators {
                fits.insert(name.clone(), Fit::One(part));
            }
        }
    }
}

/// For each holder the line of the assignment with the least sum of costs that `left` allows; `None` where it allows none.
fn cheapest(costs: &[Vec<f64>], pieces: &[u32], left: &[u32]) -> Option<Vec<usize>> {
    let tried = (0..costs.len()).try_fold(1usize, |all, _| all.checked_mul(left.len()));
    if tried.is_none_or(|tried| tried > MOST_TRIED) {
        return largest_gain_first(costs, pieces, left);
    }
    let mut best: Option<(f64, Vec<usize>)> = None;
    let mut at = vec![0usize; costs.len()];
    loop {
        let fits = (0..left.len()).all(|line| {
            let taken: u32 = at.iter().zip(pieces).filter(|(l, _)| **l == line).map(|(_, n)| n).sum();
            taken <= left[line]
        });
        if fits {
            let sum: f64 = at.iter().zip(costs).map(|(line, of)| of[*line]).sum();
            if best.as_ref().is_none_or(|(least, _)| sum < *least) {
                best = Some((sum, at.clone()));
            }
        }
        // The next one, as a counter counts.
        let Some(place) = at.iter().position(|line| line + 1 < left.len()) else { break };
        at[..place].fill(0);
        at[place] += 1;
    }
    best.map(|(_, at)| at)
}

fn largest_gain_first(costs: &[Vec<f64>], pieces: &[u32], left: &[u32]) -> Option<Vec<usize>> {
    let gain = |of: &Vec<f64>| {
        let least = of.iter().copied().fold(f64::INFINITY, f64::min);
        of.last().map_or(0.0, |widest| widest - least)
    };
    let mut order: Vec<usize> = (0..costs.len()).collect();
    order.sort_by(|a, b| gain(&costs[*b]).total_cmp(&gain(&costs[*a])).then(a.cmp(b)));
    let (mut left, mut chosen) = (left.to_vec(), vec![0; costs.len()]);
    for holder in order {
        let may = |line: &usize| left[*line] >= pieces[holder];
        let of = &costs[holder];
        let line = (0..left.len()).filter(may).min_by(|a, b| of[*a].total_cmp(&of[*b]))?;
        left[line] = left[line].saturating_sub(pieces[holder]);
        chosen[holder] = line;
    }
    Some(chosen)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: one tight part; the second place gains 0.3 by it, the first 0.1, and the third, which takes two, can't have
    /// it.
    #[test]
    fn the_tight_one_goes_where_it_gains_most() {
        let costs = [vec![0.9, 1.0], vec![0.7, 1.0], vec![0.2, 1.0]];
        for assign in [cheapest, largest_gain_first] {
            assert_eq!(assign(&costs, &[1, 1, 2], &[1, 9]), Some(vec![1, 0, 1]));
            assert_eq!(assign(&costs, &[1, 1, 2], &[3, 9]), Some(vec![1, 0, 0]));
            assert_eq!(assign(&costs, &[1, 1, 2], &[0, 9]), Some(vec![1, 1, 1]));
        }
        assert_eq!(cheapest(&costs, &[1, 1, 2], &[1, 2]), None);
    }
}
