//! The dossier: everything the model says about one board, in the order in which a reader wants it.
//!
//! **In, out.** The chain file and the designed board in; one HTML page, the parts list as CSV and every picture as a
//! file of its own out. **No physics.** Each figure was computed by `icepoint-chain` or `icepoint-design`, or is asked
//! of the model here; [`derivations`] shows the formula behind the ones that matter, and a test evaluates what is
//! printed. **Same bytes.** No clock, no random numbers, no path: the same file gives the same page.

mod answer;
mod assumptions;
mod bench;
mod causes;
mod cautions;
mod circuit;
mod compared;
mod dynamics;
mod errors;
mod firmware;
mod junction;
mod low_pass;
mod need;
mod parts;
mod provenance;
pub(crate) mod trims;
mod words;
mod working;

use icepoint_bench::sheet::Setup;
use icepoint_bench::sheet::divider::Battery;
use icepoint_chain::ModelError;
use icepoint_chain::budget::{Budget, BudgetPoint};
use icepoint_chain::chain::{CalibrationMethod, CalibrationWish, Chain};
use icepoint_chain::file::ChainFile;
use icepoint_design::Design;
use maud::{Markup, html};

use crate::bench_sheet::{self, Made};
use crate::page::{self, Entry, Shown};
use crate::svg::{Frame, Picture};
use words::{celsius, typeset};

pub use firmware::{FirmwarePart, firmware_error};
pub use parts::parts_csv;
pub use provenance::fingerprint;
pub use working::{Check, Derivation, derivations};

/// What a dossier consists of.
#[derive(Clone, Debug)]
pub struct Dossier {
    /// The page: one file, no script, nothing fetched.
    pub html: String,
    /// The parts list, RFC 4180, UTF-8.
    pub parts_csv: String,
    /// The bench sheet: a page of its own, to print and write on.
    pub bench_html: String,
    /// The same figures with a column for what was measured, RFC 4180, UTF-8.
    pub bench_csv: String,
    /// Pictures that stand alone: file name without folder or ending, contents of the SVG file.
    pub pictures: Vec<(String, String)>,
    /// Firmware: file name, contents.
    pub firmware: Vec<(String, String)>,
}

/// Writes the dossier of a designed board.
///
/// # Errors
/// [`ModelError`] when the model has no answer in a situation that the page shows.
pub fn dossier(file: &ChainFile, design: &Design) -> Result<Dossier, ModelError> {
    // Without a proof nothing is written or started, so this can't fail.
    let firmware = FirmwarePart::new(file, design, false).map_err(|e| ModelError::Missing(e.to_string()))?;
    dossier_with(file, design, &firmware)
}

/// Writes the dossier of a designed board with its firmware, which may have been proved.
///
/// # Errors
/// As [`dossier`].
pub fn dossier_with(
    file: &ChainFile,
    design: &Design,
    firmware: &FirmwarePart,
) -> Result<Dossier, ModelError> {
    let subject = Subject::new(file, design);
    let mut pictures = Pictures::default();
    let sheet = sheet(file, design)?;
    let mut sections: Vec<(&str, &str, Markup)> = vec![
        ("answer", "The answer", answer::section(&subject)),
        ("need", "The need", need::section(&subject)),
    ];
    if !design.records.is_empty() {
        sections.push(("records", "Parts to choose among", compared::records(&subject)));
    }
    if let Some(table) = &design.compared {
        let content = compared::front_ends(&subject, table, &mut pictures);
        sections.push(("front-ends", "Front ends beside each other", content));
    }
    sections.extend([
        ("schematic", "Schematic", circuit::section(&subject, &mut pictures)),
        ("error-map", "Error over hot and board temperature", errors::map(&subject, &mut pictures)),
        ("error-band", "Error against hot temperature", errors::bands(&subject, &mut pictures)),
        ("causes", "Who causes it", causes::contributions(&subject, &mut pictures)),
        ("upgrades", "What an upgrade would buy, and what binds", causes::upgrades_and_limits(&subject)),
        ("yield", "Yield and spread", errors::chances(&subject, &mut pictures)),
        ("dynamics", "Filter, settling, noise", dynamics::section(&subject, &mut pictures)?),
        ("junction", "Reference junction and a broken sensor", junction::section(&subject)?),
        ("voltages", "Voltages to expect", bench::section(&subject, &sheet)?),
    ]);
    if let Some((heading, content)) = trims::section(design)? {
        sections.push(("trims", heading, content));
    }
    sections.extend([
        ("firmware", "Firmware", firmware::section(firmware, &mut pictures)),
        ("parts", "Parts list", parts::section(&subject)),
    ]);
    if !design.places.is_empty() {
        sections.push(("drawer", "From the drawer", compared::drawer(&subject)));
    }
    sections.extend([
        ("cautions", "Cautions", cautions::section(&subject)),
        ("assumptions", "Assumptions", assumptions::section(&subject)),
        ("working", "The working", working::section(&derivations(file, design)?)),
        ("provenance", "How it was computed", provenance::section(&subject)),
    ]);
    let entries: Vec<Entry> = sections
        .iter()
        .map(|(id, heading, _)| Entry { id: (*id).to_owned(), heading: (*heading).to_owned() })
        .collect();
    let body = html! {
        @for (index, (id, heading, content)) in sections.iter().enumerate() {
            (page::section(id, index + 1, heading, content))
        }
    };
    let title = words::sentence(&subject.chain.name);
    let html = page::document(&title, &subject.subtitle(), &entries, &body);
    Ok(Dossier {
        html,
        parts_csv: parts_csv(file, design),
        bench_html: sheet.html,
        bench_csv: sheet.csv,
        pictures: pictures.files,
        firmware: firmware.files(),
    })
}

