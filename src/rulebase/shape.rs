//! Shapes that values of rule files have and serde has no type for.

use std::fmt;

use schemars::JsonSchema;
use serde::de::{self, Deserialize, Visitor};

use super::source::At;

/// The name under which a type asks the decoder for a mapping where there is
/// one, else for what stands alone.
pub(super) const MAP_MARK: &str = "\0map";
/// The same for a list.
pub(super) const LIST_MARK: &str = "\0list";

/// Named entries in the order of the file.
#[derive(Clone, Debug)]
pub struct Entries<T> {
    list: Vec<(At<String>, T)>,
    dropped: Vec<String>,
}

impl<T> Entries<T> {
    /// Names of entries that could not be read, for which a problem is known:
    /// whoever refers to them is not to blame.
    pub(super) fn dropped(&self) -> &[String] {
        &self.dropped
    }
}

impl<T> Default for Entries<T> {
    fn default() -> Self {
        Entries {
            list: Vec::new(),
            dropped: Vec::new(),
        }
    }
}

impl<T> std::ops::Deref for Entries<T> {
    type Target = [(At<String>, T)];
    fn deref(&self) -> &Self::Target {
        &self.list
    }
}

impl<'a, T> IntoIterator for &'a Entries<T> {
    type Item = &'a (At<String>, T);
    type IntoIter = std::slice::Iter<'a, (At<String>, T)>;
    fn into_iter(self) -> Self::IntoIter {
        self.list.iter()
    }
}

impl<'de, T: Deserialize<'de>> Deserialize<'de> for Entries<T> {
    fn deserialize<D: de::Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        struct V<T>(std::marker::PhantomData<T>);
        impl<'de, T: Deserialize<'de>> Visitor<'de> for V<T> {
            type Value = Entries<T>;
            fn expecting(&self, f: &mut fmt::Formatter) -> fmt::Result {
                f.write_str("a mapping of names")
            }
            fn visit_map<A: de::MapAccess<'de>>(self, mut a: A) -> Result<Entries<T>, A::Error> {
                let mut entries = Entries::default();
                while let Some(key) = a.next_key::<At<String>>()? {
                    // A bad entry has been reported; its neighbours still count.
                    match a.next_value::<T>() {
                        Ok(value) => entries.list.push((key, value)),
                        Err(_) => entries.dropped.push(key.value),
                    }
                }
                Ok(entries)
            }
        }
        d.deserialize_map(V(std::marker::PhantomData))
    }
}

impl<T: JsonSchema> JsonSchema for Entries<T> {
    fn inline_schema() -> bool {
        true
    }
    fn schema_name() -> std::borrow::Cow<'static, str> {
        format!("EntriesOf{}", T::schema_name()).into()
    }
    fn json_schema(g: &mut schemars::SchemaGenerator) -> schemars::Schema {
        let inner = g.subschema_for::<T>();
        schemars::json_schema!({ "type": "object", "additionalProperties": inner })
    }
}

/// What a function needs, with an optional strength: `module`, `module.dead`
/// or `{lens.scratched: 0.6}`.
#[derive(Clone, Debug)]
pub struct Need {
    /// An item, a fault or another function.
    pub target: At<String>,
    /// Chance that a fault there breaks this need (times the fault's own).
    pub strength: Option<At<f64>>,
}

impl<'de> Deserialize<'de> for Need {
    fn deserialize<D: de::Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        struct V;
        impl<'de> Visitor<'de> for V {
            type Value = Need;
            fn expecting(&self, f: &mut fmt::Formatter) -> fmt::Result {
                f.write_str("a name such as `module`, or `{module.dead: 0.6}`")
            }
            fn visit_newtype_struct<D: de::Deserializer<'de>>(
                self,
                d: D,
            ) -> Result<Need, D::Error> {
                Ok(Need {
                    target: At::deserialize(d)?,
                    strength: None,
                })
            }
            fn visit_map<A: de::MapAccess<'de>>(self, mut a: A) -> Result<Need, A::Error> {
                let Some((target, strength)) = a.next_entry()? else {
                    return Err(de::Error::custom(
                        "an empty need; write a name such as `module`",
                    ));
                };
                if a.next_key::<At<String>>()?.is_some() {
                    return Err(de::Error::custom(
                        "two needs in one pair of braces; write `[{a: 0.9}, {b: 0.8}]`",
                    ));
                }
                Ok(Need { target, strength })
            }
        }
        d.deserialize_newtype_struct(MAP_MARK, V)
    }
}

