//! From a path or a text to a checked chain file.

use super::calibration::{BudgetSettings, Calibration, CalibrationPlan};
use super::converter::{AnalogFilter, Converter, Filter, Readout};
use super::given::Span;
use super::parts::{CapacitorParts, Network, Parts, ResistorParts};
use super::probe::{Lead, Probe};
use super::problem::{Problem, Refused, Severity, Source, sort};
use super::records::{self, RecordName};
use super::similar::nearest;
use super::walk::{Reader, Walk};
use super::{
    Amplifier, ChainFile, Compensation, FrontEnd, Method, Need, ReferenceJunction, ReferenceRecord, Supply,
    Topology, checks, circuit, keys,
};
use crate::front_end::library;
use std::collections::BTreeMap;
use std::io::Read;
use std::path::Path;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// Largest file that is read, bytes. A chain file has some kilobytes; a larger one is another file by mistake.
pub const LARGEST_FILE: u64 = 2_000_000;

/// Reads and checks the chain file at `path`.
///
/// # Errors
/// [`Refused`] with every problem found. A file that is missing, a directory, unreadable, too large or not UTF-8 is
/// refused with the codes `file.missing`, `file.directory`, `file.unreadable`, `file.too_large`, `file.not_utf8`.
pub fn load(path: impl AsRef<Path>) -> Result<ChainFile, Refused> {
    let path = path.as_ref();
    let name = path.display().to_string();
    match text_of(path) {
        Ok(text) => parse(&name, &text),
        Err(problem) => {
            Err(Refused { source: Source { name, text: String::new() }, problems: vec![*problem] })
        }
    }
}

fn text_of(path: &Path) -> Result<String, Box<Problem>> {
    let unreadable = |error: &std::io::Error| {
        Problem::new("file.unreadable", format!("the file can't be read: {error}"))
            .expected("a chain file in TOML")
    };
    let metadata = std::fs::metadata(path).map_err(|error| match error.kind() {
        std::io::ErrorKind::NotFound => Problem::new("file.missing", "there is no such file")
            .expected("a chain file in TOML")
            .help("copy one of the examples to start from: examples/burnout-kiln.toml"),
        _ => unreadable(&error),
    })?;
    if metadata.is_dir() {
        return Err(Problem::new("file.directory", "this is a directory, not a file")
            .expected("a chain file in TOML")
            .help("name the file in it")
            .into());
    }
    let mut bytes = Vec::new();
    // read one byte more than is allowed instead of asking for the length: a pipe or a device has none
    let read = std::fs::File::open(path).and_then(|file| file.take(LARGEST_FILE + 1).read_to_end(&mut bytes));
    read.map_err(|error| unreadable(&error))?;
    if bytes.len() as u64 > LARGEST_FILE {
        return Err(too_large().into());
    }
    String::from_utf8(bytes).map_err(|error| {
        let valid = error.utf8_error().valid_up_to();
        let line = 1 + error.as_bytes().iter().take(valid).filter(|byte| **byte == b'\n').count();
        Problem::new("file.not_utf8", format!("line {line} is not UTF-8 text"))
            .expected("a text file in UTF-8")
            .help("save it again as UTF-8; µ, Ω and ° are often the letters that another encoding spoils")
            .into()
    })
}

fn too_large() -> Problem {
    Problem::new("file.too_large", format!("the file has more than {LARGEST_FILE} bytes"))
        .expected("a chain file, which has some kilobytes")
}

/// Checks the text of a chain file; `name` is used in messages.
///
/// # Errors
/// [`Refused`] with every problem found.
pub fn parse(name: &str, text: &str) -> Result<ChainFile, Refused> {
    parse_with(name, text, &[])
}

