//! The moves of a walk: what may be tried next from a choice.
//!
//! **Moves.** In the logarithm of the value, as values are stepped: each place alone; two places of one role together,
//! along their ratio (both up) and along their product (one up, one down). A gain is a ratio, a corner frequency a
//! product; the walk does not know which it has before it. Dull places, which change nothing, stay at their usual value.
//! **Ratios.** At last, for two places of one role, every value of the one with the two values of the other that come
//! nearest to the ratio or product found: neighbours on a scale of preferred values are no neighbours in ratio.

use super::walk::{Choice, Walk};

/// In a drawer, values nearer than this in the logarithm are tried at one place.
const NEAR: f64 = 1.1;
/// Two places are tried with everything in the drawer if that makes no more boards than this.
const FEW_PAIRS: usize = 64;
/// Strides below this are tried for any two places together.
const FINE: f64 = 0.1;

impl Walk<'_> {
    /// A choice with some places moved by so much in the logarithm of the value; `None` where nothing moves.
    pub(super) fn moved(&self, from: &[u16], by: &[(usize, f64)]) -> Option<Choice> {
        let mut choice = from.to_vec();
        let mut used = self.used(from);
        for &(place, shift) in by {
            let p = &self.places[place];
            let here = &p.offers[usize::from(from[place])];
            let wanted = here.fit.value() * libm::exp(shift);
            let wanted = wanted.clamp(p.limits.0, p.limits.1);
            let pieces = p.pieces.len() as u32;
            here.from_drawer.into_iter().for_each(|part| used[part] -= pieces);
            // Of several parts of one value one that is left.
            let left = |i: usize| {
                p.offers[i].from_drawer.is_none_or(|part| self.stock.covers(part, used[part] + pieces))
            };
            let at = p.nearest(wanted, left)?;
            p.offers[at].from_drawer.into_iter().for_each(|part| used[part] += pieces);
            choice[place] = at as u16;
            if choice[place] == from[place] {
                return None;
            }
        }
        Some(choice)
    }

    pub(super) fn strides(&self, from: &Choice, stride: f64) -> Vec<Choice> {
        let mut all = Vec::new();
        for place in self.keen_places() {
            all.extend(self.moved(from, &[(place, stride)]));
            all.extend(self.moved(from, &[(place, -stride)]));
        }
        // What one place gives another may take away: a larger gain wants a lower pedestal, whatever their roles.
        let pairs = if stride < FINE { self.any_two() } else { self.together() };
        for (a, b) in pairs {
            for (x, y) in [(stride, stride), (-stride, -stride), (stride, -stride), (-stride, stride)] {
                all.extend(self.moved(from, &[(a, x), (b, y)]));
            }
        }
        all
    }

    fn keen_places(&self) -> impl Iterator<Item = usize> + '_ {
        (0..self.places.len()).filter(|p| self.keen[*p])
    }

    /// Pairs of places that matter.
    fn any_two(&self) -> Vec<(usize, usize)> {
        let places: Vec<usize> = self.keen_places().collect();
        let rest = |i: usize| places[i + 1..].iter();
        places.iter().enumerate().flat_map(|(i, &a)| rest(i).map(move |&b| (a, b))).collect()
    }

    /// Pairs of places of one role that matter.
    fn together(&self) -> Vec<(usize, usize)> {
        let role = |place: usize| self.places[place].role.as_deref();
        self.any_two().into_iter().filter(|&(a, b)| role(a).is_some() && role(a) == role(b)).collect()
    }

    /// Anything else that may be put into a place that matters, and two places together where there is little to choose
    /// from: a drawer is no scale, and what one place holds another may want.
    pub(super) fn anywhere(&self, from: &Choice) -> Vec<Choice> {
        let mut all = Vec::new();
        if self.stock.drawer.is_none() {
            return all;
        }
        let value = |place: usize, at: usize| self.places[place].offers[at].fit.value();
        let near = |place: usize| -> Vec<u16> {
            let now = value(place, usize::from(from[place]));
            let offers = 0..self.places[place].offers.len();
            offers
                .filter(|at| libm::fabs(libm::log(value(place, *at) / now)) < NEAR)
                .map(|at| at as u16)
                .collect()
        };
        for place in self.keen_places() {
            for at in near(place) {
                let mut choice = from.clone();
                choice[place] = at;
                all.push(choice);
            }
        }
        for (a, b) in self.any_two().into_iter().flat_map(|(a, b)| [(a, b), (b, a)]) {
            all.extend(self.handed_on(from, a, b));
        }
        for (a, b) in self.any_two() {
            let few = self.places[a].offers.len() * self.places[b].offers.len() <= FEW_PAIRS;
            let every = |place: usize| (0..self.places[place].offers.len() as u16).collect();
            let (first, second): (Vec<u16>, Vec<u16>) = if few {
                (every(a), every(b))
            } else {
                // Only what the two could give each other.
                let same = |p: usize, q: usize| {
                    let part = self.places[q].offers[usize::from(from[q])].from_drawer;
                    self.places[p].offers.iter().position(|o| o.from_drawer == part).map(|at| at as u16)
                };
                (same(a, b).into_iter().collect(), same(b, a).into_iter().collect())
            };
            for &x in &first {
                for &y in &second {
                    let mut choice = from.clone();
                    (choice[a], choice[b]) = (x, y);
                    all.push(choice);
                }
            }
        }
        all.dedup();
        all
    }

    /// The part of one place given to another one, and to it another part of its value.
    fn handed_on(&self, from: &[u16], giver: usize, taker: usize) -> Vec<Choice> {
        let (g, t) = (&self.places[giver], &self.places[taker]);
        let given = &g.offers[usize::from(from[giver])];
        let Some(part) = given.from_drawer else { return Vec::new() };
        let Some(at) = t.offers.iter().position(|o| o.from_drawer == Some(part)) else { return Vec::new() };
        let same = |o: &super::offers::Offer| (o.fit.value() / given.fit.value() - 1.0).abs() < 1e-9;
        let others = g.offers.iter().enumerate().filter(|(_, o)| same(o) && o.from_drawer != Some(part));
        others
            .map(|(instead, _)| {
                let mut choice = from.to_vec();
                (choice[giver], choice[taker]) = (instead as u16, at as u16);
                choice
            })
            .collect()
    }

    /// So many steps on the scale of one place.
    fn step(&self, from: &[u16], place: usize, by: i32) -> Option<Choice> {
        let to = u16::try_from(i32::from(from[place]) + by).ok()?;
        let mut next = from.to_vec();
        next[place] = to;
        (usize::from(to) < self.places[place].offers.len()).then_some(next)
    }

    /// One and two steps on the scale of each place, and single steps of two places of one role.
    pub(super) fn steps(&self, from: &Choice) -> Vec<Choice> {
        let mut all = Vec::new();
        for place in self.keen_places() {
            all.extend([-2, -1, 1, 2].into_iter().filter_map(|by| self.step(from, place, by)));
        }
        for (a, b) in self.any_two() {
            for (x, y) in [(1, 1), (-1, -1), (1, -1), (-1, 1)] {
                all.extend(self.step(from, a, x).and_then(|c| self.step(&c, b, y)));
            }
        }
        all
    }

    /// For two places of one role and kind: every value of the one with the two of the other that come nearest to the
    /// ratio as it is; by the product for two different kinds.
    pub(super) fn same_ratio(&self, from: &Choice) -> Vec<Choice> {
        let value = |place: usize| self.places[place].offers[usize::from(from[place])].fit.value();
        let mut all = Vec::new();
        for (a, b) in self.together() {
            let (p, q) = (&self.places[a], &self.places[b]);
            if p.kind != q.kind {
                continue;
            }
            let ratio = value(b) / value(a);
            for (i, offer) in p.offers.iter().enumerate() {
                let wanted = offer.fit.value() * ratio;
                let above = q.offers.partition_point(|o| o.fit.value() < wanted);
                for j in [above.checked_sub(1), Some(above)].into_iter().flatten() {
                    if j < q.offers.len() {
                        let mut choice = from.clone();
                        (choice[a], choice[b]) = (i as u16, j as u16);
                        all.push(choice);
                    }
                }
            }
        }
        // The closest ratios first: what is beyond the number that may be judged is the least likely.
        let off = |c: &Choice| {
            let moved: Vec<usize> = (0..c.len()).filter(|i| c[*i] != from[*i]).collect();
            let log =
                |place: usize, at: u16| libm::log(self.places[place].offers[usize::from(at)].fit.value());
            match moved[..] {
                [a, b] => libm::fabs(log(b, c[b]) - log(b, from[b]) - log(a, c[a]) + log(a, from[a])),
                _ => 0.0,
            }
        };
        all.sort_by(|a, b| off(a).total_cmp(&off(b)).then_with(|| a.cmp(b)));
        all.truncate(self.ratios);
        all
    }
}
