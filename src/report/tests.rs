//! One invented job, harmless and with hostile text in every field.
//!
//! Long, because that job is drawn, printed and told in every form that there is.

use std::collections::BTreeSet;

use serde_json::{Value, json};

use super::svg::{Course, Room};
use super::*;
use crate::job::ClosingState;
use crate::job::trail::{TrailKind, TrailStep};

/// A handheld console with a dead left speaker: a swollen battery has pressed
/// the speaker's contacts out of shape.
fn trail() -> Trail {
    let moment = |posteriors: [f64; 7], nothing: f64, bits: f64, advised: &Value| {
        let faults = [
            (
                "sound.contacts.open",
                "contacts of the left speaker: open",
                "sound.contacts",
                "interconnect",
            ),
            (
                "sound.speaker.open",
                "left speaker: coil open",
                "sound.speaker",
                "part",
            ),
            (
                "power.battery.swollen",
                "battery: swollen",
                "power.battery",
                "part",
            ),
            (
                "sound.amplifier.dead",
                "amplifier: dead",
                "sound.amplifier",
                "board",
            ),
            (
                "sound.balance.wrong",
                "balance: all to the right",
                "sound.balance",
                "setting",
            ),
            (
                "sound.mixer.stopped",
                "sound service: stopped",
                "sound.mixer",
                "software",
            ),
            (
                "sound.line.short",
                "left output line: short to ground",
                "sound.line",
                "board",
            ),
        ];
        let mut suspects: Vec<Value> = faults
            .iter()
            .zip(posteriors)
            .map(|(f, p)| {
                json!({"fault": f.0, "name": f.1, "item": f.2, "where": f.3, "posterior": p})
            })
            .collect();
        suspects.sort_by(|a, b| {
            b["posterior"]
                .as_f64()
                .unwrap()
                .total_cmp(&a["posterior"].as_f64().unwrap())
        });
        let others: Vec<Value> = suspects
            .split_off(6)
            .iter()
            .map(|s| json!({"name": s["fault"], "posterior": s["posterior"]}))
            .collect();
        let places: Vec<Value> = ["software", "setting", "part", "interconnect", "board"]
            .iter()
            .map(|w| {
                let p: f64 = faults
                    .iter()
                    .zip(posteriors)
                    .filter(|(f, _)| f.3 == *w)
                    .map(|(_, p)| p)
                    .sum();
                json!({"name": w, "posterior": p.min(1.0)})
            })
            .collect();
        json!({"suspects": suspects, "others": others, "where": places, "nothing_found": nothing,
               "conflict_bits": bits, "advised": advised})
    };
    let advised = |text: &str, id: &str, why: &str, minutes: f64, cautions: &[&str]| json!({"text": text, "id": id, "why": why, "minutes": minutes, "cautions": cautions});
    let lithium = "Lithium cell inside. No metal or sharp tool against it.";
    let unpowered = "Disconnect the battery before resistance mode.";
    let balance = advised(
        "Is the balance in the sound settings in the middle?",
        "sound.look-balance",
        "rules a few suspects in or out: yes 88 %, no 12 %; costs next to nothing",
        1.0,
        &[],
    );
    let phones = advised(
        "Is the left channel heard on headphones?",
        "sound.headphones",
        "halves the suspects: yes 71 %, no 29 %",
        3.0,
        &[],
    );
    let ohms = advised(
        "Resistance across the contacts of the left speaker",
        "sound.speaker-ohms",
        "splits the suspects well: about 8 ohm 46 %, OL 54 %",
        14.0,
        &[lithium, unpowered],
    );
    let look = advised(
        "Does the battery lie flat, with no bulge?",
        "power.battery-look",
        "splits the suspects well: flat 40 %, bulged 60 %",
        2.0,
        &[lithium],
    );
    let battery = advised(
        "Replace the battery",
        "power.replace-battery",
        "would mend it with 35 %; against battery: swollen (98 %)",
        20.0,
        &[lithium],
    );
    let bend = advised(
        "Clean the speaker contacts and bend them up",
        "sound.bend-contacts",
        "would mend it with 84 %; against contacts of the left speaker: open (91 %)",
        8.0,
        &[lithium],
    );
    let retest = advised(
        "Does a test tone come from both speakers?",
        "sound.tone",
        "halves the suspects: yes 84 %, no 16 %; costs next to nothing",
        1.0,
        &[],
    );

    let at = |clock: &str| format!("2031-03-04T{clock}:00+01:00");
    serde_json::from_value(json!({
        "version": 1,
        "job": 214,
        "title": "No sound from the left speaker",
        "kind": "handheld-console",
        "model": "Marl 4",
        "variant": "board C",
        "serial": "MR4-00817",
        "complaint": "Left speaker crackled for a week, now nothing.\nThe back cover creaks as well.",
        "symptoms": ["one speaker is silent"],
        "history": ["Has it been hot, left in a car or worked hard for long?"],
        "opened": at("09:05"),
        "intake": moment([0.27, 0.31, 0.05, 0.12, 0.14, 0.06, 0.04], 0.03, 0.0, &balance),
        "steps": [
            {"number": 1, "at": at("09:07"), "kind": "result", "id": "sound.look-balance",
             "text": "Is the balance in the sound settings in the middle?", "shows": "yes",
             "misread": 0.01,
             "after": moment([0.33, 0.38, 0.06, 0.14, 0.01, 0.06, 0.05], 0.03, 0.1, &phones)},
            {"number": 2, "at": at("09:12"), "kind": "unclear", "id": "sound.headphones",
             "text": "Is the left channel heard on headphones?",
             "note": "The socket crackles too, needs a clean plug.",
             "after": moment([0.33, 0.38, 0.06, 0.14, 0.01, 0.06, 0.05], 0.03, 0.1, &phones)},
            {"number": 3, "at": at("09:20"), "kind": "result", "id": "sound.headphones",
             "text": "Is the left channel heard on headphones?", "shows": "yes",
             "misread": 0.03,
             "after": moment([0.42, 0.47, 0.07, 0.02, 0.01, 0.004, 0.02], 0.02, 0.2, &ohms)},
            {"number": 4, "at": at("09:31"), "kind": "result", "id": "sound.speaker-ohms",
             "text": "Resistance across the contacts of the left speaker",
             "shows": "7.9 ohm: as it should be", "reads": "7.9 ohm", "says": "as it should be", "misread": 0.12,
             "manner": "measure", "cautions": ["lithium", "unpowered"],
             "moved": "contacts of the left speaker: open would stand at 81 %, not 76 %",
             "after": moment([0.76, 0.08, 0.31, 0.05, 0.01, 0.005, 0.03], 0.02, 1.6, &look)},
            {"number": 5, "at": at("09:33"), "kind": "result", "id": "power.battery-look",
             "text": "Does the battery lie flat, with no bulge?", "shows": "no, it bulges",
             "misread": 0.004, "manner": "look", "cautions": ["lithium"],
             "after": moment([0.88, 0.05, 0.98, 0.02, 0.01, 0.003, 0.01], 0.0, 0.9, &battery)},
            {"number": 6, "at": at("09:34"), "kind": "note", "text": "Owner agreed by phone; cell is in the safe box.",
             "after": moment([0.88, 0.05, 0.98, 0.02, 0.01, 0.003, 0.01], 0.0, 0.9, &battery)},
            {"number": 7, "at": at("09:58"), "kind": "remedy", "id": "power.replace-battery",
             "text": "Replace the battery", "note": "Donor from unit MR4-00102.",
             "cautions": ["lithium"],
             "items": [{"item": "power.battery", "name": "battery", "where": "part"}],
             "was_there": [{"fault": "power.battery.swollen", "name": "battery: swollen",
                            "item": "power.battery", "where": "part", "posterior": 0.99}],
             "after": moment([0.91, 0.05, 0.01, 0.02, 0.01, 0.003, 0.01], 0.03, 0.9, &bend)},
            {"number": 8, "at": at("10:09"), "kind": "remedy", "id": "sound.bend-contacts",
             "text": "Clean the speaker contacts and bend them up", "cautions": ["lithium"],
             "items": [{"item": "sound.contacts", "name": "contacts of the left speaker",
                        "where": "interconnect"}],
             "was_there": [{"fault": "sound.contacts.open",
                            "name": "contacts of the left speaker: open",
                            "item": "sound.contacts", "where": "interconnect",
                            "posterior": 0.97}],
             "after": moment([0.08, 0.05, 0.01, 0.02, 0.01, 0.003, 0.01], 0.84, 0.9, &retest)},
            {"number": 9, "at": at("10:11"), "kind": "result", "id": "sound.tone",
             "text": "Does a test tone come from both speakers?", "shows": "yes, it works",
             "misread": 0.01,
             "after": moment([0.004, 0.003, 0.004, 0.001, 0.0, 0.0, 0.001], 0.986, 0.9, &Value::Null)},
            {"number": 10, "kind": "cannot", "id": "power.run-down",
             "text": "Does the device run for an hour on the battery alone?", "note": "Owner waits at the counter.",
             "after": moment([0.004, 0.003, 0.004, 0.001, 0.0, 0.0, 0.001], 0.986, 0.9, &Value::Null)}
        ],
        "ended": "mended",
        "reason": "The swollen battery had pressed the speaker contacts out of shape.",
        "closed": at("10:20"),
        "remedies": ["Replace the battery", "Clean the speaker contacts and bend them up"],
        "proved": ["both speakers are heard", "the battery takes charge"],
        "unproved": ["the headphones are heard"],
        "cautions": [{"id": "lithium", "text": lithium}, {"id": "unpowered", "text": unpowered}],
        "lines": [line()],
        "rules": "5be1f0c29a77d3410d6f5be1f0c29a77d3410d6f5be1f0c29a77d3410d6f0001"
    }))
    .unwrap()
}

