//! The unloading record as its users meet it.

use super::recorded;
use crate::tune::keys_of;
use brimwatch::config::{DeliveryFile, Site};
use brimwatch::engine::checks::CheckId;
use brimwatch::engine::input::{AlarmId, AlarmKey, What, ZeroCause};
use brimwatch::engine::steps::{Right, Side};
use brimwatch::report::account::{Account, AgainstTicket, WhyNot};
use brimwatch::report::{AccountError, account};
use brimwatch::units::Kg;
use brimwatch_simulator::scenario;
use jiff::tz::TimeZone;
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::OnceLock;

/// Long enough for the whole load, s.
const LASTS_S: u64 = 6_000;

struct Works {
    folder: tempfile::TempDir,
    closed: PathBuf,
    whole: PathBuf,
    open: PathBuf,
}

/// Deliveries on record, made once: one closed of which a part was meant to be unloaded, one closed with the whole load of
/// its ticket, one in its transfer.
fn works() -> &'static Works {
    static WORKS: OnceLock<Works> = OnceLock::new();
    WORKS.get_or_init(|| {
        let folder = tempfile::tempdir().expect("a folder");
        let (site, mut delivery): (Site, DeliveryFile) =
            scenario::works(Path::new("")).unwrap_or_else(|faults| panic!("{faults}"));
        delivery.setup.papers.carrier = Some("Weir <Haulage>".into());
        delivery.setup.papers.driver = Some("J. Moor".into());
        let [closed, whole, open] = ["closed", "whole", "open"].map(|name| folder.path().join(name).join("it.brim"));
        for (path, lasts_s) in [(&closed, LASTS_S), (&whole, LASTS_S), (&open, 900)] {
            std::fs::create_dir(path.parent().expect("a folder")).expect("a disk");
            if *path == whole {
                // The papers plan as much as the ticket says.
                delivery.setup.ticket_net = Kg(delivery.setup.planned.0);
                delivery.setup.ticket_u = Kg(20.0);
            }
            let bay = &site.bays[delivery.bay];
            let mut recording = recorded::Recording::begin(path, &site.texts, bay, &delivery, 5);
            recording.seconds(lasts_s);
            recording.end();
        }
        Works { folder, closed, whole, open }
    })
}

/// The recording of a closed delivery with the whole load of its ticket; a drill.
pub fn whole() -> &'static Path {
    &works().whole
}

fn closed() -> Account {
    account(&works().closed, &TimeZone::UTC).unwrap_or_else(|error| panic!("{error}"))
}

/// The account says what happened: what really arrived, by whom it was seen, and against what.
#[test]
fn a_closed_delivery_has_its_account() {
    let a = closed();
    assert!(a.is_closed && a.drill_speed == Some(1.0));
    assert_eq!((a.site.as_str(), a.carrier.as_deref()), ("Alder Reach works (drill)", Some("Weir <Haulage>")));
    let (opened, started, closed) = (a.opened.expect("a time"), a.started.expect("a time"), a.closed.expect("a time"));
    assert!(opened.unix_ns < started.unix_ns && started.unix_ns < closed.unix_ns);
    assert!(opened.wall.starts_with("2026-10-25T00:00:00"), "{}", opened.wall);
    // Until the load was there the density meter stood in gas, and nobody was called.
    let gas: Vec<_> = a.suppressed.iter().filter(|s| s.by == "gas_in_line").collect();
    assert_eq!(gas.iter().map(|s| s.alarm.as_str()).collect::<Vec<_>>(), ["signal_lost"], "{:?}", a.suppressed);
    let until = gas[0].to.as_ref().expect("liquid came");
    assert!(gas[0].from.unix_ns < until.unix_ns && until.unix_ns < closed.unix_ns && !gas[0].subject.is_empty());
    assert_eq!(
        a.witnesses.iter().map(|w| w.witness.as_str().expect("text")).collect::<Vec<_>>(),
        ["flow", "scale", "tank"]
    );
    let received = a.received_kg.expect("together");
    for witness in &a.witnesses {
        let own = witness.received_kg.expect("credible");
        assert!((own.value - received.value).abs() < 4.0 * own.u, "{own:?} against {received:?}");
        let squares: f64 = witness.budget.iter().map(|part| part.kg * part.kg).sum();
        assert!((squares.sqrt() - own.u).abs() < 1e-9, "the budget adds up");
    }
    // The drill's papers plan to unload a part of what the ticket says.
    assert!(a.ticket.net_kg > a.planned_kg + 3.0 * a.ticket.corrected_kg.u);
    assert_eq!(a.against_ticket, AgainstTicket::NotCompared(WhyNot::PartOfTheLoad));
    let entries: Vec<&str> = a.entries.iter().map(|e| e.what.as_str()).collect();
    assert_eq!(entries, ["delivery_opened", "transfer_started", "closed"]);
    assert!(a.levels.iter().all(|level| level.close_m.zip(level.start_m).is_some_and(|(close, start)| close > start)));
    assert_eq!((a.chain_head.len(), a.recordings.len()), (64, 1));
    assert!(a.recordings[0].damage.is_empty() && a.recordings[0].ended);
}

