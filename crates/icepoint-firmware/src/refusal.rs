//! Why no firmware is made: what was found, and a way out that works if typed.

use core::fmt;

use icepoint_chain::ModelError;

/// A request that can't be met.
#[derive(Clone, Debug, PartialEq)]
pub struct Refusal {
    /// Stable code, such as `firmware.no_converter`.
    pub code: &'static str,
    /// What was found.
    pub message: String,
    /// A way out.
    pub help: String,
}

impl Refusal {
    pub(crate) fn new(code: &'static str, message: impl Into<String>, help: impl Into<String>) -> Self {
        Self { code, message: message.into(), help: help.into() }
    }
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.message)
    }
}

impl core::error::Error for Refusal {}

impl From<ModelError> for Refusal {
    fn from(error: ModelError) -> Self {
        Self::new(
            "firmware.no_inverse",
            error.to_string(),
            "the range asked in [need] and the circuit's values decide this; `icepoint budget FILE` says more",
        )
    }
}
