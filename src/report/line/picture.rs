//! A line as SVG. This computes where everything goes; `templates/line.svg`
//! writes it down and escapes it. Tones are greys, and probabilities are
//! lengths and numbers, so that a black-and-white print can be read.

use std::fmt::Write as _;

use super::{Row, What, causes, likeliest, rows, says};
use crate::job::line::{LineView, PartSort, PartView};
use crate::job::words::percent_within;
use crate::report::words;

/// Width of the picture, and of a row of its text, in pixels.
const WIDTH: f64 = 480.0;
const FONT: f64 = 12.0;
const ROW: f64 = 21.0;
/// Height of a further row of the same text.
const MORE: f64 = 15.0;
/// Right end of the probabilities, and ends of their bars.
const ODDS: f64 = 46.0;
const BAR: (f64, f64) = (52.0, 78.0);
/// The first wire, and how far further right each branch goes.
const WIRE: f64 = 98.0;
const STUB: f64 = 34.0;
/// From a wire to the text beside it.
const BESIDE: f64 = 15.0;
/// Mean width of a character in a wide font.
const LETTER: f64 = FONT * 0.58;

/// A picture, laid out. Coordinates are text with one decimal.
pub(in crate::report) struct Picture {
    /// Beginning of its identifiers.
    pub(in crate::report) name: String,
    pub(in crate::report) width: String,
    pub(in crate::report) height: String,
    pub(in crate::report) font: String,
    pub(in crate::report) title: String,
    /// The picture in words.
    pub(in crate::report) says: String,
    /// Lines of the head, with their height.
    pub(in crate::report) head: Vec<Text>,
    /// All wires as one path.
    pub(in crate::report) wires: String,
    pub(in crate::report) odds: Vec<Odds>,
    pub(in crate::report) signs: Vec<Sign>,
    pub(in crate::report) texts: Vec<Text>,
    /// Lines below.
    pub(in crate::report) foot: Vec<Text>,
}

/// A probability with its bar.
pub(in crate::report) struct Odds {
    pub(in crate::report) x: String,
    pub(in crate::report) y: String,
    pub(in crate::report) percent: String,
    /// Outline and filled part of the bar.
    pub(in crate::report) bar: String,
    pub(in crate::report) filled: String,
    pub(in crate::report) bold: bool,
}

/// A sign on a wire.
pub(in crate::report) struct Sign {
    pub(in crate::report) path: String,
    pub(in crate::report) filled: bool,
    pub(in crate::report) bold: bool,
}

/// A row of text.
pub(in crate::report) struct Text {
    pub(in crate::report) x: String,
    pub(in crate::report) y: String,
    pub(in crate::report) text: String,
    pub(in crate::report) bold: bool,
}

impl Picture {
    /// Lays a line out. `name` tells it from others on the same page.
    pub(in crate::report) fn new(view: &LineView, name: &str) -> Picture {
        let all = rows(view);
        let highest = likeliest(&all);
        let title = words::line(&view.name);
        let mut p = Picture {
            name: name.to_owned(),
            width: px(WIDTH),
            height: String::new(),
            font: px(FONT),
            says: String::new(),
            head: Vec::new(),
            wires: String::new(),
            odds: Vec::new(),
            signs: Vec::new(),
            texts: Vec::new(),
            foot: Vec::new(),
            title,
        };
        let mut y = FONT + 2.0;
        let mut head = Vec::new();
        for (text, bold) in [(p.title.clone(), true), (words::line(&says(view)), false)] {
            y = paragraph(&mut head, &text, 2.0, y, bold) + 2.0;
        }
        p.head = head;
        y += 6.0;
        let mut said: Vec<String> = Vec::new();
        for row in &all {
            let text = words::line(&row.what.words(view.left_out));
            if !text.is_empty() {
                let odds = row
                    .what
                    .posterior()
                    .map(|p| percent_within(p, view.left_out));
                said.push(odds.map_or(text.clone(), |o| format!("{text} {o}")));
            }
            y = p.row(row, &text, (highest, view.left_out), y);
        }
        y += 10.0;
        let mut foot = Vec::new();
        let named = causes(view);
        if !named.is_empty() {
            y = paragraph(&mut foot, "Likeliest here:", 2.0, y + ROW * 0.6, true);
        }
        for (odds, text) in named {
            let text = words::line(&text);
            foot.push(Text::new(2.0, y, &odds, false));
            y = paragraph(&mut foot, &text, ODDS, y, false);
        }
        p.foot = foot;
        p.says = format!("{}: {}.", words::line(&says(view)), said.join("; "));
        p.height = px(y + 2.0);
        p
    }

