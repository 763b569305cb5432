//! The measuring chain as the model sees it: every value known, in SI units, temperatures in °C.
//!
//! A chain file says what its author knows; [`crate::resolve`] fills in topology values and defaults and gives this.
//! `design` makes thousands of these with other part values and asks the model about each, so everything here is
//! plain data without a trace of the file it came from.

use icepoint_sensors::Letter;

use crate::front_end::FrontEnd;

/// One measuring chain, from the junction to the number.
#[derive(Clone, Debug)]
pub struct Chain {
    /// What the author calls it.
    pub name: String,
    /// What is wanted.
    pub need: Need,
    /// The thermocouple.
    pub probe: Probe,
    /// Extension or compensating cable between the probe's head and the board; `None`: the probe ends at the board.
    pub lead: Option<Lead>,
    /// How the temperature of the terminals is accounted for.
    pub junction: ReferenceJunction,
    /// The circuit.
    pub front_end: FrontEnd,
    /// What turns the output voltage into digits.
    pub converter: Converter,
    /// Averaging after the converter.
    pub filter: DigitalFilter,
    /// Harmonics of the mains in the pick-up.
    pub harmonics: Vec<Harmonic>,
    /// How digits become a temperature.
    pub readout: Readout,
    /// What is adjusted on each finished board; `None`: corrections are numbers that somebody keeps.
    pub trims: Option<crate::trims::Trims>,
    /// How the board would be calibrated.
    pub plan: CalibrationPlan,
    /// Constants from a calibration that was done, in the reading rule's own volts: `corrected = offset + gain·v`.
    pub correction: Option<Correction>,
    /// What that calibration found out about this one board.
    pub findings: Option<Findings>,
    /// How the budget is computed.
    pub settings: BudgetSettings,
}

impl Chain {
    /// The chain as designed: without what was found out about one board.
    #[must_use]
    pub fn as_designed(&self) -> Self {
        Self { correction: None, findings: None, ..self.clone() }
    }
}

/// What the user wants of the board.
#[derive(Clone, Copy, Debug)]
pub struct Need {
    /// Lowest and highest temperature of the measuring junction, °C.
    pub hot: (f64, f64),
    /// Lowest and highest temperature of the board, °C.
    pub board: (f64, f64),
    /// Largest error that at least 95 % of readings may have, K.
    pub accuracy: f64,
    /// Longest time after a step of the junction until the output stays within `settle_to` of the step, s.
    pub settle_within: f64,
    /// Remaining share of a step that counts as settled.
    pub settle_to: f64,
    /// Mains frequency, Hz.
    pub mains: f64,
    /// Mains voltage in series with the thermocouple, V rms.
    pub series_pickup: f64,
    /// Mains voltage common to both leads, V rms.
    pub common_pickup: f64,
    /// Largest mains residual allowed in the reading, K (amplitude).
    pub mains_residual: f64,
    /// What calibration the owner is willing to do.
    pub calibration: CalibrationWish,
    /// Where a broken thermocouple must read.
    pub broken_sensor: BrokenSensor,
}

/// Where a broken thermocouple must drive the reading.
///
/// A heater's control wants *upscale*, so that it stops heating; a cooler's *downscale*. Neither replaces an
/// independent cut-out: a board that has failed may read anything.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum BrokenSensor {
    /// Above the range.
    #[default]
    Upscale,
    /// Below the range.
    Downscale,
}

impl BrokenSensor {
    /// The word used in the chain file.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Upscale => "upscale",
            Self::Downscale => "downscale",
        }
    }
}

/// How many points the owner of the board will calibrate.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum CalibrationWish {
    /// None: as built.
    None,
    /// One point: a zero correction.
    Zero,
    /// Two points: zero and span.
    ZeroAndSpan,
}

impl CalibrationWish {
    /// The three, from none to two points.
    pub const ALL: [Self; 3] = [Self::None, Self::Zero, Self::ZeroAndSpan];

    /// Number of calibration points.
    pub const fn points(self) -> usize {
        match self {
            Self::None => 0,
            Self::Zero => 1,
            Self::ZeroAndSpan => 2,
        }
    }

    /// The words used in the chain file.
    pub const fn name(self) -> &'static str {
        match self {
            Self::None => "none",
            Self::Zero => "zero",
            Self::ZeroAndSpan => "zero and span",
        }
    }
}

