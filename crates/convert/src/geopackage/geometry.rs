//! The geometries of a GeoPackage, compared with the columns.

use std::collections::HashMap;

use obvert_model::tables::Head;

use super::blob::{Shape, Xy};
use super::systems::Systems;
use crate::ConvertError;
use crate::tables::assemble::format_error;

/// How far a geometry may be from the position in the columns, in units of the reference system, to
/// count as the same.
pub(super) const SAME: f64 = 1e-6;
/// The geometries of the rows of pipes, by their id: the primary key, and the positions.
pub(super) type Drawn = HashMap<String, (usize, Vec<Xy>)>;

/// Refuses a geometry that the row of a table cannot have, or that is in another reference system
/// than the document.
pub(super) fn check_geometry(
    table: &str,
    shape: &Shape,
    systems: &Systems,
    layer: &mut Option<i64>,
    known: &mut Option<i32>,
) -> Result<(), String> {
    if let Some(layer) = layer.take() {
        systems.check(layer, "the layer", "the layer's srs_id")?;
    }
    if *known != Some(shape.system) {
        systems.check(i64::from(shape.system), "the geometry", "the srs_id in its header")?;
        *known = Some(shape.system);
    }
    let (found, wanted) = if shape.line { ("line", "point") } else { ("point", "line") };
    if shape.line != (table == "pipes") {
        return Err(format!("the geometry is a {found}; draw a {wanted} for a row of {table}"));
    }
    if let Some([x, y]) =
        shape.positions.iter().find(|position| !position.iter().all(|number| number.is_finite()))
    {
        return Err(format!(
            "the geometry is at {x}, {y}, which is not a valid position; draw it again, or set it to NULL"
        ));
    }
    if shape.line && shape.positions.len() < 2 {
        return Err(
            "the line has one position, and a line needs two or more; draw it again, or set it to NULL"
                .to_owned(),
        );
    }
    match shape.more {
        Some(more) => Err(format!(
            "the geometry has the height or measure {more}; put elevations into the columns, and remove it"
        )),
        None => Ok(()),
    }
}

/// Refuses lines of pipes that somebody has changed.
pub(super) fn compare_pipes(head: &Head, drawn: &Drawn) -> Result<(), ConvertError> {
    for pipe in &head.pipes {
        let Some((row, line)) = drawn.get(pipe.id.as_str()) else { continue };
        let near = |a: f64, b: f64| (a - b).abs() <= SAME;
        let same = pipe.path.len() == line.len()
            && pipe
                .path
                .iter()
                .zip(line)
                .all(|(vertex, [x, y])| near(vertex.x(), *x) && near(vertex.y(), *y));
        let moved = if pipe.path.len() >= 2 { !same } else { line.len() > 2 };
        if moved {
            let message = format!(
                "the line of pipe {:?} differs from its path in the table pipe_paths; write its vertices there, or restore the line",
                pipe.id.as_str()
            );
            return Err(format_error("pipes", *row, message));
        }
    }
    Ok(())
}
