//! What a reading can be beside a temperature, and from which codes on each is told.
//!
//! **What a chain can tell.** An open sensor shows only where the circuit drives its output away from every code of
//! the range, on every board whose parts are within their limits, and while a reading is taken: a detection current in
//! pulses tells it in codes taken during the pulse ([`Thresholds::in_pulse`]), which are no readings. A reversed one shows
//! only where its voltage still gives a code below every code of the range, which something far colder gives as well: one
//! number can't tell them apart. A shorted one reads the board's temperature and shows only where the range asked lies
//! wholly above it. What can't be told is said in the page that goes with the code.

use icepoint_chain::chain::Correction;
use icepoint_chain::open_sensor::Pulses;

use crate::inverse::Inverse;
use crate::refusal::Refusal;

/// State of a reading. Every state but the first comes without a temperature.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
#[repr(u8)]
pub enum State {
    /// A temperature.
    InRange = 0,
    /// Colder than the range.
    Below = 1,
    /// Hotter than the range.
    Above = 2,
    /// The sensor or its lead is broken.
    SensorOpen = 3,
    /// Reversed (or, where the range lies above the board's, shorted) sensor, or one far colder than the range.
    SensorReversed = 4,
    /// The converter is at the end of its codes.
    ConverterSaturated = 5,
    /// The reference junction is outside its range.
    JunctionOutOfRange = 6,
    /// The calibration constants don't fit their check value or version.
    CalibrationInvalid = 7,
}

impl State {
    /// All, in the order of their numbers.
    pub const ALL: [Self; 8] = [
        Self::InRange,
        Self::Below,
        Self::Above,
        Self::SensorOpen,
        Self::SensorReversed,
        Self::ConverterSaturated,
        Self::JunctionOutOfRange,
        Self::CalibrationInvalid,
    ];

    /// The name in generated code, small letters.
    pub const fn name(self) -> &'static str {
        match self {
            Self::InRange => "in_range",
            Self::Below => "below",
            Self::Above => "above",
            Self::SensorOpen => "sensor_open",
            Self::SensorReversed => "sensor_reversed",
            Self::ConverterSaturated => "converter_saturated",
            Self::JunctionOutOfRange => "junction_out_of_range",
            Self::CalibrationInvalid => "calibration_invalid",
        }
    }

    /// What it means, for comments and tables.
    pub const fn meaning(self) -> &'static str {
        match self {
            Self::InRange => "the result is a temperature",
            Self::Below => "colder than the range",
            Self::Above => "hotter than the range",
            Self::SensorOpen => "the sensor or its lead is broken",
            Self::SensorReversed => "the sensor is reversed or shorted, or far colder than the range",
            Self::ConverterSaturated => "the converter is at the end of its codes",
            Self::JunctionOutOfRange => "the reference junction is outside its range",
            Self::CalibrationInvalid => "check value or version of the constants is wrong",
        }
    }
}

/// Codes at which the states begin, aligned and, for a falling chain, counted from the top.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Thresholds {
    /// The chain's output falls with temperature: codes are counted from the highest down.
    pub falling: bool,
    /// The highest code, aligned.
    pub top: u32,
    /// Below this the converter is saturated.
    pub low: u32,
    /// From this on the converter is saturated.
    pub high: u32,
    /// From this on the sensor is open; `None` if a broken one doesn't read high.
    pub open_from: Option<u32>,
    /// Below this the sensor is open; `None` if a broken one doesn't read low.
    pub open_below: Option<u32>,
    /// Below this the sensor is reversed or shorted; `None` if the chain can't tell.
    pub reversed_below: Option<u32>,
}

/// Codes, as the converter gives them, that tell a broken sensor.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum OpenCodes {
    /// This one and all above it.
    From(u32),
    /// This one and all below it.
    UpTo(u32),
}

impl core::fmt::Display for OpenCodes {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::From(code) => write!(f, "{code} or more"),
            Self::UpTo(code) => write!(f, "{code} or less"),
        }
    }
}

