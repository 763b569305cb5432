//! Firmware: what it is worth, which linearisation was taken, where it was proved.

use std::io;

use icepoint_chain::file::ChainFile;
use icepoint_design::Design;
use icepoint_firmware::choice::Effort;
use icepoint_firmware::proof::{self, Proof, Scope};
use icepoint_firmware::{Firmware, Refusal, Request};
use maud::{Markup, html};

use super::words::{celsius, count};
use super::{Pictures, fingerprint};
use crate::firmware_error::FirmwareError;
use crate::number::fixed;
use crate::page::{self, Column};

/// The firmware of a board, or why there is none.
#[derive(Debug)]
pub struct FirmwarePart {
    /// As made.
    pub firmware: Result<Firmware, Refusal>,
    /// Its proof, if it was asked for.
    pub proof: Option<Proof>,
}

impl FirmwarePart {
    /// Made for a designed board; `prove`: compiled and run as far as compilers and emulators are there.
    ///
    /// # Errors
    /// When the proof's files can't be written or its programs can't be started.
    pub fn new(file: &ChainFile, design: &Design, prove: bool) -> io::Result<Self> {
        let request = Request {
            effort: Effort { all: false },
            fingerprint: format!("{:016x}", fingerprint(&file.source.text)),
            ..Request::default()
        };
        let firmware = icepoint_firmware::firmware(design.model.chain(), &request);
        let proof = match &firmware {
            Ok(firmware) if prove => Some(proof::prove(firmware, Scope::ALL)?),
            _ => None,
        };
        Ok(Self { firmware, proof })
    }

    /// Files beside the page: name and contents.
    pub fn files(&self) -> Vec<(String, String)> {
        let Ok(firmware) = &self.firmware else { return Vec::new() };
        let mut files = firmware.files();
        files.extend(self.proof.as_ref().map(|proof| proof::page(firmware, proof)));
        files.into_iter().map(|f| (f.name, f.contents)).collect()
    }
}

/// Bins of the picture over temperature.
const BINS: usize = 360;

/// The picture's figures of a firmware.
#[must_use]
pub fn firmware_error(firmware: &Firmware) -> FirmwareError {
    let f = firmware;
    let grid = f.junctions();
    let some = [grid[0], grid[grid.len() / 2], grid[grid.len() - 1]];
    let stride = 1 << (f.inverse.aligned_bits() - 16);
    FirmwareError {
        id: "firmware-error".to_owned(),
        errors_kelvin: icepoint_firmware::walk::errors(&f.program, &f.inverse, stride, &some, BINS),
        wanted_kelvin: f.error,
        knots_celsius: f.program.knots_celsius().into_iter().skip(1).collect(),
    }
}

pub(super) fn section(part: &FirmwarePart, pictures: &mut Pictures) -> Markup {
    let f = match &part.firmware {
        Ok(firmware) => firmware,
        Err(refusal) => {
            return html! {
                p { "There is no firmware for this chain: " (refusal.message) "." }
                p { "With " (refusal.help) " there would be." }
            };
        }
    };
    let p = &f.facts.prefix;
    let columns = [
        Column::words("Linearisation"),
        Column::numbers("Sum", "bit"),
        Column::numbers("Segments", ""),
        Column::numbers("Tables", "bytes"),
        Column::numbers("AVR flash", "bytes, estimated"),
        Column::numbers("AVR cycles", "estimated"),
        Column::numbers("Largest error", "K"),
    ];
    let rows: Vec<Vec<String>> = f
        .candidates
        .iter()
        .map(|c| {
            let taken = c.program.as_ref() == Some(&f.program);
            let name = format!("{}{}", c.form.name(), if taken { " (taken)" } else { "" });
            let mut row = vec![name, c.width.bits().to_string()];
            if let Some(program) = &c.program {
                row.extend([
                    program.curve.rows.len().to_string(),
                    program.table_bytes().to_string(),
                    c.cost.bytes.to_string(),
                    c.cost.cycles.to_string(),
                    fixed(if taken { f.walk.error } else { c.error }, 4),
                ]);
            } else {
                row.push(if c.skipped { "dearer" } else { "can't" }.to_owned());
            }
            row
        })
        .collect();
    let figures = firmware_error(f);
    let code = f.code_words();
    let picture = pictures
        .both("firmware-error", "Error of the firmware against temperature", &|frame| figures.draw(frame));
    html! {
        p {
            "The files " code { (p) ".h" } " and " code { (p) ".c" } " (C99) or " code { (p) ".rs" } " (Rust, core only) turn the "
            "converter's code into a temperature in steps of " (f.program.unit.to_string()) ". Against the exact inverse of "
            "this chain they are off by at most " strong { (fixed(f.walk.error, 4)) " K" } " (" (f.error) " K wanted), found by "
            "walking all " (count(1u64 << f.program.aligned_bits)) " inputs at " (f.junctions().len()) " reference-junction "
            "inputs, at " (celsius(libm::round(icepoint_firmware::page::worst_celsius(f)))) "; for any pair of both the bound is "
            (fixed(f.everywhere, 4)) " K. One code of the converter is " (code.0) " K to " (code.1) " K beside it."
        }
        (picture)
        (page::table("Which linearisation is smallest", &columns, &rows))
        p { (f.schedule()) }
        (proof_of(f, part.proof.as_ref()))
        p { "A measurement is not a safety cut-out: that must be independent of this firmware." }
    }
}

fn proof_of(f: &Firmware, proof: Option<&Proof>) -> Markup {
    let Some(proof) = proof else {
        return html! {
            p {
                "The proof depends on compilers and emulators that are there, so it is run when asked for: "
                code { "icepoint firmware FILE --prove" } " or " code { "icepoint design FILE --prove" } "."
            }
        };
    };
    let columns: Vec<Column> = proof::HEADS
        .iter()
        .enumerate()
        .map(|(i, head)| match i {
            0 | 2 | 4 | 5 => Column::words(head),
            _ => Column::numbers(head, ""),
        })
        .collect();
    let rows: Vec<Vec<String>> = proof.targets.iter().map(|t| proof::row(t).to_vec()).collect();
    html! {
        p { (proof::what(f)) }
        (page::table("Proved on", &columns, &rows))
        @for target in &proof.targets {
            @for difference in &target.differences { p { (target.name) ": " (difference) "." } }
        }
        (beside_float(f, proof))
        @for target in &proof.floats {
            @for problem in &target.problems { p { (target.target) ", " (target.kind.name()) ": " (problem) "." } }
        }
        @if !proof.missing.is_empty() { p { "Not there: " (proof.missing.join("; ")) "." } }
        p {
            "Flash is code, tables and what they draw from the compiler's library; cycles are a hardware timer's inside the "
            "emulator; instructions are the emulator's count, without wait states."
        }
    }
}

/// Bytes, cycles and error of whole numbers and of floating point side by side.
fn beside_float(f: &Firmware, proof: &Proof) -> Markup {
    let rows: Vec<Vec<String>> = proof::beside_float(f, proof).iter().map(|row| row.to_vec()).collect();
    if proof.floats.is_empty() || rows.is_empty() {
        return html! {};
    }
    let columns: Vec<Column> = proof::FLOAT_HEADS
        .iter()
        .enumerate()
        .map(|(i, head)| if i < 2 { Column::words(head) } else { Column::numbers(head, "") })
        .collect();
    html! {
        p { (proof::ABOUT_FLOAT) }
        (page::table("Whole numbers beside floating point", &columns, &rows))
    }
}
