//! Mains pick-up: in series with the thermocouple, and common to both leads, turned into a difference by mismatch and
//! finite common-mode rejection; both after every filter.
//!
//! What a reading catches is a sine at any phase. The digital filter is judged at the worst line frequency within
//! ±1 % of the nominal one, where a mean over whole periods no longer cancels exactly. The harmonics that the pick-up
//! brings along count together, as one sine of the same power: what is left of them seldom matters.

use icepoint_circuit::{Circuit, CircuitError, Complex, ParameterId};

use super::{
    Collector, Distribution, Effect, Family, Imperfection, Persistence, Removes, Source, SourceKind,
};
use crate::dynamics::Dynamics;
use crate::wiring::Wiring;

pub(super) fn add(dynamics: &Dynamics, list: &mut Collector) {
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
    row("harmonics", "harmonics of the mains, both pick-ups", dynamics.harmonic_residual, "need.harmonics");
}

/// Gain from a common-mode voltage to the output at each frequency: root of the sum of squares of the nominal value and
/// of what each capacitor's and resistor's tolerance and each amplifier's rejection add, each counted with its standard
/// uncertainty.
pub(crate) fn common_mode_gains(
    circuit: &Circuit,
    wiring: &Wiring,
    values: &[f64],
    steps: &[(ParameterId, f64)],
    hertz: &[f64],
) -> Result<Vec<f64>, CircuitError> {
    let response = |values: &[f64]| -> Result<Vec<Complex>, CircuitError> {
        let all = circuit.ac_sweep(values, None, wiring.common_source, hertz)?;
        Ok(all.iter().map(|solution| solution.between(wiring.output)).collect())
    };
    let square = |v: Complex| v.re * v.re + v.im * v.im;
    let nominal = response(values)?;
    let mut sums: Vec<f64> = nominal.iter().map(|v| square(*v)).collect();
    let mut moved = values.to_vec();
    for &(slot, step) in steps {
        let at = slot.index();
        moved[at] = values[at] + step;
        for ((sum, v), before) in sums.iter_mut().zip(response(&moved)?).zip(&nominal) {
            *sum += square(v - *before);
        }
        moved[at] = values[at];
    }
    Ok(sums.into_iter().map(f64::sqrt).collect())
}
