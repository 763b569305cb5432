//! Parts whose value follows the temperature of the terminals: silicon junction, thermistor, platinum resistor.
//!
//! **How they enter the linear circuit.** A resistor gets its value for the temperature. A junction is replaced by its
//! tangent: a source `E = V(I) − I·r` in series with `r = dV/dI`, all three at the current `I` of the last solution. With
//! the temperature of the board and the deviations given, that is Newton's iteration on the junction equation: the
//! voltage that a step leaves open is `½·n·kT/q·(ΔI/I)²`, so three or four solutions reach rounding. Self-heating is
//! iterated with it.
//!
//! **What stays linear.** The thermocouple's millivolts move the current of a compensation by parts in a million at
//! most; they see the tangent.
//!
//! **Noise.** A junction makes shot noise, `2qI`; across its own resistance that is the thermal noise of a resistor of
//! `n·r/2`, so this share of the tangent is a resistor and the rest is silent.
//!
//! **Source.** Junction equation, saturation current and its law: [`icepoint_sensors::silicon`]; IEC 60751; beta.

use icepoint_circuit::{Circuit, Element, ElementId, Netlist, Node, Parameter, ParameterId};
use icepoint_sensors::platinum::Platinum;
use icepoint_sensors::silicon::{self, ForwardJunction};
use icepoint_sensors::thermistor::Beta;

use crate::dynamics::ZERO_CELSIUS;
use crate::front_end::PartKind;
use crate::front_end::sensing::{JunctionFigures, PlatinumFigures, ThermistorFigures};
use crate::imperfection::SPECIFIED_AT;
use crate::model::ModelError;

/// A part and where it is in the circuit.
#[derive(Clone, Debug)]
pub(crate) struct SensingPart {
    pub name: String,
    law: Law,
}

#[derive(Clone, Debug)]
enum Law {
    Junction {
        figures: JunctionFigures,
        element: ElementId,
        /// Source of the tangent, V.
        volts: ParameterId,
        /// Share of the tangent that is a resistor, and the silent rest, Ω.
        shares: [ParameterId; 2],
        /// Nominal slope at the stated current and 25 °C, V/K.
        slope: f64,
    },
    Thermistor {
        figures: ThermistorFigures,
        ohms: ParameterId,
        nodes: (Node, Node),
    },
    Platinum {
        figures: PlatinumFigures,
        ohms: ParameterId,
        nodes: (Node, Node),
    },
}

/// How one part deviates; zeros are the ideal part without self-heating.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct PartDeviations {
    /// Forward voltage of a junction, V.
    pub volts: f64,
    /// Slope of a junction, relative.
    pub slope: f64,
    /// Ideality of a junction, or beta of a thermistor, relative.
    pub exponent: f64,
    /// Resistance, relative.
    pub ratio: f64,
    /// Share of the platinum class.
    pub class: f64,
    /// Thermal resistance to the board, K/W.
    pub heating: f64,
}

/// Which of these a deviation is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Figure {
    Volts,
    Slope,
    Exponent,
    Ratio,
    Class,
    Heating,
}

impl PartDeviations {
    pub fn add(&mut self, figure: Figure, deviation: f64) {
        let field = match figure {
            Figure::Volts => &mut self.volts,
            Figure::Slope => &mut self.slope,
            Figure::Exponent => &mut self.exponent,
            Figure::Ratio => &mut self.ratio,
            Figure::Class => &mut self.class,
            Figure::Heating => &mut self.heating,
        };
        *field += deviation;
    }
}

/// Adds a sensing part to the netlist; nothing for other parts.
pub(crate) fn add_to(net: &mut Netlist, name: &str, kind: &PartKind) {
    match kind {
        PartKind::Junction { anode, cathode, figures } => {
            let (anode, cathode) = (net.node(anode), net.node(cathode));
            let (source, rest) = (net.node(&format!("{name} source")), net.node(&format!("{name} tangent")));
            let ohms = figures.ideality * silicon::BOLTZMANN_OVER_CHARGE * (SPECIFIED_AT + ZERO_CELSIUS)
                / figures.amperes;
            net.add(name, Element::VoltageSource { plus: anode, minus: source, volts: figures.volts });
            let shot = format!("{name} {SHOT}");
            net.add(&shot, Element::Resistor { a: source, b: rest, ohms });
            let silent = format!("{name} silent");
            net.add(
                &silent,
                Element::Ccvs { plus: rest, minus: cathode, sensed: name.to_owned(), ohms: 0.0 },
            );
        }
        PartKind::Thermistor { a, b, figures } => {
            let (a, b) = (net.node(a), net.node(b));
            net.add(name, Element::Resistor { a, b, ohms: figures.r25 });
        }
        PartKind::Platinum { a, b, figures } => {
            let (a, b) = (net.node(a), net.node(b));
            net.add(name, Element::Resistor { a, b, ohms: figures.ice_ohms });
        }
        _ => {}
    }
}

