//! Code lists, grade schemes, profiles and layouts of the user's own. A survey is judged by them,
//! so they are judged first, and what is wrong is shown as a survey's mistakes are: file, line and
//! column, the line itself, the pointer, what to do.

use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use obvert::check::{Location, Settings, Severity, profile_problems};
use obvert::model::layout::{Layout, LayoutProblem};
use obvert::model::lists::{CodeList, GradeScheme, ListProblem, ListProblemKind};
use obvert::model::profile::{Profile, ProfileProblem};
use obvert::model::read::{Problem, ReadError, locate};

use crate::Failure;
use crate::input::{self, ByLayout};
use crate::render::findings::{SourceLines, Texts};
use crate::render::{severity, strong};

/// How many problems of one file are shown.
const SHOWN: usize = 20;

/// Reads code lists.
///
/// What is wrong with one is printed, and then an error.
pub(crate) fn code_lists(paths: &[PathBuf]) -> Result<Vec<CodeList>, Failure> {
    let mut read = Vec::new();
    for path in paths {
        let file = File::open(path, "code list")?;
        let list = file.structure(CodeList::read(&file.bytes))?;
        read.push((file, list));
    }
    // Links may lead from one list to another.
    let all: Vec<&CodeList> = read.iter().map(|(_, list)| list).collect();
    for (file, list) in &read {
        file.sense(&list.problems_with(&all))?;
    }
    Ok(read.into_iter().map(|(_, list)| list).collect())
}

/// Reads grade schemes, and holds each against the code list that it grades, where that is at hand.
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
            file.sense(&scheme.problems(list))?;
        }
        schemes.push(scheme);
    }
    Ok(schemes)
}

/// Reads the profile that surveys are to be held against. What it merely leaves undone is said and
/// no reason to refuse it.
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

/// Reads the layout of an office's own table, with the code lists that it may be coded in.
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

/// A file that surveys are judged or read by.
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
        // Whoever changes the order of the arguments is not to mend a file that is right.
        let first = bytes
            .split(|byte| *byte == b'\n')
            .find(|line| !line.trim_ascii().is_empty())
            .unwrap_or_default();
        let cut = [b',', b';', b'\t']
            .iter()
            .any(|mark| first.iter().filter(|byte| *byte == mark).count() >= 2);
        let letter = first
            .first()
            .is_some_and(|byte| byte.is_ascii_alphanumeric() || *byte == b'"' || *byte >= 0xC0);
        if what == "layout" && (letter && cut || first.trim_ascii_start().starts_with(b"<")) {
            let why = "looks like a table or XML, and a layout is JSON; are the two in the order that --help shows?";
            return Err(format!("{name}: {why}").into());
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

    /// The failure of a file that is not JSON.
    pub(crate) fn unreadable(&self, error: &ReadError) -> Failure {
        let (line, column) = error.line_and_column();
        format!("{}:{line}:{column}: {}", self.name, error.message()).into()
    }

    /// Shows problems of structure.
    pub(crate) fn structure_problems(
        &self,
        problems: &[Problem],
        out: &mut dyn Write,
    ) -> io::Result<()> {
        let shown = problems.iter().map(|problem| {
            let placeless = Problem { line: 0, ..problem.clone() };
            ((problem.line, problem.column), Severity::Error, placeless.to_string())
        });
        self.show(shown, out)
    }

    /// Shows what does not make sense in a profile.
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

    /// Shows what does not make sense in a layout.
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

    /// Shows what does not make sense. What a scheme merely leaves without a grade is no reason to
    /// refuse it.
    fn sense(&self, problems: &[ListProblem]) -> Result<(), Failure> {
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
        let plural = if errors == 1 { "" } else { "s" };
        format!(
            "{}: {errors} mistake{plural} in this {}; correct it before surveys are held against it",
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
