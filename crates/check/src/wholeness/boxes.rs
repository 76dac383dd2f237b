//! MP4, QuickTime and HEIF: boxes (ISO/IEC 14496-12 and 23008-12; from memory). The boxes fill the
//! file, there is an index, and every sample that it names is inside.

use super::items;
use super::moments::Moments;
use super::samples;
use super::source::{Source, Stop, shown};

/// A box: its name, where its content begins, and where it ends.
#[derive(Clone, Copy)]
pub(super) struct Box {
    pub(super) name: [u8; 4],
    pub(super) content: u64,
    pub(super) end: u64,
}

/// The box at a place inside another one that ends at `end`. `open` tells whether it has no stated
/// size and goes to the end of the file.
pub(super) fn box_at(source: &mut Source<'_>, place: u64, end: u64) -> Result<(Box, bool), Stop> {
    let size = source.big(place, 4, "the header of a box")?;
    let name = source.name(place + 4, "the header of a box")?;
    let what = format!("its box {}", shown(name));
    let (content, size, open) = match size {
        0 => (place + 8, end - place, true),
        1 => (place + 16, source.big(place + 8, 8, &what)?, false),
        size => (place + 8, size, false),
    };
    if size < content - place {
        return Err(Stop::damaged(format!("{what} has an impossible size")));
    }
    source.inside(place, size, &what)?;
    if place + size > end {
        return Err(Stop::damaged(format!("{what} is longer than the box that holds it")));
    }
    Ok((Box { name, content, end: place + size }, open))
}

/// Calls `see` with every box inside another one.
pub(super) fn each(
    source: &mut Source<'_>,
    holder: Box,
    mut see: impl FnMut(&mut Source<'_>, Box) -> Result<(), Stop>,
) -> Result<(), Stop> {
    let mut place = holder.content;
    // QuickTime ends some lists of boxes with four zero bytes.
    while place + 8 <= holder.end {
        let (inner, _) = box_at(source, place, holder.end)?;
        see(source, inner)?;
        place = inner.end;
    }
    Ok(())
}

/// What the boxes at the top of a file are.
#[derive(Default)]
struct Top {
    index: Option<Box>,
    /// The index of a picture.
    meta: Option<Box>,
    data: bool,
    open_data: bool,
    fragments: u64,
    /// Whether the last fragment is followed by its data.
    complete: bool,
    /// Whether an index of all fragments follows them.
    closed: bool,
    moments: Moments,
    /// Why what follows the last box may be a part of the file.
    doubt: Option<String>,
}

impl Top {
    fn indexed(&self) -> bool {
        self.index.is_some() || self.meta.is_some()
    }

    fn see(&mut self, source: &mut Source<'_>, part: Box, open: bool) -> Result<(), Stop> {
        match &part.name {
            b"moov" => {
                self.index = Some(part);
                self.moments.index(source, part)?;
            }
            b"meta" => self.meta = Some(part),
            b"mdat" => {
                (self.data, self.complete) = (true, true);
                self.open_data |= open;
            }
            b"moof" => {
                self.fragments += 1;
                (self.complete, self.closed) = (false, false);
                self.moments.fragment(source, part)?;
            }
            b"mfra" => self.closed = true,
            _ => {}
        }
        Ok(())
    }

    /// Whether the walk ends here: what follows is not a box. Bytes that a recorder or a copy left
    /// behind the film do no harm.
    fn ends(&mut self, source: &mut Source<'_>, place: u64) -> Result<bool, Stop> {
        const KNOWN: [&[u8; 4]; 15] = [
            b"ftyp", b"moov", b"mdat", b"free", b"skip", b"wide", b"udta", b"uuid", b"meta",
            b"moof", b"mfra", b"sidx", b"styp", b"emsg", b"prft",
        ];
        let left = source.length() - place;
        if !self.indexed() {
            return Ok(false);
        }
        // A fragment may begin here, and the sound and the pictures of others are all there.
        if left < 8 && self.fragments > 0 {
            return Err(Stop::cut("the file ends within the header of a box"));
        }
        if left < 8 {
            self.doubt = Some(format!("{left} bytes follow that may be the beginning of a part"));
            return Ok(true);
        }
        let name = source.name(place + 4, "the header of a box")?;
        let named = |byte: &u8| (0x20..0x7F).contains(byte) || *byte == 0xA9;
        if !name.iter().all(named) {
            if self.fragments > 0 && !self.closed {
                self.doubt =
                    Some(match source.torn(place, "there is no box where one should begin") {
                        Stop::Cut(how) => how,
                        stop => return Err(stop),
                    });
            }
            source.facts.trailing = left;
            return Ok(true);
        }
        let size = source.big(place, 4, "the header of a box")?;
        if size > left && !KNOWN.contains(&&name) {
            source.facts.trailing = left;
            self.doubt = Some(format!("{left} bytes follow that may be an incomplete part"));
            return Ok(true);
        }
        Ok(false)
    }
}

pub(super) fn boxes(source: &mut Source<'_>) -> Result<(), Stop> {
    let length = source.length();
    let mut top = Top::default();
    let walked = tops(source, length, &mut top);
    top.moments.note(&mut source.facts);
    walked?;
    match (top.index, top.meta) {
        (Some(index), _) => film(source, index, &top)?,
        (None, Some(meta)) => items::items(source, meta)?,
        (None, None) if top.data => {
            return Err(Stop::cut(
                "its index is missing, so the recording was cut off and cannot be played",
            ));
        }
        (None, None) => return Err(Stop::cut("it has neither an index nor pictures")),
    }
    top.doubt.map_or(Ok(()), |why| Err(Stop::Unknown(why)))
}

fn tops(source: &mut Source<'_>, length: u64, top: &mut Top) -> Result<(), Stop> {
    let mut place = 0;
    while place < length && !top.ends(source, place)? {
        let (part, open) = box_at(source, place, length)?;
        top.see(source, part, open)?;
        place = part.end;
    }
    Ok(())
}

fn film(source: &mut Source<'_>, index: Box, top: &Top) -> Result<(), Stop> {
    let mut found = samples::Found::default();
    each(source, index, |source, part| match &part.name {
        b"trak" => samples::track(source, part, &mut found),
        b"cmov" => Err(Stop::unknown("its index is compressed")),
        b"mvex" => {
            found.fragmented = true;
            Ok(())
        }
        _ => Ok(()),
    })?;
    if found.fragmented || top.fragments > 0 {
        if top.fragments > 0 && !top.complete {
            return Err(Stop::cut("the pictures of its last fragment are missing"));
        }
        if top.fragments == 0 && found.samples == 0 {
            return Err(Stop::cut("it has no pictures, so the recording was cut off"));
        }
        if !top.closed {
            return Err(Stop::unknown(
                "it is a recording in fragments that does not show whether it goes on",
            ));
        }
        return Ok(());
    }
    if found.samples == 0 {
        return Err(Stop::damaged("its index names no pictures and no sound"));
    }
    if top.open_data {
        return Err(Stop::unknown("the size of its pictures was never written"));
    }
    Ok(())
}