/// [`parse`] with these records in their places. Without any, every record of the file is looked at in its place.
pub(super) fn parse_with(name: &str, text: &str, taken: &[RecordName]) -> Result<ChainFile, Refused> {
    let source = Source { name: name.to_owned(), text: text.to_owned() };
    if text.len() as u64 > LARGEST_FILE {
        return Err(Refused { source, problems: vec![too_large()] });
    }
    if text.trim().is_empty() {
        let problem = Problem::new("file.empty", "the file is empty")
            .expected("sections such as [need] and [probe]")
            .help("copy one of the examples to start from: examples/burnout-kiln.toml");
        return Err(Refused { source, problems: vec![problem] });
    }
    // an editor's byte order mark is no part of the text; a space keeps every later byte in its place
    let clean = text.strip_prefix('\u{feff}').map(|rest| format!("   {rest}"));
    let text = clean.as_deref().unwrap_or(text);

    let (root, errors) = DeTable::parse_recoverable(text);
    let mut walk = Walk::new(&source);
    let broken = !errors.is_empty();
    let mut root = root.into_inner();
    let offered = records::names(&root);
    for record in taken {
        root = records::put(&root, record).map_err(|problem| Refused::new(source.clone(), vec![*problem]))?;
    }
    for error in &errors {
        let problem = syntax(error, &source);
        walk.problem(problem);
    }
    let file = sections(&root, &mut walk, &source);
    if taken.is_empty() && !broken {
        each_record(&root, &offered, &mut walk, &source);
    }
    if broken {
        // what a broken line hides is not missing
        walk.problems.retain(|p| {
            !matches!(p.code.as_ref(), "key.missing" | "section.missing") && !p.code.starts_with("circuit.")
        });
    }
    let Walk { mut problems, places, assumptions, .. } = walk;
    let (errors, mut cautions): (Vec<_>, Vec<_>) =
        problems.drain(..).partition(|p| p.severity == Severity::Error);
    match file {
        Some(mut file) if errors.is_empty() => {
            sort(&mut cautions);
            file.places = places;
            file.assumptions = assumptions;
            file.cautions = cautions;
            file.records = offered;
            file.taken = taken.to_vec();
            Ok(file)
        }
        _ => Err(Refused::new(source, errors)),
    }
}

/// What is wrong with each record in its place, beside what is wrong without it.
fn each_record<'t>(root: &DeTable<'t>, offered: &[RecordName], walk: &mut Walk<'t>, source: &'t Source) {
    if let Some((kind, name)) = offered.get(records::MOST) {
        let section = kind.section();
        let records = root.get(section).and_then(|value| value.get_ref().as_table());
        let key = records.and_then(|records| records.get_key_value(name.as_str()));
        let span: Span = key.map_or(0..0, |(key, _)| key.span()).into();
        walk.problem(
            Problem::new("record.too_many", format!("there are {} records to choose among", offered.len()))
                .at(span, "one too many")
                .expected(format!("at most {} converters, voltage references and sensors", records::MOST))
                .help(format!("leave [{section}.{name}] out, or another")),
        );
        return;
    }
    for record in offered {
        let with = match records::put(root, record) {
            Ok(with) => with,
            Err(problem) => {
                walk.problem(*problem);
                continue;
            }
        };
        let mut other = Walk::new(source);
        sections(&with, &mut other, source);
        for problem in other.problems {
            let known = |p: &Problem| {
                p.code == problem.code && p.at.as_ref().map(|l| l.span) == problem.at.as_ref().map(|l| l.span)
            };
            if problem.severity == Severity::Error && !walk.problems.iter().any(known) {
                walk.problem(problem);
            }
        }
    }
}

/// An error of the TOML itself, in the words of a chain file.
pub(super) fn syntax(error: &toml::de::Error, source: &Source) -> Problem {
    let span: Span = error.span().unwrap_or(0..0).into();
    let message = error.message().lines().next().unwrap_or("not TOML").to_owned();
    if message.contains("duplicate key") {
        let (line, _) = source.line_at(span.start);
        let what = if line.trim_start().starts_with('[') { "section" } else { "key" };
        return Problem::new("toml.duplicate_key", format!("this {what} is here twice"))
            .at(span, "the second")
            .expected("each section once, and each key once in its section")
            .help("remove one of the two");
    }
    let problem = Problem::new("toml.syntax", message).at(span, "the text breaks off making sense here");
    let (line, _) = source.line_at(span.start);
    if quote_is_open(line)
        && let Some((key, value)) = line.split_once('=')
    {
        let value = crate::quantity::read::shortened(value.trim().trim_start_matches('"'));
        return problem.expected("a quote at both ends").help(format!("{} = \"{value}\"", key.trim()));
    }
    // a quantity without quotes is by far the most frequent
    if let Some((key, value)) = line.split_once('=')
        && let value = value.split('#').next().unwrap_or("").trim()
        && value.starts_with(|c: char| c.is_alphanumeric() || matches!(c, '±' | '+' | '-' | '.'))
        && value.chars().count() < 60
    {
        return problem.expected("a value in quotes").help(format!(
            "{} = \"{}\"",
            key.trim(),
            value.trim_matches(['"', '\''])
        ));
    }
    problem.expected("TOML: [section] headers, and lines of key = \"value\"")
}

