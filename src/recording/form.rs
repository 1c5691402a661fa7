//! What stands on disk, apart from what the engine computes with.
//!
//! Every engine type that is recorded has a *form* beside it: the same content under names that never change.
//! The engine may rename and reshape freely; the compiler then points at the form, and whoever changes it
//! decides whether old recordings still read (see [`super::format`]). The forms are also the JSON that leaves
//! the program, so a key that holds a number with a unit says the unit; `_si` stands for the SI unit of the
//! signal in question, and a number without a suffix is a count, an index or a ratio.
//!
//! On disk a form is postcard: fields in their order, enum variants by their index. New variants go to the end.

mod frame;
mod input;
mod papers;
mod settings;
mod steps;

use crate::time::{EngineTime, WallTime};
use crate::units::{AbsPa, Celsius, GaugePa, Kg, KgPerM3, KgPerS, M3, Metre, PaS};
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize, Serializer};

/// A type with a form on disk.
pub trait Stored: Sized {
    /// The form.
    type Form: Serialize + DeserializeOwned;
    /// As it is written.
    fn to_form(&self) -> Self::Form;
    /// As it was read.
    fn from_form(form: Self::Form) -> Self;
}

/// The bytes of a value's form.
pub fn encode<T: Stored>(value: &T) -> Vec<u8> {
    postcard::to_stdvec(&value.to_form()).expect("memory takes every form: none has a sequence of unknown length")
}

/// The value whose form these bytes are, all of them.
pub fn decode<T: Stored>(bytes: &[u8]) -> Result<T, String> {
    match postcard::take_from_bytes::<T::Form>(bytes) {
        Ok((form, [])) => Ok(T::from_form(form)),
        Ok((_, rest)) => Err(format!("{} bytes too many", rest.len())),
        Err(error) => Err(error.to_string()),
    }
}

/// A number. On disk its 64 bits; as JSON a decimal that reads back to the same bits, or, where there is none
/// (the engine's numbers are finite, a damaged recording's need not be), the text `not finite: 0x<bits>`.
#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(transparent)]
pub struct Number(pub f64);

impl Serialize for Number {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        if serializer.is_human_readable() && !self.0.is_finite() {
            return serializer.serialize_str(&format!("not finite: {:#018x}", self.0.to_bits()));
        }
        serializer.serialize_f64(self.0)
    }
}

impl Stored for f64 {
    type Form = Number;
    fn to_form(&self) -> Number {
        Number(*self)
    }
    fn from_form(form: Number) -> f64 {
        form.0
    }
}

macro_rules! stored_as_itself {
    ($($type:ty),+) => {$(
        impl Stored for $type {
            type Form = $type;
            fn to_form(&self) -> $type {
                self.clone()
            }
            fn from_form(form: $type) -> $type {
                form
            }
        }
    )+};
}

stored_as_itself!(bool, u8, u16, u32, u64, i64, String);

macro_rules! stored_as_content {
    ($($newtype:ident($content:ty)),+ $(,)?) => {$(
        impl Stored for $newtype {
            type Form = <$content as Stored>::Form;
            fn to_form(&self) -> Self::Form {
                self.0.to_form()
            }
            fn from_form(form: Self::Form) -> Self {
                $newtype(<$content>::from_form(form))
            }
        }
    )+};
}

stored_as_content!(
    EngineTime(u64),
    WallTime(i64),
    Kg(f64),
    KgPerS(f64),
    KgPerM3(f64),
    PaS(f64),
    Metre(f64),
    M3(f64),
    GaugePa(f64),
    AbsPa(f64),
    Celsius(f64),
);

impl<T: Stored> Stored for Option<T> {
    type Form = Option<T::Form>;
    fn to_form(&self) -> Self::Form {
        self.as_ref().map(T::to_form)
    }
    fn from_form(form: Self::Form) -> Self {
        form.map(T::from_form)
    }
}

/// Form of a result; serde's own form has capital letters in its JSON.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ResultForm<T, E> {
    Ok(T),
    Err(E),
}

