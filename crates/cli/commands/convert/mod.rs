//! `obvert convert`: converts a survey to another format.

mod account;
mod output;
mod pipeline;
mod target;

use std::io::Write;
use std::path::Path;

use obvert::convert::recode::Recoder;
use obvert::convert::{
    ConvertError, Format, Loss, LossKind, LossReport, Provenance, SourceMap, WholeReader,
};
use obvert::model::lists::CodeList;
use obvert::model::tables::{Document, Head};
use obvert::model::text::DocumentId;

use self::output::Output;
use self::pipeline::{Pipeline, report_recoded};
use self::target::Target;
use crate::args::Convert;
use crate::input::{self, ByLayout, Input};
use crate::render::{count, losses, progress};
use crate::{Failure, Status, atomic_output, lists};

/// Converts a survey, run by run if both formats allow it.
pub(crate) fn run(arguments: &Convert) -> Result<Status, Failure> {
    let own = lists::code_lists(&arguments.code_lists)?;
    let by = |path: &Option<std::path::PathBuf>| {
        path.as_deref().map(|path| lists::layout(path, own.clone())).transpose()
    };
    let (layout, out_layout) = (by(&arguments.layout)?, by(&arguments.out_layout)?);
    let target = Target::new(arguments, layout.as_ref(), out_layout.as_ref())?;
    let stage = progress::stage(format!("reading {}", arguments.input.display()));
    let mut input = input::open(&arguments.input, arguments.from, layout.as_ref())?;
    check_options(arguments, &input, &target, (layout.as_ref(), out_layout.as_ref()))?;
    if let Some(path) = &arguments.account {
        account::may_write(arguments, path)?;
    }
    let mut output = Output::begin(arguments, &target)?;
    let lists: Vec<&CodeList> = own.iter().chain(CodeList::built_ins()).collect();
    let converted = match convert(arguments, &mut input, &target, &mut output, (&lists, &stage)) {
        Ok(converted) => converted,
        Err(Stop::Reading(error)) => return input.failed(error),
        Err(Stop::Other(error)) => return Err(error),
    };
    drop(stage);
    let reports = converted.reports(&input, &target);
    losses::report(&reports, None, converted.locations.as_ref(), Some(converted.observations))?;
    let refused = arguments.lossless && reports.iter().any(LossReport::loses);
    // The account is written even if the conversion is refused for its losses.
    let account = match &arguments.account {
        Some(_) => Some(account::of(arguments, &mut input, &target, &converted, &reports)?),
        None => None,
    };
    let kept = if refused {
        let out = arguments.output.display();
        Err(format!(
            "{out}: not written, because --lossless was given and values would be lost or changed"
        )
        .into())
    } else {
        output.keep()
    };
    if let (Some(path), Some(account)) = (&arguments.account, account)
        && (kept.is_ok() || refused)
    {
        let text = serde_json::to_string_pretty(&account)?;
        atomic_output::write_file(path, arguments.replace, |sink| Ok(writeln!(sink, "{text}")?))?;
    }
    kept?;
    if arguments.output != Path::new("-") {
        let (runs, observations) =
            (count(converted.runs, "run"), count(converted.observations, "observation"));
        let what = target.format.title;
        let out = arguments.output.display();
        log(&format!("{out}: written as {what}, from {runs} and {observations}"));
        if let Some(lost) = losses::summary(&reports) {
            let warning = crate::render::strong("warning:");
            log(&format!(
                "{warning} {out} does not hold the whole survey: {lost}; --account FILE lists every value, and --lossless refuses to write such a file"
            ));
        }
    }
    Ok(Status::Success)
}

/// Prints a line to standard error. The output is written whether or not that can be.
fn log(line: &str) {
    let _ = writeln!(anstream::stderr(), "{line}");
}

/// Refuses options that have no effect with this input and output.
fn check_options(
    arguments: &Convert,
    input: &Input<'_>,
    target: &Target<'_>,
    (layout, out_layout): (Option<&ByLayout>, Option<&ByLayout>),
) -> Result<(), Failure> {
    if layout.is_some() && !target.is_by_layout() && !input.is_by_layout() {
        return Err(
            "neither IN nor OUT is an office's own table, so --layout has no effect; give \
                    --to layout if OUT should be one"
                .into(),
        );
    }
    if layout.is_some() && out_layout.is_some() && !input.is_by_layout() {
        return Err(format!(
            "{}: is a survey in the format {}, but --layout is for an office's own table; omit \
             --layout, \
             or give --from layout",
            input.name(),
            input.format()
        )
        .into());
    }
    let coded = arguments.coding.is_some() || layout.is_some() || out_layout.is_some();
    match arguments.code_lists.first().filter(|_| !coded) {
        Some(path) => Err(format!(
            "--code-list {}: has no effect without --coding or a layout; give one, or omit it",
            path.display()
        )
        .into()),
        None => Ok(()),
    }
}

/// Why a conversion stops.
enum Stop {
    /// The survey cannot be read.
    Reading(ConvertError),
    /// Something else failed, which the error names.
    Other(Failure),
}

impl From<Failure> for Stop {
    fn from(error: Failure) -> Self {
        Self::Other(error)
    }
}

