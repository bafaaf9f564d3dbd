//! YAML text to a tree of values with their places. The only module that
//! knows the YAML library.
//!
//! Refuses, with a clear word, what is not text, what is too large and what is
//! built to exhaust the reader.

use serde::Deserialize;
use serde::de::{Deserializer, MapAccess, SeqAccess, Visitor};
use serde_yaml::Spanned;

use super::problem::{Code, Problem};
use super::source::{At, Span};

/// The largest rule or case file that is read, in bytes.
pub(super) const MAX_BYTES: usize = 4 << 20;
/// The deepest nesting that is read.
const MAX_DEPTH: usize = 64;

/// A value of a YAML file.
#[derive(Clone, Debug, Default)]
pub(super) enum Node {
    /// Nothing, or `~`.
    #[default]
    Null,
    /// true or false.
    Bool(bool),
    /// A number.
    Number(f64),
    /// A text.
    Text(String),
    /// A list.
    List(Vec<At<Node>>),
    /// A mapping, in the order of the file.
    Map(Vec<(At<String>, At<Node>)>),
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
pub(super) fn parse(file: u32, text: &str) -> Result<At<Node>, Problem> {
    let whole = Span {
        file,
        start: 0,
        end: text.len().min(1) as u32,
    };
    if let Some(p) = tab_in_indentation(file, text) {
        return Err(p);
    }
    let options = serde_yaml::options! {
        with_snippet: false,
        budget: serde_yaml::budget! {
            max_depth: MAX_DEPTH,
            max_nodes: 250_000,
        },
    };
    let root: Spanned<Raw> =
        serde_yaml::from_str_with_options(text, options).map_err(|e| worded(file, text, &e))?;
    let lines = Lines::new(text);
    let mut node = root.value.place(file, &lines, &root.referenced);
    if node.span == Span::default() {
        node.span = whole;
    }
    Ok(node)
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

/// Words a parser error for people who write rules, with its place.
fn worded(file: u32, text: &str, e: &serde_yaml::Error) -> Problem {
    let e = e.without_snippet();
    let lines = Lines::new(text);
    let span = e.location().map(|l| lines.span(file, &l)).unwrap_or(Span {
        file,
        start: 0,
        end: text.len().min(1) as u32,
    });
    use serde_yaml::Error as E;
    let plain = e.to_string();
    let plain = plain
        .split_once(": ")
        .filter(|(head, _)| head.starts_with("error: line"))
        .map_or(plain.as_str(), |(_, tail)| tail);
    let plain = plain.lines().next().unwrap_or(plain);
    let plain = strip_position(plain);
    // The library also puts places at the end of its words.
    let plain = plain.split(" at line ").next().unwrap_or(plain);
    if ["budget breached", "recursion limit", "nesting"]
        .iter()
        .any(|w| plain.contains(w))
    {
        return exhausting(span);
    }
    match e {
        E::DuplicateMappingKey { key, .. } => {
            let key = key.clone().unwrap_or_default();
            Problem::new(Code::Duplicate, span, format!("`{key}` is given twice"))
                .label("the second one")
                .help("remove one of the two, or give it another name")
        }
        E::Budget { .. }
        | E::AliasReplayLimitExceeded { .. }
        | E::AliasExpansionLimitExceeded { .. }
        | E::AliasReplayStackDepthExceeded { .. }
        | E::AliasReplayCounterOverflow { .. }
        | E::RecursiveReferencesRequireWeakTypes { .. } => exhausting(span),
        E::UnknownAnchor { .. } => {
            Problem::new(Code::Syntax, span, "a `*name` without an `&name` before it")
                .help("put a text that begins with `*` in quotes, or write the value out")
        }
        E::Eof { .. } => Problem::new(Code::Syntax, span, "the file is empty")
            .help("a rule file starts with `pack:`, `device:` or `bench:`"),
        E::MultipleDocuments { .. } => {
            Problem::new(Code::Syntax, span, "more than one document in the file")
                .help("put each pack in a file of its own, without `---` between")
        }
        _ => {
            let (what, help) = plainly(plain);
            let code = match plain.contains("float") {
                true => Code::Type,
                false => Code::Syntax,
            };
            Problem::new(code, span, what).help(help)
        }
    }
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

/// The words of the YAML library in those of a workshop, with what to do.
fn plainly(words: &str) -> (String, &'static str) {
    let known: &[(&str, &str, &str)] = &[
        (
            "mapping values are not allowed",
            "a colon where no key can stand",
            "put a text with `: ` in it in quotes; if it is a key, see whether the line above \
             lacks the space after its colon",
        ),
        (
            "',' or '}'",
            "a `{` that is not closed before this place, or a comma is missing",
            "close it with `}`, and put a comma between entries",
        ),
        (
            "',' or ']'",
            "a `[` that is not closed before this place, or a comma is missing",
            "close it with `]`, and put a comma between entries",
        ),
        (
            "did not find expected key",
            "this does not belong to the block above it",
            "line the keys of one block up with each other; put a text that begins with `{`, `[`, \
             `*`, `&` or a quote in quotes as a whole",
        ),
        (
            "'-' indicator",
            "this does not belong to the list above it",
            "line the hyphens of one list up with each other",
        ),
        (
            "unclosed quote",
            "a quote that is never closed",
            "close it; inside single quotes a quote is written twice, as in 'it''s'",
        ),
        (
            "non-finite",
            "not a number that can be reckoned with",
            "write an ordinary number such as 3 or 0.5",
        ),
        (
            "floating point",
            "not a number",
            "write an ordinary number such as 3 or 0.5, without `!!float`",
        ),
        (
            "unexpected character",
            "a sign that cannot stand in a rule file",
            "delete it; where none is seen, type the line anew",
        ),
    ];
    known
        .iter()
        .find(|(part, ..)| words.contains(part))
        .map_or_else(
            || {
                (
                    format!("not well-formed YAML: {words}"),
                    "often the cause is an indentation that does not line up, a missing space \
                     after a colon, or a text with `: ` or `#` in it that wants quotes",
                )
            },
            |(_, what, help)| ((*what).to_owned(), *help),
        )
}

fn strip_position(s: &str) -> &str {
    // The library's texts begin "line L column C: "; the place is shown anyway.
    let t = s.strip_prefix("error: ").unwrap_or(s);
    if t.starts_with("line ")
        && let Some((head, tail)) = t.split_once(": ")
        && head.len() < 40
    {
        return tail;
    }
    t
}

/// Byte offsets of lines, for locations that carry only line and column.
struct Lines<'a> {
    text: &'a str,
    starts: Vec<usize>,
}

impl<'a> Lines<'a> {
    fn new(text: &'a str) -> Self {
        let starts = std::iter::once(0)
            .chain(text.match_indices('\n').map(|(i, _)| i + 1))
            .collect();
        Lines { text, starts }
    }

    /// One past the character at a place, or the place itself at the end of
    /// its line.
    fn after(&self, start: usize) -> usize {
        self.text[start..]
            .chars()
            .next()
            .filter(|c| !matches!(c, '\n' | '\r'))
            .map_or(start, |c| start + c.len_utf8())
    }

    /// The nearest place at or before that is not inside a character.
    fn boundary(&self, mut at: usize) -> usize {
        at = at.min(self.text.len());
        while !self.text.is_char_boundary(at) {
            at -= 1;
        }
        at
    }

    fn span(&self, file: u32, l: &serde_yaml::Location) -> Span {
        let span = l.span();
        if let (Some(start), Some(len)) = (span.byte_offset(), span.byte_len()) {
            let start = self.boundary(start as usize);
            let stop = self.boundary(start + len as usize);
            // A block value spans to the next token; show its first line only.
            let stop = self.text[start..stop]
                .find('\n')
                .map_or(stop, |n| start + n);
            let stop = start + self.text[start..stop].trim_end().len();
            return Span {
                file,
                start: start as u32,
                end: stop.max(self.after(start)) as u32,
            };
        }
        let line = (l.line() as usize)
            .saturating_sub(1)
            .min(self.starts.len() - 1);
        let from = self.starts[line];
        let column = (l.column() as usize).saturating_sub(1);
        let rest = &self.text[from..];
        let rest = &rest[..rest.find('\n').unwrap_or(rest.len())];
        let start = from
            + rest
                .char_indices()
                .nth(column)
                .map_or(rest.len(), |(i, _)| i);
        Span {
            file,
            start: start as u32,
            end: self.after(start) as u32,
        }
    }
}

enum Raw {
    Null,
    Bool(bool),
    Number(f64),
    Text(String),
    List(Vec<Spanned<Raw>>),
    Map(Vec<(Spanned<String>, Spanned<Raw>)>),
}

impl Raw {
    fn place(self, file: u32, lines: &Lines, at: &serde_yaml::Location) -> At<Node> {
        let span = if at.line() == 0 {
            Span::default()
        } else {
            lines.span(file, at)
        };
        let value = match self {
            Raw::Null => Node::Null,
            Raw::Bool(b) => Node::Bool(b),
            Raw::Number(n) => Node::Number(n),
            Raw::Text(t) => Node::Text(t),
            Raw::List(l) => Node::List(
                l.into_iter()
                    .map(|s| s.value.place(file, lines, &s.referenced))
                    .collect(),
            ),
            Raw::Map(m) => Node::Map(
                m.into_iter()
                    .map(|(k, v)| {
                        (
                            At {
                                value: k.value,
                                span: lines.span(file, &k.referenced),
                            },
                            v.value.place(file, lines, &v.referenced),
                        )
                    })
                    .collect(),
            ),
        };
        At { value, span }
    }
}

impl<'de> Deserialize<'de> for Raw {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        struct V;
        impl<'de> Visitor<'de> for V {
            type Value = Raw;
            fn expecting(&self, f: &mut std::fmt::Formatter) -> std::fmt::Result {
                f.write_str("a value")
            }
            fn visit_unit<E>(self) -> Result<Raw, E> {
                Ok(Raw::Null)
            }
            fn visit_none<E>(self) -> Result<Raw, E> {
                Ok(Raw::Null)
            }
            fn visit_bool<E>(self, v: bool) -> Result<Raw, E> {
                Ok(Raw::Bool(v))
            }
            fn visit_i64<E>(self, v: i64) -> Result<Raw, E> {
                Ok(Raw::Number(v as f64))
            }
            fn visit_u64<E>(self, v: u64) -> Result<Raw, E> {
                Ok(Raw::Number(v as f64))
            }
            fn visit_f64<E>(self, v: f64) -> Result<Raw, E> {
                Ok(Raw::Number(v))
            }
            fn visit_str<E>(self, v: &str) -> Result<Raw, E> {
                Ok(Raw::Text(v.to_owned()))
            }
            fn visit_string<E>(self, v: String) -> Result<Raw, E> {
                Ok(Raw::Text(v))
            }
            fn visit_seq<A: SeqAccess<'de>>(self, mut a: A) -> Result<Raw, A::Error> {
                let mut list = Vec::new();
                while let Some(v) = a.next_element()? {
                    list.push(v);
                }
                Ok(Raw::List(list))
            }
            fn visit_map<A: MapAccess<'de>>(self, mut a: A) -> Result<Raw, A::Error> {
                let mut map = Vec::new();
                while let Some(kv) = a.next_entry()? {
                    map.push(kv);
                }
                Ok(Raw::Map(map))
            }
        }
        d.deserialize_any(V)
    }
}
