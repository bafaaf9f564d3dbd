//! One device under the rules: every fault it can have, every test and remedy
//! that can be done to it, with what each result says.
//!
//! This is where "what a function needs" becomes likelihoods: a function
//! check, a swap, a loan to a good device and a software reset are all the
//! same finding with some faults left out.
mod compile;
mod gates;
mod joined;
mod lines;
mod meter;
mod past;
mod recognise;
mod spelling;

use std::sync::Arc;

use serde::{Deserialize, Serialize};
use typed_index_collections::TiVec;

use crate::belief::{Change, FaultId, Finding, ItemId, Network};
use crate::bench::Bench;
use crate::index::index_of;
use crate::plan::{Act, RemedyId, TestId};
use crate::rulebase::{Kind, KnownGood, Sign, Step, Where};

pub use compile::{CompileError, compile, compile_for, fingerprint, outline};
pub(crate) use gates::Saw;
pub use gates::{behind, hazards, shown_id};
pub use joined::InPlay;
use lines::Solved;
pub(crate) use lines::bounds;
pub use lines::{
    Foretold, LineInfo, Measures, Range, Read, Reference, RestsOn, Sibling, SiblingReading, Slip,
    Taken,
};
pub use meter::BenchMeter;
pub use past::{Past, past};
pub use recognise::{Heard, Hearing, hear, recognise};
pub use spelling::Typo;

/// Which device is on the bench and what is known of its past.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", default)]
pub struct Unit {
    /// phone, tablet, laptop, handheld or board.
    pub kind: String,
    /// The model's name, if known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub model: Option<String>,
    /// Its variant, if known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub variant: Option<String>,
    /// Its serial number, if known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub serial: Option<String>,
}

index_of! {
    /// Index of a function of a device.
    FunctionId
}

index_of! {
    /// Index of a line of a device.
    LineId
}

/// A compiled device.
#[derive(Clone, Debug, Default)]
pub struct Model {
    /// The faults as the belief sees them; same indexes as `faults`.
    pub network: Network,
    /// The faults as people see them.
    pub faults: TiVec<FaultId, FaultInfo>,
    /// What the faults belong to.
    pub items: TiVec<ItemId, ItemInfo>,
    /// What stands on the device, pack by pack, the main copy of each first.
    pub copies: Vec<CopyInfo>,
    /// What can be seen to work.
    pub functions: TiVec<FunctionId, FunctionInfo>,
    /// What customers say.
    pub symptoms: Vec<SymptomInfo>,
    /// Electrical lines.
    pub lines: TiVec<LineId, LineInfo>,
    /// What can be done to learn.
    pub tests: TiVec<TestId, TestInfo>,
    /// What can be done to mend.
    pub remedies: TiVec<RemedyId, RemedyInfo>,
    /// The bench.
    pub bench: Bench,
    /// The meter on it.
    pub meter: BenchMeter,
    /// What the rules say that good boards read, by test.
    known_good: Vec<(TestId, KnownGood)>,
    /// What of that cannot be, in words.
    pub refused: Vec<String>,
    /// What of it counts though the lines of the rules would not read so, in words.
    pub unexpected: Vec<String>,
    /// Name of the device description that was used.
    pub device: String,
    /// Packs that are in play.
    pub packs: Vec<String>,
    /// Words that name an area, each with its pack.
    pub topics: Vec<(String, Arc<crate::rulebase::Pattern>)>,
    /// Patterns that tick a history question, with its identifier.
    pub past: Vec<(String, Vec<Arc<crate::rulebase::Pattern>>)>,
    /// Patterns that raise a gate, by the order of the gates.
    pub hazards: Vec<Vec<Arc<crate::rulebase::Pattern>>>,
    /// What the checks of gates find, by gate.
    found: Vec<gates::Found>,
    /// The symptom, by index, of a complaint that no area hears.
    pub unheard: Option<usize>,
}

