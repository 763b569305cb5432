//! Mains, noise, settling and headroom.

use icepoint_chain::ModelError;
use icepoint_chain::chain::Readout;
use icepoint_chain::quantity::Unit;

use super::super::Subject;
use super::super::dynamics::noise_kelvin;
use super::super::words::{NBSP, celsius, exact_kelvin, minus, quantity, trimmed_digits};
use super::{Check, Derivation};

/// Noise in kelvin by slope against the model's own, which solves the whole reading.
const NOISE: f64 = 0.02;

pub(super) fn derivations(s: &Subject<'_>) -> Result<Vec<Derivation>, ModelError> {
    let mut list = Vec::new();
    mains(s, &mut list);
    noise(s, &mut list);
    settling(s, &mut list);
    headroom(s, &mut list);
    Ok(list)
}

fn mains(s: &Subject<'_>, list: &mut Vec<Derivation>) {
    let Some(d) = s.design.model.dynamics() else { return };
    let need = &s.chain.need;
    let volt = |v: f64| quantity(v, Unit::Volt, 6);
    let lines = [
        (
            "mains-series",
            "in series with the thermocouple",
            need.series_pickup,
            d.mains.mains_gain,
            d.mains.series_residual,
        ),
        (
            "mains-common",
            "common to both leads",
            need.common_pickup,
            d.mains.common_gain,
            d.mains.common_residual,
        ),
    ];
    for (id, what, rms, gain, value) in lines {
        if rms == 0.0 {
            continue;
        }
        list.push(Derivation {
            id: id.into(),
            name: format!("Mains {what}, at the converter"),
            formula: "â = √2 · rms · |H| · D".into(),
            inputs: format!("√2 · {} · {} · {}", volt(rms), trimmed_digits(gain, 6), trimmed_digits(d.mains.mains_digital, 6)),
            result: quantity(value, Unit::Volt, 4),
            value,
            check: Check::Exact,
            source: format!(
                "|H| is the gain of the circuit at {}{}, D what the digital filter leaves at worst within ±1 %",
                quantity(need.mains, Unit::Hertz, 3),
                if id == "mains-common" { " from the plant to the output, mismatch of the parts included" } else { "" }
            ),
        });
    }
    let at = s.design.model.least_sensitive().0;
    let (formula, below, place) = match s.chain.readout {
        Readout::Line { slope, .. } => (
            "(â₁ + â₂ + âₕ) / slope of the line",
            quantity(slope, Unit::VoltPerKelvin, 6),
            "the same at every temperature",
        ),
        _ => (
            "(â₁ + â₂ + âₕ) / (|G| · S)",
            format!(
                "({} · S({}))",
                trimmed_digits(s.design.model.nominal_transfer().1.abs(), 6),
                celsius(at)
            ),
            "where the thermocouple is least sensitive",
        ),
    };
    list.push(Derivation {
        id: "mains-residual".into(),
        name: format!("Mains in the reading, {place}"),
        formula: formula.into(),
        inputs: format!(
            "({} + {} + {}) / {below}",
            volt(d.mains.series_residual),
            volt(d.mains.common_residual),
            volt(d.mains.harmonic_residual)
        ),
        result: exact_kelvin(s.design.mains_kelvin, 3),
        value: s.design.mains_kelvin,
        check: Check::Exact,
        source: "both pick-ups of the fundamental at their worst together; âₕ is a sine as strong as all harmonics".into(),
    });
}

fn noise(s: &Subject<'_>, list: &mut Vec<Derivation>) {
    let Some(d) = s.design.model.dynamics() else { return };
    let hot = s.chain.need.hot.1;
    let Some(value) = noise_kelvin(s, hot) else { return };
    let gain = s.design.model.nominal_transfer().1.abs();
    let volts = quantity(d.noise_rms, Unit::Volt, 6);
    let (formula, inputs) = match s.chain.readout {
        Readout::Line { slope, .. } => {
            ("σ / slope of the line", format!("{volts} / {}", quantity(slope, Unit::VoltPerKelvin, 6)))
        }
        _ => ("σ / (|G| · S(hot))", format!("{volts} / ({} · S({}))", trimmed_digits(gain, 6), celsius(hot))),
    };
    list.push(Derivation {
        id: "noise".into(),
        name: format!("Noise in the reading at {}", celsius(hot)),
        formula: formula.into(),
        inputs,
        result: exact_kelvin(value, 3),
        value,
        check: Check::Within(NOISE),
        source: "σ from the noise analysis of the circuit, 0.01 Hz upward, after the digital filter".into(),
    });
}

fn settling(s: &Subject<'_>, list: &mut Vec<Derivation>) {
    let settling = &s.design.settling;
    let (Some(analog), Some(total)) = (settling.analog, settling.total()) else { return };
    let second = |t: f64| quantity(t, Unit::Second, 6);
    list.push(Derivation {
        id: "settling".into(),
        name: format!("Settling to within {}", super::super::words::ratio(s.chain.need.settle_to)),
        formula: "t = circuit + digital filter".into(),
        inputs: format!("{} + {}", second(analog), second(settling.digital)),
        result: quantity(total, Unit::Second, 4),
        value: total,
        check: Check::Exact,
        source: "step response of the circuit, solved in time".into(),
    });
}

fn headroom(s: &Subject<'_>, list: &mut Vec<Derivation>) {
    let Some(least) = s.design.headroom.first() else { return };
    let volt = |v: f64| quantity(v, Unit::Volt, 6);
    let (low, high) = least.allowed;
    let upper = high - least.volts < least.volts - low;
    list.push(Derivation {
        id: "headroom".into(),
        name: format!(
            "Least room: {}, {}, board at {}",
            least.what,
            celsius(least.hot),
            celsius(least.board)
        ),
        formula: if upper {
            "highest allowed − voltage".into()
        } else {
            "voltage − lowest allowed".into()
        },
        inputs: if upper {
            format!("{} − {}", volt(high), volt(least.volts))
        } else {
            format!("{} − {}", volt(least.volts), volt(low))
        },
        result: minus(&quantity(least.margin(), Unit::Volt, 3)).replace(' ', &NBSP.to_string()),
        value: least.margin(),
        check: Check::Exact,
        source: "every part at the end of its tolerance that hurts".into(),
    });
}