/// Counted inputs of one chain: aligned and, for a falling one, from the top.
struct Inputs<'a> {
    inverse: &'a Inverse,
    falling: bool,
    top: u32,
    /// Half a code.
    half: u32,
}

impl<'a> Inputs<'a> {
    fn new(inverse: &'a Inverse) -> Self {
        let top = ((1u32 << inverse.bits) - 1) << inverse.alignment();
        let falling = inverse.thermocouple_volts(1.0) < inverse.thermocouple_volts(0.0);
        let half = if inverse.alignment() == 0 { 1 } else { 1u32 << (inverse.alignment() - 1) };
        Self { inverse, falling, top, half }
    }

    /// Steps in a code.
    fn code(&self) -> u32 {
        1 << self.inverse.alignment()
    }

    fn counted(&self, aligned: f64) -> f64 {
        if self.falling { f64::from(self.top) - aligned } else { aligned }
    }

    /// Input at two temperatures, with `shift` volts added to the thermocouple's.
    fn at(&self, hot: f64, board: f64, shift: f64) -> f64 {
        let volts = self.inverse.seen(hot, board) + shift;
        self.counted(self.inverse.aligned(self.inverse.nominal_output(volts)))
    }

    /// Inputs of the ends of the range asked, lowest and highest.
    fn asked(&self, shift: f64) -> (f64, f64) {
        let need = &self.inverse.chain().need;
        (self.at(need.hot.0, need.board.1, shift.min(0.0)), self.at(need.hot.1, need.board.0, shift.max(0.0)))
    }

    /// Lowest and highest input that is a temperature with any input of the junction.
    fn legal(&self, shift: f64) -> (f64, f64) {
        let (hot, board) = (self.inverse.hot, self.inverse.board);
        let asked = self.asked(shift);
        (
            self.at(hot.0, board.1, shift.min(0.0)).min(asked.0),
            self.at(hot.1, board.0, shift.max(0.0)).max(asked.1),
        )
    }

    /// Inputs from which on, or below which, the sensor is broken: on every board, not on the mean one alone.
    fn open(&self, legal: (f64, f64), pulses: Pulses) -> Result<(Option<u32>, Option<u32>), Refusal> {
        let ends = self.inverse.open_inputs(pulses)?;
        let (a, b) = (self.counted(ends.0), self.counted(ends.1));
        let (low, high) = (a.min(b), a.max(b));
        let (half, top, code) = (f64::from(self.half), f64::from(self.top), f64::from(self.code()));
        // A code at the converter's very end must count as open even after averaging.
        let from = (0.5 * (legal.1 + low)).min(top - half);
        let below = (0.5 * (legal.0 + high)).max(half);
        // Rounding takes half a code on each side of the middle.
        if from > legal.1 && (low >= top || low - legal.1 >= code) {
            return Ok((Some(libm::ceil(from) as u32), None));
        }
        if below < legal.0 && (high <= 0.0 || legal.0 - high >= code) {
            return Ok((None, Some(libm::floor(below) as u32)));
        }
        Ok((None, None))
    }
}

impl Thresholds {
    /// What this chain can tell of a reading. A detection current in pulses is off while one is taken.
    ///
    /// # Errors
    /// [`Refusal`] where the range asked doesn't fit the converter's codes.
    pub fn new(inverse: &Inverse) -> Result<Self, Refusal> {
        let inputs = Inputs::new(inverse);
        let (top, half) = (inputs.top, inputs.half);
        let need = &inverse.chain().need;
        let asked = inputs.asked(0.0);
        for (hot, board, input) in [(need.hot.0, need.board.1, asked.0), (need.hot.1, need.board.0, asked.1)]
        {
            // A code of slack: the ends of the range may sit on the converter's own.
            if input < -f64::from(half) || input > f64::from(top + half) {
                return Err(beyond(inverse, hot, board, inputs.counted(input) / f64::from(inputs.code())));
            }
        }
        let legal = inputs.legal(0.0);
        let (open_from, open_below) = inputs.open(legal, Pulses::Off)?;
        // A shorted sensor is one that has the board's temperature; the hottest board is nearest to the range.
        let short = inputs.at(inverse.board.1, inverse.board.1, 0.0);
        let reversed = if need.hot.0 > inverse.board.1 { 0.5 * (short + legal.0) } else { legal.0 };
        let reversed_below = (reversed > f64::from(half) + 1.0).then_some(libm::floor(reversed) as u32);
        let (low, high) = (half, top + 1 - half);
        Ok(Self { falling: inputs.falling, top, low, high, open_from, open_below, reversed_below })
    }

