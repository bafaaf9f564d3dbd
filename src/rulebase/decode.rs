//! From a tree of values to the typed raw form, collecting every problem on
//! the way: an unknown key or a wrong type in one entry does not hide the
//! mistakes in the next.

use std::borrow::Cow;
use std::cell::RefCell;
use std::fmt;

use schemars::JsonSchema;
use serde::de::{self, Deserialize, DeserializeSeed, IntoDeserializer, Visitor};

use super::problem::{Code, Problem};
use super::source::{AT_MARK, At, SourceFile, Span};
use super::yaml::Node;

/// Types whose short form is their first key's value alone.
const SHORT_FORMS: &[&str] = &[
    "RawFault",
    "RawPrior",
    "RawCaution",
    "RawHistory",
    "RawCopy",
    "RawGood",
    "RawPoint",
];

/// Decodes a tree. `None` when so much is wrong that nothing can be said of
/// the rest; the reasons are in `problems` either way.
pub(super) fn decode<'de, T: Deserialize<'de>>(
    node: &At<Node<'_>>,
    files: &[SourceFile],
    problems: &mut Vec<Problem>,
) -> Option<T> {
    let found = RefCell::new(Vec::new());
    let result = T::deserialize(Decoder {
        node,
        owner: None,
        files,
        found: &found,
    });
    problems.append(&mut found.into_inner());
    result.ok()
}

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
        d.deserialize_newtype_struct(NEED_MARK, V)
    }
}

const NEED_MARK: &str = "\0need";

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
        d.deserialize_newtype_struct(ENDS_MARK, V)
    }
}

const ENDS_MARK: &str = "\0ends";

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
        d.deserialize_newtype_struct(NEED_MARK, V)
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

/// An error on its way up; its problem is recorded where it arose.
#[derive(Debug)]
struct Stop {
    message: String,
    code: Code,
    recorded: bool,
}

impl Stop {
    fn help(&self) -> String {
        match self.message.split('`').nth(1) {
            Some(field) => format!("add `{field}:`"),
            None => "add it".into(),
        }
    }
}

impl fmt::Display for Stop {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        f.write_str(&self.message)
    }
}
impl std::error::Error for Stop {}
impl de::Error for Stop {
    fn custom<T: fmt::Display>(m: T) -> Self {
        Stop {
            message: m.to_string(),
            code: Code::Type,
            recorded: false,
        }
    }
    fn missing_field(field: &'static str) -> Self {
        Stop {
            message: format!("`{field}` is missing"),
            code: Code::MissingKey,
            recorded: false,
        }
    }
}

#[derive(Clone, Copy)]
struct Decoder<'a> {
    node: &'a At<Node<'a>>,
    /// The key that this node is the value of.
    owner: Option<&'a At<Cow<'a, str>>>,
    files: &'a [SourceFile],
    found: &'a RefCell<Vec<Problem>>,
}

impl<'a> Decoder<'a> {
    fn on(self, node: &'a At<Node<'a>>) -> Self {
        Decoder {
            node,
            owner: None,
            ..self
        }
    }

    /// Records an error at this node unless a deeper place already has.
    fn located<T>(self, r: Result<T, Stop>) -> Result<T, Stop> {
        r.map_err(|mut e| {
            if !e.recorded {
                let problem = match (e.code, self.owner) {
                    // What is not there has no place: show whose it is.
                    (Code::MissingKey, Some(owner)) => Problem::new(
                        e.code,
                        owner.span,
                        format!("{} from `{}`", e.message, clip(owner)),
                    )
                    .help(e.help()),
                    (Code::MissingKey, None) => {
                        Problem::new(e.code, self.node.span, e.message.clone()).help(e.help())
                    }
                    _ => Problem::new(e.code, self.node.span, e.message.clone()),
                };
                self.found.borrow_mut().push(problem);
                e.recorded = true;
            }
            e
        })
    }

    fn wrong<T>(self, expected: &str) -> Result<T, Stop> {
        let problem = Problem::new(
            Code::Type,
            self.node.span,
            format!("expected {expected}, found {}", self.described()),
        );
        let problem = match self.advice(expected) {
            Some(help) => problem.help(help),
            None => problem,
        };
        self.found.borrow_mut().push(problem);
        let mut stop: Stop = de::Error::custom("");
        stop.recorded = true;
        Err(stop)
    }

