//! The reference system of a document, and whether its positions can be transformed to WGS 84.

use obvert_geo::{Crs, GeoError};
use obvert_model::number::Position;
use obvert_model::tables::Head;

use crate::ConvertError;

/// Why positions must be on WGS 84: a sentence that names the standard.
pub(crate) type Why = &'static str;

/// Whether anything in the document has a position; only then it needs a reference system.
pub(crate) fn has_positions(head: &Head) -> bool {
    head.structures.iter().any(|row| row.position.is_some())
        || head.pipes.iter().any(|row| !row.path.is_empty())
        || head.locates.iter().any(|row| row.position.is_some())
}

/// The document's reference system, if it can be transformed to WGS 84.
pub(crate) fn crs_of(head: &Head, why: Why) -> Result<Crs, ConvertError> {
    let refused = |message: String| ConvertError::Refused { message };
    let Some(code) = &head.crs else {
        return Err(refused(format!(
            "the document has positions but no `crs`; {why}; add the reference system of the positions, such as \"crs\": \"EPSG:6594\""
        )));
    };
    Crs::parse(code)
        .and_then(|crs| {
            crs.datum_shifts()?;
            Ok(crs)
        })
        .map_err(|error| refused(format!("{why}: {error}")))
}

/// Refuses a reference system that cannot be used at the positions. A single impossible position,
/// which the rules report, does not keep the others off the map.
pub(super) fn check_usable(crs: &Crs, head: &Head, why: Why) -> Result<(), ConvertError> {
    for (pointer, position) in positions(head) {
        match crs.to_wgs84(position) {
            Ok(_) | Err(GeoError::OutOfDomain { .. }) => {}
            Err(error) => {
                let message = format!("{why}: {}: {error}", pointer());
                return Err(ConvertError::Refused { message });
            }
        }
    }
    Ok(())
}

/// Every position of the document, and a function for its pointer.
pub(super) fn positions(head: &Head) -> impl Iterator<Item = (Box<dyn Fn() -> String>, [f64; 2])> {
    let single = |table: &'static str, index: usize, position: Option<Position>| {
        let pointer = move || format!("/{table}/{index}/position");
        position.map(|position| (Box::new(pointer) as Box<dyn Fn() -> String>, position.into()))
    };
    let structures = head
        .structures
        .iter()
        .enumerate()
        .filter_map(move |(i, row)| single("structures", i, row.position));
    let vertices = head.pipes.iter().enumerate().flat_map(|(pipe, row)| {
        row.path.iter().enumerate().map(move |(vertex, position)| {
            let pointer = move || format!("/pipes/{pipe}/path/{vertex}");
            (Box::new(pointer) as Box<dyn Fn() -> String>, (*position).into())
        })
    });
    let locates = head
        .locates
        .iter()
        .enumerate()
        .filter_map(move |(i, row)| single("locates", i, row.position));
    structures.chain(vertices).chain(locates)
}
