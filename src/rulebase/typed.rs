//! The rule base as the rest of the program holds it: only valid states.

use std::fmt;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use typed_index_collections::TiVec;

use super::files::RuleFile;
use super::kept::Kept;
use super::line::{Line, PackFault};
use super::meter::{MeterMode, MeterProfile};
use super::pattern::Pattern;
use crate::bench::Bench;

/// The five answers of "where does the fault lie".
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, Default,
)]
#[serde(rename_all = "lowercase")]
pub enum Where {
    /// An app, a system service, firmware.
    Software,
    /// Something the owner or a menu can set.
    Setting,
    /// A part that is replaced whole.
    #[default]
    Part,
    /// A flex, a connector, a contact, a cable.
    Interconnect,
    /// A component or a trace of the board.
    Board,
}

impl Where {
    /// All five, in the order in which a job asks for them.
    pub const ALL: [Where; 5] = [
        Where::Software,
        Where::Setting,
        Where::Part,
        Where::Interconnect,
        Where::Board,
    ];
    /// The word used in rules and on screens.
    pub fn word(self) -> &'static str {
        match self {
            Where::Software => "software",
            Where::Setting => "setting",
            Where::Part => "part",
            Where::Interconnect => "interconnect",
            Where::Board => "board",
        }
    }
    /// Reads the word.
    pub fn from_word(w: &str) -> Option<Where> {
        Where::ALL.into_iter().find(|x| x.word() == w)
    }
}

impl fmt::Display for Where {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        f.write_str(self.word())
    }
}

/// Everything the loaded rule files say.
#[derive(Debug, Default, Serialize, Deserialize)]
pub struct Rulebase {
    /// Function areas.
    pub packs: Vec<Pack>,
    /// Line templates.
    pub templates: Vec<Line>,
    /// Meters.
    pub meters: Vec<MeterProfile>,
    /// Device descriptions.
    pub devices: Vec<Device>,
    /// Bench conditions, cautions, history questions.
    pub bench: Bench,
    /// Patterns that tick a history question, with its identifier.
    pub past: Vec<(String, Vec<std::sync::Arc<Pattern>>)>,
    /// Patterns that raise a gate, by the order of the gates.
    pub hazards: Vec<Vec<std::sync::Arc<Pattern>>>,
    /// How many numbers rest on which kind of source.
    pub sources: SourceTally,
    /// SHA-256 over all files, in hexadecimal: which rules a step was given under.
    pub fingerprint: String,
    /// The files that count, in the order of loading.
    pub files: Vec<RuleFile>,
    /// What the shop is without, which no rule says: tools by their names, or
    /// [`DONOR_PARTS`].
    #[serde(skip)]
    pub without: Vec<String>,
    /// What was worked out of these rules.
    #[serde(skip)]
    pub kept: Kept,
}

/// Word for the parts that a swap takes, among what a shop is without.
pub const DONOR_PARTS: &str = "donor parts";

impl Rulebase {
    /// The meter of that name; without a name the first, which is the one a
    /// shop has that does not choose.
    pub fn meter(&self, name: Option<&str>) -> Option<&MeterProfile> {
        match name {
            Some(name) => self.meters.iter().find(|m| m.id == name.trim()),
            None => self.meters.first(),
        }
    }

    /// The tools that steps ask for, each once and by itself: of `hot air or fine
    /// iron` both.
    pub fn tools(&self) -> Vec<String> {
        let steps = self.packs.iter().flat_map(|p| {
            let tests = p.tests.iter().map(|t| &t.step);
            tests.chain(p.remedies.iter().map(|r| &r.step))
        });
        let one = steps.flat_map(|s| s.tools.iter().flat_map(|t| t.split(" or ")));
        let mut all: Vec<String> = one.map(str::to_owned).collect();
        all.sort();
        all.dedup();
        all
    }
}

/// Numbers counted by what they rest on.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct SourceTally {
    /// A named published source.
    pub published: usize,
    /// Common practice, no source.
    pub common_practice: usize,
    /// The shop's own closed jobs.
    pub own_jobs: usize,
}

