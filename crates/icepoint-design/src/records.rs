//! Which converter, which voltage reference, which junction sensor: every record of the chain file in its place, each with
//! the best values for it.
//!
//! **How.** One kind after the other, with what was taken before in its place: a search for every record, and for what
//! stands in the section itself. Taken is what meets the need before what doesn't, then the smallest 95 % error: by
//! the quick estimate, as a few simulated boards can't tell a better sensor from their own scatter. What the drawer has none
//! of is not tried.

use icepoint_chain::drawer::{self, Drawer};
use icepoint_chain::file::{ChainFile, RecordKind, RecordName};
use icepoint_chain::resolve::resolve;
use icepoint_chain::{Model, ModelError};
use rayon::prelude::*;

use crate::candidate::quick_error;
use crate::compare::{self, LeftOut};
use crate::search;

/// One record in its place.
#[derive(Clone, Debug, PartialEq)]
pub struct Tried {
    /// Its name; `None`: what stands in the section itself.
    pub name: Option<String>,
    /// Quick estimate of the largest 95 % error after the calibration that the owner is willing to do, K.
    pub error_95: f64,
    /// Whether everything asked is met.
    pub met: bool,
    /// The limit that binds.
    pub binds: String,
}

/// What was tried of one kind.
#[derive(Clone, Debug, PartialEq)]
pub struct RecordChoice {
    /// Of which kind.
    pub kind: RecordKind,
    /// Best first; the first is taken.
    pub rows: Vec<Tried>,
    /// What is not among them, and why.
    pub left_out: Vec<LeftOut>,
}

impl Tried {
    /// Its name, or where it stands.
    pub fn called(&self, kind: RecordKind) -> String {
        self.name.clone().unwrap_or_else(|| format!("the one in [{}]", kind.place()))
    }
}

/// The chain file with the best record of each kind in its place, and what was tried. The front end must be named.
///
/// # Errors
/// [`ModelError`] when of some kind not one, nor what stands in its section, gives a board.
pub fn choose(file: &ChainFile) -> Result<(ChainFile, Vec<RecordChoice>), ModelError> {
    if file.records.is_empty() {
        return Ok((file.clone(), Vec::new()));
    }
    let drawer = drawer::of(file).map_err(|refused| ModelError::Range(refused.plain()))?;
    let mut taken: Vec<RecordName> = Vec::new();
    let (mut best, mut choices) = (file.clone(), Vec::new());
    for kind in RecordKind::ALL {
        let offered: Vec<&RecordName> = file.records.iter().filter(|(k, _)| *k == kind).collect();
        if offered.is_empty() {
            continue;
        }
        let candidates: Vec<Option<&RecordName>> =
            std::iter::once(None).chain(offered.into_iter().map(Some)).collect();
        let tried: Vec<Result<(Tried, ChainFile), LeftOut>> = candidates
            .into_par_iter()
            .map(|record| {
                let id =
                    record.map_or_else(|| format!("the one in [{}]", kind.place()), |(_, name)| name.clone());
                row(file, &best, &taken, record, drawer.as_ref()).map_err(|why| LeftOut { id, why })
            })
            .collect();
        let (mut rows, mut left_out) = (Vec::new(), Vec::new());
        for one in tried {
            match one {
                Ok(row) => rows.push(row),
                Err(left) => left_out.push(left),
            }
        }
        // A stable order: of two that are alike the one that stands in the section.
        rows.sort_by(|(a, _), (b, _)| b.met.cmp(&a.met).then(a.error_95.total_cmp(&b.error_95)));
        let (rows, files): (Vec<Tried>, Vec<ChainFile>) = rows.into_iter().unzip();
        let Some((first, with)) = rows.first().zip(files.into_iter().next()) else {
            let why: Vec<String> = left_out.iter().map(|l| format!("{}: {}", l.id, l.why)).collect();
            return Err(ModelError::Range(format!("no {} gives a board; {}", kind.name(), why.join("; "))));
        };
        taken.extend(first.name.clone().map(|name| (kind, name)));
        best = with;
        choices.push(RecordChoice { kind, rows, left_out });
    }
    Ok((best, choices))
}

/// A record in its place beside what was taken before, and the board that it gives.
fn row(
    file: &ChainFile,
    best: &ChainFile,
    taken: &[RecordName],
    record: Option<&RecordName>,
    drawer: Option<&Drawer>,
) -> Result<(Tried, ChainFile), String> {
    let with = match record {
        None => best.clone(),
        Some(record) => {
            if drawer.is_some_and(|d| !d.record(record).covers(1)) {
                return Err("the drawer has none".into());
            }
            let mut all = taken.to_vec();
            all.push(record.clone());
            let problem = |refused: icepoint_chain::file::Refused| {
                refused.problems.first().map_or_else(String::new, |p| p.message.clone())
            };
            file.with_records(&all).map_err(problem)?
        }
    };
    let mut resolved = resolve(&with).map_err(|refused| refused.plain())?;
    resolved.chain = resolved.chain.as_designed();
    let told = |error: ModelError| error.to_string();
    let (row, (resolved, selection)) = compare::row(resolved, Vec::new()).map_err(told)??;
    let chain = search::chain(&resolved, &selection.values, &selection.fits, true);
    let error_95 = Model::new(chain).and_then(|model| quick_error(&model)).map_err(told)?;
    let name = record.map(|(_, name)| name.clone());
    Ok((Tried { name, error_95, met: row.met, binds: row.binds.what }, with))
}
