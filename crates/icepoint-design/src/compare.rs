//! Every front end that fits, each with its best values, beside each other.
//!
//! **What fits**: a circuit that goes with the method of `[reference_junction]` by its parts, and has a tap for the type
//! where it has taps; and amplifiers of the kinds it asks for among the records of the chain file. Those that are named in
//! `[front_end]` are kept where they are of the right kind; else every record of that kind is tried. A board that exceeds a
//! limit although every part is exact does not work: it is left out, with the pin that says so.
//! **How good.** The open values are searched as for one front end, and each board gets the whole budget with few boards
//! simulated; the one picked is then computed in full.

use core::fmt;

use icepoint_chain::budget::Budget;
use icepoint_chain::chain::CalibrationWish;
use icepoint_chain::drawer::{self, Drawer};
use icepoint_chain::file::{AmplifierKind, ChainFile, Method, Refused};
use icepoint_chain::front_end::{Blueprint, PartKind, library};
use icepoint_chain::resolve::{Resolved, resolve};
use icepoint_chain::situation::Situation;
use icepoint_chain::{Model, ModelError};
use rayon::prelude::*;

use crate::answer::{Bound, Design, answer, outline};
use crate::candidate::with_room;
use crate::search::{self, Selection};
use crate::trims;

/// Boards simulated for each row: a 95 % quantile to about two per cent, a yield to about one.
pub const TRIALS: u32 = 4000;
/// Combinations of amplifiers tried for one circuit.
const MOST_AMPLIFIERS: usize = 4;
/// Word of the chain file for "any record that fits".
const ANY_RECORD: &str = "any";
/// Errors closer than this share are alike when the row to take is picked: then fewer parts win.
const ALIKE: f64 = 0.1;

/// One front end with its best values.
#[derive(Clone, Debug)]
pub struct Row {
    /// Identifier, as in `topology = "…"`.
    pub id: String,
    /// In words.
    pub title: String,
    /// Records of the amplifiers in it: role and name.
    pub amplifiers: Vec<(String, String)>,
    /// Largest 95 % error after the calibration that the owner is willing to do, K.
    pub error_95: f64,
    /// Worst case, lowest and highest, K.
    pub worst_case: (f64, f64),
    /// Share of boards within the accuracy everywhere.
    pub within: f64,
    /// Amplitude of the mains residual, K.
    pub mains_kelvin: f64,
    /// Time to settle, s; `None` if no end was seen.
    pub settling: Option<f64>,
    /// Parts on the board, without supplies and without the converter and its reference.
    pub parts: usize,
    /// The limit that binds.
    pub binds: Bound,
    /// Smallest margin to a limit, over the width allowed; what accuracy and trims leave is no limit here.
    pub margin: f64,
    /// Whether everything asked is met.
    pub met: bool,
    /// On the best edge of the rows that meet the need (of all, if none does): no other of them has both a smaller error
    /// and not more parts.
    pub best_edge: bool,
}

impl Row {
    /// The error by which rows are ordered, K: of rows alike within one per cent that with room to its limits is better, as
    /// among the values of one front end.
    fn weighed(&self) -> f64 {
        with_room(self.error_95, self.margin)
    }

    /// What it is called in tables and pictures: its identifier; an own circuit by its title, where that is short.
    pub fn name(&self) -> &str {
        const SHORT: usize = 32;
        match self.id.as_str() {
            "own" if self.title.chars().count() <= SHORT => &self.title,
            "own" => "own circuit",
            id => id,
        }
    }
}

/// A circuit that was not tried or has no answer, and why.
#[derive(Clone, Debug, PartialEq)]
pub struct LeftOut {
    /// Identifier.
    pub id: String,
    /// In words.
    pub why: String,
}

