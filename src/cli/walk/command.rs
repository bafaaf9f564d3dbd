//! What was typed at the prompt, read once: a command with its arguments, or an
//! answer to the step at hand. Nothing is done here, and no rules are known.

use crate::cli::closing::closing_state;
use crate::cli::error::{Failure, Result};
use crate::job::{ClosingState, StepKind};

/// What can be typed.
pub(super) const HELP: &str = "\
Answer the step marked with an arrow: yes or no, its number, or the value you read.
  b, c          take the second or third step instead
  others [WORD] every other test and remedy, or those with the word in them
  done [NAME]   a remedy was done
  stays         the known-good part that was just tried stays in the device
  cannot [WHY]  this step cannot be done here
  unclear       it was done, but the result is unclear
  why [N]       what speaks for and against suspect N (1 if not given)
  explain       more on this step: how, why, and what it rests on
  weigh         the best steps side by side: what each comes to and leads to
  suppose       what a result would change, without entering it
  line [NAME]   a line of the board, drawn with what may be wrong where
  0.4 as it stands
                the bench was not made ready before this was read
  0.4 reversed  it was read with the leads swapped: counts so on a line
  bypass [PART] whether a wire may go round a part of a line, and which
  reference 0.4 WHOSE
                what a good board of the same model reads here
  sure [N]      measured again at the same points: it is the same
  correct N NEW entry N should have said NEW; `correct N not done` strikes it
  note TEXT     a remark for the trail
  meter NAME    another meter from here on; `meter` alone lists them
  history [N]   what the device has been through: the questions, or yes to one
  undo          take the last entry back
  trail         what was done so far
  close         end the job
  pause         leave the job for later; everything entered is kept
The first letters of a word are enough.";

/// What the prompt stands at.
#[derive(Clone, Copy, Debug)]
pub(super) struct At {
    /// How many steps are advised; each has a letter, from a on.
    pub(super) advised: usize,
    /// The kind of the step at hand.
    pub(super) step: Option<StepKind>,
}

