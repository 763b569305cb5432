//! The bench sheet as a page to print and write on.
//!
//! **In, out.** A [`BenchSheet`] with its chain in, one HTML page out. **No physics.** Every figure was computed by
//! `icepoint-bench`. Made for paper first: black on white tells everything, colours only help.

mod cautions;
mod source;
mod steps;
mod wrong;

use icepoint_bench::references::{Leads, Sharing};
use icepoint_bench::sheet::divider::{Battery, Divider, dividers, resistors};
use icepoint_bench::sheet::{BenchSheet, Expected, Setup};
use icepoint_chain::chain::Chain;
use icepoint_chain::drawer::Drawer;
use icepoint_chain::file::ChainFile;
use icepoint_chain::quantity::{Unit, format};
use icepoint_chain::{Model, ModelError};
use maud::{Markup, html};

use crate::dossier::trims::{self, Adjusting};
use crate::number::{MINUS, fixed, plain, significant};
use crate::page::{self, Entry};

/// A blank that does not break.
const NBSP: char = '\u{a0}';

/// What the page is about.
#[derive(Clone, Copy, Debug)]
pub struct Subject<'a> {
    /// The chain that was asked.
    pub chain: &'a Chain,
    /// Its figures.
    pub sheet: &'a BenchSheet,
    /// Battery and ohmmeter of the dividers.
    pub battery: Battery,
    /// A divider for each test temperature that can be had.
    pub dividers: &'a [Divider],
    /// What is turned on this board, if anything.
    pub(crate) adjusting: Option<&'a Adjusting>,
    /// Where the resistors come from: “the drawer drawer.csv”, “E24, 1 %”.
    pub resistors: &'a str,
}

/// A sheet with its sources from two resistors, written out.
#[derive(Clone, Debug)]
pub struct Made {
    /// The figures.
    pub sheet: BenchSheet,
    /// Dividers.
    pub dividers: Vec<Divider>,
    /// The page.
    pub html: String,
    /// The table.
    pub csv: String,
    /// What the dossier shows of it.
    pub summary: Markup,
}

/// Computes the sheet of a board and writes it out. Without a drawer the dividers are of the chain file's series.
///
/// # Errors
/// [`ModelError`] when a board that was drawn can't be solved.
pub fn make(
    file: &ChainFile,
    model: &Model,
    setup: &Setup,
    battery: Battery,
    drawer: Option<&Drawer>,
) -> Result<Made, ModelError> {
    let sheet = BenchSheet::new(model, setup)?;
    let parts = &file.parts.resistors;
    let at_hand = resistors(drawer, *parts.series, *parts.tolerance);
    let dividers = dividers(model, setup, battery, &at_hand)?;
    let resistors = match (drawer, &file.parts.drawer) {
        // The name that the chain file uses: a path would differ from machine to machine.
        (Some(_), Some(name)) => format!("the drawer {}", name.value),
        _ => format!("{}, {}", parts.series.name(), quantity(*parts.tolerance, Unit::Ratio, 3)),
    };
    // A board that was calibrated is not adjusted again.
    let adjusting = if model.findings().is_some() { None } else { Adjusting::at(model, setup.board)? };
    let subject = Subject {
        chain: model.chain(),
        sheet: &sheet,
        battery,
        dividers: &dividers,
        adjusting: adjusting.as_ref(),
        resistors: &resistors,
    };
    let (html, csv, summary) = (page(&subject), sheet.csv(model.chain()), summary(&subject));
    Ok(Made { sheet, dividers, html, csv, summary })
}

/// The page.
#[must_use]
pub fn page(subject: &Subject<'_>) -> String {
    let mut sections: Vec<(&str, &str, Markup)> = vec![
        ("before", "Before you start", cautions::section(subject)),
        ("order", "Order of work", steps::order(subject)),
        ("shorted", "Terminals shorted", steps::shorted(subject)),
        ("injection", "Millivolts at the terminals", steps::injection(subject)),
        ("normal", "Test points at a normal input", steps::normal(subject)),
        ("open", "Sensor, and sensor open", steps::open(subject)),
        ("source", "A source from a battery and two resistors", source::section(subject)),
        ("wrong", "When something is off", wrong::section(subject)),
        ("known", "How these figures are known", known(subject)),
    ];
    if let Some(adjusting) = subject.adjusting {
        let at = sections.iter().position(|(id, ..)| *id == "source").unwrap_or(sections.len());
        sections.insert(at, ("adjusting", "Adjusting", trims::work(subject.chain, adjusting)));
    }
    let entries: Vec<Entry> = sections
        .iter()
        .map(|(id, heading, _)| Entry { id: (*id).to_owned(), heading: (*heading).to_owned() })
        .collect();
    let body = html! {
        (fields(subject))
        @for (index, (id, heading, content)) in sections.iter().enumerate() {
            (page::section(id, index + 1, heading, content))
        }
    };
    let name = &subject.chain.name;
    let subtitle = format!(
        "Type {}, board at {}. {}.",
        subject.chain.probe.letter.name(),
        celsius(subject.sheet.setup.board),
        sentence(&subject.chain.front_end.title)
    );
    page::document(&format!("Bench sheet: {name}"), &subtitle, &entries, &body)
}

