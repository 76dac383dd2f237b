//! The head of a document with its tables, indexed by id.

use std::sync::OnceLock;

use obvert_geo::Crs;
use obvert_model::lists::{Code, CodeList, Crosswalk, GradeScheme};
use obvert_model::number::{Length, Section};
use obvert_model::profile::Profile;
use obvert_model::tables::{Equipment, Head, Media, Party, Pipe, Structure};
use obvert_model::text::Date;
use rustc_hash::FxHashMap;

use super::id_index::IdIndex;
use super::{LocateView, MediaView, PipeView, RatingView, StructureView, Subject};
use crate::files::SurveyFiles;
use crate::grading::{Entries, Grader};
use crate::profile::{Demands, MediaKinds, Violations};
use crate::support::map_lengths::{MapLengths, WrongUnit};
use crate::support::section_unit::SectionUnitVotes;
use crate::support::texts::UnusualText;

/// The head of a document and its tables, indexed by id.
#[derive(Debug)]
#[non_exhaustive]
pub struct Survey<'d> {
    /// The head.
    pub head: &'d Head,
    /// The date of today, if it was given.
    pub today: Option<&'d Date>,
    /// The document's code list, if it is available.
    pub list: Option<&'d CodeList>,
    /// The document's grade scheme, if it is available and grades the document's code list or one
    /// that the codes are linked to.
    pub(crate) grader: Option<Grader<'d>>,
    /// The document's grade scheme, if it is available, whatever codes it grades.
    pub scheme: Option<&'d GradeScheme>,
    /// The available versions of the document's code list, if its own is not among them.
    pub(crate) list_versions: Vec<&'d str>,
    /// The available versions of the document's grade scheme, if its own is not among them.
    pub(crate) scheme_versions: Vec<&'d str>,
    /// The document's reference system, if it is known and supported.
    pub(crate) crs: Option<Crs>,
    /// Why the reference system cannot be used, if it cannot.
    pub(crate) crs_error: Option<String>,
    /// The demands of the profile that the survey is checked against.
    pub(crate) demands: Option<&'d Demands>,
    /// The files that were found in the survey's folder; `None` if they were not opened.
    pub(crate) files: Option<SurveyFiles>,
    /// Why they were not opened, if somebody tried.
    pub(crate) files_closed: Option<String>,
    /// The codes of the list, each with the entries of the grade scheme.
    codes: FxHashMap<&'d str, (&'d Code, Option<Entries<'d>>)>,
    parties: IdIndex,
    equipment: IdIndex,
    structures: IdIndex,
    pipes: IdIndex,
    media: IdIndex,
    /// The links from the document's code list to the project's own terms; `None` if the document
    /// is coded in them, or its list is not available.
    pub(crate) crosswalk: Option<Crosswalk<'d>>,
    map_lengths: OnceLock<MapLengths>,
    section_unit_votes: OnceLock<SectionUnitVotes>,
    violations: OnceLock<Violations>,
    pub(super) unusual_texts: OnceLock<Vec<UnusualText>>,
    // The keys are copies: borrowed ones would tie every view to the lifetime of the document.
    media_of_runs: OnceLock<FxHashMap<Box<str>, MediaKinds>>,
}