/// The left speaker's wire, with one of everything that is drawn.
fn line() -> Value {
    json!({
        "line": "sound.left", "name": "wire of the left speaker", "fast": true, "entries": 4,
        "at_fault": 0.93,
        "wires": [
            [
                {"node": "coil", "branches": [
                    {"part": {"part": "coil", "name": "coil", "kind": "path", "value": "8 ohm", "posterior": 0.08}, "to": "ground"}],
                 "onward": {"part": "contact", "name": "contact", "kind": "path", "posterior": 0.76}},
                {"node": "pad",
                 "point": {"point": "pad", "name": "pad of the speaker", "readings": [
                    {"entry": 4, "test": "sound.speaker-ohms", "mode": "ohms", "reads": "7.9 ohm",
                     "good": "6.8 ohm to 9.2 ohm", "shows": "good", "misread": 0.12,
                     "before_remedy": true}]},
                 "bridges": [{"to": "ground", "says": "short to ground", "posterior": 0.03}],
                 "branches": [
                    {"part": {"part": "output", "name": "output of the amplifier", "kind": "pin", "posterior": 0.05},
                     "to": "supply",
                     "end": {"node": "supply", "branches": [
                        {"part": {"part": "supply", "name": "supply", "kind": "supply", "value": "3.8 V"}, "to": "ground"}]}}]}
            ],
            [{"node": "back", "onward": {"part": "return", "name": "return", "kind": "path"}}, {"node": "end"}]
        ],
        "causes": [{"fault": "sound.contacts.open", "name": "contacts of the left speaker: open",
                    "does": "contact open", "posterior": 0.76}],
        "next": {"point": "pad", "mode": "diode", "rank": 2, "step": {
            "act": "test", "id": "sound.pad-diode", "text": "In diode mode, what does the pad read?",
            "minutes": 2.0, "moving_minutes": 0.0, "parts": 0.0, "gain_bits": 0.2,
            "expected_cost": 20.0, "outcomes": [], "prepare": [], "tools": [], "cautions": [],
            "why": "tells a little"}}
    })
}

