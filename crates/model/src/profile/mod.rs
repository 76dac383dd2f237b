//! Submission profiles: what one receiving office demands of a survey, as data. A contractor checks
//! against the same file before sending as the office does on receipt, so that nobody finds out at
//! the counter.
//!
//! ```
//! use obvert_model::profile::Profile;
//! let profile = Profile::read(br#"{
//!   "profile": "0.1", "id": "larkmoor-water", "version": "3", "title": "Sewer surveys for the town of Larkmoor",
//!   "allow": { "length_units": ["ft"] },
//!   "fields": [
//!     { "path": "runs.operator", "demand": "required" },
//!     { "path": "structures.id", "pattern": "LM-[0-9]{3}" },
//!     { "path": "runs.observations.clock", "demand": "required", "where": [{ "field": "code", "pattern": "crack\\..*" }] }
//!   ]
//! }"#)?;
//! assert!(profile.problems(&Default::default()).is_empty());
//! # Ok::<(), obvert_model::profile::ProfileError>(())
//! ```

mod demand_problems;
mod limit;
mod path;
mod pattern;
mod problems;
mod scalar;

pub use limit::{LimitSetting, LimitUnit};
pub use path::{FieldPath, FieldPathError, Resolved};
pub use pattern::{Matcher, Pattern, PatternError};
pub use problems::{AtHand, ProfileProblem, ProfileProblemKind, RuleAtHand};
pub use scalar::Scalar;

use crate::lists::Role;
use crate::number::Grade;
use crate::read::Subject;
use crate::tables::{Aspect, LengthUnit, MediaKind, SectionUnit};
use crate::text::{
    CodeId, CrsId, Date, Digest, FormatName, Language, ObservationId, PipeId, RunId, Text,
};
use crate::write::WriteError;

file_error! {
    /// Why a profile could not be read. Its [`source`](std::error::Error::source) says where and
    /// what.
    pub ProfileError of "profile"
}

words! {
    /// The version of the profile format.
    pub ProfileVersion {
        /// The first draft.
        V0_1 = "0.1",
    }
}

words! {
    /// How much a rule's findings weigh.
    pub complete Weight {
        /// Wrong.
        Error = "error",
        /// Probably wrong.
        Warning = "warning",
        /// Worth knowing.
        Note = "note",
        /// The rule is not run.
        Off = "off",
    }
}

words! {
    /// What is demanded of a field.
    pub complete Demand {
        /// It is there.
        Required = "required",
        /// It is not there.
        Forbidden = "forbidden",
    }
}

words! {
    /// What must have a media file.
    pub MediaOf {
        /// Every run, whether the table of media or an observation of the run says that the file is
        /// of it.
        Run = "run",
        /// Every observation that the conditions are true of.
        Observation = "observation",
    }
}

table! {
    /// A code list that is allowed.
    pub AllowedList {
        /// Its id.
        list: Text,
        /// Its version; any when absent.
        version?: Text,
    }
}

table! {
    /// A grade scheme that is allowed.
    pub AllowedScheme {
        /// Its id.
        scheme: Text,
        /// Its version; any when absent.
        version?: Text,
    }
}

table! {
    /// What a document may declare. A list that is absent allows anything.
    pub Allowed {
        /// Code lists.
        code_lists[]: AllowedList,
        /// Grade schemes.
        grade_schemes[]: AllowedScheme,
        /// Units of lengths.
        length_units[]: LengthUnit,
        /// Units of cross-sections.
        section_units[]: SectionUnit,
        /// Reference systems of positions.
        crs[]: CrsId,
        /// Datums of elevations.
        vertical[]: Text,
        /// What this rests on: a clause of the contract, or the surveys that a draft was made from.
        basis?: Text,
    }
}

table! {
    /// How one rule of the catalogue is applied.
    pub RuleSetting {
        /// The rule's name.
        rule: Text,
        /// How much its findings weigh; as in the catalogue when absent.
        severity?: Weight,
        /// Its limits that are set otherwise than in the catalogue.
        limits[]: LimitSetting,
        /// What this rests on.
        basis?: Text,
    }
}

table! {
    /// A condition on the row that a demand looks at.
    pub Condition {
        /// Another field of the same row, by its keys from the row on: `code`, `counter.zero`.
        field: FieldPath,
        /// The values of which it has one. Without values and pattern it is enough that it is
        /// there.
        values[]: Scalar,
        /// A pattern that it has as a whole.
        pattern?: Pattern,
    }
}

