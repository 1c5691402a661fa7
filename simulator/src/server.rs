//! Devices on the wire: a Modbus server for each link of a site, over TCP or RTU on loopback or RTU on a pseudo-terminal.
//!
//! A device serves exactly the registers that the site file declares, answers functions 1 to 4 alone and
//! remembers every function code that it was ever asked for, so that a test can prove that nobody wrote.

use crate::instruments::Answer;
use crate::serial::SerialLine;
use brimwatch::poll::blocks::BlockSpec;
use brimwatch::poll::registers::{DataType, Place, Register, Status, StatusRegister, WordOrder};
use brimwatch::poll::way::Way;
use std::collections::{BTreeMap, BTreeSet};
use std::future::{Ready, ready};
use std::io;
use std::net::{Ipv4Addr, SocketAddr};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use tokio::net::{TcpListener, TcpStream};
use tokio::task::JoinHandle;
use tokio_modbus::server::{Service, rtu_over_tcp, tcp};
use tokio_modbus::{ExceptionCode, Request, Response, SlaveRequest};

/// Most registers and most bits in one request (Modbus Application Protocol V1.1b3, 6.1 and 6.3).
const REGISTERS_MOST: u16 = 125;
/// See above.
const BITS_MOST: u16 = 2000;

/// What a device holds and what it was asked.
#[derive(Debug, Default)]
struct Memory {
    /// Words by function and address; 0 or 1 where the function reads bits.
    words: BTreeMap<(u8, u16), u16>,
    /// Status registers that somebody has set: they stay as they are.
    set: BTreeSet<(u8, u16)>,
    /// How often each function code came.
    requests: BTreeMap<u8, u64>,
    /// Exception codes by function and the address at which a request for them begins.
    refused: BTreeMap<(u8, u16), u8>,
    silent: bool,
    failing: bool,
}

/// What a device holds, for those who write it.
#[derive(Debug, Clone, Default)]
pub struct Registers(Arc<Mutex<Memory>>);

impl Registers {
    fn lock(&self) -> MutexGuard<'_, Memory> {
        // No invariant spans two fields, so a holder that panicked leaves nothing broken.
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// How often it was asked for each function code.
    fn requests(&self) -> BTreeMap<u8, u64> {
        self.lock().requests.clone()
    }

    /// Puts a value in SI where it is found, with all its parts, and says that nothing is the matter with it; from then
    /// on its registers are served. Bits of a register that are not of this value stay as they are.
    pub fn write(&self, place: &Place, si: f64) {
        self.show(place, si);
        if let Some(status) = &place.status {
            self.say(status, Status::Fair);
        }
    }

    /// Lets the device say this of itself, unless somebody has set the register.
    pub fn say(&self, status: &StatusRegister, says: Status) {
        let mut memory = self.lock();
        let StatusRegister { function, address, failure, function_check, out_of_specification, maintenance, sound } =
            *status;
        if !memory.set.contains(&(function, address)) {
            let mask = failure | function_check | out_of_specification | maintenance | sound;
            memory.put(Word { function, address, mask, word: saying(status, says) });
        }
    }

    /// Puts a value in SI where it is found, and leaves what its device says of itself.
    pub fn show(&self, place: &Place, si: f64) {
        let mut memory = self.lock();
        for word in encode(place, si) {
            memory.put(word);
        }
    }

    /// Puts words as they came off a wire from this address on, or the code of the exception that came instead.
    pub fn put(&self, function: u8, address: u16, came: &Result<Vec<u16>, u8>) {
        let mut memory = self.lock();
        match came {
            Ok(words) => {
                memory.refused.remove(&(function, address));
                memory.words.extend((address..).zip(words).map(|(at, &word)| ((function, at), word)));
            }
            Err(code) => {
                memory.refused.insert((function, address), *code);
            }
        }
    }

    /// What a request for a block is answered with: words, or the code of an exception.
    ///
    /// # Errors
    /// That code.
    pub fn ask(&self, block: &BlockSpec) -> Result<Vec<u16>, u8> {
        let most = if block.function <= 2 { BITS_MOST } else { REGISTERS_MOST };
        words(&self.lock(), block.function, block.address, block.count, most).map_err(u8::from)
    }

