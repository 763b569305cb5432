//! Every front end drawn into a folder, as SVG in light colours:
//! `cargo run -p icepoint-dossier --example schematics -- OUT-FOLDER [NAME]`

use std::path::Path;

use icepoint_dossier::schematic::automatic;

#[path = "../tests/front_ends/mod.rs"]
mod front_ends;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let Some(folder) = arguments.first() else {
        eprintln!("usage: schematics OUT-FOLDER [NAME]");
        std::process::exit(2);
    };
    let folder = Path::new(folder);
    std::fs::create_dir_all(folder)?;
    for (front_end, converter) in front_ends::all() {
        if arguments.get(1).is_some_and(|name| *name != front_end.id) {
            continue;
        }
        let drawing = automatic(&front_end, &front_ends::words(&front_end, converter));
        let (width, height) = drawing.extent();
        println!(
            "{}: {width:.0} × {height:.0}, {} crossings, {} bends, {} faults",
            front_end.id,
            drawing.crossings(),
            drawing.bends(),
            drawing.faults().len()
        );
        drawing.faults().iter().for_each(|fault| println!("  {fault}"));
        let picture = drawing.draw("schematic", &front_end.title, "");
        std::fs::write(folder.join(format!("{}.svg", front_end.id)), picture.to_file())?;
    }
    Ok(())
}
