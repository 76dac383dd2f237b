//! What reference system the layers of a GeoPackage are in, held against that of the document: the
//! coordinates of a layer in another one are numbers of the wrong kind, and nothing else would
//! tell.

use std::collections::HashMap;

use obvert_geo::Crs;
use rusqlite::Connection;

/// The reference systems of a file (OGC 12-128r19, 1.1.2), and that of the document in it.
pub(super) struct Systems {
    /// `document.crs`, as it stands.
    stated: Option<String>,
    named: HashMap<i64, Named>,
}

/// A row of `gpkg_spatial_ref_sys`.
struct Named {
    /// Authority and code, as a document has them.
    code: String,
    name: String,
}

impl Systems {
    pub(super) fn of(base: &Connection) -> Self {
        // What is wrong with the document is told by whoever reads it; a system that is not there
        // is told where it is used.
        let stated =
            base.query_row("SELECT crs FROM document ORDER BY rowid LIMIT 1", [], |row| row.get(0));
        let stated = stated.ok().flatten().filter(|text: &String| !text.is_empty());
        Self { stated, named: named(base).unwrap_or_default() }
    }

    /// Whether a number is that of the document's system.
    ///
    /// # Errors
    /// A sentence that names both; `whose` is what is in the system, `there` where its number
    /// stands.
    pub(super) fn check(&self, id: i64, whose: &str, there: &str) -> Result<(), String> {
        if self.same(id) {
            return Ok(());
        }
        let found = match self.named.get(&id) {
            _ if undefined(id) => format!("no stated reference system (srs_id {id})"),
            Some(Named { code, name }) if name.is_empty() || name == code => {
                format!("{code} (srs_id {id})")
            }
            Some(Named { code, name }) => format!("{code}, {name} (srs_id {id})"),
            None => {
                format!("a reference system that gpkg_spatial_ref_sys does not have (srs_id {id})")
            }
        };
        Err(match &self.stated {
            Some(stated) => format!(
                "{whose} is in {found} and the document in {stated} (document.crs); reproject it to {stated}, or correct the one that \
                 is wrong, {there} or document.crs"
            ),
            None => format!(
                "{whose} is in {found} and the document states none; write the reference system of all positions into document.crs"
            ),
        })
    }

    fn same(&self, id: i64) -> bool {
        let known = self.stated.as_deref().and_then(|stated| Crs::parse(stated).ok());
        if undefined(id) {
            // A system that only the document knows does not outlast a program that copies the
            // file.
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

/// The numbers that mean that nothing is said of the system (OGC 12-128r19, requirement 11).
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