/// What was compared, as a table.
#[derive(Clone, Debug)]
pub struct Compared {
    /// Best first: what meets the need before what doesn't, then by error; of errors within one per cent that with room to its
    /// limits.
    pub rows: Vec<Row>,
    /// What is not among them.
    pub left_out: Vec<LeftOut>,
    /// What else was left aside, in words.
    pub remarks: Vec<String>,
    /// Index of the row that is taken.
    pub taken: usize,
}

/// Why nothing can be compared.
#[derive(Clone, Debug)]
pub enum CompareError {
    /// The drawer has mistakes, or can't be read: with their places. It would be the same for every front end.
    Refused(Refused),
    /// Not one front end has an answer.
    Model(ModelError),
}

impl fmt::Display for CompareError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Refused(refused) => refused.fmt(f),
            Self::Model(error) => error.fmt(f),
        }
    }
}

impl core::error::Error for CompareError {}

/// A chain with the values chosen for it.
type Board = (Resolved, Selection);

/// The table with the boards behind it.
#[derive(Debug)]
pub struct Comparison {
    /// The table; taken is the row that meets the need, and of those whose errors are alike the one with the fewest
    /// parts.
    pub table: Compared,
    boards: Vec<Board>,
}

impl Comparison {
    /// The whole answer about the row that is taken, the table with it.
    ///
    /// # Errors
    /// As [`crate::design`].
    pub fn design(&self, progress: &(dyn Fn(u32) + Sync)) -> Result<Design, ModelError> {
        let Some((resolved, selection)) = self.boards.get(self.table.taken).cloned() else {
            return Err(ModelError::Range("no row was taken".into()));
        };
        let mut design = answer(resolved, selection, progress)?;
        design.compared = Some(self.table.clone());
        Ok(design)
    }

    /// Takes the best row of this front end; `false` when it is not among the rows.
    pub fn take(&mut self, id: &str) -> bool {
        let found = self.table.rows.iter().position(|r| r.id == id);
        self.table.taken = found.unwrap_or(self.table.taken);
        found.is_some()
    }

    /// The chain file with the front end and the amplifiers of the row that is taken.
    pub fn file(&self, file: &ChainFile) -> ChainFile {
        self.table
            .rows
            .get(self.table.taken)
            .map_or_else(|| file.clone(), |row| file.with_front_end(&row.id, &row.amplifiers))
    }
}

/// Tries all front ends that fit the chain, and the circuit of the file when it has one.
///
/// # Errors
/// [`CompareError`] when the drawer has mistakes, or not one of them has an answer.
pub fn compare(file: &ChainFile) -> Result<Comparison, CompareError> {
    among(file, |_| true)
}

/// The same for one front end with every amplifier that fits it.
///
/// # Errors
/// [`CompareError`] when the drawer has mistakes, or it does not fit or has no answer.
pub fn only(file: &ChainFile, id: &str) -> Result<Comparison, CompareError> {
    among(file, |blueprint| blueprint.id == id)
}

/// Identifiers of the front ends that can be asked for.
pub fn identifiers(file: &ChainFile) -> Vec<String> {
    file.circuit.iter().chain(library::all()).map(|b| b.id.clone()).collect()
}

