//! What tests want beside the Rust toolchain and gcc: Debian packages, and one of npm's.

use std::env;
use std::path::Path;
use std::process::Command;

/// A program and the package that brings it.
const WANTED: [(&str, &str); 6] = [
    // The tests of `listen` play into a sound server and record from it; it brings the ALSA library too.
    ("pulseaudio", "pulseaudio"),
    ("pacat", "pulseaudio-utils"),
    // The tests of the bench page use it as a person would, in a real browser.
    ("chromium", "chromium"),
    ("chromedriver", "chromium-driver"),
    // Reports are printed by that browser, and what is on the paper is read again.
    ("pdftotext", "poppler-utils"),
    // What brings the checks below.
    ("npm", "npm"),
];

/// Checks of what a page is to those who cannot see it well or not at all, run in the browser by the tests of reports. They
/// look for it in this folder, from the root of the workspace.
const AXE: &str = "axe-core@4.14.1";
const AXE_FOLDER: &str = "target/axe-core";

/// Set for the tests when npm's package cannot be had, as on a machine without a network: they then leave its checks out.
pub(crate) const WITHOUT_AXE: &str = "FINGERSTOP_TESTS_WITHOUT_AXE";

/// Installs what is missing where that can be done, and says so; elsewhere says what is missing. The tests that want it
/// fail without it. Gives whether npm's package is there.
pub(crate) fn install_missing() -> bool {
    install_packages();
    install_axe()
}

fn install_axe() -> bool {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../..")
        .join(AXE_FOLDER);
    if folder.join("node_modules/axe-core/axe.min.js").is_file() {
        return true;
    }
    println!("installing {AXE} from npm into {AXE_FOLDER}, which the tests of reports want");
    let status = std::fs::create_dir_all(&folder).and_then(|()| {
        Command::new("npm")
            .args(["install", "--no-save", "--no-audit", "--no-fund"])
            .args(["--ignore-scripts", "--silent", "--prefix"])
            .arg(&folder)
            .arg(AXE)
            .status()
    });
    let installed = status.is_ok_and(|status| status.success());
    if !installed {
        println!(
            "{AXE} could not be installed: THE REPORTS ARE NOT CHECKED FOR ACCESSIBILITY in this run"
        );
    }
    installed
}

fn install_packages() {
    let missing: Vec<&str> = WANTED
        .into_iter()
        .filter(|(program, _)| !is_there(program))
        .map(|(_, package)| package)
        .collect();
    if missing.is_empty() {
        return;
    }
    let names = missing.join(" ");
    if !(is_root() && is_there("apt-get")) {
        println!("these tests want the packages {names}: install them, or those tests fail");
        return;
    }
    println!("installing packages that tests want: {names}");
    let apt = |arguments: &[&str]| {
        let status = Command::new("apt-get")
            .args(arguments)
            .env("DEBIAN_FRONTEND", "noninteractive")
            .status();
        status.is_ok_and(|status| status.success())
    };
    let install = ["install", "-y", "-qq", "--no-install-recommends"];
    let install: Vec<&str> = install.into_iter().chain(missing).collect();
    if !(apt(&["update", "-qq"]) && apt(&install)) {
        println!("{names} could not be installed; the tests that want them will fail");
    }
}

fn is_there(program: &str) -> bool {
    let path = env::var_os("PATH").unwrap_or_default();
    env::split_paths(&path).any(|folder| folder.join(program).is_file())
}

#[cfg(unix)]
fn is_root() -> bool {
    use std::os::unix::fs::MetadataExt;
    std::fs::metadata("/proc/self").is_ok_and(|own| own.uid() == 0)
}

#[cfg(not(unix))]
fn is_root() -> bool {
    false
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_program_is_found_on_the_path_or_not() {
        assert!(is_there("sh"));
        assert!(!is_there("no-program-has-this-name"));
    }
}