    /// How the device answers from now on. Not to answer anew is for those who write it.
    pub fn set_answer(&self, answer: Answer) {
        let mut memory = self.lock();
        (memory.silent, memory.failing) = (answer == Answer::Silent, answer == Answer::Exception);
    }

    /// What the device says of itself from now on; `None`: that nothing is the matter, once more.
    pub fn set_status(&self, status: &StatusRegister, word: Option<u16>) {
        let (mut memory, place) = (self.lock(), (status.function, status.address));
        match word {
            Some(word) => {
                memory.set.insert(place);
                memory.words.insert(place, word);
            }
            None => {
                memory.set.remove(&place);
            }
        }
    }
}

impl Memory {
    fn put(&mut self, Word { function, address, mask, word }: Word) {
        let held = self.words.entry((function, address)).or_default();
        *held = *held & !mask | word & mask;
    }
}

/// What leads to devices: a port of 127.0.0.1, or a serial line. Serving or not.
#[derive(Debug)]
pub struct LinkServer {
    address: SocketAddr,
    line: Option<Arc<SerialLine>>,
    framing: Framing,
    units: Units,
    serving: Vec<JoinHandle<()>>,
}

/// How frames are marked off.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Framing {
    Tcp,
    Rtu,
}

/// The devices of a link, by unit.
type Units = Arc<BTreeMap<u8, Registers>>;

impl LinkServer {
    /// Serves these units the way that the site says, on a free port of 127.0.0.1 or a pseudo-terminal of its own.
    /// Until something is written they hold nothing.
    ///
    /// # Errors
    /// When no port can be bound, or no pseudo-terminal be had.
    pub async fn start(way: &Way, units: impl IntoIterator<Item = u8>) -> io::Result<LinkServer> {
        let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).await?;
        let line = match way {
            Way::Serial(_) => Some(Arc::new(SerialLine::lay()?)),
            Way::Tcp { .. } | Way::RtuOverTcp { .. } => None,
        };
        let framing = if matches!(way, Way::Tcp { .. }) { Framing::Tcp } else { Framing::Rtu };
        let units = Arc::new(units.into_iter().map(|unit| (unit, Registers::default())).collect());
        let address = listener.local_addr()?;
        let mut server = LinkServer { address, line, framing, units, serving: Vec::new() };
        server.serve(listener);
        Ok(server)
    }

    /// Where it serves, also after a kill: host and port, or the path of a serial port.
    #[must_use]
    pub fn address(&self) -> String {
        match &self.line {
            Some(line) => line.port().display().to_string(),
            None => self.address.to_string(),
        }
    }

    /// What a unit holds.
    #[must_use]
    pub fn registers(&self, unit: u8) -> Option<Registers> {
        self.units.get(&unit).cloned()
    }

    /// Breaks every connection and refuses new ones.
    pub async fn kill(&mut self) {
        self.cut();
        for task in self.serving.drain(..) {
            task.abort();
            // An error here is the abort itself; the sockets are closed once the task is gone.
            let _ = task.await;
        }
    }

    /// Serves again on the same port; does nothing while it serves.
    ///
    /// # Errors
    /// When somebody else has taken the port meanwhile.
    pub async fn restart(&mut self) -> io::Result<()> {
        if self.serving.is_empty() {
            let listener = TcpListener::bind(self.address).await?;
            self.serve(listener);
        }
        Ok(())
    }

    fn cut(&self) {
        if let Some(line) = &self.line {
            line.cut(true);
        }
    }

    fn serve(&mut self, listener: TcpListener) {
        self.serving.push(match self.framing {
            Framing::Tcp => serve_tcp(listener, Arc::clone(&self.units)),
            Framing::Rtu => serve_rtu(listener, Arc::clone(&self.units)),
        });
        if let Some(line) = self.line.clone() {
            let address = self.address;
            line.cut(false);
            self.serving.push(tokio::task::spawn_blocking(move || line.carry(address)));
        }
    }
}

