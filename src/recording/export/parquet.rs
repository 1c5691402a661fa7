//! The same table as Apache Parquet: columns of doubles, 64-bit integers and UTF-8 text, each of which may be null.

use super::{Cell, Rows};
use parquet::basic::{LogicalType, Repetition, Type as Physical};
use parquet::data_type::{ByteArray, ByteArrayType, DoubleType, Int64Type};
use parquet::errors::ParquetError;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::{SerializedColumnWriter, SerializedFileWriter};
use parquet::schema::types::Type;
use std::io::{self, Write};
use std::mem;
use std::sync::Arc;

/// Rows of a group: what is held in memory before it is written.
const GROUP_ROWS: usize = 4096;

pub(super) struct Parquet<W: Write + Send> {
    file: SerializedFileWriter<W>,
    /// The rows that wait, column by column.
    waiting: Vec<Vec<Cell>>,
}

fn refused(error: ParquetError) -> io::Error {
    io::Error::other(error)
}

impl<W: Write + Send> Parquet<W> {
    pub(super) fn begin(names: &[(String, Cell)], out: W) -> io::Result<Parquet<W>> {
        let field = |(name, cell): &(String, Cell)| {
            let (physical, logical) = match cell {
                Cell::Number(_) => (Physical::DOUBLE, None),
                Cell::Whole(_) => (Physical::INT64, None),
                Cell::Text(_) => (Physical::BYTE_ARRAY, Some(LogicalType::String)),
            };
            let built = Type::primitive_type_builder(name, physical)
                .with_repetition(Repetition::OPTIONAL)
                .with_logical_type(logical)
                .build();
            built.map(Arc::new).map_err(refused)
        };
        let fields = names.iter().map(field).collect::<io::Result<Vec<_>>>()?;
        let schema = Type::group_type_builder("recording").with_fields(fields).build().map_err(refused)?;
        let properties = Arc::new(WriterProperties::builder().build());
        let file = SerializedFileWriter::new(out, Arc::new(schema), properties).map_err(refused)?;
        Ok(Parquet { file, waiting: names.iter().map(|_| Vec::new()).collect() })
    }

    fn group(&mut self) -> io::Result<()> {
        if self.waiting.first().is_none_or(Vec::is_empty) {
            return Ok(());
        }
        let mut group = self.file.next_row_group().map_err(refused)?;
        for cells in &mut self.waiting {
            let Some(mut column) = group.next_column().map_err(refused)? else { break };
            write(&mut column, &mem::take(cells)).map_err(refused)?;
            column.close().map_err(refused)?;
        }
        group.close().map_err(refused)?;
        Ok(())
    }
}

/// The values that are there, and for each row whether there is one.
fn write(column: &mut SerializedColumnWriter<'_>, cells: &[Cell]) -> Result<(), ParquetError> {
    let there = |cell: &Cell| match cell {
        Cell::Number(x) => i16::from(x.is_some()),
        Cell::Whole(n) => i16::from(n.is_some()),
        Cell::Text(text) => i16::from(text.is_some()),
    };
    let levels: Vec<i16> = cells.iter().map(there).collect();
    match cells.first() {
        Some(Cell::Number(_)) => {
            let numbers = cells.iter().filter_map(|c| if let Cell::Number(x) = c { *x } else { None });
            let numbers: Vec<f64> = numbers.collect();
            column.typed::<DoubleType>().write_batch(&numbers, Some(&levels), None)?;
        }
        Some(Cell::Whole(_)) => {
            let whole = cells.iter().filter_map(|c| if let Cell::Whole(n) = c { *n } else { None });
            let whole: Vec<i64> = whole.collect();
            column.typed::<Int64Type>().write_batch(&whole, Some(&levels), None)?;
        }
        _ => {
            let texts = cells.iter().filter_map(|c| if let Cell::Text(text) = c { text.as_deref() } else { None });
            let texts: Vec<ByteArray> = texts.map(ByteArray::from).collect();
            column.typed::<ByteArrayType>().write_batch(&texts, Some(&levels), None)?;
        }
    }
    Ok(())
}

impl<W: Write + Send> Rows for Parquet<W> {
    fn row(&mut self, cells: &[Cell]) -> io::Result<()> {
        for (column, cell) in self.waiting.iter_mut().zip(cells) {
            column.push(cell.clone());
        }
        if self.waiting.first().is_some_and(|column| column.len() >= GROUP_ROWS) {
            self.group()?;
        }
        Ok(())
    }

    fn end(mut self: Box<Self>) -> io::Result<()> {
        self.group()?;
        self.file.finish().map_err(refused)?;
        self.file.inner_mut().flush()
    }
}