/// A fault as people see it.
#[derive(Clone, Debug)]
pub struct FaultInfo {
    /// `rear-camera/module.dead`.
    pub id: String,
    /// "rear camera module: dead".
    pub name: String,
    /// Its item.
    pub item: ItemId,
    /// In how many of 1000 jobs with a complaint about its area it is found,
    /// before this device's history counts; `None` if the rules give a plain
    /// prior instead.
    pub rate: Option<f64>,
    /// Factor on the odds from what the device has been through.
    pub history: f64,
    /// For a junior.
    pub explain: Option<String>,
    /// Where its numbers come from.
    pub source: String,
    /// It stands for all that the rules do not list in its place.
    pub unlisted: bool,
}

/// An item as people see it.
#[derive(Clone, Debug)]
pub struct ItemInfo {
    /// `rear-camera/module`.
    pub id: String,
    /// Name.
    pub name: String,
    /// Which of the five.
    pub r#where: Where,
    /// Its faults.
    pub faults: Vec<FaultId>,
    /// For a junior.
    pub explain: Option<String>,
}

/// One of the things that a pack is about, as people call it.
#[derive(Clone, Debug)]
pub struct CopyInfo {
    /// Its pack.
    pub pack: String,
    /// What any copy of the pack is called: "camera".
    pub unit: String,
    /// Its name: "rear camera".
    pub name: String,
    /// What people also call it.
    pub also: Vec<String>,
    /// Faults of this copy alone, each with the chance that it gives
    /// cause for a complaint.
    pub own: Vec<(FaultId, f64)>,
}

/// A function as people see it.
#[derive(Clone, Debug)]
pub struct FunctionInfo {
    /// `rear-camera/picture`.
    pub id: String,
    /// Name.
    pub name: String,
    /// What it needs, as written.
    pub needs: Vec<String>,
    /// Faults that break it, with the strength.
    pub links: Vec<(FaultId, f64)>,
}

/// A symptom as people see it.
#[derive(Clone, Debug)]
pub struct SymptomInfo {
    /// `rear-camera/no-picture`.
    pub id: String,
    /// Name.
    pub name: String,
    /// The copy it belongs to ("rear camera"), if the pack has copies.
    pub copy: Option<String>,
    /// Its pack.
    pub pack: String,
    /// Whether it is the general one of its pack (the first in the file).
    pub general: bool,
    /// The function it is the loss of.
    pub function: Option<FunctionId>,
    /// Bench conditions, by index, that a device with it does not get into.
    pub rules_out: Vec<usize>,
    /// Patterns for free text.
    pub hear: Vec<Arc<crate::rulebase::Pattern>>,
    /// Patterns that count only where its area is named.
    pub hear_in_topic: Vec<Arc<crate::rulebase::Pattern>>,
    /// Patterns for the words of the area that these are said of; empty: all.
    pub said_of: Vec<Arc<crate::rulebase::Pattern>>,
    /// What it says; outcome 1 is "shown".
    pub finding: Arc<Finding>,
}

/// An outcome as people see it.
#[derive(Clone, Debug)]
pub struct OutcomeInfo {
    /// Identifier within the test.
    pub id: String,
    /// In plain words.
    pub says: String,
    /// Measured values that count as it.
    pub between: Option<(f64, f64)>,
}

