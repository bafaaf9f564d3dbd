//! The words for parts of lines, and what each stands for.

use crate::rulebase::amount::Unit;
use crate::rulebase::line::Duty::{
    self, Blocks, Chokes, Clamps, Filters, Fuses, Joins, OneWay, Pins, Plugs, PullsDown, PullsUp,
    Resists, Shifts, Smooths, Supplies, Switches, Works,
};
use crate::rulebase::raw::RawPart;
use crate::rulebase::shape::Ends;
use crate::rulebase::source::At;
use Sort::{Capacitor, Clamp, DataSwitch, Diode, HostPin, Path, Rail, Shifter, Switch};

/// What a part word stands for.
pub(super) struct Word {
    pub(super) word: &'static str,
    pub(super) sort: Sort,
    pub(super) duty: Duty,
    /// How many nodes it takes; a single one leads to ground.
    pub(super) nodes: std::ops::RangeInclusive<usize>,
    /// Its value where none is given; empty if one must be.
    pub(super) usual: &'static str,
    pub(super) protects: bool,
    /// Some boards do without it.
    pub(super) optional: bool,
}

#[derive(Clone, Copy, PartialEq)]
pub(super) enum Sort {
    Path,
    Switch,
    /// A switch that has a junction from ground at its first node.
    DataSwitch,
    /// A junction from the first node to the second.
    Diode,
    /// A junction from ground to the node.
    Clamp,
    Capacitor,
    Rail,
    HostPin,
    Shifter,
}

impl Sort {
    pub(super) fn unit(self) -> Unit {
        match self {
            Sort::Path | Sort::Switch | Sort::DataSwitch | Sort::Shifter => Unit::Ohm,
            Sort::Diode | Sort::Clamp | Sort::HostPin | Sort::Rail => Unit::Volt,
            Sort::Capacitor => Unit::Farad,
        }
    }
}

const fn word(
    word: &'static str,
    sort: Sort,
    duty: Duty,
    nodes: std::ops::RangeInclusive<usize>,
    usual: &'static str,
) -> Word {
    Word {
        word,
        sort,
        duty,
        nodes,
        usual,
        protects: false,
        optional: false,
    }
}

impl Word {
    const fn guards(self) -> Word {
        Word {
            protects: true,
            ..self
        }
    }

    const fn optional(self) -> Word {
        Word {
            optional: true,
            ..self
        }
    }
}

/// Every part word, in the order of the documentation. `rail` comes last, as it
/// is also a key beside two others.
pub(super) static WORDS: [Word; 23] = [
    word("contact", Path, Plugs, 2..=2, "20 mohm to 0.3 ohm"),
    word("joint", Path, Joins, 2..=2, "1 mohm to 20 mohm"),
    word("trace", Path, Joins, 2..=2, "50 mohm to 2 ohm"),
    word("wire", Path, Joins, 2..=2, "10 mohm to 0.5 ohm"),
    word("resistor", Path, Resists, 2..=2, ""),
    word("ferrite", Path, Chokes, 2..=2, "20 mohm to 1 ohm"),
    word("filter", Path, Filters, 2..=2, "0.5 ohm to 8 ohm"),
    word("coil", Path, Works, 2..=2, ""),
    word("fuse", Path, Fuses, 2..=2, "5 mohm to 0.2 ohm").guards(),
    word("switch", Switch, Switches, 2..=2, "10 mohm to 0.3 ohm"),
    word(
        "data-switch",
        DataSwitch,
        Switches,
        2..=2,
        "2 ohm to 20 ohm",
    )
    .optional(),
    word("pull-up", Path, PullsUp, 2..=2, "").optional(),
    word("pull-down", Path, PullsDown, 1..=2, "").optional(),
    word("thermistor", Path, Works, 1..=2, "").optional(),
    word("button", Path, Works, 1..=2, "10 Mohm to 1 Gohm"),
    word("diode", Diode, OneWay, 2..=2, "0.2 V to 0.65 V").optional(),
    word("clamp", Clamp, Clamps, 1..=1, "0.35 V to 0.7 V")
        .guards()
        .optional(),
    word("led-string", Diode, Works, 2..=2, ""),
    word("capacitor", Capacitor, Smooths, 1..=2, "").optional(),
    word(
        "coupling-capacitor",
        Capacitor,
        Blocks,
        2..=2,
        "75 nF to 265 nF",
    )
    .guards(),
    word("host-pin", HostPin, Pins, 1..=1, "0.35 V to 0.7 V").optional(),
    word("shifter", Shifter, Shifts, 2..=2, ""),
    word("rail", Rail, Supplies, 1..=1, ""),
];

/// What a part says under each of its words, in the order of [`WORDS`].
pub(super) fn said(p: &RawPart) -> [&Option<At<Ends>>; 23] {
    [
        &p.contact,
        &p.joint,
        &p.trace,
        &p.wire,
        &p.resistor,
        &p.ferrite,
        &p.filter,
        &p.coil,
        &p.fuse,
        &p.switch,
        &p.data_switch,
        &p.pull_up,
        &p.pull_down,
        &p.thermistor,
        &p.button,
        &p.diode,
        &p.clamp,
        &p.led_string,
        &p.capacitor,
        &p.coupling_capacitor,
        &p.host_pin,
        &p.shifter,
        &p.rail,
    ]
}
