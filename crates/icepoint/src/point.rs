//! One point of a thermocouple's curve, as both verbs and their JSON give it.

use std::io::{self, Write};

use icepoint_chain::quantity::{Unit, format};
use icepoint_sensors::tolerance::{self, ToleranceClass};
use icepoint_sensors::{Letter, OutOfRange};
use serde::Serialize;

/// What `emf` and `temperature` answer; the fields are the keys of the JSON and stay stable (`docs/json.md`).
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Point {
    #[serde(rename = "type", serialize_with = "name")]
    letter: Letter,
    temperature_celsius: f64,
    reference_celsius: f64,
    emf_volts: f64,
    sensitivity_volts_per_kelvin: f64,
    tolerance_kelvin: Option<f64>,
    #[serde(serialize_with = "class_name")]
    tolerance_class: ToleranceClass,
}

fn name<S: serde::Serializer>(letter: &Letter, serializer: S) -> Result<S::Ok, S::Error> {
    serializer.serialize_str(letter.name())
}

fn class_name<S: serde::Serializer>(class: &ToleranceClass, serializer: S) -> Result<S::Ok, S::Error> {
    serializer.serialize_str(class.name())
}

impl Point {
    /// The point at a temperature, with the terminals' voltage as it follows from both junctions.
    pub fn at(
        letter: Letter,
        celsius: f64,
        reference: f64,
        class: ToleranceClass,
    ) -> Result<Point, OutOfRange> {
        Point::with_volts(letter, celsius, letter.terminal_volts(celsius, reference)?, reference, class)
    }

    /// The point with the voltage that was given, which the temperature was found from.
    pub fn with_volts(
        letter: Letter,
        celsius: f64,
        volts: f64,
        reference: f64,
        class: ToleranceClass,
    ) -> Result<Point, OutOfRange> {
        Ok(Point {
            letter,
            temperature_celsius: celsius,
            reference_celsius: reference,
            emf_volts: volts,
            sensitivity_volts_per_kelvin: letter.emf_slope(celsius)?,
            tolerance_kelvin: tolerance::limit(letter, class, celsius).ok(),
            tolerance_class: class,
        })
    }

    /// The class and the temperatures that it covers.
    fn tolerance_note(&self) -> String {
        match tolerance::range(self.letter, self.tolerance_class) {
            Some((low, high)) => format!("{}, {low} to {high} °C", self.tolerance_class),
            None => self.tolerance_class.name().to_owned(),
        }
    }

    /// Number and unit of each column.
    fn cells(&self) -> [(String, &'static str); 4] {
        [
            (format!("{:.2}", zero(self.temperature_celsius, 2)), "°C"),
            (format!("{:.4}", zero(self.emf_volts * 1e3, 4)), "mV"),
            (format!("{:.2}", zero(self.sensitivity_volts_per_kelvin * 1e6, 2)), "µV/K"),
            match self.tolerance_kelvin {
                Some(kelvin) => (format!("±{kelvin:.2}"), "K"),
                None => ("none".to_owned(), ""),
            },
        ]
    }
}

/// No "-0.00": a rounding to nothing has no sign.
pub fn zero(value: f64, digits: usize) -> f64 {
    let mut least = 0.5;
    for _ in 0..digits {
        least /= 10.0;
    }
    if value.abs() < least { 0.0 } else { value }
}

/// The heading: type, reference junction and whether it was given.
pub fn heading(letter: Letter, reference: f64, given: bool) -> String {
    let (positive, negative) = letter.legs();
    let note = if given { "" } else { " (none given: --reference sets it)" };
    format!(
        "type {letter} ({positive} / {negative}), reference junction at {}{note}",
        format(reference, Unit::Celsius, 9)
    )
}

/// A single point, its lines named.
pub fn write_one(out: &mut dyn Write, point: &Point) -> io::Result<()> {
    let notes = [String::new(), "at the terminals".to_owned(), String::new(), point.tolerance_note()];
    let names = ["temperature", "emf", "sensitivity", "tolerance"];
    for ((name, (number, unit)), note) in names.iter().zip(point.cells()).zip(notes) {
        let line = format!("  {name:<12} {number:>10} {unit:<5}  {note}");
        writeln!(out, "{}", line.trim_end())?;
    }
    Ok(())
}

/// Several points, a line each.
pub fn write_list(out: &mut dyn Write, points: &[Point]) -> io::Result<()> {
    let heads = ["temperature", "emf", "sensitivity", "tolerance"];
    let line = |cells: [(String, &str); 4]| {
        let cells = cells.map(|(number, unit)| format!("{number:>12} {unit:<4}"));
        cells.concat().trim_end().to_owned()
    };
    writeln!(out, "{}", line(heads.map(|head| (head.to_owned(), ""))))?;
    for point in points {
        writeln!(out, "{}", line(point.cells()))?;
    }
    match points.first() {
        Some(first) => writeln!(out, "tolerance: {}", first.tolerance_note()),
        None => Ok(()),
    }
}
