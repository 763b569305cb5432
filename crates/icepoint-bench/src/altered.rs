//! A chain with something else at its terminals than its probe: a source, a short, nothing.

use icepoint_chain::chain::{Chain, ConverterKind};
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

/// A chain with something else at its terminals; its deviations are some of the real one's.
#[derive(Debug)]
pub(crate) struct Altered {
    pub(crate) model: Model,
    /// Where each of its deviations stands among the real chain's.
    places: Vec<usize>,
}

impl Altered {
    /// # Errors
    /// [`ModelError`] when the circuit can't be solved, or has a deviation that the real chain lacks.
    pub(crate) fn new(real: &Model, chain: Chain) -> Result<Self, ModelError> {
        let model = Model::without_dynamics(chain)?;
        let places = model
            .imperfections()
            .iter()
            .map(|i| {
                real.imperfections()
                    .iter()
                    .position(|r| r.id == i.id)
                    .ok_or_else(|| ModelError::Missing(format!("deviation {}", i.id)))
            })
            .collect::<Result<_, _>>()?;
        Ok(Self { model, places })
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

    /// Its own deviations, from the real chain's.
    pub(crate) fn deviations(&self, real: &[f64], own: &mut Vec<f64>) {
        own.clear();
        own.extend(self.places.iter().map(|&i| real.get(i).copied().unwrap_or(0.0)));
    }
}