/// A function area.
#[derive(Debug, Serialize, Deserialize)]
pub struct Pack {
    /// Identifier.
    pub id: String,
    /// One sentence.
    pub about: String,
    /// What a copy is called; `None` if the area exists once per device.
    pub unit: Option<String>,
    /// Share of jobs (0..1) that turn out to have nothing wrong.
    pub nothing_found: f64,
    /// Share of jobs (0..1) with two or more independent faults.
    pub two_or_more: f64,
    /// Words that name the area.
    pub topic: Vec<std::sync::Arc<Pattern>>,
    /// The symptom (by index) of a complaint that no pack hears.
    pub unheard: Option<usize>,
    /// The smallest form: priors, not rates; names stand alone.
    pub minimal: bool,
    /// What can be at fault.
    pub items: Vec<Item>,
    /// Every fault mode of every item, in order.
    pub faults: TiVec<PackFault, Fault>,
    /// What can be seen to work.
    pub functions: Vec<Function>,
    /// Its electrical lines.
    pub lines: Vec<Line>,
    /// What customers say.
    pub symptoms: Vec<Symptom>,
    /// What can be done to learn.
    pub tests: Vec<Test>,
    /// What can be done to mend.
    pub remedies: Vec<Remedy>,
    /// What the checks of hazards find.
    pub hazards: Vec<Hazard>,
    /// Priors already worked out, by kind of device.
    #[serde(skip)]
    pub(crate) worked_out: std::sync::Mutex<Vec<(String, TiVec<PackFault, f64>)>>,
}

/// A fault of the pack with a strength, 0..1.
pub type Link = (PackFault, f64);

/// Anything that can be at fault.
#[derive(Debug, Serialize, Deserialize)]
pub struct Item {
    /// Identifier within the pack.
    pub id: String,
    /// Name, with `{unit}`.
    pub name: String,
    /// Which of the five.
    pub r#where: Where,
    /// Exists once per device.
    pub shared: bool,
    /// Its faults.
    pub faults: Vec<PackFault>,
    /// Items (by index) whose contacts are seated anew when this is fitted.
    pub mates: Vec<usize>,
    /// For a junior.
    pub explain: Option<String>,
    /// Kinds of device that multiply the rates.
    pub kinds: Vec<(String, f64)>,
}

/// A way an item fails.
#[derive(Debug, Serialize, Deserialize)]
pub struct Fault {
    /// The item, by index.
    pub item: usize,
    /// Identifier of the mode; empty in the smallest form.
    pub id: String,
    /// Name of the mode on screens.
    pub name: String,
    /// Share of jobs with a complaint in the area (0..1); the prior itself in
    /// the smallest form.
    pub rate: f64,
    /// Chance that it breaks a need at any one try.
    pub breaks: f64,
    /// History answers that multiply its odds.
    pub history: Vec<(String, f64)>,
    /// Kinds of device that multiply its rate, beside those of the item.
    pub kinds: Vec<(String, f64)>,
    /// For a junior.
    pub explain: Option<String>,
    /// Where its rate comes from.
    pub source: String,
}

/// Something the owner or the device can be seen to do.
#[derive(Debug, Serialize, Deserialize)]
pub struct Function {
    /// Identifier within the pack.
    pub id: String,
    /// Name, with `{unit}`.
    pub name: String,
    /// Needs as written, for explanations.
    pub needs: Vec<String>,
    /// Every fault that breaks it, over the strongest path of needs.
    pub links: Vec<Link>,
}

/// What customers say.
#[derive(Debug, Serialize, Deserialize)]
pub struct Symptom {
    /// Identifier within the pack.
    pub id: String,
    /// Name, with `{unit}`.
    pub name: String,
    /// The function it is the loss of, by index.
    pub loses: Option<usize>,
    /// Faults that show it.
    pub links: Vec<Link>,
    /// Share of jobs with this symptom in which nothing is found (0..1).
    pub nothing_found: f64,
    /// Bench conditions, by index, that a device with it does not get into.
    pub rules_out: Vec<usize>,
    /// Patterns for free text.
    pub hear: Vec<std::sync::Arc<Pattern>>,
    /// Patterns that count only where the area is named.
    pub hear_in_topic: Vec<std::sync::Arc<Pattern>>,
    /// Patterns for the words that `hear_in_topic` is said of; empty: all.
    pub said_of: Vec<std::sync::Arc<Pattern>>,
    /// Names of the copies it is for; empty: all.
    pub only_on: Vec<String>,
}

