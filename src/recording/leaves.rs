//! A form taken apart into its leaves, each with its path and the bytes it takes on disk.
//!
//! A byte that differs in a stored output is thereby traced to one field, also where the difference has made
//! the stored bytes unreadable. A leaf is a number, a text, a yes/no, or what decides how the bytes behind it
//! read: which variant, whether there is a value, how many items.

use serde::ser::{self, Serialize};
use std::fmt;

/// One leaf.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Leaf {
    /// Field names from the outside in, with dots; items in brackets.
    pub path: String,
    /// Its value in words, a number with its bits.
    pub text: String,
    /// Where its bytes begin.
    pub start: usize,
    /// How many they are.
    pub len: usize,
}

/// All leaves of a form, in the order of their bytes.
pub(super) fn leaves<T: Serialize>(form: &T) -> Vec<Leaf> {
    let mut walk = Walk::default();
    form.serialize(&mut walk).expect("a walk over memory cannot fail");
    walk.leaves
}

#[derive(Default)]
struct Walk {
    path: Vec<String>,
    leaves: Vec<Leaf>,
    at: usize,
}

/// A walk has nothing that can fail; serde asks for a type.
#[derive(Debug)]
struct Never;

impl fmt::Display for Never {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("unreachable")
    }
}

impl std::error::Error for Never {}

impl ser::Error for Never {
    fn custom<T: fmt::Display>(_: T) -> Self {
        Never
    }
}

type Done = Result<(), Never>;

impl Walk {
    fn leaf(&mut self, text: String, len: usize) -> Done {
        self.leaves.push(Leaf { path: self.path.join(""), text, start: self.at, len });
        self.at += len;
        Ok(())
    }

    fn inside<T: Serialize + ?Sized>(&mut self, step: String, value: &T) -> Done {
        self.path.push(step);
        let done = value.serialize(&mut *self);
        self.path.pop();
        done
    }

    fn field<T: Serialize + ?Sized>(&mut self, name: &str, value: &T) -> Done {
        let dot = if self.path.is_empty() { "" } else { "." };
        self.inside(format!("{dot}{name}"), value)
    }

    fn variant(&mut self, index: u32, name: &str) -> Done {
        self.leaf(name.to_owned(), varint_len(u64::from(index)))
    }
}

/// Bytes of an unsigned number in postcard: seven bits a byte.
fn varint_len(value: u64) -> usize {
    (64 - value.leading_zeros() as usize).div_ceil(7).max(1)
}

/// Bytes of a signed number in postcard: folded to unsigned first, the sign in the last bit.
fn zigzag_len(value: i64) -> usize {
    varint_len((value.cast_unsigned() << 1) ^ (value >> 63).cast_unsigned())
}

/// Sequences, structs and the variants that hold them: the walk itself with a count of the items so far.
struct Inner<'a> {
    walk: &'a mut Walk,
    items: usize,
    /// Path steps to take back at the end.
    entered: usize,
}

impl Inner<'_> {
    fn item<T: Serialize + ?Sized>(&mut self, value: &T) -> Done {
        let step = format!("[{}]", self.items);
        self.items += 1;
        self.walk.inside(step, value)
    }

    fn end(self) -> Done {
        let left = self.walk.path.len() - self.entered;
        self.walk.path.truncate(left);
        Ok(())
    }
}

macro_rules! numbers {
    ($($method:ident($type:ty) = |$value:ident| $len:expr;)+) => {$(
        fn $method(self, $value: $type) -> Done {
            self.leaf($value.to_string(), $len)
        }
    )+};
}

impl<'a> ser::Serializer for &'a mut Walk {
    type Ok = ();
    type Error = Never;
    type SerializeSeq = Inner<'a>;
    type SerializeTuple = Inner<'a>;
    type SerializeTupleStruct = Inner<'a>;
    type SerializeTupleVariant = Inner<'a>;
    type SerializeMap = ser::Impossible<(), Never>;
    type SerializeStruct = Inner<'a>;
    type SerializeStructVariant = Inner<'a>;

    numbers! {
        serialize_bool(bool) = |v| 1;
        serialize_u8(u8) = |v| 1;
        serialize_i8(i8) = |v| 1;
        serialize_u16(u16) = |v| varint_len(u64::from(v));
        serialize_u32(u32) = |v| varint_len(u64::from(v));
        serialize_u64(u64) = |v| varint_len(v);
        serialize_i16(i16) = |v| zigzag_len(i64::from(v));
        serialize_i32(i32) = |v| zigzag_len(i64::from(v));
        serialize_i64(i64) = |v| zigzag_len(v);
    }

