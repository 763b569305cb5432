//! The whole of one chain's firmware: the request, the choice, the bounds, the files.

use icepoint_chain::chain::Correction;
use icepoint_chain::{Chain, quantity};

use crate::calibration::{Constants, Formula, Reach};
use crate::choice::{self, Candidate, Effort, Smallest};
use crate::curve::Form;
use crate::filter::{self, FilterProgram};
use crate::float::{FloatProgram, FloatVariant, Kind};
use crate::integer::IntegerProgram;
use crate::inverse::{Inverse, JunctionInput};
use crate::refusal::Refusal;
use crate::states::{OpenCodes, State, Thresholds};
use crate::unit::Unit;
use crate::walk::{self, Conversion, Walk};
use crate::{c_source, filter_source, float_source, identifier, page, rust_source, vectors};

/// Reference-junction inputs at which every code of converters up to 16 bit is walked.
pub const JUNCTIONS: u32 = 9;
/// The same for converters above 16 bit, whose codes are 256 times as many.
const JUNCTIONS_OF_FINE: u32 = 3;

/// Reference-junction inputs at which every code is walked.
fn junction_count(inverse: &Inverse) -> u32 {
    if inverse.aligned_bits() == 16 { JUNCTIONS } else { JUNCTIONS_OF_FINE }
}

/// Error wanted if none is named, in codes of the converter, between 0.02 K and 0.1 K: of a converter whose codes are
/// worth more than 0.08 K that is small beside its quantisation of half a code.
const USUAL_SHARE: f64 = 0.25;

/// What is wanted.
#[derive(Clone, Debug, PartialEq)]
pub struct Request {
    /// Prefix of all names; the chain's name if not given.
    pub name: Option<String>,
    /// Largest error beyond the converter's own quantisation, K; chosen from one code if not given.
    pub error: Option<f64>,
    /// Unit of the result; chosen from the error if not given.
    pub unit: Option<Unit>,
    /// What is to be small.
    pub smallest: Smallest,
    /// The form to take; the smallest if not given.
    pub form: Option<Form>,
    /// How much is tried.
    pub effort: Effort,
    /// Float code beside the whole numbers.
    pub float: bool,
    /// Fingerprint of the chain file.
    pub fingerprint: String,
}

impl Default for Request {
    fn default() -> Self {
        Self {
            name: None,
            error: None,
            unit: None,
            smallest: Smallest::Bytes,
            form: None,
            effort: Effort { all: true },
            float: false,
            fingerprint: "none".to_owned(),
        }
    }
}

/// What the generated files say of themselves.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Facts {
    /// Prefix of every name.
    pub prefix: String,
    /// The chain's name.
    pub title: String,
    /// Version of the generator.
    pub version: &'static str,
    /// Fingerprint of the chain.
    pub fingerprint: String,
    /// Range, unit, bounds: lines of the banner, ASCII.
    pub summary: Vec<String>,
    /// What a state means here, where that is not its usual meaning.
    pub meanings: Vec<(State, String)>,
}

impl Facts {
    /// What a state means in this chain.
    pub fn meaning(&self, state: State) -> &str {
        self.meanings.iter().find(|(s, _)| *s == state).map_or(state.meaning(), |(_, text)| text)
    }
}

/// One chain's firmware.
#[derive(Debug)]
pub struct Firmware {
    /// The exact inverse that it is measured against.
    pub inverse: Inverse,
    /// Error that was wanted, K.
    pub error: f64,
    /// The program.
    pub program: IntegerProgram,
    /// The same chain in floating point: fitted, and with the published polynomials where the type has them.
    pub floats: Vec<FloatVariant>,
    /// Whether the fitted one is a file, too.
    pub float_file: bool,
    /// The digital filter that the budget assumed.
    pub filter: Option<FilterProgram>,
    /// Every form that was tried.
    pub candidates: Vec<Candidate>,
    /// What was to be small.
    pub smallest: Smallest,
    /// Every aligned input at each of [`Firmware::junctions`].
    pub walk: Walk,
    /// Bound of the error at every pair of code and junction input, K.
    pub everywhere: f64,
    /// One code of the converter where the thermocouple is least and most sensitive, K.
    pub code_kelvin: (f64, f64),
    /// Codes that tell a broken sensor while a pulsed detection current flows.
    pub open_in_pulse: Option<OpenCodes>,
    /// Whether every broken sensor is at the end of the converter's codes in a reading.
    pub open_saturates: bool,
    /// What the files say.
    pub facts: Facts,
}

