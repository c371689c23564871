//! Takes out of a photograph where it was taken, and all else that it says beside its picture: who, when,
//! with what. What is left is what a viewer needs: the picture, its colours, and which way is up.
//!
//! JPEG is ITU-T T.81 with the Exif segment of CIPA DC-008, PNG is ISO/IEC 15948, WebP is RFC 9649.

use axum::body::Bytes;
use img_parts::jpeg::{Jpeg, JpegSegment};
use img_parts::png::Png;
use img_parts::riff::RiffChunk;
use img_parts::webp::WebP;
use img_parts::{Error, ImageEXIF};

/// Chunks of a PNG that change how it looks; the others are left out.
const PNG_KEPT: [&[u8; 4]; 14] = [
    b"IHDR", b"PLTE", b"IDAT", b"IEND", b"tRNS", b"cHRM", b"gAMA", b"iCCP", b"sBIT", b"sRGB",
    b"bKGD", b"pHYs", b"cICP", b"eXIf",
];
/// The same of a WebP.
const WEBP_KEPT: [&[u8; 4]; 8] = [
    b"VP8 ", b"VP8L", b"VP8X", b"ALPH", b"ANIM", b"ANMF", b"ICCP", b"EXIF",
];
/// Application segments of a JPEG, by their markers (T.81, table B.1).
const APP0: u8 = 0xE0;
const APP2: u8 = 0xE2;
const APP14: u8 = 0xEE;
const APP15: u8 = 0xEF;
/// A comment.
const COM: u8 = 0xFE;

/// The photograph without them; its media type is one that [`can`] says.
///
/// # Errors
/// If it cannot be read as what it begins as.
pub fn taken_out(media_type: &str, bytes: Bytes) -> Result<Bytes, Error> {
    match media_type {
        "image/png" => {
            let mut png = Png::from_bytes(bytes)?;
            upright(&mut png);
            png.chunks_mut().retain(|c| PNG_KEPT.contains(&&c.kind()));
            Ok(png.encoder().bytes())
        }
        "image/webp" => {
            let mut webp = WebP::from_bytes(bytes)?;
            webp.chunks_mut()
                .retain(|c: &RiffChunk| WEBP_KEPT.contains(&&c.id()));
            upright(&mut webp);
            Ok(webp.encoder().bytes())
        }
        _ => jpeg(bytes),
    }
}

/// Whether it can be taken out of photographs of that type.
#[must_use]
pub fn can(media_type: &str) -> bool {
    media_type != "image/heic"
}

fn jpeg(bytes: Bytes) -> Result<Bytes, Error> {
    let mut jpeg = Jpeg::from_bytes(bytes)?;
    upright(&mut jpeg);
    jpeg.segments_mut().retain(shows);
    let coded = jpeg
        .segments()
        .last()
        .map_or(0, |s| s.len_with_entropy() - s.len());
    let bytes = jpeg.encoder().bytes();
    let start = bytes.len().saturating_sub(coded);
    // Behind its end a file may hold a second picture, with the same things said of it.
    let end = end_of_image(&bytes, start).ok_or(Error::Truncated)?;
    Ok(bytes.slice(..end))
}

/// Whether a segment changes how the picture looks.
fn shows(segment: &JpegSegment) -> bool {
    match segment.marker() {
        APP0 | APP14 => true,
        APP2 => segment.contents().starts_with(b"ICC_PROFILE\0"),
        // What `upright` wrote.
        0xE1 => segment.contents().starts_with(b"Exif\0\0") && segment.contents().len() == 6 + TIFF,
        0xE3..=APP15 | COM => false,
        _ => true,
    }
}

/// Behind the end of the image (T.81, B.1.1.2): markers stand between the coded data, some with a length.
fn end_of_image(bytes: &[u8], start: usize) -> Option<usize> {
    let mut at = start;
    loop {
        at += bytes.get(at..)?.iter().position(|b| *b == 0xFF)?;
        match *bytes.get(at + 1)? {
            0xD9 => return Some(at + 2),
            0x00 | 0x01 | 0xD0..=0xD7 => at += 2,
            0xFF => at += 1,
            _ => {
                let length = bytes.get(at + 2..at + 4)?;
                at += 2 + usize::from(u16::from_be_bytes([length[0], length[1]]));
            }
        }
    }
}

/// Bytes of the Exif data that says which way is up, and nothing else.
const TIFF: usize = 26;

