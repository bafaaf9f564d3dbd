//! The built-in rules as the build left them: read, checked and packed by
//! `build.rs` beside this file, since reading them takes longer than all else
//! between the start of the program and its first advice.

use crate::rulebase::{Loaded, Rulebase, Rules};

static PACKED: &[u8] = include_bytes!(concat!(env!("OUT_DIR"), "/rules.bin"));

/// The rule base that is asked for: the built-in one is ready, others are read.
///
/// # Errors
/// What is wrong with the rules, if anything is.
pub fn rulebase(rules: &Rules) -> Result<Rulebase, Loaded> {
    if *rules == Rules::default()
        && let Ok(ready) = Rulebase::unpack(PACKED)
    {
        return Ok(ready);
    }
    let loaded = rules.load();
    match loaded.problems.is_empty() {
        true => Ok(loaded.rulebase),
        false => Err(loaded),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_the_build_left_is_what_the_files_say() {
        let ready = Rulebase::unpack(PACKED).unwrap();
        let loaded = Rules::default().load();
        assert!(loaded.problems.is_empty(), "{}", loaded.report(false));
        // Every value is shown in full, numbers to the last bit.
        assert!(format!("{ready:?}") == format!("{:?}", loaded.rulebase));
    }
}
