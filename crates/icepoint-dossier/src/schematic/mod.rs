//! Schematics: symbols of IEC 60617 placed by hand on a grid, joined by orthogonal wires.
//!
//! **Why placed by hand.** A schematic is read as a sentence, left to right; no router writes one that a person would
//! sign. **In, out.** A map from designator to value text; out comes a [`Drawing`], which draws itself and tells which
//! pins it joins ([`Drawing::nets`]), so that it can be compared with the netlist that was simulated.
//! **Symbols.** Shapes from memory of IEC 60617: resistor as rectangle, functional ground as a bar, blocks for
//! converter and sensor; amplifiers as triangles, which the trade reads faster than the standard's rectangles.

mod automatic;
mod circuit;
mod columns;
mod drawing;
mod flow;
mod instrumentation;
mod judge;
mod nets;
mod route;
mod rows;
mod single_amplifier;
mod sketch;
mod strips;
mod symbol;

pub use automatic::automatic;
pub use circuit::Words;
pub use drawing::{Drawing, Part, Side};
pub use instrumentation::instrumentation;
pub use nets::{Net, PinName};
pub use single_amplifier::single_amplifier;
pub use symbol::{FlagSide, Symbol, Turn};

/// Names of the rails, as they stand in the drawing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Rails {
    /// Positive supply: “3.3 V”.
    pub supply: String,
    /// Negative supply: “−5 V”; none where the amplifiers end at ground.
    pub negative: Option<String>,
    /// Reference voltage of converter and pedestal; none where both take the supply.
    pub reference: Option<String>,
}

impl Default for Rails {
    /// V+, ground, VREF.
    fn default() -> Self {
        Self { supply: "V+".to_owned(), negative: None, reference: Some("VREF".to_owned()) }
    }
}
