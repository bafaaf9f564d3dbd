//! What people type around a value, or in place of one: `~2k`, `>20M`, `<1`,
//! `0.45 reversed`, `beeps`, `no beep`, `nothing`.
//!
//! Only the words are taken apart here; what they mean in a mode of the meter
//! is for [`super::reading`].

use std::sync::LazyLock;

use regex::Regex;

/// How a value was said.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Manner {
    /// As it stands.
    Plain,
    /// About so much.
    About,
    /// More than that.
    Above,
    /// Less than that.
    Below,
    /// Read with the leads swapped.
    Reversed,
    /// The meter beeps.
    Beep,
    /// It does not.
    NoBeep,
    /// Nothing was shown, or nothing is there.
    Nothing,
}

static ABOUT: LazyLock<Regex> = LazyLock::new(|| {
    words(
        r"^(?:[~\u{2248}]|(?:about|around|approx\.?|approximately|circa|ca\.?|roughly)\s)\s*(.+)$",
    )
});
static ABOVE: LazyLock<Regex> =
    LazyLock::new(|| words(r"^(?:>=?|\u{2265}|(?:over|above|more than)\s)\s*(.+)$"));
static BELOW: LazyLock<Regex> =
    LazyLock::new(|| words(r"^(?:<=?|\u{2264}|(?:under|below|less than)\s)\s*(.+)$"));
static REVERSED: LazyLock<Regex> = LazyLock::new(|| {
    words(
        r"^(.+?)[\s,;(]+(?:(?:leads?|probes?)\s)?(?:reversed?|swapped|(?:the )?other way(?: a?round)?)\)?$",
    )
});

fn words(pattern: &str) -> Regex {
    Regex::new(&format!("(?i){pattern}")).expect("the pattern is well-formed")
}

/// How a value was said, and the value; empty where there is none.
pub(super) fn manner(text: &str) -> (Manner, &str) {
    let text = text.trim();
    match text.to_lowercase().as_str() {
        "beep" | "beeps" | "it beeps" | "buzzes" => return (Manner::Beep, ""),
        "no beep" | "no beeps" | "does not beep" | "doesn't beep" | "silent" => {
            return (Manner::NoBeep, "");
        }
        "nothing" | "none at all" | "no reading" => return (Manner::Nothing, ""),
        // Over the limit of the meter, as it stands.
        "over limit" => return (Manner::Plain, text),
        _ => {}
    }
    let forms: [(&Regex, Manner); 4] = [
        (&REVERSED, Manner::Reversed),
        (&ABOUT, Manner::About),
        (&ABOVE, Manner::Above),
        (&BELOW, Manner::Below),
    ];
    let found = forms.iter().find_map(|(form, manner)| {
        let value = form.captures(text)?.get(1)?;
        Some((*manner, value.as_str().trim()))
    });
    found.unwrap_or((Manner::Plain, text))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_stands_around_a_value_is_told_from_it() {
        for (text, said, value) in [
            ("0.45", Manner::Plain, "0.45"),
            ("over limit", Manner::Plain, "over limit"),
            ("0.45 reversed", Manner::Reversed, "0.45"),
            ("0.45 V, leads swapped", Manner::Reversed, "0.45 V"),
            ("OL (reverse)", Manner::Reversed, "OL"),
            ("0.45 the other way round", Manner::Reversed, "0.45"),
            ("~2k", Manner::About, "2k"),
            ("about 2.2 kohm", Manner::About, "2.2 kohm"),
            (">20M", Manner::Above, "20M"),
            ("over 20 Mohm", Manner::Above, "20 Mohm"),
            ("< 1", Manner::Below, "1"),
            ("less than 1 ohm", Manner::Below, "1 ohm"),
            ("Beeps", Manner::Beep, ""),
            ("no beep", Manner::NoBeep, ""),
            ("nothing", Manner::Nothing, ""),
        ] {
            assert_eq!(manner(text), (said, value), "{text}");
        }
    }
}
