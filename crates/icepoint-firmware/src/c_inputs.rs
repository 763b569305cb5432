//! What the C of whole numbers and of floats have in common: what is looked at before anything is computed, and the
//! conversion for codes below the width that the arithmetic works on.

use std::fmt::Write as _;

use crate::c_source::unsigned;
use crate::identifier::capitals;
use crate::inverse::JunctionInput;
use crate::states::{State, Thresholds};

/// Inputs of a program, as its C sees them.
pub(crate) struct Inputs<'a> {
    /// Prefix of every name.
    pub prefix: &'a str,
    /// Type of the converter's input.
    pub code: &'static str,
    /// Bits of the converter.
    pub bits: u32,
    /// Bits that the conversion takes, the code in the upper ones.
    pub aligned_bits: u32,
    /// Codes at which a state changes.
    pub thresholds: &'a Thresholds,
    /// What the junction's input is.
    pub junction_input: JunctionInput,
    /// Range of the junction's input, where there is one.
    pub junction_range: Option<(i32, i32)>,
}

impl Inputs<'_> {
    /// Returns with a state for inputs that have no temperature; a falling chain's code is turned round.
    pub(crate) fn guards(&self) -> String {
        let up = capitals(self.prefix);
        let mut out = String::new();
        if let Some((low, high)) = self.junction_range {
            let (low, high) = match self.junction_input {
                JunctionInput::Temperature => (low.to_string(), high.to_string()),
                _ => (unsigned(low as u32), unsigned(high as u32)),
            };
            let _ = writeln!(
                out,
                "    if (junction < {low} || junction > {high}) {{\n        return {up}_JUNCTION_OUT_OF_RANGE;\n    }}"
            );
        }
        let top = unsigned(self.thresholds.top);
        // Codes of 16 bits can lie beyond the top unless they all are codes.
        if !(self.aligned_bits == 16 && self.thresholds.top == 65535) {
            let _ = writeln!(out, "    if (code > {top}) {{\n        code = {top};\n    }}");
        }
        if self.thresholds.falling {
            let _ = writeln!(out, "    code = ({})({top} - code);", self.code);
        }
        for (condition, state) in conditions(self.thresholds) {
            let _ = writeln!(
                out,
                "    if ({condition}) {{\n        return {up}_{};\n    }}",
                state.name().to_ascii_uppercase()
            );
        }
        out
    }

    /// The conversion of the converter's own codes, by the one called `aligned`; nothing where they are the same.
    pub(crate) fn of_codes(&self, aligned: &str, parameters: &str, result: &str) -> String {
        if self.bits == self.aligned_bits {
            return String::new();
        }
        let (p, code) = (self.prefix, self.code);
        let codes = (1u32 << self.bits) - 1;
        let shift = self.aligned_bits - self.bits;
        let (shifted, junction) = match self.junction_input {
            JunctionInput::None => (String::new(), ""),
            JunctionInput::Temperature => (String::new(), "junction, "),
            // What is no code becomes an input that is out of every range.
            JunctionInput::Divider(_) => (
                format!(
                    "    junction = ({code})(junction > {codes}u ? {}uL : (uint32_t)junction << {shift});\n",
                    (1u32 << self.aligned_bits) - 1
                ),
                "junction, ",
            ),
        };
        format!(
            "
{p}_state {p}_temperature({code} code{parameters}, {result} *result)
{{
    if (code > {codes}u) {{
        code = {codes}u;
    }}
{shifted}    return {aligned}(({code})(code << {shift}), {junction}calibration, result);
}}
"
        )
    }
}

/// States told by the code, in their order, without what can't happen.
pub(crate) fn conditions(t: &Thresholds) -> Vec<(String, State)> {
    let mut list = Vec::new();
    if let Some(from) = t.open_from {
        list.push((format!("code >= {}", unsigned(from)), State::SensorOpen));
    }
    if let Some(below) = t.open_below {
        list.push((format!("code < {}", unsigned(below)), State::SensorOpen));
    }
    let low = t.open_below.is_none_or(|below| below < t.low);
    let high = t.open_from.is_none_or(|from| from > t.high);
    let low_text = format!("code < {}", unsigned(t.low));
    let high_text = format!("code >= {}", unsigned(t.high));
    let saturated = match (low, high) {
        (true, true) => Some(format!("{low_text} || {high_text}")),
        (true, false) => Some(low_text),
        (false, true) => Some(high_text),
        (false, false) => None,
    };
    list.extend(saturated.map(|text| (text, State::ConverterSaturated)));
    if let Some(below) = t.reversed_below {
        list.push((format!("code < {}", unsigned(below)), State::SensorReversed));
    }
    list
}

/// The check value of constants that lie in so many bytes; its shift register, bit by bit, is shorter than a table.
pub(crate) fn calibration_check(p: &str, bytes: u32) -> String {
    format!(
        "uint16_t {p}_calibration_check(const {p}_calibration *calibration)
{{
    const uint8_t *byte = (const uint8_t *)calibration;
    uint16_t check = 0xffffu;
    uint8_t i;
    for (i = 0; i < {bits}u; i++) {{
        uint16_t out;
        if (i % 8u == 0u) {{
            check = (uint16_t)(check ^ (uint16_t)((uint16_t)*byte << 8));
            byte++;
        }}
        out = check & 0x8000u;
        check = (uint16_t)(check << 1);
        if (out) {{
            check ^= 0x1021u;
        }}
    }}
    return check;
}}

",
        bits = 8 * bytes
    )
}
