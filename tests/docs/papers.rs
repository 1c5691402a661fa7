//! What the papers say is there.

use super::{files, read, root};
use std::path::PathBuf;

/// Every paper, as paths from the root.
pub fn papers() -> Vec<PathBuf> {
    let mut all = vec![PathBuf::from("README.md"), PathBuf::from("DEVELOPERS.md")];
    all.extend(files("docs", "md"));
    all
}

/// Links between papers, and from papers to files, lead somewhere.
#[test]
fn links_lead_somewhere() {
    let mut followed = 0;
    for paper in papers() {
        let text = read(&root().join(&paper));
        for part in text.split("](").skip(1) {
            let target = part.split([')', '#', ' ']).next().unwrap_or_default();
            if target.is_empty() || target.contains("://") {
                continue;
            }
            let folder = root().join(paper.parent().expect("a file has a folder"));
            assert!(folder.join(target).exists(), "{}: links to {target}, which is not there", paper.display());
            followed += 1;
        }
    }
    assert!(followed > 0, "no paper links to another");
}
