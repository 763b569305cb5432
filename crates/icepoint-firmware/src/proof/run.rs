//! Running compilers and emulators: with their output, and never without end.

use std::io::{self, Read};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// Longest that an emulator may take.
const LIMIT: Duration = Duration::from_secs(600);

/// What a program printed and whether it ended well.
#[derive(Clone, Debug)]
pub struct Ended {
    /// Standard output and standard error, one after the other.
    pub text: String,
    /// Exit code 0.
    pub good: bool,
}

/// Runs a program in a folder; `None` if it isn't installed.
pub fn run(folder: &Path, program: &str, arguments: &[&str]) -> io::Result<Option<Ended>> {
    let started = Command::new(program)
        .args(arguments)
        .current_dir(folder)
        .env("LC_ALL", "C")
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn();
    let mut child = match started {
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(None),
        other => other?,
    };
    let read = |mut pipe: Box<dyn Read + Send>| {
        std::thread::spawn(move || {
            let mut bytes = Vec::new();
            let _ = pipe.read_to_end(&mut bytes);
            String::from_utf8_lossy(&bytes).into_owned()
        })
    };
    let out = child.stdout.take().map(|p| read(Box::new(p)));
    let err = child.stderr.take().map(|p| read(Box::new(p)));
    let since = Instant::now();
    let good = loop {
        if let Some(status) = child.try_wait()? {
            break status.success();
        }
        if since.elapsed() > LIMIT {
            child.kill()?;
            child.wait()?;
            break false;
        }
        std::thread::sleep(Duration::from_millis(5));
    };
    let mut text = String::new();
    for handle in [out, err].into_iter().flatten() {
        text += &handle.join().unwrap_or_default();
    }
    Ok(Some(Ended { text, good }))
}

/// First line of what a compiler says of itself; `None` if it isn't installed.
pub fn version(program: &str) -> io::Result<Option<String>> {
    let said = run(Path::new("."), program, &["--version"])?;
    Ok(said.map(|ended| ended.text.lines().next().unwrap_or(program).trim().to_owned()))
}
