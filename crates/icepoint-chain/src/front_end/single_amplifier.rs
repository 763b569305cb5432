//! One non-inverting amplifier; the reference junction is compensated in analog.
//!
//! ```text
//!   TC+ ──R1──┬── in ──(+)
//!    │        C1        A1 ──┬── amp ──R8──┬── out
//!   R7 to     │   ┌────(−)   │             C4
//!   supply   gnd  ├──R3∥C2───┘             │
//!                 R4                      gnd
//!                 │
//!                gnd
//!   U1 ──R5──┬── comp ── TC−
//!          R6∥C3
//!            │
//!           gnd
//! ```
//!
//! The voltage sensor `U1` rises by so many mV/K; `R5`/`R6` divide that to the slope of the thermocouple near the
//! board's temperature, and the thermocouple stands on it, so the amplifier sees `E(hot) − E(board) + S·board`, which
//! is `E(hot)` but for the bow of the emf curve over the board's range. The gain makes that so many mV/K.
//!
//! **Two poles**: `R1·C1` before and `R8·C4` after the amplifier; `C2` only keeps the amplifier calm at high frequency.
//! **Open sensor**: `R7` pulls the input up, so a broken thermocouple reads above the scale. Its current flows through
//! the loop and `R6`, which costs an offset that the model contains.

use super::topology::Builder;
use super::{FrontEnd, PartKind, Ports, Slot, SlotKind, Surroundings, TestPoint, Values};

const fn r(designator: &'static str, usual: f64, purpose: &'static str) -> Slot {
    Slot { designator, kind: SlotKind::Resistor, purpose, usual, same_as: None, network: None }
}
const fn n(designator: &'static str, usual: f64, purpose: &'static str, network: &'static str) -> Slot {
    Slot { network: Some(network), ..r(designator, usual, purpose) }
}
const fn c(designator: &'static str, usual: f64, purpose: &'static str) -> Slot {
    Slot { designator, kind: SlotKind::Capacitor, purpose, usual, same_as: None, network: None }
}

/// Places for resistors and capacitors.
pub const SLOTS: &[Slot] = &[
    r("R1", 10e3, "protection and first pole, with C1"),
    n("R3", 243e3, "feedback: gain, with R4", "RN1"),
    n("R4", 1e3, "gain, with R3", "RN1"),
    n("R5", 24.3e3, "compensation divider, upper", "RN2"),
    n("R6", 100.0, "compensation divider, lower", "RN2"),
    r("R7", 100e6, "pull-up: a broken thermocouple reads above the scale"),
    r("R8", 10e3, "second pole, with C4"),
    c("C1", 1e-6, "first pole, with R1"),
    c("C2", 100e-12, "keeps the amplifier calm at high frequency"),
    c("C3", 1e-6, "keeps interference off the compensation"),
    c("C4", 1e-6, "second pole, with R8"),
];

/// Builds the circuit.
pub fn build(surroundings: &Surroundings, values: &Values) -> FrontEnd {
    let mut b = Builder { surroundings, values, slots: SLOTS, parts: Vec::new() };
    b.supplies();
    b.push(
        "U1",
        "temperature sensor of the compensation, at the terminals",
        PartKind::TemperatureSensor { node: "sensor".into() },
    );
    let supply = b.rails();
    b.push(
        "A1",
        "signal amplifier",
        PartKind::Operational {
            plus: "in".into(),
            minus: "feedback".into(),
            out: "amp".into(),
            supply,
            figures: surroundings.amplifier.clone(),
        },
    );
    b.resistor("R1", "tc_plus", "in");
    b.resistor("R3", "amp", "feedback");
    b.resistor("R4", "feedback", "gnd");
    b.resistor("R5", "sensor", "comp");
    b.resistor("R6", "comp", "gnd");
    b.resistor("R7", "supply", "tc_plus");
    b.resistor("R8", "amp", "out");
    b.capacitor("C1", "in", "gnd");
    b.capacitor("C2", "amp", "feedback");
    b.capacitor("C3", "comp", "gnd");
    b.capacitor("C4", "out", "gnd");
    let point = |label: &str, node: &str, what: &str| TestPoint {
        label: label.into(),
        node: node.into(),
        what: what.into(),
    };
    FrontEnd {
        title: super::Topology::SingleAmplifier.title().into(),
        id: super::Topology::SingleAmplifier.id().into(),
        parts: b.parts,
        ports: Ports {
            plus: "tc_plus".into(),
            minus: "comp".into(),
            output: "out".into(),
            output_minus: None,
            reference: None,
        },
        test_points: vec![
            point("TP1", "tc_plus", "thermocouple, positive leg"),
            point("TP2", "comp", "compensation: the negative leg stands on it"),
            point("TP3", "sensor", "temperature sensor"),
            point("TP4", "amp", "amplifier output"),
            point("TP5", "out", "filtered output"),
        ],
    }
}
