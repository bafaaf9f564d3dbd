//! What happened to the device, in order, and what of it the belief is told.
//!
//! Readings of one line are one finding as long as nothing is done about its
//! faults in between: what a fault does to the line, how large it is and what
//! the parts of the line are stays the same from one to the next. A change that
//! touches one of its faults begins a new finding.
//!
//! Lines that are built alike tell of one another. Each is judged by those whose
//! finding began before its own and still goes on then, and never the other way
//! round: so none counts twice.

use std::cell::RefCell;
use std::collections::HashMap;
use std::sync::Arc;

use crate::belief::{Belief, Change, Event, FaultId, Finding, Seen};
use crate::model::{LineId, Model, Saw, Sibling, SiblingReading, Taken};
use crate::plan::TestId;

/// Something that happened.
#[derive(Clone, Debug)]
pub(super) enum What {
    /// A result.
    Seen(Seen),
    /// A reading of a line.
    Read(Taken),
    /// Something was done to the device.
    Changed(Change),
}

impl What {
    fn is_result(&self) -> bool {
        !matches!(self, What::Changed(_))
    }

    /// Whether it is a reading with the leads changed over, which is another one
    /// than that of the test as it stands.
    pub(super) fn turned(&self) -> bool {
        matches!(self, What::Read(taken) if taken.probing.turned)
    }
}

/// The same with where it came from.
#[derive(Clone, Debug)]
struct Happened {
    /// Entry number, from 0; `None` for the complaint.
    entry: Option<usize>,
    /// The test, if any.
    test: Option<TestId>,
    what: What,
    /// How many times it was seen, each time the same.
    times: i32,
}

/// The entries of readings of a line, and of those of lines built alike that they
/// are judged by.
type Entries = (Vec<Option<usize>>, Vec<Option<usize>>);

/// Everything in force that happened to a device.
#[derive(Clone, Debug, Default)]
pub(super) struct History {
    all: Vec<Happened>,
    /// What readings were found to say together, by their entries.
    recorded: RefCell<HashMap<Entries, Arc<Finding>>>,
}

/// A result by its entry, and how many times it was seen.
pub(super) type OneResult = (usize, i32);

/// What makes one event of the belief: something that happened, or readings of
/// one line.
#[derive(Debug)]
struct Slot<'h> {
    of: Vec<&'h Happened>,
    /// Their places among the results; none for a change.
    places: Vec<usize>,
    /// Of a line: other lines built alike that are read by then, each with what
    /// makes their event.
    beside: Vec<(Sibling, usize)>,
}

/// Events for the belief with what they came from.
#[derive(Debug, Default)]
pub(super) struct Events {
    /// The events.
    pub(super) all: Vec<Event>,
    /// The entry of each; of readings together, that of the first.
    entries: Vec<Option<usize>>,
    /// For each result of theirs, its place among the results as they happened.
    places: Vec<usize>,
}

impl Events {
    /// Puts what a belief says of each result in the order in which they
    /// happened.
    pub(super) fn in_order(&self, mut belief: Belief) -> Belief {
        let mut sorted: Vec<(usize, f64)> =
            self.places.iter().copied().zip(belief.misread).collect();
        sorted.sort_by_key(|s| s.0);
        belief.misread = sorted.into_iter().map(|s| s.1).collect();
        belief
    }

    /// The events, each with its entry.
    pub(super) fn with_entries(self) -> impl Iterator<Item = (Event, Option<usize>)> {
        self.all.into_iter().zip(self.entries)
    }

    /// Where the change stands that was done in an entry.
    pub(super) fn changed_in(&self, entry: usize) -> Option<usize> {
        let of = |(e, by): (&Event, &Option<usize>)| {
            matches!(e, Event::Changed(_)) && *by == Some(entry)
        };
        self.all.iter().zip(&self.entries).position(of)
    }
}

impl History {
    /// Adds what happened in an entry (`None` for the complaint) and a test.
    pub(super) fn push(&mut self, entry: Option<usize>, test: Option<TestId>, what: What) {
        self.all.push(Happened {
            entry,
            test,
            what,
            times: 1,
        });
    }

    /// The result of a test in an entry was seen once more, and was the same;
    /// tells whether that result still holds.
    pub(super) fn seen_again(&mut self, model: &Model, test: TestId, entry: usize) -> bool {
        let either = [false, true].map(|turned| self.standing(model, test, turned));
        let mut either = either.into_iter().flatten();
        let Some(at) = either.find(|at| self.all[*at].entry == Some(entry)) else {
            return false;
        };
        self.all[at].times += 1;
        self.recorded.borrow_mut().clear();
        true
    }

    /// The entries in which something was done to the device.
    pub(super) fn changes(&self) -> Vec<Option<usize>> {
        let changes = self.all.iter().filter(|h| !h.what.is_result());
        changes.map(|h| h.entry).collect()
    }

