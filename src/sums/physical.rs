//! What goes into a sum: finite, and of the sign that a real part can have.

use thiserror::Error;

/// A value that no real part or reading can have.
#[derive(Clone, Copy, Debug, PartialEq, Error)]
#[error("{what} is {value}, but must be {wanted}")]
pub struct NotPhysical {
    /// What it was given for.
    pub what: &'static str,
    /// The value given.
    pub value: f64,
    /// What would do.
    pub wanted: &'static str,
}

/// The value, if it is above 0 and finite.
pub(super) fn positive(what: &'static str, value: f64) -> Result<f64, NotPhysical> {
    let wanted = "above 0 and finite";
    check(value.is_finite() && value > 0.0, what, value, wanted)
}

/// The value, if it is 0 or more and finite.
pub(super) fn not_negative(what: &'static str, value: f64) -> Result<f64, NotPhysical> {
    let wanted = "0 or more and finite";
    check(value.is_finite() && value >= 0.0, what, value, wanted)
}

/// The value, if it is finite.
pub(super) fn finite(what: &'static str, value: f64) -> Result<f64, NotPhysical> {
    check(value.is_finite(), what, value, "a finite number")
}

/// The value, if it is within its bounds.
pub(super) fn check(
    good: bool,
    what: &'static str,
    value: f64,
    wanted: &'static str,
) -> Result<f64, NotPhysical> {
    let bad = NotPhysical {
        what,
        value,
        wanted,
    };
    good.then_some(value).ok_or(bad)
}
