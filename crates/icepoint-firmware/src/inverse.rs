//! The exact inverse of one chain, asked of the model: what the firmware must come to.
//!
//! **In, out.** The converter's input (codes, counted in parts of a code where a filter gives more) and the reference
//! junction's (a temperature, or codes of its divider); out comes the emf at each stage in V and the temperature in °C.
//!
//! **Whose constants.** Those of the reading rule: every deviation at its mean, the board at 25 °C, and the correction
//! of the chain file if there is one. A chain that compensates in the circuit has its compensation for 25 °C in its
//! offset, so the emf of 25 °C is added to what the rule calls the thermocouple's voltage. Its own rule is a straight
//! line, whose correction is in output volts: [`Inverse::referred`] takes it to the thermocouple's.

use icepoint_chain::chain::{Chain, ConverterKind, Correction, JunctionMethod, JunctionSensor, Readout};
use icepoint_chain::imperfection::SPECIFIED_AT;
use icepoint_chain::model::BoardState;
use icepoint_chain::open_sensor::Pulses;
use icepoint_chain::{Model, ModelError};
use icepoint_sensors::Letter;
use icepoint_sensors::platinum::Platinum;
use icepoint_sensors::thermistor::Beta;

use crate::refusal::Refusal;

/// The reference junction may be this far outside the board's range and still be used, K.
const BOARD_MARGIN: f64 = 5.0;
/// The table goes this share of the range beyond each end, so that a reading at the end still reads.
const HOT_MARGIN: f64 = 0.02;
/// Steps per kelvin of a digital reference-junction sensor's input.
pub const JUNCTION_STEPS: f64 = 256.0;

/// What the firmware is told of the reference junction.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum JunctionInput {
    /// Nothing: the circuit compensates.
    None,
    /// A temperature, 1/256 K from 0 °C.
    Temperature,
    /// A code of the sensor's divider on a second channel of the same converter.
    Divider(JunctionSensor),
}

/// The exact inverse.
#[derive(Debug)]
pub struct Inverse {
    model: Model,
    state: BoardState,
    correction: Correction,
    line: bool,
    /// Resolution of the converter.
    pub bits: u32,
    /// What the firmware is told of the reference junction.
    pub junction: JunctionInput,
    /// Range of the measuring junction, °C, margin included.
    pub hot: (f64, f64),
    /// Range of the reference junction, °C, margin included.
    pub board: (f64, f64),
}

impl Inverse {
    /// The inverse of a chain.
    ///
    /// # Errors
    /// [`Refusal`] for chains that end in a voltmeter, for converters finer than 24 bit, and where the model has none.
    pub fn new(chain: &Chain) -> Result<Self, Refusal> {
        let ConverterKind::Adc { bits, .. } = chain.converter.kind else {
            return Err(Refusal::new(
                "firmware.no_converter",
                format!("“{}” is read by a voltmeter: there is no code to make a temperature of", chain.name),
                "kind = \"adc\" in [converter], with its bits and reference",
            ));
        };
        if !(1..=24).contains(&bits) {
            return Err(Refusal::new(
                "firmware.bits",
                format!("a converter of {bits} bit: firmware is made for 1 to 24 bit"),
                "bits = 24, and drop the lowest bits of the code: they are noise",
            ));
        }
        let mut chain = chain.clone();
        let line = matches!(chain.readout, Readout::Line { .. });
        chain.readout = Readout::EmfInverse;
        let (low, high) = chain.need.hot;
        let margin = HOT_MARGIN * (high - low);
        let (from, to) = chain.probe.letter.range();
        let found = chain.correction.unwrap_or(Correction::NONE);
        let junction = match chain.junction.method {
            JunctionMethod::Analog { .. } | JunctionMethod::InCircuit => JunctionInput::None,
            JunctionMethod::Measured(JunctionSensor::Digital) => JunctionInput::Temperature,
            JunctionMethod::Measured(sensor) => JunctionInput::Divider(sensor),
        };
        let board = (chain.need.board.0 - BOARD_MARGIN, chain.need.board.1 + BOARD_MARGIN);
        // Where the function lies too flat or turns, the margin must not lead.
        let letter = chain.probe.letter;
        let mut hot_low = (low - margin).max(from);
        let floor = letter.insensitive_below().unwrap_or(from);
        if letter == Letter::B || hot_low < floor {
            hot_low = low;
        }
        let hot = (hot_low, (high + margin).min(to));
        let model = Model::without_dynamics(chain)?;
        let mut scratch = model.scratch();
        let mut state = model.board_state(SPECIFIED_AT, model.mean_deviations(), &mut scratch)?;
        state.reference = 1.0;
        state.sensed_emf = 0.0;
        let mut inverse =
            Self { model, state, correction: Correction::NONE, line, bits, junction, hot, board };
        inverse.correction = inverse.referred(found);
        Ok(inverse)
    }

