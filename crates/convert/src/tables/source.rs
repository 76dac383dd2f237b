//! A file with tables as a source of a survey.

use obvert_model::read::RunReader;
use obvert_model::tables::Head;

use super::Rows;
use super::assemble::{self, Names};
use super::runs::{in_order, runs};
use super::unknown_table::UnknownTable;
use crate::row_file::{RowFile, RowSource};
use crate::source::{Locations, Source, SurveyReader};
use crate::{ConvertError, Survey};

/// A file with the tables of a survey: a folder of CSV files, a workbook, a database.
pub(crate) trait TableFile {
    /// The rows of one table.
    type Rows<'f>: Rows
    where
        Self: 'f;

    /// The name of a table in messages and locations.
    const NAMES: Names;

    /// Opens all tables, each at its first row.
    fn tables(&mut self, pass: Pass) -> Result<Tables<'_, Self::Rows<'_>>, ConvertError>;

    /// The text of a table's file, if it has lines to show.
    fn text(&self, _file: &str) -> Option<&[u8]> {
        None
    }

    /// Notes about the source.
    fn notes(&self) -> &[String] {
        &[]
    }
}

/// The purpose of opening tables.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Pass {
    /// To read the columns that name the rows; the other cells can be left empty.
    Keys,
    /// To read all columns, one row at a time.
    Rows,
    /// To read all columns and keep them in memory.
    Whole,
}

/// Compares a head with other statements of the file.
pub(crate) type Comparison<'f> = Box<dyn Fn(&Head) -> Result<(), ConvertError> + 'f>;

/// The tables of a survey, open.
pub(crate) struct Tables<'f, R> {
    /// For each table of the plan its rows, if it exists.
    pub(crate) rows: Vec<Option<R>>,
    /// Tables that are not in the plan.
    pub(crate) unknown: &'f [UnknownTable],
    /// Compares other content of the file (geometries) with the columns, once the head has been
    /// read.
    pub(crate) compare: Comparison<'f>,
}

/// A file with tables as a file of rows.
struct TableRows<F>(F);

/// The source of a survey in tables.
pub(crate) fn source<'a, F: TableFile + 'a>(file: F) -> Box<dyn Source + 'a> {
    Box::new(RowSource::new(TableRows(file)))
}

impl<F: TableFile> RowFile for TableRows<F> {
    fn is_in_order(&mut self) -> Result<bool, ConvertError> {
        let tables = self.0.tables(Pass::Keys)?;
        Ok(tables.unknown.is_empty() && in_order(tables.rows, F::NAMES))
    }

    fn runs(&mut self, locations: Locations) -> Result<Box<dyn SurveyReader + '_>, ConvertError> {
        let tables = self.0.tables(Pass::Rows)?;
        let runs = runs(tables.rows, F::NAMES, locations)?;
        (tables.compare)(runs.head())?;
        Ok(Box::new(runs))
    }

    fn assemble(&mut self) -> Result<Survey, ConvertError> {
        let tables = self.0.tables(Pass::Whole)?;
        let survey = assemble::read(tables.rows, F::NAMES, tables.unknown)?;
        (tables.compare)(&survey.document.head)?;
        Ok(survey)
    }

    fn text(&self, file: &str) -> Option<&[u8]> {
        self.0.text(file)
    }

    fn notes(&self) -> &[String] {
        self.0.notes()
    }
}
