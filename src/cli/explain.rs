//! `rules explain`.

mod entries;
mod line;

use entries::{entries, hazard};
use line::{meter, template};

use regex_syntax::ast::{Ast, ClassSet, ClassSetItem, RepetitionKind, RepetitionRange};

use serde::Serialize;

use super::args::Format;
use super::check::load;
use super::config::Config;
use super::error::{Failure, Result};
use super::terminal::Terminal;
use super::text::fill;
use crate::job::view::VERSION;
use crate::job::view::network::{RulesView, rules_as_network};
use crate::model::{Unit, compile};
use crate::rulebase::{Pack, nearest, slug};

/// What another program needs to know of a kind of device.
#[derive(Serialize)]
struct RulesNetwork {
    format: &'static str,
    version: u32,
    kind: String,
    rules: String,
    #[serde(flatten)]
    network: RulesView,
}

pub(super) fn explain(
    config: &Config,
    id: Option<&str>,
    kind: Option<&str>,
    terminal: &mut Terminal,
) -> Result {
    let rules = load(config)?;
    if config.format == Format::Json {
        if id.is_some() {
            return Err(Failure::Usage(
                "`--format json` prints all that the rules say of a kind of device; leave the \
                 name out"
                    .to_owned(),
            ));
        }
        let kind = kind.unwrap_or("phone");
        let unit = Unit {
            kind: kind.to_owned(),
            ..Unit::default()
        };
        let model = compile(&rules, &unit, &[], None).map_err(|e| Failure::no(e.to_string()))?;
        return terminal.json(&RulesNetwork {
            format: "halfsplit-rules",
            version: VERSION,
            kind: kind.to_owned(),
            rules: rules.fingerprint.clone(),
            network: rules_as_network(&model),
        });
    }
    if kind.is_some() {
        return Err(Failure::Usage(
            "`--kind` chooses the device for other programs: add `--format json`".to_owned(),
        ));
    }
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
    use super::entries::spoken;

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
