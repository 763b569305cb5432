//! The bench sheet: what a board that was just soldered should show, and how far off it may be.
//!
//! **Why it matters.** A test point that is off by a tenth may be healthy (its resistors are) or dead (it is a reference).
//! Only the spread of boards tells, so every figure here has one: [`BAND`] and [`WIDE`] from simulated boards with the
//! voltmeter and the source drawn along, and the worst case.
//!
//! **In, out.** A [`Model`] and a [`Setup`] in; voltages of test points with the terminals shorted, at a normal input and
//! open, and for each test temperature the millivolts to set and the reading to expect out.
//!
//! **Copper or wire.** With copper from source to terminals the thermocouple's metals begin at the board: set
//! `E(T) − E(board)`. With wire of the thermocouple's own kind they begin at the source: set `E(T) − E(source)`.
//!
//! **Fresh.** Ageing and drift are left out: the board is new. Without a calibration the bands are those of any board of the
//! design as built; with one, those of this board with its constants, as far as its readings told it.

mod bands;
pub mod divider;
mod hints;
mod rig;
mod setup;

use icepoint_chain::chain::{Chain, ConverterKind};
use icepoint_chain::{Model, ModelError};

pub use hints::{Hint, WrongDecade};
pub use setup::{LEAST_BOARDS, Meter, Setup, temperatures};

use rig::Rig;

/// Share of healthy boards inside the narrower band.
pub const BAND: f64 = 0.95;
/// Share of healthy boards inside the wider band: outside of it something is wrong.
pub const WIDE: f64 = 0.999;

/// Unit of a code in the table.
const CODES: &str = "code";
/// What a code is, in the table.
const CODE_OF: &str = "what the converter gives";

/// A figure to expect, with its bands; V, °C or codes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Expected {
    /// With every deviation at its mean.
    pub nominal: f64,
    /// 95 % of healthy boards, probabilistically symmetric (JCGM 101, 7.7).
    pub band: (f64, f64),
    /// 99.9 % of them.
    pub wide: (f64, f64),
    /// Extremes: every deviation at the end of its range that hurts.
    pub worst: (f64, f64),
}

impl Expected {
    /// Whether a measured value is one that 999 of 1000 healthy boards would show.
    pub fn healthy(&self, measured: f64) -> bool {
        self.wide.0 <= measured && measured <= self.wide.1
    }
}

/// A test point in the three conditions.
#[derive(Clone, Debug, PartialEq)]
pub struct PointExpected {
    /// `TP1`.
    pub label: String,
    /// What is seen there.
    pub what: String,
    /// Terminals shorted, V.
    pub shorted: Expected,
    /// At [`BenchSheet::normal_celsius`] with copper leads, V.
    pub normal: Expected,
    /// Terminals open, V; absent when the circuit has no operating point then.
    pub open: Option<Expected>,
    /// By how much the voltmeter's own resistance moves it; included in the figures.
    pub loading: Loading,
}

/// What a voltmeter's resistance does to a test point, V.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Loading {
    /// Terminals shorted.
    pub shorted: f64,
    /// At [`BenchSheet::normal_celsius`].
    pub normal: f64,
    /// Terminals open: a high resistance that tells a broken sensor may well be as high as the meter's.
    pub open: Option<f64>,
}

/// A test temperature.
#[derive(Clone, Debug, PartialEq)]
pub struct Injection {
    /// °C.
    pub celsius: f64,
    /// To set with copper leads, V.
    pub copper_volts: f64,
    /// To set with thermocouple wire, V.
    pub wire_volts: f64,
    /// What the board reads with copper leads, °C.
    pub copper: Expected,
    /// What it reads with wire, °C.
    pub wire: Expected,
    /// Voltage at the converter with copper leads as the voltmeter of the bench shows it, V; as the board's own does,
    /// where it ends in one.
    pub output: Expected,
    /// What the converter gives, its own errors and its reference's included; absent where the board ends in a
    /// voltmeter.
    pub code: Option<Expected>,
    /// What each kelvin adds by which the terminals are warmer than they were taken to be, copper leads, K/K.
    pub per_kelvin: f64,
    /// Limits that are exceeded there, in words.
    pub limits: Vec<String>,
}

/// The sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct BenchSheet {
    /// What was asked.
    pub setup: Setup,
    /// Test points in signal order.
    pub points: Vec<PointExpected>,
    /// Temperature at which [`PointExpected::normal`] stands, °C.
    pub normal_celsius: f64,
    /// Reading with the terminals shorted, °C.
    pub shorted: Expected,
    /// Output voltage with the terminals shorted, as [`Injection::output`], V.
    pub shorted_output: Expected,
    /// Code then, as [`Injection::code`].
    pub shorted_code: Option<Expected>,
    /// Reading with nothing at the terminals, °C.
    pub open: Option<Expected>,
    /// Output voltage then, V.
    pub open_output: Option<Expected>,
    /// Code then.
    pub open_code: Option<Expected>,
    /// Test temperatures, rising.
    pub injections: Vec<Injection>,
    /// What a reading outside its band hints at.
    pub hints: Vec<Hint>,
    /// Resistors of the wrong decade and the test points that show them.
    pub wrong_decades: Vec<WrongDecade>,
    /// Boards simulated.
    pub boards: u32,
    /// Whether the figures are those of one calibrated board.
    pub calibrated: bool,
}

