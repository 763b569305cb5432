//! From the contents of a chain file to a chain with every value known.
//!
//! Values that are still open get the topology's usual ones, so that a budget can be asked for at any time; `design`
//! then looks for better ones.

use icepoint_sensors::cable;
use icepoint_sensors::platinum::Class;
use icepoint_sensors::wire::{self, Size};

use crate::chain::{
    BudgetSettings, CalibrationMethod, CalibrationPlan, CalibrationWish, Chain, Converter, ConverterInput,
    ConverterKind, Correction, DigitalFilter, DividerArm, JunctionMethod, JunctionSensor, Lead, Need, Probe,
    ProbeTolerance, Readout, ReferenceJunction,
};
use crate::drawer::{self, Drawer};
use crate::file::{self, ChainFile, PartValue, Refused};
use crate::front_end::sensing::{JunctionFigures, PlatinumFigures, ThermistorFigures};
use crate::front_end::{
    AdjustableFigures, AmplifierFigures, Blueprint, GainLaw, PartKind, ResistorFigures, Sensing, SlotKind,
    Stated, Surroundings, Values,
};
use crate::imperfection::SPECIFIED_AT;
use crate::low_pass::insert::Inserted;
use crate::quantity::series::Series;
use crate::trims::{self, Trims};

/// A chain file with its values known, and what is needed to try others.
#[derive(Clone, Debug)]
pub struct Resolved {
    /// The chain with the values given and usual values for those left open.
    pub chain: Chain,
    /// The circuit before its values.
    pub blueprint: Blueprint,
    /// The active low-pass in it, when one is asked for.
    pub low_pass: Option<Inserted>,
    /// What the circuit takes from the file.
    pub surroundings: Surroundings,
    /// Values that the user fixed.
    pub fixed: Values,
    /// Designators left open, but for adjustable resistors.
    pub open: Vec<String>,
    /// Adjustable resistors whose track is left open.
    pub open_tracks: Vec<String>,
    /// Series that open resistors are chosen from.
    pub resistor_series: Series,
    /// Series that open capacitors are chosen from.
    pub capacitor_series: Series,
    /// What lies in the drawer, when the file names one: open values are taken from there.
    pub drawer: Option<Drawer>,
    /// With a drawer: what a bought part must take off the error, K; `None`: nothing is bought.
    pub worth_buying: Option<f64>,
    /// Assumptions made here, in words, beside those of the file.
    pub assumptions: Vec<String>,
}

impl Resolved {
    /// The same chain with other values.
    pub fn with_values(&self, values: &Values) -> Chain {
        let mut chain = self.chain.clone();
        chain.front_end = self.blueprint.build(&self.surroundings, values);
        chain
    }
}

