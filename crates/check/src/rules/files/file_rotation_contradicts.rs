//! See the rule's documentation below.

use obvert_model::number::Degrees;

use crate::sink::Sink;
use crate::views::MediaView;

rule! {
    /// # What it checks
    /// The file says that its picture is to be turned, and the row records another rotation.
    ///
    /// # Exactly
    /// The two differ by 45° or more.
    ///
    /// # Why it matters
    /// A viewer shows the picture turned, and clock references no longer agree with it.
    ///
    /// # Fails
    /// At `/media/0/rotation`:
    /// ```json
    /// [{"op": "add", "path": "/media/0/rotation", "value": 90},
    ///  {"op": "add", "path": "/files/photos~1lm014_001.jpg/turned", "value": 180}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "add", "path": "/media/0/rotation", "value": 90},
    ///  {"op": "add", "path": "/files/photos~1lm014_001.jpg/turned", "value": 90}]
    /// ```
    /// Nothing is recorded.
    /// ```json
    /// [{"op": "add", "path": "/files/photos~1lm014_001.jpg/turned", "value": 180}]
    /// ```
    ///
    /// # Fix
    /// Look at the picture, and correct `rotation` or the tag in the file.
    name: "file-rotation-contradicts", severity: Warning, scope: Media, since: "0.2", clause: "media#files",
    needs: [Files],
    facts: {
        "turned" = Number "how far a viewer turns the picture, clockwise in degrees",
    },
}

fn check(view: &MediaView<'_>, out: &mut Sink<'_>) {
    let Some(turned) = view.readable_file().and_then(|file| file.turned) else { return };
    let Some(recorded) = view.media.rotation.map(Degrees::get) else { return };
    let apart = (recorded - f64::from(turned)).rem_euclid(360.0);
    if apart.min(360.0 - apart) < 45.0 {
        return;
    }
    let message = format!("the file is to be turned by {turned}°, but {recorded}° are recorded");
    out.report(view.subject("/rotation"), message).fact("turned", turned);
}
