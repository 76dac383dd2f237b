//! A drawing of a pipe to scale. The pipe with its structures is at the top; below it is a line for
//! each run, with a mark for each finding at its distance. Each mark links to the finding's text.
//! A list in words has the same content.

use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::io::{self, Write};

use super::escape::Text;
use super::groups::{Numbered, Page, Section, meaning};
use super::scale::{LEFT, RIGHT, Scale};
use crate::finding::Severity;
use crate::output::count;
use crate::report::{AffectedPipe, AffectedRun};

/// Marks closer to each other than this are stacked.
const ROOM: f64 = 22.0;
/// How many marks are stacked. Further ones become one mark with their number.
const LEVELS: usize = 6;
/// How many findings the name of a mark lists; the list in words has all.
const NAMED: usize = 20;
/// Height of a level.
const LEVEL: f64 = 22.0;

/// A mark on a run's line.
struct Mark<'r> {
    findings: Vec<Numbered<'r>>,
    x: f64,
    level: usize,
    beyond: bool,
}

/// Draws a pipe, if its length is known.
pub(super) fn write(
    pipe: &AffectedPipe,
    section: &Section<'_>,
    page: &Page<'_>,
    unit: &str,
    sink: &mut dyn Write,
) -> io::Result<()> {
    let placed: Vec<(usize, f64, Numbered<'_>)> = section
        .findings()
        .filter_map(|numbered| {
            let run = pipe
                .runs
                .iter()
                .position(|run| Some(&run.run) == numbered.finding.subject.run.as_ref())?;
            Some((run, numbered.finding.subject.distance.filter(|at| at.is_finite())?, numbered))
        })
        .collect();
    let Some(scale) = Scale::new(pipe, placed.iter().map(|(run, at, _)| (*run, *at))) else {
        return Ok(());
    };
    let anchor = section.anchor();
    let mut lanes = String::new();
    let mut y = 84.0;
    for (index, run) in pipe.runs.iter().enumerate() {
        let marks = marks(&scale, run, placed.iter().filter(|(of, ..)| *of == index));
        y = lane(&mut lanes, &scale, run, &marks, page, unit, y);
    }
    let height = y + 6.0;
    writeln!(
        sink,
        "<figure>\n<div class=\"wide\" tabindex=\"0\" role=\"group\" aria-label=\"Drawing of pipe {}\">\n\
         <svg class=\"pipe\" viewBox=\"0 0 920 {height}\" role=\"group\" aria-labelledby=\"{anchor}-title {anchor}-desc\">\n\
         <title id=\"{anchor}-title\">Pipe {}, drawn to scale</title>\n<desc id=\"{anchor}-desc\">{}</desc>",
        Text(&pipe.pipe),
        Text(&pipe.pipe),
        Text(&description(pipe, &scale, unit, placed.len())),
    )?;
    sink.write_all(body(pipe, &scale, unit).as_bytes())?;
    sink.write_all(lanes.as_bytes())?;
    writeln!(
        sink,
        "</svg>\n</div>\n<figcaption>{}</figcaption>\n</figure>",
        Text(&caption(pipe, &scale, unit))
    )?;
    words(pipe, section, &placed, unit, sink)
}

fn caption(pipe: &AffectedPipe, scale: &Scale, unit: &str) -> String {
    let length = number(scale.length);
    let note = if scale.stated { "" } else { " surveyed; the pipe's length is not recorded" };
    let ends = match (&pipe.upstream, &pipe.downstream) {
        (Some(upper), Some(lower)) => format!(", from {upper} (upstream) to {lower} (downstream)"),
        (Some(upper), None) => format!(", from {upper} (upstream)"),
        _ => String::new(),
    };
    format!("{length} {unit}{note}{ends}. The numbers are those of the findings below.")
}

fn description(pipe: &AffectedPipe, scale: &Scale, unit: &str, marked: usize) -> String {
    format!(
        "Upstream is on the left. {} {}. {} in it; {} marked at their distances.",
        number(scale.length),
        unit,
        count(pipe.runs.len(), "run"),
        count(marked, "finding")
    )
}

/// The pipe itself, its structures and the axis.
fn body(pipe: &AffectedPipe, scale: &Scale, unit: &str) -> String {
    let (from, to) = (scale.x(0.0), scale.x(scale.length));
    let mut out = String::new();
    let upper = pipe
        .upstream
        .as_deref()
        .map_or_else(|| "upstream".to_owned(), |id| format!("upstream: {}", short(id)));
    let lower = pipe
        .downstream
        .as_deref()
        .map_or_else(|| "downstream".to_owned(), |id| format!("downstream: {}", short(id)));
    let _ = write!(
        out,
        "<g aria-hidden=\"true\">\n<text class=\"end\" x=\"{LEFT}\" y=\"16\">{}</text>\n\
         <text class=\"end\" x=\"{RIGHT}\" y=\"16\" text-anchor=\"end\">{}</text>\n\
         <rect class=\"bore\" x=\"{from:.1}\" y=\"30\" width=\"{:.1}\" height=\"14\"/>\n\
         <path class=\"wall\" d=\"M{from:.1} 30H{to:.1}M{from:.1} 44H{to:.1}\"/>\n\
         <path class=\"shaft\" d=\"M{from:.1} 22V48M{to:.1} 22V48\"/>\n\
         <path class=\"flow\" d=\"M{a:.1} 37h36m-7 -4l7 4l-7 4\"/>\n\
         <text class=\"axis\" x=\"{b:.1}\" y=\"26\" text-anchor=\"middle\">flow</text>\n",
        Text(&upper),
        Text(&lower),
        to - from,
        a = f64::midpoint(from, to) - 18.0,
        b = f64::midpoint(from, to),
    );
    for tick in scale.ticks() {
        let x = scale.x(tick);
        let label = if tick == 0.0 { format!("0 {unit}") } else { number(tick) };
        let _ = writeln!(
            out,
            "<path class=\"tick\" d=\"M{x:.1} 46v6\"/><text class=\"axis\" x=\"{x:.1}\" y=\"64\" text-anchor=\"middle\">{}</text>",
            Text(&label)
        );
    }
    out.push_str("</g>\n");
    out
}

/// Places marks along a line, each at its distance; marks that are too close are stacked.
fn marks<'r, 'p>(
    scale: &Scale,
    run: &AffectedRun,
    placed: impl Iterator<Item = &'p (usize, f64, Numbered<'r>)>,
) -> Vec<Mark<'r>>
where
    'r: 'p,
{
    let mut at: Vec<(f64, bool, Numbered<'r>)> = placed
        .map(|(_, at, numbered)| {
            let along = scale.along(run, *at);
            (scale.x(along), scale.beyond(along), *numbered)
        })
        .collect();
    at.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.2.number.cmp(&b.2.number)));
    let mut last = [f64::NEG_INFINITY; LEVELS];
    let mut marks: Vec<Mark<'r>> = Vec::new();
    for (x, beyond, numbered) in at {
        if let Some(level) = last.iter().position(|last| x - last >= ROOM) {
            last[level] = x;
            marks.push(Mark { findings: vec![numbered], x, level, beyond });
            continue;
        }
        match marks.iter_mut().rev().find(|mark| mark.level == LEVELS && x - mark.x < 2.0 * ROOM) {
            Some(mark) => mark.findings.push(numbered),
            None => marks.push(Mark { findings: vec![numbered], x, level: LEVELS, beyond }),
        }
    }
    marks
}

