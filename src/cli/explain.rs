//! `rules explain`.

use super::args::Args;
use super::check::load;
use super::error::{Failure, Result};
use super::terminal::Terminal;
use crate::rulebase::{How, Pack, Rulebase, Step, nearest};

pub(super) fn explain(args: &Args, id: &str, terminal: &mut Terminal) -> Result {
    let rules = load(args)?;
    let texts: Vec<String> = rules
        .packs
        .iter()
        .flat_map(|p| entries(&rules, p))
        .filter(|(name, _)| name == id || name.rsplit_once('/').is_some_and(|(_, end)| end == id))
        .map(|(_, text)| text)
        .collect();
    if texts.is_empty() {
        let all: Vec<String> = rules
            .packs
            .iter()
            .flat_map(|p| entries(&rules, p))
            .map(|(n, _)| n)
            .collect();
        let names = all
            .iter()
            .map(String::as_str)
            .chain(all.iter().filter_map(|n| n.split_once('/').map(|x| x.1)));
        let e = Failure::no(format!("nothing in the rules is called `{id}`"));
        return Err(match nearest(id, names) {
            Some(n) => e.help(format!("did you mean `{n}`?")),
            None => e.help(
                "names are shown beside every suspect and step, for example `imaging/contact`",
            ),
        });
    }
    let width = terminal.width;
    for (i, t) in texts.iter().enumerate() {
        if i > 0 {
            terminal.line("")?;
        }
        for line in t.lines() {
            terminal.line(&textwrap::fill(
                line,
                textwrap::Options::new(width).subsequent_indent("  "),
            ))?;
        }
    }
    Ok(())
}

/// Everything that has a name, with its explanation.
fn entries(rules: &Rulebase, p: &Pack) -> Vec<(String, String)> {
    let unit = p.unit.as_deref().unwrap_or(&p.id);
    let words = |t: &str| t.replace("{unit}", unit);
    let fault_name = |f: usize| -> String {
        let item = &p.items[p.faults[f].item];
        let name = words(&item.name);
        match p.faults[f].name.as_str() {
            "" => name,
            mode => format!("{name}: {mode}"),
        }
    };
    let mut out = Vec::new();
    for item in &p.items {
        let mut t = format!("{} — an item, {}\n", words(&item.name), item.r#where);
        if let Some(e) = &item.explain {
            t += &format!("{}\n", words(e));
        }
        for f in item.faults.clone() {
            t += &format!(
                "can be {} ({:.1} of 1000 jobs; source: {})\n",
                if p.faults[f].name.is_empty() {
                    "at fault"
                } else {
                    &p.faults[f].name
                },
                p.faults[f].rate * 1000.0,
                p.faults[f].source
            );
        }
        let needed: Vec<String> = p
            .functions
            .iter()
            .filter(|fun| fun.links.iter().any(|(f, _)| item.faults.contains(f)))
            .map(|fun| words(&fun.name))
            .collect();
        if !needed.is_empty() {
            t += &format!("needed so that {}\n", needed.join("; "));
        }
        out.push((format!("{}/{}", p.id, item.id), t));
        for f in item.faults.clone() {
            let fault = &p.faults[f];
            if fault.id.is_empty() {
                continue;
            }
            let mut t = format!("{} — a fault, {}\n", fault_name(f), item.r#where);
            if let Some(e) = &fault.explain {
                t += &format!("{}\n", words(e));
            }
            t += &format!(
                "rests on: {:.1} of 1000 jobs with a complaint in this area; when there, it shows at {:.0} of 100 tries; source: {}\n",
                fault.rate * 1000.0,
                fault.breaks * 100.0,
                fault.source
            );
            for (h, m) in &fault.history {
                t += &format!("history `{h}` multiplies its odds by {m}\n");
            }
            let mend: Vec<String> = p
                .remedies
                .iter()
                .filter_map(|r| {
                    let (_, chance) = r.clears.iter().find(|(g, _)| *g == f)?;
                    Some(format!(
                        "{} (takes in {:.0} of 100)",
                        words(&r.name),
                        chance * 100.0
                    ))
                })
                .collect();
            t += &format!("mended by: {}\n", mend.join("; "));
            out.push((format!("{}/{}.{}", p.id, item.id, fault.id), t));
        }
    }
    for test in &p.tests {
        let mut t = format!("{} — a test\n", words(&test.ask));
        if let Some(e) = &test.step.explain {
            t += &format!("{}\n", words(e));
        }
        match &test.how {
            How::Tries {
                function,
                without,
                swaps_in,
                lends,
            } => {
                t += &format!("tries whether {}\n", words(&p.functions[*function].name));
                if let Some(i) = swaps_in {
                    t += &format!(
                        "with a known-good part in place of: {}\n",
                        words(&p.items[*i].name)
                    );
                }
                if let Some(i) = lends {
                    t += &format!(
                        "with only this at stake, in a known-good device: {}\n",
                        words(&p.items[*i].name)
                    );
                }
                if !without.is_empty() {
                    let names: Vec<String> =
                        without.iter().map(|i| words(&p.items[*i].name)).collect();
                    t += &format!("out of the picture: {}\n", names.join(", "));
                }
            }
            How::Shows { outcomes, .. } => {
                for (k, o) in outcomes.iter().enumerate() {
                    let faults: Vec<String> = o
                        .links
                        .iter()
                        .map(|(f, s)| format!("{} ({:.0} of 100)", fault_name(*f), s * 100.0))
                        .collect();
                    t += &format!("shows {}: {}", o.id, words(&o.says));
                    if k == 0 {
                        t += " (healthy)";
                    } else {
                        t += &format!(" — {}", faults.join("; "));
                    }
                    t.push('\n');
                }
            }
        }
        t += &format!("right in {:.0} of 100 readings\n", test.reliability * 100.0);
        t += &step(rules, &test.step);
        out.push((format!("{}/{}", p.id, test.id), t));
    }
    for r in &p.remedies {
        let mut t = format!("{} — a remedy\n", words(&r.name));
        if let Some(e) = &r.step.explain {
            t += &format!("{}\n", words(e));
        }
        for (f, chance) in &r.clears {
            t += &format!(
                "clears {} (takes in {:.0} of 100)\n",
                fault_name(*f),
                chance * 100.0
            );
        }
        for (f, chance) in &r.may_break {
            t += &format!(
                "may break {} (in {:.1} of 100)\n",
                fault_name(*f),
                chance * 100.0
            );
        }
        t += &step(rules, &r.step);
        out.push((format!("{}/{}", p.id, r.id), t));
    }
    for f in &p.functions {
        out.push((
            format!("{}/{}", p.id, f.id),
            format!(
                "{} — a function\nneeds: {}\n",
                words(&f.name),
                f.needs.join(", ")
            ),
        ));
    }
    out
}

fn step(rules: &Rulebase, s: &Step) -> String {
    let mut t = format!("takes {} min", s.minutes);
    if s.parts > 0.0 {
        t += &format!(" and {} for parts", s.parts);
    }
    if !s.conditions.is_empty() {
        let names: Vec<&str> = s
            .conditions
            .iter()
            .map(|c| rules.bench.conditions[*c].name.as_str())
            .collect();
        t += &format!("; bench: {}", names.join(", "));
    }
    if !s.tools.is_empty() {
        t += &format!("; tools: {}", s.tools.join(", "));
    }
    t += &format!("; source: {}\n", s.source);
    for c in &s.cautions {
        t += &format!("caution: {}\n", rules.bench.cautions[*c].1);
    }
    t
}
