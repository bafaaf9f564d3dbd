//! What a customer's own words say.

use super::Model;

/// A symptom recognised in free text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Heard {
    /// The symptom, by index.
    pub symptom: usize,
    /// The words that gave it away.
    pub words: String,
}

/// Finds the symptoms that a text speaks of, the most telling first. Where the
/// text names one copy ("the front camera"), only that copy's count; where a
/// particular symptom is heard, the general one of the same copy is dropped.
pub fn recognise(model: &Model, text: &str) -> Vec<Heard> {
    let lower = text.to_lowercase();
    let mut heard: Vec<Heard> = Vec::new();
    for (symptom, s) in model.symptoms.iter().enumerate() {
        let best = s
            .hear
            .iter()
            .filter_map(|r| r.find(&lower))
            .max_by_key(|m| m.len());
        if let Some(m) = best {
            heard.push(Heard {
                symptom,
                words: m.trim().to_owned(),
            });
        }
    }
    // Which copies the text names: by all words of the name, else by its
    // telling words (front, rear, left, right).
    let named = |copy: &str| {
        copy.split_whitespace().next().is_some_and(|first| {
            lower
                .split(|c: char| !c.is_alphanumeric())
                .any(|w| w == first)
        })
    };
    let any_named: Vec<&str> = model
        .symptoms
        .iter()
        .filter_map(|s| s.copy.as_deref())
        .filter(|c| named(c))
        .collect();
    if !any_named.is_empty() {
        let packs: Vec<&str> = model
            .symptoms
            .iter()
            .filter(|s| s.copy.as_deref().is_some_and(|c| any_named.contains(&c)))
            .map(|s| s.pack.as_str())
            .collect();
        heard.retain(|h| {
            let s = &model.symptoms[h.symptom];
            match &s.copy {
                Some(c) => !packs.contains(&s.pack.as_str()) || any_named.contains(&c.as_str()),
                None => true,
            }
        });
    }
    let particular: Vec<(String, Option<String>)> = heard
        .iter()
        .map(|h| &model.symptoms[h.symptom])
        .filter(|s| !s.general)
        .map(|s| (s.pack.clone(), s.copy.clone()))
        .collect();
    heard.retain(|h| {
        let s = &model.symptoms[h.symptom];
        !s.general
            || !particular
                .iter()
                .any(|(p, c)| *p == s.pack && (c.is_none() || *c == s.copy))
    });
    heard.sort_by_key(|h| {
        let s = &model.symptoms[h.symptom];
        (s.general, std::cmp::Reverse(h.words.len()))
    });
    heard
}
