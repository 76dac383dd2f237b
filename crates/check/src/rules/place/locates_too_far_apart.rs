//! See the rule's documentation below.

use obvert_model::number::Length;

use crate::sink::Sink;
use crate::views::{Ending, LocateView, tolerance};

rule! {
    /// # What it checks
    /// Two locates of a run are no farther apart on the ground than the cable between them, since a chord is no longer than
    /// its arc. Allowed for are their stated accuracies and the counter's tolerance. The distances are those of the
    /// transmitter, where its offset behind the camera is stated.
    ///
    /// # Exactly
    /// The transmitter is at `at` less `transmitter_offset`. Locates of one run that have a position are taken in the
    /// order of that distance, and each is held against the one before it that was not found wrong. Two are too far apart
    /// where the distance of their positions exceeds the cable between them, the accuracies of both and the tolerance of
    /// that cable together. Of the two it is the later one that is wrong, unless the one after it is too far from the
    /// earlier and not from the later one.
    ///
    /// # Why it matters
    /// One of the two marks is not over the pipe. Whoever digs there digs beside it, or into something else.
    ///
    /// # Source
    /// Geometry. Accuracy where none is stated: common practice, no published source.
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
    /// Locate again before anybody digs, as local codes and licensed practice demand; correct the distance if that is wrong.
    name: "locates-too-far-apart", severity: Error, scope: Ending, since: "0.1", clause: "locates#position",
    needs: [Crs],
    limits: {
        "accuracy" = 0.5 "m" "how far a locate without a stated accuracy may be off; common practice, no published source",
    },
    facts: {
        "apart" = Length "how far the two locates are apart on the ground",
        "cable" = Length "how far the transmitter went between them",
        "from" = Id "the other locate",
    },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    if ending.lengths_doubtful() {
        return;
    }
    let survey = ending.survey;
    for chord in wrong(ending, out.limit("accuracy")) {
        let view = LocateView { ending, locate: &survey.head.locates[chord.wrong], index: chord.wrong };
        let from = survey.head.locates[chord.from].id.as_str();
        let (apart, between) = (survey.say_metres(chord.chord), survey.say_metres(chord.cable));
        let message = format!("{apart} from {from} on the ground, but only {between} of cable lie between them");
        out.report(view.subject("/position"), message)
            .fact("apart", survey.in_units(chord.chord))
            .fact("cable", survey.in_units(chord.cable))
            .fact("from", from);
    }
}

/// A locate that is too far from another one of its run: their rows, and in metres how far they are apart on the ground and
/// along the cable.
pub(super) struct Chord {
    pub(super) wrong: usize,
    from: usize,
    chord: f64,
    cable: f64,
}

/// The locates that are farther from their neighbours than the cable between them. `accuracy` is that of a locate that
/// states none.
pub(super) fn wrong(ending: &Ending<'_>, accuracy: f64) -> Vec<Chord> {
    let mut found = Vec::new();
    let mut locates: Vec<LocateView<'_>> = ending.locates().filter(|view| view.locate.position.is_some()).collect();
    locates.sort_by(|a, b| {
        (&a.locate.run, along(a)).partial_cmp(&(&b.locate.run, along(b))).unwrap_or(a.index.cmp(&b.index))
    });
    for run in locates.chunk_by(|a, b| a.locate.run == b.locate.run) {
        let mut kept: Option<&LocateView<'_>> = None;
        for (index, view) in run.iter().enumerate() {
            let Some((chord, cable)) = kept.and_then(|before| beyond(before, view, accuracy)) else {
                kept = Some(view);
                continue;
            };
            let Some(before) = kept else { continue };
            // The one that also disagrees with the next is the wrong one.
            let other = run
                .get(index + 1)
                .is_some_and(|next| beyond(before, next, accuracy).is_some() && beyond(view, next, accuracy).is_none());
            let (wrong, right) = if other { (before, view) } else { (view, before) };
            found.push(Chord { wrong: wrong.index, from: right.index, chord, cable });
            if other {
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

/// The distance on the ground and the cable between two locates in metres, where the one is longer than the other allows.
fn beyond(a: &LocateView<'_>, b: &LocateView<'_>, accuracy: f64) -> Option<(f64, f64)> {
    let survey = a.ending.survey;
    let crs = survey.crs.as_ref()?;
    let map_lengths = survey.map_lengths();
    let chord = map_lengths.distance(crs, a.locate.position?, b.locate.position?)? * map_lengths.position_factor(crs);
    let cable = (along(b) - along(a)).abs() * survey.head.units.length.metres();
    let off = |view: &LocateView<'_>| view.locate.accuracy.map_or(accuracy, |accuracy| survey.metres(accuracy));
    (chord > cable + off(a) + off(b) + tolerance(cable)).then_some((chord, cable))
}