/// Fills in what the file leaves to others.
///
/// # Errors
/// [`Refused`] for designators that the topology doesn't have, pointing at each.
pub fn resolve(file: &ChainFile) -> Result<Resolved, Refused> {
    let mut assumptions = Vec::new();
    let Some(blueprint) = file.blueprint().cloned() else {
        let problem = file
            .problem_at("front_end.topology", "front_end.not_named", "no front end is named", "which one?")
            .expected("topology = the name of a front end, or a [circuit] of your own")
            .help("icepoint design compares all that fit, and writes the one that you take into the file");
        return Err(file.refused(vec![problem]));
    };
    let own = blueprint.clone();
    let (blueprint, low_pass) = match file.low_pass() {
        None => (blueprint, None),
        Some(Ok((with_filter, inserted))) => (with_filter, Some(inserted)),
        Some(Err(problem)) => return Err(file.refused(vec![problem])),
    };
    if let Some(gone) = low_pass.as_ref().filter(|l| !l.replaced.is_empty()) {
        assumptions.push(format!(
            "filter.analog: the low-pass asked for takes the place of the front end's own: {}",
            gone.replaced.join(", ")
        ));
    }
    let (blueprint, trims) = trimmed(file, blueprint)?;
    // Values of parts that gave way stay in the file without effect.
    let gone = own.slots.iter().filter(|s| blueprint.slot(&s.designator).is_none());
    let known: Vec<&str> = blueprint.slots.iter().chain(gone).map(|s| s.designator.as_str()).collect();
    let problems = file.unknown_designators(&known);
    if !problems.is_empty() {
        return Err(file.refused(problems));
    }
    let drawer = drawer::of(file)?;
    if let Some(drawer) = &drawer {
        enough_amplifiers(file, &blueprint, drawer)?;
    }
    let mut surroundings = surroundings(file, &blueprint);
    let fixed = fixed(file, &blueprint);
    if let Some(drawer) = &drawer {
        at_hand(file, &blueprint, drawer, &fixed, &mut surroundings);
    }
    let open = blueprint
        .slots
        .iter()
        .filter(|slot| slot.tie.is_none() && !fixed.contains_key(&slot.designator))
        .filter(|slot| !blueprint.adjustable().any(|trim| trim == slot.designator))
        .map(|slot| slot.designator.clone())
        .collect();
    let open_tracks = blueprint
        .adjustable()
        .filter(|trim| !fixed.contains_key(*trim) && blueprint.slot(trim).is_some_and(|s| s.tie.is_none()))
        .map(str::to_owned)
        .collect();
    let front_end = blueprint.build(&surroundings, &fixed);
    let chain = Chain {
        name: file.name.value.clone(),
        need: need(file),
        probe: probe(file),
        lead: lead(file, &mut assumptions),
        junction: junction(file),
        front_end,
        converter: converter(file),
        filter: filter(file),
        harmonics: match &*file.need.harmonics {
            file::Harmonics::PublicNetwork => crate::harmonics::public_network(),
            file::Harmonics::None => Vec::new(),
            file::Harmonics::Shares(shares) => crate::harmonics::from_second(shares),
        },
        readout: readout(file),
        trims,
        plan: plan(file, &mut assumptions),
        correction: file.calibration.as_ref().map(|c| Correction { offset: *c.offset_volts, gain: *c.gain }),
        findings: file.calibration.as_ref().and_then(|c| c.findings()),
        settings: BudgetSettings {
            trials: *file.budget.trials,
            seed: *file.budget.seed,
            hot_points: *file.budget.hot_points,
            board_points: *file.budget.board_points,
        },
    };
    Ok(Resolved {
        chain,
        blueprint,
        low_pass,
        surroundings,
        fixed,
        open,
        open_tracks,
        resistor_series: *file.parts.resistors.series,
        capacitor_series: *file.parts.capacitors.series,
        drawer,
        worth_buying: file.parts.worth_buying.as_ref().map(|g| g.value),
        assumptions,
    })
}

/// The circuit with the adjustable resistors that `[trims]` asks for.
fn trimmed(file: &ChainFile, blueprint: Blueprint) -> Result<(Blueprint, Option<Trims>), Refused> {
    let Some(asked) = &file.trims else { return Ok((blueprint, None)) };
    if asked.means.value == file::TrimMeans::Constants {
        return Ok((blueprint, Some(Trims::Constants)));
    }
    let name = |given: &Option<file::Given<String>>| given.as_ref().map(|g| g.value.clone());
    let (zero, span) = (name(&asked.zero), name(&asked.span));
    let original = blueprint;
    let (blueprint, [zero, span]) = trims::insert(&original, zero.as_deref(), span.as_deref())
        .map_err(|(moves, why)| file.refused(vec![file.no_trim(&original, moves, &why)]))?;
    // A front end that says nothing of one of the two can't be adjusted as asked.
    let points = file.need.calibration.points();
    let missing = [(&zero, trims::Moves::Zero, 1), (&span, trims::Moves::Span, 2)];
    if let Some((_, moves, _)) =
        missing.into_iter().find(|(name, _, point)| name.is_none() && points >= *point)
    {
        let why = trims::NoPlace::NotSaid(moves);
        return Err(file.refused(vec![file.no_trim(&original, moves, &why)]));
    }
    Ok((blueprint, Some(Trims::Resistors { zero, span })))
}

