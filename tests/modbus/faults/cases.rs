//! The faults, each with what must come of it.

use super::frame::{Ask, noise, planted};
use super::poller::{SLOW, Setup, TEN, TWO, USUAL};
use super::server::{Kind, Script, Step, Target};
use super::trial::{Case, Mischief, Rule};
use Kind::{RtuOverTcp, Serial, Tcp};
use Step::{Close, Hold, Reset, Send, Swallow, WaitMs};
use brimwatch::engine::input::MissReason::{self, *};
use std::sync::Arc;

const ALL: &[Kind] = &[Tcp, RtuOverTcp, Serial];
/// Ways with connections.
const NET: &[Kind] = &[Tcp, RtuOverTcp];
/// Ways without transaction numbers.
const RTU: &[Kind] = &[RtuOverTcp, Serial];

/// Coils and inputs, asked before the rest where they are asked at all.
const BITS: Setup = Setup { blocks: &[(1, 32, 16), (2, 48, 11), TEN, TWO], ..USUAL };

/// What is asked first in each round, and what last.
const FIRST: Target = Target { unit: 1, function: TEN.0 };
/// See above.
const LAST: Target = Target { unit: 1, function: TWO.0 };

/// Cases as they are listed.
#[derive(Default)]
struct List(Vec<Case>);

impl List {
    fn add(&mut self, name: &str, ways: &[Kind], target: Target, mischief: &Mischief, rule: Rule) -> &mut List {
        self.0.extend(ways.iter().map(|&kind| Case {
            name: name.to_owned(),
            kind,
            setup: USUAL,
            target,
            mischief: mischief.clone(),
            rule,
            reasons: Vec::new(),
        }));
        self
    }

    /// A fault in one answer to the main block: at most one poll is lost once it is over, and the one it hits is
    /// missed for one of these reasons.
    fn answer(
        &mut self,
        name: &str,
        ways: &[Kind],
        reasons: &[MissReason],
        script: fn(&Ask) -> Vec<Step>,
    ) -> &mut List {
        self.add(name, ways, FIRST, &once(script), Rule::OnePoll).missed_for(ways.len(), reasons)
    }

    /// A fault behind the last answer of a round, while the line should be idle.
    fn idle(&mut self, name: &str, ways: &[Kind], script: fn(&Ask) -> Vec<Step>) -> &mut List {
        self.add(name, ways, LAST, &once(script), Rule::OnePoll)
    }

    /// A fault of the main block for a while, after which the device is back within 1 s and one period.
    fn stretch(
        &mut self,
        name: &str,
        ways: &[Kind],
        reasons: &[MissReason],
        ms: u64,
        script: fn(&Ask) -> Vec<Step>,
    ) -> &mut List {
        self.add(name, ways, FIRST, &Mischief::For(ms, Arc::new(script)), Rule::Second).missed_for(ways.len(), reasons)
    }

    fn missed_for(&mut self, cases: usize, reasons: &[MissReason]) -> &mut List {
        self.last(cases).for_each(|case| case.reasons = reasons.to_vec());
        self
    }

    fn set_up(&mut self, cases: usize, setup: Setup) -> &mut List {
        self.last(cases).for_each(|case| case.setup = setup);
        self
    }

    fn last(&mut self, cases: usize) -> impl Iterator<Item = &mut Case> {
        let from = self.0.len() - cases;
        self.0[from..].iter_mut()
    }
}

fn once(script: impl Fn(&Ask) -> Vec<Step> + std::marker::Send + Sync + 'static) -> Mischief {
    let script: Script = Arc::new(script);
    Mischief::Once(script)
}

/// An answer that is right in all but its values: nobody can tell, but for those who know what was sent.
pub fn lie(kind: Kind) -> Case {
    let mut list = List::default();
    list.add("lie", &[kind], FIRST, &once(|ask| vec![Send(ask.frame(&ask.pdu(&planted(20))))]), Rule::OnePoll);
    list.0.remove(0)
}

/// Every case.
pub fn all() -> Vec<Case> {
    let mut list = List::default();
    list.add("no fault, all four functions", ALL, FIRST, &once(|ask| vec![Send(ask.right())]), Rule::Accepted)
        .set_up(ALL.len(), Setup { blocks: BITS.blocks, ..SLOW });
    late(&mut list);
    surplus(&mut list);
    foreign(&mut list);
    misshapen(&mut list);
    bits(&mut list);
    headers(&mut list);
    exceptions(&mut list);
    pieces(&mut list);
    ended(&mut list);
    unreachable(&mut list);
    noisy(&mut list);
    behind(&mut list);
    shared_line(&mut list);
    list.0
}

