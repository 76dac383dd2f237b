//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::locating::Transmitter;
use crate::views::{Ending, LocateView};

rule! {
    /// # What it checks
    /// Two located depths of a run, one after the other, differ by more than the pipe and the
    /// ground can fall between them.
    ///
    /// # Exceptions
    /// - Both locates have `ground`, both inverts of the pipe are known, and the run was not
    ///   launched (`locate-off-gradient`).
    /// - The exceptions of `locate-beyond-cable` about the run.
    ///
    /// # Exactly
    /// The locates of a run with a `depth` of 0 or more are taken in the order of *cable* (as in
    /// `locate-beyond-cable`). With `ground` at both, `ground` − `depth` is compared, otherwise
    /// `depth`. Two differ too much by more than `step` + 15 % of the greater depth + half of the
    /// cable between them. The later one is reported; but if the locate after it differs too much
    /// from the earlier one and not from the later one, the earlier one is.
    ///
    /// # Why it matters
    /// One of the two depths was read in another unit, or over another service.
    ///
    /// # Source
    /// 15 %: PAS 128 (from memory). Step and fall: common practice, no published source; a drop
    /// shaft is longer than it is deep by the cable that lies in it.
    ///
    /// # Fails
    /// At `/locates/1/depth`:
    /// ```json
    /// [{"op": "remove", "path": "/locates/0/ground"}, {"op": "replace", "path": "/locates/1/at", "value": 54},
    ///  {"op": "replace", "path": "/locates/1/position", "value": [19623854, 322100]}, {"op": "replace", "path": "/locates/1/depth", "value": 25}]
    /// ```
    ///
    /// # Passes
    /// Down a drop shaft.
    /// ```json
    /// [{"op": "remove", "path": "/locates/0/ground"}, {"op": "replace", "path": "/locates/0/depth", "value": 4},
    ///  {"op": "replace", "path": "/locates/1/at", "value": 58}, {"op": "replace", "path": "/locates/1/depth", "value": 10.5}]
    /// ```
    ///
    /// # Fix
    /// Locate again before anybody digs, as local codes and licensed practice demand; correct the
    /// depth.
    name: "locate-depth-jump", severity: Warning, scope: Ending, since: "0.1", clause: "locates#depth",
    concludes_from: ["locates", "locates.depth", "locates.ground", "locates.at", "locates.run"],
    uses: [locating],
    limits: {
        "step" = 1.0 "m" "greatest step of the ground between two locates; common practice, no published source",
    },
    facts: {
        "other" = Id "the other locate",
        "difference" = Length "how much deeper the reported one is; negative if it is shallower",
        "cable" = Length "the cable between the two",
    },
}

/// The depth of a locate grows with it: PAS 128, from memory.
const SHARE: f64 = 0.15;

/// A located depth.
#[derive(Clone, Copy)]
struct Sounding<'d> {
    view: LocateView<'d>,
    /// The distance of the transmitter from the start of the run, in metres.
    along: f64,
    /// The depth below the ground, and the ground, in metres.
    depth: f64,
    ground: Option<f64>,
    /// Whether `locate-off-gradient` can compare it with the pipe.
    compared: bool,
}

impl<'d> Sounding<'d> {
    fn of(view: LocateView<'d>) -> Option<Self> {
        let survey = view.ending.survey;
        let transmitter = Transmitter::of(&view)?;
        let depth = view.locate.depth.filter(|depth| depth.get() >= 0.0)?;
        let ground = view.locate.ground.map(|ground| survey.metres(ground));
        let launched = transmitter.summary.run.launched.is_some();
        let compared = ground.is_some() && transmitter.pipe.inverts().is_some() && !launched;
        let (along, depth) = (transmitter.from_start, survey.metres(depth));
        Some(Self { view, along, depth, ground, compared })
    }

    /// How much deeper it is than another one, in metres.
    fn below(&self, other: &Self) -> f64 {
        let ground = self.ground.zip(other.ground).map_or(0.0, |(own, other)| own - other);
        self.depth - other.depth - ground
    }

    /// Whether the two differ too much.
    fn jumps(&self, other: &Self, step: f64) -> bool {
        let cable = (self.along - other.along).abs();
        let slack = step + SHARE * self.depth.max(other.depth) + cable / 2.0;
        !(self.compared && other.compared) && self.below(other).abs() > slack
    }
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let step = out.limit("step");
    let survey = ending.survey;
    let mut soundings: Vec<Sounding<'_>> = ending.locates().filter_map(Sounding::of).collect();
    let key = |one: &Sounding<'_>| (one.view.locate.run.to_string(), one.view.index);
    soundings.sort_by(|a, b| {
        let (run_a, run_b) = (&a.view.locate.run, &b.view.locate.run);
        run_a.cmp(run_b).then(a.along.total_cmp(&b.along)).then_with(|| key(a).cmp(&key(b)))
    });
    for run in soundings.chunk_by(|a, b| a.view.locate.run == b.view.locate.run) {
        let mut before = 0;
        for index in 1..run.len() {
            let (earlier, later) = (&run[before], &run[index]);
            if !later.jumps(earlier, step) {
                before = index;
                continue;
            }
            let next = run.get(index + 1);
            let earlier_is_wrong =
                next.is_some_and(|next| next.jumps(earlier, step) && !next.jumps(later, step));
            let (wrong, right) = if earlier_is_wrong { (earlier, later) } else { (later, earlier) };
            let (by, cable) = (wrong.below(right), (later.along - earlier.along).abs());
            let how = if by > 0.0 { "deeper" } else { "shallower" };
            let [far, apart] = [by.abs(), cable].map(|metres| survey.format_metres(metres));
            let other = right.view.locate.id.as_str();
            let message = format!("{far} {how} than {other}, only {apart} away along the cable");
            out.report(wrong.view.subject("/depth"), message)
                .fact("other", other)
                .fact("difference", survey.in_units(by))
                .fact("cable", survey.in_units(cable));
            if earlier_is_wrong {
                before = index;
            }
        }
    }
}
