//! Submission profiles: what a receiving office demands of a survey, as data. The contractor checks
//! a survey against the same file before sending it as the office does on receipt.
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
pub use problems::{Available, AvailableRule, ProfileProblem, ProfileProblemKind};
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
    /// Why a profile could not be read. Its [`source`](std::error::Error::source) has the details.
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
    /// The severity of a rule's findings.
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
        /// It must be present.
        Required = "required",
        /// It must be absent.
        Forbidden = "forbidden",
    }
}

words! {
    /// What a media file is demanded for.
    pub MediaOf {
        /// Every run. The table of media or an observation of the run can link the file to it.
        Run = "run",
        /// Every observation that meets the conditions.
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
        /// The basis: a clause of the contract, or the surveys that a draft was made from.
        basis?: Text,
    }
}

table! {
    /// How one rule of the catalogue is applied.
    pub RuleSetting {
        /// The rule's name.
        rule: Text,
        /// The severity of its findings; as in the catalogue when absent.
        severity?: Weight,
        /// Its limits that differ from the catalogue.
        limits[]: LimitSetting,
        /// The basis of this demand.
        basis?: Text,
    }
}

table! {
    /// A condition on the row that a demand applies to.
    pub Condition {
        /// Another field of the same row, as the path of keys from the row: `code`, `counter.zero`.
        field: FieldPath,
        /// The values, of which the field has one. Without values and pattern the field must be
        /// present.
        values[]: Scalar,
        /// A pattern that the whole text matches.
        pattern?: Pattern,
    }
}

table! {
    /// What is demanded of one field, in every row of its table that meets the conditions.
    pub FieldDemand {
        /// The field, as the path of keys from the document, without the indexes of lists:
        /// `pipes.material`.
        path: FieldPath,
        /// Whether it must be present or absent.
        demand?: Demand,
        /// The values that it may have if present. In a list, every item must have one of them.
        values[]: Scalar,
        /// The pattern that its whole text must match if present.
        pattern?: Pattern,
        /// Conditions that a row must meet for the demand to apply; every row when absent.
        #[serde(rename = "where")]
        conditions[]: Condition,
        /// What to tell the person who has to correct it.
        help?: Text,
        /// The basis of this demand.
        basis?: Text,
    }
}

table! {
    /// Media that are demanded.
    pub MediaDemand {
        /// What they are demanded for.
        of: MediaOf,
        /// The kinds, of which there must be one.
        kinds[]: MediaKind,
        /// The demand applies to observations with this grade or a worse one, recorded or computed.
        from_grade?: Grade,
        /// The aspect of that grade; any when absent.
        aspect?: Aspect,
        /// The codes that the demand applies to; any when absent.
        codes[]: CodeId,
        /// The roles of codes that the demand applies to; any when absent.
        roles[]: Role,
        /// What to tell the person who has to correct it.
        help?: Text,
        /// The basis of this demand.
        basis?: Text,
    }
}

table! {
    /// Findings that the office accepts. They are counted and named in the report.
    pub Suppression {
        /// The rule.
        rule: Text,
        /// The field or table of the findings; any when absent.
        path?: FieldPath,
        /// The pipes of the findings; any when absent.
        pipes[]: PipeId,
        /// The runs of the findings; any when absent.
        runs[]: RunId,
        /// The observations of the findings, by their ids within their runs; any when absent.
        observations[]: ObservationId,
        /// The reason.
        reason: Text,
        /// The last day on which it applies; unlimited when absent.
        until?: Date,
    }
}

table! {
    /// What a receiving office demands of a survey.
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
        /// Findings that the office accepts.
        suppressions[]: Suppression,
        /// The names of the formats in which to deliver the survey. Information for the contractor;
        /// no rule checks it.
        deliver[]: FormatName,
    }
}

impl Profile {
    /// Reads a profile. Call [`Profile::problems`] to check that it makes sense.
    ///
    /// # Errors
    /// If the source is not JSON or not a profile, with every structural problem.
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
    /// None are known; the serializer's signature has an error.
    pub fn digest(&self) -> Result<Digest, WriteError> {
        crate::write::digest_of(self)
    }

    /// The profile as a text for a file: a line for each demand.
    ///
    /// # Errors
    /// As [`Profile::digest`].
    pub fn write(&self) -> Result<String, WriteError> {
        crate::write::in_lines(self)
    }
}
