//! Reading a chain file for the verbs that work on one.

use std::io::Write;
use std::path::Path;

use icepoint_chain::file::{self, ChainFile, draw};
use icepoint_chain::resolve::{Resolved, resolve};

use crate::failure::{Failure, colour};

/// Reads and resolves a chain file; cautions go to standard error.
pub fn read(path: &Path) -> Result<(ChainFile, Resolved), Failure> {
    let file = load(path)?;
    let resolved = resolve(&file)?;
    Ok((file, resolved))
}

/// Reads a chain file; cautions go to standard error.
pub fn load(path: &Path) -> Result<ChainFile, Failure> {
    let file = file::load(path)?;
    let mut err = std::io::stderr().lock();
    for caution in &file.cautions {
        // A caution that can't be said must not stop the work.
        let _ = write!(err, "{}", draw::drawn(caution, &file.source, colour()));
    }
    Ok(file)
}
