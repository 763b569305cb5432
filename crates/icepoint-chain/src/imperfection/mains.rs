//! Mains pick-up: in series with the thermocouple, and common to both leads, turned into a difference by mismatch and
//! finite common-mode rejection; both after every filter.
//!
//! What a reading catches is a sine at any phase. The digital filter is judged at the worst line frequency within
//! ±1 % of the nominal one, where a mean over whole periods no longer cancels exactly.

use icepoint_circuit::{Circuit, CircuitError, ParameterId};

use super::{
    Collector, Distribution, Effect, Family, Imperfection, Persistence, Removes, Source, SourceKind,
};
use crate::chain::Chain;
use crate::dynamics::Dynamics;
use crate::wiring::Wiring;

pub(super) fn add(_chain: &Chain, dynamics: &Dynamics, list: &mut Collector) {
    let mut row = |id: &str, label: &str, amplitude: f64, text: &str| {
        list.add(
            Imperfection {
                id: format!("mains.{id}"),
                label: label.into(),
                family: Family::Mains,
                distribution: Distribution::Arcsine(amplitude),
                unit: "V",
                source: Source::new(SourceKind::User, text),
                persistence: Persistence::Reading,
                removed_by: Removes::NOTHING,
            },
            Effect::ConverterVolts,
        );
    };
    row("series", "mains in series with the thermocouple", dynamics.series_residual, "need.series_pickup");
    row("common", "mains common to both leads", dynamics.common_residual, "need.common_pickup");
}

/// Gain from a common-mode voltage to the output at `hertz`: root of the sum of squares of the nominal value and of
/// what each capacitor's and resistor's tolerance and each amplifier's rejection add, each counted with its standard
/// uncertainty.
pub(crate) fn common_mode_gain(
    circuit: &Circuit,
    wiring: &Wiring,
    values: &[f64],
    steps: &[(ParameterId, f64)],
    hertz: f64,
) -> Result<f64, CircuitError> {
    let response = |values: &[f64]| -> Result<(f64, f64), CircuitError> {
        let solution = circuit.ac(values, None, wiring.common_source, hertz)?;
        let v = solution.between(wiring.output);
        Ok((v.re, v.im))
    };
    let (re, im) = response(values)?;
    let mut sum = re * re + im * im;
    let mut moved = values.to_vec();
    for &(slot, step) in steps {
        let at = slot.index();
        moved[at] = values[at] + step;
        let (r, i) = response(&moved)?;
        moved[at] = values[at];
        sum += (r - re) * (r - re) + (i - im) * (i - im);
    }
    Ok(sum.sqrt())
}
