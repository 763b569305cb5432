//! Firmware in whole numbers: the program as data, its evaluation exactly as the generated code does it, and how it is
//! made for one chain, form and width.
//!
//! ```text
//! a = (code·gain) >> 8 (16: 24-bit code)   code aligned to 16 or 24 bits; gain 16 bits
//! b = curve of the reference junction      emf, never degrees
//! x = a + offset + b                       steps of emf above the low end of the range, 24 bits
//! t = (curve of the sum at x) >> guard, + base; a narrow curve takes x >> 8
//! ```

use rayon::prelude::*;

use crate::calibration::Constants;
use crate::curve::{Curve, Form, Maker, Width};
use crate::inverse::{Inverse, JunctionInput};
use crate::states::{State, Thresholds};
use crate::unit::Unit;

/// How the reference junction's input becomes emf.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct JunctionCurve {
    /// Lowest and highest input that is used.
    pub range: (i32, i32),
    /// The emf falls with the input (a thermistor on ground): inputs are counted from the highest down.
    pub falling: bool,
    /// Shift of the counted input to the left (right if negative) before the curve.
    pub shift: i32,
    /// Shift of the curve's output to the left.
    pub guard: u32,
    /// Steps of emf above those of the lowest.
    pub curve: Curve,
}

/// The whole program.
#[derive(Clone, Debug, PartialEq)]
pub struct IntegerProgram {
    /// Resolution of the converter.
    pub bits: u32,
    /// Bits of the aligned input, 16 or 24.
    pub aligned_bits: u32,
    /// States told by the code alone.
    pub thresholds: Thresholds,
    /// Constants as designed.
    pub nominal: Constants,
    /// The reference junction; `None` if the circuit compensates.
    pub junction: Option<JunctionCurve>,
    /// What the junction's input is.
    pub junction_input: JunctionInput,
    /// From emf to temperature.
    pub curve: Curve,
    /// Largest sum that is a temperature.
    pub top: u32,
    /// Bits of its output below the unit.
    pub guard: u32,
    /// Added to the result, steps of the unit.
    pub base: i32,
    /// Highest result, less `base`, steps of the unit.
    pub highest: u32,
    /// Unit of the result.
    pub unit: Unit,
    /// Steps of emf (24 bits) per volt.
    pub steps_per_volt: f64,
    /// Emf at `x = 0`, V.
    pub emf_at_zero: f64,
    /// Steps that stand for 0 V of the thermocouple (junction at its lowest), rounding included.
    pub zero_steps: f64,
}

/// What came out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Outcome {
    /// State.
    pub state: State,
    /// Steps of the unit; [`IntegerProgram::invalid`] in every failing state.
    pub value: i32,
}

impl IntegerProgram {
    /// Bits by which a code of the converter is shifted to be an aligned input.
    pub const fn alignment(&self) -> u32 {
        self.aligned_bits - self.bits
    }

    /// The junction's input that [`IntegerProgram::evaluate`] takes, for what is read: a code of the converter is
    /// shifted like every other, a temperature stays. What is no code of the converter is out of range.
    pub const fn junction_aligned(&self, read: i32) -> i32 {
        match self.junction_input {
            JunctionInput::Divider(_) => {
                if read < 0 || read >> self.bits != 0 {
                    (1 << self.aligned_bits) - 1
                } else {
                    read << self.alignment()
                }
            }
            JunctionInput::None | JunctionInput::Temperature => read,
        }
    }

    /// Lowest and highest of what is read of the junction that are used: codes of the converter, or temperatures.
    pub fn junction_read(&self) -> Option<(i32, i32)> {
        let (low, high) = self.junction.as_ref()?.range;
        let JunctionInput::Divider(_) = self.junction_input else { return Some((low, high)) };
        let code = 1 << self.alignment();
        Some(((low + code - 1) / code, high / code))
    }

