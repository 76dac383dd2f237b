//! Tells whether media files are whole, and what they say about themselves: a line of JSON for
//! each.
//!
//! ```sh
//! cargo run --example wholeness -- FILE...
//! find DCIM -type f | cargo run --example wholeness -- --cut 1000
//! ```
//!
//! Without names, it reads them from standard input, one a line. `--cut N` also examines what is
//! left of each file if it is cut off at every multiple of N bytes, and `--last M` at every byte of
//! the last M; nothing is written. `--at L` examines it cut off at L bytes alone.

use std::collections::BTreeMap;
use std::env;
use std::error::Error;
use std::fs::File;
use std::io::{self, BufRead as _, Read, Seek, SeekFrom};

use obvert_check::wholeness::{MediaFacts, Wholeness, describe, examine};
use serde_json::{Value, json};

/// The first bytes of a file.
struct Prefix<'f> {
    file: &'f mut File,
    length: u64,
    place: u64,
}

impl Read for Prefix<'_> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let left = self.length.saturating_sub(self.place);
        let most = usize::try_from(left).unwrap_or(usize::MAX).min(buffer.len());
        self.file.seek(SeekFrom::Start(self.place))?;
        let read = self.file.read(&mut buffer[..most])?;
        self.place += read as u64;
        Ok(read)
    }
}

impl Seek for Prefix<'_> {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        let place = match to {
            SeekFrom::Start(place) => Some(place),
            SeekFrom::End(by) => self.length.checked_add_signed(by),
            SeekFrom::Current(by) => self.place.checked_add_signed(by),
        };
        self.place = place.ok_or(io::ErrorKind::InvalidInput)?;
        Ok(self.place)
    }
}

fn verdict(whole: &Wholeness) -> (&'static str, &str) {
    match whole {
        Wholeness::Damaged { how, .. } => ("damaged", how),
        Wholeness::CannotTell { why } => ("cannot tell", why),
        _ => ("whole", ""),
    }
}

fn facts(facts: &MediaFacts) -> Value {
    let (verdict, reason) = verdict(&facts.whole);
    json!({
        "verdict": verdict,
        "reason": reason,
        "cut": matches!(facts.whole, Wholeness::Damaged { cut: true, .. }),
        "type": facts.media_type,
        "pixels": facts.pixels,
        "duration": facts.duration,
        "sound": facts.sound,
        "frame_rate": facts.frame_rate,
        "orientation": facts.orientation,
        "captured": facts.captured.map(|captured| {
            let offset = captured.offset.map(|offset| offset.to_string()).unwrap_or_default();
            format!("{}{offset}", captured.at)
        }),
        "trailing": facts.trailing,
    })
}

/// What is found if the file is cut off at each of some lengths.
fn cuts(file: &mut File, lengths: &[u64]) -> io::Result<Value> {
    let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
    let (mut reasons, mut whole) = (BTreeMap::<String, usize>::new(), Vec::new());
    for length in lengths {
        let found = examine(&mut Prefix { file, length: *length, place: 0 })?;
        let (verdict, reason) = verdict(&found);
        *counts.entry(verdict).or_default() += 1;
        *reasons.entry(format!("{verdict}: {reason}")).or_default() += 1;
        if verdict == "whole" {
            whole.push(*length);
        }
    }
    Ok(json!({ "counts": counts, "whole": whole, "reasons": reasons }))
}

fn main() -> Result<(), Box<dyn Error>> {
    let (mut names, mut every, mut last, mut only) = (Vec::new(), 0, 0, None);
    let mut arguments = env::args().skip(1);
    while let Some(argument) = arguments.next() {
        let mut number = || {
            arguments
                .next()
                .ok_or("a number is missing")?
                .parse::<u64>()
                .map_err(Box::<dyn Error>::from)
        };
        match argument.as_str() {
            "--cut" => every = number()?,
            "--last" => last = number()?,
            "--at" => only = Some(number()?),
            _ => names.push(argument),
        }
    }
    if names.is_empty() {
        names = io::stdin().lock().lines().collect::<Result<_, _>>()?;
    }
    for name in names {
        let mut file = File::open(&name).map_err(|error| format!("{name}: {error}"))?;
        let length = file.metadata()?.len();
        let seen = only.unwrap_or(length).min(length);
        let mut line = facts(&describe(&mut Prefix { file: &mut file, length: seen, place: 0 })?);
        line["file"] = json!(name);
        line["bytes"] = json!(seen);
        let step = usize::try_from(every.max(1))?;
        let mut lengths: Vec<u64> = (every..length).step_by(step).filter(|_| every > 0).collect();
        lengths.extend(length.saturating_sub(last)..length);
        lengths.sort_unstable();
        lengths.dedup();
        if !lengths.is_empty() {
            line["cuts"] = cuts(&mut file, &lengths)?;
        }
        println!("{line}");
    }
    Ok(())
}