    /// Whether the chain's own rule is a straight line, so that its corrections are in output volts.
    pub const fn line(&self) -> bool {
        self.line
    }

    /// The correction of the chain file, in volts of the thermocouple.
    pub const fn correction(&self) -> Correction {
        self.correction
    }

    /// A correction in the volts of the chain's own rule, as `icepoint calibrate` finds it, in those of the
    /// thermocouple: with `u = o + g·v`, `a + b·u` is the output for `(a + (b − 1)·o)/g + b·v`.
    pub fn referred(&self, found: Correction) -> Correction {
        if !self.line {
            return found;
        }
        let (offset, gain) = self.model.nominal_transfer();
        Correction { offset: (found.offset + (found.gain - 1.0) * offset) / gain, gain: found.gain }
    }

    /// Nominal offset (V) and gain between thermocouple and output, the board at 25 °C.
    pub fn nominal_transfer(&self) -> (f64, f64) {
        self.model.nominal_transfer()
    }

    /// The chain, its rule replaced by the exact inverse.
    pub fn chain(&self) -> &Chain {
        self.model.chain()
    }

    /// Letter designation of the thermocouple.
    pub fn letter(&self) -> Letter {
        self.chain().probe.letter
    }

    /// Bits of the converter's input as the firmware takes it: codes shifted up to fill 16 or 24 bits.
    pub const fn aligned_bits(&self) -> u32 {
        if self.bits <= 16 { 16 } else { 24 }
    }

    /// Steps of the aligned input in one code, as a shift.
    pub const fn alignment(&self) -> u32 {
        self.aligned_bits() - self.bits
    }

    /// Volts at the converter for an aligned input. Codes are counted from the lowest, for both polarities too.
    pub fn output_volts(&self, aligned: f64) -> f64 {
        let converter = &self.chain().converter;
        converter.span().0 + aligned * converter.step() / f64::from(1u32 << self.alignment())
    }

    /// Aligned input for volts at the converter, not rounded and not limited.
    pub fn aligned(&self, output_volts: f64) -> f64 {
        self.chain().converter.code_of(output_volts) * f64::from(1u32 << self.alignment())
    }

    /// Share of the reference at the junction's channel, which is read at a gain of one.
    fn fraction(&self, aligned: f64) -> f64 {
        let input = &self.chain().converter.input;
        input.lowest + input.width() * aligned / f64::from(1u32 << self.aligned_bits())
    }

    /// Aligned input for a share of the reference.
    fn of_fraction(&self, fraction: f64) -> f64 {
        let input = &self.chain().converter.input;
        (fraction - input.lowest) / input.width() * f64::from(1u32 << self.aligned_bits())
    }

    /// Volts of the thermocouple by the nominal offset and gain alone, without a correction, V.
    pub fn uncorrected_volts(&self, aligned: f64) -> f64 {
        let (offset, gain) = self.model.nominal_transfer();
        (self.output_volts(aligned) - offset) / gain
    }

    /// Emf to be added to the reference junction's, V: offset, gain and correction applied, not limited to the span.
    pub fn thermocouple_volts(&self, aligned: f64) -> f64 {
        let v = self.uncorrected_volts(aligned);
        self.correction.offset + self.correction.gain * v + self.compensated_emf()
    }

    /// Emf of 25 °C for a chain that compensates in its circuit, else 0.
    pub(crate) fn compensated_emf(&self) -> f64 {
        match self.junction {
            JunctionInput::None => self.emf(SPECIFIED_AT),
            _ => 0.0,
        }
    }

    /// Thermocouple voltage that [`Inverse::nominal_output`] takes, V: a chain that compensates in its circuit adds the
    /// board's emf itself.
    pub fn seen(&self, hot: f64, board: f64) -> f64 {
        match self.junction {
            JunctionInput::None => self.emf(hot),
            _ => self.emf(hot) - self.emf(board),
        }
    }

    /// Output voltage for a thermocouple voltage, V: what [`Inverse::thermocouple_volts`] makes of it is that voltage
    /// again, so a board with a correction in its file has other codes than one without.
    pub fn nominal_output(&self, thermocouple_volts: f64) -> f64 {
        let (offset, gain) = self.model.nominal_transfer();
        let c = self.correction;
        offset + gain * (thermocouple_volts - self.compensated_emf() - c.offset) / c.gain
    }

    /// Emf of a temperature, V; goes on smoothly beyond the range as the model does.
    pub fn emf(&self, celsius: f64) -> f64 {
        self.letter().emf_and_slope_extended(celsius).0
    }

    /// Temperature of a sum of emfs, °C, by the model's rule.
    #[inline]
    pub fn celsius(&self, emf: f64) -> f64 {
        self.model.celsius(&self.state, emf)
    }

