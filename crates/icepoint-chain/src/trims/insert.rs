//! Adjustable resistors put into a front end: in series with the resistors that move its zero and its span.
//!
//! The circuit says which resistors these are (`zero` and `span` of `[circuit]`), or the user does in `[trims]`. A trim in
//! series keeps its share of the place small, so its track's tolerance and temperature coefficient count little.

use std::fmt;

use crate::front_end::{
    Blueprint, GROUND, NEGATIVE, PULL, PlannedKind, PlannedPart, REFERENCE, SUPPLY, Slot, SlotKind,
};

/// Role of the slots of adjustable resistors.
pub const ROLE: &str = "trim";
/// Tracks that are sold, Ω (common practice, no source).
pub const OHMS: (f64, f64) = (10.0, 2e6);
/// A track before anything is chosen, as a share of the resistor that it is in series with.
const USUAL_SHARE: f64 = 0.1;

/// What a trim moves.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Moves {
    /// The zero of the reading: adjusted at the first point of the plan.
    Zero,
    /// The span: adjusted at the second.
    Span,
}

impl Moves {
    /// In words.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Zero => "zero",
            Self::Span => "span",
        }
    }
}

/// Why there is no place for a trim.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum NoPlace {
    /// No part is called so.
    Unknown(String),
    /// The part is no resistor.
    NoResistor(String),
    /// The value follows another one.
    Tied(String, String),
    /// Zero and span would be one trim.
    Same(String),
    /// Neither the circuit nor the user says what moves it.
    NotSaid(Moves),
}

impl fmt::Display for NoPlace {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Unknown(name) => write!(f, "there is no {name} that could be trimmed"),
            Self::NoResistor(name) => write!(f, "{name} is no resistor"),
            Self::Tied(name, other) => {
                write!(f, "{name} is matched with {other}; a trim in one of them would unbalance both")
            }
            Self::Same(name) => write!(f, "{name} can't move zero and span at once"),
            Self::NotSaid(moves) => write!(f, "nothing says which part moves the {}", moves.name()),
        }
    }
}

/// Designators of what moves the zero and what moves the span.
pub type Named = [Option<String>; 2];

/// The front end with its trims in it, and which adjustable resistors these are: of the zero, of the span.
///
/// `zero` and `span` are what the user names: an adjustable resistor of the circuit, or a resistor that gets one in
/// series. Without a name the circuit's own counts, if `points` of the calibration ask for it (the zero takes one, the
/// span two), or if it is an adjustable resistor that the circuit has anyway.
///
/// # Errors
/// [`NoPlace`], with what it concerns.
pub fn insert(
    blueprint: &Blueprint,
    zero: Option<&str>,
    span: Option<&str>,
    points: usize,
) -> Result<(Blueprint, Named), (Moves, NoPlace)> {
    let mut new = blueprint.clone();
    let own = |name: &Option<String>, takes: usize| {
        name.clone().filter(|name| points >= takes || blueprint.adjustable().any(|trim| trim == name))
    };
    let zero = zero.map(str::to_owned).or_else(|| own(&blueprint.zero, 1));
    let span = span.map(str::to_owned).or_else(|| own(&blueprint.span, 2));
    if let (Some(zero), Some(span)) = (&zero, &span)
        && zero == span
    {
        return Err((Moves::Span, NoPlace::Same(zero.clone())));
    }
    let mut named = [None, None];
    for (place, (moves, name)) in named.iter_mut().zip([(Moves::Zero, zero), (Moves::Span, span)]) {
        if let Some(name) = name {
            *place = Some(one(&mut new, moves, &name).map_err(|why| (moves, why))?);
        }
    }
    Ok((new, named))
}

/// Makes sure of one trim and tells its designator.
fn one(new: &mut Blueprint, moves: Moves, name: &str) -> Result<String, NoPlace> {
    let at = new.elements.iter().position(|e| e.designator == name);
    let at = at.ok_or_else(|| NoPlace::Unknown(name.to_owned()))?;
    match &new.elements[at].kind {
        PlannedKind::Adjustable { .. } | PlannedKind::AdjustableGain { .. } => return Ok(name.to_owned()),
        PlannedKind::Resistor { .. } | PlannedKind::GainResistor { .. } => {}
        _ => return Err(NoPlace::NoResistor(name.to_owned())),
    }
    let tie = new.slots.iter().find_map(|s| match &s.tie {
        Some(tie) if s.designator == name => Some(tie.to.clone()),
        Some(tie) if tie.to == name => Some(s.designator.clone()),
        _ => None,
    });
    if let Some(other) = tie {
        return Err(NoPlace::Tied(name.to_owned(), other));
    }
    let usual = new.value(name, &crate::front_end::Values::new()).unwrap_or(OHMS.0);
    let trim = free_name(new);
    let middle = format!("{}_trim", name.to_lowercase());
    let kind = match &mut new.elements[at].kind {
        PlannedKind::Resistor { a, b } => {
            // A held end, if there is one: what touches a screwdriver is then quiet.
            let end = if !is_held(b) && is_held(a) { a } else { b };
            let far = std::mem::replace(end, middle.clone());
            PlannedKind::Adjustable { a: middle, b: far, wiper: None }
        }
        PlannedKind::GainResistor { amplifier } => {
            let amplifier = amplifier.clone();
            let trims = |e: &PlannedPart| matches!(&e.kind, PlannedKind::AdjustableGain { amplifier: other } if *other == amplifier);
            if let Some(trim) = new.elements.iter().find(|e| trims(e)) {
                return Ok(trim.designator.clone());
            }
            PlannedKind::AdjustableGain { amplifier }
        }
        _ => return Err(NoPlace::NoResistor(name.to_owned())),
    };
    let purpose = format!("{}, with {name}", moves.name());
    new.elements.insert(at + 1, PlannedPart { designator: trim.clone(), purpose: purpose.clone(), kind });
    let slot = Slot {
        designator: trim.clone(),
        kind: SlotKind::Resistor,
        purpose,
        usual: sold(USUAL_SHARE * usual),
        limits: OHMS,
        tie: None,
        network: None,
        role: Some(ROLE.to_owned()),
        given: None,
        tolerance: None,
        tempco: None,
    };
    let order = new.slots.iter().position(|s| s.designator == name).map_or(new.slots.len(), |i| i + 1);
    new.slots.insert(order, slot);
    Ok(trim)
}

fn is_held(node: &str) -> bool {
    matches!(node, GROUND | SUPPLY | NEGATIVE | REFERENCE | PULL)
}

fn free_name(blueprint: &Blueprint) -> String {
    let mut number = 1;
    loop {
        let name = format!("RV{number}");
        if blueprint.element(&name).is_none() {
            return name;
        }
        number += 1;
    }
}

/// The tracks that are sold: 1, 2, 5 in every decade (common practice, no source), rising.
pub fn tracks() -> Vec<f64> {
    let mut list = Vec::new();
    let mut decade = OHMS.0;
    while decade <= OHMS.1 {
        list.extend([1.0, 2.0, 5.0].map(|step| step * decade).into_iter().filter(|ohms| *ohms <= OHMS.1));
        decade *= 10.0;
    }
    list
}

/// The track that is nearest by ratio.
pub fn sold(ohms: f64) -> f64 {
    let off = |track: f64| libm::fabs(libm::log(track / ohms));
    tracks().into_iter().min_by(|a, b| off(*a).total_cmp(&off(*b))).unwrap_or(ohms)
}
