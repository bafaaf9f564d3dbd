//! The SI prefixes, as they are typed and as they are shown.

/// A prefix of a unit.
#[derive(Debug, PartialEq)]
pub(super) struct Prefix {
    /// Power of ten that it multiplies by.
    pub(super) power: i32,
    /// The same as a number.
    pub(super) size: f64,
    /// As it is shown before a unit.
    pub(super) symbol: &'static str,
    /// As it is shown before `ohm`.
    pub(super) before_ohm: &'static str,
    /// The letters that it is typed as: capitals count.
    pub(super) letters: &'static [char],
    /// The words that it is typed as, in small letters, the longest first.
    pub(super) words: &'static [&'static str],
}

const fn prefix(
    (power, size): (i32, f64),
    symbol: &'static str,
    before_ohm: &'static str,
    letters: &'static [char],
    words: &'static [&'static str],
) -> Prefix {
    Prefix {
        power,
        size,
        symbol,
        before_ohm,
        letters,
        words,
    }
}

/// All prefixes and none, the largest first. The `o` of `ohm` swallows the one
/// before it, as in `kilohm`.
pub(super) const PREFIXES: [Prefix; 8] = [
    prefix((9, 1e9), "G", "gig", &['G'], &["giga", "gig"]),
    prefix((6, 1e6), "M", "meg", &['M'], &["mega", "meg"]),
    prefix((3, 1e3), "k", "kil", &['k', 'K'], &["kilo", "kil"]),
    prefix((0, 1.0), "", "", &[], &[]),
    prefix((-3, 1e-3), "m", "milli", &['m'], &["milli"]),
    prefix(
        (-6, 1e-6),
        "\u{b5}",
        "micr",
        // The micro sign and the Greek letter look alike.
        &['u', '\u{b5}', '\u{3bc}'],
        &["micro", "micr"],
    ),
    prefix((-9, 1e-9), "n", "n", &['n'], &["nano"]),
    prefix((-12, 1e-12), "p", "p", &['p'], &["pico"]),
];

/// The prefix that a letter stands for.
pub(super) fn of_letter(letter: char) -> Option<&'static Prefix> {
    PREFIXES.iter().find(|p| p.letters.contains(&letter))
}
