//! Walks a row by serialising it, and hands the fields of a plan to the visitor.

use std::fmt;

use serde::Serialize;
use serde::ser::{
    Error, Impossible, SerializeMap, SerializeSeq, SerializeStruct, SerializeTuple, Serializer,
};

use super::{Plan, Slot, Value, Visitor, Wanted};

pub(super) struct Walk<'p, 's> {
    pub(super) plan: &'p Plan,
    pub(super) visitor: &'s mut dyn Visitor,
    pub(super) rows: Vec<usize>,
}

/// The state of the serialisation.
#[derive(Clone, Copy)]
pub(super) enum State<'p> {
    /// At an object that has fields of the plan.
    Row(&'p [Wanted]),
    /// At the value of a field.
    Cell(&'p Wanted),
    /// At an item of a list field, with its index.
    Items(&'p Wanted, usize),
    /// At a single item.
    Item(&'p Wanted),
    /// At a value that is not in the plan.
    Nothing,
}

pub(super) struct At<'w, 'p, 's> {
    pub(super) walk: &'w mut Walk<'p, 's>,
    pub(super) state: State<'p>,
    pub(super) table: usize,
}

impl<'w, 'p, 's> At<'w, 'p, 's> {
    fn tell(&mut self, value: Value<'_>) {
        if let State::Cell(Wanted { field: Some(field), .. })
        | State::Item(Wanted { field: Some(field), .. }) = self.state
        {
            self.walk.visitor.field(Slot { table: self.table, field: *field }, value);
        }
    }

    fn value(mut self, value: Value<'_>) -> Result<(), Stop> {
        self.tell(value);
        Ok(())
    }

    fn into(self, state: State<'p>) -> Self {
        Self { state, ..self }
    }

    fn inner(&mut self, state: State<'p>, table: usize) -> At<'_, 'p, 's> {
        At { walk: &mut *self.walk, state, table }
    }

    fn object(mut self) -> Self {
        match self.state {
            State::Row(_) => self,
            State::Cell(wanted) => {
                self.tell(Value::Object);
                self.into(State::Row(&wanted.inside))
            }
            _ => self.into(State::Nothing),
        }
    }
}

/// A value that cannot be written.
#[derive(Debug)]
pub(super) struct Stop;

impl fmt::Display for Stop {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a value that cannot be written")
    }
}

impl std::error::Error for Stop {}

impl Error for Stop {
    fn custom<T: fmt::Display>(_: T) -> Self {
        Self
    }
}

macro_rules! numbers_seen {
    ($($method:ident: $type:ty),+) => { $(
        #[allow(clippy::cast_precision_loss, clippy::cast_lossless)]
        fn $method(self, value: $type) -> Result<(), Stop> {
            self.value(Value::Number(value as f64))
        }
    )+ };
}

impl<'w, 'p, 's> Serializer for At<'w, 'p, 's> {
    type Ok = ();
    type Error = Stop;
    type SerializeSeq = Self;
    type SerializeTuple = Self;
    type SerializeMap = Self;
    type SerializeStruct = Self;
    type SerializeTupleStruct = Impossible<(), Stop>;
    type SerializeTupleVariant = Impossible<(), Stop>;
    type SerializeStructVariant = Impossible<(), Stop>;

    numbers_seen!(
        serialize_i8: i8, serialize_i16: i16, serialize_i32: i32, serialize_i64: i64,
        serialize_u8: u8, serialize_u16: u16, serialize_u32: u32, serialize_u64: u64,
        serialize_f32: f32, serialize_f64: f64
    );

    fn serialize_bool(self, value: bool) -> Result<(), Stop> {
        self.value(Value::Bool(value))
    }
    fn serialize_char(self, value: char) -> Result<(), Stop> {
        self.value(Value::Text(value.encode_utf8(&mut [0; 4])))
    }
    fn serialize_str(self, value: &str) -> Result<(), Stop> {
        self.value(Value::Text(value))
    }
    fn serialize_bytes(self, _: &[u8]) -> Result<(), Stop> {
        Ok(())
    }
    fn serialize_none(self) -> Result<(), Stop> {
        Ok(())
    }
    fn serialize_some<T: ?Sized + Serialize>(self, value: &T) -> Result<(), Stop> {
        value.serialize(self)
    }
    fn serialize_unit(self) -> Result<(), Stop> {
        Ok(())
    }
    fn serialize_unit_struct(self, _: &'static str) -> Result<(), Stop> {
        Ok(())
    }
    fn serialize_unit_variant(
        self,
        _: &'static str,
        _: u32,
        word: &'static str,
    ) -> Result<(), Stop> {
        self.value(Value::Text(word))
    }
    fn serialize_newtype_struct<T: ?Sized + Serialize>(
        self,
        _: &'static str,
        value: &T,
    ) -> Result<(), Stop> {
        value.serialize(self)
    }
    fn serialize_newtype_variant<T: ?Sized + Serialize>(
        self,
        _: &'static str,
        _: u32,
        _: &'static str,
        _: &T,
    ) -> Result<(), Stop> {
        Err(Stop)
    }
    fn serialize_seq(mut self, _: Option<usize>) -> Result<Self, Stop> {
        match self.state {
            // Empty lists are never written.
            State::Cell(wanted) => {
                self.tell(Value::List);
                Ok(self.into(State::Items(wanted, 0)))
            }
            _ => Ok(self.into(State::Nothing)),
        }
    }
    fn serialize_tuple(mut self, _: usize) -> Result<Self, Stop> {
        // A position is one value, not a list of two.
        self.tell(Value::List);
        Ok(self.into(State::Nothing))
    }
    fn serialize_tuple_struct(
        self,
        _: &'static str,
        _: usize,
    ) -> Result<Self::SerializeTupleStruct, Stop> {
        Err(Stop)
    }
    fn serialize_tuple_variant(
        self,
        _: &'static str,
        _: u32,
        _: &'static str,
        _: usize,
    ) -> Result<Self::SerializeTupleVariant, Stop> {
        Err(Stop)
    }
    fn serialize_map(mut self, _: Option<usize>) -> Result<Self, Stop> {
        // Extensions have no fields of the format.
        self.tell(Value::Object);
        Ok(self.into(State::Nothing))
    }
    fn serialize_struct(self, _: &'static str, _: usize) -> Result<Self, Stop> {
        Ok(self.object())
    }
    fn serialize_struct_variant(
        self,
        _: &'static str,
        _: u32,
        _: &'static str,
        _: usize,
    ) -> Result<Self::SerializeStructVariant, Stop> {
        Err(Stop)
    }
}

impl SerializeStruct for At<'_, '_, '_> {
    type Ok = ();
    type Error = Stop;
    fn serialize_field<T: ?Sized + Serialize>(
        &mut self,
        key: &'static str,
        value: &T,
    ) -> Result<(), Stop> {
        let State::Row(fields) = self.state else { return Ok(()) };
        match fields.iter().find(|wanted| wanted.key == key) {
            Some(wanted) => {
                let table = self.table;
                value.serialize(self.inner(State::Cell(wanted), table))
            }
            None => Ok(()),
        }
    }
    fn end(self) -> Result<(), Stop> {
        Ok(())
    }
}

impl SerializeSeq for At<'_, '_, '_> {
    type Ok = ();
    type Error = Stop;
    fn serialize_element<T: ?Sized + Serialize>(&mut self, item: &T) -> Result<(), Stop> {
        let State::Items(wanted, index) = self.state else { return Ok(()) };
        self.state = State::Items(wanted, index + 1);
        if let Some(table) = wanted.rows {
            let row = State::Row(&self.walk.plan.tables[table].wanted);
            self.walk.rows.push(index);
            item.serialize(self.inner(row, table))?;
            self.walk.visitor.row(table, &self.walk.rows);
            self.walk.rows.pop();
        } else if wanted.field.is_some() {
            let table = self.table;
            item.serialize(self.inner(State::Item(wanted), table))?;
        }
        Ok(())
    }
    fn end(self) -> Result<(), Stop> {
        Ok(())
    }
}

impl SerializeTuple for At<'_, '_, '_> {
    type Ok = ();
    type Error = Stop;
    fn serialize_element<T: ?Sized + Serialize>(&mut self, _: &T) -> Result<(), Stop> {
        Ok(())
    }
    fn end(self) -> Result<(), Stop> {
        Ok(())
    }
}

impl SerializeMap for At<'_, '_, '_> {
    type Ok = ();
    type Error = Stop;
    fn serialize_key<T: ?Sized + Serialize>(&mut self, _: &T) -> Result<(), Stop> {
        Ok(())
    }
    fn serialize_value<T: ?Sized + Serialize>(&mut self, _: &T) -> Result<(), Stop> {
        Ok(())
    }
    fn end(self) -> Result<(), Stop> {
        Ok(())
    }
}
