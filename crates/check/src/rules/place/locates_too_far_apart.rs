//! See the rule's documentation below.

use obvert_model::number::Length;

use crate::sink::Sink;
use crate::views::{Ending, LocateView, tolerance};

rule! {
    /// # What it checks
    /// Two locates of a run are farther apart on the ground than the cable between them.
    ///
    /// # Exceptions
    /// - Lengths are in a doubtful unit (`length-unit-suspect`).
    ///
    /// # Exactly
    /// - The transmitter is at `at` − `transmitter_offset`.
    /// - The locates of one run with a position are taken in the order of that distance. Each is
    ///   compared with the one before it that was not found wrong.
    /// - Two are too far apart if the distance of their positions exceeds the sum of the cable
    ///   between them, both accuracies and the tolerance of that cable.
    /// - The later one is wrong, unless the locate after it is too far from the earlier one and not
    ///   from the later one.
    ///
    /// # Why it matters
    /// One of the two marks is not over the pipe: a dig there misses it, or hits something else.
    ///
    /// # Source
    /// Geometry: a chord is no longer than its arc. Accuracy where none is stated: common practice,
    /// no published source.
    ///
    /// # Fails
    /// At `/locates/1/position`:
    /// ```json
    /// [{"op": "replace", "path": "/locates/1/position", "value": [19623970, 322100]}]
    /// ```
    ///
    /// # Passes
    /// A bend between the two makes the chord shorter.
    /// ```json
    /// [{"op": "replace", "path": "/locates/1/position", "value": [19623920, 322160]}]
    /// ```
    ///
    /// # Fix
    /// Locate again before anybody digs, as local codes and licensed practice demand; correct the
    /// distance if it is wrong.
    name: "locates-too-far-apart", severity: Error, scope: Ending, since: "0.1", clause: "locates#position",
    needs: [Crs],
    limits: {
        "accuracy" = 0.5 "m"
            "accuracy of a locate that states none; common practice, no published source",
    },
    facts: {
        "apart" = Length "distance of the two locates on the ground",
        "cable" = Length "distance of the transmitter between them",
        "from" = Id "the other locate",
    },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    if ending.lengths_doubtful() {
        return;
    }
    let survey = ending.survey;
    for chord in wrong(ending, out.limit("accuracy")) {
        let view =
            LocateView { ending, locate: &survey.head.locates[chord.wrong], index: chord.wrong };
        let from = survey.head.locates[chord.from].id.as_str();
        let (apart, between) =
            (survey.format_metres(chord.chord), survey.format_metres(chord.cable));
        let message =
            format!("{apart} from {from} on the ground, but only {between} along the cable");
        out.report(view.subject("/position"), message)
            .fact("apart", survey.in_units(chord.chord))
            .fact("cable", survey.in_units(chord.cable))
            .fact("from", from);
    }
}

/// A locate that is too far from another one of its run: their rows, and their distance on the
/// ground and along the cable in metres.
pub(super) struct Chord {
    pub(super) wrong: usize,
    from: usize,
    chord: f64,
    cable: f64,
}

/// The locates that are farther from their neighbours than the cable between them. A locate that
/// states no accuracy has `accuracy`.
pub(super) fn wrong(ending: &Ending<'_>, accuracy: f64) -> Vec<Chord> {
    let mut found = Vec::new();
    let mut locates: Vec<LocateView<'_>> =
        ending.locates().filter(|view| view.locate.position.is_some()).collect();
    locates.sort_by(|a, b| {
        (&a.locate.run, along(a))
            .partial_cmp(&(&b.locate.run, along(b)))
            .unwrap_or(a.index.cmp(&b.index))
    });
    for run in locates.chunk_by(|a, b| a.locate.run == b.locate.run) {
        let mut kept: Option<&LocateView<'_>> = None;
        for (index, view) in run.iter().enumerate() {
            let Some((chord, cable)) = kept.and_then(|before| beyond(before, view, accuracy))
            else {
                kept = Some(view);
                continue;
            };
            let Some(before) = kept else { continue };
            // The one that also disagrees with the next is the wrong one.
            let earlier_is_wrong = run.get(index + 1).is_some_and(|next| {
                beyond(before, next, accuracy).is_some() && beyond(view, next, accuracy).is_none()
            });
            let (wrong, right) = if earlier_is_wrong { (before, view) } else { (view, before) };
            found.push(Chord { wrong: wrong.index, from: right.index, chord, cable });
            if earlier_is_wrong {
                kept = Some(view);
            }
        }
    }
    found
}

/// The distance along the run at which the transmitter was, in the document's length unit.
fn along(view: &LocateView<'_>) -> f64 {
    view.locate.at.get() - view.locate.transmitter_offset.map_or(0.0, Length::get)
}

/// The distance on the ground and the cable between two locates in metres, if the cable is too
/// short for the distance.
fn beyond(a: &LocateView<'_>, b: &LocateView<'_>, accuracy: f64) -> Option<(f64, f64)> {
    let survey = a.ending.survey;
    let crs = survey.crs.as_ref()?;
    let map_lengths = survey.map_lengths();
    let chord = map_lengths.distance(crs, a.locate.position?, b.locate.position?)?
        * map_lengths.position_factor(crs);
    let cable = (along(b) - along(a)).abs() * survey.head.units.length.metres();
    let off = |view: &LocateView<'_>| {
        view.locate.accuracy.map_or(accuracy, |accuracy| survey.metres(accuracy))
    };
    (chord > cable + off(a) + off(b) + tolerance(cable)).then_some((chord, cable))
}
