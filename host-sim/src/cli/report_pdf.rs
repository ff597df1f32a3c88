//! Printing a page with a browser that is already there. It runs without a window, without a profile and without the network.

use std::ffi::OsString;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use super::files;
use super::io::Failure;

/// The names it goes by, in the order in which they are tried.
const NAMES: [&str; 5] =
    ["chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome"];
/// A page takes seconds; one that takes this long never ends.
const AT_MOST: Duration = Duration::from_secs(120);

const FLAGS: [&str; 10] = [
    "--headless",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-extensions",
    "--disable-dev-shm-usage",
    "--no-pdf-header-footer",
];

/// The browser that prints.
///
/// # Errors
/// Wrong use, with what to do: there is none.
pub fn browser() -> Result<PathBuf, Failure> {
    let named = std::env::var_os("CHROMIUM").filter(|name| !name.is_empty());
    let names = named.clone().map_or_else(|| NAMES.map(OsString::from).into(), |name| vec![name]);
    if let Some(found) = names.iter().find_map(|name| find(Path::new(name))) {
        return Ok(found);
    }
    let what = match named {
        Some(name) => format!("CHROMIUM is {}, and there is no such program", name.display()),
        None => "--pdf needs Chromium, and none is installed".to_owned(),
    };
    let help = "set CHROMIUM=PROGRAM, or write -o report.html and print it from any browser";
    Err(Failure::Usage(what, help.to_owned()))
}

fn find(name: &Path) -> Option<PathBuf> {
    if name.components().count() > 1 {
        return name.is_file().then(|| name.to_owned());
    }
    let folders = std::env::var_os("PATH")?;
    std::env::split_paths(&folders).map(|folder| folder.join(name)).find(|path| path.is_file())
}

/// Prints a page.
///
/// # Errors
/// The file cannot be written, or the browser does not print.
pub fn print(browser: &Path, html: &str, pdf: &Path) -> Result<(), Failure> {
    let folder = Folder::new().map_err(|e| files::cannot_write("the temporary folder", &e))?;
    let page = folder.0.join("report.html");
    let printed = folder.0.join("report.pdf");
    let name = pdf.display().to_string();
    std::fs::write(&page, html).map_err(|e| files::cannot_write(&name, &e))?;
    let mut to = OsString::from("--print-to-pdf=");
    to.push(&printed);
    let mut profile = OsString::from("--user-data-dir=");
    profile.push(folder.0.join("profile"));
    let mut command = Command::new(browser);
    command.args(FLAGS).arg(profile).arg(to);
    // Chromium's sandbox refuses to start for the superuser. The page has no script and may load nothing.
    if is_superuser() {
        command.arg("--no-sandbox");
    }
    command.arg(&page).stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null());
    let how = run(&mut command)
        .map_err(|e| failed(&format!("{} cannot be started: {e}", browser.display())))?;
    if !printed.is_file() {
        let what = how.unwrap_or_else(|| format!("took more than {} s", AT_MOST.as_secs()));
        return Err(failed(&format!("{} has not printed the page: {what}", browser.display())));
    }
    std::fs::copy(&printed, pdf).map_err(|e| files::cannot_write(&name, &e))?;
    Ok(())
}

fn failed(what: &str) -> Failure {
    let help = "write -o report.html and print it from any browser";
    Failure::Usage(what.to_owned(), help.to_owned())
}

/// Runs it; how it ended, or nothing when it had to be ended.
fn run(command: &mut Command) -> std::io::Result<Option<String>> {
    let mut child = command.spawn()?;
    let begin = Instant::now();
    loop {
        if let Some(status) = child.try_wait()? {
            return Ok(Some(status.to_string()));
        }
        if begin.elapsed() > AT_MOST {
            child.kill()?;
            child.wait()?;
            return Ok(None);
        }
        std::thread::sleep(Duration::from_millis(50));
    }
}

#[cfg(unix)]
fn is_superuser() -> bool {
    use std::os::unix::fs::MetadataExt as _;
    // Who owns this process's entry is who runs it; without /proc Chromium is left its sandbox.
    std::fs::metadata("/proc/self").is_ok_and(|entry| entry.uid() == 0)
}

#[cfg(not(unix))]
const fn is_superuser() -> bool {
    false
}

/// A folder of its own, which goes when it is no longer needed.
struct Folder(PathBuf);

impl Folder {
    fn new() -> std::io::Result<Self> {
        let place = std::env::temp_dir();
        let mut last = None;
        for n in 0..100_u32 {
            let path = place.join(format!("draught-report-{}-{n}", std::process::id()));
            // Fails where there is one already, so it is nobody else's.
            match std::fs::create_dir(&path) {
                Ok(()) => return Ok(Self(path)),
                Err(e) => last = Some(e),
            }
        }
        Err(last.unwrap_or_else(|| std::io::ErrorKind::AlreadyExists.into()))
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        // What cannot be removed is left to the system's own clearing.
        let _ = std::fs::remove_dir_all(&self.0);
    }
}
