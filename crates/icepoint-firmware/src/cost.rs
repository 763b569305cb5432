//! What a program costs on an 8-bit AVR, from its form and tables alone.
//!
//! **Where the figures come from.** Measured: the generated code of the examples and of all ten types, compiled with
//! GCC 5.4 for AVR (`-Os`, hardware multiplier), every function of it and every helper that it draws from the
//! compiler's library counted; cycles by a hardware timer in an emulator. `tests/avr_cost.rs` measures again and fails
//! where the estimate is off by more than 5 % (bytes) or 8 % (cycles). Most cycles are the check of the
//! constants, which every conversion looks at. The estimate decides, the measurement is what the proof reports: so the
//! choice is the same on every machine.

use crate::curve::{Form, Width};
use crate::integer::IntegerProgram;
use crate::inverse::JunctionInput;

/// Bytes and cycles.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Cost {
    /// Flash: code, tables and the helpers of the compiler's library.
    pub bytes: u32,
    /// Clock cycles of a conversion, on average over the range.
    pub cycles: u32,
}

/// Flash without tables of a chain with a digital junction sensor and a converter below 16 bit.
pub const fn code_bytes(form: Form, width: Width) -> u32 {
    match (form, width) {
        (Form::Polynomial(1), Width::Narrow) => 452,
        (Form::Polynomial(2), Width::Narrow) => 510,
        (Form::Polynomial(3), Width::Narrow) => 550,
        (Form::Polynomial(_), Width::Narrow) => 572,
        (Form::Quotient, _) => 618,
        (Form::Polynomial(1), Width::Wide) => 672,
        (Form::Polynomial(2), Width::Wide) => 730,
        (Form::Polynomial(3), Width::Wide) => 776,
        (Form::Polynomial(_), Width::Wide) => 818,
    }
}

/// Estimated from the form and the table.
pub fn estimate(program: &IntegerProgram) -> Cost {
    let curve = &program.curve;
    let mut bytes = code_bytes(curve.form, curve.width) as i32 + program.table_bytes() as i32;
    if program.junction_input == JunctionInput::None {
        bytes -= 60;
    }
    if program.bits == program.aligned_bits {
        bytes -= 26;
    }
    if program.wide_result() {
        bytes += 16;
    }
    if program.aligned_bits == 24 {
        bytes += 140;
    }
    // Segments are looked for from the top: half of them on average.
    let searched = |rows: usize| 9 * rows as u32 / 2;
    let (evaluation, one_bend, mut cycles) = match curve.width {
        Width::Narrow => (60, 42, 1490),
        Width::Wide => (150, 65, 1830),
    };
    let bend = match curve.form {
        Form::Polynomial(degree) => one_bend * (degree - 1),
        Form::Quotient => 660,
    };
    let one = |rows: usize| searched(rows) + evaluation + bend;
    if program.aligned_bits == 24 {
        cycles += 205;
    }
    // Without a shift of whole codes there is one call less.
    if program.bits == program.aligned_bits {
        cycles -= 45;
    }
    cycles += one(curve.rows.len());
    match &program.junction {
        Some(junction) => cycles += one(junction.curve.rows.len()),
        None => cycles -= 60,
    }
    Cost { bytes: bytes.max(0) as u32, cycles }
}
