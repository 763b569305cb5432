//! The values that are possible, in one table: the reader, its messages, the documentation and the tests use it.
//!
//! A bound is where a figure stops being a design and becomes a slip of the pen or of the unit. They are wide on
//! purpose and, unless a source is named, common practice without a source.

use crate::quantity::{Unit, format};

/// A closed range of possible values; `above` says that the low end itself is not possible.
#[derive(Debug, PartialEq)]
pub struct Bound {
    /// What it bounds, for messages: "temperature of the board".
    pub what: &'static str,
    /// Unit of both ends.
    pub unit: Unit,
    /// Smallest value.
    pub low: f64,
    /// Largest value.
    pub high: f64,
    /// Whether `low` itself is refused.
    pub above: bool,
}

impl Bound {
    /// Whether `value` is possible; never for NaN.
    pub fn allows(&self, value: f64) -> bool {
        value <= self.high && if self.above { value > self.low } else { value >= self.low }
    }

    /// "−40 °C to 125 °C", "above 0 K, to 1000 K".
    pub fn text(&self) -> String {
        // a count is exact or it is nothing
        let digits = if self.unit == Unit::Count { 17 } else { 6 };
        let (low, high) = (format(self.low, self.unit, digits), format(self.high, self.unit, digits));
        if self.above { format!("above {low}, to {high}") } else { format!("{low} to {high}") }
    }
}