    /// One conversion of codes as the converter gives them, exactly as the generated code does it.
    pub fn whole(&self, code: u32, junction: i32, constants: &Constants) -> Outcome {
        let last = (1 << self.bits) - 1;
        let aligned = if code > last { last } else { code } << self.alignment();
        self.evaluate(aligned, self.junction_aligned(junction), constants)
    }

    /// The number that stands for “no temperature”.
    pub const fn invalid(&self) -> i32 {
        if self.wide_result() { i32::MIN } else { i16::MIN as i32 }
    }

    /// Whether the result needs 32 bits.
    pub const fn wide_result(&self) -> bool {
        self.base < -32767 || self.base as i64 + self.highest as i64 > 32767
    }

    /// Bytes of both tables.
    pub fn table_bytes(&self) -> usize {
        let wide = self.curve.width == Width::Wide;
        self.curve.bytes(wide) + self.junction.as_ref().map_or(0, |j| j.curve.bytes(wide))
    }

    /// Input of the curve for a sum.
    #[inline]
    pub const fn input(&self, sum: u32) -> u32 {
        sum >> (24 - self.curve.width.bits())
    }

    /// Steps of the junction's emf; `None` outside its range.
    pub fn junction_steps(&self, input: i32) -> Option<u32> {
        let Some(junction) = &self.junction else { return Some(0) };
        let (low, high) = junction.range;
        if input < low || input > high {
            return None;
        }
        Some(junction.curve.at(junction.counted(input))? << junction.guard)
    }

    /// Steps of the thermocouple's part for an aligned, counted code.
    #[inline]
    pub const fn product(&self, counted: u32, gain: u16) -> u32 {
        ((counted as u64 * gain as u64) >> (self.aligned_bits - 8)) as u32
    }

    /// One conversion, exactly as the generated code does it.
    #[inline]
    pub fn evaluate(&self, aligned: u32, junction: i32, constants: &Constants) -> Outcome {
        let failing = |state| Outcome { state, value: self.invalid() };
        if !constants.valid() {
            return failing(State::CalibrationInvalid);
        }
        let Some(b) = self.junction_steps(junction) else { return failing(State::JunctionOutOfRange) };
        self.with_junction(aligned, b, constants)
    }

    /// The part of a conversion after the junction: `b` are its steps; the constants were found valid.
    #[inline]
    pub fn with_junction(&self, aligned: u32, b: u32, constants: &Constants) -> Outcome {
        let failing = |state| Outcome { state, value: self.invalid() };
        if aligned > self.thresholds.top {
            // Also keeps a falling chain's count from wrapping.
            let end = if self.thresholds.falling { 0 } else { self.thresholds.top };
            return failing(self.thresholds.state(end));
        }
        let counted = if self.thresholds.falling { self.thresholds.top - aligned } else { aligned };
        let told = self.thresholds.state(counted);
        if told != State::InRange {
            return failing(told);
        }
        let x = self.product(counted, constants.gain).wrapping_add(constants.offset as u32).wrapping_add(b);
        if x > self.top {
            return failing(if x >> 31 == 1 { State::Below } else { State::Above });
        }
        match self.curve.at(self.input(x)) {
            Some(y) => Outcome { state: State::InRange, value: (y >> self.guard) as i32 + self.base },
            // Never: making the program walks every input.
            None => failing(State::Above),
        }
    }
}

impl JunctionCurve {
    /// Input of the curve for an input in range.
    #[inline]
    pub const fn counted(&self, input: i32) -> u32 {
        let u = if self.falling { self.range.1 - input } else { input - self.range.0 } as u32;
        if self.shift >= 0 { u << self.shift } else { u >> -self.shift }
    }

    /// Largest input of the curve.
    pub const fn top(&self) -> u32 {
        let u = (self.range.1 - self.range.0) as u32;
        if self.shift >= 0 { u << self.shift } else { u >> -self.shift }
    }
}

/// Largest gain as designed: a calibration may raise it by a twelfth before it leaves its 16 bits.
const DESIGNED_GAIN: f64 = 60_000.0;
/// Slopes stay below this, so that they fit 16 bits with a margin for the fit.
const STEEPEST: f64 = 0.99;

