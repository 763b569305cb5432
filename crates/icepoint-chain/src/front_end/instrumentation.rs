//! An instrumentation amplifier with a filtered, protected and biased input; the reference junction is measured.
//!
//! ```text
//!   supply ──R4──┐
//!   TC+ ─────────┴──R1──┬──┬── in+ ──┐
//!                       C1 C2        A1 ── amp ──R7──┬──R8──┬─(+) A3 ──┬──R9──┬── adc
//!   TC− ─────────┬──R2──┴──┬── in− ──┘ RG           C5      C6    (−)──┤      C7
//!                R3        C3        │REF            └──────────────────┘
//!               bias                 │
//!   reference ──R5──┬── pedestal ──A2┴── bias
//!                 R6∥C4
//! ```
//!
//! `A2` buffers the pedestal, a voltage a little above ground that the output sits at when the thermocouple gives
//! nothing, so that a junction colder than the board still reads on one supply. The pedestal comes from the
//! converter's own reference, so an error of that reference moves both alike and cancels.
//!
//! **Two poles**: the active low-pass of `A3`; the input network adds a third above it and keeps radio frequencies out.
//! **Bias**: `R3` ties a floating thermocouple to the pedestal. A grounded junction brings its own potential.
//! **Open sensor**: `R4` pulls the positive input up: a broken thermocouple reads above the scale.

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
    n("R1", 4.99e3, "protection and input filter, positive leg", "RN1"),
    Slot {
        designator: "R2",
        kind: SlotKind::Resistor,
        purpose: "protection and input filter, negative leg: equal to R1",
        usual: 4.99e3,
        same_as: Some("R1"),
        network: Some("RN1"),
    },
    r("R3", 10e3, "bias: ties a floating thermocouple to the pedestal"),
    r("R4", 10e6, "pull-up: a broken thermocouple reads above the scale"),
    r("RG", 1e3, "gain of the instrumentation amplifier"),
    n("R5", 90.9e3, "pedestal divider, upper", "RN2"),
    n("R6", 10e3, "pedestal divider, lower", "RN2"),
    r("R7", 100e3, "active low-pass, first resistor"),
    r("R8", 100e3, "active low-pass, second resistor"),
    r("R9", 1e3, "isolates the amplifier from the converter's sampling"),
    c("C1", 100e-9, "input filter, differential"),
    c("C2", 10e-9, "input filter, common mode, positive leg"),
    Slot {
        designator: "C3",
        kind: SlotKind::Capacitor,
        purpose: "input filter, common mode, negative leg: equal to C2",
        usual: 10e-9,
        same_as: Some("C2"),
        network: None,
    },
    c("C4", 1e-6, "keeps interference off the pedestal"),
    c("C5", 1e-6, "active low-pass, to the output"),
    c("C6", 0.47e-6, "active low-pass, to ground"),
    c("C7", 10e-9, "charge reservoir for the converter's sampling"),
];

/// Builds the circuit.
pub fn build(surroundings: &Surroundings, values: &Values) -> FrontEnd {
    let mut b = Builder { surroundings, values, slots: SLOTS, parts: Vec::new() };
    b.supplies();
    let reference = surroundings.reference.clone();
    let has_reference = reference.is_some();
    if let Some(kind) = reference {
        b.push("VREF", "reference of converter and pedestal", kind);
    }
    let supply = b.rails();
    let law = surroundings.gain_law;
    b.push(
        "A1",
        "instrumentation amplifier",
        PartKind::Instrumentation {
            plus: "in_plus".into(),
            minus: "in_minus".into(),
            reference: "bias".into(),
            out: "amp".into(),
            supply: supply.clone(),
            figures: surroundings.amplifier.clone(),
            gain_constant: law.constant,
            gain_error: law.error,
            gain_drift: law.drift,
            gain_nonlinearity: law.nonlinearity,
        },
    );
    let follower = |plus: &str, out: &str| PartKind::Operational {
        plus: plus.into(),
        minus: out.into(),
        out: out.into(),
        supply: supply.clone(),
        figures: surroundings.buffer.clone(),
    };
    b.push("A2", "buffers the pedestal", follower("pedestal", "bias"));
    b.push("A3", "amplifier of the active low-pass", follower("low_pass", "filtered"));
    b.resistor("R1", "tc_plus", "in_plus");
    b.resistor("R2", "tc_minus", "in_minus");
    b.resistor("R3", "tc_minus", "bias");
    b.resistor("R4", "supply", "tc_plus");
    b.gain_resistor("RG", "A1");
    b.resistor("R5", if has_reference { "reference" } else { "supply" }, "pedestal");
    b.resistor("R6", "pedestal", "gnd");
    b.resistor("R7", "amp", "middle");
    b.resistor("R8", "middle", "low_pass");
    b.resistor("R9", "filtered", "adc");
    b.capacitor("C1", "in_plus", "in_minus");
    b.capacitor("C2", "in_plus", "gnd");
    b.capacitor("C3", "in_minus", "gnd");
    b.capacitor("C4", "pedestal", "gnd");
    b.capacitor("C5", "middle", "filtered");
    b.capacitor("C6", "low_pass", "gnd");
    b.capacitor("C7", "adc", "gnd");
    let point = |label: &str, node: &str, what: &str| TestPoint {
        label: label.into(),
        node: node.into(),
        what: what.into(),
    };
    FrontEnd {
        title: super::Topology::Instrumentation.title().into(),
        id: super::Topology::Instrumentation.id().into(),
        parts: b.parts,
        ports: Ports {
            plus: "tc_plus".into(),
            minus: "tc_minus".into(),
            output: "adc".into(),
            output_minus: None,
            reference: has_reference.then(|| "reference".into()),
        },
        test_points: vec![
            point("TP1", "tc_plus", "thermocouple, positive leg"),
            point("TP2", "tc_minus", "thermocouple, negative leg"),
            point("TP3", "bias", "pedestal, buffered"),
            point("TP4", "amp", "instrumentation amplifier output"),
            point("TP5", "adc", "converter input"),
        ],
    }
}
