//! The one file that names the Modbus crate: a client that reads, and nothing else.
//!
//! The library gives back whatever number of registers came and, on RTU, skips bytes until something decodes; after
//! any error but a well-formed exception its state is not to be trusted. So whoever holds a [`Client`] clears the way
//! before each request, holds the bytes of each reply against its request and drops the client after trouble.

use super::blocks::BlockSpec;
use super::reply::Framing;
use super::tap::Tap;
use tokio_modbus::client::{Client as _, Context, rtu, tcp};
use tokio_modbus::slave::SlaveContext;
use tokio_modbus::{Request, Response, Slave};

/// The library's client on a tapped stream.
pub(super) struct Client(Context);

/// There was no usable answer; why can be read off the bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct NoAnswer;

impl Client {
    pub(super) fn new(framing: Framing, tap: Tap) -> Client {
        // The unit is named at each request: none is ever asked by the library's defaults, of which one is broadcast.
        Client(match framing {
            Framing::Tcp => tcp::attach_slave(tap, Slave::tcp_device()),
            Framing::Rtu => rtu::attach_slave(tap, Slave::min_device()),
        })
    }

    /// Reads one block: its words (bits as 0 and 1), or the exception code the device answered with.
    pub(super) async fn read(&mut self, unit: u8, block: &BlockSpec) -> Result<Result<Vec<u16>, u8>, NoAnswer> {
        self.0.set_slave(Slave(unit));
        let request = match block.function {
            1 => Request::ReadCoils(block.address, block.count),
            2 => Request::ReadDiscreteInputs(block.address, block.count),
            3 => Request::ReadHoldingRegisters(block.address, block.count),
            _ => Request::ReadInputRegisters(block.address, block.count),
        };
        let answer = match self.0.call(request).await {
            Ok(Ok(response)) => response,
            Ok(Err(exception)) => return Ok(Err(u8::from(exception))),
            Err(_) => return Err(NoAnswer),
        };
        let count = usize::from(block.count);
        match (block.function, answer) {
            (1, Response::ReadCoils(bits)) | (2, Response::ReadDiscreteInputs(bits)) if bits.len() >= count => {
                // Bits come in whole bytes: up to seven more than were asked for.
                Ok(Ok(bits[..count].iter().map(|&bit| u16::from(bit)).collect()))
            }
            (3, Response::ReadHoldingRegisters(words)) | (4, Response::ReadInputRegisters(words))
                if words.len() == count =>
            {
                Ok(Ok(words))
            }
            _ => Err(NoAnswer),
        }
    }
}
