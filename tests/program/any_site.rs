//! A site whose devices lie behind a gateway, behind one that passes bytes on, and on a serial line: the simulator serves
//! its register map by each of these ways, and brimwatch reads what the instruments show.

use super::drilled;
use brimwatch::config::{SignalKind, Site};
use brimwatch::engine::frame::Frame;
use brimwatch::live;
use brimwatch_simulator::scenario::{DELIVERY, PRODUCT, SITE};
use std::io;
use std::path::Path;
use std::time::Duration;

/// Times real time.
const SPEED: f64 = 4.0;

/// The drill's works, wired otherwise: the meter behind a gateway that passes bytes on, the scale on a serial line, the
/// tank's instruments as two units of one gateway; packed decimals, loop currents, swapped bytes and words, bits.
fn rewired() -> String {
    let edits = [
        (
            "[[device]]\nname = \"line meter\"\naddress = \"127.0.0.1:1\"",
            "[[device]]\nname = \"line meter\"\nlink = \"field\"",
        ),
        ("name = \"truck scale\"\naddress = \"127.0.0.1:2\"", "name = \"truck scale\"\nlink = \"yard\""),
        (
            "name = \"tank and gas\"\naddress = \"127.0.0.1:3\"\nunit = 3",
            "name = \"tank and gas\"\nlink = \"hall\"\nunit = 3",
        ),
        ("name = \"pad pressure\"\ndevice = \"tank and gas\"", "name = \"pad pressure\"\ndevice = \"pad\""),
        (
            "type = \"u16\"\nscale = 0.01\nunit = \"psi gauge\"",
            "type = \"u16\"\nscale = 0.001\nat_4_ma = \"0 kPa gauge\"\nat_20_ma = \"250 kPa gauge\"",
        ),
        ("address = 100\ntype = \"f32\"\norder = \"ABCD\"", "address = 100\ntype = \"f32\"\norder = \"CDAB\""),
        (
            "address = 102\ntype = \"f64\"\norder = \"ABCD\"",
            "address = 102\ntype = \"i64\"\nscale = 0.01\norder = \"CDAB\"",
        ),
        ("address = 106\ntype = \"f32\"\norder = \"ABCD\"", "address = 106\ntype = \"f32\"\norder = \"CDAB\""),
        ("address = 1\ntype = \"u32\"\norder = \"CDAB\"", "address = 1\ntype = \"bcd32\"\norder = \"CDAB\""),
        (
            "address = 10\ntype = \"f32\"\norder = \"ABCD\"\nunit = \"mm\"",
            "address = 10\ntype = \"f32\"\norder = \"DCBA\"\nunit = \"mm\"",
        ),
        (
            "function = 2\naddress = 0\ntype = \"bool\"",
            "function = 4\naddress = 40\ntype = \"bool\"\nbit = 9\ntrue_when = 0",
        ),
    ];
    let mut text = edits.iter().fold(SITE.to_owned(), |text, (from, to)| {
        assert_eq!(text.matches(from).count(), 1, "{from:?} must stand once");
        text.replace(from, to)
    });
    text += "\n[[link]]\nname = \"yard\"\nserial_port = \"/dev/ttyS0\"\nbaud = 115200\n\
             [[link]]\nname = \"field\"\naddress = \"10.0.0.7:502\"\nframing = \"rtu\"\n\
             [[link]]\nname = \"hall\"\naddress = \"10.0.0.8:502\"\n\
             [[device]]\nname = \"pad\"\nlink = \"hall\"\nunit = 9\naddress_base = 0\nperiod = \"1 s\"\ntime_out = \"900 ms\"\n";
    text
}

#[tokio::test(flavor = "multi_thread")]
async fn any_register_map_is_served_by_every_way() {
    let folder = tempfile::tempdir().expect("a folder");
    let (drill, site, deliveries) = drilled::serve(folder.path(), &rewired(), &[DELIVERY.to_owned()], SPEED, 5).await;
    println!("{:?}", drill.addresses());
    let options = live::Options { site, deliveries, drill_speed: Some(SPEED) };
    let mut running = live::start(options).await.expect("a live loop");
    let all_read = |frame: &Frame| frame.readings.iter().all(|r| r.value_si.is_some());
    let wait = running.bays[0].latest.wait_for(|p| p.as_ref().is_some_and(|p| all_read(&p.frame)));
    let found = tokio::time::timeout(Duration::from_secs(30), wait).await;
    let published = found.expect("every signal is read").expect("a live loop").clone().expect("a frame");
    for (reading, signal) in published.frame.readings.iter().zip(&published.settings.signals) {
        let shows = drill.with_bay(0, |bay| bay.shows(signal.kind, signal.tank)).expect("a bay");
        let read = reading.value_si.expect("read");
        // The pad comes up meanwhile; everything else stands still but for its noise.
        let near = if signal.kind == SignalKind::PadPressure {
            20_000.0
        } else {
            0.01 * shows.abs() + 10.0 * signal.noise + 0.6
        };
        assert!((read - shows).abs() <= near, "{}: read {read}, shown {shows}", signal.name);
    }
    let lost: Vec<_> = published.frame.readings.iter().filter(|r| !r.validity.is_credible()).collect();
    let density = |index: u16| published.settings.signals[usize::from(index)].kind == SignalKind::LineDensity;
    assert!(lost.iter().all(|r| density(r.signal)), "only an empty meter's density is none: {lost:?}");
    running.stop().await;
}

/// What the site file's own check refuses is never served.
#[test]
fn overlapping_registers_are_refused() {
    let text = SITE.replacen("address = 102", "address = 101", 1);
    let read = |name: &str| match name == PRODUCT.0 {
        true => Ok(PRODUCT.1.to_owned()),
        false => Err(io::Error::from(io::ErrorKind::NotFound)),
    };
    let faults = Site::from_text(Path::new("site.toml"), text, &read).expect_err("they overlap").to_string();
    assert!(faults.contains("the register is read as \"flow\" too"), "{faults}");
}
