//! Indices that cannot be taken for one another. Each kind of thing has its own
//! type of index, and what is kept by it is a [`TiVec`] that no other index opens.
//!
//! [`TiVec`]: typed_index_collections::TiVec

/// Makes a type of index over `usize`.
macro_rules! index_of {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub struct $name(pub usize);

        impl From<usize> for $name {
            fn from(index: usize) -> Self {
                $name(index)
            }
        }

        impl From<$name> for usize {
            fn from(index: $name) -> Self {
                index.0
            }
        }
    };
}

pub(crate) use index_of;
