//! The verbs `emf` and `temperature`: the same point of the curve, entered from either side.

use std::io::Write;

use clap::Args;
use icepoint_chain::quantity::{Unit, format};
use icepoint_sensors::tolerance::{self, ToleranceClass, ToleranceError};
use icepoint_sensors::{InverseError, Letter, OutOfRange};

use crate::Answer;
use crate::failure::{Failure, Problem, say};
use crate::point::{Point, heading, write_list, write_one};
use crate::values::{self, CELSIUS, Given, VOLTS, Values};

/// What both verbs take.
#[derive(Debug, Args)]
struct Common {
    /// Temperature of the reference junction (the terminals of the board); 0 °C if not given
    #[arg(long, value_name = "TEMPERATURE")]
    reference: Option<String>,
    /// Tolerance class: "IEC 60584-1 class 1", "class 2", "class 3", "ASTM E230 standard", "ASTM E230 special"
    #[arg(long, value_name = "CLASS", default_value = "IEC 60584-1 class 2")]
    tolerance: String,
    /// Unit of values that are bare numbers, such as mV in a column of a spreadsheet
    #[arg(long, value_name = "UNIT")]
    unit: Option<String>,
    /// JSON: one object, or one a line when the values are a list
    #[arg(long)]
    json: bool,
}

/// Arguments of `emf`.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  icepoint emf K 650 --reference 22
  icepoint emf N 20 550 1100 --tolerance \"IEC 60584-1 class 1\"
  icepoint emf T \"-80 °C\" \"1202 °F\" --json
  cut -f 2 -d , log.csv | icepoint emf K --reference 22 --json")]
pub struct EmfArguments {
    /// Type of the thermocouple: B, E, J, K, N, R, S, T, C or A
    #[arg(value_name = "TYPE")]
    letter: Letter,
    /// Temperatures of the measuring junction, bare numbers in °C; none or "-": a column on standard input
    #[arg(value_name = "TEMPERATURE")]
    temperatures: Vec<String>,
    #[command(flatten)]
    common: Common,
}

/// Arguments of `temperature`.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  icepoint temperature K \"12.345 mV\" --reference 22
  icepoint temperature S 5mV 10mV 15mV --json
  icepoint temperature N --unit mV --reference \"25 °C\" < millivolts.txt")]
pub struct TemperatureArguments {
    /// Type of the thermocouple: B, E, J, K, N, R, S, T, C or A
    #[arg(value_name = "TYPE")]
    letter: Letter,
    /// Voltages at the terminals, with their unit; none or "-": a column on standard input
    #[arg(value_name = "VOLTAGE")]
    voltages: Vec<String>,
    #[command(flatten)]
    common: Common,
}

/// The options, read and checked.
struct Setting {
    letter: Letter,
    reference: f64,
    reference_given: bool,
    class: ToleranceClass,
    json: bool,
}

impl Setting {
    fn new(letter: Letter, common: &Common) -> Result<Setting, Failure> {
        let reference = reference(letter, common.reference.as_deref())?;
        Ok(Setting {
            letter,
            reference,
            reference_given: common.reference.is_some(),
            class: class(letter, &common.tolerance)?,
            json: common.json,
        })
    }
}

/// The reference junction in °C, within the range of the type.
pub fn reference(letter: Letter, text: Option<&str>) -> Result<f64, Failure> {
    let Some(text) = text else { return Ok(0.0) };
    let given = values::single(text, CELSIUS, "--reference")?;
    match letter.emf(given.value) {
        Ok(_) => Ok(given.value),
        Err(error) => Err(Failure::BadInput(vec![outside(&given, letter, error)])),
    }
}

fn class(letter: Letter, text: &str) -> Result<ToleranceClass, Failure> {
    let Some(class) = ToleranceClass::parse(text) else {
        let names: Vec<&str> = ToleranceClass::ALL.into_iter().map(ToleranceClass::name).collect();
        return Err(Failure::bad_input(
            "tolerance.unknown_class",
            format!("\"{text}\" is not a tolerance class"),
            Some(format!("expected one of: {}", names.join(", "))),
        ));
    };
    if tolerance::range(letter, class).is_none() {
        let error = ToleranceError::NotDefined { letter, class };
        return Err(Failure::bad_input("tolerance.not_defined", error.to_string(), None));
    }
    Ok(class)
}

