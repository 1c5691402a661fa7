//! A drill from the trainer's desk: begun, stood still, gone on with at another speed, something let go wrong, the
//! trainee acting, and the result that is kept.

use super::drilled;
use super::recorded::Recording;
use brimwatch::config::DeliveryFile;
use brimwatch::engine::input::AlarmId;
use brimwatch::live;
use brimwatch::recording::ENDING;
use brimwatch::recording::compare::compare;
use brimwatch::recording::format::Kind;
use brimwatch::recording::{stream, truth};
use brimwatch::time::EngineTime;
use brimwatch::tune::{Choice, Labels, Plan, run};
use brimwatch_simulator::bay::{Act, Stage};
use brimwatch_simulator::desk::outcome::{Damage, Outcome};
use brimwatch_simulator::desk::recordings;
use brimwatch_simulator::desk::session::{Options, Plays, Session};
use brimwatch_simulator::play::recorded::Recorded;
use brimwatch_simulator::scenario::{self, DELIVERY, SITE};
use brimwatch_simulator::scenarios::Scenario;
use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;
use std::time::{Duration, Instant};
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::TcpStream;

fn options(store: &Path) -> Options {
    Options { site: None, recordings: None, store: store.to_owned(), port: 0, seed: 3 }
}

async fn until(session: &mut Session, what: &str, ready: impl Fn(&Session) -> bool) {
    let until = Instant::now() + Duration::from_secs(60);
    while !ready(session) {
        assert!(Instant::now() < until, "not within 60 s: {what}; {:?}", session.told().spoke);
        tokio::time::sleep(Duration::from_millis(20)).await;
        session.look().await;
        // Whoever acts now acts after all that has been said.
        let said_s = session.latest().map(|published| session.behind().at_s(published.frame.at));
        assert!(said_s.is_none_or(|said_s| said_s <= session.now_s()), "{said_s:?} at {} s", session.now_s());
    }
}

/// A page of the drill's monitor.
async fn page(session: &Session, path: &str) -> String {
    let monitor = session.monitor();
    let address = monitor.trim_start_matches("http://").trim_end_matches('/');
    let mut stream = TcpStream::connect(address).await.expect("it is served");
    let asked = format!("GET {path} HTTP/1.1\r\nHost: {address}\r\nConnection: close\r\n\r\n");
    stream.write_all(asked.as_bytes()).await.expect("asked");
    let mut text = String::new();
    stream.read_to_string(&mut text).await.expect("answered");
    text
}

fn quiet() -> Plays {
    Plays::Scenario(Box::new(Scenario::find("quiet").unwrap_or_else(|why| panic!("{why}"))))
}

fn spilled(outcome: &Outcome) -> &Damage {
    outcome.damage.iter().find(|line| line.harm == "spilled").expect("a line")
}

