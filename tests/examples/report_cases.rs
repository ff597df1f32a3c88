//! Writes the results of the invented events to a folder, a JSON file each, and an event folder with simulated records: `cargo run -p draught-tests --example report_cases -- FOLDER`.

fn main() -> std::io::Result<()> {
    let folder = std::env::args().nth(1).unwrap_or_else(|| ".".to_owned());
    let folder = std::path::Path::new(&folder);
    std::fs::create_dir_all(folder)?;
    for (name, results) in draught_tests::report_cases::all() {
        std::fs::write(
            folder.join(format!("{name}.json")),
            serde_json::to_string_pretty(&results)?,
        )?;
    }
    draught_tests::event_cases::six_workers(&folder.join("events/grain-cleaning"))
}
