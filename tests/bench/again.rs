//! A recorded delivery written again.

use brimwatch::engine::input::{Entry, Event, What};
use brimwatch::recording::format::Kind;
use brimwatch::recording::reader;
use brimwatch::recording::writer::Recorder;
use brimwatch::time::WallTime;
use std::path::Path;

/// The same delivery under another name and some time later, as if it had been watched and not drilled.
pub fn again(from: &Path, to: &Path, id: &str, later_ns: i64) {
    let bytes = reader::read(from).expect("a recording");
    let recording = reader::walk(from, &bytes).expect("a recording");
    let later = |wall: &mut WallTime| wall.0 += later_ns;
    let mut header = recording.header;
    header.drill_speed = None;
    later(&mut header.wall_at_zero);
    let recorder = Recorder::create(to, &header).expect("a disk");
    let mut number = 0;
    for record in &recording.records {
        match record.kind {
            Kind::Input => {
                let mut input = reader::input(record).expect("an input");
                match &mut input.event {
                    Event::Clock(wall) => later(wall),
                    Event::Entry(Entry { what: What::DeliveryOpened(setup), .. }) => setup.id = id.to_owned(),
                    _ => {}
                }
                number = recorder.input(&input);
            }
            Kind::Output => {
                let mut frame = reader::frame(record).expect("a frame");
                later(&mut frame.clock.wall);
                frame.alarms.iter_mut().for_each(|alarm| later(&mut alarm.since));
                frame.delivery.iter_mut().for_each(|delivery| delivery.id = id.to_owned());
                recorder.output(number, &frame);
            }
            Kind::Header | Kind::Link | Kind::End | Kind::Truth => {}
        }
    }
    recorder.finish().expect("a disk");
}