/// The thermocouple itself.
#[derive(Clone, Debug)]
pub struct Probe {
    /// Letter designation.
    pub letter: Letter,
    /// How far its emf may be from the reference function.
    pub tolerance: ProbeTolerance,
    /// Words for the tolerance and where it comes from.
    pub tolerance_text: String,
    /// Distribution of the deviation inside the limit.
    pub normal: bool,
    /// Drift over the calibration interval, K at the end of the range farthest from 0 °C.
    pub drift: f64,
    /// Measuring junction welded to the sheath (tied to the plant's earth) rather than insulated from it.
    pub grounded: bool,
    /// Resistance of the probe's own wire loop, Ω.
    pub resistance: f64,
}

/// Limit of the probe's deviation.
#[derive(Clone, Copy, Debug)]
pub enum ProbeTolerance {
    /// Assumed exact.
    Exact,
    /// ± this many kelvin everywhere.
    Kelvin(f64),
    /// A class of a standard.
    Class(icepoint_sensors::tolerance::ToleranceClass),
}

/// Extension or compensating cable from the head to the terminals.
#[derive(Clone, Debug)]
pub struct Lead {
    /// IEC 60584-3 code or other words.
    pub name: String,
    /// Tolerance on the emf, V.
    pub tolerance: f64,
    /// Difference of end temperatures at which the deviation is taken to reach the tolerance, K.
    pub full_at: f64,
    /// Resistance of both conductors together, Ω.
    pub resistance: f64,
    /// Lowest and highest temperature of the connection head, °C.
    pub head: (f64, f64),
}

/// How the temperature of the terminals enters the reading.
#[derive(Clone, Debug)]
pub struct ReferenceJunction {
    /// Method and its sensor.
    pub method: JunctionMethod,
    /// Limit of the sensor's error, K.
    pub accuracy: f64,
    /// Limit of its change with board temperature, K per K from 25 °C.
    pub drift: f64,
    /// Limit of the temperature difference between sensor and terminals, K.
    pub gradient: f64,
    /// Largest warming of the sensor by its own power, K (one-sided).
    pub self_heating: f64,
}

/// Analog compensation or a measured reference junction.
#[derive(Clone, Debug)]
pub enum JunctionMethod {
    /// A sensor that the firmware reads.
    Measured(JunctionSensor),
    /// A voltage sensor in the circuit: `volts = at_zero + slope·t + bow`.
    Analog {
        /// V/K.
        slope: f64,
        /// V at 0 °C.
        at_zero: f64,
        /// Limit of its deviation from a straight line, K, largest between 25 °C and the ends of the board range.
        nonlinearity: f64,
        /// Ω.
        output_resistance: f64,
    },
    /// Parts of the circuit that follow the temperature: a silicon junction, a thermistor, a platinum resistor.
    InCircuit,
}

/// A sensor of the terminals' temperature that the firmware reads.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum JunctionSensor {
    /// Gives degrees; its error is [`ReferenceJunction::accuracy`].
    Digital,
    /// Thermistor against a fixed resistor, both on the converter's reference, so that only their ratio counts.
    Thermistor {
        /// Resistance at 25 °C, Ω.
        r25: f64,
        /// Beta, K.
        beta: f64,
        /// Limit of the resistance at 25 °C, relative.
        tolerance: f64,
        /// Limit of beta, relative.
        beta_tolerance: f64,
        /// The fixed resistor.
        divider: DividerArm,
    },
    /// Platinum resistor, 100 Ω at 0 °C, against a fixed resistor in the same way.
    Platinum {
        /// Its class.
        class: icepoint_sensors::platinum::Class,
        /// The fixed resistor.
        divider: DividerArm,
    },
}

/// The fixed resistor of a sensor's divider.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DividerArm {
    /// Ω.
    pub ohms: f64,
    /// Limit, relative.
    pub tolerance: f64,
    /// Limit of its temperature coefficient, 1/K.
    pub tempco: f64,
}

/// What digitises the output voltage.
#[derive(Clone, Debug)]
pub struct Converter {
    /// Converter in the circuit or a voltmeter at its output.
    pub kind: ConverterKind,
    /// Limit of the offset error, V at its input.
    pub offset: f64,
    /// Limit of the gain error, relative.
    pub gain_error: f64,
    /// Limit of the integral non-linearity, V at its input.
    pub nonlinearity: f64,
    /// Noise of one conversion, V rms at its input.
    pub noise: f64,
    /// Input resistance, Ω; infinite allowed. Between the inputs of a converter with two.
    pub input_resistance: f64,
    /// What a converter adds to that.
    pub input: ConverterInput,
}