fn late(list: &mut List) {
    list.answer("no answer", ALL, &[TimeOut], |_| vec![])
        .answer("late answer, after the time-out", ALL, &[TimeOut], |ask| vec![WaitMs(70), Send(ask.right())])
        .answer("late answer, after the next request", ALL, &[TimeOut], |ask| vec![WaitMs(120), Send(ask.right())])
        .stretch("always slower than the time-out", ALL, &[TimeOut], 2000, |ask| vec![WaitMs(80), Send(ask.right())])
        .stretch("always slower than the period", ALL, &[TimeOut], 2000, |ask| vec![WaitMs(130), Send(ask.right())])
        .stretch("hung", ALL, &[TimeOut], 3000, |_| vec![]);
}

fn surplus(list: &mut List) {
    list.answer("duplicate answer", ALL, &[], |ask| vec![Send([ask.right(), ask.right()].concat())])
        .idle("duplicate answer while idle", ALL, |ask| vec![Send(ask.right()), WaitMs(20), Send(ask.right())])
        .idle("unsolicited frame while idle", ALL, |ask| {
            vec![Send(ask.right()), WaitMs(20), Send(ask.frame(&ask.pdu(&planted(20))))]
        })
        .answer("unsolicited frame before an answer", &[Tcp], &[WrongTransaction], |ask| {
            vec![Send(ask.astray(-1, &ask.pdu(&planted(20)))), Send(ask.right())]
        })
        .answer("unsolicited frame before an answer", RTU, &[WrongUnit], |ask| {
            vec![Send(ask.frame_from(9, &ask.pdu(&planted(20)))), Send(ask.right())]
        })
        .add(
            "junk after every round",
            ALL,
            LAST,
            &Mischief::For(
                1500,
                Arc::new(|ask: &Ask| {
                    vec![
                        Send(ask.right()),
                        WaitMs(5),
                        Send(ask.frame(&ask.pdu(&planted(20)))),
                        WaitMs(5),
                        Send(noise(30)),
                    ]
                }),
            ),
            Rule::OnePoll,
        );
}

fn foreign(list: &mut List) {
    list.answer("wrong transaction", &[Tcp], &[WrongTransaction], |ask| {
        vec![Send(ask.astray(1, &ask.pdu(&planted(20))))]
    })
    .answer("wrong unit", ALL, &[WrongUnit], |ask| vec![Send(ask.frame_from(2, &ask.pdu(&planted(20))))])
    .answer("wrong function", ALL, &[WrongFunction], |ask| {
        vec![Send(ask.frame(&[&[4, 20], &planted(20)[..]].concat()))]
    })
    .answer("exception of another function", ALL, &[WrongFunction], |ask| vec![Send(ask.frame(&[0x84, 2]))]);
}

fn misshapen(list: &mut List) {
    list.answer("0 registers for 10", ALL, &[WrongLength], |ask| vec![Send(ask.frame(&ask.pdu(&[])))])
        .answer("9 registers for 10", ALL, &[WrongLength], |ask| vec![Send(ask.frame(&ask.pdu(&planted(18))))])
        .answer("11 registers for 10", ALL, &[WrongLength], |ask| vec![Send(ask.frame(&ask.pdu(&planted(22))))])
        .answer("19 bytes for 10 registers", ALL, &[WrongLength, Malformed], |ask| {
            vec![Send(ask.frame(&ask.pdu(&planted(19))))]
        })
        .answer("21 bytes for 10 registers", ALL, &[WrongLength, Malformed], |ask| {
            vec![Send(ask.frame(&ask.pdu(&planted(21))))]
        })
        // Without a header a byte count that is too high is a frame of which the rest is not there yet.
        .answer("byte count 22 over 20 bytes", &[Tcp], &[Malformed, WrongLength], |ask| {
            vec![Send(ask.frame(&[&[3, 22], &planted(20)[..]].concat()))]
        })
        .answer("byte count 22 over 20 bytes", RTU, &[TimeOut, BadChecksum], |ask| {
            vec![Send(ask.frame(&[&[3, 22], &planted(20)[..]].concat()))]
        })
        .answer("byte count 18 over 20 bytes", &[Tcp], &[Malformed, WrongLength], |ask| {
            vec![Send(ask.frame(&[&[3, 18], &planted(20)[..]].concat()))]
        })
        .answer("byte count 18 over 20 bytes", RTU, &[BadChecksum], |ask| {
            vec![Send(ask.frame(&[&[3, 18], &planted(20)[..]].concat()))]
        })
        .answer("exception without a code", &[Tcp], &[Malformed], |ask| vec![Send(ask.frame(&[0x83]))])
        .answer("exception without a code", RTU, &[TimeOut, BadChecksum], |ask| vec![Send(ask.frame(&[0x83]))]);
}

