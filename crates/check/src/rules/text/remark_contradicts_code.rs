//! See the rule's documentation below.

use obvert_model::lists::Family;

use crate::sink::Sink;
use crate::support::remarks::{NO_DEFECT, kinds, names, plain, words};
use crate::views::{RowView, RunView};

rule! {
    /// # What it checks
    /// The whole remark of an observation is the name of another thing than its code records, and
    /// no row at the place records that thing; or the remark states that there is no defect, and the
    /// code records one.
    ///
    /// # Exceptions
    /// - The code is of the families `level` or `housekeeping`, or its remark describes what it is:
    ///   its last part is `other`, `defective`, `attached` or `object`, or its first
    ///   characterisation is `other`.
    /// - The thing is not a defect, or one of its kind is recorded within 0.3 m.
    ///
    /// # Exactly
    /// The remark is compared without case, punctuation, digits, articles and words of position and
    /// amount. It names a thing if it then equals a label of a code of `obvert-terms`, in any
    /// language, or a synonym of the trade (`obvert explain WORD`) for codes. The thing is another
    /// one if no code is of the kind of the row, by its code or the code of `obvert-terms` that it
    /// links to, and no word of the remark is in a label or the code of the row. Kinds are the wall
    /// (cracks, fractures, breaks, holes, collapses, soil, voids, deformations, surfaces, masonry,
    /// welds, linings, repairs, connections and damaged joint rims), joints, roots, what lies or
    /// sticks in the pipe (deposits, obstacles, soil), water through the wall, and vermin. Names of
    /// an obstruction, which anything can be, are not compared.
    ///
    /// A defect is of the families `structural` and `operational`, or has a grade. Statements that
    /// there is none are *no defect*, *no defects*, *no damage*, *ok*, *okay*,
    /// *all ok*, *good condition*, *in good condition*, *nothing to report*, *sound*, *kein schaden*,
    /// *keine schäden*, *ohne befund*, *in ordnung*, *mängelfrei*, *sans défaut*, *aucun défaut*,
    /// *rien à signaler*, *bon état*, *sin defectos*, *sin daños* and *buen estado*.
    ///
    /// # Why it matters
    /// A remark typed by the operator and a code from a list that differ so far belong to different
    /// rows.
    ///
    /// # Fails
    /// At `/runs/0/observations/4/remark`:
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/4/remark", "value": "Grease."}]
    /// ```
    /// At `/runs/0/observations/2/remark`:
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/2/remark", "value": "No defect"}]
    /// ```
    ///
    /// # Passes
    /// More than a name.
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/4/remark", "value": "grease caught at the step"}]
    /// ```
    /// Another word for the same.
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/4/remark", "value": "offset joint"}]
    /// ```
    ///
    /// # Fix
    /// Look at the picture and correct the code or the remark; record the other thing in a row of
    /// its own.
    name: "remark-contradicts-code", severity: Warning, scope: Run, since: "0.1", clause: "observations#codes",
    needs: [Codes],
    facts: {
        "codes" = Texts "the codes of `obvert-terms` that the remark names, in the order of their names"
            if "the remark names a thing",
    },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    for row in run.rows() {
        let Some(remark) = &row.row.remark else { continue };
        // A long remark is a description.
        if remark.len() > 60 {
            continue;
        }
        let Some(code) = row.code else { continue };
        let defect = matches!(code.family, Family::Structural | Family::Operational)
            || row.row.grades.is_some();
        let text = plain(remark.as_str());
        let spoken = words(remark.as_str()).join(" ");
        if defect && [&text, &spoken].iter().any(|text| NO_DEFECT.contains(&text.as_str())) {
            let message = format!("{} is a defect, but the remark is {remark:?}", code.code);
            out.report(row.subject("/remark"), message);
            continue;
        }
        if matches!(code.family, Family::Level | Family::Housekeeping) || is_described(&row) {
            continue;
        }
        if let Some(codes) = names().get(text.as_str())
            && is_another(&row, codes, &text)
        {
            let message = format!(
                "the remark {remark:?} names another thing than {}: {}",
                code.code,
                codes.join(" or ")
            );
            out.report(row.subject("/remark"), message).fact("codes", codes.clone());
        }
    }
}

/// Whether the remark describes what the code leaves open.
fn is_described(row: &RowView<'_>) -> bool {
    let open = ["other", "defective", "attached", "object"];
    row.term().is_none_or(|term| {
        let last = term.code.rsplit('.').next().unwrap_or(term.code);
        open.contains(&last) || term.kind == Some("other")
    })
}

/// Whether the codes that a remark names are of another thing than the row, and of none near it.
fn is_another(row: &RowView<'_>, codes: &[&str], text: &str) -> bool {
    let own = row.row.code.to_lowercase();
    let labels = row.code.map(|code| code.label.values().map(|label| label.to_lowercase()));
    let own: Vec<String> = labels.into_iter().flatten().chain([own]).collect();
    let shares = |word: &str| own.iter().any(|own| own.contains(word));
    let roots = text.split(' ').map(|word| word.strip_suffix('s').unwrap_or(word));
    if roots.filter(|word| word.chars().count() > 2).any(shares) {
        return false;
    }
    let place = row.survey().metres(row.row.at);
    let near = |other: &RowView<'_>| {
        (row.survey().metres(other.row.at) - place).abs() <= 0.3
            || row.survey().metres(other.row.at) <= place
                && row.survey().metres(other.row.end()) >= place
    };
    // Rows are in order of distance, so near ones are close in the table.
    let first = row.index.saturating_sub(8);
    let last = (row.index + 8).min(row.run.run.observations.len() - 1);
    let named: Vec<usize> = codes.iter().flat_map(|code| kinds(code)).collect();
    let of_same = |term: &str| kinds(term).iter().any(|kind| named.contains(kind));
    !(first..=last).map(|index| row.run.row(index)).any(|other| {
        (other.index == row.index || near(&other))
            && other.term().is_some_and(|term| of_same(term.code))
    })
}
