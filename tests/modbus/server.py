"""Three instruments of a bay as Modbus TCP servers by pymodbus, on 127.0.0.1 and ports the system picks.

Each serves its values in a word order of its own. stdout, one JSON object a line: first the ports by device; at the
end what was asked and answered. stdin: the line "go" starts the flow, "stop" stops it; its end ends the program (as does
a minute and a half without it).

Words are made with struct, not with our code: Modbus Application Protocol V1.1b3 gives registers big-endian, and
how devices chain them to longer values is their makers' custom (here: ABCD, CDAB, BADC, DCBA).
"""

import asyncio
import json
import math
import struct
import sys
import threading
import time

from pymodbus.server import ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

RATE_KG_PER_S = 12.0
DENSITY_KG_PER_M3 = 1110.0
TANK_AREA_M2 = math.pi / 4 * 2.0**2
LIMIT_S = 90.0

started = None  # time.monotonic() of "go"
stopped = None  # and of "stop"


def flows():
    return started is not None and stopped is None


def moved_kg():
    if started is None:
        return 0.0
    return RATE_KG_PER_S * ((stopped or time.monotonic()) - started)


def words(code, order, number):
    """Registers of one value; code as in struct."""
    data = struct.pack(">" + code, number)
    if order in ("CDAB", "DCBA"):
        pairs = [data[i : i + 2] for i in range(0, len(data), 2)]
        data = b"".join(reversed(pairs))
    if order in ("BADC", "DCBA"):
        data = b"".join(data[i + 1 : i + 2] + data[i : i + 1] for i in range(0, len(data), 2))
    return list(struct.unpack(f">{len(data) // 2}H", data))


def as_sent(code, number):
    """The number that the words carry."""
    return struct.unpack(">" + code, struct.pack(">" + code, number))[0]


# device: unit, then values by function and address: struct code, word order, number as the device shows it.
DEVICES = {
    "meter": (
        7,
        {
            (4, 0): ("f", "CDAB", lambda: RATE_KG_PER_S * 3600.0 * flows()),  # kg/h
            (4, 2): ("d", "ABCD", lambda: 41_250.125 + moved_kg()),  # kg
            (4, 20): ("f", "BADC", lambda: DENSITY_KG_PER_M3 / 1000.0),  # kg/L
            (4, 22): ("h", "ABCD", lambda: 251),  # 0.1 C
        },
    ),
    "scale": (
        1,
        {(3, 40): ("i", "DCBA", lambda: round((31_840.0 - moved_kg()) / 10.0))},  # 10 kg
    ),
    "tank": (
        3,
        {
            (3, 0): ("H", "ABCD", lambda: round(1000.0 + 1000.0 * moved_kg() / DENSITY_KG_PER_M3 / TANK_AREA_M2)),  # mm
            (3, 8): ("h", "ABCD", lambda: -2),  # mbar gauge
            (4, 8): ("f", "DCBA", lambda: 24.5),  # psi gauge
            (2, 5): ("?", "", lambda: False),  # high-level switch
        },
    ),
}
KINDS = {1: "coils", 2: "discrete inputs", 3: "holding registers", 4: "input registers"}


class Instrument:
    def __init__(self, name):
        self.name = name
        self.unit, self.values = DEVICES[name]
        self.functions = []  # of every request that came in, whatever became of it
        self.answers = []

    def simdata(self):
        blocks = []
        for function in KINDS:
            kind = DataType.BITS if function < 3 else DataType.REGISTERS
            blocks.append([])
            for (its_function, address), (code, _, _) in sorted(self.values.items()):
                if its_function == function:
                    count = 16 if function < 3 else max(1, struct.calcsize(code) // 2)
                    values = [False] * count if function < 3 else [0] * count
                    blocks[-1].append(SimData(address // 16 * 16 if function < 3 else address, values=values, datatype=kind))
            if not blocks[-1]:  # pymodbus wants something in each; nothing of ours is there
                blocks[-1].append(SimData(0xFFF0, values=[False] * 16 if function < 3 else [0], datatype=kind))
        return tuple(blocks)

    async def answer(self, function, start, address, count, registers, written):
        """Puts this moment's values into the registers that are about to be read."""
        told = {}
        for (its_function, at), (code, order, now) in self.values.items():
            if its_function != function:
                continue
            if function < 3:
                registers[at // 16 - start] = int(now()) << at % 16
                told[at] = float(now())
            elif address <= at < address + count:
                number = now()
                for i, word in enumerate(words(code, order, number)):
                    registers[at - start + i] = word
                told[at] = float(as_sent(code, number))
        self.answers.append({"function": function, "values": told})

    def watch(self, sending, data):
        rest = b"" if sending else data
        while len(rest) > 7:  # MBAP: transaction, protocol, length, unit; then the function
            self.functions.append(rest[7])
            rest = rest[6 + int.from_bytes(rest[4:6], "big") :]
        return data

    async def serve(self):
        device = SimDevice(id=self.unit, simdata=self.simdata(), action=self.answer)
        self.server = ModbusTcpServer(device, address=("127.0.0.1", 0), trace_packet=self.watch)
        await self.server.serve_forever(background=True)
        return self.server.transport.sockets[0].getsockname()[1]


def listen(loop, done):
    global started, stopped
    for line in sys.stdin:
        if line.strip() == "go":
            started = time.monotonic()
        elif line.strip() == "stop":
            stopped = time.monotonic()
    loop.call_soon_threadsafe(done.set)


async def main():
    instruments = [Instrument(name) for name in DEVICES]
    print(json.dumps({i.name: await i.serve() for i in instruments}), flush=True)
    done = asyncio.Event()
    threading.Thread(target=listen, args=(asyncio.get_running_loop(), done), daemon=True).start()
    try:
        await asyncio.wait_for(done.wait(), LIMIT_S)
    except TimeoutError:
        sys.exit("no end of stdin in time")
    print(json.dumps({i.name: {"functions": i.functions, "answers": i.answers} for i in instruments}), flush=True)
    for i in instruments:
        await i.server.shutdown()


asyncio.run(main())