fn bits(list: &mut List) {
    let coils = Target { unit: 1, function: 1 };
    for bytes in [1, 3] {
        let mischief = once(move |ask| vec![Send(ask.frame(&ask.pdu(&planted(bytes))))]);
        list.add(&format!("bytes for 16 coils: {bytes}"), ALL, coils, &mischief, Rule::OnePoll)
            .missed_for(ALL.len(), &[WrongLength])
            .set_up(ALL.len(), BITS);
    }
    let late: Script = Arc::new(|ask| vec![Hold(ask.right())]);
    list.add("coils of the request before", RTU, coils, &Mischief::For(1500, late), Rule::Second)
        .missed_for(RTU.len(), &[TimeOut])
        .set_up(RTU.len(), BITS);
}

fn headers(list: &mut List) {
    let ten = |ask: &Ask| ask.pdu(&planted(20));
    list.answer("protocol 1", &[Tcp], &[Malformed], |ask| vec![Send(ask.forged(1, 23, &ask.pdu(&planted(20))))]);
    for length in [0, 1, 300, 65_535] {
        let mischief = once(move |ask| vec![Send(ask.forged(0, length, &ten(ask)))]);
        list.add(&format!("header's length {length}"), &[Tcp], FIRST, &mischief, Rule::OnePoll)
            .missed_for(1, &[Malformed]);
    }
}

/// The codes of Modbus Application Protocol V1.1b3, 7, and two that it does not know.
fn exceptions(list: &mut List) {
    for code in [1, 2, 3, 4, 5, 6, 8, 55, 0] {
        let mischief = once(move |ask| vec![Send(ask.frame(&[0x83, code]))]);
        list.add(&format!("exception {code}"), ALL, FIRST, &mischief, Rule::Exception(code));
    }
    for code in [0x0A, 0x0B] {
        let mischief = once(move |ask| vec![Send(ask.frame(&[0x83, code]))]);
        list.add(&format!("exception {code}"), ALL, FIRST, &mischief, Rule::Gateway(code));
    }
}

/// So many pieces, so far apart.
fn in_pieces(bytes: &[u8], size: usize, apart_ms: u64) -> Vec<Step> {
    bytes.chunks(size).flat_map(|piece| [Send(piece.to_vec()), WaitMs(apart_ms)]).collect()
}

fn pieces(list: &mut List) {
    list.answer("truncated answer", ALL, &[TimeOut], |ask| vec![Send(ask.right()[..11].to_vec())])
        .answer("truncated answer, the rest later", ALL, &[TimeOut], |ask| {
            vec![Send(ask.right()[..11].to_vec()), WaitMs(70), Send(ask.right()[11..].to_vec())]
        })
        .answer("slow drip of 1.2 s", ALL, &[TimeOut], |ask| in_pieces(&ask.right(), 1, 41))
        .add("byte by byte in time", ALL, FIRST, &once(|ask| in_pieces(&ask.right(), 1, 1)), Rule::Accepted)
        .set_up(ALL.len(), SLOW)
        .add("three pieces in time", ALL, FIRST, &once(|ask| in_pieces(&ask.right(), 9, 15)), Rule::Accepted)
        .set_up(ALL.len(), SLOW);
}

fn ended(list: &mut List) {
    list.answer("end after the request", NET, &[ConnectionLost], |_| vec![Close])
        .answer("reset after the request", NET, &[ConnectionLost], |_| vec![Reset])
        .answer("end within the answer", NET, &[ConnectionLost], |ask| vec![Send(ask.right()[..11].to_vec()), Close])
        .idle("end while idle", NET, |ask| vec![Send(ask.right()), WaitMs(20), Close])
        .idle("reset while idle", NET, |ask| vec![Send(ask.right()), WaitMs(20), Reset])
        .answer("half-open", NET, &[TimeOut], |_| vec![Swallow])
        .stretch("half-open, new connections too", NET, &[TimeOut], 1500, |_| vec![Swallow])
        .answer("HTTP answer", &[Tcp], &[Malformed, WrongTransaction], |_| http())
        .answer("HTTP answer", &[RtuOverTcp], &[BadChecksum, WrongUnit, Malformed, ConnectionLost], |_| http());
}

