//! From a tree of values to the typed raw form, collecting every problem on
//! the way: an unknown key or a wrong type in one entry does not hide the
//! mistakes in the next.

mod expected;

use std::borrow::Cow;
use std::cell::RefCell;
use std::fmt;

use serde::de::{self, Deserialize, DeserializeSeed, IntoDeserializer, Visitor};

use expected::{Expected, clip};

use super::problem::{Code, Problem};
use super::shape::{LIST_MARK, MAP_MARK};
use super::source::{AT_MARK, At, SourceFile, Span};
use super::yaml::Node;

/// What the short form of a type is: the value of its first key alone.
#[derive(Clone, Copy)]
enum Short {
    Number,
    Text,
}

/// Types that have a short form.
const SHORT_FORMS: [(&str, Short); 7] = [
    ("RawFault", Short::Number),
    ("RawPrior", Short::Number),
    ("RawCaution", Short::Text),
    ("RawHistory", Short::Text),
    ("RawCopy", Short::Text),
    ("RawGood", Short::Text),
    ("RawPoint", Short::Text),
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

/// An error on its way up; its problem is recorded where it arose.
#[derive(Debug)]
enum Stop {
    Recorded,
    /// A key that must be there is not.
    Missing(&'static str),
    /// Anything else, in words.
    Wrong(String),
}

impl fmt::Display for Stop {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        match self {
            Stop::Recorded => Ok(()),
            Stop::Missing(key) => write!(f, "`{key}` is missing"),
            Stop::Wrong(words) => f.write_str(words),
        }
    }
}

impl std::error::Error for Stop {}

impl de::Error for Stop {
    fn custom<T: fmt::Display>(m: T) -> Self {
        Stop::Wrong(m.to_string())
    }
    fn missing_field(key: &'static str) -> Self {
        Stop::Missing(key)
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
        r.map_err(|stop| match (&stop, self.owner) {
            (Stop::Recorded, _) => stop,
            // What is not there has no place: show whose it is.
            (Stop::Missing(key), Some(owner)) => self.recorded(
                Problem::new(
                    Code::MissingKey,
                    owner.span,
                    format!("{stop} from `{}`", clip(owner)),
                )
                .help(format!("add `{key}:`")),
            ),
            (Stop::Missing(key), None) => self.recorded(
                Problem::new(Code::MissingKey, self.node.span, stop.to_string())
                    .help(format!("add `{key}:`")),
            ),
            (Stop::Wrong(words), _) => {
                self.recorded(Problem::new(Code::Type, self.node.span, words.as_str()))
            }
        })
    }

    fn recorded(self, p: Problem) -> Stop {
        self.found.borrow_mut().push(p);
        Stop::Recorded
    }

    fn wrong<T>(self, expected: Expected) -> Result<T, Stop> {
        let found = match &self.node.value {
            Node::Null => "nothing".into(),
            Node::List(_) => "a list".into(),
            Node::Map(_) => "a mapping".into(),
            _ if self.written().is_empty() => "an empty text".into(),
            _ => format!("`{}`", clip(self.written())),
        };
        let problem = Problem::new(
            Code::Type,
            self.node.span,
            format!("expected {expected}, found {found}"),
        );
        Err(
            self.recorded(match expected.advice(self.node, self.written()) {
                Some(help) => problem.help(help),
                None => problem,
            }),
        )
    }

    /// The entries of a mapping; `keys` are those that can stand there.
    fn map<'b, 'de, V: Visitor<'de>>(
        self,
        entries: &'b [MapEntry<'b>],
        keys: Option<&'static [&'static str]>,
        v: V,
    ) -> Result<V::Value, Stop>
    where
        'a: 'b,
    {
        self.located(v.visit_map(Map {
            of: self,
            rest: entries.iter(),
            value: None,
            keys,
        }))
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

macro_rules! whole {
    ($($method:ident $visit:ident $ty:ty),*) => {$(
        fn $method<V: Visitor<'de>>(self, v: V) -> Result<V::Value, Stop> {
            match self.node.value {
                Node::Number(n) if n.fract() == 0.0 && n >= <$ty>::MIN as f64 && n <= <$ty>::MAX as f64 => {
                    self.located(v.$visit(n as $ty))
                }
                _ => self.wrong(Expected::WholeNumber),
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
            _ => self.wrong(Expected::Bool),
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
            _ => self.wrong(Expected::Number),
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
            _ => self.wrong(Expected::Text),
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
            (MAP_MARK, Node::Map(_)) => self.deserialize_map(v),
            (LIST_MARK, Node::List(_)) => self.deserialize_seq(v),
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
            _ => self.wrong(Expected::List),
        }
    }
    fn deserialize_tuple<V: Visitor<'de>>(self, n: usize, v: V) -> Result<V::Value, Stop> {
        match &self.node.value {
            Node::List(l) if l.len() == n => self.deserialize_seq(v),
            Node::List(l) => self.located(Err(de::Error::custom(format!(
                "expected {n} values in brackets, found {}",
                l.len()
            )))),
            _ => self.wrong(Expected::Values(n)),
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
            Node::Map(m) => self.map(m, None, v),
            Node::Null => self.map(&[], None, v),
            _ => self.wrong(Expected::Mapping),
        }
    }

    fn deserialize_struct<V: Visitor<'de>>(
        self,
        name: &'static str,
        fields: &'static [&'static str],
        v: V,
    ) -> Result<V::Value, Stop> {
        let short = SHORT_FORMS.iter().find(|(of, _)| *of == name);
        let short = short.map(|(_, short)| *short);
        match &self.node.value {
            Node::Map(m) => self.map(m, Some(fields), v),
            Node::Null => self.map(&[], Some(fields), v),
            Node::List(_) => self.wrong(match short {
                Some(Short::Number) => Expected::NumberOrMore(fields[0]),
                Some(Short::Text) => Expected::Text,
                None => Expected::Mapping,
            }),
            _ if short.is_some() => {
                let short = [(
                    At {
                        value: fields[0].into(),
                        span: self.node.span,
                    },
                    self.node.clone(),
                )];
                self.map(&short, None, v)
            }
            _ => self.wrong(Expected::Mapping),
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
                    return Err(self.recorded(
                        Problem::new(
                            Code::UnknownKey,
                            key.span,
                            format!("`{}` is none of {}", clip(key), variants.join(", ")),
                        )
                        .near(key, variants.iter().copied()),
                    ));
                }
                self.located(v.visit_enum(Tagged {
                    key: &key.value,
                    of: self.on(value),
                }))
            }
            Node::Text(t) => self.located(v.visit_enum((&**t).into_deserializer())),
            _ => self.wrong(Expected::OneOf(variants)),
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

type MapEntry<'a> = (At<Cow<'a, str>>, At<Node<'a>>);

struct Map<'a> {
    of: Decoder<'a>,
    rest: std::slice::Iter<'a, MapEntry<'a>>,
    value: Option<(&'a At<Cow<'a, str>>, &'a At<Node<'a>>)>,
    keys: Option<&'static [&'static str]>,
}

impl<'de> de::MapAccess<'de> for Map<'_> {
    type Error = Stop;
    fn next_key_seed<S: DeserializeSeed<'de>>(
        &mut self,
        seed: S,
    ) -> Result<Option<S::Value>, Stop> {
        for (key, value) in self.rest.by_ref() {
            if let Some(keys) = self.keys
                && !keys.contains(&&*key.value)
            {
                self.of.found.borrow_mut().push(
                    Problem::new(
                        Code::UnknownKey,
                        key.span,
                        format!("`{}` is not a key that can stand here", clip(key)),
                    )
                    .near(key, keys.iter().copied())
                    .help(format!("keys here: {}", keys.join(", "))),
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
