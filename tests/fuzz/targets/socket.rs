//! The live connection: a viewer may send what it likes; the server lets it go or goes on, and serves the others.

#![no_main]

#[path = "../staged.rs"]
mod staged;

use libfuzzer_sys::fuzz_target;

/// A handshake with the key of RFC 6455, 1.3.
const HANDSHAKE: &[u8] = b"GET /bay/bay-1/live HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: Upgrade\r\n\
    Upgrade: websocket\r\nSec-WebSocket-Version: 13\r\nSec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n\r\n";

fuzz_target!(|bytes: &[u8]| {
    let answer = staged::exchange(&[HANDSHAKE, bytes].concat());
    assert!(answer.is_empty() || answer.starts_with(b"HTTP/1.1 101"), "{}", String::from_utf8_lossy(&answer));
    staged::still_serves();
});
