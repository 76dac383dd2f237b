//! See the rule's documentation below.

use obvert_model::edit::Edit;
use obvert_model::lists::{Code, CodeList, Fit};
use obvert_model::synonyms;
use obvert_model::text::Text;

use crate::catalogue::same_but_case;
use crate::sink::Sink;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// The code of an observation is not in the document's code list. Other rules about codes skip
    /// the row.
    ///
    /// # Why it matters
    /// It cannot be graded, and the receiving office cannot load the row.
    ///
    /// # Fails
    /// At `/runs/0/observations/2/code`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/2/code", "value": "crack.longitudnal"}]
    /// ```
    /// In capitals. At `/runs/0/observations/2/code`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/2/code", "value": "Crack.Longitudinal"}]
    /// ```
    /// The label of a code. At `/runs/0/observations/2/code`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/2/code", "value": "Longitudinal crack"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/3/code", "value": "connection.saddle"}]
    /// ```
    ///
    /// # Fix
    /// Write the code as the list has it, or name the right list in `coding`.
    name: "code-unknown", severity: Error, scope: Observation, since: "0.1", clause: "observations#codes",
    needs: [Codes],
    facts: {
        "code" = Code "the code, as recorded",
        "list" = Id "the document's code list",
    },
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    let Some(list) = row.survey().list.filter(|_| row.code.is_none()) else { return };
    let code = row.row.code.as_str();
    let language = row.survey().head.language.as_ref().map_or("en", |language| language.as_str());
    let characterisation = &row.row.characterisation;
    let about = characterisation.iter().fold(code.to_owned(), |all, word| all + "\0" + word);
    let lists = out.lists();
    let advise = |out: &mut Sink<'_>| advice(code, characterisation, list, language, out);
    let help = lists.then(|| out.advice(&about, advise)).flatten();
    let meant = || same_but_case(code, list.codes.iter().map(|known| known.code.as_str()));
    let meant = lists.then(|| out.advice(&format!("\0{code}"), |_| meant().map(str::to_owned)));
    let finding = out.report(
        row.subject("/code"),
        format!("{code:?} is not a code of {} {}", list.id, list.version),
    );
    finding.fact("code", code).fact("list", list.id.as_str());
    if let Some(help) = help {
        finding.help(help);
    }
    if let Some(meant) = meant.flatten() {
        let edits = vec![Edit::replace(row.subject("/code").path, meant.as_str())];
        finding.fix_safely(format!("writes the code {code:?} as {meant:?}"), edits);
    }
}

fn advice(
    code: &str,
    characterisation: &[Text],
    list: &CodeList,
    language: &str,
    out: &mut Sink<'_>,
) -> Option<String> {
    let meant = code.to_lowercase();
    let named = |known: &Code| known.label.values().any(|label| label.to_lowercase() == meant);
    if let Some(known) = list.codes.iter().find(|known| named(known)) {
        return Some(format!("Did you mean {:?}? {code:?} is its label", known.code.as_str()));
    }
    let links = || {
        list.codes.iter().flat_map(|known| known.same_as.iter().map(move |other| (known, other)))
    };
    if let Some((_, first)) = links().find(|(_, other)| *other.code == *code) {
        let of = || links().filter(|(_, other)| other.list == first.list && *other.code == *code);
        // One code there can be several here, with different characterisations.
        let exact = of().find(|(_, other)| {
            other.fit() == Fit::Exact && other.characterisation == characterisation
        });
        let mut would: Vec<&str> = exact
            .map_or_else(|| of().collect(), |one| vec![one])
            .iter()
            .map(|(known, _)| known.code.as_str())
            .collect();
        would.dedup();
        let would = match would.as_slice() {
            [only] => format!("{only:?}"),
            several => format!("one of {}", several.join(", ")),
        };
        return Some(format!(
            "{code:?} is a code of {}: name that list under coding if the document is coded in it; in this list, write {would}",
            first.list
        ));
    }
    fn label<'l>(known: &'l Code, language: &str) -> &'l str {
        known.label.get(language).map_or_else(|| known.name(), |label| label.as_str())
    }
    // A word of the trade, in a document that is coded in the format's own terms.
    let is_listed = |code: &&String| list.codes.iter().any(|known| *known.code == **code);
    let synonyms: Vec<&str> = synonyms::of(code)
        .flat_map(|synonym| &synonym.codes)
        .filter(is_listed)
        .map(String::as_str)
        .collect();
    match synonyms.as_slice() {
        [] => {}
        [only] => return Some(format!("Did you mean {only:?}?")),
        several => return Some(format!("Did you mean one of {}?", several.join(", "))),
    }
    let words = list.codes.iter().flat_map(|known| [known.code.as_str(), label(known, language)]);
    let near = out.near(code, words)?;
    let known =
        list.codes.iter().find(|known| *known.code == *near || label(known, language) == near)?;
    Some(format!("Did you mean {:?}, {}?", known.code.as_str(), label(known, language)))
}