impl JsonSchema for Need {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Need".into()
    }
    fn json_schema(_: &mut schemars::SchemaGenerator) -> schemars::Schema {
        schemars::json_schema!({
            "anyOf": [
                { "type": "string" },
                { "type": "object", "additionalProperties": { "type": "number" },
                  "minProperties": 1, "maxProperties": 1 }
            ]
        })
    }
}

/// A value with its unit as it is typed: `2k2`, `1.8 V +- 5 %`, `22`.
#[derive(Clone, Debug)]
pub struct Amount(pub String);

impl<'de> Deserialize<'de> for Amount {
    fn deserialize<D: de::Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        String::deserialize(d).map(Amount)
    }
}

impl JsonSchema for Amount {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Amount".into()
    }
    fn json_schema(_: &mut schemars::SchemaGenerator) -> schemars::Schema {
        schemars::json_schema!({ "type": ["string", "number"] })
    }
}

/// The nodes a part of a line lies between: `bus`, or `[pad, bus]`.
#[derive(Clone, Debug)]
pub struct Ends(pub Vec<At<String>>);

impl<'de> Deserialize<'de> for Ends {
    fn deserialize<D: de::Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        struct V;
        impl<'de> Visitor<'de> for V {
            type Value = Ends;
            fn expecting(&self, f: &mut fmt::Formatter) -> fmt::Result {
                f.write_str("a node such as `bus`, or two such as `[pad, bus]`")
            }
            fn visit_newtype_struct<D: de::Deserializer<'de>>(
                self,
                d: D,
            ) -> Result<Ends, D::Error> {
                Ok(Ends(vec![At::deserialize(d)?]))
            }
            fn visit_seq<A: de::SeqAccess<'de>>(self, mut a: A) -> Result<Ends, A::Error> {
                let mut nodes = Vec::new();
                while let Some(n) = a.next_element()? {
                    nodes.push(n);
                }
                Ok(Ends(nodes))
            }
        }
        d.deserialize_newtype_struct(LIST_MARK, V)
    }
}

impl JsonSchema for Ends {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Ends".into()
    }
    fn json_schema(_: &mut schemars::SchemaGenerator) -> schemars::Schema {
        schemars::json_schema!({
            "anyOf": [
                { "type": "string" },
                { "type": "array", "items": { "type": "string" }, "minItems": 1, "maxItems": 2 }
            ]
        })
    }
}

/// What a fault does to a line, with the chance that it does: `open contact`,
/// or `{open contact: 0.3, short pad to ground: 0.1}`.
#[derive(Clone, Debug)]
pub struct Harms(pub Vec<(At<String>, Option<At<f64>>)>);

impl<'de> Deserialize<'de> for Harms {
    fn deserialize<D: de::Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        struct V;
        impl<'de> Visitor<'de> for V {
            type Value = Harms;
            fn expecting(&self, f: &mut fmt::Formatter) -> fmt::Result {
                f.write_str("what the fault does, such as `open contact` or `{open contact: 0.3}`")
            }
            fn visit_newtype_struct<D: de::Deserializer<'de>>(
                self,
                d: D,
            ) -> Result<Harms, D::Error> {
                Ok(Harms(vec![(At::deserialize(d)?, None)]))
            }
            fn visit_map<A: de::MapAccess<'de>>(self, mut a: A) -> Result<Harms, A::Error> {
                let mut all = Vec::new();
                while let Some((harm, chance)) = a.next_entry()? {
                    all.push((harm, Some(chance)));
                }
                Ok(Harms(all))
            }
        }
        d.deserialize_newtype_struct(MAP_MARK, V)
    }
}

impl JsonSchema for Harms {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Harms".into()
    }
    fn json_schema(_: &mut schemars::SchemaGenerator) -> schemars::Schema {
        schemars::json_schema!({
            "anyOf": [
                { "type": "string" },
                { "type": "object", "additionalProperties": { "type": "number" },
                  "minProperties": 1 }
            ]
        })
    }
}
