//! The error type of the crate. Every error names the reference system, vertex or distance, and
//! what to do.

/// Why a reference system, position or distance cannot be used.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum GeoError {
    /// The text is not the name of a reference system in a known spelling.
    #[error(
        "{text:?} does not name a reference system; write the authority's code as EPSG:6594, or OGC:CRS84"
    )]
    Malformed {
        /// The text.
        text: String,
    },
    /// The code is well formed, but the built-in registry has no such system.
    #[error(
        "EPSG:{code} is not in the built-in registry ({registry}); check the code, or deliver positions in a current EPSG system"
    )]
    UnknownCode {
        /// The EPSG code.
        code: u32,
        /// Name and version of the registry.
        registry: &'static str,
    },
    /// The code exists but is not a horizontal reference system.
    #[error(
        "EPSG:{code} ({name}) is a {kind} reference system and positions need a horizontal one{}",
        match see { Some(code) => format!("; use EPSG:{code}"), None => String::new() }
    )]
    NotHorizontal {
        /// The EPSG code.
        code: u32,
        /// Its name in the registry.
        name: &'static str,
        /// `vertical`, `compound`, `geographic 3D` or `geocentric`.
        kind: &'static str,
        /// The code of its horizontal part, or of the horizontal system on the same datum.
        see: Option<u32>,
    },
    /// The map projection has no implementation here.
    #[error(
        "EPSG:{code} ({name}) uses the projection method {method:?}, which is not supported; reproject the positions to another system first"
    )]
    UnsupportedMethod {
        /// The EPSG code.
        code: u32,
        /// Its name in the registry.
        name: &'static str,
        /// The EPSG name of the method.
        method: &'static str,
    },
    /// The axes do not run east and north, so `[easting, northing]` cannot be meant.
    #[error(
        "EPSG:{code} ({name}) has axes that run {axes}, but a position is [easting, northing]; reproject the positions to a system with east and north axes"
    )]
    UnsupportedAxes {
        /// The EPSG code.
        code: u32,
        /// Its name in the registry.
        name: &'static str,
        /// The directions of the axes, in the authority's order.
        axes: &'static str,
    },
    /// The transformation to WGS 84 needs a grid file for a useful accuracy, and grid files are not
    /// included.
    #[error(
        "EPSG:{code} ({name}) needs the grid {grid} for the transformation to WGS 84, and grids are not included{}; reproject the positions with a tool that has the grid",
        match accuracy_metres { Some(m) => format!(" (without it the best published transformation is accurate to {m} m)"), None => String::new() }
    )]
    NeedsGrid {
        /// The EPSG code.
        code: u32,
        /// Its name in the registry.
        name: &'static str,
        /// The grid or grids that are needed.
        grid: &'static str,
        /// Stated accuracy of the best transformation without a grid, in metres.
        accuracy_metres: Option<f64>,
    },
    /// No published transformation to WGS 84 can be applied here.
    #[error(
        "no usable transformation from EPSG:{code} ({name}) to WGS 84 is known: {why}; reproject the positions to a current system first"
    )]
    NoTransformation {
        /// The EPSG code.
        code: u32,
        /// Its name in the registry.
        name: &'static str,
        /// The reason.
        why: String,
    },
    /// The projection is not defined at this position.
    #[error(
        "position [{}, {}] cannot be transformed by EPSG:{code}; check its order, its unit and the reference system",
        position[0], position[1]
    )]
    OutOfDomain {
        /// The EPSG code.
        code: u32,
        /// The position as given.
        position: [f64; 2],
    },
    /// A coordinate is not a finite number, or not a valid latitude or longitude.
    #[error(
        "vertex {index} of the path, [{}, {}], is not a valid position in EPSG:{code}{}",
        position[0], position[1],
        if *swapped { "; longitude and latitude look swapped" } else { "" }
    )]
    BadVertex {
        /// The EPSG code of the path's system.
        code: u32,
        /// Index in the path, from 0.
        index: usize,
        /// The position as given.
        position: [f64; 2],
        /// Whether it would be valid with the two numbers swapped.
        swapped: bool,
    },
    /// A line needs two vertices.
    #[error("a path needs at least two vertices, found {found}")]
    TooFewVertices {
        /// The number of vertices.
        found: usize,
    },
    /// All vertices are in one place, so the path has no length.
    #[error("all {vertices} vertices of the path are in one place, so it has no length")]
    ZeroLength {
        /// The number of vertices.
        vertices: usize,
    },
    /// A stated length is not a positive number.
    #[error("the length must be a number above 0, found {length}")]
    BadLength {
        /// The length as given.
        length: f64,
    },
    /// A distance is not on the line.
    #[error("distance {distance} is outside the line, which runs from 0 to {length}")]
    OutsideLine {
        /// The distance, in the caller's unit.
        distance: f64,
        /// The length of the line, in the same unit.
        length: f64,
    },
    /// A stretch ends before it begins.
    #[error("the stretch ends at {to}, before it begins at {from}")]
    Backwards {
        /// Its start.
        from: f64,
        /// Its end.
        to: f64,
    },
}
