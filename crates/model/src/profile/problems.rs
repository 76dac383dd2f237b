//! Checks that a profile makes sense, before the first survey is checked against it: a demand on a
//! field that does not exist would have no effect.

use super::demand_problems::demand_problems;
use super::{Demand, FieldDemand, FieldPath, MediaDemand, MediaOf, Profile, Resolved};
use crate::lists::{CodeList, GradeScheme};
use crate::text::Date;
use crate::text::nearest;

mod rules;

words! {
    /// The kind of a problem of a profile.
    pub ProfileProblemKind {
        /// A rule that the checker does not have.
        UnknownRule = "unknown-rule",
        /// A limit that the rule does not have.
        UnknownLimit = "unknown-limit",
        /// A limit that is impossible for its rule, or in a unit that measures something else.
        LimitValue = "limit-value",
        /// A path of a field that the format does not have.
        UnknownField = "unknown-field",
        /// A pattern that is invalid, or on a field that is not a text.
        Pattern = "pattern",
        /// A value that the field can never have.
        Value = "value",
        /// A code that no allowed list has, or a grade that is on no scale.
        UnknownCode = "unknown-code",
        /// Two demands that exclude each other, or one that contradicts the format.
        Contradiction = "contradiction",
        /// A duplicate entry.
        Duplicate = "duplicate",
        /// A demand without an effect, or an unlimited suppression.
        Empty = "empty",
        /// A list or scheme that is not available.
        NotAvailable = "not-available",
        /// A format in `deliver` that the program does not have.
        UnknownFormat = "unknown-format",
        /// A suppression that has expired.
        Expired = "expired",
    }
}

impl ProfileProblemKind {
    /// Whether surveys cannot be checked against a profile with such a problem.
    #[must_use]
    pub const fn stops(self) -> bool {
        !matches!(self, Self::NotAvailable | Self::UnknownFormat | Self::Expired)
    }
}

/// One problem of a profile.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ProfileProblem {
    /// Its kind.
    pub kind: ProfileProblemKind,
    /// Its location, as a JSON Pointer (RFC 6901) into the profile.
    pub pointer: String,
    /// What is wrong and what to do: lower case, no full stop.
    pub message: String,
    /// The nearest valid spelling, if there is one.
    pub suggestion: Option<String>,
}

impl std::fmt::Display for ProfileProblem {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}: {}", self.pointer, self.message)?;
        match &self.suggestion {
            Some(near) => write!(f, "; did you mean {near:?}?"),
            None => Ok(()),
        }
    }
}

/// A rule of a checker.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AvailableRule<'a> {
    /// Its name.
    pub name: &'a str,
    /// Its limits: name and unit.
    pub limits: Vec<(&'a str, &'a str)>,
}

/// What a profile is compared with, besides the format. Empty lists are not checked.
#[derive(Clone, Debug, Default)]
pub struct Available<'a> {
    /// The checker's rules.
    pub rules: Vec<AvailableRule<'a>>,
    /// Code lists.
    pub code_lists: Vec<&'a CodeList>,
    /// Grade schemes.
    pub grade_schemes: Vec<&'a GradeScheme>,
    /// The names of the formats that can be delivered.
    pub formats: Vec<&'a str>,
    /// The date of today.
    pub today: Option<&'a Date>,
}

#[derive(Default)]
pub(super) struct Problems(Vec<ProfileProblem>);

impl Problems {
    pub(super) fn add(
        &mut self,
        kind: ProfileProblemKind,
        pointer: impl Into<String>,
        message: impl Into<String>,
    ) {
        self.near(kind, pointer, message, None);
    }

    pub(super) fn near(
        &mut self,
        kind: ProfileProblemKind,
        pointer: impl Into<String>,
        message: impl Into<String>,
        suggestion: Option<String>,
    ) {
        self.0.push(ProfileProblem {
            kind,
            pointer: pointer.into(),
            message: message.into(),
            suggestion,
        });
    }

