//! What an imported recording was made of: a text beside the site file's in its first record.

use super::format::Header;
use serde::{Deserialize, Serialize};

/// Name of that text; no file of a site can have it, since it is no path that TOML's text could hold.
const NAME: &str = "imported history";

/// The history that a recording was made of.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Origin {
    /// The file as it was asked for.
    pub file: String,
    /// Its length as it lies on the disk.
    pub bytes: u64,
    /// Its whole rows.
    pub rows: u64,
    /// blake3 of its bytes as they lie on the disk, in hexadecimal.
    pub blake3: String,
}

impl Origin {
    /// As it stands among a header's texts.
    #[must_use]
    pub fn text(&self) -> (String, String) {
        let text = serde_json::to_string(self).expect("texts and counts are JSON");
        (NAME.to_owned(), text)
    }

    /// What the recording was imported from; `None`: it was recorded live or in a drill.
    #[must_use]
    pub fn of(header: &Header) -> Option<Origin> {
        let (_, text) = header.texts.iter().rev().find(|(name, _)| name == NAME)?;
        serde_json::from_str(text).ok()
    }
}
