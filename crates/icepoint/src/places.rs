//! What a design takes out of the drawer, place by place: for people and for programs.

use std::io::{self, Write};

use icepoint_chain::front_end::SlotKind;
use icepoint_chain::quantity::format;
use icepoint_design::Design;
use icepoint_design::search::{Filled, FilledFrom, Fit, Join, unit};
use serde::Serialize;

/// The table for people; nothing without a drawer.
pub fn print(design: &Design, out: &mut dyn Write) -> io::Result<()> {
    if design.places.is_empty() {
        return Ok(());
    }
    writeln!(out, "\nPlaces, out of the drawer (ideal: the best value there, everything else as it is):")?;
    let head = ["place", "chosen", "left", "ideal", "costs", "worth buying"].map(str::to_owned);
    let mut rows = vec![head];
    rows.extend(design.places.iter().map(|place| {
        let value = |v: f64| format(v, unit(place.kind), 4);
        [
            place.designators.join(", "),
            place.fit.words(place.kind),
            match place.origin {
                FilledFrom::Drawer { left } => left.to_string(),
                FilledFrom::Bought => "bought".into(),
                FilledFrom::NothingThere => "buy: none there".into(),
            },
            place.ideal.map_or("as chosen".into(), value),
            if place.ideal.is_some() { format!("{:.3} K", place.costs) } else { "nothing".into() },
            place
                .worth_buying
                .map_or("nothing".into(), |p| format!("{}, {}", p.part.words(place.kind), p.words())),
        ]
    }));
    let width = |column: usize| rows.iter().map(|r| r[column].chars().count()).max().unwrap_or(0);
    let widths: Vec<usize> = (0..6).map(width).collect();
    for row in &rows {
        let cells: Vec<String> = row
            .iter()
            .zip(&widths)
            .map(|(cell, width)| format!("{cell}{}", " ".repeat(width - cell.chars().count())))
            .collect();
        writeln!(out, "  {}", cells.join("  ").trim_end())?;
    }
    Ok(())
}

/// One place in JSON.
#[derive(Serialize)]
pub struct Printed<'a> {
    designators: &'a [String],
    unit: &'static str,
    value: f64,
    parts: Vec<PrintedPart>,
    joined: Option<&'static str>,
    origin: &'static str,
    left: Option<u32>,
    ideal: Option<f64>,
    costs_kelvin: f64,
    worth_buying: Option<PrintedPurchase>,
}

#[derive(Serialize)]
struct PrintedPart {
    value: f64,
    tolerance: f64,
    tempco_per_kelvin: f64,
}

#[derive(Serialize)]
struct PrintedPurchase {
    value: f64,
    tolerance: f64,
    error_95_kelvin: f64,
    saves_kelvin: f64,
    misses_less: f64,
}

/// All places in JSON.
pub fn printed(places: &[Filled]) -> Vec<Printed<'_>> {
    let part = |p: &icepoint_design::search::Part| PrintedPart {
        value: p.value,
        tolerance: p.tolerance,
        tempco_per_kelvin: p.tempco,
    };
    places
        .iter()
        .map(|place| Printed {
            designators: &place.designators,
            unit: match place.kind {
                SlotKind::Resistor => "ohm",
                SlotKind::Capacitor => "farad",
            },
            value: place.fit.value(),
            parts: match &place.fit {
                Fit::One(one) => vec![part(one)],
                Fit::Two { first, second, .. } => vec![part(first), part(second)],
            },
            joined: match &place.fit {
                Fit::One(_) => None,
                Fit::Two { join: Join::Series, .. } => Some("series"),
                Fit::Two { join: Join::Parallel, .. } => Some("parallel"),
            },
            origin: match place.origin {
                FilledFrom::Drawer { .. } => "drawer",
                FilledFrom::Bought => "bought",
                FilledFrom::NothingThere => "missing",
            },
            left: match place.origin {
                FilledFrom::Drawer { left: icepoint_chain::drawer::Count::Pieces(n) } => Some(n),
                _ => None,
            },
            ideal: place.ideal,
            costs_kelvin: place.costs,
            worth_buying: place.worth_buying.map(|p| PrintedPurchase {
                value: p.part.value,
                tolerance: p.part.tolerance,
                error_95_kelvin: p.error_95,
                saves_kelvin: p.saves,
                misses_less: p.misses_less,
            }),
        })
        .collect()
}