    /// What to write instead, where it can be told from what is there.
    fn advice(self, expected: &str) -> Option<String> {
        let written = clip(self.written());
        match &self.node.value {
            Node::Text(t) if expected.contains("number") => {
                let number = |s: &str| s.parse::<f64>().is_ok_and(f64::is_finite);
                let point = t.replacen(',', ".", 1);
                let first = t.split_whitespace().next().unwrap_or("");
                if number(t) {
                    Some(format!("without quotes: {t}"))
                } else if t.contains(',') && number(&point) {
                    Some(format!("with a decimal point: {point}"))
                } else if let Some(p) = t.strip_suffix('%').filter(|p| number(p.trim())) {
                    Some(format!(
                        "without the sign; {p} per cent is {} as a chance",
                        tidy(p.trim().parse::<f64>().ok()? / 100.0)
                    ))
                } else if number(first) {
                    Some(format!("the number alone: {first}"))
                } else {
                    None
                }
            }
            Node::Text(_) | Node::Number(_) if expected.contains("list such") => {
                Some(format!("in brackets: [{written}]"))
            }
            Node::Text(_) if expected.contains("true") => {
                Some("write true or false, without quotes".into())
            }
            Node::Text(_) | Node::Number(_) if expected.contains("mapping (") => {
                Some("write one name to a line, each with a colon and what belongs to it".into())
            }
            Node::List(l) if expected.contains("mapping (") => match l.first().map(|n| &n.value) {
                Some(Node::Text(t)) => Some(format!(
                    "write `{}:` with its own keys indented below it, without the hyphen",
                    clip(t)
                )),
                _ => Some("write names with colons, without hyphens or brackets".into()),
            },
            _ => None,
        }
    }

    fn described(self) -> String {
        match &self.node.value {
            Node::Null => "nothing".into(),
            Node::List(_) => "a list".into(),
            Node::Map(_) => "a mapping".into(),
            _ if self.written().is_empty() => "an empty text".into(),
            _ => format!("`{}`", clip(self.written())),
        }
    }

    /// A scalar just as it stands in the file.
    fn written(self) -> &'a str {
        let Span { file, start, end } = self.node.span;
        self.files
            .get(file as usize)
            .and_then(|f| f.text.get(start as usize..end as usize))
            .unwrap_or("")
            .trim()
    }
}

/// A number without the dust of binary fractions.
pub(super) fn tidy(n: f64) -> f64 {
    (n * 1e9).round() / 1e9
}

fn clip(s: &str) -> String {
    let line = s.lines().next().unwrap_or("");
    if line.chars().count() > 40 {
        line.chars().take(40).chain(['…']).collect()
    } else {
        line.to_owned()
    }
}

macro_rules! whole {
    ($($method:ident $visit:ident $ty:ty),*) => {$(
        fn $method<V: Visitor<'de>>(self, v: V) -> Result<V::Value, Stop> {
            match self.node.value {
                Node::Number(n) if n.fract() == 0.0 && n >= <$ty>::MIN as f64 && n <= <$ty>::MAX as f64 => {
                    self.located(v.$visit(n as $ty))
                }
                _ => self.wrong("a whole number such as 3"),
            }
        }
    )*};
}

