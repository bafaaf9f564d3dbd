//! `rules explain`.

use regex_syntax::ast::{Ast, ClassSet, ClassSetItem, RepetitionKind, RepetitionRange};

use super::args::Args;
use super::check::load;
use super::error::{Failure, Result};
use super::show::errs;
use super::terminal::Terminal;
use super::text::fill;
use crate::rulebase::{
    Doubt, Drive, Harm, How, Known, Line, Link, MeterMode, MeterProfile, Pack, PackFault, PartKind,
    Rulebase, StatedAccuracy, Step, TestRange, nearest, slug,
};
use crate::shown::shown;

pub(super) fn explain(args: &Args, id: Option<&str>, terminal: &mut Terminal) -> Result {
    let rules = load(args)?;
    let listed: Vec<&Pack> = rules
        .packs
        .iter()
        .filter(|p| id.is_none_or(|id| id == p.id))
        .collect();
    if !listed.is_empty() {
        for (i, p) in listed.into_iter().enumerate() {
            if i > 0 {
                terminal.line("")?;
            }
            list(p, terminal)?;
        }
        if id.is_none() {
            let kinds = rules.templates.iter().map(|l| (&l.id, &l.name));
            more("kinds of line", kinds, terminal)?;
            let meters = rules.meters.iter().map(|m| (&m.id, &m.name));
            more("meters", meters, terminal)?;
        }
        return Ok(());
    }
    let id = id.unwrap_or_default();
    let (head, end) = id.rsplit_once('/').unwrap_or(("", id));
    let mut texts: Vec<String> = Vec::new();
    for p in &rules.packs {
        let unit = p.unit.as_deref().unwrap_or(&p.id);
        // Beside suspects and steps, names begin with the copy.
        let copy = rules
            .devices
            .iter()
            .flat_map(|d| &d.carries)
            .filter(|(pack, _)| *pack == p.id)
            .flat_map(|(_, copies)| copies)
            .map(|c| c.name.as_str())
            .chain([unit])
            .find(|c| slug(c) == head);
        if !head.is_empty() && head != p.id && copy.is_none() {
            continue;
        }
        texts.extend(
            entries(&rules, p, copy.unwrap_or(unit))
                .into_iter()
                .filter(|(name, _)| name == end)
                .map(|(_, text)| text),
        );
    }
    if head.is_empty() || head == "safety" {
        let gates = rules.bench.gates.iter().enumerate();
        let named = gates.filter(|(_, g)| g.id == end);
        texts.extend(named.map(|(gate, _)| hazard(&rules, gate)));
    }
    if head.is_empty() {
        texts.extend(
            rules
                .templates
                .iter()
                .filter(|l| l.id == end)
                .map(|l| template(&rules, l)),
        );
        let first = rules.meters.first().map(|m| m.id.as_str());
        texts.extend(
            rules
                .meters
                .iter()
                .filter(|m| m.id == end)
                .map(|m| meter(m, first == Some(end))),
        );
    }
    if texts.is_empty() {
        let all: Vec<(String, String)> = rules
            .packs
            .iter()
            .flat_map(|p| {
                entries(&rules, p, "")
                    .into_iter()
                    .map(|e| (p.id.clone(), e.0))
            })
            .map(|(pack, name)| (format!("{pack}/{name}"), name))
            .collect();
        let names = all
            .iter()
            .flat_map(|(full, name)| [full.as_str(), name])
            .chain(rules.packs.iter().map(|p| p.id.as_str()))
            .chain(rules.templates.iter().map(|l| l.id.as_str()))
            .chain(rules.meters.iter().map(|m| m.id.as_str()));
        let e = Failure::no(format!("nothing in the rules is called `{id}`"));
        return Err(match nearest(id, names) {
            Some(n) => e.help(format!("did you mean `{n}`?")),
            None => e.help("`halfsplit rules explain` lists all there is"),
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

/// What belongs to no pack, one line each.
fn more<'a>(
    what: &str,
    all: impl Iterator<Item = (&'a String, &'a String)>,
    terminal: &mut Terminal,
) -> Result {
    for (i, (id, name)) in all.enumerate() {
        if i == 0 {
            terminal.line("")?;
            terminal.line(what)?;
        }
        let text = format!("{id}: {name}");
        terminal.line(&fill(&text, terminal.width, "    ", "      "))?;
    }
    Ok(())
}

/// What a pack has, one line each.
fn list(p: &Pack, terminal: &mut Terminal) -> Result {
    let unit = p.unit.as_deref().unwrap_or(&p.id);
    let head = match p.about.as_str() {
        "" => p.id.clone(),
        about => format!("{} — {about}", p.id),
    };
    let width = terminal.width;
    terminal.line(&fill(&head, width, "", "  "))?;
    let line = |id: &str, name: &str, only_on: &[String]| {
        let only = only(only_on);
        let text = format!("{id}: {}{only}", name.replace("{unit}", unit));
        fill(&text, width, "    ", "      ")
    };
    let symptoms = p.symptoms.iter().map(|s| line(&s.id, &s.name, &s.only_on));
    let functions = p.functions.iter().map(|f| line(&f.id, &f.name, &[]));
    let tests = p.tests.iter().map(|t| line(&t.id, &t.ask, &t.only_on));
    let remedies = p.remedies.iter().map(|r| line(&r.id, &r.name, &r.only_on));
    let items = p.items.iter().map(|i| line(&i.id, &i.name, &[]));
    let lines = p.lines.iter().map(|l| line(&l.id, &l.name, &[]));
    for (what, lines) in [
        ("symptoms", symptoms.collect::<Vec<_>>()),
        ("functions", functions.collect()),
        ("tests", tests.collect()),
        ("remedies", remedies.collect()),
        ("items", items.collect()),
        ("lines", lines.collect()),
    ] {
        if !lines.is_empty() {
            terminal.line(&format!("  {what}"))?;
            terminal.line(&lines.join("\n"))?;
        }
    }
    Ok(())
}

fn only(only_on: &[String]) -> String {
    if only_on.is_empty() {
        return String::new();
    }
    format!(" (only on: {})", only_on.join(", "))
}

/// A hazard: what bars what, the check that lifts it and what that finds.
fn hazard(rules: &Rulebase, gate: usize) -> String {
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
fn entries(rules: &Rulebase, p: &Pack, unit: &str) -> Vec<(String, String)> {
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

/// A template.
fn template(rules: &Rulebase, l: &Line) -> String {
    let about = match l.about.as_str() {
        "" => String::new(),
        about => format!("{about}\n"),
    };
    format!("{} — a kind of line\n{about}{}", l.name, circuit(rules, l))
}

/// A meter, and what its numbers mean at the bench.
fn meter(m: &MeterProfile, first: bool) -> String {
    let mut t = format!("{} — a meter\n", m.name);
    if first {
        t += "the one that forecasts are for where no other is chosen (`--meter NAME`)\n";
    }
    t += &format!(
        "volts: up to {}, right within {}; it loads what it measures with {}\n",
        shown(m.volts.limit, "V"),
        accuracy(m.volts.accuracy, "V"),
        shown(m.volts.input, "ohm")
    );
    t += &format!(
        "diode mode: {}, {} with open tips; OL above {}, right within {}\n",
        drive(&m.diode),
        shown(m.diode.open, "V"),
        shown(m.diode.limit, "V"),
        accuracy(m.diode.accuracy, "V")
    );
    for r in &m.ohms {
        t += &format!(
            "ohms up to {}: {}, {} with open tips; right within {}\n",
            shown(r.limit, "ohm"),
            drive(r),
            shown(r.open, "V"),
            accuracy(r.accuracy, "ohm")
        );
    }
    if m.ohms.iter().any(|r| r.open > OPENS_JUNCTION) {
        t += "in ohms it puts out enough to open junctions, so they count in what it reads\n";
    } else {
        t += "in ohms it puts out little for a junction, so it reads mostly resistors\n";
    }
    t += &format!(
        "both leads together have {}, which a short reads too\n",
        shown(m.leads, "ohm")
    );
    t + &format!("source: {}\n", m.source)
}

/// Above this a silicon junction takes a current that a resistance range
/// notices, volt. Common practice, no source.
const OPENS_JUNCTION: f64 = 0.6;

fn drive(r: &TestRange) -> String {
    match r.drive {
        Drive::Current(amps) => format!("puts out {}", shown(amps, "A")),
        Drive::Series(ohms) => format!("puts out what comes through {}", shown(ohms, "ohm")),
    }
}

fn accuracy(a: StatedAccuracy, unit: &str) -> String {
    format!(
        "{} % and {} counts of {}",
        a.percent,
        a.digits,
        shown(a.resolution, unit)
    )
}

/// The parts of a line and the places for a probe.
fn circuit(rules: &Rulebase, l: &Line) -> String {
    let mut t = String::new();
    if l.rate > 0.0 {
        t += &format!("up to {} on one wire\n", si(l.rate, "Hz"));
    }
    if let Some(s) = &l.scope {
        t += &format!("only an oscilloscope shows: {s}\n");
    }
    for p in &l.parts {
        let between = format!("{} to {}", l.nodes[p.from], l.nodes[p.to]);
        let what = match p.kind {
            PartKind::Path(k) => format!("{}, {between}", known(k, "ohm")),
            PartKind::Switch(k) => format!("{} when on, {between}", known(k, "ohm")),
            PartKind::Junction(k) => format!("junction of {} at 1 mA, {between}", known(k, "V")),
            PartKind::Capacitor(k) => format!("{}, {between}", known(k, "F")),
            PartKind::Rail { volts, amps, idle } => format!(
                "supply of {} and up to {}, {} when off, at {}",
                known(volts, "V"),
                si(amps, "A"),
                known(idle, "ohm"),
                l.nodes[p.from]
            ),
            PartKind::Shifter { gate } => {
                format!("level shifter, {between}, gate at {}", l.nodes[gate])
            }
        };
        let unit = match p.kind {
            PartKind::Rail { .. } => "V",
            _ => "ohm",
        };
        let others = p.kinds.iter().skip(1);
        let others: String = others
            .map(|(_, k)| format!(" or {}", known(*k, unit)))
            .collect();
        let guard = if p.protects { ", protects" } else { "" };
        let fitted = match p.fitted < 1.0 {
            true => format!(", on {} of 100 boards", (100.0 * p.fitted).round()),
            false => String::new(),
        };
        t += &format!(
            "{}: {what}{others}{guard}{fitted}; source: {}\n",
            p.name, p.source
        );
    }
    for (p, c) in &l.unplugged {
        let condition = &rules.bench.conditions[*c].name;
        t += &format!("open while this holds, {condition}: {}\n", l.parts[*p].name);
    }
    for p in &l.points {
        t += &format!(
            "measured at {}: {} (node {}, {} min)\n",
            p.id, p.name, l.nodes[p.node], p.minutes
        );
    }
    t
}

fn harm(l: &Line, harm: Harm) -> String {
    match harm {
        Harm::Open(p) => format!("{} open", l.parts[p].name),
        Harm::Off(p) => format!("{} not switched on", l.parts[p].name),
        Harm::Damaged(p) => format!("{} damaged", l.parts[p].name),
        Harm::Above(p) => format!("{} above its level", l.parts[p].name),
        Harm::Fed(n) => format!("{} bridged to another supply", l.nodes[n]),
        Harm::Short(p) => format!("{} bridged", l.parts[p].name),
        Harm::Leaky(p) => format!("{} leaky", l.parts[p].name),
        Harm::Resistive(p) if matches!(l.parts[p].kind, PartKind::Rail { .. }) => {
            format!("{} below its level", l.parts[p].name)
        }
        Harm::Resistive(p) => format!("{} with too much resistance", l.parts[p].name),
        Harm::Grounded(n) => format!("{} at ground", l.nodes[n]),
        Harm::LeakyNode(n) => format!("leak from {} to ground", l.nodes[n]),
        Harm::Joined(a, b) => format!("{} joined to {}", l.nodes[a], l.nodes[b]),
        Harm::Strange => "not as these rules describe it".to_owned(),
    }
}

fn known(k: Known, unit: &str) -> String {
    match k.doubt {
        Doubt::Percent(p) => format!("{} ± {p} %", si(k.typical, unit)),
        Doubt::Between(low, high) => format!("{} to {}", si(low, unit), si(high, unit)),
    }
}

/// A value with the prefix that makes it short to read.
fn si(value: f64, unit: &str) -> String {
    let (times, prefix) = [
        (1e9, "G"),
        (1e6, "M"),
        (1e3, "k"),
        (1.0, ""),
        (1e-3, "m"),
        (1e-6, "u"),
        (1e-9, "n"),
    ]
    .into_iter()
    .find(|(t, _)| value.abs() >= t * 0.9995)
    .unwrap_or((1e-12, "p"));
    let digits = format!("{:.3}", value / times);
    let digits = digits.trim_end_matches('0').trim_end_matches('.');
    format!("{digits} {prefix}{unit}")
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
fn spoken(pattern: &str) -> Vec<String> {
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

/// Adds one text that fits.
fn say(ast: &Ast, out: &mut String) {
    match ast {
        Ast::Empty(_) | Ast::Flags(_) | Ast::Assertion(_) => {}
        Ast::Literal(l) => out.push(l.c),
        Ast::Dot(_) => out.push('\''),
        Ast::ClassPerl(c) => out.push_str(match c.kind {
            regex_syntax::ast::ClassPerlKind::Digit => "5",
            regex_syntax::ast::ClassPerlKind::Space => " ",
            regex_syntax::ast::ClassPerlKind::Word => "…",
        }),
        Ast::ClassUnicode(_) => out.push('…'),
        Ast::ClassBracketed(c) => match &c.kind {
            ClassSet::Item(item) if !c.negated => out.extend(first(item)),
            _ => out.push('…'),
        },
        Ast::Group(g) => say(&g.ast, out),
        Ast::Alternation(a) => a.asts.iter().take(1).for_each(|x| say(x, out)),
        Ast::Concat(c) => c.asts.iter().for_each(|x| say(x, out)),
        Ast::Repetition(r) => {
            let least = match &r.op.kind {
                RepetitionKind::OneOrMore => 1,
                RepetitionKind::Range(
                    RepetitionRange::Exactly(n)
                    | RepetitionRange::AtLeast(n)
                    | RepetitionRange::Bounded(n, _),
                ) => *n,
                _ => 0,
            };
            let optional = matches!(r.op.kind, RepetitionKind::ZeroOrOne);
            match &*r.ast {
                // Of an apostrophe: "won't".
                Ast::Dot(_) if optional => out.push('\''),
                Ast::Dot(_) => out.push_str(" … "),
                // The rest of a word: "cam(era)".
                Ast::Group(g) if optional && !matches!(*g.ast, Ast::Alternation(_)) => {
                    let mut rest = String::new();
                    say(&g.ast, &mut rest);
                    if out.ends_with(char::is_alphabetic) && rest.chars().all(char::is_alphabetic) {
                        out.push_str(&rest);
                    }
                }
                // A hyphen or a space: "fast charge".
                Ast::ClassBracketed(_) if optional => {
                    let mut gap = String::new();
                    say(&r.ast, &mut gap);
                    out.extend(gap.chars().filter(|c| *c == ' '));
                }
                inner => (0..least).for_each(|_| say(inner, out)),
            }
        }
    }
}

/// The first character of a set.
fn first(item: &ClassSetItem) -> Option<char> {
    match item {
        ClassSetItem::Literal(l) => Some(l.c),
        ClassSetItem::Range(r) => Some(r.start.c),
        ClassSetItem::Union(u) => u.items.first().and_then(first),
        _ => Some('…'),
    }
}

#[cfg(test)]
mod tests {
    use super::spoken;

    #[test]
    fn patterns_are_told_in_words() {
        for (pattern, words) in [
            ("glare|halos?", "glare; halo"),
            (r"\bcam(era)?s?\b.{0,40}\b(black|dark)\b", "camera … black"),
            ("(won.?t|does ?n.?t) (auto.?)?focus", "won't focus"),
            ("gr[ea]y (old )?picture", "grey picture"),
            (r"(stuck|frozen) at \d+ ?%", "stuck at 5%"),
            (
                "super[ -]?charg(e|ing) (very |so )*slow",
                "super charge slow",
            ),
            ("", ""),
        ] {
            assert_eq!(spoken(pattern).join("; "), words, "{pattern}");
        }
    }
}
