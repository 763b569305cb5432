//! `[converter]`, `[filter]` and `[readout]`: from the output voltage to the number that is read.

use super::given::{Given, Interval};
use super::keys::{
    CONVERTERS, ConverterWord, DIGITAL, DigitalWord, RESPONSES, RULES, ResponseWord, RuleWord,
};
use super::walk::Reader;
use crate::low_pass::{Form, LowPass, Response};
use crate::quantity::Toleranced;

/// `[converter]`.
#[derive(Debug, Clone, PartialEq)]
pub struct Converter {
    /// Analog-to-digital converter or voltmeter, with its figures.
    pub kind: ConverterKind,
    /// Voltages that it can read, V; when absent, 0 V to the reference (adc) or no limit (voltmeter).
    pub span: Option<Given<Interval>>,
    /// Input resistance, Ω.
    pub input_resistance: Given<f64>,
}

/// The figures that only one kind has.
#[derive(Debug, Clone, PartialEq)]
pub enum ConverterKind {
    /// An analog-to-digital converter.
    Adc(Box<Adc>),
    /// A voltmeter.
    Voltmeter(Voltmeter),
}

/// An analog-to-digital converter. What the file states in LSB is here in V.
#[derive(Debug, Clone, PartialEq)]
pub struct Adc {
    /// Resolution, bits.
    pub bits: Given<u32>,
    /// Reference voltage, V.
    pub reference: Given<Toleranced>,
    /// Drift of the reference, 1/K.
    pub reference_drift: Given<f64>,
    /// Change of the reference with the supply, V/V.
    pub reference_supply_regulation: Given<f64>,
    /// Change of the reference with its load, V/A.
    pub reference_load_regulation: Given<f64>,
    /// One least significant bit, V at the input.
    pub lsb: f64,
    /// Offset, ± V.
    pub offset: Given<f64>,
    /// Gain error, ± ratio.
    pub gain_error: Given<f64>,
    /// Integral non-linearity, ± V.
    pub integral_nonlinearity: Given<f64>,
    /// Noise of one conversion, V rms.
    pub noise: Given<f64>,
    /// Programmable gain; the span is divided by it.
    pub gain: Given<f64>,
    /// Current into each input, ± A.
    pub input_current: Given<f64>,
    /// Difference of the two, ± A.
    pub input_current_difference: Given<f64>,
    /// Common-mode rejection, V/V; ideal when absent.
    pub cmrr: Option<Given<f64>>,
    /// Lowest input above the negative rail, V; no limit when absent.
    pub input_low: Option<Given<f64>>,
    /// Highest input below the positive rail, V; no limit when absent.
    pub input_high: Option<Given<f64>>,
}

/// A voltmeter: ±(`reading_error`·|reading| + `range_error`).
#[derive(Debug, Clone, PartialEq)]
pub struct Voltmeter {
    /// Share of the reading.
    pub reading_error: Given<f64>,
    /// Fixed part, V.
    pub range_error: Given<f64>,
    /// One count of the display, V.
    pub resolution: Given<f64>,
}

/// `[filter]`.
#[derive(Debug, Clone, PartialEq)]
pub struct Filter {
    /// `[filter.analog]`: an active low-pass in the front end.
    pub analog: Option<AnalogFilter>,
    /// What is done with the samples.
    pub digital: DigitalFilter,
    /// Samples per second, Hz; absent only when nothing is done with the samples.
    pub sample_rate: Option<Given<f64>>,
}

/// What is done with the samples.
#[derive(Debug, Clone, PartialEq)]
pub enum DigitalFilter {
    /// Nothing.
    None,
    /// The mean over whole mains periods.
    Mean {
        /// Number of mains periods.
        over_periods: Given<u32>,
    },
    /// The filter of a converter that decimates.
    Sinc {
        /// Means in a row.
        order: Given<u32>,
        /// Readings per second, Hz.
        output_rate: Given<f64>,
    },
    /// A first-order low-pass.
    FirstOrder {
        /// Time constant, s.
        time_constant: Given<f64>,
    },
}

