//! What went wrong, told like a colleague at the bench: place, found, expected, a way out; and the exit code.

use std::fmt;
use std::io::{self, Write};
use std::process::ExitCode;
use std::sync::Arc;

use miette::{
    Diagnostic, GraphicalReportHandler, GraphicalTheme, LabeledSpan, NamedSource, Severity, SourceCode,
};

/// Why a verb could not do its work.
#[derive(Debug)]
pub enum Failure {
    /// What the user gave can't be used: exit code 2.
    BadInput(Vec<Problem>),
    /// The chain file is refused, with all that is wrong with it: exit code 2.
    Refused(Box<icepoint_chain::file::Refused>),
    /// The machine failed: exit code 3.
    Machine {
        /// What was being done.
        doing: String,
        /// What the machine said.
        error: io::Error,
    },
    /// Whoever read our output has gone: nothing to say, nothing went wrong.
    ReaderGone,
}

impl From<io::Error> for Failure {
    fn from(error: io::Error) -> Failure {
        match error.kind() {
            io::ErrorKind::BrokenPipe => Failure::ReaderGone,
            _ => Failure::Machine { doing: "writing the answer".into(), error },
        }
    }
}

/// One thing that is wrong, and where.
#[derive(Clone, Debug)]
pub struct Problem {
    /// Stable code, such as `quantity.no_unit`.
    pub code: &'static str,
    /// What was found.
    pub message: String,
    /// Where: the text and its name.
    pub source: Option<Box<NamedSource<Arc<str>>>>,
    /// The bytes of that text to point at.
    pub span: std::ops::Range<usize>,
    /// A few words at the caret.
    pub label: String,
    /// What was expected and a way out.
    pub help: Option<String>,
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.message)
    }
}

impl std::error::Error for Problem {}

impl Diagnostic for Problem {
    fn code<'a>(&'a self) -> Option<Box<dyn fmt::Display + 'a>> {
        Some(Box::new(self.code))
    }
    fn severity(&self) -> Option<Severity> {
        Some(Severity::Error)
    }
    fn help<'a>(&'a self) -> Option<Box<dyn fmt::Display + 'a>> {
        self.help.as_ref().map(|help| Box::new(help) as Box<dyn fmt::Display>)
    }
    fn source_code(&self) -> Option<&dyn SourceCode> {
        self.source.as_deref().map(|source| source as &dyn SourceCode)
    }
    fn labels(&self) -> Option<Box<dyn Iterator<Item = LabeledSpan> + '_>> {
        self.source.as_ref()?;
        // An empty span draws no caret: point at one column at least.
        Some(Box::new(std::iter::once(LabeledSpan::new(
            Some(self.label.clone()),
            self.span.start,
            self.span.len(),
        ))))
    }
}

impl From<icepoint_chain::file::Refused> for Failure {
    fn from(refused: icepoint_chain::file::Refused) -> Failure {
        Failure::Refused(Box::new(refused))
    }
}

impl From<icepoint_chain::ModelError> for Failure {
    fn from(error: icepoint_chain::ModelError) -> Failure {
        let help = "the circuit's values and the amplifiers' figures in the chain file decide this";
        Failure::bad_input("chain.no_prediction", error.to_string(), Some(help.into()))
    }
}

impl From<icepoint_design::compare::CompareError> for Failure {
    fn from(error: icepoint_design::compare::CompareError) -> Failure {
        match error {
            icepoint_design::compare::CompareError::Refused(refused) => refused.into(),
            icepoint_design::compare::CompareError::Model(error) => error.into(),
        }
    }
}

impl Failure {
    /// One problem without a place in a text.
    pub fn bad_input(code: &'static str, message: String, help: Option<String>) -> Failure {
        Failure::BadInput(vec![Problem {
            code,
            message,
            source: None,
            span: 0..0,
            label: String::new(),
            help,
        }])
    }

    /// Says it on standard error and gives the exit code.
    pub fn report(&self) -> ExitCode {
        let mut err = io::stderr().lock();
        // Nothing is left to do when standard error is gone too.
        let _ = self.write(&mut err);
        ExitCode::from(match self {
            Failure::ReaderGone => 0,
            Failure::BadInput(_) | Failure::Refused(_) => 2,
            Failure::Machine { .. } => 3,
        })
    }

    fn write(&self, err: &mut dyn Write) -> io::Result<()> {
        match self {
            Failure::ReaderGone => Ok(()),
            Failure::Machine { doing, error } => writeln!(err, "error: {doing}: {error}"),
            Failure::BadInput(problems) => say(err, problems),
            Failure::Refused(refused) => write!(err, "{}", refused.drawn(colour())),
        }
    }
}

/// Draws the problems, the first twenty of them: a thousand bad lines are one mistake made a thousand times.
pub fn say(err: &mut dyn Write, problems: &[Problem]) -> io::Result<()> {
    const SHOWN: usize = 20;
    let handler = handler();
    for (number, problem) in problems.iter().take(SHOWN).enumerate() {
        if number > 0 {
            writeln!(err)?;
        }
        let mut text = String::new();
        match handler.render_report(&mut text, problem) {
            Ok(()) => write!(err, "{text}")?,
            Err(_) => writeln!(err, "error: {problem}")?,
        }
    }
    match problems.len().saturating_sub(SHOWN) {
        0 => Ok(()),
        more => writeln!(err, "... and {more} more with a problem"),
    }
}

/// Colour on a terminal only, and not with `NO_COLOR`.
pub fn colour() -> bool {
    use std::io::IsTerminal;
    std::env::var_os("NO_COLOR").is_none_or(|value| value.is_empty()) && io::stderr().is_terminal()
}

/// The drawn frame stays without colour: it is what shows the place.
fn handler() -> GraphicalReportHandler {
    let theme = if colour() { GraphicalTheme::unicode() } else { GraphicalTheme::unicode_nocolor() };
    GraphicalReportHandler::new_themed(theme).with_width(100).with_links(false)
}
