//! What protection resistors and clamps make of a voltage that has no business at the terminals: a lead that touches a
//! heater, a discharge that has become slow.
//!
//! **How.** The voltage stands between the measuring junction and the board's ground; every clamp conducts by the junction
//! equation through its stated forward voltage, amplifiers stop at their rails, and the supplies take whatever current
//! comes (a real one needs a load that does).
//!
//! **Caution.** This is about parts surviving, not about people: a thermocouple that touches the mains makes everything
//! it is wired to live. Isolation, distances and approvals are for local codes and licensed practice.

use icepoint_circuit::{BOLTZMANN, DiodeFigures, ELEMENTARY_CHARGE};

use crate::chain::Chain;
use crate::dynamics::ZERO_CELSIUS;
use crate::front_end::sensing::ClampFigures;
use crate::front_end::{GROUND, PartKind};
use crate::imperfection::SPECIFIED_AT;
use crate::model::ModelError;
use crate::wiring::{Clamps, Wiring};

/// A clamp under an overvoltage.
#[derive(Clone, Debug, PartialEq)]
pub struct ClampUse {
    /// `D1`, …
    pub designator: String,
    /// Forward current, A.
    pub amperes: f64,
    /// Largest one, A.
    pub allowed: f64,
    /// Voltage of the node that it guards against ground, V.
    pub volts: f64,
}

/// The board under an overvoltage.
#[derive(Clone, Debug, PartialEq)]
pub struct Overvoltage {
    /// Every clamp.
    pub clamps: Vec<ClampUse>,
    /// The resistor that takes most power, with its watts.
    pub hottest: Option<(String, f64)>,
}

impl Overvoltage {
    /// Whether every clamp carries what it may.
    pub fn holds(&self) -> bool {
        self.clamps.iter().all(|c| c.amperes <= c.allowed)
    }
}

/// A diode that drops its stated voltage at its stated current.
pub(crate) fn diode(f: &ClampFigures) -> DiodeFigures {
    let thermal = BOLTZMANN / ELEMENTARY_CHARGE * (SPECIFIED_AT + ZERO_CELSIUS);
    DiodeFigures::silicon(f.amperes / libm::expm1(f.volts / thermal))
}

/// The board with `volts` (V) between the measuring junction and its ground.
///
/// # Errors
/// [`ModelError`] when the circuit has no operating point.
pub fn at(chain: &Chain, volts: f64) -> Result<Overvoltage, ModelError> {
    let mut tied = chain.clone();
    tied.probe.grounded = true;
    let wiring = Wiring::with_clamps(&tied, Clamps::Conduct, None)?;
    let circuit = &wiring.circuit;
    let mut values = circuit.values();
    values[wiring.common_source.index()] = volts;
    let point = circuit.operating_point(&values)?;
    let mut found = Overvoltage { clamps: Vec::new(), hottest: None };
    for part in &chain.front_end.parts {
        let Some(element) = circuit.netlist().find_element(&part.designator) else { continue };
        let amperes = circuit.current(&values, &point.x, element);
        match &part.kind {
            PartKind::Clamp { anode, cathode, figures } => {
                let guarded = if is_rail(chain, anode) { cathode } else { anode };
                let node = circuit.netlist().find_node(guarded);
                found.clamps.push(ClampUse {
                    designator: part.designator.clone(),
                    amperes: amperes.max(0.0),
                    allowed: figures.amperes,
                    volts: node.map_or(f64::NAN, |n| circuit.voltage(&point.x, n)),
                });
            }
            PartKind::Resistor { figures, .. } => {
                let watts = amperes * amperes * figures.ohms;
                if found.hottest.as_ref().is_none_or(|(_, most)| watts > *most) {
                    found.hottest = Some((part.designator.clone(), watts));
                }
            }
            _ => {}
        }
    }
    Ok(found)
}

/// Whether a supply or a reference holds a node, or it is ground: the other end of a clamp is what is guarded.
fn is_rail(chain: &Chain, name: &str) -> bool {
    name == GROUND
        || chain.front_end.parts.iter().any(|p| match &p.kind {
            PartKind::Supply { node, .. } | PartKind::Reference { node, .. } => node == name,
            _ => false,
        })
}

/// Largest voltage that is looked at, V.
pub const MOST: f64 = 1000.0;

/// Largest overvoltage of either sign that every clamp withstands for long, V; [`MOST`] if it is at least that; `None`
/// for a board without clamps.
///
/// # Errors
/// As [`at`].
pub fn withstood(chain: &Chain) -> Result<Option<f64>, ModelError> {
    if !chain.front_end.parts.iter().any(|p| matches!(p.kind, PartKind::Clamp { .. })) {
        return Ok(None);
    }
    let holds = |volts: f64| Ok::<_, ModelError>(at(chain, volts)?.holds() && at(chain, -volts)?.holds());
    if holds(MOST)? {
        return Ok(Some(MOST));
    }
    let (mut low, mut high) = (0.0, MOST);
    // To a thousandth of a volt.
    for _ in 0..20 {
        let middle = 0.5 * (low + high);
        if holds(middle)? {
            low = middle;
        } else {
            high = middle;
        }
    }
    Ok(Some(low))
}
