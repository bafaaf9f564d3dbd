//! What is told of a job as a whole: its trail, the lines of its board, and what
//! changed rules have moved.

use super::Desk;
use crate::job::Case;
use crate::job::line::{self, LineInPlay, LineView};
use crate::job::trail::{Moment, Trail};
use crate::job::words;
use crate::model::LineId;

impl Desk {
    /// Whether the rules of this kind of device have changed since the last thing
    /// shown, and what that moves: one line, or nothing.
    pub fn moved(&self) -> Option<String> {
        let (shown, rules) = match self.record.shown.last() {
            Some((_, m, r)) => (m, r),
            None => (&self.record.intake, &self.record.intake_rules),
        };
        if rules.say_the_same(&self.under) {
            return None;
        }
        let now = self.state();
        Some(moved_words(shown, &Moment::from(now)))
    }

    /// The lines of the board in play, the likeliest to be at fault first.
    pub fn lines(&self) -> Vec<LineInPlay> {
        line::lines_in_play(&self.case)
    }

    /// A line of the board. A closed job has no next probe.
    pub fn line(&self, line: LineId) -> LineView {
        let file = &self.record.file;
        let view = line::line_view(&self.case, &file.steps, line);
        let next = view.next.clone().filter(|_| file.closed.is_none());
        LineView { next, ..view }
    }

    /// The lines that were read, as they were known before the last remedy on
    /// each of them.
    fn lines_read(&self) -> Vec<LineView> {
        let steps = &self.record.file.steps;
        let mut then: Option<(usize, Case)> = None;
        let mut out = Vec::new();
        for at in self.case.model.lines.keys() {
            let Some(until) = line::read_until(&self.case, at) else {
                continue;
            };
            if until == steps.len() {
                out.push(self.line(at));
                continue;
            }
            if then.as_ref().is_none_or(|t| t.0 != until) {
                let part = self.record.file.up_to(until);
                // What could not all be then is told by the trail itself.
                let Ok(case) = self.case.further(&self.rules, &part, self.settings) else {
                    continue;
                };
                then = Some((until, case));
            }
            let id = &self.case.model.lines[at].id;
            if let Some((_, case)) = &then
                && let Some(line) = case.model.lines.position(|l| l.id == *id)
            {
                let view = line::line_view(case, &steps[..until], line);
                out.push(LineView { next: None, ..view });
            }
        }
        out
    }

    /// The trail.
    pub fn trail(&self) -> Trail {
        let moments = self.record.shown.iter().map(|s| s.1.clone()).collect();
        let mut t = Trail::new(
            &self.record.file,
            &self.case,
            self.record.intake.clone(),
            moments,
        );
        t.job = Some(self.id());
        t.opened = Some(self.record.opened.clone());
        t.closed = self.record.closed_at.clone();
        t.lines = self.lines_read();
        t.rules = Some(
            self.record
                .shown
                .last()
                .map_or(&self.record.intake_rules, |s| &s.2)
                .all
                .clone(),
        );
        for (n, step) in t.steps.iter_mut().enumerate() {
            step.at = self.record.shown.get(n).map(|s| s.0.clone());
        }
        if let Some(moved) = self.moved()
            && let Some(last) = t.steps.last_mut()
        {
            last.moved = Some(moved);
        }
        t
    }
}

fn moved_words(then: &Moment, now: &Moment) -> String {
    let name = |m: &Moment| {
        m.suspects.first().map_or_else(String::new, |s| {
            format!(
                "{} ({})",
                s.name,
                words::percent_within(s.posterior, m.left_out)
            )
        })
    };
    let step = |m: &Moment| {
        m.advised
            .as_ref()
            .map_or_else(String::new, |a| a.text.clone())
    };
    let mut out = "The rules have changed since.".to_owned();
    let first = |m: &Moment| m.suspects.first().map(|s| s.fault.clone());
    if first(then) == first(now) {
        out += &format!(" Still first: {}; then {}.", name(now), name(then));
    } else {
        out += &format!(" First was {}, now {}.", name(then), name(now));
    }
    if step(then) != step(now) && !step(now).is_empty() {
        out += &format!(" Advised was “{}”, now “{}”.", step(then), step(now));
    }
    out
}