const HOSTILE: &str = " <script>alert(1)</script><img src=x onerror=y> \"onload=\" '/> ]]> --> \
    | a | \n# head\n\n---\n- item\r\n1. one\n> quote\n```\nfence\n| a |\n|---|\n    code\n\
    [x](javascript:y) ![z](w) <http://e.example> http://e.example www.e.example *b* _i_ ~~s~~ \
    &lt; &#60; {{ a }} {% b %} $x$ \\ \u{202e}txet\u{202c} \u{2067}\u{5e9}\u{5dc}\u{5d5}\u{5dd} \
    \u{0}\u{7}\u{1b}[31m \u{ffff} \u{2028}end\\";

/// Calls `change` on every text with its key.
fn texts(v: &mut Value, key: &str, change: &mut dyn FnMut(&str, &mut String)) {
    match v {
        Value::String(s) => change(key, s),
        Value::Array(all) => all.iter_mut().for_each(|v| texts(v, key, change)),
        Value::Object(map) => map.iter_mut().for_each(|(k, v)| texts(v, k, change)),
        _ => {}
    }
}

fn changed(t: &Trail, mut change: impl FnMut(&str, &mut String)) -> Trail {
    let mut v = serde_json::to_value(t).unwrap();
    texts(&mut v, "", &mut change);
    serde_json::from_value(v).unwrap()
}

/// Fields that hold one of a few words.
const ONE_OF: [&str; 5] = ["act", "kind", "manner", "mode", "ended"];

/// Hostile text at the end of every field, but for the words that decide what
/// kind of step it is, how the job ended and whether a battery is concerned.
fn hostile() -> Trail {
    changed(&trail(), |key, s| {
        if !ONE_OF.contains(&key) && s != "lithium" {
            s.push_str(HOSTILE);
        }
    })
}

/// Nothing but hostile text, in every field that takes any.
fn all_hostile() -> Trail {
    let all = changed(&trail(), |key, s| {
        if !ONE_OF.contains(&key) {
            *s = HOSTILE.to_owned();
        }
    });
    Trail {
        // Of the device, which may be any text.
        kind: HOSTILE.to_owned(),
        ..all
    }
}