/// Second word of the element that carries a junction's noise.
pub(crate) const SHOT: &str = "shot";

/// The sensing parts of a compiled circuit.
pub(crate) fn find(
    circuit: &Circuit,
    parts: &[crate::front_end::Part],
) -> Result<Vec<SensingPart>, ModelError> {
    let mut found = Vec::new();
    for part in parts {
        let name = part.designator.as_str();
        let missing = || ModelError::Missing(format!("circuit parameter of {name}"));
        let slot = |element: &str, p| circuit.parameter(element, p).ok_or_else(missing);
        let node = |n: &str| circuit.netlist().find_node(n).ok_or_else(missing);
        let law = match &part.kind {
            PartKind::Junction { figures, .. } => Law::Junction {
                figures: *figures,
                element: circuit.netlist().find_element(name).ok_or_else(missing)?,
                volts: slot(name, Parameter::Volts)?,
                shares: [
                    slot(&format!("{name} {SHOT}"), Parameter::Ohms)?,
                    slot(&format!("{name} silent"), Parameter::Ohms)?,
                ],
                slope: silicon::forward_slope(figures.volts, SPECIFIED_AT + ZERO_CELSIUS)
                    .map_err(|e| range(name, &e))?,
            },
            PartKind::Thermistor { a, b, figures } => Law::Thermistor {
                figures: *figures,
                ohms: slot(name, Parameter::Ohms)?,
                nodes: (node(a)?, node(b)?),
            },
            PartKind::Platinum { a, b, figures } => Law::Platinum {
                figures: *figures,
                ohms: slot(name, Parameter::Ohms)?,
                nodes: (node(a)?, node(b)?),
            },
            _ => continue,
        };
        found.push(SensingPart { name: name.to_owned(), law });
    }
    Ok(found)
}

fn range(name: &str, error: &icepoint_sensors::OutOfRange) -> ModelError {
    ModelError::Range(format!("{name}: {error}"))
}

/// Where the iteration of one part stands.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct PartState {
    /// Current of the tangent, A.
    amperes: f64,
    /// V.
    volts: f64,
    /// W.
    watts: f64,
}

/// Solutions after which an iteration that has not ended is given up.
const MOST: usize = 60;
/// A junction's current has settled when a step moves it by less, relative: the voltage is then off by 1e-18 V.
const CURRENT_SETTLED: f64 = 1e-8;
/// Self-heating has settled when a step moves it by less, K.
const HEATING_SETTLED: f64 = 1e-10;
/// Least forward current that is a current, A.
const LEAST_CURRENT: f64 = 1e-10;
/// Largest change of a junction's current in one step.
const LARGEST_STEP: f64 = 20.0;

/// Solves the linear circuit for values into a solution.
pub(crate) type Solve<'a> = dyn FnMut(&[f64], &mut [f64]) -> Result<(), ModelError> + 'a;

/// Solves the circuit with its sensing parts at `celsius` (°C, before their own heating). `solve` solves the linear
/// circuit for the values that it is given.
pub(crate) fn settle(
    circuit: &Circuit,
    parts: &[SensingPart],
    deviations: &dyn Fn(usize) -> PartDeviations,
    celsius: f64,
    values: &mut [f64],
    x: &mut [f64],
    solve: &mut Solve<'_>,
) -> Result<(), ModelError> {
    // The start is the same for every board, so that a result does not depend on what was solved before.
    let mut states: Vec<PartState> = parts.iter().map(SensingPart::start).collect();
    for _ in 0..MOST {
        for (i, (part, state)) in parts.iter().zip(&mut states).enumerate() {
            part.put(&deviations(i), celsius, state, values)?;
        }
        solve(values, x)?;
        let mut settled = true;
        for (i, (part, state)) in parts.iter().zip(&mut states).enumerate() {
            settled &= part.look(circuit, &deviations(i), values, x, state);
        }
        if settled {
            return Ok(());
        }
    }
    let names: Vec<&str> = parts.iter().map(|p| p.name.as_str()).collect();
    Err(ModelError::Range(format!(
        "the current in {} does not settle: check that a junction is in forward direction with a resistor that sets its \
         current, and that a thermistor does not warm itself away",
        names.join(", ")
    )))
}

