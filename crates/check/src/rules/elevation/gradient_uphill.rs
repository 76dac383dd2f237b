//! See the rule's documentation below.

use obvert_model::tables::StructureKind;

use crate::sink::Sink;
use crate::support::elevations::exceeds;
use crate::support::streets::{reversed_by_inverts, reversed_by_runs, rise};
use crate::views::{Ending, PipeView, Subject};

rule! {
    /// # What it checks
    /// The downstream invert of a pipe is higher than its upstream invert. If the pipe has no
    /// invert at an end, the invert of the structure there is used.
    ///
    /// # Exceptions
    /// - An end is below its structure or above its ground (`invert-outside-structure`,
    ///   `invert-above-ground`).
    /// - Elevations and depth of a structure whose invert is used contradict each other
    ///   (`depth-contradicts-elevations`, `invert-above-ground`).
    /// - The pipe begins at a pumping station: it is a rising main.
    /// - The runs contradict the whole street (`direction-contradicts`).
    ///
    /// # Exactly
    /// If at least three pipes of a `street` rise, and four in five of those with inverts, that is
    /// one finding, at the first of them; pipes without `street` are taken for one. Otherwise:
    ///
    /// The finding is at the pipe's own downstream invert, or else at its own upstream one, or else
    /// at the pipe.
    ///
    /// # Why it matters
    /// Sewers run downhill: an invert is mistyped, the pipe is recorded the wrong way round, or it
    /// has settled.
    ///
    /// # Source
    /// The slack is 1 cm at each end, the accuracy of levels that Tauranga City Council (QA-3.7)
    /// requires.
    ///
    /// # Fails
    /// At `/pipes/0/inverts/downstream`:
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/inverts/downstream", "value": 641.7}]
    /// ```
    /// With the inverts of the structures alone, at `/pipes/1`:
    /// ```json
    /// [{"op": "remove", "path": "/pipes/1/inverts"},
    ///  {"op": "replace", "path": "/structures/2/invert", "value": 642}, {"op": "remove", "path": "/structures/2/depth"}]
    /// ```
    ///
    /// # Passes
    /// A flat pipe.
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/inverts/downstream", "value": 640.5}]
    /// ```
    ///
    /// A rising main.
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/inverts/downstream", "value": 641.7}, {"op": "replace", "path": "/structures/0/kind", "value": "pump-station"}]
    /// ```
    ///
    /// # Fix
    /// Correct the invert, or exchange `upstream` and `downstream`. A pipe that does rise, such as
    /// a siphon, may stay as it is.
    name: "gradient-uphill", severity: Warning, scope: Ending, since: "0.1", clause: "pipes#gradient",
    concludes_from: ["structures", "structures.ground", "structures.invert", "structures.depth", "pipes", "pipes.inverts", "pipes.street", "runs", "runs.from", "runs.to", "runs.direction"],
    limits: { "slack" = 0.02 "m" "1 cm at each end, Tauranga City Council QA-3.7" },
    facts: {
        "pipes" = Count "pipes of the street that rise" if "most of its pipes rise",
        "of" = Count "pipes of the street that were compared" if "`pipes` is present",
        "upstream" = Length "the upper invert, as recorded" if "the pipe is reported by itself",
        "downstream" = Length "the lower invert, as recorded" if "the pipe is reported by itself",
        "rise" = Length "`downstream` − `upstream`" if "the pipe is reported by itself",
    },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let slack = out.limit("slack");
    let by_runs = reversed_by_runs(ending);
    let mut streets = reversed_by_inverts(ending, slack);
    streets.retain(|street| !by_runs.iter().any(|known| known.street == street.street));
    for street in &streets {
        let (pipes, of, name) = (street.pipes, street.of, street.name());
        let message = format!("{pipes} of {of} pipes{name} rise in the direction of flow");
        let finding = out.report(Subject::at(format!("/pipes/{}", street.first)), message);
        finding.fact("pipes", pipes).fact("of", of).help(
            "the pipes seem to be recorded against the flow: exchange `upstream` and `downstream` of all of them, or their inverts",
        );
    }
    for view in ending.survey.pipes() {
        if by_runs.iter().chain(&streets).any(|street| street.has(&view)) {
            continue;
        }
        if let Some(rise) = rise(&view).filter(|rise| exceeds(*rise, slack)) {
            report(&view, rise, out);
        }
    }
}

fn report(view: &PipeView<'_>, rise: f64, out: &mut Sink<'_>) {
    let survey = view.survey;
    let Some((upper, lower)) = view.inverts() else { return };
    if view.upstream().is_some_and(|structure| structure.kind == StructureKind::PumpStation) {
        return;
    }
    let own = view.pipe.inverts.as_ref();
    let (own_upper, own_lower) =
        (own.and_then(|row| row.upstream), own.and_then(|row| row.downstream));
    let unit = survey.head.units.length;
    let message = format!(
        "the pipe rises by {} in the direction of flow, from {upper} {unit} to {lower} {unit}",
        survey.format_metres(rise)
    );
    let field = match (own_upper, own_lower) {
        (_, Some(_)) => "/inverts/downstream",
        (Some(_), None) => "/inverts/upstream",
        (None, None) => "",
    };
    out.report(view.subject(field), message)
        .fact("upstream", upper)
        .fact("downstream", lower)
        .fact("rise", survey.in_units(rise));
}