/// An odd number of quotes on a line that sets a key.
fn quote_is_open(line: &str) -> bool {
    !line.contains(['#', '\\']) && line.matches('"').count() == 1 && line.chars().count() < 60
}

const SECTION_NAMES: [&str; 22] = [
    "chain",
    "need",
    "probe",
    "lead",
    "reference_junction",
    "compensation",
    "front_end",
    "circuit",
    "supply",
    "amplifier",
    "converter",
    "converters",
    "voltage_references",
    "junction_sensors",
    "filter",
    "readout",
    "parts",
    "trims",
    "calibration_plan",
    "references",
    "calibration",
    "budget",
];

type Table<'w, 't> = Option<(&'w DeTable<'t>, Span)>;

/// Reads one section with `read`; tells if a required one is missing.
fn one<'w, 't, T>(
    walk: &mut Walk<'t>,
    parent: &'w DeTable<'t>,
    path: &'static str,
    read: impl FnOnce(Reader<'_, 't>) -> Option<T>,
) -> Option<T> {
    let name = path.rsplit('.').next().unwrap_or(path);
    let written = parent.contains_key(name);
    let table: Table<'w, 't> = walk.table(parent, name, path);
    if table.is_none() && (written || keys::section(path).is_some_and(|section| section.required)) {
        if !written {
            missing_section(walk, path);
        }
        return None;
    }
    read(walk.reader(path, path, table)?)
}

fn missing_section(walk: &mut Walk<'_>, path: &str) {
    let Some(section) = keys::section(path) else { return };
    let keys: Vec<String> = section
        .keys
        .iter()
        .filter(|key| key.presence == keys::Presence::Required && key.when.is_empty())
        .map(|key| format!("{} = {}", key.name, key.example))
        .collect();
    if walk.suggested.contains(path) {
        return;
    }
    let meaning = section.meaning.trim_end_matches('.');
    walk.problem(
        Problem::new("section.missing", format!("the section [{path}] is missing"))
            .expected(format!("[{path}]: {}", meaning[..1].to_lowercase() + &meaning[1..]))
            .help(format!("[{path}] with {}", keys.join(", "))),
    );
}

fn sections<'t>(root: &DeTable<'t>, walk: &mut Walk<'t>, source: &Source) -> Option<ChainFile> {
    unknown_sections(root, walk);
    let name = one(walk, root, "chain", |mut r| {
        let name = r.text("name");
        r.finish(&[]);
        name
    });
    let need = one(walk, root, "need", Need::read);
    let probe = one(walk, root, "probe", Probe::read);
    let lead = if root.contains_key("lead") { Some(one(walk, root, "lead", Lead::read)) } else { None };
    let reference_junction = one(walk, root, "reference_junction", ReferenceJunction::read);
    let in_circuit = reference_junction.as_ref().is_some_and(|j| j.method.value == Method::Circuit);
    let compensation = (in_circuit || root.contains_key("compensation"))
        .then(|| one(walk, root, "compensation", Compensation::read));
    let circuit = root.contains_key("circuit").then(|| circuit::circuit(walk, root));
    if let Some(Some(circuit)) = &circuit {
        checks::circuit_structure(circuit, walk);
    }
    let front_end = front_end(walk, root);
    let supply = one(walk, root, "supply", Supply::read);
    // A circuit without amplifiers, of which the converter is the only active part, needs no records.
    let amplified = match front_end.as_ref().map(|f| f.topology.value) {
        Some(Topology::BuiltIn(id)) => library::named(id).is_none_or(|b| !b.records().is_empty()),
        Some(Topology::Own) => !matches!(&circuit, Some(Some(c)) if c.records().is_empty()),
        // Whatever can be compared without any is compared.
        Some(Topology::Any) => false,
        None => true,
    };
    let amplifiers = if amplified || root.contains_key("amplifier") {
        amplifiers(walk, root)
    } else {
        Some(BTreeMap::new())
    };
    let converter = one(walk, root, "converter", Converter::read);
    let filter = filter(walk, root);
    let readout = one(walk, root, "readout", Readout::read);
    let parts = parts(walk, root);
    let adjustable = matches!(&circuit, Some(Some(c)) if c.adjustable().next().is_some());
    let trims =
        (adjustable || root.contains_key("trims")).then(|| one(walk, root, "trims", super::Trims::read));
    let plan = if root.contains_key("calibration_plan") {
        Some(one(walk, root, "calibration_plan", CalibrationPlan::read))
    } else {
        None
    };
    let references = references(walk, root);
    let calibration = if root.contains_key("calibration") { Some(calibration(walk, root)) } else { None };
    let budget = one(walk, root, "budget", BudgetSettings::read);
    let file = ChainFile {
        source: source.clone(),
        name: name?,
        need: need?,
        probe: probe?,
        lead: transposed(lead)?,
        reference_junction: reference_junction?,
        compensation: transposed(compensation)?,
        front_end: front_end?,
        circuit: transposed(circuit)?,
        supply: supply?,
        amplifiers: amplifiers?,
        converter: converter?,
        filter: filter?,
        readout: readout?,
        parts: parts?,
        trims: transposed(trims)?,
        calibration_plan: transposed(plan)?,
        references: references?,
        calibration: transposed(calibration)?,
        budget: budget?,
        assumptions: Vec::new(),
        cautions: Vec::new(),
        records: Vec::new(),
        taken: Vec::new(),
        places: BTreeMap::new(),
    };
    checks::check(&file, walk);
    Some(file)
}

