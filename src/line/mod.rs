//! A line of the rules as a circuit: what the meter should read at each of its
//! points, healthy and with each fault, and what a reading can and cannot tell.
//!
//! | module | what it is for |
//! | --- | --- |
//! | `wiring` | a line as a network, with power and without, and its faults as changes |
//! | `ways` | the ways in which a line may be built and fed |
//! | `meter` | a meter of the rules as one that can be put to a circuit |
//! | `path` | the wires from the connector to the far end, with what hangs on them |
//! | `table` | the readings of all points, modes and faults |
//! | `bypass` | whether a wire may go round a part, and which wire |
//! | `forecast` | the readings of one point and mode under every fault, as foretold |
//! | `survey` | one reading under everything that can be wrong, solved for some sizes |
//! | `nearby` | readings followed from where the unknown values most likely lie |
//! | `together` | readings of one line taken together |
//! | `calibrate` | a line bent to what good ones read |
//! | `isolate` | tests that follow from the circuit: a part lifted, two ends compared |
//! | `trust` | bench conditions in which a reading is not to be trusted |
mod bypass;
mod calibrate;
mod forecast;
mod isolate;
mod meter;
mod nearby;
mod path;
mod survey;
mod table;
mod together;
mod trust;
mod ways;
mod wiring;

pub use bypass::{Bypass, BypassError, Stretch, USUAL_LENGTH, Wire, bypass};
pub use calibrate::{GoodLine, GoodReading};
pub(crate) use forecast::healthy;
pub use forecast::{CATEGORIES, Category, Forecast, Probing, Tells};
pub use isolate::{Isolation, isolations};
pub use path::{Branch, End, Stop, wires};
pub use survey::{Survey, harms};
pub use table::Table;
pub use together::{Cuts, Last, Together, alone};
pub use trust::{Distrust, Why, distrust};
pub use ways::{Way, optional, ways};
pub(crate) use wiring::PORT_VOLTS;
pub(crate) use wiring::meter_mode;
pub use wiring::{Wired, Wiring};
