//! The built-in registry: three embedded text tables. Nothing is parsed or allocated until a code
//! is looked up. `tools/registry.py` generates them from the EPSG dataset; see `README.md` in this
//! folder for source and terms.
//!
//! - `systems.tsv`: code, `P`rojected or `G`eographic, deprecation (`d` and the codes that replace
//!   it), name, unit, semi-major axis and inverse flattening, prime meridian (degrees east of
//!   Greenwich), area of use (west south east north), projection (method and parameters in metres
//!   and degrees; `!` and the reason if there is none), shifts (lines of `shifts.tsv`, best first;
//!   `!` and the reason if there is none).
//! - `shifts.tsv`: name, stated accuracy in metres, area of use, Helmert steps.
//! - `others.tsv`: code, kind, name, code to use instead. These systems are not supported and are
//!   refused by name.

use crate::area::Area;
use crate::datum::{DatumShift, Ellipsoid, Helmert};
use crate::unit::Unit;

/// The source of the tables.
pub(crate) const VERSION: &str = "EPSG dataset v11.022";

const SYSTEMS: &str = include_str!("systems.tsv");
const SHIFTS: &str = include_str!("shifts.tsv");
const OTHERS: &str = include_str!("others.tsv");

/// One line of `systems.tsv`.
#[derive(Debug, Clone, Copy)]
pub(crate) struct System {
    pub(crate) projected: bool,
    pub(crate) deprecated: bool,
    pub(crate) replaced_by: &'static str,
    pub(crate) name: &'static str,
    pub(crate) unit: Unit,
    pub(crate) ellipsoid: Ellipsoid,
    pub(crate) semi_major: &'static str,
    pub(crate) inverse_flattening: &'static str,
    pub(crate) prime_meridian: f64,
    pub(crate) area: [f64; 4],
    pub(crate) projection: &'static str,
    pub(crate) shifts: &'static str,
}

/// One line of `others.tsv`.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Other {
    pub(crate) kind: &'static str,
    pub(crate) name: &'static str,
    pub(crate) see: Option<u32>,
}

pub(crate) fn system(code: u32) -> Option<System> {
    parse_system(find(SYSTEMS, code)?)
}

pub(crate) fn other(code: u32) -> Option<Other> {
    let mut fields = find(OTHERS, code)?.split('\t').skip(1);
    Some(Other { kind: fields.next()?, name: fields.next()?, see: fields.next()?.parse().ok() })
}

/// The shift on line `index` (from 0) of `shifts.tsv`.
pub(crate) fn shift(index: usize) -> Option<DatumShift> {
    let mut fields = SHIFTS.lines().nth(index)?.split('\t');
    let name = fields.next()?;
    let accuracy = fields.next()?.parse().ok();
    let area = fields.next().and_then(numbers::<4>).map(Area::from);
    let steps = fields
        .next()?
        .split(';')
        .filter(|step| !step.is_empty())
        .map(parse_step)
        .collect::<Option<_>>()?;
    Some(DatumShift::new(name, accuracy, area, steps))
}

fn parse_step(text: &str) -> Option<Helmert> {
    let n = numbers::<11>(text)?;
    Some(Helmert {
        from: Ellipsoid::from_inverse(n[0], n[1]),
        translation: [n[2], n[3], n[4]],
        rotation: [n[5], n[6], n[7]],
        scale_ppm: n[8],
        to: Ellipsoid::from_inverse(n[9], n[10]),
    })
}

fn parse_system(line: &'static str) -> Option<System> {
    let mut fields = line.split('\t').skip(1);
    let projected = fields.next()? == "P";
    let flags = fields.next()?;
    let name = fields.next()?;
    let unit = Unit::from_registry(fields.next()?)?;
    let (semi_major, inverse_flattening) = fields.next()?.split_once(' ')?;
    let meridian = fields.next()?;
    Some(System {
        projected,
        deprecated: flags.starts_with('d'),
        replaced_by: flags.trim_start_matches('d'),
        name,
        unit,
        ellipsoid: Ellipsoid::from_inverse(
            semi_major.parse().ok()?,
            inverse_flattening.parse().ok()?,
        ),
        semi_major,
        inverse_flattening,
        prime_meridian: if meridian.is_empty() { 0.0 } else { meridian.parse().ok()? },
        area: numbers::<4>(fields.next()?)?,
        projection: fields.next()?,
        shifts: fields.next()?,
    })
}

fn numbers<const N: usize>(text: &str) -> Option<[f64; N]> {
    let mut out = [0.0; N];
    let mut words = text.split(' ');
    for slot in &mut out {
        *slot = words.next()?.parse().ok()?;
    }
    words.next().is_none().then_some(out)
}

/// The line of a table, sorted by its leading code, that begins with `code`.
fn find(table: &'static str, code: u32) -> Option<&'static str> {
    let (mut low, mut high) = (0, table.len());
    while low < high {
        // Any byte of a line is enough to find the line. Both ends are line breaks, so slices are
        // on character boundaries.
        let middle = low + (high - low) / 2;
        let start =
            table.as_bytes()[..middle].iter().rposition(|&b| b == b'\n').map_or(0, |at| at + 1);
        let end = start + table[start..].find('\n').unwrap_or(table.len() - start);
        let line = &table[start..end];
        let found: u32 = line.split('\t').next()?.parse().ok()?;
        match found.cmp(&code) {
            std::cmp::Ordering::Equal => return Some(line),
            std::cmp::Ordering::Less => low = end + 1,
            std::cmp::Ordering::Greater => high = start,
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_line_can_be_found_and_read() {
        let mut before = 0;
        for line in SYSTEMS.lines() {
            let code: u32 = line.split('\t').next().unwrap().parse().unwrap();
            assert!(code > before, "the table is not sorted at {code}");
            before = code;
            assert_eq!(find(SYSTEMS, code), Some(line));
            let system =
                system(code).unwrap_or_else(|| panic!("EPSG:{code} cannot be read: {line}"));
            assert_eq!(system.unit.metres().is_some(), system.projected, "EPSG:{code}");
            if system.shifts.starts_with('!') {
                continue;
            }
            for index in system.shifts.split(' ').map(|word| word.parse().unwrap()) {
                let shift = shift(index).unwrap_or_else(|| {
                    panic!("EPSG:{code} names shift {index}, which cannot be read")
                });
                // One of several is chosen by its area of use.
                assert!(shift.area().is_some() || !system.shifts.contains(' '), "EPSG:{code}");
            }
        }
        assert!(SYSTEMS.lines().count() > 6000);
    }

    #[test]
    fn every_other_kind_can_be_found_and_is_not_a_system() {
        for line in OTHERS.lines() {
            let code: u32 = line.split('\t').next().unwrap().parse().unwrap();
            let other = other(code).unwrap_or_else(|| panic!("EPSG:{code} cannot be read: {line}"));
            assert!(system(code).is_none());
            if let Some(see) = other.see {
                assert!(
                    system(see).is_some(),
                    "EPSG:{code} points at EPSG:{see}, which is not a system"
                );
            }
        }
    }

    #[test]
    fn codes_between_and_around_the_lines_are_not_found() {
        for code in [0, 1, 1999, 5703, 999_999, u32::MAX] {
            assert!(find(SYSTEMS, code).is_none(), "{code}");
        }
    }
}