fn outside(given: &Given, letter: Letter, error: OutOfRange) -> Problem {
    let others: Vec<&str> =
        Letter::ALL.into_iter().filter(|other| other.emf(given.value).is_ok()).map(Letter::name).collect();
    let help = if others.is_empty() {
        "no type reaches there".to_owned()
    } else {
        format!("these types reach there: {}", others.join(", "))
    };
    given.problem(
        "temperature.outside",
        format!("type {letter}: {error}"),
        "outside the reference function",
        Some(help),
    )
}

/// `icepoint emf`.
pub fn emf(arguments: &EmfArguments, out: &mut dyn Write) -> Result<Answer, Failure> {
    let setting = Setting::new(arguments.letter, &arguments.common)?;
    let values = values::collect(&arguments.temperatures, CELSIUS, arguments.common.unit.as_deref())?;
    let (mut points, mut problems) = (Vec::new(), Vec::new());
    for given in &values.given {
        match Point::at(setting.letter, given.value, setting.reference, setting.class) {
            Ok(point) => points.push(point),
            Err(error) => problems.push(outside(given, setting.letter, error)),
        }
    }
    if !problems.is_empty() {
        return Err(Failure::BadInput(problems));
    }
    write(out, &setting, &values, &points)
}

/// `icepoint temperature`.
pub fn temperature(arguments: &TemperatureArguments, out: &mut dyn Write) -> Result<Answer, Failure> {
    let setting = Setting::new(arguments.letter, &arguments.common)?;
    let values = values::collect(&arguments.voltages, VOLTS, arguments.common.unit.as_deref())?;
    let letter = setting.letter;
    let (mut points, mut unusable, mut unanswered) = (Vec::new(), Vec::new(), Vec::new());
    for given in &values.given {
        let found = letter.temperature_at(given.value, setting.reference).and_then(|celsius| {
            Ok(Point::with_volts(letter, celsius, given.value, setting.reference, setting.class)?)
        });
        match found {
            Ok(point) => points.push(point),
            Err(error @ InverseError::Outside(_)) => unusable.push(no_temperature(given, &setting, error)),
            Err(error) => unanswered.push(no_temperature(given, &setting, error)),
        }
    }
    if !unusable.is_empty() {
        unusable.append(&mut unanswered);
        return Err(Failure::BadInput(unusable));
    }
    if !unanswered.is_empty() {
        // Understood, but there is no single temperature: the answer is no. Who is told has to see it even in a pipe.
        let _ = say(&mut std::io::stderr().lock(), &unanswered);
        return Ok(Answer::No);
    }
    write(out, &setting, &values, &points)
}

fn no_temperature(given: &Given, setting: &Setting, error: InverseError) -> Problem {
    let letter = setting.letter;
    match error {
        InverseError::Ambiguous { cold, warm } => given.problem(
            "voltage.ambiguous",
            format!("type {letter} gives this voltage at two temperatures, {cold:.2} °C and {warm:.2} °C"),
            "fits two temperatures",
            Some("type B falls to its minimum at 21.02 °C and tells nothing below some 100 °C: use another type there".into()),
        ),
        InverseError::Insensitive { low, high } => given.problem(
            "voltage.insensitive",
            format!("type {letter} gives this voltage somewhere between {low:.2} °C and {high:.2} °C"),
            "under 1 µV/K here",
            Some("type E or T keeps more sensitivity there".into()),
        ),
        InverseError::Outside(_) => {
            let (least, largest) = letter.emf_range();
            let at_reference = letter.emf(setting.reference).unwrap_or(0.0);
            let volts = |volts: f64| format(volts, Unit::Volt, 5);
            given.problem(
                "voltage.outside",
                format!(
                    "type {letter} gives {} to {} with its reference junction at {}",
                    volts(least - at_reference),
                    volts(largest - at_reference),
                    format(setting.reference, Unit::Celsius, 9)
                ),
                "no temperature gives this",
                Some("check the unit (mV or V?), the type and the polarity".into()),
            )
        }
    }
}

fn write(
    out: &mut dyn Write,
    setting: &Setting,
    values: &Values,
    points: &[Point],
) -> Result<Answer, Failure> {
    if setting.json {
        for point in points {
            serde_json::to_writer(&mut *out, point).map_err(std::io::Error::from)?;
            writeln!(out)?;
        }
        return Ok(Answer::Yes);
    }
    writeln!(out, "{}", heading(setting.letter, setting.reference, setting.reference_given))?;
    match points {
        [point] if !values.list => write_one(out, point)?,
        points => write_list(out, points)?,
    }
    Ok(Answer::Yes)
}