/// The manner of a test.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
#[schemars(inline)]
pub enum Kind {
    /// Asking the owner.
    Ask,
    /// Looking.
    Look,
    /// Trying a function.
    Try,
    /// Swapping a part.
    Swap,
    /// Measuring a value.
    Measure,
    /// Probing for a path.
    Continuity,
}

impl Kind {
    /// All kinds with their words.
    pub const ALL: [(&'static str, Kind); 6] = [
        ("ask", Kind::Ask),
        ("look", Kind::Look),
        ("try", Kind::Try),
        ("swap", Kind::Swap),
        ("measure", Kind::Measure),
        ("continuity", Kind::Continuity),
    ];
}

/// Anything done to learn.
#[derive(Debug, Serialize, Deserialize)]
pub struct Test {
    /// Identifier within the pack.
    pub id: String,
    /// The question, with `{unit}`.
    pub ask: String,
    /// Manner.
    pub kind: Kind,
    /// What it depends on.
    pub how: How,
    /// Unit of a measured value.
    pub unit: Option<String>,
    /// Chance that the result is right, for readings of lines.
    pub reliability: f64,
    /// For each outcome, the chance that it is reported though another is true;
    /// empty for readings of lines.
    pub mistaken: Vec<f64>,
    /// What it takes.
    pub step: Step,
    /// Names of the copies it is for; empty: all.
    pub only_on: Vec<String>,
    /// Symptoms (`pack/symptom`) whose complaint it is for; empty: all.
    pub only_for: Vec<String>,
    /// Tests of the pack that come first, by identifier.
    pub after: Vec<String>,
    /// Signs of hazards that it may show.
    pub raises: Vec<Sign>,
}

/// The faults of a pack that the check of a hazard finds.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Hazard {
    /// The gate, by index.
    pub gate: usize,
    /// How likely the check finds the hazard because of each fault.
    pub links: Vec<Link>,
    /// Chance that it finds the hazard with no fault of the pack.
    pub leak: f64,
    /// Where its numbers come from.
    pub source: String,
}

/// A result that is a sign of a hazard.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Sign {
    /// The gate that it raises, by index.
    pub gate: usize,
    /// Outcomes, by index.
    pub outcomes: Vec<usize>,
    /// A reading below this, in the unit of the test.
    pub below: Option<f64>,
}

/// The outcomes of a test that tries a function, the healthy one first; one
/// that works in part stands between.
pub const TRIED: [&str; 2] = ["works", "fails"];

/// An outcome between *works* and *fails*.
#[derive(Debug, Serialize, Deserialize)]
pub struct Partly {
    /// Identifier of the outcome.
    pub outcome: String,
    /// The fuller function, by index: it fails though the tried one works.
    pub without: usize,
}

/// What a test's result depends on.
#[derive(Debug, Serialize, Deserialize)]
pub enum How {
    /// A function is tried.
    Tries {
        /// Which, by index.
        function: usize,
        /// What stands between yes and no, where it may work in part.
        partly: Option<Partly>,
        /// Items whose faults are out of the picture (replaced for the try).
        without: Vec<usize>,
        /// A known-good part in place of this item.
        swaps_in: Option<usize>,
        /// Only this item counts: it is tried in a known-good device.
        lends: Option<usize>,
    },
    /// Something is shown, by direct links.
    Shows {
        /// Healthy outcome first, furthest last.
        outcomes: Vec<Outcome>,
        /// Chance of the second outcome with no fault at all.
        leak: f64,
    },
    /// A line is measured against ground.
    Measures {
        /// Which, by index.
        line: usize,
        /// Where on it, by index of the point.
        point: usize,
        /// What the meter is set to.
        mode: MeterMode,
    },
}

impl How {
    /// The function, by index, that is tried as the device stands, with no
    /// part swapped or left out: only that can prove a repair.
    pub fn proves(&self) -> Option<usize> {
        match self {
            How::Tries {
                function,
                without,
                swaps_in: None,
                lends: None,
                ..
            } if without.is_empty() => Some(*function),
            _ => None,
        }
    }

