//! A plan as a tree: in plain characters, and laid out for a picture.

use textwrap::WordSeparator;

use crate::job::StepKind;
use crate::job::tree::{TreeBranch, TreeNode, TreeStep, TreeView};
use crate::job::words;

/// A probability that is not broken over lines.
fn percent(p: f64) -> String {
    words::percent(p).replace(' ', "\u{a0}")
}

/// What is said of the plan as a whole.
pub(super) fn says(view: &TreeView) -> String {
    format!(
        "Comes to about {:.0} in time and parts on average, in {:.1} steps; of the tests looked at, \
         no order comes to less than {:.0}.",
        view.expected_cost,
        view.expected_steps,
        view.at_least_cost.floor()
    )
}

/// What is complained of, and of what.
pub(super) fn title(view: &TreeView) -> String {
    format!("{}: {}", view.device, view.symptoms.join("; "))
}

/// All cautions, each once, in the order of the tree.
pub(super) fn cautions(view: &TreeView) -> Vec<String> {
    fn collect(n: &TreeNode, out: &mut Vec<String>) {
        for c in n.step.iter().chain(&n.remedies).flat_map(|s| &s.cautions) {
            if !out.contains(c) {
                out.push(c.clone());
            }
        }
        let then = n.branches.iter().filter_map(|b| b.then.as_ref());
        then.for_each(|n| collect(n, out));
    }
    let mut out = Vec::new();
    collect(&view.root, &mut out);
    out
}

/// The numbers of a step's cautions.
fn marks(s: &TreeStep, all: &[String]) -> String {
    let numbers = s
        .cautions
        .iter()
        .filter_map(|c| all.iter().position(|a| a == c));
    let marks: Vec<String> = numbers.map(|n| (n + 1).to_string()).collect();
    match marks.is_empty() {
        true => String::new(),
        false => format!(" !{}", marks.join(",")),
    }
}

/// A remedy that is not likely enough is not named at the end of a way: in the
/// text, and in the picture, where there is less room.
const NAMED: (f64, f64) = (0.02, 0.1);

/// The end of a way in words: remedies with the share that each mends.
fn end(n: &TreeNode, all: &[String], named: f64) -> String {
    if n.cut {
        return go_on(n, all);
    }
    let mut here = 1.0;
    let mut parts = Vec::new();
    let mut rest = 0.0;
    for s in &n.remedies {
        let share = here * s.mends.unwrap_or(0.0);
        here -= share;
        if share >= named || parts.is_empty() {
            parts.push(format!("{} ({}){}", s.text, percent(share), marks(s, all)));
        } else {
            rest += share;
        }
    }
    if parts.is_empty() {
        return "hand it back: nothing that pays is left to do".to_owned();
    }
    let mut out = format!("MEND: {}", parts.join(", else "));
    if rest >= 0.005 {
        out += &format!(", else others ({})", percent(rest));
    }
    if here >= 0.005 {
        out += &format!("; stays unmended {}", percent(here));
    }
    out
}

/// A way that is cut before the plan ends: the likeliest remedy so far, and
/// that it goes on.
fn go_on(n: &TreeNode, all: &[String]) -> String {
    // Likelier to mend than not.
    const LIKELY: f64 = 0.5;
    match n.remedies.first() {
        Some(s) if s.mends.unwrap_or(0.0) >= LIKELY => format!(
            "MEND: {} ({}){}, else {GO_ON}",
            s.text,
            percent(s.mends.unwrap_or(0.0)),
            marks(s, all)
        ),
        _ => GO_ON.to_owned(),
    }
}

/// What stands where a way is cut.
const GO_ON: &str = "go on from here";

