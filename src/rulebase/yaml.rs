//! YAML text to a tree of values with their places. The only module that
//! knows the YAML parser.
//!
//! Refuses, with a clear word, what is not text, what is too large and what is
//! built to exhaust the reader.

use std::borrow::Cow;
use std::collections::{HashMap, HashSet};

use granit_parser::{ErrorKind, Event, Parser, ScalarStyle, ScanError, StrInput, Tag};

use super::problem::{Code, Problem};
use super::source::{At, Span};

/// The largest rule or case file that is read, in bytes.
pub(super) const MAX_BYTES: usize = 4 << 20;
/// The deepest nesting that is read, of blocks and of brackets each.
const MAX_DEPTH: usize = 64;
/// The most values that are read, counting those that aliases repeat.
const MAX_VALUES: usize = 250_000;
/// A long text counts as one value more for each so many bytes.
const BYTES_PER_VALUE: usize = 256;

/// A value of a YAML file.
#[derive(Clone, Debug, Default)]
pub(super) enum Node<'a> {
    /// Nothing, or `~`.
    #[default]
    Null,
    /// true or false.
    Bool(bool),
    /// A number.
    Number(f64),
    /// A text.
    Text(Cow<'a, str>),
    /// A list.
    List(Vec<At<Node<'a>>>),
    /// A mapping, in the order of the file.
    Map(Vec<(At<Cow<'a, str>>, At<Node<'a>>)>),
}

/// Reads bytes as text or says why not.
pub(super) fn text_of(bytes: Vec<u8>) -> Result<String, Problem> {
    if bytes.len() > MAX_BYTES {
        return Err(Problem::of_file(
            Code::Budget,
            format!(
                "the file has {:.0} MB; the largest that is read is {} MB",
                bytes.len() as f64 / 1e6,
                MAX_BYTES >> 20
            ),
        )
        .help("split it into packs of one function area each"));
    }
    String::from_utf8(bytes)
        .map(|t| {
            // A byte-order mark is no part of the text.
            t.strip_prefix('\u{feff}').map(str::to_owned).unwrap_or(t)
        })
        .map_err(|e| {
            let at = e.utf8_error().valid_up_to();
            let line = e.as_bytes()[..at].iter().filter(|b| **b == b'\n').count() + 1;
            Problem::of_file(
                Code::File,
                format!("not UTF-8 text (first bad byte {at}, in line {line})"),
            )
            .help("save the file as UTF-8")
        })
}

/// Parses one file. `file` is its index, for the places.
pub(super) fn parse(file: u32, text: &str) -> Result<At<Node<'_>>, Problem> {
    if let Some(p) = tab_in_indentation(file, text) {
        return Err(p);
    }
    let options = granit_parser::options! {
        emit_comments: false,
        flow_nesting_limit: MAX_DEPTH,
        block_nesting_limit: MAX_DEPTH,
    };
    let mut reader = Reader {
        file,
        text,
        parser: Parser::new_from_str_with_options(text, options),
        anchors: HashMap::new(),
        left: MAX_VALUES,
    };
    let (event, span) = reader.next()?;
    let root = reader.node(event, span)?;
    match reader.next()? {
        (Event::StreamEnd, _) => Ok(root),
        (_, span) => Err(
            Problem::new(Code::Syntax, span, "more than one document in the file")
                .help("put each pack in a file of its own, without `---` between"),
        ),
    }
}

/// What the parser says, on its way to becoming a tree.
struct Reader<'a> {
    file: u32,
    text: &'a str,
    parser: Parser<'a, StrInput<'a>>,
    /// What an alias stands for.
    anchors: HashMap<usize, At<Node<'a>>>,
    /// How many more values may come.
    left: usize,
}

impl<'a> Reader<'a> {
    /// The next thing that matters, with its place.
    fn next(&mut self) -> Result<(Event<'a>, Span), Problem> {
        loop {
            let (event, at) = match self.parser.next_event() {
                None => return Ok((Event::StreamEnd, self.span(0..0))),
                Some(Err(e)) => return Err(self.worded(&e)),
                Some(Ok(next)) => next,
            };
            if !matches!(
                event,
                Event::StreamStart | Event::DocumentStart(..) | Event::DocumentEnd
            ) {
                return Ok((event, self.span(at.byte_range().unwrap_or_default())));
            }
        }
    }

