//! The sections of a chain file that need nothing of the circuit, each with what it leaves to others filled in.

use icepoint_sensors::cable;
use icepoint_sensors::platinum::Class;
use icepoint_sensors::wire::{self, Size};

use crate::chain::{
    CalibrationMethod, CalibrationPlan, CalibrationWish, Converter, ConverterInput, ConverterKind,
    DigitalFilter, DividerArm, JunctionMethod, JunctionSensor, Lead, Need, Probe, ProbeTolerance, Readout,
    ReferenceJunction,
};
use crate::file::{self, ChainFile};
use crate::front_end::Sensing;
use crate::front_end::sensing::{JunctionFigures, PlatinumFigures, ThermistorFigures};
use crate::imperfection::SPECIFIED_AT;

pub(super) fn need(file: &ChainFile) -> Need {
    let n = &file.need;
    Need {
        hot: (n.hot.low, n.hot.high),
        board: (n.board.low, n.board.high),
        accuracy: *n.accuracy,
        settle_within: n.settle_within.as_ref().map_or(f64::INFINITY, |g| g.value),
        settle_to: *n.settle_to,
        mains: *n.mains,
        series_pickup: *n.series_pickup,
        common_pickup: *n.common_pickup,
        mains_residual: n.mains_residual.as_ref().map_or(f64::INFINITY, |g| g.value),
        calibration: match *n.calibration {
            file::CalibrationEffort::None => CalibrationWish::None,
            file::CalibrationEffort::Zero => CalibrationWish::Zero,
            file::CalibrationEffort::ZeroAndSpan => CalibrationWish::ZeroAndSpan,
        },
        broken_sensor: *n.broken_sensor,
    }
}

pub(super) fn probe(file: &ChainFile) -> Probe {
    let p = &file.probe;
    let (tolerance, tolerance_text) = match *p.tolerance {
        file::ProbeTolerance::Class(class) => (ProbeTolerance::Class(class), class.name().to_owned()),
        file::ProbeTolerance::PlusMinus(k) => {
            (ProbeTolerance::Kelvin(k), format!("±{k} K, the user's figure"))
        }
        file::ProbeTolerance::None => (ProbeTolerance::Exact, "taken as exact".to_owned()),
    };
    Probe {
        letter: *p.letter,
        tolerance,
        tolerance_text,
        normal: *p.distribution == file::Distribution::Normal,
        drift: *p.drift,
        grounded: *p.junction == file::Junction::Grounded,
        resistance: *p.resistance,
    }
}

pub(super) fn lead(file: &ChainFile, assumptions: &mut Vec<String>) -> Option<Lead> {
    let given = file.lead.as_ref()?;
    let letter = *file.probe.letter;
    let size = Size::Millimetres(1e3 * *given.conductor);
    let code = match *given.cable {
        file::Cable::Standard(cable) => Some(cable),
        file::Cable::SameWire => None,
    };
    let compensating_platinum = code.is_some_and(|c| c.kind() == cable::Kind::Compensating)
        && matches!(letter, icepoint_sensors::Letter::R | icepoint_sensors::Letter::S);
    let per_metre = if compensating_platinum {
        wire::compensating_sx_ohms_per_metre(size)
    } else {
        wire::loop_ohms_per_metre(letter, size)
    };
    let per_metre = per_metre.unwrap_or_else(|_| {
        assumptions.push(format!(
            "lead: no published loop resistance for type {} of this size; its resistance is taken as 0 Ω",
            letter.name()
        ));
        0.0
    });
    let (name, tolerance, full_at) = match code {
        Some(cable) => {
            let full_at = 0.5 * cable.celsius().1;
            assumptions.push(format!(
                "lead: the emf error of the cable grows with the temperature difference of its ends and reaches the \
                 limit at {full_at:.0} K (common practice, no source)"
            ));
            (cable.name().to_string(), cable.limit_volts(), full_at)
        }
        None => ("same wire as the probe".to_owned(), 0.0, 1.0),
    };
    Some(Lead {
        name,
        tolerance,
        full_at,
        resistance: per_metre * *given.length,
        head: (given.head.low, given.head.high),
    })
}

