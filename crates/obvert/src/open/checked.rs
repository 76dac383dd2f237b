//! Checks an opened survey, with the location of every finding.

use std::collections::{HashMap, VecDeque};

use obvert_check::{Checker, Report};
use obvert_convert::{
    ConvertError, Format, Location, Locations, PlacedProblem, Problems, Provenance,
};
#[cfg(feature = "diagnose")]
use obvert_model::read::Diagnosis;

use super::{OpenError, Opened};

impl Opened<'_> {
    /// Checks the survey. Every finding has its location in the source. The problems of an
    /// invalid survey are findings too, and the rules check the rest of it.
    ///
    /// # Errors
    /// If it is not in its format.
    pub fn check(&mut self, checker: &Checker) -> Result<Report, OpenError> {
        let mut report = match self.source.json() {
            Some(_) => self.check_json(checker)?,
            None => self.check_runs(checker)?,
        };
        report.name_file(&self.name);
        report.name_format(self.format.name);
        Ok(report)
    }

    /// A JSON document is checked while it is read.
    fn check_json(&mut self, checker: &Checker) -> Result<Report, OpenError> {
        let checked = match self.source.json() {
            Some(Ok(text)) => checker.check(text).ok().map(|mut report| {
                report.locate_in(text, &self.name);
                report
            }),
            _ => None,
        };
        let Some(report) = checked else { return self.check_runs(checker) };
        #[cfg(feature = "diagnose")]
        let report = self.before_migration(report);
        Ok(report)
    }

    /// A report with the columns of the file, if the document was migrated.
    #[cfg(feature = "diagnose")]
    fn before_migration(&self, mut report: Report) -> Report {
        if let Some(Ok(migrated)) = self.source.migration() {
            for at in report.findings.iter_mut().filter_map(|finding| finding.at.as_mut()) {
                at.column = at.column.map(|column| migrated.column_before(at.line, column));
            }
        }
        report
    }

    /// Any other survey is checked while it is read, and its locations are kept.
    fn check_runs(&mut self, checker: &Checker) -> Result<Report, OpenError> {
        let checked = self.source.read(Locations::Kept).and_then(|mut reader| {
            let report = checker.check_reader(&mut *reader)?;
            Ok((report, reader.finish()))
        });
        match checked {
            Ok((mut report, provenance)) => {
                let places = provenance.locations.as_ref();
                report.locate_with(|path| places?.place(path).map(|at| self.location(at)));
                self.provenance = Provenance {
                    locations: provenance
                        .locations
                        .filter(|_| !provenance.losses.losses.is_empty()),
                    losses: provenance.losses,
                };
                Ok(report)
            }
            Err(error) => match self.source.explain(error) {
                ConvertError::Structure(problems) => Ok(self.report_problems(checker, problems)),
                error => Err(self.error(error)),
            },
        }
    }

    fn report_problems(&self, checker: &Checker, problems: Problems) -> Report {
        let (placed, rest) = problems.into_parts();
        let problems: Vec<_> = placed.iter().map(|placed| placed.problem.clone()).collect();
        // Several rows can have the same problem and no pointer that distinguishes them.
        let mut places: HashMap<(String, String), VecDeque<Location>> = HashMap::new();
        for PlacedProblem { place, problem } in placed {
            places.entry((problem.pointer, problem.message)).or_default().extend(place);
        }
        #[cfg(feature = "diagnose")]
        let (value, locations) = rest.map(|rest| (rest.value, rest.places)).unzip();
        #[cfg(not(feature = "diagnose"))]
        let locations = rest.map(|rest| rest.places);
        #[cfg(feature = "diagnose")]
        let mut report = match value {
            Some(value) => checker.check_value(Diagnosis { problems, value }),
            None => checker.report_structure(&problems),
        };
        #[cfg(not(feature = "diagnose"))]
        let mut report = checker.report_structure(&problems);
        if self.format.capabilities.tabular {
            help_for_cells(&mut report, self.format);
        }
        report.locate_missing(|finding| {
            let key = (finding.subject.path.clone(), finding.message.clone());
            let own = places.get_mut(&key).and_then(VecDeque::pop_front);
            let place = own.or_else(|| locations.as_ref()?.place(&finding.subject.path))?;
            Some(self.location(place))
        });
        report
    }
}

/// Help for tables, in terms of cells and columns instead of keys and texts.
fn help_for_cells(report: &mut Report, format: &Format) {
    let by_layout = format.name == "layout";
    for finding in &mut report.findings {
        let help = match finding.rule.as_ref() {
            "missing-key" if by_layout => "Fill in the cell.",
            "missing-key" => "Fill in the cell, or add the column.",
            "text-form" | "wrong-type" | "unknown-word" if by_layout => {
                "Correct the cell. If the table is right and all such cells are written like this, correct the layout."
            }
            "text-form" | "wrong-type" | "unknown-word" => "Correct the cell.",
            "number-range" => "Correct the number in the cell.",
            "orphan-row" => "Correct the row; until then it is not checked.",
            "unknown-key" | "duplicate-key" if by_layout => {
                "Correct the heading in the table, or the layout."
            }
            "unknown-key" | "duplicate-key" => "Correct the name, or remove the element or column.",
            "duplicate-id" if by_layout => "Correct the name in one of the rows.",
            "duplicate-id" => "Give one of the rows another id, and correct the references to it.",
            _ => continue,
        };
        // A suggestion is more helpful.
        if !finding.help.as_ref().is_some_and(|help| help.starts_with("Did you mean")) {
            finding.help = Some(help.to_owned());
        }
    }
}
