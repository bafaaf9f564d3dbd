//! Faults that no rule lists.
//!
//! Every list is incomplete. So each area has, for each of the places that its
//! items lie in, one fault *not among those listed*. It breaks what some listed
//! fault of that place breaks, it makes lines of that place read like nothing that
//! is known of them, and what renews an item whole clears it as far as it lay
//! there. All numbers here are common practice without a source.

use super::line::{Effect, Harm, MOST_FAULTS, PackFault};
use super::typed::{Fault, How, Item, Link, Pack, Rulebase, Where};

/// Identifier of the fault.
const ID: &str = "unlisted";
/// In how many of 1000 jobs with a complaint about the area it is found, by place.
const RATES: [(Where, f64); 5] = [
    (Where::Software, 2.0),
    (Where::Setting, 1.0),
    (Where::Part, 2.0),
    (Where::Interconnect, 2.0),
    (Where::Board, 3.0),
];
/// Chance that it breaks what it may break.
const BREAKS: f64 = 0.6;
/// Chance that it makes a line of its place strange.
const STRANGE: f64 = 0.5;

fn other(place: Where) -> &'static str {
    match place {
        Where::Software => "other software",
        Where::Setting => "other setting",
        Where::Part => "other part",
        Where::Interconnect => "other connection",
        Where::Board => "other place on the board",
    }
}

impl Pack {
    /// Adds the faults that nobody listed.
    pub(super) fn add_unlisted(&mut self) {
        if self.minimal || self.faults.is_empty() {
            return;
        }
        for (place, rate) in RATES {
            let id = format!("other-{}", place.word());
            let here = self.items.iter().filter(|i| i.r#where == place);
            let taken = self.items.iter().any(|i| i.id == id);
            if taken || here.clone().count() == 0 {
                continue;
            }
            let shared = self.unit.is_none() || here.clone().all(|i| i.shared);
            let listed: Vec<PackFault> = here.flat_map(|i| i.faults.clone()).collect();
            let new = self.faults.next_key();
            self.faults.push(Fault {
                item: self.items.len(),
                id: ID.to_owned(),
                name: "a fault that these rules do not list".to_owned(),
                rate: rate / 1000.0,
                breaks: BREAKS,
                history: Vec::new(),
                kinds: Vec::new(),
                explain: None,
                source: "common practice, no source".to_owned(),
            });
            self.items.push(Item {
                id,
                name: match shared {
                    true => other(place).to_owned(),
                    false => format!("{} ({{unit}})", other(place)),
                },
                r#where: place,
                shared,
                faults: vec![new],
                mates: Vec::new(),
                explain: Some(
                    "No list is complete. This stands for all that the rules do not name there."
                        .to_owned(),
                ),
                kinds: Vec::new(),
            });
            self.link_unlisted(new, place, &listed);
        }
    }

    fn link_unlisted(&mut self, new: PackFault, place: Where, listed: &[PackFault]) {
        let here = |l: &&Link| listed.contains(&l.0);
        for f in &mut self.functions {
            if f.links.iter().any(|l| here(&l)) {
                f.links.push((new, BREAKS));
            }
        }
        let rates: f64 = listed.iter().map(|f| self.faults[*f].rate).sum();
        for s in &mut self.symptoms {
            let strength = match s.loses {
                Some(_) if s.links.iter().any(|l| here(&l)) => BREAKS,
                Some(_) => 0.0,
                // What no function explains is as likely as with the listed ones on
                // average.
                None => {
                    let shown = s.links.iter().filter(here);
                    let shown = shown.map(|(f, p)| p * self.faults[*f].rate).sum::<f64>();
                    BREAKS * shown / rates.max(1e-12)
                }
            };
            if strength > 0.0 {
                s.links.push((new, strength));
            }
        }
        let on_lines = matches!(place, Where::Part | Where::Interconnect | Where::Board);
        for line in self.lines.iter_mut().filter(|_| on_lines) {
            let mut own: Vec<PackFault> = line.faults.iter().map(|e| e.fault).collect();
            own.sort_unstable();
            own.dedup();
            // A reading can depend on no more.
            if own.len() < MOST_FAULTS && line.faults.iter().any(|e| listed.contains(&e.fault)) {
                line.faults.push(Effect {
                    fault: new,
                    harm: Harm::Strange,
                    chance: STRANGE,
                });
            }
        }
        if place == Where::Board {
            return;
        }
        for r in 0..self.remedies.len() {
            let clears = &self.remedies[r].clears;
            let chance = |f: PackFault| clears.iter().find(|l| l.0 == f).map_or(0.0, |l| l.1);
            let renewed = self.items.iter().filter(|i| i.r#where == place);
            let renewed = renewed.filter(|i| i.faults.iter().all(|f| chance(*f) > 0.0));
            let all = renewed.flat_map(|i| i.faults.clone());
            let cleared: f64 = all.map(|f| chance(f) * self.faults[f].rate).sum();
            if cleared > 0.0 {
                let link = (new, (cleared / rates.max(1e-12)).min(1.0));
                self.remedies[r].clears.push(link);
            }
        }
    }

    /// How strongly a fault acts in a try, as a factor on its link: nothing for
    /// what is left out of it, all for the rest. A fault that nobody listed is left
    /// out as far as it may lie in the items that are.
    pub fn acts_in(&self, how: &How, fault: PackFault) -> f64 {
        let How::Tries {
            without,
            swaps_in,
            lends,
            ..
        } = how
        else {
            return 1.0;
        };
        let out = |item: usize| {
            without.contains(&item)
                || *swaps_in == Some(item)
                || lends.is_some_and(|only| only != item)
        };
        let item = self.faults[fault].item;
        if !self.is_unlisted(fault) {
            return if out(item) { 0.0 } else { 1.0 };
        }
        let place = self.items[item].r#where;
        let (mut all, mut left) = (0.0, 0.0);
        for (i, other) in self.items.iter().enumerate() {
            if other.r#where == place && i != item {
                let rate: f64 = other.faults.iter().map(|f| self.faults[*f].rate).sum();
                all += rate;
                left += if out(i) { 0.0 } else { rate };
            }
        }
        left / f64::max(all, 1e-12)
    }

    /// Whether a fault stands for all that nobody listed in its place.
    pub fn is_unlisted(&self, fault: PackFault) -> bool {
        let item = &self.items[self.faults[fault].item];
        self.faults[fault].id == ID && item.id == format!("other-{}", item.r#where.word())
    }
}

impl Rulebase {
    /// The same rules as if their lists were complete: what nobody listed is never
    /// there. For comparisons, and for worked examples with a known answer.
    #[must_use]
    pub fn assumed_complete(mut self) -> Self {
        for pack in &mut self.packs {
            for f in pack.faults.keys() {
                if pack.is_unlisted(f) {
                    pack.faults[f].rate = 0.0;
                }
            }
        }
        self
    }
}
