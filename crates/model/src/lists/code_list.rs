//! A code list: each code's meaning in words and what may stand beside it.

use std::collections::BTreeMap;
use std::sync::OnceLock;

use super::CodeListError;
use crate::read::Subject;
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
    /// How far an entry of a list that transcribes somebody else's can be trusted.
    pub Standing {
        /// It was read in a public source, which `source` names.
        Read = "read",
        /// It was read in a public source that quotes the original.
        SecondHand = "second-hand",
        /// It was written down from memory and held against no source: look it up before relying on
        /// it.
        FromMemory = "from-memory",
    }
}

words! {
    /// How well a code of another list fits.
    pub complete Fit {
        /// It means the same, neither more nor less.
        Exact = "exact",
        /// It means this and more, so that going over to it loses detail, and no way leads back.
        Wider = "wider",
    }
}

words! {
    /// Whether a clock reference belongs to a code.
    pub complete ClockUse {
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
    pub complete ClockExtent {
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
    pub complete StretchUse {
        /// Only at one distance.
        Never = "never",
        /// At one distance or over a stretch.
        Allowed = "allowed",
    }
}

words! {
    /// Whether a code belongs at a joint.
    pub complete JointUse {
        /// Never at a joint.
        Never = "never",
        /// At a joint or elsewhere.
        Allowed = "allowed",
        /// Only at a joint.
        Required = "required",
    }
}

words! {
    /// What a percentage is a share of. Ten per cent of the height of a circular pipe is 5.2 per
    /// cent of its area.
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
        /// How far it can be trusted, where that differs from its code.
        standing?: Standing,
        /// Where it was read, or what is uncertain about it.
        source?: Text,
    }
}

table! {
    /// One place in a code's characterisation.
    pub Characterisation {
        /// What it tells.
        name: Text,
        /// Whether it must be there.
        required: bool,
        /// Whether there are values that this list does not know, so that another one is no
        /// mistake.
        open?: bool,
        /// The values that it can have.
        values[]: CharacterisationValue,
    }
}

table! {
    /// What one of a code's amounts measures.
    pub QuantityMeaning {
        /// What is measured.
        name: Text,
        /// The unit of `min`, `max` and of a grade scheme's bands; other units of the same
        /// dimension may be recorded.
        unit: QuantityUnit,
        /// Whether it must be there.
        required?: bool,
        /// The least sensible amount.
        min?: f64,
        /// The greatest sensible amount.
        max?: f64,
        /// What a percentage is a share of.
        of?: PercentOf,
        /// The characterisation that it goes with, from the first place on; any when absent.
        /// Amounts that go with another characterisation take no place.
        when[]: Text,
        /// How far it can be trusted, where that differs from its code.
        standing?: Standing,
        /// Where it was read, or what is uncertain about it.
        source?: Text,
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
        /// How far this can be trusted, where that differs from the code.
        standing?: Standing,
        /// Where it was read, or what is uncertain about it.
        source?: Text,
    }
}

table! {
    /// An amount that two codes of different lists share. The recorded number and unit stay as they
    /// are.
    pub SameAmount {
        /// Its name with this code.
        own: Text,
        /// Its name with the other code.
        other: Text,
    }
}

table! {
    /// A code of another list that means the same, or the same and more. What it says holds both
    /// ways where it fits exactly.
    pub SameAs {
        /// The other list's id.
        list: Text,
        /// The characterisation of this code that the link is for, from the first place on; any
        /// when absent. Of several links that hold, the one that asks for most is taken.
        when[]: Text,
        /// The code there.
        code: CodeId,
        /// The characterisation there that goes with it.
        characterisation[]: Text,
        /// The amounts that both have.
        quantities[]: SameAmount,
        /// How well it fits; `exact` when absent.
        fit?: Fit,
    }
}

impl SameAs {
    /// How well it fits.
    #[must_use]
    pub fn fit(&self) -> Fit {
        self.fit.unwrap_or(Fit::Exact)
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
        /// How far the code, its name and what it holds can be trusted, as far as nothing below
        /// says otherwise. A list that is its own authority has none.
        standing?: Standing,
        /// Where it was read, or what is uncertain about it.
        source?: Text,
        /// How far what it says of clock, stretch, joint, materials and shapes can be trusted,
        /// where that differs.
        use_standing?: Standing,
    }
}

impl Code {
    /// The English name, or the first there is, or the code.
    #[must_use]
    pub fn name(&self) -> &str {
        let any = || self.label.values().next();
        self.label.get("en").or_else(any).map_or(self.code.as_str(), Text::as_str)
    }

    /// What the amounts of an observation with this characterisation measure, in the order in which
    /// they stand there.
    pub fn amounts<'c, C: AsRef<str>>(
        &'c self,
        characterisation: &'c [C],
    ) -> impl Iterator<Item = &'c QuantityMeaning> {
        self.quantities.iter().filter(move |meaning| begins(characterisation, &meaning.when))
    }
}

