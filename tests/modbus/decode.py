"""A device with masses in every data type, every order and many scales, as a pymodbus server: over Modbus TCP, or RTU on
a serial line.

Arguments: "tcp" (on 127.0.0.1 and a port the system picks) or "serial"; how many values of each type and order at most;
for "serial" the line's path. Registers are made by
pymodbus and, apart from it, by Python's struct; both must be the same. stdout, one JSON object a line: first the port
and every value with its place; at the end every request. The end of stdin ends the program.
"""

import asyncio
import json
import random
import struct
import sys
import threading

import words
from asked import Asked
from pymodbus.server import ModbusSerialServer, ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

UNIT = 17
SEED = 20260417
# 18 t to 26 t: what is looked for, kg.
LOW_KG, HIGH_KG = 18_000.0, 26_000.0
# kg of one unit (NIST SP 811, App. B.8: 1 lb = 0.45359237 kg exactly).
UNITS = {"kg": 1.0, "t": 1000.0, "lb": 0.45359237}
PACKED = {
    "U16": "H", "I16": "h", "U32": "I", "I32": "i", "U64": "Q", "I64": "q", "F32": "f", "F64": "d",
    "Bcd16": "H", "Bcd32": "I", "Bcd64": "Q",
}  # fmt: skip
LARGEST = {"U16": 65535, "I16": 32767, "Bcd16": 9999}
SCALES = (1.0, 0.1, 10.0, 0.01, 100.0, 0.001)


def by_struct(data, order, number):
    """Registers by struct alone: bytes as they stand in memory, then put in the order that is asked for."""
    if data.startswith("Bcd"):
        number = int(str(number), 16)
    little = struct.pack("<" + PACKED[data], number)
    pairs = [little[i : i + 2] for i in range(0, len(little), 2)]
    if order in ("ABCD", "BADC"):
        pairs.reverse()
    return [struct.unpack("<H" if order in ("ABCD", "CDAB") else ">H", pair)[0] for pair in pairs]


def combinations(data):
    """Scales and units, with the range of the type's numbers that lie in the range of masses."""
    for scale in SCALES if data[0] != "F" else (1.0,):
        for unit, kg in UNITS.items():
            low, high = LOW_KG / kg / scale, min(HIGH_KG / kg / scale, LARGEST.get(data, 2**31))
            if high - low >= 10:
                yield scale, unit, low, high


def values(rng, most):
    """Every type in every order, with so many scales and units at most in which some numbers of it lie in the range."""
    for data in PACKED:
        for order in words.ORDERS:
            possible = list(combinations(data))
            for scale, unit, low, high in rng.sample(possible, min(most, len(possible))):
                number = rng.uniform(low, high) if data[0] == "F" else rng.randint(int(low) + 1, int(high) - 1)
                yield data, order, scale, unit, number, words.as_sent(data, number) * scale * UNITS[unit]


async def main(way, most, path=None):
    done = asyncio.Event()
    loop = asyncio.get_running_loop()
    threading.Thread(target=lambda: (sys.stdin.read(), loop.call_soon_threadsafe(done.set)), daemon=True).start()
    rng = random.Random(SEED)
    registers, told = [], []
    for data, order, scale, unit, number, kg in values(rng, int(most)):
        made = words.registers(data, order, number)
        assert made == by_struct(data, order, number), (data, order, number, made)
        place = {"address": len(registers), "count": len(made), "data": data, "order": order}
        told.append(place | {"scale": scale, "unit": unit, "kg": kg})
        registers += made
    held = [SimData(0, values=registers, datatype=DataType.REGISTERS)]
    none = [SimData(0, values=[0], datatype=DataType.REGISTERS)]
    bits = [SimData(0, values=[False] * 16, datatype=DataType.BITS)]
    device = SimDevice(id=UNIT, simdata=(bits, bits, held, none))
    asked = Asked()
    watch = asked.watcher(is_rtu=way == "serial")
    if way == "serial":
        server = ModbusSerialServer(device, port=path, baudrate=19200, stopbits=2, trace_packet=watch)
    else:
        server = ModbusTcpServer(device, address=("127.0.0.1", 0), trace_packet=watch)
    await server.serve_forever(background=True)
    port = None if way == "serial" else server.transport.sockets[0].getsockname()[1]
    print(json.dumps({"port": port, "unit": UNIT, "low_kg": LOW_KG, "high_kg": HIGH_KG, "values": told}), flush=True)
    await done.wait()
    print(json.dumps(asked.told()), flush=True)
    await server.shutdown()


asyncio.run(main(*sys.argv[1:]))
