//! The tables that make a database a GeoPackage, and those of the survey in it. The definitions are
//! those of OGC 12-128r19, Annex C and, for the triggers of the spatial index, F.3.

use super::{GEOMETRY, KEY, LAYERS, STRETCHES, name_of, quoted};
use crate::tables::plan::{Column, Kind, Moment, ORDER, Plan, Table};

/// The application id of the file, and its version: `GPKG` and 1.4.0.
pub(super) const MARKS: &str = "PRAGMA application_id = 1196444487; PRAGMA user_version = 10400;";

pub(super) const CORE: &str = "
CREATE TABLE gpkg_spatial_ref_sys (srs_name TEXT NOT NULL, srs_id INTEGER PRIMARY KEY, organization TEXT NOT NULL, \
organization_coordsys_id INTEGER NOT NULL, definition TEXT NOT NULL, description TEXT);
INSERT INTO gpkg_spatial_ref_sys VALUES \
('Undefined cartesian SRS', -1, 'NONE', -1, 'undefined', 'undefined cartesian coordinate reference system'), \
('Undefined geographic SRS', 0, 'NONE', 0, 'undefined', 'undefined geographic coordinate reference system');
CREATE TABLE gpkg_contents (table_name TEXT NOT NULL PRIMARY KEY, data_type TEXT NOT NULL, identifier TEXT UNIQUE, \
description TEXT DEFAULT '', last_change DATETIME NOT NULL DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now')), \
min_x DOUBLE, min_y DOUBLE, max_x DOUBLE, max_y DOUBLE, srs_id INTEGER, \
CONSTRAINT fk_gc_r_srs_id FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys(srs_id));
CREATE TABLE gpkg_geometry_columns (table_name TEXT NOT NULL, column_name TEXT NOT NULL, geometry_type_name TEXT NOT NULL, \
srs_id INTEGER NOT NULL, z TINYINT NOT NULL, m TINYINT NOT NULL, \
CONSTRAINT pk_geom_cols PRIMARY KEY (table_name, column_name), CONSTRAINT uk_gc_table_name UNIQUE (table_name), \
CONSTRAINT fk_gc_tn FOREIGN KEY (table_name) REFERENCES gpkg_contents(table_name), \
CONSTRAINT fk_gc_srs FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys (srs_id));
CREATE TABLE gpkg_extensions (table_name TEXT, column_name TEXT, extension_name TEXT NOT NULL, definition TEXT NOT NULL, \
scope TEXT NOT NULL, CONSTRAINT ge_tce UNIQUE (table_name, column_name, extension_name));
CREATE TABLE gpkg_data_columns (table_name TEXT NOT NULL, column_name TEXT NOT NULL, name TEXT, title TEXT, description TEXT, \
mime_type TEXT, constraint_name TEXT, CONSTRAINT pk_gdc PRIMARY KEY (table_name, column_name), \
CONSTRAINT gdc_tn UNIQUE (table_name, name));
CREATE TABLE gpkg_data_column_constraints (constraint_name TEXT NOT NULL, constraint_type TEXT NOT NULL, value TEXT, min NUMERIC, \
min_is_inclusive BOOLEAN, max NUMERIC, max_is_inclusive BOOLEAN, description TEXT, \
CONSTRAINT gdcc_ntv UNIQUE (constraint_name, constraint_type, value));
INSERT INTO gpkg_extensions VALUES \
('gpkg_data_columns', NULL, 'gpkg_schema', 'http://www.geopackage.org/spec/#extension_schema', 'read-write'), \
('gpkg_data_column_constraints', NULL, 'gpkg_schema', 'http://www.geopackage.org/spec/#extension_schema', 'read-write');
";

/// The type of a column (OGC 12-128r19, table 1).
pub(super) fn type_of(column: &Column) -> &'static str {
    match (&column.kind, column.moment()) {
        (Kind::Number, _) => "DOUBLE",
        (Kind::Whole, _) => "INTEGER",
        (Kind::Bool, _) => "BOOLEAN",
        (_, Some(Moment::Day)) => "DATE",
        _ => "TEXT",
    }
}

/// The geometry type of a layer.
pub(super) fn layer(name: &str) -> Option<&'static str> {
    LAYERS.iter().find(|(layer, _)| *layer == name).map(|(_, kind)| *kind)
}