table! {
    /// What is demanded of one field, in every row of its table or in those that the conditions are
    /// true of.
    pub FieldDemand {
        /// The field, by its keys from the document on, lists being stepped through without a
        /// number: `pipes.material`.
        path: FieldPath,
        /// Whether it must be there or must not.
        demand?: Demand,
        /// The values that it may have where it is there; each item of a list is held against them.
        values[]: Scalar,
        /// The form that its text must have as a whole where it is there.
        pattern?: Pattern,
        /// Conditions that are all true of the rows that the demand is for; every row when absent.
        #[serde(rename = "where")]
        conditions[]: Condition,
        /// What to tell whoever has to correct it.
        help?: Text,
        /// What this rests on.
        basis?: Text,
    }
}

table! {
    /// Media that must be there.
    pub MediaDemand {
        /// What must have one.
        of: MediaOf,
        /// The kinds of which there must be one.
        kinds[]: MediaKind,
        /// The grade from which on towards the worst it is demanded of an observation, recorded or
        /// computed.
        from_grade?: Grade,
        /// The aspect of that grade; either when absent.
        aspect?: Aspect,
        /// The codes that it is demanded of; any when absent.
        codes[]: CodeId,
        /// The roles of codes that it is demanded of; any when absent.
        roles[]: Role,
        /// What to tell whoever has to correct it.
        help?: Text,
        /// What this rests on.
        basis?: Text,
    }
}

table! {
    /// Findings that the office has decided to live with. They are counted and named in the report.
    pub Suppression {
        /// The rule.
        rule: Text,
        /// The field, or the table, that the findings are about; any when absent.
        path?: FieldPath,
        /// The pipes that they concern; any when absent.
        pipes[]: PipeId,
        /// The runs that they concern; any when absent.
        runs[]: RunId,
        /// The observations that they concern, by the ids that they have in their runs; any when
        /// absent.
        observations[]: ObservationId,
        /// Why.
        reason: Text,
        /// The last day on which it holds; for good when absent.
        until?: Date,
    }
}

table! {
    /// What one receiving office demands of a survey.
    pub Profile {
        /// An address of the schema, for editors.
        #[serde(rename = "$schema")]
        schema?: Text,
        /// The version of the profile format.
        profile: ProfileVersion = ProfileVersion::V0_1,
        /// The profile's id, which every report states.
        id: Text,
        /// The profile's version, which every report states.
        version: Text,
        /// Its title.
        title: Text,
        /// What it is for.
        description?: Text,
        /// The office.
        publisher?: Text,
        /// The language of its texts.
        language?: Language,
        /// Lists, schemes, units and reference systems that a document may declare.
        allow?: Allowed,
        /// Severities and limits, by rule.
        rules[]: RuleSetting,
        /// Demands on fields.
        fields[]: FieldDemand,
        /// Demands on media.
        media[]: MediaDemand,
        /// Findings to live with.
        suppressions[]: Suppression,
        /// The formats in which the survey is to be delivered, by name. Information for the
        /// contractor; no rule checks it.
        deliver[]: FormatName,
    }
}

impl Profile {
    /// Reads a profile. Whether it makes sense is another question: [`Profile::problems`].
    ///
    /// # Errors
    /// If the source is not JSON or not a profile; with every problem of its structure.
    pub fn read(source: &[u8]) -> Result<Self, ProfileError> {
        Ok(crate::lists::read(source, Subject::Profile)?)
    }

    /// The schema of profiles.
    #[must_use]
    pub fn schema() -> serde_json::Value {
        let examples = crate::schema::example(include_str!("../../data/examples/profile.json"));
        crate::schema::of::<Self>("profile", "Obvert submission profile", examples)
    }

    /// The profile's digest: SHA-256 over its canonical form (RFC 8785), so that white space and
    /// the order of keys do not matter.
    ///
    /// # Errors
    /// None that are known; the signature is the serializer's.
    pub fn digest(&self) -> Result<Digest, WriteError> {
        crate::write::digest_of(self)
    }

    /// The profile as text, in the layout for files: a line for each demand.
    ///
    /// # Errors
    /// As [`Profile::digest`].
    pub fn write(&self) -> Result<String, WriteError> {
        crate::write::in_lines(self)
    }
}