/// A test as people see it.
#[derive(Clone, Debug)]
pub struct TestInfo {
    /// `rear-camera/hardware-list`.
    pub id: String,
    /// The question.
    pub ask: String,
    /// Manner.
    pub kind: Kind,
    /// Outcomes, the healthy one first.
    pub outcomes: Vec<OutcomeInfo>,
    /// What the outcome depends on, in the state during the test.
    pub finding: Arc<Finding>,
    /// The same with what the test itself does to the device folded in, for
    /// foretelling the outcome.
    pub foretold: Arc<Finding>,
    /// What is done to the device before the outcome is seen (a swap seats
    /// contacts anew).
    pub before: Option<Change>,
    /// What is done to it after.
    pub after: Option<Change>,
    /// The item in whose place it puts a known-good part.
    pub swaps_in: Option<ItemId>,
    /// The function it tries, if it tries it as the device stands (no swap, nothing
    /// left out): such a test can prove a mend.
    pub proves: Option<FunctionId>,
    /// The function it tries, however it does so.
    pub function: Option<FunctionId>,
    /// Whether this device is switched on in it, whatever condition it begins in:
    /// a function is tried here, and no part of it in another device.
    pub runs: bool,
    /// The line that it measures, and where.
    pub measures: Option<Measures>,
    /// Unit of a measured value.
    pub unit: Option<String>,
    /// The most volts that the meter can show, where that is known.
    pub most_volts: Option<f64>,
    /// Chance that the result is right, for readings of lines.
    pub reliability: f64,
    /// For each outcome, the chance that it is reported though another is true;
    /// empty for readings of lines.
    pub mistaken: Vec<f64>,
    /// What it takes.
    pub step: Step,
    /// Symptoms (`pack/symptom`) whose complaint it is for; empty: all.
    pub only_for: Vec<String>,
    /// Signs of hazards that it may show.
    pub raises: Vec<Sign>,
    /// The gate, by index, that it is the check of.
    pub checks: Option<usize>,
    /// Tests that come first, as long as they can be done.
    pub comes_after: Vec<TestId>,
}

impl TestInfo {
    /// The faults that its result tells of; some of them twice.
    pub fn sees(&self) -> impl Iterator<Item = FaultId> + '_ {
        self.finding.sees().chain(self.foretold.sees())
    }

    /// Whether its result may be another one after a change: that touches a fault
    /// which the result tells of.
    pub fn turns_on(&self, change: &Change) -> bool {
        self.sees().any(|f| change.touches(f))
    }

    /// Whether it is for a job with these symptoms.
    pub fn suits<'s>(&self, mut symptoms: impl Iterator<Item = &'s SymptomInfo>) -> bool {
        let named = |s: &SymptomInfo| {
            let name = s.id.rsplit('/').next().unwrap_or(&s.id);
            let full = format!("{}/{name}", s.pack);
            self.only_for.contains(&full)
        };
        self.only_for.is_empty() || symptoms.any(named)
    }

    /// An outcome as an answer: yes or no to a try, else its word.
    pub fn answer(&self, outcome: usize) -> String {
        let last = self.outcomes.len() - 1;
        match self.function {
            Some(_) if outcome == 0 => "yes".to_owned(),
            Some(_) if outcome == last => "no".to_owned(),
            _ => self.outcomes[outcome].id.replace('-', " "),
        }
    }

    /// Whether an outcome of a try says that the function works, if only in part.
    pub fn passed(&self, outcome: usize) -> bool {
        outcome + 1 < self.outcomes.len()
    }

    /// What a good line reads, where a line is measured: "0.39 V to 0.43 V", or
    /// "OL".
    pub fn good_reads(&self) -> String {
        let good = self.outcomes.first().and_then(|o| o.between);
        match good.filter(|(low, _)| low.is_finite()) {
            Some((low, high)) => bounds(low, high, self.unit.as_deref().unwrap_or_default()),
            None => "OL".to_owned(),
        }
    }
}

/// A remedy as people see it.
#[derive(Clone, Debug)]
pub struct RemedyInfo {
    /// `rear-camera/reseat`.
    pub id: String,
    /// The order to do it.
    pub name: String,
    /// What it does to the device.
    pub change: Change,
    /// Parts of lines that it goes round with a wire; the parts by index.
    pub bridges: Vec<(LineId, usize)>,
    /// What it takes.
    pub step: Step,
}

/// What a name typed by a person leads to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Found<T> {
    /// Exactly one.
    One(T),
    /// Several; their full identifiers.
    Several(Vec<String>),
    /// None; the nearest identifier, if any is near.
    None(Option<String>),
}

