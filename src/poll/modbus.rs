//! The one file that names the Modbus crate: a connection that reads, with lengths checked.
//!
//! The client gives back whatever number of registers came, so the count is checked here; after any error but a
//! well-formed exception its state is not to be trusted, and the caller drops the connection.

use super::blocks::BlockSpec;
use super::link::LinkSpec;
use super::way::Way;
use crate::clock::MachineTime;
use crate::engine::input::MissReason;
use std::time::Duration;
use tokio::net::TcpStream;
use tokio_modbus::client::{Client, Context, tcp};
use tokio_modbus::slave::SlaveContext;
use tokio_modbus::{Error, Request, Response, Slave};

/// The way to the devices of a link, open or not.
pub(super) struct Wire {
    way: Way,
    context: Option<Context>,
    connections: u32,
    back_off: Duration,
    not_before: MachineTime,
}

impl Wire {
    pub(super) fn new(link: &LinkSpec) -> Wire {
        let way = link.way.clone();
        Wire { way, context: None, connections: 0, back_off: Duration::ZERO, not_before: MachineTime::now() }
    }

    pub(super) fn is_open(&self) -> bool {
        self.context.is_some()
    }

    pub(super) fn connections(&self) -> u32 {
        self.connections
    }

    /// Opens it if need be; true when that was needed.
    pub(super) async fn ready(&mut self) -> Result<bool, MissReason> {
        if self.context.is_some() {
            return Ok(false);
        }
        if MachineTime::now() < self.not_before {
            return Err(MissReason::NoConnection);
        }
        let Way::Tcp { address } = &self.way else { return Err(MissReason::NoConnection) };
        let stream = TcpStream::connect(address).await.map_err(|_| MissReason::NoConnection)?;
        // A request is one small segment that must not wait for company.
        stream.set_nodelay(true).map_err(|_| MissReason::NoConnection)?;
        self.context = Some(tcp::attach_slave(stream, Slave(1)));
        self.connections += 1;
        Ok(true)
    }

    /// After anything but a well-formed answer the connection starts anew.
    pub(super) fn broke(&mut self, reason: MissReason) {
        self.context = None;
        self.back_off = if reason == MissReason::NoConnection {
            (self.back_off * 2).clamp(Duration::from_millis(50), Duration::from_millis(900))
        } else {
            Duration::ZERO
        };
        let back_off = u64::try_from(self.back_off.as_nanos()).unwrap_or(u64::MAX);
        self.not_before = MachineTime(MachineTime::now().0.saturating_add(back_off));
    }

    /// Reads one block: its words (bits as 0 and 1), or the exception code the device answered with.
    ///
    /// # Errors
    /// Why there is no usable answer; the connection must then be dropped.
    pub(super) async fn read(&mut self, unit: u8, block: &BlockSpec) -> Result<Result<Vec<u16>, u8>, MissReason> {
        let Some(context) = &mut self.context else { return Err(MissReason::NoConnection) };
        context.set_slave(Slave(unit));
        let request = match block.function {
            1 => Request::ReadCoils(block.address, block.count),
            2 => Request::ReadDiscreteInputs(block.address, block.count),
            3 => Request::ReadHoldingRegisters(block.address, block.count),
            _ => Request::ReadInputRegisters(block.address, block.count),
        };
        let answer = match context.call(request).await {
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