/// A transfer that is still on has an account too, but nothing is held against its ticket yet.
#[test]
fn an_open_delivery_is_not_held_against_its_ticket() {
    let a = account(&works().open, &TimeZone::UTC).unwrap_or_else(|error| panic!("{error}"));
    assert!(!a.is_closed && a.closed.is_none() && a.received_kg.is_some());
    assert_eq!(a.against_ticket, AgainstTicket::NotCompared(WhyNot::NotClosed));
}

/// A torn tail is said, and what stands before it still counts; the same bytes give the same account.
#[test]
fn a_torn_tail_is_said() {
    let bytes = std::fs::read(&works().closed).expect("a file");
    let torn = works().folder.path().join("torn.brim");
    std::fs::write(&torn, &bytes[..bytes.len() - 7]).expect("a disk");
    let (whole, torn) = (closed(), account(&torn, &TimeZone::UTC).unwrap_or_else(|error| panic!("{error}")));
    assert_eq!(torn.received_kg, whole.received_kg);
    assert!(torn.recordings[0].damage[0].contains("torn tail"), "{:?}", torn.recordings[0].damage);
    assert_eq!(whole, closed());
}

#[test]
fn a_file_without_a_delivery_has_none() {
    let none = works().folder.path().join("none.brim");
    std::fs::write(&none, b"no recording").expect("a disk");
    assert!(matches!(account(&none, &TimeZone::UTC), Err(AccountError::Recording(_))));
}

/// Every key of the account's JSON is in the paper on interfaces.
#[test]
fn every_key_is_documented() {
    let documented = std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/interface.md"));
    let documented = documented.expect("the paper");
    let mut keys = Vec::new();
    for path in [&works().closed, &works().whole] {
        let account = account(path, &TimeZone::UTC).unwrap_or_else(|error| panic!("{error}"));
        keys_of(&serde_json::to_value(account).expect("JSON"), &mut keys);
    }
    for key in keys {
        assert!(documented.contains(&format!("`{key}`")), "{key} is not in docs/interface.md");
    }
}

fn brimwatch(arguments: &[&Path]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_brimwatch")).args(arguments).output().expect("the program")
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&[output.stdout.as_slice(), &output.stderr].concat()).into_owned()
}

