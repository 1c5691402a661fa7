//! The commands that the papers show do exist. Needs both programs built, as `./test` does.

use super::papers::papers;
use super::{read, root};
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::process::Command;

/// Lines of a paper's ```sh blocks, as words.
fn commands(text: &str) -> Vec<Vec<&str>> {
    let blocks = text.split("```").skip(1).step_by(2).filter_map(|block| block.strip_prefix("sh\n"));
    let lines = blocks.flat_map(str::lines).map(|line| line.split('#').next().unwrap_or_default());
    lines.map(|line| line.split_whitespace().collect::<Vec<_>>()).filter(|words| !words.is_empty()).collect()
}

/// The built program of a package. `./test` builds it before the tests.
fn program(package: &str) -> PathBuf {
    let brimwatch = Path::new(env!("CARGO_BIN_EXE_brimwatch"));
    let program = brimwatch.with_file_name(package);
    assert!(program.exists(), "{} is not built: run ./test", program.display());
    program
}

/// The subcommand has a help text, and it names every option that the paper uses.
fn assert_understood(package: &str, arguments: &[&str], what: &str) {
    let mut command = Command::new(program(package));
    command.args(arguments.iter().take_while(|a| !a.starts_with('-')).take(1)).arg("--help");
    let out = command.output().unwrap_or_else(|e| panic!("{what}: {e}"));
    assert!(out.status.success(), "{what}: {}", String::from_utf8_lossy(&out.stderr));
    let help = String::from_utf8_lossy(&out.stdout);
    for option in arguments.iter().filter(|a| a.starts_with("--")) {
        let name = option.split('=').next().unwrap_or(option);
        assert!(help.contains(name), "{what}: no option {name}");
    }
}

/// Every command of a paper's ```sh blocks is there.
#[test]
fn commands_are_understood() {
    let mut tried = 0;
    for paper in papers() {
        let text = read(&root().join(&paper));
        for words in commands(&text) {
            let what = format!("{}: {}", paper.display(), words.join(" "));
            let set = |word: &&str| word.split_once('=').is_some_and(|(name, _)| name.starts_with("BRIMWATCH_"));
            let words: Vec<&str> = words.into_iter().skip_while(set).collect();
            match words.as_slice() {
                [own, ..] if own.starts_with("./") => {
                    let mode =
                        root().join(own).metadata().unwrap_or_else(|e| panic!("{what}: {e}")).permissions().mode();
                    assert!(mode & 0o111 != 0, "{own} cannot be run");
                }
                ["brimwatch", arguments @ ..] => assert_understood("brimwatch", arguments, &what),
                ["cargo", "run", rest @ ..] => {
                    let at = rest.iter().position(|w| *w == "--").unwrap_or(rest.len());
                    let package = rest[..at].iter().skip_while(|w| **w != "-p").nth(1).unwrap_or(&"brimwatch");
                    assert_understood(package, rest.get(at + 1..).unwrap_or_default(), &what);
                }
                ["cargo", "bench" | "build" | "test" | "install" | "clippy" | "fmt" | "deb" | "tree", ..]
                | ["git" | "cd" | "curl", ..] => {}
                _ => panic!("{what}: neither a command of ours nor one this check knows"),
            }
            tried += 1;
        }
    }
    assert!(tried > 1, "the papers show no command");
}