/// `[readout]`: the rule that turns a voltage into a temperature.
#[derive(Debug, Clone, PartialEq)]
pub enum Readout {
    /// t = (v − offset) / slope.
    Line {
        /// V/K.
        slope: Given<f64>,
        /// V at 0 °C.
        offset: Given<f64>,
    },
    /// The exact inverse of the reference function.
    EmfInverse,
    /// Straight pieces between points of the inverse.
    Table {
        /// Number of pieces.
        segments: Given<u32>,
    },
    /// The approximate inverse polynomials of the published tables.
    PublishedPolynomial,
}

impl Converter {
    pub(super) fn read(mut r: Reader<'_, '_>) -> Option<Self> {
        let word = r.choice("kind", CONVERTERS);
        let span = r.interval("span");
        let input_resistance = r.quantity("input_resistance");
        let mut kind = None;
        match word.as_ref().map(|word| word.value) {
            Some(ConverterWord::Adc) => {
                kind = Adc::read(&mut r, span.as_ref()).map(|adc| ConverterKind::Adc(Box::new(adc)));
                r.finish(&[]);
            }
            Some(ConverterWord::Voltmeter) => {
                kind = Voltmeter::read(&mut r).map(ConverterKind::Voltmeter);
                if !r.has("span") {
                    r.require("span", ", which kind = \"voltmeter\" needs");
                }
                r.finish(&[]);
            }
            None => r.abandon(),
        }
        Some(Self { kind: kind?, span, input_resistance: input_resistance? })
    }
}

/// Above this resolution the defaults in LSB, which are those of a microcontroller, would flatter.
const BITS_WITH_DEFAULTS: u32 = 16;

impl Adc {
    fn read(r: &mut Reader<'_, '_>, span: Option<&Given<Interval>>) -> Option<Self> {
        let bits = r.small_integer("bits");
        let reference = r.toleranced("reference");
        let reference_drift = r.quantity("reference_drift");
        let reference_supply_regulation = r.quantity("reference_supply_regulation");
        let reference_load_regulation = r.quantity("reference_load_regulation");
        let width = match (span, &reference) {
            (Some(span), _) => span.width(),
            (None, Some(reference)) => reference.value.value,
            (None, None) => f64::NAN,
        };
        let gain = r.number("gain");
        let before = gain.as_ref().map_or(f64::NAN, |gain| gain.value);
        let lsb =
            bits.as_ref().map_or(f64::NAN, |bits| width / before / (1_u64 << bits.value.min(63)) as f64);
        if bits.as_ref().is_some_and(|bits| bits.value > BITS_WITH_DEFAULTS) {
            for name in ["offset", "gain_error", "integral_nonlinearity", "noise"] {
                if !r.has(name) {
                    r.require(name, ", and its default is for 16 bits or fewer");
                }
            }
        }
        let mut error =
            |name: &str| r.get(name, |walk, key, name, value, _| walk.volt_or_lsb(key, name, value, lsb));
        let offset = error("offset");
        let integral_nonlinearity = error("integral_nonlinearity");
        let noise = error("noise");
        let gain_error = r.quantity("gain_error");
        let input_current = r.quantity("input_current");
        let input_current_difference = r.quantity("input_current_difference");
        let cmrr = r.quantity("cmrr");
        let input_low = r.quantity("input_low");
        let input_high = r.quantity("input_high");
        Some(Self {
            bits: bits?,
            reference: reference?,
            reference_drift: reference_drift?,
            reference_supply_regulation: reference_supply_regulation?,
            reference_load_regulation: reference_load_regulation?,
            lsb,
            offset: offset?,
            gain_error: gain_error?,
            integral_nonlinearity: integral_nonlinearity?,
            noise: noise?,
            gain: gain?,
            input_current: input_current?,
            input_current_difference: input_current_difference?,
            cmrr,
            input_low,
            input_high,
        })
    }
}

impl Voltmeter {
    fn read(r: &mut Reader<'_, '_>) -> Option<Self> {
        let reading_error = r.quantity("reading_error");
        let range_error = r.quantity("range_error");
        let resolution = r.quantity("resolution");
        Some(Self { reading_error: reading_error?, range_error: range_error?, resolution: resolution? })
    }
}

