//! From what people call a chain to a prefix that C and Rust take.

use crate::refusal::Refusal;

/// A longer prefix makes names that nobody reads.
const LONGEST: usize = 32;
/// Words that C99 or Rust keep for themselves. A prefix never stands alone in generated C, but it names the Rust module.
const KEPT: &[&str] = &[
    "abstract", "as", "async", "auto", "await", "become", "box", "break", "case", "char", "const",
    "continue", "crate", "default", "do", "double", "dyn", "else", "enum", "extern", "false", "final",
    "float", "fn", "for", "gen", "goto", "if", "impl", "in", "inline", "int", "let", "long", "loop", "macro",
    "match", "mod", "move", "mut", "override", "priv", "pub", "ref", "register", "restrict", "return",
    "self", "short", "signed", "sizeof", "static", "struct", "super", "switch", "trait", "true", "try",
    "type", "typedef", "typeof", "union", "unsafe", "unsigned", "unsized", "use", "virtual", "void",
    "volatile", "where", "while", "yield",
];

/// Small letters, digits and single underscores; what has no letter or digit in ASCII is left out.
///
/// # Errors
/// [`Refusal`] if nothing is left, or too much.
///
/// ```
/// use icepoint_firmware::identifier::prefix;
/// assert_eq!(prefix("burn-out kiln").as_deref(), Ok("burn_out_kiln"));
/// assert_eq!(prefix("2nd kiln").as_deref(), Ok("t2nd_kiln"));
/// assert_eq!(prefix("Öfen №3").as_deref(), Ok("fen_3"));
/// assert!(prefix("°°°").is_err());
/// ```
pub fn prefix(name: &str) -> Result<String, Refusal> {
    let mut out = String::new();
    for c in name.chars() {
        if c.is_ascii_alphanumeric() {
            out.push(c.to_ascii_lowercase());
        } else if !out.is_empty() && !out.ends_with('_') {
            out.push('_');
        }
    }
    let out = out.trim_end_matches('_');
    if name.trim().is_empty() {
        return Err(Refusal::new("firmware.name_empty", "the name is empty", "--name kiln"));
    }
    if out.is_empty() {
        return Err(Refusal::new(
            "firmware.name_symbols",
            format!("“{name}” has no letter or digit that a C identifier may have"),
            "--name kiln",
        ));
    }
    if out.len() > LONGEST {
        return Err(Refusal::new(
            "firmware.name_long",
            format!("“{name}” makes a prefix of {} letters, and {LONGEST} are enough", out.len()),
            "--name with a short word, such as kiln",
        ));
    }
    // A digit can't begin a name, and a keyword can't be one.
    let needs = out.starts_with(|c: char| c.is_ascii_digit()) || KEPT.contains(&out);
    Ok(if needs { format!("t{out}") } else { out.to_owned() })
}

/// The same in capitals, for macros.
pub fn capitals(prefix: &str) -> String {
    prefix.to_ascii_uppercase()
}
