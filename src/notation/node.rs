//! A parsed value as something that serde reads.

use super::ReadFault;
use serde::de::value::StrDeserializer;
use serde::de::{
    Deserialize, DeserializeSeed, Deserializer, EnumAccess, Error, IntoDeserializer, MapAccess,
    SeqAccess, Unexpected, VariantAccess, Visitor,
};
use serde::forward_to_deserialize_any;
use serde_spanned::de::{SpannedDeserializer, is_spanned};
use std::slice;
use toml::Spanned;
use toml::de::{DeString, DeTable, DeValue};

type Value<'t> = Spanned<DeValue<'t>>;

/// A value with its place.
#[derive(Clone, Copy)]
pub(super) struct Node<'n, 't>(pub(super) &'n Value<'t>);

/// A number as the visitor wants it: the smallest kind that holds it.
fn integer<'de, V: Visitor<'de>>(digits: &str, radix: u32, to: V) -> Result<V::Value, ReadFault> {
    if let Ok(number) = i64::from_str_radix(digits, radix) {
        return to.visit_i64(number);
    }
    match u64::from_str_radix(digits, radix) {
        Ok(number) => to.visit_u64(number),
        Err(_) => Err(ReadFault::custom("integer number overflowed")),
    }
}

impl<'de> Deserializer<'de> for Node<'_, '_> {
    type Error = ReadFault;

    fn deserialize_any<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, ReadFault> {
        let read = match self.0.get_ref() {
            DeValue::String(text) => visitor.visit_str(text),
            DeValue::Integer(number) => integer(number.as_str(), number.radix(), visitor),
            DeValue::Float(number) => match number.as_str().parse() {
                Ok(number) => visitor.visit_f64(number),
                Err(_) => Err(ReadFault::custom("floating-point number overflowed")),
            },
            DeValue::Boolean(yes) => visitor.visit_bool(*yes),
            // No format of this program has dates that are not text.
            DeValue::Datetime(_) => {
                Err(ReadFault::invalid_type(Unexpected::Other("date without quotes"), &visitor))
            }
            DeValue::Array(values) => visitor.visit_seq(Values(values.iter())),
            DeValue::Table(table) => visitor.visit_map(Entries::of(table)),
        };
        read.map_err(|fault| fault.at(self.0.span()))
    }

    fn deserialize_option<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, ReadFault> {
        visitor.visit_some(self)
    }

    fn deserialize_newtype_struct<V: Visitor<'de>>(
        self,
        _: &'static str,
        visitor: V,
    ) -> Result<V::Value, ReadFault> {
        visitor.visit_newtype_struct(self).map_err(|fault| fault.at(self.0.span()))
    }

    fn deserialize_struct<V: Visitor<'de>>(
        self,
        name: &'static str,
        _: &'static [&'static str],
        visitor: V,
    ) -> Result<V::Value, ReadFault> {
        if is_spanned(name) {
            return visitor.visit_map(SpannedDeserializer::new(self, self.0.span()));
        }
        self.deserialize_any(visitor)
    }

    fn deserialize_enum<V: Visitor<'de>>(
        self,
        _: &'static str,
        _: &'static [&'static str],
        visitor: V,
    ) -> Result<V::Value, ReadFault> {
        let read = match self.0.get_ref() {
            DeValue::String(text) => visitor.visit_enum(Key::new(text)),
            DeValue::Table(table) => match table.iter().next() {
                Some((key, value)) if table.len() == 1 => visitor.visit_enum(Only { key, value }),
                _ => Err(ReadFault::custom(format!("wanted one key, found {}", table.len()))),
            },
            _ => Err(ReadFault::custom("wanted string or table")),
        };
        read.map_err(|fault| fault.at(self.0.span()))
    }

    forward_to_deserialize_any! {
        bool u8 u16 u32 u64 u128 i8 i16 i32 i64 i128 f32 f64 char str string seq bytes byte_buf map
        unit ignored_any unit_struct tuple_struct tuple identifier
    }
}

impl IntoDeserializer<'_, ReadFault> for Node<'_, '_> {
    type Deserializer = Self;

    fn into_deserializer(self) -> Self {
        self
    }
}

type Key<'k> = StrDeserializer<'k, ReadFault>;

struct Values<'n, 't>(slice::Iter<'n, Value<'t>>);

impl<'de> SeqAccess<'de> for Values<'_, '_> {
    type Error = ReadFault;

    fn next_element_seed<T: DeserializeSeed<'de>>(
        &mut self,
        seed: T,
    ) -> Result<Option<T::Value>, ReadFault> {
        self.0.next().map(|value| seed.deserialize(Node(value))).transpose()
    }

    fn size_hint(&self) -> Option<usize> {
        Some(self.0.len())
    }
}

type Entry<'n, 't> = (&'n Spanned<DeString<'t>>, &'n Value<'t>);

/// Keys and values of a table, in the order of its map.
struct Entries<'n, 't> {
    left: std::vec::IntoIter<Entry<'n, 't>>,
    value: Option<&'n Value<'t>>,
}

impl<'n, 't> Entries<'n, 't> {
    fn of(table: &'n DeTable<'t>) -> Self {
        Self { left: table.iter().collect::<Vec<_>>().into_iter(), value: None }
    }
}

impl<'de> MapAccess<'de> for Entries<'_, '_> {
    type Error = ReadFault;

    fn next_key_seed<K: DeserializeSeed<'de>>(
        &mut self,
        seed: K,
    ) -> Result<Option<K::Value>, ReadFault> {
        let Some((key, value)) = self.left.next() else { return Ok(None) };
        self.value = Some(value);
        let read = seed.deserialize(Key::new(key.get_ref()));
        read.map(Some).map_err(|fault| fault.at(key.span()))
    }

    fn next_value_seed<V: DeserializeSeed<'de>>(&mut self, seed: V) -> Result<V::Value, ReadFault> {
        let value = self.value.take();
        // serde asks for a value after its key only.
        let value = value.ok_or_else(|| ReadFault::custom("a value without a key"))?;
        seed.deserialize(Node(value)).map_err(|fault| fault.at(value.span()))
    }

    fn size_hint(&self) -> Option<usize> {
        Some(self.left.len())
    }
}

/// A table of one key: a variant with its content.
struct Only<'n, 't> {
    key: &'n Spanned<DeString<'t>>,
    value: &'n Value<'t>,
}

impl<'de, 'n, 't> EnumAccess<'de> for Only<'n, 't> {
    type Error = ReadFault;
    type Variant = Node<'n, 't>;

    fn variant_seed<V: DeserializeSeed<'de>>(
        self,
        seed: V,
    ) -> Result<(V::Value, Self::Variant), ReadFault> {
        let variant = seed.deserialize(Key::new(self.key.get_ref()));
        let variant = variant.map_err(|fault| fault.at(self.key.span()))?;
        Ok((variant, Node(self.value)))
    }
}

impl<'de> VariantAccess<'de> for Node<'_, '_> {
    type Error = ReadFault;

    fn unit_variant(self) -> Result<(), ReadFault> {
        <()>::deserialize(self)
    }

    fn newtype_variant_seed<T: DeserializeSeed<'de>>(self, seed: T) -> Result<T::Value, ReadFault> {
        seed.deserialize(self)
    }

    fn tuple_variant<V: Visitor<'de>>(self, _: usize, to: V) -> Result<V::Value, ReadFault> {
        self.deserialize_any(to)
    }

    fn struct_variant<V: Visitor<'de>>(
        self,
        _: &'static [&'static str],
        to: V,
    ) -> Result<V::Value, ReadFault> {
        self.deserialize_any(to)
    }
}
