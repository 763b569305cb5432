//! The need, as it was asked.

use icepoint_chain::chain::{
    CalibrationMethod, CalibrationWish, ConverterKind, DigitalFilter, JunctionMethod, JunctionSensor, Readout,
};
use icepoint_chain::quantity::Unit;
use maud::{Markup, html};

use super::Subject;
use super::words::{NBSP, asked, celsius, celsius_span, plain_kelvin, quantity, ratio, with_tolerance};
use crate::page;

pub(super) fn section(s: &Subject<'_>) -> Markup {
    let need = &s.chain.need;
    let mut rows: Vec<(String, Markup)> = Vec::new();
    let mut row = |term: &str, meaning: String| rows.push((term.to_owned(), html! { (meaning) }));
    row("Measuring junction", celsius_span(need.hot));
    row("Board", celsius_span(need.board));
    row("Accuracy", format!("{} for 95 % of readings", asked(need.accuracy)));
    row("Calibration the owner does", calibration(s));
    if need.settle_within.is_finite() {
        row(
            "Response",
            format!(
                "{} to within {} of a step",
                quantity(need.settle_within, Unit::Second, 3),
                ratio(need.settle_to)
            ),
        );
    }
    row("Mains", quantity(need.mains, Unit::Hertz, 3));
    row(
        "Pick-up",
        format!(
            "{} in series with the thermocouple, {} common to both leads (rms)",
            quantity(need.series_pickup, Unit::Volt, 3),
            quantity(need.common_pickup, Unit::Volt, 3)
        ),
    );
    if need.mains_residual.is_finite() {
        row("Mains residual allowed", asked(need.mains_residual));
    }
    row("Probe", probe(s));
    row("Cable", cable(s));
    row("Reference junction", junction(s));
    row("Converter", converter(s));
    row("Filter in firmware", filter(s));
    row("Reading rule", rule(s));
    row("Resistors", resistors(s));
    page::definitions(&rows)
}

fn calibration(s: &Subject<'_>) -> String {
    if s.wish == CalibrationWish::None {
        return "none".to_owned();
    }
    let plan = &s.chain.plan;
    let means = match plan.method {
        CalibrationMethod::MillivoltSource { relative, fixed } => format!(
            "millivolt source of ±\u{2060}({} + {}), thermometer at the terminals ±{}",
            ratio(relative),
            quantity(fixed, Unit::Volt, 3),
            plain_kelvin(plan.thermometer)
        ),
        CalibrationMethod::KnownTemperature { accuracy } => {
            format!("the probe at temperatures known to ±{}", plain_kelvin(accuracy))
        }
    };
    format!(
        "{}; {means}; board at {}; mean of {} readings",
        s.calibration(s.wish),
        celsius(plan.board),
        plan.readings
    )
}

fn probe(s: &Subject<'_>) -> String {
    let probe = &s.chain.probe;
    let (positive, negative) = probe.letter.legs();
    format!(
        "type {} ({positive}/{negative}), {}, {} junction, {} loop",
        probe.letter.name(),
        probe.tolerance_text,
        if probe.grounded { "grounded" } else { "insulated" },
        quantity(probe.resistance, Unit::Ohm, 3)
    )
}

fn cable(s: &Subject<'_>) -> String {
    match (&s.chain.lead, &s.file.lead) {
        (Some(lead), Some(given)) => format!(
            "{}, {}, {} in all, head at {}",
            lead.name,
            quantity(*given.length, Unit::Metre, 3),
            quantity(lead.resistance, Unit::Ohm, 3),
            celsius_span(lead.head)
        ),
        _ => "none: the probe ends at the terminals".to_owned(),
    }
}

