//! What fills a place: one part, or two in series or in parallel.

use std::collections::BTreeMap;

use icepoint_chain::chain::Chain;
use icepoint_chain::drawer::DrawerPart;
use icepoint_chain::front_end::{FrontEnd, PartKind, ResistorFigures, SlotKind, Values};
use icepoint_chain::imperfection::SPECIFIED_AT;
use icepoint_chain::quantity::{Unit, format};
use icepoint_chain::resolve::Resolved;

/// A resistor or capacitor with its figures.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Part {
    /// Ω or F.
    pub value: f64,
    /// Limit, relative.
    pub tolerance: f64,
    /// Limit of the temperature coefficient, 1/K.
    pub tempco: f64,
    /// Whether it may be one of a network, where the circuit has one; a part of the drawer is a single one.
    pub in_network: bool,
}

/// How two parts are joined.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Join {
    /// One after the other.
    Series,
    /// Side by side.
    Parallel,
}

impl Part {
    /// No part.
    pub(crate) const NONE: Self = Self { value: f64::NAN, tolerance: 0.0, tempco: 0.0, in_network: false };

    /// A part of the drawer as it is built in.
    pub(crate) fn at_hand(p: &DrawerPart) -> Self {
        Self { value: p.value, tolerance: p.tolerance, tempco: p.tempco, in_network: false }
    }

    /// In words, as a drawer lists it: "4.7 kΩ ± 1 %"; a capacitor's temperature coefficient counts in its limit, and is
    /// told.
    pub fn words(&self, kind: SlotKind) -> String {
        let limit = format(self.tolerance, Unit::Ratio, 3);
        let text = format!("{} ± {limit}", format(self.value, unit(kind), 4));
        match kind {
            SlotKind::Capacitor if self.tempco > 0.0 => {
                format!("{text} ({})", format(self.tempco, Unit::PerKelvin, 3))
            }
            _ => text,
        }
    }
}

/// Ω or F.
pub const fn unit(kind: SlotKind) -> Unit {
    match kind {
        SlotKind::Resistor => Unit::Ohm,
        SlotKind::Capacitor => Unit::Farad,
    }
}

impl Join {
    /// In words.
    pub fn name(self) -> &'static str {
        match self {
            Self::Series => "in series",
            Self::Parallel => "in parallel",
        }
    }
}

/// What fills a place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Fit {
    /// One part.
    One(Part),
    /// Two parts, the larger one first.
    Two {
        /// How they are joined.
        join: Join,
        /// What they are.
        kind: SlotKind,
        /// The larger one.
        first: Part,
        /// The smaller one.
        second: Part,
    },
}

impl Fit {
    /// Ω or F.
    pub fn value(&self) -> f64 {
        self.equivalent().value
    }

    /// In words: "4.7 kΩ ± 1 %", "4.7 kΩ ± 1 % and 120 Ω ± 1 % in series".
    pub fn words(&self, kind: SlotKind) -> String {
        match self {
            Self::One(part) => part.words(kind),
            Self::Two { join, first, second, .. } => {
                format!("{} and {} {}", first.words(kind), second.words(kind), join.name())
            }
        }
    }

    /// The one part that does the same: shares of the value weigh the limits, and limits of two independent parts add
    /// as standard uncertainties do.
    pub fn equivalent(&self) -> Part {
        match *self {
            Self::One(part) => part,
            Self::Two { join, kind, first, second } => {
                let adds = (join == Join::Series) == (kind == SlotKind::Resistor);
                let sum = first.value + second.value;
                let value = if adds { sum } else { first.value * second.value / sum };
                // d(ln R)/d(ln R₁): R₁/R of a sum, R/R₁ of a parallel connection.
                let share = |part: Part| if adds { part.value / value } else { value / part.value };
                let both = |of: fn(&Part) -> f64| {
                    libm::hypot(share(first) * of(&first), share(second) * of(&second))
                };
                Part {
                    value,
                    tolerance: both(|p| p.tolerance),
                    tempco: both(|p| p.tempco),
                    in_network: false,
                }
            }
        }
    }
}

/// What fills the places of a front end, by designator.
pub type Fits = BTreeMap<String, Fit>;

