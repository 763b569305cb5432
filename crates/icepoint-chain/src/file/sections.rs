//! The table of all sections and keys.

use super::keys::*;
use super::references::{IceBathMade, ProbeIn, SUBSTANCES, SourceLeads};
use super::trims::TrimMeans;
use super::{
    CalibrationEffort, Distribution, Junction, Method, PlatinumClass, Topology, bounds, circuit_keys,
};
use crate::quantity::Unit;
use crate::quantity::series::Series;
use Kind::{
    Cable, Choice, Harmonics, Integer, Interval, IntervalOrOne, Limit, List, Number, Numbers, Open, Part,
    ProbeTolerance, Quantity, Text, Toleranced, Values, VoltOrLsb,
};
use Presence::{Default, Optional, Required};

/// Front ends with followers and filter amplifiers beside the signal amplifier.
pub(super) const BUFFERED: &str = "topology = \"instrumentation\" or \"instrumentation-compensated\" or \"pedestal-amplifier\" or \"difference-amplifier\" or \"two-amplifier-instrumentation\" or \"three-amplifier-instrumentation\"";

/// Every section, in the order of the documentation and of a filled file.
#[rustfmt::skip] // a table: one key, its meaning below it
pub const SECTIONS: &[Section] = &[
    Section { path: "chain", required: true, meaning: "What this measurement is called.", keys: &[
        key("name", Text, Required, "\"burn-out kiln\"", "a name for the reports"),
    ] },
    Section { path: "need", required: true,
        meaning: "What is asked of the measurement, where it stands, and what its owner is willing to do.", keys: &[
        key("hot", Interval(Unit::Celsius), Required, "[\"20 °C\", \"1100 °C\"]",
            "lowest and highest temperature of the measuring junction").within(bounds::HOT),
        key("board", Interval(Unit::Celsius), Required, "[\"5 °C\", \"55 °C\"]",
            "lowest and highest temperature of the board and its terminals").within(bounds::BOARD),
        key("accuracy", Limit(Unit::Kelvin), Required, "\"6 K\"",
            "largest error of the reading accepted at 95 %").within(bounds::ACCURACY),
        key("settle_within", Quantity(Unit::Second), Optional, "\"5 s\"",
            "time in which a step must settle; nothing is asked without it").within(bounds::SETTLING),
        key("settle_to", Quantity(Unit::Ratio), Default, "\"0.1 %\"",
            "remaining share of a step that counts as settled").within(bounds::SETTLED),
        key("mains", Quantity(Unit::Hertz), Default, "\"50 Hz\"", "mains frequency").within(bounds::MAINS),
        key("series_pickup", Quantity(Unit::Volt), Default, "\"1 mV\"",
            "pick-up at the mains frequency in series with the thermocouple, rms").within(bounds::SERIES_PICKUP),
        key("common_pickup", Quantity(Unit::Volt), Default, "\"1 V\"",
            "pick-up at the mains frequency common to both wires, rms").within(bounds::COMMON_PICKUP),
        key("harmonics", Harmonics, Default, "[\"0 %\", \"5 %\", \"0 %\", \"6 %\"]",
            "harmonics of the mains in both pick-ups").within(bounds::HARMONIC),
        key("mains_residual", Limit(Unit::Kelvin), Optional, "\"0.5 K\"",
            "largest mains residual in the reading, amplitude; nothing is asked without it").within(bounds::ACCURACY),
        key("calibration", Choice(|| names(CalibrationEffort::SPELLINGS)), Default, "\"zero and span\"",
            "what the owner is willing to do to each finished board"),
        key("broken_sensor", Choice(|| names(super::need::BROKEN_SENSOR)), Default, "\"downscale\"",
            "where a broken thermocouple must read: above or below the range"),
    ] },
    Section { path: "probe", required: true, meaning: "The thermocouple.", keys: &[
        key("type", Choice(letters), Required, "\"N\"", "letter of IEC 60584-1"),
        key("tolerance", ProbeTolerance, Required, "\"IEC 60584-1 class 1\"",
            "the tolerance that it was bought to; \"none\" when its own certificate is followed").within(bounds::ERROR),
        key("distribution", Choice(|| names(Distribution::SPELLINGS)), Default, "\"rectangular\"",
            "how probes lie within that tolerance"),
        key("drift", Limit(Unit::Kelvin), Default, "\"2 K\"",
            "drift expected between calibrations").within(bounds::ERROR),
        key("junction", Choice(|| names(Junction::SPELLINGS)), Default, "\"insulated\"",
            "whether the measuring junction touches its sheath"),
        key("resistance", Quantity(Unit::Ohm), Default, "\"10 Ω\"",
            "loop resistance of the probe itself").within(bounds::LOOP),
    ] },
    Section { path: "lead", required: false,
        meaning: "The cable between the connection head and the terminals. Without this section the probe is wired \
                  straight to the terminals.", keys: &[
        key("cable", Cable, Required, "\"NX\"", "code of IEC 60584-3, or \"same wire\" as the probe"),
        key("class", Integer, Required, "1", "tolerance class of IEC 60584-3, 1 or 2; left out for \"same wire\"").when("cable is a code of IEC 60584-3"),
        key("length", Quantity(Unit::Metre), Required, "\"4 m\"", "length of the cable").within(bounds::LENGTH),
        key("conductor", Quantity(Unit::WireDiameter), Required, "\"AWG 20\"",
            "size of one conductor: AWG, diameter or cross-section").within(bounds::CONDUCTOR),
        key("head", IntervalOrOne(Unit::Celsius), Required, "[\"20 °C\", \"80 °C\"]",
            "temperature of the connection head").within(bounds::HEAD),
    ] },
    Section { path: "reference_junction", required: true,
        meaning: "How the temperature of the terminals is taken into account.", keys: &[
        key("method", Choice(|| names(Method::SPELLINGS)), Required, "\"sensor\"",
            "read by a sensor and summed in firmware, or compensated in the circuit: by a voltage sensor (analog) or by parts that follow the temperature (circuit)"),
        key("accuracy", Limit(Unit::Kelvin), Required, "\"±0.5 K\"",
            "limit of the sensor's error at 25 °C; with method = \"circuit\" it need not be there: [compensation] says it").within(bounds::ERROR),
        key("drift", Limit(Unit::KelvinPerKelvin), Default, "\"5 mK/K\"",
            "further error of the sensor for each kelvin away from 25 °C").within(bounds::KELVIN_DRIFT),
        key("gradient", Limit(Unit::Kelvin), Default, "\"±0.3 K\"",
            "temperature of the sensor against that of the terminals").within(bounds::ERROR),
        key("self_heating", Quantity(Unit::Kelvin), Default, "\"0.05 K\"",
            "rise of the sensor by its own power").within(bounds::ERROR),
        key("sensor_slope", Quantity(Unit::VoltPerKelvin), Required, "\"10 mV/K\"",
            "slope of the voltage sensor").within(bounds::SENSOR_SLOPE).when("method = \"analog\""),
        key("sensor_at_0", Quantity(Unit::Volt), Required, "\"0 V\"",
            "output of the voltage sensor at 0 °C").within(bounds::SENSOR_AT_ZERO).when("method = \"analog\""),
        key("sensor_nonlinearity", Limit(Unit::Kelvin), Default, "\"±0.2 K\"",
            "departure of the voltage sensor from its line").within(bounds::ERROR).when("method = \"analog\""),
        key("output_resistance", Quantity(Unit::Ohm), Default, "\"0 Ω\"",
            "output resistance of the voltage sensor").within(bounds::SOURCE).when("method = \"analog\""),
        key("element", Choice(|| names(ELEMENTS)), Default, "\"digital\"",
            "the sensor that is read").when("method = \"sensor\""),
        key("r25", Quantity(Unit::Ohm), Required, "\"10 kΩ\"", "resistance at 25 °C")
            .within(bounds::R25).when("element = \"thermistor\""),
        key("beta", Quantity(Unit::Kelvin), Required, "\"3950 K\"", "beta of the thermistor equation")
            .within(bounds::BETA).when("element = \"thermistor\""),
        key("tolerance", Limit(Unit::Ratio), Default, "\"1 %\"", "tolerance of r25")
            .within(bounds::TOLERANCE).when("element = \"thermistor\""),
        key("beta_tolerance", Limit(Unit::Ratio), Default, "\"1 %\"", "tolerance of beta")
            .within(bounds::TOLERANCE).when("element = \"thermistor\""),
        key("class", Choice(|| names(PlatinumClass::SPELLINGS)), Required, "\"A\"", "tolerance class of IEC 60751")
            .when("element = \"platinum\""),
        key("divider_resistor", Part, Default, "\"10 kΩ\"", "fixed arm of the divider, fed from the reference")
            .when("element = \"thermistor\" or \"platinum\""),
        key("divider_tolerance", Limit(Unit::Ratio), Default, "\"0.1 %\"", "tolerance of the fixed arm")
            .within(bounds::TOLERANCE).when("element = \"thermistor\" or \"platinum\""),
    ] },
    Section { path: "compensation", required: false,
        meaning: "Figures of the part of the circuit that follows the temperature of the terminals, with method = \
                  \"circuit\". Those of a silicon junction, a thermistor or platinum: what the circuit has counts.", keys: &[
        key("forward_voltage", Quantity(Unit::Volt), Default, "\"0.62 V\"",
            "forward voltage of the junction at forward_current and 25 °C").within(bounds::FORWARD),
        key("forward_current", Quantity(Unit::Ampere), Default, "\"100 µA\"", "current at which it is stated")
            .within(bounds::FORWARD_CURRENT),
        key("forward_spread", Limit(Unit::Volt), Default, "\"±10 mV\"", "spread of the forward voltage").within(bounds::FORWARD_SPREAD),
        key("slope_spread", Limit(Unit::Ratio), Default, "\"1 %\"",
            "spread of its slope beside what follows from the forward voltage").within(bounds::TOLERANCE),
        key("ideality", Number, Default, "1.05", "ideality factor; 1 for a transistor connected as a diode").within(bounds::IDEALITY),
        key("ideality_spread", Limit(Unit::Ratio), Default, "\"1 %\"", "spread of the ideality factor").within(bounds::TOLERANCE),
        key("series_resistance", Quantity(Unit::Ohm), Default, "\"1 Ω\"", "series resistance of the junction").within(bounds::SOURCE),
        key("r25", Quantity(Unit::Ohm), Default, "\"10 kΩ\"", "resistance of the thermistor at 25 °C").within(bounds::R25),
        key("beta", Quantity(Unit::Kelvin), Default, "\"3950 K\"", "beta of the thermistor equation").within(bounds::BETA),
        key("tolerance", Limit(Unit::Ratio), Default, "\"1 %\"", "tolerance of r25").within(bounds::TOLERANCE),
        key("beta_tolerance", Limit(Unit::Ratio), Default, "\"1 %\"", "tolerance of beta").within(bounds::TOLERANCE),
        key("ice_resistance", Quantity(Unit::Ohm), Default, "\"100 Ω\"", "resistance of the platinum resistor at 0 °C").within(bounds::ICE),
        key("class", Choice(|| names(PlatinumClass::SPELLINGS)), Default, "\"A\"", "its tolerance class of IEC 60751"),
        key("heating", Quantity(Unit::KelvinPerWatt), Default, "\"300 K/W\"",
            "largest thermal resistance to the board: what the part warms itself by").within(bounds::HEATING),
    ] },
    Section { path: "front_end", required: true, meaning: "The circuit between the terminals and the converter.", keys: &[
        key("topology", Choice(|| names(Topology::SPELLINGS)), Default, "\"instrumentation\"",
            "a built-in circuit (docs/front-ends.md), \"own\": the one in [circuit], or \"any\": design compares all that fit"),
        key("amplifier", Text, Required, "\"front\"",
            "NAME of the record [amplifier.NAME] of its amplifier; an own circuit need not have it, and \"any\" tries all records"),
        key("buffer", Text, Required, "\"buffer\"", "NAME of the record of its buffers")
            .when(BUFFERED),
    ] },
    Section { path: "circuit", required: false,
        meaning: "A front end of your own, with topology = \"own\". Nodes are free names; gnd, supply, negative and \
                  reference (the converter's) are there already.", keys: circuit_keys::CIRCUIT },
    Section { path: "circuit.parts.*", required: false,
        meaning: "One part; also written on one line in [circuit.parts], NAME = { kind = … }. NAME is its designator.",
        keys: circuit_keys::PART },
    Section { path: "circuit.taps", required: false,
        meaning: "Taps for several types of thermocouple on one board: the node that the negative leg of each goes to, \
                  in place of the second of thermocouple.",
        keys: circuit_keys::TAPS },
    Section { path: "circuit.test_points.*", required: false,
        meaning: "A point to touch with a voltmeter; also written on one line in [circuit.test_points].",
        keys: circuit_keys::TEST_POINT },
    Section { path: "front_end.values", required: false,
        meaning: "Values of the parts by designator; one that is not here is open.", keys: &[
        key("*", Part, Optional, "\"4.7 kΩ\"", "R…: a resistance, C…: a capacitance, V…: a voltage; \"open\": choose for me"),
    ] },
    Section { path: "front_end.tolerance", required: false,
        meaning: "Tolerances of single parts, instead of the one of [parts].", keys: &[
        key("*", Limit(Unit::Ratio), Optional, "\"0.1 %\"", "tolerance of the part").within(bounds::TOLERANCE),
    ] },
    Section { path: "supply", required: true, meaning: "What feeds the front end, against the ground of the board.", keys: &[
        key("positive", Toleranced(Unit::Volt), Required, "\"3.3 V ± 5 %\"", "positive rail").within(bounds::POSITIVE),
        key("negative", Toleranced(Unit::Volt), Default, "\"-5 V ± 5 %\"",
            "negative rail; 0 V for a single supply").within(bounds::NEGATIVE),
    ] },
    Section { path: "amplifier.*", required: true,
        meaning: "Figures of an amplifier, copied from the data sheet of the part in hand. One section for each that \
                  the front end names.", keys: &[
        key("kind", Choice(|| names(AMPLIFIERS)), Required, "\"operational\"", "kind of amplifier"),
        key("offset_max", Limit(Unit::Volt), Optional, "\"10 µV\"", "largest input offset voltage; without it offset_typical counts as one standard deviation").within(bounds::OFFSET),
        key("offset_typical", Limit(Unit::Volt), Optional, "\"2 µV\"", "typical input offset voltage").within(bounds::OFFSET),
        key("offset_drift_max", Limit(Unit::VoltPerKelvin), Required, "\"50 nV/K\"",
            "largest drift of the offset").within(bounds::OFFSET_DRIFT),
        key("bias_max", Limit(Unit::Ampere), Required, "\"200 pA\"", "largest bias current of an input").within(bounds::BIAS),
        key("offset_current_max", Limit(Unit::Ampere), Optional, "\"400 pA\"",
            "largest difference of the bias currents; without it, that of two independent ones").within(bounds::BIAS),
        key("open_loop_gain", Quantity(Unit::Decibel), Required, "\"120 dB\"",
            "smallest open-loop gain").within(bounds::REJECTION).when("kind = \"operational\""),
        key("bandwidth", Quantity(Unit::Hertz), Required, "\"350 kHz\"",
            "gain-bandwidth product; for an instrumentation amplifier the bandwidth at the gain in use").within(bounds::BANDWIDTH),
        key("cmrr", Quantity(Unit::Decibel), Required, "\"110 dB\"", "smallest common-mode rejection").within(bounds::REJECTION),
        key("psrr", Quantity(Unit::Decibel), Required, "\"105 dB\"", "smallest supply rejection").within(bounds::REJECTION),
        key("noise", Quantity(Unit::VoltPerRootHertz), Required, "\"50 nV/√Hz\"",
            "input voltage noise density above the corner").within(bounds::NOISE),
        key("corner", Quantity(Unit::Hertz), Default, "\"10 Hz\"",
            "corner of the 1/f noise; 0 Hz for a zero-drift amplifier").within(bounds::CORNER),
        key("current_noise", Quantity(Unit::AmperePerRootHertz), Default, "\"10 fA/√Hz\"",
            "input current noise density").within(bounds::CURRENT_NOISE),
        key("input_low", Quantity(Unit::Volt), Required, "\"-0.1 V\"",
            "lowest input above the negative rail; negative when it may go below").within(bounds::MARGIN),
        key("input_high", Quantity(Unit::Volt), Required, "\"1.2 V\"",
            "highest input below the positive rail").within(bounds::MARGIN),
        key("output_low", Quantity(Unit::Volt), Required, "\"20 mV\"",
            "lowest output above the negative rail").within(bounds::MARGIN),
        key("output_high", Quantity(Unit::Volt), Required, "\"20 mV\"",
            "highest output below the positive rail").within(bounds::MARGIN),
        key("gain_constant", Quantity(Unit::Ohm), Required, "\"50 kΩ\"", "constant of the law gain = 1 + constant / RG")
            .within(bounds::GAIN_CONSTANT).when("kind = \"instrumentation\""),
        key("gain_error", Limit(Unit::Ratio), Required, "\"0.1 %\"", "largest error of the gain, without that of RG")
            .within(bounds::GAIN_ERROR).when("kind = \"instrumentation\""),
        key("gain_drift", Limit(Unit::PerKelvin), Required, "\"25 ppm/K\"", "drift of the gain, without that of RG")
            .within(bounds::TEMPCO).when("kind = \"instrumentation\""),
        key("gain_nonlinearity", Limit(Unit::Ratio), Default, "\"20 ppm\"", "non-linearity of the gain, share of the output span")
            .within(bounds::GAIN_ERROR).when("kind = \"instrumentation\""),
    ] },
    Section { path: "converter", required: true, meaning: "What turns the output voltage into digits.", keys: &[
        key("kind", Choice(|| names(CONVERTERS)), Required, "\"adc\"", "analog-to-digital converter or voltmeter"),
        key("bits", Integer, Required, "12", "resolution").within(bounds::BITS).when("kind = \"adc\""),
        key("reference", Toleranced(Unit::Volt), Required, "\"2.5 V ± 0.2 %\"",
            "reference voltage: full scale").within(bounds::REFERENCE).when("kind = \"adc\""),
        key("reference_drift", Limit(Unit::PerKelvin), Default, "\"20 ppm/K\"", "drift of the reference")
            .within(bounds::TEMPCO).when("kind = \"adc\""),
        key("reference_supply_regulation", Limit(Unit::VoltPerVolt), Default, "\"100 µV/V\"",
            "change of the reference with the supply").within(bounds::REGULATION).when("kind = \"adc\""),
        key("reference_load_regulation", Limit(Unit::Ohm), Default, "\"0.1 Ω\"",
            "change of the reference with its load: volts per ampere").within(bounds::LOAD_REGULATION).when("kind = \"adc\""),
        key("offset", VoltOrLsb, Default, "\"2 LSB\"", "offset error").within(bounds::CONVERTER_ERROR).when("kind = \"adc\""),
        key("gain_error", Limit(Unit::Ratio), Default, "\"0.1 %\"", "gain error, without that of the reference")
            .within(bounds::GAIN_ERROR).when("kind = \"adc\""),
        key("integral_nonlinearity", VoltOrLsb, Default, "\"2 LSB\"", "departure from the straight line")
            .within(bounds::CONVERTER_ERROR).when("kind = \"adc\""),
        key("noise", VoltOrLsb, Default, "\"0.5 LSB\"", "noise of one conversion, rms")
            .within(bounds::CONVERTER_ERROR).when("kind = \"adc\""),
        key("reading_error", Limit(Unit::Ratio), Required, "\"0.05 %\"", "error as a share of the reading")
            .within(bounds::GAIN_ERROR).when("kind = \"voltmeter\""),
        key("range_error", Limit(Unit::Volt), Required, "\"2 mV\"", "fixed part of the error")
            .within(bounds::CONVERTER_ERROR).when("kind = \"voltmeter\""),
        key("resolution", Quantity(Unit::Volt), Required, "\"1 mV\"", "one count of the display")
            .within(bounds::RESOLUTION).when("kind = \"voltmeter\""),
        key("span", Interval(Unit::Volt), Optional, "[\"-6 V\", \"6 V\"]",
            "voltages that it can read, at a gain of 1: required for a voltmeter; without it an adc reads from 0 V to its reference")
            .within(bounds::SPAN),
        key("input_resistance", Quantity(Unit::Ohm), Default, "\"10 MΩ\"", "input resistance; between the inputs if there are two")
            .within(bounds::INPUT_RESISTANCE),
        key("gain", Number, Default, "32", "programmable gain before the span").within(bounds::CONVERTER_GAIN).when("kind = \"adc\""),
        key("input_current", Limit(Unit::Ampere), Default, "\"2 nA\"", "current into each input")
            .within(bounds::BIAS).when("kind = \"adc\""),
        key("input_current_difference", Limit(Unit::Ampere), Default, "\"0.5 nA\"", "difference of the currents into the two inputs")
            .within(bounds::BIAS).when("kind = \"adc\""),
        key("cmrr", Quantity(Unit::Decibel), Optional, "\"100 dB\"", "smallest common-mode rejection of a converter with two inputs")
            .within(bounds::REJECTION).when("kind = \"adc\""),
        key("input_low", Quantity(Unit::Volt), Optional, "\"0.1 V\"", "lowest voltage of each input above the negative rail")
            .within(bounds::MARGIN).when("kind = \"adc\""),
        key("input_high", Quantity(Unit::Volt), Optional, "\"0.1 V\"", "highest voltage of each input below the positive rail")
            .within(bounds::MARGIN).when("kind = \"adc\""),
    ] },
    Section { path: "filter", required: false, meaning: "Low-pass filters, analog and digital.", keys: &[
        key("digital", Choice(|| names(DIGITAL)), Default, "\"mean\"", "what is done with the samples"),
        key("over_periods", Integer, Default, "1", "mains periods of the mean").within(bounds::PERIODS)
            .when("digital = \"mean\""),
        key("order", Integer, Default, "3", "means in a row inside the converter").within(bounds::SINC_ORDER)
            .when("digital = \"sinc\""),
        key("output_rate", Quantity(Unit::Hertz), Required, "\"10 Hz\"",
            "readings per second that the converter puts out: the first null of its filter").within(bounds::SAMPLE_RATE)
            .when("digital = \"sinc\""),
        key("time_constant", Quantity(Unit::Second), Required, "\"1 s\"", "time constant of the low-pass")
            .within(bounds::TIME_CONSTANT).when("digital = \"first order\""),
        key("sample_rate", Quantity(Unit::Hertz), Required, "\"1 kHz\"",
            "samples per second; of a sinc filter those that it takes in").within(bounds::SAMPLE_RATE)
            .when("digital = \"mean\" or \"sinc\" or \"first order\""),
    ] },
    Section { path: "filter.analog", required: false,
        meaning: "An active low-pass between the last amplifier of the front end and its output, in the place of one that it \
                  has already.", keys: &[
        key("poles", Integer, Required, "4", "number of poles").within(bounds::POLES),
        key("form", Choice(|| names(crate::low_pass::Form::SPELLINGS)), Default, "\"sallen-key\"", "circuit of its stages"),
        key("response", Choice(|| names(RESPONSES)), Default, "\"bessel\"", "where its poles are"),
        key("ripple", Quantity(Unit::Decibel), Required, "\"0.5 dB\"", "ripple below the corner")
            .within(bounds::RIPPLE).when("response = \"chebyshev\""),
        key("corner", Open(Unit::Hertz), Default, "\"2 Hz\"",
            "where it is 3 dB below 0 Hz; \"open\": design chooses").within(bounds::FILTER_CORNER),
        key("amplifier", Text, Optional, "\"buffer\"",
            "NAME of the record of its amplifiers; without it the buffer of the front end, or what drives its output"),
    ] },
    Section { path: "readout", required: true, meaning: "The rule that turns a voltage into a temperature.", keys: &[
        key("rule", Choice(|| names(RULES)), Required, "\"emf inverse\"", "the rule"),
        key("slope", Quantity(Unit::VoltPerKelvin), Required, "\"10 mV/K\"", "output per kelvin")
            .within(bounds::LINE_SLOPE).when("rule = \"line\""),
        key("offset", Quantity(Unit::Volt), Default, "\"0 V\"", "output at 0 °C")
            .within(bounds::LINE_OFFSET).when("rule = \"line\""),
        key("segments", Integer, Default, "32", "straight pieces of the table").within(bounds::SEGMENTS)
            .when("rule = \"table\""),
    ] },
    Section { path: "parts", required: false, meaning: "What the board may be built from.", keys: &[
        key("drawer", Text, Optional, "\"drawer.csv\"",
            "list of the parts at hand (docs/drawer.md), its path counted from this file; design takes open values from it"),
        key("worth_buying", Quantity(Unit::Kelvin), Optional, "\"0.2 K\"",
            "with a drawer: what a part from the series must take off the error to be bought; without it nothing is")
            .within(bounds::ERROR),
    ] },
    Section { path: "parts.resistors", required: false,
        meaning: "The resistors; also written `resistors = { … }` in [parts].", keys: &[
        key("series", Choice(|| names(Series::SPELLINGS)), Default, "\"E96\"", "series of IEC 60063"),
        key("tolerance", Limit(Unit::Ratio), Default, "\"1 %\"", "tolerance").within(bounds::TOLERANCE),
        key("tempco", Limit(Unit::PerKelvin), Default, "\"100 ppm/K\"", "temperature coefficient").within(bounds::TEMPCO),
        key("ageing", Limit(Unit::Ratio), Default, "\"0.2 %\"", "change over life").within(bounds::TOLERANCE),
    ] },
    Section { path: "parts.resistors.network", required: false,
        meaning: "Resistors in one body, whose ratios hold better than their values.", keys: &[
        key("tolerance", Limit(Unit::Ratio), Required, "\"0.05 %\"", "tolerance of a ratio").within(bounds::TOLERANCE),
        key("tempco", Limit(Unit::PerKelvin), Required, "\"5 ppm/K\"", "temperature coefficient of a ratio").within(bounds::TEMPCO),
    ] },
    Section { path: "parts.capacitors", required: false,
        meaning: "The capacitors; also written `capacitors = { … }` in [parts].", keys: &[
        key("series", Choice(|| names(Series::SPELLINGS)), Default, "\"E6\"", "series of IEC 60063"),
        key("tolerance", Limit(Unit::Ratio), Default, "\"10 %\"", "tolerance").within(bounds::TOLERANCE),
        key("tempco", Limit(Unit::PerKelvin), Default, "\"0.1 %/K\"", "temperature coefficient").within(bounds::TEMPCO),
    ] },
    Section { path: "trims", required: false,
        meaning: "What is turned or stored on each finished board (docs/trims.md), and the figures of its adjustable \
                  resistors.", keys: &[
        key("means", Choice(|| names(TrimMeans::SPELLINGS)), Default, "\"adjustable resistors\"",
            "adjustable resistors in the circuit, or constants in the firmware"),
        key("zero", Text, Optional, "\"R6\"",
            "designator of the adjustable resistor that moves the zero, or of a resistor that gets one in series; without it, the one that the circuit names"),
        key("span", Text, Optional, "\"R4\"", "the same for the span"),
        key("tolerance", Limit(Unit::Ratio), Default, "\"10 %\"", "tolerance of a whole track").within(bounds::TOLERANCE),
        key("tempco", Limit(Unit::PerKelvin), Default, "\"100 ppm/K\"", "its temperature coefficient").within(bounds::TEMPCO),
        key("resolution", Quantity(Unit::Ratio), Default, "\"0.1 %\"", "smallest step of a setting, share of the track")
            .within(bounds::SETTING),
        key("stability", Limit(Unit::Ratio), Default, "\"0.5 %\"", "how far a setting moves by itself, share of the track")
            .within(bounds::SETTING),
        key("end_resistance", Quantity(Unit::Ohm), Default, "\"2 Ω\"", "resistance left at the end of the travel")
            .within(bounds::LOOP),
    ] },
    Section { path: "calibration_plan", required: false,
        meaning: "How a finished board would be calibrated, and how well the means are known. Must be there when \
                  [need] asks for a calibration.", keys: &[
        key("method", Choice(|| names(CALIBRATIONS)), Required, "\"millivolt source\"",
            "millivolts at the terminals (the probe is not calibrated), or the probe at a known temperature"),
        key("at", List(Unit::Celsius), Required, "[\"20 °C\", \"1000 °C\"]",
            "temperatures, or those whose emf is set, rising").within(bounds::HOT),
        key("board", Quantity(Unit::Celsius), Default, "\"23 °C\"", "temperature of the board meanwhile").within(bounds::BOARD),
        key("source_reading_error", Limit(Unit::Ratio), Required, "\"0.02 %\"", "error of the source as a share of its value")
            .within(bounds::GAIN_ERROR).when("method = \"millivolt source\""),
        key("source_range_error", Limit(Unit::Volt), Required, "\"5 µV\"", "fixed part of the error of the source")
            .within(bounds::OFFSET).when("method = \"millivolt source\""),
        key("bath_accuracy", Limit(Unit::Kelvin), Required, "\"±0.5 K\"", "how well the temperature is known")
            .within(bounds::ERROR).when("method = \"known temperature\""),
        key("thermometer", Limit(Unit::Kelvin), Default, "\"±0.2 K\"", "how well the temperature of the terminals is known")
            .within(bounds::ERROR),
        key("readings", Integer, Default, "16", "readings averaged at each point").within(bounds::READINGS),
    ] },
    Section { path: "references.*", required: false,
        meaning: "What the board is compared with on the bench, and the meter for its test points; NAME is what readings \
                  call it.", keys: &[
        key("kind", Choice(|| names(REFERENCES)), Required, "\"ice bath\"", "what it is"),
        key("made", Choice(|| names(IceBathMade::SPELLINGS)), Default, "\"well\"",
            "\"well\": shaved distilled ice packed wet in a vacuum flask; \"quick\": crushed tap-water ice and water, stirred")
            .when("kind = \"ice bath\""),
        key("accuracy", Limit(Unit::Kelvin), Optional, "\"±0.5 K\"",
            "your own figure for an ice bath, or the limit of an instrument without certificate").within(bounds::ERROR)
            .when("kind = \"ice bath\", \"thermometer\" or \"dry well\""),
        key("pressure", Toleranced(Unit::Pascal), Optional, "\"987 hPa ± 1 hPa\"",
            "barometer on the spot, not reduced to sea level; needed unless altitude is given").within(bounds::PRESSURE)
            .when("kind = \"boiling water\""),
        key("altitude", Quantity(Unit::Metre), Optional, "\"540 m\"", "altitude, where there is no barometer")
            .within(bounds::ALTITUDE).when("kind = \"boiling water\""),
        key("sea_level_pressure", Toleranced(Unit::Pascal), Optional, "\"1021 hPa\"",
            "pressure reduced to sea level, from a weather report").within(bounds::PRESSURE)
            .when("altitude of \"boiling water\""),
        key("probe_in", Choice(|| names(ProbeIn::SPELLINGS)), Default, "\"steam\"", "where the probe is")
            .when("kind = \"boiling water\""),
        key("depth", Quantity(Unit::Metre), Default, "\"10 cm\"", "depth of the probe below the surface")
            .within(bounds::DEPTH).when("kind = \"boiling water\" or \"fixed point\""),
        key("substance", Choice(|| names(SUBSTANCES)), Required, "\"Zn\"", "substance of the fixed point of ITS-90")
            .when("kind = \"fixed point\""),
        key("cell_accuracy", Limit(Unit::Kelvin), Default, "\"±10 mK\"", "how well the cell realises its point")
            .within(bounds::ERROR).when("kind = \"fixed point\""),
        key("certificate_at", List(Unit::Celsius), Optional, "[\"0 °C\", \"100 °C\"]",
            "indicated temperatures of the certificate, rising").within(bounds::HOT)
            .when("kind = \"thermometer\" or \"dry well\""),
        key("certificate_correction", Values(Unit::Kelvin), Optional, "[\"0.02 K\", \"-0.15 K\"]",
            "what the certificate adds to the indication there").within(bounds::CORRECTION)
            .when("kind = \"thermometer\" or \"dry well\""),
        key("certificate_uncertainty", Limit(Unit::Kelvin), Optional, "\"0.1 K\"", "expanded uncertainty of the certificate")
            .within(bounds::ERROR).when("kind = \"thermometer\" or \"dry well\""),
        key("coverage_factor", Number, Default, "2", "coverage factor k of that uncertainty").within(bounds::COVERAGE)
            .when("kind = \"thermometer\" or \"dry well\""),
        key("drift", Limit(Unit::Kelvin), Default, "\"±0.1 K\"", "drift possible since the certificate").within(bounds::ERROR)
            .when("kind = \"thermometer\" or \"dry well\""),
        key("uniformity", Limit(Unit::Kelvin), Default, "\"±0.1 K\"", "difference between it and the probe").within(bounds::ERROR)
            .when("kind = \"thermometer\" or \"dry well\""),
        key("digit", Quantity(Unit::Kelvin), Default, "\"0.1 K\"", "one digit of its display").within(bounds::ERROR)
            .when("kind = \"thermometer\" or \"dry well\""),
        key("reading_error", Limit(Unit::Ratio), Default, "\"0.05 %\"", "error as a share of the value")
            .within(bounds::GAIN_ERROR).when("kind = \"millivolt source\" or \"voltmeter\""),
        key("range_error", Limit(Unit::Volt), Default, "\"10 µV\"", "fixed part of the error")
            .within(bounds::OFFSET).when("kind = \"millivolt source\" or \"voltmeter\""),
        key("resolution", Quantity(Unit::Volt), Default, "\"1 µV\"", "one digit")
            .within(bounds::RESOLUTION).when("kind = \"millivolt source\" or \"voltmeter\""),
        key("thermal_emf", Limit(Unit::Volt), Default, "\"±3 µV\"", "thermal voltages of clips and contacts")
            .within(bounds::OFFSET).when("kind = \"millivolt source\""),
        key("leads", Choice(|| names(SourceLeads::SPELLINGS)), Default, "\"copper\"", "what joins it to the terminals")
            .when("kind = \"millivolt source\""),
        key("thermometer", Limit(Unit::Kelvin), Default, "\"±0.2 K\"",
            "how well the temperature is known where copper meets the thermocouple's metals").within(bounds::ERROR)
            .when("kind = \"millivolt source\""),
        key("output_resistance", Quantity(Unit::Ohm), Default, "\"10 Ω\"", "output resistance")
            .within(bounds::SOURCE).when("kind = \"millivolt source\""),
        key("input_resistance", Quantity(Unit::Ohm), Default, "\"10 MΩ\"", "input resistance")
            .within(bounds::INPUT_RESISTANCE).when("kind = \"voltmeter\""),
    ] },
    Section { path: "calibration", required: false,
        meaning: "Constants found by a calibration; a command writes them.", keys: &[
        key("date", Text, Optional, "\"2026-11-25\"", "when it was done"),
        key("offset_volts", Number, Required, "1.2e-6", "volts added to the reading rule's own volts after the factor: thermocouple volts, or output volts of a straight line").within(bounds::CORRECTION_OFFSET),
        key("gain", Number, Required, "1.0013", "factor on the reading rule's own volts").within(bounds::CORRECTION_GAIN),
        key("serial", Text, Optional, "\"K-007\"", "serial number of the board"),
        key("readings", Text, Optional, "\"burnout-kiln-readings.csv\"", "file of the raw readings, beside this one"),
        key("fingerprint", Text, Optional, "\"fnv1a-64:9ae16a3b2f90404f\"", "fingerprint of that file"),
        key("scatter_volts", Number, Optional, "2.1e-4", "standard deviation of one reading that its repeats showed beyond the model's noise, V at the converter").within(bounds::CORRECTION_SCATTER),
    ] },
    Section { path: "calibration.deviations", required: false,
        meaning: "What the readings tell of each deviation, in units of its standard uncertainty before; a command \
                  writes them.", keys: &[
        key("*", Numbers, Optional, "[-0.42, 0.61, -0.08]",
            "best estimate, then the entry in each direction that the readings could see (docs/calibration.md)"),
    ] },
    Section { path: "calibration.shared", required: false,
        meaning: "How far errors of references moved the estimates, so that boards calibrated with the same reference \
                  are not taken for independent; a command writes them.", keys: &[
        key("*", Numbers, Optional, "[0.12, -0.31]",
            "of one error of a reference, by its name: its part of the estimate along each direction, in standard \
             deviations (docs/calibration.md)"),
    ] },
    Section { path: "budget", required: false, meaning: "Size of the computation.", keys: &[
        key("trials", Integer, Default, "100000", "Monte Carlo trials").within(bounds::TRIALS),
        key("seed", Integer, Default, "1", "seed of the trials: the same seed gives the same numbers").within(bounds::SEED),
        key("hot_points", Integer, Default, "11", "grid points over the range of the measuring junction").within(bounds::POINTS),
        key("board_points", Integer, Default, "5", "grid points over the range of the board").within(bounds::POINTS),
    ] },
];
