//! A small logger: records a run row by row, with the distances of a camera's counter, and writes
//! it as a document.
//!
//! `cargo run --example logger > run.obvert.json`

use std::error::Error;

use obvert::model::number::{ClockHour, Length};
use obvert::model::tables::*;
use obvert::model::write;

/// What the operator enters: the distance, the code, and the hour on the clock.
const ENTERED: [(f64, &str, Option<f64>); 4] = [
    (0.0, "run.start", None),
    (31.5, "crack.longitudinal", Some(11.0)),
    (88.2, "connection", Some(2.0)),
    (212.4, "run.finish", None),
];

fn record() -> Result<Document, Box<dyn Error>> {
    let mut run = Run::new("R-1".parse()?, "L-101".parse()?, Direction::Downstream)
        .with_from("LM-014".parse()?)
        .with_to("LM-015".parse()?)
        .with_started("2026-05-06T15:31:00-05:00".parse()?)
        .with_counter(Counter::new(CounterZero::StructureCentre));
    for (number, (at, code, hour)) in ENTERED.into_iter().enumerate() {
        let id = (number + 1).to_string().parse()?;
        let mut row = Observation::new(id, Length::new(at)?, code.parse()?);
        if let Some(hour) = hour {
            row.clock = Some(Clock::new().with_at(ClockHour::new(hour)?));
        }
        run.observations.push(row);
    }
    run.surveyed = run.observations.last().map(|last| last.at);
    run.outcome = Some(Outcome::new(OutcomeKind::Reached));

    let units = Units::new(LengthUnit::Foot, SectionUnit::Inch);
    let coding = Coding::new("obvert-terms".parse()?, "1".parse()?);
    let id = "urn:uuid:7d0f7c1e-58a6-4d5b-9df2-6b8f0c7f4a11".parse()?;
    let head = Head::new(id, "2026-05-06T16:20:00-05:00".parse()?, units, coding)
        .with_structures([
            Structure::new("LM-014".parse()?, StructureKind::Manhole),
            Structure::new("LM-015".parse()?, StructureKind::Manhole),
        ])
        .with_pipes([
            Pipe::new("L-101".parse()?, "LM-014".parse()?).with_downstream("LM-015".parse()?)
        ]);
    Ok(Document::new(head).with_runs([run]))
}

fn main() -> Result<(), Box<dyn Error>> {
    Ok(write::document(&record()?, std::io::stdout().lock())?)
}
