//! The user's own code lists, grade schemes, profiles and layouts. They are validated before they
//! are used, and their mistakes are reported like those of a survey: file, line and column, the
//! line itself, the pointer, what to do.

use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use obvert::check::{Location, Settings, Severity, profile_problems};
use obvert::model::layout::{Layout, LayoutProblem};
use obvert::model::lists::{CodeList, GradeScheme, ListProblem, ListProblemKind};
use obvert::model::profile::{Profile, ProfileProblem};
use obvert::model::read::{Problem, ReadError, locate};

use crate::args::OwnLists;
use crate::input::{self, ByLayout};
use crate::kinds::kind_of;
use crate::render::excerpt::{SourceLines, Texts};
use crate::render::{severity, strong};
use crate::{Failure, advice};

/// How many problems of one file are shown.
const SHOWN: usize = 20;

/// Reads code lists. The mistakes of a list are printed before the error is returned.
pub(crate) fn code_lists(paths: &[PathBuf]) -> Result<Vec<CodeList>, Failure> {
    let mut read = Vec::new();
    for path in paths {
        let file = File::open(path, "code list")?;
        let list = file.structure(CodeList::read(&file.bytes))?;
        read.push((file, list));
    }
    // A list can link to codes of another one.
    let all: Vec<&CodeList> = read.iter().map(|(_, list)| list).collect();
    for (file, list) in &read {
        file.list_problems(&list.problems_with(&all))?;
    }
    Ok(read.into_iter().map(|(_, list)| list).collect())
}

/// Reads grade schemes. Each is validated against its code list, if that is available.
pub(crate) fn grade_schemes(
    paths: &[PathBuf],
    lists: &[CodeList],
) -> Result<Vec<GradeScheme>, Failure> {
    let mut schemes = Vec::new();
    for path in paths {
        let file = File::open(path, "grade scheme")?;
        let scheme = file.structure(GradeScheme::read(&file.bytes))?;
        let wanted = &scheme.code_list;
        let own =
            lists.iter().find(|list| list.id == wanted.list && list.version == wanted.version);
        if let Some(list) = own.or_else(|| CodeList::built_in(&wanted.list, &wanted.version)) {
            file.list_problems(&scheme.problems(list))?;
        }
        schemes.push(scheme);
    }
    Ok(schemes)
}

/// Reads the code lists and grade schemes of an office.
pub(crate) fn own(arguments: &OwnLists) -> Result<(Vec<CodeList>, Vec<GradeScheme>), Failure> {
    let lists = code_lists(&arguments.code_lists)?;
    let schemes = grade_schemes(&arguments.grade_schemes, &lists)?;
    Ok((lists, schemes))
}

/// Reads the profile that surveys are checked against. Its warnings are printed, but only errors
/// make it fail.
pub(crate) fn profile(path: &Path, settings: &Settings) -> Result<Profile, Failure> {
    let file = File::open(path, "profile")?;
    let profile = file.structure(Profile::read(&file.bytes))?;
    let problems = profile_problems(&profile, settings);
    file.problems(&problems, &mut anstream::stderr().lock())?;
    match problems.iter().filter(|problem| problem.kind.stops()).count() {
        0 => Ok(profile),
        errors => Err(file.refusal(errors)),
    }
}

/// Reads the layout of an office's own table, with the code lists that it may use.
pub(crate) fn layout(path: &Path, lists: Vec<CodeList>) -> Result<ByLayout, Failure> {
    let file = File::open(path, "layout")?;
    let layout = file.structure(Layout::read(&file.bytes))?;
    let problems = layout.problems();
    if problems.is_empty() {
        return Ok(ByLayout { layout, lists });
    }
    file.layout_problems(&problems, &mut anstream::stderr().lock())?;
    Err(file.refusal(problems.len()))
}

/// A file that describes how surveys are checked or read.
pub(crate) struct File {
    pub(crate) name: String,
    pub(crate) bytes: Vec<u8>,
    what: &'static str,
}

impl Texts for File {
    fn text_of(&self, _: &str) -> Option<&[u8]> {
        Some(&self.bytes)
    }
}

