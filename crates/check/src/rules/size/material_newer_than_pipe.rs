//! See the rule's documentation below.

use obvert_model::tables::Material;

use super::year_laid_implausible::EARLIEST;
use crate::sink::Sink;
use crate::views::PipeView;

rule! {
    /// # What it checks
    /// A pipe was laid before pipes were made of its material.
    ///
    /// # Exceptions
    /// - The year is before 1600 (`year-laid-implausible`).
    ///
    /// # Exactly
    /// The first year of a material: `reinforced-concrete` 1860, `bituminised-fibre` 1890,
    /// `asbestos-cement` 1900, `pvc` 1930, `polyethylene` and `glass-reinforced-plastic` 1940,
    /// `ductile-iron` and `abs` 1943, `polypropylene` 1954; none for the others.
    ///
    /// # Why it matters
    /// The pipe was replaced and kept its year, or the material is of another row.
    ///
    /// # Source
    /// Common knowledge of when each was invented, taken early; no published source.
    ///
    /// # Fails
    /// At `/pipes/0/material`:
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/material", "value": "pvc"}, {"op": "add", "path": "/pipes/0/laid", "value": 1908}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "add", "path": "/pipes/0/laid", "value": 1908}]
    /// ```
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/material", "value": "pvc"}, {"op": "add", "path": "/pipes/0/laid", "value": 1962}]
    /// ```
    ///
    /// # Fix
    /// Correct the year or the material. A lining belongs in `lining`.
    name: "material-newer-than-pipe", severity: Warning, scope: Pipe, since: "0.1", clause: "pipes#identity",
    facts: {
        "laid" = Year "the year, as recorded",
        "first" = Year "the first year of the material",
    },
}

fn check(view: &PipeView<'_>, out: &mut Sink<'_>) {
    let (Some(material), Some(laid)) = (view.pipe.material, view.pipe.laid) else { return };
    let Some(first) = first_year(material) else { return };
    // `year-laid-implausible` reports an earlier year.
    if laid.get() < first && laid.get() >= EARLIEST {
        let name = material.as_str();
        let message = format!(
            "the pipe was laid in {laid}, but there were no pipes of {name} before {first}"
        );
        out.report(view.subject("/material"), message)
            .fact("laid", laid.get())
            .fact("first", first);
    }
}

/// The first year in which pipes were made of a material; `None` for materials older than sewers.
const fn first_year(material: Material) -> Option<u16> {
    match material {
        Material::ReinforcedConcrete => Some(1860),
        Material::BituminisedFibre => Some(1890),
        Material::AsbestosCement => Some(1900),
        Material::Pvc => Some(1930),
        Material::Polyethylene | Material::GlassReinforcedPlastic => Some(1940),
        Material::DuctileIron | Material::Abs => Some(1943),
        Material::Polypropylene => Some(1954),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rule::Section;

    /// The documentation states the numbers that the rule uses.
    #[test]
    fn the_text_has_every_number() {
        let text = RULE.section(Section::Exactly).replace('\n', " ");
        for material in Material::ALL {
            match first_year(*material) {
                Some(year) => {
                    let (_, after) = text.split_once(&format!("`{material}`")).unwrap();
                    let first =
                        after.split([' ', ',', ';', '.']).find_map(|word| word.parse::<u16>().ok());
                    assert_eq!(first, Some(year), "{material}");
                }
                None => assert!(!text.contains(&format!("`{material}`")), "{material}"),
            }
        }
        assert!(RULE.section(Section::Exceptions).contains(&EARLIEST.to_string()));
    }
}
