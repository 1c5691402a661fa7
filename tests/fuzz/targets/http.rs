//! The page's doors: whatever is sent, the server answers or hangs up, and goes on serving.

#![no_main]

#[path = "../staged.rs"]
mod staged;

use arbitrary::Arbitrary;
use libfuzzer_sys::fuzz_target;

#[derive(Debug, Arbitrary)]
enum Case {
    /// A body at one of the doors that take one.
    Body { sign_in: bool, json: bool, body: Vec<u8> },
    /// Bytes as they are.
    Raw(Vec<u8>),
}

fuzz_target!(|case: Case| {
    let request = match case {
        Case::Raw(bytes) => bytes,
        Case::Body { sign_in, json, body } => {
            let path = if sign_in { "/sign-in" } else { "/bay/bay-1/entry" };
            let kind = if json { "application/json" } else { "text/plain" };
            let head = format!(
                "POST {path} HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: {kind}\r\nContent-Length: {}\r\nConnection: \
                 close\r\n\r\n",
                body.len()
            );
            [head.as_bytes(), &body].concat()
        }
    };
    let answer = staged::exchange(&request);
    assert!(answer.is_empty() || answer.starts_with(b"HTTP/1."), "{}", String::from_utf8_lossy(&answer));
    staged::still_serves();
});
