//! What a command does to a job.

use crate::cli::args::JobCommand;
use crate::cli::closing::closing_state;
use crate::cli::error::Result;
use crate::desk::{Action, Desk};
use crate::job::{Cannot, Closing, Correction, Did, Entry, Reference, Shown, Sure, Unclear};

/// The action that a command stands for; `None` if it only asks.
///
/// # Errors
/// If a word of it is not understood.
pub(super) fn action(command: &JobCommand, desk: &Desk) -> Result<Option<Action>> {
    let entry = match command {
        JobCommand::Result {
            test,
            shows,
            as_it_stands,
            note,
            ..
        } => Entry::Result(Shown {
            test: test.clone(),
            shows: shows.clone(),
            as_it_stands: *as_it_stands,
            note: note.clone(),
        }),
        JobCommand::Remedy { remedy, note, .. } => Entry::Remedy(Did {
            did: remedy.clone(),
            note: note.clone(),
        }),
        JobCommand::Note { text, .. } => Entry::Note(text.clone()),
        JobCommand::Reference {
            test,
            reads,
            from,
            read_with,
            ..
        } => Entry::Reference(Reference {
            test: test.clone(),
            reads: reads.clone(),
            from: from.clone(),
            meter: read_with.clone(),
        }),
        JobCommand::Meter { name, .. } => Entry::Meter(name.clone()),
        JobCommand::History { question, .. } => Entry::History(question.clone()),
        JobCommand::Sure { entry, note, .. } => Entry::Sure(Sure {
            entry: match entry {
                Some(n) => *n,
                None => desk.last_result()?,
            },
            note: note.clone(),
        }),
        JobCommand::Correct {
            entry, to, note, ..
        } => Entry::Correct(Correction {
            entry: *entry,
            to: to.clone(),
            note: note.clone(),
        }),
        JobCommand::Cannot { step, why, .. } => Entry::Cannot(Cannot {
            test: step.clone(),
            why: why.clone(),
        }),
        JobCommand::Unclear { test, note, .. } => Entry::Unclear(Unclear {
            test: test.clone(),
            note: note.clone(),
        }),
        JobCommand::Undo { .. } => return Ok(Some(Action::TakeBack)),
        JobCommand::Close { state, reason, .. } => {
            return Ok(Some(Action::Close(Closing {
                state: closing_state(state)?,
                reason: reason.clone(),
            })));
        }
        JobCommand::Reopen { .. } => return Ok(Some(Action::Reopen)),
        JobCommand::New { .. }
        | JobCommand::Show { .. }
        | JobCommand::Why { .. }
        | JobCommand::Weigh { .. }
        | JobCommand::Suppose { .. }
        | JobCommand::Line { .. }
        | JobCommand::Bypass { .. } => return Ok(None),
    };
    Ok(Some(Action::Enter(entry)))
}
