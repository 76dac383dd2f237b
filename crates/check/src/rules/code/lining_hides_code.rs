//! See the rule's documentation below.

use std::cell::OnceCell;

use obvert_model::tables::MaterialClass;

use crate::sink::Sink;
use crate::support::lined::Lining;
use crate::support::nearby::Places;
use crate::support::terms::Term;
use crate::views::RunView;

rule! {
    /// # What it checks
    /// A code that only a bare wall of masonry or concrete can have is recorded where the pipe is
    /// lined.
    ///
    /// # Exceptions
    /// - A lining begins or ends within 1 m of the row.
    /// - The run is *disordered*.
    /// - A defect that opens the lining, or the wall, is recorded within `within`.
    /// - The code is not of masonry, and the lining may be of concrete or mortar: its text, or the
    ///   word of `lining.start`, has one of the words below.
    ///
    /// # Exactly
    /// The code list restricts the code to the material classes `masonry` and `concrete`, or to one
    /// of them. Whether the pipe is lined is decided as by `lining-not-recorded`, but at the ends of
    /// a lining it is not. The lining is opened by rows of the groups `break`, `hole` and
    /// `collapse`, and by `lining.defective`, `lining.detached`, `lining.cracked`, `lining.holed`,
    /// `lining.end-loose` and `lining.short`. The words are *cement*, *mortar*, *concrete*,
    /// *sprayed*, *gunite*, *zement*, *mörtel*, *beton*, *mortier*, *ciment*, *béton*, *mortero* and
    /// *hormig*, in any case.
    ///
    /// # Why it matters
    /// The camera sees the lining and not the old wall: the row belongs to another pipe, or a hole
    /// in the lining was not recorded.
    ///
    /// # Source
    /// Common practice, no published source.
    ///
    /// # Fails
    /// At `/runs/0/observations/2/code`:
    /// ```json
    /// [{"op": "add", "path": "/pipes/0/lining", "value": "cured in place"},
    ///  {"op": "replace", "path": "/pipes/0/material", "value": "brick"},
    ///  {"op": "add", "path": "/runs/0/observations/2", "value":
    ///   {"id": "2a", "at": 8, "code": "brick.worn", "grades": {"structural": 2}}}]
    /// ```
    ///
    /// # Passes
    /// The lining has come away.
    /// ```json
    /// [{"op": "add", "path": "/pipes/0/lining", "value": "cured in place"},
    ///  {"op": "replace", "path": "/pipes/0/material", "value": "brick"},
    ///  {"op": "add", "path": "/runs/0/observations/2", "value":
    ///   {"id": "2a", "at": 8, "code": "brick.worn", "grades": {"structural": 2}}},
    ///  {"op": "add", "path": "/runs/0/observations/3", "value":
    ///   {"id": "2b", "at": 8, "code": "lining.detached", "grades": {"structural": 3}}}]
    /// ```
    /// The lining ends before.
    /// ```json
    /// [{"op": "add", "path": "/pipes/0/lining", "value": "cured in place"},
    ///  {"op": "replace", "path": "/pipes/0/material", "value": "brick"},
    ///  {"op": "add", "path": "/runs/0/observations/2", "value": {"id": "2a", "at": 2, "code": "lining.finish"}},
    ///  {"op": "add", "path": "/runs/0/observations/3", "value":
    ///   {"id": "2b", "at": 8, "code": "brick.worn", "grades": {"structural": 2}}}]
    /// ```
    ///
    /// # Fix
    /// Correct the code, or record the defect of the lining through which the wall is seen, or where
    /// the lining ends.
    name: "lining-hides-code", severity: Warning, scope: Run, since: "0.1", clause: "observations#codes",
    needs: [Codes],
    concludes_from: ["pipe.lining"],
    limits: {
        "within" = 1.5 "m" "how far away the defect of the lining may be; common practice",
    },
}

/// Words for a lining with a wall like concrete.
const LIKE_CONCRETE: [&str; 13] = [
    "cement", "mortar", "concrete", "sprayed", "gunite", "zement", "mörtel", "beton", "mortier",
    "ciment", "béton", "mortero", "hormig",
];

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    if run.disordered() {
        return;
    }
    let (lining, open, like) = (OnceCell::new(), OnceCell::new(), OnceCell::new());
    for row in run.rows() {
        let Some(code) = row.code.filter(|code| is_of_wall(&code.materials)) else { continue };
        if !lining.get_or_init(|| Lining::of(run)).covers(&row) {
            continue;
        }
        let masonry = code.materials == [MaterialClass::Masonry];
        let open = open.get_or_init(|| Places::of(run, opens));
        if open.near(&row, out.limit("within"))
            || !masonry && *like.get_or_init(|| is_like_concrete(run))
        {
            continue;
        }
        let wall = if masonry { "masonry" } else { "concrete" };
        let message =
            format!("{} is of a bare wall of {wall}, but the pipe is lined here", code.code);
        out.report(row.subject("/code"), message);
    }
}

fn is_of_wall(materials: &[MaterialClass]) -> bool {
    let of_wall =
        |class: &MaterialClass| matches!(class, MaterialClass::Masonry | MaterialClass::Concrete);
    !materials.is_empty() && materials.iter().all(of_wall)
}

/// Whether the wall can be seen through a defect.
fn opens(term: &Term<'_>) -> bool {
    let of_lining = ["defective", "detached", "cracked", "holed", "end-loose", "short"];
    matches!(term.group(), "break" | "hole" | "collapse")
        || term.code.strip_prefix("lining.").is_some_and(|defect| of_lining.contains(&defect))
}

/// Whether the lining may have a wall like concrete.
fn is_like_concrete(run: &RunView<'_>) -> bool {
    let is = |text: &str| {
        let text = text.to_lowercase();
        LIKE_CONCRETE.iter().any(|word| text.contains(word))
    };
    let recorded = run.pipe.and_then(|view| view.pipe.lining.as_ref());
    recorded.is_some_and(|lining| is(lining.as_str()))
        || run.rows().any(|row| {
            let begins = row.term().filter(|term| term.code == "lining.start");
            begins.and_then(|term| term.kind).is_some_and(is)
        })
}
