//! Active low-pass filters of one to four poles, between a front end's amplifier and its output.
//!
//! **Why.** A mean in the firmware cancels the mains only at its nominal frequency, and passes whatever is near a multiple
//! of its sampling rate. What is filtered before the converter never swings it, and is never folded back.
//!
//! | you have | you want | call |
//! |---|---|---|
//! | a response and a number of poles | its poles, stage by stage | [`Response::stages`] |
//! | a stage, a corner and two capacitors | its resistors | [`Stage::ohms`] |
//! | a stage with its values | its transfer function with a real amplifier | [`Built::denominator`], [`Built::response`] |
//! | a front end | the same with the filter in it | [`insert::insert`] |
//! | a model with the filter in it | magnitude, step and figures of many boards | [`insert::Inserted::boards`] |
//!
//! **Conventions.** The corner is where the response is 3 dB below that at 0 Hz, for every response: Chebyshev tables
//! often mean the end of the ripple instead. Gain 1 at 0 Hz (−1 for one inverting stage). Poles are told as frequency
//! `f₀ = |s|/2π` and `Q = |s|/(−2·Re s)` of a pair; a single real pole has no Q.
//!
//! **What it is not.** Stages with gain, zeros, elliptic filters; more than four poles. Slewing.

pub mod boards;
pub mod insert;
pub mod polynomial;
mod prototype;
mod stage;
mod time;

pub use icepoint_circuit::Complex;
pub use prototype::{Pole, RIPPLE, Response};
pub use stage::{Amplifier, Built, Stage};

/// Poles at most.
pub const MOST_POLES: u32 = 4;
/// Corner that values follow until one is chosen, Hz.
pub const USUAL_CORNER: f64 = 2.0;

/// A low-pass as asked for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LowPass {
    /// 1 to 4.
    pub poles: u32,
    /// The circuit of each stage.
    pub form: Form,
    /// Where the poles are.
    pub response: Response,
    /// Frequency at which the response is 3 dB below that at 0 Hz; `None`: to be chosen.
    pub corner: Option<f64>,
}

/// The circuit of a stage.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Form {
    /// Sallen–Key with a follower: gain 1. The gain is exact whatever the resistors; far above the corner the amplifier's
    /// output no longer holds the node that the first capacitor drives.
    SallenKey,
    /// Multiple feedback: gain −1, which its two resistors set. It goes on attenuating far above the corner.
    MultipleFeedback,
}

impl Form {
    /// Every accepted spelling; the first of each is its short id.
    pub const SPELLINGS: &'static [(&'static str, Self)] =
        &[("sallen-key", Self::SallenKey), ("multiple-feedback", Self::MultipleFeedback)];

    /// The word used in the chain file.
    pub const fn name(self) -> &'static str {
        match self {
            Self::SallenKey => "sallen-key",
            Self::MultipleFeedback => "multiple-feedback",
        }
    }
}

impl LowPass {
    /// Stages in the order of the signal: the single pole first, then pairs by rising Q, so that what is to be kept out is
    /// small by the time it meets a stage that peaks (common practice, no source).
    pub fn stages(&self) -> Vec<Stage> {
        let poles = self.response.stages(self.poles);
        poles.into_iter().map(|pole| Stage { form: self.form, pole }).collect()
    }

    /// Gain at 0 Hz: 1, or −1 for an odd number of inverting stages.
    pub fn gain(&self) -> f64 {
        let inverting = self.form == Form::MultipleFeedback && self.poles.div_ceil(2) % 2 == 1;
        if inverting { -1.0 } else { 1.0 }
    }
}