    /// Temperature of the reference junction for its input, °C; `None` where the sensor has none.
    pub fn junction_celsius(&self, input: f64) -> Option<f64> {
        match self.junction {
            JunctionInput::None => Some(SPECIFIED_AT),
            JunctionInput::Temperature => Some(input / JUNCTION_STEPS),
            JunctionInput::Divider(sensor) => {
                let fraction = self.fraction(input);
                let ratio = fraction / (1.0 - fraction);
                match sensor {
                    JunctionSensor::Thermistor { r25, beta, divider, .. } => {
                        Beta::new(r25, beta).ok()?.temperature(divider.ohms * ratio).ok()
                    }
                    JunctionSensor::Platinum { divider, .. } => {
                        Platinum::HUNDRED_OHMS.temperature(divider.ohms * ratio).ok()
                    }
                    JunctionSensor::Digital => None,
                }
            }
        }
    }

    /// Input of the reference junction for a temperature in °C, not rounded.
    pub fn junction_input(&self, celsius: f64) -> Option<f64> {
        match self.junction {
            JunctionInput::None => None,
            JunctionInput::Temperature => Some(celsius * JUNCTION_STEPS),
            JunctionInput::Divider(sensor) => {
                let (ohms, arm) = match sensor {
                    JunctionSensor::Thermistor { r25, beta, divider, .. } => {
                        (Beta::new(r25, beta).ok()?.resistance(celsius).ok()?, divider.ohms)
                    }
                    JunctionSensor::Platinum { divider, .. } => {
                        (Platinum::HUNDRED_OHMS.resistance(celsius).ok()?, divider.ohms)
                    }
                    JunctionSensor::Digital => return None,
                };
                Some(self.of_fraction(ohms / (ohms + arm)))
            }
        }
    }

    /// Lowest and highest input of the reference junction that is used; `None` without one, or with none between.
    pub fn junction_range(&self) -> Option<(i32, i32)> {
        let ends = [self.junction_input(self.board.0)?, self.junction_input(self.board.1)?];
        let limits = match self.junction {
            JunctionInput::Temperature => (-32767.0, 32767.0),
            // A shorted or broken sensor gives the lowest or the highest code, but for the converter's own errors.
            JunctionInput::None | JunctionInput::Divider(_) => {
                let converter = &self.chain().converter;
                let codes = f64::from(1u32 << self.bits);
                let off = (converter.offset + converter.nonlinearity) / converter.step();
                let slack = 1.0 + libm::ceil(off + converter.gain_error * codes);
                let code = f64::from(1u32 << self.alignment());
                (slack * code, (codes - 1.0 - slack) * code)
            }
        };
        let low = libm::ceil(ends[0].min(ends[1])).max(limits.0) as i32;
        let high = libm::floor(ends[0].max(ends[1])).min(limits.1) as i32;
        (high > low).then_some((low, high))
    }

    /// Emf of the reference junction for its input, V; 0 for a chain that compensates in its circuit, whose emf is in
    /// [`Inverse::thermocouple_volts`].
    pub fn junction_emf(&self, input: f64) -> Option<f64> {
        match self.junction {
            JunctionInput::None => Some(0.0),
            _ => self.junction_celsius(input).map(|t| self.emf(t)),
        }
    }

    /// Temperatures at the ends of the junction's inputs that are used, °C, ascending: [`Inverse::board`], or less where
    /// the input has no numbers for it. `None` without an input.
    pub fn junction_ends(&self) -> Option<(f64, f64)> {
        let (low, high) = self.junction_range()?;
        let (a, b) = (self.junction_celsius(f64::from(low))?, self.junction_celsius(f64::from(high))?);
        Some((a.min(b), a.max(b)))
    }

    /// Aligned inputs, lowest and highest, of a broken sensor: over the board's range, and over all boards whose parts
    /// are within their limits.
    ///
    /// # Errors
    /// [`ModelError`] when the broken circuit has no operating point.
    pub fn open_inputs(&self, pulses: Pulses) -> Result<(f64, f64), ModelError> {
        let (low, high) = self.chain().need.board;
        let mut range = (f64::INFINITY, f64::NEG_INFINITY);
        for board in [low, SPECIFIED_AT.clamp(low, high), high] {
            let volts = self.model.open_sensor_counted(board, pulses)?;
            range = (range.0.min(volts.0), range.1.max(volts.1));
        }
        let top = f64::from(((1u32 << self.bits) - 1) << self.alignment());
        let input = |volts: f64| self.aligned(volts).clamp(0.0, top);
        Ok((input(range.0), input(range.1)))
    }

    /// Whether the current that finds a broken sensor flows between readings only.
    pub fn pulsed_detection(&self) -> bool {
        self.model.pulsed_detection()
    }

    /// What that current adds to the thermocouple's volts while it flows through a whole loop, V.
    ///
    /// # Errors
    /// [`ModelError`] when the circuit has no operating point.
    pub fn pulse_shift(&self) -> Result<f64, ModelError> {
        self.model.pulse_shift(SPECIFIED_AT)
    }
}
