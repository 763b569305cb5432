//! Many boards of one design: are they spread as the model says?
//!
//! **In, out.** Calibrated chains of one design in; for each board what it was like as built and what is left, and for
//! the batch whether the prediction was honest.
//!
//! **How.** What the readings saw of each board against what the prior says of it, each direction weighed by how much of it
//! is the board and not the readings' own error; what errors of one reference do to all boards alike is known for each
//! calibration and taken into account ([`Spread`]). Other shared causes (resistors of one reel) show as a mean that is
//! not the expected one.

mod spread;

use icepoint_chain::chain::{Chain, Correction};
use icepoint_chain::imperfection::Persistence;
use icepoint_chain::model::{Model, ModelError, ReadingNoise};
use icepoint_chain::situation::grid;

use crate::calibrate::band::{self, Targets};

pub use spread::{Seen, Spread};

/// One board of the batch.
#[derive(Clone, Debug, PartialEq)]
pub struct Board {
    /// Serial number, or the name of its file.
    pub serial: String,
    /// Date of its calibration.
    pub date: Option<String>,
    /// Its constants.
    pub constants: Correction,
    /// Estimated error as built at each hot temperature of [`Batch::hot`], board at [`Batch::board`], K.
    pub as_built: Vec<f64>,
    /// Directions that its readings could see.
    pub directions: usize,
    /// Probability of a board as far off, or farther, from this design.
    pub probability: f64,
}

/// At one hot temperature: what the boards were like and what was predicted, K.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct At {
    /// °C.
    pub hot: f64,
    /// Error with every deviation at its mean.
    pub expected: f64,
    /// Standard deviation of the boards' own errors, predicted.
    pub predicted: f64,
    /// The same of their estimates: less, as readings don't see all, with the errors of references in it.
    pub predicted_of_estimates: f64,
    /// The part of [`At::predicted_of_estimates`] that errors of shared references move in all boards alike.
    pub common: f64,
    /// Mean of the boards' estimates.
    pub mean: f64,
    /// Standard deviation of the boards' estimates; NaN of one board.
    pub seen: f64,
}

/// A batch.
#[derive(Clone, Debug, PartialEq)]
pub struct Batch {
    /// What the chain is called.
    pub name: String,
    /// Boards, by serial number.
    pub boards: Vec<Board>,
    /// Hot temperatures, °C.
    pub hot: Vec<f64>,
    /// Board temperature that the errors are for, °C.
    pub board: f64,
    /// Spread at each hot temperature.
    pub at: Vec<At>,
    /// Variance of the boards over what the prior says: 1 if the prediction is honest.
    pub spread: Spread,
    /// Errors of references that boards of the batch have in common.
    pub shared: Vec<String>,
    /// Directions of all boards together.
    pub directions: usize,
}

/// What the batch says of the prediction.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// As predicted, as far as so few boards can tell.
    Honest,
    /// Boards differ more than predicted: a limit in the chain file is too small.
    TooSmall,
    /// Boards differ less than predicted: limits are cautious.
    Cautious,
}

impl Verdict {
    /// In words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Honest => "The boards are spread as predicted.",
            Self::TooSmall => {
                "The boards are spread more than predicted: some limit in the chain file is too small."
            }
            Self::Cautious => {
                "The boards are spread less than predicted: the limits in the chain file are cautious."
            }
        }
    }
}

impl Batch {
    /// What the batch says of the prediction.
    pub fn verdict(&self) -> Verdict {
        let Spread { ratio, by_chance, .. } = self.spread;
        if ratio > by_chance.1 {
            Verdict::TooSmall
        } else if ratio < by_chance.0 {
            Verdict::Cautious
        } else {
            Verdict::Honest
        }
    }
}

/// Why there is no batch.
#[derive(Clone, Debug, PartialEq)]
pub enum BatchError {
    /// No board.
    Empty,
    /// The board of this name has no calibration with findings.
    NotCalibrated(String),
    /// The second board is of another design than the first.
    OtherDesign(String, String),
    /// Two boards have one serial number.
    SameSerial(String),
    /// The readings of all boards together tell nothing of them.
    Unseen,
    /// The model has no answer.
    Model(ModelError),
}

impl core::fmt::Display for BatchError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::Empty => f.write_str("no calibrated board"),
            Self::NotCalibrated(name) => write!(f, "{name} has no calibration that tells of its deviations"),
            Self::OtherDesign(first, other) => write!(f, "{other} is of another design than {first}"),
            Self::SameSerial(serial) => write!(f, "two boards have the serial number {serial}"),
            Self::Unseen => f.write_str("the readings of these boards tell nothing of how they were built"),
            Self::Model(error) => error.fmt(f),
        }
    }
}

impl core::error::Error for BatchError {}

impl From<ModelError> for BatchError {
    fn from(error: ModelError) -> Self {
        Self::Model(error)
    }
}

