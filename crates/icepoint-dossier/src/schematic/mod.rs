//! Schematics: any front end, placed and wired by itself with symbols of IEC 60617.
//!
//! **In, out.** A [`FrontEnd`](icepoint_chain::front_end::FrontEnd) and the texts around it in; out comes a [`Drawing`],
//! which draws itself, tells which pins it joins ([`Drawing::nets`]), to be compared with the netlist that was
//! simulated, and what covers what ([`Drawing::faults`]). Both are read from the geometry alone.
//!
//! **How.** A schematic is read as a sentence, left to right. Hops from the thermocouple tell which way the signal runs
//! and what is feedback (`flow`). Every node of the signal becomes a level bar; bars with the series parts between them
//! make strips that end at amplifiers' inputs; stubs to rails, test points and joins to other bars hang on slots of a
//! bar (`strips`). The longest way through “at least so far right of” gives the columns (`columns`), and strips that
//! amplifiers tie together are stacked as closely as their texts allow (`rows`). What is not straight is wired by
//! the cheapest way on the grid (`route`). Where a drawing breaks for width, which input is the upper one, on which side
//! a feedback path runs: the choices are tried in a fixed order, and the cheapest drawing in crossings, bends, flags,
//! length and size is kept (`automatic`).
//!
//! **Symbols.** Shapes from memory of IEC 60617: resistor as rectangle, functional ground as a bar, blocks for
//! converter and sensor; amplifiers as triangles, which the trade reads faster than the standard's rectangles.
//!
//! **What it is not.** No editor: a drawing can't be corrected by hand. Circuits of more than about 60 parts are drawn
//! correctly, but nobody has looked at one.

mod automatic;
mod circuit;
mod columns;
mod drawing;
mod flow;
mod hang;
mod judge;
mod nets;
mod room;
mod route;
mod rows;
mod sketch;
mod stack;
mod strips;
mod symbol;

pub use automatic::automatic;
pub use circuit::{Words, taps};
pub use drawing::{Drawing, Part, Side};
pub use nets::{Net, PinName};
pub use symbol::{FlagSide, Symbol, Turn};
