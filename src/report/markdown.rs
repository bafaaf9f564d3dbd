//! The trail as Markdown.
//!
//! Tables are avoided: escaping inside their cells differs between readers of
//! Markdown. Headings, lists and quotes do.

use super::sheet::{Advice, BenchSheet, BenchStep, Check, CustomerSheet, Known, Odds};
use super::words::{BATTERY_NEAR, BATTERY_NEVER, BATTERY_OLD, RESTS_ON};

/// Escapes typed text so that it stays text: no emphasis, heading, list, link,
/// code, table, mathematics or HTML comes of it. It must be one line already.
pub(super) fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len() + 8);
    let mut number = true; // only digits so far
    let mut before = ' ';
    let mut rest = text.chars().peekable();
    while let Some(c) = rest.next() {
        let first = out.is_empty();
        let next = rest.peek().copied().unwrap_or(' ');
        let special = match c {
            '\\' | '`' | '*' | '_' | '[' | ']' | '<' | '>' | '#' | '|' | '~' | '&' | '$' | '@'
            | '^' | '{' | '}' => true,
            // Bullets and underlines, only at the beginning.
            '-' | '+' | '=' => first,
            // Numbered lists; `www.` becomes a link in some readers.
            '.' | ')' => {
                number && !first && next.is_whitespace() || before.eq_ignore_ascii_case(&'w')
            }
            // `http://`, and `:smile:`; not the time of day.
            ':' => !(next.is_whitespace() || before.is_ascii_digit() && next.is_ascii_digit()),
            _ => false,
        };
        if special {
            out.push('\\');
        }
        out.push(c);
        number = number && c.is_ascii_digit();
        before = c;
    }
    if text.chars().any(reads_right_to_left) {
        // Keep its direction to itself.
        out = format!("\u{2068}{out}\u{2069}");
    }
    out
}

fn reads_right_to_left(c: char) -> bool {
    matches!(c, '\u{590}'..='\u{8ff}' | '\u{200f}' | '\u{fb1d}'..='\u{fdff}'
        | '\u{fe70}'..='\u{fefc}' | '\u{10800}'..='\u{10fff}' | '\u{1e800}'..='\u{1efff}')
}

/// Lines of Markdown being written.
#[derive(Default)]
struct Page(String);

impl Page {
    fn line(&mut self, text: &str) {
        self.0.push_str(text);
        self.0.push('\n');
    }
    fn paragraph(&mut self, text: &str) {
        self.line("");
        self.line(text);
    }
    fn heading(&mut self, text: &str) {
        self.paragraph(&format!("## {text}"));
    }
    fn bullets(&mut self, texts: &[String]) {
        if !texts.is_empty() {
            self.line("");
        }
        for t in texts {
            self.line(&format!("- {}", escape(t)));
        }
    }
    fn quote(&mut self, texts: &[String]) {
        // Lines stay apart by a quoted empty one.
        let quoted: Vec<String> = texts.iter().map(|t| format!("> {}", escape(t))).collect();
        self.paragraph(&quoted.join("\n>\n"));
    }
    fn fact(&mut self, name: &str, value: Option<&str>) {
        if let Some(v) = value {
            self.line(&format!("- {name}: {}", escape(v)));
        }
    }
}

