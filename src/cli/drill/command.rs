//! What a trainee types, read once: a command with what stands behind its word, or
//! the name of a step. Nothing is done here.

use crate::cli::error::{Failure, Result};

/// What can be typed.
pub(super) const HELP: &str = "\
A number, or the beginning of a name, takes up a step; Enter does it.
  do [STEP]     does a step as the bench stands
  list [WORDS]  every test and remedy, those of a group, those with all the words
  bench [NAME]  how the device stands; brings a bench condition about
  bench no NAME undoes one
  suspects [WORD]
                all that may be wrong, without how likely it is
  explain       more on the step that is taken up
  hint          what is advised: its kind first, the step itself on asking again;
                each costs points
  trail         what was done so far
  conclude WHAT ends the round: the number or name of a suspect or of an item,
                several with + between them, or `nothing`
  give up       ends the round without a cause
  quit          leaves it unfinished; `halfsplit drill --round N` goes on
Make the bench ready before a step, mend what you find, and see that it works
before you conclude: what goes back with its fault counts as a loss.
The first letters of a word are enough.";

/// What was typed, with what stood behind the word.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Command<'t> {
    /// Enter alone: does the step that is taken up.
    Enter,
    /// What can be typed.
    Help,
    /// Takes up a step by its number or name.
    Step(&'t str),
    /// Does a step; the one taken up if none is named.
    Do(&'t str),
    /// The groups of steps, or the steps with some words in them.
    List(&'t str),
    /// How the device stands.
    Bench,
    /// Brings a bench condition about.
    Bring(&'t str),
    /// Undoes a bench condition.
    Undo(&'t str),
    /// All that may be wrong, or what has a word in it.
    Suspects(&'t str),
    /// More on the step that is taken up.
    Explain,
    /// What is advised.
    Hint,
    /// What was done so far.
    Trail,
    /// Ends the round with causes.
    Conclude(&'t str),
    /// Ends the round without a cause.
    GiveUp,
    /// Leaves the round unfinished.
    Quit,
}

/// Makes a command of what stands behind its word.
type Form = for<'t> fn(&'t str) -> Command<'t>;

/// The words of the commands; their first letters are enough.
const WORDS: [(&str, Form); 14] = [
    ("?", |_| Command::Help),
    ("help", |_| Command::Help),
    ("list", |rest| Command::List(rest)),
    ("others", |rest| Command::List(rest)),
    ("do", |rest| Command::Do(rest)),
    ("bench", bench),
    ("suspects", |rest| Command::Suspects(rest)),
    ("explain", |_| Command::Explain),
    ("hint", |_| Command::Hint),
    ("trail", |_| Command::Trail),
    ("conclude", |rest| Command::Conclude(rest)),
    ("give", |_| Command::GiveUp),
    ("quit", |_| Command::Quit),
    ("pause", |_| Command::Quit),
];

impl<'t> Command<'t> {
    /// Reads a line that has no blanks around it. What several commands begin with,
    /// and the name of a step as well, is that step.
    ///
    /// # Errors
    /// If it could be several commands, and no step.
    pub(super) fn parse(line: &'t str, is_step: impl Fn(&str) -> bool) -> Result<Self> {
        if line.is_empty() {
            return Ok(Command::Enter);
        }
        if line.parse::<usize>().is_ok() {
            return Ok(Command::Step(line));
        }
        let (head, rest) = line.split_once(char::is_whitespace).unwrap_or((line, ""));
        let (head, rest) = (head.to_lowercase(), rest.trim());
        let exact = WORDS.iter().find(|w| w.0 == head);
        let begun: Vec<_> = WORDS.iter().filter(|w| w.0.starts_with(&head)).collect();
        match (exact, begun.as_slice()) {
            (Some((_, form)), _) | (None, [(_, form)]) => Ok(form(rest)),
            (None, []) => Ok(Command::Step(line)),
            _ if is_step(&head) => Ok(Command::Step(line)),
            (None, many) => {
                let many: Vec<&str> = many.iter().map(|w| w.0).collect();
                Err(Failure::no(format!(
                    "`{head}` could be {}",
                    many.join(" or ")
                )))
            }
        }
    }
}

fn bench(rest: &str) -> Command<'_> {
    match rest.split_once(' ') {
        _ if rest.is_empty() => Command::Bench,
        Some(("no" | "not", name)) => Command::Undo(name.trim()),
        _ => Command::Bring(rest),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_are_read_as_commands_or_steps() {
        for (line, command) in [
            ("", Command::Enter),
            ("?", Command::Help),
            ("12", Command::Step("12")),
            ("do  3", Command::Do("3")),
            ("Do", Command::Do("")),
            ("l look", Command::List("look")),
            ("o", Command::List("")),
            ("bench", Command::Bench),
            ("bench back off", Command::Bring("back off")),
            ("b no  power", Command::Undo("power")),
            ("b no", Command::Bring("no")),
            ("give up", Command::GiveUp),
            ("p", Command::Quit),
            ("c lamp + fuse", Command::Conclude("lamp + fuse")),
            ("look at it", Command::Step("look at it")),
        ] {
            let read = Command::parse(line, |_| false);
            assert_eq!(read.ok(), Some(command), "{line}");
        }
    }

    #[test]
    fn what_could_be_several_commands_may_be_a_step() {
        let read = Command::parse("h", |_| false);
        assert!(matches!(read, Err(Failure::No { message, .. })
            if message == "`h` could be help or hint"));
        let read = Command::parse("h 1", |head| head == "h");
        assert_eq!(read.ok(), Some(Command::Step("h 1")));
    }
}