impl<'de> de::Deserializer<'de> for Decoder<'_> {
    type Error = Stop;

    fn deserialize_any<V: Visitor<'de>>(self, v: V) -> Result<V::Value, Stop> {
        match &self.node.value {
            Node::Null => self.located(v.visit_unit()),
            Node::Bool(b) => self.located(v.visit_bool(*b)),
            Node::Number(n) => self.located(v.visit_f64(*n)),
            Node::Text(t) => self.located(v.visit_str(t)),
            Node::List(_) => self.deserialize_seq(v),
            Node::Map(_) => self.deserialize_map(v),
        }
    }

    fn deserialize_bool<V: Visitor<'de>>(self, v: V) -> Result<V::Value, Stop> {
        match &self.node.value {
            Node::Bool(b) => self.located(v.visit_bool(*b)),
            _ => self.wrong("true or false"),
        }
    }

    whole!(deserialize_i8 visit_i8 i8, deserialize_i16 visit_i16 i16, deserialize_i32 visit_i32 i32,
           deserialize_i64 visit_i64 i64, deserialize_u8 visit_u8 u8, deserialize_u16 visit_u16 u16,
           deserialize_u32 visit_u32 u32, deserialize_u64 visit_u64 u64);

    fn deserialize_f32<V: Visitor<'de>>(self, v: V) -> Result<V::Value, Stop> {
        self.deserialize_f64(v)
    }
    fn deserialize_f64<V: Visitor<'de>>(self, v: V) -> Result<V::Value, Stop> {
        match self.node.value {
            Node::Number(n) if n.is_finite() => self.located(v.visit_f64(n)),
            _ => self.wrong("a number such as 3 or 0.5"),
        }
    }

    fn deserialize_char<V: Visitor<'de>>(self, v: V) -> Result<V::Value, Stop> {
        self.deserialize_str(v)
    }
    fn deserialize_str<V: Visitor<'de>>(self, v: V) -> Result<V::Value, Stop> {
        match &self.node.value {
            Node::Text(t) => self.located(v.visit_str(t)),
            // An alias stands for its value, all else for itself: 0010 stays 0010.
            Node::Bool(b) if self.written().starts_with('*') => {
                self.located(v.visit_str(&b.to_string()))
            }
            Node::Number(n) if self.written().starts_with('*') => {
                self.located(v.visit_str(&n.to_string()))
            }
            Node::Bool(_) | Node::Number(_) => self.located(v.visit_str(self.written())),
            _ => self.wrong("a text"),
        }
    }
    fn deserialize_string<V: Visitor<'de>>(self, v: V) -> Result<V::Value, Stop> {
        self.deserialize_str(v)
    }
    fn deserialize_bytes<V: Visitor<'de>>(self, v: V) -> Result<V::Value, Stop> {
        self.deserialize_str(v)
    }
    fn deserialize_byte_buf<V: Visitor<'de>>(self, v: V) -> Result<V::Value, Stop> {
        self.deserialize_str(v)
    }

    fn deserialize_option<V: Visitor<'de>>(self, v: V) -> Result<V::Value, Stop> {
        match self.node.value {
            Node::Null => self.located(v.visit_none()),
            _ => self.located(v.visit_some(self)),
        }
    }
    fn deserialize_unit<V: Visitor<'de>>(self, v: V) -> Result<V::Value, Stop> {
        self.located(v.visit_unit())
    }
    fn deserialize_unit_struct<V: Visitor<'de>>(
        self,
        _: &'static str,
        v: V,
    ) -> Result<V::Value, Stop> {
        self.deserialize_unit(v)
    }

    fn deserialize_newtype_struct<V: Visitor<'de>>(
        self,
        name: &'static str,
        v: V,
    ) -> Result<V::Value, Stop> {
        match (name, &self.node.value) {
            (AT_MARK, _) => self.located(v.visit_seq(Placed { of: self, step: 0 })),
            (NEED_MARK, Node::Map(_)) => self.deserialize_map(v),
            (ENDS_MARK, Node::List(_)) => self.deserialize_seq(v),
            _ => self.located(v.visit_newtype_struct(self)),
        }
    }

    fn deserialize_seq<V: Visitor<'de>>(self, v: V) -> Result<V::Value, Stop> {
        match &self.node.value {
            Node::List(l) => self.located(v.visit_seq(List {
                of: self,
                rest: l.iter(),
            })),
            Node::Null => self.located(v.visit_seq(List {
                of: self,
                rest: [].iter(),
            })),
            _ => self.wrong("a list such as `[a, b]`"),
        }
    }
    fn deserialize_tuple<V: Visitor<'de>>(self, n: usize, v: V) -> Result<V::Value, Stop> {
        match &self.node.value {
            Node::List(l) if l.len() == n => self.deserialize_seq(v),
            Node::List(l) => self.located(Err(de::Error::custom(format!(
                "expected {n} values in brackets, found {}",
                l.len()
            )))),
            _ => self.wrong(&format!("{n} values in brackets")),
        }
    }
    fn deserialize_tuple_struct<V: Visitor<'de>>(
        self,
        _: &'static str,
        n: usize,
        v: V,
    ) -> Result<V::Value, Stop> {
        self.deserialize_tuple(n, v)
    }

    fn deserialize_map<V: Visitor<'de>>(self, v: V) -> Result<V::Value, Stop> {
        match &self.node.value {
            Node::Map(m) => self.located(v.visit_map(Map {
                of: self,
                rest: m.iter(),
                value: None,
                fields: None,
            })),
            Node::Null => self.located(v.visit_map(Map {
                of: self,
                rest: [].iter(),
                value: None,
                fields: None,
            })),
            _ => self.wrong("a mapping (`name: value` lines)"),
        }
    }

    fn deserialize_struct<V: Visitor<'de>>(
        self,
        name: &'static str,
        fields: &'static [&'static str],
        v: V,
    ) -> Result<V::Value, Stop> {
        match &self.node.value {
            Node::Map(m) => self.located(v.visit_map(Map {
                of: self,
                rest: m.iter(),
                value: None,
                fields: Some(fields),
            })),
            Node::Null => self.located(v.visit_map(Map {
                of: self,
                rest: [].iter(),
                value: None,
                fields: Some(fields),
            })),
            Node::List(_) => match (SHORT_FORMS.contains(&name), fields[0]) {
                (true, "rate" | "prior") => {
                    self.wrong(&format!("a number, or `{}:` and more in braces", fields[0]))
                }
                (true, _) => self.wrong("a text"),
                _ => self.wrong("a mapping (`name: value` lines)"),
            },
            _ if SHORT_FORMS.contains(&name) => {
                let short = [(
                    At {
                        value: fields[0].into(),
                        span: self.node.span,
                    },
                    self.node.clone(),
                )];
                self.located(v.visit_map(Map {
                    of: self,
                    rest: short.iter(),
                    value: None,
                    fields: None,
                }))
            }
            _ => self.wrong("a mapping (`name: value` lines)"),
        }
    }

    fn deserialize_enum<V: Visitor<'de>>(
        self,
        _: &'static str,
        variants: &'static [&'static str],
        v: V,
    ) -> Result<V::Value, Stop> {
        match &self.node.value {
            Node::Map(m) if m.len() == 1 => {
                let (key, value) = &m[0];
                if !variants.contains(&&*key.value) {
                    let mut e: Stop = de::Error::custom("");
                    e.recorded = true;
                    self.found.borrow_mut().push(
                        Problem::new(
                            Code::UnknownKey,
                            key.span,
                            format!("`{}` is none of {}", clip(key), variants.join(", ")),
                        )
                        .near(key, variants.iter().copied()),
                    );
                    return Err(e);
                }
                self.located(v.visit_enum(Tagged {
                    key: &key.value,
                    of: self.on(value),
                }))
            }
            Node::Text(t) => self.located(v.visit_enum((&**t).into_deserializer())),
            _ => self.wrong(&format!("one of {}", variants.join(", "))),
        }
    }

    fn deserialize_identifier<V: Visitor<'de>>(self, v: V) -> Result<V::Value, Stop> {
        self.deserialize_str(v)
    }
    fn deserialize_ignored_any<V: Visitor<'de>>(self, v: V) -> Result<V::Value, Stop> {
        self.located(v.visit_unit())
    }
}