    fn serialize_f32(self, value: f32) -> Done {
        self.leaf(format!("{value:?} (bits {:#010x})", value.to_bits()), 4)
    }

    fn serialize_f64(self, value: f64) -> Done {
        self.leaf(format!("{value:?} (bits {:#018x})", value.to_bits()), 8)
    }

    fn serialize_char(self, value: char) -> Done {
        self.serialize_str(value.encode_utf8(&mut [0; 4]))
    }

    fn serialize_str(self, value: &str) -> Done {
        self.leaf(format!("{value:?}"), varint_len(value.len() as u64) + value.len())
    }

    fn serialize_bytes(self, value: &[u8]) -> Done {
        self.leaf(super::hex(value), varint_len(value.len() as u64) + value.len())
    }

    fn serialize_none(self) -> Done {
        self.leaf("no value".to_owned(), 1)
    }

    fn serialize_some<T: Serialize + ?Sized>(self, value: &T) -> Done {
        self.leaf("a value".to_owned(), 1)?;
        value.serialize(self)
    }

    fn serialize_unit(self) -> Done {
        Ok(())
    }

    fn serialize_unit_struct(self, _: &'static str) -> Done {
        Ok(())
    }

    fn serialize_unit_variant(self, _: &'static str, index: u32, variant: &'static str) -> Done {
        self.variant(index, variant)
    }

    fn serialize_newtype_struct<T: Serialize + ?Sized>(self, _: &'static str, value: &T) -> Done {
        value.serialize(self)
    }

    fn serialize_newtype_variant<T: Serialize + ?Sized>(
        self,
        _: &'static str,
        index: u32,
        variant: &'static str,
        value: &T,
    ) -> Done {
        self.variant(index, variant)?;
        self.field(variant, value)
    }

    fn serialize_seq(self, len: Option<usize>) -> Result<Inner<'a>, Never> {
        let items = len.unwrap_or_default();
        self.leaf(format!("{items} items"), varint_len(items as u64))?;
        Ok(Inner { walk: self, items: 0, entered: 0 })
    }

    fn serialize_tuple(self, _: usize) -> Result<Inner<'a>, Never> {
        Ok(Inner { walk: self, items: 0, entered: 0 })
    }

    fn serialize_tuple_struct(self, _: &'static str, len: usize) -> Result<Inner<'a>, Never> {
        self.serialize_tuple(len)
    }

    fn serialize_tuple_variant(
        self,
        _: &'static str,
        index: u32,
        variant: &'static str,
        _: usize,
    ) -> Result<Inner<'a>, Never> {
        self.enter(index, variant)
    }

    fn serialize_map(self, _: Option<usize>) -> Result<Self::SerializeMap, Never> {
        Err(Never)
    }

    fn serialize_struct(self, _: &'static str, len: usize) -> Result<Inner<'a>, Never> {
        self.serialize_tuple(len)
    }

    fn serialize_struct_variant(
        self,
        _: &'static str,
        index: u32,
        variant: &'static str,
        _: usize,
    ) -> Result<Inner<'a>, Never> {
        self.enter(index, variant)
    }

    /// As on disk: a number is its bits.
    fn is_human_readable(&self) -> bool {
        false
    }
}

impl Walk {
    fn enter(&mut self, index: u32, variant: &str) -> Result<Inner<'_>, Never> {
        self.variant(index, variant)?;
        let dot = if self.path.is_empty() { "" } else { "." };
        self.path.push(format!("{dot}{variant}"));
        Ok(Inner { walk: self, items: 0, entered: 1 })
    }
}

macro_rules! inner {
    ($($trait:ident::$method:ident),+) => {$(
        impl ser::$trait for Inner<'_> {
            type Ok = ();
            type Error = Never;
            fn $method<T: Serialize + ?Sized>(&mut self, value: &T) -> Done {
                self.item(value)
            }
            fn end(self) -> Done {
                Inner::end(self)
            }
        }
    )+};
    (named $($trait:ident),+) => {$(
        impl ser::$trait for Inner<'_> {
            type Ok = ();
            type Error = Never;
            fn serialize_field<T: Serialize + ?Sized>(&mut self, name: &'static str, value: &T) -> Done {
                self.walk.field(name, value)
            }
            fn end(self) -> Done {
                Inner::end(self)
            }
        }
    )+};
}

inner!(
    SerializeSeq::serialize_element,
    SerializeTuple::serialize_element,
    SerializeTupleStruct::serialize_field,
    SerializeTupleVariant::serialize_field
);
inner!(named SerializeStruct, SerializeStructVariant);