/// One file of the folder.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct File {
    /// Name without folder.
    pub name: String,
    /// Contents.
    pub contents: String,
}

/// Makes the firmware of a chain.
///
/// # Errors
/// [`Refusal`] for requests that can't be met, each with a way out.
pub fn firmware(chain: &Chain, request: &Request) -> Result<Firmware, Refusal> {
    let prefix = identifier::prefix(request.name.as_deref().unwrap_or(&chain.name))?;
    if let Some(error) = request.error
        && !(error > 0.0 && error.is_finite())
    {
        return Err(Refusal::new(
            "firmware.error_not_positive",
            format!("an error of {error} K is no limit"),
            "--error \"0.1 K\"",
        ));
    }
    let inverse = Inverse::new(chain)?;
    let (low, high) = chain.need.hot;
    if let Some(error) = request.error
        && error >= 0.1 * (high - low)
    {
        return Err(Refusal::new(
            "firmware.error_coarse",
            format!("an error of {error} K is more than a tenth of the range from {low} °C to {high} °C"),
            "--error \"0.1 K\"",
        ));
    }
    let code_kelvin = code_kelvin(&inverse);
    let error = request.error.unwrap_or_else(|| usual_error(code_kelvin.0));
    let unit = match request.unit {
        Some(unit) => unit,
        None => usual_unit(error),
    };
    let span = inverse.hot.1.abs().max(inverse.hot.0.abs()) * f64::from(unit.per_kelvin());
    if span > 2e9 {
        return Err(Refusal::new(
            "firmware.unit_overflows",
            format!("{} °C in steps of {unit} overflows a result of 32 bits", inverse.hot.1),
            "--unit \"0.01 K\"",
        ));
    }
    let filter = FilterProgram::new(chain, inverse.aligned_bits())?;
    let thresholds = Thresholds::new(&inverse)?;
    let open_in_pulse = Thresholds::in_pulse(&inverse)?;
    let open_saturates = thresholds.open_saturates(&inverse)?;
    let all = choice::FORMS;
    let forms = request.form.as_ref().map_or(all.as_slice(), core::slice::from_ref);
    // Forms are compared at fewer junction inputs than the bound is stated for: where the bound comes out above the
    // error wanted, aim lower.
    let exact = choice::compared(&inverse);
    let mut aim = error;
    let mut found = None;
    for _ in 0..AIMS {
        let candidates =
            match choice::candidates(&inverse, &exact, thresholds, unit, aim, forms, request.effort) {
                Ok(candidates) => candidates,
                Err(refusal) if aim == error => return Err(refusal),
                Err(_) => break,
            };
        let program = choice::best(&candidates, request.smallest).and_then(|c| c.program.clone());
        let Some(program) = program.filter(|p| p.sound(u32::MAX)) else { break };
        let everywhere = walk::everywhere(&program, &inverse);
        if everywhere <= error {
            found = Some((candidates, program, everywhere));
            break;
        }
        aim *= 0.99 * error / everywhere;
    }
    let Some((candidates, program, everywhere)) = found else {
        return Err(choice::out_of_reach(error, unit));
    };
    let grid = walk::junction_grid(program.junction_range(), junction_count(&inverse));
    let walk = walk::walk(&program, &inverse, 1, &grid);
    let fitted = FloatProgram::fitted(&inverse, thresholds, error);
    if let (true, Err(reason)) = (request.float, &fitted) {
        return Err(Refusal::new(
            "firmware.float_out_of_reach",
            format!("no polynomials in float keep within {error} K for this chain: {reason}"),
            "a larger --error, or the whole numbers alone (no --float)",
        ));
    }
    let floats = [fitted.ok(), FloatProgram::published(&inverse, thresholds)];
    let floats: Vec<FloatVariant> = floats.into_iter().flatten().collect();
    let mut firmware = Firmware {
        facts: Facts {
            prefix,
            title: chain.name.clone(),
            version: env!("CARGO_PKG_VERSION"),
            fingerprint: request.fingerprint.clone(),
            summary: Vec::new(),
            meanings: meanings(&inverse, &thresholds, open_in_pulse, open_saturates),
        },
        inverse,
        error,
        program,
        floats,
        float_file: request.float,
        filter,
        candidates,
        smallest: request.smallest,
        walk,
        everywhere,
        code_kelvin,
        open_in_pulse,
        open_saturates,
    };
    firmware.facts.summary = firmware.summary();
    Ok(firmware)
}