impl BenchSheet {
    /// Computes the sheet.
    ///
    /// # Errors
    /// [`ModelError`] when a board that was drawn can't be solved.
    pub fn new(model: &Model, setup: &Setup) -> Result<Self, ModelError> {
        let chain = model.chain();
        let rig = Rig::new(model, setup)?;
        let closed = rig.closed()?;
        let open = rig.open();
        let test_points = &rig.source_chain().front_end.test_points;
        let (n, k) = (test_points.len(), setup.at.len());
        let at = |index: usize| closed.get(index).copied().unwrap_or(bands::NOTHING);
        let open_at = |index: usize| open.as_ref().and_then(|o| o.get(index).copied());
        let codes = matches!(chain.converter.kind, ConverterKind::Adc { .. });
        let [shorted_output, shorted_code, shorted] = rig.shorted_places().map(at);
        let [open_output, open_code, open_reading] = rig.open_places().map(open_at);
        let points = test_points
            .iter()
            .enumerate()
            .map(|(i, t)| PointExpected {
                label: t.label.clone(),
                what: t.what.clone(),
                shorted: at(i),
                normal: at(n + i),
                open: open_at(i),
                loading: Loading {
                    shorted: rig.loading(None, i),
                    normal: rig.loading(Some(rig.normal()), i),
                    open: rig.open_loading(i),
                },
            })
            .collect();
        let injections = (0..k)
            .map(|j| {
                let [output, code, copper, wire] = rig.injection_places(j).map(at);
                Ok(Injection {
                    celsius: setup.at[j],
                    copper_volts: rig.copper_set(j),
                    wire_volts: rig.wire_set(j),
                    output,
                    code: codes.then_some(code),
                    copper,
                    wire,
                    per_kelvin: rig.per_kelvin(j)?,
                    limits: rig.limits(j)?,
                })
            })
            .collect::<Result<Vec<_>, ModelError>>()?;
        let mut sheet = Self {
            points,
            normal_celsius: rig.normal_celsius(),
            shorted_output,
            shorted_code: codes.then_some(shorted_code),
            shorted,
            open_output,
            open_code: open_code.filter(|_| codes),
            open: open_reading,
            injections,
            hints: Vec::new(),
            wrong_decades: Vec::new(),
            boards: setup.boards,
            calibrated: model.findings().is_some() || chain.correction.is_some(),
            setup: setup.clone(),
        };
        sheet.hints = hints::readings(&rig, &sheet)?;
        sheet.wrong_decades = hints::wrong_decades(&rig, &sheet);
        Ok(sheet)
    }

    /// Everything to measure as a table for a spreadsheet: RFC 4180, UTF-8, a column left empty for what was measured.
    pub fn csv(&self, chain: &Chain) -> String {
        let mut rows = vec![
            "condition,item,what,set_millivolts,unit,expected,low_95,high_95,low_999,high_999,lowest,highest,measured"
                .to_owned(),
        ];
        let mut row =
            |condition: &str, item: &str, what: &str, set: Option<f64>, unit: &str, e: &Expected| {
                // Millivolts to a tenth of a microvolt, volts to a microvolt, degrees to a millikelvin, codes to a tenth.
                let digits = match unit {
                    "V" => 6,
                    CODES => 1,
                    _ => 3,
                };
                let figure = |x: f64| format!("{:.*}", digits, x + 0.0);
                let numbers: Vec<String> =
                    [e.nominal, e.band.0, e.band.1, e.wide.0, e.wide.1, e.worst.0, e.worst.1]
                        .map(figure)
                        .to_vec();
                let set = set.map_or(String::new(), |v| format!("{:.4}", 1e3 * v + 0.0));
                rows.push(format!(
                    "{},{},{},{set},{unit},{},",
                    quoted(condition),
                    quoted(item),
                    quoted(what),
                    numbers.join(",")
                ));
            };
        for point in &self.points {
            row("terminals shorted", &point.label, &point.what, Some(0.0), "V", &point.shorted);
        }
        row("terminals shorted", "output", "voltage at the converter", Some(0.0), "V", &self.shorted_output);
        if let Some(code) = &self.shorted_code {
            row("terminals shorted", "code", CODE_OF, Some(0.0), CODES, code);
        }
        row("terminals shorted", "reading", "temperature read", Some(0.0), "°C", &self.shorted);
        let normal = format!("{} °C with copper leads", self.normal_celsius);
        let set = self.injections.iter().find(|i| i.celsius == self.normal_celsius).map(|i| i.copper_volts);
        for point in &self.points {
            row(&normal, &point.label, &point.what, set, "V", &point.normal);
        }
        for i in &self.injections {
            let copper = format!("{} °C with copper leads", i.celsius);
            row(&copper, "output", "voltage at the converter", Some(i.copper_volts), "V", &i.output);
            if let Some(code) = &i.code {
                row(&copper, "code", CODE_OF, Some(i.copper_volts), CODES, code);
            }
            row(&copper, "reading", "temperature read", Some(i.copper_volts), "°C", &i.copper);
            let wire = format!("{} °C with type {} wire", i.celsius, chain.probe.letter.name());
            row(&wire, "reading", "temperature read", Some(i.wire_volts), "°C", &i.wire);
        }
        for point in &self.points {
            if let Some(open) = &point.open {
                row("terminals open", &point.label, &point.what, None, "V", open);
            }
        }
        if let (Some(output), Some(open)) = (&self.open_output, &self.open) {
            row("terminals open", "output", "voltage at the converter", None, "V", output);
            if let Some(code) = &self.open_code {
                row("terminals open", "code", CODE_OF, None, CODES, code);
            }
            row("terminals open", "reading", "temperature read", None, "°C", open);
        }
        rows.iter().map(|r| format!("{r}\r\n")).collect()
    }
}

fn quoted(text: &str) -> String {
    if text.contains([',', '"', '\n', '\r']) {
        format!("\"{}\"", text.replace('"', "\"\""))
    } else {
        text.to_owned()
    }
}
