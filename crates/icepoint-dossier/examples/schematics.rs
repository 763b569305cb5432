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
    // The library under its own names, those of the tests under theirs with a word before.
    let library = front_ends::library().into_iter().map(|(f, c)| (f, c, true));
    let all = library.chain(front_ends::all().into_iter().map(|(f, c)| (f, c, false)));
    std::fs::create_dir_all(folder)?;
    for (mut front_end, converter, listed) in all {
        if !listed {
            front_end.id = format!("test-{}", front_end.id);
        }
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
