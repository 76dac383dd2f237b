//! The document itself: everything that a survey has once, and the tables.

use super::{Equipment, Locate, Media, Party, Pipe, Rating, Run, Structure};
use crate::extension::Extensions;
use crate::text::{CrsId, Digest, DocumentId, Language, PartyId, Text, Timestamp};

words! {
    /// The version of the format that a document is written in.
    pub FormatVersion {
        /// The second draft.
        V0_2 = "0.2",
    }
}

words! {
    /// The unit of every distance, depth and elevation of a document.
    pub complete LengthUnit {
        /// The international foot, 0.3048 m exactly.
        Foot = "ft",
        /// The US survey foot, 1200/3937 m exactly; deprecated by NIST since 2023 but frequent in
        /// older records.
        UsSurveyFoot = "us-ft",
        /// The metre.
        Metre = "m",
    }
}

impl LengthUnit {
    /// Metres in one unit, to the precision of a double.
    #[must_use]
    pub const fn metres(self) -> f64 {
        match self {
            Self::Foot => 0.3048,
            Self::UsSurveyFoot => 1200.0 / 3937.0,
            Self::Metre => 1.0,
        }
    }
}

words! {
    /// The unit of every dimension of a cross-section.
    pub complete SectionUnit {
        /// The inch, 25.4 mm exactly.
        Inch = "in",
        /// The millimetre.
        Millimetre = "mm",
    }
}

impl SectionUnit {
    /// Millimetres in one unit, exact.
    #[must_use]
    pub const fn millimetres(self) -> f64 {
        match self {
            Self::Inch => 25.4,
            Self::Millimetre => 1.0,
        }
    }
}

words! {
    /// Why a survey or a run was made.
    pub Purpose {
        /// Routine inspection.
        Routine = "routine",
        /// Before rehabilitation.
        BeforeRehabilitation = "before-rehabilitation",
        /// After rehabilitation.
        AfterRehabilitation = "after-rehabilitation",
        /// Acceptance of new construction.
        Acceptance = "acceptance",
        /// The sale of a building.
        Sale = "sale",
        /// To find the cause of a blockage or a flood.
        Blockage = "blockage",
        /// To find infiltration or inflow.
        Infiltration = "infiltration",
        /// Another purpose, which `purpose_text` states.
        Other = "other",
    }
}

words! {
    /// The status of the record on its way to the owner.
    pub ReviewStatus {
        /// As recorded.
        Draft = "draft",
        /// Reviewed by the office that made it.
        Checked = "checked",
        /// Issued to the owner.
        Released = "released",
    }
}

table! {
    /// The units of every length and section in the document. There is no default: a bare number is
    /// ambiguous.
    pub Units {
        /// The unit of distances along pipes, depths and elevations.
        length: LengthUnit,
        /// The unit of pipe heights and widths.
        section: SectionUnit,
        /// Data that the format does not define.
        extensions?: Box<Extensions>,
    }
}

table! {
    /// The code list that the observations are coded in.
    pub Coding {
        /// The list's id, for example `obvert-terms`.
        list: Text,
        /// The list's version.
        version: Text,
        /// Data that the format does not define.
        extensions?: Box<Extensions>,
    }
}

table! {
    /// The grade scheme that the grades follow.
    pub Grading {
        /// The scheme's id, for example `obvert-grades`.
        scheme: Text,
        /// The scheme's version.
        version: Text,
        /// Data that the format does not define.
        extensions?: Box<Extensions>,
    }
}

table! {
    /// The document that this one replaces.
    pub Revises {
        /// The replaced document's id.
        id: DocumentId,
        /// The replaced document's digest: SHA-256 over its canonical form.
        digest?: Digest,
        /// Data that the format does not define.
        extensions?: Box<Extensions>,
    }
}

table! {
    /// The review status of the record.
    pub Review {
        /// The status.
        status: ReviewStatus,
        /// The party that set the status.
        by?: PartyId,
        /// When it was set.
        at?: Timestamp,
        /// The reviewer's remark.
        note?: Text,
        /// Data that the format does not define.
        extensions?: Box<Extensions>,
    }
}

table! {
    /// The assignment that the survey was made for.
    #[doc(alias = "work order")]
    #[doc(alias = "job number")]
    pub Assignment {
        /// The party that owns the pipes.
        owner?: PartyId,
        /// The contract's number or name.
        contract?: Text,
        /// Why the survey was made.
        purpose?: Purpose,
        /// The purpose in words, with `other`.
        purpose_text?: Text,
        /// The title of the work.
        title?: Text,
        /// Data that the format does not define.
        extensions?: Box<Extensions>,
    }
}

table! {
    /// A survey document without its runs: what is needed to interpret each run.
    pub Head {
        /// The address of the schema, for editors; otherwise without meaning.
        #[serde(rename = "$schema")]
        schema?: Text,
        /// The version of the format.
        obvert: FormatVersion = FormatVersion::V0_2,
        /// Identifies this document.
        id: DocumentId,
        /// When this document was issued.
        issued: Timestamp,
        /// The language of free text.
        language?: Language,
        /// The units of every length and section.
        units: Units,
        /// The horizontal reference system of every position; required if there is a position.
        #[doc(alias = "coordinate system")]
        #[doc(alias = "spatial reference")]
        crs?: CrsId,
        /// The datum of every elevation; required if there is an elevation.
        vertical?: Text,
        /// The code list in use.
        coding: Coding,
        /// The grade scheme in use; required if there is a grade.
        grading?: Grading,
        /// The document that this one replaces.
        revises?: Revises,
        /// The review status of the record.
        review?: Review,
        /// The assignment that the survey was made for.
        assignment?: Assignment,
        /// Data that the format does not define.
        extensions?: Box<Extensions>,
        /// People and firms.
        parties[]: Party,
        /// Cameras, reels, crawlers, transmitters and receivers.
        equipment[]: Equipment,
        /// Manholes, cleanouts, outfalls and other nodes.
        structures[]: Structure,
        /// The pipes, as the owner's records have them.
        pipes[]: Pipe,
        /// Stills, video, audio and documents.
        media[]: Media,
        /// Positions found from the surface.
        locates[]: Locate,
        /// Grades summed up per pipe, as the sender states them.
        ratings[]: Rating,
    }
}

/// A whole survey document: the head and its runs.
///
/// The runs are last in the canonical form, so that a reader that processes one run at a time has
/// already read everything that runs refer to.
#[derive(Clone, Debug, PartialEq)]
pub struct Document {
    /// Everything but the runs.
    pub head: Head,
    /// The runs, in the order of the document, which carries no meaning.
    pub runs: Vec<Run>,
}

impl Document {
    /// A document without runs.
    #[must_use]
    pub const fn new(head: Head) -> Self {
        Self { head, runs: Vec::new() }
    }

    /// Sets [`runs`](Self::runs).
    #[must_use]
    pub fn with_runs(mut self, runs: impl IntoIterator<Item = Run>) -> Self {
        self.runs = runs.into_iter().collect();
        self
    }
}
