//! What can be wrong with a rule file, and how it is shown.

use annotate_snippets::{AnnotationKind, Level, Patch, Renderer, Snippet};

use super::source::{SourceFile, Span};

macro_rules! codes {
    ($($(#[doc = $doc:literal])* $variant:ident => $name:literal,)*) => {
        /// The kind of a problem; its name is shown in brackets and is stable.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
        pub enum Code { $($(#[doc = $doc])* $variant,)* }
        impl Code {
            /// Every code, in the order of this list.
            pub const ALL: &[Code] = &[$(Code::$variant,)*];
            /// The name in brackets.
            pub fn name(self) -> &'static str {
                match self { $(Code::$variant => $name,)* }
            }
            /// What the code means, in a sentence.
            pub fn meaning(self) -> &'static str {
                match self { $(Code::$variant => concat!($($doc),*).trim_ascii(),)* }
            }
        }
    };
}

codes! {
    /// The file cannot be read, is too large or is not text.
    File => "file",
    /// The text is not well-formed YAML.
    Syntax => "syntax",
    /// The file is built to exhaust the reader: too deep, too many aliases, too many values.
    Budget => "budget",
    /// A value is of the wrong kind.
    Type => "wrong-type",
    /// A key that no rule file has at this place.
    UnknownKey => "unknown-key",
    /// A key that must be there is not.
    MissingKey => "missing-key",
    /// The same name is given twice.
    Duplicate => "duplicate",
    /// A name that is not made of lower-case letters, digits and hyphens.
    BadName => "bad-name",
    /// A name that nothing has.
    UnknownName => "unknown-name",
    /// A number outside the range that it can have.
    Range => "out-of-range",
    /// A value in another unit than is asked for.
    Unit => "wrong-unit",
    /// A node of a line at which a single part ends.
    LooseEnd => "loose-end",
    /// Functions that need each other in a circle.
    Cycle => "cycle",
    /// An item that no function, symptom or test looks at.
    Unneeded => "item-unneeded",
    /// A fault that no test can see.
    Unseen => "fault-unseen",
    /// A fault that no remedy clears.
    Unmended => "fault-unmended",
    /// A function that is complained of and that no test proves to work again.
    Unproved => "function-unproved",
    /// A test that cannot come out in more than one way.
    NoOutcome => "no-outcome",
    /// A pattern that is not a regular expression.
    Pattern => "bad-pattern",
    /// A number without a source.
    NoSource => "no-source",
    /// A meter mode demands a bench condition that the test does not have.
    NoCondition => "no-condition",
    /// Bench conditions that cannot hold together.
    Conflict => "conditions-clash",
    /// Rates that do not add up with the stated shares.
    Shares => "shares",
    /// Keys that do not go together.
    Mixed => "mixed-keys",
}

/// One thing wrong with a rule file.
#[derive(Clone, Debug)]
pub struct Problem {
    /// Its kind.
    pub code: Code,
    /// Where; `None` for a file that could not be read at all.
    pub span: Option<Span>,
    /// What is wrong.
    pub message: String,
    /// Words at the place itself.
    pub label: String,
    /// A second place that matters, with words.
    pub also: Option<(Span, String)>,
    /// A text that was probably meant in place of the span.
    pub meant: Option<String>,
    /// What to do.
    pub help: Option<String>,
}

impl Problem {
    /// A problem at a place.
    pub fn new(code: Code, span: Span, message: impl Into<String>) -> Self {
        Problem {
            code,
            span: Some(span),
            message: message.into(),
            label: String::new(),
            also: None,
            meant: None,
            help: None,
        }
    }

    /// A problem with a whole file.
    pub fn of_file(code: Code, message: impl Into<String>) -> Self {
        Problem {
            span: None,
            ..Problem::new(code, Span::default(), message)
        }
    }

    /// Adds words at the place itself.
    #[must_use]
    pub fn label(mut self, words: impl Into<String>) -> Self {
        self.label = words.into();
        self
    }

    /// Adds a second place.
    #[must_use]
    pub fn also(mut self, span: Span, words: impl Into<String>) -> Self {
        self.also = Some((span, words.into()));
        self
    }

    /// Adds what to do.
    #[must_use]
    pub fn help(mut self, words: impl Into<String>) -> Self {
        self.help = Some(words.into());
        self
    }

    /// Adds the nearest of `names` as what was probably meant.
    #[must_use]
    pub fn near<'a>(mut self, typed: &str, names: impl IntoIterator<Item = &'a str>) -> Self {
        self.meant = nearest(typed, names).map(str::to_owned);
        self
    }

    /// The line and column (from 1, in characters) of the place.
    pub fn line_column(&self, files: &[SourceFile]) -> Option<(usize, usize)> {
        let span = self.span?;
        let text = &files.get(span.file as usize)?.text;
        let before = text.get(..(span.start as usize).min(text.len()))?;
        let line = before.matches('\n').count() + 1;
        let column = before.rsplit('\n').next().unwrap_or("").chars().count() + 1;
        Some((line, column))
    }

    /// The problem as it is shown: `file:line:column`, the line itself and
    /// what to do. Colour is added for terminals.
    pub fn render(&self, files: &[SourceFile], colour: bool) -> String {
        let renderer = if colour {
            Renderer::styled()
        } else {
            Renderer::plain()
        };
        let title = Level::ERROR
            .primary_title(self.message.as_str())
            .id(self.code.name());
        let Some(span) = self.span else {
            let mut groups = vec![title.elements(Vec::<
                annotate_snippets::Snippet<annotate_snippets::Annotation>,
            >::new())];
            if let Some(help) = &self.help {
                groups.push(annotate_snippets::Group::with_title(
                    Level::HELP.secondary_title(help.as_str()),
                ));
            }
            return renderer.render(&groups);
        };
        let file = &files[span.file as usize];
        let range = |s: Span| {
            let end = (s.end as usize).min(file.text.len());
            let start = (s.start as usize).min(end);
            start..end.max(start)
        };
        let mut snippet = Snippet::source(file.text.as_str())
            .path(file.name.as_str())
            .annotation(
                AnnotationKind::Primary
                    .span(range(span))
                    .label(self.label.as_str()),
            );
        if let Some((other, words)) = &self.also
            && other.file == span.file
        {
            snippet = snippet.annotation(
                AnnotationKind::Context
                    .span(range(*other))
                    .label(words.as_str()),
            );
        }
        let mut group = title.element(snippet);
        if let Some((other, words)) = &self.also
            && other.file != span.file
        {
            let at = Problem::new(self.code, *other, "").line_column(files);
            let name = &files[other.file as usize].name;
            let (l, c) = at.unwrap_or((1, 1));
            group = group.element(Level::NOTE.message(format!("{words}: {name}:{l}:{c}")));
        }
        let mut groups = vec![group];
        if let Some(meant) = &self.meant {
            groups.push(
                Level::HELP
                    .secondary_title(format!("did you mean `{meant}`?"))
                    .element(
                        Snippet::source(file.text.as_str())
                            .path(file.name.as_str())
                            .patch(Patch::new(range(span), meant.as_str())),
                    ),
            );
        }
        if let Some(help) = &self.help {
            groups.push(annotate_snippets::Group::with_title(
                Level::HELP.secondary_title(help.as_str()),
            ));
        }
        renderer.render(&groups)
    }
}

/// The name nearest to what was typed, if any is near enough to have been meant.
pub fn nearest<'a>(typed: &str, names: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let limit = (typed.chars().count() / 3).max(1);
    names
        .into_iter()
        .map(|n| (strsim::damerau_levenshtein(typed, n), n))
        .filter(|(d, _)| *d <= limit)
        .min()
        .map(|(_, n)| n)
}