/// Whether a characterisation begins as a condition asks.
pub(crate) fn begins<C: AsRef<str>>(characterisation: &[C], when: &[Text]) -> bool {
    when.len() <= characterisation.len()
        && when.iter().zip(characterisation).all(|(asked, is)| **asked == *is.as_ref())
}

table! {
    /// A code list.
    pub CodeList {
        /// An address of the schema, for editors.
        #[serde(rename = "$schema")]
        schema?: Text,
        /// The version of the code list format.
        code_list: CodeListVersion = CodeListVersion::V0_1,
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
    /// If the source is not JSON or not a code list; with every problem of its structure.
    pub fn read(source: &[u8]) -> Result<Self, CodeListError> {
        Ok(super::read(source, Subject::CodeList)?)
    }

    /// The schema of code lists.
    #[must_use]
    pub fn schema() -> serde_json::Value {
        let examples = crate::schema::example(include_str!("../../data/examples/code-list.json"));
        crate::schema::of::<Self>("code-list", "Obvert code list", examples)
    }

    /// The project's own list, `obvert-terms`. It is no authority's; an office that is bound to
    /// another list brings it as a file.
    #[must_use]
    pub fn obvert_terms() -> &'static Self {
        static LIST: OnceLock<CodeList> = OnceLock::new();
        LIST.get_or_init(|| {
            // Embedded, and read by a test.
            #[allow(clippy::expect_used)]
            CodeList::read(include_bytes!("../../data/code-lists/obvert-terms.json"))
                .expect("the built-in list reads")
        })
    }

    /// The codes of EN 13508-2:2003+A1:2011 for drains and sewers, as far as public sources and
    /// memory go: the project's compilation, in its own words, and no substitute for the standard.
    /// Every entry says how far it can be trusted.
    #[must_use]
    pub fn en_13508_2() -> &'static Self {
        static LIST: OnceLock<CodeList> = OnceLock::new();
        LIST.get_or_init(|| {
            // Embedded, and read by a test.
            #[allow(clippy::expect_used)]
            CodeList::read(include_bytes!("../../data/code-lists/en-13508-2.json"))
                .expect("the built-in list reads")
        })
    }

    /// The lists that are always at hand.
    #[must_use]
    pub fn built_ins() -> [&'static Self; 2] {
        [Self::obvert_terms(), Self::en_13508_2()]
    }

    /// A built-in list by its id and version.
    #[must_use]
    pub fn built_in(id: &str, version: &str) -> Option<&'static Self> {
        // By name, so that a document coded in one list does not wait for the other to be read.
        let list = match id {
            "obvert-terms" => Self::obvert_terms(),
            "en-13508-2" => Self::en_13508_2(),
            _ => return None,
        };
        (*list.version == *version).then_some(list)
    }

    /// The codes by their name.
    #[must_use]
    pub fn by_code(&self) -> BTreeMap<&str, &Code> {
        self.codes.iter().map(|code| (code.code.as_str(), code)).collect()
    }
}
