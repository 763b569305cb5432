//! The working: each number's formula, the formula with the inputs put in, the result and where they come from.
//!
//! **Result and formula are not the same thing.** The result is what the model answered. The formula is how a person
//! gets there with a pocket calculator. A test reads the printed line, evaluates it, and compares; so a formula that
//! does not explain the model's number fails. Where the formula is a first-order one, [`Check::Within`] says how far it
//! may be off, and the page prints “≈”.
//!
//! **Notation of the inputs**, which the test reads: numbers with units and prefixes, `+ − ·` and `/` between blanks, round brackets, `√`,
//! powers `²` and `⁴`, `10ⁿ`, `|x|`, and the functions `E(t)` (emf against 0 °C), `S(t)` (its slope), `max(a; b)` and
//! `k₉₅(ν)`. Several forms of one thing are joined by `=`.

mod budget;
mod dynamics;
mod signal;

use icepoint_chain::ModelError;
use icepoint_chain::file::ChainFile;
use icepoint_design::Design;
use maud::{Markup, html};

use super::Subject;
use super::words::typeset;
use crate::page::{self, Working};

/// A number with how it comes about.
#[derive(Clone, Debug, PartialEq)]
pub struct Derivation {
    /// Stable id: `gain`, `quadrature`, …
    pub id: String,
    /// What is worked out.
    pub name: String,
    /// Formula in symbols, without the result.
    pub formula: String,
    /// The same with the inputs put in, in the notation above; empty where there is nothing to evaluate.
    pub inputs: String,
    /// The result as printed, with its unit.
    pub result: String,
    /// The result as the model gave it, SI (temperatures in °C, differences in K).
    pub value: f64,
    /// How the formula relates to the result.
    pub check: Check,
    /// Where formula and inputs come from.
    pub source: String,
}

/// How a printed formula relates to the model's result.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Check {
    /// The formula gives the result to the digits printed.
    Exact,
    /// The formula is of first order: off by no more than this share.
    Within(f64),
    /// There is no formula: the number was simulated or solved for.
    Simulated,
}

/// The working behind the numbers of the page, in the order of the signal and then of the budget.
///
/// # Errors
/// [`ModelError`] when the model has no answer in a situation that is worked out.
pub fn derivations(file: &ChainFile, design: &Design) -> Result<Vec<Derivation>, ModelError> {
    let subject = Subject::new(file, design);
    let mut list = signal::derivations(&subject)?;
    list.extend(budget::derivations(&subject));
    list.extend(dynamics::derivations(&subject)?);
    Ok(list)
}

pub(super) fn section(list: &[Derivation]) -> Markup {
    let items: Vec<Working> = list
        .iter()
        .map(|d| Working {
            name: typeset(&d.name),
            formula: d.formula.clone(),
            inputs: if d.inputs.is_empty() { String::new() } else { format!("= {}", d.inputs) },
            result: d.result.clone(),
            approximate: matches!(d.check, Check::Within(_)),
            source: typeset(&d.source),
        })
        .collect();
    html! {
        p {
            "The result is what the model answered with the whole circuit solved; the formula is how it comes about by "
            "hand. E(t) is the emf against 0 °C and S(t) its slope, from the reference function. Where the formula is a "
            "first approximation the result stands after ≈."
        }
        (page::workings(&items))
    }
}
