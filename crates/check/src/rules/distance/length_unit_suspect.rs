//! See the rule's documentation below.

use obvert_model::edit::Edit;
use obvert_model::tables::{LengthUnit, OutcomeKind};

use crate::sink::Sink;
use crate::support::map_lengths::{WrongUnit, depths_confirm};
use crate::support::run_extent::{far_position, pipe_with_length, unit_advice, unit_mixup};
use crate::views::{Ending, Subject};

rule! {
    /// # What it checks
    /// Lengths seem to be in the wrong unit: most runs differ by a factor of 3.28 from the lengths
    /// of their pipes, or most pipes from the map. That is one finding; comparisons with limits in
    /// metres are then skipped.
    ///
    /// # Exactly
    /// *Doubtful units* in Checking, by the runs, or by the lengths and the map while the positions
    /// are right.
    ///
    /// # Why it matters
    /// A foot is 0.3048 m: feet taken for metres put an excavation three times too far away.
    ///
    /// # Source
    /// The international foot: 0.3048 m. Number of runs: common practice, no published source.
    ///
    /// # Fails
    /// Pipe lengths in metres, at `/units/length`:
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/length", "value": 60.96},
    ///  {"op": "replace", "path": "/pipes/1/length", "value": 27.43},
    ///  {"op": "replace", "path": "/runs/1/outcome", "value": {"kind": "reached"}},
    ///  {"op": "replace", "path": "/runs/2/outcome", "value": {"kind": "reached"}}]
    /// ```
    /// All in feet, as the positions show, at `/units/length`:
    /// ```json
    /// [{"op": "replace", "path": "/units/length", "value": "m"},
    ///  {"op": "add", "path": "/pipes/-", "value": {"id": "L-103", "upstream": "LM-014", "downstream": "LM-016", "length": 269}}]
    /// ```
    ///
    /// # Passes
    /// Two runs prove nothing.
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/length", "value": 60.96},
    ///  {"op": "replace", "path": "/pipes/1/length", "value": 27.43},
    ///  {"op": "replace", "path": "/runs/2/outcome", "value": {"kind": "reached"}}]
    /// ```
    ///
    /// # Fix
    /// Convert the numbers at their source, or declare the right unit.
    name: "length-unit-suspect", severity: Error, scope: Ending, since: "0.1", clause: "document#units",
    concludes_from: ["runs"],
    facts: {
        "runs" = Count "runs that are off by the factor" if "the runs show it",
        "of" = Count "runs compared with their pipes" if "the runs show it",
        "lengths" = Count "stated lengths compared with the map" if "the map shows it",
        "agree" = Count "those of them that agree on `ratio`" if "the map shows it",
        "ratio" = Share "stated length ∕ length on the map: 0.3048 or 1 ∕ 0.3048"
            if "the map shows it",
    },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let declared = ending.survey.head.units.length;
    if let Some(mixup) = unit_mixup(ending) {
        let (runs, of) = (mixup.runs, mixup.of);
        let how = if mixup.long { "3.28 times as long as" } else { "0.305 times as long as" };
        let message = format!(
            "{runs} of {of} runs that reached the far structure are about {how} their pipes"
        );
        out.report(Subject::at("/units/length"), message)
            .fact("runs", runs)
            .fact("of", of)
            .help(unit_advice(declared, mixup.long));
        return;
    }
    let map_lengths = ending.survey.map_lengths();
    let (Some(WrongUnit::Lengths), Some(vote)) = (map_lengths.wrong_unit, map_lengths.vote) else {
        return;
    };
    let (times, meant) = if vote.ratio > 1.0 { ("3.28", "feet") } else { ("0.3048", "metres") };
    let (agree, of) = (vote.agree, vote.of);
    let declares = if declared == LengthUnit::Metre { "metres" } else { "feet" };
    // The two kinds of feet are nearly equal; the ratio then has another cause.
    let message = if declares == meant {
        format!(
            "{agree} of {of} stated lengths are {times} times the length on the map, and the positions are plausible"
        )
    } else {
        format!(
            "the document declares {declares}, but its lengths seem to be in {meant}: {agree} of {of} stated lengths are \
             {times} times the length on the map, and the positions are plausible"
        )
    };
    let finding = out.report(Subject::at("/units/length"), message);
    finding.fact("lengths", of).fact("agree", agree).fact("ratio", vote.ratio);
    // Elevations and distances may be in the declared unit although the lengths are not.
    if declares != meant && whole_document_agrees(ending, vote.ratio) {
        let unit = if meant == "feet" { LengthUnit::Foot } else { LengthUnit::Metre };
        let edits = vec![Edit::replace("/units/length", unit.as_str())];
        finding.fix_if_confirmed(
            format!("every distance, depth and elevation is in {meant} ({unit})"),
            edits,
        );
    }
}

/// Whether everything else that is measured in the unit of length is in the same unit as the
/// lengths of the pipes: the runs that reached the far structure are as long as their pipes, and
/// the depths of the manholes, if there are any, are ordinary in the other unit only.
fn whole_document_agrees(ending: &Ending<'_>, ratio: f64) -> bool {
    let reached =
        ending.runs.iter().filter(|summary| summary.outcome() == Some(OutcomeKind::Reached));
    let mut ratios = reached.filter_map(|summary| {
        let (_, length) = pipe_with_length(ending.survey, &summary.run)?;
        Some(far_position(ending.survey, &summary.run, summary.figures.marks)? / length)
    });
    let mut compared = 0;
    let agree = ratios.all(|ratio| {
        compared += 1;
        (0.85..=1.15).contains(&ratio)
    });
    let head = ending.survey.head;
    let vertical = head
        .structures
        .iter()
        .any(|row| row.depth.is_some() || row.ground.is_some() || row.invert.is_some())
        || head.pipes.iter().any(|pipe| pipe.inverts.is_some());
    agree && compared > 0 && (!vertical || depths_confirm(ending.survey, ratio))
}
