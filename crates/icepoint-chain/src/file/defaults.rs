//! Every default of the chain file, in one table. A default is an assumption: the dossier prints those that were
//! used, with the reason and the source given here.

/// What is taken when a key is not written.
#[derive(Debug, PartialEq, Eq)]
pub struct Default {
    /// Key, `section.key`; `*` stands for the name of a record.
    pub key: &'static str,
    /// The value, as it would be written in the file.
    pub text: &'static str,
    /// Why this value.
    pub reason: &'static str,
    /// Where it comes from.
    pub source: &'static str,
}
