//! What a reading can be beside a temperature, and from which codes on each is told.
//!
//! **What a chain can tell.** An open sensor shows only where the circuit drives its output away from every code of
//! the range; a reversed one only where its voltage still gives a code below every code of the range, which something
//! far colder gives as well: one number can't tell them apart. A shorted one reads the board's temperature and shows
//! only where the range asked lies wholly above it. What can't be told is said in the page that goes with the code.

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

impl Thresholds {
    /// What this chain can tell.
    ///
    /// # Errors
    /// [`Refusal`] where the range asked doesn't fit the converter's codes.
    pub fn new(inverse: &Inverse) -> Result<Self, Refusal> {
        let codes = (1u32 << inverse.bits) - 1;
        let top = codes << inverse.alignment();
        let falling = inverse.thermocouple_volts(1.0) < inverse.thermocouple_volts(0.0);
        // Codes as the firmware counts them.
        let counted = |v: f64| {
            let aligned = inverse.aligned(inverse.nominal_output(v));
            if falling { f64::from(top) - aligned } else { aligned }
        };
        let need = &inverse.chain().need;
        let code = |hot: f64, board: f64| counted(inverse.seen(hot, board));
        let asked = [
            (need.hot.0, need.board.1, code(need.hot.0, need.board.1)),
            (need.hot.1, need.board.0, code(need.hot.1, need.board.0)),
        ];
        let half = if inverse.alignment() == 0 { 1 } else { 1u32 << (inverse.alignment() - 1) };
        for (hot, board, code) in asked {
            // A code of slack: the ends of the range may sit on the converter's own.
            if code < -f64::from(half) || code > f64::from(top + half) {
                return Err(Refusal::new(
                    "firmware.beyond_converter",
                    format!(
                        "{hot} °C with the board at {board} °C would be code {:.0}, and the converter goes from 0 to {codes}",
                        code / f64::from(1u32 << inverse.alignment())
                    ),
                    "`icepoint design FILE` first, and the file that it writes; or a smaller range in [need]",
                ));
            }
        }
        let legal = (
            code(inverse.hot.0, inverse.board.1).min(asked[0].2),
            code(inverse.hot.1, inverse.board.0).max(asked[1].2),
        );
        let (open_from, open_below) = Self::open(inverse, falling, top, legal, half)?;
        // A shorted sensor is one that has the board's temperature; the hottest board is nearest to the range.
        let short = code(inverse.board.1, inverse.board.1);
        let reversed = if need.hot.0 > inverse.board.1 { 0.5 * (short + legal.0) } else { legal.0 };
        let reversed_below = (reversed > f64::from(half) + 1.0).then_some(libm::floor(reversed) as u32);
        Ok(Self { falling, top, low: half, high: top + 1 - half, open_from, open_below, reversed_below })
    }

    fn open(
        inverse: &Inverse,
        falling: bool,
        top: u32,
        legal: (f64, f64),
        half: u32,
    ) -> Result<(Option<u32>, Option<u32>), Refusal> {
        let volts = inverse.open_volts()?;
        let clamped = |v: f64| inverse.aligned(v).clamp(0.0, f64::from(top));
        let (mut low, mut high) = (clamped(volts.0), clamped(volts.1));
        if falling {
            (low, high) = (f64::from(top) - high, f64::from(top) - low);
        }
        // A code at the converter's very end must count as open even after averaging.
        let from = (0.5 * (legal.1 + low)).min(f64::from(top - half));
        let below = (0.5 * (legal.0 + high)).max(f64::from(half));
        if low > legal.1 && from > legal.1 {
            return Ok((Some(libm::ceil(from) as u32), None));
        }
        if high < legal.0 && below < legal.0 {
            return Ok((None, Some(libm::floor(below) as u32)));
        }
        Ok((None, None))
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
