//! The verb `table`: voltage against temperature, or temperature against voltage, ten to a row as handbooks do.

use std::io::Write;

use clap::Args;
use icepoint_chain::quantity::{Unit, format};
use icepoint_sensors::Letter;
use serde::Serialize;

use crate::Answer;
use crate::emf::reference;
use crate::failure::Failure;
use crate::point::{heading, zero};
use crate::values::{self, CELSIUS, Given, Kind, VOLTS};

/// More points than this is a slip of the step, not a table.
const MOST_POINTS: f64 = 100_000.0;
/// Points to a row.
const ROW: usize = 10;

/// Arguments of `table`.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  icepoint table K --from 0 --to 100 --step 1
  icepoint table N --from 0 --to 1300 --step 10 --reference 25 --csv > type_n.csv
  icepoint table S --inverse --from \"0 mV\" --to \"10 mV\" --step \"0.1 mV\"")]
pub struct TableArguments {
    /// Type of the thermocouple: B, E, J, K, N, R, S, T, C or A
    #[arg(value_name = "TYPE")]
    letter: Letter,
    /// First value: a temperature or, with --inverse, a voltage; if not given, 0 °C or 0 mV
    #[arg(long, value_name = "VALUE")]
    from: Option<String>,
    /// Last value, included if the step meets it; if not given, the end of the type's range
    #[arg(long, value_name = "VALUE")]
    to: Option<String>,
    /// Step; if not given, 10 K or 1 mV
    #[arg(long, value_name = "STEP")]
    step: Option<String>,
    /// Temperature of the reference junction; 0 °C if not given
    #[arg(long, value_name = "TEMPERATURE")]
    reference: Option<String>,
    /// Temperature against voltage instead
    #[arg(long)]
    inverse: bool,
    /// JSON: one object with all points
    #[arg(long)]
    json: bool,
    /// Comma-separated values, one point a line
    #[arg(long, conflicts_with = "json")]
    csv: bool,
}

/// The JSON of a table; the keys stay stable (`docs/json.md`).
#[derive(Debug, Serialize)]
struct Table {
    #[serde(rename = "type")]
    letter: &'static str,
    reference_celsius: f64,
    points: Vec<TablePoint>,
}

/// One point of a table. Where a voltage has no single temperature (type B near 0 V) that is null.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
struct TablePoint {
    temperature_celsius: Option<f64>,
    emf_volts: f64,
    sensitivity_volts_per_kelvin: Option<f64>,
}

/// First, last and step, SI.
struct Span {
    from: f64,
    to: f64,
    step: f64,
}

impl Span {
    fn new(arguments: &TableArguments, reference: f64) -> Result<Span, Failure> {
        let letter = arguments.letter;
        let kind = if arguments.inverse { VOLTS } else { CELSIUS };
        let step_kind = if arguments.inverse {
            VOLTS
        } else {
            Kind { unit: Unit::Kelvin, bare: Some("K"), example: "10 K" }
        };
        let (low, high) = if arguments.inverse {
            let at_reference = letter.emf(reference).unwrap_or(0.0);
            let (least, largest) = letter.emf_range();
            (least - at_reference, largest - at_reference)
        } else {
            letter.range()
        };
        let read = |text: &Option<String>, name, kind: Kind| -> Result<Option<Given>, Failure> {
            text.as_deref().map(|text| values::single(text, kind, name)).transpose()
        };
        let from = read(&arguments.from, "--from", kind)?;
        let to = read(&arguments.to, "--to", kind)?;
        let step = read(&arguments.step, "--step", step_kind)?;
        let mut problems = Vec::new();
        for given in [&from, &to].into_iter().flatten() {
            if !(given.value >= low && given.value <= high) {
                problems.push(given.problem(
                    "table.outside",
                    format!(
                        "type {letter} goes from {} to {}",
                        format(low, kind.unit, 5),
                        format(high, kind.unit, 5)
                    ),
                    "outside the reference function",
                    None,
                ));
            }
        }
        if let Some(given) = step.as_ref().filter(|given| given.value.is_nan() || given.value <= 0.0) {
            let help = Some(format!("a positive step, such as \"{}\"", step_kind.example));
            problems.push(given.problem(
                "table.step",
                "a table needs a step upwards".into(),
                "not above zero",
                help,
            ));
        }
        if let (Some(first), Some(last)) = (&from, &to)
            && first.value > last.value
        {
            let help = Some("exchange --from and --to".to_owned());
            problems.push(last.problem(
                "table.backwards",
                "the table ends before it begins".into(),
                "less than --from",
                help,
            ));
        }
        if !problems.is_empty() {
            return Err(Failure::BadInput(problems));
        }
        let value = |given: Option<Given>, default: f64| given.map_or(default, |given| given.value);
        let span = Span {
            from: value(from, 0.0_f64.clamp(low, high)),
            to: value(to, high),
            step: value(step, if arguments.inverse { 1e-3 } else { 10.0 }),
        };
        if (span.to - span.from) / span.step > MOST_POINTS {
            return Err(Failure::bad_input(
                "table.too_long",
                format!("this table would have more than {MOST_POINTS} points"),
                Some("a larger --step, or --from and --to closer together".into()),
            ));
        }
        Ok(span)
    }

