//! What a run of the program goes by, resolved once from the options, the
//! environment and the shop's file. Nothing else reads the environment, but for
//! HALFSPLIT_SHOP, which is an option's other form.

use std::path::{Path, PathBuf};

use super::args::{Args, Format};
use super::error::Result;
use super::shop_file::{ShopFile, ShopPlace};
use crate::job::Settings;
use crate::plan::{Costs, Effort};
use crate::rulebase::Rules;
use crate::store::{Clock, StoreError};

/// What counts of the environment of the process.
#[derive(Clone, Debug)]
pub struct Environment {
    /// HALFSPLIT_STORE: where jobs are kept.
    store: Option<PathBuf>,
    /// The platform's folder for the data of programs, or why there is none.
    data: std::result::Result<PathBuf, String>,
    /// HALFSPLIT_NOW: a time that stands still, for tests.
    now: Option<String>,
    /// COLUMNS: how wide the window is.
    pub(super) columns: Option<usize>,
}

impl Environment {
    /// Of this process.
    pub fn of_process() -> Self {
        use etcetera::BaseStrategy;
        let data = etcetera::choose_base_strategy().map(|s| s.data_dir());
        let store = std::env::var_os("HALFSPLIT_STORE").filter(|p| !p.is_empty());
        let columns = std::env::var("COLUMNS").ok();
        Environment {
            store: store.map(PathBuf::from),
            data: data.map_err(|e| e.to_string()),
            now: std::env::var("HALFSPLIT_NOW").ok(),
            columns: columns.and_then(|c| c.parse().ok()),
        }
    }
}

/// What a run goes by.
#[derive(Clone, Debug)]
pub(super) struct Config {
    /// How to print.
    pub(super) format: Format,
    /// Which rules to load.
    pub(super) rules: Rules,
    /// Tools that are not here, or `donor parts`.
    pub(super) without: Vec<String>,
    /// How jobs are worked out.
    pub(super) settings: Settings,
    /// The meter that was asked for.
    pub(super) meter: Option<String>,
    /// The meter of the shop's file: for what is opened, never for a job that has
    /// its own.
    pub(super) shop_meter: Option<String>,
    /// Whether a walk opens a new job whatever is open.
    pub(super) new: bool,
    /// Whether the place of the store was given as an option.
    pub(super) store_named: bool,
    /// Where jobs are kept, or why there is no place for them.
    store: std::result::Result<PathBuf, String>,
    /// Where the shop's file is; `None` if there is no place for it.
    pub(super) shop: Option<ShopPlace>,
    /// What time it is.
    pub(super) clock: Clock,
}

impl Config {
    /// What the options say, else the environment, else the shop's file.
    ///
    /// # Errors
    /// If there is a shop's file that cannot be read.
    pub(super) fn resolve(args: &Args, environment: &Environment) -> Result<Config> {
        let named = args.store.clone().or_else(|| environment.store.clone());
        let usual = |data: &PathBuf| data.join("halfsplit").join("jobs.sqlite");
        let store = match named {
            Some(path) => Ok(path),
            None => environment.data.as_ref().map(usual).map_err(Clone::clone),
        };
        // Beside the store, where everything else of the shop is.
        let beside = store.as_ref().ok().map(|s| ShopPlace {
            path: s.with_file_name("shop.yaml"),
            named: false,
        });
        let named = args
            .shop
            .clone()
            .map(|path| ShopPlace { path, named: true });
        let shop = named.or(beside);
        let file = match &shop {
            Some(place) => place.read()?,
            None => ShopFile::default(),
        };
        Ok(Config {
            format: args.format,
            rules: Rules {
                paths: args.rules.clone(),
                only_these: args.only_these_rules,
            },
            settings: settings(args, &file),
            without: args.without.iter().chain(&file.without).cloned().collect(),
            meter: args.meter.clone(),
            shop_meter: file.meter,
            new: args.new,
            store_named: args.store.is_some(),
            store,
            shop,
            clock: match &environment.now {
                Some(now) => Clock::Fixed(now.clone()),
                None => Clock::Machine,
            },
        })
    }

    /// Where jobs are kept.
    ///
    /// # Errors
    /// If no place was given and there is no home folder.
    pub(super) fn store(&self) -> Result<&Path> {
        match &self.store {
            Ok(path) => Ok(path),
            Err(why) => Err(StoreError::Place {
                path: PathBuf::from("jobs.sqlite"),
                why: format!("{why}; give the place with --store FILE"),
            }
            .into()),
        }
    }

    /// The meter that a new job begins with, if one was named.
    pub(super) fn first_meter(&self) -> Option<String> {
        self.meter.clone().or_else(|| self.shop_meter.clone())
    }
}

/// How jobs are worked out.
fn settings(args: &Args, file: &ShopFile) -> Settings {
    let usual = Costs::default();
    Settings {
        size: args.candidates.unwrap_or_default(),
        costs: Costs {
            rate: args.rate.or(file.rate).unwrap_or(usual.rate),
            give_up: args.unmended.or(file.unmended).unwrap_or(usual.give_up),
            careful: args.careful || file.careful,
            waiting: args.waiting || file.waiting,
            ..usual
        },
        effort: match args.look_ahead {
            0 | 1 => Effort::FIRST,
            steps => Effort {
                depth: steps.into(),
                ..Effort::REFINED
            },
        },
    }
}
