//! The store of this run, to write or to read.

use super::config::Config;
use super::error::Result;
use crate::store::Store;

/// Opens the store to write, making it if it is not there.
pub(super) fn open_store(config: &Config) -> Result<Store> {
    Ok(Store::open(config.store()?)?.with_clock(config.clock.clone()))
}

/// Opens the store to write; it has to be there.
pub(super) fn open_existing_store(config: &Config) -> Result<Store> {
    Ok(Store::open_existing(config.store()?)?.with_clock(config.clock.clone()))
}

/// The store to read, or `None` where no job has made one at the usual place yet.
pub(super) fn read_store_if_any(config: &Config) -> Result<Option<Store>> {
    match config.store()?.exists() || config.store_named {
        true => read_store(config).map(Some),
        false => Ok(None),
    }
}

/// Opens the store to read; nothing is made or changed.
pub(super) fn read_store(config: &Config) -> Result<Store> {
    Ok(Store::open_to_read(config.store()?)?)
}
