//! The verb `circuit`: the built-in front ends, and the text of one, to be pasted into a chain file and altered there.

use std::io::Write;

use clap::Args;
use icepoint_chain::front_end::library;

use crate::Answer;
use crate::design::unknown;
use crate::failure::Failure;

/// Arguments of `circuit`.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  icepoint circuit
  icepoint circuit pedestal-amplifier >> kiln.toml

The text is the [circuit] section of a chain file (docs/chain-file.md). Take topology out of [front_end] or write
topology = \"own\"; amplifier and buffer there still name the records.")]
pub struct CircuitArguments {
    /// A built-in front end; all of them are listed without it
    #[arg(value_name = "NAME")]
    name: Option<String>,
}

/// Prints the text of a front end, or what there is.
pub fn circuit(arguments: &CircuitArguments, out: &mut dyn Write) -> Result<Answer, Failure> {
    let Some(name) = &arguments.name else {
        let widest = library::TEXTS.iter().map(|(id, _)| id.len()).max().unwrap_or(0);
        for blueprint in library::all() {
            writeln!(out, "{:widest$}  {}", blueprint.id, blueprint.title)?;
        }
        return Ok(Answer::Yes);
    };
    let Some(text) = library::text(name.trim()) else {
        let known: Vec<&str> = library::TEXTS.iter().map(|(id, _)| *id).collect();
        return Err(unknown("circuit.unknown", "built-in front end", name, &known));
    };
    write!(out, "{text}")?;
    Ok(Answer::Yes)
}
