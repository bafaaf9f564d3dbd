//! A job on the desk: the rules, a log and the worked-out case together.
//!
//! Every action that the walk, the commands and later pages offer is an
//! [`Action`] given to [`Desk::act`]; each is durable when it returns.
//!
//! | file | what it is for |
//! | --- | --- |
//! | `act` | the actions, and what others wrote meanwhile |
//! | `ask` | questions before something is entered |
//! | `trail` | what is told of the job as a whole |
mod act;
mod ask;
mod error;
mod trail;

#[cfg(test)]
mod tests;

pub use act::{Action, Done};
pub use ask::Supposed;
pub use error::DeskError;

use std::cell::OnceCell;
use std::sync::Arc;

use crate::job::trail::Moment;
use crate::job::view::{self, StateView};
use crate::job::{Case, CaseError, CaseFile, Settings};
use crate::model::fingerprint;
use crate::plan::Effort;
use crate::rulebase::{MeterProfile, Rulebase};
use crate::store::{Log, Logged, Record, UnderRules};

/// How many next steps are shown.
pub const NEXT: usize = 3;

/// A job that is open on the desk.
#[derive(Debug)]
pub struct Desk {
    rules: Arc<Rulebase>,
    /// The same as it is kept with what is shown.
    under: UnderRules,
    /// Where the job is kept.
    log: Box<dyn Log>,
    settings: Settings,
    /// The job as stored.
    pub record: Record,
    /// The job worked out.
    pub case: Case,
    /// What is shown of it now.
    view: OnceCell<StateView>,
    /// What others entered meanwhile and nobody was told of yet.
    news: Vec<Logged>,
}

impl Desk {
    /// Opens a new job. Entries that `file` already has (an import) are kept.
    ///
    /// # Errors
    /// If the file does not fit the rules or the store fails.
    pub fn open(
        rules: Arc<Rulebase>,
        mut log: Box<dyn Log>,
        settings: Settings,
        file: &CaseFile,
    ) -> Result<Self, DeskError> {
        if let Some(why) = file.too_much() {
            return Err(DeskError::TooMuch(why));
        }
        let worked_out = |before: Option<&Case>, n: usize, settings: Settings| {
            let part = file.up_to(n);
            let case = Case::after(before, &rules, &part, settings).map_err(|why| match n {
                0 => DeskError::Case(why),
                entry => DeskError::Entry { entry, why },
            })?;
            let moment = Moment::from(&view::state(&case, &part.steps, NEXT));
            Ok::<_, DeskError>((case, moment))
        };
        // Of a job that is brought along, every step is advised in retrospect.
        let quick = Settings {
            effort: Effort::FIRST,
            ..settings
        };
        let mut shown = Vec::new();
        let mut before = None;
        for n in 0..file.steps.len() {
            let (case, now) = worked_out(before.as_ref(), n, quick)?;
            shown.push(now);
            before = Some(case);
        }
        let (case, now) = worked_out(before.as_ref(), file.steps.len(), settings)?;
        shown.push(now);
        let under = under(&rules, file)?;
        let id = log.create(file, &shown, &under)?;
        let record = log.load(id)?;
        Ok(Desk {
            rules,
            under,
            log,
            settings,
            record,
            case,
            view: OnceCell::new(),
            news: Vec::new(),
        })
    }

    /// Takes a job up again.
    ///
    /// # Errors
    /// If there is no such job, or the rules no longer know its kind of device.
    pub fn resume(
        rules: Arc<Rulebase>,
        log: Box<dyn Log>,
        settings: Settings,
        id: i64,
    ) -> Result<Self, DeskError> {
        let record = log.load(id)?;
        let case = Case::of_today(&rules, &record.file, settings)?;
        Ok(Desk {
            under: under(&rules, &record.file)?,
            rules,
            log,
            settings,
            record,
            case,
            view: OnceCell::new(),
            news: Vec::new(),
        })
    }

    /// Takes up what somebody else has entered since this job was read.
    ///
    /// # Errors
    /// If the job cannot be read or worked out; it stays as it was known then.
    pub fn catch_up(&mut self) -> Result<(), DeskError> {
        if self.log.newest(self.id())? == self.record.last {
            return Ok(());
        }
        let mut record = self.record.clone();
        let came = self.log.read_on(&mut record)?;
        self.case = self
            .case
            .further(&self.rules, &record.file, self.settings)?;
        self.record = record;
        self.view = OnceCell::new();
        self.news.extend(came);
        Ok(())
    }

    /// What others entered meanwhile, each told once.
    pub fn news(&mut self) -> Vec<Logged> {
        std::mem::take(&mut self.news)
    }

    /// Number of the job.
    pub fn id(&self) -> i64 {
        self.record.id
    }

    /// Meters that may be on the bench.
    pub fn meters(&self) -> &[MeterProfile] {
        &self.rules.meters
    }

    /// What is shown now.
    pub fn state(&self) -> &StateView {
        let state = || view::state(&self.case, &self.record.file.steps, NEXT);
        self.view.get_or_init(state)
    }
}

/// The rules as they are kept with what is shown of a job.
fn under(rules: &Rulebase, file: &CaseFile) -> Result<UnderRules, CaseError> {
    Ok(UnderRules {
        all: rules.fingerprint.clone(),
        own: Some(fingerprint(rules, &file.device)?),
    })
}