/// The bench sheet at the board temperature of the calibration plan.
fn sheet(file: &ChainFile, design: &Design) -> Result<Made, ModelError> {
    let setup = Setup::of(file, design.model.chain());
    // Whoever designed from a drawer has read it; without one the series will do.
    let drawer = icepoint_chain::drawer::of(file).ok().flatten();
    bench_sheet::make(file, &design.model, &setup, Battery::USUAL, drawer.as_ref())
}

/// What the sections are about.
#[derive(Clone, Copy)]
struct Subject<'a> {
    file: &'a ChainFile,
    design: &'a Design,
    chain: &'a Chain,
    budget: &'a Budget,
    /// The calibration that the owner is willing to do.
    wish: CalibrationWish,
}

impl<'a> Subject<'a> {
    fn new(file: &'a ChainFile, design: &'a Design) -> Self {
        let chain = design.model.chain();
        Self { file, design, chain, budget: &design.budget, wish: chain.need.calibration }
    }

    fn subtitle(&self) -> String {
        format!(
            "Type {} from {}, board from {}: {}.",
            self.chain.probe.letter.name(),
            words::celsius_span(self.chain.need.hot),
            words::celsius_span(self.chain.need.board),
            self.chain.front_end.title
        )
    }

    /// Words for a choice of calibration with its temperatures.
    fn calibration(&self, wish: CalibrationWish) -> String {
        let at: Vec<String> = self.chain.plan.at.iter().take(wish.points()).map(|t| celsius(*t)).collect();
        match wish {
            CalibrationWish::None => "as built, no calibration".to_owned(),
            CalibrationWish::Zero => format!("one point, {}", at.join(" and ")),
            CalibrationWish::ZeroAndSpan => format!("two points, {}", at.join(" and ")),
        }
    }

    /// Short words for a choice of calibration.
    fn short(wish: CalibrationWish) -> &'static str {
        match wish {
            CalibrationWish::None => "as built",
            CalibrationWish::Zero => "after one point",
            CalibrationWish::ZeroAndSpan => "after two points",
        }
    }

    /// What stands in for the known temperature.
    fn method(&self) -> &'static str {
        match self.chain.plan.method {
            CalibrationMethod::MillivoltSource { .. } => "a millivolt source at the terminals",
            CalibrationMethod::KnownTemperature { .. } => "the probe at a known temperature",
        }
    }

    /// “1100 °C, board at 55 °C”.
    fn place(point: &BudgetPoint) -> String {
        format!("{}, board at {}", celsius(point.hot), celsius(point.board))
    }

    /// The grid point of a calibration choice nearest to these temperatures.
    fn point(&self, wish: CalibrationWish, hot: f64, board: f64) -> Option<&'a BudgetPoint> {
        let distance = |p: &BudgetPoint| (p.hot - hot).abs() + (p.board - board).abs();
        self.budget.of(wish).iter().min_by(|a, b| distance(a).total_cmp(&distance(b)))
    }

    /// Extremes of the worst case over the grid.
    fn worst_case(&self, wish: CalibrationWish) -> (f64, f64) {
        self.budget
            .of(wish)
            .iter()
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), p| (a.min(p.worst.low), b.max(p.worst.high)))
    }
}

/// Numbers the figures and keeps each picture as a file.
#[derive(Default)]
struct Pictures {
    count: usize,
    files: Vec<(String, String)>,
}

impl Pictures {
    /// A picture in two layouts.
    fn both(&mut self, name: &str, caption: &str, draw: &dyn Fn(Frame) -> Picture) -> Markup {
        let (wide, narrow) = (draw(Frame::Wide), draw(Frame::Narrow));
        self.keep(name, &wide);
        page::figure(self.count, &typeset(caption), Shown::Both { wide: &wide, narrow: &narrow })
    }

    /// A picture in one layout, which scrolls on a narrow page.
    fn scrolling(&mut self, name: &str, caption: &str, picture: &Picture) -> Markup {
        self.keep(name, picture);
        page::figure(self.count, &typeset(caption), Shown::Scrolling(picture))
    }

    fn keep(&mut self, name: &str, picture: &Picture) {
        self.count += 1;
        self.files.push((name.to_owned(), picture.to_file()));
    }
}
