#![allow(missing_docs, clippy::unwrap_used)]
#[path = "../../obvert/benches/generate/mod.rs"]
mod generate;
use std::time::Instant;
fn main() {
    let t = generate::document(100_000_000);
    let s = t.as_bytes();
    let c =
        obvert_check::Checker::new(obvert_check::Settings { today: "2027-01-01".parse().ok(), ..Default::default() })
            .unwrap();
    let r = c.check(s).unwrap();
    println!("{} {:?} {:?}", s.len(), r.documents, r.findings.iter().take(5).collect::<Vec<_>>());
    for _ in 0..3 {
        let a = Instant::now();
        let d: obvert_model::tables::Document = serde_json::from_slice(s).unwrap();
        let bare = a.elapsed();
        let a = Instant::now();
        drop(d);
        let dropped = a.elapsed();
        let a = Instant::now();
        let d = obvert_model::read::document(s).unwrap();
        let strict = a.elapsed();
        drop(d);
        let a = Instant::now();
        c.check(s).unwrap();
        let chk = a.elapsed();
        println!(
            "bare {bare:?} (drop {dropped:?}) strict {strict:?} {:.2} check {chk:?} {:.2}",
            strict.as_secs_f64() / bare.as_secs_f64(),
            chk.as_secs_f64() / bare.as_secs_f64()
        );
    }
}