/// How to go on where ways are cut; nothing where none is.
pub(super) fn going_on(view: &TreeView) -> Option<String> {
    fn any(n: &TreeNode) -> bool {
        n.cut || n.branches.iter().filter_map(|b| b.then.as_ref()).any(any)
    }
    any(&view.root).then(|| {
        format!(
            "Where it says \"{GO_ON}\" the tree is cut, the plan is not: enter the results in the \
             job, and `halfsplit tree JOB` draws what follows; or draw more with a greater --depth."
        )
    })
}

fn head(s: &TreeStep, all: &[String]) -> String {
    let word = if s.act == StepKind::Remedy {
        "MEND: "
    } else {
        ""
    };
    let first = match s.prepare.is_empty() {
        true => String::new(),
        false => format!("; first {}", s.prepare.join(", ")),
    };
    format!("{word}{} ({:.0}{first}){}", s.text, s.cost, marks(s, all))
}

/// The tree in plain characters, no line wider than `columns` where words allow.
pub(super) fn text(view: &TreeView, columns: usize) -> String {
    let all = cautions(view);
    let mut out = String::new();
    let fill = |text: &str, first: &str, rest: &str| {
        let options = textwrap::Options::new(columns.max(30))
            .word_separator(WordSeparator::AsciiSpace)
            .initial_indent(first)
            .subsequent_indent(rest);
        format!("{}\n", textwrap::fill(text, options))
    };
    out += &fill(&title(view), "", "  ");
    out += &fill(&says(view), "", "  ");
    out.push('\n');
    branch(&view.root, "", "", &all, &fill, &mut out);
    if let Some(how) = going_on(view) {
        out.push('\n');
        out += &fill(&how, "", "");
    }
    if !all.is_empty() {
        out.push('\n');
    }
    for (n, c) in all.iter().enumerate() {
        let mark = format!("!{} ", n + 1);
        out += &fill(c, &mark, "   ");
    }
    out
}

/// A node below what led to it.
fn branch(
    n: &TreeNode,
    led: &str,
    indent: &str,
    all: &[String],
    fill: &impl Fn(&str, &str, &str) -> String,
    out: &mut String,
) {
    let below = format!("{indent}  ");
    match &n.step {
        None => *out += &fill(&format!("{led}{}", end(n, all, NAMED.0)), indent, &below),
        Some(s) => {
            *out += &fill(&format!("{led}{}", head(s, all)), indent, &below);
            for b in &n.branches {
                let led = format!("{} {}: ", b.led_by(), percent(b.probability));
                match &b.then {
                    None => *out += &fill(&format!("{led}done"), &below, &format!("{below}  ")),
                    Some(n) => branch(n, &led, &below, all, fill, out),
                }
            }
        }
    }
}

/// A tree laid out, from left to right.
pub(super) struct Picture {
    pub(super) title: String,
    pub(super) says: String,
    pub(super) width: usize,
    pub(super) height: usize,
    pub(super) lines: Vec<Line>,
    pub(super) boxes: Vec<Place>,
    pub(super) cautions: Vec<String>,
    /// Ways that are rarer are folded.
    cut: f64,
}

/// A line from a step to what follows.
pub(super) struct Line {
    pub(super) path: String,
}

/// A step or the end of a way.
pub(super) struct Place {
    pub(super) x: usize,
    pub(super) y: usize,
    pub(super) width: usize,
    pub(super) height: usize,
    pub(super) end: bool,
    pub(super) words: Vec<Word>,
}

/// A line of words.
pub(super) struct Word {
    pub(super) x: usize,
    pub(super) y: usize,
    pub(super) text: String,
    pub(super) bold: bool,
}

/// Rare results of a step are told together where they are not more than this.
const FOLDED: f64 = 0.25;

/// Sizes in the units of the picture.
const FONT: usize = 10;
const ROW: usize = 12;
const COLUMN: usize = 212;
const GAP: usize = 18;
const LETTERS: usize = 37;