/// Everything that was asked of a paper is on it; the figures beside it are those of the account; a second run changes
/// nothing, and what is there already is kept.
#[test]
fn the_record_is_written_as_a_paper_and_as_figures() {
    let out = works().folder.path().join("whole.html");
    let report = |path: &Path| brimwatch(&[Path::new("report"), path, Path::new("--out"), &out]);
    let done = report(&works().whole);
    assert!(done.status.success() && said(&done).contains("whole.html"), "{}", said(&done));
    let paper = std::fs::read_to_string(&out).expect("a paper");
    let json = std::fs::read_to_string(out.with_extension("json")).expect("figures");
    let written: Account = serde_json::from_str(&json).expect("an account");
    for words in [
        "DRILL",
        "Operating figures, not legal for trade",
        "Weir &lt;Haulage&gt;",
        "J. Moor",
        "by flow meter",
        "k\u{a0}=\u{a0}2",
        "Where the uncertainty comes from",
        "by the site's rule",
        "Checks before anything was connected",
        "Seals seen unbroken",
        "high-high",
        "last known before the close",
        "signature",
        written.chain_head.as_str(),
        "class=\"curve scale\"",
    ] {
        assert!(paper.contains(words), "{words:?} is not on the paper");
    }
    for word in [" safe", "all clear", " OK", "normal"] {
        assert!(!paper.contains(word), "{word}");
    }
    let AgainstTicket::Compared(compared) = &written.against_ticket else { panic!("{:?}", written.against_ticket) };
    assert_eq!(compared.by_witness.len(), 3);
    // By hand: what all say together and what lies in the line, less the ticket.
    let received = written.received_kg.expect("together").value;
    let by_hand = received + compared.in_line_kg.value - written.ticket.corrected_kg.value;
    assert!((compared.difference_kg.value - by_hand).abs() < 1e-9, "{compared:?}");
    assert!((compared.en - by_hand / (2.0 * compared.difference_kg.u)).abs() < 1e-9, "{compared:?}");
    assert_eq!(compared.query, compared.en.abs() > 1.0);

    assert!(report(&works().whole).status.success(), "the same again is no trouble");
    let other = report(&works().closed);
    assert!(other.status.code() == Some(1) && said(&other).contains("it is kept"), "{}", said(&other));
    assert_eq!(std::fs::read_to_string(&out).expect("a paper"), paper);
}

/// A running transfer has a provisional record that says so and may be made again and again; there is nothing to sign.
#[test]
fn a_running_transfer_has_a_provisional_record() {
    for _ in 0..2 {
        let done = brimwatch(&[Path::new("report"), &works().open]);
        assert!(done.status.success() && said(&done).contains("is not closed"), "{}", said(&done));
    }
    let paper = std::fs::read_to_string(works().open.with_file_name("it-provisional.html")).expect("a paper");
    assert!(paper.contains("NOT CLOSED") && paper.contains("Provisional") && !paper.contains("class=\"sign\""));
    let file = std::fs::File::options().append(true).open(&works().open).expect("a file");
    file.set_modified(std::time::SystemTime::now()).expect("a disk");
    let refused = amend(&works().open, "A. Weir", "x");
    assert!(refused.status.code() == Some(1) && said(&refused).contains("still being recorded"), "{}", said(&refused));
}

fn amend(recording: &Path, who: &str, text: &str) -> Output {
    let words = ["amend", "--who", who, "--reason", "weighed again", "--text", text];
    brimwatch(&words.iter().map(Path::new).chain([recording]).collect::<Vec<_>>())
}

/// A copy of the closed delivery's recording with its record, in a folder of its own: recording, paper, figures.
fn copied(folder: &Path) -> [PathBuf; 3] {
    let recording = folder.join("it.brim");
    std::fs::copy(&works().whole, &recording).expect("a disk");
    let done = brimwatch(&[Path::new("report"), &recording]);
    assert!(done.status.success(), "{}", said(&done));
    [recording, folder.join("it-record.html"), folder.join("it-record.json")]
}

fn verify(recording: &Path, record: &Path) -> (Option<i32>, String) {
    let output = brimwatch(&[Path::new("verify"), recording, record]);
    (output.status.code(), said(&output))
}

fn assert_says(got: (Option<i32>, String), code: i32, words: &str) {
    assert!(got.0 == Some(code) && got.1.contains(words), "{code}, {words:?}: {got:?}");
}