fn among(file: &ChainFile, wanted: impl Fn(&Blueprint) -> bool) -> Result<Comparison, CompareError> {
    let drawer = drawer::of(file).map_err(CompareError::Refused)?;
    let (mut left_out, mut remarks) = (Vec::new(), set_aside(file));
    let mut candidates: Vec<Resolved> = Vec::new();
    let mut names: Vec<Records> = Vec::new();
    for blueprint in file.circuit.iter().chain(library::all()).filter(|b| wanted(b)) {
        match fitting(file, blueprint, drawer.as_ref()) {
            Err(why) => left_out.push(LeftOut { id: blueprint.id.clone(), why }),
            Ok((choices, more)) => {
                if more > 0 {
                    remarks.push(format!(
                        "{}: {more} further combinations of amplifiers are not tried; name its amplifiers in \
                         [front_end] to see one of them",
                        blueprint.id
                    ));
                }
                for amplifiers in choices {
                    let with = file.with_front_end(&blueprint.id, &amplifiers);
                    match resolve(&with) {
                        Ok(mut resolved) => {
                            // What was found out about one board is nothing that another front end has.
                            resolved.chain = resolved.chain.as_designed();
                            candidates.push(resolved);
                            names.push(amplifiers);
                        }
                        Err(refused) => {
                            let why = refused.problems.first().map_or(String::new(), |p| p.message.clone());
                            left_out.push(LeftOut { id: blueprint.id.clone(), why });
                        }
                    }
                }
            }
        }
    }
    let judged: Vec<Result<(Row, Board), LeftOut>> = candidates
        .into_par_iter()
        .zip(names)
        .map(|(resolved, amplifiers)| {
            let id = resolved.blueprint.id.clone();
            match row(resolved, amplifiers) {
                Ok(Ok(row)) => Ok(row),
                Ok(Err(why)) => Err(LeftOut { id, why }),
                Err(error) => Err(LeftOut { id, why: error.to_string() }),
            }
        })
        .collect();
    let mut all: Vec<(Row, Board)> = Vec::new();
    for judged in judged {
        match judged {
            Ok(row) => all.push(row),
            Err(left) => left_out.push(left),
        }
    }
    all.sort_by(|a, b| order(&a.0, &b.0));
    let (mut rows, boards): (Vec<Row>, Vec<_>) = all.into_iter().unzip();
    if rows.is_empty() {
        let why: Vec<String> = left_out.iter().map(|l| format!("{}: {}", l.id, l.why)).collect();
        let text = format!("no front end fits this chain; {}", why.join("; "));
        return Err(CompareError::Model(ModelError::Range(text)));
    };
    let take = best(&rows);
    mark_edge(&mut rows);
    Ok(Comparison { table: Compared { rows, left_out, remarks, taken: take }, boards })
}

/// Best first.
fn order(a: &Row, b: &Row) -> core::cmp::Ordering {
    b.met
        .cmp(&a.met)
        .then(a.weighed().total_cmp(&b.weighed()))
        .then_with(|| a.id.cmp(&b.id))
        .then_with(|| a.amplifiers.cmp(&b.amplifiers))
}

/// The row to take of those in order: of errors that are alike that with the fewest parts.
fn best(rows: &[Row]) -> usize {
    let Some((met, enough)) = rows.first().map(|first| (first.met, first.weighed() * (1.0 + ALIKE))) else {
        return 0;
    };
    (0..rows.len())
        .filter(|i| rows[*i].met == met && rows[*i].weighed() <= enough)
        .min_by(|a, b| rows[*a].parts.cmp(&rows[*b].parts).then(a.cmp(b)))
        .unwrap_or(0)
}

/// Marks the rows that no other beats in both error and number of parts, among those that are as good as the first:
/// they meet the need, or nobody does.
fn mark_edge(rows: &mut [Row]) {
    let alike = rows.iter().take_while(|r| r.met == rows[0].met).count();
    let figures: Vec<(f64, usize)> = rows[..alike].iter().map(|r| (r.error_95, r.parts)).collect();
    for (i, (row, &(error, parts))) in rows.iter_mut().zip(&figures).enumerate() {
        row.best_edge = !figures.iter().enumerate().any(|(j, &(e, p))| {
            let no_worse = e <= error && p <= parts;
            no_worse && (e < error || p < parts || j < i)
        });
    }
}

/// What of the file holds for one front end or one board, and so for none that is compared.
fn set_aside(file: &ChainFile) -> Vec<String> {
    let mut remarks = Vec::new();
    let front_end = &file.front_end;
    let chosen = front_end.values.values().any(|given| given.value.chosen().is_some());
    if chosen || !front_end.tolerance.is_empty() {
        remarks.push(format!(
            "values and tolerances of [front_end] hold for {} alone",
            file.blueprint().or(file.circuit.as_ref()).map_or("no front end", |b| b.id.as_str())
        ));
    }
    if file.calibration.is_some() {
        remarks.push("[calibration] is left aside: it belongs to one board that was built".into());
    }
    remarks
}

