//! Every default of the chain file, in one table. A default is an assumption: the dossier prints those that were
//! used, with the reason and the source given here.

/// What is taken when a key is not written.
#[derive(Debug, PartialEq, Eq)]
pub struct Default {
    /// Key, `section.key`; `*` stands for the name of a record.
    pub key: &'static str,
    /// The value, as it would be written in the file.
    pub text: &'static str,
    /// Why this value.
    pub reason: &'static str,
    /// Where it comes from.
    pub source: &'static str,
}

const fn default(
    key: &'static str,
    text: &'static str,
    reason: &'static str,
    source: &'static str,
) -> Default {
    Default { key, text, reason, source }
}

/// No published figure stands behind it.
const PRACTICE: &str = "common practice, no source";

/// Every default.
#[rustfmt::skip] // a table
pub const DEFAULTS: &[Default] = &[
    default("need.settle_to", "\"0.1 %\"", "a thousandth of a step is below what most needs can tell apart", PRACTICE),
    default("need.mains", "\"50 Hz\"", "the mains of most of the world; write \"60 Hz\" elsewhere", "IEC 60038, from memory"),
    default("need.series_pickup", "\"1 mV\"", "a twisted lead of some metres beside mains wiring", PRACTICE),
    default("need.common_pickup", "\"1 V\"", "an insulated probe in an earthed plant", PRACTICE),
    default("need.harmonics", "\"IEC 61000-2-2\"", "the compatibility levels of public low-voltage networks, all at once", "IEC 61000-2-2, from memory"),
    default("need.calibration", "\"none\"", "nothing is promised on the owner's behalf", "choice of this program"),
    default("need.broken_sensor", "\"upscale\"", "a heater's control then stops heating; it replaces no independent cut-out", PRACTICE),
    default("probe.distribution", "\"rectangular\"", "a limit without further knowledge is equally likely anywhere within", "JCGM 100:2008, 4.3.7"),
    default("probe.drift", "\"0 K\"", "no figure was given: the budget is that of a new probe", "choice of this program"),
    default("probe.junction", "\"insulated\"", "the usual order, and the one whose input the board must bias", PRACTICE),
    default("probe.resistance", "\"10 Ω\"", "about a metre of sheathed probe of 3 mm", PRACTICE),
    default("reference_junction.drift", "\"0 K/K\"", "the accuracy given is taken to hold over the range of the board", "choice of this program"),
    default("reference_junction.gradient", "\"±0.3 K\"", "a sensor beside the terminals on the same copper, no draught", PRACTICE),
    default("reference_junction.self_heating", "\"0.05 K\"", "a sensor of a quarter of a milliwatt at 200 K/W", PRACTICE),
    default("reference_junction.sensor_nonlinearity", "\"±0.2 K\"", "a silicon voltage sensor over 0 °C to 70 °C", PRACTICE),
    default("reference_junction.output_resistance", "\"0 Ω\"", "a buffered output", "choice of this program"),
    default("reference_junction.element", "\"digital\"", "no figures of a resistive sensor were given", "choice of this program"),
    default("reference_junction.tolerance", "\"1 %\"", "the usual grade of a measuring thermistor", PRACTICE),
    default("reference_junction.beta_tolerance", "\"1 %\"", "the usual grade of a measuring thermistor", PRACTICE),
    default("reference_junction.divider_resistor", "\"open\"", "design chooses it", "choice of this program"),
    default("reference_junction.divider_tolerance", "\"1 %\"", "the usual grade of a film resistor", PRACTICE),
    default("compensation.forward_voltage", "\"0.6 V\"", "a small silicon junction at 100 µA", PRACTICE),
    default("compensation.forward_current", "\"100 µA\"", "the current that the built-in circuits set", PRACTICE),
    default("compensation.forward_spread", "\"±20 mV\"", "junctions of one type from different reels", PRACTICE),
    default("compensation.slope_spread", "\"1 %\"", "what the forward voltage does not tell of the slope", PRACTICE),
    default("compensation.ideality", "1", "a transistor connected as a diode", PRACTICE),
    default("compensation.ideality_spread", "\"1 %\"", "a transistor connected as a diode", PRACTICE),
    default("compensation.series_resistance", "\"1 Ω\"", "a small silicon junction", PRACTICE),
    default("compensation.r25", "\"10 kΩ\"", "the most usual thermistor", PRACTICE),
    default("compensation.beta", "\"3950 K\"", "the most usual thermistor", PRACTICE),
    default("compensation.tolerance", "\"1 %\"", "the usual grade of a measuring thermistor", PRACTICE),
    default("compensation.beta_tolerance", "\"1 %\"", "the usual grade of a measuring thermistor", PRACTICE),
    default("compensation.ice_resistance", "\"100 Ω\"", "the most usual platinum resistor", PRACTICE),
    default("compensation.class", "\"B\"", "the usual grade", PRACTICE),
    default("compensation.heating", "\"400 K/W\"", "a small part in still air; on the copper of the terminals it is less", PRACTICE),
    default("supply.negative", "\"0 V\"", "a single supply", "choice of this program"),
    default("amplifier.*.corner", "\"0 Hz\"", "flat noise, as a zero-drift amplifier has; optimistic for any other", "choice of this program"),
    default("amplifier.*.current_noise", "\"10 fA/√Hz\"", "an input of field-effect transistors", PRACTICE),
    default("amplifier.*.gain_nonlinearity", "\"20 ppm\"", "an instrumentation amplifier at a gain of about 100", PRACTICE),
    default("front_end.topology", "\"any\"", "design compares all that fit", "choice of this program"),
    default("converter.reference_drift", "\"50 ppm/K\"", "a reference without a stated drift is seldom better", PRACTICE),
    default("converter.reference_supply_regulation", "\"100 µV/V\"", "a band-gap reference", PRACTICE),
    default("converter.reference_load_regulation", "\"0.1 Ω\"", "100 µV/mA, a band-gap reference", PRACTICE),
    default("converter.offset", "\"2 LSB\"", "a converter inside a microcontroller; only for 16 bits or fewer", PRACTICE),
    default("converter.gain_error", "\"0.1 %\"", "a converter inside a microcontroller; only for 16 bits or fewer", PRACTICE),
    default("converter.integral_nonlinearity", "\"2 LSB\"", "a converter inside a microcontroller; only for 16 bits or fewer", PRACTICE),
    default("converter.noise", "\"0.5 LSB\"", "a converter inside a microcontroller; only for 16 bits or fewer", PRACTICE),
    default("converter.input_resistance", "\"10 MΩ\"", "the input of most voltmeters; a buffered converter is higher", PRACTICE),
    default("converter.gain", "1", "no programmable gain", "choice of this program"),
    default("converter.input_current", "\"0 A\"", "no figure was given; the input of a converter behind a buffer", "choice of this program"),
    default("converter.input_current_difference", "\"0 A\"", "no figure was given", "choice of this program"),
    default("filter.digital", "\"none\"", "each conversion is a reading", "choice of this program"),
    default("filter.over_periods", "1", "one mains period cancels the mains and its harmonics", "mean over a whole period, by definition"),
    default("filter.order", "3", "the usual filter of a delta-sigma converter", PRACTICE),
    default("filter.analog.form", "\"sallen-key\"", "its gain does not depend on resistors", "closed form"),
    default("filter.analog.response", "\"bessel\"", "steeper than equal poles, and a step overshoots by less than 1 %", "closed form"),
    default("filter.analog.corner", "\"open\"", "design chooses it", "choice of this program"),
    default("readout.offset", "\"0 V\"", "0 °C reads 0 V", "choice of this program"),
    default("readout.segments", "32", "a table that any microcontroller has room for", PRACTICE),
    default("parts.resistors.series", "\"E24\"", "what a drawer holds first", PRACTICE),
    default("parts.resistors.tolerance", "\"1 %\"", "the usual grade of a film resistor", PRACTICE),
    default("parts.resistors.tempco", "\"100 ppm/K\"", "the usual grade of a film resistor", PRACTICE),
    default("parts.resistors.ageing", "\"0 %\"", "no figure was given: the budget is that of a new board", "choice of this program"),
    default("parts.capacitors.series", "\"E6\"", "what a drawer holds first", PRACTICE),
    default("parts.capacitors.tolerance", "\"10 %\"", "the usual grade of a ceramic or film capacitor", PRACTICE),
    default("parts.capacitors.tempco", "\"0.1 %/K\"", "covers the ±15 % from −55 °C to 125 °C of a common ceramic", PRACTICE),
    default("trims.means", "\"adjustable resistors\"", "constants need firmware to hold them", "choice of this program"),
    default("trims.tolerance", "\"10 %\"", "the usual grade of a cermet track", PRACTICE),
    default("trims.tempco", "\"100 ppm/K\"", "the usual grade of a cermet track", PRACTICE),
    default("trims.resolution", "\"0.1 %\"", "a hand on a cermet track of many turns", PRACTICE),
    default("trims.stability", "\"0.5 %\"", "a cermet track after vibration and warm days, sealed with a drop of lacquer", PRACTICE),
    default("trims.end_resistance", "\"2 Ω\"", "the usual grade of a cermet track", PRACTICE),
    default("calibration_plan.board", "\"23 °C\"", "the reference temperature of electrical laboratories", "IEC 60359, from memory"),
    default("calibration_plan.thermometer", "\"±0.2 K\"", "a good hand thermometer at the terminals", PRACTICE),
    default("calibration_plan.readings", "16", "averages the noise to a quarter", PRACTICE),
    default("references.*.made", "\"quick\"", "unless you say that it was made as ASTM E563 tells", "choice of this program"),
    default("references.*.probe_in", "\"steam\"", "steam over boiling water has the saturation temperature; the water below is hotter", PRACTICE),
    default("references.*.depth", "\"10 cm\"", "a pot or a small cell", PRACTICE),
    default("references.*.cell_accuracy", "\"±10 mK\"", "a small sealed cell outside of a standards laboratory", PRACTICE),
    default("references.*.coverage_factor", "2", "what certificates state unless they say otherwise", "EA-4/02, from memory"),
    default("references.*.drift", "\"±0.1 K\"", "a year of a good industrial thermometer", PRACTICE),
    default("references.*.uniformity", "\"±0.1 K\"", "a stirred bath; a dry well needs its own figure", PRACTICE),
    default("references.*.digit", "\"0.1 K\"", "most displays", PRACTICE),
    default("references.*.reading_error", "\"0.05 %\"", "a good hand-held instrument", PRACTICE),
    default("references.*.range_error", "\"10 µV\"", "a good hand-held instrument on its lowest range", PRACTICE),
    default("references.*.resolution", "\"1 µV\"", "a good hand-held instrument on its lowest range", PRACTICE),
    default("references.*.thermal_emf", "\"±3 µV\"", "brass or tinned clips against copper, 3 µV/K, a kelvin apart", PRACTICE),
    default("references.*.leads", "\"copper\"", "what lies on a bench", PRACTICE),
    default("references.*.thermometer", "\"±0.2 K\"", "a good hand thermometer at the terminals", PRACTICE),
    default("references.*.output_resistance", "\"10 Ω\"", "a source made for thermocouple instruments", PRACTICE),
    default("references.*.input_resistance", "\"10 MΩ\"", "the input of most voltmeters", PRACTICE),
    default("budget.trials", "100000", "half of the 10 000/(1 − p) advised for p = 95 %: two digits of the interval, and quick", "JCGM 101:2008, 7.2.2"),
    default("budget.seed", "1", "the same file gives the same numbers", "choice of this program"),
    default("budget.hot_points", "11", "every tenth of the range", "choice of this program"),
    default("budget.board_points", "5", "every quarter of the range", "choice of this program"),
];

/// The default of `section.key`, with `*` for the name of a record.
pub fn of(section: &str, key: &str) -> Option<&'static Default> {
    DEFAULTS.iter().find(|d| d.key.rsplit_once('.') == Some((section, key)))
}
