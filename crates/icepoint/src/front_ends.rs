//! The comparison of front ends: for people and for programs.

use std::io::{self, Write};

use icepoint_design::compare::{Compared, Row};
use icepoint_design::records::{RecordChoice, Tried};
use serde::Serialize;

fn name(row: &Row) -> String {
    let records: Vec<&str> = row.amplifiers.iter().map(|(_, name)| name.as_str()).collect();
    if records.is_empty() {
        row.name().to_owned()
    } else {
        format!("{} ({})", row.name(), records.join(", "))
    }
}

/// The table for people.
pub fn print(compared: &Compared, out: &mut dyn Write) -> io::Result<()> {
    writeln!(
        out,
        "Front ends that fit, best first (*: no other that is as good has a smaller error with no more parts):\n"
    )?;
    let head = ["", "front end", "95 %", "worst case", "within", "mains", "settles", "parts", "binds"];
    let mut rows = vec![head.map(str::to_owned)];
    rows.extend(compared.rows.iter().enumerate().map(|(i, row)| {
        [
            match (i == compared.taken, row.best_edge) {
                (true, true) => "->*".into(),
                (true, false) => "-> ".into(),
                (false, true) => "  *".into(),
                (false, false) => String::new(),
            },
            name(row),
            format!("{:.2} K", row.error_95),
            format!("{:+.1} to {:+.1} K", row.worst_case.0, row.worst_case.1),
            format!("{:.1} %", 100.0 * row.within),
            format!("{:.3} K", row.mains_kelvin),
            row.settling.map_or("no end seen".into(), |t| format!("{t:.2} s")),
            row.parts.to_string(),
            format!(
                "{}, {:.0} % used{}",
                row.binds.what,
                100.0 * row.binds.used,
                if row.met { "" } else { ": misses" }
            ),
        ]
    }));
    let width = |column: usize| rows.iter().map(|r| r[column].chars().count()).max().unwrap_or(0);
    let widths: Vec<usize> = (0..head.len()).map(width).collect();
    for row in &rows {
        let cells: Vec<String> = row
            .iter()
            .zip(&widths)
            .enumerate()
            .map(|(i, (cell, width))| {
                let space = " ".repeat(width - cell.chars().count());
                if (2..8).contains(&i) { format!("{space}{cell}") } else { format!("{cell}{space}") }
            })
            .collect();
        writeln!(out, "{}", cells.join("  ").trim_end())?;
    }
    for left in &compared.left_out {
        writeln!(out, "left out: {}: {}", left.id, left.why)?;
    }
    for remark in &compared.remarks {
        writeln!(out, "note: {remark}")?;
    }
    writeln!(
        out,
        "\nThe row with -> is taken; --front-end NAME takes another, or write topology = \"NAME\" in [front_end].\n"
    )
}

/// Which record was taken of each kind, and what the next best would give.
pub fn print_records(choices: &[RecordChoice], out: &mut dyn Write) -> io::Result<()> {
    for choice in choices {
        let kind = choice.kind;
        for (i, row) in choice.rows.iter().enumerate() {
            writeln!(
                out,
                "{} {}: {}, ±{:.2} K at 95 %; binds: {}{}",
                if i == 0 { "->" } else { "  " },
                kind.name(),
                row.called(kind),
                row.error_95,
                row.binds,
                if row.met { "" } else { "; misses the need" }
            )?;
        }
        for left in &choice.left_out {
            writeln!(out, "   left out: {}: {}: {}", kind.name(), left.id, left.why)?;
        }
    }
    if choices.is_empty() { Ok(()) } else { writeln!(out) }
}

/// The same in JSON.
#[derive(Serialize)]
pub struct PrintedRecords<'a> {
    kind: &'a str,
    rows: Vec<PrintedRecord<'a>>,
    left_out: Vec<PrintedNotTried<'a>>,
}

#[derive(Serialize)]
struct PrintedNotTried<'a> {
    name: &'a str,
    why: &'a str,
}

#[derive(Serialize)]
struct PrintedRecord<'a> {
    name: Option<&'a str>,
    error_95_kelvin: f64,
    met: bool,
    binds: &'a str,
    taken: bool,
}

pub fn printed_records(choices: &[RecordChoice]) -> Vec<PrintedRecords<'_>> {
    let row = |(i, row)| {
        let row: &Tried = row;
        PrintedRecord {
            name: row.name.as_deref(),
            error_95_kelvin: row.error_95,
            met: row.met,
            binds: &row.binds,
            taken: i == 0,
        }
    };
    choices
        .iter()
        .map(|choice| PrintedRecords {
            kind: choice.kind.name(),
            rows: choice.rows.iter().enumerate().map(row).collect(),
            left_out: choice.left_out.iter().map(|l| PrintedNotTried { name: &l.id, why: &l.why }).collect(),
        })
        .collect()
}

/// The table in JSON.
#[derive(Serialize)]
pub struct Printed<'a> {
    rows: Vec<PrintedRow<'a>>,
    left_out: Vec<PrintedLeftOut<'a>>,
    remarks: &'a [String],
}

#[derive(Serialize)]
struct PrintedRow<'a> {
    topology: &'a str,
    title: &'a str,
    amplifiers: Vec<&'a str>,
    error_95_kelvin: f64,
    worst_case_kelvin: [f64; 2],
    r#yield: f64,
    mains_residual_kelvin: f64,
    settling_seconds: Option<f64>,
    parts: usize,
    binds: &'a str,
    binds_used_share: f64,
    met: bool,
    best_edge: bool,
    taken: bool,
}

#[derive(Serialize)]
struct PrintedLeftOut<'a> {
    topology: &'a str,
    why: &'a str,
}

impl<'a> Printed<'a> {
    pub fn new(compared: &'a Compared) -> Self {
        let row = |(i, row): (usize, &'a Row)| PrintedRow {
            topology: &row.id,
            title: &row.title,
            amplifiers: row.amplifiers.iter().map(|(_, name)| name.as_str()).collect(),
            error_95_kelvin: row.error_95,
            worst_case_kelvin: [row.worst_case.0, row.worst_case.1],
            r#yield: row.within,
            mains_residual_kelvin: row.mains_kelvin,
            settling_seconds: row.settling,
            parts: row.parts,
            binds: &row.binds.what,
            binds_used_share: row.binds.used,
            met: row.met,
            best_edge: row.best_edge,
            taken: i == compared.taken,
        };
        let left = compared.left_out.iter();
        Self {
            rows: compared.rows.iter().enumerate().map(row).collect(),
            left_out: left.map(|l| PrintedLeftOut { topology: &l.id, why: &l.why }).collect(),
            remarks: &compared.remarks,
        }
    }
}
