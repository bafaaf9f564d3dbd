//! The trail as Markdown.
//!
//! Tables are avoided: escaping inside their cells differs between readers of
//! Markdown. Headings, lists and quotes do.

use super::sheet::{BenchSheet, CustomerSheet, Known, Odds};
use super::words::{BATTERY_NEVER, BATTERY_OLD};

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

    p.heading("At intake");
    p.line("");
    for l in known(&s.intake) {
        p.line(&format!("- {l}"));
    }
    if let Some(places) = places(&s.intake) {
        p.line(&format!("- Where it may lie: {places}"));
    }

    p.heading("Step by step");
    if s.steps.is_empty() {
        p.paragraph("Nothing has been done yet.");
    }
    for step in &s.steps {
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
        if let Some(note) = &step.note {
            under.push(format!("Remark: {}", escape(note)));
        }
        if let Some(at) = &step.at {
            under.push(format!("When: {}", escape(at)));
        }
        under.extend(known(&step.after));
        if let Some(moved) = &step.moved {
            under.push(format!("Under the rules of today: {}", escape(moved)));
        }
        for u in under {
            p.line(&format!("{indent}- {u}"));
        }
    }

    p.heading("Remedies");
    if s.remedies.is_empty() {
        p.paragraph("None was done.");
    } else {
        p.bullets(&s.remedies);
    }
    p.heading("Retested after the last remedy, and shown to work");
    if s.proved.is_empty() {
        p.paragraph("Nothing.");
    } else {
        p.bullets(&s.proved);
    }
    p.heading("How it ended");
    p.paragraph(&match &s.reason {
        Some(r) => format!("**{}** {}", escape(&s.ended), escape(r)),
        None => format!("**{}**", escape(&s.ended)),
    });
    if let Some(left) = s.steps.last().and_then(|l| places(&l.after)) {
        p.paragraph(&format!("Where a fault may lie now: {left}"));
    }
    p.paragraph(
        "Percentages are estimates: what the rules and the results together imply, no more.",
    );
    if let Some(rules) = &s.rules {
        p.paragraph(&format!("Rules: {rules}"));
    }
    p.0
}

/// What was known at a moment, a line each.
fn known(k: &Known) -> Vec<String> {
    let mut out = Vec::new();
    if k.unchanged {
        out.push("Suspects: as before".to_owned());
    } else if !k.leading.is_empty() {
        out.push(format!("Suspects: {}", odds(&k.leading)));
    }
    if k.conflict {
        out.push("**These results do not fit together well.**".to_owned());
    }
    if let Some(a) = &k.advised {
        out.push(format!(
            "Advised next: {} ({}){}",
            escape(&a.text),
            a.minutes,
            a.why
                .as_ref()
                .map(|w| format!(". Why: {}", escape(w)))
                .unwrap_or_default()
        ));
        out.extend(a.cautions.iter().map(|c| format!("Caution: {}", escape(c))));
        if a.cautions_above {
            out.push("Caution: as given above".to_owned());
        }
    }
    out
}

fn places(k: &Known) -> Option<String> {
    (!k.places.is_empty()).then(|| odds(&k.places))
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
    p.paragraph(&format!("**{}**", s.ended));
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

    p.heading("What we checked");
    if s.checks.is_empty() {
        p.paragraph("Nothing so far.");
    } else {
        p.line("");
    }
    for c in &s.checks {
        let after = if c.after_work {
            " (after the work)"
        } else {
            ""
        };
        p.line(&format!("- {}{after}", escape(&c.text)));
        if !c.result.is_empty() {
            p.line(&format!("  - Result: {}", escape(&c.result)));
        }
    }

    p.heading("What we did");
    if s.work.is_empty() {
        p.paragraph("We changed nothing on your device.");
    } else {
        p.bullets(&s.work);
    }
    if !s.work.is_empty() {
        p.heading("What was shown to work afterwards");
        if s.proved.is_empty() {
            p.paragraph("Nothing was tested again after the work.");
        } else {
            p.bullets(&s.proved);
        }
    }

    p.heading("How it ended");
    p.paragraph(&match &s.reason {
        Some(r) => format!("{} {}", s.ended, escape(r)),
        None => s.ended.clone(),
    });
    if s.battery {
        p.heading("About batteries");
        p.paragraph(BATTERY_NEVER);
        p.paragraph(BATTERY_OLD);
    }
    p.0
}
