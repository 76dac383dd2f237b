//! A code list: the meaning of each code, and which details it takes.

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
        /// The inspection itself.
        Housekeeping = "housekeeping",
    }
}

words! {
    /// The role of a code in a run, so that software recognises a start row or a connection in any
    /// list.
    pub Role {
        /// The run starts.
        Start = "start",
        /// The run finishes.
        Finish = "finish",
        /// The run is stopped before its end.
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
        /// The run pauses; its amount `duration` is how long.
        Paused = "paused",
    }
}

words! {
    /// How far to trust an entry of a list that was transcribed from another publisher's.
    pub Standing {
        /// Read in a public source, named in `source`.
        Read = "read",
        /// Read in a public source that quotes the original.
        SecondHand = "second-hand",
        /// Written from memory and not verified: look it up before relying on it.
        FromMemory = "from-memory",
    }
}

words! {
    /// How well a code of another list fits.
    pub complete Fit {
        /// It means the same.
        Exact = "exact",
        /// It means this and more: translating to it loses detail and cannot be reversed.
        Wider = "wider",
    }
}

words! {
    /// Whether a code takes a clock reference.
    pub complete ClockUse {
        /// Required.
        Required = "required",
        /// Optional.
        Optional = "optional",
        /// Not applicable.
        None = "none",
    }
}

words! {
    /// Whether a code's clock reference is an hour or an arc.
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
    /// Whether a code can occur at a joint.
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
        /// The letter or word in a document.
        value: Text,
        /// What it means, by language.
        #[serde(deserialize_with = "super::labels")]
        label: Labels,
        /// What people who work here must know to stay safe; instead of that of the code.
        caution?: Text,
        /// The value as seen from the other end, if that differs: `right` for `left`.
        turned?: Text,
        /// How far to trust it, if that differs from its code.
        standing?: Standing,
        /// Where it was read, or what is uncertain about it.
        source?: Text,
    }
}

table! {
    /// One place in a code's characterisation.
    pub Characterisation {
        /// What it describes.
        name: Text,
        /// Whether it is required.
        required: bool,
        /// Whether other values are allowed: the list may not have them all.
        open?: bool,
        /// The known values.
        values[]: CharacterisationValue,
    }
}

table! {
    /// An amount of a code: what it measures.
    pub QuantityMeaning {
        /// What is measured.
        name: Text,
        /// The unit of `min`, `max` and of a grade scheme's bands; other units of the same
        /// dimension may be recorded.
        unit: QuantityUnit,
        /// Whether it is required.
        required?: bool,
        /// The lowest plausible amount.
        min?: f64,
        /// The highest plausible amount.
        max?: f64,
        /// What a percentage is a share of.
        of?: PercentOf,
        /// The characterisation that it applies to, from the first place on; any when absent.
        /// Amounts of other characterisations take no place.
        when[]: Text,
        /// How far to trust it, if that differs from its code.
        standing?: Standing,
        /// Where it was read, or what is uncertain about it.
        source?: Text,
    }
}

table! {
    /// Whether a code takes a clock reference, and which.
    pub ClockRule {
        /// Whether it takes one.
        #[serde(rename = "use")]
        usage: ClockUse,
        /// Whether it is an hour or an arc.
        extent?: ClockExtent,
        /// How far to trust this, if that differs from the code.
        standing?: Standing,
        /// Where it was read, or what is uncertain about it.
        source?: Text,
    }
}

table! {
    /// An amount that two codes of different lists share. The recorded number and unit do not
    /// change.
    pub SameAmount {
        /// Its name with this code.
        own: Text,
        /// Its name with the other code.
        other: Text,
    }
}

table! {
    /// A code of another list that means the same, or the same and more. An exact link can be
    /// followed in both directions.
    pub SameAs {
        /// The other list's id.
        list: Text,
        /// The characterisation of this code that the link applies to, from the first place on;
        /// any when absent. If several links apply, the most specific one is taken.
        when[]: Text,
        /// The code in the other list.
        code: CodeId,
        /// Its characterisation in the other list.
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
        /// The code, as documents have it.
        code: CodeId,
        /// What kind of fact it records.
        family: Family,
        /// Its name, by language.
        #[serde(deserialize_with = "super::labels")]
        label: Labels,
        /// What the operator sees.
        meaning?: Text,
        /// What people who work here must know to stay safe: lower case, no full stop.
        caution?: Text,
        /// The code as seen from the other end, if that differs: the end of a lining for its start.
        turned?: CodeId,
        /// Its role in a run.
        role?: Role,
        /// Its characterisation, place by place.
        characterisation[]: Characterisation,
        /// Its amounts, in order.
        quantities[]: QuantityMeaning,
        /// Its clock reference.
        clock: ClockRule,
        /// Whether it may be recorded over a stretch.
        continuous: StretchUse,
        /// Whether it can occur at a joint.
        joint: JointUse,
        /// The material classes that it can apply to; all when absent.
        materials[]: MaterialClass,
        /// The shapes that it can apply to; all when absent.
        shapes[]: Shape,
        /// Codes of other lists that mean the same.
        same_as[]: SameAs,
        /// How far to trust the code, its name and its contents, unless an entry below it differs.
        /// A list that is its own authority has none.
        standing?: Standing,
        /// Where it was read, or what is uncertain about it.
        source?: Text,
        /// How far to trust clock, stretch, joint, materials and shapes, if that differs.
        use_standing?: Standing,
    }
}