/// How errors are shared between the parts, each in its own unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shares {
    /// Of the curve of the sum, K.
    pub curve: f64,
    /// Of the junction's curve, steps of emf.
    pub junction: f64,
}

/// What all forms of one chain share: scale of the sum and range of its result.
#[derive(Debug)]
pub struct Scale<'a> {
    inverse: &'a Inverse,
    thresholds: Thresholds,
    unit: Unit,
    gain: f64,
    /// Steps of the sum per volt.
    steps_per_volt: f64,
    /// Emf at a sum of 0 and at the highest, V.
    emf: (f64, f64),
    /// Thermocouple's part at a counted code of 0, V.
    at_zero: f64,
    top: u32,
    base: f64,
}

impl<'a> Scale<'a> {
    /// `None` for a chain whose range is far from the converter's span.
    pub fn new(inverse: &'a Inverse, thresholds: Thresholds, unit: Unit) -> Option<Self> {
        let full = f64::from(1u32 << inverse.aligned_bits());
        let counted = |n: f64| if thresholds.falling { f64::from(thresholds.top) - n } else { n };
        let at_zero = inverse.thermocouple_volts(counted(0.0));
        let span = inverse.thermocouple_volts(counted(full)) - at_zero;
        let (low, high) = (inverse.emf(inverse.hot.0), inverse.emf(inverse.hot.1));
        let gain = libm::floor(DESIGNED_GAIN.min(MOST_STEPS / 256.0 * span / (high - low)));
        if !(256.0..=65535.0).contains(&gain) {
            return None;
        }
        let steps_per_volt = gain * 256.0 / span;
        let top = libm::floor((high - low) * steps_per_volt) as u32;
        let base = libm::floor(inverse.hot.0 * f64::from(unit.per_kelvin())) - 2.0;
        (base.abs() < 1e9).then_some(Self {
            inverse,
            thresholds,
            unit,
            gain,
            steps_per_volt,
            emf: (low, high),
            at_zero,
            top,
            base,
        })
    }

    /// Largest change of temperature in one step of a sum of that width, K.
    pub fn kelvin_per_step(&self, width: Width) -> f64 {
        let step = f64::from(1u32 << (24 - width.bits())) / self.steps_per_volt;
        let (low, high) = self.emf;
        (0..256)
            .map(|k| {
                let e = low + (high - low) * f64::from(k) / 256.0;
                (self.inverse.celsius(e + step) - self.inverse.celsius(e)).abs()
            })
            .fold(0.0, f64::max)
    }

    /// Largest error of a curve for an error in K, in steps of its output.
    fn output_error(&self, kelvin: f64, guard: u32) -> f64 {
        kelvin * f64::from(self.unit.per_kelvin()) * f64::from(1u32 << guard)
    }

