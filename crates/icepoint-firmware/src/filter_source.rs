//! The filter as C99 and as Rust.

use std::fmt::Write as _;

use crate::c_source::{code_type, unsigned};
use crate::filter::FilterProgram;
use crate::integer::IntegerProgram;

/// Declarations for the header; `about` is the sampling schedule.
pub fn c_header(program: &IntegerProgram, filter: FilterProgram, p: &str, about: &str) -> String {
    let code = code_type(program);
    let sum = sum_type(program, filter);
    let fields = match filter {
        FilterProgram::Mean { .. } => format!("    {sum} sum;\n    uint32_t count;\n"),
        FilterProgram::FirstOrder { .. } => format!("    {sum} state;\n    uint8_t started;\n"),
        FilterProgram::Sinc { order, .. } => {
            format!(
                "    {sum} sum[{order}];\n    {sum} before[{order}];\n    uint32_t count;\n    uint8_t settled;\n"
            )
        }
    };
    let entry = entry(program, p);
    let mut text = String::new();
    for line in wrapped(about) {
        let _ = writeln!(text, " * {line}");
    }
    format!(
        "
/* The digital filter. Begin with all zeros.
{text} */
typedef struct {{
{fields}}} {p}_filter;

/* Takes a code of the converter; 1 when there is a result for {entry}. */
uint8_t {p}_filter_add({p}_filter *filter, {code} code, {code} *fine);
"
    )
}

fn wrapped(text: &str) -> Vec<String> {
    let mut lines = vec![String::new()];
    for word in text.split_whitespace() {
        if lines.last().is_some_and(|l| !l.is_empty() && l.len() + word.len() > 100) {
            lines.push(String::new());
        }
        if let Some(line) = lines.last_mut() {
            if !line.is_empty() {
                line.push(' ');
            }
            line.push_str(word);
        }
    }
    lines
}

fn entry(program: &IntegerProgram, p: &str) -> String {
    if program.bits < program.aligned_bits {
        format!("{p}_temperature_fine")
    } else {
        format!("{p}_temperature")
    }
}

fn sum_type(program: &IntegerProgram, filter: FilterProgram) -> &'static str {
    if filter.wide(program.aligned_bits) { "uint64_t" } else { "uint32_t" }
}

/// The function for the source.
pub fn c_source(program: &IntegerProgram, filter: FilterProgram, p: &str) -> String {
    let code = code_type(program);
    let sum = sum_type(program, filter);
    let suffix = if sum == "uint64_t" { "uLL" } else { "uL" };
    let shift = program.aligned_bits - program.bits;
    let aligned = format!("(({sum})code << {shift})");
    let body = match filter {
        FilterProgram::Mean { count } => format!(
            "    filter->sum += {aligned};
    filter->count++;
    if (filter->count < {count}u) {{
        return 0;
    }}
    *fine = ({code})((filter->sum + {half}u) / {count}u);
    filter->sum = 0;
    filter->count = 0;
    return 1;
",
            half = count / 2
        ),
        FilterProgram::FirstOrder { share } => format!(
            "    {sum} target = {aligned} << 16;
    {sum} way;
    if (!filter->started) {{
        filter->started = 1;
        filter->state = target;
    }}
    way = target >= filter->state ? target - filter->state : filter->state - target;
    way = (way >> 16) * {share}u + (((way & 0xffffu) * {share}u) >> 16);
    filter->state = target >= filter->state ? filter->state + way : filter->state - way;
    *fine = ({code})((filter->state >> 16) + ((filter->state >> 15) & 1u));
    return 1;
"
        ),
        FilterProgram::Sinc { order, decimation } => format!(
            "    {sum} value = {aligned};
    uint8_t i;
    for (i = 0; i < {order}u; i++) {{
        filter->sum[i] += value;
        value = filter->sum[i];
    }}
    filter->count++;
    if (filter->count < {decimation}u) {{
        return 0;
    }}
    filter->count = 0;
    for (i = 0; i < {order}u; i++) {{
        {sum} difference = value - filter->before[i];
        filter->before[i] = value;
        value = difference;
    }}
    if (filter->settled < {order}u) {{
        filter->settled++;
    }}
    if (filter->settled < {order}u) {{
        return 0;
    }}
    *fine = ({code})((value + {half}{suffix}) / {gain}{suffix});
    return 1;
",
            half = filter.gain() / 2,
            gain = filter.gain()
        ),
    };
    let clamp = last_code(program).map_or(String::new(), |last| {
        format!("    if (code > {0}) {{\n        code = {0};\n    }}\n", unsigned(last))
    });
    format!("\nuint8_t {p}_filter_add({p}_filter *filter, {code} code, {code} *fine)\n{{\n{clamp}{body}}}\n")
}

/// The highest code, if the type of codes holds more: what is none must not wrap in the sum and read as a temperature.
fn last_code(program: &IntegerProgram) -> Option<u32> {
    (program.bits != 16).then_some((1 << program.bits) - 1)
}

/// The type for the Rust module.
pub fn rust(program: &IntegerProgram, filter: FilterProgram, about: &str) -> String {
    let code = if program.aligned_bits == 16 { "u16" } else { "u32" };
    let shift = program.aligned_bits - program.bits;
    let clamped = last_code(program).map_or("code".to_owned(), |last| format!("code.min({last})"));
    let mut text = String::new();
    for line in wrapped(about) {
        let _ = writeln!(text, "/// {line}");
    }
    let (fields, body) = match filter {
        FilterProgram::Mean { count } => (
            "    sum: u64,\n    count: u32,\n".to_owned(),
            format!(
                "        self.sum += aligned;
        self.count += 1;
        if self.count < {count} {{
            return None;
        }}
        let fine = (self.sum + {}) / {count};
        *self = Self::default();
        Some(fine as {code})
",
                count / 2
            ),
        ),
        FilterProgram::FirstOrder { share } => (
            "    state: u64,\n    started: bool,\n".to_owned(),
            format!(
                "        let target = aligned << 16;
        if !self.started {{
            (self.started, self.state) = (true, target);
        }}
        let way = target.abs_diff(self.state);
        let way = (way >> 16) * {share} + (((way & 0xffff) * {share}) >> 16);
        if target >= self.state {{
            self.state += way;
        }} else {{
            self.state -= way;
        }}
        Some(((self.state >> 16) + ((self.state >> 15) & 1)) as {code})
"
            ),
        ),
        FilterProgram::Sinc { order, decimation } => (
            format!(
                "    sum: [u64; {order}],\n    before: [u64; {order}],\n    count: u32,\n    settled: u8,\n"
            ),
            format!(
                "        let mut value = aligned;
        for sum in &mut self.sum {{
            *sum = sum.wrapping_add(value);
            value = *sum;
        }}
        self.count += 1;
        if self.count < {decimation} {{
            return None;
        }}
        self.count = 0;
        for before in &mut self.before {{
            let difference = value.wrapping_sub(*before);
            *before = value;
            value = difference;
        }}
        if self.settled < {order} {{
            self.settled += 1;
        }}
        if self.settled < {order} {{
            return None;
        }}
        Some(((value + {}) / {}) as {code})
",
                filter.gain() / 2,
                filter.gain()
            ),
        ),
    };
    format!(
        "
/// The digital filter. Begin with [`Default`].
///
{text}#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Filter {{
{fields}}}

impl Filter {{
    /// Takes a code of the converter; gives a result when there is one, in parts of a code.
    pub fn add(&mut self, code: {code}) -> Option<{code}> {{
        let aligned = ({clamped} as u64) << {shift};
{body}    }}
}}
"
    )
}