/// The report for the bench.
pub(super) fn bench(s: &BenchSheet) -> String {
    let mut p = Page::default();
    match s.job {
        Some(n) => p.line(&format!("# Job {n}: {}", escape(&s.title))),
        None => p.line(&format!("# {}", escape(&s.title))),
    }
    p.line("");
    p.fact(
        "Device",
        Some(&s.device).filter(|d| !d.is_empty()).map(|d| &**d),
    );
    p.fact("Serial number", s.serial.as_deref());
    p.fact("Opened", s.opened.as_deref());
    p.fact("Closed", s.closed.as_deref());
    p.paragraph(&match &s.reason {
        Some(r) => format!("**{}** {}", escape(s.ended), escape(r)),
        None => format!("**{}**", escape(s.ended)),
    });
    p.heading("Complaint");
    if s.complaint.is_empty() {
        p.paragraph("None was written down.");
    } else {
        p.quote(&s.complaint);
    }
    if !s.symptoms.is_empty() {
        p.paragraph("Symptoms recognised:");
        p.bullets(&s.symptoms);
    }
    if !s.history.is_empty() {
        p.paragraph("History, answered with yes:");
        p.bullets(&s.history);
    }

    p.heading("Remedies");
    if s.work.is_empty() {
        p.paragraph("None was done.");
    } else {
        p.line("");
    }
    for w in &s.work {
        p.line(&format!("- Step {}: {}", w.number, escape(&w.text)));
        if !w.items.is_empty() {
            p.line(&format!("  - Worked on: {}", list(&w.items)));
        }
        if !w.was_there.is_empty() {
            p.line(&format!(
                "  - Was there before, as known in the end: {}",
                odds(&w.was_there)
            ));
        }
    }
    if !s.work.is_empty() {
        p.heading("Retested after the last remedy");
        p.line("");
        let proved = match s.proved.is_empty() {
            true => "nothing".to_owned(),
            false => list(&s.proved),
        };
        p.line(&format!("- Shown to work: {proved}"));
        if !s.unproved.is_empty() {
            p.line(&format!("- Not shown to work: {}", list(&s.unproved)));
        }
    }

    p.heading("At intake");
    p.line("");
    for l in known(&s.intake) {
        p.line(&format!("- {l}"));
    }
    if !s.intake.places.is_empty() {
        p.line(&format!("- Where it may lie: {}", odds(&s.intake.places)));
    }

    p.heading("Step by step");
    if s.steps.is_empty() {
        p.paragraph("Nothing has been done yet.");
    }
    for step in &s.steps {
        bench_step(&mut p, step);
    }

    p.heading("Now");
    p.line("");
    if !s.places.is_empty() {
        p.line(&format!("- Where a fault may lie: {}", odds(&s.places)));
    }
    if let Some(a) = &s.next {
        p.line(&format!(
            "- Advised next: {}{}{}",
            escape(&a.text),
            behind(a),
            reason(a)
        ));
    }
    if !s.cautions.is_empty() {
        p.heading("Cautions");
        p.line("");
        for c in &s.cautions {
            p.line(&format!("- {} ({})", escape(&c.text), c.held));
        }
    }
    p.paragraph(
        "Percentages are estimates: what the rules and the results together imply, no more.",
    );
    if let Some(rules) = &s.rules {
        p.paragraph(&format!("Rules: {rules}"));
    }
    p.0
}

/// The identifier of what was advised, in brackets.
fn behind(a: &Advice) -> String {
    let id = a.id.as_ref();
    id.map_or_else(String::new, |id| format!(" ({})", escape(id)))
}

fn bench_step(p: &mut Page, step: &BenchStep) {
    let number = format!("{}. ", step.number);
    let indent = " ".repeat(number.len());
    let id = step
        .id
        .as_ref()
        .map(|i| format!(" ({})", escape(i)))
        .unwrap_or_default();
    p.paragraph(&format!(
        "{number}**{}:** {}{id}",
        step.did,
        escape(&step.text)
    ));
    p.line("");
    let mut under = Vec::new();
    if let Some(shows) = &step.shows {
        let doubt = step
            .doubt
            .as_ref()
            .map(|d| format!(" **({})**", escape(d)))
            .unwrap_or_default();
        under.push(format!("Result: {}{doubt}", escape(shows)));
    } else if let Some(doubt) = &step.doubt {
        under.push(format!("**{}**", escape(doubt)));
    }
    if let Some(later) = step.repeated_in {
        under.push(format!("**Repeated in step {later}, whose result counts**"));
    }
    if let Some(by) = step.corrected_in {
        let was = step.was.as_ref();
        under.push(match was {
            Some(was) => format!("**Corrected in step {by}; entered first: {}**", escape(was)),
            None => format!("**Struck in step {by}**"),
        });
    }
    if let Some(note) = &step.note {
        under.push(format!("Remark: {}", escape(note)));
    }
    if let Some(at) = &step.at {
        under.push(format!("When: {}", escape(at)));
    }
    if let Some(a) = &step.advised {
        under.push(if step.as_advised {
            format!("As advised{}", reason(a))
        } else {
            format!("Advised was: {}{}{}", escape(&a.text), behind(a), reason(a))
        });
    }
    if !step.is_plain_remark() {
        under.extend(known(&step.after));
    }
    if let Some(moved) = &step.moved {
        under.push(format!("Under the rules of today: {}", escape(moved)));
    }
    for u in under {
        p.line(&format!("{indent}- {u}"));
    }
}