    /// Puts a row down at a height and says where the next one begins.
    fn row(
        &mut self,
        row: &Row,
        text: &str,
        (highest, left_out): (Option<f64>, f64),
        top: f64,
    ) -> f64 {
        let depth = row.left.len();
        let x = WIRE + depth as f64 * STUB;
        let middle = top + ROW / 2.0;
        let odds = row.what.posterior();
        let bold = odds.is_some() && odds == highest;
        if let What::Wire(_) = row.what {
            return paragraph(&mut self.texts, text, WIRE - 20.0, middle + FONT, true) + 2.0;
        }
        let at = match row.what {
            What::Branch(_) | What::Bridge(_) => x + STUB + BESIDE - 4.0,
            What::Reading(_) | What::Next(_) => x + BESIDE + 8.0,
            _ => x + BESIDE,
        };
        let bold_text = bold || matches!(row.what, What::Next(_));
        let end = paragraph(&mut self.texts, text, at, middle + FONT * 0.35, bold_text);
        let rows = ((end - middle - FONT * 0.35) / MORE).round();
        let bottom = top + ROW + (rows - 1.0).max(0.0) * MORE;
        let run = |from: f64, to: f64, x: f64| format!("M{} {}V{}", px(x), px(from), px(to));
        for (n, goes) in row.left.iter().enumerate() {
            if *goes {
                self.wires += &run(top, bottom, WIRE + n as f64 * STUB);
            }
        }
        if row.above && !row.what.is_remark() {
            self.wires += &run(top, middle, x);
        }
        if row.below {
            let from = if row.what.is_remark() { top } else { middle };
            self.wires += &run(from, bottom, x);
        }
        let sign = |path: String, filled: bool| Sign { path, filled, bold };
        match row.what {
            What::Part(p) => self.signs.push(sign(upright(p, x, middle), false)),
            What::Branch(b) => {
                let ends = b.end.is_none() && b.part.kind.ends();
                let to = x + if ends { STUB / 2.0 } else { STUB };
                let _ = write!(self.wires, "M{} {}H{}", px(x), px(middle), px(to));
                self.signs
                    .push(sign(lying(&b.part, x + STUB / 2.0, middle), false));
                if b.end.is_some() {
                    self.wires += &run(middle, bottom, x + STUB);
                } else if b.to == "ground" && !ends {
                    self.signs.push(sign(ground(x + STUB, middle), false));
                }
            }
            What::Bridge(_) => {
                let path = format!("M{} {}h{}", px(x), px(middle), px(STUB - 3.0));
                self.signs
                    .push(sign(format!("{path}l-6 -4m6 4l-6 4"), false));
            }
            What::Point(p) => {
                self.signs
                    .push(sign(disc(x, middle, 5.0), !p.readings.is_empty()));
            }
            What::Next(_) => {
                let path = format!("M{} {}l9 -5v10Z", px(x + 7.0), px(middle));
                self.signs.push(sign(path, true));
            }
            What::Reading(_) | What::Wire(_) => {}
        }
        if let Some(p) = odds {
            self.odds.push(Odds::new(p, left_out, middle, bold));
        }
        bottom
    }
}