/// The part of the sheet that the dossier shows: test points with their bands and the readings with a source.
#[must_use]
pub fn summary(subject: &Subject<'_>) -> Markup {
    html! {
        (steps::point_table(subject, "Terminals shorted", |p| Some(p.shorted), false))
        (steps::injection_table(subject, false))
    }
}

fn fields(s: &Subject<'_>) -> Markup {
    let board = format!("Board at {} when these figures hold; measured", celsius(s.sheet.setup.board));
    html! {
        div.fields {
            @for label in ["Serial number", "Date", "By", board.as_str(), "Voltmeter", "Source"] {
                div { span { (label) } " " span.write { (NBSP) } }
            }
        }
    }
}

fn known(s: &Subject<'_>) -> Markup {
    let setup = &s.sheet.setup;
    let (meter, source) = (&setup.meter, &setup.source);
    let meter_name = if meter.name.is_empty() {
        "No voltmeter is in the chain file, so a usual hand-held one is taken (common practice, no source)"
            .to_owned()
    } else {
        format!("Voltmeter {}", meter.name)
    };
    let largest = s.sheet.injections.iter().map(|i| i.copper_volts.abs()).fold(0.0, f64::max);
    let worth = source.known(largest);
    let leads = match source.leads {
        Leads::Copper => "copper leads",
        Leads::ThermocoupleWire => "thermocouple wire",
    };
    html! {
        p {
            (count(s.sheet.boards)) " boards of this design were drawn and solved with seed " (setup.seed)
            ", each part within its tolerance, each with the voltmeter's and the source's own errors and a board that is as "
            "warm as the thermometer says within ±" (plain(source.thermometer)) (NBSP) "K. The 95" (NBSP) "% band holds 95 of 100 healthy boards, "
            "the 99.9" (NBSP) "% band 999 of 1000: outside of it something is wrong. The worst case is every deviation at the end "
            "of its range at once. Ageing and drift are left out, the board being new."
            @if s.sheet.calibrated {
                " This board was calibrated: the figures are those of this one board with its constants in the firmware, as "
                "well as its readings told them, and only what they left open is drawn."
            }
        }
        p {
            (meter_name) ": ±(" (quantity(meter.relative, Unit::Ratio, 3)) " + " (millivolts(meter.fixed)) "), a digit of "
            (millivolts(meter.resolution)) ", " (quantity(meter.input_resistance, Unit::Ohm, 3))
            ". What its resistance does to each test point is in the figures."
        }
        p {
            "The source “" (setup.source_name) "” of " (quantity(source.output_resistance, Unit::Ohm, 3)) ", stated with " (leads) ": at "
            (millivolts(largest)) " its standard uncertainty is " (microvolts(worth.standard())) ", of this:"
        }
        ul {
            @for component in &worth.components {
                li {
                    (component.label) ", " (component.distribution.name()) ": "
                    (microvolts(component.distribution.standard()))
                    " (" (component.source.text) @if component.sharing == Sharing::Setting { "; anew at each setting" } ")"
                }
            }
        }
        p {
            "Emf: IEC 60584-1. Distributions and their standard uncertainties: JCGM 100, 4.3.7. Bands by simulation: JCGM 101, 7.7."
        }
    }
}

/// “23 °C”.
fn celsius(value: f64) -> String {
    format!("{}{NBSP}°C", plain(value))
}

/// “36.2 mV” with as many places as it takes.
fn millivolts(volts: f64) -> String {
    format!("{}{NBSP}mV", trim(&fixed(1e3 * volts, 4)))
}

fn microvolts(volts: f64) -> String {
    format!("{}{NBSP}µV", significant(1e6 * volts, 2))
}

/// First letter as a capital.
fn sentence(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or(String::new(), |c| c.to_uppercase().chain(chars).collect())
}

/// A quantity whose number and unit stay together.
fn quantity(value: f64, unit: Unit, digits: usize) -> String {
    format(value, unit, digits).replace(' ', "\u{a0}")
}

fn trim(text: &str) -> String {
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text.to_owned()
    }
}

/// Decimal places that show a tenth of a band's half-width, within reason.
fn places(e: &Expected, least: i32, most: i32) -> usize {
    let half = 0.5 * (e.band.1 - e.band.0).abs();
    let wanted =
        if half > 0.0 && half.is_finite() { 1 - libm::floor(libm::log10(half)) as i32 } else { most };
    wanted.clamp(least, most) as usize
}

/// “2.49 to 2.51”.
fn span((low, high): (f64, f64), places: usize) -> String {
    format!("{} to {}", fixed(low, places), fixed(high, places))
}

/// A count with a thin blank between thousands.
fn count(value: u32) -> String {
    let digits = value.to_string();
    match digits.len() {
        5.. => format!("{}\u{202f}{}", &digits[..digits.len() - 3], &digits[digits.len() - 3..]),
        _ => digits,
    }
}

/// `text` with a hyphen before a digit as a minus sign.
fn minus(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut before = ' ';
    let mut rest = text.chars().peekable();
    while let Some(c) = rest.next() {
        let sign =
            c == '-' && matches!(before, ' ' | '(' | NBSP) && rest.peek().is_some_and(char::is_ascii_digit);
        out.push(if sign { MINUS } else { c });
        before = c;
    }
    out
}
