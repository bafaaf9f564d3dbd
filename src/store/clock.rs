//! What time it is.

/// The clock that events are dated by.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub enum Clock {
    /// That of the machine.
    #[default]
    Machine,
    /// A time that stands still, for tests; it is kept as it is written.
    Fixed(String),
}

impl Clock {
    /// Now, in RFC 3339, to the second, in UTC.
    pub fn now(&self) -> String {
        match self {
            Clock::Fixed(now) => now.clone(),
            Clock::Machine => {
                let now = jiff::Timestamp::now();
                now.round(jiff::Unit::Second).unwrap_or(now).to_string()
            }
        }
    }
}