/// Absent stays absent, written but wrong is wrong.
fn transposed<T>(section: Option<Option<T>>) -> Option<Option<T>> {
    match section {
        None => Some(None),
        Some(read) => read.map(Some),
    }
}

fn unknown_sections(root: &DeTable<'_>, walk: &mut Walk<'_>) {
    for (key, value) in root {
        let name: &str = key.get_ref();
        if SECTION_NAMES.contains(&name) {
            continue;
        }
        let span: Span = key.span().into();
        let shown = crate::quantity::read::shortened(name);
        let is_section = matches!(value.get_ref(), DeValue::Table(_) | DeValue::Array(_));
        let problem = if is_section {
            Problem::new("section.unknown", format!("there is no section [{shown}]"))
        } else {
            Problem::new("key.unknown", format!("{shown} stands outside of every section"))
        };
        let home = keys::SECTIONS.iter().find(|s| s.keys.iter().any(|key| key.name == name));
        let problem = match (nearest(name, SECTION_NAMES), home) {
            (_, Some(home)) if !is_section => problem
                .at(span, "before the first header")
                .help(format!("it belongs in [{}]", home.path.replace('*', "NAME"))),
            (Some(close), _) => {
                walk.suggested.insert(close);
                problem.at(span, format!("did you mean [{close}]?")).help(format!("[{close}]"))
            }
            _ => problem.at(span, "not known").help("remove it, or comment it out with #"),
        };
        walk.problem(if is_section { problem.expected(keys::one_of(&SECTION_NAMES)) } else { problem });
    }
}

fn calibration<'t>(walk: &mut Walk<'t>, root: &DeTable<'t>) -> Option<Calibration> {
    let calibration = one(walk, root, "calibration", Calibration::read);
    let inner = root.get("calibration").and_then(|value| value.get_ref().as_table());
    let deviations = match inner.filter(|inner| inner.contains_key("deviations")) {
        Some(inner) => one(walk, inner, "calibration.deviations", Calibration::read_deviations)?,
        None => Vec::new(),
    };
    let shared = match inner.filter(|inner| inner.contains_key("shared")) {
        Some(inner) => one(walk, inner, "calibration.shared", Calibration::read_shared)?,
        None => Vec::new(),
    };
    calibration.map(|calibration| Calibration { deviations, shared, ..calibration })
}

