//! A code list: each code's meaning in words and what may stand beside it.

use std::collections::BTreeMap;
use std::sync::OnceLock;

use rustc_hash::FxHashMap;

use super::ListError;
use crate::tables::{MaterialClass, QuantityUnit, Shape};
use crate::text::{CodeId, Language, Text};

/// A text in several languages, by language tag.
pub type Labels = BTreeMap<Language, Text>;

words! {
    /// The version of the code list format.
    pub CodeListVersion {
        /// The first draft.
        V0_1 = "0.1",
    }
}

words! {
    /// What kind of fact a code records.
    pub Family {
        /// A defect of the fabric.
        Structural = "structural",
        /// Something that hinders the working of the pipe.
        Operational = "operational",
        /// How the pipe is built.
        Construction = "construction",
        /// A water level.
        Level = "level",
        /// The running of the inspection itself.
        Housekeeping = "housekeeping",
    }
}

words! {
    /// What a code does in a run, so that software knows a start row or a connection in any list.
    pub Role {
        /// The run starts.
        Start = "start",
        /// The run finishes.
        Finish = "finish",
        /// The run is given up.
        Stopped = "stopped",
        /// The water level.
        Level = "level",
        /// A connection.
        Connection = "connection",
        /// The material changes.
        MaterialChange = "material-change",
        /// The size changes.
        SizeChange = "size-change",
        /// The shape changes.
        ShapeChange = "shape-change",
        /// The pipe bends.
        Bend = "bend",
        /// A picture for orientation.
        Photo = "photo",
        /// A remark.
        Remark = "remark",
    }
}

words! {
    /// Whether a clock reference belongs to a code.
    pub ClockUse {
        /// There must be one.
        Required = "required",
        /// There may be one.
        Optional = "optional",
        /// It would mean nothing.
        None = "none",
    }
}

words! {
    /// The form of a code's clock reference.
    pub ClockExtent {
        /// One hour.
        Point = "point",
        /// An arc.
        Span = "span",
        /// Either.
        Either = "either",
    }
}

words! {
    /// Whether a code may be recorded over a stretch.
    pub StretchUse {
        /// Only at one distance.
        Never = "never",
        /// At one distance or over a stretch.
        Allowed = "allowed",
    }
}

words! {
    /// Whether a code belongs at a joint.
    pub JointUse {
        /// Never at a joint.
        Never = "never",
        /// At a joint or elsewhere.
        Allowed = "allowed",
        /// Only at a joint.
        Required = "required",
    }
}

words! {
    /// What a percentage is a share of. Ten per cent of the height of a circular pipe is 5.2 per cent of its area.
    pub PercentOf {
        /// The height of the cross-section.
        Height = "height",
        /// Its width.
        Width = "width",
        /// Its area.
        Area = "area",
        /// Its diameter.
        Diameter = "diameter",
        /// The thickness of the wall.
        WallThickness = "wall-thickness",
        /// The length concerned.
        Length = "length",
        /// Its perimeter.
        Perimeter = "perimeter",
    }
}

table! {
    /// One value of a characterisation.
    pub CharacterisationValue {
        /// The letter or word that stands in a document.
        value: Text,
        /// What it means, by language.
        #[serde(deserialize_with = "super::labels")]
        label: Labels,
    }
}

table! {
    /// One place in a code's characterisation.
    pub Characterisation {
        /// What it tells.
        name: Text,
        /// Whether it must be there.
        required: bool,
        /// The values that it can have.
        values[]: CharacterisationValue,
    }
}

table! {
    /// What one of a code's amounts measures.
    pub QuantityMeaning {
        /// What is measured.
        name: Text,
        /// The unit of `min`, `max` and of a grade scheme's bands; other units of the same dimension may be recorded.
        unit: QuantityUnit,
        /// Whether it must be there.
        required?: bool,
        /// The least sensible amount.
        min?: f64,
        /// The greatest sensible amount.
        max?: f64,
        /// What a percentage is a share of.
        of?: PercentOf,
    }
}

table! {
    /// Whether and in which form a clock reference belongs to a code.
    pub ClockRule {
        /// Whether.
        #[serde(rename = "use")]
        usage: ClockUse,
        /// In which form.
        extent?: ClockExtent,
    }
}

table! {
    /// A code of another list that means the same.
    pub SameAs {
        /// The other list's id.
        list: Text,
        /// The code there.
        code: CodeId,
        /// The characterisation there that goes with it.
        characterisation[]: Text,
    }
}

table! {
    /// One code.
    pub Code {
        /// The code, as it stands in a document.
        code: CodeId,
        /// What kind of fact it records.
        family: Family,
        /// Its name, by language.
        #[serde(deserialize_with = "super::labels")]
        label: Labels,
        /// What the operator sees.
        meaning?: Text,
        /// What it does in a run.
        role?: Role,
        /// Its characterisation, place by place.
        characterisation[]: Characterisation,
        /// Its amounts, in order.
        quantities[]: QuantityMeaning,
        /// Its clock reference.
        clock: ClockRule,
        /// Whether it may be recorded over a stretch.
        continuous: StretchUse,
        /// Whether it belongs at a joint.
        joint: JointUse,
        /// The material classes that it can apply to; all when absent.
        materials[]: MaterialClass,
        /// The shapes that it can apply to; all when absent.
        shapes[]: Shape,
        /// Codes of other lists that mean the same.
        same_as[]: SameAs,
    }
}

impl Code {
    /// The English name, or the first there is, or the code.
    #[must_use]
    pub fn name(&self) -> &str {
        let any = || self.label.values().next();
        self.label.get("en").or_else(any).map_or(self.code.as_str(), Text::as_str)
    }
}

table! {
    /// A code list.
    pub CodeList {
        /// An address of the schema, for editors.
        #[serde(rename = "$schema")]
        schema?: Text,
        /// The version of the code list format.
        code_list: CodeListVersion,
        /// The list's id, which a document names.
        id: Text,
        /// The list's version, which a document names.
        version: Text,
        /// Its title.
        title: Text,
        /// What it is and whose.
        description?: Text,
        /// Who publishes it.
        publisher?: Text,
        /// The codes.
        codes[]: Code,
    }
}

impl CodeList {
    /// Reads a code list.
    ///
    /// # Errors
    /// When the source is not JSON or not a code list.
    pub fn read(source: &[u8]) -> Result<Self, ListError> {
        Ok(serde_json::from_slice(source)?)
    }

    /// The schema of code lists.
    #[must_use]
    pub fn schema() -> serde_json::Value {
        crate::schema::of::<Self>("code-list", "Obvert code list")
    }

    /// The project's own list, `obvert-terms`. It is no authority's; an office that is bound to another list brings it
    /// as a file.
    #[must_use]
    pub fn obvert_terms() -> &'static Self {
        static LIST: OnceLock<CodeList> = OnceLock::new();
        LIST.get_or_init(|| {
            // Embedded, and read by a test.
            #[allow(clippy::expect_used)]
            CodeList::read(include_bytes!("../../data/code-lists/obvert-terms.json")).expect("the built-in list reads")
        })
    }

    /// A built-in list by its id and version.
    #[must_use]
    pub fn built_in(id: &str, version: &str) -> Option<&'static Self> {
        [Self::obvert_terms()].into_iter().find(|list| *list.id == *id && *list.version == *version)
    }

    /// The codes by their name.
    #[must_use]
    pub fn by_code(&self) -> FxHashMap<&str, &Code> {
        self.codes.iter().map(|code| (code.code.as_str(), code)).collect()
    }
}