/// What was typed, with what stood behind the word.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Command<'t> {
    /// Enter alone.
    Enter,
    /// What can be typed.
    Help,
    /// Another of the steps advised, from 0.
    Advised(usize),
    /// Meant as an answer to the test at hand; the test says what it can be.
    Answer,
    /// Every step, or those with some text in them.
    Others(&'t str),
    /// A remedy was done: the one named, else the step at hand or one of a list.
    Done(&'t str),
    /// The step cannot be done, and perhaps why.
    Cannot(&'t str),
    /// The result of the step is unclear, perhaps with a remark.
    Unclear(Option<&'t str>),
    /// What speaks for and against a suspect, by number.
    Why(usize),
    /// More on the step.
    Explain,
    /// The best steps side by side.
    Weigh,
    /// What a result would change; every result if none is given.
    Suppose(&'t str),
    /// A line by name, else the one at hand.
    Line(&'t str),
    /// Whether a wire may go round a part, and perhaps to where.
    Bypass(&'t str, Option<&'t str>),
    /// A remark, asked for if it is empty.
    Note(&'t str),
    /// Take the last entry back.
    Undo,
    /// Another meter by name, else a list.
    Meter(&'t str),
    /// What a good board reads, and whose it was.
    Reference(&'t str),
    /// A result was measured again: an entry by number, else the last result.
    Sure(Option<usize>),
    /// What an entry should have said, asked for if it is empty.
    Correct(usize, &'t str),
    /// The part that was tried stays.
    Stays,
    /// A question about the past by number or name, else a list.
    History(&'t str),
    /// What was done so far.
    Trail,
    /// End the job, in a way that is asked for if none is given.
    Close(Option<ClosingState>),
    /// Leave the job for later.
    Pause,
}

/// Makes a command of what stands behind its word.
type Form = for<'t> fn(&'t str) -> Result<Command<'t>>;

/// The words of the commands; their first letters are enough.
const WORDS: [(&str, Form); 23] = [
    ("others", |rest| Ok(Command::Others(rest))),
    ("done", |rest| Ok(Command::Done(rest))),
    ("cannot", |rest| Ok(Command::Cannot(rest))),
    ("unclear", |rest| {
        Ok(Command::Unclear(Some(rest).filter(|r| !r.is_empty())))
    }),
    ("why", why),
    ("explain", |_| Ok(Command::Explain)),
    ("weigh", |_| Ok(Command::Weigh)),
    ("suppose", suppose),
    ("note", |rest| Ok(Command::Note(rest))),
    ("undo", |_| Ok(Command::Undo)),
    ("line", |rest| Ok(Command::Line(rest))),
    ("bypass", |rest| {
        Ok(match rest.split_once(' ') {
            Some((what, to)) => Command::Bypass(what, Some(to)),
            None => Command::Bypass(rest, None),
        })
    }),
    ("trail", |_| Ok(Command::Trail)),
    ("close", |rest| {
        Ok(Command::Close(match rest {
            "" => None,
            typed => Some(closing_state(typed)?),
        }))
    }),
    ("pause", |_| Ok(Command::Pause)),
    ("quit", |_| Ok(Command::Pause)),
    // "what if" is how people ask for it.
    ("what", suppose),
    ("meter", |rest| Ok(Command::Meter(rest))),
    ("reference", |rest| Ok(Command::Reference(rest))),
    ("sure", |rest| {
        Ok(Command::Sure(match rest {
            "" => None,
            typed => Some(entry_number(typed)?),
        }))
    }),
    ("correct", correct),
    ("stays", |_| Ok(Command::Stays)),
    ("history", |rest| Ok(Command::History(rest))),
];

impl<'t> Command<'t> {
    /// Reads a line that has no blanks around it.
    ///
    /// # Errors
    /// If it is no command and cannot be an answer either, or its arguments are
    /// not understood.
    pub(super) fn parse(line: &'t str, at: At) -> Result<Self> {
        let (head, rest) = line
            .split_once(char::is_whitespace)
            .map_or((line, ""), |(h, r)| (h, r.trim()));
        let head = head.to_lowercase();
        if line.is_empty() {
            return Ok(Command::Enter);
        }
        if line == "?" || head == "help" {
            return Ok(Command::Help);
        }
        if matches!(line.to_lowercase().as_str(), "i am sure" | "i'm sure") {
            return Ok(Command::Sure(None));
        }
        if let (1, Some(i)) = (line.len(), ["a", "b", "c"].iter().position(|l| *l == head))
            && i < at.advised
        {
            return Ok(Command::Advised(i));
        }
        let yes_or_no = matches!(head.as_str(), "y" | "n" | "yes" | "no");
        match at.step {
            Some(StepKind::Close) if matches!(head.as_str(), "1" | "y" | "yes" | "done") => {
                return Ok(Command::Close(Some(ClosingState::Mended)));
            }
            Some(StepKind::Remedy) if line == "1" => return Ok(Command::Done("")),
            Some(StepKind::Remedy) if yes_or_no => {
                return Err(
                    Failure::no(format!("`{line}` is no answer to a remedy")).help(
                        "type done when it has been done, cannot if it can't be, or ? for more",
                    ),
                );
            }
            Some(StepKind::Test) if yes_or_no => return Ok(Command::Answer),
            _ => {}
        }
        let fits = WORDS.iter().filter(|(word, _)| word.starts_with(&head));
        let fits: Vec<&(&str, Form)> = fits.collect();
        match fits.as_slice() {
            [(_, form)] => form(rest),
            [] if at.step == Some(StepKind::Test) => Ok(Command::Answer),
            [] => Err(Failure::no(format!("`{line}` is not understood"))
                .help("type ? for what can be typed")),
            many => {
                let many: Vec<&str> = many.iter().map(|(word, _)| *word).collect();
                Err(Failure::no(format!(
                    "`{head}` could be {}",
                    many.join(" or ")
                )))
            }
        }
    }

    /// Whether it counts even where the test at hand has such an answer.
    pub(super) fn goes_before_answers(&self) -> bool {
        matches!(self, Command::Enter | Command::Help | Command::Advised(_))
    }
}

fn why(rest: &str) -> Result<Command<'_>> {
    let number = match rest {
        "" => Ok(1),
        typed => typed.parse(),
    };
    let number = number.map_err(|_| Failure::no(format!("`{rest}` is no number of a suspect")))?;
    Ok(Command::Why(number))
}

fn suppose(rest: &str) -> Result<Command<'_>> {
    Ok(Command::Suppose(rest.trim_start_matches("if").trim()))
}

fn correct(rest: &str) -> Result<Command<'_>> {
    let (number, to) = rest.split_once(char::is_whitespace).unwrap_or((rest, ""));
    if number.is_empty() {
        return Err(Failure::no("say which entry to correct, by its number")
            .help("`trail` shows the numbers; then `correct 2 yes`"));
    }
    Ok(Command::Correct(entry_number(number)?, to.trim()))
}

/// The number of an entry.
fn entry_number(typed: &str) -> Result<usize> {
    let number = typed.trim().parse();
    number.map_err(|_| Failure::no(format!("`{typed}` is no number of an entry")))
}

#[cfg(test)]
mod tests {
    use super::*;

    const fn at(step: Option<StepKind>) -> At {
        At { advised: 2, step }
    }
    const NOTHING: At = at(None);
    const TEST: At = at(Some(StepKind::Test));
    const REMEDY: At = at(Some(StepKind::Remedy));
    const CLOSE: At = at(Some(StepKind::Close));

    fn read(line: &str, at: At) -> Command<'_> {
        Command::parse(line, at).unwrap_or_else(|e| panic!("`{line}`: {e:?}"))
    }

    fn refused(line: &str, at: At) -> String {
        match Command::parse(line, at) {
            Err(Failure::No { message, .. }) => message,
            other => panic!("`{line}`: {other:?}"),
        }
    }

    /// Every word with nothing behind it.
    fn bare() -> Vec<(&'static str, Command<'static>)> {
        vec![
            ("others", Command::Others("")),
            ("done", Command::Done("")),
            ("cannot", Command::Cannot("")),
            ("unclear", Command::Unclear(None)),
            ("why", Command::Why(1)),
            ("explain", Command::Explain),
            ("weigh", Command::Weigh),
            ("suppose", Command::Suppose("")),
            ("note", Command::Note("")),
            ("undo", Command::Undo),
            ("line", Command::Line("")),
            ("bypass", Command::Bypass("", None)),
            ("trail", Command::Trail),
            ("close", Command::Close(None)),
            ("pause", Command::Pause),
            ("quit", Command::Pause),
            ("what", Command::Suppose("")),
            ("meter", Command::Meter("")),
            ("reference", Command::Reference("")),
            ("sure", Command::Sure(None)),
            ("stays", Command::Stays),
            ("history", Command::History("")),
        ]
    }

    #[test]
    fn every_word_is_a_command_and_so_are_first_letters_that_fit_no_other() {
        // One word needs something behind it.
        let mut words: Vec<&str> = bare().iter().map(|b| b.0).collect();
        words.push("correct");
        let mut all: Vec<&str> = WORDS.iter().map(|w| w.0).collect();
        all.sort_unstable();
        words.sort_unstable();
        assert_eq!(words, all);
        for (word, command) in bare() {
            for step in [NOTHING, TEST, REMEDY] {
                assert_eq!(read(word, step), command);
                assert_eq!(read(&word.to_uppercase(), step), command);
            }
            for end in 2..word.len() {
                let letters = &word[..end];
                let fits = all.iter().filter(|w| w.starts_with(letters)).count();
                if fits == 1 && letters != "no" {
                    assert_eq!(read(letters, TEST), command);
                }
            }
        }
    }

    #[test]
    fn no_word_begins_another() {
        for (a, _) in WORDS {
            let begun = WORDS.iter().filter(|(b, _)| b.starts_with(a)).count();
            assert_eq!(begun, 1, "{a}");
        }
    }

    #[test]
    fn what_stands_behind_a_word() {
        for (line, command) in [
            ("others flex cable", Command::Others("flex cable")),
            ("d  New-Sounder ", Command::Done("New-Sounder")),
            ("cannot no menu", Command::Cannot("no menu")),
            ("unclear it crackled", Command::Unclear(Some("it crackled"))),
            ("why 3", Command::Why(3)),
            ("suppose low", Command::Suppose("low")),
            ("what if no", Command::Suppose("no")),
            ("suppose if", Command::Suppose("")),
            ("note N 1", Command::Note("N 1")),
            ("line bus-data", Command::Line("bus-data")),
            ("bypass fuse", Command::Bypass("fuse", None)),
            (
                "bypass fuse coil 2",
                Command::Bypass("fuse", Some("coil 2")),
            ),
            (
                "close not mended",
                Command::Close(Some(ClosingState::NotMended)),
            ),
            ("close 3", Command::Close(Some(ClosingState::NoFaultFound))),
            ("meter bench", Command::Meter("bench")),
            ("reference 0.4 ours", Command::Reference("0.4 ours")),
            ("sure 4", Command::Sure(Some(4))),
            ("I am sure", Command::Sure(None)),
            ("i'm sure", Command::Sure(None)),
            ("correct 2", Command::Correct(2, "")),
            ("correct 2  not done", Command::Correct(2, "not done")),
            ("history 1", Command::History("1")),
            ("pause now", Command::Pause),
        ] {
            assert_eq!(read(line.trim(), TEST), command, "{line}");
        }
    }

    #[test]
    fn what_stands_behind_a_word_may_be_wrong() {
        for (line, message) in [
            ("why me", "`me` is no number of a suspect"),
            ("sure it is", "`it is` is no number of an entry"),
            ("correct", "say which entry to correct, by its number"),
            ("correct x yes", "`x` is no number of an entry"),
        ] {
            assert_eq!(refused(line, TEST), message);
        }
        assert!(refused("close somehow", TEST).contains("is no way to close a job"));
    }

    #[test]
    fn enter_help_and_the_letters_of_the_steps_go_before_answers() {
        for (line, command) in [
            ("", Command::Enter),
            ("?", Command::Help),
            ("help me", Command::Help),
            ("a", Command::Advised(0)),
            ("B", Command::Advised(1)),
        ] {
            for step in [NOTHING, TEST, REMEDY, CLOSE] {
                let read = read(line, step);
                assert!(read.goes_before_answers(), "{line}");
                assert_eq!(read, command);
            }
        }
        assert!(!read("explain", TEST).goes_before_answers());
        // Without such a step they are first letters.
        let few = At { advised: 1, ..TEST };
        assert_eq!(read("b", few), Command::Bypass("", None));
        assert_eq!(refused("c", few), "`c` could be cannot or close or correct");
        assert_eq!(read("b fuse", TEST), Command::Bypass("fuse", None));
    }

    #[test]
    fn yes_no_and_one_are_read_by_the_step() {
        for line in ["y", "n", "yes", "NO", "no picture"] {
            assert_eq!(read(line, TEST), Command::Answer);
            assert_eq!(
                refused(line, REMEDY),
                format!("`{line}` is no answer to a remedy")
            );
        }
        for line in ["1", "y", "yes", "done", "done with it"] {
            let close = Command::Close(Some(ClosingState::Mended));
            assert_eq!(read(line, CLOSE), close);
        }
        assert_eq!(read("1", REMEDY), Command::Done(""));
        assert_eq!(read("n", NOTHING), Command::Note(""));
        assert_eq!(read("n", CLOSE), Command::Note(""));
    }

    #[test]
    fn what_is_no_command_is_an_answer_to_a_test_alone() {
        for line in ["0.4 as it stands", "1", "perhaps", "donner", "-"] {
            assert_eq!(read(line, TEST), Command::Answer);
            let message = format!("`{line}` is not understood");
            assert_eq!(refused(line, NOTHING), message);
        }
        assert_eq!(refused("2", REMEDY), "`2` is not understood");
        assert_eq!(refused("2", CLOSE), "`2` is not understood");
        for step in [NOTHING, TEST, REMEDY, CLOSE] {
            assert_eq!(refused("w", step), "`w` could be why or weigh or what");
            assert_eq!(refused("s", step), "`s` could be suppose or sure or stays");
        }
    }
}