fn front_end<'t>(walk: &mut Walk<'t>, root: &DeTable<'t>) -> Option<FrontEnd> {
    let circuit =
        root.contains_key("circuit").then(|| walk.places.get("circuit").map(|place| place.key)).flatten();
    let front_end = match circuit {
        Some(header) if !root.contains_key("front_end") => Some(FrontEnd::own(header)),
        circuit => one(walk, root, "front_end", |r| FrontEnd::read(r, circuit)),
    };
    let inner = root.get("front_end").and_then(|value| value.get_ref().as_table());
    let (mut values, mut tolerance) = (BTreeMap::new(), BTreeMap::new());
    if let Some(inner) = inner {
        values = one(walk, inner, "front_end.values", |r| Some(FrontEnd::read_values(r))).unwrap_or_default();
        tolerance = one(walk, inner, "front_end.tolerance", |r| Some(FrontEnd::read_tolerances(r)))
            .unwrap_or_default();
    }
    front_end.map(|front_end| FrontEnd { values, tolerance, ..front_end })
}

fn filter<'t>(walk: &mut Walk<'t>, root: &DeTable<'t>) -> Option<Filter> {
    let filter = one(walk, root, "filter", Filter::read);
    let inner = root.get("filter").and_then(|value| value.get_ref().as_table());
    let analog = match inner.filter(|table| table.contains_key("analog")) {
        Some(table) => Some(one(walk, table, "filter.analog", AnalogFilter::read)?),
        None => None,
    };
    filter.map(|filter| Filter { analog, ..filter })
}

fn amplifiers<'t>(walk: &mut Walk<'t>, root: &DeTable<'t>) -> Option<BTreeMap<String, Amplifier>> {
    if !root.contains_key("amplifier") {
        if walk.suggested.contains("amplifier") {
            return None;
        }
        walk.problem(
            Problem::new("section.missing", "there is no section [amplifier.NAME]")
                .expected("the figures of each amplifier that [front_end] names")
                .help("[amplifier.front] with kind = \"operational\" and the figures of its data sheet"),
        );
        return None;
    }
    let (records, _) = walk.table(root, "amplifier", "amplifier")?;
    let mut amplifiers = BTreeMap::new();
    let mut complete = true;
    for name in records.keys() {
        let name: &str = name.get_ref();
        let path = format!("amplifier.{name}");
        let Some(table) = walk.table(records, name, &path) else {
            complete = false;
            continue;
        };
        let amplifier = walk.reader("amplifier.*", &path, Some(table)).and_then(|r| Amplifier::read(name, r));
        match amplifier {
            Some(amplifier) => {
                amplifiers.insert(name.to_owned(), amplifier);
            }
            None => complete = false,
        }
    }
    complete.then_some(amplifiers)
}

fn references<'t>(walk: &mut Walk<'t>, root: &DeTable<'t>) -> Option<BTreeMap<String, ReferenceRecord>> {
    let mut references = BTreeMap::new();
    if !root.contains_key("references") {
        return Some(references);
    }
    let (records, _) = walk.table(root, "references", "references")?;
    let mut complete = true;
    for name in records.keys() {
        let name: &str = name.get_ref();
        let path = format!("references.{name}");
        let table = walk.table(records, name, &path);
        let record = match table {
            Some(table) => walk
                .reader("references.*", &path, Some(table))
                .and_then(|reader| ReferenceRecord::read(name, reader)),
            None => None,
        };
        match record {
            Some(record) => {
                references.insert(name.to_owned(), record);
            }
            None => complete = false,
        }
    }
    complete.then_some(references)
}

fn parts<'t>(walk: &mut Walk<'t>, root: &DeTable<'t>) -> Option<Parts> {
    let bought = one(walk, root, "parts", |mut r| {
        let drawer = r.text("drawer");
        let worth_buying = r.quantity("worth_buying");
        r.finish(&["resistors", "capacitors"]);
        Some((drawer, worth_buying))
    });
    let empty = DeTable::new();
    let inner = root.get("parts").and_then(|value| value.get_ref().as_table()).unwrap_or(&empty);
    let resistors = one(walk, inner, "parts.resistors", ResistorParts::read);
    let capacitors = one(walk, inner, "parts.capacitors", CapacitorParts::read);
    let resistor_table =
        inner.get("resistors").and_then(|value: &Spanned<DeValue<'_>>| value.get_ref().as_table());
    let network = resistor_table
        .filter(|table| table.contains_key("network"))
        .map(|table| one(walk, table, "parts.resistors.network", Network::read));
    let network = transposed(network)?;
    let (drawer, worth_buying) = bought?;
    Some(Parts {
        resistors: ResistorParts { network, ..resistors? },
        capacitors: capacitors?,
        drawer,
        worth_buying,
    })
}
