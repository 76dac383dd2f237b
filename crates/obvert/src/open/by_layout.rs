//! An office's own table as the source of a survey.

use std::borrow::Cow;

use obvert_convert::{
    Capabilities, Container, ConvertError, Detection, Diagnosis, Format, Locations, Source,
    SurveyReader, WholeReader,
};
use obvert_model::layout::Layout;
use obvert_model::lists::CodeList;

/// An office's own table. It is not in the registry, since it cannot be read without its
/// layout.
pub static LAYOUT: Format = Format {
    name: "layout",
    title: "an office's own table",
    description: "An office's own table, by its layout.",
    extensions: &["csv", "xlsx", "xml"],
    media_type: "text/csv",
    capabilities: Capabilities {
        lossless: false,
        container: Container::File { seekable: false },
        tabular: true,
        options: &[],
    },
    detect: |_| Detection::No,
    open: None,
    create: None,
};

/// A table read by a layout, which needs the whole table.
pub(super) struct Table<'a> {
    bytes: Cow<'a, [u8]>,
    name: String,
    layout: &'a Layout,
    lists: &'a [CodeList],
    diagnosis: Option<Diagnosis>,
}

impl<'a> Table<'a> {
    pub(super) const fn new(
        bytes: Cow<'a, [u8]>,
        name: String,
        layout: &'a Layout,
        lists: &'a [CodeList],
    ) -> Self {
        Self { bytes, name, layout, lists, diagnosis: None }
    }
}

impl Source for Table<'_> {
    fn read(&mut self, _: Locations) -> Result<Box<dyn SurveyReader + '_>, ConvertError> {
        match obvert_layout::read(&self.bytes, &self.name, self.layout, self.lists) {
            Ok((survey, losses)) => Ok(Box::new(WholeReader::new(survey, losses))),
            Err(ConvertError::Structure(problems)) => {
                let first = problems.first();
                let place = first.and_then(|first| first.place.clone());
                let message = first.map(|first| first.problem.message.clone()).unwrap_or_default();
                self.diagnosis = Some(problems.into());
                Err(ConvertError::Invalid { place, message })
            }
            Err(error) => Err(error),
        }
    }

    fn diagnose(&mut self) -> Result<Diagnosis, ConvertError> {
        if self.diagnosis.is_none() {
            match obvert_layout::read(&self.bytes, &self.name, self.layout, self.lists) {
                Ok((survey, _)) => return Diagnosis::valid(survey),
                Err(ConvertError::Structure(problems)) => return Ok(problems.into()),
                Err(error) => return Err(error),
            }
        }
        Ok(self.diagnosis.take().unwrap_or_default())
    }

    fn text(&self, _: &str) -> Option<&[u8]> {
        Some(&self.bytes)
    }
}