impl SensingPart {
    /// Largest thermal resistance to the board, K/W.
    pub fn heating(&self) -> f64 {
        match &self.law {
            Law::Junction { figures, .. } => figures.heating,
            Law::Thermistor { figures, .. } => figures.heating,
            Law::Platinum { figures, .. } => figures.heating,
        }
    }

    fn start(&self) -> PartState {
        match &self.law {
            Law::Junction { figures, .. } => {
                PartState { amperes: figures.amperes, volts: figures.volts, watts: 0.0 }
            }
            Law::Thermistor { .. } | Law::Platinum { .. } => PartState::default(),
        }
    }

    /// Puts the part's values at its temperature and last current into the circuit.
    fn put(
        &self,
        d: &PartDeviations,
        celsius: f64,
        state: &mut PartState,
        values: &mut [f64],
    ) -> Result<(), ModelError> {
        let celsius = celsius + d.heating * state.watts;
        let error = |e| range(&self.name, &e);
        match &self.law {
            Law::Junction { figures: f, volts, shares: [shot, silent], slope, .. } => {
                let ideality = f.ideality * (1.0 + d.exponent);
                // The forward voltage is stated with the drop in the series resistance in it.
                let inside = f.volts + d.volts - f.amperes * f.series_resistance;
                let junction = ForwardJunction::new(inside, f.amperes, ideality).map_err(error)?;
                let forward = junction.voltage(state.amperes, celsius).map_err(error)?;
                let tilt = d.slope * slope * (celsius - SPECIFIED_AT);
                values[volts.index()] = forward.volts + tilt - state.amperes * forward.ohms;
                values[shot.index()] = 0.5 * ideality * forward.ohms + f.series_resistance;
                values[silent.index()] = (1.0 - 0.5 * ideality) * forward.ohms;
            }
            Law::Thermistor { figures: f, ohms, .. } => {
                let law = Beta::new(f.r25, f.beta * (1.0 + d.exponent)).map_err(error)?;
                values[ohms.index()] = (1.0 + d.ratio) * law.resistance(celsius).map_err(error)?;
            }
            Law::Platinum { figures: f, ohms, .. } => {
                let row = f.class.row();
                let seems = celsius + d.class * (row.fixed + row.per_degree * celsius.abs());
                let law = Platinum::new(f.ice_ohms).map_err(error)?;
                values[ohms.index()] = (1.0 + d.ratio) * law.resistance(seems).map_err(error)?;
            }
        }
        Ok(())
    }

    /// Reads current and power from a solution; whether they have settled.
    fn look(
        &self,
        circuit: &Circuit,
        d: &PartDeviations,
        values: &[f64],
        x: &[f64],
        state: &mut PartState,
    ) -> bool {
        let before = *state;
        let mut settled = true;
        match &self.law {
            Law::Junction { volts, shares, element, .. } => {
                let found = circuit.current(values, x, *element);
                let ohms: f64 = shares.iter().map(|p| values[p.index()]).sum();
                let held = found.clamp(before.amperes / LARGEST_STEP, before.amperes * LARGEST_STEP);
                state.amperes = held.max(LEAST_CURRENT);
                state.volts = values[volts.index()] + found * ohms;
                state.watts = state.volts * state.amperes;
                // NaN does not settle.
                settled = (found - before.amperes).abs() <= CURRENT_SETTLED * before.amperes;
            }
            Law::Thermistor { ohms, nodes, .. } | Law::Platinum { ohms, nodes, .. } => {
                state.volts = circuit.voltage(x, nodes.0) - circuit.voltage(x, nodes.1);
                state.amperes = state.volts / values[ohms.index()];
                state.watts = state.volts * state.amperes;
            }
        }
        settled && (d.heating * (state.watts - before.watts)).abs() <= HEATING_SETTLED
    }
}