    pub(super) fn duplicates<T: PartialEq>(
        &mut self,
        pointer: &str,
        what: &str,
        items: &[T],
        name: impl Fn(&T) -> String,
    ) {
        for (index, item) in items.iter().enumerate() {
            if let Some(earlier) = items[..index].iter().position(|other| other == item) {
                let message = format!(
                    "the {what} {:?} is a duplicate of {pointer}/{earlier}; keep one",
                    name(item)
                );
                self.add(ProfileProblemKind::Duplicate, format!("{pointer}/{index}"), message);
            }
        }
    }
}

impl Profile {
    /// What does not make sense in the profile, in its order; empty if all is well.
    ///
    /// ```
    /// use obvert_model::profile::{Profile, ProfileProblemKind};
    /// let source = br#"{ "profile": "0.1", "id": "p", "version": "1", "title": "t",
    ///   "fields": [ { "path": "runs.opperator", "demand": "required" } ] }"#;
    /// let problems = Profile::read(source)?.problems(&Default::default());
    /// assert_eq!(problems[0].kind, ProfileProblemKind::UnknownField);
    /// let expected = r#"/fields/0/path: runs has no field "opperator"; did you mean "runs.operator"?"#;
    /// assert_eq!(problems[0].to_string(), expected);
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    #[must_use]
    pub fn problems(&self, available: &Available<'_>) -> Vec<ProfileProblem> {
        let mut problems = Problems::default();
        self.allowed_problems(available, &mut problems);
        self.rule_problems(available, &mut problems);
        self.field_problems(&mut problems);
        for (index, demand) in self.media.iter().enumerate() {
            self.media_problems(demand, &format!("/media/{index}"), available, &mut problems);
        }
        self.suppression_problems(available, &mut problems);
        problems.duplicates("/deliver", "format", &self.deliver, ToString::to_string);
        self.format_problems(available, &mut problems);
        problems.0
    }

    fn format_problems(&self, available: &Available<'_>, problems: &mut Problems) {
        let unknown = self
            .deliver
            .iter()
            .enumerate()
            .filter(|(_, name)| !available.formats.contains(&name.as_str()));
        for (index, name) in unknown.filter(|_| !available.formats.is_empty()) {
            let near = nearest(name, available.formats.iter().copied()).map(str::to_owned);
            let message = format!("there is no format {:?}", name.as_str());
            problems.near(
                ProfileProblemKind::UnknownFormat,
                format!("/deliver/{index}"),
                message,
                near,
            );
        }
    }

    fn allowed_problems(&self, available: &Available<'_>, problems: &mut Problems) {
        let Some(allow) = &self.allow else { return };
        let versioned = |id: &str, version: &Option<crate::text::Text>| match version {
            Some(version) => format!("{id} {version}"),
            None => id.to_owned(),
        };
        for (index, wanted) in
            allow.code_lists.iter().enumerate().filter(|_| !available.code_lists.is_empty())
        {
            if self.lists(available, index).next().is_none() {
                let name = versioned(&wanted.list, &wanted.version);
                let near =
                    nearest(&wanted.list, available.code_lists.iter().map(|list| list.id.as_str()))
                        .map(str::to_owned);
                let message = format!(
                    "the code list {name} is not available; without it nothing that depends on codes can be checked"
                );
                problems.near(
                    ProfileProblemKind::NotAvailable,
                    format!("/allow/code_lists/{index}"),
                    message,
                    near.filter(|near| *near != *wanted.list),
                );
            }
        }
        for (index, wanted) in
            allow.grade_schemes.iter().enumerate().filter(|_| !available.grade_schemes.is_empty())
        {
            let fits = |scheme: &&&GradeScheme| {
                scheme.id == wanted.scheme
                    && wanted.version.as_ref().is_none_or(|version| scheme.version == *version)
            };
            if !available.grade_schemes.iter().any(|scheme| fits(&scheme)) {
                let name = versioned(&wanted.scheme, &wanted.version);
                let near = nearest(
                    &wanted.scheme,
                    available.grade_schemes.iter().map(|scheme| scheme.id.as_str()),
                )
                .map(str::to_owned);
                let message = format!(
                    "the grade scheme {name} is not available; without it no grade can be checked"
                );
                problems.near(
                    ProfileProblemKind::NotAvailable,
                    format!("/allow/grade_schemes/{index}"),
                    message,
                    near.filter(|near| *near != *wanted.scheme),
                );
            }
        }
        problems.duplicates("/allow/code_lists", "code list", &allow.code_lists, |item| {
            versioned(&item.list, &item.version)
        });
        problems.duplicates("/allow/grade_schemes", "grade scheme", &allow.grade_schemes, |item| {
            versioned(&item.scheme, &item.version)
        });
        problems.duplicates(
            "/allow/length_units",
            "unit",
            &allow.length_units,
            ToString::to_string,
        );
        problems.duplicates(
            "/allow/section_units",
            "unit",
            &allow.section_units,
            ToString::to_string,
        );
        problems.duplicates("/allow/crs", "reference system", &allow.crs, ToString::to_string);
        problems.duplicates("/allow/vertical", "datum", &allow.vertical, ToString::to_string);
    }