    /// Codes that tell a broken sensor at the end of a pulse of detection current; `None` where there is no such current,
    /// or where it does not bring every broken sensor out of the range in the time of the pulse.
    ///
    /// # Errors
    /// [`Refusal`] where the broken circuit has no operating point.
    pub fn in_pulse(inverse: &Inverse) -> Result<Option<OpenCodes>, Refusal> {
        if !inverse.pulsed_detection() {
            return Ok(None);
        }
        let inputs = Inputs::new(inverse);
        let open = inputs.open(inputs.legal(inverse.pulse_shift()?), Pulses::On)?;
        let code = inputs.code();
        Ok(match (open, inputs.falling) {
            ((Some(from), _), false) => Some(OpenCodes::From(from.div_ceil(code))),
            ((Some(from), _), true) => Some(OpenCodes::UpTo((inputs.top - from) / code)),
            ((None, Some(below)), false) => Some(OpenCodes::UpTo(below.div_ceil(code).saturating_sub(1))),
            ((None, Some(below)), true) => Some(OpenCodes::From((inputs.top - below) / code + 1)),
            ((None, None), _) => None,
        })
    }

    /// Whether a broken sensor is told from every temperature.
    pub const fn tells_open(&self) -> bool {
        self.open_from.is_some() || self.open_below.is_some()
    }

    /// Whether every broken sensor is at the end of the converter's codes. Where that is not told as open, because
    /// something hotter than the range is there, too, it is told as saturated: never as a temperature.
    ///
    /// # Errors
    /// [`Refusal`] where the broken circuit has no operating point.
    pub fn open_saturates(&self, inverse: &Inverse) -> Result<bool, Refusal> {
        let inputs = Inputs::new(inverse);
        let ends = inverse.open_inputs(Pulses::Off)?;
        let (a, b) = (inputs.counted(ends.0), inputs.counted(ends.1));
        Ok(a.min(b) >= f64::from(self.high) || a.max(b) < f64::from(self.low))
    }

    /// Lowest and highest counted input that is told as a temperature, or as above or below the range.
    pub fn readable(&self) -> (u32, u32) {
        let low = self.low.max(self.open_below.unwrap_or(0)).max(self.reversed_below.unwrap_or(0));
        (low, self.high.min(self.open_from.unwrap_or(u32::MAX)) - 1)
    }

    /// The aligned input of a counted one, or the counted one of an aligned.
    pub const fn counted(&self, input: u32) -> u32 {
        if self.falling { self.top - input } else { input }
    }

    /// The state told by the code alone.
    #[inline]
    pub fn state(&self, counted: u32) -> State {
        if self.open_from.is_some_and(|from| counted >= from) || self.open_below.is_some_and(|b| counted < b)
        {
            State::SensorOpen
        } else if counted < self.low || counted >= self.high {
            State::ConverterSaturated
        } else if self.reversed_below.is_some_and(|below| counted < below) {
            State::SensorReversed
        } else {
            State::InRange
        }
    }
}

fn beyond(inverse: &Inverse, hot: f64, board: f64, code: f64) -> Refusal {
    let codes = (1u32 << inverse.bits) - 1;
    let corrected = inverse.correction() != Correction::NONE;
    Refusal::new(
        "firmware.beyond_converter",
        format!(
            "{hot} °C with the board at {board} °C would be code {code:.0}{}, and the converter goes from 0 to {codes}",
            if corrected { " by the correction in [calibration]" } else { "" }
        ),
        if corrected {
            "a smaller range in [need]; or look why the board is so far off, and `icepoint calibrate` it again"
        } else {
            "`icepoint design FILE` first, and the file that it writes; or a smaller range in [need]"
        },
    )
}