/// The analog side of a converter: its programmable gain, and its inputs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ConverterInput {
    /// Gain between input and full scale.
    pub gain: f64,
    /// Lowest full scale over the reference: 0 for one polarity, −1 for both.
    pub lowest: f64,
    /// Highest full scale over the reference.
    pub highest: f64,
    /// Limit of the current into each input, A; sign unknown.
    pub current: f64,
    /// Limit of the difference of the two currents, A.
    pub current_difference: f64,
    /// Smallest common-mode rejection, V/V; infinite allowed.
    pub cmrr: f64,
    /// Lowest voltage of each input above the negative rail, V; negative infinity: no limit.
    pub low: f64,
    /// Highest voltage of each input, V below the positive rail; negative infinity: no limit.
    pub high: f64,
}

impl ConverterInput {
    /// One input from ground to the reference, without a gain of its own and without errors.
    pub const PLAIN: Self = Self {
        gain: 1.0,
        lowest: 0.0,
        highest: 1.0,
        current: 0.0,
        current_difference: 0.0,
        cmrr: f64::INFINITY,
        low: f64::NEG_INFINITY,
        high: f64::NEG_INFINITY,
    };

    /// Width of the span over the reference, at a gain of one.
    pub fn width(&self) -> f64 {
        self.highest - self.lowest
    }
}

impl Default for ConverterInput {
    fn default() -> Self {
        Self::PLAIN
    }
}

/// Kind of converter.
#[derive(Clone, Copy, Debug)]
pub enum ConverterKind {
    /// Converts its span (0…reference, divided by its gain, unless [`ConverterInput`] says otherwise) into 2^bits codes.
    Adc {
        /// Resolution.
        bits: u32,
        /// Nominal reference voltage, V: full scale.
        reference: f64,
    },
    /// A voltmeter with this resolution in V.
    Voltmeter {
        /// One digit, V.
        resolution: f64,
        /// Lowest and highest voltage of the range used, V; infinite allowed.
        span: (f64, f64),
    },
}

impl Converter {
    /// One step, V at the input.
    pub fn step(&self) -> f64 {
        match self.kind {
            ConverterKind::Adc { bits, reference } => {
                reference * self.input.width() / self.input.gain / (1u64 << bits.min(63)) as f64
            }
            ConverterKind::Voltmeter { resolution, .. } => resolution,
        }
    }

    /// Lowest and highest input voltage that it converts, nominal.
    pub fn span(&self) -> (f64, f64) {
        match self.kind {
            ConverterKind::Adc { reference, .. } => {
                let full = reference / self.input.gain;
                (full * self.input.lowest, full * self.input.highest - self.step())
            }
            ConverterKind::Voltmeter { span, .. } => span,
        }
    }

    /// Code for volts at its input, nominal, neither rounded nor limited. Codes are counted from the lowest voltage of
    /// the span, for both polarities too; the code that comes out is the nearest whole one.
    pub fn code_of(&self, volts: f64) -> f64 {
        (volts - self.span().0) / self.step()
    }
}

/// Averaging in firmware or in the voltmeter.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum DigitalFilter {
    /// Each conversion stands alone.
    None,
    /// Mean over whole nominal mains periods, densely sampled.
    Mean {
        /// Number of periods.
        periods: u32,
        /// Conversions per second.
        rate: f64,
    },
    /// The filter of a converter that decimates: `order` means in a row, each over one output period.
    Sinc {
        /// Number of means in a row, 1 to 4.
        order: u32,
        /// Samples per second that it takes in.
        rate: f64,
        /// Readings per second that it puts out: the first null, Hz.
        output_rate: f64,
    },
    /// Exponential smoothing.
    FirstOrder {
        /// Time constant, s.
        time_constant: f64,
        /// Conversions per second.
        rate: f64,
    },
}

impl DigitalFilter {
    /// Conversions per second; 0 without a filter.
    pub const fn rate(self) -> f64 {
        match self {
            Self::None => 0.0,
            Self::Mean { rate, .. } | Self::Sinc { rate, .. } | Self::FirstOrder { rate, .. } => rate,
        }
    }
}