/// Paper and figures belong to their recording, wherever it lies and however it goes on; not so with one letter of the
/// paper changed, one figure, one byte of the recording, or with another delivery's.
#[test]
fn a_record_and_its_recording_belong_together() {
    let folder = tempfile::tempdir().expect("a folder");
    let [recording, paper, figures] = copied(folder.path());
    assert_says(verify(&recording, &paper), 0, "belong together");
    assert_says(verify(&recording, &figures), 0, "belong together");
    assert_says(verify(&works().whole, &paper), 0, "belong together");

    let json = std::fs::read_to_string(&figures).expect("figures");
    let html = std::fs::read_to_string(&paper).expect("a paper");
    let account: Account = serde_json::from_str(&json).expect("an account");
    let changed = folder.path().join("changed.json");
    let last_digit = |value: f64| f64::from_bits(value.to_bits() + 1);
    let mut figure = account.clone();
    figure.received_kg = figure.received_kg.map(|mut f| {
        f.value = last_digit(f.value);
        f
    });
    let mut head = account.clone();
    head.recordings[0].chain_head = head.recordings[0].chain_head.chars().rev().collect();
    for (account, words) in [(&figure, "received_kg.value is"), (&head, "is not in the recording")] {
        std::fs::write(&changed, serde_json::to_string(account).expect("JSON")).expect("a disk");
        assert_says(verify(&recording, &changed), 9, words);
    }
    let changed = folder.path().join("changed.html");
    for (from, to) in [("Raise a query", "Raise no query"), ("No query by", "A query by"), ("J. Moor", "J. Poor")] {
        if html.contains(from) {
            std::fs::write(&changed, html.replacen(from, to, 1)).expect("a disk");
            assert_says(verify(&recording, &changed), 9, "the paper itself");
        }
    }
    std::fs::write(&changed, "no record").expect("a disk");
    assert_says(verify(&recording, &changed), 2, "is no unloading record");

    let mut bytes = std::fs::read(&recording).expect("a recording");
    let middle = bytes.len() / 2;
    bytes[middle] ^= 1;
    std::fs::write(&recording, &bytes).expect("a disk");
    assert_says(verify(&recording, &paper), 3, "altered or damaged");
    bytes[middle] ^= 1;
    std::fs::write(&recording, &bytes[..middle]).expect("a disk");
    assert_says(verify(&recording, &paper), 3, "altered or damaged");
    assert_says(verify(&works().closed, &paper), 9, "");
    assert_says(verify(&works().open, &paper), 3, "");
}

/// The record of a running transfer still belongs to its recording when that has gone on.
#[test]
fn a_recording_may_go_on() {
    let folder = tempfile::tempdir().expect("a folder");
    let recording = folder.path().join("it.brim");
    let bytes = std::fs::read(&works().whole).expect("a recording");
    std::fs::write(&recording, &bytes[..bytes.len() / 2]).expect("a disk");
    let done = brimwatch(&[Path::new("report"), &recording]);
    assert!(done.status.success(), "{}", said(&done));
    std::fs::write(&recording, &bytes).expect("a disk");
    assert_says(verify(&recording, &folder.path().join("it-provisional.html")), 0, "belong together");
}

/// An amendment changes no byte that was written; the record made then shows it, the one made before says that it lacks it;
/// a changed amendment is found by all.
#[test]
fn amendments_are_additions() {
    let folder = tempfile::tempdir().expect("a folder");
    let [recording, paper, _] = copied(folder.path());
    let before = [&recording, &paper].map(|path| std::fs::read(path).expect("a file"));
    let refused = amend(&recording, " ", "x");
    assert!(refused.status.code() == Some(2) && said(&refused).contains("--who"), "{}", said(&refused));
    let done = amend(&recording, "A. Weir", "Net by a second weighing: <20 040> kg");
    assert!(done.status.success() && said(&done).contains("Amendment 1"), "{}", said(&done));
    assert_eq!([&recording, &paper].map(|path| std::fs::read(path).expect("a file")), before);
    assert_says(verify(&recording, &paper), 11, "added since");

    assert!(brimwatch(&[Path::new("report"), &recording]).status.success());
    let amended = folder.path().join("it-record-amended-1.html");
    let text = std::fs::read_to_string(&amended).expect("a paper");
    assert!(text.contains("Net by a second weighing: &lt;20 040&gt; kg") && text.contains("A. Weir"));
    assert_says(verify(&recording, &amended), 0, "belong together");
    let list = brimwatch(&[Path::new("ledger"), folder.path()]);
    assert!(said(&list).contains("amended once"), "{}", said(&list));

    let side = recording.with_extension("amendments");
    let written = std::fs::read_to_string(&side).expect("amendments");
    std::fs::write(&side, written.replace("20 040", "20 400")).expect("a disk");
    assert_says(verify(&recording, &amended), 3, "line 1");
    assert_eq!(brimwatch(&[Path::new("report"), &recording]).status.code(), Some(3));
    assert_eq!(amend(&recording, "A. Weir", "more").status.code(), Some(3));
    std::fs::remove_file(&side).expect("a disk");
    assert_says(verify(&recording, &amended), 3, "amendment 1 stands on the record");
}

