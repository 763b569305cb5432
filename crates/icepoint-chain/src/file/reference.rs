//! The reference part of `docs/chain-file.md` and of `docs/quantities.md`, printed from the tables that the reader
//! itself uses, so that neither can go stale. Tests compare both files with it.

use super::defaults;
use super::keys::{Presence, SECTIONS, Section};
use crate::quantity::spellings::{ACCEPTED, WITH_TOLERANCE};
use crate::quantity::{Unit, format};
use std::fmt::Write;

/// Every section with its keys, as Markdown.
pub fn sections() -> String {
    let mut text = String::new();
    for section in SECTIONS {
        let name = section.path.replace('*', "NAME");
        let presence = if section.required { "" } else { " (optional)" };
        let _ = writeln!(text, "### `[{name}]`{presence}\n\n{}\n", section.meaning);
        text += "| key | what | example | without it | possible |\n|---|---|---|---|---|\n";
        for key in section.keys {
            let name = if key.name == "*" { "*designator*".to_owned() } else { format!("`{}`", key.name) };
            let when =
                if key.when.is_empty() { String::new() } else { format!("; only with `{}`", key.when) };
            let bound = key.bound.map_or_else(String::new, super::bounds::Bound::text);
            let _ = writeln!(
                text,
                "| {name} | {}{when}: {} | `{}` | {} | {bound} |",
                key.meaning,
                key.kind.text().replace('|', "\\|"),
                key.example,
                without(section, key.name, key.presence),
            );
        }
        text.push('\n');
    }
    text
}

fn without(section: &Section, key: &str, presence: Presence) -> String {
    match presence {
        Presence::Required => "refused".into(),
        Presence::Optional => "nothing is assumed".into(),
        Presence::Default => {
            defaults::of(section.path, key).map_or_else(String::new, |d| format!("`{}`", d.text))
        }
    }
}

/// Every default with its reason and source, as Markdown.
pub fn assumptions() -> String {
    let mut text = "| key | default | reason | source |\n|---|---|---|---|\n".to_owned();
    for d in defaults::DEFAULTS {
        let _ = writeln!(
            text,
            "| `{}` | `{}` | {} | {} |",
            d.key.replace('*', "NAME"),
            d.text,
            d.reason,
            d.source
        );
    }
    text
}

/// Every accepted spelling of a quantity, as Markdown.
pub fn spellings() -> String {
    let mut text = String::new();
    for unit in Unit::ALL {
        let lines: Vec<_> = ACCEPTED.iter().filter(|(u, _, _)| u == unit).collect();
        if lines.is_empty() {
            continue;
        }
        let noun = unit.noun();
        let _ =
            writeln!(text, "**{}{}**\n\n| written | is |\n|---|---|", noun[..1].to_uppercase(), &noun[1..]);
        for (_, spelling, value) in lines {
            let _ = writeln!(text, "| `{spelling}` | {} |", format(*value, *unit, 6));
        }
        text.push('\n');
    }
    text += "**With a tolerance**\n\n| written | from | to |\n|---|---|---|\n";
    for (unit, spelling, value, half_width) in WITH_TOLERANCE {
        let _ = writeln!(
            text,
            "| `{spelling}` | {} | {} |",
            format(value - half_width, *unit, 6),
            format(value + half_width, *unit, 6)
        );
    }
    text
}
