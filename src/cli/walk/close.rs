//! Closing the job.

use super::Walk;
use crate::cli::closing::closing_state;
use crate::cli::error::Result;
use crate::desk::Action;
use crate::job::{Closing, ClosingState};

impl Walk<'_> {
    /// Closes the job; the way in which it ends is asked for if none is given.
    pub(super) fn close(&mut self, how: Option<ClosingState>) -> Result {
        let state = match how {
            Some(state) => state,
            None => match self.ask_how_it_ends()? {
                Some(state) => state,
                None => return Ok(()),
            },
        };
        // Asked before the sentence, so that it is not typed for nothing.
        self.desk.may_close(state)?;
        let Some(reason) = self.question(
            "In a sentence, what was it, or why? (Enter: not yet) > ",
            "What the next one at this bench should know.",
        )?
        else {
            return Ok(());
        };
        self.desk.act(Action::Close(Closing { state, reason }))?;
        Ok(())
    }

    fn ask_how_it_ends(&mut self) -> Result<Option<ClosingState>> {
        let list: Vec<String> = ClosingState::ALL
            .iter()
            .enumerate()
            .map(|(i, (w, _))| format!("{} {}", i + 1, w.replace('-', " ")))
            .collect();
        let prompt = format!("{} (Enter: not yet) > ", list.join(", "));
        let help = "How the job ends: its number or first letters.";
        let typed = self.question(&prompt, help)?;
        typed.map(|t| closing_state(&t)).transpose()
    }

    pub(super) fn farewell(&mut self) -> Result {
        let id = self.desk.id();
        let ended = self
            .desk
            .record
            .file
            .closed
            .as_ref()
            .map_or("", |c| c.state.word())
            .replace('-', " ");
        self.terminal.say(&format!(
            "Job {id} is closed: {ended}. `halfsplit trail {id}` prints its trail."
        ))
    }
}