impl Filter {
    pub(super) fn read(mut r: Reader<'_, '_>) -> Option<Self> {
        let word = r.choice("digital", DIGITAL);
        let (mut digital, mut sample_rate) = (None, None);
        match word.map(|word| word.value) {
            Some(DigitalWord::None) => {
                digital = Some(DigitalFilter::None);
                r.finish(&["analog"]);
            }
            Some(DigitalWord::Mean) => {
                digital =
                    r.small_integer("over_periods").map(|over_periods| DigitalFilter::Mean { over_periods });
                sample_rate = r.quantity("sample_rate");
                r.finish(&["analog"]);
            }
            Some(DigitalWord::Sinc) => {
                let order = r.small_integer("order");
                let output_rate = r.quantity("output_rate");
                digital = order
                    .zip(output_rate)
                    .map(|(order, output_rate)| DigitalFilter::Sinc { order, output_rate });
                sample_rate = r.quantity("sample_rate");
                r.finish(&["analog"]);
            }
            Some(DigitalWord::FirstOrder) => {
                digital = r
                    .quantity("time_constant")
                    .map(|time_constant| DigitalFilter::FirstOrder { time_constant });
                sample_rate = r.quantity("sample_rate");
                r.finish(&["analog"]);
            }
            None => r.abandon(),
        }
        Some(Self { analog: None, digital: digital?, sample_rate })
    }
}

/// `[filter.analog]`.
#[derive(Debug, Clone, PartialEq)]
pub struct AnalogFilter {
    /// Number of poles.
    pub poles: Given<u32>,
    /// Circuit of its stages.
    pub form: Given<Form>,
    /// Where its poles are.
    pub response: Given<Response>,
    /// Corner, Hz; `None` when design chooses it.
    pub corner: Given<Option<f64>>,
    /// NAME of the record of its amplifiers, if it names one.
    pub amplifier: Option<Given<String>>,
}

/// A ripple in dB; the ends of its range are themselves possible.
fn decibels(ratio: f64) -> f64 {
    let (low, high) = crate::low_pass::RIPPLE;
    (20.0 * libm::log10(ratio)).clamp(low, high)
}

impl AnalogFilter {
    pub(super) fn read(mut r: Reader<'_, '_>) -> Option<Self> {
        let poles = r.small_integer("poles");
        let form = r.choice("form", Form::SPELLINGS);
        let corner = r.get("corner", |walk, key, name, value, _| walk.open(key, name, value));
        let amplifier = r.text("amplifier");
        let word = r.choice("response", RESPONSES);
        let response = match word.as_ref().map(|word| word.value) {
            Some(ResponseWord::Bessel) => Some(Response::Bessel),
            Some(ResponseWord::Butterworth) => Some(Response::Butterworth),
            Some(ResponseWord::CriticallyDamped) => Some(Response::CriticallyDamped),
            Some(ResponseWord::Chebyshev) => {
                r.quantity("ripple").map(|ripple| Response::Chebyshev { ripple: decibels(ripple.value) })
            }
            None => {
                r.abandon();
                return None;
            }
        };
        r.finish(&[]);
        Some(Self {
            poles: poles?,
            form: form?,
            response: word.zip(response).map(|(word, response)| word.map(|_| response))?,
            corner: corner?,
            amplifier,
        })
    }

    /// As the model knows it.
    pub fn plan(&self) -> LowPass {
        LowPass {
            poles: self.poles.value,
            form: self.form.value,
            response: self.response.value,
            corner: self.corner.value,
        }
    }
}

impl Readout {
    pub(super) fn read(mut r: Reader<'_, '_>) -> Option<Given<Self>> {
        let rule = r.choice("rule", RULES);
        let mut readout = None;
        match rule.as_ref().map(|rule| rule.value) {
            Some(RuleWord::Line) => {
                let slope = r.quantity("slope");
                let offset = r.quantity("offset");
                if let (Some(slope), Some(offset)) = (slope, offset) {
                    readout = Some(Self::Line { slope, offset });
                }
                r.finish(&[]);
            }
            Some(RuleWord::Table) => {
                readout = r.small_integer("segments").map(|segments| Self::Table { segments });
                r.finish(&[]);
            }
            Some(RuleWord::EmfInverse) => {
                readout = Some(Self::EmfInverse);
                r.finish(&[]);
            }
            Some(RuleWord::PublishedPolynomial) => {
                readout = Some(Self::PublishedPolynomial);
                r.finish(&[]);
            }
            None => r.abandon(),
        }
        let readout = readout?;
        rule.map(|rule| rule.map(|_| readout))
    }
}
