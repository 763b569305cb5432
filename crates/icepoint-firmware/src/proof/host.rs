//! On this machine: GCC with warnings as errors, then its sanitizers.

use std::io;
use std::path::Path;

use super::plan::Plan;
use super::{Proof, Scope, Target, harness, run};
use crate::firmware::Firmware;

/// Warnings that the code must not have; here they are errors.
pub const WARNINGS: &[&str] =
    &["-std=c99", "-Wall", "-Wextra", "-Wconversion", "-Wshadow", "-Wundef", "-pedantic", "-Werror"];

/// Prints a word a line.
pub const MAIN: &str = "#include <stdio.h>
static void emit(uint32_t hash)
{
    printf(\"%08lx\\n\", (unsigned long)hash);
}

int main(void)
{
    run();
    return 0;
}
";

pub fn prove(
    firmware: &Firmware,
    plan: &Plan,
    scope: Scope,
    folder: &Path,
    proof: &mut Proof,
) -> io::Result<()> {
    let Some(compiler) = run::version("gcc")? else {
        proof.missing.push("gcc: nothing was run on this machine".to_owned());
        return Ok(());
    };
    let main = format!("{}\n{MAIN}", harness::run(firmware, plan));
    std::fs::write(folder.join("proof-host.c"), main)?;
    let expected = harness::expected(firmware, plan);
    let source = format!("{}.c", firmware.facts.prefix);
    let ways: [(&str, &[&str]); 2] = [
        ("this machine", &["-O2"]),
        (
            "this machine, sanitizers",
            &["-O1", "-g", "-fsanitize=undefined,address", "-fno-sanitize-recover=all"],
        ),
    ];
    for (name, flags) in ways.into_iter().take(1 + usize::from(scope.sanitizers)) {
        let mut target = Target::new(name, &compiler);
        target.conversions = plan.conversions();
        let arguments: Vec<&str> = WARNINGS
            .iter()
            .chain(flags)
            .copied()
            .chain(["-o", "host.elf", "proof-host.c", &source])
            .collect();
        let built = run::run(folder, "gcc", &arguments)?;
        match built {
            Some(ended) if ended.good => {
                let program = folder.join("host.elf");
                let ran = run::run(folder, &program.to_string_lossy(), &[])?;
                match ran {
                    Some(ended) if ended.good => {
                        target.differences = harness::differences(plan, &expected, &ended.text);
                    }
                    Some(ended) => target.differences.push(format!("stopped: {}", first(&ended.text))),
                    None => target.differences.push("the program could not be started".to_owned()),
                }
            }
            Some(ended) => target.differences.push(format!("does not compile: {}", first(&ended.text))),
            None => target.differences.push("gcc went away".to_owned()),
        }
        proof.targets.push(target);
    }
    Ok(())
}

/// The first line that tells an error.
pub fn first(text: &str) -> String {
    let line =
        text.lines().find(|l| l.contains("error")).or_else(|| text.lines().find(|l| !l.trim().is_empty()));
    line.unwrap_or("no message").trim().to_owned()
}
