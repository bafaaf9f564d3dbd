//! The course of the belief: a line for each suspect that ever mattered, from
//! intake through the steps. This computes where everything goes;
//! `templates/course.svg` writes it down and escapes it.
//!
//! Lines differ in dashes and marks, not only in tone, so that a
//! black-and-white print can be read. Names stand at the right end of their
//! lines, moved apart where they would touch. Where the probability of a
//! suspect was not kept, its line has a gap.

use std::fmt::Write as _;

use super::words;
use crate::belief::likelier;
use crate::job::trail::{LISTED, Moment, Trail, TrailKind};
use crate::job::words::{UNSURE, percent_within};

/// A suspect that never rose above this is not drawn.
const DRAWN_FROM: f64 = 0.08;
/// At most this many suspects are drawn.
const DRAWN: usize = 6;
/// Least distance between labels.
const APART: f64 = 4.0;

/// How much room there is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Room {
    /// A4, or a screen of that width.
    Page,
    /// A phone held upright.
    Phone,
}

/// Measures of a picture, in pixels.
struct Measures {
    width: f64,
    left: f64,
    /// Right end of the plot.
    right: f64,
    top: f64,
    /// Height of the plot.
    height: f64,
    /// Left end of the labels.
    labels: f64,
    /// Characters in a row of a label.
    columns: usize,
    /// Rows in a label.
    rows: usize,
    font: f64,
}

impl Room {
    fn measures(self) -> Measures {
        match self {
            Room::Page => Measures {
                width: 720.0,
                left: 52.0,
                right: 388.0,
                top: 38.0,
                height: 196.0,
                labels: 414.0,
                columns: 46,
                rows: 2,
                font: 11.0,
            },
            Room::Phone => Measures {
                width: 360.0,
                left: 48.0,
                right: 176.0,
                top: 38.0,
                height: 416.0,
                labels: 200.0,
                columns: 21,
                rows: 4,
                font: 11.0,
            },
        }
    }
}