/// The chain with these parts built in. `whole`: pairs are two parts of their own; else each is the one part that does
/// the same, which a search takes because it is quicker and the numbering of parts stays.
pub fn chain(resolved: &Resolved, values: &Values, fits: &Fits, whole: bool) -> Chain {
    let mut chain = resolved.with_values(values);
    let reach = reach(resolved);
    let front_end = &mut chain.front_end;
    for (designator, fit) in fits {
        let part = fit.equivalent();
        let Some(at) = front_end.parts.iter_mut().find(|p| p.designator == *designator) else { continue };
        match &mut at.kind {
            PartKind::Resistor { figures, .. } | PartKind::GainResistor { figures, .. } => {
                (figures.ohms, figures.tolerance, figures.tempco) = (part.value, part.tolerance, part.tempco);
                if !part.in_network {
                    figures.network = None;
                }
            }
            PartKind::Capacitor { farads, tolerance, .. } => {
                (*farads, *tolerance) = (part.value, over_the_range(&part, reach));
            }
            _ => {}
        }
        if whole {
            split(front_end, designator, fit, reach);
        }
    }
    front_end.leave_lone_networks();
    chain
}

/// Largest distance of the board's temperature from where parts are specified, K.
pub fn reach(resolved: &Resolved) -> f64 {
    let (low, high) = resolved.chain.need.board;
    (high - SPECIFIED_AT).abs().max((low - SPECIFIED_AT).abs())
}

/// Limit of a capacitor's value over the board's range: the model has no temperature coefficient of its own for it.
fn over_the_range(part: &Part, reach: f64) -> f64 {
    part.tolerance + part.tempco * reach
}

/// Makes two parts of one: `R3` becomes `R3A` and `R3B`.
fn split(front_end: &mut FrontEnd, designator: &str, fit: &Fit, reach: f64) {
    let Fit::Two { join, first, second, .. } = fit else { return };
    let Some(at) = front_end.parts.iter().position(|p| p.designator == designator) else { return };
    let old = front_end.parts[at].clone();
    let middle = format!("middle of {designator}");
    let with = |part: &Part, letter: char, from: &str, to: &str| {
        let mut new = old.clone();
        new.designator = format!("{designator}{letter}");
        match &mut new.kind {
            PartKind::Resistor { a, b, figures } => {
                (*a, *b) = (from.to_owned(), to.to_owned());
                // Two single resistors are in no network.
                *figures = ResistorFigures {
                    ohms: part.value,
                    tolerance: part.tolerance,
                    tempco: part.tempco,
                    network: None,
                    ..figures.clone()
                };
            }
            PartKind::Capacitor { a, b, farads, tolerance } => {
                (*a, *b) = (from.to_owned(), to.to_owned());
                (*farads, *tolerance) = (part.value, over_the_range(part, reach));
            }
            _ => {}
        }
        new
    };
    let (PartKind::Resistor { a, b, .. } | PartKind::Capacitor { a, b, .. }) = &old.kind else { return };
    let two = match join {
        Join::Series => [with(first, 'A', a, &middle), with(second, 'B', &middle, b)],
        Join::Parallel => [with(first, 'A', a, b), with(second, 'B', a, b)],
    };
    front_end.parts.splice(at..=at, two);
}

#[cfg(test)]
mod tests {
    use super::*;

    fn part(value: f64, tolerance: f64) -> Part {
        Part { value, tolerance, tempco: 1e-4, in_network: false }
    }

    /// By hand: 9 kΩ ± 1 % and 1 kΩ ± 1 % in series: 10 kΩ; (0.9² + 0.1²)^½ %. In parallel 900 Ω, the same shares.
    #[test]
    fn two_resistors_by_hand() {
        let two = |join, kind| Fit::Two { join, kind, first: part(9e3, 0.01), second: part(1e3, 0.01) };
        let series = two(Join::Series, SlotKind::Resistor).equivalent();
        let expected = 0.01 * (0.81f64 + 0.01).sqrt();
        assert!((series.value - 10e3).abs() < 1e-9 && (series.tolerance - expected).abs() < 1e-12);
        assert!((series.tempco - expected * 1e-2).abs() < 1e-12);
        let parallel = two(Join::Parallel, SlotKind::Resistor).equivalent();
        assert!((parallel.value - 900.0).abs() < 1e-9 && (parallel.tolerance - expected).abs() < 1e-12);
        // Capacitors the other way round.
        assert_eq!(two(Join::Parallel, SlotKind::Capacitor).value(), 10e3);
    }
}
