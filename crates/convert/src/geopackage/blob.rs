//! Geometries in GeoPackages (OGC 12-128r19, 2.1.3): a header, an envelope, and well-known binary.

/// A position, x first.
pub(super) type Xy = [f64; 2];

const POINT: u32 = 1;
const LINE: u32 = 2;

/// The smallest box around positions: west, south, east, north.
pub(super) fn bounds(positions: &[Xy]) -> Option<[f64; 4]> {
    let first = positions.first()?;
    let start = [first[0], first[1], first[0], first[1]];
    Some(positions.iter().fold(start, |[west, south, east, north], [x, y]| {
        [west.min(*x), south.min(*y), east.max(*x), north.max(*y)]
    }))
}

/// The blob of a point, or of a line of at least two positions.
pub(super) fn write(positions: &[Xy], line: bool, system: i32) -> Vec<u8> {
    let mut blob = b"GP\0".to_vec();
    // Little-endian; an envelope of x and y for lines, and none for points, which need none.
    let envelope = if line { bounds(positions) } else { None };
    blob.push(if envelope.is_some() { 0b0000_0011 } else { 0b0000_0001 });
    blob.extend(system.to_le_bytes());
    if let Some([west, south, east, north]) = envelope {
        for number in [west, east, south, north] {
            blob.extend(number.to_le_bytes());
        }
    }
    blob.push(1);
    blob.extend(if line { LINE } else { POINT }.to_le_bytes());
    if line {
        blob.extend(u32::try_from(positions.len()).unwrap_or(u32::MAX).to_le_bytes());
    }
    for [x, y] in positions {
        blob.extend(x.to_le_bytes());
        blob.extend(y.to_le_bytes());
    }
    blob
}

/// A geometry of a row.
#[derive(Debug, PartialEq)]
pub(super) struct Shape {
    /// The number of its reference system.
    pub(super) system: i32,
    /// Whether it is a line; otherwise it is a point.
    pub(super) line: bool,
    /// `None` for an empty geometry.
    pub(super) positions: Vec<Xy>,
    /// A height or measure in it that is neither 0 nor NaN.
    pub(super) more: Option<f64>,
}

/// The point or line of a blob; `None` for an empty geometry.
pub(super) fn read(blob: &[u8]) -> Result<Option<Shape>, &'static str> {
    const DAMAGED: &str =
        "the geometry is not valid in a GeoPackage (OGC 12-128r19, 2.1.3); draw it again";
    if blob.get(..3) != Some(b"GP\0") {
        return Err(DAMAGED);
    }
    let flags = *blob.get(3).ok_or(DAMAGED)?;
    let envelope = match (flags >> 1) & 7 {
        0 => 0,
        1 => 32,
        2 | 3 => 48,
        4 => 64,
        _ => return Err(DAMAGED),
    };
    if flags & 0b0001_0000 != 0 {
        return Ok(None);
    }
    let mut header = Wkb { bytes: blob.get(4..).ok_or(DAMAGED)?, little: flags & 1 == 1 };
    let system = header.integer().ok_or(DAMAGED)?.cast_signed();
    let mut rest = Wkb { bytes: blob.get(8 + envelope..).ok_or(DAMAGED)?, little: true };
    rest.little = rest.take::<1>().ok_or(DAMAGED)? == [1];
    let kind = rest.integer().ok_or(DAMAGED)?;
    let others = match kind / 1000 {
        0 => 0,
        1 | 2 => 1,
        3 => 2,
        _ => return Err(DAMAGED),
    };
    let count = match kind % 1000 {
        POINT => 1,
        LINE => rest.integer().ok_or(DAMAGED)?,
        _ => {
            return Err(
                "the geometry is neither a point nor a line, or has several parts; draw it as one point or line",
            );
        }
    };
    let mut shape = Shape { system, line: kind % 1000 == LINE, positions: Vec::new(), more: None };
    for _ in 0..count {
        let position = [rest.number().ok_or(DAMAGED)?, rest.number().ok_or(DAMAGED)?];
        for _ in 0..others {
            let other = rest.number().ok_or(DAMAGED)?;
            // Programs that support only positions with three numbers write 0, or NaN.
            if other != 0.0 && !other.is_nan() {
                shape.more.get_or_insert(other);
            }
        }
        shape.positions.push(position);
    }
    // An empty point has NaN as its numbers.
    let empty = if shape.line {
        count == 0
    } else {
        shape.positions.iter().flatten().all(|number| number.is_nan())
    };
    Ok(Some(shape).filter(|_| !empty))
}

struct Wkb<'b> {
    bytes: &'b [u8],
    little: bool,
}

impl Wkb<'_> {
    fn take<const N: usize>(&mut self) -> Option<[u8; N]> {
        let (taken, rest) = self.bytes.split_first_chunk::<N>()?;
        self.bytes = rest;
        Some(*taken)
    }
    fn integer(&mut self) -> Option<u32> {
        let bytes = self.take()?;
        Some(if self.little { u32::from_le_bytes(bytes) } else { u32::from_be_bytes(bytes) })
    }
    fn number(&mut self) -> Option<f64> {
        let bytes = self.take()?;
        Some(if self.little { f64::from_le_bytes(bytes) } else { f64::from_be_bytes(bytes) })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn geometries_come_back() {
        for (positions, line) in [(vec![[1.5, -2.0]], false), (vec![[0.1, 0.2], [3.0, 1e7]], true)]
        {
            let blob = write(&positions, line, 6594);
            assert_eq!(read(&blob), Ok(Some(Shape { system: 6594, line, positions, more: None })));
        }
    }

    /// Well-known binary of OGC 06-103r4, 8.2: big-endian, with a height (1001), and an empty point
    /// (its numbers are NaN).
    #[test]
    fn what_others_write_is_read() {
        let point = |z: f64| {
            let mut blob = b"GP\0\x00\x00\x00\x19\xC2\x00\x00\x00\x03\xE9".to_vec();
            for number in [1.0_f64, 2.0, z] {
                blob.extend(number.to_be_bytes());
            }
            blob
        };
        let shape =
            |more| Ok(Some(Shape { system: 6594, line: false, positions: vec![[1.0, 2.0]], more }));
        assert_eq!(read(&point(3.0)), shape(Some(3.0)));
        assert_eq!(read(&point(0.0)), shape(None));
        assert_eq!(read(&point(f64::NAN)), shape(None));
        assert_eq!(read(&write(&[[f64::NAN, f64::NAN]], false, 0)), Ok(None));
        for length in 0..point(3.0).len() {
            assert!(read(&point(3.0)[..length]).is_err(), "{length}");
        }
    }
}
