//! How long an entry takes on the desk, from the typed result to the advice, stored.
//!
//! ```text
//! cargo bench --bench desk
//! ```
//!
//! | bench | bar |
//! | --- | --- |
//! | `entry`: a result in a job of so many | 0.6 of the same before the entries were taken up one by one |
//! | `note`: a remark in the same job | 5 ms |

use std::sync::{Arc, LazyLock};

use divan::Bencher;
use halfsplit::built_in;
use halfsplit::desk::{Action, Desk};
use halfsplit::job::{Case, CaseFile, Entry, Settings, Shown};
use halfsplit::model::Unit;
use halfsplit::rulebase::{Rulebase, Rules};
use halfsplit::store::{Log, Store};
use rand::rngs::StdRng;
use rand::{Rng, SeedableRng};

fn main() {
    divan::main();
}

static RULES: LazyLock<Arc<Rulebase>> =
    LazyLock::new(|| Arc::new(built_in::rulebase(&Rules::default()).expect("the built-in rules")));

/// A phone with two complaints, and what is entered of it: mostly good results.
fn job(results: usize) -> (CaseFile, Entry) {
    let mut file = CaseFile {
        device: Unit {
            kind: "phone".into(),
            ..Unit::default()
        },
        complaint: "The rear camera shows a black picture and it does not charge".into(),
        ..CaseFile::default()
    };
    let case = Case::new(&RULES, &file, Settings::default()).expect("a job");
    let mut rng = StdRng::seed_from_u64(40);
    let mut entries: Vec<Entry> = Vec::new();
    let tests = case.model.tests.iter().filter(|t| t.checks.is_none());
    for test in tests {
        let outcome = match rng.random_bool(0.85) {
            true => 0,
            false => rng.random_range(0..test.outcomes.len()),
        };
        entries.push(Entry::Result(Shown {
            test: test.id.clone(),
            shows: test.outcomes[outcome].id.clone(),
            ..Shown::default()
        }));
    }
    // A step through all of them, so that every area has its share.
    let every = entries.len() / (results + 1);
    let mut picked = entries.into_iter().step_by(every.max(1));
    file.steps = picked.by_ref().take(results).collect();
    let next = picked.next().expect("one more test");
    (file, next)
}

fn after(bencher: Bencher, results: usize, entry: impl Fn(&Entry) -> Entry) {
    let (file, next) = job(results);
    let next = entry(&next);
    let folder = tempfile::tempdir().expect("a folder");
    let mut store = Store::open(&folder.path().join("jobs.db")).expect("a store");
    let id = store
        .create(&file, &[], &RULES.fingerprint.as_str().into())
        .expect("a job in the store");
    let desk = Desk::resume(RULES.clone(), Box::new(store), Settings::default(), id);
    let mut desk = desk.expect("the job");
    bencher.bench_local(|| {
        desk.act(Action::Enter(next.clone())).expect("it fits");
        desk.state().clone()
    });
}

/// The entry is repeated, so that the job grows little by little.
#[divan::bench(args = [10, 40], sample_count = 20, sample_size = 1)]
fn entry(bencher: Bencher, results: usize) {
    after(bencher, results, Entry::clone);
}

#[divan::bench(args = [40], sample_count = 20, sample_size = 1)]
fn note(bencher: Bencher, results: usize) {
    after(bencher, results, |_| {
        Entry::Note("looked at once more".into())
    });
}
