//! The store that the arguments ask for, to write or to read.

use std::path::PathBuf;

use super::args::Args;
use super::error::Result;
use crate::store::Store;

/// Where the store is that the arguments ask for.
pub(super) fn store_place(args: &Args) -> Result<PathBuf> {
    Ok(Store::place(args.store.as_deref())?)
}

/// Opens that store to write, making it if it is not there.
pub(super) fn open_store(args: &Args) -> Result<Store> {
    Ok(Store::open(&store_place(args)?)?)
}

/// The store to read, or `None` where no job has made one at the usual place yet.
pub(super) fn read_store_if_any(args: &Args) -> Result<Option<Store>> {
    match store_place(args)?.exists() || args.store.is_some() {
        true => read_store(args).map(Some),
        false => Ok(None),
    }
}

/// Opens that store to read; nothing is made or changed.
pub(super) fn read_store(args: &Args) -> Result<Store> {
    Ok(Store::open_to_read(&store_place(args)?)?)
}