    /// Makes the program of one form and width; `None` where this form can't. `lift` as found before, or `None` to
    /// find it (one function evaluates both curves, so they share it); `refined`: the error is lowered as far as the number of segments reaches.
    pub fn make(
        &self,
        form: Form,
        width: Width,
        shares: Shares,
        lift: &mut Option<u32>,
        refined: bool,
    ) -> Option<IntegerProgram> {
        let fine = 24 - width.bits();
        let per_kelvin = f64::from(self.unit.per_kelvin());
        // A narrow input stands for 256 sums: the middle of them is meant.
        let middle = if fine > 0 { 0.5 } else { 0.0 };
        let emf = |x: f64| self.emf.0 + (x + middle) * f64::from(1u32 << fine) / self.steps_per_volt;
        let steps = |x: f64| self.inverse.celsius(emf(x)) * per_kelvin - self.base;
        let top = self.top >> fine;
        let guard = guard(&steps, top, width)?;
        let scale = f64::from(1u32 << guard);
        let half = if guard > 0 { 0.5 * scale - 0.5 } else { 0.0 };
        let target = |x: f64| steps(x) * scale + half;
        let error = self.output_error(shares.curve, guard);
        let mut maker = Maker { form, width, lift: 0, top, target: &target };
        maker.lift = match *lift {
            Some(lift) => lift,
            None => maker.best_lift(error)?,
        };
        *lift = Some(maker.lift);
        let (curve, _) = if refined { maker.within(error)? } else { maker.greedy(error)? };
        let junction = match self.inverse.junction {
            JunctionInput::None => None,
            _ => Some(self.junction(form, width, maker.lift, shares.junction, refined)?),
        };
        let (junction, junction_zero) = junction.map_or((None, 0.0), |(j, zero)| (Some(j), zero));
        let (offset_emf, low) = (self.at_zero + junction_zero, self.emf.0);
        // Half a step, because the product is cut off and not rounded.
        let offset = libm::round((offset_emf - low) * self.steps_per_volt + 0.5);
        let zero = self.inverse.compensated_emf() + junction_zero;
        let highest = curve.highest(top)? >> guard;
        let program = IntegerProgram {
            bits: self.inverse.bits,
            aligned_bits: self.inverse.aligned_bits(),
            thresholds: self.thresholds,
            nominal: Constants::new(self.gain as u16, offset as i32),
            junction,
            junction_input: self.inverse.junction,
            curve,
            top: self.top,
            guard,
            base: self.base as i32,
            highest,
            unit: self.unit,
            steps_per_volt: self.steps_per_volt,
            emf_at_zero: low,
            zero_steps: (zero - low) * self.steps_per_volt + 0.5,
        };
        (offset.abs() < 2e9 && program.sound(SAMPLED_INPUTS)).then_some(program)
    }

    /// The junction's curve within `error` steps of the sum, and the emf at which it gives 0, V.
    fn junction(
        &self,
        form: Form,
        width: Width,
        lift: u32,
        error: f64,
        refined: bool,
    ) -> Option<(JunctionCurve, f64)> {
        const SAMPLED: u32 = 256;
        let inverse = self.inverse;
        let ends = [inverse.junction_input(inverse.board.0)?, inverse.junction_input(inverse.board.1)?];
        let falling = ends[1] < ends[0];
        let (low, high) = inverse.junction_range()?;
        let at = |u: f64| if falling { f64::from(high) - u } else { f64::from(low) + u };
        let zero = inverse.junction_emf(at(0.0))?;
        let steps = |u: f64| inverse.junction_emf(at(u)).map_or(0.0, |e| (e - zero) * self.steps_per_volt);
        let span = f64::from(high - low);
        let samples: Vec<f64> =
            (0..=SAMPLED).map(|k| steps(span * f64::from(k) / f64::from(SAMPLED))).collect();
        let steepest =
            samples.windows(2).map(|w| (w[1] - w[0]) * f64::from(SAMPLED) / span).fold(0.0, f64::max);
        let (lowest, highest) = samples.iter().fold((0.0f64, 0.0f64), |(a, b), s| (a.min(*s), b.max(*s)));
        // Where the function falls at first (type B), the curve stands higher still.
        let lift_of = |guard: u32| 2.0 - lowest / f64::from(1u32 << guard);
        let ways: Vec<(i32, u32)> = match width {
            // As far to the left as 16 bits allow, lifted too; then as little guard as the slope allows.
            Width::Narrow => {
                let shift = (-8i32..=12).rev().find(|s| {
                    libm::floor(span * libm::pow(2.0, f64::from(*s))) <= f64::from(65535u32 >> lift)
                })?;
                let factor = libm::pow(2.0, f64::from(shift));
                let guard = (0..=12).find(|g| {
                    let scale = f64::from(1u32 << g);
                    steepest / factor / scale < STEEPEST && (highest - lowest) / scale < 65_000.0
                })?;
                vec![(shift, guard)]
            }
            // As far as the slope asks; where the function bends sharply, so far that every input may be a knot.
            Width::Wide => {
                let least = (0..=12).find(|s| steepest / f64::from(1u32 << s) < STEEPEST)?;
                vec![(least, 0), (least.max(8), 0)]
            }
        };
        for (shift, guard) in ways {
            let factor = libm::pow(2.0, f64::from(shift));
            let scale = f64::from(1u32 << guard);
            let top = libm::floor(span * factor);
            if top > f64::from(width.top()) {
                continue;
            }
            // A cut input stands for several: the middle of them is meant.
            let middle = if shift < 0 { 0.5 } else { 0.0 };
            let target = |u: f64| steps(((u + middle) / factor).min(span)) / scale + lift_of(guard);
            let maker = Maker { form, width, lift, top: top as u32, target: &target };
            let error = (error / scale).max(LEAST_JUNCTION_ERROR);
            let made = if refined { maker.within(error) } else { maker.greedy(error) };
            if let Some((curve, _)) = made {
                let below = lift_of(guard) * scale / self.steps_per_volt;
                return Some((
                    JunctionCurve { range: (low, high), falling, shift, guard, curve },
                    zero - below,
                ));
            }
        }
        None
    }
}