    /// The available lists that match an allowed one.
    fn lists<'a>(
        &'a self,
        available: &'a Available<'_>,
        index: usize,
    ) -> impl Iterator<Item = &'a CodeList> {
        let wanted = self.allow.as_ref().and_then(|allow| allow.code_lists.get(index));
        available.code_lists.iter().copied().filter(move |list| {
            wanted.is_some_and(|wanted| {
                list.id == wanted.list
                    && wanted.version.as_ref().is_none_or(|version| list.version == *version)
            })
        })
    }

    fn field_problems(&self, problems: &mut Problems) {
        let mut resolved: Vec<Option<Resolved>> = Vec::new();
        for (index, demand) in self.fields.iter().enumerate() {
            let at = format!("/fields/{index}");
            if demand.demand.is_none() && demand.values.is_empty() && demand.pattern.is_none() {
                problems.add(
                    ProfileProblemKind::Empty,
                    &at,
                    "nothing is demanded; set demand, values or pattern",
                );
            }
            match demand.path.resolve() {
                Err(error) => {
                    let at = format!("{at}/path");
                    problems.near(ProfileProblemKind::UnknownField, at, error.message, error.near);
                    resolved.push(None);
                }
                Ok(there) => {
                    demand_problems(demand, &there, &at, problems);
                    resolved.push(Some(there));
                }
            }
            self.pair_problems(index, problems);
        }
    }

    /// Compares a demand with those before it.
    fn pair_problems(&self, index: usize, problems: &mut Problems) {
        let demand = &self.fields[index];
        let below = |inner: &FieldPath, outer: &FieldPath| {
            inner == outer || inner.strip_prefix(&**outer).is_some_and(|rest| rest.starts_with('.'))
        };
        let clash = |forbidden: &FieldDemand, required: &FieldDemand| {
            forbidden.demand == Some(Demand::Forbidden)
                && required.demand == Some(Demand::Required)
                && below(&required.path, &forbidden.path)
        };
        for (earlier, other) in self.fields[..index].iter().enumerate() {
            let alike = other.conditions == demand.conditions;
            let meet = alike || other.conditions.is_empty() || demand.conditions.is_empty();
            let same = alike && other.path == demand.path;
            let at = format!("/fields/{index}");
            if meet && (clash(other, demand) || clash(demand, other)) {
                let (is, was) = match demand.demand {
                    Some(Demand::Required) => ("demanded", "forbidden"),
                    _ => ("forbidden", "demanded"),
                };
                let message = format!(
                    "{} is {is} here and {} is {was} at /fields/{earlier}; give the two conditions that exclude each other",
                    demand.path, other.path
                );
                problems.add(ProfileProblemKind::Contradiction, at, message);
            } else if same
                && (other.demand.is_some() && demand.demand.is_some()
                    || !other.values.is_empty() && !demand.values.is_empty()
                    || other.pattern.is_some() && demand.pattern.is_some())
            {
                let message = format!(
                    "the same is demanded of {} at /fields/{earlier}; combine the two",
                    demand.path
                );
                problems.add(ProfileProblemKind::Duplicate, at, message);
            }
        }
    }

    fn media_problems(
        &self,
        demand: &MediaDemand,
        at: &str,
        available: &Available<'_>,
        problems: &mut Problems,
    ) {
        if demand.kinds.is_empty() {
            problems.add(
                ProfileProblemKind::Empty,
                at,
                "no kind of media is set; name at least one in kinds",
            );
        }
        problems.duplicates(&format!("{at}/kinds"), "kind", &demand.kinds, ToString::to_string);
        let conditions = demand.from_grade.is_some()
            || demand.aspect.is_some()
            || !demand.codes.is_empty()
            || !demand.roles.is_empty();
        if demand.of == MediaOf::Run && conditions {
            let message = "grades, codes and roles apply to observations only; demand it of observation, or remove them";
            problems.add(ProfileProblemKind::Contradiction, at, message);
        }
        if demand.aspect.is_some() && demand.from_grade.is_none() {
            let message =
                "an aspect without a grade has no effect; set from_grade, or remove the aspect";
            problems.add(ProfileProblemKind::Empty, format!("{at}/aspect"), message);
        }
        problems.duplicates(&format!("{at}/codes"), "code", &demand.codes, ToString::to_string);
        let allowed = self.allow.as_ref().map_or(0, |allow| allow.code_lists.len());
        let lists: Vec<&CodeList> =
            (0..allowed).flat_map(|index| self.lists(available, index)).collect();
        // The code may belong to a list that is not available.
        let all_available =
            allowed > 0 && (0..allowed).all(|index| self.lists(available, index).next().is_some());
        for (index, code) in demand.codes.iter().enumerate().filter(|_| all_available) {
            let mut known =
                lists.iter().flat_map(|list| &list.codes).map(|known| known.code.as_str());
            if !known.any(|known| known == &**code) {
                let known =
                    lists.iter().flat_map(|list| &list.codes).map(|known| known.code.as_str());
                let message =
                    format!("no code list that the profile allows has the code {:?}", &**code);
                let at = format!("{at}/codes/{index}");
                problems.near(
                    ProfileProblemKind::UnknownCode,
                    at,
                    message,
                    nearest(code, known).map(str::to_owned),
                );
            }
        }
        self.grade_problems(demand, at, available, problems);
    }

    fn grade_problems(
        &self,
        demand: &MediaDemand,
        at: &str,
        available: &Available<'_>,
        problems: &mut Problems,
    ) {
        let (Some(grade), Some(allow)) = (demand.from_grade, &self.allow) else { return };
        let mut schemes = available.grade_schemes.iter().filter(|scheme| {
            allow.grade_schemes.iter().any(|wanted| {
                scheme.id == wanted.scheme
                    && wanted.version.as_ref().is_none_or(|version| scheme.version == *version)
            })
        });
        let Some(first) = schemes.next() else { return };
        let off = |scheme: &GradeScheme| {
            let (best, worst) = (scheme.scale.best, scheme.scale.worst);
            grade < best.min(worst) || grade > best.max(worst)
        };
        if off(first) && schemes.all(|scheme| off(scheme)) {
            let (best, worst) = (first.scale.best, first.scale.worst);
            let message = format!(
                "grade {grade} is not on the scale of {}, {best} (best) to {worst} (worst)",
                first.id
            );
            problems.add(ProfileProblemKind::UnknownCode, format!("{at}/from_grade"), message);
        }
    }
}
