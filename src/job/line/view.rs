//! A line in play as it is shown.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::job::case::AlikeView;
use crate::job::view::{StepView, is_zero};
use crate::rulebase::MeterMode;

/// A line of the device in play, in a list.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LineInPlay {
    /// Identifier.
    pub line: String,
    /// Name on screens.
    pub name: String,
    /// Probability that something is wrong on it, 0 to 1.
    pub at_fault: f64,
    /// How many readings of it are in force.
    pub readings: usize,
    /// Whether the best next step measures it.
    pub next: bool,
}

/// A line with what is known of it.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LineView {
    /// Identifier.
    pub line: String,
    /// Name on screens.
    pub name: String,
    /// Whether it is fast: a wire is no substitute for any part of it.
    pub fast: bool,
    /// How many entries of the job it takes into account.
    pub entries: usize,
    /// Probability that something is wrong on it, 0 to 1.
    pub at_fault: f64,
    /// What the sets of faults that were not counted may hold at most, as a
    /// probability; no other of the line is sharper. Absent where all were.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub left_out: f64,
    /// Its wires, each from the connector to its far end.
    pub wires: Vec<Vec<NodeView>>,
    /// What may be wrong on it, likeliest first.
    pub causes: Vec<CauseView>,
    /// Leading suspects that read alike at every offered point, and what tells them
    /// apart.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub alike: Option<AlikeView>,
    /// The best next step that measures it, if any.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub next: Option<NextProbe>,
}

/// A node of a line with what hangs on it.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct NodeView {
    /// Identifier within the line.
    pub node: String,
    /// The place for a probe, if there is one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub point: Option<PointView>,
    /// What it may be shorted to or leak to.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub bridges: Vec<BridgeView>,
    /// Parts beside the wire.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub branches: Vec<BranchView>,
    /// The part that leads on to the next node of the wire.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub onward: Option<PartView>,
}

/// What a part of a line is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[schemars(inline)]
pub enum PartSort {
    /// Something that conducts.
    #[default]
    Path,
    /// It conducts when it is on.
    Switch,
    /// A diode or what reads like one.
    Junction,
    /// A capacitor.
    Capacitor,
    /// A supply.
    Supply,
    /// A level shifter.
    Shifter,
    /// A pin of a chip.
    Pin,
}

impl PartSort {
    /// Whether a branch through it ends there.
    pub fn ends(self) -> bool {
        matches!(self, PartSort::Pin | PartSort::Supply)
    }
}

/// A part of a line.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PartView {
    /// Identifier within the line.
    pub part: String,
    /// Name on screens.
    pub name: String,
    /// What it is.
    pub kind: PartSort,
    /// Its value with its unit, where one means something.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub value: Option<String>,
    /// Probability that something is wrong with it on this line, 0 to 1;
    /// absent if the rules know no fault of it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub posterior: Option<f64>,
}

/// A part beside the wire.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct BranchView {
    /// The part.
    pub part: PartView,
    /// The node that it leads to: `ground`, or one of this line.
    pub to: String,
    /// That node, if it stands here and nowhere else.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub end: Option<NodeView>,
}

/// Something that joins a node to another where nothing should.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct BridgeView {
    /// The other node: `ground`, or one of this line.
    pub to: String,
    /// In plain words.
    pub says: String,
    /// Probability, 0 to 1.
    pub posterior: f64,
}

/// A place where a probe can be held.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PointView {
    /// Identifier within the line.
    pub point: String,
    /// Name on screens.
    pub name: String,
    /// What was read here and is in force, in the order of the entries.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub readings: Vec<ReadingView>,
}

/// A reading that was taken.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ReadingView {
    /// Number of the entry, from 1.
    pub entry: usize,
    /// The test.
    pub test: String,
    /// volts, diode or ohms.
    #[schemars(with = "String")]
    pub mode: MeterMode,
    /// Whether the leads were swapped.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub turned: bool,
    /// The value with its unit, or OL; absent if only a word was given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reads: Option<String>,
    /// What a good line reads.
    pub good: String,
    /// good, low, high or ol (over limit where a value is due).
    pub shows: String,
    /// Probability that it was a misreading, 0 to 1.
    pub misread: f64,
    /// Whether something was done since about a fault that the line can have.
    pub before_remedy: bool,
}

/// Something that may be wrong on a line.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CauseView {
    /// The fault, in full.
    pub fault: String,
    /// Its name on screens.
    pub name: String,
    /// What it does to this line, in plain words.
    pub does: String,
    /// Probability that it is there and does that here, 0 to 1.
    pub posterior: f64,
}

/// Where to probe next on a line.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct NextProbe {
    /// The point.
    pub point: String,
    /// volts, diode or ohms.
    #[schemars(with = "String")]
    pub mode: MeterMode,
    /// Its place among all next steps, from 1.
    pub rank: usize,
    /// The step.
    pub step: StepView,
}
