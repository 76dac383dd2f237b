//! See the rule's documentation below.

use obvert_model::tables::{EquipmentKind, Method};

use crate::sink::Sink;
use crate::support::cameras::is_camera;
use crate::views::RunView;

rule! {
    /// # What it checks
    /// None of the cameras that a run names is of the kind that its `method` states.
    ///
    /// # Exceptions
    /// - The run names no camera.
    /// - The `method` is `walk-through` or `other`.
    ///
    /// # Exactly
    /// Equipment that is not in the table does not count.
    ///
    /// # Why it matters
    /// The equipment or the method was copied from another run; how the distance was counted
    /// follows from both.
    ///
    /// # Fails
    /// At `/runs/0/method`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/method", "value": "push-rod"}]
    /// ```
    ///
    /// # Passes
    /// No camera is named.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/method", "value": "push-rod"}, {"op": "replace", "path": "/runs/0/equipment", "value": ["E-2"]}]
    /// ```
    /// A person can carry any camera.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/method", "value": "walk-through"}, {"op": "replace", "path": "/pipes/0/height", "value": 60}]
    /// ```
    ///
    /// # Fix
    /// Correct the method, or name the camera that was used.
    name: "method-contradicts-equipment", severity: Warning, scope: Run, since: "0.1", clause: "runs#references",
    concludes_from: ["equipment"],
    facts: {
        "method" = Word "the method, as recorded",
        "equipment" = Word "the `kind` of the first camera that the run names",
    },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let carried = match run.run.method {
        Some(Method::PushRod) => EquipmentKind::PushRod,
        Some(Method::Crawler) => EquipmentKind::Crawler,
        Some(Method::Pole) => EquipmentKind::Pole,
        Some(Method::Float) => EquipmentKind::Float,
        _ => return,
    };
    let kinds = || {
        run.run
            .equipment
            .iter()
            .filter_map(|id| Some(run.survey.equipment(id)?.kind))
            .filter(|k| is_camera(*k))
    };
    if kinds().any(|kind| kind == carried) {
        return;
    }
    if let Some(kind) = kinds().next() {
        let (method, kind) = (carried.as_str(), kind.as_str());
        let message =
            format!("the method is {method:?}, but the camera that the run names is a {kind}");
        out.report(run.subject("/method"), message).fact("method", method).fact("equipment", kind);
    }
}