impl Drop for LinkServer {
    fn drop(&mut self) {
        self.cut();
        self.serving.iter().for_each(JoinHandle::abort);
    }
}

/// A device of the site, to be killed, silenced or asked what it was asked.
#[derive(Debug)]
pub struct DeviceServer<'a> {
    /// What leads to it; others may lie behind.
    pub link: &'a mut LinkServer,
    /// Its unit there.
    pub unit: u8,
}

impl DeviceServer<'_> {
    /// How often it was asked for each function code, since it was made.
    #[must_use]
    pub fn requests(&self) -> BTreeMap<u8, u64> {
        self.link.registers(self.unit).map(|registers| registers.requests()).unwrap_or_default()
    }

    /// Takes requests and answers none, or answers again.
    pub fn set_silent(&self, silent: bool) {
        if let Some(registers) = self.link.registers(self.unit) {
            registers.lock().silent = silent;
        }
    }

    /// Breaks every connection of its link and refuses new ones.
    pub async fn kill(&mut self) {
        self.link.kill().await;
    }

    /// Its link serves again on the same port; does nothing while it serves.
    ///
    /// # Errors
    /// When somebody else has taken the port meanwhile.
    pub async fn restart(&mut self) -> io::Result<()> {
        self.link.restart().await
    }
}

fn dropped(error: io::Error) {
    tracing::debug!(%error, "a simulated device dropped a connection");
}

fn stopped(served: io::Result<()>) {
    if let Err(error) = served {
        tracing::warn!(%error, "a simulated device stopped serving");
    }
}

fn serve_tcp(listener: TcpListener, units: Units) -> JoinHandle<()> {
    tokio::spawn(async move {
        let service = |_: SocketAddr| Ok(Some(Link(Arc::clone(&units))));
        let on_connected = |stream: TcpStream, peer| async move {
            stream.set_nodelay(true)?;
            tcp::accept_tcp_connection(stream, peer, service)
        };
        stopped(tcp::Server::new(listener).serve(&on_connected, dropped).await);
    })
}

fn serve_rtu(listener: TcpListener, units: Units) -> JoinHandle<()> {
    tokio::spawn(async move {
        let service = |_: SocketAddr| Ok(Some(Link(Arc::clone(&units))));
        let on_connected = |stream: TcpStream, peer| async move {
            stream.set_nodelay(true)?;
            rtu_over_tcp::accept_tcp_connection(stream, peer, service)
        };
        stopped(rtu_over_tcp::Server::new(listener).serve(&on_connected, dropped).await);
    })
}

/// One connection's view of the devices behind a link.
struct Link(Units);

impl Service for Link {
    type Request = SlaveRequest<'static>;
    type Response = Option<Response>;
    type Exception = ExceptionCode;
    type Future = Ready<Result<Self::Response, Self::Exception>>;

    fn call(&self, asked: Self::Request) -> Self::Future {
        // No unit answers for another: the asker waits in vain.
        let Some(device) = self.0.get(&asked.slave) else { return ready(Ok(None)) };
        let mut memory = device.lock();
        *memory.requests.entry(asked.request.function_code().value()).or_default() += 1;
        if memory.silent {
            return ready(Ok(None));
        }
        if memory.failing {
            return ready(Err(ExceptionCode::ServerDeviceFailure));
        }
        ready(answer(&memory, &asked.request).map(Some))
    }
}

fn answer(memory: &Memory, request: &Request<'_>) -> Result<Response, ExceptionCode> {
    let bits = |function, address, count| {
        let words = words(memory, function, address, count, BITS_MOST)?;
        Ok(words.into_iter().map(|w| w != 0).collect())
    };
    let registers = |function, address, count| words(memory, function, address, count, REGISTERS_MOST);
    match *request {
        Request::ReadCoils(address, count) => bits(1, address, count).map(Response::ReadCoils),
        Request::ReadDiscreteInputs(address, count) => bits(2, address, count).map(Response::ReadDiscreteInputs),
        Request::ReadHoldingRegisters(address, count) => {
            registers(3, address, count).map(Response::ReadHoldingRegisters)
        }
        Request::ReadInputRegisters(address, count) => registers(4, address, count).map(Response::ReadInputRegisters),
        _ => Err(ExceptionCode::IllegalFunction),
    }
}