/// A harmonic of the mains in the pick-up.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Harmonic {
    /// Multiple of the mains frequency, 2 and above.
    pub multiple: u32,
    /// Size over that of the fundamental.
    pub share: f64,
}

/// How volts become a temperature.
#[derive(Clone, Copy, Debug)]
pub enum Readout {
    /// A straight line: `t = (v − offset)/slope`.
    Line {
        /// V/K.
        slope: f64,
        /// V at 0 °C.
        offset: f64,
    },
    /// The exact inverse of the reference function, after adding the reference junction in volts.
    EmfInverse,
    /// Linear interpolation in a table of this many equal steps of emf over the range.
    Table {
        /// Number of segments.
        segments: u32,
    },
    /// The approximate inverse polynomial published beside the reference function.
    PublishedPolynomial,
}

/// How a board of this design would be calibrated.
#[derive(Clone, Debug)]
pub struct CalibrationPlan {
    /// What stands in for the known temperature.
    pub method: CalibrationMethod,
    /// Temperatures of the one or two points, °C; one point uses the first.
    pub at: Vec<f64>,
    /// Board temperature during calibration, °C.
    pub board: f64,
    /// Limit of what is known of the terminals' temperature, K.
    pub thermometer: f64,
    /// Readings averaged at each point.
    pub readings: u32,
}

/// What the known input is.
#[derive(Clone, Copy, Debug)]
pub enum CalibrationMethod {
    /// A millivolt source at the terminals; the probe stays out.
    MillivoltSource {
        /// Limit, relative to the value set.
        relative: f64,
        /// Limit, V.
        fixed: f64,
    },
    /// The whole chain with its probe at a known temperature.
    KnownTemperature {
        /// Limit of the known temperature, K.
        accuracy: f64,
    },
}

/// A linear correction in the reading rule's own volts: `corrected = offset + gain·v`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Correction {
    /// V.
    pub offset: f64,
    /// Dimensionless.
    pub gain: f64,
}

impl Correction {
    /// Changes nothing.
    pub const NONE: Self = Self { offset: 0.0, gain: 1.0 };
}

/// What a calibration found out about one board: how its deviations differ from what was known before.
///
/// In units of the prior standard uncertainties the deviations of the board then have the mean `estimate` and the
/// covariance `1 − Σ g·gᵀ`, `g` the directions that the readings could see; these are orthogonal and no longer than 1.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Findings {
    /// Serial number of the board.
    pub serial: Option<String>,
    /// Date of the calibration, as the user writes dates.
    pub date: Option<String>,
    /// One for each deviation of which the readings tell anything.
    pub deviations: Vec<Found>,
    /// Errors of references that other boards may have been calibrated with, too.
    pub shared: Vec<SharedError>,
    /// Standard deviation of one reading that its repeats showed beyond the model's noise, V at the converter; 0 where
    /// the noise explains them.
    pub scatter: f64,
}

/// An error of a reference (the gain of a source, a thermometer's certificate) that is the same for every board that is
/// calibrated with it, and how far it moves what is found out.
#[derive(Clone, Debug, PartialEq)]
pub struct SharedError {
    /// What it is called: the same for the same reference.
    pub id: String,
    /// What one standard uncertainty of it adds to the estimate along each direction, `g·z/|g|²`; that has a standard
    /// deviation of 1 from everything.
    pub along: Vec<f64>,
}

impl Findings {
    /// Number of directions.
    pub fn directions(&self) -> usize {
        self.deviations.iter().map(|d| d.directions.len()).max().unwrap_or(0)
    }
}

/// What was found out about one deviation, in units of its prior standard uncertainty.
#[derive(Clone, Debug, PartialEq)]
pub struct Found {
    /// Id of the imperfection.
    pub id: String,
    /// Best estimate less the prior mean.
    pub estimate: f64,
    /// Its entry in each direction.
    pub directions: Vec<f64>,
}

/// Size and seed of the computation.
#[derive(Clone, Copy, Debug)]
pub struct BudgetSettings {
    /// Monte Carlo trials.
    pub trials: u32,
    /// Seed: the same seed gives the same numbers.
    pub seed: u64,
    /// Grid points over the hot range.
    pub hot_points: u32,
    /// Grid points over the board range.
    pub board_points: u32,
}