impl Picture {
    pub(super) fn new(view: &TreeView) -> Picture {
        let mut picture = Picture {
            title: title(view),
            says: says(view),
            width: 0,
            height: 0,
            lines: Vec::new(),
            boxes: Vec::new(),
            cautions: cautions(view),
            cut: view.cut,
        };
        let mut y = 4;
        picture.place(&view.root, String::new(), 0, &mut y);
        picture.height = y;
        picture
    }

    pub(super) fn font(&self) -> usize {
        FONT
    }

    /// Places a node and all that follows below `y`; tells the middle of its box.
    fn place(&mut self, n: &TreeNode, led: String, column: usize, y: &mut usize) -> usize {
        let top = *y;
        let says = match &n.step {
            Some(s) => head(s, &self.cautions),
            None => end(n, &self.cautions, NAMED.1),
        };
        let wrap = |text: &str| -> Vec<String> {
            let options = textwrap::Options::new(LETTERS);
            let options = options.word_separator(WordSeparator::AsciiSpace);
            let lines = textwrap::wrap(text, options);
            lines.into_iter().map(|l| l.into_owned()).collect()
        };
        let led: Vec<String> = if led.is_empty() {
            Vec::new()
        } else {
            wrap(&led)
        };
        let says = wrap(&says);
        let height = ROW * (led.len() + says.len()) + 6;
        let x = column * (COLUMN + GAP) + 4;
        let mut middles = Vec::new();
        // Rare ways that only end are told together; the text tells each.
        let cut = self.cut;
        let folded = |b: &&TreeBranch| {
            let end = b.then.as_ref().filter(|n| n.step.is_none());
            end.is_some_and(|n| n.probability < cut)
        };
        let (rare, told): (Vec<&TreeBranch>, Vec<&TreeBranch>) =
            n.branches.iter().partition(folded);
        let sum: f64 = rare.iter().map(|b| b.probability).sum();
        let fold = rare.len() > 1 && sum < FOLDED;
        let told = if fold {
            told
        } else {
            n.branches.iter().collect()
        };
        if fold {
            let led = format!("{} rarer results: {}", rare.len(), percent(sum));
            middles.push(self.done(led, column + 1, y));
        }
        for b in told {
            let led = format!("{}: {}", b.led_by(), percent(b.probability));
            let middle = match &b.then {
                Some(n) => self.place(n, led, column + 1, y),
                None => self.done(led, column + 1, y),
            };
            middles.push(middle);
        }
        // Beside the middle of what follows, and never above its own top.
        let middle = match (middles.first(), middles.last()) {
            (Some(a), Some(b)) => ((a + b) / 2).max(top + height / 2),
            _ => top + height / 2,
        };
        let box_top = middle - height / 2;
        *y = (*y).max(box_top + height + 6);
        for to in middles {
            let from = x + COLUMN;
            let half = from + GAP / 2;
            let end = from + GAP;
            self.lines.push(Line {
                path: format!("M{from},{middle}H{half}V{to}H{end}"),
            });
        }
        let bold = led.len();
        let words = led.into_iter().chain(says).enumerate();
        let words = words.map(|(i, text)| Word {
            x: x + 5,
            y: box_top + ROW * (i + 1) - 1 + 2,
            text,
            bold: i < bold,
        });
        self.width = self.width.max(x + COLUMN + 4);
        self.boxes.push(Place {
            x,
            y: box_top,
            width: COLUMN,
            height,
            end: n.step.is_none(),
            words: words.collect(),
        });
        middle
    }

    /// A way that ends at once, or that is not told further.
    fn done(&mut self, led: String, column: usize, y: &mut usize) -> usize {
        let x = column * (COLUMN + GAP) + 4;
        let (top, height) = (*y, ROW + 6);
        *y += height + 6;
        self.width = self.width.max(x + COLUMN + 4);
        self.boxes.push(Place {
            x,
            y: top,
            width: COLUMN,
            height,
            end: true,
            words: vec![Word {
                x: x + 5,
                y: top + ROW + 1,
                text: led,
                bold: true,
            }],
        });
        top + height / 2
    }
}
