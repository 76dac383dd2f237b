//! `obvert profile`: checks or drafts a submission profile.

mod draft;

use obvert::check::{Settings, profile_problems};
use obvert::model::profile::Profile;

use crate::args::{OwnLists, Profile as Arguments, ProfileCheck};
use crate::formats::format_names;
use crate::lists::{self, File};
use crate::{Failure, Status, render};

/// Checks or drafts a profile.
pub(crate) fn run(arguments: &Arguments) -> Result<Status, Failure> {
    match arguments {
        Arguments::Check(arguments) => check(arguments),
        Arguments::Draft(arguments) => draft::run(arguments),
    }
}

fn settings(today: Option<&str>, own_lists: &OwnLists) -> Result<Settings, Failure> {
    let (code_lists, grade_schemes) = lists::own(own_lists)?;
    Ok(Settings::default()
        .with_today(super::check::today(today)?)
        .with_code_lists(code_lists)
        .with_grade_schemes(grade_schemes)
        .with_formats(format_names()))
}

/// Reports the mistakes of a profile.
fn check(arguments: &ProfileCheck) -> Result<Status, Failure> {
    let settings = settings(arguments.today.as_deref(), &arguments.own_lists)?;
    let file = File::open(&arguments.file, "profile")?;
    let name = &file.name;
    let profile = match Profile::read(&file.bytes) {
        Ok(profile) => profile,
        Err(error) if error.problems().is_empty() => return Err(file.unreadable(&error.into())),
        Err(error) => {
            render::out(|out| file.structure_problems(error.problems(), out))?;
            return Ok(Status::Findings);
        }
    };
    let problems = profile_problems(&profile, &settings);
    if !problems.is_empty() {
        render::out(|out| file.problems(&problems, out))?;
        return Ok(Status::Findings);
    }
    let digest = profile.digest()?;
    render::out(|out| {
        writeln!(
            out,
            "{name}: no mistakes; {} {}, {}",
            profile.id,
            profile.version,
            summary(&profile)
        )?;
        writeln!(out, "{digest}")
    })
}

/// The contents of a profile, in numbers.
pub(super) fn summary(profile: &Profile) -> String {
    let parts = [
        (profile.fields.len(), "requirement for fields", "requirements for fields"),
        (profile.media.len(), "for media", "for media"),
        (profile.rules.len(), "rule setting", "rule settings"),
        (profile.suppressions.len(), "suppression", "suppressions"),
    ];
    let counts: Vec<String> = parts
        .into_iter()
        .filter(|(count, ..)| *count > 0)
        .map(|(count, one, many)| format!("{count} {}", if count == 1 { one } else { many }))
        .collect();
    if counts.is_empty() { "no requirements".to_owned() } else { counts.join(", ") }
}
