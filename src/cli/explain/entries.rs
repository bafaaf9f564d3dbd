//! Everything in the rules that has a name, with its text.

use regex_syntax::ast::Ast;

use super::line::circuit;
use super::line::harm;
use super::only;
use super::say;
use crate::cli::show::errs;
use crate::rulebase::{How, Link, MeterMode, Pack, PackFault, Rulebase, Step};

/// A hazard: what bars what, the check that lifts it and what that finds.
pub(super) fn hazard(rules: &Rulebase, gate: usize) -> String {
    let g = &rules.bench.gates[gate];
    let check = &g.check;
    let mut t = format!("{} — a hazard\n", g.name);
    let acts: Vec<&str> = g
        .bars
        .iter()
        .map(|a| rules.bench.acts[*a].id.as_str())
        .collect();
    t += &format!("bars: {}\n", acts.join(", "));
    t += &format!("until its check is clear: {}\n", check.name);
    t += &format!("{}\n", check.ask);
    if let Some(e) = &check.explain {
        t += &format!("{e}\n");
    }
    t += &format!("shows clear: {}\n", check.clear);
    t += &format!("shows found: {}\n", check.found);
    for p in &rules.packs {
        for h in p.hazards.iter().filter(|h| h.gate == gate) {
            let name = |f: PackFault| match p.faults[f].id.as_str() {
                "" => p.items[p.faults[f].item].id.clone(),
                mode => format!("{}.{mode}", p.items[p.faults[f].item].id),
            };
            t += &format!(
                "by the pack `{}` found because of: {}; found with none of these in {:.0} of 100; \
                 source: {}\n",
                p.id,
                causes(&h.links, name),
                h.leak * 100.0,
                h.source
            );
        }
    }
    t
}

/// Faults with their strengths, the strongest first.
fn causes(links: &[Link], name: impl Fn(PackFault) -> String) -> String {
    // As many as stand on a few lines of a terminal.
    const MOST: usize = 12;
    let mut links = links.to_vec();
    links.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
    let mut text: Vec<String> = links
        .iter()
        .take(MOST)
        .map(|(f, s)| format!("{} ({:.0} of 100)", name(*f), s * 100.0))
        .collect();
    if links.len() > MOST {
        text.push(format!("and {} more", links.len() - MOST));
    }
    text.join("; ")
}

/// Everything in a pack that has a name, with its explanation.
pub(super) fn entries(rules: &Rulebase, p: &Pack, unit: &str) -> Vec<(String, String)> {
    let words = |t: &str| t.replace("{unit}", unit);
    let fault_name = |f: PackFault| -> String {
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
        out.push((item.id.clone(), t));
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
            out.push((format!("{}.{}", item.id, fault.id), t));
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
                partly,
                without,
                swaps_in,
                lends,
            } => {
                t += &format!("tries whether {}\n", words(&p.functions[*function].name));
                if let Some(part) = partly {
                    let fuller = words(&p.functions[part.without].name);
                    t += &format!(
                        "the answer `{}`: it does, and yet not: {fuller}\n",
                        part.outcome
                    );
                }
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
            How::Measures { line, point, mode } => {
                let l = &p.lines[*line];
                t += &format!(
                    "measures {} at the {}: {} ({})\n",
                    mode.word(),
                    words(&l.points[*point].name),
                    words(&l.name),
                    l.id
                );
                if let (Some(s), MeterMode::Volts) = (&l.scope, mode) {
                    t += &format!("only an oscilloscope shows: {s}\n");
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
        let errs = errs(&test.how.outcomes(), &test.mistaken, test.reliability);
        t += &format!("{errs}\n");
        t += &step(rules, &test.step);
        out.push((test.id.clone(), t));
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
        if !r.bridges.is_empty() {
            t += &format!(
                "goes round with a wire: {}; where that would do harm, or there is no such part, the remedy is not offered\n",
                r.bridges.join(", ")
            );
        }
        t += &step(rules, &r.step);
        out.push((r.id.clone(), t));
    }
    for f in &p.functions {
        let mut t = format!("{} — a function\n", words(&f.name));
        t += &format!("needs: {}\n", f.needs.join(", "));
        t += &format!("broken by: {}\n", causes(&f.links, fault_name));
        let at = p.functions.iter().position(|g| g.id == f.id);
        let tries: Vec<String> = p
            .tests
            .iter()
            .filter(|t| t.how.proves().is_some() && t.how.proves() == at)
            .map(|t| t.id.clone())
            .collect();
        if !tries.is_empty() {
            t += &format!("proved by: {}\n", tries.join(", "));
        }
        let heard: Vec<&str> = p
            .symptoms
            .iter()
            .filter(|s| s.loses.is_some() && s.loses == at)
            .map(|s| s.id.as_str())
            .collect();
        if !heard.is_empty() {
            t += &format!("its loss is complained of as: {}\n", heard.join(", "));
        }
        out.push((f.id.clone(), t));
    }
    for (i, l) in p.lines.iter().enumerate() {
        let mut t = format!("{} — a line\n", words(&l.name));
        t += &circuit(rules, l);
        for e in &l.faults {
            let often = match e.chance {
                1.0 => String::new(),
                c => format!(", in {:.0} of 100", c * 100.0),
            };
            t += &format!("{}: {}{often}\n", fault_name(e.fault), harm(l, e.harm));
        }
        let tests: Vec<&str> = p
            .tests
            .iter()
            .filter(|t| matches!(t.how, How::Measures { line, .. } if line == i))
            .map(|t| t.id.as_str())
            .collect();
        if !tests.is_empty() {
            t += &format!("measured by: {}\n", tests.join(", "));
        }
        out.push((l.id.clone(), t));
    }
    for (i, s) in p.symptoms.iter().enumerate() {
        let mut t = format!("{} — a symptom{}\n", words(&s.name), only(&s.only_on));
        if i == 0 && p.symptoms.len() > 1 {
            t += "the general one of its area: heard only where no other is\n";
        }
        if let Some(f) = s.loses {
            let f = &p.functions[f];
            t += &format!("the loss of: {} ({})\n", words(&f.name), f.id);
        }
        let mut said: Vec<String> = s
            .hear
            .iter()
            .chain(&s.hear_in_topic)
            .flat_map(|h| spoken(h.source()))
            .collect();
        let mut seen = std::collections::HashSet::new();
        said.retain(|x| seen.insert(x.clone()));
        if !said.is_empty() {
            t += &format!("heard in words such as: {}\n", said.join("; "));
        }
        t += &format!("caused by: {}\n", causes(&s.links, fault_name));
        t += &format!(
            "nothing is found in: {:.0} of 1000 jobs with it\n",
            s.nothing_found * 1000.0
        );
        out.push((s.id.clone(), t));
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
        t += &format!("caution: {}\n", rules.bench.cautions[*c].text);
    }
    t
}

/// What a pattern fits, in words: an example for each of its alternatives,
/// with dots where anything may stand.
pub(super) fn spoken(pattern: &str) -> Vec<String> {
    let Ok(ast) = regex_syntax::ast::parse::Parser::new().parse(pattern) else {
        return vec![pattern.to_owned()];
    };
    let whole = match &ast {
        Ast::Alternation(a) => a.asts.as_slice(),
        one => std::slice::from_ref(one),
    };
    let mut out: Vec<String> = Vec::new();
    for part in whole {
        let mut text = String::new();
        say(part, &mut text);
        let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
        if !text.is_empty() && !out.contains(&text) {
            out.push(text);
        }
    }
    out
}
