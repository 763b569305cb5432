//! The dossier of a chain file: `cargo run --release -p icepoint-dossier --example page -- kiln.toml OUT-FOLDER`

use std::path::Path;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [chain, folder] = arguments.as_slice() else {
        eprintln!("usage: page CHAIN.toml OUT-FOLDER");
        std::process::exit(2);
    };
    let refused = |r: icepoint_chain::file::Refused| {
        r.problems.iter().map(|p| p.message.clone()).collect::<Vec<_>>().join("\n")
    };
    let file = icepoint_chain::file::load(Path::new(chain)).map_err(refused)?;
    let resolved = icepoint_chain::resolve::resolve(&file).map_err(refused)?;
    let design = icepoint_design::design(resolved, &|_| {})?;
    let dossier = icepoint_dossier::dossier(&file, &design)?;
    let folder = Path::new(folder);
    std::fs::create_dir_all(folder)?;
    std::fs::write(folder.join("dossier.html"), &dossier.html)?;
    std::fs::write(folder.join("parts.csv"), &dossier.parts_csv)?;
    for (name, svg) in &dossier.pictures {
        std::fs::write(folder.join(name).with_extension("svg"), svg)?;
    }
    Ok(())
}
