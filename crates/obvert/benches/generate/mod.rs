//! Survey documents of any size, for measuring. All data are invented, in the shape of a city's
//! archive: a pipe between two manholes, one run through it, some sixty observations, a video and a
//! few stills. No rule has a finding, so that the check is measured and not the output of findings.

#![allow(dead_code, unreachable_pub, clippy::write_with_newline)]

use std::fmt::Write;

/// A document of at least `bytes` bytes, formatted as by the writer.
pub fn document(bytes: usize) -> String {
    let pipes = (bytes / 12_700).max(1);
    let mut dice = Dice(20_260_506);
    let mut text = String::with_capacity(bytes + bytes / 8);
    text.push_str(concat!(
        "{\n  \"obvert\": \"0.2\",\n  \"id\": \"urn:uuid:00000000-0000-4000-8000-000000000001\",\n",
        "  \"issued\": \"2026-12-01T09:00:00-05:00\",\n  \"language\": \"en\",\n",
        "  \"units\": {\"length\": \"m\", \"section\": \"mm\"},\n  \"vertical\": \"invented\",\n",
        "  \"coding\": {\"list\": \"obvert-terms\", \"version\": \"1\"},\n",
        "  \"grading\": {\"scheme\": \"obvert-grades\", \"version\": \"1\"},\n",
        "  \"parties\": [\n    {\"id\": \"crew\", \"name\": \"Heron Drain Survey\", \"role\": \"contractor\"}\n  ],\n",
        "  \"equipment\": [\n    {\"id\": \"crawler\", \"kind\": \"crawler\", \"counter_resolution\": 0.01}\n  ],\n",
    ));
    text.push_str("  \"structures\": [\n");
    for index in 0..=pipes {
        let ground = 90.0 + (index % 400) as f64 * 0.01;
        let end = if index == pipes { "\n" } else { ",\n" };
        let _ = write!(
            text,
            "    {{\"id\": \"N{index:06}\", \"kind\": \"manhole\", \"ground\": {ground:.2}, \"street\": \"Street {}\"}}{end}",
            index / 20
        );
    }
    text.push_str("  ],\n  \"pipes\": [\n");
    let lengths: Vec<u32> = (0..pipes).map(|_| 30 + dice.below(60)).collect();
    for (index, length) in lengths.iter().enumerate() {
        let end = if index + 1 == pipes { "\n" } else { ",\n" };
        let _ = write!(
            text,
            "    {{\"id\": \"P{index:06}\", \"upstream\": \"N{index:06}\", \"downstream\": \"N{:06}\", \"carries\": \"sanitary\", \
             \"shape\": \"circular\", \"height\": 300, \"size_basis\": \"nominal\", \"material\": \"vitrified-clay\", \
             \"length\": {length}.5, \"length_between\": \"centres\"}}{end}",
            index + 1
        );
    }
    text.push_str("  ],\n  \"media\": [\n");
    for index in 0..pipes {
        let end = if index + 1 == pipes { "\n" } else { ",\n" };
        let _ = write!(
            text,
            "    {{\"id\": \"V{index:06}\", \"file\": \"video/v{index:06}.mp4\", \"kind\": \"video\", \"type\": \"video/mp4\", \
             \"duration\": 3600, \"run\": \"R{index:06}\", \"state\": \"complete\"}}{end}"
        );
    }
    text.push_str("  ],\n  \"runs\": [\n");
    for (index, length) in lengths.iter().enumerate() {
        run(&mut text, &mut dice, index, *length);
        text.push_str(if index + 1 == pipes { "\n" } else { ",\n" });
    }
    text.push_str("  ]\n}\n");
    text
}

