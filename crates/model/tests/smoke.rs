//! t
#[test]
fn smoke() {
    let s = include_bytes!("minimal.obvert.json");
    let d = obvert_model::read::document(s).unwrap();
    println!("{}", obvert_model::write::to_string(&d));
    println!("{}", obvert_model::write::digest(&d).unwrap());
    let bad = String::from_utf8_lossy(s)
        .replace("\"vertical\"", "\"vertcal\"")
        .replace("pipe-end", "pipeend")
        .replace("12.4", "null")
        .replace("\"0.1\"", "\"0.2\"")
        .replace("44.2", "\"44\"")
        .replace("\"id\": \"2\"", "\"id\": \"1\"")
        .replace("T16:20:00-05:00", "");
    println!(
        "{}",
        match obvert_model::read::document(bad.as_bytes()) {
            Err(obvert_model::read::ReadError::Structure(p)) =>
                p.iter().map(|p| format!("{} {p}\n", p.kind)).collect::<String>(),
            x => format!("{x:?}"),
        }
    );
}