impl<T> Found<T> {
    /// Whether it is exactly one.
    pub fn is_one(&self) -> bool {
        matches!(self, Found::One(_))
    }
}

/// Chance that a customer who complains of one copy, and has cause to complain
/// of another too, says nothing of the other. Common practice, no source.
const UNSAID: f64 = 0.3;

/// A step as people see it.
#[derive(Clone, Copy, Debug)]
pub struct Named<'m> {
    /// Full identifier.
    pub id: &'m str,
    /// The question, or the order.
    pub text: &'m str,
    /// What it takes.
    pub step: &'m Step,
}

impl Model {
    /// A test or a remedy as people see it.
    pub fn named(&self, act: Act) -> Named<'_> {
        match act {
            Act::Test(i) => {
                let t = &self.tests[i];
                Named {
                    id: &t.id,
                    text: &t.ask,
                    step: &t.step,
                }
            }
            Act::Remedy(i) => {
                let r = &self.remedies[i];
                Named {
                    id: &r.id,
                    text: &r.name,
                    step: &r.step,
                }
            }
        }
    }

    /// Takes into account what a complaint leaves unsaid: where copies of a
    /// pack are complained of, the others are likely well, so their own faults
    /// have lower odds. What the copies share has its rates from complaints
    /// about any one of them, and keeps them.
    pub fn unsaid(&mut self, complaint: &[usize]) {
        let mut priors = self.network.faults().to_vec();
        for copy in &self.copies {
            let complained = |c: &CopyInfo| {
                complaint.iter().any(|s| {
                    let s = &self.symptoms[*s];
                    s.pack == c.pack && s.copy.as_ref() == Some(&c.name)
                })
            };
            let others = self.copies.iter().filter(|c| c.pack == copy.pack);
            if complained(copy) || !others.into_iter().any(complained) {
                continue;
            }
            for (f, noticed) in &copy.own {
                // Bayes' rule for one fault and the silence about it.
                let silent = 1.0 - noticed * (1.0 - UNSAID);
                let p = &mut priors[*f].probability;
                *p = *p * silent / (*p * silent + 1.0 - *p);
            }
        }
        self.network = Network::new(priors);
    }

    /// Finds by full identifier, or by its end where that is unique.
    pub(crate) fn find<'a, I: From<usize>>(
        ids: impl Iterator<Item = &'a str> + Clone,
        typed: &str,
    ) -> Found<I> {
        let typed = typed.trim();
        if let Some(i) = ids.clone().position(|id| id == typed) {
            return Found::One(i.into());
        }
        let ends: Vec<(usize, &str)> = ids
            .clone()
            .enumerate()
            .filter(|(_, id)| {
                id.strip_suffix(typed)
                    .is_some_and(|head| head.ends_with('/'))
            })
            .collect();
        match ends.as_slice() {
            [(i, _)] => Found::One((*i).into()),
            [] => Found::None(
                crate::rulebase::nearest(
                    typed,
                    ids.clone()
                        .chain(ids.filter_map(|id| id.rsplit_once('/').map(|x| x.1))),
                )
                .map(str::to_owned),
            ),
            many => Found::Several(many.iter().map(|(_, id)| (*id).to_owned()).collect()),
        }
    }

    /// A test by name.
    pub fn test(&self, typed: &str) -> Found<TestId> {
        Self::find(self.tests.iter().map(|t| t.id.as_str()), typed)
    }
    /// A remedy by name.
    pub fn remedy(&self, typed: &str) -> Found<RemedyId> {
        Self::find(self.remedies.iter().map(|t| t.id.as_str()), typed)
    }
    /// A symptom by name.
    pub fn symptom(&self, typed: &str) -> Found<usize> {
        Self::find(self.symptoms.iter().map(|t| t.id.as_str()), typed)
    }
    /// A fault by name.
    pub fn fault(&self, typed: &str) -> Found<FaultId> {
        Self::find(self.faults.iter().map(|t| t.id.as_str()), typed)
    }
}
