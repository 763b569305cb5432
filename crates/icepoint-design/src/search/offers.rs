//! What may be put into a place: values of a series, parts out of the drawer, or both.

use std::sync::{Arc, OnceLock};

use icepoint_chain::Model;
use icepoint_chain::drawer::{Count, Drawer, FirstTaken, WantedPart};
use icepoint_chain::front_end::{Slot, SlotKind};
use icepoint_chain::resolve::Resolved;

use super::fit::{Fit, Fits, Join, Part, reach};
use crate::preferred::between;

/// Something that may be put into a place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Offer {
    pub fit: Fit,
    /// Parts of the drawer that it takes, per piece; none for what must be bought.
    pub from_drawer: Option<usize>,
}

/// A place: an open slot with those that are tied to it.
#[derive(Clone, Debug)]
pub(crate) struct Place {
    pub designator: String,
    pub kind: SlotKind,
    pub usual: f64,
    pub limits: (f64, f64),
    pub role: Option<String>,
    /// Itself and its followers: designator and factor on the value.
    pub pieces: Vec<(String, f64)>,
    /// By rising value; of one value the tightest first.
    pub offers: Vec<Offer>,
    /// Whether the drawer has nothing for it, so that it must be bought.
    pub must_buy: bool,
}

/// The value of a slot that is fixed, or that follows one that is; an adjustable resistor takes no fixed one's place.
pub(crate) fn fixed_value(resolved: &Resolved, slot: &Slot) -> Option<f64> {
    if resolved.blueprint.adjustable().any(|trim| trim == slot.designator) {
        return None;
    }
    let fixed = |name: &String| resolved.fixed.get(name).copied();
    fixed(&slot.designator).or_else(|| slot.tie.as_ref().and_then(|tie| Some(tie.ratio * fixed(&tie.to)?)))
}

/// Whether a value is between two limits, but for rounding.
pub(crate) fn within((low, high): (f64, f64), value: f64) -> bool {
    low * (1.0 - 1e-9) <= value && value <= high * (1.0 + 1e-9)
}

impl Place {
    /// Whether a value is within the limits of the place.
    pub fn allows(&self, value: f64) -> bool {
        within(self.limits, value)
    }

    /// Index of the offer nearest to `value` by ratio among those that `may` be taken; of one value the widest of the drawer:
    /// a tight part is for places where that takes something off the error.
    pub fn nearest(&self, value: f64, may: impl Fn(usize) -> bool) -> Option<usize> {
        let off = |i: usize| libm::fabs(libm::log(self.offers[i].fit.value() / value));
        let bought = |i: usize| self.offers[i].from_drawer.is_none();
        (0..self.offers.len())
            .filter(|i| may(*i))
            .min_by(|a, b| off(*a).total_cmp(&off(*b)).then(bought(*a).cmp(&bought(*b))).then(b.cmp(a)))
    }
}

/// The stock that places draw from.
#[derive(Clone)]
pub(crate) struct Stock<'r> {
    pub resolved: &'r Resolved,
    pub drawer: Option<&'r Drawer>,
    /// Fixed values: designator and part of the drawer. Of several parts of one value that with the largest tolerance, so
    /// that places which are open may have the others; what is left of those goes where it takes most off the error.
    pub held: Vec<(String, Option<usize>)>,
    /// Pieces of each part of the drawer that fixed values take.
    taken: Vec<u32>,
    /// Whether the reading of a broken sensor counts for what is chosen from it.
    pub broken: bool,
    /// [`Stock::usual`], made when first asked for.
    usual: Arc<OnceLock<Option<Model>>>,
}

impl<'r> Stock<'r> {
    pub fn new(resolved: &'r Resolved) -> Self {
        let drawer = resolved.drawer.as_ref();
        let mut taken = vec![0; drawer.map_or(0, |d| d.parts.len())];
        let held: Vec<(String, Option<usize>)> = drawer.map_or_else(Vec::new, |drawer| {
            let fixed =
                |slot: &Slot| Some((slot.designator.clone(), slot.kind, fixed_value(resolved, slot)?));
            let fixed: Vec<_> = resolved.blueprint.slots.iter().filter_map(fixed).collect();
            let want = |(name, kind, value): &(String, SlotKind, f64)| {
                let tolerance = resolved.stated.get(name).copied();
                WantedPart { kind: *kind, value: *value, tolerance }
            };
            let wanted: Vec<WantedPart> = fixed.iter().map(want).collect();
            let lines = drawer.lines(&wanted, FirstTaken::Widest);
            fixed.into_iter().map(|(name, ..)| name).zip(lines).collect()
        });
        held.iter().filter_map(|(_, line)| *line).for_each(|i| taken[i] += 1);
        Self { resolved, drawer, held, taken, broken: true, usual: Arc::default() }
    }