impl<T: Stored, E: Stored> Stored for Result<T, E> {
    type Form = ResultForm<T::Form, E::Form>;
    fn to_form(&self) -> Self::Form {
        match self {
            Ok(value) => ResultForm::Ok(value.to_form()),
            Err(error) => ResultForm::Err(error.to_form()),
        }
    }
    fn from_form(form: Self::Form) -> Self {
        match form {
            ResultForm::Ok(value) => Ok(T::from_form(value)),
            ResultForm::Err(error) => Err(E::from_form(error)),
        }
    }
}

impl<T: Stored> Stored for Vec<T> {
    type Form = Vec<T::Form>;
    fn to_form(&self) -> Self::Form {
        self.iter().map(T::to_form).collect()
    }
    fn from_form(form: Self::Form) -> Self {
        form.into_iter().map(T::from_form).collect()
    }
}

impl<T: Stored> Stored for Box<T> {
    type Form = Box<T::Form>;
    fn to_form(&self) -> Self::Form {
        Box::new(self.as_ref().to_form())
    }
    fn from_form(form: Self::Form) -> Self {
        Box::new(T::from_form(*form))
    }
}

/// What is shared is written each time.
impl<T: Stored, const N: usize> Stored for [T; N]
where
    [T::Form; N]: Serialize + DeserializeOwned,
{
    type Form = [T::Form; N];
    fn to_form(&self) -> Self::Form {
        self.each_ref().map(T::to_form)
    }
    fn from_form(form: Self::Form) -> Self {
        form.map(T::from_form)
    }
}

impl<A: Stored, B: Stored> Stored for (A, B) {
    type Form = (A::Form, B::Form);
    fn to_form(&self) -> Self::Form {
        (self.0.to_form(), self.1.to_form())
    }
    fn from_form(form: Self::Form) -> Self {
        (A::from_form(form.0), B::from_form(form.1))
    }
}

/// Declares the form of an engine type and the way there and back. A field or variant is written as in the
/// engine, with `= "key"` where its stable name is another (most often to carry the unit).
macro_rules! mirror {
    () => {};
    (struct $form:ident of $engine:ident { $($field:ident: $type:ty $(= $key:literal)?),+ $(,)? } $($rest:tt)*) => {
        #[derive(Debug, Clone, serde::Serialize, serde::Deserialize)]
        pub struct $form {
            $($(#[serde(rename = $key)])? $field: <$type as $crate::recording::form::Stored>::Form,)+
        }
        impl $crate::recording::form::Stored for $engine {
            type Form = $form;
            fn to_form(&self) -> $form {
                $form { $($field: <$type as $crate::recording::form::Stored>::to_form(&self.$field),)+ }
            }
            fn from_form(form: $form) -> Self {
                $engine { $($field: <$type as $crate::recording::form::Stored>::from_form(form.$field),)+ }
            }
        }
        mirror! { $($rest)* }
    };
    (enum $form:ident of $engine:ident { $(
        $variant:ident $(($content:ty))? $({ $($field:ident: $type:ty $(= $field_key:literal)?),+ $(,)? })? $(= $key:literal)?
    ),+ $(,)? } $($rest:tt)*) => {
        #[derive(Debug, Clone, serde::Serialize, serde::Deserialize)]
        #[serde(rename_all = "snake_case")]
        pub enum $form {$(
            $(#[serde(rename = $key)])?
            $variant
            $((<$content as $crate::recording::form::Stored>::Form))?
            $({ $($(#[serde(rename = $field_key)])? $field: <$type as $crate::recording::form::Stored>::Form,)+ })?,
        )+}
        impl $crate::recording::form::Stored for $engine {
            type Form = $form;
            fn to_form(&self) -> $form {
                match self {$(
                    $engine::$variant $((mirror!(@bind content $content)))? $({ $($field),+ })? => $form::$variant
                        $((<$content as $crate::recording::form::Stored>::to_form(content)))?
                        $({ $($field: <$type as $crate::recording::form::Stored>::to_form($field)),+ })?,
                )+}
            }
            fn from_form(form: $form) -> Self {
                match form {$(
                    $form::$variant $((mirror!(@bind content $content)))? $({ $($field),+ })? => $engine::$variant
                        $((<$content as $crate::recording::form::Stored>::from_form(content)))?
                        $({ $($field: <$type as $crate::recording::form::Stored>::from_form($field)),+ })?,
                )+}
            }
        }
        mirror! { $($rest)* }
    };
    (@bind $name:ident $content:ty) => { $name };
}
use mirror;
