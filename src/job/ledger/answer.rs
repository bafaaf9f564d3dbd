//! What was typed as the result of a test: an outcome or a value.

use super::CaseError;
use crate::job::reading::{ABOUT, AsTyped, Asked, Typed};
use crate::model::{TestInfo, bounds};
use crate::rulebase::Kind;

/// The measured value, infinite for over limit; `None` if it is no number.
///
/// # Errors
/// If it is in another unit, doubtful, or what no meter shows.
pub(super) fn measured(t: &TestInfo, shows: &AsTyped) -> Result<Option<f64>, CaseError> {
    let (test, typed) = (t.id.clone(), shows.text.clone());
    match shows.typed.clone() {
        Typed::Value(v) | Typed::Noted { value: v, .. } => Ok(Some(v)),
        Typed::About { value } => {
            let off = ABOUT * value;
            match (in_range(t, value - off), in_range(t, value + off)) {
                (Some(a), Some(b)) if a != b => Err(CaseError::TooLittle {
                    shows: typed,
                    says: format!("it is `{}` or `{}`", t.outcomes[a].id, t.outcomes[b].id),
                    instead: "the number that the meter shows".to_owned(),
                }),
                _ => Ok(Some(value)),
            }
        }
        Typed::Reversed { value } if t.measures.is_some_and(|m| m.probing.turned) => {
            Ok(Some(value))
        }
        // Of what is known of the test this says nothing, whatever its value.
        Typed::Reversed { .. } => Ok(Some(f64::INFINITY)),
        Typed::TooLittle { says, instead } => Err(CaseError::TooLittle {
            shows: typed,
            says,
            instead,
        }),
        Typed::OtherUnit => Err(CaseError::WrongUnit {
            test,
            shows: typed,
            unit: t.unit.clone().unwrap_or_default(),
        }),
        Typed::Doubtful { could_be } => Err(CaseError::Doubtful {
            shows: typed,
            could_be,
        }),
        Typed::Impossible { why } => Err(CaseError::NoReading {
            test,
            shows: typed,
            why,
        }),
        Typed::NoNumber => Ok(None),
    }
}

/// What a beep means where a test of continuity has one outcome that conducts,
/// or its absence where it has one that does not.
pub(super) fn heard(t: &TestInfo, shows: &AsTyped) -> Option<usize> {
    if t.kind != Kind::Continuity || t.unit.is_some() {
        return None;
    }
    let names: &[&str] = match shows.beeps()? {
        true => &["through", "joined", "short"],
        false => &["open", "apart"],
    };
    let mut all = (0..t.outcomes.len()).filter(|i| names.contains(&t.outcomes[*i].id.as_str()));
    all.next().filter(|_| all.next().is_none())
}

/// The outcome in whose range a value is. Neighbouring ranges share an end; the
/// healthier one gets it.
fn in_range(t: &TestInfo, value: f64) -> Option<usize> {
    let holds = |(a, b): (f64, f64)| value >= a && value <= b;
    t.outcomes.iter().position(|o| o.between.is_some_and(holds))
}

/// The outcome that was typed as a result of a test, before it is entered.
///
/// # Errors
/// If it is no result of the test.
pub(crate) fn outcome(t: &TestInfo, shows: &str) -> Result<usize, CaseError> {
    outcome_of(t, &AsTyped::of(shows, &Asked::by(t)))
}

/// What a test showed: an outcome's name or a beginning of it, yes or no, or a
/// measured value.
///
/// # Errors
/// If it is no result of the test.
pub(super) fn outcome_of(t: &TestInfo, shows: &AsTyped) -> Result<usize, CaseError> {
    let typed = shows.text.to_lowercase();
    let words = || -> Vec<String> {
        if t.function.is_some() {
            return (0..t.outcomes.len()).map(|o| t.answer(o)).collect();
        }
        t.outcomes
            .iter()
            .map(|o| match o.between {
                Some((f64::INFINITY, _)) => format!("{} (over limit)", o.id),
                Some((f64::MIN, f64::MAX)) => format!("{} (a number)", o.id),
                Some((a, b)) => {
                    let unit = t.unit.as_deref().unwrap_or("");
                    format!("{} ({})", o.id, bounds(a, b, unit))
                }
                None => o.id.clone(),
            })
            .collect()
    };
    // A prompt prints `one-way` as `one way`, a trail what the outcome says.
    let joined = typed.split_whitespace().collect::<Vec<_>>().join("-");
    if let Some(i) = t
        .outcomes
        .iter()
        .position(|o| o.id == typed || o.id == joined || o.says.to_lowercase() == typed)
    {
        return Ok(i);
    }
    if t.function.is_some() {
        match typed.as_str() {
            "y" | "yes" | "ok" | "pass" => return Ok(0),
            "n" | "no" | "fail" => return Ok(t.outcomes.len() - 1),
            _ => {}
        }
    }
    if let Some(i) = heard(t, shows) {
        return Ok(i);
    }
    let starts: Vec<usize> = (0..t.outcomes.len())
        .filter(|i| !typed.is_empty() && t.outcomes[*i].id.starts_with(&typed))
        .collect();
    // `short` may be the beginning of an outcome's name.
    let named = typed == "short" && starts.len() == 1;
    if !named
        && t.outcomes.iter().any(|o| o.between.is_some())
        && let Some(v) = measured(t, shows)?
    {
        return in_range(t, v).ok_or_else(|| CaseError::OutsideAll {
            test: t.id.clone(),
            shows: shows.text.clone(),
            can_be: words(),
        });
    }
    match starts.as_slice() {
        [one] => Ok(*one),
        _ => Err(CaseError::NoOutcome {
            test: t.id.clone(),
            shows: shows.text.clone(),
            can_be: words(),
        }),
    }
}
