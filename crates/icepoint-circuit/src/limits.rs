//! Whether amplifiers are within what their output and inputs can do.
//!
//! The allowed ranges follow the rails as solved, not as drawn: a supply that sags narrows them. An amplifier without
//! rails has no limits.

use crate::circuit::{Circuit, at_or_ground};
use crate::netlist::ElementId;
use crate::parameter::amp;
use crate::stamps::AmpPlace;

/// Which limit of an amplifier is broken.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum LimitKind {
    /// The output would have to go below what it can reach.
    OutputLow,
    /// The output would have to go above what it can reach.
    OutputHigh,
    /// The non-inverting input is outside the common-mode range.
    InputPlus,
    /// The inverting input is outside the common-mode range.
    InputMinus,
}

/// An amplifier outside its limits.
#[derive(Clone, Debug, PartialEq)]
pub struct LimitHit {
    /// The amplifier.
    pub element: ElementId,
    /// Which limit.
    pub kind: LimitKind,
    /// Voltage of the pin in the solution, V.
    pub volts: f64,
    /// Lowest and highest voltage allowed at the pin, V.
    pub allowed: (f64, f64),
}

/// An amplifier with positions in the direct-current solution.
#[derive(Clone, Debug)]
pub(crate) struct AmpLimits {
    pub element: ElementId,
    pub base: u32,
    out: u32,
    plus: u32,
    minus: u32,
    supply: Option<(u32, u32)>,
}

impl AmpLimits {
    pub fn new(amp: &AmpPlace, column: impl Fn(Option<u32>) -> u32) -> Self {
        AmpLimits {
            element: amp.element,
            base: amp.base,
            out: column(amp.out),
            plus: column(amp.plus),
            minus: column(amp.minus),
            supply: amp.supply.map(|(high, low)| (column(high), column(low))),
        }
    }

    /// Range between the rails with these margins.
    fn range(&self, values: &[f64], x: &[f64], low: u32, high: u32) -> Option<(f64, f64)> {
        let (positive, negative) = self.supply?;
        let margin = |p: u32| values[(self.base + p) as usize];
        Some((at_or_ground(x, negative) + margin(low), at_or_ground(x, positive) - margin(high)))
    }

    pub fn output(&self, values: &[f64], x: &[f64]) -> Option<(f64, f64)> {
        self.range(values, x, amp::OUTPUT_LOW, amp::OUTPUT_HIGH)
    }

    fn input(&self, values: &[f64], x: &[f64]) -> Option<(f64, f64)> {
        self.range(values, x, amp::INPUT_LOW, amp::INPUT_HIGH)
    }
}

fn within(volts: f64, (low, high): (f64, f64)) -> bool {
    volts >= low && volts <= high
}

impl Circuit {
    /// Every limit that a solution breaks, in the order of the netlist. Exactly at the limit is within.
    #[must_use]
    pub fn limits(&self, values: &[f64], x: &[f64]) -> Vec<LimitHit> {
        let mut hits = Vec::new();
        if values.len() != self.nominal.len() || x.len() != self.unknowns() {
            return hits;
        }
        for a in self.amps.iter() {
            let mut hit =
                |kind, volts, allowed| hits.push(LimitHit { element: a.element, kind, volts, allowed });
            if let Some(allowed) = a.output(values, x) {
                let volts = at_or_ground(x, a.out);
                if !within(volts, allowed) {
                    let low = volts < allowed.0;
                    hit(if low { LimitKind::OutputLow } else { LimitKind::OutputHigh }, volts, allowed);
                }
            }
            if let Some(allowed) = a.input(values, x) {
                for (at, kind) in [(a.plus, LimitKind::InputPlus), (a.minus, LimitKind::InputMinus)] {
                    let volts = at_or_ground(x, at);
                    if !within(volts, allowed) {
                        hit(kind, volts, allowed);
                    }
                }
            }
        }
        hits
    }

    /// Whether every amplifier is within its limits. Allocates nothing; `false` for NaN or wrong lengths.
    #[must_use]
    pub fn within_limits(&self, values: &[f64], x: &[f64]) -> bool {
        values.len() == self.nominal.len()
            && x.len() == self.unknowns()
            && self.amps.iter().all(|a| {
                a.output(values, x).is_none_or(|range| within(at_or_ground(x, a.out), range))
                    && a.input(values, x).is_none_or(|range| {
                        within(at_or_ground(x, a.plus), range) && within(at_or_ground(x, a.minus), range)
                    })
            })
    }

    /// Lowest and highest output voltage that an amplifier can reach in this solution, V. `None` for anything else or
    /// without rails.
    #[must_use]
    pub fn output_range(&self, values: &[f64], x: &[f64], element: ElementId) -> Option<(f64, f64)> {
        if values.len() != self.nominal.len() {
            return None;
        }
        self.amps.iter().find(|a| a.element == element)?.output(values, x)
    }

    /// Lowest and highest input voltage that an amplifier allows in this solution, V. `None` for anything else or
    /// without rails.
    #[must_use]
    pub fn input_range(&self, values: &[f64], x: &[f64], element: ElementId) -> Option<(f64, f64)> {
        if values.len() != self.nominal.len() {
            return None;
        }
        self.amps.iter().find(|a| a.element == element)?.input(values, x)
    }
}