fn parsed(page: &str) -> roxmltree::Document<'_> {
    let page = page.trim_start().trim_start_matches("<!DOCTYPE html>");
    roxmltree::Document::parse(page.trim_start()).expect("well-formed")
}

/// Element and attribute names.
fn names(page: &str) -> BTreeSet<String> {
    parsed(page)
        .descendants()
        .filter(|n| n.is_element())
        .flat_map(|n| {
            let tag = n.tag_name().name().to_owned();
            let attributes: Vec<String> = n
                .attributes()
                .map(|a| format!("{tag} {}", a.name()))
                .collect();
            std::iter::once(tag).chain(attributes)
        })
        .collect()
}

fn outputs(t: &Trail) -> [String; 4] {
    [
        html(t, Audience::Bench).unwrap(),
        html(t, Audience::Customer).unwrap(),
        course(t).unwrap(),
        line_picture(&t.lines[0]).unwrap(),
    ]
}

/// The numbers before a per cent sign.
fn percents(text: &str) -> Vec<String> {
    let shown = text.replace('\u{a0}', " ");
    let ends = shown.match_indices(" %").map(|(at, _)| &shown[..at]);
    ends.map(|head| head.rsplit(' ').next().unwrap_or_default().to_owned())
        .collect()
}

#[test]
fn what_rests_on_a_list_is_no_sharper_than_its_bound() {
    let with = |left_out: f64| -> Vec<String> {
        let mut t = trail();
        let after = t.steps.iter_mut().map(|s| &mut s.after);
        for m in std::iter::once(&mut t.intake).chain(after) {
            m.left_out = left_out;
            // What is advised has words of its own.
            m.advised = None;
        }
        t.steps.iter_mut().for_each(|s| s.moved = None);
        t.lines.iter_mut().for_each(|l| l.left_out = left_out);
        let drawn = line_text(&t.lines[0], 72);
        let bench = markdown(&t, Audience::Bench);
        let pages = outputs(&t).map(|page| visible(&page));
        let all = pages.into_iter().chain([bench, drawn]);
        let scale = ["0", "25", "50", "75", "100"];
        let all = all.flat_map(|page| percents(&page));
        all.filter(|p| !scale.contains(&p.as_str())).collect()
    };
    let plain = with(0.0);
    assert!(plain.len() > 50 && !plain.iter().any(|p| p.contains('–')));
    let ranges = with(0.05);
    assert!(ranges.len() > 50);
    for p in &ranges {
        assert!(p.contains('–') || p.contains('-'), "{p}");
    }
    assert_eq!(with(0.15), [""; 0]);
}

#[test]
fn hostile_text_makes_no_markup() {
    let plain = outputs(&trail());
    for t in [hostile(), all_hostile()] {
        for (bad, good) in outputs(&t).iter().zip(&plain) {
            let new: Vec<String> = names(bad).difference(&names(good)).cloned().collect();
            assert_eq!(new, Vec::<String>::new());
            assert!(!bad.contains("<script"), "script");
            assert!(!bad.contains("]]>"), "end of a section");
            assert!(
                !bad.contains(['\u{202e}', '\u{2067}', '\u{0}', '\u{1b}']),
                "controls"
            );
            assert_eq!(bad.matches("<!--").count() + bad.matches("-->").count(), 0);
        }
    }
}

#[test]
fn pages_hold_what_the_policy_says_and_nothing_from_outside() {
    for page in &outputs(&hostile())[..2] {
        assert!(
            page.contains(
                "content=\"default-src 'none'; style-src 'unsafe-inline'; img-src data:\""
            )
        );
        for n in parsed(page).descendants().filter(|n| n.is_element()) {
            assert!(
                ![
                    "script", "link", "a", "img", "iframe", "object", "form", "base"
                ]
                .contains(&n.tag_name().name())
            );
            for a in n.attributes() {
                assert!(!a.name().starts_with("on"), "{}", a.name());
                assert!(
                    !["href", "src", "action"].contains(&a.name()),
                    "{}",
                    a.name()
                );
                // Only lengths of bars stand in style attributes.
                if a.name() == "style" {
                    let bar = a
                        .value()
                        .strip_prefix("width:")
                        .and_then(|v| v.strip_suffix('%'));
                    assert!(
                        bar.is_some_and(|b| b.parse::<u8>().is_ok()),
                        "{}",
                        a.value()
                    );
                }
            }
        }
    }
    for template in [
        include_str!("templates/trail_base.html"),
        include_str!("templates/trail_bench.html"),
        include_str!("templates/trail_customer.html"),
        include_str!("templates/course.svg"),
        include_str!("templates/line.svg"),
    ] {
        let tight = template.replace(' ', "");
        assert!(
            !tight.contains("|safe") && !tight.contains("escape"),
            "escaping is off"
        );
    }
}

