//! (being built)
#![no_std]

mod coefficients;
mod emf;
mod inverse;
mod letter;
mod out_of_range;
pub mod published_inverse;
pub mod tolerance;

pub use emf::Segment;
pub use inverse::{Inverse, InverseError, TYPE_B_MINIMUM_CELSIUS};
pub use letter::{Letter, UnknownLetter};
pub use out_of_range::{OutOfRange, Quantity};