impl<'d> Survey<'d> {
    pub(crate) fn new(
        head: &'d Head,
        today: Option<&'d Date>,
        list: Option<&'d CodeList>,
        scheme: Option<&'d GradeScheme>,
        demands: Option<&'d Demands>,
        graded: Option<&'d CodeList>,
    ) -> Self {
        let (crs, crs_error) = match head.crs.as_ref().map(|crs| Crs::parse(crs.as_str())) {
            None => (None, None),
            Some(Ok(crs)) => (Some(crs), None),
            Some(Err(error)) => (None, Some(error.to_string())),
        };
        let grader = list.zip(scheme).and_then(|(list, scheme)| match &scheme.code_list {
            of if of.list == list.id && of.version == list.version => Some(Grader::new(scheme)),
            _ => Grader::across(scheme, list, graded?),
        });
        let graded = grader.as_ref().filter(|grader| grader.links.is_none());
        let entries = |code: &str| graded.and_then(|grader| grader.entries(code)).cloned();
        let codes = list.map(CodeList::by_code).unwrap_or_default();
        let own = CodeList::obvert_terms();
        Self {
            head,
            today,
            list,
            codes: codes.into_iter().map(|(name, code)| (name, (code, entries(name)))).collect(),
            grader,
            scheme,
            list_versions: Vec::new(),
            scheme_versions: Vec::new(),
            crs,
            crs_error,
            demands,
            files: None,
            files_closed: None,
            parties: IdIndex::new(&head.parties),
            equipment: IdIndex::new(&head.equipment),
            structures: IdIndex::new(&head.structures),
            pipes: IdIndex::new(&head.pipes),
            media: IdIndex::new(&head.media),
            crosswalk: list.filter(|list| list.id != own.id).map(|list| Crosswalk::new(list, own)),
            map_lengths: OnceLock::new(),
            section_unit_votes: OnceLock::new(),
            violations: OnceLock::new(),
            unusual_texts: OnceLock::new(),
            media_of_runs: OnceLock::new(),
        }
    }