    /// The value that begins with an event.
    fn node(&mut self, event: Event<'a>, span: Span) -> Result<At<Node<'a>>, Problem> {
        let (anchor, value) = match event {
            Event::Scalar(text, style, anchor, tag) => {
                (anchor, scalar(text, style, tag.as_deref(), span)?)
            }
            Event::SequenceStart(_, anchor, _) => {
                let mut list = Vec::new();
                loop {
                    match self.next()? {
                        (Event::SequenceEnd, _) => break (anchor, Node::List(list)),
                        (event, span) => list.push(self.node(event, span)?),
                    }
                }
            }
            Event::MappingStart(_, anchor, _) => (anchor, self.map()?),
            Event::Alias(anchor) => {
                // What is not known yet would stand within itself.
                let known = self.anchors.get(&anchor);
                return known
                    .and_then(|known| repeated(known, span, &mut self.left))
                    .ok_or_else(|| exhausting(span));
            }
            _ => (0, Node::Null),
        };
        let node = At { value, span };
        self.left = self
            .left
            .checked_sub(cost(&node.value))
            .ok_or_else(|| exhausting(span))?;
        if anchor != 0 {
            let known = repeated(&node, span, &mut self.left).ok_or_else(|| exhausting(span))?;
            self.anchors.insert(anchor, known);
        }
        Ok(node)
    }

    fn map(&mut self) -> Result<Node<'a>, Problem> {
        let mut map = Vec::new();
        let mut seen = HashSet::new();
        let mut merged = Vec::new();
        loop {
            let (event, span) = self.next()?;
            let written = match &event {
                Event::MappingEnd => break,
                Event::Scalar(text, ..) => Some(text.clone()),
                _ => None,
            };
            let value = match (written, self.node(event, span)?.value) {
                (None, Node::Text(text)) => text,
                (Some(text), value) if !matches!(value, Node::Null) => text,
                _ => {
                    return Err(Problem::new(Code::Syntax, span, "this cannot be a key")
                        .help("write a name and a colon; put a text that begins with `{`, `[` or `*` in quotes"));
                }
            };
            if !seen.insert(value.clone()) {
                return Err(Problem::new(
                    Code::Duplicate,
                    span,
                    format!("`{value}` is given twice"),
                )
                .label("the second one")
                .help("remove one of the two, or give it another name"));
            }
            let key = At { value, span };
            let (event, span) = self.next()?;
            match self.node(event, span)? {
                At {
                    value: Node::Map(m),
                    ..
                } if key.value == "<<" => merged = m,
                value => map.push((key, value)),
            }
        }
        // What is written here goes before what is merged in.
        merged.retain(|(key, _)| !seen.contains(&key.value));
        map.append(&mut merged);
        Ok(Node::Map(map))
    }

    /// A place to show: what a block spans to the next token, cut to its first
    /// line, and at least one character unless the line is at its end.
    fn span(&self, bytes: std::ops::Range<usize>) -> Span {
        let start = bytes.start.min(self.text.len());
        let rest = &self.text[start..];
        let line = self.text[start..bytes.end.clamp(start, self.text.len())]
            .split('\n')
            .next()
            .unwrap_or("");
        let one = rest.chars().next().filter(|c| !matches!(c, '\n' | '\r'));
        let len = line.trim_end().len().max(one.map_or(0, char::len_utf8));
        Span {
            file: self.file,
            start: start as u32,
            end: (start + len) as u32,
        }
    }

    /// Words an error of the parser for people who write rules, with its place.
    fn worded(&self, e: &ScanError) -> Problem {
        let at = e.marker().byte_offset().unwrap_or(0);
        let span = self.span(at..at);
        let (what, help) = match e.kind() {
            ErrorKind::RecursionLimitExceeded => return exhausting(span),
            ErrorKind::UnknownAnchor => (
                "a `*name` without an `&name` before it",
                "put a text that begins with `*` in quotes, or write the value out",
            ),
            ErrorKind::MappingValueNotAllowed => (
                "a colon where no key can stand",
                "put a text with `: ` in it in quotes; if it is a key, see whether the line above \
                 lacks the space after its colon",
            ),
            ErrorKind::ExpectedFlowMappingSeparator => (
                "a `{` that is not closed before this place, or a comma is missing",
                "close it with `}`, and put a comma between entries",
            ),
            ErrorKind::ExpectedFlowSequenceSeparator => (
                "a `[` that is not closed before this place, or a comma is missing",
                "close it with `]`, and put a comma between entries",
            ),
            ErrorKind::ExpectedBlockMappingKey => (
                "this does not belong to the block above it",
                "line the keys of one block up with each other; put a text that begins with `{`, \
                 `[`, `*`, `&` or a quote in quotes as a whole",
            ),
            ErrorKind::ExpectedBlockSequenceEntry => (
                "this does not belong to the list above it",
                "line the hyphens of one list up with each other",
            ),
            ErrorKind::UnclosedQuotedScalar => (
                "a quote that is never closed",
                "close it; inside single quotes a quote is written twice, as in 'it''s'",
            ),
            ErrorKind::UnexpectedCharacter { .. } => (
                "a sign that cannot stand in a rule file",
                "delete it; where none is seen, type the line anew",
            ),
            other => {
                return Problem::new(Code::Syntax, span, format!("not well-formed YAML: {other}"))
                    .help(
                        "often the cause is an indentation that does not line up, a missing space \
                         after a colon, or a text with `: ` or `#` in it that wants quotes",
                    );
            }
        };
        Problem::new(Code::Syntax, span, what).help(help)
    }
}

