//! Built-in lines and all that can happen to them, for tests that try every
//! case.
#![allow(dead_code, unreachable_pub)]

use halfsplit::rulebase::{Harm, Line, PartKind, Rulebase, Rules};

/// The built-in rules.
pub fn rules() -> Rulebase {
    let loaded = Rules::default().load();
    assert!(loaded.problems.is_empty(), "{}", loaded.report(false));
    loaded.rulebase
}

/// Something that can happen to a line.
#[derive(Clone, Debug)]
pub struct Happening {
    /// The part it happens to, or the node where no part leads to ground.
    pub element: String,
    /// What happens, as rules say it.
    pub words: String,
    /// The same, typed.
    pub harm: Harm,
}

/// Resistance above which a part is a resistor and not a connection, ohm: what
/// bridges a connection changes nothing.
const RESISTOR: f64 = 1.0;

/// Everything that can happen to a line.
pub fn happenings(line: &Line) -> Vec<Happening> {
    let mut all = Vec::new();
    let mut add = |element: &str, words: String, harm: Harm| {
        all.push(Happening {
            element: element.to_owned(),
            words,
            harm,
        });
    };
    for (i, part) in line.parts.iter().enumerate() {
        // What a chip's pin brings along goes by the name of the pin.
        if part.id.contains('.') {
            continue;
        }
        let of_part = |verb: &str| format!("{verb} {}", part.id);
        add(&part.id, of_part("open"), Harm::Open(i));
        let (short, leaky, resistive) = match part.kind {
            PartKind::Path(ohms) => (ohms.typical > RESISTOR, false, true),
            PartKind::Switch(_) => (true, false, true),
            PartKind::Junction(_) | PartKind::Capacitor(_) => (true, true, false),
            PartKind::Rail { .. } | PartKind::Shifter { .. } => (true, false, false),
        };
        if short {
            add(&part.id, of_part("short"), Harm::Short(i));
        }
        if leaky {
            add(&part.id, of_part("leaky"), Harm::Leaky(i));
        }
        if resistive {
            add(&part.id, of_part("resistive"), Harm::Resistive(i));
        }
    }
    for (n, name) in line.nodes.iter().enumerate().skip(1) {
        let joins = |p: &&halfsplit::rulebase::LinePart| {
            let ends = [p.from, p.to];
            ends.contains(&n) && ends.contains(&0) && !p.id.contains('.')
        };
        if line.parts.iter().find(joins).is_none() {
            let at = format!("at-{name}");
            add(&at, format!("short {name} to ground"), Harm::Grounded(n));
            add(&at, format!("leaky {name} to ground"), Harm::LeakyNode(n));
        }
    }
    all
}