/// Records for the roles of a circuit: role and name of each.
type Records = Vec<(String, String)>;

/// Amplifiers for the roles of a circuit: combinations to try, and how many more there are; why not, if there are none.
fn fitting(
    file: &ChainFile,
    blueprint: &Blueprint,
    drawer: Option<&Drawer>,
) -> Result<(Vec<Records>, usize), String> {
    let (method, wanted) = (file.reference_junction.method.value, Method::wanted_by(blueprint));
    if method != wanted {
        let has = match wanted {
            Method::Sensor => "does not compensate the reference junction",
            Method::Analog => "compensates the reference junction by a voltage sensor",
            Method::Circuit => "compensates the reference junction by a part of its own",
        };
        return Err(format!(
            "it {has}: method = \"{}\", and the chain has \"{}\"",
            wanted.word(),
            method.word()
        ));
    }
    if let Some(types) = blueprint.tap_missing(file.probe.letter.value) {
        return Err(format!("it has no tap for type {}, but for {types}", file.probe.letter.value.name()));
    }
    let given = |role: &str| {
        match role {
            "amplifier" => file.front_end.amplifier.as_ref(),
            "buffer" => file.front_end.buffer.as_ref(),
            _ => None,
        }
        .filter(|name| name.value != ANY_RECORD)
    };
    let is = |name: &str, instrumentation: bool| {
        file.amplifiers
            .get(name)
            .is_some_and(|a| matches!(a.kind, AmplifierKind::Instrumentation { .. }) == instrumentation)
    };
    let at_hand = |name: &str| drawer.is_none_or(|d| d.amplifier(name).covers(1));
    let mut choices: Vec<Records> = vec![Vec::new()];
    for (role, instrumentation) in blueprint.records() {
        if !matches!(role, "amplifier" | "buffer") {
            continue;
        }
        let kind = if instrumentation { "an instrumentation amplifier" } else { "an operational amplifier" };
        let named = given(role).map(|g| g.value.clone()).filter(|name| is(name, instrumentation));
        let names: Vec<String> = match named {
            Some(name) => vec![name],
            None => {
                let fits = |name: &&String| is(name, instrumentation) && at_hand(name);
                file.amplifiers.keys().filter(fits).cloned().collect()
            }
        };
        if names.is_empty() {
            let any = file.amplifiers.keys().any(|name| is(name, instrumentation));
            let place = if any { "the drawer has none" } else { "the chain file has no record of one" };
            return Err(format!("it wants {kind}, and {place}"));
        }
        choices = choices
            .into_iter()
            .flat_map(|choice| {
                names.iter().map(move |name| {
                    let mut more = choice.clone();
                    more.push((role.to_owned(), name.clone()));
                    more
                })
            })
            .collect();
    }
    let more = choices.len().saturating_sub(MOST_AMPLIFIERS);
    choices.truncate(MOST_AMPLIFIERS);
    Ok((choices, more))
}

/// Why a board can't work: a limit that it exceeds at a corner although every part is exact.
fn exceeds(model: &Model) -> Result<Option<String>, ModelError> {
    let need = model.chain().need;
    for hot in [need.hot.0, need.hot.1] {
        for board in [need.board.0, need.board.1] {
            let reading =
                model.predict(&Situation::at(model.chain(), hot, board), model.mean_deviations())?;
            if let Some(limit) = reading.limits.first() {
                return Ok(Some(format!(
                    "with exact parts, at {hot:.0} °C, board at {board:.0} °C: {limit}"
                )));
            }
        }
    }
    Ok(None)
}

