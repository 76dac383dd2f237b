//! The reference systems of the layers of a GeoPackage, compared with that of the document. The
//! coordinates of a layer in another system would be wrong numbers, and nothing else would reveal
//! it.

use std::collections::HashMap;

use obvert_geo::Crs;
use rusqlite::Connection;

/// The reference systems of a file (OGC 12-128r19, 1.1.2), and that of the document among them.
pub(super) struct Systems {
    /// `document.crs` as it is in the file.
    stated: Option<String>,
    named: HashMap<i64, Named>,
}

/// A row of `gpkg_spatial_ref_sys`.
struct Named {
    /// Authority and code, as in a document.
    code: String,
    name: String,
}

impl Systems {
    pub(super) fn of(base: &Connection) -> Self {
        // The reader reports errors of the document; a missing system is reported where it is used.
        let stated =
            base.query_row("SELECT crs FROM document ORDER BY rowid LIMIT 1", [], |row| row.get(0));
        let stated = stated.ok().flatten().filter(|text: &String| !text.is_empty());
        Self { stated, named: named(base).unwrap_or_default() }
    }

    /// Whether an srs_id is that of the document's system.
    ///
    /// # Errors
    /// A message that names both. `whose` is the subject that has the system, `there` the place of
    /// its srs_id.
    pub(super) fn check(&self, id: i64, whose: &str, there: &str) -> Result<(), String> {
        if self.same(id) {
            return Ok(());
        }
        let found = match self.named.get(&id) {
            _ if undefined(id) => format!("an undefined reference system (srs_id {id})"),
            Some(Named { code, name }) if name.is_empty() || name == code => {
                format!("{code} (srs_id {id})")
            }
            Some(Named { code, name }) => format!("{code}, {name} (srs_id {id})"),
            None => {
                format!("a reference system that is missing in gpkg_spatial_ref_sys (srs_id {id})")
            }
        };
        Err(match &self.stated {
            Some(stated) => format!(
                "{whose} is in {found} and the document in {stated} (document.crs); reproject it to {stated}, or correct the one that \
                 is wrong, {there} or document.crs"
            ),
            None => format!(
                "{whose} is in {found}, and the document has no reference system; write that of all positions into document.crs"
            ),
        })
    }

    fn same(&self, id: i64) -> bool {
        let known = self.stated.as_deref().and_then(|stated| Crs::parse(stated).ok());
        if undefined(id) {
            // A system that is only in the document gets lost when a program copies the file.
            return known.is_none();
        }
        let (Some(stated), Some(Named { code, name })) = (&self.stated, self.named.get(&id)) else {
            return false;
        };
        match known {
            Some(crs) => Crs::parse(code).is_ok_and(|other| other == crs),
            None => stated.eq_ignore_ascii_case(code) || stated == name,
        }
    }
}

/// The numbers of an undefined system (OGC 12-128r19, requirement 11).
fn undefined(id: i64) -> bool {
    matches!(id, -1 | 0)
}

fn named(base: &Connection) -> rusqlite::Result<HashMap<i64, Named>> {
    let query =
        "SELECT srs_id, organization, organization_coordsys_id, srs_name FROM gpkg_spatial_ref_sys";
    let mut list = base.prepare(query)?;
    let rows = list.query_map([], |row| {
        let (organization, code): (String, i64) = (row.get(1)?, row.get(2)?);
        Ok((row.get(0)?, Named { code: format!("{organization}:{code}"), name: row.get(3)? }))
    })?;
    rows.collect()
}