/// What begins a line of Markdown and gives it its meaning.
fn shape(line: &str) -> &str {
    let text = line.trim_start();
    let indent = line.len() - text.len();
    let mark = ["## ", "# ", "> ", "- "]
        .iter()
        .find(|m| text.starts_with(**m))
        .map_or_else(
            || {
                let digits = text.chars().take_while(char::is_ascii_digit).count();
                if digits > 0 && text[digits..].starts_with(". ") {
                    digits + 2
                } else {
                    0
                }
            },
            |m| m.len(),
        );
    &line[..indent + mark]
}

#[test]
fn hostile_text_makes_no_markdown() {
    for audience in [Audience::Bench, Audience::Customer] {
        let bad = markdown(&hostile(), audience);
        let good = markdown(&trail(), audience);
        // The quoted complaint has more lines, as it was typed in more lines.
        let shapes = |text: &str| -> Vec<String> {
            text.lines()
                .filter(|l| !l.starts_with('>'))
                .map(|l| shape(l).to_owned())
                .collect()
        };
        assert_eq!(shapes(&bad), shapes(&good));
        let mut left = String::new();
        let mut all = bad.chars();
        while let Some(c) = all.next() {
            if c == '\\' {
                all.next();
            } else {
                left.push(c);
            }
        }
        for c in [
            '<', '`', '[', ']', '|', '_', '~', '$', '&', '\u{202e}', '\u{0}',
        ] {
            assert!(!left.contains(c), "{c:?} is not escaped");
        }
        assert!(!left.contains("http://") && !left.contains("www."));
        // Ours are the only stars: pairs around a bold word.
        for line in left.lines() {
            assert_eq!(line.replace("**", "").matches('*').count(), 0, "{line}");
            assert_eq!(line.matches("**").count() % 2, 0, "{line}");
        }
        markdown(&all_hostile(), audience);
    }
}

#[test]
fn typed_text_cannot_begin_a_block() {
    for (typed, escaped) in [
        ("- a", "\\- a"),
        ("+ a", "\\+ a"),
        ("1. a", "1\\. a"),
        ("12) a", "12\\) a"),
        ("1.", "1\\."),
        ("09:05", "09:05"),
        ("1.5 V at pin 2", "1.5 V at pin 2"),
        ("3.3 V - fine", "3.3 V - fine"),
        ("===", "\\==="),
        ("a: b", "a: b"),
        (":boom:", "\\:boom:"),
        ("a|b <i> *c*", "a\\|b \\<i\\> \\*c\\*"),
    ] {
        assert_eq!(super::markdown::escape(typed), escaped);
    }
}

/// The text a reader sees, styles left out.
fn visible(page: &str) -> String {
    parsed(page)
        .descendants()
        .filter(|n| n.is_text() && n.parent().is_none_or(|p| p.tag_name().name() != "style"))
        .filter_map(|n| n.text())
        .collect::<Vec<_>>()
        .join(" ")
}

#[test]
fn customers_see_no_numbers_identifiers_or_remarks() {
    let mut marked = changed(&trail(), |key, s| {
        let bench_only = [
            "note", "moved", "rules", "why", "fault", "item", "where", "variant", "title",
        ];
        // Identifiers of steps; those of cautions are looked up.
        let step = key == "id" && s.contains('.');
        if bench_only.contains(&key) || step {
            *s = format!("zz{key}zz");
        }
    });
    for s in &mut marked.steps {
        if s.kind == TrailKind::Note {
            s.text = "zzremarkzz".to_owned();
        }
        if let Some(a) = &mut s.after.advised {
            a.text = "zzadvicezz".to_owned();
        }
    }
    let page = html(&marked, Audience::Customer).unwrap();
    assert!(!page.contains("zz"), "{page}");
    for text in [markdown(&marked, Audience::Customer), visible(&page)] {
        assert!(!text.contains("zz"), "{text}");
        assert!(!text.contains('%'), "{text}");
        for word in [
            "misread",
            "suspect",
            "likely",
            "halves",
            "lithium",
            "amplifier",
            "coil open",
            "MR4-00102",
            "5be1f0c29a77",
        ] {
            assert!(!text.contains(word), "{word} in {text}");
        }
        assert!(text.contains("both speakers are heard"));
        assert!(text.contains("contacts of the left speaker: open"));
        assert!(text.contains("Not yet shown to work again: the headphones are heard"));
        assert!(text.contains("collection point"));
    }
    assert!(markdown(&marked, Audience::Bench).contains("zzremarkzz"));
}

