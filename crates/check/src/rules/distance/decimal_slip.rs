//! See the rule's documentation below.

use obvert_model::edit::Edit;
use obvert_model::number::Length;

use crate::sink::Sink;
use crate::support::row_order;
use crate::views::RunView;

rule! {
    /// # What it checks
    /// A row that breaks the order of distances by more than the tolerance, or lies past the end of the run, would stand
    /// between its neighbours if its decimal point were one place to the left or right. The other rules about the
    /// distance of such a row stand back. Where the rows are not in order of distance at all, this one does. A row that
    /// has slipped is not reported where the row above it is: of two that break the order either may fit when moved.
    ///
    /// # Why it matters
    /// A point missed while typing turns 12.3 into 123. The defect is then dug for a street away.
    ///
    /// # Source
    /// Tolerance: the greater of 0.5 % and 1 ft, City of Sunny Isles Beach FL, Section 02762, Televising Storm Sewer
    /// Systems.
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
    /// # Passes
    /// A row that no move of the point puts right is another rule's.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/3/at", "value": 0.9}]
    /// ```
    /// A row that falls back by no more than the tolerance.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/3/at", "value": 11.8}]
    /// ```
    ///
    /// # Fix
    /// Look the distance up in the video and correct it.
    name: "decimal-slip", severity: Error, scope: Run, since: "0.1", clause: "observations#order",
    facts: {
        "at" = Length "`at` of the row",
        "fits" = Length "that number with its decimal point one place away, as the fix writes it: to six decimals",
    },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    if run.disordered() {
        return;
    }
    let rows = &run.run.observations;
    // Most rows are in order: only what looks out of step is looked at closely.
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
        // Of a pair that breaks the order, either row may fit when moved; the first is reported.
        if slipped == index.checked_sub(1) && index > 0 {
            continue;
        }
        slipped = Some(index);
        let Some(row) = run.rows().nth(index) else { continue };
        let fits = Length::new(moved).map_or_else(String::new, |moved| run.survey.say(moved));
        let said = run.survey.say(at);
        let subject = row.subject("/at");
        let edits = vec![Edit::replace(subject.path.as_str(), moved)];
        out.report(subject, format!("{said} breaks the order of the rows, and {fits} would not"))
            .fact("at", at.get())
            .fact("fits", moved)
            .fix_if_confirmed(format!("the decimal point slipped: the distance is {fits}"), edits);
    }
}
