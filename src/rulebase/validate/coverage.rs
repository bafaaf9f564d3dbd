//! A pack as a whole: what no function needs, no test sees or proves, no remedy clears,
//! and rates that do not add up.

use typed_index_collections::TiVec;

use super::validator::Validator;
use crate::rulebase::line::PackFault;
use crate::rulebase::problem::{Code, Problem};
use crate::rulebase::raw::RawPack;
use crate::rulebase::typed::{How, Pack, Test};

impl Validator<'_> {
    /// Items that nothing needs, faults that no test sees or no remedy clears.
    pub(super) fn coverage(&mut self, raw: &RawPack, pack: &Pack) {
        let by_fault = |of: bool| TiVec::<PackFault, bool>::from(vec![of; pack.faults.len()]);
        let mut needed = by_fault(pack.minimal);
        let mut seen = by_fault(false);
        let mut cleared = by_fault(pack.minimal || pack.remedies.is_empty());
        for f in &pack.functions {
            f.links.iter().for_each(|l| needed[l.0] = true);
        }
        for s in &pack.symptoms {
            s.links.iter().for_each(|l| needed[l.0] = true);
        }
        for t in &pack.tests {
            match &t.how {
                How::Tries { function, .. } => pack
                    .functions
                    .get(*function)
                    .into_iter()
                    .flat_map(|f| &f.links)
                    .for_each(|l| seen[l.0] = true),
                How::Shows { outcomes, .. } => {
                    for o in outcomes {
                        o.links.iter().for_each(|l| seen[l.0] = true);
                    }
                }
                How::Measures { line, .. } => pack
                    .lines
                    .get(*line)
                    .into_iter()
                    .flat_map(|l| &l.faults)
                    .for_each(|e| seen[e.fault] = true),
            }
        }
        for r in &pack.remedies {
            r.clears.iter().for_each(|l| cleared[l.0] = true);
        }
        let items = raw
            .items
            .iter()
            .chain(raw.shared.iter())
            .map(|(id, i)| (id, i.faults.iter().map(|(n, _)| n).collect::<Vec<_>>()))
            .chain(raw.faults.iter().map(|(id, _)| (id, vec![id])));
        for (item, (id, spans)) in pack.items.iter().zip(items) {
            let unneeded = item.faults.iter().all(|f| !needed[*f]) && !item.faults.is_empty();
            if unneeded {
                self.push(
                    Problem::new(
                        Code::Unneeded,
                        id.span,
                        format!("no function needs item `{}`", id.value),
                    )
                    .help("add it to the `needs:` of a function that stops when it fails, or remove it"),
                );
            }
            for (f, name) in item.faults.iter().copied().zip(spans) {
                let fault = pack.fault_id(f);
                if !seen[f] && !unneeded {
                    self.push(
                        Problem::new(
                            Code::Unseen,
                            name.span,
                            format!("no test can see the fault `{fault}`"),
                        )
                        .help("add a test whose function needs it or whose outcomes link to it"),
                    );
                }
                if !cleared[f] {
                    self.push(
                        Problem::new(
                            Code::Unmended,
                            name.span,
                            format!("no remedy clears the fault `{fault}`"),
                        )
                        .help("add it to the `clears:` of a remedy"),
                    );
                }
            }
        }
    }

    /// What is complained of has to be seen to work again before a job counts
    /// as mended: by a try of the device as it stands.
    pub(super) fn proofs(&mut self, raw: &RawPack, pack: &Pack) {
        let mut missed: Vec<usize> = Vec::new();
        for ((_, r), s) in raw.symptoms.iter().zip(&pack.symptoms) {
            let (Some(f), Some(at)) = (s.loses, &r.loses) else {
                continue;
            };
            let everywhere = |t: &Test| {
                let on = |copy| t.only_on.contains(copy);
                t.only_on.is_empty() || !s.only_on.is_empty() && s.only_on.iter().all(on)
            };
            let mut tries = pack.tests.iter().filter(|t| t.how.proves() == Some(f));
            let some = tries.clone().next().is_some();
            if tries.any(everywhere) || missed.contains(&f) {
                continue;
            }
            missed.push(f);
            let id = &pack.functions[f].id;
            self.push(
                Problem::new(
                    Code::Unproved,
                    at.span,
                    format!("no test proves that `{id}` works again"),
                )
                .label("its loss is complained of here")
                .help(if some {
                    "the test that tries it is only on some copies: limit the symptom to the same `only-on:`, or open the test to all".to_owned()
                } else {
                    format!("add a test that `tries: {id}` on the device as it stands, with nothing swapped, lent or left out")
                }),
            );
        }
    }

    /// Rates are shares of jobs; with the share of nothing found and of
    /// doubles they add up to a fixed sum.
    pub(super) fn shares(&mut self, raw: &RawPack, pack: &Pack) {
        let sum: f64 = pack.faults.iter().map(|f| f.rate).sum();
        if pack.minimal || sum <= 0.0 {
            return;
        }
        let want = 1.0 - pack.nothing_found + pack.two_or_more;
        if (sum / want - 1.0).abs() > 0.01 {
            self.push(
                Problem::new(
                    Code::Shares,
                    raw.nothing_found.as_ref().map_or(raw.pack.span, |n| n.span),
                    format!(
                        "the rates add up to {:.0} of 1000 jobs; with {:.0} where nothing is found \
                         and {:.0} with two faults it should be {:.0}",
                        sum * 1e3,
                        pack.nothing_found * 1e3,
                        pack.two_or_more * 1e3,
                        want * 1e3
                    ),
                )
                .help(format!(
                    "multiply every rate by {:.3}, or change the shares",
                    want / sum
                )),
            );
        }
    }
}
