//! # A small circuit solver
//!
//! Takes a list of elements and nodes, and answers what a person with a soldering iron would ask: what voltage stands
//! where, how far it moves when a part is off, how it answers to frequency and time, how noisy it is, and which
//! amplifier has run out of room. It knows nothing of what is being measured.
//!
//! | you have | you want | call |
//! |---|---|---|
//! | a drawing | a checked, compiled circuit | [`Netlist`], [`Circuit::new`] |
//! | other values of its parts, many times | node voltages | [`Circuit::factor`], [`Circuit::solve`], [`Circuit::voltage`] |
//! | a factored circuit | what one source alone does | [`Circuit::solve_unit`] |
//! | a solution | which output or input is out of range | [`Circuit::limits`], [`Circuit::within_limits`] |
//! | a solution | the slope by every parameter | [`Circuit::sensitivities`] |
//! | diodes, or outputs that stop at a rail | the operating point | [`Circuit::operating_point`] |
//! | a source and a frequency | gain and phase | [`Circuit::ac`] |
//! | a temperature and a band | noise and each source's share | [`Circuit::noise`], [`Circuit::noise_integral`], [`Circuit::filtered_noise`] |
//! | a step of a source | the course in time, settling | [`Circuit::step`], [`StepResponse::settling_time`] |
//! | a solution | the current of an element | [`Circuit::current`] |
//!
//! ```
//! use icepoint_circuit::{Circuit, Element, Netlist, Parameter};
//!
//! let mut net = Netlist::new();
//! let (input, output) = (net.node("in"), net.node("out"));
//! net.add("V1", Element::VoltageSource { plus: input, minus: Netlist::GROUND, volts: 10.0 });
//! net.add("R1", Element::Resistor { a: input, b: output, ohms: 3e3 });
//! net.add("R2", Element::Resistor { a: output, b: Netlist::GROUND, ohms: 1e3 });
//! let circuit = Circuit::new(&net)?;
//!
//! // The nominal values, then one resistor 1 % high: the compiled circuit stays, only a number changes.
//! let mut values = circuit.values();
//! let (mut ws, mut x) = (circuit.workspace(), vec![0.0; circuit.unknowns()]);
//! circuit.factor(&values, &mut ws)?;
//! circuit.solve(&values, &ws, &mut x);
//! assert!((circuit.voltage(&x, output) - 2.5).abs() < 1e-12);
//!
//! let slopes = circuit.sensitivities(&values, &x, (output, Netlist::GROUND))?;
//! let r1 = circuit.parameter("R1", Parameter::Ohms).expect("R1 has ohms");
//! assert!((slopes[r1.index()] + 625e-6).abs() < 1e-12); // −0.625 mV/Ω
//!
//! values[r1.index()] *= 1.01;
//! circuit.factor(&values, &mut ws)?;
//! circuit.solve(&values, &ws, &mut x);
//! assert!((circuit.voltage(&x, output) - 10.0 / 4.03).abs() < 1e-12);
//! # Ok::<(), icepoint_circuit::CircuitError>(())
//! ```
//!
//! # Equations
//!
//! Modified nodal analysis (Ho, Ruehli and Brennan, 1975): the unknowns `x` are the node voltages against ground, inner
//! points of elements, and the currents of voltage sources that stand between two nodes. Every row says *the currents
//! that leave this node add up to zero*, or *this element's voltage is what it dictates*. At a node whose voltage an
//! element dictates against ground, the second kind takes the place of the first. Everything dynamic is of first order:
//!
//! > (**G** + s·**C**)·x = b
//!
//! with **G** and **C** real, made of constants, parameters and reciprocals of parameters. From these two matrices come direct
//! current (s = 0), response (s = j2πf), noise (the transposed equations), time (the same equations as a differential
//! one) and exact slopes (the derivative of each coefficient is known).
//!
//! # Conventions
//!
//! * SI units throughout; temperatures of junctions and noise in K.
//! * Currents flow through an element from its first terminal (`plus`, `from`, `a`, `anode`) to its second. So a source
//!   that delivers has a negative current, and a current source raises its `to` node.
//! * Bias currents flow into the pins. Offset adds to `v₊ − v₋`.
//! * Gain, common-mode and supply rejection of amplifiers are carried as reciprocals ([`Parameter::InverseGain`],
//!   [`Parameter::InverseCmrr`], [`Parameter::InversePsrr`]): zero is ideal, and a signed deviation makes sense. Common mode
//!   counts from [`OpAmpFigures::nominal_common_mode`], supply from [`OpAmpFigures::nominal_supply`]: where the data sheet
//!   stated the offset.
//! * Noise densities are one-sided, per hertz of positive frequency.
//! * Solutions are in the order of elimination: read them with [`Circuit::voltage`] or [`Circuit::position`].
//!
//! # Accuracy and speed
//!
//! Linear solutions are those of a backward-stable elimination: the order is planned once, its growth measured at
//! every use, and row-scaled partial pivoting takes over when it exceeds 64 ([`Workspace::planned`] tells). Nine circuits agree with an
//! independent nodal analysis to 1.4e-12 (rounding of that one), the diode equation with Lambert's W function to
//! 1e-14 of the current, step responses with closed forms to 6e-15 V per volt. A circuit of twelve unknowns takes
//! 0.24 µs to factor and 0.08 µs for each solution (processor time, `benches/solve.rs`), 2.4 times faster than a dense
//! factorisation by nalgebra whose assembly is not counted.
//!
//! # Left out
//!
//! Inductors and transformers; capacitance and breakdown of diodes; transistors; slewing; an amplifier's own supply current (so its
//! output current comes from ground, not from the rail); output current limits; a second pole of amplifiers. Rejection is the same at all
//! frequencies. The input common-mode range is a limit that is reported, not a non-linearity that is solved.

mod circuit;
mod complex;
mod diode;
mod element;
mod elimination;
mod error;
mod law;
mod limits;
mod nearby;
mod netlist;
mod noise;
mod operating_point;
mod parameter;
mod quadrature;
mod response;
mod sensitivity;
mod stamps;
mod step;
mod system;
mod topology;
mod variation;

pub use circuit::{Circuit, Workspace};
pub use complex::Complex;
pub use diode::{BOLTZMANN, ELEMENTARY_CHARGE};
pub use element::{DiodeFigures, Element, InAmpFigures, NoiseFigures, OpAmpFigures};
pub use error::{CircuitError, NewtonStep};
pub use law::TemperatureLaw;
pub use limits::{LimitHit, LimitKind};
pub use nearby::Nearby;
pub use netlist::{ElementId, Netlist, Node};
pub use noise::{NOISE_POINTS, NoiseBand, NoiseCause, NoiseDensity, NoiseReport, NoiseShare, noise_points};
pub use operating_point::{OperatingPoint, OutputState};
pub use parameter::{Parameter, ParameterId};
pub use response::AcSolution;
pub use step::StepResponse;
pub use variation::AcChanges;
