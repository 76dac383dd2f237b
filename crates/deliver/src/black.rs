//! Finds pictures that are black all over: the lamp was off, or the lens was covered.
//!
//! A picture is decoded only if it has few bytes for its pixels, as a black one has: decoding takes
//! far longer than reading.

use std::io::{Read, Seek, SeekFrom};

use zune_jpeg::JpegDecoder;
use zune_jpeg::zune_core::bytestream::ZCursor;
use zune_jpeg::zune_core::colorspace::ColorSpace;
use zune_jpeg::zune_core::options::DecoderOptions;

/// How many pixels there are at least for a bit of a black picture. A black JPEG has 5 to 20, one of
/// a lit pipe about 1; common practice, no published source.
const PIXELS: u64 = 2;

/// The largest picture that is decoded, in bytes and in pixels.
const MOST_BYTES: u64 = 16 << 20;
const MOST_PIXELS: u64 = 64 << 20;

/// The brightness, of 255, that 999 of 1,000 pixels of a black picture do not exceed.
const DARK: u8 = 20;

/// Whether a whole picture is black all over. What is not a JPEG or PNG, or cannot be decoded, is
/// not.
pub(crate) fn is_black<R: Read + Seek>(
    reader: &mut R,
    bytes: u64,
    media_type: &str,
) -> std::io::Result<bool> {
    if bytes > MOST_BYTES || !matches!(media_type, "image/jpeg" | "image/png") {
        return Ok(false);
    }
    reader.seek(SeekFrom::Start(0))?;
    let mut content = Vec::new();
    reader.take(MOST_BYTES).read_to_end(&mut content)?;
    let brightness = match media_type {
        "image/jpeg" => jpeg(&content),
        _ => png(&content),
    };
    Ok(brightness.is_some_and(|pixels| is_dark(&pixels)))
}

/// Whether so many bytes for so many pixels can be black.
fn plausible(bytes: usize, pixels: u64) -> bool {
    pixels > 0 && pixels <= MOST_PIXELS && bytes as u64 * 8 * PIXELS <= pixels
}

/// The brightness of each pixel of a JPEG.
fn jpeg(content: &[u8]) -> Option<Vec<u8>> {
    let options = DecoderOptions::default().jpeg_set_out_colorspace(ColorSpace::Luma);
    let mut decoder = JpegDecoder::new_with_options(ZCursor::new(content), options);
    decoder.decode_headers().ok()?;
    let info = decoder.info()?;
    if !plausible(content.len(), u64::from(info.width) * u64::from(info.height)) {
        return None;
    }
    decoder.decode().ok()
}

/// The brightest channel of each pixel of a PNG.
fn png(content: &[u8]) -> Option<Vec<u8>> {
    let mut decoder = png::Decoder::new(std::io::Cursor::new(content));
    decoder.set_transformations(png::Transformations::normalize_to_color8());
    let mut reader = decoder.read_info().ok()?;
    let (width, height) = reader.info().size();
    if !plausible(content.len(), u64::from(width) * u64::from(height)) {
        return None;
    }
    let mut pixels = vec![0; reader.output_buffer_size()?];
    let info = reader.next_frame(&mut pixels).ok()?;
    let (samples, alpha) = match info.color_type {
        png::ColorType::Grayscale => (1, 0),
        png::ColorType::GrayscaleAlpha => (2, 1),
        png::ColorType::Rgb => (3, 0),
        png::ColorType::Rgba => (4, 1),
        png::ColorType::Indexed => return None,
    };
    let pixels = pixels.get(..info.buffer_size())?.chunks_exact(samples);
    let brightest = |pixel: &[u8]| pixel[..samples - alpha].iter().copied().max().unwrap_or(0);
    Some(pixels.map(brightest).collect())
}

/// Whether 999 of 1,000 pixels are dark.
fn is_dark(pixels: &[u8]) -> bool {
    let bright = pixels.iter().filter(|pixel| **pixel > DARK).count();
    !pixels.is_empty() && bright * 1000 <= pixels.len()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::expect_used)]

    use std::io::Cursor;

    use super::is_black;

    /// A PNG of 64 by 64 pixels of three channels.
    fn png_of(pixel: impl Fn(usize) -> [u8; 3]) -> Vec<u8> {
        let mut content = Vec::new();
        let mut encoder = png::Encoder::new(&mut content, 64, 64);
        encoder.set_color(png::ColorType::Rgb);
        encoder.set_depth(png::BitDepth::Eight);
        let mut writer = encoder.write_header().expect("a header");
        let pixels: Vec<u8> = (0..64 * 64).flat_map(pixel).collect();
        writer.write_image_data(&pixels).expect("pixels");
        writer.finish().expect("an end");
        content
    }

    fn black(content: &[u8], media_type: &str) -> bool {
        is_black(&mut Cursor::new(content), content.len() as u64, media_type).expect("readable")
    }

    #[test]
    fn a_black_picture_is_found_and_a_dark_one_is_not() {
        assert!(black(&png_of(|_| [0, 0, 0]), "image/png"));
        assert!(black(&png_of(|_| [9, 9, 9]), "image/png"));
        // A lamp far away.
        assert!(!black(&png_of(|at| if at < 60 { [200, 190, 180] } else { [0; 3] }), "image/png"));
        assert!(!black(&png_of(|_| [60, 60, 60]), "image/png"));
        assert!(!black(&png_of(|_| [0, 0, 0]), "video/mp4"));
        assert!(!black(b"no picture", "image/jpeg"));
    }
}