/// Times that the bound is compared with the error wanted.
const AIMS: u32 = 5;

/// Significant digits of what one code is worth.
const CODE_DIGITS: usize = 3;

/// One code where it is worth least and most, K.
fn code_kelvin(inverse: &Inverse) -> (f64, f64) {
    let step =
        inverse.thermocouple_volts(f64::from(1u32 << inverse.alignment())) - inverse.thermocouple_volts(0.0);
    let (low, high) = (inverse.emf(inverse.hot.0), inverse.emf(inverse.hot.1));
    (0..256).fold((f64::INFINITY, 0.0f64), |(least, most), k| {
        let e = low + (high - low) * f64::from(k) / 256.0;
        let width = 0.01 * (high - low) / 256.0;
        let kelvin = ((inverse.celsius(e + width) - inverse.celsius(e)) / width * step).abs();
        (least.min(kelvin), most.max(kelvin))
    })
}

/// 0.1 K, 0.05 K or 0.02 K: the largest that a quarter of the finest code reaches, and 0.02 K where none does.
fn usual_error(code: f64) -> f64 {
    let quarter = USUAL_SHARE * code;
    if quarter >= 0.1 {
        0.1
    } else if quarter >= 0.05 {
        0.05
    } else {
        0.02
    }
}

/// A usual unit whose rounding takes less than a third of the error.
fn usual_unit(error: f64) -> Unit {
    if error >= 0.09 { Unit::SIXTEENTH } else { Unit::HUNDREDTH }
}

fn meanings(
    inverse: &Inverse,
    thresholds: &Thresholds,
    in_pulse: Option<OpenCodes>,
    saturates: bool,
) -> Vec<(State, String)> {
    let mut list = Vec::new();
    let need = &inverse.chain().need;
    if !thresholds.tells_open() {
        let text = match in_pulse {
            Some(codes) => format!(
                "never in a reading, which is taken with the detection current off: a broken sensor is a code of {codes} at the end of a pulse"
            ),
            None if saturates => {
                "never: a broken sensor is at the end of the converter's codes, like something hotter than the range, and reads as converter_saturated".to_owned()
            }
            None => "never: this chain can't tell a broken sensor from a temperature".to_owned(),
        };
        list.push((State::SensorOpen, text));
    }
    match thresholds.reversed_below {
        None => {
            list.push((State::SensorReversed, "never: this chain can't tell a reversed sensor".to_owned()))
        }
        Some(_) if need.hot.0 > inverse.board.1 => {}
        Some(_) => list.push((
            State::SensorReversed,
            "below every code of the range: reversed, or colder than the range (a shorted one reads the board's temperature)"
                .to_owned(),
        )),
    }
    list
}

