//! (being built)
mod circuit;
mod complex;
mod element;
mod elimination;
mod error;
mod limits;
mod netlist;
mod parameter;
mod stamps;
mod system;
mod topology;

pub use circuit::{Circuit, Workspace};
pub use complex::Complex;
pub use element::{DiodeFigures, Element, InAmpFigures, NoiseFigures, OpAmpFigures};
pub use error::{CircuitError, NewtonStep};
pub use limits::{LimitHit, LimitKind};
pub use netlist::{ElementId, Netlist, Node};
pub use parameter::{Parameter, ParameterId};
