//! See the rule's documentation below.

use crate::sink::Sink;
use crate::views::{Ending, Subject};

rule! {
    /// # What it checks
    /// The document has grades or ratings but names no grade scheme. There is one finding for the
    /// document.
    ///
    /// # Why it matters
    /// Grade 1 is the best on one scale in public use and the worst on another.
    ///
    /// # Fails
    /// At the document itself:
    /// ```json
    /// [{"op": "remove", "path": "/grading"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "remove", "path": "/ratings"},
    ///  {"op": "remove", "path": "/runs/0/observations/2/grades"},
    ///  {"op": "remove", "path": "/runs/0/observations/4/grades"},
    ///  {"op": "remove", "path": "/runs/0/observations/5/grades"},
    ///  {"op": "remove", "path": "/runs/1/observations/1/grades"},
    ///  {"op": "remove", "path": "/grading"}]
    /// ```
    ///
    /// # Fix
    /// Name the scheme and its version under `grading`.
    name: "grade-without-scheme", severity: Error, scope: Ending, since: "0.1", clause: "document#coding-and-grading",
    concludes_from: ["grading"],
    facts: {
        "observations" = Count "observations that have a grade",
        "ratings" = Count "ratings that are stated",
    },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    if ending.survey.head.grading.is_some() {
        return;
    }
    let graded: usize = ending.runs.iter().map(|summary| summary.figures.graded).sum();
    let ratings = ending.survey.head.ratings.len();
    let what = match (graded, ratings) {
        (0, 0) => return,
        (graded, 0) => count(graded, "observation has a grade", "observations have grades"),
        (0, ratings) => count(ratings, "rating is stated", "ratings are stated"),
        (graded, ratings) => {
            let observations = count(graded, "observation has a grade", "observations have grades");
            format!(
                "{observations} and {}",
                count(ratings, "rating is stated", "ratings are stated")
            )
        }
    };
    out.report(Subject::at(""), format!("{what}, but no grade scheme is named"))
        .fact("observations", graded)
        .fact("ratings", ratings);
}

fn count(number: usize, one: &str, many: &str) -> String {
    format!("{number} {}", if number == 1 { one } else { many })
}
