//! A grade scheme: the grade of each code by its amount and the pipe's material and size, and how
//! grades are summed up for a pipe.

use std::sync::OnceLock;

use super::{GradeSchemeError, Labels};
use crate::number::Grade;
use crate::read::Subject;
use crate::tables::{Aspect, LengthUnit, MaterialClass};
use crate::text::{CodeId, Text};

words! {
    /// The version of the grade scheme format.
    pub GradeSchemeVersion {
        /// The first draft.
        V0_1 = "0.1",
    }
}

table! {
    /// The code list that a scheme grades.
    pub CodeListRef {
        /// The list's id.
        list: Text,
        /// The list's version.
        version: Text,
    }
}

table! {
    /// One step of a scale.
    pub GradeStep {
        /// The grade.
        grade: Grade,
        /// Its name, by language.
        #[serde(deserialize_with = "super::labels")]
        label: Labels,
        /// What it means.
        meaning?: Text,
    }
}

table! {
    /// A scale with its direction, which must be stated: scales in public use run in both
    /// directions.
    pub Scale {
        /// The best grade.
        best: Grade,
        /// The worst grade.
        worst: Grade,
        /// Every step.
        steps[]: GradeStep,
    }
}

table! {
    /// A half-open range of sizes in millimetres: `from` is included, `below` is not.
    pub SizeRange {
        /// The lowest height of the cross-section, in mm.
        from?: f64,
        /// The height from which it no longer applies, in mm.
        below?: f64,
    }
}

table! {
    /// A half-open band of one amount: `from` is included, `below` is not.
    pub Band {
        /// The amount, by its name in the code list.
        quantity: Text,
        /// The lowest amount, in the code list's unit.
        from: f64,
        /// The amount from which the next band applies; open-ended when absent.
        below?: f64,
        /// The grade.
        grade: Grade,
    }
}

table! {
    /// How one code is graded in one aspect, under conditions. The entries of a code are tried in
    /// order; the first whose conditions are met is used.
    pub GradeEntry {
        /// The code.
        code: CodeId,
        /// The aspect.
        aspect: Aspect,
        /// The characterisation that it applies to, from the first place on.
        characterisation[]: Text,
        /// The material classes that it applies to.
        materials[]: MaterialClass,
        /// The sizes that it applies to.
        size?: SizeRange,
        /// Grades by amount.
        bands[]: Band,
        /// The grade if there are no bands or the amount was not recorded.
        grade?: Grade,
        /// Where the limits come from, if they have a published source.
        source?: Text,
    }
}

table! {
    /// A length with its unit.
    pub Span {
        /// The number.
        value: f64,
        /// The unit.
        unit: LengthUnit,
    }
}

words! {
    /// What the peak of a pipe is. There are several in public practice, with different results.
    pub complete PeakMethod {
        /// The worst single grade.
        WorstGrade = "worst-grade",
        /// The highest sum of grades in one of the lengths into which the run is divided from its
        /// zero point.
        FixedLengths = "fixed-lengths",
        /// The highest sum of grades in any length, wherever it begins.
        SlidingLength = "sliding-length",
    }
}

table! {
    /// How the peak of a pipe is computed.
    pub Peak {
        /// The method.
        method: PeakMethod,
        /// The length over which grades are summed, including its start but not its end. Not used
        /// with `worst-grade`.
        length?: Span,
    }
}

table! {
    /// How grades are summed up for a pipe.
    pub Rollup {
        /// How the peak is computed; the worst single grade when absent.
        peak?: Peak,
        /// The interval for counting stretches: a stretch counts once for every interval begun, at
        /// least once.
        interval: Span,
        /// The length that `per_length` is stated for.
        per_length: Span,
    }
}

table! {
    /// A grade scheme.
    pub GradeScheme {
        /// An address of the schema, for editors.
        #[serde(rename = "$schema")]
        schema?: Text,
        /// The version of the grade scheme format.
        grade_scheme: GradeSchemeVersion = GradeSchemeVersion::V0_1,
        /// The scheme's id, which a document names.
        id: Text,
        /// The scheme's version, which a document names.
        version: Text,
        /// Its title.
        title: Text,
        /// What the scheme is for and who is responsible for it.
        description?: Text,
        /// Who publishes it.
        publisher?: Text,
        /// The code list that it grades.
        code_list: CodeListRef,
        /// The scale.
        scale: Scale,
        /// The aspects that it grades.
        aspects[]: Aspect,
        /// The grades.
        entries[]: GradeEntry,
        /// How grades are summed up.
        rollup: Rollup,
    }
}

impl Rollup {
    /// The length over which a peak is summed, in metres, and whether it slides; `None` if the peak
    /// is the worst grade.
    #[must_use]
    pub fn peak_over(&self) -> Option<(f64, bool)> {
        let peak = self.peak.as_ref()?;
        let metres = peak.length.as_ref().map(|length| length.value * length.unit.metres())?;
        match peak.method {
            PeakMethod::WorstGrade => None,
            PeakMethod::FixedLengths => Some((metres, false)),
            PeakMethod::SlidingLength => Some((metres, true)),
        }
    }
}

impl GradeScheme {
    /// Reads a grade scheme.
    ///
    /// # Errors
    /// If the source is not JSON or not a grade scheme, with every structural problem.
    pub fn read(source: &[u8]) -> Result<Self, GradeSchemeError> {
        Ok(super::read(source, Subject::GradeScheme)?)
    }

    /// The schema of grade schemes.
    #[must_use]
    pub fn schema() -> serde_json::Value {
        let examples =
            crate::schema::example(include_str!("../../data/examples/grade-scheme.json"));
        crate::schema::of::<Self>("grade-scheme", "Obvert grade scheme", examples)
    }

    /// The project's own scheme, `obvert-grades`. It is not an authority's scheme, and a grade does
    /// not state that a pipe is safe.
    #[must_use]
    pub fn obvert_grades() -> &'static Self {
        static SCHEME: OnceLock<GradeScheme> = OnceLock::new();
        SCHEME.get_or_init(|| {
            // Embedded, and read by a test.
            #[allow(clippy::expect_used)]
            GradeScheme::read(include_bytes!("../../data/grade-schemes/obvert-grades.json"))
                .expect("the built-in scheme reads")
        })
    }

    /// A built-in scheme by its id and version.
    #[must_use]
    pub fn built_in(id: &str, version: &str) -> Option<&'static Self> {
        [Self::obvert_grades()]
            .into_iter()
            .find(|scheme| *scheme.id == *id && *scheme.version == *version)
    }
}