/// The result of a conversion.
struct Converted {
    id: DocumentId,
    /// The code list of the document before and after.
    from: String,
    to: String,
    /// The number of runs, and of observations.
    runs: usize,
    observations: usize,
    /// What reading lost.
    read: LossReport,
    /// The locations of the values in an office's own table.
    locations: Option<SourceMap>,
    /// What the translation of codes lost.
    recoded: Option<LossReport>,
    /// What writing lost.
    written: LossReport,
}

impl Converted {
    /// What was lost, step by step.
    fn reports(&self, input: &Input<'_>, target: &Target<'_>) -> [LossReport; 4] {
        let recoded = self.recoded.clone().unwrap_or_default();
        if self.recoded.is_some() {
            // An office's own table has no room for the remarks and extensions of a translation.
            let kept = !target.is_by_layout();
            report_recoded(self.observations, &recoded, (&self.from, &self.to), kept);
        }
        [migrated(input), self.read.clone(), recoded, self.written.clone()]
    }
}

/// Passes the survey from the reader to the writer, run by run.
fn convert(
    arguments: &Convert,
    input: &mut Input<'_>,
    target: &Target<'_>,
    output: &mut Output,
    (lists, stage): (&[&CodeList], &progress::Stage),
) -> Result<Converted, Stop> {
    let by_layout = input.is_by_layout();
    let mut reader = input.runs().map_err(Stop::Reading)?;
    let head = reader.share_head();
    let recoder = recoder(arguments, lists, &head)?;
    let mut pipeline = Pipeline::new(&mut *reader, recoder, stage, &arguments.output);
    let written = output.write(&mut pipeline, target);
    let to = obvert::model::read::RunReader::head(&pipeline).coding.list.to_string();
    let (runs, observations, recoded, failed) = pipeline.finish();
    let written = match (written, failed) {
        (Ok(written), _) => written,
        (Err(error), true) => return Err(Stop::Reading(error)),
        (Err(error), false) => {
            return Err(Stop::Other(atomic_output::named(&arguments.output, error.into())));
        }
    };
    let Provenance { locations, losses: read } = reader.finish();
    Ok(Converted {
        id: head.id.clone(),
        from: head.coding.list.to_string(),
        to,
        runs,
        observations,
        read,
        locations: locations.filter(|_| by_layout),
        recoded,
        written,
    })
}

/// The loss of migrating an older document: its content is the same, but its digest is not.
fn migrated(input: &Input<'_>) -> LossReport {
    let mut report = LossReport::default();
    if let Some(Ok(migrated)) = input.migration() {
        let message =
            "the document is written in this version of the format; obvert migrate shows the steps";
        let loss = Loss::new(LossKind::Changed, "/obvert", message);
        report.losses.push(loss.with_values(Some(migrated.from.into()), Some(migrated.to.into())));
    }
    report
}

/// The translation of the observations to the code list of --coding.
fn recoder<'l>(
    arguments: &Convert,
    known: &[&'l CodeList],
    head: &Head,
) -> Result<Option<Recoder<'l>>, Failure> {
    let Some(wanted) = &arguments.coding else { return Ok(None) };
    let coding = &head.coding;
    let from = known
        .iter()
        .find(|list| list.id == coding.list && list.version == coding.version)
        .ok_or_else(|| {
        format!(
            "the document is coded in {} {}, which is not available; give that list with \
             --code-list",
            coding.list, coding.version
        )
    })?;
    let to = known.iter().find(|list| *list.id == **wanted).ok_or_else(|| {
        let all: Vec<&str> = known.iter().map(|list| list.id.as_str()).collect();
        format!("--coding {wanted}: unknown code list; give one of {}", all.join(", "))
    })?;
    Ok(Some(Recoder::new(head, from, to)?))
}

/// Writes a document in a format, and reports the values that the format cannot hold.
pub(super) fn write_to(
    document: Document,
    format: &'static Format,
    path: &Path,
    replace: bool,
) -> Result<(), Failure> {
    let survey = obvert::convert::Survey { document, places: SourceMap::default() };
    let mut reader = WholeReader::new(survey, LossReport::default());
    let target = Target::of_format(format);
    let mut output = Output::at(path, &target, replace)?;
    let losses = output
        .write(&mut reader, &target)
        .map_err(|error| atomic_output::named(path, error.into()))?;
    output.keep()?;
    let name = path.display().to_string();
    losses::report(&[losses], Some(&name), None, None)
}

/// The document of an input; `None` if it is not valid, which has been reported.
pub(super) fn document(input: &mut Input<'_>) -> Result<Option<Document>, Failure> {
    let read = input.runs().and_then(|mut reader| {
        let mut runs = Vec::new();
        while let Some(run) = reader.next_run()? {
            runs.push(run);
        }
        let head = reader.share_head();
        let provenance = reader.finish();
        Ok((Document { head: std::sync::Arc::unwrap_or_clone(head), runs }, provenance))
    });
    match read {
        Ok((document, Provenance { locations, losses })) => {
            let locations = locations.filter(|_| input.is_by_layout());
            input::report_losses(input.name(), &losses, locations.as_ref())?;
            Ok(Some(document))
        }
        Err(error) => input.failed(error).map(|_| None),
    }
}
