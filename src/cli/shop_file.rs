//! The shop's file: what it wants of every job, kept beside the store.

use std::io::Read;
use std::path::PathBuf;

use serde::{Deserialize, Serialize};

use super::error::{Failure, Result};
use crate::rulebase::read_yaml;

/// The largest shop file that is read, in bytes: some hundred times a usual one.
const LARGEST: usize = 64 << 10;

/// The preferences of a shop, as its file has them.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", default)]
pub(super) struct ShopFile {
    /// Name of the shop.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) shop: Option<String>,
    /// Cost of an hour at the bench.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) rate: Option<f64>,
    /// What it costs when a job ends unmended.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) unmended: Option<f64>,
    /// What there is not: tools by name, or `donor parts`.
    pub(super) without: Vec<String>,
    /// Whether what a step may break counts three times.
    pub(super) careful: bool,
    /// Whether the customer waits, so that minutes count twice.
    pub(super) waiting: bool,
    /// The meter on the bench.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) meter: Option<String>,
}

/// Where the file is.
#[derive(Clone, Debug)]
pub(super) struct ShopPlace {
    pub(super) path: PathBuf,
    /// Whether it was asked for by name; else it may be missing.
    pub(super) named: bool,
}

impl ShopPlace {
    /// Reads the file.
    ///
    /// # Errors
    /// If it cannot be read, or is no shop file.
    pub(super) fn read(&self) -> Result<ShopFile> {
        let name = self.path.display().to_string();
        let mut bytes = Vec::new();
        let read = std::fs::File::open(&self.path)
            .and_then(|f| f.take(LARGEST as u64 + 1).read_to_end(&mut bytes));
        match read {
            Ok(_) => {}
            Err(e) if e.kind() == std::io::ErrorKind::NotFound && !self.named => {
                return Ok(ShopFile::default());
            }
            Err(e) => return Err(Failure::no(format!("cannot read {name}: {e}"))),
        }
        if bytes.len() > LARGEST {
            return Err(Failure::no(format!(
                "{name} is larger than {} kB, so it is no shop file; name another with --shop FILE",
                LARGEST >> 10
            )));
        }
        let text = String::from_utf8(bytes)
            .map_err(|_| Failure::no(format!("{name} is no text in UTF-8")))?;
        let file: ShopFile = read_yaml(&name, text).map_err(|e| Failure::not_a("shop file", &e))?;
        for (key, value) in [("rate", file.rate), ("unmended", file.unmended)] {
            if value.is_some_and(|v| !(v.is_finite() && v >= 0.0)) {
                return Err(Failure::no(format!(
                    "{name}: `{key}` has to be a sum of money, 0 or more"
                )));
            }
        }
        Ok(file)
    }
}