pub(super) fn junction(file: &ChainFile) -> ReferenceJunction {
    let j = &file.reference_junction;
    let arm = |divider: &file::Divider, ideal: f64| DividerArm {
        ohms: divider
            .resistor
            .chosen()
            .or_else(|| file.parts.resistors.series.nearest(ideal))
            .unwrap_or(ideal),
        tolerance: *divider.tolerance,
        tempco: *file.parts.resistors.tempco,
    };
    let in_circuit = *j.method == file::Method::Circuit;
    let method = match (&j.analog, &j.element) {
        _ if in_circuit => JunctionMethod::InCircuit,
        (Some(analog), _) => JunctionMethod::Analog {
            slope: *analog.slope,
            at_zero: *analog.at_zero,
            nonlinearity: *analog.nonlinearity,
            output_resistance: *analog.output_resistance,
        },
        (None, Some(file::Element::Thermistor { r25, beta, tolerance, beta_tolerance, divider })) => {
            // The divider is most sensitive where both arms are alike: at the middle of the board's range.
            let middle = file.need.board.middle() + crate::dynamics::ZERO_CELSIUS;
            let nominal = SPECIFIED_AT + crate::dynamics::ZERO_CELSIUS;
            let ideal = **r25 * libm::exp(**beta * (1.0 / middle - 1.0 / nominal));
            JunctionMethod::Measured(JunctionSensor::Thermistor {
                r25: **r25,
                beta: **beta,
                tolerance: **tolerance,
                beta_tolerance: **beta_tolerance,
                divider: arm(divider, ideal),
            })
        }
        (None, Some(file::Element::Platinum { class, divider })) => {
            JunctionMethod::Measured(JunctionSensor::Platinum {
                class: platinum_class(**class),
                divider: arm(divider, 100.0),
            })
        }
        (None, _) => JunctionMethod::Measured(JunctionSensor::Digital),
    };
    ReferenceJunction {
        method,
        accuracy: *j.accuracy,
        drift: *j.drift,
        gradient: *j.gradient,
        // Parts of the circuit have a thermal resistance of their own.
        self_heating: if in_circuit && !j.self_heating.is_from_file() { 0.0 } else { *j.self_heating },
    }
}

pub(super) fn platinum_class(class: file::PlatinumClass) -> Class {
    match class {
        file::PlatinumClass::AA => Class::AA,
        file::PlatinumClass::A => Class::A,
        file::PlatinumClass::B => Class::B,
        file::PlatinumClass::C => Class::C,
    }
}

pub(super) fn sensing(file: &ChainFile) -> Sensing {
    let Some(c) = &file.compensation else { return Sensing::default() };
    Sensing {
        junction: JunctionFigures {
            volts: *c.forward_voltage,
            amperes: *c.forward_current,
            spread: *c.forward_spread,
            slope_spread: *c.slope_spread,
            ideality: *c.ideality,
            ideality_spread: *c.ideality_spread,
            series_resistance: *c.series_resistance,
            heating: *c.heating,
        },
        thermistor: ThermistorFigures {
            r25: *c.r25,
            beta: *c.beta,
            tolerance: *c.tolerance,
            beta_tolerance: *c.beta_tolerance,
            heating: *c.heating,
        },
        platinum: PlatinumFigures {
            ice_ohms: *c.ice_resistance,
            class: platinum_class(*c.class),
            heating: *c.heating,
        },
    }
}

pub(super) fn converter(file: &ChainFile) -> Converter {
    let c = &file.converter;
    match &c.kind {
        file::ConverterKind::Adc(adc) => Converter {
            kind: ConverterKind::Adc { bits: *adc.bits, reference: adc.reference.value.value },
            offset: *adc.offset,
            gain_error: *adc.gain_error,
            nonlinearity: *adc.integral_nonlinearity,
            noise: *adc.noise,
            input_resistance: *c.input_resistance,
            input: converter_input(c, adc),
        },
        file::ConverterKind::Voltmeter(meter) => Converter {
            kind: ConverterKind::Voltmeter {
                resolution: *meter.resolution,
                span: c.span.as_ref().map_or((f64::NEG_INFINITY, f64::INFINITY), |s| (s.low, s.high)),
            },
            offset: *meter.range_error,
            gain_error: *meter.reading_error,
            nonlinearity: 0.0,
            noise: 0.0,
            input_resistance: *c.input_resistance,
            input: ConverterInput::PLAIN,
        },
    }
}