impl File {
    pub(crate) fn open(path: &Path, what: &'static str) -> Result<Self, Failure> {
        let name = path.display().to_string();
        crate::atomic_output::note_read(path);
        let bytes = fs::read(path).map_err(|error| input::unreadable(path, &error))?;
        // If the arguments are in the wrong order, the table is not a faulty layout.
        let first = bytes
            .split(|byte| *byte == b'\n')
            .find(|line| !line.trim_ascii().is_empty())
            .unwrap_or_default();
        let is_delimited = [b',', b';', b'\t']
            .iter()
            .any(|mark| first.iter().filter(|byte| *byte == mark).count() >= 2);
        let starts_with_text = first
            .first()
            .is_some_and(|byte| byte.is_ascii_alphanumeric() || *byte == b'"' || *byte >= 0xC0);
        if what == "layout"
            && (starts_with_text && is_delimited || first.trim_ascii_start().starts_with(b"<"))
        {
            let why =
                "looks like a table or XML, but a layout is JSON; check the order of the arguments";
            return Err(format!("{name}: {why}").into());
        }
        if let Some(kind) = kind_of(&bytes).filter(|kind| kind.name != what) {
            let hint = match kind.option {
                Some(option) => format!("{option} takes it; name a {what} here"),
                None => format!("name a {what} here"),
            };
            return Err(format!("{name}: is a {}, not a {what}; {hint}", kind.name).into());
        }
        Ok(Self { name, bytes, what })
    }

    fn structure<T, E: Into<ReadError>>(&self, read: Result<T, E>) -> Result<T, Failure> {
        read.or_else(|error| {
            let error = error.into();
            if error.problems().is_empty() {
                return Err(self.unreadable(&error));
            }
            self.structure_problems(error.problems(), &mut anstream::stderr().lock())?;
            Err(self.refusal(error.problems().len()))
        })
    }

    /// The error for a file that is not JSON.
    pub(crate) fn unreadable(&self, error: &ReadError) -> Failure {
        let place = input::place(&self.name, error);
        advice::with_line(self, place.as_ref(), input::located(&self.name, error))
    }

    /// Prints structural problems.
    pub(crate) fn structure_problems(
        &self,
        problems: &[Problem],
        out: &mut dyn Write,
    ) -> io::Result<()> {
        let shown = problems.iter().map(|problem| {
            // The location is printed in front, so it is left out of the text.
            let text = Problem { line: 0, ..problem.clone() }.to_string();
            ((problem.line, problem.column), Severity::Error, text)
        });
        self.show(shown, out)
    }

    /// Prints the mistakes of a profile.
    pub(crate) fn problems(
        &self,
        problems: &[ProfileProblem],
        out: &mut dyn Write,
    ) -> io::Result<()> {
        let shown = problems.iter().map(|problem| {
            let place = locate(&self.bytes, &problem.pointer);
            let weight = if problem.kind.stops() { Severity::Error } else { Severity::Warning };
            ((place.line, place.column), weight, problem.to_string())
        });
        self.show(shown, out)
    }

    /// Prints the mistakes of a layout.
    pub(crate) fn layout_problems(
        &self,
        problems: &[LayoutProblem],
        out: &mut dyn Write,
    ) -> io::Result<()> {
        let shown = problems.iter().map(|problem| {
            let place = locate(&self.bytes, &problem.pointer);
            ((place.line, place.column), Severity::Error, problem.to_string())
        });
        self.show(shown, out)
    }

    /// Prints the mistakes of a list or a scheme. A scheme that leaves codes without a grade is
    /// still accepted.
    fn list_problems(&self, problems: &[ListProblem]) -> Result<(), Failure> {
        let weight = |problem: &ListProblem| match problem.kind {
            ListProblemKind::NotGraded => Severity::Warning,
            _ => Severity::Error,
        };
        let shown = problems.iter().map(|problem| {
            let place = locate(&self.bytes, &problem.pointer);
            ((place.line, place.column), weight(problem), problem.to_string())
        });
        self.show(shown, &mut anstream::stderr().lock())?;
        match problems.iter().filter(|problem| weight(problem) == Severity::Error).count() {
            0 => Ok(()),
            errors => Err(self.refusal(errors)),
        }
    }

    fn refusal(&self, errors: usize) -> Failure {
        let (plural, them) = if errors == 1 { ("", "it") } else { ("s", "them") };
        format!(
            "{}: {errors} mistake{plural} in this {}; correct {them} before you use it",
            self.name, self.what
        )
        .into()
    }

    fn show(
        &self,
        problems: impl ExactSizeIterator<Item = ((usize, usize), Severity, String)>,
        out: &mut dyn Write,
    ) -> io::Result<()> {
        let total = problems.len();
        let mut lines = SourceLines::new(self);
        for ((line, column), weight, message) in problems.take(SHOWN) {
            let name = &self.name;
            writeln!(
                out,
                "{} {name}:{line}:{column}: {}",
                severity(weight, &format!("{weight}:")),
                strong(&message)
            )?;
            let at = Location { file: name.clone(), line, column: Some(column), heading: None };
            lines.show(out, &at, weight)?;
        }
        if total > SHOWN {
            writeln!(out, "and {} more", total - SHOWN)?;
        }
        Ok(())
    }
}
