"""Three instruments of a bay as pymodbus servers: each on Modbus TCP, on 127.0.0.1 and a port the system picks, or all
on one serial line, whose path is the argument.

Each serves its values in a word order of its own. stdout, one JSON object a line: first the ports by device; at the
end what was asked, and what each answered. stdin: the line "go" starts the flow, "stop" stops it; its end ends the
program (as do three minutes without it).
"""

import asyncio
import json
import math
import sys
import threading
import time

import words
from asked import Asked
from pymodbus.server import ModbusSerialServer, ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

RATE_KG_PER_S = 12.0
DENSITY_KG_PER_M3 = 1110.0
TANK_AREA_M2 = math.pi / 4 * 2.0**2
LIMIT_S = 180.0

started = None  # time.monotonic() of "go"
stopped = None  # and of "stop"


def flows():
    return started is not None and stopped is None


def moved_kg():
    if started is None:
        return 0.0
    return RATE_KG_PER_S * ((stopped or time.monotonic()) - started)


# device: unit, then values by function and address: data type, word order, number as the device shows it.
DEVICES = {
    "meter": (
        7,
        {
            (4, 0): ("F32", "CDAB", lambda: RATE_KG_PER_S * 3600.0 * flows()),  # kg/h
            (4, 2): ("F64", "ABCD", lambda: 41_250.125 + moved_kg()),  # kg
            (4, 20): ("F32", "BADC", lambda: DENSITY_KG_PER_M3 / 1000.0),  # kg/L
            (4, 22): ("I16", "ABCD", lambda: 251),  # 0.1 C
        },
    ),
    "scale": (
        1,
        {(3, 40): ("I32", "DCBA", lambda: round((31_840.0 - moved_kg()) / 10.0))},  # 10 kg
    ),
    "tank": (
        3,
        {
            (3, 0): ("U16", "ABCD", lambda: round(1000.0 + 1000.0 * moved_kg() / DENSITY_KG_PER_M3 / TANK_AREA_M2)),  # mm
            (3, 8): ("I16", "ABCD", lambda: -2),  # mbar gauge
            (4, 8): ("F32", "DCBA", lambda: 24.5),  # psi gauge
            (2, 5): ("Bool", "ABCD", lambda: False),  # high-level switch
        },
    ),
}
KINDS = {1: "coils", 2: "discrete inputs", 3: "holding registers", 4: "input registers"}


class Instrument:
    def __init__(self, name):
        self.name = name
        self.unit, self.values = DEVICES[name]
        self.answers = []

    def simdata(self):
        blocks = []
        for function in KINDS:
            kind = DataType.BITS if function < 3 else DataType.REGISTERS
            blocks.append([])
            for (its_function, address), (data, order, now) in sorted(self.values.items()):
                if its_function == function:
                    count = 16 if function < 3 else len(words.registers(data, order, now()))
                    values = [False] * count if function < 3 else [0] * count
                    blocks[-1].append(SimData(address // 16 * 16 if function < 3 else address, values=values, datatype=kind))
            if not blocks[-1]:  # pymodbus wants something in each; nothing of ours is there
                blocks[-1].append(SimData(0xFFF0, values=[False] * 16 if function < 3 else [0], datatype=kind))
        return tuple(blocks)

    async def answer(self, function, start, address, count, registers, written):
        """Puts this moment's values into the registers that are about to be read."""
        told = {}
        for (its_function, at), (data, order, now) in self.values.items():
            if its_function != function:
                continue
            if function < 3:
                registers[at // 16 - start] = int(now()) << at % 16
                told[at] = float(now())
            elif address <= at < address + count:
                number = now()
                for i, word in enumerate(words.registers(data, order, number)):
                    registers[at - start + i] = word
                told[at] = words.as_sent(data, number)
        self.answers.append({"function": function, "values": told})

    def device(self):
        return SimDevice(id=self.unit, simdata=self.simdata(), action=self.answer)


async def serve_tcp(instruments, asked):
    """A server for each; ports by device."""
    servers = {}
    for i in instruments:
        watch = asked.watcher(is_rtu=False)
        servers[i.name] = ModbusTcpServer(i.device(), address=("127.0.0.1", 0), trace_packet=watch)
        await servers[i.name].serve_forever(background=True)
    ports = {name: server.transport.sockets[0].getsockname()[1] for name, server in servers.items()}
    return list(servers.values()), ports


async def serve_line(instruments, asked, path):
    """One server for all; no ports."""
    watch = asked.watcher(is_rtu=True)
    devices = [i.device() for i in instruments]
    server = ModbusSerialServer(devices, port=path, baudrate=19200, stopbits=2, trace_packet=watch)
    await server.serve_forever(background=True)
    return [server], {}


def listen(loop, done):
    global started, stopped
    for line in sys.stdin:
        if line.strip() == "go":
            started = time.monotonic()
        elif line.strip() == "stop":
            stopped = time.monotonic()
    loop.call_soon_threadsafe(done.set)


async def main(path=None):
    instruments = [Instrument(name) for name in DEVICES]
    asked = Asked()
    servers, ports = await (serve_line(instruments, asked, path) if path else serve_tcp(instruments, asked))
    print(json.dumps(ports), flush=True)
    done = asyncio.Event()
    threading.Thread(target=listen, args=(asyncio.get_running_loop(), done), daemon=True).start()
    try:
        await asyncio.wait_for(done.wait(), LIMIT_S)
    except TimeoutError:
        sys.exit("no end of stdin in time")
    print(json.dumps(asked.told() | {"answers": {i.name: i.answers for i in instruments}}), flush=True)
    for server in servers:
        await server.shutdown()


asyncio.run(main(*sys.argv[1:]))
