//! What later rooms work out of some rules and keep with them.

use std::any::{Any, TypeId};
use std::collections::HashMap;
use std::fmt;
use std::sync::{Arc, Mutex, PoisonError};

/// One value of each type that a later room keeps with the rules: all that are made of
/// these rules share it, and it goes when they go. The rules need not know what it is.
#[derive(Default)]
pub struct Kept(Mutex<HashMap<TypeId, Arc<dyn Any + Send + Sync>>>);

impl Kept {
    /// The value of a type, which starts as its default.
    ///
    /// # Panics
    /// Never: the value under a type is of that type.
    pub fn of<T: Any + Default + Send + Sync>(&self) -> Arc<T> {
        let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let new = || Arc::new(T::default()) as Arc<dyn Any + Send + Sync>;
        let kept = all.entry(TypeId::of::<T>()).or_insert_with(new).clone();
        kept.downcast().expect("a value is kept under its own type")
    }
}

impl fmt::Debug for Kept {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Kept")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[derive(Default)]
    struct Count(Mutex<usize>);

    #[test]
    fn what_is_kept_is_shared_by_type() {
        let kept = Kept::default();
        *kept.of::<Count>().0.lock().unwrap() += 1;
        kept.of::<String>();
        assert_eq!(*kept.of::<Count>().0.lock().unwrap(), 1);
        assert_eq!(*Kept::default().of::<Count>().0.lock().unwrap(), 0);
    }
}