    /// The values; each from its number, so that no error adds up, and with the dust of binary fractions wiped off.
    fn values(&self) -> Vec<f64> {
        // A last point that misses the end by rounding is still the end.
        let count = whole_steps((self.to - self.from) / self.step + 1e-9);
        let grain = self.step * 1e-9;
        (0..=count)
            .map(|i| self.from + f64::from(i) * self.step)
            .map(|value| if (value - self.to).abs() < grain { self.to } else { round_to(value, self.step) })
            .collect()
    }
}

fn whole_steps(value: f64) -> u32 {
    // Bounded by MOST_POINTS above and 0 below; the cast drops the fraction.
    value.max(0.0) as u32
}

/// Rounded to a millionth of the power of ten at or below the step.
fn round_to(value: f64, step: f64) -> f64 {
    let mut per_unit = 1e6;
    let mut size = step;
    while size < 1.0 && per_unit < 1e15 {
        size *= 10.0;
        per_unit *= 10.0;
    }
    (value * per_unit).round() / per_unit
}

/// Decimals that a number needs, at most six.
fn decimals(value: f64) -> usize {
    let text = format!("{value:.6}");
    text.trim_end_matches('0').split_once('.').map_or(0, |(_, decimals)| decimals.len())
}

/// `icepoint table`.
pub fn table(arguments: &TableArguments, out: &mut dyn Write) -> Result<Answer, Failure> {
    let letter = arguments.letter;
    let reference = reference(letter, arguments.reference.as_deref())?;
    let span = Span::new(arguments, reference)?;
    let points: Vec<TablePoint> =
        span.values().into_iter().map(|value| point(letter, value, reference, arguments.inverse)).collect();
    if arguments.json {
        let whole = Table { letter: letter.name(), reference_celsius: reference, points };
        serde_json::to_writer(&mut *out, &whole).map_err(std::io::Error::from)?;
        writeln!(out)?;
    } else if arguments.csv {
        writeln!(out, "temperature_celsius,emf_volts,sensitivity_volts_per_kelvin")?;
        for point in &points {
            let cell = |value: Option<f64>| value.map_or(String::new(), |value| value.to_string());
            let TablePoint { temperature_celsius, emf_volts, sensitivity_volts_per_kelvin } = *point;
            writeln!(
                out,
                "{},{emf_volts},{}",
                cell(temperature_celsius),
                cell(sensitivity_volts_per_kelvin)
            )?;
        }
    } else {
        writeln!(out, "{}", heading(letter, reference, arguments.reference.is_some()))?;
        rows(out, &span, &points, arguments.inverse)?;
    }
    Ok(Answer::Yes)
}

fn point(letter: Letter, value: f64, reference: f64, inverse: bool) -> TablePoint {
    let slope = |celsius: f64| letter.emf_slope(celsius).ok();
    if inverse {
        let celsius = letter.temperature_at(value, reference).ok();
        TablePoint {
            temperature_celsius: celsius,
            emf_volts: value,
            sensitivity_volts_per_kelvin: celsius.and_then(slope),
        }
    } else {
        // The span was checked against the range: the extended function is the function there.
        let at = |celsius: f64| letter.emf_and_slope_extended(celsius).0;
        TablePoint {
            temperature_celsius: Some(value),
            emf_volts: at(value) - at(reference),
            sensitivity_volts_per_kelvin: slope(value),
        }
    }
}

/// Ten points to a row, the row's first value before it, the offsets above.
fn rows(out: &mut dyn Write, span: &Span, points: &[TablePoint], inverse: bool) -> Result<(), Failure> {
    let (entry, corner, scale) = if inverse { ("°C", "mV", 1e3) } else { ("mV", "°C", 1.0) };
    writeln!(out, "{entry} against {corner}\n")?;
    // As many decimals as the first value or the step needs, so that the labels line up.
    let digits = decimals(span.step * scale).max(decimals(span.from * scale));
    let label = |value: f64| format!("{:.digits$}", zero(value * scale, digits));
    let columns = ROW.min(points.len());
    write!(out, "{corner:>9} │")?;
    for i in 0..columns {
        write!(out, " {:>9}", label(i as f64 * span.step))?;
    }
    writeln!(out, "\n{}┼{}", "─".repeat(10), "─".repeat(10 * columns))?;
    for (number, row) in points.chunks(ROW).enumerate() {
        let first = span.from + (number * ROW) as f64 * span.step;
        write!(out, "{:>9} │", label(first))?;
        for point in row {
            match (inverse, point.temperature_celsius) {
                (false, _) => write!(out, " {:>9.3}", zero(point.emf_volts * 1e3, 3))?,
                (true, Some(celsius)) => write!(out, " {:>9.2}", zero(celsius, 2))?,
                (true, None) => write!(out, " {:>9}", "·")?,
            }
        }
        writeln!(out)?;
    }
    if inverse && points.iter().any(|point| point.temperature_celsius.is_none()) {
        writeln!(out, "\n· no single temperature gives this voltage")?;
    }
    Ok(())
}
