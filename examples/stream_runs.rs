//! Reads a document of any size run by run: adds up the surveyed length in each material, with one
//! run in memory.
//!
//! `cargo run --example stream_runs examples/data/larkmoor.obvert.json`

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

use std::collections::BTreeMap;
use std::error::Error;

use obvert::model::read::{Reader, RunReader};

fn main() -> Result<(), Box<dyn Error>> {
    let path =
        std::env::args().nth(1).unwrap_or_else(|| "examples/data/larkmoor.obvert.json".into());
    let source = std::fs::read(path)?;
    let mut reader = Reader::new(&source)?;
    let head = reader.share_head();
    let mut metres: BTreeMap<String, f64> = BTreeMap::new();
    // An error here means that the document is invalid as a whole: discard what was read before.
    while let Some(run) = reader.next_run()? {
        let pipe = head.pipes.iter().find(|pipe| pipe.id == run.pipe);
        let material = pipe
            .and_then(|pipe| pipe.material)
            .map_or("unknown".into(), |material| material.to_string());
        if let Some(surveyed) = run.surveyed {
            *metres.entry(material).or_default() += surveyed.get() * head.units.length.metres();
        }
    }
    for (material, metres) in metres {
        println!("{material:<24} {metres:>8.1} m");
    }
    Ok(())
}