/// A picture, laid out. Coordinates are text with one decimal.
pub(super) struct Course {
    /// Class, and beginning of its identifiers.
    pub(super) name: &'static str,
    pub(super) width: String,
    pub(super) height: String,
    pub(super) font: String,
    pub(super) left: String,
    pub(super) right: String,
    pub(super) top: String,
    pub(super) bottom: String,
    /// Height of the tick labels, and of the line below them.
    pub(super) ticks_y: String,
    pub(super) caption_y: String,
    pub(super) grid: Vec<(String, String, &'static str)>,
    pub(super) ticks: Vec<(String, String)>,
    /// Vertical lines where a remedy was done.
    pub(super) remedies: Vec<Remedy>,
    /// The mark of a remedy in the caption.
    pub(super) key: String,
    pub(super) key_x: String,
    /// Where the caption tells of gaps, if there are any.
    pub(super) gap_x: Option<String>,
    pub(super) lines: Vec<Line>,
    /// The picture in words.
    pub(super) says: String,
}

/// A vertical line.
pub(super) struct Remedy {
    pub(super) x: String,
    pub(super) mark: String,
    pub(super) says: String,
}

/// A suspect's line.
pub(super) struct Line {
    pub(super) path: String,
    pub(super) marks: Vec<String>,
    pub(super) style: &'static Style,
    pub(super) label: Label,
}

/// The name at the right end of a line.
pub(super) struct Label {
    /// From the end of the line to the label.
    pub(super) lead: String,
    pub(super) mark: String,
    pub(super) x: String,
    pub(super) percent: String,
    /// Baseline and text of each row; the first follows the percentage.
    pub(super) rows: Vec<(String, String)>,
    /// The name in full.
    pub(super) name: String,
}

/// How a line looks.
pub(super) struct Style {
    pub(super) tone: &'static str,
    pub(super) fill: &'static str,
    pub(super) dash: &'static str,
    pub(super) weight: &'static str,
    mark: Mark,
}

#[derive(Clone, Copy)]
enum Mark {
    Disc,
    Square,
    Triangle,
    Diamond,
}

const PAPER: &str = "#ffffff";

/// For the suspects in order, the first being the one that rose highest.
const STYLES: [Style; DRAWN] = [
    style("#155e75", "#155e75", "none", "2.6", Mark::Disc),
    style("#1f2933", "#1f2933", "7 4", "1.8", Mark::Square),
    style("#52606d", PAPER, "2 3", "2", Mark::Triangle),
    style("#1f2933", PAPER, "11 3 2 3", "1.6", Mark::Disc),
    style("#52606d", PAPER, "4 2", "1.4", Mark::Square),
    style("#52606d", "#52606d", "1 4", "2", Mark::Triangle),
];

/// For "nothing wrong".
const NOTHING: Style = style("#7b8794", PAPER, "none", "1.3", Mark::Diamond);

const fn style(
    tone: &'static str,
    fill: &'static str,
    dash: &'static str,
    weight: &'static str,
    mark: Mark,
) -> Style {
    Style {
        tone,
        fill,
        dash,
        weight,
        mark,
    }
}

impl Mark {
    /// Its outline around a point.
    fn at(self, x: f64, y: f64) -> String {
        match self {
            Mark::Disc => format!(
                "M{} {}a3.2 3.2 0 1 0 6.4 0a3.2 3.2 0 1 0 -6.4 0Z",
                px(x - 3.2),
                px(y)
            ),
            Mark::Square => format!("M{} {}h5.6v5.6h-5.6Z", px(x - 2.8), px(y - 2.8)),
            Mark::Triangle => format!("M{} {}l3.6 6.4h-7.2Z", px(x), px(y - 4.0)),
            Mark::Diamond => format!("M{} {}l3.8 3.8l-3.8 3.8l-3.8 -3.8Z", px(x), px(y - 3.8)),
        }
    }
}

/// A suspect through all moments.
struct Series {
    name: String,
    /// What the belief left out at each moment at most.
    left_out: Vec<f64>,
    /// `None` where nothing is known of the moment.
    points: Vec<Option<Point>>,
    highest: f64,
}

/// What is known of a suspect at a moment.
#[derive(Clone, Copy)]
enum Point {
    /// Its probability.
    At(f64),
    /// It was too unlikely to be kept.
    Small,
    /// It was not among those listed, and is no likelier than this.
    Under(f64),
}

/// Whether there is a course: a step, and something known.
pub(super) fn has_course(t: &Trail) -> bool {
    !t.steps.is_empty() && moments(t).iter().any(|m| known(m))
}

fn moments(t: &Trail) -> Vec<&Moment> {
    std::iter::once(&t.intake)
        .chain(t.steps.iter().map(|s| &s.after))
        .collect()
}

fn known(m: &Moment) -> bool {
    !m.suspects.is_empty() || m.nothing_found > 0.0
}

/// Probabilities come from elsewhere; a picture must not break on a bad one.
fn sane(p: f64) -> f64 {
    if p.is_nan() { 0.0 } else { p.clamp(0.0, 1.0) }
}

/// The suspects to draw, highest first, and "nothing wrong".
fn series(t: &Trail) -> Vec<Series> {
    let moments = moments(t);
    let mut ids: Vec<&str> = Vec::new();
    for s in moments.iter().flat_map(|m| &m.suspects) {
        if !ids.contains(&s.fault.as_str()) {
            ids.push(&s.fault);
        }
    }
    let left_out: Vec<f64> = moments.iter().map(|m| m.left_out).collect();
    let mut all: Vec<Series> = ids
        .iter()
        .map(|id| {
            let of = |m: &Moment| m.suspects.iter().find(|s| s.fault == *id).cloned();
            let points: Vec<Option<Point>> = moments
                .iter()
                .map(|m| {
                    known(m).then(|| match of(m) {
                        Some(s) => Point::At(sane(s.posterior)),
                        None => unlisted(m, id),
                    })
                })
                .collect();
            let name = moments
                .iter()
                .find_map(|m| of(m))
                .map(|s| words::line(&s.name))
                .filter(|n| !n.is_empty())
                .unwrap_or_else(|| words::line(id));
            let highest = points
                .iter()
                .flatten()
                .filter(|p| p.is_known())
                .fold(0.0, |h: f64, p| h.max(p.height()));
            Series {
                name,
                left_out: left_out.clone(),
                points,
                highest,
            }
        })
        .filter(|s| s.highest > DRAWN_FROM)
        .collect();
    all.sort_by(|a, b| likelier(a.highest, b.highest));
    all.truncate(DRAWN);
    all.push(Series {
        name: "nothing wrong".to_owned(),
        left_out: left_out.clone(),
        points: moments
            .iter()
            .map(|m| known(m).then(|| Point::At(sane(m.nothing_found))))
            .collect(),
        highest: 0.0,
    });
    all
}

/// What is known of a suspect that is not among the first of a moment.
fn unlisted(m: &Moment, id: &str) -> Point {
    match &m.others {
        Some(others) => match others.iter().find(|o| o.name == id) {
            Some(o) => Point::At(sane(o.posterior)),
            None => Point::Small,
        },
        // Jobs of old kept the first ones only.
        None if m.suspects.len() < LISTED => Point::Small,
        None => Point::Under(
            m.suspects
                .iter()
                .map(|s| sane(s.posterior))
                .fold(1.0, f64::min),
        ),
    }
}

impl Point {
    fn height(self) -> f64 {
        match self {
            Point::At(p) | Point::Under(p) => p,
            Point::Small => 0.0,
        }
    }
    fn is_known(self) -> bool {
        !matches!(self, Point::Under(_))
    }
    /// No sharper than what the belief leaves out at most.
    fn says(self, left_out: f64) -> String {
        match self {
            Point::At(p) => percent_within(p, left_out),
            Point::Small => percent_within(f64::MIN_POSITIVE, left_out),
            Point::Under(_) if left_out > UNSURE => percent_within(1.0, left_out),
            Point::Under(p) => format!("<{:.0} %", (p * 100.0).ceil().max(1.0)),
        }
        .replace(' ', "\u{a0}")
    }
}

fn px(v: f64) -> String {
    let s = format!("{v:.1}");
    s.strip_suffix(".0").map(str::to_owned).unwrap_or(s)
}

impl Course {
    /// Lays the course of a trail out.
    pub(super) fn new(t: &Trail, room: Room) -> Course {
        let m = room.measures();
        let all = series(t);
        let bottom = m.top + m.height;
        let last = t.steps.len();
        let step = (m.right - m.left) / last.max(1) as f64;
        // With no step there is no course: what was known stands at the right.
        let first = if last == 0 { m.right } else { m.left };
        let x = |n: usize| first + n as f64 * step;
        let y = |p: f64| bottom - p * m.height;

        let row = m.font + 2.0;
        let wanted: Vec<Wanted> = all
            .iter()
            .map(|s| {
                let (at, end) = s
                    .points
                    .iter()
                    .enumerate()
                    .rev()
                    .find_map(|(n, p)| p.map(|p| (n, p)))
                    .unwrap_or((0, Point::Small));
                let said = end.says(s.left_out.get(at).copied().unwrap_or_default());
                let rows = wrap(&format!("{said} {}", s.name), &m);
                Wanted {
                    from: (x(at), y(end.height())),
                    percent: said,
                    height: rows.len() as f64 * row,
                    rows,
                }
            })
            .collect();
        let tops = spread(
            &wanted
                .iter()
                .map(|w| (w.from.1, w.height))
                .collect::<Vec<_>>(),
            m.top - 8.0,
            bottom + 8.0,
        );

        let every = (14.0 / step).ceil().max(1.0) as usize;
        let lines = all
            .iter()
            .zip(wanted)
            .zip(tops)
            .enumerate()
            .map(|(n, ((s, w), top))| {
                let style = if n + 1 == all.len() {
                    &NOTHING
                } else {
                    &STYLES[n]
                };
                let mut path = String::new();
                let mut marks = Vec::new();
                let drawn = |i: usize| -> Option<f64> {
                    s.points.get(i)?.filter(|p| p.is_known()).map(Point::height)
                };
                for i in 0..s.points.len() {
                    let Some(p) = drawn(i) else {
                        continue;
                    };
                    let before = i > 0 && drawn(i - 1).is_some();
                    let word = if before { 'L' } else { 'M' };
                    let _ = write!(path, "{word}{} {}", px(x(i)), px(y(p)));
                    // One that stands alone is seen by its mark only.
                    let alone = !before && drawn(i + 1).is_none();
                    if i % every == 0 || i == last || alone {
                        marks.push(style.mark.at(x(i), y(p)));
                    }
                }
                let middle = top + row / 2.0;
                Line {
                    path,
                    marks,
                    style,
                    label: Label {
                        lead: format!(
                            "M{} {}L{} {}H{}",
                            px(w.from.0 + 5.0),
                            px(w.from.1),
                            px(m.labels - 10.0),
                            px(middle),
                            px(m.labels - 4.0)
                        ),
                        mark: style.mark.at(m.labels, middle),
                        x: px(m.labels + 9.0),
                        rows: w
                            .rows
                            .iter()
                            .enumerate()
                            .map(|(i, r)| {
                                let base = top + i as f64 * row + m.font * 0.95;
                                let text = match i {
                                    0 => r.strip_prefix(&w.percent).unwrap_or(r).trim(),
                                    _ => r,
                                };
                                (px(base), text.to_owned())
                            })
                            .collect(),
                        percent: w.percent,
                        name: s.name.clone(),
                    },
                }
            })
            .collect();

        let remedies: Vec<(usize, f64)> = t
            .steps
            .iter()
            .enumerate()
            .filter(|(_, s)| s.kind == TrailKind::Remedy)
            .map(|(i, s)| (s.number, x(i + 1)))
            .collect();
        let caption = bottom + 38.0;
        let gaps = all
            .iter()
            .flat_map(|s| s.points.iter().flatten())
            .any(|p| !p.is_known());
        let captioned = gaps || !remedies.is_empty();
        Course {
            name: match room {
                Room::Page => "course-page",
                Room::Phone => "course-phone",
            },
            width: px(m.width),
            height: px(bottom + if captioned { 48.0 } else { 28.0 }),
            font: px(m.font),
            left: px(m.left),
            right: px(m.right),
            top: px(m.top),
            bottom: px(bottom),
            ticks_y: px(bottom + 18.0),
            caption_y: px(caption),
            grid: [0, 25, 50, 75, 100]
                .into_iter()
                .map(|g| {
                    let at = y(f64::from(g) / 100.0);
                    let tone = if g == 0 { "#52606d" } else { "#d9dfe3" };
                    (px(at), format!("{g}\u{a0}%"), tone)
                })
                .collect(),
            ticks: ticks(t, step, x),
            key: down(m.left + 4.0, caption - 8.0),
            key_x: px(m.left + 13.0),
            gap_x: gaps.then(|| px(m.left + if remedies.is_empty() { -4.0 } else { 96.0 })),
            says: says(t, &all, &remedies),
            remedies: remedies
                .into_iter()
                .map(|(number, at)| Remedy {
                    x: px(at),
                    mark: down(at, m.top - 12.0),
                    says: format!("Remedy, step {number}"),
                })
                .collect(),
            lines,
        }
    }
}

/// A label before it has its place.
struct Wanted {
    /// End of the line.
    from: (f64, f64),
    percent: String,
    height: f64,
    rows: Vec<String>,
}

/// A triangle that points down, from its upper edge.
fn down(x: f64, y: f64) -> String {
    format!("M{} {}h9l-4.5 7.5Z", px(x - 4.5), px(y))
}

/// Labels of the steps, as many as fit side by side.
fn ticks(t: &Trail, step: f64, x: impl Fn(usize) -> f64) -> Vec<(String, String)> {
    let mut out = vec![(px(x(0)), "intake".to_owned())];
    let numbers: Vec<String> = t.steps.iter().map(|s| s.number.to_string()).collect();
    let widest = numbers.iter().map(String::len).max().unwrap_or(1) as f64 * 7.0;
    // "intake" is centred on its point and takes half its width of the rest.
    let mut free = x(0) + 20.0;
    for (n, text) in numbers.iter().enumerate() {
        let at = x(n + 1);
        if at - widest / 2.0 >= free || step > widest + 40.0 {
            out.push((px(at), text.clone()));
            free = at + widest / 2.0 + 8.0;
        }
    }
    out
}

/// A text in rows that fit beside the plot; what does not fit ends in dots.
fn wrap(text: &str, m: &Measures) -> Vec<String> {
    let mut rows: Vec<String> = textwrap::wrap(text, m.columns)
        .into_iter()
        .map(|r| r.into_owned())
        .collect();
    if rows.len() > m.rows {
        rows.truncate(m.rows);
        if let Some(end) = rows.last_mut() {
            while unicode_width::UnicodeWidthStr::width(end.as_str()) >= m.columns {
                end.pop();
            }
            end.push('…');
        }
    }
    rows
}

/// Tops of labels, each as near to the height it wants (of its first row's
/// end of line) as the others let it. They never touch while they fit at all.
fn spread(wanted: &[(f64, f64)], top: f64, bottom: f64) -> Vec<f64> {
    let mut order: Vec<usize> = (0..wanted.len()).collect();
    order.sort_by(|a, b| wanted[*a].0.total_cmp(&wanted[*b].0));
    let mut tops = vec![0.0; wanted.len()];
    let mut free = top;
    for &i in &order {
        let (at, height) = wanted[i];
        tops[i] = f64::max(at - 7.0, free);
        free = tops[i] + height + APART;
    }
    // What was pushed out below is pushed back up.
    let mut limit = bottom;
    for &i in order.iter().rev() {
        tops[i] = f64::min(tops[i], limit - wanted[i].1);
        limit = tops[i] - APART;
    }
    tops
}

/// The picture in words, for those who cannot see it.
fn says(t: &Trail, all: &[Series], remedies: &[(usize, f64)]) -> String {
    let at = |n: usize| {
        all.iter()
            .filter_map(|s| s.points[n].map(|p| format!("{} {}", s.name, p.says(s.left_out[n]))))
            .collect::<Vec<_>>()
            .join(", ")
    };
    let mut out = format!("At intake: {}.", at(0));
    if let Some(last) = t.steps.last() {
        let _ = write!(out, " After step {}: {}.", last.number, at(t.steps.len()));
    }
    if !remedies.is_empty() {
        let steps: Vec<String> = remedies.iter().map(|(n, _)| n.to_string()).collect();
        let _ = write!(out, " Remedies at step {}.", steps.join(", "));
    }
    out
}
