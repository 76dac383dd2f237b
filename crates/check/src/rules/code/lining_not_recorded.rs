//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::lined::Lining;
use crate::views::RunView;

rule! {
    /// # What it checks
    /// A defect of a lining, or a connection reopened in one, is recorded where the pipe is not
    /// lined: its record has no `lining`, and no row of the run begins one before.
    ///
    /// # Exceptions
    /// - A lining begins or ends within 1 m of the row.
    /// - The run is *disordered*.
    /// - The run records a patch (`repair.patch`), which is a short piece of lining.
    ///
    /// # Exactly
    /// By the code, or the code of `obvert-terms` that it links to: `connection.reopened`, and
    /// codes of the group `lining` except `lining.start`, `lining.finish` and `lining.debris`, which
    /// the flow moves. The last `lining.start` or `lining.finish` before the row decides; before the
    /// first one, the pipe is lined if that is `lining.finish`; without any, `lining` of the pipe.
    ///
    /// # Why it matters
    /// An unlined pipe has another wall: its defects are graded and repaired in another way.
    ///
    /// # Fails
    /// At `/runs/0/observations/2/code`:
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/2", "value":
    ///   {"id": "2a", "at": 8, "code": "lining.blistered", "grades": {"structural": 2}}}]
    /// ```
    ///
    /// # Passes
    /// The pipe is lined.
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/2", "value":
    ///   {"id": "2a", "at": 8, "code": "lining.blistered", "grades": {"structural": 2}}},
    ///  {"op": "add", "path": "/pipes/0/lining", "value": "cured in place, 2016"}]
    /// ```
    /// A lining begins before.
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/2", "value": {"id": "2a", "at": 3, "code": "lining.start"}},
    ///  {"op": "add", "path": "/runs/0/observations/3", "value":
    ///   {"id": "2b", "at": 8, "code": "lining.blistered", "grades": {"structural": 2}}}]
    /// ```
    ///
    /// # Fix
    /// Record the lining: in `lining` of the pipe, or where it begins and ends. If the pipe is not
    /// lined, correct the code.
    name: "lining-not-recorded", severity: Warning, scope: Run, since: "0.1", clause: "observations#codes",
    needs: [Codes],
    concludes_from: ["pipe.lining"],
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    if run.disordered() {
        return;
    }
    let mut lining = None;
    for row in run.rows() {
        let Some(term) = row.term().filter(|term| is_of_lining(term.code)) else { continue };
        let (lining, patched) = lining.get_or_insert_with(|| (Lining::of(run), patched(run)));
        if *patched || run.pipe.is_none() || lining.may_cover(&row) {
            continue;
        }
        let of = if term.code == "connection.reopened" { "is an opening cut in" } else { "is of" };
        let message = format!("{} {of} a lining, but the pipe is not lined here", row.row.code);
        out.report(row.subject("/code"), message);
    }
}

fn patched(run: &RunView<'_>) -> bool {
    run.rows().any(|row| row.term().is_some_and(|term| term.code == "repair.patch"))
}

fn is_of_lining(code: &str) -> bool {
    match code {
        "connection.reopened" => true,
        "lining.start" | "lining.finish" | "lining.debris" => false,
        code => code.starts_with("lining."),
    }
}
