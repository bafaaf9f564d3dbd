//! The sums that a technician wants beside a measurement. Each module names its
//! formulas and where they come from.
//!
//! | module | what it is for |
//! | --- | --- |
//! | [`bus`] | pull-ups and idle levels of a two-wire control bus |
//! | [`typec`] | CC and D+ levels of a USB port |
//! | [`thermistor`] | resistance, temperature, divider |
//! | [`led`] | a string of lamps and its boost supply |
//! | [`wire`] | a jumper wire, and whether it may be there |
//! | [`physical`] | what may go into a sum |
//!
//! Units are volt, ampere, ohm, farad, second throughout.

pub mod bus;
pub mod led;
pub mod physical;
pub mod thermistor;
pub mod typec;
pub mod wire;
