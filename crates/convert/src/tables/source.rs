//! A file of tables as a source of a survey.

use obvert_model::tables::Head;

use super::Rows;
use super::assemble::{self, Names, Stranger};
use super::runs::{TableRuns, in_order};
use crate::source::{Diagnosis, Locations, Source, SurveyReader, WholeReader, diagnosed};
use crate::{ConvertError, LossReport, Survey};

/// What holds the tables of a survey: a folder of CSV files, a workbook, a database.
pub(crate) trait TableFile {
    /// The rows of one table.
    type Rows<'f>: Rows
    where
        Self: 'f;

    /// How a table is called in messages and locations.
    const NAMES: Names;

    /// Opens all tables, each at its first row.
    fn tables(&mut self, pass: Pass) -> Result<Tables<'_, Self::Rows<'_>>, ConvertError>;

    /// The text of a table's file, if it has lines to show.
    fn text(&self, _file: &str) -> Option<&[u8]> {
        None
    }

    /// What is worth knowing about what was opened.
    fn notes(&self) -> &[String] {
        &[]
    }
}

/// What tables are opened for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Pass {
    /// For the columns that name the rows; the others can be left empty.
    Keys,
    /// For all columns, a row at a time.
    Rows,
    /// For all columns, by a reader that holds everything.
    Whole,
}

/// Compares a head that was read with what else the file states.
pub(crate) type Comparison<'f> = Box<dyn Fn(&Head) -> Result<(), ConvertError> + 'f>;

/// The tables of a survey, open.
pub(crate) struct Tables<'f, R> {
    /// For each table of the plan its rows, if it is there.
    pub(crate) rows: Vec<Option<R>>,
    /// What is there besides and is no table of the plan.
    pub(crate) strangers: &'f [Stranger],
    /// Compares what was seen beside the columns (geometries) with what the columns said, once the
    /// head has been read.
    pub(crate) compare: Comparison<'f>,
}

/// The source of a survey in tables.
pub(crate) struct TableSource<F> {
    file: F,
    /// Whether the rows are in the order of the runs, once that is known.
    in_order: Option<bool>,
    /// What a reading of the whole has found wrong.
    diagnosis: Option<Diagnosis>,
}

impl<F: TableFile> TableSource<F> {
    pub(crate) const fn new(file: F) -> Self {
        Self { file, in_order: None, diagnosis: None }
    }

    /// Whether the rows can be read run by run, which is settled before the first run is.
    fn is_in_order(&mut self) -> Result<bool, ConvertError> {
        if let Some(known) = self.in_order {
            return Ok(known);
        }
        let tables = self.file.tables(Pass::Keys)?;
        let order = tables.strangers.is_empty() && in_order(tables.rows, F::NAMES);
        self.in_order = Some(order);
        Ok(order)
    }

    /// Reads everything, in any order of rows, and finds everything that is wrong.
    fn assemble(&mut self) -> Result<Survey, ConvertError> {
        let tables = self.file.tables(Pass::Whole)?;
        let survey = assemble::read(tables.rows, F::NAMES, tables.strangers)?;
        (tables.compare)(&survey.document.head)?;
        Ok(survey)
    }
}

impl<F: TableFile> Source for TableSource<F> {
    fn read(&mut self, locations: Locations) -> Result<Box<dyn SurveyReader + '_>, ConvertError> {
        if self.is_in_order()? {
            let tables = self.file.tables(Pass::Rows)?;
            let runs = TableRuns::new(tables.rows, F::NAMES, locations)?;
            (tables.compare)(obvert_model::read::RunReader::head(&runs))?;
            return Ok(Box::new(runs));
        }
        match self.assemble() {
            Ok(survey) => Ok(Box::new(WholeReader::new(survey, LossReport::default()))),
            Err(ConvertError::Structure(problems)) => {
                let error = ConvertError::first_of(&problems);
                self.diagnosis = Some(problems.into());
                Err(error)
            }
            Err(error) => Err(error),
        }
    }

    fn diagnose(&mut self) -> Result<Diagnosis, ConvertError> {
        match self.diagnosis.take() {
            Some(diagnosis) => Ok(diagnosis),
            None => diagnosed(self.assemble()),
        }
    }

    fn text(&self, file: &str) -> Option<&[u8]> {
        self.file.text(file)
    }

    fn notes(&self) -> &[String] {
        self.file.notes()
    }
}