/// Quantity first, then addresses: the order of the state diagrams in the Modbus Application Protocol.
fn words(memory: &Memory, function: u8, address: u16, count: u16, most: u16) -> Result<Vec<u16>, ExceptionCode> {
    if count == 0 || count > most {
        return Err(ExceptionCode::IllegalDataValue);
    }
    if let Some(code) = memory.refused.get(&(function, address)) {
        return Err(ExceptionCode::new(*code));
    }
    (0..count)
        .map(|i| address.checked_add(i).and_then(|a| memory.words.get(&(function, a)).copied()))
        .collect::<Option<Vec<u16>>>()
        .ok_or(ExceptionCode::IllegalDataAddress)
}

/// The word by which a device says so: what is set while all is well, and the first bit of the class. A device without a
/// bit for it says nothing.
#[must_use]
pub fn saying(status: &StatusRegister, says: Status) -> u16 {
    let first = |bits: u16| status.sound | bits & bits.wrapping_neg();
    match says {
        Status::Fair => status.sound,
        Status::MaintenanceRequired => first(status.maintenance),
        Status::OutOfSpecification => first(status.out_of_specification),
        Status::FunctionCheck => first(status.function_check),
        Status::Failure if status.failure == 0 => 0,
        Status::Failure => first(status.failure),
    }
}

/// What a value puts into one register.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Word {
    /// Modbus function that reads it, 1 to 4.
    pub function: u8,
    /// Address, from 0.
    pub address: u16,
    /// Bits that are of this value.
    pub mask: u16,
    /// Those bits; 0 or 1 where the function reads bits.
    pub word: u16,
}

/// What a value in SI puts on the wire. What does not fit a whole-number type stops at its end, as in a real device.
#[must_use]
pub fn encode(place: &Place, si: f64) -> Vec<Word> {
    let register = &place.register;
    let shown = match register.current {
        // A transmitter's output: 16 mA of live zero to the end of its range.
        Some(span) => 4.0 + 16.0 * (si - span.at_4_ma) / (span.at_20_ma - span.at_4_ma),
        None => si,
    };
    let number = (shown - register.offset) / register.factor;
    if let Some(bit) = register.bit {
        let mask = 1 << bit;
        let word = if number.round() == 0.0 { 0 } else { mask };
        return vec![Word { function: register.function, address: register.address, mask, word }];
    }
    let Some((upper, part)) = place.upper_register().zip(place.upper) else { return words_of(register, number) };
    let worth = part.worth as f64;
    let (above, below) = ((number.round() / worth).floor(), number.round().rem_euclid(worth));
    [words_of(register, below), words_of(&upper, above)].concat()
}

/// A number in a register of its own, in the order its words lie on the wire.
fn words_of(register: &Register, number: f64) -> Vec<Word> {
    let whole = number.round();
    // Two's complement of the right width stands in the last bytes.
    let bytes: Vec<u8> = match register.data {
        DataType::Bool => u16::from(whole != 0.0).to_be_bytes().to_vec(),
        DataType::U16 => (whole as u16).to_be_bytes().to_vec(),
        DataType::I16 => (whole as i16).to_be_bytes().to_vec(),
        DataType::U32 => (whole as u32).to_be_bytes().to_vec(),
        DataType::I32 => (whole as i32).to_be_bytes().to_vec(),
        DataType::U64 => (whole as u64).to_be_bytes().to_vec(),
        DataType::I64 => (whole as i64).to_be_bytes().to_vec(),
        DataType::F32 => (number as f32).to_be_bytes().to_vec(),
        DataType::F64 => number.to_be_bytes().to_vec(),
        DataType::Bcd16 => decimal_digits(whole, 4),
        DataType::Bcd32 => decimal_digits(whole, 8),
        DataType::Bcd64 => decimal_digits(whole, 16),
    };
    let mut words: Vec<u16> = bytes.chunks(2).map(|pair| u16::from_be_bytes([pair[0], pair[1]])).collect();
    if register.data != DataType::Bool {
        if matches!(register.order, WordOrder::Cdab | WordOrder::Dcba) {
            words.reverse();
        }
        if matches!(register.order, WordOrder::Badc | WordOrder::Dcba) {
            words.iter_mut().for_each(|w| *w = w.swap_bytes());
        }
    }
    let place = |(address, word)| Word { function: register.function, address, mask: u16::MAX, word };
    (register.address..).zip(words).map(place).collect()
}