impl Firmware {
    /// The banner's lines.
    fn summary(&self) -> Vec<String> {
        let need = &self.inverse.chain().need;
        let p = &self.program;
        let hot = (p.lowest_celsius(), p.highest_celsius());
        let code = self.code_words();
        let mut lines = vec![
            format!(
                "Type {}, {} to {} degC asked, {:.1} to {:.1} degC told; {}-bit converter.",
                self.inverse.letter().name(),
                need.hot.0,
                need.hot.1,
                hot.0,
                hot.1,
                p.bits
            ),
            format!("Result: steps of {} from 0 degC.", p.unit),
        ];
        if p.junction.is_some() {
            lines.extend(self.junction_words());
        } else {
            lines.push("Reference junction: compensated in the circuit.".to_owned());
        }
        lines.push(format!(
            "Largest error against the exact inverse of the chain: {:.4} K, every code walked at {} reference-junction",
            self.walk.error,
            self.junctions().len()
        ));
        lines.push(format!("inputs; at most {:.4} K for any pair of them.", self.everywhere));
        lines.push(format!(
            "Beside it: one code is {} to {} K, and the parts' own errors (icepoint budget).",
            code.0, code.1
        ));
        lines
    }

    /// One code where it is worth least and most, as text in K: three significant digits, however fine it is.
    pub fn code_words(&self) -> (String, String) {
        let words = |kelvin: f64| quantity::format(kelvin, quantity::Unit::Count, CODE_DIGITS);
        (words(self.code_kelvin.0), words(self.code_kelvin.1))
    }

    /// Which temperatures of the reference junction are used; nothing where the circuit compensates.
    pub fn junction_words(&self) -> Vec<String> {
        let Some((low, high)) = self.inverse.junction_ends() else { return Vec::new() };
        // To a tenth, inwards: every temperature between has a number. Adding 0 takes the sign from a zero.
        let (cold, warm) =
            (libm::ceil(10.0 * low - 1e-6) / 10.0 + 0.0, libm::floor(10.0 * high + 1e-6) / 10.0 + 0.0);
        let mut lines = vec![format!("Reference junction: {cold:.1} to {warm:.1} degC, added as emf.")];
        let asked = self.inverse.chain().need.board;
        if low > asked.0 || high < asked.1 {
            let reason = match self.inverse.junction {
                JunctionInput::Divider(_) => "its code is too near to that of a broken or shorted one",
                _ => "its input has no number",
            };
            lines.push(format!(
                "CAUTION: the board is to be used from {} to {} degC; beyond the former {reason}.",
                asked.0, asked.1
            ));
        }
        lines
    }

    /// What the files of a float program say of themselves.
    pub fn float_facts(&self, variant: &FloatVariant) -> Facts {
        let suffix = match variant.program.kind {
            Kind::Fitted => "float",
            Kind::Published => "published",
        };
        let need = &self.inverse.chain().need;
        let code = self.code_words();
        let summary = vec![
            format!(
                "Type {}, {} to {} degC asked, {:.1} to {:.1} degC told; {}-bit converter.",
                self.inverse.letter().name(),
                need.hot.0,
                need.hot.1,
                self.inverse.hot.0,
                self.inverse.hot.1,
                self.program.bits
            ),
            "Result: degC in a float (IEEE 754 single).".to_owned(),
            format!(
                "Largest error against the exact inverse of the chain: {:.4} K, walked with correctly rounded float.",
                variant.walk.error
            ),
            "A float that rounds otherwise was measured where it was proved (icepoint firmware --prove)."
                .to_owned(),
            format!(
                "Beside it: one code is {} to {} K, and the parts' own errors (icepoint budget).",
                code.0, code.1
            ),
        ];
        Facts { prefix: format!("{}_{suffix}", self.facts.prefix), summary, ..self.facts.clone() }
    }

