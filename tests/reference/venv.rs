//! The pinned Python of `.venv/`, where the reference libraries live.

use std::path::{Path, PathBuf};

/// Its interpreter. A test that needs it never passes without it.
pub fn python() -> PathBuf {
    let python = Path::new(env!("CARGO_MANIFEST_DIR")).join(".venv/bin/python");
    assert!(
        python.exists(),
        "{} is missing: run ./test, which installs the reference libraries there",
        python.display()
    );
    python
}
