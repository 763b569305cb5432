//! The walk over what may be put into the places: downhill by the model's judgement, from coarse strides to single
//! steps.
//!
//! **Same answer every time.** Moves ([`super::moves`]) are judged in parallel and compared in order; nothing depends on
//! the threads.

use std::collections::{HashMap, HashSet};

use icepoint_chain::front_end::Values;
use icepoint_chain::{Model, ModelError};
use rayon::prelude::*;

use super::fit::{Fit, Fits, chain};
use super::judge::{Needed, Noise, judge_needed, values};
use super::offers::{Place, Stock};
use crate::candidate::Assessment;

/// Index of the offer taken at each place.
pub(crate) type Choice = Vec<u16>;

/// Strides in the logarithm of the value: a factor 10, 3, 1.8, …; then single steps.
const STRIDES: [f64; 6] = [core::f64::consts::LN_10, 1.0, 0.45, 0.2, 0.08, 0.03];
/// What a move must bring, share of the error: less is no reason to leave a usual value.
const WORTHWHILE: f64 = 0.0001;
/// What a move must take off what a board misses, share of that: with less a walk goes nowhere in many steps.
const LESS_SHORT: f64 = 0.02;
/// A change of the error below this share is none: the place is dull.
const DULL: f64 = 0.0001;

/// A choice with its judgement.
#[derive(Clone, Debug)]
pub(crate) struct Judged {
    pub choice: Choice,
    pub assessment: Assessment,
}

impl Judged {
    /// Whether it is better than `other`, by more than is worth a change.
    pub fn beats(&self, other: &Self) -> bool {
        let (a, b) = (&self.assessment, &other.assessment);
        let smaller = a.weighed() < b.weighed() * (1.0 - WORTHWHILE);
        if a.shortfall > 0.0 || b.shortfall > 0.0 {
            return a.shortfall < b.shortfall * (1.0 - LESS_SHORT) || (a.shortfall <= b.shortfall && smaller);
        }
        smaller
    }

    fn order(&self, other: &Self) -> core::cmp::Ordering {
        let (a, b) = (&self.assessment, &other.assessment);
        a.shortfall
            .total_cmp(&b.shortfall)
            .then(a.weighed().total_cmp(&b.weighed()))
            .then_with(|| self.choice.cmp(&other.choice))
    }
}

/// A walk with everything that it has judged.
pub(crate) struct Walk<'s> {
    pub stock: &'s Stock<'s>,
    pub places: Vec<Place>,
    seen: HashMap<Choice, Judged>,
    /// Places that matter.
    pub(super) keen: Vec<bool>,
    /// Boards judged at most.
    most: usize,
    /// Whether every board is judged in full: what it takes longer for must not change the answer.
    all: bool,
    /// Ratios judged at once.
    pub(super) ratios: usize,
    /// Whether the reading of a broken sensor counts.
    pub broken: bool,
}

impl<'s> Walk<'s> {
    /// `all`: judge every board in full, also where it is soon clear that it is worse. `ratios`: how many of the nearest
    /// ratios are tried for two places of one role.
    pub fn new(stock: &'s Stock<'s>, most: usize, all: bool, ratios: usize) -> Self {
        let places = stock.places();
        let keen = vec![true; places.len()];
        Self { stock, places, seen: HashMap::new(), keen, most, all, ratios, broken: true }
    }

    /// The same walk over boards whose reading of a broken sensor does not count.
    pub fn whatever_a_broken_sensor_reads(&self) -> Self {
        let new = Self::new(self.stock, self.most, self.all, self.ratios);
        Self { broken: false, places: self.places.clone(), ..new }
    }

    /// Whether a board fails to show a broken sensor as it is asked for.
    pub fn hides_a_break(&self, choice: &[u16]) -> Result<bool, ModelError> {
        let fits = self.fits(choice);
        let resolved = self.stock.resolved;
        let chain = chain(resolved, &values(resolved, &fits), &fits, true);
        Ok(Model::without_dynamics(chain)?.open_sensor_shortfall()? > 0.0)
    }

    /// Boards judged so far.
    pub fn judged(&self) -> usize {
        self.seen.len()
    }

    /// Pieces that a choice takes of each part of the drawer.
    pub fn used(&self, choice: &[u16]) -> Vec<u32> {
        let mut used = vec![0; self.stock.drawer.map_or(0, |d| d.parts.len())];
        for (place, &at) in self.places.iter().zip(choice) {
            if let Some(part) = place.offers[usize::from(at)].from_drawer {
                used[part] += place.pieces.len() as u32;
            }
        }
        used
    }