fn run(text: &mut String, dice: &mut Dice, index: usize, length: u32) {
    let far = f64::from(length) + 0.5;
    // One camera, eight runs a day, no two at the same time.
    let (hour, day, month) = (8 + index % 8, 1 + index / 8 % 25, 1 + index / 200 % 11);
    let year = 1980 + index / 2200;
    let _ = write!(
        text,
        "    {{\"id\": \"R{index:06}\", \"pipe\": \"P{index:06}\", \"from\": \"N{index:06}\", \"to\": \"N{:06}\", \
         \"direction\": \"downstream\", \"method\": \"crawler\", \"operator\": \"crew\", \"equipment\": [\"crawler\"], \
         \"started\": \"{year}-{month:02}-{day:02}T{hour:02}:00:00-05:00\", \"finished\": \"{year}-{month:02}-{day:02}T{hour:02}:45:00-05:00\", \
         \"counter\": {{\"zero\": \"structure-centre\", \"offset\": 0, \"reads\": 0, \"resolution\": 0.01}}, \
         \"surveyed\": {far}, \"outcome\": {{\"kind\": \"reached\"}}, \"observations\": [\n",
        index + 1,
    );
    let video = |seconds: f64| {
        format!("\"media\": [{{\"id\": \"V{index:06}\", \"offset\": {seconds:.0}}}]")
    };
    let _ = writeln!(
        text,
        "      {{\"id\": \"1\", \"at\": 0, \"code\": \"run.start\", {}}},",
        video(0.0)
    );
    let level = 5 + dice.below(10);
    let _ = writeln!(
        text,
        "      {{\"id\": \"2\", \"at\": 0, \"code\": \"water.level\", \"quantities\": [{{\"value\": {level}, \"unit\": \"percent\"}}]}},"
    );
    let rows = 56;
    for row in 0..rows {
        let at = (f64::from(row) + 0.5) * far / f64::from(rows + 1);
        let seconds = 10.0 + at * 20.0;
        let hour = 1 + dice.below(11);
        let id = row + 3;
        let _ = match dice.below(6) {
            0 => writeln!(
                text,
                "      {{\"id\": \"{id}\", \"at\": {at:.2}, \"code\": \"crack.longitudinal\", \
                 \"quantities\": [{{\"value\": 1, \"unit\": \"mm\"}}], \"clock\": {{\"from\": {hour}, \"to\": {}}}, \
                 \"grades\": {{\"structural\": 2}}, \"remark\": \"dry, no soil seen\", {}}},",
                hour + 1,
                video(seconds)
            ),
            1 => writeln!(
                text,
                "      {{\"id\": \"{id}\", \"at\": {at:.2}, \"code\": \"joint.displaced\", \
                 \"quantities\": [{{\"value\": 15, \"unit\": \"mm\"}}], \"joint\": true, \"grades\": {{\"structural\": 2}}, {}}},",
                video(seconds)
            ),
            2 => writeln!(
                text,
                "      {{\"id\": \"{id}\", \"at\": {at:.2}, \"code\": \"roots.fine\", \
                 \"quantities\": [{{\"value\": 10, \"unit\": \"percent\"}}], \"clock\": {{\"from\": 5, \"to\": 7}}, \
                 \"joint\": true, \"grades\": {{\"operational\": 2}}, \"remark\": \"hair roots at the joint\", {}}},",
                video(seconds)
            ),
            3 => writeln!(
                text,
                "      {{\"id\": \"{id}\", \"at\": {at:.2}, \"code\": \"connection.preformed\", \
                 \"quantities\": [{{\"value\": 150, \"unit\": \"mm\"}}], \"clock\": {{\"at\": {hour}}}, \"flow\": \"trickle\", {}}},",
                video(seconds)
            ),
            4 => writeln!(
                text,
                "      {{\"id\": \"{id}\", \"at\": {at:.2}, \"to\": {:.2}, \"continuous\": true, \"code\": \"crack.longitudinal\", \
                 \"clock\": {{\"from\": {hour}, \"to\": {}}}, \"grades\": {{\"structural\": 2}}, {}}},",
                at + 0.25,
                hour + 1,
                video(seconds)
            ),
            _ => writeln!(
                text,
                "      {{\"id\": \"{id}\", \"at\": {at:.2}, \"code\": \"note.remark\", \"remark\": \"nothing to see up to here\", {}}},",
                video(seconds)
            ),
        };
    }
    let _ = write!(
        text,
        "      {{\"id\": \"{}\", \"at\": {far}, \"code\": \"run.finish\", {}}}\n    ]}}",
        rows + 3,
        video(10.0 + far * 20.0)
    );
}

/// A small random number generator, the same on every machine.
struct Dice(u64);

impl Dice {
    fn below(&mut self, end: u32) -> u32 {
        self.0 =
            self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        ((self.0 >> 33) % u64::from(end)) as u32
    }
}
