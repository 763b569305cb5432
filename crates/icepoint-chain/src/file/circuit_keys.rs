//! Keys of `[circuit]`, its parts and its test points.

use super::bounds;
use super::circuit::KINDS;
use super::keys::Kind::{Choice, Limit, Nodes, Number, Part, Text};
use super::keys::Presence::{Optional, Required};
use super::keys::{Key, key, names};
use crate::quantity::Unit;

/// `[circuit]`.
pub(super) const CIRCUIT: &[Key] = &[
    key("title", Text, Optional, "\"my two amplifiers\"", "what the circuit is called"),
    key(
        "thermocouple",
        Nodes,
        Required,
        "[\"tc_plus\", \"tc_minus\"]",
        "nodes of its terminals, the positive leg first",
    ),
    key("output", Text, Required, "\"out\"", "node that the converter or voltmeter reads"),
];

const ONE_VALUE: &str = "kind = \"resistor\" or \"capacitor\" or \"gain resistor\"";
const RESISTORS: &str = "kind = \"resistor\" or \"gain resistor\"";
const AMPLIFIERS: &str = "kind = \"operational amplifier\" or \"instrumentation amplifier\"";

/// `[circuit.parts.NAME]`.
#[rustfmt::skip] // a table: one key, its meaning below it
pub(super) const PART: &[Key] = &[
    key("kind", Choice(|| names(KINDS)), Required, "\"resistor\"", "what it is"),
    key("purpose", Text, Optional, "\"first pole, with C1\"", "what it is there for"),
    key("between", Nodes, Required, "[\"tc_plus\", \"in\"]", "the two nodes that it joins")
        .when("kind = \"resistor\" or \"capacitor\""),
    key("amplifier", Text, Required, "\"A1\"", "designator of the instrumentation amplifier whose gain it sets")
        .when("kind = \"gain resistor\""),
    key("plus", Text, Required, "\"in\"", "node of the non-inverting input").when(AMPLIFIERS),
    key("minus", Text, Required, "\"feedback\"", "node of the inverting input").when(AMPLIFIERS),
    key("reference", Text, Required, "\"bias\"", "node of the reference pin")
        .when("kind = \"instrumentation amplifier\""),
    key("out", Text, Required, "\"amp\"", "node of the output")
        .when("kind = \"operational amplifier\" or \"instrumentation amplifier\" or \"temperature sensor\""),
    key("supply", Nodes, Optional, "[\"supply\", \"negative\"]",
        "nodes of its supply pins, the positive one first; without it, the rails of [supply]").when(AMPLIFIERS),
    key("record", Text, Required, "\"front\"",
        "NAME of the record [amplifier.NAME] of its figures; \"amplifier\" and \"buffer\" are those that [front_end] names")
        .when(AMPLIFIERS),
    key("value", Part, Optional, "\"4.7 kΩ\"", "its value; without it or with \"open\", design chooses it").when(ONE_VALUE),
    key("at_least", Part, Optional, "\"1 kΩ\"", "smallest value that may be chosen (10 Ω, 100 pF without it)").when(ONE_VALUE),
    key("at_most", Part, Optional, "\"1 MΩ\"", "largest value that may be chosen (10 MΩ, 10 µF without it)").when(ONE_VALUE),
    key("usual", Part, Optional, "\"10 kΩ\"",
        "value as long as none is chosen; without it, the middle of the two limits on a logarithmic scale").when(ONE_VALUE),
    key("same_as", Text, Optional, "\"R2\"", "designator of the part whose value it has, always").when(ONE_VALUE),
    key("times", Number, Optional, "2", "factor on the value of same_as").within(bounds::TIMES).when(ONE_VALUE),
    key("role", Text, Optional, "\"gain\"", "group of parts that design chooses together").when(ONE_VALUE),
    key("network", Text, Optional, "\"RN1\"", "matched with the others of this name: one body, see [parts.resistors.network]")
        .when("kind = \"resistor\""),
    key("tolerance", Limit(Unit::Ratio), Optional, "\"0.1 %\"", "tolerance of its value, instead of that of [parts]")
        .within(bounds::TOLERANCE).when(ONE_VALUE),
    key("tempco", Limit(Unit::PerKelvin), Optional, "\"10 ppm/K\"",
        "temperature coefficient, instead of that of [parts]").within(bounds::TEMPCO).when(RESISTORS),
];

/// `[circuit.test_points.NAME]`.
pub(super) const TEST_POINT: &[Key] = &[
    key("node", Text, Required, "\"out\"", "node that it is on"),
    key("shows", Text, Required, "\"filtered output\"", "what is seen there"),
];
