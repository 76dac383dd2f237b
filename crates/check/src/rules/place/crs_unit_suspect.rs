//! See the rule's documentation below.

use obvert_geo::{Fit, Slip};

use crate::sink::Sink;
use crate::support::map_lengths::{WrongUnit, majority, unit_slip, vote_of_runs};
use crate::views::{Ending, Subject};

rule! {
    /// # What it checks
    /// The positions seem to be in another unit than that of their reference system. That is one
    /// finding for the document.
    ///
    /// # Exceptions
    /// - The positions lie in the area of use as recorded, and would not in the other unit
    ///   (`length-unit-suspect`).
    /// - The depths of the manholes are implausible as recorded (`length-unit-suspect`).
    /// - Only the lengths show it, and the distances of the runs agree with the map
    ///   (`length-unit-suspect`).
    ///
    /// # Exactly
    /// *Lengths and the map* in Checking. Either shows it:
    ///
    /// - Most stated pipe lengths are 3.28 times the length on the map, or 0.3048 times.
    /// - The positions lie outside the area of use of the system, and inside it in the other unit.
    ///
    /// # Why it matters
    /// Feet in a metric system draw a town three times too large, in another state.
    ///
    /// # Source
    /// Units and areas of use: EPSG dataset.
    ///
    /// # Fails
    /// The same zone in metres, at `/crs`:
    /// ```json
    /// [{"op": "replace", "path": "/crs", "value": "EPSG:6493"}]
    /// ```
    ///
    /// # Passes
    /// Wrong pipe lengths do not make the system wrong.
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/length", "value": 60.96}, {"op": "replace", "path": "/pipes/1/length", "value": 54.9}]
    /// ```
    ///
    /// # Fix
    /// Name the system that the numbers are in, or convert the positions.
    name: "crs-unit-suspect", severity: Error, scope: Ending, since: "0.1", clause: "document#reference-systems",
    needs: [Crs],
    facts: {
        "unit" = Text "unit of the reference system: `metre`, `international foot`, `US survey foot`, or the name that its authority gives",
        "fits" = Text "unit that would fit: `feet`, of either kind, or `metres`",
        "lengths" = Count "stated lengths compared with the map" if "they show it",
        "agree" = Count "those of them that agree" if "they show it",
    },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let survey = ending.survey;
    let (Some(crs), Some(stated)) = (&survey.crs, &survey.head.crs) else { return };
    let map_lengths = survey.map_lengths();
    let Some(WrongUnit::Positions(slip)) = map_lengths.wrong_unit else { return };
    let by_area = matches!(map_lengths.fit, Some(Fit::Slip(_)));
    // The runs are an independent measurement: if they agree with the map, the stated lengths are
    // wrong.
    let lengths_wrong = !by_area && vote_of_runs(ending).is_some_and(|vote| vote.ratio == 1.0);
    let vote =
        map_lengths.vote.filter(|vote| unit_slip(crs, vote.ratio) == Some(slip) && !lengths_wrong);
    if !by_area && vote.is_none() {
        return;
    }
    let (fits, factor) = match slip {
        Slip::Feet => ("feet (US survey or international)", obvert_geo::FOOT_METRES),
        _ => ("metres", 1.0 / obvert_geo::FOOT_METRES),
    };
    let mut reasons = Vec::new();
    if let Some(vote) = vote {
        let times = if vote.ratio < 1.0 { "0.3048" } else { "3.28" };
        reasons.push(format!(
            "{} of {} stated lengths are {times} times the length on the map",
            vote.agree, vote.of
        ));
    }
    if by_area {
        reasons.push(format!(
            "the positions lie outside the area of {}, but inside it as {fits}",
            crs.name()
        ));
    } else if majority(crs, survey.head, factor) == Some(Fit::Inside) {
        reasons.push(format!("the positions lie in the area of {} as {fits}", crs.name()));
    }
    let unit = crs.unit().name();
    let message = format!(
        "the unit of {stated} is the {unit}, but the positions seem to be in {fits}: {}",
        reasons.join("; ")
    );
    let finding = out.report(Subject::at("/crs"), message);
    finding.fact("unit", unit).fact("fits", if slip == Slip::Feet { "feet" } else { "metres" });
    if let Some(vote) = vote {
        finding.fact("lengths", vote.of).fact("agree", vote.agree);
    }
}
