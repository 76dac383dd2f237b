//! See the rule's documentation below.

use obvert_model::number::Length;
use obvert_model::tables::Pipe;
use rustc_hash::FxHashMap;

use crate::sink::Sink;
use crate::support::elevations::{self, TOLERANCE};
use crate::support::run_extent::exceeds;
use crate::views::{PipeView, Survey, tolerance};

rule! {
    /// # What it checks
    /// Two pipes have the same ends, and nothing in the record distinguishes them.
    ///
    /// # Exactly
    /// The ends are the same two structures in either order, or the same upstream structure and the
    /// same main. Pipes are distinguished, where both state it, by a different `asset`, `carries`,
    /// `height`, `width`, `shape`, `material`, `lining`, `laid`, `path` or `joins.clock`, or by a
    /// `length` or `joins.at` that differs by more than the tolerance of the first pipe's, or by an
    /// invert that differs by more than 0.05 m. Each pipe is compared with the first one of its
    /// ends.
    ///
    /// # Why it matters
    /// One pipe under two ids gets two condition grades, and is repaired twice or not at all.
    ///
    /// # Source
    /// Tolerance (0.5 %, at least 1 ft): City of Sunny Isles Beach FL, Section 02762.
    ///
    /// # Fails
    /// At `/pipes/2`:
    /// ```json
    /// [{"op": "add", "path": "/pipes/-", "value": {"id": "T-1", "upstream": "LM-014", "downstream": "LM-015", "height": 8, "length": 199.4}}]
    /// ```
    /// With the ends exchanged, at `/pipes/2`:
    /// ```json
    /// [{"op": "add", "path": "/pipes/-", "value": {"id": "T-1", "upstream": "LM-015", "downstream": "LM-014", "height": 8}}]
    /// ```
    ///
    /// # Passes
    /// A parallel pipe of another size.
    /// ```json
    /// [{"op": "add", "path": "/pipes/-", "value": {"id": "L-103", "upstream": "LM-014", "downstream": "LM-015", "height": 12, "length": 200}}]
    /// ```
    /// Parallel pipes with asset numbers.
    /// ```json
    /// [{"op": "add", "path": "/pipes/0/asset", "value": "4711-A"},
    ///  {"op": "add", "path": "/pipes/-", "value": {"id": "L-103", "upstream": "LM-014", "downstream": "LM-015", "asset": "4711-B", "height": 8, "length": 200}}]
    /// ```
    ///
    /// Two barrels side by side.
    /// ```json
    /// [{"op": "add", "path": "/pipes/-", "value": {"id": "L-103", "upstream": "LM-014", "downstream": "LM-015", "height": 8, "length": 200, "path": [[19623800, 322106], [19624000, 322106]]}}]
    /// ```
    ///
    /// # Fix
    /// Merge the two and let all runs name one pipe. If there really are two, give each its asset
    /// number.
    name: "pipe-duplicate", severity: Warning, scope: Document, since: "0.1", clause: "pipes#identity",
    concludes_from: ["pipes", "pipes.*"],
    facts: { "other" = Id "the first pipe" },
}

fn check(survey: &Survey<'_>, out: &mut Sink<'_>) {
    // Each pipe is compared with the first one of its ends only. A later one may equal another, but
    // of several parallel pipes one finding is enough.
    let mut between: FxHashMap<(&str, &str, bool), PipeView<'_>> = FxHashMap::default();
    for view in survey.pipes() {
        let pipe = view.pipe;
        let upper = pipe.upstream.as_str();
        let key = match (&pipe.downstream, &pipe.joins) {
            (Some(lower), _) => (upper.min(lower.as_str()), upper.max(lower.as_str()), false),
            (None, Some(joins)) => (upper, joins.pipe.as_str(), true),
            (None, None) => continue,
        };
        let Some(first) = between.get(&key) else {
            between.insert(key, view);
            continue;
        };
        if alike(survey, first.pipe, pipe) {
            let id = first.pipe.id.as_str();
            let message =
                format!("this pipe cannot be told apart from {id:?}, which has the same ends");
            out.report(view.subject(""), message).fact("other", id);
        }
    }
}

/// Whether two pipes agree in everything that both state.
fn alike(survey: &Survey<'_>, a: &Pipe, b: &Pipe) -> bool {
    fn same<T: PartialEq>(a: Option<&T>, b: Option<&T>) -> bool {
        a.is_none() || b.is_none() || a == b
    }
    let near = |a: Option<_>, b: Option<_>| match (a, b) {
        (Some(a), Some(b)) => {
            let (a, b) = (survey.metres(a), survey.metres(b));
            !exceeds((a - b).abs(), tolerance(a))
        }
        _ => true,
    };
    let level = |a: Option<Length>, b: Option<Length>| match (a, b) {
        (Some(a), Some(b)) => {
            !elevations::exceeds((survey.metres(a) - survey.metres(b)).abs(), TOLERANCE)
        }
        _ => true,
    };
    let upper = |a: &Pipe| a.inverts.as_ref().and_then(|inverts| inverts.upstream);
    let lower = |a: &Pipe| a.inverts.as_ref().and_then(|inverts| inverts.downstream);
    let joins = |a: &Pipe| a.joins.as_ref().and_then(|joins| joins.at);
    let clock = |a: &Pipe| a.joins.as_ref().and_then(|joins| joins.clock);
    same(a.asset.as_ref(), b.asset.as_ref())
        && same(a.height.as_ref(), b.height.as_ref())
        && same(a.width.as_ref(), b.width.as_ref())
        && same(a.shape.as_ref(), b.shape.as_ref())
        && same(a.material.as_ref(), b.material.as_ref())
        && same(a.lining.as_ref(), b.lining.as_ref())
        && same(a.laid.as_ref(), b.laid.as_ref())
        && same(clock(a).as_ref(), clock(b).as_ref())
        && same(a.carries.as_ref(), b.carries.as_ref())
        && (a.path.is_empty() || b.path.is_empty() || a.path == b.path)
        && level(upper(a), upper(b))
        && level(lower(a), lower(b))
        && near(a.length, b.length)
        && near(joins(a), joins(b))
}
