//! Keys of `[circuit]`, its parts and its test points.

use super::bounds;
use super::circuit::{KINDS, LEAKS};
use super::keys::Kind::{Choice, Limit, Nodes, Number, Part, Quantity, Text};
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
    key(
        "output_minus",
        Text,
        Optional,
        "\"gnd\"",
        "node of the converter's second input, if it has one; without it the output is read against ground",
    ),
    key(
        "zero",
        Text,
        Optional,
        "\"R6\"",
        "designator of the part that moves the zero of the reading, for [trims]",
    ),
    key("span", Text, Optional, "\"R4\"", "designator of the part that moves its span, for [trims]"),
];

/// `[circuit.taps]`.
#[rustfmt::skip] // a table
pub(super) const TAPS: &[Key] = &[
    key("B", Text, Optional, "\"tc_minus\"", "node of the negative leg for type B"),
    key("E", Text, Optional, "\"tc_minus\"", "for type E"),
    key("J", Text, Optional, "\"tc_minus\"", "for type J"),
    key("K", Text, Optional, "\"tc_minus\"", "for type K"),
    key("N", Text, Optional, "\"tc_minus\"", "for type N"),
    key("R", Text, Optional, "\"tc_minus\"", "for type R"),
    key("S", Text, Optional, "\"tc_minus\"", "for type S"),
    key("T", Text, Optional, "\"tc_minus\"", "for type T"),
    key("C", Text, Optional, "\"tc_minus\"", "for type C"),
    key("A", Text, Optional, "\"tc_minus\"", "for type A"),
];

const ONE_VALUE: &str =
    "kind = \"resistor\" or \"capacitor\" or \"gain resistor\" or \"adjustable resistor\"";
const RESISTORS: &str = "kind = \"resistor\" or \"gain resistor\" or \"adjustable resistor\"";
const DIODES: &str = "kind = \"silicon junction\" or \"clamp\"";
const CLAMP: &str = "kind = \"clamp\"";
const DETECTION: &str = "kind = \"detection current\"";
const TOLERANT: &str = "kind = \"resistor\" or \"capacitor\" or \"gain resistor\" or \"adjustable resistor\" or \"detection current\"";
const AMPLIFIERS: &str = "kind = \"operational amplifier\" or \"instrumentation amplifier\"";

/// `[circuit.parts.NAME]`.
#[rustfmt::skip] // a table: one key, its meaning below it
pub(super) const PART: &[Key] = &[
    key("kind", Choice(|| names(KINDS)), Required, "\"resistor\"", "what it is"),
    key("purpose", Text, Optional, "\"first pole, with C1\"", "what it is there for"),
    key("between", Nodes, Required, "[\"tc_plus\", \"in\"]", "the two nodes that it joins")
        .when("kind = \"resistor\" or \"capacitor\" or \"adjustable resistor\" or \"thermistor\" or \"platinum resistor\""),
    key("wiper", Text, Optional, "\"in\"", "node of its wiper; without it the wiper is joined to the second node")
        .when("kind = \"adjustable resistor\""),
    key("anode", Text, Required, "\"in\"", "node that the current enters when it conducts").when(DIODES),
    key("cathode", Text, Required, "\"gnd\"", "node that the current leaves by").when(DIODES),
    key("leakage", Limit(Unit::Ampere), Required, "\"5 nA\"", "largest leakage at 25 °C, from cathode to anode")
        .within(bounds::BIAS).when(CLAMP),
    key("doubling", Quantity(Unit::Kelvin), Optional, "\"10 K\"", "kelvins in which the leakage doubles (10 K without it)")
        .within(bounds::DOUBLING).when(CLAMP),
    key("leaks", Choice(|| names(LEAKS)), Optional, "\"one way\"",
        "\"either way\" for a suppressor of both directions near 0 V, whose leakage has no known sign").when(CLAMP),
    key("forward_voltage", Quantity(Unit::Volt), Optional, "\"0.7 V\"", "voltage at largest_current (0.7 V without it)")
        .within(bounds::CLAMP).when(CLAMP),
    key("largest_current", Quantity(Unit::Ampere), Optional, "\"10 mA\"", "what it may carry for long (10 mA without it)")
        .within(bounds::CLAMP_CURRENT).when(CLAMP),
    key("from", Text, Required, "\"supply\"", "node that the current leaves").when(DETECTION),
    key("to", Text, Required, "\"tc_plus\"", "node that the current enters").when(DETECTION),
    key("current", Quantity(Unit::Ampere), Required, "\"100 nA\"", "current that shows a broken thermocouple")
        .within(bounds::DETECTION).when(DETECTION),
    key("pulse", Quantity(Unit::Second), Optional, "\"5 ms\"", "it flows only so long, between readings").within(bounds::PULSE).when(DETECTION),
    key("wait", Quantity(Unit::Second), Optional, "\"50 ms\"", "from its end to the next reading").within(bounds::PULSE).when(DETECTION),
    key("amplifier", Text, Required, "\"A1\"", "designator of the instrumentation amplifier whose gain it sets; an adjustable resistor is then in series with the gain resistor")
        .when("kind = \"gain resistor\" or \"adjustable resistor\" without between"),
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
    key("value", Part, Optional, "\"4.7 kΩ\"", "its value, of the whole track if it is adjustable; without it or with \"open\", design chooses it").when(ONE_VALUE),
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
        .within(bounds::TOLERANCE).when(TOLERANT),
    key("tempco", Limit(Unit::PerKelvin), Optional, "\"10 ppm/K\"",
        "temperature coefficient, instead of that of [parts]").within(bounds::TEMPCO).when(RESISTORS),
];

/// `[circuit.test_points.NAME]`.
pub(super) const TEST_POINT: &[Key] = &[
    key("node", Text, Required, "\"out\"", "node that it is on"),
    key("shows", Text, Required, "\"filtered output\"", "what is seen there"),
];
