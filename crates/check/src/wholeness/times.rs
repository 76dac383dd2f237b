//! How long an MPEG stream lasts, by the times that its packets carry (ISO/IEC 13818-1, 2.4.3.6;
//! 11172-1, 2.4.3.3; and for the header of a sequence 13818-2, 6.2.2.1; from memory).

use super::avc;
use super::facts::{MediaFacts, ratio};

/// Times are counted with 90 kHz, and begin anew after 26.5 hours.
const SECOND: i64 = 90_000;
const ROUND: i64 = 1 << 33;

/// The longest gap between two packets. What is longer joins two recordings.
const GAP: i64 = 60 * SECOND;

/// The times of pictures or of sound.
#[derive(Default)]
struct Line {
    latest: Option<i64>,
    least: i64,
    greatest: i64,
    count: u64,
    /// Whether a jump makes the times useless.
    broken: bool,
}

impl Line {
    fn see(&mut self, time: i64) {
        let Some(latest) = self.latest else {
            (self.latest, self.least, self.greatest) = (Some(time), time, time);
            self.count = 1;
            return;
        };
        // The difference on a clock that begins anew.
        let step = (time - latest + ROUND / 2).rem_euclid(ROUND) - ROUND / 2;
        let time = latest + step;
        self.broken |= step.abs() > GAP;
        self.latest = Some(time);
        self.least = self.least.min(time);
        self.greatest = self.greatest.max(time);
        self.count += 1;
    }

    /// From the first time to the last.
    fn span(&self) -> Option<u64> {
        if self.broken || self.count == 0 {
            return None;
        }
        u64::try_from(self.greatest - self.least).ok()
    }

    /// Until the end of the last packet, if the packets are as long as each other or as long as
    /// stated.
    fn duration(&self, each: Option<f64>) -> Option<f64> {
        let span = ratio(self.span()?, SECOND.unsigned_abs()).unwrap_or(0.0);
        let each = each.or_else(|| Some(span / ratio(self.count.saturating_sub(1), 1)?))?;
        Some(span + each)
    }
}

/// The times of a stream.
#[derive(Default)]
pub(super) struct Times {
    pictures: Line,
    sound: Line,
    /// The size and the rate of the pictures, if a header states them.
    stated: Option<(u64, u64, f64)>,
    /// The size that the parameters of H.264 state.
    parameters: Option<(u64, u64)>,
}

impl Times {
    /// Notes the time of a packet of an elementary stream, of which at least the header is given.
    pub(super) fn see_packet(&mut self, packet: &[u8]) {
        let [0, 0, 1, stream, ..] = packet else { return };
        let pictures = match stream {
            0xE0..=0xEF => true,
            0xC0..=0xDF | 0xBD | 0xFD => false,
            _ => return,
        };
        if pictures && self.stated.is_none() {
            self.stated = sequence(packet);
        }
        if pictures && self.stated.is_none() && self.parameters.is_none() {
            self.parameters = avc::size(packet);
        }
        if let Some(time) = time(packet) {
            if pictures { self.pictures.see(time) } else { self.sound.see(time) }
        }
    }

    pub(super) fn note(&self, facts: &mut MediaFacts) {
        let stated = self.stated.map(|(width, height, _)| (width, height));
        if let Some((width, height)) = stated.or(self.parameters) {
            facts.note_pixels(width, height);
        }
        let rate = self.stated.map(|(_, _, rate)| rate);
        let intervals = self.pictures.count.saturating_sub(1);
        let counted = self
            .pictures
            .span()
            .and_then(|span| ratio(intervals.saturating_mul(SECOND.unsigned_abs()), span));
        facts.frame_rate = rate.or(counted);
        facts.sound = self.sound.duration(None);
        facts.duration = if self.pictures.count > 0 {
            self.pictures.duration(rate.map(|rate| 1.0 / rate))
        } else {
            facts.sound
        };
    }
}

/// The time at which what begins in a packet is shown.
fn time(packet: &[u8]) -> Option<i64> {
    let mut place = 6;
    if packet.get(6)? & 0xC0 == 0x80 {
        if packet.get(7)? & 0x80 == 0 {
            return None;
        }
        place = 9;
    } else {
        // MPEG-1: bytes that fill up, and the size of a buffer.
        place += packet.get(6..)?.iter().take_while(|byte| **byte == 0xFF).count();
        if packet.get(place)? & 0xC0 == 0x40 {
            place += 2;
        }
        if !matches!(packet.get(place)? >> 4, 2 | 3) {
            return None;
        }
    }
    let bytes: [u8; 5] = packet.get(place..place + 5)?.try_into().ok()?;
    let [high, middle, low, less, least] = bytes.map(i64::from);
    Some((high >> 1 & 7) << 30 | middle << 22 | (low >> 1) << 15 | less << 7 | least >> 1)
}

/// The size and the rate of pictures that the header of a sequence states.
fn sequence(packet: &[u8]) -> Option<(u64, u64, f64)> {
    const RATES: [f64; 9] = [
        0.0,
        24_000.0 / 1001.0,
        24.0,
        25.0,
        30_000.0 / 1001.0,
        30.0,
        50.0,
        60_000.0 / 1001.0,
        60.0,
    ];
    // The first code: in other kinds of pictures B3 means something else.
    let place = packet.get(9..)?.windows(3).position(|three| three == [0, 0, 1])? + 9;
    if *packet.get(place + 3)? != 0xB3 {
        return None;
    }
    let bytes: [u8; 4] = packet.get(place + 4..place + 8)?.try_into().ok()?;
    let [first, middle, last, rate] = bytes.map(u64::from);
    let rate = RATES.get(usize::try_from(rate & 15).ok()?).filter(|rate| **rate > 0.0)?;
    Some((first << 4 | middle >> 4, (middle & 15) << 8 | last, *rate))
}