/// The drill's recording ends with what was so; `tune` counts by it without a label, and a replay does not see it.
fn tuned_by_the_truth(kept: &Path, outcome: &Outcome) {
    let recording = Path::new(&outcome.recording).to_owned();
    let mut read = stream::open(&recording).expect("a recording");
    let mut truth = None;
    while let Some(record) = read.next_record().expect("a disk") {
        if record.kind == Kind::Truth {
            truth = Some(truth::read(&record).expect("it can be read"));
        }
    }
    let truth = truth.expect("it is there");
    let [fault] = truth.faults.as_slice() else { panic!("one fault: {truth:?}") };
    assert!(fault.what.starts_with("leak before the meter") && fault.to_s.is_none(), "{fault:?}");
    assert_eq!(fault.alarm.as_deref(), Some("witnesses_disagree"));
    assert!(truth::end_with(&recording, &truth).expect_err("once").contains("was ended before"));
    assert!(compare(&recording).expect("a recording").is_same());

    let (recordings, labels, choices) = ([recording], Labels::default(), [Choice::recorded()]);
    let out = kept.join("tuned");
    let plan = Plan { recordings: &recordings, choices: &choices, labels: &labels, out: &out, cores: 1 };
    run(&plan, &AtomicBool::new(false), &mut |_| {}).expect("results");
    let json: serde_json::Value =
        serde_json::from_slice(&std::fs::read(out.join("tune.json")).expect("JSON")).expect("JSON");
    assert_eq!((&json["known"], &json["drills"]), (&1.into(), &1.into()));
    let alarms = json["choices"][0]["alarms"].as_array().expect("alarms");
    let found = alarms.iter().find(|a| a["alarm"] == "witnesses_disagree").expect("it came");
    assert_eq!((&found["called_for"], &found["nuisance"], &found["missed"]), (&1.into(), &0.into(), &0.into()));
    // Both count from the fault's beginning, the desk by the plant's clock and tune by the recording's.
    let delay_s = found["delay_middle_s"].as_f64().expect("a delay");
    let spoke_s = outcome.spoke.as_ref().zip(outcome.began_s).map(|(m, began_s)| m.at_s - began_s).expect("it spoke");
    assert!((delay_s - spoke_s).abs() <= 3.0, "{delay_s} s against {spoke_s} s");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_drill_is_held_and_its_result_kept() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut session =
        Session::begin(&options(folder.path()), quiet(), 20.0).await.unwrap_or_else(|why| panic!("{why}"));
    until(&mut session, "the pad is up", |s| s.with_bay(|bay| bay.stage()) == Some(Stage::Ready)).await;
    let settings = page(&session, "/settings").await;
    assert!(settings.starts_with("HTTP/1.1 200") && settings.contains(">DRILL<"), "{settings}");
    session.enter(brimwatch::engine::input::What::TransferStarted).await.expect("taken");
    until(&mut session, "the start is heard", |s| s.log().started_s().is_some()).await;
    until(&mut session, "something has moved", |s| s.with_bay(|bay| bay.plant().received_kg() > 600.0) == Some(true))
        .await;

    // Stands still: the plant too, and acts are refused.
    session.pause().await.expect("it stands still");
    let stood_s = session.now_s();
    tokio::time::sleep(Duration::from_millis(200)).await;
    assert!((session.now_s() - stood_s).abs() < 1e-9 && session.published().is_none());
    assert!(session.act(Act::CloseValve).expect_err("refused").contains("stands still"));
    let lost_before = session.told().spoke.iter().any(|(_, key)| key.id == AlarmId::SignalLost);
    // So slowly that a machine that stands still for 200 ms loses no signal either.
    session.go_on(4.0).await.unwrap_or_else(|why| panic!("{why}"));
    until(&mut session, "it is watched again", |s| s.published().is_some_and(|p| p.frame.together.is_some())).await;
    let lost = session.told().spoke.iter().any(|(_, key)| key.id == AlarmId::SignalLost);
    let spoke = session.told().spoke.iter().map(|(at, key)| format!("{at:?} {key:?}")).collect::<Vec<_>>();
    assert_eq!(lost, lost_before, "standing still loses no signal: {spoke:?}");
    session.go_on(12.0).await.unwrap_or_else(|why| panic!("{why}"));

    assert!(session.fault("leek before the meter, 6 kg/min").expect_err("unknown").contains("the nearest is"));
    session.fault("leak before the meter, 90 kg/min").expect("known");
    until(&mut session, "the monitor speaks", |s| {
        s.told().spoke.iter().any(|(_, key)| key.id == AlarmId::WitnessesDisagree)
    })
    .await;
    session.act(Act::EmergencyStop).expect("it moves");
    until(&mut session, "the valve is shut", |s| s.with_bay(|bay| bay.plant().valve() <= 0.0) == Some(true)).await;
    let picture = session.picture().into_string();
    assert!(picture.contains("DRILL") && picture.contains("fault begun") && picture.contains("ceiling"), "{picture}");
    let (kept, outcome) = session.end().await.unwrap_or_else(|why| panic!("{why}"));

    let began_s = outcome.began_s.expect("it began");
    let at = |moment: &Option<_>| moment.as_ref().map(|m: &brimwatch_simulator::desk::outcome::Moment| m.at_s);
    let (known, spoke, acted) = (at(&outcome.known), at(&outcome.spoke), at(&outcome.acted));
    assert!(known.is_some_and(|s| s >= began_s && s < began_s + 120.0), "{outcome:?}");
    assert!(spoke >= known && acted >= spoke, "{outcome:?}");
    assert_eq!(outcome.spoke.as_ref().map(|m| m.what.as_str()), Some("witnesses disagree"));
    tuned_by_the_truth(&kept, &outcome);
    assert!(outcome.seen.is_none(), "nobody said so");
    // 90 kg/min from its beginning to the stop; had nobody acted, on until the planned amount by the meter is in.
    let was = spilled(&outcome).was.expect("a plant knows");
    let would = spilled(&outcome).would_have_been.expect("a plant knows");
    let for_s = acted.expect("acted") - began_s;
    assert!((was / 1.5 - for_s).abs() < 30.0, "{was} kg in {for_s} s");
    assert!(would > 3.0 * was, "{would} kg against {was} kg");
    // What is kept says so, prints alone, and the drill's recording is whole through the standing still.
    let paper = std::fs::read_to_string(kept.join("result.html")).expect("kept");
    assert!(paper.contains("DRILL") && paper.contains("presses the emergency stop") && !paper.contains("src="));
    for part in [
        "class=\"picture wide\"",
        "fault begun",
        "could be known",
        "monitor spoke",
        "trainee acted",
        "had nobody acted",
    ] {
        assert!(paper.contains(part), "the picture of its course lacks {part}");
    }
    let json: serde_json::Value =
        serde_json::from_str(&std::fs::read_to_string(kept.join("result.json")).expect("kept")).expect("JSON");
    assert_eq!(json["drill"], true);
    let replayed = compare(Path::new(&outcome.recording)).expect("a recording");
    assert!(replayed.is_same() && replayed.compared > 100, "{replayed:?}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn no_drill_while_a_trailer_is_there() {
    let folder = tempfile::tempdir().expect("a folder");
    // A real watch of the bay was stopped with its delivery open.
    let drilled = drilled::start(folder.path(), 1.0, 1).await;
    let options_live = live::Options { site: drilled.site, deliveries: vec![drilled.delivery], drill_speed: None };
    let real = live::start(options_live).await.unwrap_or_else(|e| panic!("{e}"));
    // It is only recorded once a device has answered.
    let mut latest = real.bays[0].latest.clone();
    let answered = |p: &Option<_>| {
        p.as_ref().is_some_and(|p: &std::sync::Arc<brimwatch::page::feed::Published>| {
            p.frame.readings.iter().any(|reading| reading.value_si.is_some())
        })
    };
    latest.wait_for(answered).await.expect("it runs");
    let open = real.recordings[0].borrow().clone();
    real.stop().await;
    let drills = options(&folder.path().join("drills"));
    let why = Session::begin(&drills, Plays::Recording(open), 10.0).await.err().expect("refused");
    assert!(why.contains("Bay 1: delivery drill-1 is open") && why.contains("no drill is held"), "{why}");
    let site = Some((drilled.site_file, drilled.delivery_file));
    let of_site = Options { site, ..options(&folder.path().join("drills")) };
    let why = Session::begin(&of_site, quiet(), 10.0).await.err().expect("refused");
    assert!(why.contains("Bay 1: delivery drill-1 is open") && why.contains("no drill is held"), "{why}");

    // Another site's bay, and a busy port.
    let other = folder.path().join("other");
    drop(drilled::serve(&other, SITE, &[DELIVERY.to_owned()], 1.0, 1).await);
    let site = Some((other.join("site.toml"), other.join("delivery-0.toml")));
    let taken = std::net::TcpListener::bind("127.0.0.1:0").expect("a port");
    let port = taken.local_addr().expect("its address").port();
    let busy = Options { site, port, ..options(&other.join("drills")) };
    let why = Session::begin(&busy, quiet(), 10.0).await.err().expect("refused");
    assert!(why.contains("the monitor's page cannot listen") && why.contains("--port"), "{why}");
    // A free one: the drill has its own files, addresses and store, and the site's own store stays empty.
    let free = Options { port: 0, ..busy };
    let session = Session::begin(&free, quiet(), 10.0).await.unwrap_or_else(|why| panic!("{why}"));
    let own = std::fs::read_to_string(session.folder.join("site.toml")).expect("its own");
    let theirs = std::fs::read_to_string(other.join("site.toml")).expect("theirs");
    assert_ne!(own, theirs);
    let (kept, outcome) = session.end().await.unwrap_or_else(|why| panic!("{why}"));
    assert!(outcome.recording.starts_with(kept.to_str().expect("text")), "{}", outcome.recording);
    assert!(!other.join("recordings").exists(), "the site's own store was touched");
}

/// A small load, unloaded and recorded in no time.
fn record(folder: &Path) -> PathBuf {
    let (site, _) = scenario::works(folder).unwrap_or_else(|faults| panic!("{faults}"));
    let papers = DELIVERY.replace("planned = \"20 t\"", "planned = \"800 kg\"");
    let delivery = DeliveryFile::from_text(&folder.join("delivery.toml"), papers, &site);
    let delivery = delivery.unwrap_or_else(|faults| panic!("{faults}"));
    std::fs::create_dir_all(folder).expect("a folder");
    let path = folder.join(format!("20261025T000000.000Z.{ENDING}"));
    let mut recording = Recording::begin(&path, &site.texts, &site.bays[0], &delivery, 5);
    while recording.plant.stage() != Stage::Done {
        recording.seconds(10);
    }
    recording.end();
    path
}

/// What is offered, and what is said of the rest.
fn offered(folder: &Path, recording: &Path) {
    let none = recordings::list(&folder.join("nowhere")).expect_err("no such folder");
    assert!(none.contains("nowhere: cannot be read"), "{none}");
    let empty = folder.join("empty");
    std::fs::create_dir_all(&empty).expect("a folder");
    let none = recordings::list(&empty).expect_err("nothing there");
    assert!(none.contains("no recorded delivery lies in it") && none.contains("give the folder"), "{none}");
    let bytes = std::fs::read(recording).expect("a recording");
    std::fs::write(recording.with_file_name(format!("1-cut.{ENDING}")), &bytes[..40]).expect("a file");
    let found = recordings::list(folder).unwrap_or_else(|why| panic!("{why}"));
    assert_eq!(found.len(), 2, "{found:?}");
    assert_eq!(found[0].says, Ok("drill-1 at Bay 1, 2026-10-25 00:00 UTC, itself a drill".to_owned()));
    assert!(found[1].name.ends_with("1-cut.brim") && found[1].says.is_err(), "{found:?}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_recorded_delivery_is_drilled() {
    let folder = tempfile::tempdir().expect("a folder");
    let recording = record(&folder.path().join("bay-1"));
    offered(folder.path(), &recording);
    let options = options(&folder.path().join("drills"));
    let plays = Plays::Recording(recording.clone());
    let mut session = Session::begin(&options, plays, 20.0).await.unwrap_or_else(|why| panic!("{why}"));
    until(&mut session, "the start is entered again", |s| s.log().started_s().is_some()).await;
    let started_s = Recorded::read(&recording).expect("it is one").started().since_s(EngineTime(0));
    let heard_s = session.log().started_s().expect("heard");
    assert!((heard_s - started_s).abs() < 5.0, "{heard_s} s, not {started_s} s");

    session.pause().await.expect("it stands still");
    let stood_s = session.now_s();
    tokio::time::sleep(Duration::from_millis(200)).await;
    assert!((session.now_s() - stood_s).abs() < 1e-9 && session.published().is_none());
    assert!(session.act(Act::CloseValve).expect_err("refused").contains("stands still"));
    session.go_on(10.0).await.unwrap_or_else(|why| panic!("{why}"));
    until(&mut session, "it moves", |s| s.published().is_some_and(|p| p.frame.together.is_some())).await;
    let lost = |s: &Session| s.told().spoke.iter().any(|(_, key)| key.id == AlarmId::SignalLost);
    assert!(!lost(&session), "standing still loses no signal");

    let leak = session.fault("leak before the meter, 6 kg/min").expect_err("it is past");
    assert!(leak.contains("a recording is past") && leak.contains("only instruments can go wrong"), "{leak}");
    session.fault("tank level: silent").expect("it can");
    until(&mut session, "the loss is told", lost).await;
    session.act(Act::EmergencyStop).expect("it is written down");
    session.mend().expect("there is something");
    until(&mut session, "the recording is over", |s| s.is_over() && s.is_paused()).await;
    assert!(session.go_on(10.0).await.expect_err("over").contains("the recording is over"));
    let picture = session.picture().into_string();
    assert!(picture.contains("DRILL") && picture.contains("off from all together"), "{picture}");
    let (kept, outcome) = session.end().await.unwrap_or_else(|why| panic!("{why}"));

    assert_eq!(outcome.spoke.as_ref().map(|m| m.what.as_str()), Some("signal lost"), "{outcome:?}");
    let (began_s, acted) = (outcome.began_s.expect("the trainer let it"), outcome.acted.as_ref().expect("acted"));
    assert!(outcome.spoke.as_ref().is_some_and(|m| m.at_s >= began_s && acted.at_s >= m.at_s), "{outcome:?}");
    let who_started: Vec<_> =
        outcome.time_line.iter().filter(|m| m.what == "enters that the transfer has started").map(|m| m.who).collect();
    assert_eq!(who_started, ["recording"]);
    // What nobody knows is said to be so.
    assert!(outcome.known.is_none() && outcome.bad_end.is_none() && outcome.not_known.is_some());
    assert!(outcome.damage.iter().all(|line| line.was.is_none() && line.would_have_been.is_none()), "{outcome:?}");
    let paper = std::fs::read_to_string(kept.join("result.html")).expect("kept");
    for part in
        ["DRILL", "not known: a recording has no true values", "presses the emergency stop", "tank level: silent"]
    {
        assert!(paper.contains(part), "the result lacks {part:?}");
    }
    assert!(!paper.contains("0 kg</td>"), "nothing that is not known is zero");
    let replayed = compare(Path::new(&outcome.recording)).expect("a recording");
    assert!(replayed.is_same() && replayed.compared > 100, "{replayed:?}");
    not_drilled(&options, folder.path(), &recording).await;
}

/// Each is refused before anything is served.
async fn not_drilled(options: &Options, folder: &Path, recording: &Path) {
    let other = folder.join("other");
    let text = SITE.replace("name = \"Bay 1\"", "name = \"Bay 7\"");
    let papers = DELIVERY.replace("bay = \"Bay 1\"", "bay = \"Bay 7\"");
    drop(drilled::serve(&other, &text, &[papers], 1.0, 1).await);
    let site = Some((other.join("site.toml"), other.join("delivery-0.toml")));
    let of_other = Options { site, ..options.clone() };
    let begin = |options: Options, file: PathBuf| async move {
        Session::begin(&options, Plays::Recording(file), 10.0).await.err().expect("refused")
    };
    let why = begin(of_other, recording.to_owned()).await;
    assert!(why.contains("is of another site than") && why.contains("no bay bay-1, but bay-7"), "{why}");
    let why = begin(options.clone(), recording.with_file_name(format!("1-cut.{ENDING}"))).await;
    assert!(why.contains("1-cut.brim"), "{why}");
    let why = begin(options.clone(), folder.join("none.brim")).await;
    assert!(why.contains("none.brim"), "{why}");
    let taken = std::net::TcpListener::bind("127.0.0.1:0").expect("a port");
    let port = taken.local_addr().expect("its address").port();
    let why = begin(Options { port, ..options.clone() }, recording.to_owned()).await;
    assert!(why.contains("the monitor's page cannot listen") && why.contains("--port"), "{why}");
    let why = brimwatch_simulator::desk::run(options.clone(), None, port).await.expect_err("refused");
    let busy = format!("the desk cannot listen on 127.0.0.1:{port}: ");
    assert!(why.starts_with(&busy) && why.ends_with("free the port, or give another by --desk-port"), "{why}");
}
