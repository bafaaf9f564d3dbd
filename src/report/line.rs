//! A line drawn: the parts of each wire one below the other, what hangs on
//! them to the right. What stands in which row is worked out here; `text` draws
//! it in plain characters, `picture` as SVG.

mod picture;
mod text;

pub(super) use picture::Picture;
pub(super) use text::text;

use crate::job::line::{
    BranchView, BridgeView, LineView, NextProbe, NodeView, PartView, PointView, ReadingView,
};
use crate::job::words::{UNSURE, percent_within};
use crate::rulebase::MeterMode;

/// Above this a reading is marked as doubtful.
const DOUBTFUL: f64 = 0.1;
/// From here on the likeliest place is marked.
const MARKED_FROM: f64 = 0.05;

/// A row of the drawing.
struct Row<'v> {
    /// For each wire or branch further left: whether it goes on below.
    left: Vec<bool>,
    /// Whether the wire that the row is on comes from above.
    above: bool,
    /// Whether it goes on below.
    below: bool,
    what: What<'v>,
}

/// What stands in a row.
#[derive(Clone, Copy)]
enum What<'v> {
    /// The beginning of a wire where there are several; from 1.
    Wire(usize),
    /// A part of the wire.
    Part(&'v PartView),
    /// A part beside it.
    Branch(&'v BranchView),
    /// What may join it to another node.
    Bridge(&'v BridgeView),
    /// A place for a probe.
    Point(&'v PointView),
    /// What was read there.
    Reading(&'v ReadingView),
    /// That it comes next.
    Next(&'v NextProbe),
}

/// A bridge below this is left out.
const BRIDGED_FROM: f64 = 0.005;

impl<'v> What<'v> {
    /// Whether it stands beside a point and the wire does not need it.
    fn is_remark(self) -> bool {
        matches!(self, What::Reading(_) | What::Next(_))
    }

    fn posterior(self) -> Option<f64> {
        match self {
            What::Part(p) => p.posterior,
            What::Branch(b) => b.part.posterior,
            What::Bridge(b) => Some(b.posterior),
            _ => None,
        }
    }

    /// The row in words.
    /// `left_out` bounds what the belief leaves out.
    fn words(self, left_out: f64) -> String {
        let valued = |p: &PartView| match &p.value {
            Some(v) => format!("{}, {v}", p.name),
            None => p.name.clone(),
        };
        match self {
            What::Wire(n) => format!("Wire {n}"),
            What::Part(p) => valued(p),
            What::Branch(b) => {
                let plain = b.part.kind.ends();
                match b.to.as_str() {
                    "ground" if !plain && !b.part.name.contains("ground") => {
                        format!("{}, to ground", valued(&b.part))
                    }
                    _ => valued(&b.part),
                }
            }
            What::Bridge(b) => b.says.clone(),
            What::Point(p) => p.name.clone(),
            What::Reading(r) => reading(r, left_out),
            What::Next(n) => {
                let here = if n.rank == 1 { "" } else { " on this line" };
                format!("next probe{here}: {}", mode(n.mode))
            }
        }
    }
}

fn mode(mode: MeterMode) -> &'static str {
    match mode {
        MeterMode::Diode => "diode mode",
        other => other.word(),
    }
}

/// A reading in words: what it was, how that compares, and what was due.
fn reading(r: &ReadingView, left_out: f64) -> String {
    let how = match (r.shows.as_str(), r.reads.as_deref()) {
        ("ol", Some(_)) => "open",
        ("ol", None) => "OL, open",
        (word, _) => word,
    };
    let due = match how {
        "good" => format!("({})", r.good),
        _ => format!("(good: {})", r.good),
    };
    let read = r
        .reads
        .as_ref()
        .map_or_else(String::new, |v| format!(" {v}"));
    let swapped = if r.turned { ", leads swapped," } else { "" };
    let mut out = format!("{}{swapped}{read}: {how} {due}", mode(r.mode));
    if r.before_remedy {
        out += ", before the remedy";
    }
    if r.misread > DOUBTFUL {
        out += ", may be misread";
        if left_out <= UNSURE {
            out += &format!(" ({})", percent_within(r.misread, left_out));
        }
    }
    out
}

/// All rows of a line.
fn rows(view: &LineView) -> Vec<Row<'_>> {
    let mut out = Vec::new();
    for (n, wire) in view.wires.iter().enumerate() {
        if view.wires.len() > 1 {
            out.push(Row {
                left: Vec::new(),
                above: false,
                below: false,
                what: What::Wire(n + 1),
            });
        }
        run(view, wire, &[], false, &mut out);
    }
    out
}

/// The rows of some nodes one after the other, with what hangs on them.
fn run<'v>(
    view: &'v LineView,
    nodes: &'v [NodeView],
    left: &[bool],
    from_above: bool,
    out: &mut Vec<Row<'v>>,
) {
    let mut all: Vec<What> = Vec::new();
    for n in nodes {
        if let Some(p) = &n.point {
            all.push(What::Point(p));
            all.extend(p.readings.iter().map(What::Reading));
            let next = view.next.iter().filter(|x| x.point == p.point);
            all.extend(next.map(What::Next));
        }
        let bridges = n.bridges.iter().filter(|b| b.posterior >= BRIDGED_FROM);
        all.extend(bridges.map(What::Bridge));
        all.extend(n.branches.iter().map(What::Branch));
        all.extend(n.onward.iter().map(What::Part));
    }
    let last = all.iter().rposition(|w| !w.is_remark()).unwrap_or(0);
    for (i, what) in all.into_iter().enumerate() {
        let below = i < last;
        out.push(Row {
            left: left.to_vec(),
            above: from_above || i > 0,
            below,
            what,
        });
        if let What::Branch(b) = what
            && let Some(end) = &b.end
        {
            let left = [left, &[below]].concat();
            run(view, std::slice::from_ref(end), &left, true, out);
        }
    }
}

/// The highest probability in the drawing, if it is worth a mark.
fn likeliest(rows: &[Row]) -> Option<f64> {
    let all = rows.iter().filter_map(|r| r.what.posterior());
    let highest = all.fold(0.0, f64::max);
    (highest >= MARKED_FROM).then_some(highest)
}

/// How many causes are named below the drawing.
const NAMED: usize = 3;

/// The likeliest causes, a line each: probability, what it does, the fault.
fn causes(view: &LineView) -> Vec<(String, String)> {
    let named = view.causes.iter().take(NAMED);
    named
        .map(|c| {
            (
                percent_within(c.posterior, view.left_out),
                format!("{} ({})", c.does, c.name),
            )
        })
        .collect()
}

/// What is said of the line as a whole.
fn says(view: &LineView) -> String {
    let fast = if view.fast {
        "; fast, so no wire can stand in for a part of it"
    } else {
        ""
    };
    format!(
        "Something wrong on this line: {}{fast}",
        percent_within(view.at_fault, view.left_out)
    )
}