/// The statement that creates a table of the survey.
pub(super) fn create(plan: &Plan, table: &Table) -> String {
    let name = name_of(table);
    let mut parts = vec![format!("{KEY} INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL")];
    parts.extend(layer(&name).map(|kind| format!("{GEOMETRY} {kind}")));
    for key in &table.keys {
        let kind = if key.number { "INTEGER" } else { "TEXT" };
        parts.push(format!("{} {kind} NOT NULL", quoted(&key.heading)));
    }
    if table.ordered {
        parts.push(format!("{} INTEGER NOT NULL", quoted(ORDER)));
    }
    for column in &table.columns {
        let required = if column.required { " NOT NULL" } else { "" };
        parts.push(format!("{} {}{required}", quoted(&column.heading), type_of(column)));
    }
    let list =
        |names: &[String]| names.iter().map(|name| quoted(name)).collect::<Vec<_>>().join(", ");
    parts.push(format!("UNIQUE ({})", list(&table.primary_key())));
    // The row that contains a row always exists; other references of a document may point to
    // nothing.
    if let Some(parent) = plan.parent(table).filter(|_| !table.keys.is_empty()) {
        let keys: Vec<String> = table.keys.iter().map(|key| key.heading.clone()).collect();
        let target = quoted(&name_of(parent));
        parts.push(format!(
            "FOREIGN KEY ({}) REFERENCES {target} ({})",
            list(&keys),
            list(&parent.primary_key())
        ));
    }
    format!("CREATE TABLE {} ({});", quoted(&name), parts.join(", "))
}

/// The statement that creates the layer of stretches.
pub(super) fn create_stretches() -> String {
    format!(
        "CREATE TABLE {STRETCHES} ({KEY} INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, {GEOMETRY} LINESTRING, \"run\" TEXT NOT NULL, \
         \"observation\" TEXT NOT NULL, \"code\" TEXT NOT NULL, \"at\" DOUBLE NOT NULL, \"to\" DOUBLE NOT NULL);"
    )
}

/// The spatial index of a layer, filled from the layer, and the triggers that keep it up to date.
pub(super) fn index(layer: &str) -> String {
    let (t, c, i) = (layer, GEOMETRY, KEY);
    let there = |row: &str| format!("({row}.{c} NOTNULL AND NOT ST_IsEmpty({row}.{c}))");
    let gone = |row: &str| format!("({row}.{c} ISNULL OR ST_IsEmpty({row}.{c}))");
    let values =
        format!("NEW.{i}, ST_MinX(NEW.{c}), ST_MaxX(NEW.{c}), ST_MinY(NEW.{c}), ST_MaxY(NEW.{c})");
    let rtree = format!("rtree_{t}_{c}");
    format!(
        "CREATE TRIGGER {rtree}_insert AFTER INSERT ON {t} WHEN {there_new} \
         BEGIN INSERT OR REPLACE INTO {rtree} VALUES ({values}); END;
         CREATE TRIGGER {rtree}_update6 AFTER UPDATE OF {c} ON {t} WHEN OLD.{i} = NEW.{i} AND {there_new} AND {there_old} \
         BEGIN UPDATE {rtree} SET minx = ST_MinX(NEW.{c}), maxx = ST_MaxX(NEW.{c}), miny = ST_MinY(NEW.{c}), \
         maxy = ST_MaxY(NEW.{c}) WHERE id = NEW.{i}; END;
         CREATE TRIGGER {rtree}_update7 AFTER UPDATE OF {c} ON {t} WHEN OLD.{i} = NEW.{i} AND {there_new} AND {gone_old} \
         BEGIN INSERT INTO {rtree} VALUES ({values}); END;
         CREATE TRIGGER {rtree}_update2 AFTER UPDATE OF {c} ON {t} WHEN OLD.{i} = NEW.{i} AND {gone_new} \
         BEGIN DELETE FROM {rtree} WHERE id = OLD.{i}; END;
         CREATE TRIGGER {rtree}_update5 AFTER UPDATE ON {t} WHEN OLD.{i} != NEW.{i} AND {there_new} \
         BEGIN DELETE FROM {rtree} WHERE id = OLD.{i}; INSERT OR REPLACE INTO {rtree} VALUES ({values}); END;
         CREATE TRIGGER {rtree}_update4 AFTER UPDATE ON {t} WHEN OLD.{i} != NEW.{i} AND {gone_new} \
         BEGIN DELETE FROM {rtree} WHERE id IN (OLD.{i}, NEW.{i}); END;
         CREATE TRIGGER {rtree}_delete AFTER DELETE ON {t} WHEN OLD.{c} NOT NULL \
         BEGIN DELETE FROM {rtree} WHERE id = OLD.{i}; END;
         INSERT INTO gpkg_extensions VALUES ('{t}', '{c}', 'gpkg_rtree_index', \
         'http://www.geopackage.org/spec/#extension_rtree', 'write-only');",
        there_new = there("NEW"),
        there_old = there("OLD"),
        gone_new = gone("NEW"),
        gone_old = gone("OLD"),
    )
}