/// A word or number as YAML reads it, unless its tag says what it is.
fn scalar<'a>(
    text: Cow<'a, str>,
    style: ScalarStyle,
    tag: Option<&Tag>,
    span: Span,
) -> Result<Node<'a>, Problem> {
    let tag = tag.and_then(Tag::core_suffix);
    let wanted = matches!(tag, Some("int" | "float"));
    if tag == Some("str") || style != ScalarStyle::Plain && !wanted {
        return Ok(Node::Text(text));
    }
    let is = |words: &[&str]| words.iter().any(|w| text.eq_ignore_ascii_case(w));
    let number = text
        .contains(|c: char| c.is_ascii_digit())
        .then(|| text.parse::<f64>().ok())
        .flatten();
    Ok(match number {
        Some(n) if n.is_finite() => Node::Number(n),
        None if wanted => {
            return Err(Problem::new(Code::Type, span, "not a number").help(format!(
                "write an ordinary number such as 3 or 0.5, without `!!{}`",
                tag.unwrap_or_default()
            )));
        }
        None if matches!(&*text, "" | "~" | "null" | "Null" | "NULL") => Node::Null,
        None if is(&["true", "yes", "y", "on"]) => Node::Bool(true),
        None if is(&["false", "no", "n", "off"]) => Node::Bool(false),
        None if !is(&[".inf", "+.inf", "-.inf", ".nan"]) => Node::Text(text),
        _ => {
            return Err(
                Problem::new(Code::Type, span, "not a number that can be reckoned with")
                    .help("write an ordinary number such as 3 or 0.5"),
            );
        }
    })
}

fn cost(value: &Node) -> usize {
    match value {
        Node::Text(t) => 1 + t.len() / BYTES_PER_VALUE,
        _ => 1,
    }
}

/// A value once more, all of it at another place; `None` if too many values
/// would come of it.
fn repeated<'a>(node: &Node<'a>, span: Span, left: &mut usize) -> Option<At<Node<'a>>> {
    *left = left.checked_sub(cost(node))?;
    let value = match node {
        Node::List(list) => Node::List(
            list.iter()
                .map(|n| repeated(n, span, left))
                .collect::<Option<_>>()?,
        ),
        Node::Map(map) => Node::Map(
            map.iter()
                .map(|(k, v)| {
                    let key = At {
                        value: k.value.clone(),
                        span,
                    };
                    Some((key, repeated(v, span, left)?))
                })
                .collect::<Option<_>>()?,
        ),
        other => other.clone(),
    };
    Some(At { value, span })
}

fn tab_in_indentation(file: u32, text: &str) -> Option<Problem> {
    let mut start = 0;
    for line in text.split_inclusive('\n') {
        let indent = line.len() - line.trim_start_matches([' ', '\t']).len();
        if !line.trim().is_empty()
            && let Some(tab) = line[..indent].find('\t')
        {
            let at = (start + tab) as u32;
            return Some(
                Problem::new(
                    Code::Syntax,
                    Span {
                        file,
                        start: at,
                        end: at + 1,
                    },
                    "a tab in the indentation; YAML takes spaces only",
                )
                .label("tab")
                .help("put two spaces in its place; most editors can do so for the whole file"),
            );
        }
        start += line.len();
    }
    None
}

fn exhausting(span: Span) -> Problem {
    Problem::new(
        Code::Budget,
        span,
        "too deep, too many aliases or too many values for a rule file",
    )
    .help(format!(
        "nest at most {MAX_DEPTH} deep and write values out instead of repeating aliases"
    ))
}