/// Steps of a curve's output that cutting off and rounding take in any case, and half as much again.
const LEAST_JUNCTION_ERROR: f64 = 1.5;
/// Most steps of the sum between the ends of the range: 24 bits.
const MOST_STEPS: f64 = 16_770_000.0;

/// Inputs looked at while forms are tried; the program that is chosen is walked whole.
const SAMPLED_INPUTS: u32 = 1 << 16;

impl IntegerProgram {
    /// Whether no input of either curve leaves its register, and none comes out above the highest result.
    ///
    /// `most`: about so many inputs are looked at, the ends of all segments among them; `u32::MAX` for all.
    pub fn sound(&self, most: u32) -> bool {
        let register = if self.curve.width == Width::Narrow { 65535 } else { i32::MAX as u32 };
        // The width of the result was chosen from the highest: nothing between may lie above it.
        let told = ((u64::from(self.highest) + 1) << self.guard) - 1;
        let told = register.min(told.min(u64::from(u32::MAX)) as u32);
        let whole = |curve: &Curve, top: u32, limit: u32| {
            let stride = (top / most).max(1);
            curve.highest(top).is_some_and(|y| y <= limit)
                && (0..=top / stride / PIECE).into_par_iter().all(|piece| {
                    let mut row = 0;
                    let inputs = piece * PIECE..=(piece * PIECE + (PIECE - 1)).min(top / stride);
                    inputs
                        .into_iter()
                        .all(|k| curve.at_next(&mut row, k * stride).is_some_and(|y| y <= limit))
                })
        };
        whole(&self.curve, self.input(self.top), told)
            && self
                .junction
                .as_ref()
                .is_none_or(|j| j.top() <= j.curve.width.top() && whole(&j.curve, j.top(), register))
    }
}

/// Inputs of a curve that one thread looks at in turn.
pub(crate) const PIECE: u32 = 4096;

/// Bits below the unit: as many as keep the slope below one and the output in its register.
fn guard(steps: &dyn Fn(f64) -> f64, top: u32, width: Width) -> Option<u32> {
    const SAMPLED: u32 = 512;
    let limit = if width == Width::Narrow { 65_000.0 } else { 1e9 };
    // Steep over a short way, not over a whole stride: some functions begin nearly upright.
    let short = (f64::from(top) / 65536.0).max(1.0);
    let stride = (f64::from(top) - short) / f64::from(SAMPLED);
    let steepest = (0..=SAMPLED)
        .map(|k| (steps(stride * f64::from(k) + short) - steps(stride * f64::from(k))) / short)
        .fold(0.0, f64::max);
    let highest = steps(f64::from(top)) + 1.0;
    (0..=12u32).rev().find(|g| {
        let scale = f64::from(1u32 << g);
        steepest * scale < STEEPEST && (highest + 1.0) * scale < limit
    })
}