impl Odds {
    fn new(p: f64, left_out: f64, middle: f64, bold: bool) -> Odds {
        let (left, right) = BAR;
        let top = middle - 4.0;
        let bar = |width: f64| format!("M{} {}h{}v8h-{}Z", px(left), px(top), px(width), px(width));
        Odds {
            x: px(ODDS),
            y: px(middle + FONT * 0.35),
            percent: percent_within(p, left_out).replace(' ', "\u{a0}"),
            bar: bar(right - left),
            filled: bar((right - left) * p.clamp(0.0, 1.0)),
            bold,
        }
    }
}

impl Text {
    fn new(x: f64, y: f64, text: &str, bold: bool) -> Text {
        Text {
            x: px(x),
            y: px(y),
            text: text.to_owned(),
            bold,
        }
    }
}

/// Puts a text down from a baseline on, in as many rows as it takes, and says
/// where the next baseline would be.
fn paragraph(out: &mut Vec<Text>, text: &str, x: f64, y: f64, bold: bool) -> f64 {
    let letter = if bold { LETTER * 1.08 } else { LETTER };
    let columns = ((WIDTH - x) / letter).floor().max(8.0) as usize;
    let rows = textwrap::wrap(text, columns);
    for (i, r) in rows.iter().enumerate() {
        out.push(Text::new(x, y + i as f64 * MORE, r, bold));
    }
    y + rows.len() as f64 * MORE
}

/// The sign of a part on a wire that runs down.
fn upright(p: &PartView, x: f64, y: f64) -> String {
    let at = format!("M{} {}", px(x), px(y));
    match p.kind {
        PartSort::Junction => format!("{at}m-5 -5h10l-5 9ZM{} {}h10", px(x - 5.0), px(y + 4.5)),
        PartSort::Capacitor => format!("{at}m-7 -2.5h14v5h-14Z"),
        PartSort::Switch => format!("{at}m-5 -7h10v14h-10Zm0 14l10 -14"),
        PartSort::Shifter => format!("{at}m-7 -7h14v14h-14Zm3 7h8m-3 -3l3 3l-3 3"),
        _ => format!("{at}m-4 -7h8v14h-8Z"),
    }
}

/// The sign of a part on a wire that runs to the right.
fn lying(p: &PartView, x: f64, y: f64) -> String {
    let at = format!("M{} {}", px(x), px(y));
    match p.kind {
        // Drawn as what protects: from ground up to the wire.
        PartSort::Junction => format!("{at}m5 -5v10l-9 -5ZM{} {}v10", px(x - 4.5), px(y - 5.0)),
        PartSort::Capacitor => format!("{at}m-2.5 -7h5v14h-5Z"),
        PartSort::Switch => format!("{at}m-7 -5h14v10h-14Zm0 10l14 -10"),
        PartSort::Supply => format!("{}M{} {}h6m-3 -3v6", disc(x, y, 6.5), px(x - 3.0), px(y)),
        PartSort::Pin => format!("{at}m-6 -6h12v12h-12Zm-3 3h3m-3 6h3"),
        _ => format!("{at}m-7 -4h14v8h-14Z"),
    }
}

fn ground(x: f64, y: f64) -> String {
    format!(
        "M{} {}v10M{} {}v6M{} {}v2",
        px(x),
        px(y - 5.0),
        px(x + 2.5),
        px(y - 3.0),
        px(x + 5.0),
        px(y - 1.0)
    )
}

fn disc(x: f64, y: f64, r: f64) -> String {
    let (left, across) = (px(x - r), px(2.0 * r));
    let r = px(r);
    format!(
        "M{left} {}a{r} {r} 0 1 0 {across} 0a{r} {r} 0 1 0 -{across} 0Z",
        px(y)
    )
}

fn px(v: f64) -> String {
    let s = format!("{v:.1}");
    s.strip_suffix(".0").map(str::to_owned).unwrap_or(s)
}
