//! The instruments of server.py.

use super::peer::{self, Asked, Peer};
use super::serial::Line;
use serde::Deserialize;
use std::collections::BTreeMap;

/// Three instruments, serving.
pub struct Instruments {
    server: Peer,
    /// Port by device; none on a serial line.
    pub ports: BTreeMap<String, u16>,
}

/// What the instruments were asked and what each answered.
#[derive(Deserialize)]
pub struct Log {
    #[serde(flatten)]
    pub asked: Asked,
    /// Every answer, by device.
    pub answers: BTreeMap<String, Vec<Answer>>,
}

/// One answer.
#[derive(Deserialize)]
pub struct Answer {
    pub function: u8,
    /// Number shown, by address.
    pub values: BTreeMap<u16, f64>,
}

impl Instruments {
    /// Each on Modbus TCP, or all on a serial line.
    pub fn serve(line: Option<&Line>) -> Instruments {
        let mut command = peer::python("server.py");
        command.args(line.map(Line::far));
        let (server, ports) = Peer::start(command);
        Instruments { server, ports }
    }

    /// "go" or "stop".
    pub fn say(&mut self, word: &str) {
        self.server.say(word);
    }

    /// Ends the servers and says what they saw.
    pub fn end(self) -> Log {
        self.server.end()
    }
}