    fn possible(&self, choice: &[u16]) -> bool {
        self.used(choice).iter().enumerate().all(|(part, &n)| n == 0 || self.stock.covers(part, n))
    }

    /// The nearest to `wanted` at each place that the stock still has, in the order of the places; with a drawer, out of
    /// it. The place where nothing is left, if there is one.
    pub fn nearest_to(&self, wanted: &Values) -> Result<Choice, usize> {
        let mut used = vec![0u32; self.stock.drawer.map_or(0, |d| d.parts.len())];
        let mut choice = Choice::with_capacity(self.places.len());
        for (index, place) in self.places.iter().enumerate() {
            let value = wanted.get(&place.designator).copied().unwrap_or(place.usual);
            let pieces = place.pieces.len() as u32;
            let free = self.stock.drawer.is_none() || place.must_buy;
            let may = |i: usize| match place.offers[i].from_drawer {
                Some(part) => self.stock.covers(part, used[part] + pieces),
                None => free,
            };
            let at = place.nearest(value, may).ok_or(index)?;
            if let Some(part) = place.offers[at].from_drawer {
                used[part] += pieces;
            }
            choice.push(at as u16);
        }
        Ok(choice)
    }

    /// What a choice puts into the places.
    pub fn fits(&self, choice: &[u16]) -> Fits {
        let mut fits = Fits::new();
        for (place, &at) in self.places.iter().zip(choice) {
            put(&mut fits, place, place.offers[usize::from(at)].fit);
        }
        fits
    }

    /// Judges what is new among these, in parallel, as far as a board can be as good as it must.
    fn judge(&mut self, choices: Vec<Choice>, needed: Needed) -> Result<(), ModelError> {
        let mut new: Vec<Choice> = Vec::new();
        let mut asked: HashSet<Choice> = HashSet::new();
        for choice in choices {
            // A judgement that was broken off holds as long as what was found is too much.
            let known = self
                .seen
                .get(&choice)
                .is_some_and(|j| !j.assessment.partial || needed.rules_out(&j.assessment));
            if !known && !asked.contains(&choice) && self.possible(&choice) {
                asked.insert(choice.clone());
                new.push(choice);
            }
        }
        new.truncate(self.most.saturating_sub(self.seen.len()));
        let needed = if self.all { Needed::ALL } else { needed };
        let judged: Vec<Option<Judged>> = new
            .into_par_iter()
            .map(|choice| {
                let fits = self.fits(&choice);
                // A circuit that can't be solved with these values is no candidate.
                let assessment =
                    judge_needed(self.stock, &fits, needed, Noise::OfGoodBoards, self.broken).ok()?;
                Some(Judged { choice, assessment })
            })
            .collect();
        for judged in judged.into_iter().flatten() {
            self.seen.insert(judged.choice.clone(), judged);
        }
        Ok(())
    }

    /// The best of these that were judged.
    fn best_of(&self, choices: &[Choice]) -> Option<Judged> {
        choices.iter().filter_map(|c| self.seen.get(c)).min_by(|a, b| a.order(b)).cloned()
    }

    /// Walks downhill from `start`; `None` if no board could be judged.
    pub fn from(&mut self, start: Choice) -> Result<Option<Judged>, ModelError> {
        self.judge(vec![start.clone()], Needed::ALL)?;
        let Some(mut here) = self.best_of(core::slice::from_ref(&start)) else { return Ok(None) };
        self.keen = vec![true; self.places.len()];
        // What lacks noise while a limit is missed may not be dull when all are kept.
        let mut whole = false;
        for (round, stride) in STRIDES.into_iter().enumerate() {
            let keeps = here.assessment.shortfall == 0.0;
            if round == 1 || (round > 1 && keeps && !whole) {
                self.leave_out_the_dull(&here)?;
                whole = keeps;
            }
            here = self.downhill(here, |walk, at| walk.strides(at, stride))?;
        }
        if here.assessment.shortfall == 0.0 && !whole {
            self.leave_out_the_dull(&here)?;
        }
        here = self.downhill(here, Self::steps)?;
        here = self.downhill(here, Self::same_ratio)?;
        here = self.downhill(here, Self::steps)?;
        here = self.downhill(here, Self::anywhere)?;
        let here = self.least_calibration(here);
        self.homeward(here).map(Some)
    }