/// A drawer that lists amplifiers must have as many as the circuit takes.
fn enough_amplifiers(file: &ChainFile, blueprint: &Blueprint, drawer: &Drawer) -> Result<(), Refused> {
    let mut wanted: std::collections::BTreeMap<&str, (u32, &str)> = std::collections::BTreeMap::new();
    for element in &blueprint.elements {
        let Some((role, _)) = element.kind.record() else { continue };
        let Some(record) = file.record(role) else { continue };
        wanted.entry(record.name.as_str()).or_insert((0, role)).0 += 1;
    }
    let short: Vec<file::Problem> = wanted
        .into_iter()
        .filter(|(name, (pieces, _))| !drawer.amplifier(name).covers(*pieces))
        .map(|(name, (pieces, role))| {
            let there = drawer.amplifier(name);
            file.problem_at(
                &format!("front_end.{role}"),
                "drawer.too_few_amplifiers",
                format!("{} takes {pieces} of the amplifier {name}, and the drawer has {there}", blueprint.id),
                format!("{pieces} of them"),
            )
            .expected(format!("as many in {} as the circuit takes, or a drawer without amplifiers", drawer.name))
            .help(format!("another record, another front end, or {name},amplifier with a count of {pieces} in the drawer"))
        })
        .collect();
    if short.is_empty() { Ok(()) } else { Err(file.refused(short)) }
}

/// A fixed value that lies in the drawer is that part, with its own figures, unless the file states a tolerance; a single
/// part, in no network.
fn at_hand(
    file: &ChainFile,
    blueprint: &Blueprint,
    drawer: &Drawer,
    fixed: &Values,
    around: &mut Surroundings,
) {
    let reach = (file.need.board.high - SPECIFIED_AT).abs().max((file.need.board.low - SPECIFIED_AT).abs());
    for slot in &blueprint.slots {
        let name = &slot.designator;
        let Some(part) = fixed.get(name).and_then(|value| drawer.find(slot.kind, *value)) else { continue };
        if slot.kind == SlotKind::Resistor {
            around.loose.insert(name.clone());
        }
        match slot.kind {
            SlotKind::Resistor if blueprint.adjustable().any(|trim| trim == name) => {}
            SlotKind::Resistor if !around.resistor_for.contains_key(name) => {
                let (tolerance, tempco) = (part.tolerance, part.tempco);
                let figures = ResistorFigures { tolerance, tempco, ..around.resistor.clone() };
                around.resistor_for.insert(name.clone(), figures);
            }
            SlotKind::Capacitor => {
                around.capacitor_for.entry(name.clone()).or_insert(part.tolerance + part.tempco * reach);
            }
            SlotKind::Resistor => {}
        }
    }
}

/// Values that the user fixed, in the circuit or in `[front_end.values]`, which comes first: `design` writes there.
fn fixed(file: &ChainFile, blueprint: &Blueprint) -> Values {
    let mut fixed = Values::new();
    for slot in &blueprint.slots {
        let wanted = match slot.kind {
            SlotKind::Resistor => crate::quantity::Unit::Ohm,
            SlotKind::Capacitor => crate::quantity::Unit::Farad,
        };
        let listed = match file.front_end.values.get(&slot.designator).map(|given| &given.value) {
            Some(PartValue::Chosen { quantity, unit }) if *unit == wanted => Some(quantity.value),
            _ => None,
        };
        if let Some(value) = listed.or(slot.given) {
            fixed.insert(slot.designator.clone(), value);
        }
    }
    // Whichever leg of a balanced input the user gives, the other follows; through as many ties as there are slots.
    for _ in 0..blueprint.slots.len() {
        let before = fixed.len();
        for slot in &blueprint.slots {
            if let (Some(tie), Some(value)) = (&slot.tie, fixed.get(&slot.designator).copied()) {
                fixed.entry(tie.to.clone()).or_insert(value / tie.ratio);
            }
        }
        if fixed.len() == before {
            break;
        }
    }
    fixed
}

