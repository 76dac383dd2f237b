//! Lists the observations of a survey with the worst grades, with the distance from both ends of
//! the pipe.
//!
//! `cargo run --example worst_first examples/data/larkmoor.obvert.json`

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

use std::error::Error;

use obvert::model::tables::Direction;

fn main() -> Result<(), Box<dyn Error>> {
    let path =
        std::env::args().nth(1).unwrap_or_else(|| "examples/data/larkmoor.obvert.json".into());
    let document = obvert::read(&std::fs::read(path)?)?;
    let unit = document.head.units.length;
    let mut worst = Vec::new();
    for run in &document.runs {
        let pipe = document.head.pipes.iter().find(|pipe| pipe.id == run.pipe);
        let length = pipe.and_then(|pipe| pipe.length).map(|length| length.get());
        for row in &run.observations {
            let grades = row.grades.as_ref();
            let grade = grades.and_then(|grades| grades.structural.max(grades.operational));
            if let Some(grade) = grade.filter(|grade| grade.get() >= 4) {
                worst.push((grade, run, row, length));
            }
        }
    }
    worst.sort_by_key(|(grade, ..)| std::cmp::Reverse(*grade));
    for (grade, run, row, length) in worst {
        let far = length
            .map(|length| format!(", {:.1} {unit} from the other end", length - row.at.get()))
            .unwrap_or_default();
        let way = if run.direction == Direction::Downstream { "going down" } else { "going up" };
        println!("grade {grade}  {:<24} {} at {} {unit} {way}{far}", row.code, run.pipe, row.at);
    }
    Ok(())
}
