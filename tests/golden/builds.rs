//! A recording replayed by both builds of the program, as it is and as on a processor without FMA.
//!
//! glibc picks variants of its transcendental functions by what the processor can do; with the capability masked
//! (glibc manual, "Hardware Capability Tunables") they give other bits. A program that used them would replay differently.

use std::path::{Path, PathBuf};
use std::process::Command;

/// Without fused multiply-add and what brings it along.
const MASK: (&str, &str) = ("GLIBC_TUNABLES", "glibc.cpu.hwcaps=-FMA,-FMA4,-AVX2");
/// Python's functions are glibc's.
const FUNCTIONS: &str = "import math\nfor i in range(1, 4000): print(math.exp(i / 211).hex(), math.sin(i / 7).hex(), math.log(i / 3).hex())";

/// A program of the release build; `./test` makes it before the tests.
pub fn release(name: &str) -> PathBuf {
    let debug = Path::new(env!("CARGO_BIN_EXE_brimwatch"));
    let target = debug.parent().and_then(Path::parent).expect("target/debug/brimwatch");
    let program = target.join("release").join(name);
    assert!(program.exists(), "{} is not built: run ./test", program.display());
    program
}

/// Every build replays it bit for bit, masked or not; and the mask is one that changes glibc's functions here.
pub fn assert_replayed_by_all(recording: &Path) {
    let has_fma =
        std::fs::read_to_string("/proc/cpuinfo").is_ok_and(|text| text.split_whitespace().any(|w| w == "fma"));
    assert_eq!(functions(false) != functions(true), has_fma, "{} masks nothing here", MASK.1);
    for program in [PathBuf::from(env!("CARGO_BIN_EXE_brimwatch")), release("brimwatch")] {
        for masked in [false, true] {
            let mut replay = Command::new(&program);
            let output = masked_if(&mut replay, masked).arg("replay").arg(recording).output().expect("a replay");
            let said = String::from_utf8_lossy(&output.stdout);
            println!("{}, masked: {masked}: {said}", program.display());
            assert_eq!(output.status.code(), Some(0), "{}: {said}", program.display());
            assert!(said.contains("bit for bit the same"), "{said}");
        }
    }
}

fn functions(masked: bool) -> Vec<u8> {
    let mut python = Command::new("python3");
    let output = masked_if(&mut python, masked).args(["-c", FUNCTIONS]).output().expect("python3");
    assert!(output.status.success() && !output.stdout.is_empty(), "{output:?}");
    output.stdout
}

fn masked_if(command: &mut Command, masked: bool) -> &mut Command {
    if masked { command.env(MASK.0, MASK.1) } else { command }
}
