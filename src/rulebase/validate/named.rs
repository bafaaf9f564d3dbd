//! What a name in the rules can be the name of.

use std::fmt;

/// What is named, as messages call it.
#[derive(Clone, Copy)]
pub(super) enum Named<'a> {
    Act,
    AnswerToWhere,
    BenchCondition,
    Caution,
    Copy,
    CopyOnAnyDevice,
    Device,
    Fault,
    Function,
    Gate,
    Hazard,
    HistoryQuestion,
    Item,
    ItemOrFault,
    KindOfDevice,
    KindOfTest,
    Line,
    LineTemplate,
    ListOfWords,
    MannerOfTest,
    Meter,
    MeterMode,
    /// An item or a function, which may not share a name.
    Name,
    Node,
    NodeOfLine,
    Observation,
    Outcome,
    /// An outcome of the test so called.
    OutcomeOf(&'a str),
    Pack,
    Part,
    /// A part of this or that template.
    PartOfAnyLine,
    PartOfLine,
    Point,
    PointOfLine,
    Remedy,
    Symptom,
    Test,
    TestOfLine,
    Value,
    ValueOfLine,
}

/// Where it is listed.
#[derive(Clone, Copy, PartialEq)]
pub(super) enum Home {
    /// Where it is referred to, or it is a word that is always the same.
    Here,
    /// In a bench file.
    Bench,
    /// In a file of its own.
    OwnFile,
    /// In one of the line templates.
    Templates,
}

impl Named<'_> {
    pub(super) fn home(self) -> Home {
        match self {
            Named::BenchCondition | Named::Caution | Named::HistoryQuestion => Home::Bench,
            Named::LineTemplate | Named::Meter | Named::Pack => Home::OwnFile,
            Named::PartOfAnyLine => Home::Templates,
            _ => Home::Here,
        }
    }

    /// Whether links of a pack are lost where nothing has the name.
    pub(super) fn has_links(self) -> bool {
        matches!(
            self,
            Named::Function
                | Named::Item
                | Named::ItemOrFault
                | Named::Line
                | Named::LineTemplate
                | Named::MeterMode
                | Named::PointOfLine
        )
    }
}

impl fmt::Display for Named<'_> {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        f.write_str(match self {
            Named::Act => "act",
            Named::AnswerToWhere => "answer to `where`",
            Named::BenchCondition => "bench condition",
            Named::Caution => "caution",
            Named::Copy => "copy",
            Named::CopyOnAnyDevice => "copy on any device",
            Named::Device => "device",
            Named::Fault => "fault",
            Named::Function => "function",
            Named::Gate => "gate",
            Named::Hazard => "hazard",
            Named::HistoryQuestion => "history question",
            Named::Item => "item",
            Named::ItemOrFault => "item or fault",
            Named::KindOfDevice => "kind of device",
            Named::KindOfTest => "kind of test",
            Named::Line => "line",
            Named::LineTemplate => "line template",
            Named::ListOfWords => "list of words",
            Named::MannerOfTest => "manner of test",
            Named::Meter => "meter",
            Named::MeterMode => "meter mode",
            Named::Name => "name",
            Named::Node => "node",
            Named::NodeOfLine => "node of this line",
            Named::Observation => "observation",
            Named::Outcome => "outcome",
            Named::OutcomeOf(test) => return write!(f, "outcome of `{test}`"),
            Named::Pack => "pack",
            Named::Part => "part",
            Named::PartOfAnyLine => "part of a line",
            Named::PartOfLine => "part of this line",
            Named::Point => "point",
            Named::PointOfLine => "point of this line",
            Named::Remedy => "remedy",
            Named::Symptom => "symptom",
            Named::Test => "test",
            Named::TestOfLine => "test of a line",
            Named::Value => "value",
            Named::ValueOfLine => "value of this line",
        })
    }
}
