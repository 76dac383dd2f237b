//! See the rule's documentation below.

use obvert_model::edit::Edit;
use obvert_model::number::Length;

use crate::sink::Sink;
use crate::support::row_order;
use crate::views::{RowView, RunView};

rule! {
    /// # What it checks
    /// A row breaks the order of distances, or is past the end of the run, by more than the
    /// tolerance, and would fit between its neighbours with its decimal point moved one place.
    /// Other rules about its distance are then skipped.
    ///
    /// # Exceptions
    /// - With its decimal point moved, it would have more decimals than the counter shows.
    /// - Exchanging it with a neighbour would put the rows in order too, unless it has more decimals
    ///   than the counter shows.
    /// - The run is disordered (`distance-decreases`).
    /// - This rule reports the row above: of two rows that break the order, either may fit when
    ///   moved.
    ///
    /// # Exactly
    /// Each row that has *slipped* (Checking).
    ///
    /// # Why it matters
    /// A missed decimal point turns 12.3 into 123, and the excavation is made in the wrong street.
    ///
    /// # Source
    /// Tolerance (0.5 %, at least 1 ft): City of Sunny Isles Beach FL, Section 02762.
    ///
    /// # Fails
    /// At `/runs/0/observations/3/at`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/3/at", "value": 319}]
    /// ```
    /// The last row's neighbour is the end of the run, at `/runs/0/observations/6/at`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/6/at", "value": 20}]
    /// ```
    ///
    /// Its photo was taken at 12.4 ft. At `/runs/0/observations/2/at`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/2/at", "value": 124},
    ///  {"op": "remove", "path": "/runs/0/observations/2/to"},
    ///  {"op": "remove", "path": "/runs/0/observations/2/continuous"}]
    /// ```
    ///
    /// # Passes
    /// Moved, it would be finer than the counter shows.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/3/at", "value": 250.5}]
    /// ```
    /// Two rows changed places.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/4/at", "value": 130}]
    /// ```
    /// No move of the decimal point fits.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/3/at", "value": 0.9}]
    /// ```
    /// The row is lower by no more than the tolerance.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/3/at", "value": 11.8}]
    /// ```
    ///
    /// # Fix
    /// Look up the distance in the video and correct it.
    name: "decimal-slip", severity: Error, scope: Run, since: "0.1", clause: "observations#order",
    facts: {
        "at" = Length "`at` of the row",
        "fits" = Length "`at` with its decimal point moved one place, to six decimals as the fix writes it",
    },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    if run.disordered() {
        return;
    }
    let rows = &run.run.observations;
    // The full test is costly, and most rows are in order.
    let end = run.run.surveyed;
    let mut slipped = None;
    for index in 0..rows.len() {
        let at = rows[index].at;
        let after = rows.get(index + 1).map(|row| row.at).or(end);
        let falls = index > 0 && at < rows[index - 1].at;
        if !falls && after.is_none_or(|after| at <= after) {
            continue;
        }
        let Some(moved) = row_order::decimal_slip(run, index) else { continue };
        // Of a pair that breaks the order, either row may fit when moved: report the first.
        if slipped == index.checked_sub(1) && index > 0 {
            continue;
        }
        slipped = Some(index);
        let Some(row) = run.rows().nth(index) else { continue };
        let corrected =
            Length::new(moved).map(|moved| run.survey.format_length(moved)).unwrap_or_default();
        let at_text = run.survey.format_length(at);
        let subject = row.subject("/at");
        let edits = vec![Edit::replace(subject.path.as_str(), moved)];
        let message = format!(
            "{at_text} is out of order with the rows around it, but {corrected} would not be"
        );
        let finding = out.report(subject, message).fact("at", at.get()).fact("fits", moved);
        if confirmed_by_media(&row, moved) {
            let does = format!(
                "the decimal point slipped: the distance is {corrected}, as its picture states"
            );
            finding.fix_if_confirmed(does, edits);
        } else {
            finding.help(format!(
                "look up the distance in the video: {corrected} if the decimal point slipped"
            ));
        }
    }
}

/// Whether a picture of the row states the distance. Any mistyped number may fit with its decimal
/// point moved, so the order of the rows alone does not show what was meant.
fn confirmed_by_media(row: &RowView<'_>, moved: f64) -> bool {
    let mut stated = row.media().filter_map(|(_, media)| media?.at);
    stated.any(|at| (at.get() - moved).abs() <= 1e-6)
}