    /// Header and source of the fitted float program, if it was asked for.
    fn float_files(&self) -> Vec<File> {
        let fitted = self.floats.iter().find(|v| v.program.kind == Kind::Fitted);
        let Some(variant) = fitted.filter(|_| self.float_file) else { return Vec::new() };
        let facts = self.float_facts(variant);
        let file = |end: &str, contents| File { name: format!("{}.{end}", facts.prefix), contents };
        vec![
            file("h", float_source::header(&variant.program, &facts)),
            file("c", float_source::source(&variant.program, &facts)),
        ]
    }

    /// The files of the folder, without the proof.
    pub fn files(&self) -> Vec<File> {
        let p = &self.facts.prefix;
        let file = |name: String, contents| File { name, contents };
        let mut files = vec![
            file(format!("{p}.h"), self.c_header()),
            file(format!("{p}.c"), self.c_source()),
            file(format!("{p}.rs"), self.rust_module()),
            file(format!("{p}-vectors.csv"), vectors::csv(self)),
            file(format!("{p}-firmware.md"), page::page(self)),
        ];
        files.extend(self.float_files());
        files
    }

    /// The sampling schedule in words.
    pub fn schedule(&self) -> String {
        filter::schedule(self.inverse.chain(), self.filter)
    }

    /// The C header.
    pub fn c_header(&self) -> String {
        let p = &self.facts.prefix;
        let filter = self
            .filter
            .map(|f| filter_source::c_header(&self.program, f, p, &self.schedule()))
            .unwrap_or_default();
        c_source::header(&self.program, &self.facts, &filter)
    }

    /// The C source.
    pub fn c_source(&self) -> String {
        let filter = self.filter.map(|f| filter_source::c_source(&self.program, f, &self.facts.prefix));
        c_source::source(&self.program, &self.facts, &filter.unwrap_or_default())
    }

    /// The Rust module.
    pub fn rust_module(&self) -> String {
        let filter = self.filter.map(|f| filter_source::rust(&self.program, f, &self.schedule()));
        rust_source::module(&self.program, &self.facts) + &filter.unwrap_or_default()
    }

    /// The junction's inputs at which every code is walked.
    pub fn junctions(&self) -> Vec<i32> {
        walk::junction_grid(self.program.junction_range(), junction_count(&self.inverse))
    }

    /// How the constants come from a correction.
    pub fn formula(&self) -> Formula {
        let p = &self.program;
        let nominal = (f64::from(p.nominal.gain), f64::from(p.nominal.offset));
        Formula::new(&self.inverse, nominal, p.zero_steps, p.steps_per_volt)
    }

    /// The constants of one board, for a correction in the volts of the chain's own rule as `icepoint calibrate` finds
    /// it; it stands in the place of the one that the chain file may have. `None` if they don't fit their registers.
    pub fn constants(&self, found: Correction) -> Option<Constants> {
        let (gain, offset) = self.formula().constants(found);
        Constants::rounded(gain, offset)
    }

    /// How far constants in place may go.
    pub fn reach(&self) -> Reach {
        Reach::new(&self.inverse, &self.program.thresholds, 65535.0 / self.formula().gain)
    }
}

impl IntegerProgram {
    /// Lowest temperature that is told, °C.
    pub fn lowest_celsius(&self) -> f64 {
        let y = self.curve.at(0).unwrap_or(0);
        f64::from((y >> self.guard) as i32 + self.base) / f64::from(self.unit.per_kelvin())
    }

    /// Where the segments begin, °C.
    pub fn knots_celsius(&self) -> Vec<f64> {
        let fine = self.curve.width.fine();
        let y = |knot: u16| self.curve.at(u32::from(knot) << fine).unwrap_or(0);
        let told =
            |y: u32| f64::from((y >> self.guard) as i32 + self.base) / f64::from(self.unit.per_kelvin());
        self.curve.rows.iter().map(|row| told(y(row.knot))).collect()
    }

    /// Highest temperature that is told, °C.
    pub fn highest_celsius(&self) -> f64 {
        f64::from(self.highest as i32 + self.base) / f64::from(self.unit.per_kelvin())
    }
}
