//! A rule base as bytes, so that the built-in rules are read and checked once,
//! when the program is built.

use super::typed::Rulebase;

impl Rulebase {
    /// The whole of it as bytes.
    ///
    /// # Errors
    /// None that a rule base can bring about.
    pub fn pack(&self) -> postcard::Result<Vec<u8>> {
        postcard::to_stdvec(self)
    }

    /// A rule base from what [`Rulebase::pack`] of the same program made.
    ///
    /// # Errors
    /// If the bytes are anything else.
    pub fn unpack(bytes: &[u8]) -> postcard::Result<Rulebase> {
        postcard::from_bytes(bytes)
    }
}
