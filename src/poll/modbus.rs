//! The one file that names the Modbus crate: a connection that reads, with lengths checked.
//!
//! The client gives back whatever number of registers came, so the count is checked here; after any error but a
//! well-formed exception its state is not to be trusted, and the caller drops the connection.

use super::blocks::BlockSpec;
use crate::engine::input::MissReason;
use tokio::net::TcpStream;
use tokio_modbus::client::{Client, Context, tcp};
use tokio_modbus::{Error, Request, Response, Slave};

/// A Modbus TCP connection to one unit.
pub struct Connection {
    context: Context,
}

impl Connection {
    /// Connects; the caller bounds the time.
    ///
    /// # Errors
    /// [`MissReason::NoConnection`].
    pub async fn open(address: &str, unit: u8) -> Result<Connection, MissReason> {
        let stream = TcpStream::connect(address).await.map_err(|_| MissReason::NoConnection)?;
        // A request is one small segment that must not wait for company.
        stream.set_nodelay(true).map_err(|_| MissReason::NoConnection)?;
        Ok(Connection { context: tcp::attach_slave(stream, Slave(unit)) })
    }

    /// Reads one block: its words (bits as 0 and 1), or the exception code the device answered with.
    ///
    /// # Errors
    /// Why there is no usable answer; the connection must then be dropped.
    pub async fn read(&mut self, block: &BlockSpec) -> Result<Result<Vec<u16>, u8>, MissReason> {
        let request = match block.function {
            1 => Request::ReadCoils(block.address, block.count),
            2 => Request::ReadDiscreteInputs(block.address, block.count),
            3 => Request::ReadHoldingRegisters(block.address, block.count),
            _ => Request::ReadInputRegisters(block.address, block.count),
        };
        let answer = match self.context.call(request).await {
            Ok(Ok(response)) => response,
            Ok(Err(exception)) => return Ok(Err(u8::from(exception))),
            Err(Error::Transport(_)) => return Err(MissReason::ConnectionLost),
            Err(Error::Protocol(_)) => return Err(MissReason::Malformed),
        };
        let count = usize::from(block.count);
        match (block.function, answer) {
            (1, Response::ReadCoils(bits)) | (2, Response::ReadDiscreteInputs(bits)) => {
                // Bits come in whole bytes: up to seven more than were asked for.
                if bits.len() < count || bits.len() > count.div_ceil(8) * 8 {
                    return Err(MissReason::WrongLength);
                }
                Ok(Ok(bits[..count].iter().map(|&bit| u16::from(bit)).collect()))
            }
            (3, Response::ReadHoldingRegisters(words)) | (4, Response::ReadInputRegisters(words)) => {
                if words.len() == count { Ok(Ok(words)) } else { Err(MissReason::WrongLength) }
            }
            _ => Err(MissReason::Malformed),
        }
    }
}