pub(super) fn converter_input(c: &file::Converter, adc: &file::Adc) -> ConverterInput {
    let reference = adc.reference.value.value;
    let given = |g: &Option<crate::file::Given<f64>>, otherwise| g.as_ref().map_or(otherwise, |g| g.value);
    let (lowest, highest) = c.span.as_ref().map_or((0.0, 1.0), |s| (s.low / reference, s.high / reference));
    ConverterInput {
        gain: *adc.gain,
        lowest,
        highest,
        current: *adc.input_current,
        current_difference: *adc.input_current_difference,
        cmrr: given(&adc.cmrr, f64::INFINITY),
        low: given(&adc.input_low, f64::NEG_INFINITY),
        high: given(&adc.input_high, f64::NEG_INFINITY),
    }
}

pub(super) fn filter(file: &ChainFile) -> DigitalFilter {
    // Without a stated rate the samples are taken so densely that it does not matter.
    let rate = file.filter.sample_rate.as_ref().map_or(1000.0 * *file.need.mains, |g| g.value);
    match &file.filter.digital {
        file::DigitalFilter::None => DigitalFilter::None,
        file::DigitalFilter::Mean { over_periods } => DigitalFilter::Mean { periods: **over_periods, rate },
        file::DigitalFilter::Sinc { order, output_rate } => {
            DigitalFilter::Sinc { order: **order, rate, output_rate: **output_rate }
        }
        file::DigitalFilter::FirstOrder { time_constant } => {
            DigitalFilter::FirstOrder { time_constant: **time_constant, rate }
        }
    }
}

pub(super) fn readout(file: &ChainFile) -> Readout {
    match &*file.readout {
        file::Readout::Line { slope, offset } => Readout::Line { slope: **slope, offset: **offset },
        file::Readout::EmfInverse => Readout::EmfInverse,
        file::Readout::Table { segments } => Readout::Table { segments: **segments },
        file::Readout::PublishedPolynomial => Readout::PublishedPolynomial,
    }
}

/// Millivolt source assumed when the file plans no calibration: relative and fixed limit (common practice, no source).
const USUAL_SOURCE: (f64, f64) = (0.0002, 5e-6);

pub(super) fn plan(file: &ChainFile, assumptions: &mut Vec<String>) -> CalibrationPlan {
    match &file.calibration_plan {
        Some(plan) => CalibrationPlan {
            method: match &plan.method {
                file::CalibrationMethod::MillivoltSource { source_reading_error, source_range_error } => {
                    CalibrationMethod::MillivoltSource {
                        relative: **source_reading_error,
                        fixed: **source_range_error,
                    }
                }
                file::CalibrationMethod::KnownTemperature { bath_accuracy } => {
                    CalibrationMethod::KnownTemperature { accuracy: **bath_accuracy }
                }
            },
            at: plan.at.value.clone(),
            board: *plan.board,
            thermometer: *plan.thermometer,
            readings: *plan.readings,
        },
        None => {
            let (low, high) = (file.need.hot.low, file.need.hot.high);
            let at = vec![low + 0.05 * (high - low), low + 0.95 * (high - low)];
            assumptions.push(format!(
                "calibration_plan: none given; what a trim would buy is shown for a millivolt source of ±(0.02 % + \
                 5 µV) at {:.0} °C and {:.0} °C, board at 23 °C",
                at[0], at[1]
            ));
            let (relative, fixed) = USUAL_SOURCE;
            CalibrationPlan {
                method: CalibrationMethod::MillivoltSource { relative, fixed },
                at,
                board: 23.0,
                thermometer: 0.2,
                readings: 16,
            }
        }
    }
}
