//! How far a zip archive may unpack. Whoever receives one did not make it.

/// How far an archive may unpack.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ZipLimits {
    /// All files together, in bytes.
    pub total: u64,
    /// How many times a file may be larger than it is in the archive, once it is over 16 MiB.
    /// Tables of many alike rows are packed to about a twentieth; what is packed to a thousandth
    /// was made to be a nuisance.
    pub ratio: u64,
}

impl ZipLimits {
    /// 1 GiB in total, 200 times the size in the archive.
    pub const DEFAULT: Self = Self { total: 1 << 30, ratio: 200 };
}

impl Default for ZipLimits {
    fn default() -> Self {
        Self::DEFAULT
    }
}
