//! Reads lines `EPSG:code x y` and writes `lon lat` on WGS 84, in degrees with 12 decimals; with
//! the argument `reverse` it reads longitude and latitude and writes coordinates with 6 decimals;
//! with the argument `definition` it reads `EPSG:code` and writes the system as well-known text, or
//! `undefined`. A line that fails gives `! reason`. The interoperability tests compare it with
//! PROJ.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

use std::io::{BufRead, BufWriter, Write};

use obvert_geo::Crs;

fn main() -> std::io::Result<()> {
    let asked = std::env::args().nth(1).unwrap_or_default();
    let reverse = asked == "reverse";
    let mut out = BufWriter::new(std::io::stdout().lock());
    for line in std::io::stdin().lock().lines() {
        let line = line?;
        if asked == "definition" {
            match Crs::parse(&line) {
                Ok(crs) => writeln!(out, "{}", crs.wkt().as_deref().unwrap_or("undefined"))?,
                Err(reason) => writeln!(out, "! {reason}")?,
            }
            continue;
        }
        match answer(&line, reverse) {
            Ok([a, b]) if reverse => writeln!(out, "{a:.6} {b:.6}")?,
            Ok([a, b]) => writeln!(out, "{a:.12} {b:.12}")?,
            Err(reason) => writeln!(out, "! {reason}")?,
        }
    }
    out.flush()
}

fn answer(line: &str, reverse: bool) -> Result<[f64; 2], Box<dyn std::error::Error>> {
    let mut words = line.split_whitespace();
    let mut next = || words.next().ok_or("a line holds three words: code, x, y");
    let crs = Crs::parse(next()?)?;
    let position = [next()?.parse()?, next()?.parse()?];
    Ok(if reverse { crs.from_wgs84(position)? } else { crs.to_wgs84(position)? })
}
