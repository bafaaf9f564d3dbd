//! The ways in which a job ends, as they are typed.

use super::error::{Failure, Result};
use crate::job::ClosingState;

/// Reads a way of closing: its number, or its first letters.
pub(super) fn closing_state(typed: &str) -> Result<ClosingState> {
    if let Ok(n) = typed.parse::<usize>()
        && let Some((_, s)) = ClosingState::ALL.get(n.wrapping_sub(1))
    {
        return Ok(*s);
    }
    let typed = typed.trim().to_lowercase().replace(' ', "-");
    let fits: Vec<ClosingState> = ClosingState::ALL
        .iter()
        .filter(|(w, _)| w.starts_with(&typed))
        .map(|(_, s)| *s)
        .collect();
    match fits.as_slice() {
        [one] => Ok(*one),
        _ => {
            let words: Vec<&str> = ClosingState::ALL.iter().map(|(w, _)| *w).collect();
            Err(Failure::no(format!(
                "`{typed}` is no way to close a job; it can be {}",
                words.join(", ")
            )))
        }
    }
}