    /// The same where fixed values have been given the parts that are among `fits`.
    pub fn holding(resolved: &'r Resolved, fits: &Fits) -> Self {
        let mut stock = Self::new(resolved);
        for at in 0..stock.held.len() {
            let (name, Some(_)) = stock.held[at].clone() else { continue };
            let Some(fit) = fits.get(&name) else { continue };
            let is_it = |i: &usize| stock.at_hand(*i).map(Fit::One).as_ref() == Some(fit);
            if let Some(line) = (0..stock.taken.len()).find(is_it) {
                stock.hold(&[name], line);
            }
        }
        stock
    }

    /// The same where the reading of a broken sensor counts or not.
    pub fn counting(self, broken: bool) -> Self {
        Self { broken, ..self }
    }

    /// The board with the usual value at every open place: all others have its circuit with other figures. `None` if it
    /// can't be solved.
    pub fn usual(&self) -> Option<&Model> {
        let board = || Model::without_dynamics(self.resolved.with_values(&self.resolved.fixed)).ok();
        self.usual.get_or_init(board).as_ref()
    }

    /// Gives fixed values another part of theirs.
    pub fn hold(&mut self, designators: &[String], line: usize) {
        for (_, held) in self.held.iter_mut().filter(|(name, _)| designators.contains(name)) {
            if let Some(before) = held.replace(line) {
                self.taken[before] = self.taken[before].saturating_sub(1);
            }
            self.taken[line] += 1;
        }
    }

    /// Pieces of a part that are left beside those of fixed values.
    pub fn left(&self, part: usize) -> Option<Count> {
        let count = self.drawer?.parts.get(part)?.count;
        Some(match count {
            Count::Pieces(n) => Count::Pieces(n.saturating_sub(self.taken[part])),
            Count::Enough => Count::Enough,
        })
    }

    /// Whether the drawer still covers `more` pieces of a part.
    pub fn covers(&self, part: usize, more: u32) -> bool {
        self.drawer
            .and_then(|d| d.parts.get(part))
            .is_some_and(|p| p.count.covers(more.saturating_add(self.taken[part])))
    }

    /// Figures of a bought part of this kind: tolerance and temperature coefficient.
    pub fn bought(&self, slot: &Slot, value: f64) -> Part {
        let s = &self.resolved.surroundings;
        match slot.kind {
            SlotKind::Resistor => {
                let figures = s.resistor_for.get(&slot.designator).unwrap_or(&s.resistor);
                Part { value, tolerance: figures.tolerance, tempco: figures.tempco, in_network: true }
            }
            SlotKind::Capacitor => {
                let limit = s.capacitor_for.get(&slot.designator).unwrap_or(&s.capacitor_tolerance);
                let tempco = s.capacitor_tempco;
                let tolerance = (limit - tempco * reach(self.resolved)).max(0.0);
                Part { value, tolerance, tempco, in_network: false }
            }
        }
    }

    /// A part of the drawer as it is built in.
    pub fn at_hand(&self, part: usize) -> Option<Part> {
        self.drawer?.parts.get(part).map(Part::at_hand)
    }

    /// The tightest part of this value of which there is one left beside what is used.
    pub fn of_value(&self, kind: SlotKind, value: f64, used: &[u32]) -> Option<usize> {
        let parts = &self.drawer?.parts;
        (0..parts.len()).find(|i| {
            let part = &parts[*i];
            part.kind == kind
                && (part.value / value - 1.0).abs() < 1e-9
                && self.covers(*i, used.get(*i).copied().unwrap_or(0) + 1)
        })
    }

    /// The tightest line of this value that has enough for all pieces of a place which hold `before` so far, beside what is
    /// used, them included; `None` unless it is tighter than each of them.
    pub fn tightest_for_all(
        &self,
        kind: SlotKind,
        value: f64,
        used: &[u32],
        before: &[usize],
    ) -> Option<usize> {
        let parts = &self.drawer?.parts;
        // Of one value the tightest comes first.
        let tighter = |i: &usize| !before.is_empty() && before.iter().all(|line| i < line);
        (0..parts.len()).filter(tighter).find(|i| {
            let part = &parts[*i];
            let more = before.len() as u32;
            part.kind == kind
                && (part.value / value - 1.0).abs() < 1e-9
                && self.covers(*i, used.get(*i).copied().unwrap_or(0) + more)
        })
    }

    /// The part nearest to a value of which there is one left beside what is used, within the limits of a slot; of one value
    /// the tightest.
    pub fn nearest_left(&self, slot: &Slot, value: f64, used: &[u32]) -> Option<usize> {
        let parts = &self.drawer?.parts;
        let off = |i: &usize| libm::fabs(libm::log(parts[*i].value / value));
        (0..parts.len())
            .filter(|i| parts[*i].kind == slot.kind && within(slot.limits, parts[*i].value))
            .filter(|i| self.covers(*i, used.get(*i).copied().unwrap_or(0) + 1))
            .min_by(|a, b| off(a).total_cmp(&off(b)).then(a.cmp(b)))
    }

    /// Parts that an open place takes: its own and those of the places tied to it.
    pub fn pieces(&self, designator: &str) -> u32 {
        self.resolved.blueprint.slot(designator).map_or(1, |slot| self.place(slot).pieces.len() as u32)
    }