#[test]
fn a_test_that_the_rules_no_longer_know_is_not_named_to_the_customer() {
    let mut t = trail();
    t.steps[0].text = "sound.look-balance".to_owned();
    t.steps[0].shows = Some("in-the-middle".to_owned());
    t.history.push("earlier-repair".to_owned());
    t.history_gone.push("earlier-repair".to_owned());
    let text = markdown(&t, Audience::Customer);
    assert!(
        text.contains("- Another check\n  - Result: in the middle"),
        "{text}"
    );
    assert!(!text.contains("look-balance") && !text.contains("earlier-repair"));
}

#[test]
fn battery_word_follows_the_cautions_of_the_steps() {
    let mut t = trail();
    let has = |t: &Trail| markdown(t, Audience::Customer).contains("## About batteries");
    let near = |t: &Trail| markdown(t, Audience::Customer).contains("close to the battery");
    assert!(has(&t) && near(&t));
    // Words do not matter.
    for s in &mut t.steps {
        s.cautions.retain(|c| c != "lithium");
    }
    assert!(!has(&t));
    // A cell that may be swollen, seen at a step that did not touch it.
    t.steps[4].cautions = vec!["swollen-cell".to_owned()];
    assert!(has(&t) && !near(&t));
    t.steps[4].kind = TrailKind::Cannot;
    assert!(!has(&t));
    // Handed back before the battery was replaced, which was the next step.
    t.steps.truncate(5);
    t.ended = Some(ClosingState::NotWorthIt);
    assert!(has(&t) && !near(&t));
}

#[test]
fn what_was_wrong_is_said_as_far_as_it_is_known() {
    let says = |t: &Trail| {
        let text = markdown(t, Audience::Customer);
        let (_, rest) = text
            .split_once("## What was wrong\n")
            .unwrap_or(("", "no section"));
        let end = rest.find("##").unwrap_or(rest.len());
        rest[..end].trim().replace("\n\n", "\n")
    };
    let mut t = trail();
    assert_eq!(
        says(&t),
        "Our checks point to this:\n- battery: swollen\n- contacts of the left speaker: open"
    );
    for s in &mut t.steps {
        for w in &mut s.was_there {
            w.posterior = 0.4;
        }
    }
    assert_eq!(
        says(&t),
        "It lay here; more closely it cannot be told:\n- battery\n- contacts of the left speaker"
    );
    t.ended = Some(ClosingState::NoFaultFound);
    assert_eq!(says(&t), "Our checks showed nothing wrong.");
    t.ended = None;
    assert_eq!(says(&t), "That is not known yet.");
    t.steps.truncate(5);
    assert_eq!(
        says(&t),
        "Most likely this, though it is not proved:\n- battery: swollen\n\
         - contacts of the left speaker: open"
    );
}

#[test]
fn a_repeated_check_points_to_the_one_that_counts() {
    let mut t = trail();
    t.steps[2].repeated_in = Some(9);
    t.steps[2].misread = None;
    let bench = visible(&html(&t, Audience::Bench).unwrap());
    assert!(bench.contains("repeated in step 9, whose result counts"));
    let customer = markdown(&t, Audience::Customer);
    assert!(
        customer.contains("heard on headphones? (checked again later)"),
        "{customer}"
    );
}

#[test]
fn each_caution_stands_once_with_its_steps() {
    let text = markdown(&trail(), Audience::Bench);
    assert!(text.contains("against it. (steps 4, 5 and 7, 8)"), "{text}");
    assert_eq!(text.matches("No metal or sharp tool").count(), 1);
    use super::words::steps;
    assert_eq!(steps(&[4]), "step 4");
    assert_eq!(steps(&[1, 2, 3, 7]), "steps 1 to 3 and 7");
    assert_eq!(steps(&[1, 3, 4, 9]), "steps 1, 3, 4 and 9");
}

#[test]
fn bench_marks_doubt_and_conflict() {
    let t = trail();
    let page = html(&t, Audience::Bench).unwrap();
    for text in [
        markdown(&t, Audience::Bench).replace('\\', ""),
        visible(&page),
    ] {
        assert_eq!(text.matches("may have been misread: 12 %").count(), 1);
        assert_eq!(
            text.matches("hese results do not fit together well")
                .count(),
            1
        );
        assert!(text.contains("5be1f0c29a77") && !text.contains("5be1f0c29a77d"));
        assert!(text.contains("4 Mar 2031, 09:05") && text.contains("09:31"));
        assert!(text.contains("would stand at 81 %"));
        assert!(text.contains("Owner agreed by phone"));
    }
}