/// Why something was advised, and how long it takes.
fn reason(a: &Advice) -> String {
    match &a.why {
        Some(why) => format!(", {}: {}", a.minutes, escape(why)),
        None => format!(", {}", a.minutes),
    }
}

/// What was known at a moment, a line each.
fn known(k: &Known) -> Vec<String> {
    let mut out = Vec::new();
    if k.unchanged {
        out.push("Suspects: as before".to_owned());
    } else if !k.leading.is_empty() {
        out.push(format!("Suspects: {}", odds(&k.leading)));
    }
    for h in &k.hazards {
        out.push(format!("**Hazard:** {}", escape(h)));
    }
    if k.conflict {
        out.push("**These results do not fit together well.**".to_owned());
    }
    out
}

fn list(all: &[String]) -> String {
    all.iter().map(|t| escape(t)).collect::<Vec<_>>().join("; ")
}

fn odds(all: &[Odds]) -> String {
    all.iter()
        .map(|o| format!("{} {}", escape(&o.name), escape(&o.percent)))
        .collect::<Vec<_>>()
        .join("; ")
}

/// The report for the customer.
pub(super) fn customer(s: &CustomerSheet) -> String {
    let mut p = Page::default();
    let device = match &s.model {
        Some(m) => format!("{}, {}", escape(&s.kind), escape(m)),
        None => escape(&s.kind),
    };
    p.line(&format!("# Report on your {device}"));
    p.paragraph(&match &s.reason {
        Some(r) => format!("**{}** {}", s.ended, escape(r)),
        None => format!("**{}**", s.ended),
    });
    p.line("");
    if let Some(n) = s.job {
        p.line(&format!("- Job: {n}"));
    }
    p.fact("Serial number", s.serial.as_deref());
    p.fact("Brought in", s.opened.as_deref());
    p.fact("Finished", s.closed.as_deref());

    p.heading("What you told us");
    if s.complaint.is_empty() {
        p.paragraph("We have nothing in writing.");
    } else {
        p.quote(&s.complaint);
    }
    if !s.symptoms.is_empty() {
        p.paragraph("We took this to mean:");
        p.bullets(&s.symptoms);
    }
    if !s.history.is_empty() {
        p.paragraph("You answered these questions with yes:");
        p.bullets(&s.history);
    }

    if !s.wrong_says.is_empty() {
        p.heading("What was wrong");
        p.paragraph(s.wrong_says);
        p.bullets(&s.wrong);
    }
    p.heading("What we did");
    if s.work.is_empty() {
        p.paragraph("We changed nothing on your device.");
    } else {
        p.line("");
    }
    for (n, w) in s.work.iter().enumerate() {
        let items = match w.items.is_empty() {
            true => String::new(),
            false => format!(" (worked on: {})", list(&w.items)),
        };
        p.line(&format!("{}. {}{items}", n + 1, escape(&w.text)));
    }
    if !s.work.is_empty() {
        p.heading("What was tested afterwards");
        if s.tested.is_empty() {
            p.paragraph("Nothing was tested again after the work.");
        } else {
            p.line("");
            checks(&mut p, &s.tested);
        }
        if !s.proved.is_empty() {
            p.paragraph("Shown to work:");
            p.bullets(&s.proved);
        }
    }
    p.heading(s.checked_heading());
    if s.looked.is_empty() && s.measured.is_empty() {
        p.paragraph("Nothing so far.");
    }
    if !s.looked.is_empty() {
        p.line("");
        checks(&mut p, &s.looked);
    }
    if !s.measured.is_empty() {
        p.paragraph("Measured:");
        p.line("");
        checks(&mut p, &s.measured);
    }
    if !s.not_done.is_empty() {
        p.heading("What was not done");
        p.bullets(&s.not_done);
    }
    if s.battery {
        p.heading("About batteries");
        if s.at_the_battery {
            p.paragraph(BATTERY_NEAR);
        }
        p.paragraph(BATTERY_NEVER);
        p.paragraph(BATTERY_OLD);
    }
    p.paragraph(RESTS_ON);
    p.0
}

fn checks(p: &mut Page, all: &[Check]) {
    for c in all {
        let remark = c
            .remark
            .as_ref()
            .map(|r| format!(" ({r})"))
            .unwrap_or_default();
        p.line(&format!("- {}{remark}", escape(&c.text)));
        if !c.result.is_empty() {
            p.line(&format!("  - Result: {}", escape(&c.result)));
        }
    }
}
