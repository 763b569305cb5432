//! The command line: verbs of the trade, each in its own file; no physics here.

mod bench_sheet;
mod boards;
mod budget;
mod calibrate;
mod calibrate_files;
mod calibrate_json;
mod chain_file;
mod circuit;
mod design;
mod emf;
mod failure;
mod firmware;
mod front_ends;
mod places;
mod point;
mod progress;
mod table;
mod trims;
mod values;

use std::ffi::OsString;
use std::io::{self, BufWriter, Write};
use std::process::ExitCode;

use clap::{CommandFactory, Parser, Subcommand};

use failure::Failure;

/// From a need to a thermocouple board whose error is known.
#[derive(Debug, Parser)]
#[command(
    name = "icepoint",
    version,
    arg_required_else_help = true,
    after_help = "Exit codes: 0 done, 1 the answer is no, 2 bad input, 3 failure of the machine.\n\
                  A measuring board is not a safety cut-out: that must be independent."
)]
struct Cli {
    #[command(subcommand)]
    verb: Verb,
}

#[derive(Debug, Subcommand)]
enum Verb {
    /// Choose part values for a chain file and write the dossier of the board
    Design(design::DesignArguments),
    /// How far off the reading can be, and why
    Budget(budget::BudgetArguments),
    /// The built-in front ends, and the text of one to alter in a chain file
    Circuit(circuit::CircuitArguments),
    /// Constants for a board from its readings, and how good it then is everywhere
    Calibrate(calibrate::CalibrateArguments),
    /// Many calibrated boards of one design: their spread against the prediction
    Boards(boards::BoardsArguments),
    /// Firmware that turns the converter's code into a temperature, and its proof on every code
    Firmware(firmware::FirmwareArguments),
    /// What a soldered board should show at each test point and with each millivolt set: a page and a CSV to work from
    #[command(name = "bench-sheet")]
    BenchSheet(bench_sheet::BenchSheetArguments),
    /// Voltage of a thermocouple at given temperatures, with sensitivity and tolerance
    Emf(emf::EmfArguments),
    /// Temperature of a thermocouple from its voltage, with sensitivity and tolerance
    Temperature(emf::TemperatureArguments),
    /// A table of voltage against temperature, or of temperature against voltage
    Table(table::TableArguments),
    /// Print a completion script for a shell
    #[command(
        after_help = "Example:\n  icepoint completions bash > ~/.local/share/bash-completion/completions/icepoint"
    )]
    Completions {
        /// The shell
        shell: clap_complete::Shell,
    },
}

/// What a verb found out, when it could do its work at all.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Answer {
    /// Done, or yes.
    Yes,
    /// No: exit code 1.
    No,
}

fn run(verb: Verb, out: &mut dyn Write) -> Result<Answer, Failure> {
    match verb {
        Verb::Design(arguments) => design::design(&arguments, out),
        Verb::Budget(arguments) => budget::budget(&arguments, out),
        Verb::Circuit(arguments) => circuit::circuit(&arguments, out),
        Verb::Calibrate(arguments) => calibrate::calibrate(&arguments, out),
        Verb::Boards(arguments) => boards::boards(&arguments, out),
        Verb::Firmware(arguments) => firmware::firmware(&arguments, out),
        Verb::BenchSheet(arguments) => bench_sheet::bench_sheet(&arguments, out),
        Verb::Emf(arguments) => emf::emf(&arguments, out),
        Verb::Temperature(arguments) => emf::temperature(&arguments, out),
        Verb::Table(arguments) => table::table(&arguments, out),
        Verb::Completions { shell } => {
            // Into memory first: the generator panics when a pipe breaks under it.
            let mut script = Vec::new();
            clap_complete::generate(shell, &mut Cli::command(), "icepoint", &mut script);
            out.write_all(&script)?;
            Ok(Answer::Yes)
        }
    }
}

/// A negative value such as `-80` or `-6.5mV` is no option: it is passed on with the true minus sign, which the parser of
/// quantities reads as well. (Letting clap accept leading hyphens would swallow the options after the first value.)
fn with_true_minus(argument: OsString) -> OsString {
    match argument.to_str().and_then(|text| text.strip_prefix('-')) {
        Some(rest) if rest.starts_with(|c: char| c.is_ascii_digit() || c == '.') => format!("−{rest}").into(),
        _ => argument,
    }
}

fn main() -> ExitCode {
    let cli = match Cli::try_parse_from(std::env::args_os().map(with_true_minus)) {
        Ok(cli) => cli,
        Err(error) => {
            // Help and version go to standard output and are no error; a broken pipe here is nobody's loss.
            let _ = error.print();
            return if error.use_stderr() { ExitCode::from(2) } else { ExitCode::SUCCESS };
        }
    };
    let mut out = BufWriter::new(io::stdout().lock());
    let result = run(cli.verb, &mut out).and_then(|answer| {
        out.flush()?;
        Ok(answer)
    });
    // The writer must not try again on its way out: what could be written is written.
    let _ = out.into_parts();
    match result {
        Ok(Answer::Yes) => ExitCode::SUCCESS,
        Ok(Answer::No) => ExitCode::from(1),
        Err(failure) => failure.report(),
    }
}