fn junction(s: &Subject<'_>) -> String {
    let j = &s.chain.junction;
    let sensor = match j.method {
        JunctionMethod::Analog { slope, .. } => {
            format!(
                "compensated in the circuit by a voltage sensor of {}",
                quantity(slope, Unit::VoltPerKelvin, 3)
            )
        }
        JunctionMethod::InCircuit => {
            let parts: Vec<&str> = s
                .chain
                .front_end
                .parts
                .iter()
                .filter(|p| p.kind.senses_temperature())
                .map(|p| p.designator.as_str())
                .collect();
            format!("compensated in the circuit by {}", parts.join(", "))
        }
        JunctionMethod::Measured(JunctionSensor::Digital) => "measured by a digital sensor".to_owned(),
        JunctionMethod::Measured(JunctionSensor::Thermistor { r25, beta, .. }) => format!(
            "measured by a thermistor of {}, beta {}{NBSP}K",
            quantity(r25, Unit::Ohm, 3),
            crate::number::plain(beta)
        ),
        JunctionMethod::Measured(JunctionSensor::Platinum { class, .. }) => {
            format!("measured by a platinum resistor of 100{NBSP}Ω, class {}", class.name())
        }
    };
    format!(
        "{sensor}, {}; {} between sensor and terminals",
        format_args!("±{}", plain_kelvin(j.accuracy)),
        format_args!("±{}", plain_kelvin(j.gradient))
    )
}

fn converter(s: &Subject<'_>) -> String {
    let c = &s.chain.converter;
    match c.kind {
        ConverterKind::Adc { bits, reference } => {
            let tolerance = s.design.resolved.surroundings.reference.as_ref();
            let limit = match tolerance {
                Some(icepoint_chain::front_end::PartKind::Reference { tolerance, .. }) => *tolerance,
                _ => 0.0,
            };
            format!(
                "{bits} bit, reference {}, one step {}",
                with_tolerance(reference, Unit::Volt, limit),
                quantity(c.step(), Unit::Volt, 4)
            )
        }
        ConverterKind::Voltmeter { resolution, .. } => format!(
            "voltmeter, ±\u{2060}({} of reading + {}), last digit {}",
            ratio(c.gain_error),
            quantity(c.offset, Unit::Volt, 3),
            quantity(resolution, Unit::Volt, 3)
        ),
    }
}

fn filter(s: &Subject<'_>) -> String {
    match s.chain.filter {
        DigitalFilter::None => "none: each conversion stands alone".to_owned(),
        DigitalFilter::Mean { periods, rate } => format!(
            "mean over {periods} mains {}, {} conversions a second",
            if periods == 1 { "period" } else { "periods" },
            crate::number::plain(rate)
        ),
        DigitalFilter::Sinc { order, rate, output_rate } => format!(
            "sinc of order {order}, {} readings a second from {} samples a second",
            crate::number::plain(output_rate),
            crate::number::plain(rate)
        ),
        DigitalFilter::FirstOrder { time_constant, rate } => format!(
            "first order, time constant {}, {} conversions a second",
            quantity(time_constant, Unit::Second, 3),
            crate::number::plain(rate)
        ),
    }
}

fn rule(s: &Subject<'_>) -> String {
    match s.chain.readout {
        Readout::Line { slope, offset } => format!(
            "a straight line: {} from {} at 0{NBSP}°C",
            quantity(slope, Unit::VoltPerKelvin, 3),
            quantity(offset, Unit::Volt, 3)
        ),
        Readout::EmfInverse => {
            "exact inverse of the reference function, reference junction added in volts".to_owned()
        }
        Readout::Table { segments } => {
            format!("table of {segments} chords, reference junction added in volts")
        }
        Readout::PublishedPolynomial => {
            "published inverse polynomial, reference junction added in volts".to_owned()
        }
    }
}

fn resistors(s: &Subject<'_>) -> String {
    let r = &s.file.parts.resistors;
    let c = &s.file.parts.capacitors;
    format!(
        "series {}, ±{NBSP}{}, {}; capacitors {}, ±{NBSP}{}",
        r.series.name(),
        ratio(*r.tolerance),
        quantity(*r.tempco, Unit::PerKelvin, 3),
        c.series.name(),
        ratio(*c.tolerance)
    )
}