    /// The open places with what may be put into each.
    pub fn places(&self) -> Vec<Place> {
        let blueprint = &self.resolved.blueprint;
        let slots = blueprint.slots.iter().filter(|s| self.resolved.open.contains(&s.designator));
        slots.map(|slot| self.place(slot)).collect()
    }

    fn place(&self, slot: &Slot) -> Place {
        let blueprint = &self.resolved.blueprint;
        let mut pieces = vec![(slot.designator.clone(), 1.0)];
        // Followers of followers too; a circle of ties ends because each slot is taken once.
        let mut at = 0;
        while let Some((name, factor)) = pieces.get(at).cloned() {
            at += 1;
            for other in &blueprint.slots {
                let follows = other.tie.as_ref().filter(|t| t.to == name);
                let known = |d: &str| pieces.iter().any(|(p, _)| p == d);
                if let Some(tie) = follows
                    && !known(&other.designator)
                    && !self.resolved.fixed.contains_key(&other.designator)
                {
                    pieces.push((other.designator.clone(), factor * tie.ratio));
                }
            }
        }
        let alike = pieces.iter().all(|(_, factor)| *factor == 1.0);
        let mut offers: Vec<Offer> = Vec::new();
        if let Some(drawer) = self.drawer.filter(|_| alike) {
            let count = pieces.len() as u32;
            for (i, part) in drawer.parts.iter().enumerate() {
                if part.kind == slot.kind
                    && within(slot.limits, part.value)
                    && self.covers(i, count)
                    && let Some(part) = self.at_hand(i)
                {
                    offers.push(Offer { fit: Fit::One(part), from_drawer: Some(i) });
                }
            }
        }
        let must_buy = self.drawer.is_some() && offers.is_empty();
        let mut place = Place {
            designator: slot.designator.clone(),
            kind: slot.kind,
            usual: slot.usual,
            limits: slot.limits,
            role: slot.role.clone(),
            pieces,
            offers,
            must_buy,
        };
        if self.drawer.is_none() || must_buy {
            self.add_bought(&mut place);
        }
        place
    }

    /// The values of the series, to be bought.
    pub fn add_bought(&self, place: &mut Place) {
        let Some(slot) = self.resolved.blueprint.slot(&place.designator) else { return };
        if place.offers.iter().any(|o| o.from_drawer.is_none()) {
            return;
        }
        let series = match slot.kind {
            SlotKind::Resistor => self.resolved.resistor_series,
            SlotKind::Capacitor => self.resolved.capacitor_series,
        };
        for value in between(series, slot.limits.0, slot.limits.1) {
            place.offers.push(Offer { fit: Fit::One(self.bought(slot, value)), from_drawer: None });
        }
        place.offers.sort_by(|a, b| {
            let key = |o: &Offer| (o.fit.value(), o.fit.equivalent().tolerance);
            let ((v, t), (w, u)) = (key(a), key(b));
            v.total_cmp(&w).then(t.total_cmp(&u)).then(b.from_drawer.cmp(&a.from_drawer))
        });
    }

    /// Pairs out of the drawer, in series or in parallel, next to `wanted`: nearest first, not more than `keep`.
    /// `used` tells the pieces of each part that other places take.
    pub fn pairs(
        &self,
        kind: SlotKind,
        wanted: f64,
        pieces: u32,
        used: &[u32],
        keep: usize,
    ) -> Vec<(Fit, [usize; 2])> {
        let Some(drawer) = self.drawer else { return Vec::new() };
        let left = |i: usize, n: u32| {
            drawer.parts[i].count != Count::Pieces(0) && self.covers(i, used.get(i).copied().unwrap_or(0) + n)
        };
        let mut found: Vec<(f64, Fit, [usize; 2])> = Vec::new();
        for (i, a) in drawer.parts.iter().enumerate().filter(|(_, p)| p.kind == kind) {
            for (j, b) in drawer.parts.iter().enumerate().skip(i).filter(|(_, p)| p.kind == kind) {
                let enough = if i == j { left(i, 2 * pieces) } else { left(i, pieces) && left(j, pieces) };
                if !enough {
                    continue;
                }
                let (sum, both) = (a.value + b.value, a.value * b.value / (a.value + b.value));
                for (join, value) in match kind {
                    SlotKind::Resistor => [(Join::Series, sum), (Join::Parallel, both)],
                    SlotKind::Capacitor => [(Join::Parallel, sum), (Join::Series, both)],
                } {
                    let off = libm::fabs(libm::log(value / wanted));
                    if off < NEAR
                        && let (Some(first), Some(second)) = (self.at_hand(j), self.at_hand(i))
                    {
                        // The larger one first: it is most of a sum, and a person reads it so.
                        found.push((off, Fit::Two { join, kind, first, second }, [j, i]));
                    }
                }
            }
        }
        found.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.2.cmp(&b.2)));
        found.truncate(keep);
        found.into_iter().map(|(_, fit, parts)| (fit, parts)).collect()
    }
}

/// A pair further off than this, in the logarithm of the value, is no fit.
const NEAR: f64 = 0.02;
