//! (being built)

pub mod file;
pub mod quantity;