/// Draws a run's line with its marks, and returns where the next one begins.
fn lane(
    out: &mut String,
    scale: &Scale,
    run: &AffectedRun,
    marks: &[Mark<'_>],
    page: &Page<'_>,
    unit: &str,
    top: f64,
) -> f64 {
    let levels = marks.iter().map(|mark| mark.level + 1).max().unwrap_or(0);
    #[allow(clippy::cast_precision_loss)]
    let line = top + 12.0 + 10.0 + levels as f64 * LEVEL;
    let start = scale.x(scale.along(run, run.reads.unwrap_or(0.0)));
    let label = lane_label(run, unit);
    let _ = writeln!(
        out,
        "<g aria-hidden=\"true\">\n<text class=\"run\" x=\"{LEFT}\" y=\"{:.1}\">{}</text>",
        top + 8.0,
        Text(&label)
    );
    match run.surveyed.filter(|surveyed| surveyed.is_finite()) {
        Some(surveyed) => {
            let end = scale.x(scale.along(run, surveyed));
            let back = if end < start { 8.0 } else { -8.0 };
            let _ = write!(
                out,
                "<path class=\"line\" d=\"M{start:.1} {line:.1}H{end:.1}m{back} -5l{} 5l{back} 5\"/>",
                -back
            );
        }
        None => {
            let end = marks
                .iter()
                .map(|mark| mark.x)
                .fold(start, |end, x| if run.upstream { end.min(x) } else { end.max(x) });
            let _ = write!(out, "<path class=\"line open\" d=\"M{start:.1} {line:.1}H{end:.1}\"/>");
        }
    }
    let _ = writeln!(out, "<circle class=\"zero\" cx=\"{start:.1}\" cy=\"{line:.1}\" r=\"4\"/>");
    #[allow(clippy::cast_precision_loss)]
    let height = |mark: &Mark<'_>| line - 16.0 - mark.level as f64 * LEVEL;
    for mark in marks {
        let _ = write!(
            out,
            "<path class=\"lead\" d=\"M{0:.1} {1:.1}V{line:.1}\"/>",
            mark.x,
            height(mark)
        );
    }
    out.push_str("\n</g>\n");
    for mark in marks {
        draw_mark(out, mark, height(mark), page, unit);
    }
    line + 22.0
}

fn draw_mark(out: &mut String, mark: &Mark<'_>, y: f64, page: &Page<'_>, unit: &str) {
    let Some(first) = mark.findings.first() else { return };
    let mut names: Vec<String> = mark
        .findings
        .iter()
        .take(NAMED)
        .map(|numbered| {
            let at = numbered
                .finding
                .subject
                .distance
                .map(|at| format!(", at {at} {unit}"))
                .unwrap_or_default();
            format!(
                "finding {}, {}{at}",
                numbered.number,
                meaning(numbered.finding.severity).to_lowercase()
            )
        })
        .collect();
    if mark.findings.len() > NAMED {
        names.push(format!("and {} more", mark.findings.len() - NAMED));
    }
    let beyond = if mark.beyond { ", beyond the drawing" } else { "" };
    let worst = mark
        .findings
        .iter()
        .map(|numbered| numbered.finding.severity)
        .max()
        .unwrap_or(Severity::Note);
    let (class, text) = match mark.findings.as_slice() {
        [one] => (format!("is-{worst} {}", page.class(&one.finding.rule)), one.number.to_string()),
        several => (String::new(), format!("+{}", several.len())),
    };
    // The name contains the visible text, for people who use speech input (WCAG 2.2, 2.5.3).
    let visible = if mark.findings.len() > 1 { format!("{text}: ") } else { String::new() };
    let name = format!("{visible}{}{beyond}", names.join("; "));
    let size = match text.len() {
        0..=2 => 10.0,
        3 => 8.5,
        _ => 7.0,
    };
    let _ = write!(
        out,
        "<a class=\"{class} m-{worst}\" href=\"#f-{}\" aria-label=\"{name}\"><title>{name}</title>\
         <g transform=\"translate({:.1} {y:.1})\">{}<text class=\"no\" y=\"{:.1}\" font-size=\"{size}\" text-anchor=\"middle\">{text}</text>",
        first.number,
        mark.x,
        shape(worst),
        size * 0.36,
        name = Text(&name),
    );
    if mark.beyond {
        // An arrow that points out of the drawing.
        let out_of = if mark.x < f64::midpoint(LEFT, RIGHT) {
            "M-12 -4l-5 4l5 4"
        } else {
            "M12 -4l5 4l-5 4"
        };
        let _ = write!(out, "<path class=\"beyond\" d=\"{out_of}\"/>");
    }
    out.push_str("</g></a>\n");
}

fn lane_label(run: &AffectedRun, unit: &str) -> String {
    let direction = if run.upstream { "against the flow" } else { "with the flow" };
    let from = run.from.as_deref().map(|from| format!(" from {}", short(from))).unwrap_or_default();
    let zero = run.reads.unwrap_or(0.0);
    let extent = match run.surveyed {
        Some(surveyed) => format!("{} to {} {unit}", number(zero), number(surveyed)),
        None => "last reading not recorded".to_owned(),
    };
    format!("run {}, {direction}{from}, {extent}", short(&run.run))
}

/// The content of the drawing as a list.
fn words(
    pipe: &AffectedPipe,
    section: &Section<'_>,
    placed: &[(usize, f64, Numbered<'_>)],
    unit: &str,
    sink: &mut dyn Write,
) -> io::Result<()> {
    writeln!(sink, "<details class=\"words\"><summary>The drawing in words</summary>\n<ul>")?;
    let link = |number: usize| format!("<a href=\"#f-{number}\">finding {number}</a>");
    for (index, run) in pipe.runs.iter().enumerate() {
        let mut here: Vec<_> = placed.iter().filter(|(of, ..)| *of == index).collect();
        here.sort_by(|a, b| a.1.total_cmp(&b.1).then(a.2.number.cmp(&b.2.number)));
        let list: Vec<String> = here
            .iter()
            .map(|(_, at, numbered)| format!("at {at} {}: {}", Text(unit), link(numbered.number)))
            .collect();
        let list = if list.is_empty() { "nothing marked".to_owned() } else { list.join(", ") };
        writeln!(sink, "<li><bdi>{}</bdi>: {list}.</li>", Text(&lane_label(run, unit)))?;
    }
    let on_lines: BTreeSet<usize> = placed.iter().map(|(.., numbered)| numbered.number).collect();
    let rest: Vec<String> = section
        .findings()
        .map(|numbered| numbered.number)
        .filter(|number| !on_lines.contains(number))
        .map(link)
        .collect();
    if !rest.is_empty() {
        writeln!(sink, "<li>Without a distance: {}.</li>", rest.join(", "))?;
    }
    writeln!(sink, "</ul>\n</details>")
}

/// The outline of the mark of a severity.
pub(super) const fn shape(severity: Severity) -> &'static str {
    match severity {
        Severity::Error => "<path class=\"shape\" d=\"M-4 -9.5H4L9.5 -4V4L4 9.5H-4L-9.5 4V-4Z\"/>",
        Severity::Warning => "<path class=\"shape\" d=\"M0 -11L11 0L0 11L-11 0Z\"/>",
        Severity::Note => "<circle class=\"shape\" r=\"9\"/>",
    }
}

/// A number without rounding errors, for people.
fn number(value: f64) -> String {
    let rounded = (value * 1000.0).round() / 1000.0;
    (rounded + 0.0).to_string()
}

/// A name, shortened.
fn short(name: &str) -> String {
    const MOST: usize = 28;
    if name.chars().count() <= MOST {
        return name.to_owned();
    }
    name.chars().take(MOST - 1).chain(std::iter::once('…')).collect()
}
