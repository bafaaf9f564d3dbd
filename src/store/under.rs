//! Which rules something was shown under.

use std::fmt;

/// Which rules something was shown under, by fingerprints in hexadecimal.
///
/// A store keeps it as one text: the first fingerprint, and after a blank the
/// second. Jobs of earlier versions have the first alone.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct UnderRules {
    /// Over all rule files.
    pub all: String,
    /// Over those that the model of the job is compiled from.
    pub own: Option<String>,
}

impl UnderRules {
    /// Whether these rules say of the job what the others say.
    pub fn say_the_same(&self, others: &UnderRules) -> bool {
        self.all == others.all || (self.own.is_some() && self.own == others.own)
    }
}

impl From<&str> for UnderRules {
    fn from(text: &str) -> Self {
        let (all, own) = match text.split_once(' ') {
            Some((all, own)) => (all, Some(own.to_owned())),
            None => (text, None),
        };
        UnderRules {
            all: all.to_owned(),
            own,
        }
    }
}

impl fmt::Display for UnderRules {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        f.write_str(&self.all)?;
        match &self.own {
            Some(own) => write!(f, " {own}"),
            None => Ok(()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn jobs_of_before_are_read_and_what_is_written_comes_back() {
        let before = UnderRules::from("a1");
        assert_eq!((before.all.as_str(), &before.own), ("a1", &None));
        let now = UnderRules {
            all: "b2".to_owned(),
            own: Some("c3".to_owned()),
        };
        assert_eq!(UnderRules::from(now.to_string().as_str()), now);
        assert_eq!(before.to_string(), "a1");
    }

    #[test]
    fn the_same_files_of_the_job_are_enough() {
        let under = |text: &str| UnderRules::from(text);
        assert!(under("a1 c3").say_the_same(&under("b2 c3")));
        assert!(under("a1").say_the_same(&under("a1 c3")));
        assert!(!under("a1").say_the_same(&under("b2 c3")));
        assert!(!under("a1").say_the_same(&under("b2")));
        assert!(!under("a1 c3").say_the_same(&under("b2 d4")));
    }
}
