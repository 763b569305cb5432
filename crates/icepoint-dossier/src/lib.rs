//! # Pictures, schematic and page of the dossier
//!
//! Every picture is a plain struct of figures with their units in the field names, and one function that turns it
//! into a [`svg::Picture`]. Nothing here computes physics: a figure that is drawn was computed by the model.
//!
//! | you have | you want | call |
//! |---|---|---|
//! | errors over hot × board temperature | the map with the accuracy asked | [`error_map::ErrorMap::draw`] |
//! | bias, 95 % band, worst case over hot temperature | the band, one or several side by side | [`error_band::ErrorBand::draw`] |
//! | standard uncertainties of named causes | ranked bars | [`contributions::Contributions::draw`] |
//! | share of good boards per calibration | yield | [`yield_bars::YieldBars::draw`] |
//! | filter magnitude and mains residual | response | [`response::Response::draw`] |
//! | noise densities | noise | [`noise::Noise::draw`] |
//! | front ends with error and parts | the best edge | [`edge::Edge::draw`] |
//! | a step response | settling | [`settling::Settling::draw`] |
//! | errors of the firmware over temperature | its error | [`firmware_error::FirmwareError::draw`] |
//! | Monte Carlo errors at one point | histogram | [`distribution::Distribution::draw`] |
//! | what a soldered board should show | the sheet to work from | [`bench_sheet::page`] |
//! | a front end | its schematic | [`schematic::automatic`] |
//! | pictures, tables, sentences | one HTML page | [`page::document`] |
//! | a calibrated board | its certificate | [`certificate::certificate`] |
//! | a batch of calibrated boards | their spread against the prediction | [`inventory_page::batch_page`] |
//! | a chain file and its designed board | the whole dossier | [`dossier::dossier`] |
//!
//! **Conventions.** Temperatures in °C, differences in K, voltages in V, frequencies in Hz, times in s; shares are
//! 0…1. One colour means one thing on every picture ([`theme::Ink`]), in light, dark and on paper. Every picture
//! draws itself for two widths ([`svg::Frame`]): a page column or sheet of A4, and a telephone.
//!
//! **Same bytes.** Numbers are printed by [`number`] with fixed places; nothing depends on time, order of a hash
//! map, or the machine.
//!
//! **Left out.** Moving pictures and scripts: the page reads without any.

pub mod axis;
pub mod batch;
pub mod bench_sheet;
pub mod calibrated_band;
pub mod certificate;
mod certificate_band;
pub mod contributions;
pub mod distribution;
pub mod dossier;
pub mod edge;
pub mod error_band;
pub mod error_map;
pub mod firmware_error;
pub mod inventory_page;
pub mod lettering;
pub mod low_pass_band;
pub mod noise;
pub mod number;
pub mod page;
mod plot;
pub mod residuals;
pub mod response;
pub mod schematic;
pub mod settling;
pub mod svg;
pub mod theme;
pub mod yield_bars;

pub use dossier::{Dossier, dossier};
