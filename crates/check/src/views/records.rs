//! The rows of the head's tables.

use obvert_model::tables::{Media, Pipe, Structure};

use super::{Subject, Survey};
use crate::files::{FileOf, FoundFile};

/// A structure.
#[derive(Clone, Copy, Debug)]
#[non_exhaustive]
pub struct StructureView<'d> {
    /// The survey.
    pub survey: &'d Survey<'d>,
    /// The structure.
    pub structure: &'d Structure,
    /// Its row.
    pub index: usize,
}

impl StructureView<'_> {
    /// The structure, or a field of it; `field` is empty or a pointer such as `/depth`.
    #[must_use]
    pub fn subject(&self, field: &str) -> Subject {
        Subject::at(format!("/structures/{}{field}", self.index))
    }
}

/// A pipe.
#[derive(Clone, Copy, Debug)]
#[non_exhaustive]
pub struct PipeView<'d> {
    /// The survey.
    pub survey: &'d Survey<'d>,
    /// The pipe.
    pub pipe: &'d Pipe,
    /// Its row.
    pub index: usize,
}

impl<'d> PipeView<'d> {
    /// The pipe, or a field of it; `field` is empty or a pointer such as `/length`.
    #[must_use]
    pub fn subject(&self, field: &str) -> Subject {
        Subject {
            path: format!("/pipes/{}{field}", self.index),
            pipe: Some(self.pipe.id.to_string()),
            ..Subject::default()
        }
    }

    /// The structure at its upper end.
    #[must_use]
    pub fn upstream(&self) -> Option<&'d Structure> {
        self.survey.structure(&self.pipe.upstream)
    }

    /// The structure at its lower end.
    #[must_use]
    pub fn downstream(&self) -> Option<&'d Structure> {
        self.survey.structure(self.pipe.downstream.as_ref()?)
    }

    /// Its length in metres.
    #[must_use]
    pub fn metres(&self) -> Option<f64> {
        self.pipe.length.map(|length| self.survey.metres(length))
    }

    /// The elevations of its upper and lower invert in the document's length unit: its own, or else
    /// those of its structures.
    #[must_use]
    pub fn inverts(&self) -> Option<(f64, f64)> {
        let own = self.pipe.inverts.as_ref();
        let upper = own.and_then(|ends| ends.upstream).or_else(|| self.upstream()?.invert)?;
        let lower = own.and_then(|ends| ends.downstream).or_else(|| self.downstream()?.invert)?;
        Some((upper.get(), lower.get()))
    }

    /// Its path in the document's reference system, or else the straight line between its
    /// structures.
    #[must_use]
    pub(crate) fn course(&self) -> Option<Vec<[f64; 2]>> {
        if self.pipe.path.len() >= 2 {
            return Some(self.pipe.path.iter().map(|position| (*position).into()).collect());
        }
        let ends = [self.upstream()?.position?, self.downstream()?.position?];
        Some(ends.iter().map(|position| (*position).into()).collect())
    }
}

/// A media file.
#[derive(Clone, Copy, Debug)]
#[non_exhaustive]
pub struct MediaView<'d> {
    /// The survey.
    pub survey: &'d Survey<'d>,
    /// The file.
    pub media: &'d Media,
    /// Its row.
    pub index: usize,
}

impl<'d> MediaView<'d> {
    /// The file in the survey's folder; `None` if the files were not opened.
    pub(crate) fn file(&self) -> Option<FileOf<'d>> {
        Some(self.survey.files.as_ref()?.of(self.media))
    }

    /// The file in the survey's folder, if it is there and could be read.
    pub(crate) fn readable_file(&self) -> Option<&'d FoundFile> {
        self.file()?.readable()
    }

    /// The file, or a field of it; `field` is empty or a pointer such as `/file`.
    #[must_use]
    pub fn subject(&self, field: &str) -> Subject {
        Subject {
            path: format!("/media/{}{field}", self.index),
            run: self.media.run.as_ref().map(ToString::to_string),
            ..Subject::default()
        }
    }
}