/// The paper in other units and another language: the same figures, converted (1 lb is 0.453 592 37 kg, NIST SP 811, B.8),
/// and still letter for letter what the recording gives.
#[test]
fn a_paper_is_written_in_the_units_and_language_asked_for() {
    let folder = tempfile::tempdir().expect("a folder");
    let [plain, spanish] = ["plain.html", "spanish.html"].map(|name| folder.path().join(name));
    let report = |out: &Path, more: &[&str]| {
        let mut arguments = vec!["report".as_ref(), works().whole.as_path(), "--out".as_ref(), out];
        arguments.extend(more.iter().map(Path::new));
        brimwatch(&arguments)
    };
    for (out, more) in [(&plain, &[][..]), (&spanish, &["--units", "us_customary", "--language", "es"])] {
        let output = report(out, more);
        assert_eq!(output.status.code(), Some(0), "{}", said(&output));
        assert_says(verify(&works().whole, out), 0, "belong together");
    }
    let [plain_text, text] = [&plain, &spanish].map(|path| std::fs::read_to_string(path).expect("a paper"));
    assert!(plain_text.contains("<html lang=\"en\" data-units=\"si\">"));
    for words in [
        "<html lang=\"es\" data-units=\"us_customary\">",
        "Acta de descarga",
        "SIMULACRO",
        "se exigen un corte independiente",
        "Ninguna señal muestra que cisterna",
        "<th class=\"n\">lb</th>",
    ] {
        assert!(text.contains(words), "{words}");
    }
    assert!(!text.contains("Received in the tank") && !text.contains("<th class=\"n\">kg</th>"));
    let account = account(&works().whole, &TimeZone::UTC).unwrap_or_else(|error| panic!("{error}"));
    let pounds = (account.received_kg.expect("together").value / 0.453_592_37).round();
    let digits: String = text.chars().filter(|c| !matches!(c, '\u{202f}' | '\u{a0}')).collect();
    assert!(digits.contains(&format!("<td class=\"n\">{pounds:.0}</td>")), "{pounds} lb is not on the paper");
    let figures = |path: &Path| std::fs::read(path.with_extension("json")).expect("figures");
    assert_eq!(figures(&plain), figures(&spanish), "the figures are the same in every language");

    // One that says it is in other units than it is does not pass.
    let altered = folder.path().join("altered.html");
    std::fs::write(&altered, text.replace("data-units=\"us_customary\"", "data-units=\"si\"")).expect("a disk");
    assert_eq!(verify(&works().whole, &altered).0, Some(9));
    let output = report(&folder.path().join("no.html"), &["--language", "xx"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(said(&output).contains("possible values: en, es"), "{}", said(&output));
}

/// Every entry that a person can make, on record in a delivery that nothing has moved of.
fn all_said(path: &Path) -> DeliveryFile {
    let (site, delivery): (Site, DeliveryFile) =
        scenario::works(Path::new("")).unwrap_or_else(|faults| panic!("{faults}"));
    let bay = &site.bays[delivery.bay];
    let mut recording = recorded::Recording::begin(path, &site.texts, bay, &delivery, 5);
    recording.seconds(30);
    let key = AlarmKey { id: AlarmId::SignalLost, subject: 0 };
    let note = || "0417-x".to_owned();
    for (check, _) in CheckId::ALL {
        recording.enter(What::CheckEntered { check, met: check != CheckId::SealsUnbroken, note: note() });
    }
    let step = |at: usize| bay.settings.steps[at].id.clone();
    let sign = |at, side| {
        let (step, name, right) = (step(at), "J. Moor".to_owned(), Right::Attend);
        What::StepSigned { step, side, name, right, note: note() }
    };
    let causes = [
        ZeroCause::PeopleOrTools,
        ZeroCause::HoseOrLine,
        ZeroCause::RainOrIce,
        ZeroCause::Tractor,
        ZeroCause::ScaleItself,
    ];
    causes.into_iter().for_each(|cause| recording.enter(What::ScaleZeroed(cause)));
    for what in [
        What::Dipped { level_m: 2.345 },
        What::Seen(key),
        What::Shelved { key, for_s: 600.0 },
        What::Unshelved(key),
        What::TakenOut { key, reason: note() },
        What::PutBack(key),
        What::BlowBegan,
        What::BlowEnded,
        sign(0, Side::Site),
        sign(0, Side::Driver),
        What::StepSkipped { step: step(1), right: Right::Engineer, reason: note() },
        What::Attended { screen: note() },
        What::HandedOver { out: None, to: "J. Moor".into(), state: note() },
        What::HandedOver { out: Some("J. Moor".into()), to: "A. Weir".into(), state: note() },
        What::Rejected { reason: note() },
    ] {
        recording.enter(what);
    }
    recording.seconds(30);
    recording.end();
    delivery
}

/// Texts between tags, without the figures.
fn texts(html: &str) -> BTreeSet<String> {
    let shown = html.split("<body>").nth(1).and_then(|body| body.split("<script").next()).expect("a paper");
    let pieces = shown.split('<').filter_map(|piece| piece.split_once('>'));
    pieces.map(|(_, text)| text.split_whitespace().collect::<Vec<_>>().join(" ")).collect()
}

/// Words with more than two letters in them; a link of a chain is none.
fn words(text: &str) -> BTreeSet<String> {
    let words = text.split(|c: char| !c.is_alphanumeric()).map(str::to_lowercase);
    words.filter(|word| word.len() < 32 && word.chars().filter(|c| c.is_alphabetic()).count() > 2).collect()
}

/// No word of a record is in both languages, but for names, units, and what people wrote.
#[test]
fn no_english_is_left_on_a_spanish_record() {
    let folder = tempfile::tempdir().expect("a folder");
    let said_all = folder.path().join("said.brim");
    let delivery = all_said(&said_all);
    let (site, _): (Site, DeliveryFile) = scenario::works(Path::new("")).unwrap_or_else(|faults| panic!("{faults}"));
    let settings = &site.bays[delivery.bay].settings;
    // The trainer's own names, abbreviations, and commands.
    let mut own = vec![
        "Weir Haulage J. Moor attendant supervisor Etc UTC MAWP kPa psi min brimwatch verify RECORDING RECORD"
            .to_owned(),
    ];
    own.extend([
        site.name.clone(),
        settings.bay.clone(),
        settings.gas.name.clone(),
        format!("{:?}", delivery.setup.papers),
    ]);
    own.extend([delivery.setup.id.clone(), delivery.setup.product.name.clone(), delivery.setup.product.source.clone()]);
    own.extend(delivery.setup.plate.specification.clone());
    own.push(format!("{:?}", settings.expected));
    own.extend(settings.signals.iter().map(|s| s.name.clone()));
    own.extend(settings.devices.iter().map(|d| d.name.clone()));
    own.extend(settings.tanks.iter().map(|t| t.name.clone()));
    // File names, a command, and words that both languages have.
    own.push(
        "said.brim it.brim bay.supply.relief leg.number leg.on_board quot bytes cable metal tractor provisional CFR JCGM ISO"
            .to_owned(),
    );
    let own: BTreeSet<String> = own.iter().flat_map(|text| words(text)).collect();
    for (name, recording) in
        [("said", &said_all), ("closed", &works().closed), ("whole", &works().whole), ("open", &works().open)]
    {
        let [english, spanish] = ["en", "es"].map(|language| {
            let out = folder.path().join(format!("{language}-{name}.html"));
            let output = brimwatch(&[
                Path::new("report"),
                recording,
                Path::new("--out"),
                &out,
                Path::new("--language"),
                Path::new(language),
            ]);
            assert_eq!(output.status.code(), Some(0), "{}", said(&output));
            let paper = std::fs::read_to_string(&out).expect("a paper");
            // Left for people to look at.
            let kept = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("record-{language}-{name}.html"));
            std::fs::write(kept, &paper).expect("a disk");
            texts(&paper)
        });
        let all = |texts: &BTreeSet<String>| texts.iter().flat_map(|text| words(text)).collect::<BTreeSet<_>>();
        let (there, here) = (all(&english), all(&spanish));
        let left: Vec<&String> = here.intersection(&there).filter(|word| !own.contains(*word)).collect();
        assert!(left.is_empty(), "{}: in English and in Spanish: {left:?}", recording.display());
        assert!(spanish.len() > 60, "{} texts", spanish.len());
    }
    let entries = account(&said_all, &TimeZone::UTC).unwrap_or_else(|error| panic!("{error}")).entries;
    assert!(entries.iter().filter(|entry| !entry.about.is_empty()).count() > 25, "{entries:?}");
}
