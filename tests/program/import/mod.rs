//! `brimwatch import`: a recorded history becomes the recording that watching would have made, or is refused in words.

mod kinds;
mod made;
#[cfg(feature = "peers")]
mod python;
mod same;
mod simulated;
mod stream;
mod wild;
mod wrong;

#[cfg(feature = "peers")]
#[path = "../../reference/venv.rs"]
mod venv;

use brimwatch::config::{self, DeliveryFile, Site};
use brimwatch::engine::frame::Frame;
use brimwatch::engine::input::{Event, Input};
use brimwatch::recording::format::Kind;
use brimwatch::recording::reader;
use brimwatch_simulator::scenario::{DELIVERY, PRODUCT, SITE};
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use tempfile::TempDir;

/// A folder with the drill's files, in which histories are imported.
pub struct Desk {
    folder: TempDir,
    pub site: Site,
    pub delivery: DeliveryFile,
}

impl Desk {
    pub fn new() -> Desk {
        let folder = tempfile::tempdir().expect("a folder");
        let write = |name: &str, text: &str| {
            let path = folder.path().join(name);
            std::fs::create_dir_all(path.parent().expect("a folder")).expect("a folder");
            std::fs::write(&path, text).expect("a file");
            path
        };
        write(PRODUCT.0, PRODUCT.1);
        let site = config::load(&write("site.toml", SITE)).unwrap_or_else(|faults| panic!("{faults}"));
        let delivery = config::load_delivery(&write("delivery.toml", DELIVERY), &site);
        let delivery = delivery.unwrap_or_else(|faults| panic!("{faults}"));
        Desk { folder, site, delivery }
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub fn write(&self, name: &str, bytes: impl AsRef<[u8]>) -> PathBuf {
        std::fs::write(self.path(name), bytes).expect("a file");
        self.path(name)
    }

    /// The command, its history and map written before.
    pub fn command(&self, history: &str, map: &str, out: &str) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_brimwatch"));
        command.current_dir(self.folder.path()).args(["import", history, "--columns", map, "--site", "site.toml"]);
        command.args(["--delivery", "delivery.toml", "--out", out]);
        command
    }

    /// Imports and expects it to be done; gives what was said and the recording.
    pub fn import(&self, history: &str, map: &str, out: &str) -> (String, PathBuf) {
        let output = self.command(history, map, out).output().expect("the program");
        assert_eq!(output.status.code(), Some(0), "{}", said(&output));
        (String::from_utf8_lossy(&output.stdout).into_owned(), self.path(out))
    }

    /// Names of the files in the folder, in order.
    pub fn files(&self) -> Vec<String> {
        let entries = std::fs::read_dir(self.folder.path()).expect("a folder");
        let mut names: Vec<String> =
            entries.map(|e| e.expect("an entry").file_name().to_string_lossy().into_owned()).collect();
        names.sort();
        names
    }
}

pub fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

/// The inputs and outputs of a whole, undamaged recording.
pub fn read(path: &Path) -> (Vec<Input>, Vec<Frame>) {
    let bytes = std::fs::read(path).expect("a recording");
    let recording = reader::walk(path, &bytes).expect("a recording");
    assert!(recording.damage.is_empty() && recording.torn.is_none() && recording.ended);
    let of = |kind| recording.records.iter().filter(move |record| record.kind == kind);
    (
        of(Kind::Input).map(|r| reader::input(r).expect("an input")).collect(),
        of(Kind::Output).map(|r| reader::frame(r).expect("a frame")).collect(),
    )
}

/// What instruments and people said: everything but the ticks.
#[cfg(feature = "peers")]
pub fn told(inputs: Vec<Input>) -> Vec<Input> {
    inputs.into_iter().filter(|input| input.event != Event::Tick).collect()
}
