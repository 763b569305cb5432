#![no_std]
//! (being built)