struct Tagged<'a> {
    key: &'a str,
    of: Decoder<'a>,
}

impl<'de, 'a> de::EnumAccess<'de> for Tagged<'a> {
    type Error = Stop;
    type Variant = TaggedValue<'a>;
    fn variant_seed<S: DeserializeSeed<'de>>(
        self,
        seed: S,
    ) -> Result<(S::Value, TaggedValue<'a>), Stop> {
        let variant = seed.deserialize(self.key.into_deserializer())?;
        Ok((variant, TaggedValue(self.of)))
    }
}

struct TaggedValue<'a>(Decoder<'a>);

impl<'de> de::VariantAccess<'de> for TaggedValue<'_> {
    type Error = Stop;
    fn unit_variant(self) -> Result<(), Stop> {
        Ok(())
    }
    fn newtype_variant_seed<S: DeserializeSeed<'de>>(self, seed: S) -> Result<S::Value, Stop> {
        seed.deserialize(self.0)
    }
    fn tuple_variant<V: Visitor<'de>>(self, n: usize, v: V) -> Result<V::Value, Stop> {
        de::Deserializer::deserialize_tuple(self.0, n, v)
    }
    fn struct_variant<V: Visitor<'de>>(
        self,
        fields: &'static [&'static str],
        v: V,
    ) -> Result<V::Value, Stop> {
        de::Deserializer::deserialize_struct(self.0, "", fields, v)
    }
}