/// Leaves of a picture's Exif data only which way is up.
fn upright(picture: &mut impl ImageEXIF) {
    let way = picture.exif().and_then(|data| {
        let read = exif::Reader::new().read_raw(data.to_vec()).ok()?;
        let field = read.get_field(exif::Tag::Orientation, exif::In::PRIMARY)?;
        let way = u16::try_from(field.value.get_uint(0)?).ok()?;
        (2..=8).contains(&way).then_some(way)
    });
    picture.set_exif(way.map(|way| {
        // A TIFF header, and a directory of one entry: 0x0112, one SHORT.
        let mut tiff = Vec::with_capacity(TIFF);
        tiff.extend_from_slice(b"II*\0\x08\0\0\0\x01\0\x12\x01\x03\0\x01\0\0\0");
        tiff.extend_from_slice(&way.to_le_bytes());
        tiff.extend_from_slice(&[0; 6]);
        tiff.into()
    }));
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Exif data as a phone writes it: on its side (6), with the place in a directory of its own.
    fn exif_of_a_phone() -> Vec<u8> {
        let mut tiff = b"II*\0\x08\0\0\0\x02\0".to_vec();
        tiff.extend_from_slice(b"\x12\x01\x03\0\x01\0\0\0\x06\0\0\0");
        tiff.extend_from_slice(b"\x25\x88\x04\0\x01\0\0\0\x26\0\0\0\0\0\0\0");
        // GPSLatitudeRef (1) is text: N.
        tiff.extend_from_slice(b"\x01\0\x01\0\x02\0\x02\0\0\0N\0\0\0\0\0\0\0");
        tiff
    }

    /// The fields of a picture's Exif data.
    fn said(picture: &impl ImageEXIF) -> Vec<(exif::Tag, u32)> {
        let Some(data) = picture.exif() else {
            return Vec::new();
        };
        let read = exif::Reader::new().read_raw(data.to_vec()).expect("Exif");
        read.fields()
            .map(|f| (f.tag, f.value.get_uint(0).unwrap_or(0)))
            .collect()
    }

    const ONLY_UP: [(exif::Tag, u32); 1] = [(exif::Tag::Orientation, 6)];

    #[test]
    fn a_jpeg_keeps_its_picture_and_which_way_is_up() {
        let segment = |marker, bytes: &[u8]| {
            JpegSegment::new_with_contents(marker, Bytes::copy_from_slice(bytes))
        };
        let coded = b"\x12\xFF\x00\xFF\xD0\x34\xFF\xC4\x00\x04\xFF\xD9\x56\xFF\xD9a second picture, taken at N";
        let picture = [
            segment(APP0, b"JFIF\0"),
            segment(0xE1, b"a packet of metadata\0<at>N</at>"),
            segment(APP2, b"ICC_PROFILE\0\x01\x01"),
            segment(APP2, b"MPF\0"),
            segment(0xED, b"city"),
            segment(COM, b"at N"),
            segment(0xDB, b"table"),
            JpegSegment::new_with_entropy(
                0xDA,
                Bytes::from_static(b"scan"),
                Bytes::from_static(coded),
            ),
        ];
        let mut jpeg =
            Jpeg::from_bytes(Bytes::from_static(b"\xFF\xD8\xFF\xD9")).expect("an empty one");
        jpeg.segments_mut().extend(picture);
        jpeg.set_exif(Some(exif_of_a_phone().into()));
        assert!(said(&jpeg).len() > 1, "the place is there before");
        let out = taken_out("image/jpeg", jpeg.encoder().bytes()).expect("read");
        assert!(
            out.ends_with(b"\x56\xFF\xD9"),
            "its end is its own, not the table's in its middle"
        );
        let jpeg = Jpeg::from_bytes(out).expect("a picture still");
        assert_eq!(said(&jpeg), ONLY_UP);
        let markers: Vec<u8> = jpeg.segments().iter().map(JpegSegment::marker).collect();
        assert_eq!(markers, [APP0, 0xE1, APP2, 0xDB, 0xDA]);
    }

    #[test]
    fn a_png_and_a_webp_do_too() {
        let mut png = Png::from_bytes(Bytes::from_static(
            b"\x89PNG\r\n\x1a\n\0\0\0\0IEND\xae\x42\x60\x82",
        ))
        .expect("an empty one");
        let chunk = |kind, bytes: &'static [u8]| {
            img_parts::png::PngChunk::new(kind, Bytes::from_static(bytes))
        };
        png.chunks_mut().insert(0, chunk(*b"tEXt", b"at\0N"));
        png.chunks_mut().insert(0, chunk(*b"IHDR", b"head"));
        png.set_exif(Some(exif_of_a_phone().into()));
        let out = taken_out("image/png", png.encoder().bytes()).expect("read");
        let png = Png::from_bytes(out).expect("a picture still");
        assert_eq!(said(&png), ONLY_UP);
        let kinds: Vec<[u8; 4]> = png.chunks().iter().map(|c| c.kind()).collect();
        assert_eq!(kinds, [*b"IHDR", *b"eXIf", *b"IEND"]);

        let mut file = b"RIFF\0\0\0\0WEBPVP8L\x06\0\0\0\x2f\0\0\0\0\0XMP \x02\0\0\0N ".to_vec();
        let size = u32::try_from(file.len() - 8).expect("small");
        file[4..8].copy_from_slice(&size.to_le_bytes());
        let mut webp = WebP::from_bytes(file.into()).expect("a small one");
        webp.set_exif(Some(exif_of_a_phone().into()));
        let out = taken_out("image/webp", webp.encoder().bytes()).expect("read");
        let webp = WebP::from_bytes(out).expect("a picture still");
        assert_eq!(said(&webp), ONLY_UP);
        assert!(!webp.has_chunk(*b"XMP "));
    }

    #[test]
    fn what_is_cut_short_is_refused() {
        for (kind, bytes) in [
            ("image/jpeg", &b"\xFF\xD8\xFF\xE0\x00\x10JFIF"[..]),
            ("image/jpeg", b"\xFF\xD8\xFF\xDA\x00\x02\x12\x34"),
            ("image/png", b"\x89PNG\r\n\x1a\n\0\0\xFF\xFFIHDR"),
            ("image/webp", b"RIFF\xFF\0\0\0WEBPVP8 "),
        ] {
            assert!(
                taken_out(kind, Bytes::from_static(bytes)).is_err(),
                "{kind}"
            );
        }
    }
}
