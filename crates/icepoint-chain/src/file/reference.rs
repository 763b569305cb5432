//! The reference part of `docs/chain-file.md` and of `docs/quantities.md`, printed from the tables that the reader
//! itself uses, so that neither can go stale. Tests compare both files with it.

use super::Method;
use super::defaults;
use super::keys::{Presence, SECTIONS, Section};
use crate::front_end::{SlotKind, library};
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

/// Every built-in front end with its drawing and its values, as Markdown.
pub fn front_ends() -> String {
    let mut text = String::new();
    for ((id, source), circuit) in library::TEXTS.iter().zip(library::all()) {
        let _ =
            writeln!(text, "### `{id}`\n\n{}{}.\n", circuit.title[..1].to_uppercase(), &circuit.title[1..]);
        text += &described(source);
        text += "| part | job | usual | may be chosen | chosen with |\n|---|---|---|---|---|\n";
        for slot in &circuit.slots {
            let unit = if slot.kind == SlotKind::Resistor { Unit::Ohm } else { Unit::Farad };
            let shown = |value: f64| format(value, unit, 3);
            let (usual, range) = match &slot.tie {
                Some(tie) if tie.ratio == 1.0 => (format!("that of {}", tie.to), String::new()),
                Some(tie) => (format!("{} times that of {}", tie.ratio, tie.to), String::new()),
                None => (shown(slot.usual), format!("{} to {}", shown(slot.limits.0), shown(slot.limits.1))),
            };
            let network = slot.network.as_ref().map_or_else(String::new, |n| format!("; in network {n}"));
            let _ = writeln!(
                text,
                "| {} | {}{network} | {usual} | {range} | {} |",
                slot.designator,
                slot.purpose,
                slot.role.as_deref().unwrap_or("")
            );
        }
        let records: Vec<&str> = circuit.records().iter().map(|(name, _)| *name).collect();
        let records = if records.is_empty() { "none".to_owned() } else { records.join(", ") };
        let compensation = format!("`method = \"{}\"`", Method::wanted_by(circuit).word());
        let points: Vec<String> =
            circuit.test_points.iter().map(|p| format!("{} {}", p.label, p.what)).collect();
        let _ = writeln!(
            text,
            "\nReference junction: {compensation}. Records in `[front_end]`: {records}. Test points: {}.\n",
            points.join("; ")
        );
    }
    text
}

/// The comment at the head of a text: indented lines are a drawing, the others paragraphs.
fn described(source: &str) -> String {
    let comment = source.lines().map_while(|line| line.strip_prefix('#'));
    let mut text = String::new();
    let mut drawn = false;
    // The first paragraph repeats the title.
    for line in comment.skip_while(|line| !line.is_empty()).skip(1) {
        let line = line.strip_prefix(' ').unwrap_or(line);
        let drawing = line.starts_with("  ") || (drawn && line.is_empty());
        if drawing != drawn {
            // An empty line between a drawing and a paragraph is put after the fence.
            text = text.trim_end_matches('\n').to_owned();
            text += if drawing { "\n\n```text\n" } else { "\n```\n\n" };
            drawn = drawing;
        }
        text += line;
        text.push('\n');
    }
    text.trim_start_matches('\n').to_owned() + "\n"
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
