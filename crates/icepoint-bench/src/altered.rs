//! A chain with something else at its terminals than its probe: a source, a short, nothing.

use icepoint_chain::chain::{Chain, ConverterKind};
use icepoint_chain::imperfection::Imperfection;
use icepoint_chain::{Model, ModelError};

/// Resistance of a short and of what it is made with, Ω.
pub(crate) const SHORT: f64 = 0.1;

/// The chain with a voltmeter of so many ohms at its output; `None` where it ends in a voltmeter, which is there already.
pub(crate) fn with_meter_at_output(chain: &Chain, ohms: f64) -> Option<Chain> {
    let ports = &chain.front_end.ports;
    match (chain.converter.kind, &ports.output_minus) {
        (ConverterKind::Voltmeter { .. }, _) => None,
        (_, Some(minus)) => Some(chain.with_meter_between(&ports.output, minus, ohms)),
        (_, None) => Some(chain.with_meter(&ports.output, ohms)),
    }
}

/// A chain with something else at its terminals; its deviations are the real one's, and some that only what was joined
/// to it brings.
#[derive(Debug)]
pub(crate) struct Altered {
    pub(crate) model: Model,
    /// Where each of its deviations comes from.
    origins: Vec<Origin>,
}

/// Where a deviation of an altered chain comes from.
#[derive(Debug)]
enum Origin {
    /// The real chain has it too: its place there.
    Real(usize),
    /// The real chain lacks it, since nothing there makes it act: mean, and half the width of its limits. A voltmeter at a
    /// reference that supplies nothing else is a load, and by how much the reference gives way to it is as unknown as to
    /// any other load. It is not zero, and nothing else that is drawn for the board tells it.
    Own { mean: f64, half: f64 },
}

impl Altered {
    /// # Errors
    /// [`ModelError`] when the circuit can't be solved.
    pub(crate) fn new(real: &Model, chain: Chain) -> Result<Self, ModelError> {
        let model = Model::without_dynamics(chain)?;
        let origin = |i: &Imperfection| match real.imperfections().iter().position(|r| r.id == i.id) {
            Some(place) => Origin::Real(place),
            // Drawn evenly, with the standard uncertainty that it has: a/√3 (JCGM 100, 4.3.7).
            None => {
                Origin::Own { mean: i.distribution.mean(), half: 3f64.sqrt() * i.distribution.standard() }
            }
        };
        let origins = model.imperfections().iter().map(origin).collect();
        Ok(Self { model, origins })
    }

    /// The real chain's with a source of so many ohms in the place of probe and cable and with a voltmeter of so many ohms
    /// at the output, as designed: what a calibration found out belongs to the real one.
    ///
    /// # Errors
    /// As [`Altered::new`].
    pub(crate) fn on_bench(
        real: &Model,
        source: Option<f64>,
        meter: Option<f64>,
    ) -> Result<Self, ModelError> {
        let mut chain = real.chain().clone();
        if let Some(ohms) = source {
            chain = chain.with_source(ohms.max(SHORT));
        }
        if let Some(metered) = meter.and_then(|ohms| with_meter_at_output(&chain, ohms)) {
            chain = metered;
        }
        chain.findings = None;
        chain.correction = None;
        Self::new(real, chain)
    }

    /// Whether it has deviations that the real chain lacks.
    pub(crate) fn has_own(&self) -> bool {
        self.origins.iter().any(|o| matches!(o, Origin::Own { .. }))
    }

    /// Its deviations, from the real chain's. `share` of their limits, −1 to 1, is for those that the real chain lacks: one
    /// figure for all of them, since it is one part of one board (the reference's output resistance) that gives way,
    /// wherever the voltmeter is.
    pub(crate) fn deviations(&self, real: &[f64], share: f64, own: &mut Vec<f64>) {
        own.clear();
        own.extend(self.origins.iter().map(|origin| match *origin {
            Origin::Real(i) => real.get(i).copied().unwrap_or(0.0),
            Origin::Own { mean, half } => mean + share * half,
        }));
    }
}