/// Baselines of all rows of all labels, and the size of the letters.
fn label_rows(page: &str) -> (Vec<f64>, f64, f64) {
    let page = parsed(page);
    let number = |n: roxmltree::Node<'_, '_>, a: &str| n.attribute(a).unwrap().parse().unwrap();
    let svg = page.root_element();
    let rows = page
        .descendants()
        .filter(|n| n.attribute("class") == Some("label"))
        .flat_map(|n| n.children().filter(|c| c.is_element()))
        .map(|n| number(n, "y"))
        .collect();
    (rows, number(svg, "font-size"), number(svg, "height"))
}

#[test]
fn labels_never_overlap() {
    let level = |p: [f64; 6]| {
        let mut t = trail();
        let long = "a name that is so long that it has to be broken into several rows and cut";
        for m in std::iter::once(&mut t.intake).chain(t.steps.iter_mut().map(|s| &mut s.after)) {
            m.suspects = (0..6)
                .map(|i| crate::job::view::Suspect {
                    fault: format!("f{i}"),
                    name: format!("{long} {i}"),
                    item: String::new(),
                    r#where: "part".to_owned(),
                    posterior: 0.3,
                })
                .collect();
        }
        for (s, p) in t.steps.last_mut().unwrap().after.suspects.iter_mut().zip(p) {
            s.posterior = p;
        }
        t
    };
    for t in [
        trail(),
        hostile(),
        Trail::default(),
        level([0.0; 6]),
        level([1.0; 6]),
        level([0.5; 6]),
        level([1.0, 1.0, 1.0, 0.0, 0.0, 0.0]),
        level([f64::NAN, f64::INFINITY, -1.0, 0.4, 0.41, 0.42]),
    ] {
        for room in [Room::Page, Room::Phone] {
            let picture = CoursePicture {
                course: Course::new(&t, room),
            }
            .render()
            .unwrap();
            let (mut rows, font, height) = label_rows(&picture);
            rows.sort_by(f64::total_cmp);
            assert!(!rows.is_empty());
            for pair in rows.windows(2) {
                assert!(pair[1] - pair[0] >= font + 1.9, "{room:?} {rows:?}");
            }
            assert!(
                rows[0] >= font && rows[rows.len() - 1] <= height - 4.0,
                "{rows:?}"
            );
            assert!(!picture.contains("NaN") && !picture.contains("inf"));
        }
    }
}

#[test]
fn the_course_draws_who_mattered_and_marks_remedies() {
    let picture = course(&trail()).unwrap();
    let page = parsed(&picture);
    let titles: Vec<&str> = page
        .descendants()
        .filter(|n| n.attribute("class") == Some("suspect"))
        .filter_map(|n| n.first_element_child()?.text())
        .collect();
    // The output line never rose above 8 %, the sound service neither.
    assert_eq!(
        titles,
        [
            "battery: swollen",
            "contacts of the left speaker: open",
            "left speaker: coil open",
            "balance: all to the right",
            "amplifier: dead",
            "nothing wrong",
        ]
    );
    assert!(picture.contains("Remedy, step 7") && picture.contains("Remedy, step 8"));
    assert!(picture.contains("Remedies at step 7, 8."));
    let dashes: BTreeSet<&str> = page
        .descendants()
        .filter_map(|n| n.attribute("stroke-dasharray"))
        .collect();
    assert_eq!(
        dashes.len(),
        5,
        "two whole lines, told apart by weight and mark"
    );
}

/// The runs of each suspect's line, with its name.
fn runs(picture: &str) -> Vec<(String, Vec<String>)> {
    parsed(picture)
        .descendants()
        .filter(|n| n.attribute("class") == Some("suspect"))
        .map(|n| {
            let name = n.first_element_child().unwrap().text().unwrap();
            let path = n
                .children()
                .find(|c| c.attribute("class") == Some("run"))
                .unwrap();
            let runs = path.attribute("d").unwrap().split('M').skip(1);
            (name.to_owned(), runs.map(str::to_owned).collect())
        })
        .collect()
}

#[test]
fn lines_have_gaps_only_where_nothing_was_kept() {
    let mut t = trail();
    for (name, runs) in runs(&course(&t).unwrap()) {
        assert_eq!(runs.len(), 1, "{name}");
        assert_eq!(runs[0].matches('L').count(), t.steps.len(), "{name}");
    }
    assert!(!course(&t).unwrap().contains("gap:"));
    // A job of old, in which the balance left the list after the first step.
    for m in std::iter::once(&mut t.intake).chain(t.steps.iter_mut().map(|s| &mut s.after)) {
        m.others = None;
    }
    for s in &mut t.steps[1..4] {
        s.after.suspects.iter_mut().for_each(|s| {
            if s.fault == "sound.balance.wrong" {
                s.fault = "sound.line.short".to_owned();
            }
        });
    }
    let picture = course(&t).unwrap();
    assert!(picture.contains("gap: not listed then"));
    let balance = runs(&picture)
        .into_iter()
        .find(|r| r.0.starts_with("balance"))
        .unwrap();
    assert!(balance.1.len() > 1, "{balance:?}");
}