    /// Goes to the best neighbour as long as one is better.
    fn downhill(
        &mut self,
        mut here: Judged,
        neighbours: impl Fn(&Self, &Choice) -> Vec<Choice>,
    ) -> Result<Judged, ModelError> {
        loop {
            let around = neighbours(self, &here.choice);
            self.judge(around.clone(), Needed::by(&here.assessment))?;
            let Some(best) = self.best_of(&around).filter(|best| best.beats(&here)) else { return Ok(here) };
            // Moves that help alone and touch other places often help together.
            let mut all = best.choice.clone();
            for other in &around {
                let helps = self.seen.get(other).is_some_and(|o| o.beats(&here));
                let apart = other.iter().zip(&here.choice).zip(&all).all(|((o, h), a)| o == h || a == h);
                if helps && apart {
                    for ((o, h), a) in other.iter().zip(&here.choice).zip(all.iter_mut()) {
                        if o != h {
                            *a = *o;
                        }
                    }
                }
            }
            self.judge(vec![all.clone()], Needed::by(&here.assessment))?;
            here = self.best_of(&[best.choice, all]).unwrap_or(here);
            if self.seen.len() >= self.most {
                return Ok(here);
            }
        }
    }

    /// Of all judged whose error can't be told from this one's, the one that needs the least calibration: a trim hides a
    /// gain that is far off, but a trim has an end.
    fn least_calibration(&self, here: Judged) -> Judged {
        let alike = |j: &&Judged| {
            !j.assessment.partial
                && j.assessment.shortfall <= here.assessment.shortfall
                && j.assessment.weighed() <= here.assessment.weighed() * (1.0 + ALIKE)
        };
        let both = |j: &Judged| j.assessment.with_calibration();
        let least = |a: &&Judged, b: &&Judged| both(a).total_cmp(&both(b)).then_with(|| a.order(b));
        self.seen.values().filter(alike).min_by(least).cloned().unwrap_or(here)
    }

    /// Back to the usual value wherever that costs nothing: what was passed on the way is no reason to keep.
    fn homeward(&mut self, mut here: Judged) -> Result<Judged, ModelError> {
        let best = here.clone();
        for index in 0..self.places.len() {
            let place = &self.places[index];
            let drawer_first = self.stock.drawer.is_some() && !place.must_buy;
            let usual =
                place.nearest(place.usual, |i| !drawer_first || place.offers[i].from_drawer.is_some());
            let Some(usual) = usual else { continue };
            let mut home = here.choice.clone();
            home[index] = usual as u16;
            self.judge(vec![home.clone()], Needed::by(&best.assessment))?;
            let as_good = |home: &Judged| {
                home.assessment.shortfall <= best.assessment.shortfall
                    && home.assessment.weighed() <= best.assessment.weighed() * (1.0 + HOMELY)
                    && home.assessment.as_built_95 <= best.assessment.as_built_95 * (1.0 + ALIKE)
            };
            if let Some(home) = self.best_of(&[home]).filter(as_good) {
                here = home;
            }
        }
        Ok(here)
    }

    /// Places whose value changes nothing, up or down by a factor of ten or three, keep it.
    fn leave_out_the_dull(&mut self, here: &Judged) -> Result<(), ModelError> {
        let alone: Vec<(usize, Choice)> = (0..self.places.len())
            .flat_map(|place| [1.0, -1.0, 2.3, -2.3].map(move |by| (place, by)))
            .filter_map(|(place, by)| Some((place, self.moved(&here.choice, &[(place, by)])?)))
            .collect();
        self.judge(alone.iter().map(|(_, c)| c.clone()).collect(), Needed::by(&here.assessment))?;
        let mut keen = vec![false; self.places.len()];
        for (place, choice) in &alone {
            let Some(other) = self.seen.get(choice) else { continue };
            let (a, b) = (&other.assessment, &here.assessment);
            let same = (a.shortfall - b.shortfall).abs() <= 1e-6 * b.shortfall
                && (a.weighed() - b.weighed()).abs() <= DULL * b.weighed();
            keen[*place] |= !same;
        }
        self.keen = keen;
        Ok(())
    }
}

/// Errors closer than this share are alike.
const ALIKE: f64 = 0.003;
/// Usual values may cost this share of the error.
const HOMELY: f64 = 0.0005;

/// Puts a fit into a place and, times its factor, into those tied to it.
pub(crate) fn put(fits: &mut Fits, place: &Place, fit: Fit) {
    for (designator, factor) in &place.pieces {
        let scaled = |mut part: super::fit::Part| {
            part.value *= factor;
            part
        };
        let fit = match fit {
            Fit::One(part) => Fit::One(scaled(part)),
            Fit::Two { join, kind, first, second } => {
                Fit::Two { join, kind, first: scaled(first), second: scaled(second) }
            }
        };
        fits.insert(designator.clone(), fit);
    }
}
