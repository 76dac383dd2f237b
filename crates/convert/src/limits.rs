//! Limits for unpacking a zip archive from an untrusted source.

/// Limits for unpacking an archive.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ZipLimits {
    /// All files together, in bytes.
    pub total: u64,
    /// How many times larger than in the archive a file may be, once it is over 16 MiB. Tables of
    /// similar rows compress to about a twentieth of their size; a file that compresses to a
    /// thousandth is a decompression bomb.
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
