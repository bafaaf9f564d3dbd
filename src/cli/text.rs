//! Text as a terminal takes it: without what it would act on, and wrapped.

use std::borrow::Cow;

use crate::report::turns_direction;

/// JSON or YAML with escapes for what a terminal would act on; a program
/// reads the same.
pub(super) fn escaped(text: &str) -> Cow<'_, str> {
    if !text.contains(unsafe_to_show) {
        return text.into();
    }
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        if unsafe_to_show(c) {
            out += &format!("\\u{:04x}", c as u32);
        } else {
            out.push(c);
        }
    }
    out.into()
}

/// Characters that a terminal would act on instead of showing them: controls,
/// and those that turn the direction of all that follows.
fn unsafe_to_show(c: char) -> bool {
    c.is_control() && c != '\n' || turns_direction(c)
}

/// Text without characters that a terminal would act on.
pub(super) fn clean(text: &str) -> String {
    text.replace('\t', " ").replace(unsafe_to_show, "")
}

/// Wraps one paragraph. Names are not broken at their hyphens, nor a number
/// from its per cent sign.
pub(super) fn fill(text: &str, width: usize, first: &str, rest: &str) -> String {
    textwrap::fill(
        &clean(text).replace(" %", "\u{a0}%"),
        textwrap::Options::new(width)
            .initial_indent(first)
            .subsequent_indent(rest)
            .word_separator(textwrap::WordSeparator::AsciiSpace)
            .word_splitter(textwrap::WordSplitter::NoHyphenation),
    )
    .replace('\u{a0}', " ")
}