/// Gives [`At`] its place and its value as a sequence of two.
struct Placed<'a> {
    of: Decoder<'a>,
    step: u8,
}

impl<'de> de::SeqAccess<'de> for Placed<'_> {
    type Error = Stop;
    fn next_element_seed<S: DeserializeSeed<'de>>(
        &mut self,
        seed: S,
    ) -> Result<Option<S::Value>, Stop> {
        self.step += 1;
        match self.step {
            1 => {
                let Span { file, start, end } = self.of.node.span;
                let place: de::value::SeqDeserializer<_, Stop> =
                    de::value::SeqDeserializer::new([file, start, end].into_iter());
                seed.deserialize(place).map(Some)
            }
            2 => seed.deserialize(self.of).map(Some),
            _ => Ok(None),
        }
    }
}

struct List<'a> {
    of: Decoder<'a>,
    rest: std::slice::Iter<'a, At<Node<'a>>>,
}

impl<'de> de::SeqAccess<'de> for List<'_> {
    type Error = Stop;
    fn next_element_seed<S: DeserializeSeed<'de>>(
        &mut self,
        seed: S,
    ) -> Result<Option<S::Value>, Stop> {
        match self.rest.next() {
            Some(n) => seed.deserialize(self.of.on(n)).map(Some),
            None => Ok(None),
        }
    }
}

struct Map<'a> {
    of: Decoder<'a>,
    rest: std::slice::Iter<'a, (At<Cow<'a, str>>, At<Node<'a>>)>,
    value: Option<(&'a At<Cow<'a, str>>, &'a At<Node<'a>>)>,
    fields: Option<&'static [&'static str]>,
}

impl<'de> de::MapAccess<'de> for Map<'_> {
    type Error = Stop;
    fn next_key_seed<S: DeserializeSeed<'de>>(
        &mut self,
        seed: S,
    ) -> Result<Option<S::Value>, Stop> {
        for (key, value) in self.rest.by_ref() {
            if let Some(fields) = self.fields
                && !fields.contains(&&*key.value)
            {
                self.of.found.borrow_mut().push(
                    Problem::new(
                        Code::UnknownKey,
                        key.span,
                        format!("`{}` is not a key that can stand here", clip(key)),
                    )
                    .near(key, fields.iter().copied())
                    .help(format!("keys here: {}", fields.join(", "))),
                );
                continue;
            }
            self.value = Some((key, value));
            let node = At {
                value: Node::Text(key.value.clone()),
                span: key.span,
            };
            return seed.deserialize(self.of.on_key(&node)).map(Some);
        }
        Ok(None)
    }
    fn next_value_seed<S: DeserializeSeed<'de>>(&mut self, seed: S) -> Result<S::Value, Stop> {
        match self.value.take() {
            Some((key, v)) => seed.deserialize(Decoder {
                node: v,
                owner: Some(key),
                ..self.of
            }),
            None => Err(de::Error::custom("a value is missing")),
        }
    }
}

impl<'a> Decoder<'a> {
    /// The decoder on a key, which lives only as long as the call.
    fn on_key<'b>(self, node: &'b At<Node<'b>>) -> Decoder<'b>
    where
        'a: 'b,
    {
        Decoder {
            node,
            owner: None,
            files: self.files,
            found: self.found,
        }
    }
}
