//! What is shown before the prompt, the prompt itself, and questions within a
//! step.

use super::Walk;
use crate::cli::ask::Reply;
use crate::cli::error::Result;
use crate::cli::show;
use crate::job::StepKind;
use crate::job::view::{StateView, StepView};
use crate::model::Found;

/// What came of a question within a step.
pub(super) enum Within {
    /// A line, perhaps an empty one.
    Line(String),
    /// The input has ended.
    Ended,
    /// The walk is to be left.
    Left,
}

impl Walk<'_> {
    /// Where, suspects, doubts, and the next steps.
    pub(super) fn picture(&mut self, state: &StateView) -> Result {
        let width = self.terminal.width;
        self.terminal.line("")?;
        if let Some(n) = &state.notice {
            let sure = |entry| match entry == n.entry {
                true => "sure".to_owned(),
                false => format!("sure {entry}"),
            };
            self.say(&show::notice(n, sure))?;
            self.terminal.line("")?;
        }
        self.terminal.line(&show::places(state, width))?;
        self.terminal.line(&show::suspects(state, width, 5))?;
        for line in show::doubts(state) {
            self.say(&line)?;
        }
        self.next(state)
    }

    /// What to do next.
    pub(super) fn next(&mut self, state: &StateView) -> Result {
        self.terminal.line("")?;
        if let Some(s) = &state.next.says {
            self.say(s)?;
        }
        if let Some(due) = show::retests(state) {
            self.say(&due)?;
        }
        self.steps(state)
    }

    pub(super) fn steps(&mut self, state: &StateView) -> Result {
        let width = self.terminal.width;
        let current = self.step(state);
        if let Some(c) = &self.chosen {
            let text = show::step(c, "-> ", width, true);
            return self.terminal.line(&text);
        }
        for (i, s) in state.next.steps.iter().enumerate() {
            let mark = if current.as_ref().is_some_and(|c| c.id == s.id) {
                "->"
            } else {
                "  "
            };
            let letter = (b'A' + i as u8) as char;
            let text = show::step(s, &format!("{mark} {letter} "), width, i == self.at);
            self.terminal.line(&text)?;
        }
        Ok(())
    }

    /// The step that an answer would be for.
    pub(super) fn step(&self, state: &StateView) -> Option<StepView> {
        self.chosen
            .clone()
            .or_else(|| state.next.steps.get(self.at).cloned())
    }

    pub(super) fn prompt(&self, step: Option<&StepView>) -> String {
        if let Some(p) = &self.asked_back {
            let read = &p.result.shows;
            return format!("Enter takes {read}; or what you read now (or ?) > ");
        }
        let Some(s) = step else {
            return "(others, close, ? for help) > ".to_owned();
        };
        match s.act {
            StepKind::Remedy => return "1 done (or ?) > ".to_owned(),
            StepKind::Close => return "1 close (or ?) > ".to_owned(),
            StepKind::Test => {}
        }
        let Found::One(t) = self.desk.case.model.test(&s.id) else {
            return "> ".to_owned();
        };
        let t = &self.desk.case.model.tests[t];
        if let Some(unit) = &t.unit {
            return format!("value in {unit} (or ?) > ");
        }
        let answers = (0..t.outcomes.len()).map(|o| format!("{} {}", o + 1, t.answer(o)));
        let answers: Vec<String> = answers.collect();
        let one_line = format!("{} (or ?) > ", answers.join(", "));
        if one_line.chars().count() <= self.terminal.width {
            one_line
        } else {
            format!("{}\n(or ?) > ", answers.join("\n"))
        }
    }

    /// Asks for a line within a step; `None` if the user went back.
    pub(super) fn question(&mut self, prompt: &str, help: &str) -> Result<Option<String>> {
        let help = format!("{help} Enter goes back, `pause` leaves.");
        let Within::Line(line) = self.ask_within(prompt, &help)? else {
            return Ok(None);
        };
        let back = matches!(line.to_lowercase().as_str(), "" | "undo" | "back");
        Ok(Some(line).filter(|_| !back))
    }

    /// Asks within a step until it is neither for help nor to leave.
    pub(super) fn ask_within(&mut self, prompt: &str, help: &str) -> Result<Within> {
        loop {
            let line = match self.ask.ask(self.terminal, prompt)? {
                Reply::Line(l) => l,
                Reply::Ended | Reply::Interrupted => return Ok(Within::Ended),
            };
            match line.to_lowercase().as_str() {
                "pause" | "quit" => {
                    self.leaving = true;
                    return Ok(Within::Left);
                }
                "?" | "help" => self.say(help)?,
                _ => return Ok(Within::Line(line)),
            }
        }
    }
}