fn http() -> Vec<Step> {
    let text = "HTTP/1.1 400 Bad Request\r\nContent-Length: 11\r\nConnection: close\r\n\r\nBad Request";
    vec![Send(text.into()), Close]
}

fn unreachable(list: &mut List) {
    list.add("refused", NET, FIRST, &Mischief::Absent(1500), Rule::Second)
        .missed_for(NET.len(), &[NoConnection])
        .add("adapter pulled out", &[Serial], FIRST, &Mischief::Absent(1500), Rule::Second)
        .missed_for(1, &[PortAbsent])
        .add("connect that hangs", NET, FIRST, &Mischief::Jam(1500), Rule::Second)
        .missed_for(NET.len(), &[NoConnection]);
}

fn noisy(list: &mut List) {
    list.answer("garbage", &[Tcp], &[Malformed, WrongTransaction], |_| vec![Send(noise(64))])
        .answer("garbage", RTU, &[BadChecksum, WrongUnit, Malformed], |_| vec![Send(noise(64))])
        .answer("bad checksum", RTU, &[BadChecksum], |ask| {
            let mut bytes = ask.frame(&ask.pdu(&planted(20)));
            bytes[7] ^= 4;
            vec![Send(bytes)]
        })
        .answer("noise before an answer", RTU, &[BadChecksum, WrongUnit, Malformed, TimeOut], |ask| {
            vec![Send([noise(30), ask.right()].concat())]
        })
        .answer("noise after an answer", RTU, &[], |ask| vec![Send([ask.right(), noise(30)].concat())])
        .idle("noise between polls", RTU, |ask| vec![Send(ask.right()), WaitMs(20), Send(noise(30))])
        .answer("echo before the answer", RTU, &[BadChecksum, WrongLength, Malformed, TimeOut], |ask| {
            vec![Send([ask.bytes.clone(), ask.right()].concat())]
        })
        .stretch("echo before every answer", RTU, &[BadChecksum, WrongLength, Malformed, TimeOut], 1500, |ask| {
            vec![Send([ask.bytes.clone(), ask.right()].concat())]
        })
        .stretch("babble without end", RTU, &[Unsettled], 1000, |ask| {
            let right = ask.right();
            (0..1000).flat_map(|_| [Send(right.clone()), WaitMs(1)]).collect()
        });
}

/// Answers to earlier requests, behind the next one: without transaction numbers they look like its own.
fn behind(list: &mut List) {
    list.answer("duplicate answer behind the next request", ALL, &[], |ask| vec![Send(ask.right()), Hold(ask.right())])
        .answer("late answer behind the next request", RTU, &[TimeOut], |ask| vec![Hold(ask.right())])
        .answer("late exception behind the next request", RTU, &[TimeOut], |ask| vec![Hold(ask.frame(&[0x83, 2]))])
        .stretch("each answer to the request before", RTU, &[TimeOut], 1500, |ask| vec![Hold(ask.right())])
        .answer("late answer, two blocks of one look", RTU, &[TimeOut], |ask| vec![Hold(ask.right())])
        .set_up(RTU.len(), Setup { blocks: &[TEN, (3, 112, 10)], ..USUAL })
        // Nothing smaller can be asked of it. Whoever waits for its answer waits in vain from some time on.
        .stretch("single register, slower than the period", RTU, &[TimeOut], 1500, |ask| {
            vec![WaitMs(130), Send(ask.right())]
        })
        .set_up(RTU.len(), Setup { blocks: &[(3, 96, 1)], ..USUAL });
    for ms in [400, 1_000, 1_500, 2_200] {
        list.add(&format!("answer {ms} ms late"), RTU, FIRST, &Mischief::Behind(ms), Rule::Second)
            .missed_for(RTU.len(), &[TimeOut]);
    }
}

fn shared_line(list: &mut List) {
    let three = Setup { units: &[1, 2, 3], ..USUAL };
    list.add(
        "one unit of three is dead",
        RTU,
        Target { unit: 3, function: 3 },
        &Mischief::For(3000, Arc::new(|_: &Ask| vec![])),
        Rule::Others,
    )
    .set_up(RTU.len(), three)
    .add("late answer while another unit is asked", RTU, FIRST, &once(|ask| vec![Hold(ask.right())]), Rule::OnePoll)
    .set_up(RTU.len(), three)
    .add(
        "one unit of three is slow",
        RTU,
        Target { unit: 1, function: 3 },
        &Mischief::For(2000, Arc::new(|ask: &Ask| vec![Hold(ask.right())])),
        Rule::Others,
    )
    .set_up(RTU.len(), three);
}
