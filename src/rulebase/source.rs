//! Where in which rule file something stands.

use serde::de::{Deserialize, Deserializer};

/// One rule file as it was read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SourceFile {
    /// The name shown in messages: a path, or `embedded/imaging.yaml`.
    pub name: String,
    /// The whole text.
    pub text: String,
}

/// A stretch of a rule file, in bytes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Span {
    /// Index of the file in the list given to the loader.
    pub file: u32,
    /// First byte.
    pub start: u32,
    /// One past the last byte.
    pub end: u32,
}

/// A value together with where it stands.
#[derive(Clone, Debug, Default)]
pub struct At<T> {
    /// The value.
    pub value: T,
    /// Where it was written.
    pub span: Span,
}

impl<T> At<T> {
    /// The same place with another value.
    pub fn with<U>(&self, value: U) -> At<U> {
        At {
            value,
            span: self.span,
        }
    }
}

impl<T> std::ops::Deref for At<T> {
    type Target = T;
    fn deref(&self) -> &T {
        &self.value
    }
}

/// The name under which [`At`] asks the decoder for its place.
pub(super) const AT_MARK: &str = "\0at";

impl<'de, T: Deserialize<'de>> Deserialize<'de> for At<T> {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        struct V<T>(std::marker::PhantomData<T>);
        impl<'de, T: Deserialize<'de>> serde::de::Visitor<'de> for V<T> {
            type Value = At<T>;
            fn expecting(&self, f: &mut std::fmt::Formatter) -> std::fmt::Result {
                f.write_str("a value")
            }
            fn visit_seq<A: serde::de::SeqAccess<'de>>(self, mut a: A) -> Result<At<T>, A::Error> {
                let (file, start, end) = a.next_element::<(u32, u32, u32)>()?.unwrap_or_default();
                let value = a
                    .next_element()?
                    .ok_or_else(|| serde::de::Error::custom("a value is missing"))?;
                Ok(At {
                    value,
                    span: Span { file, start, end },
                })
            }
        }
        d.deserialize_newtype_struct(AT_MARK, V(std::marker::PhantomData))
    }
}

impl<T: schemars::JsonSchema> schemars::JsonSchema for At<T> {
    fn inline_schema() -> bool {
        true
    }
    fn schema_name() -> std::borrow::Cow<'static, str> {
        T::schema_name()
    }
    fn json_schema(g: &mut schemars::SchemaGenerator) -> schemars::Schema {
        g.subschema_for::<T>()
    }
}