/// One row with its board, or why the board can't work.
pub(crate) fn row(
    resolved: Resolved,
    amplifiers: Records,
) -> Result<Result<(Row, Board), String>, ModelError> {
    let (mut resolved, selection) = trims::choose(resolved, search::choose_quickly)?;
    let trials = resolved.chain.settings.trials;
    resolved.chain.settings.trials = trials.min(TRIALS);
    if let Some(why) = exceeds(&Model::without_dynamics(search::chain(
        &resolved,
        &selection.values,
        &selection.fits,
        false,
    ))?)? {
        return Ok(Err(why));
    }
    let outline = outline(&resolved, &selection)?;
    resolved.chain.settings.trials = trials;
    let wish: CalibrationWish = resolved.chain.need.calibration;
    let budget: &Budget = &outline.budget;
    let extremes = budget.of(wish).iter().map(|p| (p.worst.low, p.worst.high));
    let front_end = &outline.model.chain().front_end;
    let counted = |kind: &PartKind| !matches!(kind, PartKind::Supply { .. } | PartKind::Reference { .. });
    let binds = outline.bounds.first().cloned();
    let row = Row {
        id: front_end.id.clone(),
        title: front_end.title.clone(),
        amplifiers,
        error_95: outline.verdict.error_95,
        worst_case: extremes.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), (l, h)| (a.min(l), b.max(h))),
        within: budget.yield_after(wish),
        mains_kelvin: outline.mains_kelvin,
        settling: outline.settling.total(),
        parts: front_end.parts.iter().filter(|p| counted(&p.kind)).count(),
        margin: outline.margin(),
        binds: binds.unwrap_or(Bound { what: "nothing".into(), used: 0.0, detail: String::new() }),
        met: outline.verdict.met(),
        best_edge: false,
    };
    Ok(Ok((row, (resolved, selection))))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Errors within one per cent: the row at the edge of a limit is not the one to take, nor the first.
    #[test]
    fn a_row_with_room_is_taken_before_one_at_the_edge_of_a_limit() {
        let row = |id: &str, error_95: f64, margin: f64, parts: usize| Row {
            id: id.into(),
            title: String::new(),
            amplifiers: Vec::new(),
            error_95,
            worst_case: (0.0, 0.0),
            within: 1.0,
            mains_kelvin: 0.0,
            settling: None,
            parts,
            binds: Bound { what: String::new(), used: 1.0 - 2.0 * margin, detail: String::new() },
            margin,
            met: true,
            best_edge: false,
        };
        let taken = |mut rows: Vec<Row>| {
            rows.sort_by(order);
            rows[best(&rows)].id.clone()
        };
        let edge = row("edge", 5.0, 0.0, 20);
        assert_eq!(taken(vec![edge.clone(), row("room", 5.03, 0.1, 20)]), "room");
        // Beyond one per cent the error decides; fewer parts do where errors are alike within ten.
        assert_eq!(taken(vec![edge.clone(), row("room", 5.06, 0.1, 20)]), "edge");
        assert_eq!(taken(vec![edge, row("room", 5.03, 0.1, 20), row("small", 5.4, 0.1, 12)]), "small");
    }

    /// Five buffers that all fit: four are tried, and one is said not to be.
    #[test]
    fn combinations_beyond_the_most_are_counted() {
        let text = include_str!("../../../examples/burnout-kiln.toml");
        let start = text.find("[amplifier.buffer]").unwrap();
        let end = start + text[start + 1..].find("\n[").unwrap() + 2;
        let mut more = String::new();
        for line in text.lines().filter(|l| !l.starts_with("topology") && !l.starts_with("buffer =")) {
            more.push_str(line);
            more.push('\n');
        }
        for n in 1..5 {
            let header = format!("[amplifier.b{n}]");
            more.push_str(&text[start..end].replace("[amplifier.buffer]", &header));
        }
        let file = icepoint_chain::file::parse("kiln.toml", &more).unwrap();
        let blueprint = library::named("instrumentation").unwrap();
        let (choices, beyond) = fitting(&file, blueprint, None).unwrap();
        assert_eq!((choices.len(), beyond), (MOST_AMPLIFIERS, 1));
    }
}