    /// The names of the outcomes, in order; none for a line, whose outcomes
    /// follow from the circuit.
    pub fn outcomes(&self) -> Vec<&str> {
        match self {
            How::Tries { partly, .. } => {
                let [works, fails] = TRIED;
                let part = partly.iter().map(|p| p.outcome.as_str());
                std::iter::once(works)
                    .chain(part)
                    .chain(std::iter::once(fails))
                    .collect()
            }
            How::Shows { outcomes, .. } => outcomes.iter().map(|o| o.id.as_str()).collect(),
            How::Measures { .. } => Vec::new(),
        }
    }
}

/// One outcome of a test.
#[derive(Debug, Serialize, Deserialize)]
pub struct Outcome {
    /// Identifier within the test.
    pub id: String,
    /// In plain words.
    pub says: String,
    /// Faults that lead here.
    pub links: Vec<Link>,
    /// Measured values that count as this outcome.
    pub between: Option<(f64, f64)>,
}

/// What a test or a remedy takes.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
pub struct Step {
    /// Minutes, bench conditions not counted.
    pub minutes: f64,
    /// Cost of parts, in the shop's currency.
    pub parts: f64,
    /// Bench conditions, by index.
    pub conditions: Vec<usize>,
    /// Tools.
    pub tools: Vec<String>,
    /// Cautions, by index.
    pub cautions: Vec<usize>,
    /// For a junior.
    pub explain: Option<String>,
    /// Where the numbers come from.
    pub source: String,
}

impl Step {
    /// Takes up the cautions that the step calls for by what it needs; `about`
    /// holds the words that name it and what it touches.
    pub fn call_for_cautions(&mut self, bench: &Bench, about: &str) {
        let called_for = bench.called_for(&self.conditions, &self.tools, about);
        self.cautions.extend(called_for);
        self.cautions.sort_unstable();
        self.cautions.dedup();
    }
}

/// Anything done to mend.
#[derive(Debug, Serialize, Deserialize)]
pub struct Remedy {
    /// Identifier within the pack.
    pub id: String,
    /// An order, with `{unit}`.
    pub name: String,
    /// Faults it clears, with the chance that it takes.
    pub clears: Vec<Link>,
    /// Faults it may bring about, with the chance.
    pub may_break: Vec<Link>,
    /// It is what fitting a part does to the contacts on the way.
    pub seating: bool,
    /// Parts of lines that it goes round with a wire, by identifier.
    pub bridges: Vec<String>,
    /// What it takes.
    pub step: Step,
    /// Names of the copies it is for; empty: all.
    pub only_on: Vec<String>,
}

/// A device description.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Device {
    /// Identifier.
    pub id: String,
    /// Name on screens.
    pub name: String,
    /// phone, tablet, laptop, handheld or board.
    pub kind: String,
    /// The model it describes; `None` for a generic description.
    pub model: Option<String>,
    /// Variant of the model.
    pub variant: Option<String>,
    /// Pack identifiers, each with its copies, the main one first.
    pub carries: Vec<(String, Vec<Carried>)>,
    /// Lines that differ on this device from those of the pack, by pack
    /// identifier. The first points are those of the pack's line.
    pub lines: Vec<(String, Line)>,
    /// What good boards of it are known to read.
    pub good: Vec<KnownGood>,
}

/// What a test of a line reads on a good board.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct KnownGood {
    /// The pack.
    pub pack: String,
    /// The test, by index.
    pub test: usize,
    /// What it reads, volt or ohm.
    pub value: f64,
    /// The meter it was read with; `None` for the first.
    pub meter: Option<String>,
    /// Names of the copies it is for; empty: all.
    pub only_on: Vec<String>,
    /// Whose board it was.
    pub source: String,
}

/// One copy of a pack on a device.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
pub struct Carried {
    /// Its name.
    pub name: String,
    /// What people also call it.
    pub also: Vec<String>,
}

impl Pack {
    /// `item.fault`, or the item alone in the smallest form.
    pub fn fault_id(&self, f: PackFault) -> String {
        let fault = &self.faults[f];
        let item = &self.items[fault.item].id;
        if fault.id.is_empty() {
            item.clone()
        } else {
            format!("{item}.{}", fault.id)
        }
    }

    /// Where the faults of these links lie, each with its strength.
    pub fn by_place(&self, links: &[(PackFault, f64)]) -> Vec<(Where, f64)> {
        let place = |f: PackFault| self.items[self.faults[f].item].r#where;
        links.iter().map(|(f, s)| (place(*f), *s)).collect()
    }
}