#[test]
fn a_job_without_steps_has_no_course() {
    let mut t = trail();
    t.steps.clear();
    t.lines.clear();
    t.ended = None;
    let page = html(&t, Audience::Bench).unwrap();
    assert!(!page.contains("<svg") && page.contains("Nothing has been done yet."));
    assert!(visible(&page).contains("Is the balance in the sound settings"));
    // Drawn all the same, it shows points and no lines.
    for (name, runs) in runs(&course(&t).unwrap()) {
        assert!(runs.iter().all(|r| !r.contains('L')), "{name}");
    }
}

#[test]
fn moments_of_old_are_read() {
    let old = r#"{"suspects":[],"where":[],"nothing_found":0.25,"conflict_bits":0.0}"#;
    let m: crate::job::trail::Moment = serde_json::from_str(old).unwrap();
    assert_eq!((m.nothing_found, m.others), (0.25, None));
}

#[test]
fn many_steps_and_none_are_drawn_in_bounds() {
    let mut many = trail();
    let step = many.steps[4].clone();
    many.steps = (1..=90).map(|n| numbered(n, &step)).collect();
    let mut none = trail();
    none.steps.clear();
    for t in [many, none, Trail::default()] {
        let picture = course(&t).unwrap();
        let page = parsed(&picture);
        let ticks: Vec<f64> = page
            .descendants()
            .find(|n| n.attribute("class") == Some("ticks"))
            .unwrap()
            .children()
            .filter(|n| n.has_tag_name(("http://www.w3.org/2000/svg", "text")))
            .filter(|n| n.text() != Some("step"))
            .map(|n| n.attribute("x").unwrap().parse().unwrap())
            .collect();
        assert!(ticks.windows(2).all(|p| p[1] - p[0] >= 20.0), "{ticks:?}");
        assert!(ticks.iter().all(|x| (40.0..=460.0).contains(x)));
        html(&t, Audience::Bench).unwrap();
        html(&t, Audience::Customer).unwrap();
        markdown(&t, Audience::Bench);
        markdown(&t, Audience::Customer);
    }
}

/// A step under another number.
fn numbered(number: usize, step: &TrailStep) -> TrailStep {
    TrailStep {
        number,
        ..step.clone()
    }
}

#[test]
fn times_are_shown_as_they_were_written() {
    use super::words::{day, later, moment};
    let evening = "2031-03-04T23:31:05.25Z";
    assert_eq!(moment("2031-03-04T09:31:00+01:00"), "4 Mar 2031, 09:31");
    assert_eq!(moment(evening), "4 Mar 2031, 23:31 UTC");
    assert_eq!(moment("last\n<Tuesday>"), "last <Tuesday>");
    assert_eq!(later(evening, "2031-03-04T09:31:00Z"), "23:31 UTC");
    assert_eq!(later(evening, "2031-03-05T09:31:00Z"), moment(evening));
    assert_eq!(later(evening, ""), moment(evening));
    assert_eq!(day(evening), "4 March 2031");
    assert_eq!(day(""), "");
}

#[test]
fn bench_markdown() {
    insta::assert_snapshot!(markdown(&trail(), Audience::Bench));
}

#[test]
fn customer_markdown() {
    insta::assert_snapshot!(markdown(&trail(), Audience::Customer));
}

/// Writes the pages to look at: `cargo test --lib report -- --ignored`.
#[test]
#[ignore = "writes files"]
fn pages_to_look_at() {
    let to = std::env::temp_dir().join("halfsplit-report");
    std::fs::create_dir_all(&to).unwrap();
    let mut many = trail();
    let steps = many.steps.clone();
    many.steps = (0..60)
        .map(|n| numbered(n + 1, &steps[n % steps.len()]))
        .collect();
    for (name, t) in [("plain", trail()), ("hostile", hostile()), ("many", many)] {
        let [bench, customer, picture, line] = outputs(&t);
        for (kind, text) in [
            ("bench.html", bench),
            ("customer.html", customer),
            ("course.svg", picture),
            ("line.svg", line),
            ("bench.md", markdown(&t, Audience::Bench)),
            ("customer.md", markdown(&t, Audience::Customer)),
        ] {
            std::fs::write(to.join(format!("{name}-{kind}")), text).unwrap();
        }
    }
}
