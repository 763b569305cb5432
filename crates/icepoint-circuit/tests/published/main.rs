//! Checks against the outside world: closed forms, printed figures, and two independent computations.

#[path = "../board/mod.rs"]
mod board;
mod closed_forms;
mod diode_equation;
mod filters;
mod nodal_analysis;
mod thermal_noise;
