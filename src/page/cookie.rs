//! Cookies: read from a request, set for this page alone and out of reach of any script.

use axum::http::{HeaderMap, header};
use std::time::Duration;

/// What a browser remembers for good, it remembers ten years: the screen hangs on the wall.
pub(super) const FOR_GOOD: Duration = Duration::from_secs(10 * 365 * 86_400);

/// The value of a cookie that came with a request.
pub(super) fn read<'a>(headers: &'a HeaderMap, name: &str) -> Option<&'a str> {
    let cookies = headers.get_all(header::COOKIE).iter().filter_map(|v| v.to_str().ok()).flat_map(|v| v.split(';'));
    let mut values = cookies.filter_map(|c| c.trim().strip_prefix(name)?.strip_prefix('='));
    values.next()
}

/// The header that gives the browser a cookie; with `secure` the browser sends it over TLS alone.
pub(super) fn set(name: &str, value: &str, path: &str, longest: Duration, secure: bool) -> String {
    let secure = if secure { "; Secure" } else { "" };
    format!("{name}={value}; Path={path}; HttpOnly; SameSite=Strict; Max-Age={}{secure}", longest.as_secs())
}