    /// What a result is known by, by its place.
    pub(super) fn result(&self, place: usize) -> Option<OneResult> {
        let mut results = self.all.iter().filter(|h| h.what.is_result());
        let result = results.nth(place)?;
        Some((result.entry?, result.times))
    }

    /// How many times a result, by its place, was seen, and whether it is a word.
    pub(super) fn times(&self, place: usize) -> Option<(i32, bool)> {
        let mut results = self.all.iter().filter(|h| h.what.is_result());
        let result = results.nth(place)?;
        Some((result.times, matches!(result.what, What::Seen(_))))
    }

    /// Where the result of a test stands that a repeat would supersede: the
    /// last one, unless something else was done since about a fault that it tells
    /// of. A swap seats a plug and puts the old part back: then what is tried may
    /// come out in another way, and what was looked at or measured will not.
    fn standing(&self, model: &Model, test: TestId, turned: bool) -> Option<usize> {
        let of_test =
            |h: &Happened| h.what.is_result() && h.test == Some(test) && h.what.turned() == turned;
        let at = self.all.iter().rposition(of_test)?;
        let told = &model.tests[test];
        let changed = self.all[at..].iter().any(|h| match &h.what {
            What::Changed(change) => {
                let by_swap = h.test.is_some();
                h.test != Some(test) && (!by_swap || told.proves.is_some()) && told.turns_on(change)
            }
            _ => false,
        });
        (!changed).then_some(at)
    }

    /// Whether the last result of a test still holds.
    pub(super) fn holds(&self, model: &Model, test: TestId) -> bool {
        self.standing(model, test, false).is_some()
    }

    /// Takes out the standing result of a test, with the leads changed over or not,
    /// and what the test did to the device: it is going to be repeated.
    pub(super) fn supersede(&mut self, model: &Model, test: TestId, turned: bool) {
        let standing = self.standing(model, test, turned);
        let Some(entry) = standing.map(|at| self.all[at].entry) else {
            return;
        };
        self.all
            .retain(|h| h.test != Some(test) || h.entry != entry);
    }

