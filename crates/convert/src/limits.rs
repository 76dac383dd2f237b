//! Limits for unpacking a zip archive from an untrusted source.

/// Limits for unpacking an archive.
#[doc(alias = "zip bomb")]
#[non_exhaustive]
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

    /// These limits with another [`total`](Self::total).
    #[must_use]
    pub const fn with_total(self, total: u64) -> Self {
        Self { total, ..self }
    }

    /// These limits with another [`ratio`](Self::ratio).
    #[must_use]
    pub const fn with_ratio(self, ratio: u64) -> Self {
        Self { ratio, ..self }
    }
}

impl Default for ZipLimits {
    fn default() -> Self {
        Self::DEFAULT
    }
}