fn need(file: &ChainFile) -> Need {
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

fn probe(file: &ChainFile) -> Probe {
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

fn lead(file: &ChainFile, assumptions: &mut Vec<String>) -> Option<Lead> {
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

fn junction(file: &ChainFile) -> ReferenceJunction {
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

fn platinum_class(class: file::PlatinumClass) -> Class {
    match class {
        file::PlatinumClass::AA => Class::AA,
        file::PlatinumClass::A => Class::A,
        file::PlatinumClass::B => Class::B,
        file::PlatinumClass::C => Class::C,
    }
}

fn sensing(file: &ChainFile) -> Sensing {
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

fn converter(file: &ChainFile) -> Converter {
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

fn converter_input(c: &file::Converter, adc: &file::Adc) -> ConverterInput {
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

fn filter(file: &ChainFile) -> DigitalFilter {
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

fn readout(file: &ChainFile) -> Readout {
    match &*file.readout {
        file::Readout::Line { slope, offset } => Readout::Line { slope: **slope, offset: **offset },
        file::Readout::EmfInverse => Readout::EmfInverse,
        file::Readout::Table { segments } => Readout::Table { segments: **segments },
        file::Readout::PublishedPolynomial => Readout::PublishedPolynomial,
    }
}

/// Millivolt source assumed when the file plans no calibration: relative and fixed limit (common practice, no source).
const USUAL_SOURCE: (f64, f64) = (0.0002, 5e-6);

fn plan(file: &ChainFile, assumptions: &mut Vec<String>) -> CalibrationPlan {
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

fn surroundings(file: &ChainFile, blueprint: &Blueprint) -> Surroundings {
    let rail = |t: &crate::quantity::Toleranced| {
        (t.value, if t.value == 0.0 { 0.0 } else { t.half_width() / t.value.abs() })
    };
    let parts = &file.parts;
    let resistor = ResistorFigures {
        ohms: 0.0,
        tolerance: *parts.resistors.tolerance,
        tempco: *parts.resistors.tempco,
        ageing: *parts.resistors.ageing,
        network: None,
    };
    // The capacitor's value over the board's temperatures counts as part of its tolerance.
    let reach = (file.need.board.high - SPECIFIED_AT).abs().max((file.need.board.low - SPECIFIED_AT).abs());
    let drift = *parts.capacitors.tempco * reach;
    let mut resistor_for = std::collections::BTreeMap::new();
    let mut capacitor_for = std::collections::BTreeMap::new();
    let mut adjustable_for = std::collections::BTreeMap::new();
    let adjustable = file.trims.as_ref().map_or_else(AdjustableFigures::default, |t| AdjustableFigures {
        ohms: 0.0,
        tolerance: *t.tolerance,
        tempco: *t.tempco,
        resolution: *t.resolution,
        stability: *t.stability,
        end: *t.end_resistance,
    });
    for slot in &blueprint.slots {
        let name = &slot.designator;
        let beside = file.front_end.values.get(name).and_then(|v| match &v.value {
            PartValue::Chosen { quantity, .. } if quantity.tolerance.is_some() && quantity.value > 0.0 => {
                Some(quantity.half_width() / quantity.value)
            }
            _ => None,
        });
        let own = file.front_end.tolerance.get(name).map(|g| g.value).or(beside).or(slot.tolerance);
        match slot.kind {
            SlotKind::Resistor if blueprint.adjustable().any(|trim| trim == name) => {
                let tempco = slot.tempco.unwrap_or(adjustable.tempco);
                let tolerance = own.unwrap_or(adjustable.tolerance);
                adjustable_for.insert(name.clone(), AdjustableFigures { tolerance, tempco, ..adjustable });
            }
            SlotKind::Resistor if own.is_some() || slot.tempco.is_some() => {
                let figures = ResistorFigures {
                    tolerance: own.unwrap_or(resistor.tolerance),
                    tempco: slot.tempco.unwrap_or(resistor.tempco),
                    ..resistor.clone()
                };
                resistor_for.insert(name.clone(), figures);
            }
            SlotKind::Capacitor => {
                if let Some(tolerance) = own {
                    capacitor_for.insert(name.clone(), tolerance + drift);
                }
            }
            SlotKind::Resistor => {}
        }
    }
    let reference = match &file.converter.kind {
        file::ConverterKind::Adc(adc) => {
            let (volts, tolerance) = rail(&adc.reference.value);
            Some(PartKind::Reference {
                node: "reference".into(),
                volts,
                tolerance,
                drift: *adc.reference_drift,
                supply_regulation: *adc.reference_supply_regulation,
                load_regulation: *adc.reference_load_regulation,
            })
        }
        file::ConverterKind::Voltmeter(_) => None,
    };
    // An own circuit need not name a signal amplifier: the one that drives the output is it.
    let main = file.record("amplifier").or_else(|| file.output_amplifier());
    let buffer = file.record("buffer").or(main);
    let span = match &file.converter.kind {
        file::ConverterKind::Adc(adc) => adc.reference.value.value,
        file::ConverterKind::Voltmeter(_) => file.supply.positive.value.value,
    };
    let records = blueprint
        .records()
        .into_iter()
        .filter(|(name, _)| !matches!(*name, "amplifier" | "buffer"))
        .filter_map(|(name, _)| file.record(name).map(|a| (name.to_owned(), (figures(a), gain_law(a, span)))))
        .collect();
    Surroundings {
        supply: rail(&file.supply.positive),
        negative: rail(&file.supply.negative),
        reference,
        amplifier: main.map(figures).unwrap_or_default(),
        gain_law: main.map(|m| gain_law(m, span)).unwrap_or_default(),
        buffer: buffer.map(figures).unwrap_or_default(),
        records,
        resistor,
        resistor_for,
        adjustable,
        adjustable_for,
        network: parts.resistors.network.as_ref().map(|n| (*n.tolerance, *n.tempco)),
        loose: std::collections::BTreeSet::new(),
        capacitor_tolerance: *parts.capacitors.tolerance + drift,
        capacitor_for,
        letter: *file.probe.letter,
        broken_sensor: *file.need.broken_sensor,
        sensing: sensing(file),
    }
}

fn gain_law(amplifier: &file::Amplifier, span: f64) -> GainLaw {
    match &amplifier.kind {
        file::AmplifierKind::Instrumentation { gain_constant, gain_error, gain_drift, gain_nonlinearity } => {
            GainLaw {
                constant: **gain_constant,
                error: **gain_error,
                drift: **gain_drift,
                nonlinearity: **gain_nonlinearity * span,
            }
        }
        file::AmplifierKind::Operational { .. } => GainLaw::default(),
    }
}

fn figures(a: &file::Amplifier) -> AmplifierFigures {
    AmplifierFigures {
        record: a.name.clone(),
        offset: match (&a.offset_max, &a.offset_typical) {
            (Some(max), _) => Stated::Max(max.value),
            (None, Some(typical)) => Stated::Typical(typical.value),
            (None, None) => Stated::Max(0.0),
        },
        offset_drift: Stated::Max(*a.offset_drift_max),
        bias: *a.bias_max,
        // Two independent currents: their difference has √2 of the standard uncertainty of one.
        offset_current: a.offset_current_max.as_ref().map_or(*a.bias_max * 2f64.sqrt(), |g| g.value),
        open_loop_gain: match &a.kind {
            file::AmplifierKind::Operational { open_loop_gain } => **open_loop_gain,
            file::AmplifierKind::Instrumentation { .. } => f64::INFINITY,
        },
        bandwidth: *a.bandwidth,
        cmrr: *a.cmrr,
        psrr: *a.psrr,
        noise: *a.noise,
        corner: *a.corner,
        current_noise: *a.current_noise,
        input_low: *a.input_low,
        input_high: *a.input_high,
        output_low: *a.output_low,
        output_high: *a.output_high,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::imperfection::Distribution;

    /// A data sheet's typical figure alone is one standard deviation; beside a maximum it changes nothing.
    #[test]
    fn an_offset_known_only_as_typical_is_a_standard_deviation() {
        let text = include_str!("../../../examples/bench-voltmeter.toml");
        let offset = |text: &str| {
            let chain = resolve(&file::parse("bench.toml", text).unwrap()).unwrap().chain;
            let model = crate::Model::without_dynamics(chain).unwrap();
            model.imperfections().iter().find(|i| i.id == "A1.offset").unwrap().distribution
        };
        assert_eq!(offset(text), Distribution::Rectangular(10e-6));
        let typical = text.replace("offset_max = \"10 µV\"\n", "");
        assert_ne!(typical, text);
        assert_eq!(offset(&typical), Distribution::Normal(2e-6));
    }
}
