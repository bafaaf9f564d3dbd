//! Values that a meter can show and that are still hard to believe: volts far
//! above anything the device has. They are asked about once, and taken if they
//! stay.

use super::reading::{Asked, read};
use crate::model::Model;
use crate::plan::TestId;
use crate::rulebase::{LinePart, MeterMode};
use crate::units::shown;

/// The most that a port may be fed with, volt: the standard power range of USB
/// Power Delivery (from memory).
const PORT_VOLTS: f64 = 20.0;

/// How many times the highest voltage of the device a value may be: supplies
/// are some per cent high, and so are meters. Common practice, no source.
const ABOVE: f64 = 1.25;

/// The highest voltage in the device, volt: of its supplies in play and of what
/// a port may be fed with.
fn highest_volts(model: &Model) -> f64 {
    let parts = model.lines.iter().flat_map(|l| &l.line.parts);
    parts
        .filter_map(LinePart::most_volts)
        .fold(PORT_VOLTS, f64::max)
}

/// Why a value is to be asked about before it is taken; `None` for all that is
/// no voltage of a line, and for what cannot be entered anyway.
pub(crate) fn questioned(model: &Model, test: TestId, shows: &str) -> Option<String> {
    let t = &model.tests[test];
    let volts = t.measures?.probing.mode == MeterMode::Volts;
    let value = read(shows, &Asked::by(t)).value();
    let value = value.filter(|v| volts && v.is_finite())?;
    let most = highest_volts(model);
    (value.abs() > ABOVE * most).then(|| {
        format!(
            "{} is far above the {} that this device has at most. Is the decimal point right, and \
             is black on ground?",
            shown(value, "V"),
            shown(most, "V")
        )
    })
}
