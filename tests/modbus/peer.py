"""Three units with every data type in every order as a pymodbus server: over Modbus TCP, RTU over TCP, or RTU on a
serial line.

Arguments: "tcp", "rtu-over-tcp" (both on 127.0.0.1 and a port the system picks), or "serial" and the line's path.
stdout, one JSON object a line: first the port and every value with its place; at the end who was asked for which
function. The end of stdin ends the program.
"""

import asyncio
import json
import math
import sys
import threading

import words
from asked import Asked
from pymodbus.framer import FramerType
from pymodbus.server import ModbusSerialServer, ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

UNITS = (1, 17, 247)  # 247 is the highest on a serial line (Modbus over Serial Line V1.02, 2.2)
NUMBERS = {
    "U16": [0, 1, 0x1234, 0x8000, 65535],
    "I16": [-1, -2, 0x1234, -0x1234, -32768, 32767],
    "U32": [1, 0x12345678, 0x00010000, 0x80000000, 4294967295],
    "I32": [-1, 0x12345678, -0x12345678, -2147483648, 2147483647],
    "U64": [1, 0x0012345678ABCDEF, 2**53, 2**53 + 1, 0xFEDCBA9876543210, 2**64 - 1],
    "I64": [-1, 0x0012345678ABCDEF, -0x0012345678ABCDEF, -(2**53), -(2**63), 2**63 - 1],
    # Largest, smallest normal, smallest of all (IEEE 754); then what is no number.
    "F32": [1.5, -20123.625, 0.1, 3.4028234663852886e38, 1.1754943508222875e-38, 1.401298464324817e-45,
            math.inf, -math.inf, math.nan],
    "F64": [1.5, -20123.625, 0.1, 1.7976931348623157e308, 2.2250738585072014e-308, 5e-324,
            math.inf, -math.inf, math.nan],
    "Bcd16": [0, 1, 1234, 8060, 9999],
    "Bcd32": [1, 12345678, 80604020, 99999999],
    "Bcd64": [1, 1234567890123456, 9007199254740993, 9999999999999999],
    "Bool": [0, 1, 0x0100, 0x8000, 65535],
}  # fmt: skip
NO_DIGITS = {"Bcd16": 0x12A4, "Bcd32": 0x1234F678, "Bcd64": 0xB234567890123456}
FLAGS = 0xA5C3
FIRST_COIL, COILS = 0x25, 37
FIRST_INPUT_BIT, INPUT_BITS = 0xFE00, 41
FIRST_HOLDING = 0x0102


def shown(data, number):
    """What a reader must make of it; None: no number."""
    if data == "Bool":
        return number != 0
    sent = words.as_sent(data, number)
    return sent if math.isfinite(sent) else None


def catalogue():
    """(type, order, its registers, [(bit, what a reader must make of it)]) of every value."""
    for order in words.ORDERS:
        for data, numbers in NUMBERS.items():
            for number in numbers:
                yield data, order, words.registers(data, order, number), [(None, shown(data, number))]
        for data, number in NO_DIGITS.items():
            yield data, order, words.registers("U" + data[3:], order, number), [(None, None)]
        flags = [(bit, bool(FLAGS >> bit & 1)) for bit in range(16)]
        yield "Bool", order, [FLAGS], flags  # bits are those of the register as it comes, whatever the order of numbers


class Table:
    """Registers side by side, and what stands where."""

    def __init__(self, unit, function, entries, first):
        self.registers, self.values = [], []
        for data, order, registers, readings in entries:
            address = first + len(self.registers)
            self.registers += registers
            for bit, value in readings:
                place = {"unit": unit, "function": function, "address": address}
                self.values.append(place | {"data": data, "order": order, "bit": bit, "shown": value})
        self.block = [SimData(first, values=self.registers, datatype=DataType.REGISTERS)]


def bits(unit, function, first, count):
    """Bits that look like none of their neighbours shifted."""
    values = [(i * i + i + unit * function) % 7 < 3 for i in range(count)]
    place = {"unit": unit, "function": function, "data": "Bool", "order": "ABCD", "bit": None}
    told = [place | {"address": first + i, "shown": value} for i, value in enumerate(values)]
    return [SimData(first, values=values, datatype=DataType.BITS)], told


def device(unit):
    """A unit and what it serves: each its own values at the same addresses, and functions 3 and 4 apart."""
    entries = list(catalogue())
    turned = entries[unit % len(entries) :] + entries[: unit % len(entries)]
    held = Table(unit, 3, turned, FIRST_HOLDING)
    # The last one stands at the highest address there is.
    read = Table(unit, 4, reversed(turned), 0x10000 - len(held.registers))
    coils, of_coils = bits(unit, 1, FIRST_COIL, COILS)
    inputs, of_inputs = bits(unit, 2, FIRST_INPUT_BIT, INPUT_BITS)
    values = of_coils + of_inputs + held.values + read.values
    return SimDevice(id=unit, simdata=(coils, inputs, held.block, read.block)), values


async def main(way, path=None):
    done = asyncio.Event()
    loop = asyncio.get_running_loop()
    threading.Thread(target=lambda: (sys.stdin.read(), loop.call_soon_threadsafe(done.set)), daemon=True).start()
    devices, values = zip(*(device(unit) for unit in UNITS))
    asked = Asked()
    watch = asked.watcher(is_rtu=way != "tcp")
    if way == "serial":
        server = ModbusSerialServer(list(devices), port=path, baudrate=19200, stopbits=2, trace_packet=watch)
    else:
        framer = {"tcp": FramerType.SOCKET, "rtu-over-tcp": FramerType.RTU}[way]
        server = ModbusTcpServer(list(devices), framer=framer, address=("127.0.0.1", 0), trace_packet=watch)
    await server.serve_forever(background=True)
    port = None if way == "serial" else server.transport.sockets[0].getsockname()[1]
    print(json.dumps({"port": port, "values": sum(values, [])}), flush=True)
    await done.wait()
    print(json.dumps(asked.told()), flush=True)
    await server.shutdown()


asyncio.run(main(*sys.argv[1:]))