    /// A code of the document's code list.
    #[must_use]
    pub fn code(&self, code: &str) -> Option<&'d Code> {
        self.codes.get(code).map(|(code, _)| *code)
    }

    /// A code of the document's code list, with the entries of the grade scheme.
    pub(crate) fn known(&self, code: &str) -> Option<(&'d Code, Option<&Entries<'d>>)> {
        self.codes.get(code).map(|(code, entries)| (*code, entries.as_ref()))
    }

    /// Whether there is a party of an id.
    pub(crate) fn has_party(&self, id: &str) -> bool {
        self.parties.contains(&self.head.parties, id)
    }

    /// The party of an id; `None` also if two have the id.
    #[must_use]
    pub fn party(&self, id: &str) -> Option<&'d Party> {
        self.parties.find(&self.head.parties, id).map(|index| &self.head.parties[index])
    }

    /// Whether there is a piece of equipment of an id.
    pub(crate) fn has_equipment(&self, id: &str) -> bool {
        self.equipment.contains(&self.head.equipment, id)
    }

    /// The piece of equipment of an id; `None` also if two have the id.
    #[must_use]
    pub fn equipment(&self, id: &str) -> Option<&'d Equipment> {
        self.equipment.find(&self.head.equipment, id).map(|index| &self.head.equipment[index])
    }

    /// The row of a piece of equipment in its table.
    pub(crate) fn equipment_index(&self, id: &str) -> Option<usize> {
        self.equipment.find(&self.head.equipment, id)
    }

    /// Whether there is a structure of an id.
    pub(crate) fn has_structure(&self, id: &str) -> bool {
        self.structures.contains(&self.head.structures, id)
    }

    /// The structure of an id; `None` also if two have the id.
    #[must_use]
    pub fn structure(&self, id: &str) -> Option<&'d Structure> {
        self.structures.find(&self.head.structures, id).map(|index| &self.head.structures[index])
    }

    /// Whether there is a pipe of an id.
    pub(crate) fn has_pipe(&self, id: &str) -> bool {
        self.pipes.contains(&self.head.pipes, id)
    }

    /// The pipe of an id; `None` also if two have the id.
    #[must_use]
    pub fn pipe(&self, id: &str) -> Option<&'d Pipe> {
        self.pipes.find(&self.head.pipes, id).map(|index| &self.head.pipes[index])
    }

    /// The row of a pipe in its table.
    pub(crate) fn pipe_index(&self, id: &str) -> Option<usize> {
        self.pipes.find(&self.head.pipes, id)
    }

    /// Whether there is a media file of an id.
    pub(crate) fn has_media(&self, id: &str) -> bool {
        self.media.contains(&self.head.media, id)
    }

    /// The media file of an id; `None` also if two have the id.
    #[must_use]
    pub fn media(&self, id: &str) -> Option<&'d Media> {
        self.media.find(&self.head.media, id).map(|index| &self.head.media[index])
    }

    /// The row of a media file in its table.
    pub(crate) fn media_index(&self, id: &str) -> Option<usize> {
        self.media.find(&self.head.media, id)
    }

    /// The geometry of its pipes; measured on first use.
    pub(crate) fn map_lengths(&self) -> &MapLengths {
        self.map_lengths.get_or_init(|| MapLengths::new(self))
    }

    /// Whether all lengths seem to be in another unit than the declared one, compared with the
    /// positions. Rules do not compare them with limits in metres then; `length-unit-suspect`
    /// reports it.
    pub(crate) fn lengths_doubtful(&self) -> bool {
        self.map_lengths().wrong_unit == Some(WrongUnit::Lengths)
    }

    /// Which section unit the heights of its pipes are plausible in; computed on first use.
    pub(crate) fn section_unit_votes(&self) -> SectionUnitVotes {
        *self.section_unit_votes.get_or_init(|| SectionUnitVotes::new(self))
    }

    /// The profile that the survey is checked against.
    #[must_use]
    pub fn profile(&self) -> Option<&'d Profile> {
        self.demands.map(|demands| &demands.profile)
    }

    /// The fields of the head and its tables that do not meet the demands of the profile; computed
    /// on first use.
    pub(crate) fn violations(&self) -> &Violations {
        self.violations.get_or_init(|| {
            self.demands.map(|demands| demands.fields.of_head(self.head)).unwrap_or_default()
        })
    }

    /// The kinds of media that name a run in the table of media.
    pub(crate) fn media_of_run(&self, run: &str) -> MediaKinds {
        let kinds = self.media_of_runs.get_or_init(|| {
            let mut kinds: FxHashMap<Box<str>, MediaKinds> = FxHashMap::default();
            for media in &self.head.media {
                if let Some(run) = &media.run {
                    kinds.entry(run.as_str().into()).or_default().add(media);
                }
            }
            kinds
        });
        kinds.get(run).copied().unwrap_or_default()
    }

    /// A length in metres.
    #[must_use]
    pub fn metres(&self, length: Length) -> f64 {
        length.get() * self.head.units.length.metres()
    }

    /// A dimension of a cross-section in millimetres.
    #[must_use]
    pub fn millimetres(&self, section: Section) -> f64 {
        section.get() * self.head.units.section.millimetres()
    }

    /// Metres in the document's length unit, not rounded.
    #[must_use]
    pub fn in_units(&self, metres: f64) -> f64 {
        metres / self.head.units.length.metres()
    }

    /// Metres as a text in the document's length unit, for example `12.4 ft`.
    #[must_use]
    pub fn format_metres(&self, metres: f64) -> String {
        let value = metres / self.head.units.length.metres();
        format!("{} {}", (value * 100.0).round() / 100.0, self.head.units.length)
    }

    /// A length as a text with its unit, for example `12.4 ft`.
    #[must_use]
    pub fn format_length(&self, length: Length) -> String {
        format!("{length} {}", self.head.units.length)
    }

    /// A dimension of a cross-section as a text with its unit, for example `8 in`.
    #[must_use]
    pub fn format_section(&self, section: Section) -> String {
        format!("{section} {}", self.head.units.section)
    }

    /// A row of one of the head's tables.
    pub(super) fn subject(&self, table: &str, index: usize) -> Subject {
        let head = self.head;
        match table {
            "pipes" => PipeView { survey: self, pipe: &head.pipes[index], index }.subject(""),
            "media" => MediaView { survey: self, media: &head.media[index], index }.subject(""),
            "locates" => LocateView::row_subject(index, &head.locates[index], ""),
            "ratings" => RatingView::row_subject(index, &head.ratings[index], ""),
            _ => Subject::default(),
        }
    }

    /// The views of all pipes.
    pub fn pipes(&self) -> impl Iterator<Item = PipeView<'_>> {
        self.head.pipes.iter().enumerate().map(|(index, pipe)| PipeView {
            survey: self,
            pipe,
            index,
        })
    }

    /// The views of all structures.
    pub fn structures(&self) -> impl Iterator<Item = StructureView<'_>> {
        self.head.structures.iter().enumerate().map(|(index, structure)| StructureView {
            survey: self,
            structure,
            index,
        })
    }

    /// The views of all media.
    pub fn all_media(&self) -> impl Iterator<Item = MediaView<'_>> {
        self.head.media.iter().enumerate().map(|(index, media)| MediaView {
            survey: self,
            media,
            index,
        })
    }
}