impl Code {
    /// The English name; failing that, the first name, or the code.
    #[must_use]
    pub fn name(&self) -> &str {
        let any = || self.label.values().next();
        self.label.get("en").or_else(any).map_or(self.code.as_str(), Text::as_str)
    }

    /// What people who work at an observation with this characterisation must know to stay safe:
    /// that of a value, or else that of the code.
    #[must_use]
    pub fn caution<C: AsRef<str>>(&self, characterisation: &[C]) -> Option<&Text> {
        let values = self.characterisation.iter().zip(characterisation);
        let of_value = values.filter_map(|(place, is)| {
            let known = place.values.iter().find(|known| *known.value == *is.as_ref())?;
            known.caution.as_ref()
        });
        of_value.last().or(self.caution.as_ref())
    }

    /// What the amounts of an observation with this characterisation measure, in their order.
    pub fn amounts<'c, C: AsRef<str>>(
        &'c self,
        characterisation: &'c [C],
    ) -> impl Iterator<Item = &'c QuantityMeaning> {
        self.quantities.iter().filter(move |meaning| begins(characterisation, &meaning.when))
    }
}

impl CodeList {
    /// A code and its characterisation as a camera from the other end sees them: a bend to the left
    /// is one to the right, and where a lining begins it ends. `None` if the list does not have the
    /// code. Codes of the roles `material-change`, `size-change` and `shape-change` state what lies
    /// after them, and keep that here: from the other end, it is what the pipe had before.
    ///
    /// ```
    /// use obvert_model::lists::CodeList;
    /// let terms = CodeList::obvert_terms();
    /// let (code, to) = terms.turned("bend.fitting", &["left"]).ok_or("unknown")?;
    /// assert_eq!((code.code.as_str(), to[0]), ("bend.fitting", "right"));
    /// let (code, _) = terms.turned("lining.start", &["cured-in-place"]).ok_or("unknown")?;
    /// assert_eq!(code.code.as_str(), "lining.finish");
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    #[must_use]
    pub fn turned<'c>(
        &'c self,
        code: &str,
        characterisation: &[&'c str],
    ) -> Option<(&'c Code, Vec<&'c str>)> {
        let find = |wanted: &str| self.codes.iter().find(|code| *code.code == *wanted);
        let own = find(code)?;
        let places = own.characterisation.iter().map(Some).chain(std::iter::repeat(None));
        let values = characterisation.iter().zip(places).map(|(value, place)| {
            let known = place.and_then(|place| place.values.iter().find(|v| *v.value == **value));
            known.and_then(|known| known.turned.as_ref()).map_or(*value, Text::as_str)
        });
        let turned = own.turned.as_ref().and_then(|other| find(other));
        // The other code may take fewer values: the end of a lining does not say of what kind it is.
        let places = turned.map_or(usize::MAX, |other| other.characterisation.len());
        Some((turned.unwrap_or(own), values.take(places).collect()))
    }
}

/// Whether a characterisation begins with the values of a condition.
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
        /// What the list is for and who is responsible for it.
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
    /// If the source is not JSON or not a code list, with every structural problem.
    pub fn read(source: &[u8]) -> Result<Self, CodeListError> {
        Ok(super::read(source, Subject::CodeList)?)
    }

    /// The schema of code lists.
    #[must_use]
    pub fn schema() -> serde_json::Value {
        let examples = crate::schema::example(include_str!("../../data/examples/code-list.json"));
        crate::schema::of::<Self>("code-list", "Obvert code list", examples)
    }

    /// The project's own list, `obvert-terms`. It is not an authority's list. An office that must
    /// use another list supplies it as a file.
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
    /// memory go: the project's own compilation, in its own words, and not a substitute for the
    /// standard. Every entry states how far to trust it.
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

    /// The built-in lists.
    #[must_use]
    pub fn built_ins() -> [&'static Self; 2] {
        [Self::obvert_terms(), Self::en_13508_2()]
    }

    /// A built-in list by its id and version.
    #[must_use]
    pub fn built_in(id: &str, version: &str) -> Option<&'static Self> {
        // Matched before parsing, so that a document does not wait for a list that it does not use.
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