/// The last so many digits of a whole number, two in a byte; all nines where it has more, zeros where it is negative.
fn decimal_digits(whole: f64, digits: usize) -> Vec<u8> {
    let most = "9".repeat(digits);
    let text = format!("{:0>digits$}", whole.max(0.0));
    let text = if text.len() > digits { most } else { text };
    let digit = |c: u8| c - b'0';
    text.as_bytes().chunks(2).map(|pair| digit(pair[0]) << 4 | digit(pair[1])).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use brimwatch::poll::registers::{Span, UpperPart};
    use std::time::Duration;
    use tokio::io::{AsyncReadExt, AsyncWriteExt};
    use tokio::net::TcpStream;

    fn place(function: u8, address: u16, data: DataType, order: WordOrder, factor: f64) -> Place {
        Register { factor, ..Register::plain(function, address, data, order) }.into()
    }

    /// The words that a value puts on the wire, lower part first.
    fn words_of(place: &Place, si: f64) -> Vec<u16> {
        encode(place, si).iter().map(|w| w.word).collect()
    }

    /// Expected: IEEE 754 single of 123.456 is 42 F6 E9 79, its bytes in each of the four orders; decimal digits and
    /// currents by hand.
    #[test]
    fn words_lie_in_the_declared_order() {
        use DataType::{Bcd16, Bcd32, Bcd64, Bool, F32, I16, U16};
        use WordOrder::{Abcd, Badc, Cdab, Dcba};
        let expected =
            [(Abcd, [0x42f6, 0xe979]), (Cdab, [0xe979, 0x42f6]), (Badc, [0xf642, 0x79e9]), (Dcba, [0x79e9, 0xf642])];
        for (order, words) in expected {
            assert_eq!(words_of(&place(4, 0, F32, order, 1.0), 123.456), words, "{order:?}");
        }
        assert_eq!(words_of(&place(4, 0, I16, Abcd, 0.1), -1.0), [0xfff6]);
        assert_eq!(words_of(&place(4, 0, U16, Badc, 1.0), 1.0), [0x0100]);
        assert_eq!(words_of(&place(4, 0, U16, Abcd, 1.0), 1e9), [0xffff]);
        assert_eq!(words_of(&place(1, 0, Bool, Badc, 1.0), 1.0), [1]);
        let mut opens = place(1, 0, Bool, Abcd, -1.0);
        opens.register.offset = 1.0;
        assert_eq!((words_of(&opens, 1.0), words_of(&opens, 0.0)), (vec![0], vec![1]));
        assert_eq!(words_of(&place(3, 0, Bcd16, Abcd, 1.0), 9071.0), [0x9071]);
        assert_eq!(words_of(&place(3, 0, Bcd16, Abcd, 1.0), 10_000.0), [0x9999]);
        assert_eq!(words_of(&place(3, 0, Bcd16, Abcd, 1.0), -3.0), [0]);
        assert_eq!(words_of(&place(3, 0, Bcd32, Cdab, 1.0), 123_456.0), [0x3456, 0x0012]);
        assert_eq!(words_of(&place(3, 0, Bcd64, Abcd, 1.0), 12_345_678_901.0), [0, 0x0123, 0x4567, 0x8901]);
        let mut loop_ = place(4, 0, U16, Abcd, 1e-3);
        loop_.register.current = Some(Span { at_4_ma: 0.0, at_20_ma: 8.0 });
        assert_eq!((words_of(&loop_, 4.0), words_of(&loop_, -0.2)), (vec![12_000], vec![3_600]));
        let upper = Some(UpperPart { address: 9, data: U16, worth: 10_000 });
        let total = Place { upper, ..place(3, 0, Bcd16, Abcd, 0.1) };
        assert_eq!(words_of(&total, 12_345.6), [0x3456, 12]);
    }

    /// What brimwatch reads of one place by its own decoder: the value, and what the device says about it.
    fn read(registers: &Registers, place: &Place) -> String {
        let memory = registers.lock();
        let held = |r: &Register| words(&memory, r.function, r.address, r.count(), BITS_MOST).expect("served");
        let upper = place.upper_register().map(|r| held(&r)).unwrap_or_default();
        let says = place.status.map(|status| status.says(held(&status.register())[0]));
        format!("{:?} {says:?}", place.decode(&held(&place.register), &upper))
    }

    /// brimwatch's own decoder reads back what was encoded here: written apart, one held against the other.
    #[test]
    fn brimwatch_reads_what_is_written_here() {
        use DataType::{Bcd16, Bcd32, Bcd64, F32, F64, I16, I32, I64, U16, U32, U64};
        let span = Some(Span { at_4_ma: 1.0, at_20_ma: -3.0 });
        for data in [U16, I16, U32, I32, U64, I64, F32, F64, Bcd16, Bcd32, Bcd64] {
            for order in [WordOrder::Abcd, WordOrder::Cdab, WordOrder::Badc, WordOrder::Dcba] {
                let registers = Registers::default();
                let register = Register { factor: 0.25, offset: -40.0, ..Register::plain(4, 3, data, order) };
                for si in [-40.0, 17.25, 208.5] {
                    registers.write(&register.into(), si);
                    assert_eq!(
                        read(&registers, &register.into()),
                        format!("Number({si:?}) None"),
                        "{data:?} {order:?}"
                    );
                }
                let current = Register { factor: 0.25, offset: 0.0, current: span, ..register };
                registers.write(&current.into(), -1.0);
                let twelve = "Current { milliampere: 12.0, si: -1.0 } None";
                assert_eq!(read(&registers, &current.into()), twelve, "{data:?} {order:?}");
                if !matches!(data, U16 | U32 | Bcd16 | Bcd32) {
                    continue;
                }
                for (address, kind) in [(1, U16), (1, U32), (90, U16), (90, U32)] {
                    let upper = Some(UpperPart { address, data: kind, worth: 10_000 });
                    let total = Place { upper, ..Place::from(register) };
                    for si in [-40.0, 2_459.75, 2_460.0, 123_456_789.25] {
                        registers.write(&total, si);
                        assert_eq!(
                            read(&registers, &total),
                            format!("Number({si:?}) None"),
                            "{data:?} {order:?} {address}"
                        );
                    }
                }
            }
        }
    }

    /// Flags and complaints share a register without touching each other's bits.
    #[test]
    fn bits_of_one_register_keep_apart() {
        let registers = Registers::default();
        let status = StatusRegister { function: 3, address: 7, failure: 2, sound: 0x8000, ..StatusRegister::default() };
        let flag = |bit| {
            let bit = Register { bit: Some(bit), ..Register::plain(3, 7, DataType::Bool, WordOrder::Abcd) };
            Place { status: Some(status), ..bit.into() }
        };
        let word = || words(&registers.lock(), 3, 7, 1, REGISTERS_MOST).expect("served")[0];
        registers.write(&flag(4), 1.0);
        registers.write(&flag(0), 1.0);
        assert_eq!(word(), 0x8011);
        registers.write(&flag(4), 0.0);
        assert_eq!(word(), 0x8001);
        assert_eq!(read(&registers, &flag(0)), "Flag(true) Some(Fair)");
        registers.set_status(&status, Some(2));
        registers.write(&flag(0), 1.0);
        assert_eq!(read(&registers, &flag(0)), "Flag(true) Some(Failure)");
        registers.set_status(&status, None);
        registers.write(&flag(0), 0.0);
        assert_eq!(read(&registers, &flag(0)), "Flag(false) Some(Fair)");
    }

    async fn one_unit() -> (LinkServer, Registers) {
        let way = Way::Tcp { address: String::new() };
        let link = LinkServer::start(&way, [1]).await.expect("port");
        let registers = link.registers(1).expect("a unit");
        (link, registers)
    }

    /// Sends one raw PDU to unit 1 and returns the reply's.
    async fn ask(stream: &mut TcpStream, pdu: &[u8]) -> Option<Vec<u8>> {
        let length = u8::try_from(pdu.len() + 1).expect("short");
        let mut frame = vec![0, 7, 0, 0, 0, length, 1];
        frame.extend_from_slice(pdu);
        stream.write_all(&frame).await.expect("written");
        let mut head = [0u8; 7];
        tokio::time::timeout(Duration::from_millis(300), stream.read_exact(&mut head)).await.ok()?.ok()?;
        let mut reply = vec![0u8; usize::from(head[5]) - 1];
        stream.read_exact(&mut reply).await.expect("rest of the reply");
        Some(reply)
    }

    /// Expected: request and reply octets and exception codes after the Modbus Application Protocol V1.1b3.
    #[tokio::test]
    async fn answers_are_as_the_protocol_says() {
        let (mut link, registers) = one_unit().await;
        registers.write(&place(3, 107, DataType::U16, WordOrder::Abcd, 1.0), 555.0);
        registers.write(&place(3, 108, DataType::U32, WordOrder::Abcd, 1.0), 100.0);
        registers.write(&place(2, 4, DataType::Bool, WordOrder::Abcd, 1.0), 1.0);
        let mut stream = TcpStream::connect(link.address()).await.expect("connection");
        // Section 6.3's own example: registers 108 to 110 hold 555, 0 and 100.
        assert_eq!(ask(&mut stream, &[3, 0, 107, 0, 3]).await, Some(vec![3, 6, 2, 0x2b, 0, 0, 0, 0x64]));
        assert_eq!(ask(&mut stream, &[2, 0, 4, 0, 1]).await, Some(vec![2, 1, 1]));
        assert_eq!(ask(&mut stream, &[3, 0, 107, 0, 4]).await, Some(vec![0x83, 2]), "beyond what is declared");
        assert_eq!(ask(&mut stream, &[4, 0, 107, 0, 1]).await, Some(vec![0x84, 2]), "another function's address");
        assert_eq!(ask(&mut stream, &[3, 0, 107, 0, 0]).await, Some(vec![0x83, 3]));
        assert_eq!(ask(&mut stream, &[3, 0, 107, 0, 126]).await, Some(vec![0x83, 3]));
        assert_eq!(ask(&mut stream, &[6, 0, 107, 0, 9]).await, Some(vec![0x86, 1]), "nothing is ever written");
        assert_eq!(ask(&mut stream, &[3, 0, 107, 0, 1]).await, Some(vec![3, 2, 2, 0x2b]));
        let device = DeviceServer { link: &mut link, unit: 1 };
        assert_eq!(device.requests(), BTreeMap::from([(2, 1), (3, 5), (4, 1), (6, 1)]));
    }

    #[tokio::test]
    async fn a_device_can_be_silent_dead_and_back() {
        let (mut link, registers) = one_unit().await;
        registers.write(&place(4, 0, DataType::U16, WordOrder::Abcd, 1.0), 9.0);
        let ask_once = [4, 0, 0, 0, 1];
        let address = link.address();
        let mut device = DeviceServer { link: &mut link, unit: 1 };
        let mut stream = TcpStream::connect(&address).await.expect("connection");
        device.set_silent(true);
        assert_eq!(ask(&mut stream, &ask_once).await, None);
        device.set_silent(false);
        let mut stream = TcpStream::connect(&address).await.expect("connection");
        assert!(ask(&mut stream, &ask_once).await.is_some());
        device.kill().await;
        assert_eq!(ask(&mut stream, &ask_once).await, None, "the connection is broken");
        assert!(TcpStream::connect(&address).await.is_err(), "and no new one is taken");
        device.restart().await.expect("the same port");
        let mut stream = TcpStream::connect(&address).await.expect("connection");
        assert_eq!(ask(&mut stream, &ask_once).await, Some(vec![4, 2, 0, 9]));
    }
}
