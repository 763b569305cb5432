//! Every front end drawn into a folder, as SVG in light colours:
//! `cargo run -p icepoint-dossier --example schematics -- OUT-FOLDER [PART-OF-NAME]`

use std::path::Path;

use icepoint_dossier::schematic::automatic;

#[path = "../tests/front_ends/mod.rs"]
mod front_ends;

use front_ends::variants::{self, Variant};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let Some(folder) = arguments.first() else {
        eprintln!("usage: schematics OUT-FOLDER [PART-OF-NAME]");
        std::process::exit(2);
    };
    let folder = Path::new(folder);
    // Those of the tests, then the library in every way that a chain file can ask for.
    let tests = front_ends::all().into_iter().map(|(front_end, converter)| {
        let name = format!("test {}", front_end.id);
        Variant { name, front_end, converter, taps: Vec::new(), thermocouple: "type K".to_owned() }
    });
    std::fs::create_dir_all(folder)?;
    for variant in tests.chain(variants::all()) {
        let (name, front_end) = (&variant.name, &variant.front_end);
        if arguments.get(1).is_some_and(|part| !name.contains(part.as_str())) {
            continue;
        }
        let drawing = automatic(front_end, &variant.words());
        let (width, height) = drawing.extent();
        println!(
            "{name}: {width:.0} × {height:.0}, {} crossings, {} bends, {} faults",
            drawing.crossings(),
            drawing.bends(),
            drawing.faults().len()
        );
        drawing.faults().iter().for_each(|fault| println!("  {fault}"));
        let picture = drawing.draw("schematic", &front_end.title, "");
        std::fs::write(folder.join(format!("{}.svg", name.replace([' ', ','], "_"))), picture.to_file())?;
    }
    Ok(())
}
