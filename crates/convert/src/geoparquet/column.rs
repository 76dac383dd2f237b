//! The columns of a Parquet file, and the file.

use std::io::Write;
use std::sync::Arc;

use parquet::basic::{Compression, LogicalType, Repetition, Type as Physical};
use parquet::data_type::{BoolType, ByteArray, ByteArrayType, DoubleType, Int64Type};
use parquet::errors::ParquetError;
use parquet::file::metadata::KeyValue;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::SerializedFileWriter;
use parquet::schema::types::Type;

use crate::tables::plan::Kind;
use crate::tables::walk::Entry;

/// A column: its values, and for each row whether it has a value.
pub(super) struct Column {
    name: String,
    values: Values,
    there: Vec<i16>,
}

enum Values {
    Text(Vec<ByteArray>),
    Bytes(Vec<ByteArray>),
    Number(Vec<f64>),
    Whole(Vec<i64>),
    Bool(Vec<bool>),
}

impl Column {
    /// A column of a kind of values.
    pub(super) fn of(name: String, kind: &Kind) -> Self {
        let values = match kind {
            Kind::Number => Values::Number(Vec::new()),
            Kind::Whole => Values::Whole(Vec::new()),
            Kind::Bool => Values::Bool(Vec::new()),
            _ => Values::Text(Vec::new()),
        };
        Self { name, values, there: Vec::new() }
    }

    /// A column for bytes.
    pub(super) fn of_bytes(name: &str) -> Self {
        Self { name: name.to_owned(), values: Values::Bytes(Vec::new()), there: Vec::new() }
    }

    /// Adds the value of a row.
    pub(super) fn push(&mut self, entry: &Entry<'_>) {
        let found = match entry {
            Entry::Absent => false,
            Entry::Place(place) => self.push_whole(*place),
            Entry::Name(text) => self.push_text(text),
            Entry::Bare => self.push_text("{}"),
            Entry::Value(value, column) => {
                match (&mut self.values, value.as_f64(), value.as_i64(), value.as_bool()) {
                    (Values::Number(all), Some(number), ..) => {
                        all.push(number);
                        true
                    }
                    (Values::Whole(all), _, Some(number), _) => {
                        all.push(number);
                        true
                    }
                    (Values::Bool(all), .., Some(truth)) => {
                        all.push(truth);
                        true
                    }
                    (Values::Text(all), ..) => {
                        all.push(ByteArray::from(
                            crate::tables::cell::text(value, &column.kind).into_bytes(),
                        ));
                        true
                    }
                    _ => false,
                }
            }
        };
        self.there.push(i16::from(found));
    }

    /// Adds bytes.
    pub(super) fn push_bytes(&mut self, bytes: Option<Vec<u8>>) {
        self.there.push(i16::from(bytes.is_some()));
        if let Values::Bytes(all) = &mut self.values {
            all.extend(bytes.map(ByteArray::from));
        }
    }

    fn push_text(&mut self, text: &str) -> bool {
        let Values::Text(all) = &mut self.values else { return false };
        all.push(ByteArray::from(text.as_bytes().to_vec()));
        true
    }

    fn push_whole(&mut self, whole: usize) -> bool {
        let Values::Whole(all) = &mut self.values else { return false };
        all.push(i64::try_from(whole).unwrap_or(i64::MAX));
        true
    }

    fn clear(&mut self) {
        self.there.clear();
        match &mut self.values {
            Values::Text(all) | Values::Bytes(all) => all.clear(),
            Values::Number(all) => all.clear(),
            Values::Whole(all) => all.clear(),
            Values::Bool(all) => all.clear(),
        }
    }

    fn schema(&self) -> Result<Type, ParquetError> {
        let (physical, logical) = match self.values {
            Values::Text(_) => (Physical::BYTE_ARRAY, Some(LogicalType::String)),
            Values::Bytes(_) => (Physical::BYTE_ARRAY, None),
            Values::Number(_) => (Physical::DOUBLE, None),
            Values::Whole(_) => (Physical::INT64, None),
            Values::Bool(_) => (Physical::BOOLEAN, None),
        };
        Type::primitive_type_builder(&self.name, physical)
            .with_repetition(Repetition::OPTIONAL)
            .with_logical_type(logical)
            .build()
    }
}

/// A Parquet file that is written in groups of rows.
pub(super) struct File<W: Write + Send> {
    writer: SerializedFileWriter<W>,
}

impl<W: Write + Send> File<W> {
    /// Starts a file with these columns.
    pub(super) fn open<'c>(
        columns: impl Iterator<Item = &'c Column>,
        sink: W,
    ) -> Result<Self, ParquetError> {
        let fields =
            columns.map(|column| column.schema().map(Arc::new)).collect::<Result<_, _>>()?;
        let schema = Type::group_type_builder("schema").with_fields(fields).build()?;
        let properties = WriterProperties::builder()
            .set_compression(Compression::SNAPPY)
            .set_created_by("obvert".to_owned())
            .build();
        Ok(Self {
            writer: SerializedFileWriter::new(sink, Arc::new(schema), Arc::new(properties))?,
        })
    }

    /// Whether no group has been written.
    pub(super) fn is_empty(&self) -> bool {
        self.writer.flushed_row_groups().is_empty()
    }

    /// Writes the values of the columns as a group, and clears them.
    pub(super) fn group<'c>(
        &mut self,
        columns: impl Iterator<Item = &'c mut Column>,
    ) -> Result<(), ParquetError> {
        let mut group = self.writer.next_row_group()?;
        for column in columns {
            let Some(mut out) = group.next_column()? else { break };
            let there = Some(column.there.as_slice());
            match &column.values {
                Values::Text(all) | Values::Bytes(all) => {
                    out.typed::<ByteArrayType>().write_batch(all, there, None)?
                }
                Values::Number(all) => out.typed::<DoubleType>().write_batch(all, there, None)?,
                Values::Whole(all) => out.typed::<Int64Type>().write_batch(all, there, None)?,
                Values::Bool(all) => out.typed::<BoolType>().write_batch(all, there, None)?,
            };
            out.close()?;
            column.clear();
        }
        group.close().map(drop)
    }

    /// Ends the file with its metadata.
    pub(super) fn close(
        mut self,
        metadata: impl IntoIterator<Item = KeyValue>,
    ) -> Result<W, ParquetError> {
        for pair in metadata {
            self.writer.append_key_value_metadata(pair);
        }
        self.writer.into_inner()
    }
}