/// Brings calibrated boards together; each with the name of its file.
///
/// # Errors
/// [`BatchError`].
pub fn batch(boards: &[(String, Chain)]) -> Result<Batch, BatchError> {
    let Some((first_name, first)) = boards.first() else { return Err(BatchError::Empty) };
    let design = first.as_designed();
    // Every figure of a chain shows in its debug text, and that is the same for the same figures.
    let text = format!("{design:?}");
    let model = Model::new(design)?;
    let hot = grid(model.chain().need.hot, model.chain().settings.hot_points.max(2));
    let (low, high) = model.chain().need.board;
    let at_board = model.chain().plan.board.clamp(low, high);
    let targets = Targets::new(&model, Correction::NONE, &hot, &[at_board])?;
    let mut all: Vec<Board> = Vec::with_capacity(boards.len());
    let mut seen: Vec<Seen> = Vec::with_capacity(boards.len());
    for (name, chain) in boards {
        let Some(findings) = &chain.findings else { return Err(BatchError::NotCalibrated(name.clone())) };
        if format!("{:?}", chain.as_designed()) != text {
            return Err(BatchError::OtherDesign(first_name.clone(), name.clone()));
        }
        let calibrated = Model::new(chain.clone())?;
        let d = calibrated.best_estimate();
        let readings =
            band::readings(&model, &d, Correction::NONE, &hot, &[at_board], ReadingNoise::LeftOut)?;
        let of_this = Seen::new(findings);
        all.push(Board {
            serial: findings.serial.clone().unwrap_or_else(|| name.clone()),
            date: findings.date.clone(),
            constants: chain.correction.unwrap_or(Correction::NONE),
            as_built: readings.iter().zip(&hot).map(|(r, t)| r - t).collect(),
            directions: of_this.along.len(),
            probability: of_this.probability(),
        });
        seen.push(of_this);
    }
    all.sort_by(|a, b| a.serial.cmp(&b.serial));
    if let Some(pair) = all.windows(2).find(|w| w[0].serial == w[1].serial) {
        return Err(BatchError::SameSerial(pair[0].serial.clone()));
    }
    let shared = spread::shared_names(&seen);
    let estimates = estimates(&model, boards, &seen, &shared, &targets);
    let at = hot
        .iter()
        .enumerate()
        .map(|(p, &hot)| {
            let n = all.len() as f64;
            let mean = all.iter().map(|b| b.as_built[p]).sum::<f64>() / n;
            let squares: f64 = all.iter().map(|b| (b.as_built[p] - mean) * (b.as_built[p] - mean)).sum();
            At {
                hot,
                expected: targets.nominal[p] - hot,
                predicted: own_standard(&model, &targets, p),
                predicted_of_estimates: estimates[p].0,
                common: estimates[p].1,
                mean,
                seen: (squares / (n - 1.0)).sqrt(),
            }
        })
        .collect();
    let directions: usize = all.iter().map(|b| b.directions).sum();
    let spread = Spread::new(&seen).ok_or(BatchError::Unseen)?;
    Ok(Batch {
        name: model.chain().name.clone(),
        boards: all,
        hot,
        board: at_board,
        at,
        spread,
        shared,
        directions,
    })
}

/// For each point the standard deviation of the boards' estimated errors there if the prior is right, and the part of it
/// that shared errors move in all alike (root-mean-square over the boards, mean over the boards), K.
fn estimates(
    model: &Model,
    boards: &[(String, Chain)],
    seen: &[Seen],
    shared: &[String],
    targets: &Targets,
) -> Vec<(f64, f64)> {
    let n = boards.len() as f64;
    let place = |id: &str| model.imperfections().iter().position(|i| i.id == id);
    (0..targets.nominal.len())
        .map(|point| {
            let (mut variance, mut common) = (0.0, vec![0.0; shared.len()]);
            for (findings, seen) in
                boards.iter().zip(seen).filter_map(|((_, c), s)| Some((c.findings.as_ref()?, s)))
            {
                // An estimate is Σ ζ·g over the directions: what a ζ of 1 does at this point.
                let per: Vec<f64> = (0..findings.directions())
                    .map(|r| {
                        let entries = findings.deviations.iter();
                        entries
                            .filter_map(|d| {
                                Some(d.directions.get(r)? * targets.sensitivities[(point, place(&d.id)?)])
                            })
                            .sum()
                    })
                    .collect();
                variance += per.iter().map(|c| c * c).sum::<f64>() / n;
                for (common, name) in common.iter_mut().zip(shared) {
                    let along = seen.shared(name).unwrap_or_default();
                    *common += per.iter().zip(along).map(|(c, s)| c * s).sum::<f64>() / n;
                }
            }
            // A sum of nothing is −0.
            (variance.sqrt(), common.iter().map(|c| c * c).fold(0.0, |a, b| a + b).sqrt())
        })
        .collect()
}

/// Standard deviation of the boards' own errors at a point, by the prior.
fn own_standard(model: &Model, targets: &Targets, point: usize) -> f64 {
    let list = model.imperfections();
    let own = (0..list.len()).filter(|&i| list[i].persistence == Persistence::Board);
    own.map(|i| targets.sensitivities[(point, i)] * targets.sensitivities[(point, i)]).sum::<f64>().sqrt()
}