    /// Entry number of each result, `None` for the complaint.
    pub(super) fn results(&self) -> impl Iterator<Item = Option<usize>> + '_ {
        let results = self.all.iter().filter(|h| h.what.is_result());
        results.map(|h| h.entry)
    }

    /// The readings of a line with their entries.
    pub(super) fn readings(&self, line: LineId) -> impl Iterator<Item = (usize, &Taken)> {
        self.all.iter().filter_map(move |h| match &h.what {
            What::Read(taken) if taken.line == line => Some((h.entry?, taken)),
            _ => None,
        })
    }

    /// The readings of a line since something was last done about one of its
    /// faults.
    pub(super) fn standing_readings(&self, model: &Model, line: LineId) -> Vec<Taken> {
        let (slots, open) = self.slots(model, |_| true);
        let at = open.get(&line);
        at.map_or_else(Vec::new, |at| taken(&slots[*at].of))
    }

    /// What was read on a line's siblings since something was last done about
    /// them: the other half of the line is one.
    pub(super) fn seen(&self, model: &Model, line: LineId) -> Vec<SiblingReading> {
        let siblings = &model.lines[line].siblings;
        if siblings.is_empty() {
            return Vec::new();
        }
        let (slots, open) = self.slots(model, |_| true);
        let of = |s: &Sibling| Some((*s, *open.get(&s.line)?));
        let beside: Vec<(Sibling, usize)> = siblings.iter().filter_map(of).collect();
        seen(model, line, &slots, &beside)
    }

    /// What makes one event each, with only some of the results, by their
    /// places; and by line the one that a further reading of it would add to.
    fn slots(
        &self,
        model: &Model,
        keep: impl Fn(usize) -> bool,
    ) -> (Vec<Slot<'_>>, HashMap<LineId, usize>) {
        let mut slots: Vec<Slot> = Vec::new();
        let mut open: HashMap<LineId, usize> = HashMap::new();
        let mut results = 0..;
        for h in &self.all {
            let place = h.what.is_result().then(|| results.next()).flatten();
            if place.is_some_and(|p| !keep(p)) {
                continue;
            }
            let mut at = slots.len();
            let mut beside = Vec::new();
            match &h.what {
                What::Seen(_) => {}
                What::Read(taken) => {
                    let siblings = model.lines[taken.line].siblings.iter();
                    let others = siblings.filter(|s| s.line != taken.line);
                    beside.extend(others.filter_map(|s| Some((*s, *open.get(&s.line)?))));
                    at = *open.entry(taken.line).or_insert(at);
                }
                What::Changed(change) => open.retain(|line, _| {
                    let faults = &model.lines[*line].faults;
                    !faults.iter().any(|f| change.touches(f.1))
                }),
            }
            if at == slots.len() {
                slots.push(Slot {
                    of: Vec::new(),
                    places: Vec::new(),
                    beside,
                });
            }
            slots[at].of.push(h);
            slots[at].places.extend(place);
        }
        (slots, open)
    }

    /// The events with only some of the results, by their places.
    pub(super) fn events(&self, model: &Model, keep: impl Fn(usize) -> bool) -> Events {
        let mut events = Events::default();
        let slots = self.slots(model, keep).0;
        for slot in &slots {
            let event = match &slot.of[0].what {
                What::Changed(change) => Event::Changed(change.clone()),
                What::Seen(seen) => {
                    let seen = self.once(model, &slots, slot, seen);
                    Event::Seen(again(&seen, slot.of[0].times))
                }
                What::Read(_) => Event::Seen(Seen {
                    finding: self.recorded(model, slot, &slots),
                    outcome: 0,
                }),
            };
            events.all.push(event);
            events.entries.push(slot.of[0].entry);
            events.places.extend(&slot.places);
        }
        events
    }

    /// What the check of a hazard tells beside the looks that saw the same and say
    /// the same: the finer one counts. Any other result tells what it does.
    fn once(&self, model: &Model, all: &[Slot], slot: &Slot, seen: &Seen) -> Seen {
        let mut seen = seen.clone();
        let check = slot.of[0];
        let Some(gate) = check.test.and_then(|t| model.tests[t].checks) else {
            return seen;
        };
        let at = |h: &Happened| self.all.iter().position(|x| std::ptr::eq(x, h));
        let Some(here) = at(check) else { return seen };
        let sees: Vec<FaultId> = seen.finding.sees().collect();
        let others = all.iter().flat_map(|s| &s.of);
        for (h, test) in others.filter_map(|h| Some((h, h.test?))) {
            let saw = match &h.what {
                What::Seen(s) => Saw::Outcome(s.outcome),
                What::Read(taken) => Saw::Reading(taken.read),
                What::Changed(_) => continue,
            };
            let Some(there) = at(h) else { continue };
            // What was done in between made it another matter.
            let between = &self.all[here.min(there)..here.max(there)];
            let changed = between.iter().any(|x| match &x.what {
                What::Changed(c) => sees.iter().any(|f| c.touches(*f)),
                _ => false,
            });
            if changed {
                continue;
            }
            let found = (gate, seen.outcome > 0);
            if let Some(finding) = model.check_beside(&seen.finding, found, test, saw) {
                seen.finding = Arc::new(finding);
            }
        }
        seen
    }

    fn recorded(&self, model: &Model, slot: &Slot, all: &[Slot]) -> Arc<Finding> {
        let of = |s: &Slot| -> Vec<Option<usize>> { s.of.iter().map(|h| h.entry).collect() };
        let beside = slot.beside.iter().flat_map(|(_, at)| of(&all[*at]));
        let entries = (of(slot), beside.collect());
        if let Some(known) = self.recorded.borrow().get(&entries) {
            return known.clone();
        }
        let taken = taken(&slot.of);
        let seen = taken
            .first()
            .map_or_else(Vec::new, |t| seen(model, t.line, all, &slot.beside));
        // A line that cannot be solved tells nothing.
        let finding = model.recorded(&taken, &seen).unwrap_or_else(|| {
            let nothing = std::iter::once(1.0).chain(taken.iter().map(|_| 0.0));
            Finding::recorded(&[(Vec::new(), nothing.collect())])
        });
        let finding = Arc::new(finding);
        let mut all = self.recorded.borrow_mut();
        all.insert(entries, finding.clone());
        finding
    }
}

/// What readings of siblings tell of a line.
fn seen(
    model: &Model,
    line: LineId,
    slots: &[Slot],
    beside: &[(Sibling, usize)],
) -> Vec<SiblingReading> {
    let mut out = Vec::new();
    for (sibling, at) in beside {
        out.extend(slots[*at].of.iter().filter_map(|h| match &h.what {
            What::Read(taken) => {
                model.sibling_reading(line, *sibling, h.test?, &taken.agreed(h.times))
            }
            _ => None,
        }));
    }
    out
}

/// The readings among what happened.
fn taken(of: &[&Happened]) -> Vec<Taken> {
    let taken = |h: &&Happened| match &h.what {
        What::Read(taken) => Some(taken.agreed(h.times)),
        _ => None,
    };
    of.iter().filter_map(taken).collect()
}

/// A result as one that was seen so many times.
fn again(seen: &Seen, times: i32) -> Seen {
    match times {
        1 => seen.clone(),
        _ => Seen {
            finding: Arc::new((*seen.finding).clone().agreed(seen.outcome, times)),
            outcome: seen.outcome,
        },
    }
}
