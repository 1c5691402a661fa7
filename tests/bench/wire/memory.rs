//! What a connection takes of memory.

use super::client::{self, Plan, Who};
use super::figures::{goal, table};
use super::server::{Kind, Servers};

/// Connections; what the process takes beside them falls out of the slope.
const SIZES: [f64; 3] = [100.0, 300.0, 600.0];
/// Requests a second, all connections together.
const RATE_HZ: f64 = 40_000.0;
/// Requests of each connection before memory is looked at. The Modbus library's two buffers of 8 KiB become resident
/// as requests of 12 and replies of 29 bytes move through them: all of it after 8192 / 12 requests.
const SETTLED: f64 = 750.0;
/// The same for the first moments, in which little of the buffers has been touched.
const FRESH: f64 = 30.0;

pub fn part() {
    let servers = Servers::start(&[Kind::Answers]);
    let slope = |who, requests| slope_kb(&servers.addresses[0], who, requests);
    let (floor, library, fresh, ours) =
        (slope(Who::Floor, FRESH), slope(Who::Library, SETTLED), slope(Who::Ours, FRESH), slope(Who::Ours, SETTLED));
    let row = |what: &str, kb: f64, said: String| [what.into(), format!("{floor:.1}"), format!("{kb:.1}"), said];
    let rows = [
        row("brimwatch, settled", ours, goal("<= 16", ours <= 16.0)),
        row("brimwatch, after 30 requests each", fresh, String::new()),
        row("the Modbus library alone, settled", library, String::new()),
        row("brimwatch less the library", ours - library, String::new()),
    ];
    servers.stop();
    table(
        "Memory a connection, kB resident (slope over 100, 300 and 600 connections)",
        ["", "floor", "measured", "goal"],
        &rows,
    );
}

/// Resident memory against connections: slope of the least squares.
fn slope_kb(address: &str, who: Who, requests: f64) -> f64 {
    let points = SIZES.map(|size| {
        let hz = (RATE_HZ / size).min(200.0);
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "hundreds")]
        let addresses = vec![address.to_owned(); size as usize];
        // A short window: what it notes takes memory as well.
        let plan = Plan { who, addresses, hz, warm_s: requests / hz + 0.5, window_s: 0.1, time_out_s: 1.0 };
        (size, client::run(&plan).resident_kb)
    });
    let n = 3.0;
    let (x, y) = points.iter().fold((0.0, 0.0), |(x, y), point| (x + point.0 / n, y + point.1 / n));
    let product: f64 = points.iter().map(|point| (point.0 - x) * (point.1 - y)).sum();
    let square: f64 = points.iter().map(|point| (point.0 - x) * (point.0 - x)).sum();
    product / square
}
