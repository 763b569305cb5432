//! What can be wrong with a circuit, told so that the person at the bench knows what to change.

use core::fmt;

/// One step of the search for the operating point, as it ended.
#[derive(Clone, Debug, PartialEq)]
pub struct NewtonStep {
    /// Number of the step, from 1, all attempts together.
    pub iteration: usize,
    /// The node (or inner point of an element) that moved most.
    pub node: String,
    /// Where it went, V.
    pub volts: f64,
    /// By how much it moved, V.
    pub change: f64,
}

/// Why a circuit can't be compiled or solved.
#[derive(Clone, Debug, PartialEq)]
pub enum CircuitError {
    /// There is nothing to solve.
    Empty,
    /// Two elements carry one name.
    DuplicateName {
        /// The name.
        name: String,
    },
    /// An element refers to a node that this netlist doesn't have.
    UnknownNode {
        /// The element.
        element: String,
    },
    /// A current-controlled source names no voltage source.
    UnknownSource {
        /// The controlled source.
        element: String,
        /// What it names.
        sensed: String,
        /// The names it could have used.
        available: Vec<String>,
    },
    /// No direct-current path fixes the voltage of a node against ground.
    FloatingNode {
        /// The first such node.
        node: String,
        /// Every node that floats together with it.
        nodes: Vec<String>,
        /// The elements that touch these nodes.
        elements: Vec<String>,
    },
    /// Voltages are dictated around a closed loop.
    SourceLoop {
        /// The elements that close it.
        elements: Vec<String>,
    },
    /// A figure is impossible.
    BadValue {
        /// The element.
        element: String,
        /// Which figure.
        what: String,
        /// What was found.
        value: f64,
        /// What would do.
        expected: &'static str,
    },
    /// An argument of a call is impossible (frequency, temperature, duration …).
    BadArgument {
        /// Which.
        what: &'static str,
        /// What was found.
        value: f64,
        /// What would do.
        expected: &'static str,
    },
    /// The vector of values has another length than the circuit has parameters.
    ValueCount {
        /// Parameters of the circuit.
        expected: usize,
        /// Values given.
        found: usize,
    },
    /// The equations have no single solution at these values.
    Singular {
        /// The node or current that they leave open.
        unknown: String,
    },
    /// The linear solver was asked for a circuit with diodes.
    NotLinear {
        /// The first element that isn't linear.
        element: String,
    },
    /// The search for the operating point did not end.
    NoConvergence {
        /// The node that swings most in the last steps.
        node: String,
        /// The last steps.
        steps: Vec<NewtonStep>,
    },
}

fn listed(names: &[String]) -> String {
    match names {
        [] => "nothing".to_owned(),
        [one] => one.clone(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}

impl fmt::Display for CircuitError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            CircuitError::Empty => {
                write!(f, "the circuit has no elements: add at least a source and a resistor")
            }
            CircuitError::DuplicateName { name } => {
                write!(f, "two elements are called {name}: give one of them another name")
            }
            CircuitError::UnknownNode { element } => write!(
                f,
                "{element} is connected to a node that this netlist doesn't have: take nodes from the netlist that the element is added to"
            ),
            CircuitError::UnknownSource { element, sensed, available } => {
                write!(
                    f,
                    "{element} is controlled by the current of {sensed}, which is not a voltage source here"
                )?;
                if available.is_empty() {
                    write!(f, "; put a 0 V source where the current is to be sensed and name it")
                } else {
                    write!(f, "; it could be {}", listed(available))
                }
            }
            CircuitError::FloatingNode { node, nodes, elements } => {
                if nodes.len() > 1 {
                    write!(f, "nodes {} float together", listed(nodes))?;
                } else {
                    write!(f, "node {node} floats")?;
                }
                let what = if elements.is_empty() { "nothing".to_owned() } else { listed(elements) };
                write!(
                    f,
                    ": connected to {what}, but no direct-current path leads from there to ground (capacitors, current sources and amplifier inputs are none); add one, for instance a large resistor from {node} to ground"
                )
            }
            CircuitError::SourceLoop { elements } => match elements.as_slice() {
                [one] => write!(
                    f,
                    "{one} has both ends on one node, where its voltage can be nothing but 0 V: move one end"
                ),
                _ => write!(
                    f,
                    "{} dictate voltages around one closed loop: put a resistor into the loop or remove one of them",
                    listed(elements)
                ),
            },
            CircuitError::BadValue { element, what, value, expected } => {
                write!(f, "{element}: {what} is {value}; expected {expected}")
            }
            CircuitError::BadArgument { what, value, expected } => {
                write!(f, "{what} is {value}; expected {expected}")
            }
            CircuitError::ValueCount { expected, found } => write!(
                f,
                "{found} values were given for a circuit with {expected} parameters: start from Circuit::values()"
            ),
            CircuitError::Singular { unknown } => write!(
                f,
                "the equations leave {unknown} open: look for an amplifier without feedback, a controlled source that cancels a resistor, or two values that are more than 15 decades apart"
            ),
            CircuitError::NotLinear { element } => {
                write!(f, "{element} is not linear: use operating_point instead of the linear solution")
            }
            CircuitError::NoConvergence { node, steps } => {
                write!(f, "no operating point found: node {node} swings. The last steps:")?;
                for step in steps {
                    write!(
                        f,
                        "\n  step {}: {} at {:.6e} V, moved by {:.3e} V",
                        step.iteration, step.node, step.volts, step.change
                    )?;
                }
                write!(
                    f,
                    "\nlook for a current forced backwards through a diode, or an amplifier with more positive than negative feedback and no supply to stop it"
                )
            }
        }
    }
}

impl core::error::Error for CircuitError {}
