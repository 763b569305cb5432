//! The millivolt source from a battery and two resistors.

use icepoint_bench::sheet::divider::{Divider, Resistor, Worth};
use icepoint_chain::quantity::Unit;
use maud::{Markup, html};

use super::{NBSP, Subject, celsius, fixed, plain, quantity, significant};
use crate::page::{self, Column};

pub(super) fn section(s: &Subject<'_>) -> Markup {
    let battery = s.battery;
    if s.dividers.is_empty() {
        return html! {
            p { "No pair of resistors of " (s.resistors) " gives any of these voltages from " (quantity(battery.volts, Unit::Volt, 3)) "." }
        };
    }
    let kelvin = |w: Worth| format!("±{}", significant(w.kelvin, 2));
    let rows: Vec<Vec<String>> = s
        .dividers
        .iter()
        .map(|d| {
            vec![
                celsius(d.wished),
                resistor(d.upper),
                resistor(d.lower),
                fixed(1e3 * d.volts, 3),
                fixed(d.celsius, 1),
                kelvin(d.by_tolerance),
                kelvin(d.by_parts),
                kelvin(d.by_output),
            ]
        })
        .collect();
    let columns = [
        Column::words("For about"),
        Column::words("Upper"),
        Column::words("Lower"),
        Column::numbers("Gives", "mV"),
        Column::numbers("Which is", "°C"),
        Column::numbers("Tolerance", "K"),
        Column::numbers("Parts", "K"),
        Column::numbers("Output", "K"),
    ];
    let currents = s.dividers.iter().map(|d| d.current).fold(0.0, f64::max);
    let loads = s.dividers.iter().map(|d| d.loading.0.abs() + d.loading.1).fold(0.0, f64::max);
    let largest = s.dividers.iter().map(|d| d.output_resistance).fold(0.0, f64::max);
    html! {
        p {
            "A fresh battery of " (quantity(battery.volts, Unit::Volt, 3)) ", one resistor (“upper”) from its positive end to the board's "
            "positive terminal, another (“lower”) across the terminals, battery minus to the negative terminal; for voltages below "
            "zero the battery the other way round. Resistors from " (s.resistors) ". Copper leads, all joints at one temperature, nothing "
            "held in fingers. Don't short the battery; take it out afterwards."
        }
        (page::table("Dividers with copper leads", &columns, &rows))
        p {
            "The voltage need not be the one wished for: it has to be known. Work out what yours gives from what you measured, battery "
            "voltage with the divider connected, and both resistors before they are connected: battery × lower / (upper + lower). "
            "The last three columns are 95" (NBSP) "% limits in kelvin. “Tolerance”: the resistors' tolerances and ±"
            (quantity(battery.tolerance, Unit::Ratio, 2)) " of the battery are all that is known. “Parts”: battery and resistors were measured with the "
            "voltmeter and an ohmmeter of " (quantity(battery.ohmmeter, Unit::Ratio, 2)) ". “Output”: the voltmeter looks at the output itself"
            (best(s.dividers)) ". Thermal voltages of ±" (quantity(s.sheet.setup.source.thermal_emf, Unit::Volt, 2)) " are in all three, "
            "and the terminals' temperature, known within ±" (plain(s.sheet.setup.source.thermometer)) (NBSP) "K."
        }
        p {
            "It takes at most " (quantity(currents, Unit::Ampere, 2)) " from the battery. Its output has up to "
            (quantity(largest, Unit::Ohm, 2)) ", in place of the probe's and cable's "
            (quantity(probe_ohms(s), Unit::Ohm, 2)) ": the board's bias and detection currents through it move the reading by up to "
            (plain(libm::ceil(100.0 * loads) / 100.0)) (NBSP) "K against a source without resistance."
        }
    }
}

fn probe_ohms(s: &Subject<'_>) -> f64 {
    s.chain.probe.resistance + s.chain.lead.as_ref().map_or(0.0, |lead| lead.resistance)
}

/// Which way of knowing is the best, in words.
fn best(dividers: &[Divider]) -> &'static str {
    let last = dividers.iter().max_by(|a, b| a.volts.abs().total_cmp(&b.volts.abs()));
    match last {
        Some(d) if d.by_output.kelvin < d.by_parts.kelvin => ", the best of the three with this meter",
        Some(_) => ", which this meter is too coarse for: measure the parts",
        None => "",
    }
}

fn resistor(r: Resistor) -> String {
    format!("{}{NBSP}±{NBSP}{}", quantity(r.ohms, Unit::Ohm, 4), quantity(r.tolerance, Unit::Ratio, 2))
}