macro_rules! bounds {
    ($($(#[$doc:meta])* $name:ident: $unit:ident, $low:literal $kind:ident $high:literal, $what:literal;)*) => {
        $(
            $(#[$doc])*
            pub const $name: &Bound = &Bound {
                what: $what, unit: Unit::$unit, low: $low, high: $high, above: bounds!(@ $kind),
            };
        )*
        /// Every bound with its name, for the documentation and the tests.
        pub const ALL: &[(&str, &Bound)] = &[$((stringify!($name), $name),)*];
    };
    (@ from_to) => { false };
    (@ above_to) => { true };
}

bounds! {
    /// The widest range of any letter; the letter's own range is checked against the type.
    HOT: Celsius, -270.0 from_to 2500.0, "temperature of the measuring junction";
    /// The industrial and automotive range of parts.
    BOARD: Celsius, -40.0 from_to 125.0, "temperature of the board";
    /// Beyond it no cable of IEC 60584-3 is stated.
    HEAD: Celsius, -60.0 from_to 400.0, "temperature of the connection head";
    /// Zero can't be reached, and a thousand kelvin is no measurement.
    ACCURACY: Kelvin, 0.0 above_to 1000.0, "accuracy";
    /// A limit of an error in kelvin.
    ERROR: Kelvin, 0.0 from_to 100.0, "limit of an error";
    /// From one sample to an hour.
    SETTLING: Second, 1e-6 from_to 3600.0, "settling time";
    /// Remaining share of a step.
    SETTLED: Ratio, 1e-6 from_to 0.5, "remaining share of a step";
    /// Railway, public and aircraft supplies.
    MAINS: Hertz, 16.0 from_to 400.0, "mains frequency";
    /// More than this in series drowns any thermocouple.
    SERIES_PICKUP: Volt, 0.0 from_to 1.0, "series pick-up";
    /// Up to a live plant.
    COMMON_PICKUP: Volt, 0.0 from_to 1000.0, "common-mode pick-up";
    /// Loop resistance of a probe or a lead.
    LOOP: Ohm, 0.0 from_to 10e3, "loop resistance";
    /// A lead.
    LENGTH: Metre, 0.0 above_to 1000.0, "length of the lead";
    /// What `icepoint-sensors` has loop resistances for.
    CONDUCTOR: WireDiameter, 50.2e-6 from_to 8.26e-3, "diameter of a conductor";
    /// K per K of the sensor's own temperature.
    KELVIN_DRIFT: KelvinPerKelvin, 0.0 from_to 1.0, "drift of the sensor";
    /// Voltage sensors; negative for a bare silicon junction.
    SENSOR_SLOPE: VoltPerKelvin, -0.1 from_to 0.1, "slope of the sensor";
    /// Voltage of the sensor at 0 °C.
    SENSOR_AT_ZERO: Volt, -10.0 from_to 10.0, "output of the sensor at 0 °C";
    /// Source resistance of a sensor.
    SOURCE: Ohm, 0.0 from_to 1e6, "output resistance";
    /// Thermistors on the market.
    R25: Ohm, 10.0 from_to 10e6, "resistance at 25 °C";
    /// Beta, a temperature but written as a difference.
    BETA: Kelvin, 1000.0 from_to 6000.0, "beta";
    /// A tolerance of a part.
    TOLERANCE: Ratio, 0.0 from_to 0.5, "tolerance";
    /// A temperature coefficient of a part.
    TEMPCO: PerKelvin, 0.0 from_to 0.01, "temperature coefficient";
    /// A share of an adjustable resistor's travel.
    SETTING: Ratio, 0.0 from_to 0.2, "share of the track";
    /// From milliohms to the largest resistors made.
    RESISTOR: Ohm, 0.001 from_to 100e9, "resistor";
    /// From strays to the largest capacitors that filter a signal.
    CAPACITOR: Farad, 0.1e-12 from_to 0.1, "capacitor";
    /// Factor between the values of two parts.
    TIMES: Count, 1e-6 from_to 1e6, "factor";
    /// A voltage that design may choose.
    CHOSEN_VOLTAGE: Volt, -40.0 from_to 40.0, "voltage";
    /// Positive rail.
    POSITIVE: Volt, 0.0 above_to 40.0, "positive supply";
    /// Negative rail.
    NEGATIVE: Volt, -40.0 from_to 0.0, "negative supply";
    /// Offsets of amplifiers.
    OFFSET: Volt, 0.0 from_to 0.1, "offset";
    /// Drift of an offset.
    OFFSET_DRIFT: VoltPerKelvin, 0.0 from_to 0.001, "drift of the offset";
    /// Bias currents.
    BIAS: Ampere, 0.0 from_to 1e-3, "bias current";
    /// Gain or rejection, at least 1 and at most 200 dB.
    REJECTION: Decibel, 1.0 from_to 1e10, "gain or rejection";
    /// Bandwidth of an amplifier.
    BANDWIDTH: Hertz, 1.0 from_to 10e9, "bandwidth";
    /// Voltage noise density.
    NOISE: VoltPerRootHertz, 0.0 from_to 1e-4, "noise density";
    /// Current noise density.
    CURRENT_NOISE: AmperePerRootHertz, 0.0 from_to 1e-6, "current noise density";
    /// Corner of 1/f noise.
    CORNER: Hertz, 0.0 from_to 1e6, "corner of the 1/f noise";
    /// A margin against a rail; negative when the input may go beyond it.
    MARGIN: Volt, -5.0 from_to 40.0, "margin against the rail";
    /// Constant of the gain law.
    GAIN_CONSTANT: Ohm, 100.0 from_to 1e6, "gain constant";
    /// An error of a gain.
    GAIN_ERROR: Ratio, 0.0 from_to 0.2, "gain error";
    /// Resolution of converters.
    BITS: Bit, 1.0 from_to 32.0, "number of bits";
    /// Reference voltage.
    REFERENCE: Volt, 0.1 from_to 20.0, "reference voltage";
    /// Change of the reference with its supply.
    REGULATION: VoltPerVolt, 0.0 from_to 0.1, "regulation";
    /// Change of the reference with its load: its output resistance.
    LOAD_REGULATION: Ohm, 0.0 from_to 1e3, "load regulation";
    /// An error of a converter.
    CONVERTER_ERROR: Volt, 0.0 from_to 10.0, "error of the converter";
    /// What a converter can read.
    SPAN: Volt, -1000.0 from_to 1000.0, "span of the converter";
    /// Input resistance.
    INPUT_RESISTANCE: Ohm, 1e3 from_to 1e15, "input resistance";
    /// One count of a voltmeter.
    RESOLUTION: Volt, 1e-9 from_to 1.0, "resolution";
    /// Corner of a low-pass.
    FILTER_CORNER: Hertz, 0.001 from_to 1e6, "corner of the low-pass";
    /// Poles of an active low-pass.
    POLES: Count, 1.0 from_to 4.0, "number of poles";
    /// Ripple of a Chebyshev low-pass as a ratio: 0.01 dB to 3 dB.
    RIPPLE: Decibel, 1.0011519555 from_to 1.4125375447, "ripple";
    /// Samples a second.
    SAMPLE_RATE: Hertz, 0.01 from_to 10e6, "sample rate";
    /// Means in a row of a decimating converter.
    SINC_ORDER: Count, 1.0 from_to 4.0, "order of the sinc filter";
    /// A harmonic over the fundamental.
    HARMONIC: Ratio, 0.0 from_to 1.0, "harmonic over the fundamental";
    /// Time constant of a digital low-pass.
    TIME_CONSTANT: Second, 1e-6 from_to 3600.0, "time constant";
    /// Mains periods of a mean.
    PERIODS: Count, 1.0 from_to 10000.0, "number of mains periods";
    /// Slope of a read-out.
    LINE_SLOPE: VoltPerKelvin, 1e-6 from_to 1.0, "slope of the read-out";
    /// Offset of a read-out.
    LINE_OFFSET: Volt, -20.0 from_to 20.0, "offset of the read-out";
    /// Pieces of a table.
    SEGMENTS: Count, 1.0 from_to 4096.0, "number of segments";
    /// Correction of a calibration.
    CORRECTION_OFFSET: Volt, -1.0 from_to 1.0, "offset of the calibration";
    /// Scatter that the repeats of a calibration showed.
    CORRECTION_SCATTER: Volt, 0.0 from_to 1.0, "scatter of the readings";
    /// Forward voltage of a silicon junction that is used as a thermometer.
    FORWARD: Volt, 0.2 from_to 1.1, "forward voltage";
    /// Its current.
    FORWARD_CURRENT: Ampere, 1e-9 from_to 0.1, "forward current";
    /// How far forward voltages lie apart.
    FORWARD_SPREAD: Volt, 0.0 from_to 0.1, "spread of the forward voltage";
    /// Between a transistor connected as a diode and a poor diode.
    IDEALITY: Ratio, 0.9 from_to 2.5, "ideality factor";
    /// Platinum resistors that are made.
    ICE: Ohm, 10.0 from_to 10e3, "resistance at 0 °C";
    /// From a part on copper to a bead in still air.
    HEATING: KelvinPerWatt, 0.0 from_to 1e5, "thermal resistance";
    /// Kelvins in which a leakage doubles.
    DOUBLING: Kelvin, 4.0 from_to 40.0, "doubling of the leakage";
    /// From a Schottky diode to a suppressor.
    CLAMP: Volt, 0.1 from_to 50.0, "forward voltage of a clamp";
    /// Current that a clamp may carry.
    CLAMP_CURRENT: Ampere, 1e-6 from_to 10.0, "current of a clamp";
    /// Current that shows a broken thermocouple.
    DETECTION: Ampere, 1e-9 from_to 0.01, "detection current";
    /// Length of a pulse or of the wait behind it.
    PULSE: Second, 1e-6 from_to 100.0, "pulse";
    /// From none to the largest programmable gain of a converter.
    CONVERTER_GAIN: Ratio, 1.0 from_to 1000.0, "gain of the converter";
    /// Correction of a calibration.
    CORRECTION_GAIN: Ratio, 0.5 from_to 2.0, "gain of the calibration";
    /// Station pressure, from the highest towns to the deepest hollows.
    PRESSURE: Pascal, 40e3 from_to 110e3, "pressure of the air";
    /// Where people live and work; the standard atmosphere goes on to 11 km.
    ALTITUDE: Metre, -450.0 from_to 6000.0, "altitude";
    /// A pot, a cell.
    DEPTH: Metre, 0.0 from_to 2.0, "depth below the surface";
    /// A correction of a certificate.
    CORRECTION: Kelvin, -100.0 from_to 100.0, "correction";
    /// A coverage factor: from a plain standard uncertainty to four of them.
    COVERAGE: Count, 1.0 from_to 5.0, "coverage factor";
    /// Readings averaged.
    READINGS: Count, 1.0 from_to 1e6, "number of readings";
    /// Monte Carlo trials.
    TRIALS: Count, 100.0 from_to 1e8, "number of trials";
    /// Seed.
    SEED: Count, 0.0 from_to 9007199254740992.0, "seed";
    /// Points of the grid along one axis.
    POINTS: Count, 1.0 from_to 1001.0, "number of grid points";
}
